"""Between a raster's cells and the ground: its affine transform, both ways.

Written out, because the operator for it differs between the versions of the affine package.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rasterio import Affine


def to_ground(transform: Affine, column: Any, row: Any) -> tuple[Any, Any]:
    """Return the place of fractional (column, row), (0, 0) being the raster's outer corner."""
    x = transform.a * column + transform.b * row + transform.c
    y = transform.d * column + transform.e * row + transform.f
    return x, y


def to_cell(transform: Affine, x: Any, y: Any) -> tuple[Any, Any]:
    """Return the fractional (column, row) of a place."""
    east, north = x - transform.c, y - transform.f
    determinant = transform.a * transform.e - transform.b * transform.d
    column = (transform.e * east - transform.b * north) / determinant
    row = (transform.a * north - transform.d * east) / determinant
    return column, row
