"""Many properties: faults and dead processes stop nobody else."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import pytest
from shapely import box

from lawnplat import plan as plan_room
from lawnplat.deliver.gpkg import is_ours
from lawnplat.planned import Outcome, Plan, Status
from lawnplat.portfolio.inputs import input_facts
from lawnplat.portfolio.run import RunSettings, run_portfolio
from lawnplat.settings.load import load_rule_book
from lawnplat.survey.types import Finding, LayerSummary, Refusal, Site, Survey


class Deadly:
    """Kills the process that it is sent to, as one that runs out of memory is killed."""

    def __reduce__(self) -> tuple[object, tuple[int]]:
        return os._exit, (9,)


def site(property_id: str, east: float = 0.0) -> Site:
    west, south = 500_000.0 + east, 5_400_000.0
    return Site(property_id, property_id, "EPSG:25832", box(west, south, west + 20, south + 15))


def survey(*sites: Site, refusals: tuple[Refusal, ...] = ()) -> Survey:
    return Survey(sites, refusals, (), ())


@pytest.fixture
def settings() -> RunSettings:
    return RunSettings(rules=load_rule_book())


def test_outcomes_come_in_the_surveys_order(
    garden_plan: Plan, settings: RunSettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def plan_site(each: Site, **_: object) -> Plan:
        if each.property_id == "b":
            raise ZeroDivisionError("by zero")
        return replace(garden_plan, site=replace(garden_plan.site, property_id=each.property_id))

    monkeypatch.setattr(plan_room, "plan_site", plan_site)
    refusal = Refusal("r", "", (Finding("parcel", "stop", "has no area"),))
    told: list[tuple[Outcome, str]] = []
    outcomes = run_portfolio(
        survey(site("c"), site("b"), site("a"), refusals=(refusal,)),
        settings,
        tmp_path,
        report=lambda outcome, trace: told.append((outcome, trace)),
    )
    assert [each.property_id for each in outcomes] == ["c", "b", "a", "r"]
    assert [each.status for each in outcomes] == [
        Status.PLANNED_WITH_ADVISORIES, Status.BAD_INPUT,
        Status.PLANNED_WITH_ADVISORIES, Status.BAD_INPUT,
    ]  # fmt: skip
    assert outcomes[1].reason == "internal fault: ZeroDivisionError: by zero; please report"
    assert outcomes[3].reason == "has no area"
    assert [outcome for outcome, _ in told] == list(outcomes)
    assert "in plan_site" in told[1][1]
    assert not (tmp_path / "b").exists()


def test_ids_that_a_file_system_takes_for_one(
    garden_plan: Plan, settings: RunSettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        plan_room,
        "plan_site",
        lambda each, **_: replace(garden_plan, site=each, findings=()),
    )
    outcomes = run_portfolio(survey(site("g"), site("G")), settings, tmp_path)
    assert len({each.folder.casefold() for each in outcomes}) == 2
    for each in outcomes:
        assert is_ours(tmp_path / each.folder / "plan.gpkg", each.property_id)


def test_a_dead_process_takes_no_other_property_with_it(
    settings: RunSettings, tmp_path: Path
) -> None:
    deadly = replace(site("b", 50), spot_heights=Deadly())
    sites = (site("a"), deadly, *(site(name, 100) for name in "cdef"))
    outcomes = run_portfolio(survey(*sites), settings, tmp_path, workers=2)
    assert [each.property_id for each in outcomes] == list("abcdef")
    assert ["killed" in each.reason for each in outcomes] == [False, True, *[False] * 4]
    assert outcomes[1].status == Status.BAD_INPUT


def test_inputs_are_named_once_without_their_folders(tmp_path: Path) -> None:
    for name in ("b.gpkg", "a.tif", "spare.gpkg"):
        (tmp_path / name).write_bytes(name.encode())
    layers = tuple(
        LayerSummary(role, str(tmp_path / file), role, "Polygon", 1, "", ())
        for role, file in (("parcels", "b.gpkg"), ("features", "b.gpkg"), ("unused", "spare.gpkg"))
    )
    facts = input_facts(Survey((), (), (), layers), tmp_path / "a.tif")
    assert [key for key, _ in facts] == ["input b.gpkg", "input a.tif"]
    assert all(value.startswith("sha256 ") and value.endswith(" bytes") for _, value in facts)
