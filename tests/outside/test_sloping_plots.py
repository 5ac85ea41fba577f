"""Real plots and buildings laid over real ground from elsewhere: the slopes there are invented.

Plots and buildings are the data set `bubenec` of the PyPI package momepy (EPSG:3857). The ground is
the 1 m lidar raster of the PyPI package lidar (found, never imported), mirrored at its edges until
it is large enough, at three quarters of its height (half of it over 15 %) and put under the plots.
"""

from __future__ import annotations

import csv
import importlib.util
import json
from pathlib import Path

import geopandas as gpd
import momepy
import numpy as np
import pytest
import rasterio
from affine import Affine
from click.testing import CliRunner

from holds import Given, breaches, cheap_breaches, false_refusal, read_plan
from lawnplat.cli import main
from lawnplat.plan import plan_site
from lawnplat.planned import Plan
from lawnplat.settings.load import load_machine, load_rule_book
from lawnplat.survey.field_map import load_field_map
from lawnplat.survey.read import read_survey
from lawnplat.terrain.reader import ElevationRaster

from .bending_way import least_m, room_of

FIELD_MAP = """
[layers]
parcels = "plots"
features = "buildings"
[columns.parcels]
property_id = "ID"
[kinds]
default = "building"
"""
METRIC = "EPSG:32633"
LARGEST_M2 = 700.0
COUNT = 60
"""So many plots are planned, evenly taken from those up to ``LARGEST_M2`` (and over 100 m2)."""
WHOLLY = 10
"""One plan in so many gets every check, the others the cheap ones."""
HEIGHT_SHARE = 0.75
MOST_BENT = 2


def write_plots(path: Path, count: int | None) -> None:
    """Write ``count`` plots of a garden's size, or all there are."""
    source = momepy.datasets.get_path("bubenec")
    plots = gpd.read_file(source, layer="plots")
    if count is not None:
        area_m2 = plots.to_crs(METRIC).area
        plots = plots[(area_m2 > 100.0) & (area_m2 < LARGEST_M2)]
        plots = plots.iloc[np.linspace(0, len(plots) - 1, count).astype(int)]
    plots.to_file(path, layer="plots")
    gpd.read_file(source, layer="buildings").to_file(path, layer="buildings")


def write_ground(path: Path) -> None:
    """Write the raster under the plots, each mirrored copy joined on without a step."""
    found = importlib.util.find_spec("lidar")
    assert found is not None
    assert found.origin is not None
    with rasterio.open(Path(found.origin).parent / "data" / "dem.tif") as raster:
        heights = HEIGHT_SHARE * raster.read(1)
    plots = gpd.read_file(momepy.datasets.get_path("bubenec"), layer="plots").to_crs(METRIC)
    west, south, east, north = plots.total_bounds + np.array([-30.0, -30.0, 30.0, 30.0])
    rows, columns = int(np.ceil(north - south)), int(np.ceil(east - west))
    wide = np.pad(
        heights,
        ((0, rows - heights.shape[0]), (0, columns - heights.shape[1])),
        mode="symmetric",
    )
    with rasterio.open(
        path, "w", driver="GTiff", height=rows, width=columns, count=1, dtype="float32",
        crs=METRIC, transform=Affine(1, 0, west, 0, -1, north),
    ) as out:  # fmt: skip
        out.write(wide.astype("float32"), 1)


def plan_plots(
    folder: Path, machine: str, count: int | None
) -> tuple[str, Path, list[dict[str, str]]]:
    """Plan the plots by the command: standard error, the output folder, the table's rows."""
    write_plots(folder / "plots.gpkg", count)
    write_ground(folder / "ground.tif")
    (folder / "map.toml").write_text(FIELD_MAP)
    words = ["plan", folder / "plots.gpkg", "--map", folder / "map.toml", "--workers", "2"]
    words += ["--elevation", folder / "ground.tif", "--machine", machine, "--out", folder / "plans"]
    result = CliRunner().invoke(main, [*map(str, words)])
    with (folder / "plans" / "portfolio.csv").open(encoding="utf-8", newline="") as file:
        return result.stderr, folder / "plans", list(csv.DictReader(file))


def given_for(machine: str) -> Given:
    return Given(load_rule_book(), load_machine(machine), derived_lawn=True)


@pytest.fixture(scope="module")
def plans(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Path, list[dict[str, str]]]:
    return plan_plots(tmp_path_factory.mktemp("sloping"), "medium", COUNT)


def test_no_plot_is_lost(plans: tuple[str, Path, list[dict[str, str]]]) -> None:
    said, _, rows = plans
    assert "Traceback" not in said
    assert not [row for row in rows if "internal fault" in row["reason"]]
    assert len(rows) == COUNT
    planned = [row for row in rows if row["status"].startswith("planned")]
    assert len(planned) >= 0.6 * len(rows)


def test_the_ground_slopes(plans: tuple[str, Path, list[dict[str, str]]]) -> None:
    _, out, rows = plans
    told: set[str] = set()
    for row in rows:
        if row["folder"]:
            plan = read_plan(out / row["folder"] / "plan.gpkg", ("slope_zones", "advisories"))
            told |= {*plan["slope_zones"]["zone"], *plan["advisories"]["rule"]}
    # Slopes that matter to the routes, and some that the machine cannot mow.
    assert {"gentle", "workable", "too_steep", "edge_cross_fall", "station_tilt"} <= told


def test_every_plan_holds_or_is_refused_for_a_true_reason(
    plans: tuple[str, Path, list[dict[str, str]]],
) -> None:
    _, out, rows = plans
    given, wrong = given_for("medium"), {}
    for number, row in enumerate(each for each in rows if each["folder"]):
        path = out / row["folder"] / "plan.gpkg"
        if not row["status"].startswith("planned"):
            plan = read_plan(path)
            found = breaches(plan, given) + [said for said in [false_refusal(plan, given)] if said]
        elif number % WHOLLY:
            found = cheap_breaches(path, given)
        else:
            found = breaches(read_plan(path), given)
        if found:
            wrong[row["property_id"]] = found
    assert wrong == {}


def planned_again(folder: Path, names: list[str]) -> list[Plan]:
    """Plan some of the plots as `plan_plots` does, without files."""
    rules, machine = load_rule_book(), load_machine("medium")
    plots, columns = [str(folder / "plots.gpkg")], load_field_map(folder / "map.toml")
    survey = read_survey(plots, rules=rules, field_map=columns, only=names)
    with ElevationRaster(folder / "ground.tif") as elevation:
        return [
            plan_site(site, machine=machine, rules=rules, elevation=elevation)
            for site in survey.sites
        ]


def test_a_first_line_bends_sharply_only_where_no_way_without_leads_to_its_joint(
    plans: tuple[str, Path, list[dict[str, str]]],
) -> None:
    """The reference is the shortest way that bends and climbs as allowed, searched by scipy."""
    _, out, rows = plans
    bent = []
    for row in rows:
        if row["folder"] and row["status"].startswith("planned"):
            said = read_plan(out / row["folder"] / "plan.gpkg", ("advisories",))["advisories"]
            if said["text"].str.startswith("return line 1 turns").any():
                bent.append(row["property_id"])
    assert 1 <= len(bent) <= MOST_BENT
    for plan in planned_again(out.parent, bent):
        length_m = plan.layout.return_lines[0].line.length
        assert least_m(room_of(plan, load_rule_book()), 1.5 * length_m) == np.inf


def test_the_programs_own_proof_accuses_no_plan(
    plans: tuple[str, Path, list[dict[str, str]]],
) -> None:
    """Held by `lawnplat check` against survey and heights, the plans that lay no wire too."""
    _, out, _ = plans
    words = [out, out.parent / "plots.gpkg", "--map", out.parent / "map.toml"]
    words += ["--elevation", out.parent / "ground.tif", "--json"]
    result = CliRunner().invoke(main, ["check", *map(str, words)])
    told = json.loads(result.stdout)["plans"]
    assert len(told) >= 0.9 * COUNT
    rules = {each["rule"] for plan in told for each in plan["findings"]}
    assert "not_measured" not in rules
    assert {"cross_fall", "station_tilt"} <= rules  # the ground is steep enough to tell of
    accused = {
        plan["property_id"]: [f["text"] for f in plan["findings"] if f["severity"] != "note"]
        for plan in told
    }
    assert {name: said for name, said in accused.items() if said} == {}
