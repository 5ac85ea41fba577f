"""One line in every format that a rover, a drawing or a recorder writes comes back the same.

GPX 1.1: the Topografix schema's elements trk, trkseg, trkpt, rte, rtept, wpt (from memory). DXF:
the published group codes: 0 entity, 8 layer, 10/20 coordinates, 66 vertices follow, 70 flags,
90 count of vertices of a light-weight polyline (from memory).
"""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import fiona
import numpy as np
import pyproj
import pytest

from lawnplat.errors import SurveyError
from lawnplat.settings.load import load_rule_book
from lawnplat.survey.track import Track
from lawnplat.survey.track_read import read_track

CRS = "EPSG:32632"
RULES = load_rule_book().as_laid
LINE = np.array([(500_000.0, 5_400_000.0), (500_012.5, 5_400_001.25), (500_013.0, 5_400_009.0),
                 (500_002.0, 5_400_011.0)])  # fmt: skip
BRANCH = np.array([(500_013.0, 5_400_009.0), (500_020.0, 5_400_020.0)])
LON, LAT = pyproj.Transformer.from_crs(CRS, "OGC:CRS84", always_xy=True).transform(*LINE.T)
MILLIMETRE = 0.001


def read(path: Path, **given) -> Track:
    return read_track(path, CRS, RULES, **given)


def same(track: Track, *lines: np.ndarray) -> bool:
    """Return whether the lines are those, each in its own direction or the other."""
    found = [line.xy for line in track.lines]
    return len(found) == len(lines) and all(
        any(
            one.shape == other.shape
            and min(np.abs(one - other).max(), np.abs(one[::-1] - other).max()) < MILLIMETRE
            for one in found
        )
        for other in lines
    )


def table(path: Path, header: str, rows, delimiter: str = ",") -> Path:
    with path.open("w", encoding="utf-8", newline="") as file:
        out = csv.writer(file, delimiter=delimiter)
        out.writerow(header.split())
        out.writerows(rows)
    return path


@pytest.mark.parametrize("header", ["easting_m northing_m", "x y", "Easting Northing", "E N"])
def test_a_table_of_metres(tmp_path: Path, header: str) -> None:
    path = table(tmp_path / "a.csv", header, LINE.tolist())
    assert same(read(path, track_crs=CRS), LINE)


def test_a_table_of_degrees_needs_no_crs(tmp_path: Path) -> None:
    path = table(tmp_path / "a.csv", "lon lat", zip(LON, LAT, strict=True))
    assert same(read(path), LINE)


def test_a_table_with_decimal_commas(tmp_path: Path) -> None:
    rows = [[str(x).replace(".", ","), str(y).replace(".", ",")] for x, y in LINE]
    path = table(tmp_path / "a.csv", "x y", rows, delimiter=";")
    assert same(read(path, track_crs=CRS), LINE)


def test_our_own_rovers_columns_with_accuracy_joints_and_fixed_points(tmp_path: Path) -> None:
    rows = [[k, x, y, "", what, on, CRS, "g", 0.01 * (k + 1)] for k, (x, y, what, on) in enumerate([
        (*LINE[0], "terminal", "perimeter"), (*LINE[1], "splice", "perimeter"),
        (*LINE[2], "curve", "perimeter"), (*LINE[3], "joint", "perimeter"),
        (*BRANCH[1], "building corner", "fixed_point"), (0.0, 0.0, "station", "station"),
    ])]  # fmt: skip
    header = "mark easting_m northing_m height_m what on crs property_id accuracy_m"
    track = read(table(tmp_path / "a.csv", header, rows))
    assert same(track, LINE)
    assert track.lines[0].name == "perimeter"
    assert track.lines[0].accuracy_m == pytest.approx([0.01, 0.02, 0.03, 0.04])
    assert [mark.what for mark in track.marks] == ["terminal", "splice", "three_way", "fixed_point"]
    assert track.marks[-1].name == "4"


@pytest.mark.parametrize(("driver", "name"), [("GPKG", "a.gpkg"), ("GeoJSON", "a.geojson")])
@pytest.mark.parametrize("kind", ["LineString", "Point"])
def test_a_vector_file_of_a_line_or_of_points(
    tmp_path: Path, driver: str, name: str, kind: str
) -> None:
    path, system = tmp_path / name, CRS if driver == "GPKG" else "OGC:CRS84"
    xy = LINE if driver == "GPKG" else np.stack([LON, LAT], axis=1)
    schema = {"geometry": kind, "properties": {"on": "str", "accuracy_m": "float", "time": "str"}}
    shapes = [xy.tolist()] if kind == "LineString" else xy.tolist()
    digits = {} if driver == "GPKG" else {"COORDINATE_PRECISION": 10}
    with fiona.open(path, "w", driver=driver, crs=system, schema=schema, **digits) as file:
        for shape in shapes:
            file.write({
                "geometry": {"type": kind, "coordinates": shape},
                "properties": {"on": "return_1", "accuracy_m": 0.03, "time": "10:00"},
            })  # fmt: skip
    track = read(path)
    assert same(track, LINE)
    assert track.lines[0].name == "return_1"
    assert track.lines[0].drawn is (kind == "LineString")
    assert set(track.lines[0].accuracy_m) == {0.03}


def gpx(inner: str) -> str:
    return (
        '<?xml version="1.0" encoding="UTF-8"?><gpx version="1.1" creator="a test" '
        f'xmlns="http://www.topografix.com/GPX/1/1">{inner}</gpx>'
    )


def positions(tag: str) -> str:
    points = zip(LON, LAT, strict=True)
    return "".join(
        f'<{tag} lat="{lat:.10f}" lon="{lon:.10f}"><time>2026-05-0{k + 1}T10:00:00Z</time></{tag}>'
        for k, (lon, lat) in enumerate(points)
    )


@pytest.mark.parametrize("kind", ["trk", "rte"])
def test_tracks_and_routes_of_a_gpx(tmp_path: Path, kind: str) -> None:
    body = (
        f"<trkseg>{positions('trkpt')}</trkseg>" if kind == "trk" else positions("rtept")
    )
    path = tmp_path / "a.gpx"
    path.write_text(gpx(f"<{kind}><name>perimeter</name>{body}</{kind}>"), encoding="utf-8")
    track = read(path, accuracy_m=0.5)
    assert same(track, LINE)
    assert track.lines[0].name == "perimeter"
    assert track.lines[0].times[0].startswith("2026")
    assert set(track.lines[0].accuracy_m) == {0.5}


def test_a_waypoint_that_is_a_splice_is_a_joint(tmp_path: Path) -> None:
    way = f'<wpt lat="{LAT[1]:.10f}" lon="{LON[1]:.10f}"><name>J1</name><desc>splice</desc></wpt>'
    path = tmp_path / "a.gpx"
    path.write_text(gpx(f"{way}<trk><trkseg>{positions('trkpt')}</trkseg></trk>"), encoding="utf-8")
    (mark,) = read(path, accuracy_m=0.5).marks
    assert (mark.what, mark.name) == ("splice", "J1")
    assert (mark.point.x, mark.point.y) == pytest.approx(LINE[1], abs=MILLIMETRE)


def test_a_gpx_without_a_stated_accuracy_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.gpx"
    path.write_text(gpx(f"<trk><trkseg>{positions('trkpt')}</trkseg></trk>"), encoding="utf-8")
    with pytest.raises(SurveyError, match="does not say how accurate it is"):
        read(path)


def groups(*pairs: tuple[int, object]) -> str:
    return "".join(f"{code:>3}\n{value}\n" for code, value in pairs)


def drawing(*entities: str) -> str:
    return groups((0, "SECTION"), (2, "ENTITIES")) + "".join(entities) + groups(
        (0, "ENDSEC"), (0, "EOF")
    )  # fmt: skip


def stroke(a: np.ndarray, b: np.ndarray) -> str:
    ends = ((10, a[0]), (20, a[1]), (30, 0.0), (11, b[0]), (21, b[1]), (31, 0.0))
    return groups((0, "LINE"), (8, "perimeter"), *ends)


def old_polyline() -> str:
    corners = [
        groups((0, "VERTEX"), (8, "perimeter"), (10, x), (20, y), (30, 0.0)) for x, y in LINE
    ]
    start = groups((0, "POLYLINE"), (8, "perimeter"), (66, 1), (10, 0.0), (20, 0.0), (70, 0))
    return start + "".join(corners) + groups((0, "SEQEND"), (8, "perimeter"))


def light_polyline() -> str:
    corners = [pair for x, y in LINE for pair in ((10, x), (20, y))]
    names = ((100, "AcDbEntity"), (8, "perimeter"), (100, "AcDbPolyline"))
    return groups((0, "LWPOLYLINE"), *names, (90, len(LINE)), (70, 0), *corners)


@pytest.mark.parametrize("entity", [old_polyline, light_polyline])
def test_polylines_of_a_dxf(tmp_path: Path, entity) -> None:
    path = tmp_path / "a.dxf"
    path.write_text(drawing(entity()), encoding="ascii")
    track = read(path, track_crs=CRS)
    assert same(track, LINE)
    assert track.lines[0].name == "perimeter"


def test_single_strokes_of_a_dxf_in_any_order_and_direction_are_one_line(tmp_path: Path) -> None:
    path = tmp_path / "a.dxf"
    strokes = [stroke(LINE[2], LINE[3]), stroke(LINE[1], LINE[0]), stroke(LINE[1], LINE[2])]
    path.write_text(drawing(*strokes), encoding="ascii")
    assert same(read(path, track_crs=CRS), LINE)


def test_points_of_a_dxf_without_its_texts(tmp_path: Path) -> None:
    path = tmp_path / "a.dxf"
    points = [groups((0, "POINT"), (8, "pegs"), (10, x), (20, y), (30, 0.0)) for x, y in LINE]
    text = groups((0, "TEXT"), (8, "pegs"), (10, 0.0), (20, 0.0), (40, 1.0), (1, "a note"))
    path.write_text(drawing(*points, text), encoding="ascii")
    assert same(read(path, track_crs=CRS), LINE)


def test_several_lines_stay_several(tmp_path: Path) -> None:
    rows = [["perimeter", *xy] for xy in LINE] + [["return_1", *xy] for xy in BRANCH]
    path = table(tmp_path / "a.csv", "on x y", rows)
    assert same(read(path, track_crs=CRS), LINE, BRANCH)


def test_a_track_on_another_datum_says_how_far_it_may_be_off(tmp_path: Path) -> None:
    """WGS 84 to ETRS89: the EPSG register states 1 m for the null shift between the two."""
    path = table(tmp_path / "a.csv", "lon lat", zip(LON, LAT, strict=True))
    (finding,) = read_track(path, "EPSG:25832", RULES).findings
    assert (finding.rule, finding.severity, finding.measured) == ("track_datum", "warn", 1.0)


BAD = {
    "no columns": ("a,b\n1,2\n", "has no columns of coordinates"),
    "no number": ("x,y\n1,2\n3,four\n", "line 3"),
    "not finite": ("x,y\n1,2\n3,nan\n", "line 3"),
    "no accuracy": ("x,y,accuracy\n1,2,0\n3,4,1\n", "line 2"),
    "one point": ("x,y\n1,2\n", "holds no measured line"),
    "empty": ("", "has no columns of coordinates"),
    "two systems": ("x,y,crs\n1,2,EPSG:25832\n3,4,EPSG:25833\n", "names several CRSs"),
    "outside its system": ("lon,lat\n200,100\n300,95\n", "is it the right CRS"),
}


@pytest.mark.parametrize("name", BAD)
def test_a_bad_table_is_refused_in_two_lines_at_most(tmp_path: Path, name: str) -> None:
    text, says = BAD[name]
    path = tmp_path / "a.csv"
    path.write_text(text, encoding="utf-8")
    given = None if name in ("outside its system", "two systems") else CRS
    with pytest.raises(SurveyError, match=says) as caught:
        read(path, track_crs=given)
    assert len(str(caught.value).splitlines()) <= 2


def test_a_file_that_names_no_crs_is_refused(tmp_path: Path) -> None:
    path = table(tmp_path / "a.csv", "x y", LINE.tolist())
    with pytest.raises(SurveyError, match=r"names no CRS\n.*--track-crs"):
        read(path)


@pytest.mark.parametrize("name", ["a.gpkg", "a.dxf", "a.gpx", "a.geojson"])
def test_a_damaged_file_is_refused(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    path.write_bytes(b"\x00\x01 nothing of the kind")
    with pytest.raises(SurveyError):
        read(path, track_crs=CRS, accuracy_m=0.1)


def test_the_rule_books_accuracy_holds_where_nobody_states_one(tmp_path: Path) -> None:
    path = table(tmp_path / "a.csv", "x y", LINE.tolist())
    track = read_track(path, CRS, replace(RULES, accuracy_m=0.07), track_crs=CRS)
    assert set(track.lines[0].accuracy_m) == {0.07}
