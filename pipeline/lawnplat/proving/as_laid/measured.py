"""The measured points of each wire, by the chainage that they stand for."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.optimize
from numpy.typing import NDArray

from lawnplat.geometry import FloatArray
from lawnplat.proving.as_laid.matching import IntArray, Way, match_line, states_of
from lawnplat.proving.chained import ChainedWire
from lawnplat.survey.track import TrackLine

_APART_M = 0.25
"""Points nearer together do not tell which way a line runs; those between follow the others."""
_APART_SIGMAS = 6.0
_SLACK_M = 0.5
"""How far a point may stand from the chainages of the points that it follows."""
_DRAWN_STEP_M = 0.5
"""Long strokes of a drawn line are held against the plan at every such step."""
_END_M = 1e-6


@dataclass(frozen=True)
class Measured:
    """Points of one wire in the order of its chainage; all arrays of shape (n,), or (n, 2).

    Attributes
    ----------
    chainage_m : array
        Of the nearest place of the planned wire, in order along the track.
    offset_m : array
        From the planned wire, to its left where positive.
    sigma_m : array
        Standard deviation in each of two axes.
    drawn_between : array of bool
        Whether the point was only set between two points of a drawn line.
    """

    wire: ChainedWire
    xy: FloatArray
    chainage_m: FloatArray
    offset_m: FloatArray
    sigma_m: FloatArray
    times: tuple[str, ...]
    drawn_between: NDArray[np.bool_]

    def where(self, keep: NDArray[np.bool_]) -> Measured:
        """Return the points for which ``keep`` holds."""
        return Measured(
            self.wire, self.xy[keep], self.chainage_m[keep], self.offset_m[keep],
            self.sigma_m[keep],
            tuple(t for t, k in zip(self.times, keep, strict=True) if k), self.drawn_between[keep],
        )  # fmt: skip


@dataclass(frozen=True)
class _Followed:
    """One line and its way: which points were set between others, which told the way."""

    line: TrackLine
    between: NDArray[np.bool_]
    anchors: IntArray
    way: Way
    wires: Sequence[ChainedWire]


@dataclass(frozen=True)
class Matching:
    """What became of a track: points by wire, and those that stand for no wire.

    ``elsewhere`` are points, shape (n, 2), farther than the rule book's reach off every wire, where
    no wire was followed before and after; ``twice`` counts points of stretches measured before.
    """

    wires: tuple[Measured, ...]
    elsewhere: FloatArray
    twice: int


def measured_wires(
    lines: Sequence[TrackLine], wires: Sequence[ChainedWire], reach_m: float, largest_gap_m: float
) -> Matching:
    """Return the points of measured lines by the wire and chainage that they stand for.

    Parameters
    ----------
    lines : sequence of TrackLine
        In the CRS of the wires.
    wires : sequence of ChainedWire
    reach_m : float
        How far off a wire a point of it may lie.
    largest_gap_m : float
        In a drawn line, a longer stroke is held against the plan along its length.
    """
    states = states_of(wires)
    runs: list[Measured] = []
    elsewhere = [np.empty((0, 2))]
    names = [wire.on for wire in wires]
    for line in lines:
        full, between = _with_strokes(line, largest_gap_m)
        anchors = _anchors(full.xy, full.accuracy_m)
        only = names.index(line.name) if line.name in names else None
        way = match_line(full.xy[anchors], full.accuracy_m[anchors], states, reach_m, only)
        found, lost = _runs(_Followed(full, between, anchors, way, wires), reach_m)
        runs += found
        elsewhere.append(full.xy[lost])
    kept, twice = _once(runs, wires)
    return Matching(kept, np.concatenate(elsewhere), twice)


def _with_strokes(line: TrackLine, largest_gap_m: float) -> tuple[TrackLine, NDArray[np.bool_]]:
    """Return a drawn line with points along its long strokes, and which points those are."""
    steps = np.hypot(*np.diff(line.xy, axis=0).T)
    parts = np.where(line.drawn & (steps > largest_gap_m), np.ceil(steps / _DRAWN_STEP_M), 1)
    parts = parts.astype(np.intp)
    starts = np.repeat(np.arange(len(steps)), parts)
    within = np.arange(len(starts)) - np.repeat(np.cumsum(parts) - parts, parts)
    at = np.append(starts + within / np.repeat(parts, parts), float(len(steps)))
    index = np.arange(len(line.xy))
    xy = np.stack([np.interp(at, index, column) for column in line.xy.T], axis=1)
    between = at != np.floor(at)
    whole = np.floor(at).astype(np.intp)
    times = tuple("" if b else line.times[i] for i, b in zip(whole, between, strict=True))
    sigma_m = np.interp(at, index, line.accuracy_m)
    return TrackLine(line.name, xy, sigma_m, times, line.drawn, line.where), between


def _anchors(xy: FloatArray, sigma_m: FloatArray) -> IntArray:
    """Return the points that are far enough from one another to tell which way a line runs."""
    found = [0]
    for k in range(1, len(xy)):
        apart = float(np.hypot(*(xy[k] - xy[found[-1]])))
        if apart >= max(_APART_M, _APART_SIGMAS * sigma_m[k]):
            found.append(k)
    return np.array(found, dtype=np.intp)


def _runs(job: _Followed, reach_m: float) -> tuple[list[Measured], IntArray]:
    """Return the runs of one line along a wire, and the points that belong to none."""
    line, anchors, way, wires = job.line, job.anchors, job.way, job.wires
    spans = list(_spans(way, wires))
    if not spans:
        return [], np.arange(len(line.xy))
    of_run = np.full(len(line.xy), -1, dtype=np.intp)
    near_m = np.full(len(line.xy), np.nan)
    for number, span in enumerate(spans):
        points = anchors[way.index[span]]
        first, last = points[0], points[-1]
        if number == 0 and way.index[span][0] == 0:
            first = 0
        if number == len(spans) - 1 and way.index[span][-1] == len(anchors) - 1:
            last = len(line.xy) - 1
        inside = np.arange(first, last + 1)
        of_run[inside] = number
        # By the way walked between two anchors: true enough to look for the nearest place there.
        walked = _walked(line.xy)
        near_m[inside] = np.interp(walked[inside], walked[points], way.chainage_m[span])
    _attach(line.xy, of_run, near_m, [wires[way.wire[span.start]] for span in spans], reach_m)
    found = [
        _refined(job, np.flatnonzero(of_run == number), near_m, span)
        for number, span in enumerate(spans)
    ]
    return found, np.flatnonzero(of_run < 0)


def _attach(
    xy: FloatArray,
    of_run: IntArray,
    near_m: FloatArray,
    of_wire: Sequence[ChainedWire],
    reach_m: float,
) -> None:
    """Give points between two runs to the nearer end of one, where that is within reach."""
    taken = np.flatnonzero(of_run >= 0)
    for k in np.flatnonzero(of_run < 0):
        place = int(np.searchsorted(taken, k))
        best = reach_m
        for beside in taken[max(place - 1, 0) : place + 1]:
            wire, at = of_wire[of_run[beside]], near_m[beside]
            nearest = wire.nearest_within(xy[k], at - _SLACK_M, at + _SLACK_M)
            off = float(np.hypot(*(wire.places(np.array([nearest]))[0] - xy[k])))
            if off < best:
                best, of_run[k], near_m[k] = off, of_run[beside], at


def _spans(way: Way, wires: Sequence[ChainedWire]) -> Iterator[slice]:
    """Yield the parts of a way between leaps; one that passes the station is two."""
    if not len(way.index):
        return
    length = np.array([wires[k].length_m for k in way.wire])
    past_station = np.abs(np.diff(way.chainage_m)) > length[1:] / 2
    past_station &= np.array([wires[k].is_perimeter for k in way.wire[1:]], dtype=bool)
    cuts = np.flatnonzero(way.leap[1:] | past_station) + 1
    bounds = [0, *cuts.tolist(), len(way.index)]
    for start, stop in itertools.pairwise(bounds):
        yield slice(start, stop)


def _walked(xy: FloatArray) -> FloatArray:
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])


def _refined(job: _Followed, points: IntArray, near_m: FloatArray, span: slice) -> Measured:
    """Return the points of one run with the chainage nearest to each, in order."""
    line = job.line
    wire, onward = job.wires[job.way.wire[span.start]], job.way.onward[span.start]
    xy, sigma_m = line.xy[points], line.accuracy_m[points]
    slack_m = _SLACK_M + sigma_m
    nearest = np.array(
        [
            wire.nearest_within(point, at - slack, at + slack)
            for point, at, slack in zip(xy, near_m[points], slack_m, strict=True)
        ]
    )
    # A rover stands still or its noise runs back: the order of the points is the truth.
    order = scipy.optimize.isotonic_regression(
        nearest, weights=1.0 / sigma_m**2, increasing=onward > 0
    ).x
    sorting = (
        np.argsort(order, kind="stable") if onward > 0 else np.argsort(order[::-1], kind="stable")
    )
    if onward < 0:
        sorting = len(points) - 1 - sorting
    return Measured(
        wire=wire,
        xy=xy[sorting],
        chainage_m=np.clip(order, 0.0, wire.length_m)[sorting],
        offset_m=offsets(wire, xy, nearest)[sorting],
        sigma_m=sigma_m[sorting],
        times=tuple(line.times[k] for k in points[sorting]),
        drawn_between=job.between[points][sorting],
    )


def offsets(wire: ChainedWire, xy: FloatArray, nearest_m: FloatArray) -> FloatArray:
    """Return how far points lie to the left of their nearest places; beyond an end, square off."""
    off, lefts = xy - wire.places(nearest_m), wire.lefts(nearest_m)
    square = (off * lefts).sum(axis=1)
    at_end = (nearest_m <= _END_M) | (nearest_m >= wire.length_m - _END_M)
    return np.asarray(np.where(at_end, square, np.where(square < 0, -1.0, 1.0) * np.hypot(*off.T)))


def _once(
    runs: Sequence[Measured], wires: Sequence[ChainedWire]
) -> tuple[tuple[Measured, ...], int]:
    """Return each wire's points, without those of stretches that a longer run has measured."""
    twice, found = 0, []
    for wire in wires:
        own = [run for run in runs if run.wire is wire]
        own.sort(key=lambda run: run.chainage_m[0] - run.chainage_m[-1])
        parts: list[Measured] = []
        for run in own:
            new = np.ones(len(run.chainage_m), dtype=bool)
            for part in parts:
                covered = (run.chainage_m >= part.chainage_m[0]) & (
                    run.chainage_m <= part.chainage_m[-1]
                )
                new &= ~covered
            twice += int((~new).sum())
            if new.any():
                parts.append(run.where(new))
        if parts:
            found.append(_joined(wire, parts))
    return tuple(found), twice


def _joined(wire: ChainedWire, parts: Sequence[Measured]) -> Measured:
    parts = sorted(parts, key=lambda part: float(part.chainage_m[0]))
    at = np.concatenate([part.chainage_m for part in parts])
    whole = Measured(
        wire=wire,
        xy=np.concatenate([part.xy for part in parts]),
        chainage_m=at,
        offset_m=np.concatenate([part.offset_m for part in parts]),
        sigma_m=np.concatenate([part.sigma_m for part in parts]),
        times=tuple(time for part in parts for time in part.times),
        drawn_between=np.concatenate([part.drawn_between for part in parts]),
    )
    order = np.argsort(at, kind="stable")
    return Measured(
        wire, whole.xy[order], at[order], whole.offset_m[order], whole.sigma_m[order],
        tuple(whole.times[k] for k in order), whole.drawn_between[order],
    )  # fmt: skip
