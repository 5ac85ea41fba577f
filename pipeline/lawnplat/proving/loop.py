"""One loop of a written plan: its wire, station and sections, ready to be measured."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from lawnplat.proving.recorded import RecordedPlan, Row, union

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Loop:
    """One loop as the file has it.

    ``plan`` holds the loop's own rows alone, and the layers that tell of no loop. ``station`` and
    ``bearing_deg`` are None and NaN where the file holds no station for it.
    """

    number: int
    plan: RecordedPlan
    wire: LineString
    station: Point | None
    bearing_deg: float

    @cached_property
    def enclosed(self) -> BaseGeometry:
        """Return the ground inside the conductor, its two ends joined over the base."""
        ring = Polygon(np.concatenate([self.wire.coords, self.wire.coords[:1]]))
        return ring if ring.is_valid else shapely.buffer(ring, 0.0)

    @cached_property
    def segments(self) -> NDArray[np.object_]:
        """Return the conductor's straight pieces, one a pair of neighbouring vertices."""
        points = shapely.get_coordinates(self.wire)
        pairs = np.stack([points[:-1], points[1:]], axis=1)
        apart = np.hypot(*(pairs[:, 1] - pairs[:, 0]).T) > 0
        return np.asarray(shapely.linestrings(pairs[apart]), dtype=object)

    @cached_property
    def tree(self) -> shapely.STRtree:
        """Return a search tree over `segments`."""
        return shapely.STRtree(self.segments)

    @property
    def ahead(self) -> FloatArray:
        """Return the unit vector that the station's front faces."""
        angle = math.radians(self.bearing_deg)
        return np.array([math.sin(angle), math.cos(angle)])

    @property
    def sections(self) -> tuple[Row, ...]:
        """Return the conductor's sections, in the order of the file."""
        return self.plan.rows("wire_sections")

    @cached_property
    def leads(self) -> BaseGeometry:
        """Return the wire pairs."""
        return union(
            row.geometry
            for row in self.sections
            if row.text("section").startswith("lead") and row.geometry is not None
        )

    @cached_property
    def mowable(self) -> BaseGeometry:
        """Return what this loop's machine mows."""
        return self.plan.union("mowable")


def loop_of(plan: RecordedPlan, number: int) -> Loop:
    """Return one loop. A wire of several rows is taken by its first row.

    Where that row holds no line, the loop's wire is an empty line.
    """
    mine = plan.of_loop(number)
    lines = [row.geometry for row in mine.rows("perimeter_wire")]
    wire = lines[0] if lines and isinstance(lines[0], LineString) else LineString()
    stations = [row for row in mine.rows("station") if isinstance(row.geometry, Point)]
    at = stations[0].geometry if stations else None
    return Loop(
        number,
        mine,
        wire,
        at if isinstance(at, Point) else None,
        stations[0].number("bearing_deg") if stations else math.nan,
    )
