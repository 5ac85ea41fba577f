"""How far a mark is from the nearest edge that a ruler can be laid to."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import FloatArray
from lawnplat.settings.types import SettingOutRules
from lawnplat.survey.types import Feature, Site

HARD_KINDS = ("building", "wall", "path", "paving_flush", "planter", "fence", "drop")
"""Built edges: a ruler finds them to the centimetre."""
_NO_EDGE = ("power_outlet", "buried_service", "neighbour_wire", "no_mow", "crossing")
"""Nothing of these is to be seen on the ground that a ruler could be laid to."""
PARCEL_BOUNDARY = "parcel_boundary"


def edge_offsets(
    marks: FloatArray, site: Site, rules: SettingOutRules
) -> tuple[tuple[float, str], ...]:
    """Return distance in metres and kind of the edge that each mark is measured from.

    The nearest hard edge within a ruler; where there is none, the nearest outline of anything else
    that is seen, then the parcel's boundary; where no ruler reaches any, the same within the rules'
    reach; else NaN and an empty kind.

    Parameters
    ----------
    marks : array of shape (n, 2)
    site : Site
    rules : SettingOutRules
    """
    seen = [f for f in site.features if f.kind not in _NO_EDGE]
    hard = _nearest(marks, (f for f in seen if f.kind in HARD_KINDS))
    soft = _nearest(marks, (f for f in seen if f.kind not in HARD_KINDS))
    bound = _nearest(marks, [Feature(PARCEL_BOUNDARY, site.parcel, "")])
    found: list[tuple[float, str]] = []
    for choice in zip(hard, soft, bound, strict=True):
        near = [
            each
            for reach_m in (rules.ruler_m, rules.edge_reach_m)
            for each in choice
            if each[0] <= reach_m
        ]
        found.append(near[0] if near else (float("nan"), ""))
    return tuple(found)


def _nearest(marks: FloatArray, things: Iterable[Feature]) -> list[tuple[float, str]]:
    every = list(things)
    if not every or not len(marks):
        return [(float("inf"), "")] * len(marks)
    outlines = np.array([_outline(each.geometry) for each in every], dtype=object)
    places = np.asarray(shapely.points(marks))
    away = shapely.distance(outlines[None, :], places[:, None])
    nearest = np.argmin(away, axis=1)
    return [(float(row[at]), every[at].kind) for row, at in zip(away, nearest, strict=True)]


def _outline(geometry: BaseGeometry) -> BaseGeometry:
    # A mark may lie inside a thing, as where a lead crosses a path.
    return shapely.boundary(geometry) if shapely.get_dimensions(geometry) == 2 else geometry  # noqa: PLR2004
