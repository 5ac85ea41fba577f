"""`lawnplat inspect` as it is called: what it prints, and the exit status of every outcome."""

from __future__ import annotations

import json
import re
import subprocess
import sys

import fiona
import momepy
import pytest
import shapely
from click.testing import CliRunner
from shapely import Polygon, box

from lawnplat.cli import main

E, N = 500_000.0, 5_400_000.0
BUBENEC = str(momepy.datasets.get_path("bubenec"))
MAP = """
[layers]
parcels = "plots"
features = "buildings"
[columns.parcels]
property_id = "ID"
[kinds]
default = "building"
"""


def run(*arguments):
    return CliRunner().invoke(main, ["inspect", *map(str, arguments)])


def write(path, layer, rows, columns):
    schema = {"geometry": "Unknown", "properties": dict.fromkeys(columns, "str")}
    with fiona.open(path, "w", driver="GPKG", layer=layer, crs="EPSG:25832", schema=schema) as sink:
        for geometry, values in rows:
            shape = None if geometry is None else shapely.geometry.mapping(geometry)
            sink.write({"geometry": shape, "properties": dict(zip(columns, values, strict=True))})


def square(west, south, size=20.0):
    return box(E + west, N + south, E + west + size, N + south + size)


@pytest.fixture
def garden(tmp_path):
    """Return a survey of one sound garden with a house."""
    path = tmp_path / "garden.gpkg"
    write(path, "parcels", [(square(0, 0), ("a", "Invented Lane 1"))], ("property_id", "label"))
    write(path, "features", [(square(5, 5, 5), ("building",))], ("kind",))
    return path


@pytest.fixture
def troubled(tmp_path):
    """Return a survey with a bow-tie, a parcel without geometry and two features misspelt."""
    path = tmp_path / "troubled.gpkg"
    bow_tie = Polygon([(E, N), (E + 10, N + 10), (E + 10, N), (E, N + 10)])
    write(path, "parcels", [(bow_tie, ("a", "")), (None, ("b", "Invented Lane 2"))],
          ("property_id", "label"))  # fmt: skip
    write(path, "features", [(square(1, 4, 1), ("buidling",)), (square(8, 4, 1), ("buidling",))],
          ("kind",))  # fmt: skip
    return path


def test_sound_survey(garden):
    result = run(garden)
    assert result.exit_code == 0
    assert "EPSG:25832 (1 properties)" in result.stdout
    assert "building 1" in result.stdout
    assert "Invented Lane 1" in result.stdout
    assert "400.0" in result.stdout
    assert "Nothing is wrong with the files." in result.stdout


def test_troubled_survey_says_what_where_and_how_often(troubled):
    result = run(troubled)
    assert result.exit_code == 1
    text = result.stdout
    assert re.search(r"b +Invented Lane 2 +bad input", text)
    assert "stop: bad_geometry: the parcel has no geometry" in text
    assert "troubled.gpkg, layer parcels, row 2" in text
    assert "warn: repaired_outline" in text
    assert f"first place {E + 5:.2f}, {N + 5:.2f} (EPSG:25832)" in text
    assert "unknown kind 'buidling' (the nearest known kind is building)" in text
    assert "(2 times)" in text
    assert "troubled.gpkg, layer features, rows 1 and 2" in text
    assert text.index("stop:") < text.index("warn:")
    assert result.stderr == ""


def test_json_holds_the_same(troubled):
    result = run(troubled, "--json")
    assert result.exit_code == 1
    found = json.loads(result.stdout)
    assert [(p["property_id"], p["status"]) for p in found["properties"]] == [
        ("a", "readable"), ("b", "bad_input")
    ]  # fmt: skip
    unknown = next(f for f in found["findings"] if f["rule"] == "unknown_kind")
    assert (unknown["count"], unknown["properties"]) == (2, ["a"])
    repaired = next(f for f in found["findings"] if f["rule"] == "repaired_outline")
    assert repaired["place"] == pytest.approx([E + 5, N + 5])
    assert {layer["role"] for layer in found["layers"]} == {"parcels", "features"}


def test_inspect_plans_nothing(garden):
    before = sorted(path.name for path in garden.parent.iterdir())
    run(garden)
    assert sorted(path.name for path in garden.parent.iterdir()) == before


def test_real_plots_with_a_field_map(tmp_path):
    (tmp_path / "map.toml").write_text(MAP)
    result = run(BUBENEC, "--map", tmp_path / "map.toml", "--json")
    assert result.exit_code == 1  # one plot of half a square metre
    found = json.loads(result.stdout)
    # 407 plots and 144 buildings: the row counts of the data set as momepy ships it.
    assert len(found["properties"]) == 407
    assert found["kinds"] == {"building": 144}
    assert [f["rule"] for f in found["findings"]] == ["parcel_too_small"]


def test_many_properties_are_cut_short_and_that_is_said(tmp_path):
    path = tmp_path / "many.gpkg"
    write(path, "parcels", [(square(30 * i, 0), (str(i),)) for i in range(50)], ("property_id",))
    assert "... and 10 more properties; --json lists them all" in run(path).stdout


def test_own_rules_hold(troubled, tmp_path):
    rules = tmp_path / "rules.toml"
    rules.write_text("[ground]\nsmallest_parcel_m2 = 60\n")
    found = json.loads(run(troubled, "--rules", rules, "--json").stdout)
    reasons = {p["property_id"]: p.get("reason", "") for p in found["properties"]}
    assert "measures 50.00 m2, under the smallest of 60 m2" in reasons["a"]


def damaged(path):
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])
    return [path]


def no_parcels(path):
    return [f"parcels={path}:plots"]


def no_crs(path):
    with fiona.open(path, layer="parcels") as source:
        rows, schema = list(source), source.schema
    bare = path.with_name("bare.shp")
    schema["geometry"] = "Polygon"
    with fiona.open(bare, "w", driver="ESRI Shapefile", schema={**schema, "properties": {}}) as out:
        out.writerecords([{"geometry": row.geometry, "properties": {}} for row in rows])
    return [bare]


def no_file(path):
    return [path.with_name("gardn.gpkg")]


def bad_map(path):
    mapped = path.with_name("map.toml")
    mapped.write_text("[layer]\nparcels = 'parcels'\n")
    return [path, "--map", mapped]


def bad_toml(path):
    rules = path.with_name("rules.toml")
    rules.write_text("[ground\n")
    return [path, "--rules", rules]


def bad_crs(path):
    return [path, "--crs", "EPSG:1"]


CANNOT = {
    damaged: "cannot be read as vector data",
    no_parcels: "there is no layer 'plots'; it holds: parcels, features",
    no_crs: "states no CRS",
    no_file: "there is no such file",
    bad_map: "unknown table",
    bad_toml: "not TOML",
    bad_crs: "is not a CRS",
}


@pytest.mark.parametrize(("make", "words"), CANNOT.items(), ids=[make.__name__ for make in CANNOT])
def test_what_cannot_be_read_ends_in_two_lines_and_status_2(garden, make, words):
    result = run(*make(garden))
    assert result.exit_code == 2
    assert words in result.stderr
    assert len(result.stderr.strip().splitlines()) <= 2
    assert result.stdout == ""


def test_no_survey_named_is_a_usage_error():
    assert run().exit_code == 2


def test_help_tells_what_goes_in_and_the_exit_status():
    text = run("--help").stdout
    assert "GeoPackage" in text
    assert "Exit status" in text


@pytest.mark.parametrize("make", [damaged, no_parcels, no_file])
def test_no_traceback_from_a_process_of_its_own(garden, make):
    sources = [str(source) for source in make(garden)]
    program = "from lawnplat.cli import main; main()"
    command = [sys.executable, "-c", program, "inspect", *sources]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert done.stderr.startswith("Error: ")
    assert len(done.stderr.strip().splitlines()) <= 2


def test_geojson_of_noise_says_so_in_two_lines(tmp_path):
    path = tmp_path / "plots.geojson"
    path.write_bytes(b'{"type": "FeatureCollection", "features": [\xf5\xf6\xf7]}')
    program = "from lawnplat.cli import main; main()"
    done = subprocess.run(
        [sys.executable, "-c", program, "inspect", str(path)],
        capture_output=True, text=True, check=False, timeout=60,
    )  # fmt: skip
    assert done.returncode == 2
    assert "is not UTF-8 text" in done.stderr
    assert "Exception ignored" not in done.stderr
