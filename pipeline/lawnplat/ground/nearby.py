"""Ground shaped anew only near what changed: all of a large lawn takes too long."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import grow, polygons
from lawnplat.ground.shape import shaped
from lawnplat.settings.types import MachineClass, RuleBook

_HAIR_M = 1e-3
_SEAM_M = 1e-6


def reshaped(
    now: BaseGeometry,
    changed: BaseGeometry,
    left: Callable[[BaseGeometry], BaseGeometry],
    machine: MachineClass,
    rules: RuleBook,
) -> BaseGeometry:
    """Return ``now`` with its shape given anew round what is ``changed``.

    A corner is rounded by what lies within two radii.

    Parameters
    ----------
    now : BaseGeometry
        Polygons that have their shape (`lawnplat.ground.shape.shaped`).
    changed : BaseGeometry
        Polygons.
    left : callable
        Returns of a window the ground in it that is to be shaped.
    """
    far_m = 2 * max(rules.wire.corner_radius_m, machine.smallest_passage_m) + _HAIR_M
    near = _windows(changed, far_m)
    if near.is_empty:
        return now
    there = shapely.intersection(shaped(left(_windows(changed, 3 * far_m)), machine, rules), near)
    shapely.prepare(near)
    parts = np.array(polygons(now), dtype=object)
    met = shapely.intersects(near, parts)
    # A hair of overlap, so that the two fit together without a seam.
    elsewhere = shapely.difference(parts[met], grow(near, -_SEAM_M))
    joined = [*parts[~met], *elsewhere, *polygons(there)]
    return shapely.disjoint_subset_union_all(joined) if joined else Polygon()


def _windows(changed: BaseGeometry, reach_m: float) -> BaseGeometry:
    """Return the ground within ``reach_m`` of what is ``changed``, and some more, in boxes."""
    blobs = polygons(grow(changed, reach_m))
    return shapely.union_all([shapely.box(*blob.bounds) for blob in blobs])
