"""Bad input through the command line: clear lines, the right exit status, the others planned."""

from __future__ import annotations

import time
from pathlib import Path

import fiona
import numpy as np
import pytest
import rasterio
from affine import Affine
from shapely import Polygon, box
from shapely.geometry import mapping

from .conftest import Run, run_plan

E, N = 500_000.0, 5_400_000.0
GOOD = box(E, N, E + 20, N + 20)


def survey_of(path: Path, shapes: dict[str, Polygon]) -> Path:
    schema = {"geometry": "Polygon", "properties": {"property_id": "str"}}
    with fiona.open(
        path, "w", driver="GPKG", layer="parcels", schema=schema, crs="EPSG:25832"
    ) as file:
        file.writerecords(
            {"geometry": mapping(shape), "properties": {"property_id": name}}
            for name, shape in shapes.items()
        )
    return path


def assert_told(run: Run, exit_code: int) -> None:
    assert run.result.exit_code == exit_code, run.result.output
    assert "Traceback" not in run.result.stderr
    assert "internal fault" not in run.result.output
    if run.out.exists():
        left = [path.name for path in run.out.rglob("*") if path.is_file()]
        assert set(left) <= {
            "plan.gpkg", "plan.svg", "site_sheet.html", "rover.csv", "quote.csv",
            "index.html", "portfolio.csv", "portfolio.gpkg", "quotes.csv",
        }  # fmt: skip


def test_a_parcel_of_a_square_metre_stops_no_other(tmp_path: Path) -> None:
    shapes = {"tiny": box(E + 40, N, E + 41, N + 1), "good": GOOD}
    run = run_plan(tmp_path / "out", survey_of(tmp_path / "s.gpkg", shapes))
    assert_told(run, 1)
    assert run.table["good"]["status"].startswith("planned")
    assert run.table["tiny"]["status"] in {"not_plannable", "bad_input"}


def test_a_self_crossing_parcel_is_repaired_or_refused_by_name(tmp_path: Path) -> None:
    bow = Polygon([(E + 40, N), (E + 60, N + 20), (E + 60, N), (E + 40, N + 20)])
    run = run_plan(tmp_path / "out", survey_of(tmp_path / "s.gpkg", {"bow": bow, "good": GOOD}))
    assert_told(run, run.result.exit_code)
    assert run.result.exit_code in {0, 1}
    assert "bow" in run.result.output or "self-intersection" in run.result.stderr
    assert run.table["good"]["status"].startswith("planned")


def test_a_parcel_of_100_000_vertices_is_done_in_reasonable_time(tmp_path: Path) -> None:
    # A box of 30 m x 20 m as a scanner sees it: points every millimetre, one millimetre to and fro.
    along = np.linspace(0, 1, 25_000, endpoint=False)
    wave = 0.001 * np.sin(40 * along)
    sides = [(30 * along, wave), (30 + wave, 20 * along)]
    sides += [(30 * (1 - along), 20 + wave), (wave, 20 * (1 - along))]
    x, y = (np.concatenate(part) for part in zip(*sides, strict=True))
    many = Polygon(np.stack([E + x, N + y], axis=1))
    began = time.perf_counter()
    run = run_plan(tmp_path / "out", survey_of(tmp_path / "s.gpkg", {"many": many}))
    # Seconds, not minutes, on a busy core.
    assert time.perf_counter() - began < 60
    assert_told(run, 0)


def test_a_raster_off_the_site_is_said_and_loses_nothing(tmp_path: Path) -> None:
    survey = survey_of(tmp_path / "s.gpkg", {"good": GOOD})
    with rasterio.open(
        tmp_path / "far.tif", "w", driver="GTiff", width=20, height=20, count=1, dtype="float32",
        crs="EPSG:25832", transform=Affine(1, 0, E + 5000, 0, -1, N + 5000),
    ) as raster:  # fmt: skip
        raster.write(np.ones((1, 20, 20), "float32"))
    run = run_plan(tmp_path / "out", survey, "--elevation", tmp_path / "far.tif")
    assert_told(run, 0)
    texts = " ".join(run.plan("good")["advisories"]["text"])
    assert "elevation" in texts.lower()


@pytest.mark.parametrize("keep", [100, 5000])
def test_a_corrupt_geopackage_is_one_clear_error(tmp_path: Path, keep: int) -> None:
    path = survey_of(tmp_path / "s.gpkg", {"good": GOOD})
    path.write_bytes(path.read_bytes()[:keep])
    run = run_plan(tmp_path / "out", path)
    assert_told(run, 2)
    assert "s.gpkg" in run.result.stderr
    assert len(run.result.stderr.strip().splitlines()) <= 3
    assert not run.out.exists()


def test_a_typing_error_in_the_rules_names_the_nearest_key(tmp_path: Path) -> None:
    (tmp_path / "rules.toml").write_text("[wire]\nspool_mm = 100.0\n")
    survey = survey_of(tmp_path / "s.gpkg", {"good": GOOD})
    run = run_plan(tmp_path / "out", survey, "--rules", tmp_path / "rules.toml")
    assert_told(run, 2)
    for word in ("rules.toml", "spool_mm", "spool_m"):
        assert word in run.result.stderr
    assert not run.out.exists()
