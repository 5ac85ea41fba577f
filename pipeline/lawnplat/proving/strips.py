"""Ground that the wire treats apart: strips over crossings, and pairs to lawns farther off."""

from __future__ import annotations

import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from lawnplat.proving.evidence import Evidence
from lawnplat.proving.loop import Loop
from lawnplat.proving.recorded import union
from lawnplat.proving.things import CROSSING
from lawnplat.proving.tolerances import CM, MM

_PAIR_M = 5 * CM
"""What is narrower than twice this is a wire pair, no strip that a machine drives over."""
_BESIDE_M = 2 * CM
"""The two wires of a pair lie within this of each other."""


def crossings_of(evidence: Evidence) -> BaseGeometry:
    """Return the surveyed crossings."""
    return union(each.geometry for each in evidence.things if each.kind == CROSSING)


def strips_of(evidence: Evidence, loop: Loop) -> BaseGeometry:
    """Return the ground inside a loop's wire that leads over a crossing and is not mown.

    A strip is prolonged over the setbacks of what it crosses: at most twice the widest. What hangs
    on it belongs to it, however thin: a mouth's rounded corner runs out tangentially into the rim,
    round a second corner of that rim where there is one near.
    """
    crossings = crossings_of(evidence)
    if crossings.is_empty or loop.wire.is_empty:
        return Polygon()
    widest_m = max(rule.setback_m for rule in evidence.rules.kinds.values())
    reach = shapely.buffer(crossings, 2 * widest_m + evidence.rules.wire.corner_radius_m)
    unmown = shapely.difference(loop.enclosed, shapely.buffer(loop.mowable, 2 * MM))
    near = shapely.intersection(unmown, reach)
    core = shapely.buffer(near, -_PAIR_M, join_style="mitre")
    if core.is_empty:
        return Polygon()
    apart = shapely.get_parts(shapely.difference(near, shapely.buffer(loop.leads, _BESIDE_M)))
    return union(part for part in apart if shapely.intersects(core, part))


def carried_leads(evidence: Evidence, loop: Loop, strips: BaseGeometry) -> BaseGeometry:
    """Return the wire pairs that run off the lawn, to lawns that the machine is carried to."""
    inside = shapely.buffer(union([loop.mowable, evidence.firm]), 2 * MM)
    off: BaseGeometry = shapely.difference(loop.leads, union([inside, strips]))
    return off
