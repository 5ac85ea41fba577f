"""The conductor: ground with its islands slit open and its carried lawns strung on has one rim.

Each lead to an island is cut as a slit one wire-pair wide; each lead to a carried lawn is added as
a strip as wide. What is left has no holes, so its outer ring is the whole wire and cannot cross
itself; going and coming back along a lead lie side by side on the slit's two edges.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import LineString, Point, Polygon

from lawnplat.geometry import FloatArray, polygons, union
from lawnplat.wire.leads import Lead

_SAME_M = 1e-9


class BrokenRim(ValueError):
    """The slit ground is not one polygon without holes."""


def slit_ground(pieces: Sequence[Polygon], leads: Sequence[Lead], gap_m: float) -> Polygon:
    """Return the one polygon whose outer ring is the conductor.

    Raises
    ------
    BrokenRim
        Where the leads do not make the ground one polygon without holes.
    """
    slits = union(_ribbon(lead.line, gap_m, gap_m) for lead in leads if not lead.carried)
    strips = union(_ribbon(lead.line, gap_m, gap_m) for lead in leads if lead.carried)
    cut = shapely.difference(union(pieces), slits)
    whole = [part for part in polygons(shapely.union(cut, strips)) if part.area > gap_m**2]
    if len(whole) != 1 or len(whole[0].interiors) > 0:
        holes = sum(len(part.interiors) for part in whole)
        raise BrokenRim(f"{len(whole)} pieces with {holes} holes are left where one ring should be")
    return whole[0]


def _ribbon(line: LineString, width_m: float, beyond_m: float) -> Polygon:
    """Return ``line`` made ``width_m`` wide and ``beyond_m`` longer at both ends."""
    points = shapely.get_coordinates(line)
    first, last = points[0] - points[1], points[-1] - points[-2]
    points[0] += first / np.hypot(*first) * beyond_m
    points[-1] += last / np.hypot(*last) * beyond_m
    ribbon: Polygon = shapely.buffer(
        LineString(points), width_m / 2, cap_style="flat", join_style="mitre"
    )
    return ribbon


def conductor(ground: Polygon, station: Point, terminal_gap_m: float) -> LineString:
    """Return the outer ring of ``ground`` as a line from the left terminal to the right one.

    The lawn lies to the right of the line: seen from behind the station, which faces the lawn, it
    sets off to the left. The line is open by ``terminal_gap_m`` at the station.
    """
    ring = shapely.get_coordinates(shapely.orient_polygons(ground, exterior_cw=True).exterior)
    closed = LineString(ring)
    home_m = float(shapely.line_locate_point(closed, station))
    return _substring(ring, home_m + terminal_gap_m / 2, closed.length - terminal_gap_m)


def _substring(ring: FloatArray, start_m: float, length_m: float) -> LineString:
    """Return the stretch of a closed ring from ``start_m`` on, round its seam where need be."""
    twice = np.concatenate([ring, ring[1:]])
    runs = np.hypot(*np.diff(twice, axis=0).T)
    at = np.concatenate([[0.0], np.cumsum(runs)])
    end_m = start_m + length_m
    inner = (at > start_m + _SAME_M) & (at < end_m - _SAME_M)
    whole = LineString(twice)
    ends = shapely.get_coordinates(shapely.line_interpolate_point(whole, [start_m, end_m]))
    line = np.concatenate([ends[:1], twice[inner], ends[1:]])
    kept = np.concatenate([[True], np.hypot(*np.diff(line, axis=0).T) > _SAME_M])
    return LineString(line[kept])
