"""The picture: a sound SVG that shows what is there, to scale, and nothing else."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import combinations
from xml.etree import ElementTree as ET

import pytest
from shapely import LineString, MultiPolygon, Point, Polygon, affinity, box

from lawnplat.deliver.picture import draw
from lawnplat.deliver.picture.canvas import clean, text_width, wrapped
from lawnplat.deliver.picture.draw import numbered_findings
from lawnplat.deliver.picture.paper import paper_for, round_up
from lawnplat.planned import Plan
from lawnplat.survey.types import Feature, Finding

SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = "<script>alert(1)</script>&\"'>]]>\x00\x0b\ud800\u202e"


def page(plan: Plan) -> ET.Element:
    return ET.fromstring(draw(plan))


def words(root: ET.Element) -> list[str]:
    return [each.text or "" for each in root.iter(f"{SVG}text")]


def group(root: ET.Element, name: str) -> ET.Element:
    return next(each for each in root.iter(f"{SVG}g") if each.get("id") == name)


def places(path: ET.Element) -> list[tuple[float, float]]:
    numbers = [float(n) for n in re.findall(r"-?[\d.]+", path.get("d"))]
    return list(zip(numbers[::2], numbers[1::2], strict=True))


def test_a_whole_plan_is_one_sound_page(garden_plan: Plan) -> None:
    root = page(garden_plan)
    assert root.tag == f"{SVG}svg"
    assert root.get("width") == "297mm"
    assert root.get("viewBox") == "0 0 297 210"
    assert not [each for each in root.iter() if each.tag in {f"{SVG}script", f"{SVG}image"}]
    assert "href" not in draw(garden_plan)


def test_the_same_plan_gives_the_same_picture(garden_plan: Plan) -> None:
    assert draw(garden_plan) == draw(garden_plan)


def test_hostile_texts_are_texts(garden_plan: Plan) -> None:
    site = replace(
        garden_plan.site,
        property_id=HOSTILE,
        label=HOSTILE,
        features=(Feature(HOSTILE, box(5e5 + 1, 5.4e6 + 1, 5e5 + 20, 5.4e6 + 9), HOSTILE),),
    )
    machine = replace(garden_plan.machine, name=HOSTILE)
    finding = Finding(HOSTILE, "warn", HOSTILE)
    plan = replace(garden_plan, site=site, machine=machine, findings=(finding,))
    root = page(plan)
    assert not list(root.iter(f"{SVG}script"))
    assert any("<script>" in each for each in words(root))


def test_the_wire_is_drawn_to_scale(garden_plan: Plan) -> None:
    root = page(garden_plan)
    path = group(root, "perimeter_wire")[-1]
    drawn = LineString(places(path))
    (scale,) = (int(t[2:].split()[0]) for t in words(root) if t.startswith("1:"))
    # 24 m x 18 m in a frame of 204 mm x 194 mm: 24 m / 196 mm = 1:122, so 1:125 by hand.
    assert scale == 125
    # Coordinates are printed to 0.01 mm and detail under 0.03 mm is left out: 0.5 % of the wire.
    length = garden_plan.layout.perimeter.line.length
    assert drawn.length * scale / 1000 == pytest.approx(length, rel=0.005)


def test_north_is_up_and_east_is_right() -> None:
    paper = paper_for((0, 0, 10, 10))
    x, y = paper.xy(5, 5)
    assert paper.xy(6, 5)[0] > x
    assert paper.xy(5, 6)[1] < y


@pytest.mark.parametrize("size", [(30, 20), (20, 60), (3000, 400), (1.0, 1.0), (0.0, 0.0)])
def test_the_ground_fits_the_frame(size: tuple[float, float]) -> None:
    paper = paper_for((0, 0, *size))
    for x, y in (paper.xy(0, 0), paper.xy(*size)):
        assert paper.left_mm <= x <= paper.left_mm + paper.map_width_mm
        assert paper.top_mm <= y <= paper.top_mm + paper.map_height_mm


def test_a_tall_garden_gets_an_upright_page(garden_plan: Plan) -> None:
    tall = replace(garden_plan.site, parcel=box(5e5, 5.4e6, 5e5 + 8, 5.4e6 + 30))
    assert page(replace(garden_plan, site=tall)).get("height") == "297mm"


@pytest.mark.parametrize(
    ("value", "rounded"), [(122.4, 125), (125, 125), (126, 150), (0.9, 1), (760, 1000), (8, 10)]
)
def test_scales_are_round(value: float, rounded: float) -> None:
    assert round_up(value) == pytest.approx(rounded)


WIRE_WORDS = {"perimeter wire", "return line", "peg", "station base", "three-way joint"}


def test_the_key_shows_only_what_is_drawn(garden_plan: Plan, stopped_plan: Plan) -> None:
    assert set(words(page(garden_plan))) >= {*WIRE_WORDS, "water", "tree", "mown", "power outlet"}
    stopped = set(words(page(stopped_plan)))
    assert not WIRE_WORDS & stopped
    assert {"water", "mown"} <= stopped
    bare = replace(garden_plan.site, features=())
    nothing = replace(stopped_plan, site=bare, ground=None, findings=())
    left = set(words(page(nothing)))
    assert "property boundary" in left
    assert not {"water", "mown", "tree", "look here (number)"} & left


def test_a_plan_that_stopped_says_that_nothing_may_be_laid(stopped_plan: Plan) -> None:
    texts = words(page(stopped_plan))
    assert "CANNOT BE PLANNED: do not lay" in texts
    assert any("no clear ground of 2.0 m" in each for each in texts)


def test_the_caution_stands_on_every_page(garden_plan: Plan, stopped_plan: Plan) -> None:
    for plan in (garden_plan, stopped_plan):
        text = " ".join(words(page(plan)))
        assert "have buried services located and marked" in text
        assert "a licensed electrician only" in text


def test_figures_are_the_plans(garden_plan: Plan) -> None:
    texts = words(page(garden_plan))
    assert f"{garden_plan.layout.perimeter.line.length:.1f} m" in texts
    assert f"{garden_plan.ground.lawn.area:.0f} m²" in texts
    assert f"{len(garden_plan.works.pegs)}" in texts


def test_advisories_have_the_same_number_on_the_map_and_in_the_list(garden_plan: Plan) -> None:
    root = page(garden_plan)
    on_map = [each.text for each in group(root, "advisories").iter(f"{SVG}text")]
    assert on_map == ["1"]
    assert "1. the wire runs above a fall of 18 %" in words(root)


def test_more_advisories_than_room_are_counted(garden_plan: Plan) -> None:
    many = tuple(Finding("r", "warn", f"advisory {i} " + "long " * 20) for i in range(60))
    texts = words(page(replace(garden_plan, findings=many)))
    listed = sum(1 for each in texts if re.match(r"\d+\. advisory", each))
    (rest,) = (int(each.split()[2]) for each in texts if each.startswith("... and "))
    assert listed + rest == 60
    assert listed > 0


def test_what_stops_stands_first() -> None:
    findings = tuple(Finding("r", each, each) for each in ("note", "warn", "stop", "warn"))
    assert [f.severity for _, f in numbered_findings(findings)] == ["stop", "warn", "warn", "note"]


@pytest.mark.parametrize(
    "shape",
    [
        Point(5e5 + 3, 5.4e6 + 3),
        LineString([(5e5 + 3, 5.4e6 + 3), (5e5 + 9, 5.4e6 + 3)]),
        Point(5e5 + 3, 5.4e6 + 3).buffer(1).union(Point(5e5 + 9, 5.4e6 + 3).buffer(1)),
        Polygon(
            box(5e5, 5.4e6, 5e5 + 9, 5.4e6 + 9).exterior,
            [Point(5e5 + 4, 5.4e6 + 4).buffer(1).exterior],
        ),
        affinity.translate(box(0, 0, 1, 1), 9e5, 9e6),
    ],
    ids=["point", "line", "multipolygon", "hole", "far away"],
)
@pytest.mark.parametrize("kind", ["fence", "tree", "power_outlet", "neighbour_wire", "unheard_of"])
def test_any_geometry_of_any_kind_is_drawn(garden_plan: Plan, shape, kind: str) -> None:
    site = replace(garden_plan.site, features=(Feature(kind, shape, "x"),))
    texts = words(page(replace(garden_plan, site=site)))
    assert kind.replace("_", " ") in texts


def test_texts_are_wrapped_within_their_width() -> None:
    text = "a line of words and " + "x" * 90 + " 名前名前名前 end"
    lines = wrapped(text, 40.0, 3.0)
    assert all(text_width(line, 3.0) <= 40.0 for line in lines)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")
    assert wrapped("", 40.0, 3.0) == []


def test_control_characters_are_replaced() -> None:
    assert clean("a\x00b\tc\x1bd") == "a\ufffdb c\ufffdd"


def test_lawn_that_is_all_covered_is_not_in_the_key(garden_plan: Plan) -> None:
    lawn = garden_plan.ground.parts[0].area
    covered = replace(garden_plan.ground, lawn=MultiPolygon([lawn]), hand_trim=())
    assert "lawn outside the wire" in words(page(garden_plan))
    assert "lawn outside the wire" not in words(page(replace(garden_plan, ground=covered)))


def test_a_sliver_of_slope_is_not_in_the_key(garden_plan: Plan) -> None:
    sliver = MultiPolygon([box(5e5 + 10, 5.4e6 + 10, 5e5 + 10.01, 5.4e6 + 10.5)])
    zones = tuple(replace(each, area=sliver) for each in garden_plan.ground.zones)
    plan = replace(garden_plan, ground=replace(garden_plan.ground, zones=zones, keep_outs=()))
    assert not {"slope: workable", "slope: too steep"} & set(words(page(plan)))


def test_advisories_at_one_place_stand_beside_one_another(garden_plan: Plan) -> None:
    place = garden_plan.layout.station.point
    many = tuple(Finding("r", "warn", f"{i}", place=place) for i in range(5))
    marks = group(page(replace(garden_plan, findings=many)), "advisories").iter(f"{SVG}text")
    spots = [(float(each.get("x")), float(each.get("y"))) for each in marks]
    assert len(spots) == 5
    # A mark is 5 mm wide.
    assert all(max(abs(a - c), abs(b - d)) >= 5.0 for (a, b), (c, d) in combinations(spots, 2))


def test_pegs_are_left_out_where_they_would_run_together(garden_plan: Plan) -> None:
    far = replace(garden_plan.site, parcel=box(5e5, 5.4e6, 5e5 + 400, 5.4e6 + 300))
    assert "peg" not in words(page(replace(garden_plan, site=far)))


def test_names_cover_neither_one_another_nor_a_sign(garden_plan: Plan) -> None:
    labels = group(page(garden_plan), "names").findall(f"{SVG}text")[1::2]  # each has its halo
    boxes = [
        box(x - w / 2, y - 2.0, x + w / 2, y + 0.4)
        for x, y, w in (
            (float(t.get("x")), float(t.get("y")), text_width(t.text, 2.6)) for t in labels
        )
    ]
    assert {"station", "outlet", "building"} <= {each.text for each in labels}
    assert not [pair for pair in combinations(boxes, 2) if pair[0].intersects(pair[1])]


def test_an_advisory_of_the_whole_property_has_no_sign_on_the_map(garden_plan: Plan) -> None:
    parcel = garden_plan.site.parcel
    whole = Finding("r", "note", "of all", place=parcel.representative_point())
    near = Finding("r", "note", "of one place", place=garden_plan.layout.station.point)
    drawn = page(replace(garden_plan, findings=(whole, near)))
    assert [each.text for each in group(drawn, "advisories").iter(f"{SVG}text")] == ["2"]
    assert {"1. of all", "2. of one place"} <= set(words(drawn))


def test_outlets_are_drawn_over_the_wires(garden_plan: Plan) -> None:
    names = [each.get("id") for each in page(garden_plan).iter(f"{SVG}g")]
    assert names.index("outlets") > names.index("perimeter_wire")
    assert len(group(page(garden_plan), "outlets")) == 1


def test_a_name_moves_along_its_area_off_wires_across_its_middle(garden_plan: Plan) -> None:
    x, y = 5e5, 5.4e6
    # Widest in its middle, where the wires are.
    strip = box(x - 20, y - 12, x + 60, y - 8) | box(x + 17, y - 13, x + 23, y - 7)
    path = Feature("path", strip, "p")
    turns = [(x + at, y + (10, -30)[turn % 2]) for turn, at in enumerate(range(12, 29))]
    layout = garden_plan.layouts[0]
    line = replace(layout.return_lines[0], line=LineString(turns))
    parcel = box(x - 20, y - 12, x + 60, y + 30)
    site = replace(garden_plan.site, parcel=parcel, features=(path,))
    laid = (replace(layout, return_lines=(line,)),)
    plan = replace(garden_plan, site=site, layouts=laid, ground=None)
    names = group(page(plan), "names").findall(f"{SVG}text")[1::2]
    (name,) = (each for each in names if each.text == "path")
    paper, half_mm = paper_for(parcel.bounds), text_width("path", 2.6) / 2
    left, right = (paper.xy(at, y)[0] for at in (x + 12, x + 28))
    at_mm = float(name.get("x"))
    assert at_mm + half_mm < left or at_mm - half_mm > right
