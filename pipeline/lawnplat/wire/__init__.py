"""wire."""
