"""Lines cut into straight pieces, in buckets for the walk of `ray_kernel`."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from lawnplat.proving.simulation.ray_kernel import Pieces

FloatArray = NDArray[np.float64]

_BUCKETS_A_PIECE = 4.0
"""More buckets are walked through in vain, fewer hold more pieces each."""
_MOST_BUCKETS = 250_000
_GROWN_M = 1e-6
"""Buckets reach this far over their edges, so that rounding loses no piece."""


def pieces_of(points: list[FloatArray], bounds: tuple[float, float, float, float]) -> Pieces:
    """Return the straight pieces of lines, in order.

    Parameters
    ----------
    points : list of arrays of shape (n, 2)
        Vertices of each line, metres.
    bounds : tuple of float
        West, south, east, north of all that a machine can reach.
    """
    starts = np.concatenate([line[:-1] for line in points] or [np.empty((0, 2))])
    ends = np.concatenate([line[1:] for line in points] or [np.empty((0, 2))])
    length = np.hypot(*(ends - starts).T)
    keep = length > 0
    starts, ends, length = starts[keep], ends[keep], length[keep]
    lines = np.column_stack([starts, (ends - starts) / length[:, np.newaxis], length])
    west, south, east, north = bounds
    area = (east - west) * (north - south)
    buckets = min(max(_BUCKETS_A_PIECE * len(lines), 16.0), _MOST_BUCKETS)
    side = max(float(np.sqrt(area / buckets)), 0.05)
    frame = np.array([west - side, south - side, side])
    shape = np.array(
        [int((north - south) / side) + 3, int((east - west) / side) + 3], dtype=np.int64
    )
    begins, members = _in_buckets(starts, ends, frame, shape)
    return Pieces(np.ascontiguousarray(lines), begins, members, frame, shape)


def _in_buckets(
    starts: FloatArray, ends: FloatArray, frame: FloatArray, shape: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return where each bucket's members begin, and the members."""
    rows, columns = int(shape[0]), int(shape[1])
    west, south, side = frame
    row, column = np.divmod(np.arange(rows * columns), columns)
    boxes = shapely.box(
        west + column * side - _GROWN_M,
        south + row * side - _GROWN_M,
        west + (column + 1) * side + _GROWN_M,
        south + (row + 1) * side + _GROWN_M,
    )
    lines = shapely.linestrings(np.stack([starts, ends], axis=1))
    members, bucket = shapely.STRtree(boxes).query(lines, predicate="intersects")
    order = np.lexsort((members, bucket))
    begins = np.searchsorted(bucket[order], np.arange(rows * columns + 1))
    return begins.astype(np.int64), members[order].astype(np.int64)
