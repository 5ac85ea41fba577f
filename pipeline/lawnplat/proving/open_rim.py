"""The edges of a lawn beyond which nothing is known."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import Polygon, STRtree
from shapely.geometry.base import BaseGeometry

from lawnplat.proving.recorded import union
from lawnplat.proving.things import Thing
from lawnplat.proving.tolerances import CM, MM
from lawnplat.settings.types import RuleBook, Treatment

RIM_STEP_M = 0.05
"""The lawn's rim is looked at in pieces of this length: a tenth of a peg's spacing."""


def open_rim_of(lawn: BaseGeometry, things: Sequence[Thing], rules: RuleBook) -> BaseGeometry:
    """Return the pieces of the lawn's rim that no thing governs; empty where there is none.

    A piece is governed where it lies within the rule book's ``edge_match_m`` of a thing that is
    kept off, or of one that is driven over and lies beyond the edge there.
    """
    rim = shapely.segmentize(shapely.boundary(lawn), RIM_STEP_M)
    pieces = _pieces(rim)
    if len(pieces) == 0:
        return Polygon()
    # A hair more than the rule, so that which edges count does not hang on a rounding.
    reach_m = rules.ground.edge_match_m + MM
    bodies = [each.geometry for each in things if each.is_wired]
    inner = shapely.buffer(lawn, 2 * CM)
    for each in things:
        if each.treatment is Treatment.DRIVE_OVER:
            beyond = shapely.difference(each.geometry, inner)
            bodies += [shapely.buffer(beyond, 2 * CM)] if beyond.area > 0 else []
    governed = np.zeros(len(pieces), dtype=bool)
    if bodies:
        governed[STRtree(pieces).query(bodies, predicate="dwithin", distance=reach_m)[1]] = True
    return union(pieces[~governed])


def _pieces(line: BaseGeometry) -> np.ndarray:
    """Return the straight pieces of lines, one a pair of neighbouring vertices."""
    found = [
        np.stack([points[:-1], points[1:]], axis=1)
        for part in shapely.get_parts(line)
        for points in [shapely.get_coordinates(part)]
    ]
    if not found:
        return np.empty(0, dtype=object)
    return np.asarray(shapely.linestrings(np.concatenate(found)), dtype=object)
