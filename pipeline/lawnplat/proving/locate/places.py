"""Places on a wire by chainage, and a broken stretch halved."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from pyproj import CRS
from shapely import LineString, Point

from lawnplat.errors import SurveyError
from lawnplat.proving.chained import ChainedWire
from lawnplat.proving.locate.known import Known, Marked
from lawnplat.proving.locate.two_tapes import SquareOff, TwoTapes, square_off, two_tapes
from lawnplat.settings.types import RuleBook
from lawnplat.survey.crs import to_degrees

_HALVINGS = 2
"""The middle, then the quarters: further ones depend on what is measured there."""
_DIGITS_DEG = 8
"""A millimetre on the ground."""


@dataclass(frozen=True)
class Beside:
    """The nearest peg or joint to one side, ``away_m`` along the wire."""

    name: str
    chainage_m: float
    away_m: float


@dataclass(frozen=True)
class AlongWire:
    """A peg that two tapes reach, and how far along the wire from it a place lies.

    ``way`` is ``on`` in the sense of the chainage, ``back`` against it.
    """

    peg: str
    tapes: TwoTapes
    away_m: float
    way: str


@dataclass(frozen=True)
class Located:
    """One place on a wire.

    Where no two tapes reach it, ``square`` and ``along`` say how it is found all the same.
    ``x_m`` and ``y_m`` in the record's CRS, ``lon`` and ``lat`` in degrees on WGS 84. ``across_m``
    is how far the wire may lie to the side of the place, ``along_m`` how far the place may be off
    along the wire, for the spare that lies at a wire's end too; NaN where it was not measured.
    """

    on: str
    chainage_m: float
    x_m: float
    y_m: float
    lon: float
    lat: float
    tapes: TwoTapes | None
    square: SquareOff | None
    along: AlongWire | None
    peg_before: Beside | None
    peg_after: Beside | None
    joint: Beside | None
    across_m: float
    along_m: float


@dataclass(frozen=True)
class Halving:
    """A testing point: ``step`` 1 is the middle, 2 the quarters.

    ``open_joint`` names a joint near enough to be opened in place of cutting the wire; the place is
    then the joint's. ``if_broken`` is the stretch that the point halves.
    """

    step: int
    if_broken: str
    place: Located
    open_joint: str


@dataclass(frozen=True)
class Stretch:
    """A stretch of wire that holds a break, and where to test it, in order."""

    start: Located
    end: Located
    line: LineString
    length_m: float
    halvings: tuple[Halving, ...]
    tests_left: int
    """How many tests leave a stretch that is laid bare whole."""


def located(known: Known, wire: ChainedWire, chainage_m: float, rules: RuleBook) -> Located:
    """Return the place at a chainage.

    Raises
    ------
    SurveyError
        The wire has no such chainage.
    """
    if not 0.0 <= chainage_m <= wire.length_m:
        what = f"chainage {chainage_m:g} m is not on {wire.on}, which runs from 0 to"
        raise SurveyError(known.property_id, f"{what} {wire.length_m:.2f} m", "--on names a wire")
    xy = wire.places(np.array([chainage_m]))[0]
    place = Point(np.round(xy, 3))
    lon, lat = to_degrees(CRS.from_user_input(known.crs), xy).tolist()
    pegs = [each for each in known.pegs if each.on == wire.on]
    joints = [each for each in known.joints if each.on == wire.on]
    sigma_m = known.accuracy_m.get(wire.on, math.nan)
    bare = any(on == wire.on and a <= chainage_m <= b for on, a, b in known.not_measured)
    reach_m = rules.as_laid.stray_sigmas * (math.nan if bare else sigma_m)
    tapes = two_tapes(place, known.fixed, known.solid, rules.setting_out)
    other = tapes is None
    return Located(
        on=wire.on,
        chainage_m=round(chainage_m, 3),
        x_m=place.x,
        y_m=place.y,
        lon=round(lon, _DIGITS_DEG),
        lat=round(lat, _DIGITS_DEG),
        tapes=tapes,
        square=square_off(place, known.fixed, known.solid, rules.setting_out) if other else None,
        along=_along(known, pegs, chainage_m, rules) if other else None,
        peg_before=_last([p for p in pegs if p.chainage_m <= chainage_m], chainage_m),
        peg_after=_first([p for p in pegs if p.chainage_m > chainage_m], chainage_m),
        joint=_nearest(joints, chainage_m),
        across_m=round(reach_m, 3),
        along_m=round(reach_m + rules.wire.spare_end_m, 3),
    )


def stretch(
    known: Known, wire: ChainedWire, from_m: float, to_m: float, rules: RuleBook
) -> Stretch:
    """Return a stretch, and the places that halve it and its halves.

    Raises
    ------
    SurveyError
        The wire has no such chainage, or the stretch has no length.
    """
    if not from_m < to_m:
        what = f"from {from_m:g} to {to_m:g} m is no stretch"
        raise SurveyError(known.property_id, what, "give the lesser chainage first")
    ends = [located(known, wire, at, rules) for at in (from_m, to_m)]
    length = to_m - from_m
    left = math.ceil(math.log2(max(length / rules.as_laid.last_stretch_m, 1.0)))
    halvings = []
    for step in range(1, min(_HALVINGS, left) + 1):
        part = length / 2**step
        for odd in range(1, 2**step, 2):
            at = from_m + odd * part
            place, opened = _testing_point(known, wire, at, rules)
            within = f"{at - part:.2f} to {at + part:.2f} m"
            halvings.append(Halving(step, within, located(known, wire, place, rules), opened))
    line = wire.places_between(from_m, to_m)
    return Stretch(ends[0], ends[1], line, round(length, 3), tuple(halvings), left)


def _along(
    known: Known, pegs: Sequence[Marked], at_m: float, rules: RuleBook
) -> AlongWire | None:
    """Return the nearest peg of a wire that two tapes reach, if any does."""
    for peg in sorted(pegs, key=lambda each: abs(each.chainage_m - at_m)):
        tapes = two_tapes(peg.point, known.fixed, known.solid, rules.setting_out)
        if tapes is not None:
            way = "on" if at_m >= peg.chainage_m else "back"
            return AlongWire(peg.name, tapes, round(abs(peg.chainage_m - at_m), 3), way)
    return None


def _testing_point(
    known: Known, wire: ChainedWire, at_m: float, rules: RuleBook
) -> tuple[float, str]:
    """Return where to test near a chainage, and the joint that is opened there, if any."""
    joint = _nearest([each for each in known.joints if each.on == wire.on], at_m)
    if joint is None or joint.away_m > rules.as_laid.joint_near_m:
        return at_m, ""
    return min(max(joint.chainage_m, 0.0), wire.length_m), joint.name


def _nearest(marked: Sequence[Marked], at_m: float) -> Beside | None:
    found = min(marked, key=lambda each: abs(each.chainage_m - at_m), default=None)
    return None if found is None else _beside(found, at_m)


def _last(marked: Sequence[Marked], at_m: float) -> Beside | None:
    found = max(marked, key=lambda each: each.chainage_m, default=None)
    return None if found is None else _beside(found, at_m)


def _first(marked: Sequence[Marked], at_m: float) -> Beside | None:
    found = min(marked, key=lambda each: each.chainage_m, default=None)
    return None if found is None else _beside(found, at_m)


def _beside(each: Marked, at_m: float) -> Beside:
    return Beside(each.name, round(each.chainage_m, 3), round(abs(each.chainage_m - at_m), 3))
