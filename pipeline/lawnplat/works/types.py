"""What is counted from the layout: pegs and materials."""

from __future__ import annotations

from dataclasses import dataclass

from shapely import Point


@dataclass(frozen=True)
class Peg:
    """One peg. ``reason`` is ``spacing``, ``bend``, ``joint`` or ``pair``."""

    number: int
    on: str
    chainage_m: float
    reason: str
    point: Point


@dataclass(frozen=True)
class Material:
    """One line of the materials list; ``basis`` says in words how the quantity came about."""

    item: str
    quantity: float
    unit: str
    basis: str


@dataclass(frozen=True)
class Works:
    """All that is counted for one site."""

    pegs: tuple[Peg, ...]
    materials: tuple[Material, ...]
