"""Ways to spoil a good plan, each with the rule that has to find it and, where it has one, the place.

A way is a function from evidence to `Spoilt`, or to None where the plan lacks what it would spoil.
"""
