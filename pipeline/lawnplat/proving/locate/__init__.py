"""Where a wire lies, years later: by its chainage, and where to look for a break."""
