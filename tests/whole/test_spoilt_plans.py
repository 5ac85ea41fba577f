"""Every way to spoil a good plan is found by the right rule, and no good plan is accused.

Plans are spoilt in memory, as they would be read from their files.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from shapely import Point, box
from shapely.affinity import translate

from kept import kept
from lawnplat.deliver.recorded import recorded_plan
from lawnplat.plan import plan_site
from lawnplat.planned import Plan
from lawnplat.proving.catalogue import RULES as EVERY_RULE
from lawnplat.proving.catalogue import rule_named
from lawnplat.proving.checks import of_wires as checks
from lawnplat.proving.checks.of_lines_and_tables import OF_LINES_AND_TABLES
from lawnplat.proving.evidence import Evidence
from lawnplat.settings.load import load_machine, load_price_book, load_rule_book
from lawnplat.survey.read import read_survey
from lawnplat.survey.types import Site
from lawnplat.terrain.reader import ElevationRaster
from lidar_lots import lot_plans
from spoilt.ground import OF_GROUND, OF_SOME_GROUND
from spoilt.lines import OF_LINES
from spoilt.record import OF_RECORDS
from spoilt.station import OF_STATIONS
from spoilt.tables import OF_TABLES
from spoilt.ways import Way
from spoilt.wires import OF_WIRES

from .awkward import GARDENS
from .awkward_plans import drawn
from .planning import moved, site_of, thing

SAMPLE = Path(__file__).parents[2] / "sample_data"
RULES, PRICES = load_rule_book(), load_price_book()
SPOILT_PLANS = (
    "garden-02", "garden-03", "garden-07", "garden-09", "L", "bank_across", "courtyard",
    "curved_drive", "terrace", "triangle", "lot 3", "lot 4", "two loops",
)  # fmt: skip
NEAR_M = 2.0
EVERY = (*checks.OF_WIRES, *OF_LINES_AND_TABLES)
CHECKS = {check.__name__: check for check in EVERY}
"""A check is called as the rule that it holds."""
SPOILT = (
    *OF_RECORDS, *OF_GROUND, *OF_SOME_GROUND, *OF_WIRES, *OF_STATIONS, *OF_LINES, *OF_TABLES
)  # fmt: skip
ON_MANY = frozenset((*OF_RECORDS, *OF_GROUND))
MANY = 10


@cache
def surveyed() -> dict[str, Site]:
    survey = read_survey([str(SAMPLE / "survey.gpkg")], rules=RULES)
    return {site.property_id: site for site in survey.sites}


@cache
def lots() -> dict[str, Plan]:
    return {plan.site.property_id: plan for plan in lot_plans(6)}


def wide_lawn() -> Site:
    """Return an invented lawn that takes two machines of the small class."""
    small_m2 = load_machine("small").capacity_m2
    lawn = box(0, 0, 40, 1.6 * small_m2 / 40)
    things = [thing("building", box(8, -6, 32, 0)), thing("flower_bed", Point(10, 12).buffer(1.2))]
    return replace(site_of(moved(lawn), things), machine_class="small")


@cache
def evidence_of(name: str) -> Evidence:
    if name == "two loops":
        return _evidence(kept("two loops", lambda: _planned(wide_lawn(), None)))
    if name in GARDENS:
        return _evidence(drawn(name).plan)
    if name in lots():
        return _evidence(lots()[name])
    return _evidence(kept(f"{name} of the sample", lambda: _planned_sample(name)))


def _planned_sample(name: str) -> Plan:
    with ElevationRaster(SAMPLE / "elevation.tif") as raster:
        return _planned(surveyed()[name], raster)


def _planned(site: Site, raster: ElevationRaster | None) -> Plan:
    return plan_site(site, machine=load_machine(site.machine_class), rules=RULES, elevation=raster)


def _evidence(plan: Plan) -> Evidence:
    return Evidence(recorded_plan(plan), RULES, plan.machine, PRICES, plan.site, plan.terrain)


SAMPLES = tuple(f"garden-0{number}" for number in range(1, 10))
ALL = (*SAMPLES, *GARDENS, *(f"lot {n}" for n in range(6)), "two loops")


@pytest.mark.parametrize("name", ALL)
def test_no_good_plan_is_accused(name: str) -> None:
    evidence = evidence_of(name)
    found = [f for check in EVERY for f in check(evidence)]
    assert [(f.rule, f.text) for f in found if f.severity != "note"] == []


def _aside(evidence: Evidence, place: Point, by_m: float) -> Point:
    """Return a place so far along the nearest wire, and as far to its left."""
    wire = min((loop.wire for loop in evidence.loops), key=place.distance)
    at_m = wire.project(place) + by_m
    (ax, ay), (bx, by) = (wire.interpolate(at_m + m).coords[0] for m in (-0.05, 0.05))
    run_m = math.hypot(bx - ax, by - ay)
    here = wire.interpolate(at_m)
    return translate(here, -by_m * (by - ay) / run_m, by_m * (bx - ax) / run_m)


@pytest.mark.parametrize("name", ["lot 0", "lot 1", "lot 2", "lot 3"])
def test_an_advisory_a_step_from_the_wire_it_is_about_still_tells(name: str) -> None:
    """Of one stretch, long enough here, planner and check may find the worst at two places."""
    evidence = evidence_of(name)
    rows = [
        replace(row, geometry=_aside(evidence, row.geometry, 1.6))
        if row.text("rule") == "edge_cross_fall"
        else row
        for row in evidence.plan.rows("advisories")
    ]
    moved_by = replace(evidence, plan=evidence.plan.with_rows("advisories", rows))
    found = list(CHECKS["cross_fall"](moved_by))
    assert found
    assert {each.severity for each in found} == {"note"}


def test_every_rule_is_broken_here() -> None:
    assert {rule.name for rule in EVERY_RULE} == {rule for _, rule in SPOILT}


def test_a_lawn_over_capacity_has_two_loops() -> None:
    assert len(evidence_of("two loops").loops) == 2


@pytest.mark.parametrize(("way", "rule"), SPOILT, ids=lambda each: getattr(each, "__name__", each))
def test_the_right_rule_finds_what_is_spoilt(way: Way, rule: str) -> None:
    tried = 0
    for name in SPOILT_PLANS:
        spoilt = way(evidence_of(name))
        if spoilt is None:
            continue
        tried += 1
        before = set(CHECKS[rule](evidence_of(name)))
        found = [each for each in CHECKS[rule](spoilt.evidence) if each not in before]
        assert found, f"{name}: {rule} finds nothing"
        assert {each.rule for each in found} == {rule}
        said = {each.severity for each in found}
        assert said & {"stop", "warn", rule_named(rule).severity}
        if spoilt.place is not None:
            off_m = min(each.place.distance(spoilt.place) for each in found)
            assert off_m <= NEAR_M, f"{name}: {off_m:.1f} m off"
    assert tried >= (MANY if (way, rule) in ON_MANY else 1), f"only {tried} plans can be spoilt so"
