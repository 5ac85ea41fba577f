"""Many properties: each one planned and written, one's trouble never stopping the others."""
