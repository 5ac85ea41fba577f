"""A plan drawn by hand, spoilt in one way at a time: each caught by its own rule.

The garden is invented: 20 x 12 m of lawn, a house along its south side, a bed of 3 x 2 m inside.
Setbacks are the rule book's; what has to be measured follows from the coordinates by arithmetic.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from types import MappingProxyType

import pytest
import shapely
from shapely import LineString, MultiPolygon, Point, Polygon, affinity, box
from shapely.geometry.base import BaseGeometry

from lawnplat.deliver.recorded import recorded_plan
from lawnplat.plan import plan_site
from lawnplat.proving.catalogue import RULES
from lawnplat.proving.check import check_plan
from lawnplat.proving.evidence import Evidence
from lawnplat.proving.recorded import RecordedPlan, Row
from lawnplat.settings.load import load_machine, load_rule_book
from lawnplat.survey.types import Feature, Site

BOOK = load_rule_book()
NAMES = {rule.name for rule in RULES}
MEDIUM = load_machine("medium")
E, N = 500_000.0, 5_400_000.0
BED = box(9, 6, 12, 8)


def at(shape: BaseGeometry) -> BaseGeometry:
    return affinity.translate(shape, E, N)


SITE = Site(
    "garden",
    "",
    "EPSG:25832",
    at(box(0, 0, 20, 12)),
    features=(
        Feature("building", at(box(4, -6, 16, 0)), "house"),
        Feature("flower_bed", at(BED), "bed"),
        Feature("power_outlet", at(Point(9, 0)), "outlet"),
    ),
)
PLAN = recorded_plan(plan_site(SITE, machine=MEDIUM, rules=BOOK))


def changed(row: Row, geometry: BaseGeometry | None = None, **values: object) -> Row:
    shape = row.geometry if geometry is None else geometry
    return Row(shape, MappingProxyType({**row.values, **values}))


def found(plan: RecordedPlan, **evidence: object) -> dict[str, list]:
    told: dict[str, list] = {}
    held = Evidence(plan, **{"rules": BOOK, "machine": MEDIUM, "site": SITE, **evidence})
    for finding in check_plan(held):
        if finding.rule in NAMES:
            told.setdefault(finding.rule, []).append(finding)
    return told


def wire_of(plan: RecordedPlan) -> LineString:
    (row,) = plan.rows("perimeter_wire")
    assert isinstance(row.geometry, LineString)
    return row.geometry


def with_wire(wire: LineString) -> RecordedPlan:
    (row,) = PLAN.rows("perimeter_wire")
    return PLAN.with_rows("perimeter_wire", [changed(row, wire, length_m=wire.length)])


def pulled(towards: Point, by_m: float) -> RecordedPlan:
    """Return the plan with the wire's vertex nearest to a place put ``by_m`` nearer to it."""
    points = shapely.get_coordinates(wire_of(PLAN))
    place = shapely.get_coordinates(towards)[0]
    run = place - points
    nearest = int((run**2).sum(axis=1).argmin())
    step = run[nearest] / (run[nearest] ** 2).sum() ** 0.5
    points[nearest] += by_m * step
    return with_wire(LineString(points))


def on_rows(layer: str, change: Callable[[Row], Row | None]) -> RecordedPlan:
    rows = [changed_row for row in PLAN.rows(layer) if (changed_row := change(row)) is not None]
    return PLAN.with_rows(layer, rows)


def test_a_sound_plan_is_accused_of_nothing() -> None:
    told = check_plan(Evidence(PLAN, BOOK, MEDIUM, site=SITE))
    assert {each.severity for each in told} <= {"note"}
    assert set(found(PLAN)) == {"not_measured"}


def test_without_a_survey_the_plans_own_things_are_taken() -> None:
    assert set(found(PLAN, site=None)) == {"not_measured"}
    near = at(Point(9, 6))  # the bed's south-west corner
    assert "setback" in found(pulled(near, 0.10), site=None)


def test_a_vertex_10_cm_nearer_to_the_bed_is_measured() -> None:
    (finding,) = found(pulled(at(Point(9, 6)), 0.10))["setback"]
    wanted_m = BOOK.kinds["flower_bed"].setback_m
    assert finding.severity == "stop"
    assert finding.limit == wanted_m
    # The vertices of the arc round the corner lie on it, but for 2 mm of chords and tolerance.
    assert finding.measured == pytest.approx(wanted_m - 0.10, abs=2e-3)
    assert finding.place.distance(at(BED)) == pytest.approx(finding.measured, abs=1e-3)


def test_open_edge() -> None:
    corner = at(Point(20, 12))
    (finding,) = found(pulled(corner, 0.20))["open_edge"]
    assert finding.severity == "warn"
    # An arc of the machine's or the rule book's radius, its middle moved 0.2 m diagonally.
    radius_m = max(BOOK.wire.corner_radius_m, MEDIUM.smallest_passage_m / 2)
    middle_m = BOOK.ground.open_edge_m + radius_m * (1 - 0.5**0.5)
    assert finding.measured == pytest.approx(middle_m - 0.2 * 0.5**0.5, abs=0.01)


def test_wire_beyond_the_property() -> None:
    (finding,) = found(pulled(at(Point(23, 15)), 3.0))["outside"]
    assert finding.severity == "stop"
    assert not at(box(0, 0, 20, 12)).covers(finding.place)


def test_a_wire_that_crosses_itself() -> None:
    points = shapely.get_coordinates(wire_of(PLAN))
    points[[20, 40]] = points[[40, 20]]
    (finding,) = found(with_wire(LineString(points)))["conductor"]
    assert (finding.severity, finding.measured) == ("stop", 0.0)


def test_ends_far_from_the_station_and_a_wire_laid_the_wrong_way_round() -> None:
    points = shapely.get_coordinates(wire_of(PLAN))
    (short,) = found(with_wire(LineString(points[:-4])))["conductor"]
    assert short.measured > short.limit == 0.6
    (reverse,) = found(with_wire(LineString(points[::-1])))["conductor"]
    assert "wrong way round" in reverse.text


def test_an_island_left_unwired_and_a_bed_in_the_mown_ground() -> None:
    # The rim alone: the conductor without its excursion round the bed.
    outer = max(PLAN.shapes("mowable"), key=lambda part: part.area).exterior
    cut = shapely.difference(outer, PLAN.shapes("station")[0].buffer(0.1))
    rim = shapely.line_merge(cut)
    rim = max(shapely.get_parts(rim), key=lambda part: part.length)
    rim = rim if not shapely.LinearRing(rim.coords).is_ccw else rim.reverse()
    told = found(with_wire(rim))
    (finding,) = told["island"]
    assert finding.severity == "stop"
    assert finding.measured == pytest.approx(BED.area, abs=1e-6)
    whole = on_rows("mowable", lambda row: changed(row, Polygon(row.geometry.exterior)))
    (mown,) = found(whole)["mown_setback"]
    assert (mown.measured, mown.severity) == (0.0, "stop")


def test_mown_ground_outside_the_wire_and_ground_inside_that_is_not_mown() -> None:
    part = PLAN.shapes("mowable")[0]
    wider = on_rows("mowable", lambda row: changed(row, at(box(0, 0, 20, 12)).difference(at(BED))))
    assert found(wider)["mown_outside"][0].measured == pytest.approx(
        at(box(0, 0, 20, 12)).difference(at(BED)).area - part.area, rel=0.01
    )
    hole = part.difference(at(box(2, 2, 3, 4)))
    told = found(on_rows("mowable", lambda row: changed(row, hole)))
    assert told["unmown_inside"][0].measured == pytest.approx(2.0, abs=0.1)


def test_sections() -> None:
    told = found(on_rows("wire_sections", lambda row: None if row.number("from_m") == 0 else row))
    assert "sections" in told
    nearer = on_rows(
        "wire_sections", lambda row: changed(row, setback_m=row.number("setback_m") + 0.05)
    )
    assert found(nearer)["sections"][0].measured == pytest.approx(
        found(nearer)["sections"][0].limit + 0.05, abs=1e-3
    )


def test_areas_off_by_two_percent() -> None:
    told = found(on_rows("mowable", lambda row: changed(row, area_m2=1.02 * row.number("area_m2"))))
    (finding,) = told["area_column"]
    assert finding.measured == pytest.approx(1.02 * finding.limit, rel=1e-6)
    less = on_rows("keep_out", lambda row: None if row.text("kind") == "flower_bed" else row)
    # The bed itself is no lawn: what is given up is the strip round it (Steiner: P r + pi r^2),
    # less what is cut for the lead, which is narrower than can be seen here.
    strip_m2 = 10 * 0.3 + 3.14159265 * 0.3**2
    assert found(less)["area_sum"][0].measured == pytest.approx(strip_m2, abs=0.1)


def test_hand_trim_and_lawn() -> None:
    trim = on_rows("hand_trim", lambda row: changed(row, MultiPolygon([at(BED)])))
    assert found(trim)["hand_trim"][-1].measured == pytest.approx(BED.area, abs=1e-6)
    lawn = on_rows("lawn", lambda row: changed(row, MultiPolygon([at(box(0, 0, 20, 12))])))
    assert found(lawn)["lawn_is_grass"][0].measured > 5.0


def test_neighbours_wire() -> None:
    theirs = Feature("neighbour_wire", at(LineString([(20.3, 2), (20.3, 10)])), "theirs")
    site = Site("garden", "", SITE.crs, SITE.parcel, features=(*SITE.features, theirs))
    (finding,) = found(PLAN, site=site)["neighbour_wire"]
    assert finding.measured == pytest.approx(0.3 + BOOK.ground.open_edge_m, abs=2e-3)


def test_record() -> None:
    layers = {name: rows for name, rows in PLAN.layers.items() if name != "wire_sections"}
    told = found(RecordedPlan(PLAN.property_id, PLAN.crs, MappingProxyType(layers)))
    assert [each.severity for each in told["layers"]] == ["stop"]
    broken = Polygon([(E, N), (E + 2, N + 2), (E + 2, N), (E, N + 2)])
    assert "validity" in found(on_rows("mowable", lambda row: changed(row, broken)))
    assert "settings" in found(PLAN, machine=load_machine("large"))
    moved = Site("garden", "", SITE.crs, at(box(0, 0, 21, 12)), features=SITE.features)
    assert "survey" in found(PLAN, site=moved)
    empty = PLAN.with_rows("perimeter_wire", [])
    assert found(empty)["not_laid"][0].severity == "stop"


def test_what_the_plan_says_itself_is_a_note() -> None:
    told = found(PLAN, machine=_with_longest_wire(10.0))
    assert told["wire_length"][0].severity == "warn"
    said = Row(
        PLAN.shapes("station")[0], MappingProxyType({"rule": "longest_wire", "severity": "warn"})
    )
    plan = PLAN.with_rows("advisories", [*PLAN.rows("advisories"), said])
    assert found(plan, machine=_with_longest_wire(10.0))["wire_length"][0].severity == "note"


def _with_longest_wire(length_m: float) -> object:
    return replace(MEDIUM, longest_wire_m=length_m, capacity_m2=length_m)


def test_capacity() -> None:
    assert found(PLAN, machine=_with_longest_wire(10.0))["capacity"][0].limit == 10.0


def test_two_loops_too_near() -> None:
    rows = [changed(row, affinity.translate(row.geometry, 5, 0), loop=2)
            for row in PLAN.rows("perimeter_wire")]
    both = PLAN.with_rows("perimeter_wire", [*PLAN.rows("perimeter_wire"), *rows])
    assert {each.severity for each in found(both)["loops_apart"]} == {"stop"}


def test_every_finding_has_words_place_and_a_rule_of_the_catalogue() -> None:
    for plan in (pulled(at(Point(9, 6)), 0.1), pulled(at(Point(23, 15)), 3.0)):
        for findings in found(plan).values():
            for each in findings:
                assert each.rule in NAMES
                assert len(each.text) > 20
                assert each.place is not None


@pytest.mark.parametrize(("off_m", "accused"), [(-0.01, False), (0.4, False), (0.6, True)])
def test_a_spool_may_end_within_the_spare_of_the_last_end(off_m: float, accused: bool) -> None:
    # Half a metre of spare is left at each end. Nobody splices on what is less than a spare: where
    # the spool reaches past the terminal at all, it is taken from the spare there.
    spare_m, wire_m = BOOK.wire.spare_end_m, PLAN.rows("perimeter_wire")[0].geometry.length
    wire = replace(BOOK.wire, spool_m=wire_m + spare_m - off_m)
    told = found(PLAN, rules=replace(BOOK, wire=wire)).get("joint", [])
    on_perimeter = [each for each in told if "perimeter" in each.text and "spool" in each.text]
    assert bool(on_perimeter) == accused
