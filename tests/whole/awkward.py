"""Awkward gardens drawn by hand, all invented: each a parcel, its things and a form of ground.

Drawn about (0, 0) in metres, north up. One more, a park of 4 ha, is in `test_park`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Point, Polygon, affinity, box
from shapely.geometry.base import BaseGeometry

from lawnplat.survey.types import Site

from .planning import E, N, moved, site_of, thing

Height = Callable[[np.ndarray, np.ndarray], np.ndarray]


@dataclass(frozen=True)
class Garden:
    """``height`` is the ground's, surveyed every metre; None where nothing was levelled."""

    parcel: Polygon
    things: Sequence[tuple[str, BaseGeometry]]
    height: Height | None = None

    def site(self, name: str) -> Site:
        things = [thing(kind, shape) for kind, shape in self.things]
        heights = None if self.height is None else self._levelled(self.height)
        return site_of(moved(self.parcel), things, spot_heights=heights, name=name)

    def _levelled(self, height: Height) -> np.ndarray:
        west, south, east, north = self.parcel.bounds
        sides = (np.arange(west - 3, east + 3.01), np.arange(south - 3, north + 3.01))
        x, y = (side.ravel() for side in np.meshgrid(*sides))
        return np.stack([x + E, y + N, 100 + height(x, y)], axis=1)

    def of(self, kind: str) -> BaseGeometry:
        return shapely.union_all([shape for name, shape in self.things if name == kind])


def local(shape: BaseGeometry) -> BaseGeometry:
    """Return a shape of a plan where it was drawn."""
    return affinity.translate(shape, -E, -N)


def outlet(x: float, y: float) -> tuple[str, BaseGeometry]:
    return "power_outlet", Point(x, y)


BANK_FOOT_M, BANK_BROW_M, BANK_SLOPE = 11.0, 19.0, 0.30
NECK = box(6.0, 12.0, 7.4, 18.0)
POND = Point(6, 15)
ASIDE = Point(5.3, 15)
TERRACE_Y = 14.0
BED = box(6, 1.1, 9, 3)
TIP = Point(25, 0)
HOUSE = box(10, 9, 21, 17)
STRIP = box(19.9, 13.5, 24.1, 15.0)


def bank(_: np.ndarray, y: np.ndarray) -> np.ndarray:
    return BANK_SLOPE * np.clip(y - BANK_FOOT_M, 0.0, BANK_BROW_M - BANK_FOOT_M)


def terrace(_: np.ndarray, y: np.ndarray) -> np.ndarray:
    return np.where(y > TERRACE_Y, 1.2, 0.0)


def curved_drive() -> Polygon:
    """A drive 3 m wide that bows eastward from the street to the house."""
    y = np.linspace(-3, 33, 37)
    middle = LineString(np.stack([12 + 10 * np.sin(np.pi * y / 30), y], axis=1))
    return middle.buffer(1.5, cap_style="flat").intersection(box(0, -3, 30, 30))


def twenty_trees() -> list[tuple[str, BaseGeometry]]:
    """Twenty trunks of 20 to 70 cm, at least 90 cm of ground between them, none by the house."""
    draw = np.random.default_rng(4)
    found: list[Polygon] = []
    while len(found) < 20:
        trunk = Point(draw.uniform(1, 29), draw.uniform(1, 29)).buffer(draw.uniform(0.1, 0.35))
        if not trunk.intersects(box(10, -1, 20, 8.5)) and all(
            trunk.distance(other) > 0.9 for other in found
        ):
            found.append(trunk)
    return [("tree", trunk) for trunk in found]


GARDENS: dict[str, Garden] = {
    "L": Garden(
        Polygon([(0, 0), (30, 0), (30, 10), (12, 10), (12, 28), (0, 28)]),
        [("building", box(14, 0, 24, 5)), outlet(14, 3)],
    ),
    "U": Garden(
        box(0, 0, 30, 25) - box(8, 8, 22, 26),
        [("building", box(8, 8, 22, 20)), outlet(15, 8)],
    ),
    "neck_of_70_cm": Garden(
        shapely.union_all([box(0, 0, 12, 12), NECK, box(0, 18, 14, 30)]),
        [("building", box(3, -6, 9, 0)), outlet(6, 0)],
    ),
    "pond_in_the_only_way": Garden(
        box(0, 0, 12, 30),
        [("building", box(1, -6, 11, 0)), ("water", POND.buffer(3.6)), outlet(6, 0)],
    ),
    # The wires leave 0.95 m in the west and 2.35 m in the east.
    "pond_to_one_side": Garden(
        box(0, 0, 12, 30),
        [("building", box(1, -6, 11, 0)), ("water", ASIDE.buffer(3.0)), outlet(6, 0)],
    ),
    "bank_across": Garden(box(0, 0, 18, 30), [("building", box(3, -7, 15, 0)), outlet(9, 0)], bank),
    "terrace": Garden(
        box(0, 0, 20, 30),
        [
            ("building", box(3, -7, 17, 0)),
            ("wall", LineString([(0, TERRACE_Y), (20, TERRACE_Y)])),
            ("drop", LineString([(0, TERRACE_Y + 0.2), (20, TERRACE_Y + 0.2)])),
            outlet(9, 0),
        ],
        terrace,
    ),
    # Both wires' distances taken off, 0.5 m of lawn is left between bed and edge.
    "island_by_the_edge": Garden(
        box(0, 0, 16, 20), [("flower_bed", BED), ("building", box(3, 20, 13, 27)), outlet(8, 20)]
    ),
    "triangle": Garden(
        Polygon([(0, 0), (25, 0), (0, 14)]), [("building", box(-6, 2, 0, 10)), outlet(0, 6)]
    ),
    "courtyard": Garden(
        box(0, 0, 30, 26),
        [("building", HOUSE), ("fence", box(0, 0, 30, 26).exterior), outlet(15, 9)],
    ),
    "lawn_of_25_m2": Garden(box(0, 0, 5, 5), [("building", box(0, -5, 5, 0)), outlet(2.5, 0)]),
    "curved_drive": Garden(
        box(0, 0, 30, 30),
        [
            ("paving_flush", curved_drive()),
            ("building", box(10, 30, 20, 38)),
            ("crossing", STRIP),
            outlet(19, 30),
        ],
    ),
    "twenty_trees": Garden(
        box(0, 0, 30, 30), [("building", box(10, 0, 20, 8)), outlet(15, 8), *twenty_trees()]
    ),
}
