"""Ways to spoil a good plan, each with the rule that has to find it, and the place if it has one.

A way is a function from evidence to `Spoilt`, or to None where the plan lacks what it would spoil.
"""
