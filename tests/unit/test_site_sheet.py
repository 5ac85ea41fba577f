"""The site sheet: sound HTML that holds what a crew needs, to scale, and executes nothing."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from decimal import Decimal
from itertools import pairwise

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, Polygon, box

from lawnplat.deliver.picture.corners import free_corners
from lawnplat.deliver.picture.labels import Labels
from lawnplat.deliver.quote_page import BEGIN, END
from lawnplat.deliver.site_sheet import site_sheet
from lawnplat.deliver.site_sheet.contours import contours
from lawnplat.deliver.site_sheet.forms import FORMS
from lawnplat.deliver.site_sheet.map_page import BAR_MM
from lawnplat.deliver.site_sheet.markup import LONGEST, element, figure, html, said, table
from lawnplat.deliver.site_sheet.setting_out import side_of
from lawnplat.deliver.site_sheet.station_detail import station_sizes
from lawnplat.deliver.site_sheet.style import style
from lawnplat.deliver.site_sheet.tiles import map_pages
from lawnplat.planned import Plan
from lawnplat.survey.types import Finding
from lawnplat.terrain.types import Grid, Terrain
from lawnplat.works.types import (
    Check,
    FixedPoint,
    HeightStep,
    Mark,
    Material,
    MonthHours,
    Programme,
    Quote,
    QuoteLine,
    Task,
    Works,
)
from sheet_reader import Element, assert_sound, read_page

E, N = 500_000.0, 5_400_000.0
HOSTILE = "<script>alert(1)</script>\"'&</style><img src=x onerror=alert(1)>\x00\u202e 🦔 עברית"
A, B = Point(E, N), Point(E + 9, N + 7)


def mark(name: str, x: float, y: float, on: str = "perimeter") -> Mark:
    point = Point(E + x, N + y)
    return Mark(
        name=name, what="corner", on=on, chainage_m=12.345, point=point, height_m=math.nan,
        edge_offset_m=0.35, edge="flower_bed", from_a="A", dist_a_m=point.distance(A), from_b="B",
        dist_b_m=point.distance(B), angle_deg=88.4, to_next_offset_m=-0.12, loop=1,
    )  # fmt: skip


def full(works: Works, said: str = "") -> Works:
    """Return works with something in every list, each text ending in ``said``."""
    price = Decimal("1.20")
    line = QuoteLine(1, "item", f"wire{said}", Decimal("2.5"), "m", price, Decimal("3.00"))
    total = QuoteLine(2, "total", "total", None, "", None, Decimal("3.00"))
    return replace(
        works,
        materials=(*works.materials, Material(f"glue{said}", 1.0, "tube", f"as needed{said}")),
        fixed_points=(
            FixedPoint("A", f"building corner{said}", A), FixedPoint("B", "building corner", B),
        ),
        marks=(mark("P1", 0.4, 17.1), mark("P2", 20.9, 17.1)),
        tasks=(Task("set_out", 70.0, "m", f"wire{said}"),),
        quote=Quote(f"EUR{said}", (line, total), (), (), Decimal(1), Decimal("3.00"), 30,
                    "2026-11-02", (f"crane{said}",)),
        programme=Programme(
            months=(
                MonthHours(1, 0.0, 0.0, 0, "", "", ""),
                MonthHours(5, 0.9, 31.5, 6, "08:00", "19:30", f"busy{said}"),
            ),
            heights=(HeightStep(1, 60.0, f"highest{said}"),),
            first_weeks=(f"Walk the wire.{said}",),
            basis=(f"climate{said}",),
        ),
        commissioning=(Check(1, f"Loop continuous{said}", "meter", "resistance, ohm", 0),),
    )  # fmt: skip


@pytest.fixture
def full_plan(garden_plan: Plan) -> Plan:
    return replace(garden_plan, works=full(garden_plan.works))


def headings(page: Element) -> list[str]:
    return [each.words() for each in page.all("h2")]


def test_a_whole_plan_gives_all_pages_in_order(full_plan: Plan) -> None:
    page = assert_sound(site_sheet(full_plan, issued="2026-11-02"))
    assert headings(page) == [
        "Map, sheet 1 of 1, scale 1:200 on A4, printed at 100 %", "Station, scale 1:20",
        "Setting out", "Materials and work", "Programme", "Commissioning",
        "Advisories and cautions", "For the client",
    ]  # fmt: skip
    title = next(each for each in page.all("div") if each.attributes.get("class") == "title")
    for words in ("G-1", "medium", "EPSG:25832", "2026-11-02", "licensed electrician"):
        assert words in title.words()


def test_every_caution_is_there_whatever_became_of_the_plan(
    garden_plan: Plan, stopped_plan: Plan
) -> None:
    for plan in (garden_plan, stopped_plan):
        words = read_page(site_sheet(plan)).words()
        for term in ("Buried services", "Mains", "Blades", "Slopes", "Water",
                     "Children and animals", "Daylight only"):  # fmt: skip
            assert term in words
        assert "30 mA" in words


def test_a_plan_that_must_not_be_laid_says_so_on_the_map_and_gives_no_quote(
    stopped_plan: Plan,
) -> None:
    page = assert_sound(site_sheet(stopped_plan))
    assert "DO NOT LAY" in page.all("section")[0].words()
    assert "For the client" not in headings(page)
    assert "no clear ground of 2.0 m" in page.words()


def test_what_is_not_known_is_left_out(garden_plan: Plan) -> None:
    bare = replace(garden_plan, terrain=None, ground=None, layouts=(), works=None)
    page = assert_sound(site_sheet(bare))
    assert len(headings(page)) == 2
    assert "Setting out" not in headings(assert_sound(site_sheet(garden_plan)))


def test_the_same_plan_gives_the_same_sheet(full_plan: Plan) -> None:
    assert site_sheet(full_plan) == site_sheet(full_plan)


def test_hostile_text_stays_text(garden_plan: Plan) -> None:
    site = replace(garden_plan.site, property_id=HOSTILE, label=f"Label {HOSTILE}", crs=HOSTILE)
    findings = (*garden_plan.findings, Finding("rule", "warn", f"look{HOSTILE}"))
    machine = replace(garden_plan.machine, name=HOSTILE)
    plan = replace(
        garden_plan, site=site, findings=findings, machine=machine,
        works=full(garden_plan.works, HOSTILE),
    )  # fmt: skip
    text = site_sheet(plan, issued=HOSTILE)
    page = assert_sound(text)
    assert "<script" not in text
    assert text.count("</style>") == 1
    # Shown as it was written, in a piece whose direction is its own.
    told = [each.words() for each in page.all("bdi")]
    assert any("<script>alert(1)</script>" in each and "עברית" in each for each in told)
    assert "\x00" not in text
    assert "\u202e" not in text


def test_a_note_of_10_kb_is_cut(garden_plan: Plan) -> None:
    long = Finding("rule", "warn", "word " * 2000)
    page = assert_sound(site_sheet(replace(garden_plan, findings=(long,))))
    (item,) = [each for each in page.all("li") if "word" in each.words()]
    assert item.words().endswith("…")
    assert len(item.words()) < LONGEST + 20


def test_the_quote_stands_between_its_two_lines(full_plan: Plan) -> None:
    lines = site_sheet(full_plan).splitlines()
    begin, end = lines.index(BEGIN), lines.index(END)
    assert "3.00" in "".join(lines[begin + 1 : end])
    assert lines.count(BEGIN) == lines.count(END) == 1


def test_every_mark_is_named_on_the_map_and_in_the_table(full_plan: Plan) -> None:
    page = read_page(site_sheet(full_plan))
    names = [each.words() for each in page.all("svg")[0].all("text")]
    for name in ("P1", "P2", "A", "B"):
        assert name in names
    marks = page.all("section")[2].all("table")[1]
    (row,) = [each for each in marks.all("tr") if each.inside[0].words() == "P2"]
    # P2 is 20.9 m east and 17.1 m north of A: sqrt(20.9^2 + 17.1^2) = 27.00 m.
    tape = row.inside[6]
    assert (tape.all("b")[0].words(), tape.text.strip()) == ("A", "27.00")
    assert [each.words() for each in row.inside][-3:] == ["88°", "left", "0.12 right"]


def test_the_side_of_a_mark_by_hand() -> None:
    points = {"A": FixedPoint("A", "", Point(0, 0)), "B": FixedPoint("B", "", Point(10, 0))}
    above = replace(mark("P", 0, 0), point=Point(5, 3))
    assert side_of(above, points) == "left"
    assert side_of(replace(above, point=Point(5, -3)), points) == "right"
    assert side_of(replace(above, from_a="Z"), points) == ""


def test_station_sizes_by_hand(garden_plan: Plan) -> None:
    sizes = station_sizes(garden_plan.layouts[0])
    # conftest: base from 9.1 to 9.8 along and 4.57 to 5.03 across, front 2.0 deep and 0.6 wide;
    # the wire runs straight for 2.45 m on one side and 4.3 m on the other, more than is followed.
    assert (sizes.base_length_m, sizes.base_width_m) == pytest.approx((0.7, 0.46))
    assert (sizes.front_depth_m, sizes.front_width_m) == pytest.approx((2.0, 0.6))
    # From the station at y 4.8: 1.2 m beyond the wire ends at 4.9 and 4.7.
    assert (sizes.straight_left_m, sizes.straight_right_m) == pytest.approx((1.3, 1.3))


def test_a_wire_that_bends_near_the_station_is_measured_to_its_bend(garden_plan: Plan) -> None:
    layout = garden_plan.layouts[0]
    near = LineString([(E + 9.35, N + 4.9), (E + 9.35, N + 5.6), *layout.perimeter.line.coords[2:]])
    bent = replace(layout, perimeter=replace(layout.perimeter, line=near))
    assert station_sizes(bent).straight_left_m == pytest.approx(0.8)


@pytest.mark.parametrize(
    ("width", "height", "scale", "count"),
    [
        (18, 20, 100, 1), (30, 40, 200, 1), (40, 30, 200, 1), (45, 50, 250, 1), (90, 95, 500, 1),
        (18, 92, 200, 3), (92, 18, 200, 3), (18, 60, 200, 2), (46, 120, 250, 3),
        (190, 200, 1000, 1), (370, 400, 2000, 1),
    ],
)  # fmt: skip
def test_the_scale_is_the_largest_that_fits(
    width: float, height: float, scale: float, count: int
) -> None:
    # By hand: the upright frame is 194 mm wide and 211 mm high, less 2 mm on each side.
    pages = map_pages(box(E, N, E + width, N + height))
    assert {paper.scale for paper in pages.papers} == {scale}
    assert len(pages.papers) == count


@pytest.mark.parametrize("size", [(18, 92), (92, 18), (18, 60), (46, 120), (30, 40)])
def test_the_pages_show_all_of_the_ground_and_overlap(size: tuple[float, float]) -> None:
    shown = box(E, N, E + size[0], N + size[1])
    papers = map_pages(shown).papers
    frames = [box(*paper.ground(0.0)) for paper in papers]
    assert shapely.union_all(frames).contains(shown)
    for one, other in pairwise(frames):
        both = one.intersection(other)
        west, south, east, north = both.bounds
        # 15 mm on paper, what neighbouring pages share at least.
        assert papers[0].mm(min(east - west, north - south)) >= 15 - 1e-6


def test_ground_of_any_size_has_a_page() -> None:
    for side in (0.01, 1.0, 3000.0):
        assert map_pages(box(E, N, E + side, N + side)).papers


def test_a_bent_garden_gets_no_page_without_ground() -> None:
    bend = Polygon([(0, 0), (80, 0), (80, 4), (4, 4), (4, 2), (0, 2)])
    pages = map_pages(shapely.affinity.translate(bend, E, N))
    assert all(box(*paper.ground(0.0)).intersects(shapely.affinity.translate(bend, E, N))
               for paper in pages.papers)  # fmt: skip


def test_lengths_on_the_map_are_true(garden_plan: Plan) -> None:
    page = read_page(site_sheet(garden_plan))
    drawing = page.all("svg")[0]
    _, _, width, height = map(float, drawing.attributes["viewbox"].split())
    # One unit of the drawing is one millimetre of paper.
    assert drawing.attributes["width"] == f"{width:g}mm"
    assert drawing.attributes["height"] == f"{height:g}mm"
    (bar,) = [each for each in drawing.all("path") if each.attributes.get("id") == "m1-bar"]
    long = float(re.search(r"h([\d.]+)", bar.attributes["d"])[1])
    assert long == pytest.approx(10_000 / 200)
    # The station's wall of 9 m in the same drawing: the first building of conftest is 9 m wide.
    boxes = [re.findall(r"-?[\d.]+", each.attributes["d"]) for each in drawing.all("path")]
    widths = {max(map(float, n[::2])) - min(map(float, n[::2])) for n in boxes if len(n) == 8}
    assert min(abs(each - 9_000 / 200) for each in widths) < 0.02


def test_map_and_strip_stay_on_the_paper() -> None:
    for form, page in zip(FORMS, ((210, 297), (297, 210)), strict=True):
        assert form.map_width_mm <= page[0] - 16
        assert form.map_height_mm <= page[1] - 16


def slope(gradient: float, source: str = "raster") -> Terrain:
    grid = Grid(0.0, 20.0, 0.5, 40, 60)
    x, y = np.meshgrid(*grid.centres())
    flat = np.zeros(x.shape)
    return Terrain(grid, 100 + gradient * x + 0 * y, flat, flat, flat == 0, (), source, 0.5)


def test_contours_of_a_plane_lie_where_its_formula_says() -> None:
    # z = 100 + 0.1 x over 30 m: 3 m of relief, so every 0.5 m, at x = 5, 10, ... m.
    drawn = contours(slope(0.1), box(0.5, 0.5, 29.5, 19.5))
    assert drawn.interval_m == 0.5
    assert [each.height_m for each in drawn.lines] == pytest.approx([100.5, 101, 101.5, 102, 102.5])
    # Every fifth from 0 m: 100, 102.5 ...
    assert [each.index for each in drawn.lines] == [False, False, False, False, True]
    for each in drawn.lines:
        x = shapely.get_coordinates(each.line)[:, 0]
        # Lines run 1e-7 m beside their height, that is 1e-6 m beside their place here.
        assert x == pytest.approx(np.full(len(x), (each.height_m - 100) / 0.1), abs=1e-5)
        assert each.line.length == pytest.approx(19.0)


def test_level_ground_has_no_contours() -> None:
    assert contours(slope(0.0), box(1, 1, 29, 19)).lines == ()
    assert contours(slope(0.1, "level"), box(1, 1, 29, 19)).lines == ()


def test_unknown_heights_get_no_contours() -> None:
    plane = slope(0.1)
    known = plane.known.copy()
    known[:, 30:] = False
    drawn = contours(replace(plane, known=known), box(0.5, 0.5, 29.5, 19.5))
    assert max(shapely.bounds(each.line)[2] for each in drawn.lines) < 15.0


def test_text_is_escaped_wherever_it_is_put() -> None:
    assert html("a<b & c") == "a&lt;b &amp; c"
    assert html(element("b", "<")) == "<b>&lt;</b>"
    assert element("p", "one: ", said("x")) == "<p>one: <bdi>x</bdi></p>"
    assert 'x="&quot;&gt;"' in element("p", x='">')
    assert "&lt;td&gt;" in table("c", ("h",), [("<td>",)])
    assert figure(math.nan) == "-"
    assert figure(1.005, 1) == "1.0"


def test_the_running_foot_cannot_leave_its_string() -> None:
    text = style('</style>"; } * { display: none } \\')
    assert "</style>" not in text
    (quoted,) = set(re.findall(r'@bottom-left \{ content: ("[^"]*");', text))
    assert set(quoted) <= set('"\\ ') | set("0123456789abcdefghijklmnopqrstuvwxyzABCDEF")


def luminance(colour: str) -> float:
    """Return relative luminance as WCAG 2.2 defines it (from memory)."""
    digits = colour.lstrip("#")
    digits = "".join(2 * c for c in digits) if len(digits) == 3 else digits
    parts = [int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def test_text_stands_out_from_its_ground() -> None:
    darkest_ground = min(map(luminance, re.findall(r"background: (#[0-9a-f]+)", style(""))))
    inks = set(re.findall(r"[ {]color: (#[0-9a-f]+)", style("")))
    assert inks
    for ink in inks:
        # WCAG 2.2, 1.4.3: at least 4.5 to 1 (from memory).
        assert (darkest_ground + 0.05) / (luminance(ink) + 0.05) >= 4.5


def test_no_text_on_a_drawing_is_under_7_points(full_plan: Plan) -> None:
    page = read_page(site_sheet(full_plan))
    sizes = [float(each.attributes["font-size"]) for each in page.all("text")]
    # 7 points are 2.47 mm.
    assert min(sizes) >= 7 * 25.4 / 72


def test_scale_bar_and_north_arrow_keep_to_the_emptiest_corners(garden_plan: Plan) -> None:
    paper = map_pages(garden_plan.site.parcel).papers[0]
    layout = garden_plan.layouts[0]

    def corners(wire: LineString) -> tuple[bool, bool, bool]:
        laid = replace(layout, perimeter=replace(layout.perimeter, line=wire), return_lines=())
        found = free_corners(paper, replace(garden_plan, layouts=(laid,)), Labels(paper), BAR_MM)
        left = found.bar[0] < paper.map_width_mm / 2
        return left, found.bar[1] < paper.map_height_mm / 2, found.north_at_left

    west, south, east, north = paper.ground(-3.0)
    assert corners(LineString([(E, N), (E + 1, N)])) == (True, False, False)
    # A wire along the foot of the map, then one along its right side too.
    assert corners(LineString([(west, south), (east, south)]))[1]
    assert corners(LineString([(west, south), (east, south), (east, north)])) == (True, True, True)
