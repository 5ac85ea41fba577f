"""The lawn: as the survey gives it, or the parcel less all that is not grass."""

from __future__ import annotations

import shapely
from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import as_multipolygon, grow, lines, polygons, union
from lawnplat.settings.types import RuleBook
from lawnplat.survey.types import Site

CROSSING = "crossing"


def lawn_of(site: Site, rules: RuleBook) -> MultiPolygon:
    """Return the grass of ``site``, never beyond the parcel, shape thinned to the rules' tolerance.

    A given lawn is taken as drawn, cut at the parcel. A derived lawn is the parcel less the
    footprint of every feature whose kind is not grass; lines without width take nothing. A crossing
    over a path or paving is a right of way, and grass where it runs out beyond on one side. Between
    two of them, or off them all, it is itself what is driven over.
    """
    if site.lawns:
        area = shapely.intersection(union(site.lawns), site.parcel)
    else:
        bare = [each for each in site.features if not rules.kinds[each.kind].grass]
        ways = union(
            each.geometry
            for each in site.features
            if rules.kinds[each.kind].crossed and each.kind != CROSSING
        )
        taken = union(
            _strip_itself(each.geometry, ways, rules) if each.kind == CROSSING else each.geometry
            for each in bare
        )
        area = shapely.difference(site.parcel, taken)
    return _thinned(area, rules)


def _strip_itself(crossing: BaseGeometry, ways: BaseGeometry, rules: RuleBook) -> BaseGeometry:
    """Return what of ``crossing`` lies off ``ways``, less the ends that lie on one side of them."""
    beside = grow(ways, rules.ground.shape_tolerance_m)
    kept = []
    for part in polygons(shapely.difference(crossing, ways)):
        contacts = lines(shapely.intersection(shapely.boundary(part), beside))
        if len(contacts) != 1 or contacts[0].is_closed:
            kept.append(part)
    return union(kept)


def _thinned(area: BaseGeometry, rules: RuleBook) -> MultiPolygon:
    tolerance = rules.ground.shape_tolerance_m
    thin = shapely.simplify(area, tolerance, preserve_topology=True)
    return as_multipolygon(thin, smallest_m2=rules.ground.smallest_lawn_m2)
