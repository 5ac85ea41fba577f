"""Geometry blobs of a GeoPackage."""

from __future__ import annotations

import shapely
from shapely.geometry.base import BaseGeometry

_ENVELOPE_BYTES = (0, 32, 48, 48, 64)
"""Of the envelope in a GeoPackage geometry's header, by its kind (OGC 12-128, 2.1.3)."""
_HEADER_BYTES = 8


def geometry_of(blob: bytes) -> BaseGeometry:
    """Return the geometry that a GeoPackage holds in a cell.

    Raises
    ------
    IndexError, shapely.GEOSException
        The blob is none of a GeoPackage's.
    """
    envelope = _ENVELOPE_BYTES[(blob[3] >> 1) & 0b111]
    return shapely.from_wkb(blob[_HEADER_BYTES + envelope :])
