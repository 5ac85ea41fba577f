"""The lawn, what is given up, and the ground that the machine mows."""

from __future__ import annotations

from dataclasses import dataclass, field

from shapely import LineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from lawnplat.survey.types import Feature, Finding
from lawnplat.terrain.types import SlopeZone


@dataclass(frozen=True)
class Cause:
    """One reason to give up lawn: ``body`` is what stands there, ``reach`` the ground it takes."""

    kind: str
    """A feature kind, ``open_edge``, ``too_steep``, ``cross_fall``, ``straight_wire`` (beside a
    station) or ``loop_seam``."""
    setback_m: float
    body: BaseGeometry
    reach: BaseGeometry


@dataclass(frozen=True)
class KeepOut:
    """Lawn given up to one cause; the keep-outs and the mowable parts tile the lawn."""

    kind: str
    """A feature kind, ``open_edge``, ``too_steep``, ``cross_fall``, ``straight_wire`` (the sliver
    beside a station), ``too_narrow``, ``too_small``, ``unreached`` or
    ``loop_seam`` (the strip between two working areas)."""
    setback_m: float
    area: MultiPolygon


@dataclass(frozen=True)
class HandTrim:
    """Grass that the machine leaves, by what it runs against. A subset of the keep-outs."""

    against: str
    area: MultiPolygon


@dataclass(frozen=True)
class Part:
    """One mowable polygon. Holes are islands and firm obstacles."""

    number: int
    role: str
    """``main`` (the station stands here), ``linked`` (the machine drives there through a passage or
    over a crossing) or ``carried`` (the machine is carried there)."""
    area: Polygon
    via: str = ""
    """``passage`` or ``crossing`` for a linked part."""
    loop: int = 1
    """Number of the working area, and of the loop round it."""


@dataclass(frozen=True)
class Passage:
    """A narrow place between two wider pieces of lawn, or one closed to the machine."""

    area: Polygon
    axis: LineString
    """Middle line from one wide piece to the other."""
    width_m: float
    length_m: float
    verdict: str
    """``closed``, ``guided`` (a return line leads through) or ``open``."""


@dataclass(frozen=True)
class WireGround:
    """The ground that one conductor encloses.

    ``pieces`` are the polygons whose boundary the wire follows: mowable ground joined with the
    crossing strips, firm obstacles not cut out. The first is the one with the station; the others
    are carried parts. ``crossings`` are the strips themselves.
    """

    pieces: tuple[Polygon, ...]
    crossings: tuple[Polygon, ...]
    firm: tuple[Feature, ...]
    """Firm obstacles that stand inside, with no wire round them."""
    others: BaseGeometry = field(default_factory=Polygon)
    """Ground of the other loops on the site, and their leads outside it; empty for a single loop.
    No cable and no lead of this loop runs over it."""


@dataclass(frozen=True)
class Ground:
    """All that is known of the ground of one site before any wire is drawn."""

    lawn: MultiPolygon
    zones: tuple[SlopeZone, ...]
    """Clipped to the lawn; they tile it."""
    keep_outs: tuple[KeepOut, ...]
    parts: tuple[Part, ...]
    passages: tuple[Passage, ...]
    hand_trim: tuple[HandTrim, ...]
    wire_ground: WireGround
    open_edges: BaseGeometry | None
    """The lawn edges that no feature governs, as lines."""
    findings: tuple[Finding, ...]
    causes: tuple[Cause, ...] = ()
    """What the wire runs against."""
