"""The layout: station, perimeter conductor, return lines and joints."""

from __future__ import annotations

from dataclasses import dataclass

from shapely import LineString, Point, Polygon

from lawnplat.survey.types import Finding


@dataclass(frozen=True)
class StationOption:
    """One candidate place for the station, with every criterion that ranked or rejected it."""

    point: Point
    bearing_deg: float
    rank: int
    """1 is chosen; 0 for a rejected place."""
    score: float
    """Lower is better; ``inf`` or NaN where a part of it was not measured."""
    tilt_pct: float
    outlet_distance_m: float
    """NaN where no outlet is known or none can be reached."""
    mean_return_m: float
    worst_return_m: float
    openness_m: float
    front_clear: bool
    straight_wire: bool
    rejected_because: str
    """Empty where nothing speaks against it."""
    upslope_m2: float = float("nan")
    """Ground that drains over base and front; NaN where a station cannot stand."""
    water_m: float = float("nan")
    """From the base to open water; NaN where the survey shows none."""
    cable_paved_m: float = float("nan")
    """Cable under a path or paving; NaN where it was not worked out."""
    base_on_lawn: bool = True
    in_passage: bool = False
    drawn_in_m: float = 0.0
    """How far the perimeter would be laid inside its edge to run straight past the place."""


@dataclass(frozen=True)
class Station:
    """The chosen place. ``point`` lies on the line of the perimeter, the front faces the lawn."""

    point: Point
    bearing_deg: float
    tilt_pct: float
    outlet_distance_m: float
    mean_return_m: float
    base: Polygon
    front: Polygon
    options: tuple[StationOption, ...]
    upslope_m2: float = 0.0
    """Ground that drains over base and front."""
    water_m: float = float("nan")
    """From the base to open water; NaN where the survey shows none."""
    cable_route: LineString | None = None
    """From the outlet to the back of the base, ``outlet_distance_m`` long; None where none is."""
    cable_paved_m: float = 0.0
    """Cable under a path or paving."""
    outlet_source: str = ""
    """Where in the survey that outlet stands."""
    drawn_in_m: float = 0.0
    """How far the perimeter is laid inside its edge to run straight past the station."""


@dataclass(frozen=True)
class WireSection:
    """A stretch of the conductor that runs against one thing."""

    line: LineString
    section: str
    """``edge``, ``lead_out``, ``lead_back`` or ``island``."""
    against: str
    setback_m: float
    from_m: float
    to_m: float
    cross_fall_pct: float


@dataclass(frozen=True)
class Perimeter:
    """One conductor, in laying order from the left terminal to the right one."""

    line: LineString
    sections: tuple[WireSection, ...]


@dataclass(frozen=True)
class ReturnLine:
    """One return line, drawn from the station outward to its joint in the perimeter."""

    number: int
    line: LineString
    steepest_pct: float
    mean_pct: float
    climb_m: float
    lawn_mean_m: float = float("nan")
    """Mean driving distance from the mown lawn to the nearest of the lines up to this one."""
    lawn_p95_m: float = float("nan")
    """The distance within which 95 % of the mown lawn lies."""


@dataclass(frozen=True)
class Joint:
    """A joint in a wire: ``splice``, ``three_way`` or ``terminal``."""

    joint: str
    on: str
    """``perimeter`` (``perimeter_2`` for the second loop, and so on) or ``return_N``."""
    chainage_m: float
    point: Point


@dataclass(frozen=True)
class ParkingTest:
    """Where the machine is set down for the acceptance test of one return line."""

    line_number: int
    distance_m: float
    point: Point


@dataclass(frozen=True)
class Layout:
    """All that is laid for one loop: one station, one conductor, its return lines."""

    station: Station
    perimeter: Perimeter
    return_lines: tuple[ReturnLine, ...]
    joints: tuple[Joint, ...]
    parking_tests: tuple[ParkingTest, ...]
    findings: tuple[Finding, ...]
    loop: int = 1
    """1, 2, ...; a site with one working area has the first alone."""
