"""Lots of two lawns with a drive between and crossings laid over it anyhow, drawn by seed.

Strips, wedges, blobs and bent ways: askew, side by side, short of the lawn or far into it, over
beds, trunks and fences, partly outside the parcel. All invented; drawn about (0, 0) in metres.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from shapely import LineString, MultiPoint, Point, Polygon, affinity, box

from holds import Thing

from .planning import thing

WIDE_M, DEEP_M = 24.0, 12.0
DRIVES = ("path", "paving_flush", "gravel")
OBSTACLES = (
    "flower_bed", "shrub", "tree", "water", "hedge", "rock", "furniture", "no_mow", "planter",
    "play_equipment", "wall", "stepping_stones",
)  # fmt: skip
CLASSES = ("small", "medium", "large", "steep")


@dataclass(frozen=True)
class Lot:
    """A parcel with its things, and the class of machine that it is planned for."""

    parcel: Polygon
    things: tuple[Thing, ...]
    machine: str


def lot(seed: int) -> Lot:
    """Return the lot of a seed."""
    draw = np.random.default_rng(seed)
    at_x, half_m = draw.uniform(9, 15), draw.uniform(0.6, 1.8)
    drive = _drive(draw, at_x, half_m)
    found = [thing(str(draw.choice(DRIVES)), drive), thing("power_outlet", Point(0, 5))]
    found += [_crossing(draw, at_x, half_m) for _ in range(draw.integers(1, 4))]
    found += [_obstacle(draw, at_x, half_m) for _ in range(draw.integers(0, 5))]
    if draw.random() < 0.25:
        found.append(thing("fence", _fence(draw, at_x, half_m)))
    return Lot(box(0, 0, WIDE_M, DEEP_M), tuple(found), str(draw.choice(CLASSES)))


def _drive(draw: np.random.Generator, at_x: float, half_m: float) -> Polygon:
    """Return a drive right across: straight, askew, or bowed."""
    y = np.linspace(-2, DEEP_M + 2, 15)
    bow_m = draw.choice([0.0, draw.uniform(-1.5, 1.5)])
    lean = draw.choice([0.0, draw.uniform(-0.3, 0.3)])
    x = at_x + bow_m * np.sin(np.pi * y / DEEP_M) + lean * (y - DEEP_M / 2)
    return LineString(np.stack([x, y], axis=1)).buffer(half_m, cap_style="flat")


def _crossing(draw: np.random.Generator, at_x: float, half_m: float) -> Thing:
    shape = draw.choice(["strip", "wedge", "blob", "bent"])
    wide_m = draw.uniform(0.5, 3.0)
    reach_m = half_m + draw.choice([draw.uniform(-0.8, 0.5), draw.uniform(0.5, 3.0)])
    reach_m = max(reach_m, 0.3)
    if shape == "strip":
        body = box(-reach_m, -wide_m / 2, reach_m, wide_m / 2)
    elif shape == "wedge":
        other_m = draw.uniform(0.1, 3.0)
        body = Polygon(
            [(-reach_m, -wide_m / 2), (reach_m, -other_m / 2), (reach_m, other_m / 2),
             (-reach_m, wide_m / 2)]
        )  # fmt: skip
    elif shape == "blob":
        spots = draw.normal(size=(9, 2)) * (reach_m / 1.5, wide_m / 2)
        body = MultiPoint(spots).convex_hull
    else:
        turn = draw.uniform(-2, 2, size=2)
        way = LineString([(-reach_m, turn[0]), (0, 0), (reach_m, turn[1])])
        body = way.buffer(wide_m / 2, cap_style="flat", join_style="mitre")
    turned = affinity.rotate(body, draw.choice([0.0, draw.uniform(-40, 40)]), origin=(0, 0))
    x = at_x + draw.choice([0.0, draw.uniform(-1.5, 1.5)])
    return thing("crossing", affinity.translate(turned, x, draw.uniform(-0.5, DEEP_M + 0.5)))


def _obstacle(draw: np.random.Generator, at_x: float, half_m: float) -> Thing:
    """Return a thing by the drive, on it, or anywhere."""
    size_m = draw.uniform(0.1, 1.2)
    place = draw.choice(["by", "by", "on", "anywhere"])
    side = draw.choice([-1, 1])
    aside_m = {
        "by": side * (half_m + draw.uniform(0, 1.5)),
        "on": side * draw.uniform(0, half_m),
        "anywhere": draw.uniform(-9, 9),
    }[str(place)]
    if draw.random() < 0.5:
        body = Point(0, 0).buffer(size_m, quad_segs=8)
    else:
        body = affinity.rotate(box(-size_m, -0.6, size_m, 0.6), draw.uniform(0, 180))
    moved = affinity.translate(body, at_x + aside_m, draw.uniform(0, DEEP_M))
    own_m = draw.choice([None, None, draw.uniform(0, 1)])
    return thing(str(draw.choice(OBSTACLES)), moved, own_m)


def _fence(draw: np.random.Generator, at_x: float, half_m: float) -> LineString:
    """Return a fence along one side of the drive, for some of its length."""
    ends = np.sort(draw.uniform(0, DEEP_M, size=2))
    x = at_x + draw.choice([-1, 1]) * (half_m + draw.uniform(0, 0.5))
    return LineString([(x, ends[0]), (x, ends[1])])

