"""Real plots and buildings, read as anybody's file would be: web mercator, other people's names.

Source: the data set `bubenec` of the PyPI package momepy (407 plots, 144 buildings, EPSG:3857).
"""

from __future__ import annotations

import csv
import json
from pathlib import Path

import geopandas as gpd
import momepy
import pytest
from click.testing import CliRunner, Result

from holds import Given, assert_plan_holds, cheap_breaches, has_room_for_station, read_plan
from lawnplat.cli import main
from lawnplat.settings.load import load_machine, load_rule_book

FIELD_MAP = """
[layers]
parcels = "plots"
features = "buildings"
[columns.parcels]
property_id = "ID"
[kinds]
default = "building"
"""
LARGE_M2 = 60.0
EVERY = 8
"""Every check of the tests' own for one plan in eight, the cheap ones for all: 0.25 s and 0.1 s a
plot. The program's own proof is given all of them: 0.07 s a plot."""
SHARE = 2
"""One plot in two is planned."""


def plots_taken() -> list[str]:
    plots = gpd.read_file(momepy.datasets.get_path("bubenec"), layer="plots")
    return sorted(plots["ID"].astype(str))[::SHARE]


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> tuple[Result, Path]:
    folder = tmp_path_factory.mktemp("plots")
    (folder / "map.toml").write_text(FIELD_MAP)
    only = [word for plot in plots_taken() for word in ("--only", plot)]
    words = [momepy.datasets.get_path("bubenec"), "--map", folder / "map.toml"]
    out = folder / "plans"
    call = ["plan", *map(str, words), "--out", str(out), "--workers", "2", *only]
    return CliRunner().invoke(main, call), out


@pytest.fixture(scope="module")
def rows(run: tuple[Result, Path]) -> list[dict[str, str]]:
    with (run[1] / "portfolio.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def given() -> Given:
    return Given(load_rule_book(), load_machine("medium"), derived_lawn=True)


def test_no_plot_is_lost_and_nothing_crashes(
    run: tuple[Result, Path], rows: list[dict[str, str]]
) -> None:
    result, _ = run
    assert result.exit_code == 1, result.stderr  # some plots hold no lawn worth a machine
    assert "Traceback" not in result.stderr
    assert not [row for row in rows if "internal fault" in row["reason"]]
    assert sorted(row["property_id"] for row in rows) == plots_taken()
    assert all(row["reason"] for row in rows if not row["status"].startswith("planned"))


def test_areas_are_those_on_the_ground(run: tuple[Result, Path], rows: list[dict]) -> None:
    """Web mercator stretches areas 2.4 times there: the geodesic area is the reference (pyproj)."""
    plots = gpd.read_file(momepy.datasets.get_path("bubenec"), layer="plots").to_crs(4326)
    geod = plots.crs.get_geod()
    true_m2 = {
        str(row.ID): abs(geod.geometry_area_perimeter(row.geometry)[0])
        for row in plots.itertuples()
    }
    for row in rows[::20]:
        if row["folder"]:
            parcel = read_plan(run[1] / row["folder"] / "plan.gpkg", ("parcel",))["parcel"]
            # 0.2 % is the contract's own.
            assert parcel["area_m2"].sum() == pytest.approx(true_m2[row["property_id"]], rel=2e-3)


def test_every_plot_with_room_is_planned(
    run: tuple[Result, Path], rows: list[dict[str, str]], given: Given
) -> None:
    refused = [
        row for row in rows if row["status"] == "not_plannable" and float(row["mowable_m2"]) > 0
    ]
    for row in refused:
        plan = read_plan(run[1] / row["folder"] / "plan.gpkg")
        if plan["mowable"].area.max() >= LARGE_M2:
            assert not has_room_for_station(plan, given), f"{row['property_id']}: {row['reason']}"
    large = [row for row in rows if float(row["mowable_m2"]) >= LARGE_M2]
    planned = [row for row in large if row["status"].startswith("planned")]
    # The set would say nothing if hardly any of them were large or planned.
    assert len(planned) >= 200 // SHARE
    assert len(planned) >= 0.97 * len(large)


def test_every_plan_holds(
    run: tuple[Result, Path], rows: list[dict[str, str]], given: Given
) -> None:
    wrong = {}
    planned = [row for row in rows if row["status"].startswith("planned")]
    for row in planned:
        found = cheap_breaches(run[1] / row["folder"] / "plan.gpkg", given)
        if found:
            wrong[row["property_id"]] = found
    assert wrong == {}
    for row in planned[::EVERY]:
        assert_plan_holds(run[1] / row["folder"] / "plan.gpkg", given)


def test_the_programs_own_proof_accuses_no_plan(run: tuple[Result, Path]) -> None:
    """All plans, those that lay no wire too, are held against the survey by `lawnplat check`."""
    _, out = run
    words = [out, momepy.datasets.get_path("bubenec"), "--map", out.parent / "map.toml", "--json"]
    result = CliRunner().invoke(main, ["check", *map(str, words)])
    plans = json.loads(result.stdout)["plans"]
    assert len(plans) >= 0.98 * len(plots_taken())  # one of the set has an outline of no area
    accused = {
        plan["property_id"]: [f["text"] for f in plan["findings"] if f["severity"] != "note"]
        for plan in plans
    }
    assert {name: said for name, said in accused.items() if said} == {}
    assert result.exit_code == 0, result.stderr
