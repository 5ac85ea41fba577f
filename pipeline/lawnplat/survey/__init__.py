"""Survey: files in, one property at a time out, valid and in a metric CRS."""
