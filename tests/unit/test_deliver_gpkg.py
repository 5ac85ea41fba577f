"""Writing plan.gpkg: whole or not at all, never over someone else's file."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import fiona
import pytest
from pyproj import CRS
from shapely.geometry import shape

from lawnplat.deliver import gpkg
from lawnplat.deliver.contract import LAYERS
from lawnplat.deliver.fingerprint import fingerprint
from lawnplat.deliver.gpkg import is_ours, write_plan
from lawnplat.deliver.picture_file import MARK, write_picture
from lawnplat.deliver.rows import plan_rows
from lawnplat.errors import DeliveryError
from lawnplat.planned import Plan


def contents(path: Path) -> dict[str, list[object]]:
    """Return every row of every layer as fiona reads it back."""
    found = {}
    for about in LAYERS:
        with fiona.open(path, layer=about.name) as file:
            found[about.name] = [(dict(f.properties), f.geometry) for f in file]
    return found


def test_what_is_read_back_is_what_was_given(garden_plan: Plan, tmp_path: Path) -> None:
    path = write_plan(garden_plan, tmp_path / "G-1")
    read, given = contents(path), plan_rows(garden_plan)
    for about in LAYERS:
        names = [column.name for column in about.all_columns]
        assert [[p[n] for n in names] for p, _ in read[about.name]] == [
            list(row.values) for row in given[about.name]
        ]
        for (_, geometry), row in zip(read[about.name], given[about.name], strict=True):
            if row.geometry is not None:
                # The file holds doubles: nothing may be lost at all.
                assert shape(geometry).equals_exact(row.geometry, 0.0)
    with fiona.open(path, layer="pegs") as file:
        assert file.crs.to_epsg() == 25832


def test_layers_in_the_contracts_order_and_nothing_beside_them(
    garden_plan: Plan, tmp_path: Path
) -> None:
    path = write_plan(garden_plan, tmp_path)
    assert fiona.listlayers(path) == [*(each.name for each in LAYERS), "layer_styles"]
    assert [each.name for each in tmp_path.iterdir()] == ["plan.gpkg"]


def test_a_stopped_plan_has_every_layer(stopped_plan: Plan, tmp_path: Path) -> None:
    read = contents(write_plan(stopped_plan, tmp_path))
    assert len(read) == len(LAYERS)
    assert read["perimeter_wire"] == []
    assert len(read["parcel"]) == 1


@pytest.mark.parametrize(
    "crs",
    [
        "+proj=tmerc +lat_0=52.1 +lon_0=9.3 +k=1 +x_0=0 +y_0=0 +datum=WGS84 +units=m +no_defs",
        "EPSG:2056",
    ],
)
def test_any_metric_crs(garden_plan: Plan, tmp_path: Path, crs: str) -> None:
    plan = replace(garden_plan, site=replace(garden_plan.site, crs=crs))
    with fiona.open(write_plan(plan, tmp_path), layer="lawn") as file:
        assert CRS.from_wkt(file.crs_wkt).is_exact_same(CRS(crs)) or CRS(file.crs_wkt).equals(
            CRS(crs), ignore_axis_order=True
        )


def test_the_same_plan_twice_is_the_same_but_for_the_time(
    garden_plan: Plan, tmp_path: Path
) -> None:
    def dump(path: Path) -> list[str]:
        with closing(sqlite3.connect(path)) as database:
            names = [about.name for about in LAYERS]
            return [
                repr(row)
                for name in names
                for row in database.execute(f'SELECT * FROM "{name}"').fetchall()
            ]

    one = write_plan(garden_plan, tmp_path / "one")
    two = write_plan(garden_plan, tmp_path / "two")
    assert dump(one) == dump(two)


def test_a_driver_that_changes_a_plan_keeps_its_counts_and_its_index(
    garden_plan: Plan, tmp_path: Path
) -> None:
    """GDAL appends a peg and finds it by its box: the triggers that do this are all there."""
    path = write_plan(garden_plan, tmp_path)
    pegs = len(garden_plan.works.pegs)
    with fiona.open(path, "a", layer="pegs") as file:
        new = {"geometry": {"type": "Point", "coordinates": (600_000.0, 5_500_000.0)}}
        file.write({**new, "properties": dict.fromkeys(file.schema["properties"])})
    with fiona.open(path, layer="pegs") as file:
        assert len(file) == pegs + 1
        assert len(list(file.filter(bbox=(599_999, 5_499_999, 600_001, 5_500_001)))) == 1
    with closing(sqlite3.connect(path)) as database:
        query = "SELECT feature_count FROM gpkg_ogr_contents WHERE table_name = 'pegs'"
        assert database.execute(query).fetchone() == (pegs + 1,)


def test_a_plan_of_ours_is_replaced(garden_plan: Plan, stopped_plan: Plan, tmp_path: Path) -> None:
    write_plan(garden_plan, tmp_path)
    read = contents(write_plan(stopped_plan, tmp_path))
    assert read["pegs"] == []


@pytest.mark.parametrize("theirs", [b"", b"not a database", b"SQLite format 3\0" + b"x" * 200])
def test_a_file_that_is_not_ours_is_left_alone(
    garden_plan: Plan, tmp_path: Path, theirs: bytes
) -> None:
    path = tmp_path / "plan.gpkg"
    path.write_bytes(theirs)
    with pytest.raises(DeliveryError, match="not a file that lawnplat made"):
        write_plan(garden_plan, tmp_path)
    assert path.read_bytes() == theirs
    assert [each.name for each in tmp_path.iterdir()] == ["plan.gpkg"]


def test_another_geopackage_is_left_alone(garden_plan: Plan, tmp_path: Path) -> None:
    path = tmp_path / "plan.gpkg"
    schema = {"geometry": "Point", "properties": {"key": "str", "value": "str"}}
    with fiona.open(path, "w", driver="GPKG", layer="run_info", schema=schema):
        pass
    before = path.read_bytes()
    with pytest.raises(DeliveryError):
        write_plan(garden_plan, tmp_path)
    assert path.read_bytes() == before


def test_another_propertys_plan_is_left_alone(garden_plan: Plan, tmp_path: Path) -> None:
    # On a file system that folds case, `g-1` and `G-1` are one folder.
    path = write_plan(garden_plan, tmp_path)
    other = replace(garden_plan, site=replace(garden_plan.site, property_id="g-1"))
    with pytest.raises(DeliveryError):
        write_plan(other, tmp_path)
    assert is_ours(path, "G-1")
    assert not is_ours(path, "g-1")


def test_a_folder_in_the_way(garden_plan: Plan, tmp_path: Path) -> None:
    (tmp_path / "plan.gpkg").mkdir()
    with pytest.raises(DeliveryError):
        write_plan(garden_plan, tmp_path)
    (tmp_path / "out").write_text("a file")
    with pytest.raises(DeliveryError, match="cannot be made as a folder"):
        write_plan(garden_plan, tmp_path / "out" / "G-1")


def test_nothing_is_left_of_a_failed_write(
    garden_plan: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write_plan(garden_plan, tmp_path)
    before = path.read_bytes()
    monkeypatch.setattr(gpkg, "qml", lambda *_: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        write_plan(garden_plan, tmp_path)
    assert path.read_bytes() == before
    assert [each.name for each in tmp_path.iterdir()] == ["plan.gpkg"]


def test_a_layer_that_lost_a_row_is_not_delivered(
    garden_plan: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = gpkg.fill_layers
    monkeypatch.setattr(
        gpkg,
        "fill_layers",
        lambda database, layers: whole(database, [(about, rows[:1]) for about, rows in layers]),
    )
    with pytest.raises(DeliveryError, match=r"layer 'feature_areas' holds 1 rows, not 6"):
        write_plan(garden_plan, tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_a_picture_replaces_only_a_picture_of_ours(tmp_path: Path) -> None:
    ours = f'<?xml version="1.0"?><svg>{MARK}</svg>'
    write_picture(ours, tmp_path)
    write_picture(ours + "\n", tmp_path)
    assert (tmp_path / "plan.svg").read_text() == ours + "\n"
    (tmp_path / "plan.svg").write_text("<svg/>")
    with pytest.raises(DeliveryError):
        write_picture(ours, tmp_path)
    assert (tmp_path / "plan.svg").read_text() == "<svg/>"


def test_fingerprint_is_the_files_sha_256(tmp_path: Path) -> None:
    path = tmp_path / "a"
    path.write_bytes(b"abc")
    # FIPS 180-2, appendix B.1: the digest of 'abc' (from memory).
    assert fingerprint(path) == (
        "sha256 ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad, 3 bytes"
    )
    assert fingerprint(tmp_path) == ""
