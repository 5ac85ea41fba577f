"""What a track held against a plan gives."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import Point

from lawnplat.geometry import FloatArray
from lawnplat.proving.as_laid.measured import Measured
from lawnplat.proving.chained import ChainedWire
from lawnplat.survey.types import Finding


@dataclass(frozen=True)
class Stray:
    """A stretch that lies off its plan by more than accuracy and rule book allow.

    Chainages are the plan's. ``worst_m`` is to the left of the wire where positive, at ``at_m`` and
    ``place``; ``limit_m`` is what was allowed there.
    """

    on: str
    from_m: float
    to_m: float
    worst_m: float
    at_m: float
    place: Point
    limit_m: float
    points: int

    @property
    def side(self) -> str:
        """Return on which side of the plan it lies for one who walks in laying order."""
        return "left" if self.worst_m > 0 else "right"


@dataclass(frozen=True)
class Gap:
    """A stretch of the plan, by its chainage, that the track does not cover."""

    on: str
    from_m: float
    to_m: float


@dataclass(frozen=True)
class LaidWire:
    """One wire as laid.

    Attributes
    ----------
    planned, laid : ChainedWire
        ``laid`` runs through what was measured, and by the plan where nothing was.
    plan_m, laid_m : array of shape (n,)
        Chainage by the plan and as laid, of the same places, ascending.
    points : Measured or None
        None where the track holds nothing of this wire.
    outlier : array of bool
        Which of the points were left out.
    accuracy_m : float
        Median standard deviation of its points, in each of two axes; NaN without points.
    strays, gaps : tuples
    """

    planned: ChainedWire
    laid: ChainedWire
    plan_m: FloatArray
    laid_m: FloatArray
    points: Measured | None
    outlier: NDArray[np.bool_]
    accuracy_m: float
    strays: tuple[Stray, ...]
    gaps: tuple[Gap, ...]

    def as_laid_m(self, planned_m: float) -> float:
        """Return the chainage as laid of a place by its chainage on the plan."""
        return float(np.interp(planned_m, self.plan_m, self.laid_m))

    def place(self, laid_m: float) -> Point:
        """Return the place at a chainage as laid."""
        return Point(self.laid.places(np.array([laid_m]))[0])


@dataclass(frozen=True)
class LaidPeg:
    """A planned peg, moved to the wire as laid."""

    number: int
    on: str
    chainage_m: float
    point: Point
    reason: str


@dataclass(frozen=True)
class LaidJoint:
    """A joint as laid. ``basis`` is ``measured``, or ``planned``: moved to the wire as laid."""

    joint: str
    on: str
    loop: int
    chainage_m: float
    point: Point
    basis: str


@dataclass(frozen=True)
class AsLaid:
    """A track held against a plan. Geometry in ``crs``, metres."""

    property_id: str
    crs: str
    wires: tuple[LaidWire, ...]
    pegs: tuple[LaidPeg, ...]
    joints: tuple[LaidJoint, ...]
    findings: tuple[Finding, ...]

    @property
    def strays(self) -> tuple[Stray, ...]:
        """Return the strays of all wires."""
        return tuple(stray for wire in self.wires for stray in wire.strays)
