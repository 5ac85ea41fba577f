"""The sample survey: as the contract names it, small, what its README says, made by its script."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import fiona
import numpy as np
import pytest
import rasterio
import shapely
from pyproj import CRS, Geod, Transformer
from rasterio.features import geometry_mask
from shapely.geometry import shape

from lawnplat.settings.load import load_rule_book, shipped_classes

FOLDER = Path(__file__).parents[2] / "sample_data"
SURVEY = FOLDER / "survey.gpkg"
ELEVATION = FOLDER / "elevation.tif"
FEATURE_COLUMNS = {"kind", "property_id", "height_m", "radius_m", "width_m", "setback_m", "note"}


def rows_of(layer: str) -> list[tuple[shapely.Geometry | None, dict[str, object]]]:
    with fiona.open(SURVEY, layer=layer) as source:
        return [
            (None if row.geometry is None else shape(row.geometry), dict(row.properties))
            for row in source
        ]


@pytest.fixture(scope="module")
def parcels():
    return {row["property_id"]: geometry for geometry, row in rows_of("parcels")}


def features_of(property_id: str, kind: str) -> list[shapely.Geometry]:
    return [
        geometry
        for geometry, row in rows_of("features")
        if row["property_id"] == property_id and row["kind"] == kind
    ]


def test_layers_and_columns_are_the_contracts():
    assert sorted(fiona.listlayers(SURVEY)) == ["features", "lawns", "parcels"]
    columns = {}
    for layer in fiona.listlayers(SURVEY):
        with fiona.open(SURVEY, layer=layer) as source:
            columns[layer] = set(source.schema["properties"])
    assert columns == {
        "parcels": {"property_id", "label", "machine_class"},
        "lawns": {"property_id", "label"},
        "features": FEATURE_COLUMNS,
    }


def test_every_kind_has_a_rule_and_every_class_ships():
    kinds = {row["kind"] for _, row in rows_of("features")}
    assert kinds == set(load_rule_book().kinds)
    classes = {row["machine_class"] for _, row in rows_of("parcels")} - {None}
    assert classes
    assert classes <= {machine.name for machine in shipped_classes()}


def test_all_is_small_enough_for_git():
    assert sum(path.stat().st_size for path in FOLDER.iterdir() if path.is_file()) < 2_000_000


def test_the_readme_says_invented_and_gives_each_garden_its_area(parcels):
    text = (FOLDER / "README.md").read_text()
    assert "invented" in text
    for property_id, parcel in parcels.items():
        row = next(line for line in text.splitlines() if line.startswith(f"| `{property_id}`"))
        # Half a square metre: the README gives whole ones.
        assert float(row.split("|")[2].split()[0]) == pytest.approx(parcel.area, abs=0.5)


def test_gardens_are_of_ordinary_size_and_do_not_overlap(parcels):
    assert len(parcels) == 9
    # 300 m2 to the square centimetre that rounding corners to the millimetre can cost.
    assert all(300 - 0.05 <= parcel.area <= 1200 for parcel in parcels.values())
    whole = shapely.union_all(list(parcels.values()))
    # Corners are shared, so neighbours neither overlap nor gape.
    assert whole.area == pytest.approx(sum(p.area for p in parcels.values()), abs=1e-6)


def test_areas_agree_with_the_ellipsoid(parcels):
    # The contract's 0.2 percent, by pyproj's Geod (GeographicLib) on the GRS 80 ellipsoid.
    to_degrees = Transformer.from_crs("EPSG:25832", "EPSG:4258", always_xy=True)
    for parcel in parcels.values():
        ring = shapely.transform(
            shapely.force_2d(parcel),
            lambda points: np.column_stack(to_degrees.transform(points[:, 0], points[:, 1])),
        )
        geodesic = abs(Geod(ellps="GRS80").geometry_area_perimeter(ring)[0])
        assert parcel.area == pytest.approx(geodesic, rel=0.002)


def test_houses_are_of_ordinary_size(parcels):
    for property_id in parcels:
        house = max(shapely.force_2d(g).area for g in features_of(property_id, "building"))
        assert 80 <= house <= 140, property_id


def test_every_garden_has_an_outlet_at_its_house(parcels):
    for property_id in parcels:
        (outlet,) = features_of(property_id, "power_outlet")
        # Corners are rounded to the millimetre.
        assert min(outlet.distance(g) for g in features_of(property_id, "building")) < 0.01


def test_features_stand_on_their_own_parcel(parcels):
    """All but the neighbour's wire, and what is drawn over the edge in the messy garden."""
    for geometry, row in rows_of("features"):
        if geometry is None or row["property_id"] is None or row["kind"] == "neighbour_wire":
            continue
        parcel = parcels[row["property_id"]].buffer(0.01)
        assert parcel.covers(shapely.force_2d(geometry)), (row["property_id"], row["kind"])


def test_the_passage_leaves_nine_tenths_of_a_metre_between_the_wires():
    house = max(features_of("garden-03", "building"), key=lambda g: g.area)
    (fence,) = features_of("garden-03", "fence")
    kinds = load_rule_book().kinds
    grass = house.distance(fence)
    between = grass - kinds["building"].setback_m - kinds["fence"].setback_m
    # Two corners, each rounded to the millimetre.
    assert between == pytest.approx(0.9, abs=0.002)


def test_the_crossing_reaches_onto_both_lawns_beyond_the_wire():
    (strip,) = features_of("garden-04", "crossing")
    drive = max(features_of("garden-04", "path"), key=lambda g: g.area)
    ends = strip.difference(drive.buffer(load_rule_book().kinds["path"].setback_m))
    assert [part.area > 0.3 for part in ends.geoms] == [True, True]


def test_the_grass_that_cannot_be_planned_leaves_no_room_for_a_station(parcels):
    """Nothing that a machine can reach is as long as the station's clear front is deep."""
    rules = load_rule_book()
    taken = [parcels["garden-05"].exterior.buffer(rules.ground.open_edge_m)]
    for geometry, row in rows_of("features"):
        rule = rules.kinds[row["kind"]]
        if row["property_id"] == "garden-05" and not rule.grass:
            taken.append(geometry.buffer(rule.setback_m))
    free = parcels["garden-05"].difference(shapely.union_all(taken))
    narrowest = min(machine.smallest_passage_m for machine in shipped_classes())
    wide_enough = free.buffer(-narrowest / 2).buffer(narrowest / 2)
    pieces = [wide_enough] if wide_enough.geom_type == "Polygon" else list(wide_enough.geoms)
    for piece in pieces:
        corners = np.asarray(piece.minimum_rotated_rectangle.exterior.coords)
        sides = np.hypot(*np.diff(corners, axis=0).T)
        assert sides.max() < rules.station.front_clear_m
        assert piece.area < rules.ground.smallest_part_m2


def test_the_messy_garden_is_messy():
    shapes = [g for g, row in rows_of("features") if row["property_id"] == "garden-07"]
    drawn = [g for g in shapes if g is not None]
    assert len(drawn) < len(shapes)
    assert any(not shapely.is_valid(g) for g in drawn)
    assert any(g.has_z for g in drawn)
    assert any(g.geom_type == "Polygon" and g.area < 0.05 for g in drawn)
    assert len({g.normalize().wkb for g in drawn}) < len(drawn)
    doubled = [g for g in drawn if g.geom_type == "Polygon" and repeats_a_corner(g)]
    assert doubled


def repeats_a_corner(polygon: shapely.Polygon) -> bool:
    ring = np.asarray(shapely.force_2d(polygon).exterior.coords)
    return bool((np.diff(ring, axis=0) == 0).all(axis=1).any())


def test_every_other_garden_is_clean():
    for layer in ("parcels", "lawns", "features"):
        for geometry, row in rows_of(layer):
            if row["property_id"] != "garden-07":
                assert shapely.is_valid(geometry), row
                assert not geometry.has_z


def test_the_raster_is_as_described():
    with rasterio.open(ELEVATION) as raster:
        assert raster.count == 1
        assert raster.dtypes == ("float32",)
        assert raster.res == (0.5, 0.5)
        assert raster.compression.value.lower() == "deflate"
        assert CRS.from_wkt(raster.crs.to_wkt()).to_epsg() == 25832
        height = raster.read(1, masked=True)
    assert 0 < height.mask.mean() < 0.5
    cm = height.compressed().astype(float) * 100
    # A float32 near 65 m is exact to 4 micrometres: 0.001 cm is well above that.
    assert np.abs(cm - np.round(cm)).max() < 0.001


def inside(area: shapely.Geometry) -> np.ndarray:
    """Return which cells of the raster have their centre in an area."""
    with rasterio.open(ELEVATION) as raster:
        return geometry_mask([area], raster.shape, raster.transform, invert=True)


def test_the_raster_covers_every_garden_and_more(parcels):
    with rasterio.open(ELEVATION) as raster:
        nothing = raster.read(1, masked=True).mask
    for parcel in parcels.values():
        around = inside(shapely.force_2d(parcel).buffer(3))
        # Cells of a quarter of a square metre; what the raster's edge cut off would be missed.
        assert around.sum() * 0.25 == pytest.approx(parcel.buffer(3).area, rel=0.01)
        assert not nothing[around].any()


def test_the_bank_is_25_to_35_percent_and_the_rest_is_gentle(parcels):
    with rasterio.open(ELEVATION) as raster:
        height = raster.read(1, masked=True).filled(np.nan)
    dy, dx = np.gradient(height, 0.5)
    slope_pct = 100 * np.hypot(dx, dy)
    # The bank's middle in street metres, turned by the street's 8 degrees.
    middle = shapely.affinity.rotate(shapely.box(191, 23, 213, 29), 8, origin=(0, 0))
    bank = slope_pct[inside(shapely.affinity.translate(middle, 612_400, 5_871_300))]
    # Heights to the centimetre blur a gradient over 1 m by about 1 percent: leave out the tails.
    assert np.percentile(bank, 5) >= 25
    assert np.percentile(bank, 95) <= 35
    gentle = load_rule_book().ground.gentle_slope_pct
    for property_id in sorted(set(parcels) - {"garden-08", "garden-09"}):
        # A cell inwards: garden-07 touches the retaining edge next door.
        assert slope_pct[inside(parcels[property_id].buffer(-1))].max() < gentle


def test_the_script_makes_the_committed_files_again(tmp_path):
    subprocess.run(
        [sys.executable, str(FOLDER / "make_sample.py"), str(tmp_path)],
        check=True,
        capture_output=True,
    )
    assert sorted(p.name for p in tmp_path.iterdir()) == ["elevation.tif", "survey.gpkg"]
    with rasterio.open(ELEVATION) as kept, rasterio.open(tmp_path / "elevation.tif") as made:
        assert kept.profile == made.profile
        # A centimetre: another mathematics library may round one cell the other way.
        assert np.abs(kept.read(1) - made.read(1)).max() < 0.0101
    for layer in ("parcels", "lawns", "features"):
        with fiona.open(tmp_path / "survey.gpkg", layer=layer) as source:
            made = [
                (None if row.geometry is None else shape(row.geometry), dict(row.properties))
                for row in source
            ]
        kept = rows_of(layer)
        assert [row for _, row in made] == [row for _, row in kept]
        for (one, row), (other, _) in zip(made, kept, strict=True):
            # Corners are rounded to the millimetre; one may round the other way.
            same = one is None if other is None else one.equals_exact(other, 0.0011)
            assert same, row
