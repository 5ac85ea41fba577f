"""The rules that a plan is proved against, by name, with a line on each.

``stop`` where nobody may dig by the plan, ``warn`` where somebody has to look at it. A finding is a
``note`` instead where one of the plan's own advisories (``said_by``) says so within
``said_within_m`` of the place.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

ANYWHERE = math.inf
NEAR_M = 2.0
"""An advisory this near to a place is about it: it stands at the worst spot of a stretch, which two
ways of measuring seldom put on the same spot."""
AT_STATION_M = 1.0
"""An advisory this near to a station is about its loop; those of two loops stand further apart."""


@dataclass(frozen=True)
class Rule:
    """One rule: how much a breach weighs, what is measured, and which advisories tell of it."""

    name: str
    severity: str
    about: str
    said_by: tuple[str, ...] = ()
    said_within_m: float = NEAR_M


RECORD_RULES = (
    Rule("layers", "warn", "the file holds every layer and column of a plan, of one property"),
    Rule("validity", "warn", "every geometry is there, valid and of its layer's type"),
    Rule("settings", "warn", "the plan was made by the rules and the machine class it is held to"),
    Rule("survey", "warn", "the plan was drawn on the parcel and the things of this survey"),
    Rule("not_laid", "stop", "a plan lays a wire, or an advisory says why it cannot",
         ("not_plannable",), ANYWHERE),
    Rule("not_measured", "note", "what could not be measured, and what that would take"),
)  # fmt: skip
GROUND_RULES = (
    Rule("area_sum", "warn", "lawn is mown or given up, each square metre once; zones cover it"),
    Rule("area_column", "warn", "areas and lengths in columns are those of the geometry"),
    Rule("hand_trim", "warn", "what is trimmed by hand is grass among the lawn given up"),
    Rule("lawn_is_grass", "warn", "the lawn is grass: the survey's, or the parcel less the rest"),
    Rule("mown_outside", "stop", "nothing that the machine mows lies outside its wire"),
    Rule("mown_setback", "stop", "nothing is mown on, or within the setback of, what is kept off"),
    Rule("unmown_inside", "warn", "inside the wire all is mown, firm, or a crossing"),
    Rule("passage", "warn", "no ground inside the wire is narrower than the machine passes"),
    Rule("passage_verdict", "warn", "passages are as wide as told, and open or not by that width"),
    Rule("slope_limit", "stop", "nothing is mown that is steeper than the machine may climb"),
)  # fmt: skip
WIRE_RULES = (
    Rule("conductor", "stop", "one wire a loop, closed at its station, never touching itself"),
    Rule("setback", "stop", "every metre of wire keeps its distance from every surveyed thing",
         ("lead_over_wall",)),
    Rule("open_edge", "warn", "the wire keeps off edges of the lawn beyond which nothing is known"),
    Rule("neighbour_wire", "stop", "the wire keeps away from a neighbour's"),
    Rule("outside", "stop", "all wire lies on the property, and on its lawn but for wire pairs"),
    Rule("island", "stop", "what is kept off and stands in the lawn has wire round it"),
    Rule("pair_spacing", "warn", "the two wires of a pair lie side by side, a constant gap apart"),
    Rule("pair_sides", "stop", "the two wires of a pair never change sides"),
    Rule("sections", "warn", "the sections cover the wire once, and say how far off it is"),
    Rule("cross_fall", "warn", "the ground falls outward over the wire within the edge limit",
         ("edge_cross_fall",)),
    Rule("loops_apart", "stop", "wires of two loops keep apart and never cross"),
    Rule("wire_length", "warn", "a loop's wire is no longer than its machine takes",
         ("longest_wire",), AT_STATION_M),
    Rule("capacity", "warn", "a loop's lawn is no larger than its machine mows", ("capacity",),
         AT_STATION_M),
)  # fmt: skip
STATION_RULES = (
    Rule("station_base", "stop", "the base stands at the station, on lawn, clear of everything"),
    Rule("station_front", "stop", "the ground before the station is free as far as asked"),
    Rule("station_tilt", "warn", "base and front are level", ("station_tilt",), AT_STATION_M),
    Rule("straight_wire", "warn", "the perimeter runs straight to both sides of the station",
         ("station_straight_wire",)),
    Rule("outlet", "warn", "an outlet is within a cable's reach of the station", ("station_power",),
         AT_STATION_M),
    Rule("cable_route", "warn", "the cable is as long as told, and crosses no lawn, no wall"),
    Rule("station_told", "warn", "what the station's row tells is what is measured"),
)  # fmt: skip

LINE_RULES = (
    Rule("line_number", "stop", "a loop has a return line, and no more than its machine takes",
         ("return_line_room",), AT_STATION_M),
    Rule("straight_run", "stop", "a return line leaves the station straight ahead, as far as asked",
         ("return_line_straight",)),
    Rule("return_end", "stop", "a return line ends in a joint on its perimeter, off the station"),
    Rule("wire_crossing", "stop", "no return line crosses or touches a wire but at its ends"),
    Rule("return_corridor", "warn", "a return line keeps off wires, pairs and surveyed things",
         ("return_line_corridor",)),
    Rule("return_bend", "warn", "a return line turns nowhere more sharply than a machine follows",
         ("return_line_bend",), 0.5),
    Rule("return_gradient", "warn", "no metre of a return line is steeper than the machine climbs",
         ("return_line_gradient",), 0.5),
    Rule("joint", "stop", "every terminal, three-way joint and splice is there, in its place"),
    Rule("parking_test", "warn", "each return line has its acceptance test, as far out as asked"),
)  # fmt: skip
TABLE_RULES = (
    Rule("peg_on_wire", "warn", "pegs stand on their wires, at their chainage"),
    Rule("peg_missing", "warn", "every bend and joint has a peg, and pegs are numbered through"),
    Rule("peg_spacing", "warn", "pegs stand close enough along the wire, and on its curves"),
    Rule("length", "warn", "lengths in columns are those of the lines"),
    Rule("spare", "warn", "wire to bring is what is drawn, spare at each end, and waste"),
    Rule("materials", "warn", "materials are what the layers hold, counted and measured"),
    Rule("labour", "warn", "work is what the layers hold, in hours by the price book"),
    Rule("setting_out", "warn", "each mark is where its tapes meet, on its wire, and fixes it"),
    Rule("quote_sum", "warn", "amounts, margin, net, tax and total add up to the cent"),
    Rule("schedule", "warn", "mowing hours fit the day, the week and the hours allowed"),
    Rule("cutting_height", "warn", "cutting heights are the machine's, and step down as asked"),
    Rule("commissioning", "warn", "the hand-over list covers every loop and return line"),
)  # fmt: skip

RULES: tuple[Rule, ...] = (
    *RECORD_RULES, *GROUND_RULES, *WIRE_RULES, *STATION_RULES, *LINE_RULES, *TABLE_RULES
)  # fmt: skip


def rule_named(name: str) -> Rule:
    """Return a rule by its name.

    Raises
    ------
    KeyError
        The catalogue has no such rule.
    """
    for rule in RULES:
        if rule.name == name:
            return rule
    raise KeyError(f"no rule '{name}' in the catalogue")
