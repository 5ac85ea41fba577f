"""Ground shaped anew only near what changed: all of a large lawn takes too long."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import polygons
from lawnplat.ground.shape import shaped, without_specks
from lawnplat.settings.types import MachineClass, RuleBook

_HAIR_M = 1e-3
_COARSE_M = 0.1
_COARSE_SEGMENTS = 4
"""Chords to a quarter circle: of 4 m in reach, 0.08 m are lost."""
_SEAM_M = 1e-6
_SPECK_M2 = 1e-6
_LITTLE_MORE = 1.5


def reshaped(
    now: BaseGeometry,
    changed: BaseGeometry,
    left: Callable[[BaseGeometry], BaseGeometry],
    machine: MachineClass,
    rules: RuleBook,
) -> MultiPolygon:
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
        return MultiPolygon(polygons(now))
    there = shapely.intersection(shaped(left(_windows(changed, 3 * far_m)), machine, rules), near)
    shapely.prepare(near)
    parts = np.array(polygons(now), dtype=object)
    met = shapely.intersects(near, parts)
    # A hair of overlap, so that the two fit together without a seam.
    elsewhere = shapely.difference(parts[met], shapely.buffer(near, -_SEAM_M, join_style="mitre"))
    joined = [*parts[~met], *elsewhere, *polygons(there)]
    whole = shapely.disjoint_subset_union_all(joined) if joined else Polygon()
    return MultiPolygon([without_specks(part) for part in polygons(whole) if part.area > _SPECK_M2])


def _windows(changed: BaseGeometry, reach_m: float) -> BaseGeometry:
    """Return the ground within ``reach_m`` of what is ``changed``, and some more.

    In boxes where these take little more: every corner of a window is one to round.
    """
    coarse = shapely.simplify(changed, _COARSE_M)
    far_m = reach_m + 2 * _COARSE_M
    grown = shapely.buffer(coarse, far_m, quad_segs=_COARSE_SEGMENTS)
    blobs = np.array(polygons(grown), dtype=object)
    if len(blobs) == 0:
        return Polygon()
    boxes = np.asarray(shapely.box(*shapely.bounds(blobs).T), dtype=object)
    boxed = shapely.area(boxes) < _LITTLE_MORE * shapely.area(blobs)
    return shapely.union_all(np.where(boxed, boxes, blobs))
