"""lawnplat: plans perimeter wire, charging station and return line for automatic lawn mowers."""
