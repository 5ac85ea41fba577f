"""From where the machine should leave for the lawn, and how often, so that all is cut alike."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from lawnplat.proving.simulation.coverage_kernel import Marks
from lawnplat.proving.simulation.drive_kernel import Pace
from lawnplat.proving.simulation.patches import smoothed, unevenness
from lawnplat.proving.simulation.runs import run_all
from lawnplat.proving.simulation.types import Departure, Departures
from lawnplat.proving.simulation.ways import ways_of
from lawnplat.proving.simulation.world import ReturnLine, World
from lawnplat.settings.types import RuleBook

FloatArray = NDArray[np.float64]

_LISTED = 6
"""Sets that are tried in whole runs: the best by responses alone owes some of it to luck."""

_RESPONSE, _HELD_OUT, _SHORTLIST = 1, 2, 5
"""Streams of their own, so that a choice is not judged by the runs that it was made from."""


def chosen_departures(
    world: World, pace: Pace, points: Marks, rules: RuleBook, seed: int
) -> Departures:
    """Return a start distance and a share for each return line.

    Parameters
    ----------
    world : World
    pace : Pace
    points : Marks
    rules : RuleBook
    seed : int

    Notes
    -----
    What is cut on journeys from several places is the sum of what is cut from each, weighted by
    the shares: so one response a place is simulated, and of all sets with one place a line and all
    shares in steps of ``departure_step_share`` those are listed whose sums deviate least from even.
    The mean square deviation is reckoned from products of two independent halves of the journeys,
    for the noise of one and the same half would count as unevenness. Of those listed the best in
    whole runs is taken; it is judged by other runs yet against equal shares from the middle of each
    line, and kept only where it is better there by ``departure_gain_share``.
    """
    equal = equal_departures(world)
    if not world.lines:
        held = _tried(world, equal, pace, points, rules, (seed, _HELD_OUT))
        return Departures(equal, held, held)
    places = [tuple(_places(world, line, rules)) for line in world.lines]
    every = tuple(place for of_line in places for place in of_line)
    products = _products(world, every, pace, points, rules, seed)
    listed = (equal, *_shortlist(places, products, rules.simulation.departure_step_share))
    tried = [_tried(world, each, pace, points, rules, (seed, _SHORTLIST)) for each in listed]
    best = listed[int(np.argmin(tried))]
    with_equal = _tried(world, equal, pace, points, rules, (seed, _HELD_OUT))
    with_best = _tried(world, best, pace, points, rules, (seed, _HELD_OUT))
    if with_best < (1.0 - rules.simulation.departure_gain_share) * with_equal:
        return Departures(best, with_best, with_equal)
    return Departures(equal, with_equal, with_equal)


def equal_departures(world: World) -> tuple[Departure, ...]:
    """Return equal shares from the middle of each line; without lines, from the station."""
    if not world.lines:
        return (Departure(0, world.ahead.distance(world.station), 1.0),)
    share = 1.0 / len(world.lines)
    return tuple(
        Departure(line.number, _onto_ground(world, line, 0.5 * line.line.length), share)
        for line in world.lines
    )


def _places(world: World, line: ReturnLine, rules: RuleBook) -> Iterator[Departure]:
    """Yield places along a line from its straight run on, those on the ground."""
    spacing_m = rules.simulation.departure_spacing_m
    first_m = min(rules.return_line.straight_run_m, 0.5 * line.line.length)
    shapely.prepare(world.ground)
    found = False
    for at_m in np.arange(first_m, line.line.length, spacing_m):
        if world.ground.contains(line.line.interpolate(at_m)):
            found = True
            yield Departure(line.number, float(at_m), 0.0)
    if not found:
        yield Departure(line.number, _onto_ground(world, line, first_m), 0.0)


def _onto_ground(world: World, line: ReturnLine, at_m: float) -> float:
    """Return the distance along a line, nearest to ``at_m``, at which it is on the ground."""
    steps = np.linspace(0.0, line.line.length, 201)
    steps = steps[np.argsort(np.abs(steps - at_m))]
    for step in steps:
        if world.ground.contains(line.line.interpolate(step)):
            return float(step)
    return at_m


def _products(  # noqa: PLR0917
    world: World,
    every: tuple[Departure, ...],
    pace: Pace,
    points: Marks,
    rules: RuleBook,
    seed: int,
) -> FloatArray:
    """Return the mean products of two places' responses, less 1, over the lawn; shape (k, k)."""
    half = max(rules.simulation.departure_journeys // 2, 1)
    window_s = np.array([pace.run_s - pace.reserve_s])
    mown = points.mown > 0
    responses = np.empty((2, len(every), int(mown.sum())))
    for number, place in enumerate(every):
        ways = ways_of(world, (place,), rules)
        for part in range(2):
            stream = (seed, _RESPONSE, number, part)
            runs = run_all(ways, pace, np.ones(1), window_s, points, seed=stream, runs=half)
            responses[part, number] = smoothed(runs.passes, points, rules.simulation)[mown] - 1.0
    product = responses[0] @ responses[1].T / mown.sum()
    means: FloatArray = (product + product.T) / 2.0
    return means


def _shortlist(
    places: list[tuple[Departure, ...]], products: FloatArray, step: float
) -> list[tuple[Departure, ...]]:
    """Return sets of one place a line, with shares, whose sums of responses are the most even."""
    begins = np.cumsum([0, *(len(each) for each in places)])
    shares = _share_sets(len(places), round(1.0 / step))
    found = []
    for choice in itertools.product(*(range(len(each)) for each in places)):
        rows = [int(begins[line]) + place for line, place in enumerate(choice)]
        spread = np.einsum("ni,ij,nj->n", shares, products[np.ix_(rows, rows)], shares)
        found.append((float(spread.min()), choice, shares[int(spread.argmin())]))
    found.sort(key=lambda each: each[0])
    return [
        tuple(
            replace(places[line][place], share=float(share))
            for line, (place, share) in enumerate(zip(choice, given, strict=True))
        )
        for _, choice, given in found[:_LISTED]
    ]


def _share_sets(lines: int, steps: int) -> FloatArray:
    """Return every way to share out ``steps`` steps among lines; each line has one at least."""
    each = range(1, steps + 1)
    found = [given for given in itertools.product(each, repeat=lines - 1) if sum(given) < steps]
    sets = [(*given, steps - sum(given)) for given in found] or [(1,) * lines]
    shares: FloatArray = np.array(sets, dtype=float) / np.sum(sets[0])
    return shares


def _tried(  # noqa: PLR0917
    world: World,
    departures: tuple[Departure, ...],
    pace: Pace,
    points: Marks,
    rules: RuleBook,
    seed: tuple[int, ...],
) -> float:
    """Return how unevenly a set cuts the lawn in whole runs."""
    ways = ways_of(world, departures, rules)
    shares = np.array([each.share for each in departures])
    runs = run_all(
        ways,
        pace,
        shares,
        np.full(rules.simulation.days, pace.run_s - pace.reserve_s),
        points,
        seed=seed,
        runs=rules.simulation.runs,
    )
    return unevenness(smoothed(runs.passes, points, rules.simulation), points)
