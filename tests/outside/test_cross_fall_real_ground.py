"""Thirty invented lots on a real lidar raster: every stretch over the edge limit is dealt with.

The raster is the 1 m lidar elevation model in the PyPI package `lidar` (400 x 400, EPSG:26915).
What is measured here shares nothing with the planner but the terrain's two gradient arrays:
gradients by `scipy.ndimage.map_coordinates`, places every 5 cm, normals square to short chords.
"""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pytest
import rasterio
import shapely
from scipy.ndimage import map_coordinates
from shapely import LinearRing, Point, affinity, box

from lawnplat.ground.build import build_ground
from lawnplat.settings.load import load_machine, load_rule_book
from lawnplat.survey.types import Feature, Site
from lawnplat.terrain.build import build_terrain
from lawnplat.terrain.reader import ElevationRaster
from lawnplat.wire.edge_fall import edge_fall_findings
from lawnplat.wire.scene import Scene

RULES = load_rule_book()
STEP_M = 0.05
NORMAL_M = 0.05
"""Normals are square to the chord of so much rim to both sides."""


def dem():
    spec = importlib.util.find_spec("lidar")
    return Path(spec.origin).parent / "data" / "dem.tif"


def lots(count):
    rng = np.random.default_rng(17)
    with rasterio.open(dem()) as source:
        west, south, east, north = source.bounds
    for number in range(count):
        wide, deep = rng.uniform(18, 40, 2)
        x, y = rng.uniform(west + 50, east - 90), rng.uniform(south + 50, north - 90)
        parcel = affinity.rotate(box(x, y, x + wide, y + deep), rng.uniform(0, 90))
        middle = parcel.centroid
        house = affinity.rotate(box(x, y, x + 9, y + 7), rng.uniform(0, 90))
        house = affinity.translate(
            house, middle.x - house.centroid.x, middle.y - house.centroid.y + rng.uniform(-3, 3)
        )
        pond = Point(middle.x + rng.uniform(-8, 8), middle.y + rng.uniform(-8, 8)).buffer(1.2)
        tree = Point(middle.x + rng.uniform(-8, 8), middle.y + rng.uniform(-8, 8)).buffer(0.2)
        features = (Feature("building", house, "h"), Feature("water", pond, "p"))
        trees = (Feature("tree", tree, "t"),) if not tree.intersects(house) else ()
        yield Site(f"lot {number}", "invented", "EPSG:26915", parcel, features=(*features, *trees))


@pytest.fixture(scope="module", params=["medium", "steep"])
def planned(request):
    machine = load_machine(request.param)
    found = []
    with ElevationRaster(dem()) as raster:
        for site in lots(30):
            terrain = build_terrain(site, machine, RULES, raster.window(site, machine, RULES))
            ground = build_ground(site, terrain, machine, RULES)
            scene = Scene(site, ground, terrain, machine, RULES)
            findings = edge_fall_findings(scene, ground.wire_ground.pieces)
            rims = [(ring, *falls(ring, terrain)) for ring in rings(ground)]
            found.append((scene, findings, rims))
    return machine, found


def falls(ring, terrain):
    """Return places every 5 cm round a ring with its ground on the left, and the fall outward."""
    count = int(np.ceil(ring.length / STEP_M))
    at = (np.arange(count) + 0.5) * ring.length / count

    def place(chainage):
        points = shapely.line_interpolate_point(ring, np.mod(chainage, ring.length))
        return shapely.get_coordinates(points)

    run = place(at + NORMAL_M) - place(at - NORMAL_M)
    outward = np.stack([run[:, 1], -run[:, 0]], axis=1) / np.hypot(*run.T)[:, None]
    places = place(at)
    grid = terrain.grid
    row = (grid.north_m - places[:, 1]) / grid.cell_m - 0.5
    column = (places[:, 0] - grid.west_m) / grid.cell_m - 0.5
    rise = [
        map_coordinates(array, [row, column], order=1, mode="nearest")
        for array in (terrain.dz_dx, terrain.dz_dy)
    ]
    return places, -100 * (rise[0] * outward[:, 0] + rise[1] * outward[:, 1])


def rings(ground):
    for piece in ground.wire_ground.pieces:
        turned = shapely.orient_polygons(piece, exterior_cw=False)
        yield from (turned.exterior, *turned.interiors)


def stretches(over):
    """Return the places of each run of ``over`` round a ring, no gap bridged."""
    if over.all():
        return [np.arange(len(over))]
    start = int(np.flatnonzero(~over)[0])
    order = np.mod(start + np.arange(len(over)), len(over))
    turns = np.flatnonzero(np.diff(over[order].astype(int), append=0))
    held = over[order]
    groups = np.split(np.arange(len(over)), turns + 1)
    return [order[group] for group in groups if len(group) and held[group[0]]]


def test_every_stretch_over_the_limit_is_advised(planned):
    machine, found = planned
    told, stretches_over = 0, 0
    for scene, findings, rims in found:
        places = np.array([finding.place for finding in findings], dtype=object)
        for ring, points, fall in rims:
            # Half a percent for normals taken otherwise: 5 cm of rim on either side, not 10 cm.
            for run in stretches(fall > machine.slope_edge_pct + 0.5):
                # 0.3 m more than counts: three places at 0.1 m, by which two samplings differ.
                if len(run) * ring.length / len(fall) < RULES.ground.edge_stretch_m + 0.3:
                    continue
                stretches_over += 1
                near = shapely.distance(LinearRing(ring.coords), places) < 1e-6
                assert near.any(), f"{scene.site.property_id}: nothing said at {points[run[0]]}"
                told += 1
        for finding in findings:
            assert finding.measured > machine.slope_edge_pct
            assert finding.limit == machine.slope_edge_pct
    assert told == stretches_over
    assert told > 10  # the ground is steep enough that this tests something


def test_each_advisory_says_the_worst_fall_of_its_stretch(planned):
    machine, found = planned
    for _, findings, rims in found:
        for finding in findings:
            _, points, fall = min(rims, key=lambda rim: finding.place.distance(rim[0]))
            near = np.hypot(*(points - [finding.place.x, finding.place.y]).T) < 0.15
            # Normals over 10 cm and over 20 cm of an arc of 0.35 m differ by up to 8 degrees.
            assert fall[near].max() == pytest.approx(finding.measured, abs=1.0 + 0.02 * fall.max())
            assert fall[near].max() > machine.slope_edge_pct - 0.5


def test_what_is_drawn_in_is_within_reach_and_meets_the_limit(planned):
    machine, found = planned
    drawn = 0
    for scene, _, rims in found:
        kept = {each.kind: each.area for each in scene.ground.keep_outs}
        whole = sum(part.area.area for part in scene.ground.parts)
        whole += sum(area.area.area for area in scene.ground.keep_outs)
        # Square millimetres a vertex, some thousand vertices of steep ground.
        assert whole == pytest.approx(scene.ground.lawn.area, abs=1e-4)
        if "cross_fall" not in kept:
            continue
        for cut in kept["cross_fall"].geoms:
            # Rims are thinned by a tenth of a millimetre, which leaves threads beside them.
            if shapely.buffer(cut, -1e-4).is_empty:
                continue
            drawn += 1
            for ring, points, fall in rims:
                on_cut = shapely.dwithin(cut, shapely.points(points), 0.01)
                if not on_cut.any():
                    continue
                step = ring.length / len(fall)
                over = [
                    len(run) * step
                    for run in stretches((fall > machine.slope_edge_pct + 0.5) & on_cut)
                ]
                # A tenth of what was over may be left, or the corners at a cut's ends.
                assert sum(length for length in over if length > 1.0) <= 0.15 * cut.length / 2
            before = shapely.union_all([cut.buffer(1e-6), *scene.ground.wire_ground.pieces])
            corners = shapely.points(shapely.get_coordinates(cut))
            depth = shapely.distance(shapely.boundary(before), corners).max()
            # Discs of the reach; where two drawn lines meet, rounding takes the corner's tip.
            assert 0.02 < depth <= RULES.ground.edge_reach_m + 0.15
    assert drawn >= 3
