"""The rover's table: hostile text, somebody else's file, a plan without marks."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import pytest
from shapely import box

from lawnplat.deliver.rover_file import HEADER, write_rover
from lawnplat.errors import DeliveryError
from lawnplat.plan import plan_site
from lawnplat.planned import Plan
from lawnplat.settings.load import load_machine, load_rule_book
from lawnplat.survey.types import Site


@pytest.fixture(scope="module")
def plan() -> Plan:
    site = Site("1", "invented", "EPSG:25832", box(0, 0, 20, 20))
    return plan_site(site, machine=load_machine(), rules=load_rule_book())


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_metres_to_the_millimetre_and_no_height_where_none_is_known(
    plan: Plan, tmp_path: Path
) -> None:
    found = rows(write_rover(plan, tmp_path))
    assert len(found) == len(plan.works.marks) + len(plan.works.fixed_points)
    assert found[0]["what"] == "station"
    assert found[0]["easting_m"] == f"{plan.works.marks[0].point.x:.3f}"
    assert {row["height_m"] for row in found} == {""}
    assert {row["on"] for row in found[-len(plan.works.fixed_points) :]} == {"fixed_point"}


@pytest.mark.parametrize(
    "hostile", ["=1+1", "+cmd|' /C calc'!A0", "-2+3", "@SUM(A1)", "\t=1", "\r=1", "\n=1"]
)
def test_no_cell_runs_as_a_formula(plan: Plan, tmp_path: Path, hostile: str) -> None:
    named = replace(plan, site=replace(plan.site, property_id=hostile))
    found = rows(write_rover(named, tmp_path))
    for row in found:
        assert set(row) == set(HEADER)
        assert row["property_id"].startswith("'") or row["property_id"][0] not in "=+-@\t\r\n"
    assert hostile.strip()[-1] == found[0]["property_id"][-1]


@pytest.mark.parametrize(
    "odd", ['a,b"c', "<script>", "\u202eabc", "\U0001f331", "x" * 10_000, "\ud800", "\0"]
)
def test_odd_text_breaks_no_row(plan: Plan, tmp_path: Path, odd: str) -> None:
    named = replace(plan, site=replace(plan.site, property_id=odd))
    found = rows(write_rover(named, tmp_path))
    assert len(found) == len(plan.works.marks) + len(plan.works.fixed_points)
    assert {row["crs"] for row in found} == {"EPSG:25832"}


def test_a_file_of_ours_is_replaced_and_no_other(plan: Plan, tmp_path: Path) -> None:
    path = write_rover(plan, tmp_path)
    before = path.read_bytes()
    assert write_rover(plan, tmp_path).read_bytes() == before
    path.write_text("mark,easting\n1,2\n")
    with pytest.raises(DeliveryError, match="not a file that lawnplat made"):
        write_rover(plan, tmp_path)
    assert path.read_text() == "mark,easting\n1,2\n"


def test_a_plan_without_marks_leaves_no_earlier_marks(plan: Plan, tmp_path: Path) -> None:
    write_rover(plan, tmp_path)
    path = write_rover(replace(plan, works=None), tmp_path)
    assert path.read_text() == ",".join(HEADER) + "\n"
