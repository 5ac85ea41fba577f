"""Checks of a conductor's sections: they cover it once, lie on it, and tell how far off it is."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
import shapely
from shapely import LineString, Point
from shapely.geometry.base import BaseGeometry

from lawnplat.proving.breach import breach
from lawnplat.proving.checks.cross_fall import fall_told_too_low
from lawnplat.proving.evidence import Evidence
from lawnplat.proving.laid_wires import FloatArray, LaidWire, perimeters, whole_number
from lawnplat.proving.open_rim import RIM_STEP_M
from lawnplat.proving.recorded import Row
from lawnplat.proving.tolerances import CM, MM
from lawnplat.settings.types import Treatment
from lawnplat.survey.types import Finding

_RULE = "sections"
_NAMES = frozenset({"edge", "lead_out", "lead_back", "island"})
_OPEN = "open_edge"
_DRAWN = frozenset({"too_steep", "cross_fall", "crossing", "loop_seam", "straight_wire"})
"""What wire runs against besides surveyed things and open edges."""
_ON_IT_M = 2 * MM


def sections(evidence: Evidence) -> Iterator[Finding]:
    """Yield sections that do not follow one another from end to end of their conductor."""
    rows = evidence.plan.rows("wire_sections")
    bodies = _bodies(evidence)
    for wire in perimeters(evidence.plan):
        mine = [row for row in rows if whole_number(row, "loop", 1) == wire.loop]
        yield from _covering(evidence, wire, mine)
        yield from fall_told_too_low(evidence, wire, mine)
        for row in mine:
            yield from _place(evidence, wire, row)
            yield from _against(evidence, wire, row, bodies)


def _covering(evidence: Evidence, wire: LaidWire, rows: list[Row]) -> Iterator[Finding]:
    """Yield stretches of a wire that no section tells of, or two do."""
    spans = np.array([(row.number("from_m"), row.number("to_m")) for row in rows]).reshape(-1, 2)
    if len(spans) == 0 or not np.isfinite(spans).all():
        text = f"{wire.words} has no sections, or some without chainages: plan the property again"
        yield breach(evidence, _RULE, text, wire.place(0.0))
        return
    spans = spans[np.lexsort(spans.T[::-1])]
    ends = np.concatenate([[0.0], spans[:, 1]])
    starts = np.concatenate([spans[:, 0], [wire.length_m]])
    off_m = starts - ends
    worst = int(np.argmax(np.abs(off_m)))
    if abs(off_m[worst]) > MM:
        words = "no section tells of" if off_m[worst] > 0 else "two sections tell of"
        text = f"{words} {abs(off_m[worst]):.3f} m of {wire.words} from {ends[worst]:.2f} m on"
        place = wire.place(float(ends[worst] + starts[worst]) / 2)
        yield breach(evidence, _RULE, text, place, measured=abs(float(off_m[worst])), limit=0.0)


def _place(evidence: Evidence, wire: LaidWire, row: Row) -> Iterator[Finding]:
    """Yield a section that is not drawn along its own stretch of the wire."""
    shape, from_m, to_m = row.geometry, row.number("from_m"), row.number("to_m")
    if not isinstance(shape, LineString) or shape.is_empty:
        yield breach(
            evidence, _RULE, f"{_told(wire, row)} has no line", wire.place(np.nan_to_num(from_m))
        )
        return
    points = shapely.get_coordinates(shape)
    run_m = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    short_m = abs(float(run_m[-1]) - (to_m - from_m))
    off: FloatArray = np.hypot(*(wire.places(from_m + run_m) - points).T)
    worst = int(np.argmax(np.nan_to_num(off, nan=np.inf)))
    if not short_m <= _ON_IT_M or not off[worst] <= _ON_IT_M:
        text = (
            f"{_told(wire, row)} is drawn {off[worst]:.3f} m from where its chainage puts it, and "
            f"is {run_m[-1]:.3f} m long of {to_m - from_m:.3f} m told"
        )
        measured = float(max(short_m, off[worst]))
        yield breach(evidence, _RULE, text, Point(points[worst]), measured=measured, limit=_ON_IT_M)


def _against(
    evidence: Evidence, wire: LaidWire, row: Row, bodies: Mapping[str, list[BaseGeometry]]
) -> Iterator[Finding]:
    """Yield a section of unknown name or body, or one that is another way off than it tells."""
    name, kind, shape = row.text("section"), row.text("against"), row.geometry
    place = wire.place(float(np.nan_to_num(row.number("from_m") + row.number("to_m"))) / 2)
    if name not in _NAMES:
        yield breach(evidence, _RULE, f"{_told(wire, row)} is called '{name}'", place)
    if name.startswith("lead") or shape is None or shape.is_empty or kind in _DRAWN:
        return
    if kind not in bodies:
        # An open edge shorter than a piece of the rim is not seen, but has wire round its ends.
        if kind == _OPEN and shape.length <= 2 * evidence.rules.ground.open_edge_m + RIM_STEP_M:
            return
        text = f"{_told(wire, row)} runs against '{kind}', which is not on the property"
        yield breach(evidence, _RULE, text, place)
        return
    apart = np.asarray(shapely.distance(bodies[kind], shape))
    nearest = int(np.argmin(apart))
    found_m, told_m = float(apart[nearest]), row.number("setback_m")
    least_m = found_m
    if kind == _OPEN and told_m < found_m - _ON_IT_M:
        least_m = _nearest_open_m(evidence, shape)
        # Nor is one seen that is shorter than a piece: wire round it keeps just its setback.
        least_m = min(least_m, evidence.rules.ground.open_edge_m)
    if not least_m - _ON_IT_M <= told_m <= found_m + _ON_IT_M:
        text = (
            f"{_told(wire, row)} is told to keep {told_m:.2f} m off the {kind.replace('_', ' ')}, "
            f"it comes within {found_m:.2f} m"
        )
        near = shapely.get_point(shapely.shortest_line(shape, bodies[kind][nearest]), 0)
        yield breach(evidence, _RULE, text, near, measured=told_m, limit=found_m)


def _nearest_open_m(evidence: Evidence, shape: BaseGeometry) -> float:
    """Return how near a section may be told to come to open edges.

    Where an open edge ends is known to one of the pieces in which the lawn's rim is looked at.
    """
    about = shapely.buffer(evidence.open_rim, RIM_STEP_M + CM)
    ends = shapely.intersection(shapely.boundary(evidence.lawn), about)
    return float(shapely.distance(shape, ends))


def _bodies(evidence: Evidence) -> dict[str, list[BaseGeometry]]:
    """Return the surveyed things that wire runs against, by kind, and the lawn's open edges."""
    found: dict[str, list[BaseGeometry]] = {}
    for thing in evidence.things:
        if thing.is_wired or thing.treatment is Treatment.FIRM:
            found.setdefault(thing.kind, []).append(thing.geometry)
    if not evidence.open_rim.is_empty:
        found[_OPEN] = [evidence.open_rim]
    return found


def _told(wire: LaidWire, row: Row) -> str:
    return f"the section of {wire.words} from {row.number('from_m'):.2f} m"
