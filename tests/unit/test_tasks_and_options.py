"""Tasks and options of a garden planned by hand, and of a planned one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shapely import Polygon, box

from lawnplat.ground.types import Passage
from lawnplat.plan import plan_site
from lawnplat.planned import Plan
from lawnplat.settings.climate import load_climate
from lawnplat.settings.load import load_machine, load_price_book, load_rule_book, shipped_classes
from lawnplat.settings.types import Terms
from lawnplat.survey.types import Feature, Site
from lawnplat.works.build import build_works
from lawnplat.works.job import Job
from lawnplat.works.options import alternatives_of
from lawnplat.works.tasks import tasks_of

RULES = load_rule_book()
TERMS = Terms(load_price_book(), load_climate(), classes=shipped_classes())


def job_of(plan: Plan) -> Job:
    return Job(plan.site, plan.terrain, plan.ground, plan.layouts, load_machine("medium"), RULES,
               TERMS)  # fmt: skip


@pytest.fixture
def job(garden_plan: Plan) -> Job:
    """Return the garden drawn in conftest with nothing of note against any class."""
    (layout,) = garden_plan.layouts
    line = replace(layout.return_lines[0], steepest_pct=12.0)
    quiet = job_of(replace(garden_plan, layouts=(replace(layout, return_lines=(line,)),)))
    flat = np.zeros_like(quiet.terrain.dz_dx)
    return replace(quiet, terrain=replace(quiet.terrain, dz_dx=flat, dz_dy=flat))


def tasks(job: Job) -> dict[str, tuple[float, str]]:
    works = build_works(job.layouts, job.machine, job.rules)
    found = tasks_of(job, works.pegs, works.materials)
    return {each.task: (each.quantity, each.unit) for each in found}


def test_tasks_by_hand(job: Job) -> None:
    (layout,) = job.layouts
    wire_m = layout.perimeter.line.length + layout.return_lines[0].line.length
    found = tasks(job)
    assert found["survey"] == found["hand_over"] == (1, "visit")
    assert found["lay_wire"] == (round(wire_m, 1), "m")
    # The drawing has one section on the way out along a lead and none back.
    assert found["lay_island"] == (1, "piece")
    assert found["set_out"] == (round(wire_m, 1), "m")
    # Two terminals and a three-way joint.
    assert found["make_joint"] == (3, "piece")
    assert found["lay_cable"] == (10, "m")
    assert found["test_line"] == (1, "piece")
    assert found["check_outlet"] == (1, "piece")
    assert "fit_outlet" not in found
    assert set(found) - {"cut_paving"} <= {
        key.rpartition("_")[0] for key in TERMS.prices.tasks_per_hour
    } | {"lay_wire"}


def test_a_pair_is_set_out_once_and_laid_twice(job: Job) -> None:
    (layout,) = job.layouts
    before = tasks(job)
    back = replace(layout.perimeter.sections[1], section="lead_back", from_m=40.0, to_m=43.3)
    sections = (*layout.perimeter.sections, back)
    paired = replace(layout, perimeter=replace(layout.perimeter, sections=sections))
    found = tasks(replace(job, layouts=(paired,)))
    assert found["set_out"][0] == pytest.approx(before["set_out"][0] - 3.3, abs=0.051)
    assert found["lay_wire"] == before["lay_wire"]
    assert found["lay_island"] == (1, "piece")


def test_without_an_outlet_an_electrician_fits_one(job: Job) -> None:
    (layout,) = job.layouts
    unknown = replace(layout, station=replace(layout.station, outlet_distance_m=float("nan")))
    found = tasks(replace(job, layouts=(unknown,)))
    assert found["fit_outlet"] == (1, "piece")
    assert "check_outlet" not in found


def test_paving_over_a_wire_is_cut_once(job: Job) -> None:
    # A path of a metre across the return line's straight run out, and nothing else.
    start = job.layouts[0].return_lines[0].line.interpolate(0.5)
    strip = box(start.x, start.y - 0.05, start.x + 1.0, start.y + 0.05)
    path = Feature("path", strip, "invented")
    things = tuple(each for each in job.site.features if each.kind != "path")
    bare = tasks(replace(job, site=replace(job.site, features=things)))
    with_path = tasks(replace(job, site=replace(job.site, features=(*things, path))))
    before = bare.get("cut_paving", (0.0, "m"))[0]
    assert with_path["cut_paving"][0] == pytest.approx(before + 1.0)


def test_every_task_has_a_productivity_and_a_rate() -> None:
    names = {key.rpartition("_")[0] for key in TERMS.prices.tasks_per_hour}
    assert names == set(TERMS.prices.paid_as)


# Options


def by_option(job: Job):
    return {each.option: each for each in alternatives_of(job)}


def test_the_next_classes_by_capacity(job: Job) -> None:
    found = by_option(job)
    assert list(found) == [
        "as planned", "as planned, hand trimming", "next class up", "next class down",
    ]  # fmt: skip
    assert found["next class up"].machine_class == "steep"
    assert found["next class down"].machine_class == "small"
    assert found["as planned, hand trimming"].hand_trimming
    # 342 m2 mown, 118 m of wire, one line of 12 %: nothing speaks against any of them.
    assert all(each.fits for each in found.values())
    assert "wire as planned for class medium" in found["next class down"].reasons
    # 2.4 m of cable: what comes with the class reaches.
    assert found["next class up"].cable_m == found["next class up"].cable_supplied_m == 20.0


def with_class(job: Job, **changes: float) -> Job:
    """Return the job with a class ``down`` that differs from the planned one only in these."""
    other = replace(job.machine, name="down", capacity_m2=job.machine.capacity_m2 - 1)
    return replace(job, terms=replace(TERMS, classes=(replace(other, **changes),)))


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"capacity_m2": 100.0}, "mows 100 m2 a day"),
        ({"longest_wire_m": 50.0}, "takes 50 m of wire"),
        ({"return_lines": 0}, "takes 0 return line(s), 1 are planned"),
        ({"slope_return_pct": 10.0}, "comes home on 10 %, a return line has 12 %"),
        ({"slope_edge_pct": 0.5}, "holds 0 % across an edge, the wire has 1 %"),
        ({"largest_drop_v": 0.01}, "loses too much voltage"),
    ],
)  # fmt: skip
def test_what_speaks_against_a_class(job: Job, changes, said) -> None:
    same = by_option(with_class(job))["next class down"]
    assert same.fits
    found = by_option(with_class(job, **changes))["next class down"]
    assert not found.fits
    assert said in found.reasons


def test_a_line_may_pass_the_limit_by_the_rule_books_point(job: Job) -> None:
    over_pct = job.rules.return_line.over_limit_pct
    steepest = max(line.steepest_pct for line in job.layouts[0].return_lines)
    within, beyond = (
        by_option(with_class(job, slope_return_pct=steepest - share * over_pct))["next class down"]
        for share in (0.9, 1.1)
    )
    assert within.fits
    assert not beyond.fits


def test_a_passage_too_narrow(job: Job) -> None:
    narrow = Passage(Polygon(), job.layouts[0].perimeter.line, 0.75, 1.0, "open")
    job = replace(job, ground=replace(job.ground, passages=(narrow,)))
    found = by_option(with_class(job, smallest_passage_m=0.76))["next class down"]
    assert found.reasons == "a passage is 0.75 m wide, it needs 0.76 m"
    assert by_option(with_class(job, smallest_passage_m=0.74))["next class down"].fits


def test_steep_ground(job: Job) -> None:
    terrain = job.terrain
    tilted = replace(terrain, dz_dx=np.full_like(terrain.dz_dx, 0.3))
    found = by_option(with_class(replace(job, terrain=tilted), slope_lawn_pct=25.0))
    down = found["next class down"]
    assert not down.fits
    assert "climbs 25 %" in down.reasons
    within = by_option(with_class(replace(job, terrain=tilted), slope_lawn_pct=31.0))
    assert within["next class down"].fits


def test_a_planned_rectangle_is_quoted_whole() -> None:
    site = Site("1", "invented", "EPSG:25832", box(0, 0, 20, 10))
    plan = plan_site(site, machine=load_machine("medium"), rules=RULES)
    works = plan.works
    assert works.quote.total is not None
    assert works.quote.missing == ()
    assert works.quote.options[0].total == works.quote.total
    # No outlet: an electrician's line.
    assert "licensed electrician" in {line.item for line in works.quote.lines}
    (lay,) = [task for task in works.tasks if task.task == "lay_wire"]
    laid = sum(line.line.length for line in plan.layout.return_lines)
    assert lay.quantity == pytest.approx(plan.layout.perimeter.line.length + laid, abs=0.05)
