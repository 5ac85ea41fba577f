"""ground."""
