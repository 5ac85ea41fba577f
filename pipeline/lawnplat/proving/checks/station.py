"""Checks of the station: base and front on the ground, the wire beside it, what its row tells."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely
import shapely.affinity
from shapely import Point, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from lawnplat.proving.breach import breach
from lawnplat.proving.clearance import middle_of_longest
from lawnplat.proving.evidence import Evidence
from lawnplat.proving.heights import heights_m
from lawnplat.proving.loop import FloatArray, Loop
from lawnplat.proving.recorded import union
from lawnplat.proving.tolerances import CM, MM, SPECK_M2
from lawnplat.settings.types import Treatment
from lawnplat.survey.types import Finding
from lawnplat.terrain.types import Terrain

_AT_THE_WIRE_M = 3 * CM
"""The front begins at the wire itself: what lies this near to it is the wire's own strip."""
_TILT_PCT = 0.5
"""Two ways to fit a plane to the same heights differ by no more on ground that is nearly plane."""
_SAMPLE_M = 0.05
_MOST_STEPS = 1000
_PLANE = 3
"""So many heights make a plane."""


def station_base(evidence: Evidence) -> Iterator[Finding]:
    """Yield where the base is not at the station, not as large as the machine's, or not clear."""
    for loop in evidence.loops:
        if not _stands(loop):
            yield breach(
                evidence, "station_base",
                f"loop {loop.number} has no station, or one without a bearing", None,
            )  # fmt: skip
            continue
        base = _area(loop, "base")
        wanted = _rectangle(
            loop,
            -evidence.machine.base_behind_wire_m,
            evidence.machine.base_length_m - evidence.machine.base_behind_wire_m,
            evidence.machine.base_width_m / 2,
        )
        yield from _misplaced(evidence, "station_base", "base", loop, base, wanted)
        yield from _off_lawn(evidence, "station_base", "base", base)
        yield from _on_things(evidence, "station_base", "base", base)


def station_front(evidence: Evidence) -> Iterator[Finding]:
    """Yield where the front is not as deep and wide as asked, not on lawn, or not free."""
    limits = evidence.rules.station
    for loop in evidence.loops:
        if not _stands(loop):
            continue
        front = _area(loop, "front")
        wanted = _rectangle(loop, 0.0, limits.front_clear_m, limits.side_clear_m)
        yield from _misplaced(evidence, "station_front", "front", loop, front, wanted)
        yield from _off_lawn(evidence, "station_front", "front", front)
        yield from _on_things(evidence, "station_front", "front", front)
        inner = _rectangle(loop, _AT_THE_WIRE_M, limits.front_clear_m, limits.side_clear_m - MM)
        yield from _wires_in(evidence, loop, inner)
        taken = shapely.intersection(evidence.plan.union("keep_out"), inner)
        if taken.area > SPECK_M2:
            yield breach(
                evidence, "station_front",
                f"{taken.area:.2f} m2 of the station's front are kept off by the plan: the machine "
                "leaves and comes home there", taken.centroid, measured=taken.area, limit=0.0,
            )  # fmt: skip


def station_tilt(evidence: Evidence) -> Iterator[Finding]:
    """Yield where base and front are not level, by a plane through the ground's heights there."""
    if evidence.terrain is None:
        return
    limit_pct = evidence.rules.station.largest_tilt_pct
    for loop in evidence.loops:
        if not _stands(loop):
            continue
        ground = union([_area(loop, "base"), _area(loop, "front")])
        found_pct = tilt_pct(evidence.terrain, ground)
        if found_pct > limit_pct + _slack_pct(evidence.terrain, ground, found_pct):
            yield breach(
                evidence, "station_tilt",
                f"base and front of the station fall by {found_pct:.1f} %, {limit_pct:.1f} % is "
                "level enough", loop.station, measured=found_pct, limit=limit_pct,
            )  # fmt: skip


def straight_wire(evidence: Evidence) -> Iterator[Finding]:
    """Yield where the perimeter does not run straight to both sides of the station."""
    rules = evidence.rules
    reach_m = rules.station.straight_wire_m - rules.wire.terminal_gap_m / 2
    limit_m = rules.pegs.curve_offset_m
    for loop in evidence.loops:
        if not _stands(loop) or loop.wire.length <= 2 * reach_m:
            continue
        length_m = loop.wire.length
        for side in (substring(loop.wire, 0, reach_m),
                     substring(loop.wire, length_m - reach_m, length_m)):  # fmt: skip
            points = shapely.get_coordinates(side)
            off_m = np.abs((points - shapely.get_coordinates(loop.station)) @ loop.ahead)
            worst = int(np.argmax(off_m))
            if off_m[worst] > limit_m + MM:
                yield breach(
                    evidence, "straight_wire",
                    f"the wire leaves the straight past the station by {100 * off_m[worst]:.0f} cm "
                    f"within {rules.station.straight_wire_m:.1f} m of it: the machine comes in "
                    "askew", Point(points[worst]), measured=float(off_m[worst]), limit=limit_m,
                )  # fmt: skip


def station_told(evidence: Evidence) -> Iterator[Finding]:
    """Yield what the station's row tells otherwise than it is measured or stands in the options."""
    for loop in evidence.loops:
        if not _stands(loop):
            continue
        row = loop.plan.rows("station")[0]
        told_pct = row.number("tilt_pct")
        if evidence.terrain is not None:
            ground = union([_area(loop, "base"), _area(loop, "front")])
            found_pct = tilt_pct(evidence.terrain, ground)
            slack_pct = _slack_pct(evidence.terrain, ground, found_pct)
            if not abs(found_pct - told_pct) <= slack_pct:
                yield breach(
                    evidence, "station_told",
                    f"the station's tilt is told as {told_pct:.1f} %, the ground has "
                    f"{found_pct:.1f} %", loop.station, measured=told_pct, limit=found_pct,
                )  # fmt: skip
        first = [each for each in loop.plan.rows("station_options") if each.number("rank") == 1]
        if len(first) != 1 or first[0].geometry is None:
            yield breach(
                evidence, "station_told",
                f"{len(first)} of the places looked at for the station have rank 1", loop.station,
            )  # fmt: skip
            continue
        off_m = float(shapely.distance(first[0].geometry, loop.station))
        if off_m > CM:
            yield breach(
                evidence, "station_told",
                f"the place with rank 1 lies {off_m:.2f} m from the station", loop.station,
                measured=off_m, limit=0.0,
            )  # fmt: skip
        for column in ("tilt_pct", "bearing_deg", "outlet_distance_m", "mean_return_m"):
            told, of_option = row.number(column), first[0].number(column)
            if not np.isclose(told, of_option, atol=1e-3, equal_nan=True):
                yield breach(
                    evidence, "station_told",
                    f"{column} of the station is told as {told:.3f}, and as {of_option:.3f} among "
                    "the places looked at", loop.station, measured=told, limit=of_option,
                )  # fmt: skip


def tilt_pct(terrain: Terrain, ground: BaseGeometry) -> float:
    """Return the slope of the plane that fits the ground's heights best, percent.

    Heights are read by bilinear interpolation on a lattice over ``ground`` and a plane is fitted by
    least squares. NaN where there is no ground.
    """
    if ground.is_empty:
        return float("nan")
    west, south, east, north = ground.bounds
    # Ground that a damaged file draws far too large is read more coarsely.
    step_m = max(_SAMPLE_M, max(east - west, north - south) / _MOST_STEPS)
    x, y = np.meshgrid(
        np.arange(west, east + step_m, step_m), np.arange(south, north + step_m, step_m)
    )
    within = shapely.contains_xy(ground, x, y)
    x, y = x[within], y[within]
    if len(x) < _PLANE:
        return float("nan")
    heights = heights_m(terrain, np.column_stack([x, y]))
    plane = np.column_stack([x - x.mean(), y - y.mean(), np.ones(len(x))])
    fitted = np.linalg.lstsq(plane, heights, rcond=None)[0]
    return float(100 * np.hypot(fitted[0], fitted[1]))


def _slack_pct(terrain: Terrain, ground: BaseGeometry, found_pct: float) -> float:
    """Return by how much a tilt may be told otherwise than it is found.

    Where ground is read once a cell, what is read may lie half a cell aside: on a crest or in a
    hollow that is another tilt.
    """
    half_m = terrain.grid.cell_m / 2
    aside = [
        tilt_pct(terrain, shapely.affinity.translate(ground, east_m, north_m))
        for east_m, north_m in ((half_m, 0), (-half_m, 0), (0, half_m), (0, -half_m))
    ]
    return max(_TILT_PCT, float(np.abs(np.array(aside) - found_pct).max()))


def _stands(loop: Loop) -> bool:
    """Return whether the file holds a station's place and bearing for a loop."""
    return (
        loop.station is not None
        and not loop.station.is_empty
        and bool(np.isfinite(loop.bearing_deg))
    )


def _area(loop: Loop, part: str) -> BaseGeometry:
    return union(
        row.geometry
        for row in loop.plan.rows("station_area")
        if row.text("part") == part and row.geometry is not None
    )


def _rectangle(loop: Loop, from_m: float, to_m: float, half_width_m: float) -> Polygon:
    """Return a rectangle astride the station's axis, from and to so far ahead of it."""
    at = shapely.get_coordinates(loop.station)[0]
    aside: FloatArray = np.array([-loop.ahead[1], loop.ahead[0]]) * half_width_m
    near, far = at + from_m * loop.ahead, at + to_m * loop.ahead
    return Polygon([near + aside, near - aside, far - aside, far + aside])


def _misplaced(  # noqa: PLR0917 - rule and name go with what they are said of
    evidence: Evidence, rule: str, name: str, loop: Loop, drawn: BaseGeometry, wanted: Polygon
) -> Iterator[Finding]:
    off = shapely.symmetric_difference(drawn, wanted)
    if off.area > CM * wanted.length:
        yield breach(
            evidence, rule,
            f"the {name} of the station is not drawn where it belongs, or not as large as asked: "
            f"{off.area:.2f} m2 differ", loop.station, measured=off.area, limit=0.0,
        )  # fmt: skip


def _off_lawn(
    evidence: Evidence, rule: str, name: str, ground: BaseGeometry
) -> Iterator[Finding]:
    off = shapely.difference(ground, shapely.buffer(evidence.lawn, 2 * CM))
    if off.area > MM:
        yield breach(
            evidence, rule, f"{off.area:.2f} m2 of the station's {name} are not on lawn",
            off.centroid, measured=off.area, limit=0.0,
        )  # fmt: skip


def _on_things(
    evidence: Evidence, rule: str, name: str, ground: BaseGeometry
) -> Iterator[Finding]:
    for thing in evidence.things:
        solid = thing.is_wired or thing.treatment is Treatment.FIRM
        if not solid or not shapely.intersects(ground, thing.geometry):
            continue
        shared = shapely.intersection(ground, thing.geometry)
        if shared.area > MM or (thing.geometry.area == 0 and not shared.is_empty):
            yield breach(
                evidence, rule, f"the station's {name} stands on this {thing.words}",
                shapely.point_on_surface(shared), measured=shared.area, limit=0.0,
            )  # fmt: skip


def _wires_in(evidence: Evidence, loop: Loop, inner: Polygon) -> Iterator[Finding]:
    wires: list[tuple[str, BaseGeometry]] = [("a wire pair", loop.leads)]
    wires += [
        ("the perimeter wire" if other is loop else f"the wire of loop {other.number}", other.wire)
        for other in evidence.loops
    ]
    # In the strip of the front that the base itself takes, the wire's ends lead to its terminals.
    clear = shapely.difference(inner, shapely.buffer(_area(loop, "base"), CM))
    for name, wire in wires:
        within = shapely.intersection(wire, clear)
        if within.length > MM:
            yield breach(
                evidence, "station_front",
                f"{name} runs through the station's front for {within.length:.2f} m",
                middle_of_longest(within), measured=within.length, limit=0.0,
            )  # fmt: skip
