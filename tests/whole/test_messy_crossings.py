"""Crossings laid over two lawns and a drive anyhow: the plan holds, or says what it left out.

The lots are drawn by seed (`messy_crossings`), the same in every run; `CROSSINGS=400` draws that
many more, from seed 1000 on. The seeds named here once broke a rule.
"""

from __future__ import annotations

import os
from functools import cache
from pathlib import Path

import pytest
import shapely

from lawnplat.deliver.recorded import recorded_plan
from lawnplat.geometry import polygons
from lawnplat.plan import plan_site
from lawnplat.planned import Plan
from lawnplat.proving.check import check_plan
from lawnplat.proving.evidence import Evidence
from lawnplat.settings.load import load_machine
from lawnplat.survey.types import Site

from .messy_crossings import lot
from .planning import RULES, moved, planned, site_of

HELD = (19, 37, 48, 74, 117, 141, 149)
PROVED = (
    0, 18, 23, 34, 47, 54, 57, 71, 72, 77, 82, 96, 132, 141, 158, 168, 259, 278, 399, 608, 788,
    1172, 1328, 1354, 1469, 1505, 1594, 1653, 1885,
)  # fmt: skip
CUT_OUT = (282, 483, 607, 623, 624, 646, 764, 967, 1172, 1328, 1594, 1994)
"""With lawns surveyed from which all crossings are cut out, as far as they were drawn."""
MORE = range(1000, 1000 + int(os.environ.get("CROSSINGS", "0")))


@cache
def site_and_plan(seed: int, *, cut_out: bool = False) -> tuple[Site, Plan]:
    drawn = lot(seed)
    parcel = moved(drawn.parcel)
    bare = shapely.union_all([t.geometry for t in drawn.things if not RULES.kinds[t.kind].grass])
    lawns = polygons(shapely.difference(parcel, bare)) if cut_out else []
    site = site_of(parcel, drawn.things, lawns=lawns)
    return site, plan_site(site, machine=load_machine(drawn.machine), rules=RULES)


def broken(plan: Plan) -> list[str]:
    """Return what the program's own proof finds in a plan before it is written."""
    evidence = Evidence(
        recorded_plan(plan), RULES, plan.machine, site=plan.site, terrain=plan.terrain
    )
    return [f"{f.rule}: {f.text}" for f in check_plan(evidence) if f.severity != "note"]


def untold(plan: Plan, site: Site) -> list[str]:
    """Return the crossings that are neither wired nor told of."""
    assert plan.ground is not None
    wired = shapely.union_all(list(plan.ground.wire_ground.crossings))
    told = {finding.where for finding in plan.findings if finding.rule == "crossing"}
    return [
        each.source
        for each in site.features
        if each.kind == "crossing"
        and each.source not in told
        and not shapely.intersects(each.geometry, wired)
    ]


@pytest.mark.parametrize("seed", HELD)
def test_a_lot_with_messy_crossings_holds(seed: int, tmp_path: Path) -> None:
    drawn = lot(seed)
    site = site_of(moved(drawn.parcel), drawn.things)
    plan, _, found = planned(site, tmp_path, machine=drawn.machine)
    assert found == []
    assert untold(plan, site) == []


@pytest.mark.parametrize("seed", [*PROVED, *MORE])
def test_the_proof_finds_nothing_in_a_lot_with_messy_crossings(seed: int) -> None:
    site, plan = site_and_plan(seed)
    assert broken(plan) == []
    assert untold(plan, site) == []


@pytest.mark.parametrize("seed", CUT_OUT)
def test_the_proof_finds_nothing_where_lawns_have_crossings_cut_out(seed: int) -> None:
    site, plan = site_and_plan(seed, cut_out=True)
    assert broken(plan) == []
    assert untold(plan, site) == []


def test_a_pair_that_has_to_leave_beside_the_station_is_told_of() -> None:
    # An island between two crossings is shut in by them and the lines; the station is beside it.
    _, plan = site_and_plan(1994, cut_out=True)
    assert plan.layout is not None
    (told,) = [each for each in plan.findings if each.rule == "station_straight_wire"]
    assert told.severity == "warn"
    assert told.place is not None
    station_m = shapely.distance(told.place, plan.layout.station.point)
    assert station_m <= RULES.station.straight_wire_m + 0.05
    for seed in CUT_OUT[:-1]:
        _, plan = site_and_plan(seed, cut_out=True)
        assert not [each for each in plan.findings if each.rule == "station_straight_wire"]


def test_the_lots_hold_crossings_that_are_wired_cut_and_left_out() -> None:
    wired, left_out, blocked = 0, 0, 0
    for seed in PROVED:
        _, plan = site_and_plan(seed)
        assert plan.ground is not None
        texts = [finding.text for finding in plan.findings if finding.rule == "crossing"]
        wired += len(plan.ground.wire_ground.crossings)
        left_out += len(texts)
        blocked += sum("blocks" in text for text in texts)
    assert wired >= len(PROVED)
    assert left_out > blocked > 0
