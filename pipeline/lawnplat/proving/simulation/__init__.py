"""A machine at work on a written plan, simulated: what it cuts, and how it finds home."""
