"""`lawnplat check` on the sample survey's written plans, and on what is no plan."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pyogrio
import pytest
from click.testing import CliRunner, Result

from lawnplat.cli import main
from whole.conftest import RASTER, SURVEY, Run


def check(*words: object) -> Result:
    return CliRunner().invoke(main, ["check", *map(str, words)])


def test_no_plan_of_the_sample_is_accused(street: Run) -> None:
    for words in ((), (SURVEY,), (SURVEY, "--elevation", RASTER)):
        result = check(street.out, *words, "--json")
        assert result.exit_code == 0, result.output
        told = json.loads(result.stdout)
        assert len(told["plans"]) == 9
        assert all(plan["counts"]["stop"] + plan["counts"]["warn"] == 0 for plan in told["plans"])


def test_a_spoilt_file_is_told_of_and_written_as_a_layer(street: Run, tmp_path: Path) -> None:
    spoilt = tmp_path / "plan.gpkg"
    spoilt.write_bytes(street.plan_path("garden-02").read_bytes())
    with closing(sqlite3.connect(spoilt)) as database, database:
        database.execute("UPDATE run_info SET value = 'none' WHERE key = 'rule_book_sha256'")
    out = tmp_path / "findings.gpkg"
    result = check(spoilt, "--out", out)
    assert result.exit_code == 1, result.output
    assert "settings" in result.stdout
    assert check(spoilt, "--out", out).exit_code == 1  # its own file is replaced
    rows = pyogrio.read_dataframe(out, layer="findings")
    assert set(rows["property_id"]) == {"garden-02"}
    assert {"rule", "severity", "text", "measured", "limit"} <= set(rows.columns)
    assert (rows["rule"] == "settings").any()


def test_out_never_replaces_a_plan(street: Run, tmp_path: Path) -> None:
    copy = tmp_path / "plan.gpkg"
    copy.write_bytes(street.plan_path("garden-02").read_bytes())
    before = copy.read_bytes()
    result = check(copy, "--out", copy)
    assert result.exit_code == 2
    assert copy.read_bytes() == before


@pytest.mark.parametrize("words", [["none.gpkg"], [SURVEY], ["EMPTY"], ["PLAN", "none.gpkg"]])
def test_what_cannot_be_checked_is_told_in_two_lines(
    words: list[object], street: Run, tmp_path: Path
) -> None:
    plan = street.plan_path("garden-02")
    stands_for = {"EMPTY": tmp_path, "PLAN": plan}
    result = check(*(stands_for.get(str(word), word) for word in words))
    assert result.exit_code == 2
    assert "Traceback" not in result.stderr
    assert 1 <= len(result.stderr.strip().splitlines()) <= 3


def without_layer(plan: Path, layer: str, to: Path) -> Path:
    """Copy a plan, one layer struck off the list of its layers."""
    to.write_bytes(plan.read_bytes())
    with closing(sqlite3.connect(to)) as database, database:
        for table in ("gpkg_contents", "gpkg_geometry_columns"):
            database.execute(f"DELETE FROM {table} WHERE table_name = ?", (layer,))
    return to


@pytest.mark.parametrize("layer", ["perimeter_wire", "parcel", "lawn", "pegs"])
def test_a_layer_that_is_lacking_is_told_once_and_not_what_follows_from_it(
    layer: str, street: Run, tmp_path: Path
) -> None:
    path = without_layer(street.plan_path("garden-02"), layer, tmp_path / "plan.gpkg")
    result = check(path, "--json")
    assert result.exit_code == 1, result.output
    (plan,) = json.loads(result.stdout)["plans"]
    told = [f for f in plan["findings"] if f["severity"] != "note"]
    assert [f["text"].split(":")[0] for f in told if f["rule"] == "layers"] == [
        f"the file has no layer {layer}"
    ]
    # What is told besides is told once a wire, not once a peg or a metre.
    assert len(told) <= 6, [f["text"] for f in told]
    assert not {"outside", "lawn_is_grass", "cable_route"} & {f["rule"] for f in told}


def test_a_file_without_its_record_says_what_is_lacking(street: Run, tmp_path: Path) -> None:
    path = without_layer(street.plan_path("garden-02"), "run_info", tmp_path / "plan.gpkg")
    result = check(path)
    assert result.exit_code == 2
    assert "layer run_info" in result.stderr
    assert len(result.stderr.strip().splitlines()) == 2


def test_the_table_fits_a_terminal_and_says_in_words_where_nothing_is_broken(street: Run) -> None:
    result = check(street.out)
    assert max(len(line) for line in result.stdout.splitlines()) <= 96
    assert "garden-02: no rule broken, 1 note" in result.stdout.splitlines()
