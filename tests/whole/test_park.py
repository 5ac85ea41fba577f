"""An invented park of 4 ha on rolling ground, from the command to the plan: ten loops."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree as ET

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine
from shapely import LineString, Point, Polygon, box

from holds import Given, PlanFile, assert_plan_holds
from lawnplat.settings.load import load_machine, load_rule_book

from .conftest import Run, run_plan

EAST, NORTH = 500_000.0, 5_400_000.0
PARCEL = Polygon([(0, 0), (210, 10), (230, 120), (200, 215), (60, 205), (-10, 110)])
FEATURES = (
    ("building", box(95, 15, 125, 35)),
    ("building", box(150, 150, 165, 165)),
    ("water", Point(70, 120).buffer(18)),
    ("path", LineString([(0, 60), (80, 70), (150, 60), (222, 80)]).buffer(1.5)),
    ("path", LineString([(110, 35), (112, 65)]).buffer(1.5)),
    ("flower_bed", Point(150, 100).buffer(4)),
    ("flower_bed", box(30, 20, 45, 25)),
    ("play_equipment", box(180, 120, 192, 130)),
    ("power_outlet", Point(95, 30)),
    ("power_outlet", Point(150, 158)),
)


def moved(shape: shapely.Geometry) -> shapely.Geometry:
    return shapely.transform(shape, lambda xy: xy + np.array([EAST, NORTH]))


def trees() -> list[tuple[str, Polygon]]:
    draw = np.random.default_rng(7)
    places = [Point(x, y) for x, y in draw.uniform((0, 10), (220, 205), (40, 2))]
    lawn = PARCEL.buffer(-5) - shapely.union_all([shape for _, shape in FEATURES]).buffer(3)
    return [("tree", place.buffer(0.4)) for place in places if lawn.contains(place)]


def write_park(folder: Path) -> tuple[Path, Path]:
    survey, raster = folder / "park.gpkg", folder / "ground.tif"
    features = [*FEATURES, *trees()]
    gpd.GeoDataFrame(
        {"property_id": ["park"]}, geometry=[moved(PARCEL)], crs="EPSG:25832"
    ).to_file(survey, layer="parcels")
    gpd.GeoDataFrame(
        {"property_id": "park", "kind": [kind for kind, _ in features]},
        geometry=[moved(shape) for _, shape in features],
        crs="EPSG:25832",
    ).to_file(survey, layer="features")
    x, y = np.meshgrid(np.arange(-19.5, 245), np.arange(229.5, -20, -1.0))
    height = 100 + 3 * np.sin(x / 40) + 4 * np.cos(y / 50)
    with rasterio.open(
        raster, "w", driver="GTiff", height=x.shape[0], width=x.shape[1], count=1,
        dtype="float32", crs="EPSG:25832", transform=Affine(1, 0, EAST - 20, 0, -1, NORTH + 230),
    ) as file:  # fmt: skip
        file.write(height.astype("float32"), 1)
    return survey, raster


@pytest.fixture(scope="module")
def park(tmp_path_factory: pytest.TempPathFactory) -> Run:
    folder = tmp_path_factory.mktemp("park")
    survey, raster = write_park(folder)
    return run_plan(folder / "plans", survey, "--elevation", raster, "--machine", "large")


@pytest.fixture(scope="module")
def plan(park: Run) -> PlanFile:
    assert park.result.exit_code == 0, park.result.output
    return park.plan("park")


def test_every_layer_of_every_loop_holds(park: Run, plan: PlanFile) -> None:
    given = Given(load_rule_book(), load_machine("large"), status=park.table["park"]["status"])
    assert len(plan.loops) == 10
    assert_plan_holds(park.plan_path("park"), given)


def test_areas_are_the_fewest_and_compact(plan: PlanFile) -> None:
    machine = load_machine("large")
    mown = plan["mowable"].groupby("loop")["area_m2"].sum()
    assert (len(mown) - 1) * machine.capacity_m2 < mown.sum() <= len(mown) * machine.capacity_m2
    for number in plan.loops:
        # Isoperimetric quotient 4 pi A / P^2: 1 for a disc, 0.79 for a square, 0.35 for a rectangle
        # of 1 : 7. Outer rims only: a pond in an area makes it no less compact.
        outer = shapely.convex_hull(plan.of_loop(number).enclosed)
        assert 4 * np.pi * outer.area / outer.length**2 > 0.35


def test_each_loop_has_its_station_and_lines(plan: PlanFile) -> None:
    loops = list(range(1, 11))
    for layer in ("station", "perimeter_wire", "mowable", "return_lines", "parking_test"):
        assert sorted(set(plan[layer]["loop"])) == loops
    assert list(plan["station"]["loop"]) == loops
    assert sorted(plan["return_lines"]["line_no"]) == list(range(1, len(plan["return_lines"]) + 1))
    on = set(plan["pegs"]["on"])
    assert {"perimeter", *(f"perimeter_{number}" for number in loops[1:])} <= on
    assert "perimeter_1" not in on


def test_figures_sum_over_the_loops(park: Run, plan: PlanFile) -> None:
    row = park.table["park"]
    # The table is written to the centimetre.
    assert float(row["perimeter_m"]) == pytest.approx(plan["perimeter_wire"].length.sum(), abs=0.01)
    assert float(row["return_lines_m"]) == pytest.approx(
        plan["return_lines"].length.sum(), abs=0.01
    )
    assert int(row["pegs"]) == len(plan["pegs"])
    items = plan["materials"].set_index("item")
    assert items.loc["charging station", "quantity"] == 10
    assert "over 10 loops" in items.loc["perimeter wire", "basis"]


def test_the_split_is_told_once(plan: PlanFile) -> None:
    told = plan["advisories"].query("rule == 'working_areas'")
    assert list(told["severity"]) == ["note"]
    assert "10 working areas" in told["text"].iloc[0]
    assert not {"capacity", "longest_wire"} & set(plan["advisories"]["rule"])


def test_the_picture_shows_all_loops(park: Run) -> None:
    root = ET.parse(park.plan_path("park").with_name("plan.svg")).getroot()
    texts = {"".join(each.itertext()) for each in root.iter("{http://www.w3.org/2000/svg}text")}
    assert {f"station {number}" for number in range(1, 11)} <= texts
    assert {f"Perimeter wire, loop {number}" for number in range(1, 11)} <= texts
