"""The commissioning list: what it names, counts and measures on a garden drawn by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from shapely import LineString, MultiPolygon, box

from lawnplat.ground.types import Part
from lawnplat.settings.climate import load_climate
from lawnplat.settings.load import load_price_book, load_rule_book
from lawnplat.settings.types import Terms
from lawnplat.survey.types import Feature
from lawnplat.wire.types import Joint, ReturnLine, WireSection
from lawnplat.works.build import work_order
from lawnplat.works.commissioning import WHOLE_SITE, commissioning_of
from lawnplat.works.job import Job
from lawnplat.works.programme import programme_of
from lawnplat.works.round_wire import dangerous_stretches, islands_of, leads_out

RULES = load_rule_book()
TERMS = Terms(load_price_book(), load_climate())
GAP_M = RULES.wire.pair_gap_m


def section(name, against, from_m, to_m, *, line, setback_m=0.35):
    return WireSection(LineString(line), name, against, setback_m, from_m, to_m, 0.0)


def two_islands():
    """Return sections of a wire that goes round a pond and, from there, round a bed and back.

    Edge 0-10, lead 10-13, pond 13-17, lead 17-19, bed 19-27, lead back, pond on to 33, lead back.
    """
    return (
        section("edge", "wall", 0, 10, line=[(0, 0), (10, 0)]),
        section("lead_out", "", 10, 12, line=[(10, 0), (10, 2)]),
        section("lead_out", "water", 12, 13, line=[(10, 2), (10, 3)], setback_m=0.0),
        section("island", "water", 13, 17, line=[(10, 3), (10, 7)], setback_m=1.0),
        section("lead_out", "", 17, 19, line=[(10, 7), (10, 9)]),
        section("island", "flower_bed", 19, 23, line=[(10, 9), (8, 9), (8, 11)]),
        section("island", "rock", 23, 27, line=[(8, 11), (10.01, 11), (10.01, 9)]),
        section("lead_back", "", 27, 29, line=[(10.01, 9), (10.01, 7)]),
        section("island", "water", 29, 33, line=[(10.01, 7), (12, 5), (10.01, 3)], setback_m=1.1),
        section("lead_back", "", 33, 36, line=[(10.01, 3), (10.01, 0)]),
        section("edge", "drop", 36, 40, line=[(10.01, 0), (14, 0)], setback_m=1.05),
    )


@pytest.fixture
def job(garden_plan):
    return Job(
        garden_plan.site, garden_plan.terrain, garden_plan.ground, garden_plan.layouts,
        garden_plan.machine, RULES, TERMS,
    )  # fmt: skip


def with_sections(job, sections):
    (layout,) = job.layouts
    return replace(
        job, layouts=(replace(layout, perimeter=replace(layout.perimeter, sections=sections)),)
    )


def checks_of(job):
    return commissioning_of(job, programme_of(job))


def one(job, word):
    (found,) = [check for check in checks_of(job) if word in check.what]
    return found


def test_islands_are_told_apart_and_a_broken_one_is_one(job):
    (layout,) = with_sections(job, two_islands()).layouts
    pond, bed = islands_of(layout, GAP_M)
    assert (pond.from_m, pond.length_m, pond.kinds) == (13, 8, ("water",))
    assert (bed.from_m, bed.length_m, bed.kinds) == (19, 8, ("flower_bed", "rock"))
    assert leads_out(layout) == 2


def test_dangerous_edges_by_kind_without_their_leads(job):
    (layout,) = with_sections(job, two_islands()).layouts
    water, drop = dangerous_stretches(layout)
    assert (water.kind, water.length_m, water.nearest_m) == ("water", 8, 1.0)
    assert water.spans_m == ((13, 17), (29, 33))
    assert (drop.kind, drop.length_m, drop.nearest_m) == ("drop", 4, 1.05)
    assert drop.spans_m == ((36, 40),)


def test_the_list_is_numbered_through_and_says_what_to_write_down(job):
    checks = checks_of(with_sections(job, two_islands()))
    assert [check.number for check in checks] == list(range(1, len(checks) + 1))
    for check in checks:
        assert check.what
        assert check.how.endswith(".")
        assert check.record
        assert "nan" not in check.how.lower().split()
        assert check.loop in {WHOLE_SITE, 1}


def test_buried_services_come_first_and_the_electrician_next(job):
    first, second, *_ = checks_of(job)
    assert "Buried services" in first.what
    assert "1 on the survey" in first.how
    # Common Ground Alliance Best Practices 5.19: 18 inches each side.
    assert "0.46 m" in first.how
    assert "electrician" in second.what
    # IEC 60364-4-41, 411.3.3, seen through a national edition.
    assert "at most 30 mA" in second.how
    assert "local code prevails" in second.how


def test_a_survey_without_services_proves_nothing(job):
    bare = replace(job, site=replace(job.site, features=()))
    assert "proves nothing" in checks_of(bare)[0].how


def test_resistance_by_hand(job):
    # IEC 60228, class 1 and 2: 0.75 mm2 of plain copper has at most 24.5 ohm a kilometre at 20 C.
    (layout,) = job.layouts
    wire = LineString([(0, 0), (38, 0)])
    long = replace(layout, perimeter=replace(layout.perimeter, line=wire))
    # 38 m and half a metre spare at both ends are 39 m: 0.96 ohm; without the ends 0.93.
    assert "(at most 1.0 expected)" in one(replace(job, layouts=(long,)), "end to end").record


def test_every_return_line_is_tested_from_its_own_mark(job):
    (layout,) = job.layouts
    second = replace(layout.parking_tests[0], line_number=2, distance_m=3.4)
    lines = (*layout.return_lines, ReturnLine(2, layout.return_lines[0].line, 5.0, 2.0, 0.3))
    more = replace(layout, parking_tests=(*layout.parking_tests, second), return_lines=lines)
    found = replace(job, layouts=(more,))
    tests = [check for check in checks_of(found) if "Parking test" in check.what]
    assert ["3.0 m out" in tests[0].how, "3.4 m out" in tests[1].how] == [True, True]
    assert "return lines 1 and 2 at their own" in one(found, "right way").how


def test_joints_and_photographs_are_counted(job):
    (layout,) = job.layouts
    splice = Joint("splice", "perimeter", 50.0, layout.perimeter.line.interpolate(50))
    spliced = replace(job, layouts=(replace(layout, joints=(*layout.joints, splice)),))
    assert "2 terminals, 1 three-way joint, 1 splice planned" in one(spliced, "Joints").how
    pictures = one(with_sections(spliced, two_islands()), "Photographs").how
    assert "1 station from" in pictures
    assert "2 joints, 2 lead-offs" in pictures


def test_what_the_site_does_not_have_is_not_asked_for(job):
    words = " ".join(check.what for check in checks_of(with_sections(job, ())))
    for absent in ("Island", "Edge by", "Crossings", "carried"):
        assert absent not in words
    assert "Passage 1" in words


def test_carried_parts_are_listed_with_their_area(job):
    apart = Part(2, "carried", box(0, 0, 8, 5))
    found = replace(job, ground=replace(job.ground, parts=(*job.ground.parts, apart)))
    assert one(found, "Part 2").how.startswith("40 m2")


def test_closed_passages_are_not_driven(job):
    closed = replace(job.ground.passages[0], verdict="closed")
    found = replace(job, ground=replace(job.ground, passages=(closed,)))
    assert not any("Passage" in check.what for check in checks_of(found))


def test_an_unknown_outlet_has_to_be_settled(job):
    (layout,) = job.layouts
    station = replace(layout.station, outlet_distance_m=math.nan)
    found = replace(job, layouts=(replace(layout, station=station),))
    assert "settle it first" in one(found, "Outlet").how
    assert "No route is planned" in one(found, "Low-voltage").how


def test_each_loop_has_its_own_checks(job):
    (layout,) = job.layouts
    found = checks_of(replace(job, layouts=(layout, replace(layout, loop=2))))
    for word in ("Station", "end to end", "Parking test", "right way"):
        assert [check.loop for check in found if word in check.what] == [1, 2]
    assert sum("Buried" in check.what for check in found) == 1


def test_the_client_is_told_of_the_sites_own_dangers(job):
    told = one(job, "dangers").how
    for part in ("Blades", "Children and animals", "Daylight only", "licensed electrician"):
        assert part in told
    # The garden has a pond and a bank; a level one without water has neither.
    assert "Water and falls" in told
    assert "Slopes" in told
    level = replace(
        job,
        site=replace(job.site, features=(Feature("wall", box(0, 0, 1, 1), "row 1"),)),
        ground=replace(job.ground, zones=job.ground.zones[:1], lawn=MultiPolygon()),
    )
    assert "Water" not in one(level, "dangers").how
    assert "Slopes" not in one(level, "dangers").how


def test_the_work_order_holds_both(job):
    works = work_order(job)
    assert works.programme == programme_of(job)
    assert works.commissioning == checks_of(job)
