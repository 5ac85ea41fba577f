"""Whole surveys drawn at random and badly: sound sites come out, and every parcel is told of."""

from __future__ import annotations

import json
import random

import numpy as np
import pytest
import shapely

from lawnplat.settings.load import load_rule_book
from lawnplat.survey.read import read_survey

RULES = load_rule_book()
E, N = 500_000.0, 5_400_000.0
CRS = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::25832"}}
COLUMNS = {
    "parcels": ("property_id", "label", "machine_class"),
    "lawns": ("property_id",),
    "features": ("kind", "property_id", "radius_m", "width_m", "setback_m", "height_m", "note"),
    "spot_heights": ("elevation_m",),
}
VALUES = (
    None, "", 1, -1, 1.5, "x", "1,5", True, [1], {"a": 1}, 1e300, "../a", "a", "b", "tree",
    "building", "buidling",
)  # fmt: skip


SQUARE = [[E + x, N + y] for x, y in ((100, 0), (120, 0), (120, 20), (100, 20), (100, 0))]
SOUND = {
    "parcels": {
        "type": "Feature",
        "properties": {"property_id": "sound"},
        "geometry": {"type": "Polygon", "coordinates": [SQUARE]},
    },
    "features": {
        "type": "Feature",
        "properties": {"kind": "tree"},
        "geometry": {"type": "Point", "coordinates": [E + 110, N + 10]},
    },
}


def point(draw):
    near = draw.choice((0, 0, 0.001, 1e-9))
    return [E + draw.randint(-5, 40) + near, N + draw.randint(-5, 40)]


def ring(draw):
    points = [point(draw) for _ in range(draw.randint(1, 8))]
    return points + points[:1] if draw.random() < 0.7 else points


def several(draw, make, most=3):
    return [make(draw) for _ in range(draw.randint(0, most))]


def geometry(draw):
    kind = draw.choice(("null", "Point", "LineString", "MultiPoint", "MultiPolygon",
                        "GeometryCollection", "Polygon", "Polygon", "Polygon"))  # fmt: skip
    if kind == "null":
        return None
    if kind == "GeometryCollection":
        found = [part for part in several(draw, geometry) if part is not None]
        return {"type": kind, "geometries": found}
    coordinates = {
        "Point": point,
        "LineString": lambda d: several(d, point, 5),
        "MultiPoint": lambda d: several(d, point),
        "Polygon": lambda d: several(d, ring),
        "MultiPolygon": lambda d: several(d, lambda e: several(e, ring)),
    }[kind](draw)
    return {"type": kind, "coordinates": coordinates}


def written(folder, seed):
    """Write the four layers; return how many parcels were drawn.

    The first parcel and the first feature are sound, so that each layer has a polygon and a kind.
    """
    draw = random.Random(seed)
    counts = {}
    for name, columns in COLUMNS.items():
        rows = [
            {
                "type": "Feature",
                "properties": {c: draw.choice(VALUES) for c in columns if draw.random() < 0.9},
                "geometry": geometry(draw),
            }
            for _ in range(draw.randint(1, 8))
        ]
        rows = [SOUND[name], *rows] if name in SOUND else rows
        tree = {"type": "FeatureCollection", "crs": CRS, "features": rows}
        (folder / f"{name}.geojson").write_text(json.dumps(tree))
        counts[name] = len(rows)
    return counts["parcels"]


@pytest.mark.parametrize("seed", range(80))
def test_any_survey_is_read_to_sound_sites_and_nothing_is_lost_unsaid(tmp_path, seed):
    drawn = written(tmp_path, seed)
    found = read_survey([str(tmp_path)], rules=RULES)
    told = [f.count for f in found.findings if f.rule == "parcel_twice"]
    parts = [f.count for s in (*found.sites, *found.refusals) for f in s.findings
             if f.rule == "parcel_in_parts"]  # fmt: skip
    assert len(found.sites) + len(found.refusals) + sum(told) + sum(parts) == drawn
    ids = [each.property_id for each in (*found.sites, *found.refusals)]
    assert len(set(ids)) == len(ids)
    for refusal in found.refusals:
        assert any(finding.severity == "stop" for finding in refusal.findings)
    for site in found.sites:
        assert site.parcel.area >= RULES.ground.smallest_parcel_m2
        for shape in (site.parcel, *site.lawns, *(f.geometry for f in site.features)):
            assert shape.is_valid
            assert not shape.has_z
            assert not shape.is_empty
        for feature in site.features:
            assert feature.kind in RULES.kinds
        assert np.isfinite(site.spot_heights).all()
        assert np.isfinite(shapely.bounds(site.parcel)).all()
