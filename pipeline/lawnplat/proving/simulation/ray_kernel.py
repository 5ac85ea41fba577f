"""The first straight piece of wire that a machine meets on a straight way: a walk over buckets."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_NEAR_M = 1e-9
"""Nearer than this is where the machine stands already."""
_SLACK_M = 1e-9
"""So that no way slips out between two pieces that share an end."""


class Pieces(NamedTuple):
    """Straight pieces in square buckets.

    Attributes
    ----------
    lines : array of shape (n, 5)
        x and y of the start, unit direction, length.
    begins : array of shape (rows * columns + 1,)
        Where each bucket's pieces begin in ``members``; row by row from the south-west.
    members : array of int64
        Numbers of pieces.
    frame : array of shape (3,)
        West and south edge, side of a bucket.
    shape : array of shape (2,)
        Rows and columns.
    """

    lines: FloatArray
    begins: IntArray
    members: IntArray
    frame: FloatArray
    shape: IntArray


@njit(cache=True, nogil=True)
def _tick(
    at: float, step: float, cell: int, origin: float, side: float
) -> tuple[int, float, float]:
    """Return the step of cells along an axis, the way to the first edge and from edge to edge."""
    if step > 0.0:
        return 1, (origin + (cell + 1) * side - at) / step, side / step
    if step < 0.0:
        return -1, (origin + cell * side - at) / step, -side / step
    return 0, math.inf, math.inf


@njit(cache=True, nogil=True)
def first_met(  # noqa: PLR0917 - compiled: plain numbers in order
    pieces: Pieces, x: float, y: float, dx: float, dy: float, skip: int, farthest_m: float
) -> tuple[int, float, float]:
    """Return the piece that is met first, the way to it, and the way along it.

    Parameters
    ----------
    pieces : Pieces
    x, y : float
        Start, inside the buckets.
    dx, dy : float
        Unit direction.
    skip : int
        Piece on which the machine stands; -1 for none.
    farthest_m : float
        Pieces beyond are not looked for.

    Returns
    -------
    tuple of (int, float, float)
        -1, ``farthest_m`` and 0 where none is met.
    """
    west, south, side = pieces.frame[0], pieces.frame[1], pieces.frame[2]
    rows, columns = pieces.shape[0], pieces.shape[1]
    column = math.floor((x - west) / side)
    row = math.floor((y - south) / side)
    column_step, next_column_m, column_m = _tick(x, dx, column, west, side)
    row_step, next_row_m, row_m = _tick(y, dy, row, south, side)
    met, way_m, along_m = -1, farthest_m, 0.0
    while 0 <= row < rows and 0 <= column < columns:
        bucket = row * columns + column
        for k in range(pieces.begins[bucket], pieces.begins[bucket + 1]):
            piece = pieces.members[k]
            if piece == skip:
                continue
            ux, uy = pieces.lines[piece, 2], pieces.lines[piece, 3]
            across = dx * uy - dy * ux
            if across == 0.0:
                continue
            to_x, to_y = pieces.lines[piece, 0] - x, pieces.lines[piece, 1] - y
            there_m = (to_x * uy - to_y * ux) / across
            if there_m <= _NEAR_M or there_m >= way_m:
                continue
            on_m = (to_x * dy - to_y * dx) / across
            if -_SLACK_M <= on_m <= pieces.lines[piece, 4] + _SLACK_M:
                met, way_m, along_m = piece, there_m, on_m
        leaves_m = min(next_column_m, next_row_m)
        if way_m <= leaves_m:
            break
        if next_column_m < next_row_m:
            column += column_step
            next_column_m += column_m
        else:
            row += row_step
            next_row_m += row_m
    return met, way_m, along_m
