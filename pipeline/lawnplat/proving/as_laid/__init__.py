"""The wire as it was laid, held against its plan."""
