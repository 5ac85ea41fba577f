"""How far a plan may be from a rule before it counts as broken: drawing, not judgement."""

from __future__ import annotations

MM = 1e-3
CM = 1e-2

ARC_M = 2 * MM
"""Arcs are drawn as chords. A chord over a sixteenth of a quarter circle of 1 m leaves it by
1.2 mm, and what was opened with a disc of 0.35 m adds 0.4 mm. Larger arcs in proportion."""

TOUCH_M = CM
"""Shapes that ought to meet may be this far apart: the drawing's own tolerance."""

SPECK_M2 = CM
"""A smaller overlap is a crack between two drawings of one edge."""

AREA_SHARE = 1e-3
"""Areas balance within 0.1 %."""


def arc_slack_m(radius_m: float) -> float:
    """Return how far an arc of that radius, drawn as chords, may come inside it."""
    return ARC_M * max(1.0, radius_m)
