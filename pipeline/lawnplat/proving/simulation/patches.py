"""Passes over patches of a lawn, and the places that are cut far less than the rest."""

from __future__ import annotations

import itertools
from typing import cast

import contourpy
import numpy as np
import scipy.ndimage
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from lawnplat.geometry import as_multipolygon, inside_point
from lawnplat.proving.simulation.coverage_kernel import Marks
from lawnplat.proving.simulation.types import CoverageClass
from lawnplat.proving.simulation.ways import points_of
from lawnplat.proving.simulation.world import World
from lawnplat.settings.proving_rules import SimulationRules

FloatArray = NDArray[np.float64]
_Filled = tuple[list[FloatArray], list[NDArray[np.uint32]]]
"""Vertices of each piece, and where its rings begin among them."""

_LEAST_WEIGHT = 1e-6
"""Farther off the lawn than some smoothing lengths there is nothing to smooth."""


def smoothed(passes: NDArray[np.int64], marks: Marks, rules: SimulationRules) -> FloatArray:
    """Return passes as shares of their mean over the lawn, smoothed over the lawn's points alone.

    The smoothing is a Gaussian whose standard deviation is half of ``smoothing_m``.
    """
    width = 0.5 * rules.smoothing_m / marks.frame[2]
    mown = marks.mown.astype(float)
    weight = scipy.ndimage.gaussian_filter(mown, width, mode="constant")
    total = scipy.ndimage.gaussian_filter(passes * mown, width, mode="constant")
    mean = float(passes[marks.mown > 0].mean()) if marks.mown.any() else 0.0
    share = np.ones_like(total)
    if mean > 0:
        np.divide(total, weight * mean, out=share, where=weight > _LEAST_WEIGHT)
    return share


def classes_of(
    passes: NDArray[np.int64], marks: Marks, world: World, rules: SimulationRules
) -> tuple[CoverageClass, ...]:
    """Return the lawn by how often it is cut; together the classes are the lawn, once."""
    share = np.pad(smoothed(passes, marks, rules), 1, mode="edge")
    west, south, side = marks.frame
    x, y = points_of(np.array([west - side, south - side, side]), share.shape)
    filler = contourpy.contour_generator(x, y, share, fill_type=contourpy.FillType.OuterOffset)
    low = _between(filler, -1.0, rules.starve_share)
    middle = _between(filler, rules.starve_share, rules.seldom_share)
    starved = as_multipolygon(
        shapely.intersection(world.lawn, low), smallest_m2=rules.smallest_starved_m2
    )
    seldom = as_multipolygon(
        shapely.difference(shapely.intersection(world.lawn, shapely.union(low, middle)), starved),
        smallest_m2=rules.smallest_starved_m2,
    )
    evenly = as_multipolygon(shapely.difference(world.lawn, shapely.union(starved, seldom)))
    named = (("starves", starved), ("seldom", seldom), ("evenly", evenly))
    return tuple(
        _class(cut, area, passes, marks, world) for cut, area in named if not area.is_empty
    )


def unevenness(share: FloatArray, marks: Marks) -> float:
    """Return the relative standard deviation of smoothed passes over the lawn."""
    of_lawn = share[marks.mown > 0]
    return float(of_lawn.std() / of_lawn.mean()) if len(of_lawn) and of_lawn.mean() > 0 else 0.0


def _between(filler: contourpy.ContourGenerator, low: float, high: float) -> MultiPolygon:
    filled = filler.filled(low, high)
    found = []
    for vertices, begins in zip(*cast("_Filled", filled), strict=True):
        rings = [vertices[a:b] for a, b in itertools.pairwise(begins)]
        found.append(Polygon(rings[0], rings[1:]))
    return as_multipolygon(shapely.union_all(shapely.make_valid(np.array(found, dtype=object))))


def _class(
    cut: str, area: MultiPolygon, passes: NDArray[np.int64], marks: Marks, world: World
) -> CoverageClass:
    x, y = points_of(marks.frame, marks.mown.shape)
    shapely.prepare(area)
    inside = shapely.contains_xy(area, x[np.newaxis, :], y[:, np.newaxis]) & (marks.mown > 0)
    mean = passes[marks.mown > 0].mean()
    share = float(passes[inside].mean() / mean) if inside.any() and mean > 0 else 0.0
    largest = max(area.geoms, key=lambda piece: piece.area)
    moved = shapely.transform(area, lambda points: points + np.array(world.origin))
    place = inside_point(shapely.transform(largest, lambda points: points + np.array(world.origin)))
    return CoverageClass(cut, moved, share, largest.area, place)
