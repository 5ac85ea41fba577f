"""`lawnplat plan` from the command line: sample survey, bad calls, many properties at once."""

from __future__ import annotations

import csv
import json
import sqlite3
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path
from xml.etree import ElementTree as ET

import fiona
import pytest
from click.testing import CliRunner, Result
from shapely.geometry import box, mapping

from lawnplat.cli import main

from .conftest import Run, Said

SAMPLE = Path(__file__).parents[2] / "sample_data"
SURVEY, RASTER = SAMPLE / "survey.gpkg", SAMPLE / "elevation.tif"
PLANNED = {"planned", "planned_with_advisories"}
E, N = 500_000.0, 5_400_000.0


def call(*words: object) -> Result:
    return CliRunner().invoke(main, ["plan", *map(str, words)])


def table(out: Path) -> dict[str, dict[str, str]]:
    with (out / "portfolio.csv").open(encoding="utf-8", newline="") as file:
        return {row["property_id"]: row for row in csv.DictReader(file)}


def survey_of(
    path: Path, parcels: Sequence[tuple[str, object]], machine_class: str | None = None
) -> Path:
    """Write a survey of bare parcels."""
    schema = {"geometry": "Polygon", "properties": {"property_id": "str", "machine_class": "str"}}
    with fiona.open(
        path, "w", driver="GPKG", layer="parcels", schema=schema, crs="EPSG:25832"
    ) as file:
        file.writerecords(
            {
                "geometry": mapping(shape),
                "properties": {"property_id": name, "machine_class": machine_class},
            }
            for name, shape in parcels
        )
    return path


def square(side: float, west: float = 0.0) -> object:
    return box(E + west, N, E + west + side, N + side)


@pytest.fixture
def sample_run(street_of_two_workers: Run) -> tuple[Said, Path]:
    return street_of_two_workers.result, street_of_two_workers.out


def test_the_sample_survey_is_planned(sample_run) -> None:
    done, out = sample_run
    rows = table(out)
    # The sample holds one garden that cannot be planned: the exit status says so.
    assert done.exit_code == 1, done.stderr
    assert "Traceback" not in done.stderr
    by_status = {status: [n for n, r in rows.items() if r["status"] == status] for status in (
        "planned", "planned_with_advisories", "not_plannable", "bad_input",
    )}  # fmt: skip
    assert len(by_status["not_plannable"]) == 1
    assert by_status["bad_input"] == []
    assert len(rows) >= 7
    for name, row in rows.items():
        assert name in done.output
        assert (row["status"] in PLANNED) == (float(row["perimeter_m"]) > 0)
        assert (row["reason"] == "") == (row["status"] in PLANNED)


def test_every_property_has_its_folder_and_nothing_else_is_there(sample_run) -> None:
    _, out = sample_run
    folders = {row["folder"] for row in table(out).values() if row["folder"]}
    over_all = {"index.html", "portfolio.csv", "portfolio.gpkg", "quotes.csv"}
    assert {each.name for each in out.iterdir()} == {*folders, *over_all}
    planned = {row["folder"] for row in table(out).values() if row["status"] in PLANNED}
    for folder in folders:
        expected = {"plan.gpkg", "plan.svg", "rover.csv", "site_sheet.html"}
        expected |= {"quote.csv"} if folder in planned else set()
        assert {each.name for each in (out / folder).iterdir()} == expected
        ET.parse(out / folder / "plan.svg")


def test_headlines_are_those_of_the_plans(sample_run) -> None:
    _, out = sample_run
    for row in (each for each in table(out).values() if each["folder"]):
        with closing(sqlite3.connect(out / row["folder"] / "plan.gpkg")) as plan:

            def total(what: str, layer: str, plan: sqlite3.Connection = plan) -> float:
                query = f"SELECT coalesce({what}, 0) FROM {layer}"
                return float(plan.execute(query).fetchone()[0])

            # The table is rounded to 0.01.
            assert total("sum(area_m2)", "mowable") == pytest.approx(
                float(row["mowable_m2"]), abs=0.006
            )
            assert total("sum(length_m)", "perimeter_wire") == pytest.approx(
                float(row["perimeter_m"]), abs=0.006
            )
            assert total("count(*)", "pegs") == int(row["pegs"])


def test_a_plan_says_what_it_was_made_from(sample_run) -> None:
    _, out = sample_run
    folder = next(iter(table(out).values()))["folder"]
    with closing(sqlite3.connect(out / folder / "plan.gpkg")) as plan:
        facts = dict(plan.execute("SELECT key, value FROM run_info").fetchall())
    assert facts["made_by"] == "lawnplat"
    assert facts["input elevation.tif"].startswith("sha256 ")
    assert facts["input survey.gpkg"].endswith(f"{SURVEY.stat().st_size} bytes")
    assert not any(str(SAMPLE) in value for value in facts.values())


def test_workers_change_nothing(sample_run, tmp_path: Path) -> None:
    _, out = sample_run
    name, row = next((n, r) for n, r in table(out).items() if r["status"] in PLANNED)
    assert call(SURVEY, "--elevation", RASTER, "--out", tmp_path, "--only", name).exit_code == 0

    def rows(path: Path) -> list[object]:
        with closing(sqlite3.connect(path)) as plan:
            layers = [r[0] for r in plan.execute("SELECT table_name FROM gpkg_contents")]
            layers.remove("layer_styles")
            return [plan.execute(f'SELECT * FROM "{each}"').fetchall() for each in layers]

    alone, together = tmp_path / row["folder"], out / row["folder"]
    assert rows(alone / "plan.gpkg") == rows(together / "plan.gpkg")
    assert (alone / "plan.svg").read_bytes() == (together / "plan.svg").read_bytes()


def test_json_is_the_only_thing_on_standard_output(tmp_path: Path) -> None:
    survey = survey_of(tmp_path / "s.gpkg", [("A", square(20)), ("B", square(1, 50))])
    result = call(survey, "--out", tmp_path / "out", "--json")
    said = json.loads(result.stdout)
    assert result.exit_code == 1
    assert said["counts"]["not_plannable"] + said["counts"]["bad_input"] == 1
    assert Path(said["properties"][0]["plan"]).is_file()
    assert [each["property_id"] for each in said["properties"]] == ["A", "B"]


def test_one_propertys_trouble_does_not_stop_the_others(tmp_path: Path) -> None:
    survey = survey_of(
        tmp_path / "s.gpkg",
        [("../tiny", square(1)), ("../ok", square(20, 50)), ("x", square(20, 90))],
    )
    out = tmp_path / "deep" / "out"
    result = call(survey, "--out", out, "--workers", 2)
    assert result.exit_code == 1
    rows = table(out)
    assert rows["../tiny"]["status"] in {"not_plannable", "bad_input"}
    assert rows["../ok"]["status"] in PLANNED
    assert rows["x"]["status"] in PLANNED
    assert {each.name for each in tmp_path.iterdir()} == {"s.gpkg", "deep"}
    assert (out / rows["../ok"]["folder"] / "plan.gpkg").is_file()
    with fiona.open(out / rows["../ok"]["folder"] / "plan.gpkg", layer="advisories") as file:
        assert "folder_name" in {f.properties["rule"] for f in file}


def test_the_parcels_own_machine_class_and_the_commands(tmp_path: Path) -> None:
    survey = survey_of(tmp_path / "s.gpkg", [("A", square(20))], machine_class="small")
    assert call(survey, "--out", tmp_path / "own").exit_code == 0
    assert call(survey, "--out", tmp_path / "all", "--machine", "large").exit_code == 0
    assert table(tmp_path / "own")["A"]["machine_class"] == "small"
    assert table(tmp_path / "all")["A"]["machine_class"] == "large"


def test_an_unknown_machine_class_in_the_survey_is_bad_input(tmp_path: Path) -> None:
    survey = survey_of(tmp_path / "s.gpkg", [("A", square(20))], machine_class="mediun")
    result = call(survey, "--out", tmp_path / "out")
    row = table(tmp_path / "out")["A"]
    assert result.exit_code == 1
    assert row["status"] == "bad_input"
    assert "mediun" in row["reason"]
    assert "nearest known class is medium" in row["reason"]
    assert "internal fault" not in row["reason"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["nowhere.gpkg"], "nowhere.gpkg"),
        ([SURVEY, "--elevation", "nowhere.tif"], "nowhere.tif"),
        ([SURVEY, "--elevation", SURVEY], "survey.gpkg"),
        ([SURVEY, "--only", "garden-1"], "garden-0"),
        ([SURVEY, "--machine", "mediun"], "medium"),
        ([SURVEY, "--rules", "nowhere.toml"], "nowhere.toml"),
        ([SURVEY, "--map", "nowhere.toml"], "nowhere.toml"),
        ([SURVEY, "--workers", "0"], "--workers"),
        ([SURVEY, "--elevation-unit", "yd"], "us-ft"),
        ([SURVEY, "--scheduler", "x"], "--scheduler"),
        ([], "SURVEY"),
    ],
)
def test_a_call_that_cannot_be_carried_out(tmp_path: Path, words: list[object], said: str) -> None:
    result = call(*words, "--out", tmp_path / "out")
    assert result.exit_code == 2
    assert said in result.stderr
    assert "Traceback" not in result.stderr
    assert len(result.stderr.strip().splitlines()) <= 4  # click adds its two usage lines
    assert result.stdout == ""
    assert not (tmp_path / "out").exists()


def test_a_file_in_the_place_of_the_output_folder(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("mine")
    result = call(SURVEY, "--out", tmp_path / "out")
    assert result.exit_code == 2
    assert (tmp_path / "out").read_text() == "mine"


def test_someone_elses_plan_is_not_overwritten(tmp_path: Path) -> None:
    survey = survey_of(tmp_path / "s.gpkg", [("A", square(20)), ("B", square(20, 50))])
    theirs = tmp_path / "out" / "A" / "plan.gpkg"
    theirs.parent.mkdir(parents=True)
    theirs.write_bytes(b"mine")
    result = call(survey, "--out", tmp_path / "out")
    assert result.exit_code == 1
    assert theirs.read_bytes() == b"mine"
    assert "not a file that lawnplat made" in table(tmp_path / "out")["A"]["reason"]
    assert table(tmp_path / "out")["B"]["status"] in PLANNED


def test_a_plan_of_an_earlier_run_is_pointed_out(tmp_path: Path) -> None:
    out = tmp_path / "out"
    good = survey_of(tmp_path / "good.gpkg", [("A", square(20))])
    bad = survey_of(tmp_path / "bad.gpkg", [("A", square(20))], machine_class="none such")
    assert call(good, "--out", out).exit_code == 0
    assert call(bad, "--out", out).exit_code == 1
    assert "the plan in 'A' is an earlier run's" in table(out)["A"]["reason"]


def test_every_option_has_help_and_there_is_no_other() -> None:
    assert CliRunner().invoke(main, ["plan", "--help"]).exit_code == 0
    command = main.get_command(None, "plan")
    options = {each.opts[0]: each.help for each in command.params if each.opts[0] != "survey"}
    # contract.md section 4, as far as what an option needs exists.
    assert set(options) == {
        "--out", "--elevation", "--elevation-unit", "--map", "--crs", "--rules", "--machine",
        "--prices", "--climate", "--date", "--pdf", "--prove", "--only", "--workers", "--json",
        "--debug",
    }  # fmt: skip
    assert all(options.values())
