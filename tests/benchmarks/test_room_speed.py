"""How long each room takes for one garden, how it grows with size, and the kernels' references.

Run by its own command: ``pytest tests/benchmarks --benchmark-enable``. Nothing is asserted about
time. The garden is invented: a house, a drive with a crossing, beds, a pond, trees, an outlet, on a
slope with a bank, with a raster of 0.5 m.
"""

from __future__ import annotations

import json
import subprocess
import sys

import numpy as np
import pytest
import rasterio
import shapely
from scipy.sparse.csgraph import dijkstra
from shapely import LineString, Point, box
from skimage.graph import MCP_Geometric

from lawnplat.deliver.gpkg import write_plan
from lawnplat.ground.build import build_ground
from lawnplat.plan import plan_site
from lawnplat.settings.load import load_machine, load_rule_book
from lawnplat.survey.read import read_survey
from lawnplat.survey.types import Feature, Site
from lawnplat.terrain.build import build_terrain
from lawnplat.terrain.reader import ElevationRaster
from lawnplat.wire.build import build_layout
from lawnplat.wire.route_grid import RouteGrid, graph, moves
from lawnplat.wire.search import Weights, cheapest
from lawnplat.works.build import build_works

E, N = 500_000.0, 5_400_000.0
CRS = "EPSG:25832"
SIDES_M = {
    "250 m2": (16, 16),
    "1000 m2": (25, 40),
    "2500 m2": (50, 50),
    "1 ha": (100, 100),
    "4 ha": (200, 200),
}
LONG = ("1 ha", "4 ha")


def garden(width_m, height_m):
    """Return the parcel and (kind, shape) of each feature; beds and trees one a 250 m2."""
    parcel = box(0, 0, width_m, height_m)
    things = [
        ("building", box(8, 0, 18, 9)),
        ("path", box(2, 0, 5, 9)),
        ("fence", LineString([(0, 0), (0, height_m), (width_m, height_m), (width_m, 0)])),
        ("power_outlet", Point(18.05, 8)),
    ]
    random = np.random.default_rng(7)
    taken = [box(0, 0, 20, 13)]
    kinds = ["flower_bed", "tree", "water", "tree", "play_equipment", "flower_bed"]
    for number in range(max(int(parcel.area / 250), 4)):
        for _ in range(50):
            place = Point(random.uniform(3, width_m - 3), random.uniform(3, height_m - 3))
            kind = kinds[number % len(kinds)]
            shape = place.buffer(0.25 if kind == "tree" else random.uniform(0.6, 1.2), quad_segs=4)
            if min(shape.distance(other) for other in taken) > 3:
                taken.append(shape)
                things.append((kind, shape))
                break
    return parcel, things


def feature(shape, **properties):
    moved = shapely.affinity.translate(shape, E, N)
    return {
        "type": "Feature", "properties": properties, "geometry": shapely.geometry.mapping(moved),
    }  # fmt: skip


def write_layer(path, features):
    crs = {"type": "name", "properties": {"name": f"urn:ogc:def:crs:{CRS.replace(':', '::')}"}}
    path.write_text(
        json.dumps({"type": "FeatureCollection", "crs": crs, "features": features}),
        encoding="utf-8",
    )


def surface(x, y):
    """A slope of 4 % with a bank of 25 % across the upper third."""
    rise = np.clip(np.mod(y, 40) - 24, 0, 4)
    return 100 + 0.04 * x + 0.25 * rise


def write_raster(path, width_m, height_m, cell_m=0.5):
    columns, rows = int((width_m + 20) / cell_m), int((height_m + 20) / cell_m)
    x = -10 + (np.arange(columns) + 0.5) * cell_m
    y = height_m + 10 - (np.arange(rows) + 0.5) * cell_m
    place = rasterio.Affine(cell_m, 0, E - 10, 0, -cell_m, N + height_m + 10)
    profile = {"width": columns, "height": rows, "count": 1, "dtype": "float32", "crs": CRS}
    with rasterio.open(path, "w", driver="GTiff", transform=place, **profile) as raster:
        raster.write(surface(*np.meshgrid(x, y)).astype("float32"), 1)


@pytest.fixture(scope="module", params=SIDES_M)
def survey(request, tmp_path_factory):
    if request.param in LONG and not request.config.getoption("--benchmark-enable"):
        pytest.skip("takes long: only when timed")
    folder = tmp_path_factory.mktemp("garden")
    return request.param, *written(folder, *SIDES_M[request.param])


def written(folder, width_m, height_m):
    parcel, things = garden(width_m, height_m)
    layers = folder / "survey"
    layers.mkdir()
    write_layer(layers / "parcels.geojson", [feature(parcel, property_id="G", label="invented")])
    shapes = [feature(shape, kind=kind, property_id="G") for kind, shape in things]
    write_layer(layers / "features.geojson", shapes)
    write_raster(folder / "heights.tif", width_m, height_m)
    return layers, folder / "heights.tif"


@pytest.fixture(scope="module")
def settings():
    # The large class, so that four hectares are within reach of its wire.
    return load_machine("large"), load_rule_book()


@pytest.fixture(scope="module")
def rooms(survey, settings):
    """Every room's result once, so that each can be timed alone."""
    _, layers, heights = survey
    site = read_survey((str(layers),), rules=settings[1]).sites[0]
    with ElevationRaster(heights) as raster:
        window = raster.window(site, *settings)
    terrain = build_terrain(site, *settings, window)
    ground = build_ground(site, terrain, *settings)
    layout = build_layout(site, ground, terrain, *settings).layout
    return site, window, terrain, ground, layout


@pytest.fixture
def timed(benchmark, survey, request, growth):
    """Return a call that times some work in one of the rooms and gives its result."""

    def run(work, *arguments):
        benchmark.group = f"rooms, {survey[0]}"
        # The room's result for other tests has warmed it up already.
        rounds = 1 if survey[0] in LONG else 5
        found = benchmark.pedantic(work, arguments, rounds=rounds)
        if benchmark.stats is not None:
            cells = request.getfixturevalue("cells")
            room = request.node.originalname.removeprefix("test_")
            growth(room, survey[0], cells, benchmark.stats.stats.median)
        return found

    return run


@pytest.fixture(scope="module")
def cells(rooms):
    """Cells of the elevation grid on the parcel."""
    site, _, terrain, *_ = rooms
    return site.parcel.area / terrain.grid.cell_m**2


def test_survey(timed, survey, settings):
    def read():
        return read_survey((str(survey[1]),), rules=settings[1])

    assert len(timed(read).sites) == 1


def test_terrain(timed, survey, rooms, settings):
    def make():
        with ElevationRaster(survey[2]) as raster:
            return build_terrain(rooms[0], *settings, raster.window(rooms[0], *settings))

    assert timed(make).source == "raster"


def test_ground(timed, rooms, settings):
    site, _, terrain, _, _ = rooms
    assert timed(build_ground, site, terrain, *settings).parts


ROUGH_SIDES_M = (20, 32, 45)


def rough(side_m):
    """Return an invented parcel with a house on a sum of three waves 4 to 8 m long.

    Large shares of it are too steep to mow, and nearly all rims have to be drawn in: hundreds of
    narrow places.
    """
    random = np.random.default_rng(side_m)
    bearing_rad, long_m = random.uniform(0, 2 * np.pi, 3), random.uniform(4, 8, 3)
    high_m = random.uniform(0.14, 0.45, 3)
    x, y = (axis.ravel() for axis in np.meshgrid(*[np.arange(-3.0, side_m + 3)] * 2))
    along_m = np.outer(x, np.cos(bearing_rad)) + np.outer(y, np.sin(bearing_rad))
    z = 100 + (high_m * np.sin(2 * np.pi * along_m / long_m)).sum(axis=1)
    middle, whole = side_m / 2, box(0, 0, side_m, side_m)
    house, parcel = (
        shapely.affinity.translate(shape, E, N)
        for shape in (box(middle - 5, middle - 4, middle + 5, middle + 4), whole)
    )
    heights = np.stack([x + E, y + N, z], axis=1)
    things = (Feature("building", house, "h"),)
    return Site(
        f"rough {side_m}", "invented", CRS, parcel, features=things, spot_heights=heights
    )


@pytest.mark.benchmark(group="ground room on rough steep ground")
@pytest.mark.parametrize("side_m", ROUGH_SIDES_M, ids=lambda side_m: f"{side_m} m square")
def test_ground_where_it_is_rough(benchmark, request, side_m):
    if side_m > ROUGH_SIDES_M[0] and not request.config.getoption("--benchmark-enable"):
        pytest.skip("takes long: only when timed")
    machine, rules = load_machine("medium"), load_rule_book()
    site = rough(side_m)
    terrain = build_terrain(site, machine, rules, None)
    found = benchmark.pedantic(build_ground, (site, terrain, machine, rules), rounds=1)
    assert found.parts


def test_wire(timed, rooms, settings):
    site, _, terrain, ground, _ = rooms
    laid = timed(build_layout, site, ground, terrain, *settings)
    assert laid.layout.return_lines


def test_works(timed, rooms, settings):
    assert timed(build_works, [rooms[4]], *settings).pegs


def test_deliver(timed, rooms, settings, tmp_path):
    plan = plan_site(rooms[0], machine=settings[0], rules=settings[1])
    timed(write_plan, plan, tmp_path / "out")
    assert (tmp_path / "out" / "plan.gpkg").is_file()


@pytest.mark.benchmark(group="whole command from cold start, 1000 m2")
def test_plan_command(benchmark, tmp_path_factory):
    folder = tmp_path_factory.mktemp("cold")
    layers, heights = written(folder, *SIDES_M["1000 m2"])
    command = [sys.executable, "-c", "from lawnplat.cli import main; main()", "plan", str(layers)]
    command += ["--elevation", str(heights), "--out", str(folder / "out")]
    benchmark.pedantic(
        subprocess.run, (command,), {"check": True, "capture_output": True}, rounds=5
    )
    assert (folder / "out" / "G" / "plan.gpkg").is_file()


@pytest.fixture(scope="module")
def field():
    """A grid of 200 x 200 open cells with a clearance drawn at random."""
    random = np.random.default_rng(3)
    free = np.ones((200, 200), bool)
    return RouteGrid(0.0, 0.0, 0.25, free, random.uniform(0, 1.5, free.shape))


WEIGHTS = Weights(0.0, 2.0, 1.0)


@pytest.mark.benchmark(group="ways over 40 000 cells, 8 neighbours")
def test_cheapest(benchmark, field):
    found = moves(field, 1)
    ways = benchmark(cheapest, field, found, 100 * 200 + 100, np.inf, WEIGHTS)
    assert np.isfinite(ways.cost).all()


@pytest.mark.benchmark(group="ways over 40 000 cells, 8 neighbours")
def test_cheapest_by_scipy_on_a_ready_graph(benchmark, field):
    found = moves(field, 1)
    network = graph(field, found, found.length_m)
    assert np.isfinite(benchmark(dijkstra, network, indices=100 * 200 + 100)).all()


@pytest.mark.benchmark(group="ways over 40 000 cells, 8 neighbours")
def test_cheapest_by_skimage(benchmark, field):
    cost = 1 + 2 * np.clip(1 - field.clearance_m, 0, 1) ** 2

    def ways():
        return MCP_Geometric(cost, sampling=(0.25, 0.25)).find_costs([(100, 100)])[0]

    assert np.isfinite(benchmark(ways)).all()


@pytest.mark.benchmark(group="moves over 40 000 cells")
@pytest.mark.parametrize("reach", [1, 2, 3, 4], ids=["8", "16", "32", "48"])
def test_moves(benchmark, field, reach):
    level = np.zeros_like(field.clearance_m)
    assert len(benchmark(moves, field, reach, (level, level)).start)
