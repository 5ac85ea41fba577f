"""Leads land squarely on their rims, so that the two wires of a pair end side by side.

Where a lead runs into a rim at a slant, one wire of the pair meets it before the other does, and
the other runs on alone: by the pair's gap times the cotangent of the slant. So a foot is dropped
from the lead's last leg to the nearest point of the rim, which makes the lead no longer.
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely import LineString, Point

from lawnplat.geometry import FloatArray
from lawnplat.wire.gentle_leads import Openness

_SQUARE_ENOUGH = 0.5
"""Sine of the slant, 30 degrees: one wire is alone for under two gaps."""
_STEPS = 40
_LOOKED_M = 0.02
"""The rim's direction at a lead's end is taken over this length to both sides."""
_BEND_OFF_M = 0.05
"""A pair that bends to land does so at least this far from the rim."""
_ASIDE_M = 0.5
_STRAIGHT = 2
"""Places of a line without a bend."""
_HAIR_M = 1e-6


def landed(
    line: LineString, rings: tuple[LineString, LineString], is_open: Openness
) -> LineString:
    """Return ``line`` with ends that come in at a slant moved to land squarely, where that is open.

    Parameters
    ----------
    line : LineString
        From the first of ``rings`` to the second.
    rings : tuple of LineString
    is_open : callable
        Tells which of some lines may be laid.

    Returns
    -------
    LineString
        Straight lines are preferred to those with one more bend. Only where the line comes in all
        along the rim is it longer, by a hand's breadth.
    """
    for ring in rings[::-1]:
        whole = _without_stub(line)
        if line.length > _HAIR_M and _slant(whole, ring) < _SQUARE_ENOUGH:
            line = _end_moved(line, whole, ring, is_open)
        line = shapely.reverse(line)
    return line


def _without_stub(line: LineString) -> LineString:
    """Return ``line`` without bends so near to its end that the pair is all but past them."""
    if shapely.get_num_coordinates(line) == _STRAIGHT:
        return line
    places = shapely.get_coordinates(line)
    near = np.hypot(*(places - places[-1]).T) < _BEND_OFF_M
    near[[0, -1]] = False
    return LineString(places[~near]) if near.any() else line


def _slant(line: LineString, ring: LineString) -> float:
    """Return the sine of the angle between the last leg of ``line`` and the rim it ends on."""
    leg = _unit(*shapely.get_coordinates(line)[-2:])
    at_m = float(shapely.line_locate_point(ring, Point(line.coords[-1])))
    beside = np.mod([at_m - _LOOKED_M, at_m + _LOOKED_M], ring.length)
    along = _unit(*shapely.get_coordinates(shapely.line_interpolate_point(ring, beside)))
    return float(abs(leg[0] * along[1] - leg[1] * along[0]))


def _unit(one: FloatArray, other: FloatArray) -> FloatArray:
    run = other - one
    return np.asarray(run / max(float(np.hypot(*run)), _HAIR_M))


def _end_moved(
    found: LineString, line: LineString, ring: LineString, is_open: Openness
) -> LineString:
    """Return ``line`` ending as squarely on ``ring`` as may be, or ``found`` as it is."""
    before = shapely.get_coordinates(line)[:-1]
    squarest, best = _slant(line, ring), found
    beside = (_beside(line, ring, off_m) for off_m in (2 * _BEND_OFF_M, _BEND_OFF_M))
    for ends in (_feet(line, ring), _bent_feet(line, ring), *beside):
        ways = (LineString([*before, *end]) for end in ends)
        lines = np.array([way for way in ways if way.length > _HAIR_M], dtype=object)
        if len(lines) == 0:
            continue
        lines = lines[is_open(lines)]
        for way in lines[np.argsort(shapely.length(lines), kind="stable")]:
            slant = _slant(way, ring)
            if slant > squarest:
                squarest, best = slant, way
            if slant >= _SQUARE_ENOUGH:
                return best
    return best


def _off(line: LineString, ring: LineString) -> tuple[FloatArray, FloatArray]:
    """Return places along the last leg, and the feet dropped from them; each of shape (n, 2)."""
    last = LineString(shapely.get_coordinates(line)[-2:])
    shares = np.arange(1, _STEPS) / _STEPS
    places = shapely.line_interpolate_point(last, shares, normalized=True)
    feet = shapely.get_coordinates(shapely.shortest_line(places, ring))[1::2]
    return shapely.get_coordinates(places), feet


def _feet(line: LineString, ring: LineString) -> FloatArray:
    """Return where a straight last leg could end. Shape (n, 1, 2)."""
    return np.asarray(_off(line, ring)[1][:, None])


def _bent_feet(line: LineString, ring: LineString) -> FloatArray:
    """Return bends on the last leg and the feet dropped from there. Shape (n, 2, 2)."""
    places, feet = _off(line, ring)
    far_m = np.hypot(*(places - shapely.get_coordinates(line)[-1]).T)
    kept = (far_m < _ASIDE_M) & (np.hypot(*(places - feet).T) > _BEND_OFF_M)
    return np.asarray(np.stack([places, feet], axis=1)[kept])


def _beside(line: LineString, ring: LineString, off_m: float) -> FloatArray:
    """Return bends ``off_m`` off the rim, and feet, at the line's end and to both sides of it.

    Shape (n, 2, 2). For a line that comes in all along the rim.
    """
    at_m = float(shapely.line_locate_point(ring, Point(line.coords[-1])))
    aside = np.arange(_BEND_OFF_M, _ASIDE_M, _BEND_OFF_M)
    along = at_m + np.concatenate([[0.0], aside, -aside])
    three = np.stack([along, along - _LOOKED_M, along + _LOOKED_M], axis=1) % ring.length
    feet, one, other = shapely.get_coordinates(
        shapely.line_interpolate_point(ring, three.T.ravel())
    ).reshape(3, -1, 2)
    unit = (other - one) / np.maximum(np.hypot(*(other - one).T), _HAIR_M)[:, None]
    normal = off_m * np.stack([-unit[:, 1], unit[:, 0]], axis=1)
    bends = np.concatenate([feet + normal, feet - normal])
    return np.stack([bends, np.concatenate([feet, feet])], axis=1)
