"""Joints in the wires, and where the machine is set down for the acceptance test."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import LineString, Point

from lawnplat.settings.types import RuleBook
from lawnplat.wire.types import Joint, ParkingTest, Perimeter, ReturnLine

PERIMETER = "perimeter"


def return_name(number: int) -> str:
    """Return the name by which tables call a return line."""
    return f"return_{number}"


def joints_of(
    perimeter: Perimeter, lines: tuple[ReturnLine, ...], rules: RuleBook
) -> tuple[Joint, ...]:
    """Return terminals, three-way joints and the splices where a spool ends, in laying order."""
    wire = perimeter.line
    found = [
        Joint("terminal", PERIMETER, 0.0, Point(wire.coords[0])),
        Joint("terminal", PERIMETER, wire.length, Point(wire.coords[-1])),
        *splices(wire, PERIMETER, rules),
    ]
    for line in lines:
        end = Point(line.line.coords[-1])
        name = return_name(line.number)
        found.append(Joint("terminal", name, 0.0, Point(line.line.coords[0])))
        found.extend(splices(line.line, name, rules))
        chainage = float(shapely.line_locate_point(wire, end))
        found.append(Joint("three_way", PERIMETER, chainage, end))
    return tuple(sorted(found, key=lambda joint: (joint.on, joint.chainage_m)))


def splices(wire: LineString, name: str, rules: RuleBook) -> list[Joint]:
    """Return a splice wherever a spool ends, the spare at the first end counted in."""
    first = rules.wire.spool_m - rules.wire.spare_end_m
    # A remainder shorter than the spare is taken from the spare, not spliced on.
    chainages = np.arange(first, wire.length - rules.wire.spare_end_m, rules.wire.spool_m)
    return [
        Joint("splice", name, float(chainage), wire.interpolate(chainage))
        for chainage in chainages
    ]


def parking_test_of(line: ReturnLine, rules: RuleBook) -> ParkingTest:
    """Return the place on the line at least ``parking_test_m`` out, or its end if it is shorter."""
    distance = min(rules.return_line.parking_test_m, line.line.length)
    return ParkingTest(line.number, distance, line.line.interpolate(distance))
