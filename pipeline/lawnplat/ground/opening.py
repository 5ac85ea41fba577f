"""What a disc reaches inside ground of many polygons, worked out polygon by polygon.

A parallel curve of many polygons at once takes several times as long as one of each: what it finds
is placed among all of them, and where rounding spoils it anywhere all is done anew, on a coarser
grid.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import QUARTER_SEGMENTS, polygons


def shrunk(ground: BaseGeometry, by_m: float) -> MultiPolygon:
    """Return where a disc of radius ``by_m`` may have its middle in ``ground``."""
    parts = np.array(polygons(ground), dtype=object)
    return MultiPolygon([core for cores in _grown(parts, -by_m) for core in polygons(cores)])


def swept(cores: BaseGeometry, radius_m: float) -> BaseGeometry:
    """Return what discs of ``radius_m`` cover whose middles lie in ``cores``."""
    bodies = _grown(np.array(polygons(cores), dtype=object), radius_m)
    # Few bodies touch: only these are noded.
    return shapely.disjoint_subset_union_all(bodies) if len(bodies) else Polygon()


def opened(ground: BaseGeometry, radius_m: float) -> BaseGeometry:
    """Return what a disc of ``radius_m`` can reach inside ``ground`` (morphological opening)."""
    return swept(shrunk(ground, radius_m), radius_m)


def _grown(parts: NDArray[np.object_], by_m: float) -> NDArray[np.object_]:
    return np.asarray(shapely.buffer(parts, by_m, quad_segs=QUARTER_SEGMENTS))
