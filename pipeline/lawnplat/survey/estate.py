"""The parcels that share one metric CRS, and what in the other layers belongs to which."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from functools import cached_property

import numpy as np
import pyproj
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from lawnplat.survey import crs as crs_room
from lawnplat.survey.parcels import Parcel
from lawnplat.survey.types import Area, FloatArray

REACH_M = 50.0
"""Beyond any setback (20 m at most) or passage. A feature that runs farther past a parcel is cut
there, so that a street through a whole town is not carried along with every garden; spot heights
are taken from so far, so that the surface reaches past the boundary."""


class Estate:
    """The parcels in one CRS, with a spatial index.

    Parameters
    ----------
    crs : str
    parcels : sequence of Parcel
        All in ``crs``.
    """

    def __init__(self, crs: str, parcels: Sequence[Parcel]) -> None:
        self.crs = crs
        self.parcels = tuple(parcels)
        self.areas: NDArray[np.object_] = np.array([p.area for p in parcels], dtype=object)

    @cached_property
    def _tree(self) -> shapely.STRtree:
        return shapely.STRtree(self.areas)

    @cached_property
    def _by_id(self) -> dict[str, list[int]]:
        found: dict[str, list[int]] = {}
        for index, parcel in enumerate(self.parcels):
            found.setdefault(parcel.stated_id, []).append(index)
        return found

    def moved(
        self, geometries: Sequence[BaseGeometry], source: pyproj.CRS
    ) -> tuple[NDArray[np.object_], NDArray[np.bool_]]:
        """Return geometries in the estate's CRS, and which of them it can hold."""
        array = np.empty(len(geometries), dtype=object)
        array[:] = geometries
        found = crs_room.reproject(array, source, self.crs)
        return found, np.asarray(np.isfinite(shapely.bounds(found)).all(axis=1))

    def owners(
        self,
        shapes: NDArray[np.object_],
        stated_ids: Sequence[str],
        attach_m: FloatArray,
        known_ids: Collection[str],
    ) -> list[list[int]]:
        """Return, for each shape, the parcels that it belongs to.

        A shape with an id belongs to the parcel of that id; where several share it, to those within
        ``attach_m``, or to the nearest. A shape without an id, or with one that no parcel of the
        survey has, belongs to every parcel within ``attach_m``.

        Parameters
        ----------
        shapes : array of geometries, shape (n,)
        stated_ids : sequence of str
            Empty for none.
        attach_m : array of shape (n,)
        known_ids : collection of str
            Ids of the whole survey, which may be more than this estate.
        """
        free = np.array([not i or i not in known_ids for i in stated_ids], dtype=bool)
        found: list[list[int]] = [[] for _ in stated_ids]
        rows = np.flatnonzero(free)
        near, parcel = self._tree.query(shapes[rows], predicate="dwithin", distance=attach_m[rows])
        for row, index in sorted(zip(rows[near].tolist(), parcel.tolist(), strict=True)):
            found[row].append(index)
        for row in np.flatnonzero(~free).tolist():
            found[row] = self._of_id(shapes[row], stated_ids[row], attach_m[row])
        return found

    def _of_id(self, shape: BaseGeometry, stated_id: str, attach_m: float) -> list[int]:
        same = self._by_id.get(stated_id, [])
        if len(same) < 2:  # noqa: PLR2004
            return same
        away = shapely.distance(self.areas[same], shape)
        near = [index for index, d in zip(same, away, strict=True) if d <= attach_m]
        return near or [same[int(away.argmin())]]

    def near_points(self, xy: FloatArray) -> list[NDArray[np.int_]]:
        """Return, for each parcel, the points within `REACH_M`; by index, in ascending order."""
        tree = shapely.STRtree(np.asarray(shapely.points(xy)))
        parcel, point = tree.query(self.areas, predicate="dwithin", distance=REACH_M)
        order = np.lexsort((point, parcel))
        cuts = np.searchsorted(parcel[order], np.arange(1, len(self.parcels)))
        return np.split(point[order], cuts)


def within_reach(shape: BaseGeometry, area: Area) -> BaseGeometry:
    """Return a shape without what lies farther than `REACH_M` from a parcel's box."""
    low_x, low_y, high_x, high_y = shape.bounds
    west, south, east, north = area.bounds
    west, south, east, north = west - REACH_M, south - REACH_M, east + REACH_M, north + REACH_M
    if low_x >= west and low_y >= south and high_x <= east and high_y <= north:
        return shape
    near = shapely.intersection(shape, shapely.box(west, south, east, north))
    return shape if near.is_empty else near
