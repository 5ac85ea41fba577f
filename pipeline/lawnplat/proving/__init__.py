"""Proving: what a written plan breaks, found by other methods than the planner's."""
