"""portfolio.gpkg and portfolio.csv."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import fiona
import pytest
from pyproj import Geod
from shapely.geometry import shape

from lawnplat.deliver.portfolio_files import cell, write_portfolio
from lawnplat.errors import DeliveryError
from lawnplat.planned import Outcome, Plan, Status
from lawnplat.portfolio.outcomes import outcome_of_plan


@pytest.fixture
def outcomes(garden_plan: Plan, stopped_plan: Plan) -> list[Outcome]:
    refused = Outcome("=1+2", "", "", Status.BAD_INPUT, "no\nboundary", None, None)
    return [outcome_of_plan(garden_plan, "G-1"), outcome_of_plan(stopped_plan, "G-2"), refused]


def read_layer(path: Path) -> list[dict[str, object]]:
    with fiona.open(path, layer="properties") as file:
        return [dict(f.properties) for f in file]


def read_table(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_headline_figures(garden_plan: Plan, stopped_plan: Plan) -> None:
    done, stopped = outcome_of_plan(garden_plan, "G-1"), outcome_of_plan(stopped_plan, "G-2")
    assert (done.perimeter_m, done.pegs) == (
        garden_plan.layout.perimeter.line.length,
        len(garden_plan.works.pegs),
    )
    assert done.advisories == 1  # one warning; the note does not count
    assert done.reason == ""
    assert stopped.reason == "no clear ground of 2.0 m for a station"
    assert (stopped.perimeter_m, stopped.pegs) == (0.0, 0)
    assert stopped.lawn_m2 == done.lawn_m2


def test_both_files_hold_the_same_table(outcomes: list[Outcome], tmp_path: Path) -> None:
    file, table = write_portfolio(outcomes, tmp_path)
    layer, rows = read_layer(file), read_table(table)
    assert [list(row) for row in layer] == [list(row) for row in rows]
    assert [row["status"] for row in rows] == [
        "planned_with_advisories", "not_plannable", "bad_input",
    ]  # fmt: skip
    for in_layer, in_table in zip(layer, rows, strict=True):
        # The table is rounded to 0.01: half of that, and the last bit of a double.
        assert float(in_table["lawn_m2"]) == pytest.approx(in_layer["lawn_m2"], abs=0.0051)
    assert layer[2]["property_id"] == "=1+2"
    assert rows[2]["property_id"] == "'=1+2"
    assert rows[2]["reason"] == "no boundary"


def test_outlines_keep_a_common_crs(outcomes: list[Outcome], tmp_path: Path) -> None:
    file, _ = write_portfolio(outcomes, tmp_path)
    with fiona.open(file, layer="properties") as layer:
        assert layer.crs.to_epsg() == 25832
        first, _, refused = [f.geometry for f in layer]
    assert shape(first).geoms[0].equals(outcomes[0].outline)
    assert refused is None


def test_outlines_of_several_crs_go_to_longitude_and_latitude(
    outcomes: list[Outcome], tmp_path: Path
) -> None:
    other = replace(outcomes[1], crs="EPSG:25833")
    file, _ = write_portfolio([outcomes[0], other], tmp_path)
    with fiona.open(file, layer="properties") as layer:
        assert layer.crs.to_epsg() == 4326
        shapes = [shape(f.geometry) for f in layer]
    # Zone 32's middle meridian is 9 degrees east, zone 33's is 15: easting 500 000 lies on it.
    assert shapes[0].bounds[0] == pytest.approx(9.0, abs=1e-9)
    assert shapes[1].bounds[0] == pytest.approx(15.0, abs=1e-9)
    area, _ = Geod(ellps="GRS80").geometry_area_perimeter(shapes[0])
    # On the middle meridian UTM's scale is 0.9996, so ground areas are 1/0.9996^2 larger.
    assert abs(area) == pytest.approx(432.0 / 0.9996**2, rel=1e-5)


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_no_cell_runs_as_a_formula(start: str) -> None:
    # The characters are those of the OWASP page on CSV injection (from memory).
    assert not cell(f"{start}SUM(A1)").startswith(("=", "+", "-", "@", "\t", "\r"))


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ("-12", "-12"),
        ("+4.5", "+4.5"),
        (-1.005, "-1.00"),
        (3, "3"),
        (None, ""),
        ("a=b", "a=b"),
        ("", ""),
    ],
)
def test_plain_cells_stay_as_they_are(value, text: str) -> None:
    assert cell(value) == text


def test_someone_elses_files_are_left_alone(outcomes: list[Outcome], tmp_path: Path) -> None:
    (tmp_path / "portfolio.csv").write_text("name,amount\nx,1\n")
    with pytest.raises(DeliveryError, match=r"portfolio\.csv"):
        write_portfolio(outcomes, tmp_path)
    assert (tmp_path / "portfolio.csv").read_text() == "name,amount\nx,1\n"


def test_ours_are_replaced(outcomes: list[Outcome], tmp_path: Path) -> None:
    write_portfolio(outcomes, tmp_path)
    file, table = write_portfolio(outcomes[:1], tmp_path)
    assert len(read_layer(file)) == len(read_table(table)) == 1
    assert {each.name for each in tmp_path.iterdir()} == {"portfolio.gpkg", "portfolio.csv"}


def test_no_property_at_all(tmp_path: Path) -> None:
    file, table = write_portfolio([], tmp_path)
    assert read_layer(file) == read_table(table) == []
