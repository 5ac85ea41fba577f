"""A measured line: what a rover, a drawing or a recorder gives of a wire that has been laid."""

from __future__ import annotations

from dataclasses import dataclass

from shapely import Point

from lawnplat.survey.types import Finding, FloatArray


@dataclass(frozen=True)
class TrackLine:
    """Points in the order in which they were measured or drawn.

    Attributes
    ----------
    name : str
        The wire that the file says it is, such as ``perimeter`` or ``return_1``; else empty.
    xy : array of shape (n, 2)
        In the track's CRS, metres.
    accuracy_m : array of shape (n,)
        Standard deviation of each point in each of two axes.
    times : tuple of n str
        As the file gives them; empty where it gives none.
    drawn : bool
        Whether the file says that the wire runs straight from point to point. Where it does not,
        nothing is known of a long way between two points.
    where : str
        File, layer and row.
    """

    name: str
    xy: FloatArray
    accuracy_m: FloatArray
    times: tuple[str, ...]
    drawn: bool
    where: str


@dataclass(frozen=True)
class TrackMark:
    """A point with a name: a joint, or a fixed point measured again.

    ``what`` is ``splice``, ``three_way``, ``terminal`` or ``fixed_point``.
    """

    what: str
    name: str
    point: Point
    accuracy_m: float


@dataclass(frozen=True)
class Track:
    """All that a file holds of wires as laid; coordinates in ``crs``, metres."""

    crs: str
    lines: tuple[TrackLine, ...]
    marks: tuple[TrackMark, ...] = ()
    findings: tuple[Finding, ...] = ()
