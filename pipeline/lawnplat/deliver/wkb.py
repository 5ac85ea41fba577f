"""Geometry blobs of a GeoPackage."""

from __future__ import annotations

import struct

import shapely
from shapely.geometry.base import BaseGeometry

_ENVELOPE_BYTES = (0, 32, 48, 48, 64)
"""Of the envelope in a GeoPackage geometry's header, by its kind (OGC 12-128, 2.1.3)."""
_HEADER_BYTES = 8
_MAGIC, _VERSION = b"GP", 0
_LITTLE_ENDIAN, _WITH_XY, _EMPTY = 0b00001, 0b00010, 0b10000
"""Flags of the header: byte order, an envelope of two axes, no coordinates at all."""


def geometry_of(blob: bytes) -> BaseGeometry:
    """Return the geometry that a GeoPackage holds in a cell.

    Raises
    ------
    IndexError, shapely.GEOSException
        The blob is none of a GeoPackage's.
    """
    envelope = _ENVELOPE_BYTES[(blob[3] >> 1) & 0b111]
    return shapely.from_wkb(blob[_HEADER_BYTES + envelope :])


def blob_of(geometry: BaseGeometry, srs_id: int) -> bytes:
    """Return what a GeoPackage holds of a plane geometry (OGC 12-128, 2.1.3).

    As is usual, a point has no envelope in its header; nor has what is empty.
    """
    flags, envelope = _LITTLE_ENDIAN, b""
    if geometry.is_empty:
        flags |= _EMPTY
    elif geometry.geom_type != "Point":
        west, south, east, north = geometry.bounds
        flags, envelope = flags | _WITH_XY, struct.pack("<4d", west, east, south, north)
    header = struct.pack("<2sBBi", _MAGIC, _VERSION, flags, srs_id)
    body = shapely.to_wkb(geometry, output_dimension=2, byte_order=1, flavor="iso")
    return header + envelope + body
