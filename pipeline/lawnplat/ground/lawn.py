"""The lawn: as the survey gives it, or the parcel less all that is not grass."""

from __future__ import annotations

import shapely
from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import as_multipolygon, union
from lawnplat.settings.types import RuleBook
from lawnplat.survey.types import Site


def lawn_of(site: Site, rules: RuleBook) -> MultiPolygon:
    """Return the grass of ``site``, never beyond the parcel, shape thinned to the rules' tolerance.

    A given lawn is taken as drawn, cut at the parcel. A derived lawn is the parcel less the
    footprint of every feature whose kind is not grass; lines without width take nothing.
    """
    if site.lawns:
        area = shapely.intersection(union(site.lawns), site.parcel)
    else:
        taken = union(
            feature.geometry for feature in site.features if not rules.kinds[feature.kind].grass
        )
        area = shapely.difference(site.parcel, taken)
    return _thinned(area, rules)


def _thinned(area: BaseGeometry, rules: RuleBook) -> MultiPolygon:
    tolerance = rules.ground.shape_tolerance_m
    thin = shapely.simplify(area, tolerance, preserve_topology=True)
    return as_multipolygon(thin, smallest_m2=rules.ground.smallest_lawn_m2)
