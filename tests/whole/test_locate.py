"""A break found years later: places by chainage, and a stretch that is halved."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pyproj
import pytest
from click.testing import CliRunner, Result
from shapely import LineString, Point

from laid_tracks import bulge, drawn
from lawnplat.cli import main
from lawnplat.deliver.laid_record import write_laid
from lawnplat.deliver.recorded import read_recorded
from lawnplat.proving.as_laid.build import as_laid
from lawnplat.proving.evidence import Evidence
from lawnplat.proving.wires import planned_wires
from lawnplat.settings.load import load_machine, load_rule_book
from lawnplat.survey.track import Track

RULES = load_rule_book()


@pytest.fixture(scope="module", params=["garden-01", "garden-02"])
def laid(request, street, tmp_path_factory):
    """Return a record's path, and what it was written from."""
    plan = read_recorded(street.plan_path(request.param))
    lines = tuple(
        drawn(wire, 0.01, 0.3, left_m=bulge(20.0, 0.3) if wire.is_perimeter else None).line
        for wire in planned_wires(plan)
    )
    found = as_laid(Evidence(plan, RULES, load_machine()), Track(plan.crs, lines))
    record = tmp_path_factory.mktemp("laid") / "as_laid.gpkg"
    return write_laid(found, plan, {}, record), found, plan


def run(record: Path, *words: object) -> Result:
    return CliRunner().invoke(main, ["locate", str(record), *map(str, words)])


def told(record: Path, *words: object) -> dict:
    result = run(record, *words, "--json")
    assert result.exit_code == 0, result.output
    return json.loads(result.output)


@pytest.mark.parametrize("share", np.linspace(0.0, 1.0, 9).tolist())
def test_a_chainage_is_that_length_of_wire_from_the_terminal(laid, share) -> None:
    record, found, plan = laid
    line = found.wires[0].laid.line
    at = math.floor(share * line.length * 1000) / 1000
    place = told(record, "--chainage", at)["place"]
    # GEOS measures along the line by itself; told to the millimetre.
    assert Point(place["x_m"], place["y_m"]).distance(line.interpolate(at)) < 0.001
    back = pyproj.Transformer.from_crs("OGC:CRS84", plan.crs, always_xy=True)
    east, north = back.transform(place["lon"], place["lat"])
    assert (east, north) == pytest.approx((place["x_m"], place["y_m"]), abs=0.002)
    before, after = place["peg_before"], place["peg_after"]
    if before and after:
        assert before["chainage_m"] <= at + 0.001
        assert after["chainage_m"] >= at - 0.001
        # The way back along a lead is held by the pegs of the way out.
        if not held_by_its_pair(plan, at):
            assert after["chainage_m"] - before["chainage_m"] <= RULES.pegs.spacing_m + 0.1


def held_by_its_pair(plan, at: float) -> bool:
    return any(
        row.number("from_m") - 0.5 <= at <= row.number("to_m") + 0.5
        for row in plan.rows("wire_sections")
        if row.text("section") == "lead_back"
    )


def test_both_tapes_lead_to_the_place(laid) -> None:
    record, _, plan = laid
    fixed = {row.text("name"): row.geometry for row in plan.rows("fixed_points")}
    reached = 0
    for at in range(5, 110, 7):
        place = told(record, "--chainage", at)["place"]
        tapes, here = place["tapes"], Point(place["x_m"], place["y_m"])
        if tapes is not None:
            reached += 1
            for end in "ab":
                far = fixed[tapes[f"from_{end}"]].distance(here)
                assert far == pytest.approx(tapes[f"dist_{end}_m"], abs=0.00051)
    assert reached >= 10


def test_where_no_two_tapes_reach_the_nearest_peg_that_they_do_is_told(laid, tmp_path) -> None:
    record, found, plan = laid
    short = tmp_path / "short_tape.toml"
    short.write_text("[setting_out]\nlongest_tape_m = 8.0\n", encoding="utf-8")
    fixed = {row.text("name"): row.geometry for row in plan.rows("fixed_points")}
    pegs = {peg.number: peg for peg in found.pegs if peg.on == "perimeter"}
    tried = 0
    for at in np.arange(2.0, found.wires[0].laid.length_m, 9.0).tolist():
        place = told(record, "--chainage", at, "--rules", short)["place"]
        if place["tapes"] is not None:
            assert place["square"] is place["along"] is None
            continue
        tried += 1
        along = place["along"]
        peg = pegs[int(along["peg"])]
        sign = 1 if along["way"] == "on" else -1
        assert peg.chainage_m + sign * along["away_m"] == pytest.approx(at, abs=0.002)
        for end in "ab":
            far = fixed[along["tapes"][f"from_{end}"]].distance(peg.point)
            assert far == pytest.approx(along["tapes"][f"dist_{end}_m"], abs=0.0015)
            assert far <= 8.0
        text = run(record, "--chainage", at, "--rules", short).output
        assert f"along the wire from peg {along['peg']}" in text
        if place["square"] is not None:
            square = place["square"]
            assert f"square to its {square['side']}" in text
            foot = LineString([fixed[square["from_a"]], fixed[square["to_b"]]]).interpolate(
                square["along_m"]
            )
            off = foot.distance(Point(place["x_m"], place["y_m"]))
            assert off == pytest.approx(square["off_m"], abs=0.0015)
    assert tried


def test_the_stretch_is_halved_and_its_halves_are(laid) -> None:
    record, _, _ = laid
    stretch = told(record, "--between", 60, 95)["stretch"]
    assert stretch["length_m"] == pytest.approx(35.0)
    assert [each["step"] for each in stretch["halvings"]] == [1, 2, 2]
    for each, due in zip(stretch["halvings"], (77.5, 68.75, 86.25), strict=True):
        near = 0.001 if not each["open_joint"] else RULES.as_laid.joint_near_m
        assert each["place"]["chainage_m"] == pytest.approx(due, abs=near)
    # 35 m, halved five times, is 1.1 m; four times, 2.2 m.
    assert stretch["tests_needed"] == 5
    xy = np.array(stretch["line"])
    assert np.hypot(*np.diff(xy, axis=0).T).sum() == pytest.approx(35.0, abs=0.1)


def test_a_joint_near_the_middle_is_opened_in_place_of_a_cut(laid) -> None:
    record, found, _ = laid
    joint = next(each for each in found.joints if each.joint == "three_way")
    middle = joint.chainage_m + 0.6
    (first, *_) = told(record, "--between", middle - 9, middle + 9)["stretch"]["halvings"]
    assert first["open_joint"] == "three-way"
    assert first["place"]["chainage_m"] == pytest.approx(joint.chainage_m, abs=0.001)


def test_a_short_stretch_is_laid_bare_without_a_test(laid) -> None:
    record, _, _ = laid
    stretch = told(record, "--between", 60, 61.5)["stretch"]
    assert (stretch["halvings"], stretch["tests_needed"]) == ([], 0)


def test_a_return_line_by_its_name(laid) -> None:
    record, found, _ = laid
    wire = next(each for each in found.wires if each.planned.on == "return_1")
    place = told(record, "--on", "return_1", "--chainage", 5)["place"]
    assert Point(place["x_m"], place["y_m"]).distance(wire.laid.line.interpolate(5)) < 0.001


def test_a_plan_says_that_nothing_was_measured(street) -> None:
    path = street.plan_path("garden-01")
    assert told(path, "--chainage", 5)["basis"] == "as planned"
    assert "As planned, not as laid" in run(path, "--chainage", 5).output


def test_the_text_has_place_tapes_pegs_and_cautions(laid) -> None:
    record, _, _ = laid
    for words in (["--chainage", 40], ["--between", 40, 60]):
        said = run(record, *words).output
        for part in ("m from", "pull the station's plug", "located first", "common practice"):
            assert part in said


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--chainage", "5000"], "is not on perimeter, which runs from 0 to"),
        (["--chainage", "-1"], "is not on perimeter"),
        (["--between", "60", "60"], "is no stretch"),
        (["--on", "return_9", "--chainage", "1"], "no wire 'return_9'"),
        (["--loop", "3", "--chainage", "1"], "no wire 'perimeter of loop 3'"),
        ([], "give either"),
        (["--chainage", "1", "--between", "1", "2"], "give either"),
        (["--chainage", "nan"], "is not on perimeter"),
    ],
)
def test_a_call_that_cannot_be_carried_out(laid, words, says) -> None:
    result = run(laid[0], *words)
    assert result.exit_code == 2
    assert says in result.output


def test_a_file_that_is_neither_record_nor_plan(tmp_path) -> None:
    for path in (tmp_path / "missing.gpkg", tmp_path / "text.gpkg"):
        if path.name == "text.gpkg":
            path.write_text("nothing", encoding="utf-8")
        result = run(path, "--chainage", 1)
        assert result.exit_code == 2
        assert "Traceback" not in result.output


@pytest.mark.parametrize("command", ["check", "simulate"])
def test_a_record_is_no_plan_and_the_message_says_which_file_is(laid, command) -> None:
    result = CliRunner().invoke(main, [command, str(laid[0])])
    assert result.exit_code == 2
    assert "as_laid.gpkg: is no plan" in result.output
    assert "plan.gpkg" in result.output.splitlines()[1]
    assert len(result.output.splitlines()) == 2
