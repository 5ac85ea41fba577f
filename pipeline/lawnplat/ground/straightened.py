"""Ground whose rim is drawn straight past a station, at the loss of a sliver of lawn."""

from __future__ import annotations

from dataclasses import replace

import shapely
from shapely import LineString, Polygon
from shapely.ops import substring

from lawnplat.geometry import as_multipolygon, polygons, union
from lawnplat.ground.given_up import hand_trim
from lawnplat.ground.types import Cause, Ground, KeepOut, Part
from lawnplat.settings.types import RuleBook

STRAIGHT_WIRE = "straight_wire"


def cut_off(piece: Polygon, rim: LineString, from_m: float, to_m: float) -> tuple[Polygon, Polygon]:
    """Return ``piece`` with the stretch of ``rim`` made a chord, and the sliver that this takes.

    Parameters
    ----------
    piece : Polygon
    rim : LineString
        Its outer ring, closed; the chord must lie in ``piece``.
    from_m, to_m : float
        Chainages of the stretch's ends along ``rim``; less than 0 and more than its length go on
        round the ring.
    """
    whole = rim.length
    start_m = from_m % whole
    twice = LineString([*rim.coords, *rim.coords[1:]])
    stretch = substring(twice, start_m, start_m + to_m - from_m)
    rest = substring(twice, start_m + to_m - from_m, start_m + whole)
    return Polygon(rest.coords, [ring.coords for ring in piece.interiors]), Polygon(stretch.coords)


def straightened(
    ground: Ground, piece: Polygon, left: Polygon, sliver: Polygon, rules: RuleBook
) -> Ground:
    """Return ``ground`` with ``left`` in the place of ``piece``: ``sliver`` is given up.

    The sliver is a keep-out ``straight_wire``, its grass trimmed by hand.
    """
    wired = ground.wire_ground
    home = [shapely.covers(piece, shapely.point_on_surface(part.area)) for part in ground.parts]
    given_up = union(
        shapely.intersection(part.area, sliver)
        for part, here in zip(ground.parts, home, strict=True)
        if here
    )
    keep_outs = (*ground.keep_outs, KeepOut(STRAIGHT_WIRE, 0.0, as_multipolygon(given_up)))
    causes = (*ground.causes, Cause(STRAIGHT_WIRE, 0.0, sliver, sliver))
    return replace(
        ground,
        parts=tuple(
            _less(part, left) if here else part
            for part, here in zip(ground.parts, home, strict=True)
        ),
        keep_outs=keep_outs,
        hand_trim=hand_trim(keep_outs, causes, rules),
        wire_ground=replace(
            wired, pieces=tuple(left if each is piece else each for each in wired.pieces)
        ),
        causes=causes,
    )


def _less(part: Part, left: Polygon) -> Part:
    kept = polygons(shapely.intersection(part.area, left))
    return replace(part, area=max(kept, key=lambda each: each.area))
