"""The few places that fix a layout on the ground, in laying order, wire by wire."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby, pairwise

import numpy as np
import shapely
from shapely import LineString, Point

from lawnplat.settings.types import MachineClass, RuleBook
from lawnplat.wire.joints import return_name
from lawnplat.wire.loops import perimeter_name
from lawnplat.wire.types import Joint, Layout, WireSection
from lawnplat.works.arcs import Stretch, stretches

NAN = float("nan")
STATION = "station"
"""What the station's own marks are on: no wire."""
_ONE_PLACE_M = 0.005
"""Two stops along a wire that are nearer than this are one."""
_BESIDE = 3.0
"""Ends of a pair lie within this many gaps of each other."""
_WORDS = {"terminal": "terminal", "three_way": "joint", "splice": "splice"}
_LEADS = ("lead_out", "lead_back")


@dataclass(frozen=True)
class Place:
    """A mark before it is measured: what it is, where, and the stretch that begins there.

    ``to`` is the index of the place where that stretch ends, -1 for none; ``twin`` the place whose
    stake this one shares, one wire beside the other, -1 for none. ``to_next_offset_m`` is the
    middle offset of the stretch, NaN where there is none.
    """

    what: str
    on: str
    chainage_m: float
    point: Point
    to: int = -1
    to_next_offset_m: float = NAN
    twin: int = -1


def places_of(layout: Layout, machine: MachineClass, rules: RuleBook) -> tuple[Place, ...]:
    """Return the marks of one loop: the station, the perimeter, then the return lines.

    Between two marks that follow each other along a wire the wire is straight or one arc. The way
    back along a lead has no marks of its own but where it leaves the lead again.
    """
    found = list(_station(layout, machine))
    found += shifted(_perimeter(layout, rules), len(found))
    for line in layout.return_lines:
        name = return_name(line.number)
        places = shifted(_return_line(line.line, name, layout.joints, rules), len(found))
        joint = _same_place(found, places[-1].point, perimeter_name(layout.loop), _ONE_PLACE_M)
        if joint >= 0:
            places[-2:] = [replace(places[-2], to=joint)]
        found += places
    return tuple(found)


def _station(layout: Layout, machine: MachineClass) -> tuple[Place, ...]:
    """Return the station's point on the wire and the middle of its base's back."""
    station = layout.station
    bearing = np.radians(station.bearing_deg)
    x, y = station.point.x, station.point.y
    behind = machine.base_behind_wire_m
    back = Point(x - behind * np.sin(bearing), y - behind * np.cos(bearing))
    return (
        Place("station", STATION, 0.0, station.point),
        Place("base back", STATION, 0.0, back),
    )


def shifted(places: Sequence[Place], by: int) -> list[Place]:
    """Return places that stand ``by`` places further on in a longer list."""
    return [
        replace(
            each,
            to=each.to + by if each.to >= 0 else -1,
            twin=each.twin + by if each.twin >= 0 else -1,
        )
        for each in places
    ]


def _same_place(places: Sequence[Place], point: Point, on: str, within_m: float) -> int:
    """Return the index of the place on that wire nearest to a point, -1 where none is near."""
    away = [each.point.distance(point) if each.on == on else np.inf for each in places]
    nearest = int(np.argmin(away)) if away else -1
    return nearest if nearest >= 0 and away[nearest] <= within_m else -1


def _return_line(
    line: LineString, name: str, joints: Sequence[Joint], rules: RuleBook
) -> list[Place]:
    own = {joint.chainage_m: _WORDS[joint.joint] for joint in joints if joint.on == name}
    named = {0.0: "terminal", line.length: "joint"} | own
    cut = stretches(line, _apart(named), rules.setting_out)
    return _chain(line, name, cut, named, "bend")


def _perimeter(layout: Layout, rules: RuleBook) -> list[Place]:
    """Return the perimeter's marks: those on the way back along leads are left out."""
    line, name = layout.perimeter.line, perimeter_name(layout.loop)
    named = {0.0: "terminal", line.length: "terminal"}
    named |= {j.chainage_m: _WORDS[j.joint] for j in layout.joints if j.on == name}
    runs = _lead_runs(layout.perimeter.sections)
    for kind, first, last in runs:
        begins, ends = ("lead-off", "lead end") if kind == "lead_out" else ("lead end", "lead-off")
        named.setdefault(first, begins)
        named.setdefault(last, ends)
    cut = stretches(line, _apart(named), rules.setting_out)
    places = _chain(line, name, cut, named, "corner")
    back = [(first, last) for kind, first, last in runs if kind == "lead_back"]
    return _paired(places, back, rules.wire.pair_gap_m)


def _lead_runs(sections: Sequence[WireSection]) -> list[tuple[str, float, float]]:
    """Return kind, first and last chainage of each way out and back along leads."""
    runs = [(kind, list(group)) for kind, group in groupby(sections, key=lambda s: s.section)]
    return [(kind, run[0].from_m, run[-1].to_m) for kind, run in runs if kind in _LEADS]


def _apart(named: dict[float, str]) -> list[float]:
    """Return the stops in order; of two at one place the first stays, at the end the last."""
    stops = sorted(named)
    kept = [stops[0]]
    for stop in stops[1:-1]:
        if stop - kept[-1] >= _ONE_PLACE_M and stops[-1] - stop >= _ONE_PLACE_M:
            kept.append(stop)
    return [*kept, stops[-1]]


def _chain(
    line: LineString,
    name: str,
    cut: Sequence[Stretch],
    named: dict[float, str],
    bend: str,
) -> list[Place]:
    """Return a place at each end of the stretches, each leading to the next."""
    at_m = [cut[0].from_m, *(each.to_m for each in cut)]
    points = shapely.line_interpolate_point(line, at_m)
    words = [bend, *(_between(one, other, bend) for one, other in pairwise(cut)), bend]
    offsets = [*(each.offset_m for each in cut), NAN]
    return [
        Place(
            what=named.get(chainage, word),
            on=name,
            chainage_m=chainage,
            point=point,
            to=place + 1 if place < len(cut) else -1,
            to_next_offset_m=offset,
        )
        for place, (chainage, word, point, offset) in enumerate(
            zip(at_m, words, points, offsets, strict=True)
        )
    ]


def _between(before: Stretch, after: Stretch, bend: str) -> str:
    """Return what a place between two stretches is called."""
    if before.offset_m == 0 and after.offset_m == 0:
        return bend
    if before.offset_m == 0:
        return "curve begins"
    return "curve ends" if after.offset_m == 0 else "curve"


def _paired(
    places: Sequence[Place], back: Sequence[tuple[float, float]], gap_m: float
) -> list[Place]:
    """Return the places without those along the ways back, whose pegs are their pairs'.

    What leads to the start of a way back leads to the end of the lead beside it; the end of a way
    back stays, as the twin of the place where the lead leaves. Joints always stay.
    """
    twin = {}
    for first, last in back:
        for index, each in enumerate(places):
            if first - _ONE_PLACE_M < each.chainage_m < last + _ONE_PLACE_M:
                twin[index] = _beside(places, index, back, _BESIDE * gap_m)
    inside = {
        index
        for index in twin
        if not any(abs(places[index].chainage_m - last) < _ONE_PLACE_M for _, last in back)
    }
    kept = [
        index
        for index, each in enumerate(places)
        if index not in inside or each.what in _WORDS.values()
    ]
    moved = {index: index for index in kept} | {
        index: twin[index] for index in inside if index not in kept
    }
    number = {index: place for place, index in enumerate(kept)}
    return [
        _renumbered(
            places[index],
            to=-1 if index in inside else number.get(moved.get(places[index].to, -1), -1),
            twin=number.get(twin.get(index, -1), -1),
        )
        for index in kept
    ]


def _renumbered(place: Place, *, to: int, twin: int) -> Place:
    return replace(
        place, to=to, twin=twin, to_next_offset_m=place.to_next_offset_m if to >= 0 else NAN
    )


def _beside(
    places: Sequence[Place], index: int, back: Sequence[tuple[float, float]], within_m: float
) -> int:
    """Return the nearest earlier place that is not itself on a way back, -1 where none is near."""
    here = places[index].point
    away = [
        here.distance(each.point)
        if not any(a - _ONE_PLACE_M < each.chainage_m < b + _ONE_PLACE_M for a, b in back)
        else np.inf
        for each in places[:index]
    ]
    nearest = int(np.argmin(away)) if away else -1
    return nearest if nearest >= 0 and away[nearest] <= within_m else -1
