"""works."""
