"""Checks of areas: what is mown, given up and trimmed adds up, and columns tell the geometry."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from shapely import Point
from shapely.geometry.base import BaseGeometry

from lawnplat.proving.breach import breach
from lawnplat.proving.evidence import Evidence
from lawnplat.proving.recorded import union
from lawnplat.proving.things import CROSSING, Thing
from lawnplat.proving.tolerances import AREA_SHARE, CM, MM, SPECK_M2
from lawnplat.survey.types import Finding

_MEASURED = (
    ("parcel", "area_m2"),
    ("lawn", "area_m2"),
    ("slope_zones", "area_m2"),
    ("keep_out", "area_m2"),
    ("mowable", "area_m2"),
    ("hand_trim", "area_m2"),
    ("cable_route", "length_m"),
    ("perimeter_wire", "length_m"),
)


def area_sum(evidence: Evidence) -> Iterator[Finding]:
    """Yield lawn that mown ground and ground given up, or slope zones, cover not or twice."""
    if evidence.lawn.is_empty:
        return
    plan = evidence.plan
    shared = [*plan.shapes("mowable"), *plan.shapes("keep_out")]
    yield from _covering(evidence, "mown ground and lawn given up", shared)
    yield from _covering(evidence, "slope zones", plan.shapes("slope_zones"))


def _covering(evidence: Evidence, what: str, parts: Sequence[BaseGeometry]) -> Iterator[Finding]:
    lawn = evidence.lawn
    whole = union(parts)
    missing, beyond = shapely.difference(lawn, whole), shapely.difference(whole, lawn)
    twice = sum(part.area for part in parts) - whole.area
    allowed = AREA_SHARE * lawn.area + SPECK_M2
    if twice > allowed:
        text = f"{what} overlap by {twice:.2f} m2"
        place = _overlap(parts)
        yield breach(evidence, "area_sum", text, place, measured=twice, limit=allowed)
    for words, off in (("leave out", missing), ("reach beyond the lawn by", beyond)):
        if off.area > allowed:
            text = f"{what} {words} {off.area:.2f} m2 of {lawn.area:.1f} m2 of lawn"
            place = _largest(off)
            yield breach(evidence, "area_sum", text, place, measured=off.area, limit=allowed)


def _overlap(parts: Sequence[BaseGeometry]) -> Point | None:
    """Return a place in the largest overlap of two parts."""
    tree = shapely.STRtree(list(parts))
    worst: BaseGeometry | None = None
    for one, other in tree.query(list(parts), predicate="intersects").T:
        if one < other:
            common = shapely.intersection(parts[one], parts[other])
            if worst is None or common.area > worst.area:
                worst = common
    return None if worst is None else shapely.point_on_surface(worst)


def _largest(shape: BaseGeometry) -> Point:
    parts = np.asarray(shapely.get_parts(shape), dtype=object)
    inner: Point = shapely.point_on_surface(parts[int(np.argmax(shapely.area(parts)))])
    return inner


def area_column(evidence: Evidence) -> Iterator[Finding]:
    """Yield areas and lengths told in a column that are not those of the geometry beside it."""
    for layer, column in _MEASURED:
        for row in evidence.plan.rows(layer):
            shape = row.geometry
            if shape is None or shape.is_empty:
                continue
            true = shape.area if column == "area_m2" else shape.length
            told = row.number(column)
            if not abs(told - true) <= MM:
                text = f"{layer} tells {column} {told:.2f}, its geometry has {true:.2f}"
                place = shapely.point_on_surface(shape)
                yield breach(evidence, "area_column", text, place, measured=told, limit=true)


def hand_trim(evidence: Evidence) -> Iterator[Finding]:
    """Yield ground trimmed by hand that is no grass, or is not given up."""
    trimmed = evidence.plan.union("hand_trim")
    if trimmed.is_empty:
        return
    given_up = shapely.buffer(evidence.plan.union("keep_out"), MM)
    outside = shapely.difference(trimmed, given_up)
    if outside.area > SPECK_M2:
        text = f"{outside.area:.2f} m2 to trim by hand are not lawn given up"
        yield breach(evidence, "hand_trim", text, _largest(outside), measured=outside.area)
    # A crossing is a right of way: where it runs onto a lawn that was surveyed, that is grass.
    bare = [each for each in evidence.things if not each.grass and each.kind != CROSSING]
    paved = shapely.intersection(trimmed, union(each.geometry for each in bare))
    if paved.area > AREA_SHARE * max(trimmed.area, 1.0):
        text = f"{paved.area:.2f} m2 to trim by hand are no grass"
        yield breach(evidence, "hand_trim", text, _largest(paved), measured=paved.area)


def _bare(things: Sequence[Thing]) -> Iterator[BaseGeometry]:
    """Yield what is no grass; of a crossing not what sticks out of a path on one side alone."""
    ways = union(each.geometry for each in things if each.crossed and each.kind != CROSSING)
    for each in things:
        if each.grass:
            continue
        if each.kind != CROSSING:
            yield each.geometry
            continue
        for part in shapely.get_parts(shapely.difference(each.geometry, ways)):
            # The rim less what lies on paths is one open line where they lie on one side of it.
            free = shapely.difference(shapely.boundary(part), shapely.buffer(ways, CM))
            merged = shapely.line_merge(free)
            if merged.is_closed or shapely.get_num_geometries(merged) != 1:
                yield part


def lawn_is_grass(evidence: Evidence) -> Iterator[Finding]:
    """Yield lawn off the property, or other than the survey's, or the parcel less what is no grass.

    Whether the survey gave lawns is known from the survey alone; without it only the parcel's
    outline is looked at.
    """
    lawn, ground = evidence.lawn, evidence.rules.ground
    if evidence.parcel.is_empty:
        return
    slack_m = ground.shape_tolerance_m + MM
    beyond = shapely.difference(lawn, shapely.buffer(evidence.parcel, slack_m))
    if beyond.area > SPECK_M2:
        text = f"{beyond.area:.2f} m2 of lawn lie beyond the property"
        yield breach(evidence, "lawn_is_grass", text, _largest(beyond), measured=beyond.area)
    if evidence.site is None or lawn.is_empty:
        return
    if evidence.site.lawns:
        grass = shapely.intersection(union(evidence.site.lawns), evidence.parcel)
    else:
        bare = union(_bare(evidence.things))
        grass = shapely.difference(evidence.parcel, bare)
    extra = shapely.difference(lawn, shapely.buffer(grass, slack_m))
    if extra.area > SPECK_M2:
        text = f"{extra.area:.2f} m2 of the plan's lawn are no grass"
        yield breach(evidence, "lawn_is_grass", text, _largest(extra), measured=extra.area)
    if evidence.site.lawns:
        return
    # What is thinner than the tolerance on both sides, or a scrap, is a drawing error.
    lost = shapely.difference(shapely.buffer(grass, -slack_m), lawn)
    missing = [part for part in shapely.get_parts(lost) if part.area > ground.smallest_lawn_m2]
    if missing:
        area = sum(part.area for part in missing)
        text = f"{area:.2f} m2 of grass are not in the plan's lawn"
        yield breach(evidence, "lawn_is_grass", text, _largest(union(missing)), measured=area)


def mown_on_lawn(evidence: Evidence) -> Iterator[Finding]:
    """Yield mown ground that is no lawn, and loops without one main part of a number of its own."""
    outside = shapely.difference(evidence.mowable, shapely.buffer(evidence.lawn, MM))
    if outside.area > CM:
        text = f"{outside.area:.2f} m2 that are mown are no lawn"
        yield breach(evidence, "area_sum", text, _largest(outside), measured=outside.area)
