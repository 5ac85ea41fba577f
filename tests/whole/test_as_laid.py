"""Wires as laid: tracks with known noise, held against the plans they were drawn from.

Bounds come from the distributions: offsets of normal noise are normal, their squares over the
variance chi-square with as many degrees of freedom as there are points (any text on statistics).
"""

from __future__ import annotations

import csv
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import scipy.stats
import shapely
from click.testing import CliRunner, Result
from shapely import Point

from laid_tracks import bulge, drawn, line_of
from lawnplat.cli import main
from lawnplat.deliver.laid_record import read_laid
from lawnplat.deliver.recorded import read_recorded
from lawnplat.proving.as_laid.build import as_laid
from lawnplat.proving.as_laid.measured import measured_wires
from lawnplat.proving.as_laid.types import AsLaid
from lawnplat.proving.evidence import Evidence
from lawnplat.proving.recorded import RecordedPlan
from lawnplat.proving.wires import planned_wires
from lawnplat.settings.load import load_machine, load_rule_book
from lawnplat.survey.track import Track, TrackLine, TrackMark
from lawnplat.survey.types import Finding

RULES = load_rule_book()
OWN = RULES.as_laid
GARDENS = ("garden-01", "garden-02", "garden-07", "garden-08")
RARE = 1e-4
"""A bound that a sound matching passes but for one seed in ten thousand, on either side."""


@cache
def read(path: Path) -> RecordedPlan:
    return read_recorded(path)


@pytest.fixture(params=GARDENS)
def plan(request, street) -> RecordedPlan:
    return read(street.plan_path(request.param))


@pytest.fixture
def plain(street) -> RecordedPlan:
    return read(street.plan_path("garden-01"))


@pytest.fixture
def islands(street) -> RecordedPlan:
    return read(street.plan_path("garden-02"))


def matched(plan: RecordedPlan, *lines: TrackLine):
    wires = planned_wires(plan)
    return measured_wires(lines, wires, OWN.reach_m, OWN.largest_gap_m)


def held(plan: RecordedPlan, *lines: TrackLine, marks: tuple[TrackMark, ...] = ()) -> AsLaid:
    evidence = Evidence(plan, RULES, load_machine())
    return as_laid(evidence, Track(plan.crs, lines, marks))


def named(laid: AsLaid, rule: str) -> list:
    return [each for each in laid.findings if each.rule == rule]


@pytest.mark.parametrize("sigma_m", [0.01, 0.02, 0.05])
@pytest.mark.parametrize("seed", [1, 2])
def test_offsets_are_as_the_noise_that_was_put_in(plan, sigma_m: float, seed: int) -> None:
    track = drawn(planned_wires(plan)[0], sigma_m, seed=seed)
    (points,) = matched(plan, track.line).wires
    n = len(track.true_m)
    assert len(points.offset_m) == n
    z = points.offset_m / sigma_m
    low, high = scipy.stats.chi2.ppf([RARE, 1 - RARE], n)
    # Beyond the outside of a corner offsets are Rayleigh, inside it less than normal.
    assert 0.97 * low < (z**2).sum() < 1.03 * high
    assert scipy.stats.kstest(z, "norm").pvalue > RARE
    # Half-normal: mean sqrt(2/pi), variance 1 - 2/pi.
    error = np.sqrt((1 - 2 / np.pi) / n)
    assert np.abs(z).mean() == pytest.approx(np.sqrt(2 / np.pi), abs=4 * error)


@pytest.mark.parametrize("sigma_m", [0.01, 0.02, 0.05])
@pytest.mark.parametrize("step_m", [0.5, 1.0, 2.5])
def test_chainages_are_wrong_by_no_more_than_the_noise_along_the_wire(
    plan, sigma_m: float, step_m: float
) -> None:
    track = drawn(planned_wires(plan)[0], sigma_m, step_m)
    (points,) = matched(plan, track.line).wires
    z = (points.chainage_m - track.true_m) / sigma_m
    assert (z**2).sum() < scipy.stats.chi2.ppf(1 - RARE, len(z))
    # The largest of n normal values, and as much again for an arc seen from its inside.
    assert np.abs(z).max() < 1.5 * scipy.stats.norm.isf(RARE / len(z))


def test_the_two_of_a_pair_are_never_mixed(islands) -> None:
    """They lie 1 cm apart, the noise is twice and five times that: only their order tells."""
    wire = planned_wires(islands)[0]
    leads = [
        (row.number("from_m"), row.number("to_m"))
        for row in islands.rows("wire_sections")
        if row.text("section").startswith("lead")
    ]
    assert len(leads) > 20
    for sigma_m, step_m in ((0.02, 0.05), (0.02, 0.5), (0.05, 0.5)):
        track = drawn(wire, sigma_m, step_m)
        (points,) = matched(islands, track.line).wires
        error = np.abs(points.chainage_m - track.true_m)
        for start, end in leads:
            on_lead = (track.true_m >= start) & (track.true_m <= end)
            # Round the square corner at a lead's end both axes count along the wire.
            assert (error[on_lead] < 6 * np.sqrt(2) * sigma_m + step_m / 2).all()


def test_a_nearest_place_would_mix_the_two_of_a_pair(islands) -> None:
    """Proof that the test above can fail: GEOS's nearest place is often on the other wire."""
    wire = planned_wires(islands)[0]
    track = drawn(wire, 0.02, 0.5)
    nearest = shapely.line_locate_point(wire.line, shapely.points(track.line.xy))
    assert (np.abs(nearest - track.true_m) > 0.5).sum() > 10


@pytest.mark.parametrize("turned", [False, True])
def test_a_track_that_begins_within_a_pair_is_told_by_its_direction(islands, turned: bool) -> None:
    wire = planned_wires(islands)[0]
    track = drawn(wire, 0.02, 0.3)
    leads = [
        (row.number("from_m") + row.number("to_m")) / 2
        for row in islands.rows("wire_sections")
        if row.text("section") == "lead_out" and row.number("to_m") - row.number("from_m") > 0.6
    ]
    assert len(leads) > 3
    for start in leads:
        cut = int(np.searchsorted(track.true_m, start))
        order = np.roll(np.arange(len(track.true_m)), -cut)
        order = order[::-1] if turned else order
        (points,) = matched(islands, line_of(track.line.xy[order], 0.02)).wires
        assert len(points.chainage_m) == len(order)
        assert np.abs(points.chainage_m - track.true_m).max() < 0.15


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("share", [0.0, 0.31, 0.77])
def test_direction_and_start_of_a_track_make_no_difference(plan, turned, share) -> None:
    line = drawn(planned_wires(plan)[0], 0.02, left_m=bulge(30.0, 0.3)).line
    cut = int(len(line.xy) * share)
    xy = np.concatenate([line.xy[cut:], line.xy[:cut]])
    other = line_of(xy[::-1] if turned else xy, 0.02)
    one, two = held(plan, line), held(plan, other)
    assert len(one.strays) == len(two.strays) == 1
    assert one.strays[0].at_m == pytest.approx(two.strays[0].at_m, abs=0.05)
    assert one.wires[0].laid.length_m == pytest.approx(two.wires[0].laid.length_m, abs=0.02)
    apart = [a.point.distance(b.point) for a, b in zip(one.pegs, two.pegs, strict=True)]
    assert max(apart) < 0.03


def test_perimeter_and_return_lines_of_one_walk_are_told_apart(plan) -> None:
    tracks = [drawn(wire, 0.02, 0.4, seed=k) for k, wire in enumerate(planned_wires(plan))]
    walk = line_of(np.concatenate([track.line.xy for track in tracks]), 0.02)
    matching = matched(plan, walk)
    assert [each.wire.on for each in matching.wires] == [w.on for w in planned_wires(plan)]
    for points, track in zip(matching.wires, tracks, strict=True):
        # A line begins and ends on another: a few points there are as near to that.
        assert len(points.offset_m) == pytest.approx(len(track.true_m), abs=6)
        assert np.abs(points.offset_m).max() < 6 * 0.02


@pytest.mark.parametrize("correlation", [0.8, 0.95])
def test_noise_that_wanders_is_no_stray(plan, correlation: float) -> None:
    """A first-order autoregression's sum of squares spreads as of n (1-r^2)/(1+r^2) points."""
    track = drawn(planned_wires(plan)[0], 0.02, correlation=correlation, seed=5)
    laid = held(plan, track.line)
    assert not laid.strays
    n = len(track.true_m) * (1 - correlation**2) / (1 + correlation**2)
    low, high = scipy.stats.chi2.ppf([RARE, 1 - RARE], n) / n
    points = laid.wires[0].points
    assert points is not None
    assert low < np.mean((points.offset_m / 0.02) ** 2) < high


@pytest.mark.parametrize("side", [-1, 1])
@pytest.mark.parametrize("sigma_m", [0.005, 0.02])
def test_a_stray_is_found_where_it_is_and_nowhere_else(plan, side: int, sigma_m: float) -> None:
    wire = planned_wires(plan)[0]
    middle = 20.0
    laid = held(plan, drawn(wire, sigma_m, 0.25, left_m=bulge(middle, 0.3 * side)).line)
    (stray,) = laid.strays
    assert stray.side == ("left" if side > 0 else "right")
    assert abs(stray.worst_m) == pytest.approx(0.3, abs=4 * sigma_m)
    # It leaves the tolerance where the metre of fading passes the limit.
    half = 2.0 - stray.limit_m / 0.3
    assert stray.from_m == pytest.approx(middle - half, abs=0.4)
    assert stray.to_m == pytest.approx(middle + half, abs=0.4)


def distance_to_things(evidence: Evidence):
    """Yield every wire nearer to a surveyed area than nine tenths of its setback; plain GEOS."""
    for row in evidence.plan.rows("feature_areas"):
        wanted = evidence.rules.kinds[row.text("kind")].setback_m
        for wire in evidence.plan.shapes("perimeter_wire"):
            near = shapely.shortest_line(wire, row.geometry)
            if near.length < 0.9 * wanted:
                place, kind = Point(near.coords[0]), row.text("kind")
                yield Finding("setback", "stop", kind, place=place, measured=near.length)


@pytest.mark.parametrize("sigma_m", [0.01, 0.02])
def test_a_stray_towards_a_wall_breaks_its_setback_and_one_away_from_it_does_not(
    plain, sigma_m, monkeypatch
) -> None:
    """The house lies to the left of the first 8 m; 0.35 m is asked for, common practice."""
    monkeypatch.setattr("lawnplat.proving.check.OF_WIRES", (distance_to_things,))
    wire = planned_wires(plain)[0]
    near, away = (
        held(plain, drawn(wire, sigma_m, left_m=bulge(4.0, by)).line) for by in (0.3, -0.3)
    )
    (broken,) = named(near, "setback")
    assert broken.text == "as laid: building"
    assert broken.measured == pytest.approx(0.05, abs=4 * sigma_m)
    at = shapely.line_locate_point(wire.line, broken.place)
    assert at == pytest.approx(4.0, abs=1.5)
    assert len(away.strays) == 1
    assert not named(away, "setback")


def test_noise_within_the_tolerance_breaks_nothing(islands, monkeypatch) -> None:
    """A pair is 1 cm apart and its two wires cross each other in what was measured."""
    monkeypatch.setattr("lawnplat.proving.check.OF_WIRES", (distance_to_things, crosses_itself))
    laid = held(islands, drawn(planned_wires(islands)[0], 0.02, left_m=bulge(34.0, -0.3)).line)
    assert len(laid.strays) == 1
    assert not laid.wires[0].laid.line.is_simple
    assert not named(laid, "conductor")
    assert not named(laid, "setback")


def crosses_itself(evidence: Evidence):
    """Yield wires that touch themselves, at the station so that no place speaks for them."""
    for wire in evidence.plan.shapes("perimeter_wire"):
        if not wire.is_simple:
            yield Finding("conductor", "stop", "crosses itself")


def test_pegs_and_joints_go_with_the_wire(plain) -> None:
    wire = planned_wires(plain)[0]
    laid = held(plain, drawn(wire, 0.001, 0.1, left_m=bulge(20.0, 0.3)).line)
    planned = {int(row.number("seq")): row for row in plain.rows("pegs")}
    for peg in laid.pegs:
        there = planned[peg.number]
        at = there.number("chainage_m")
        moved = 0.3 * np.clip(2 - abs(at - 20), 0, 1) if peg.on == "perimeter" else 0.0
        assert peg.point.distance(there.geometry) == pytest.approx(moved, abs=0.03)
    assert len(laid.pegs) == len(planned)
    assert len(laid.joints) == len(plain.rows("wire_joints"))


def test_the_laid_length_is_that_of_the_way_with_its_detour(plain) -> None:
    """Out and back over a metre each by 0.3 m: 2 (sqrt(1.09) - 1) m more on a straight wire."""
    wire = planned_wires(plain)[0]
    lines = [drawn(wire, 0.02, 0.25, seed=k, left_m=bulge(22.0, 0.3)).line for k in range(5)]
    more = np.mean([held(plain, line).wires[0].laid.length_m for line in lines]) - wire.length_m
    straight = shapely.LineString(wire.places(np.arange(20.0, 24.1, 0.5)))
    assert straight.length == pytest.approx(4.0, abs=0.001)
    assert more == pytest.approx(2 * (np.sqrt(1.09) - 1), abs=0.06)


def test_what_was_not_measured_is_said_and_stands_as_planned(plain) -> None:
    wire = planned_wires(plain)[0]
    track = drawn(wire, 0.02)
    keep = (track.true_m < 40) | (track.true_m > 52)
    laid = held(plain, line_of(track.line.xy[keep], 0.02))
    (gap,) = laid.wires[0].gaps
    assert (gap.from_m, gap.to_m) == pytest.approx((39.5, 52.5), abs=0.1)
    middle = laid.wires[0].place(laid.wires[0].as_laid_m(46.0))
    assert middle.distance(Point(wire.places(np.array([46.0]))[0])) < 1e-6
    told = [each.text for each in named(laid, "not_measured")]
    assert len(told) == 1 + len(plain.rows("return_lines"))


def test_a_coarse_track_is_said_to_be_and_puts_no_noise_on_record(islands) -> None:
    wire = planned_wires(islands)[0]
    laid = held(islands, drawn(wire, 0.3, 1.0, correlation=0.9).line)
    (finding,) = named(laid, "track_coarse")
    assert finding.measured == pytest.approx(0.3)
    assert laid.wires[0].laid.length_m == pytest.approx(wire.length_m, abs=1e-6)
    assert not named(held(islands, drawn(wire, 0.05).line), "track_coarse")


def test_a_stroke_of_a_drawing_stands_for_the_wire_between_its_ends(plain) -> None:
    wire = planned_wires(plain)[0]
    corners = shapely.get_coordinates(wire.line.simplify(0.03))
    assert np.hypot(*np.diff(corners, axis=0).T).max() > OWN.largest_gap_m
    as_drawn, as_points = (
        held(plain, line_of(corners, 0.02, stroke=stroke)).wires[0] for stroke in (True, False)
    )
    assert not as_drawn.gaps
    assert as_points.gaps


def test_several_loops_keep_their_own_wires(tmp_path) -> None:
    """A class that mows 200 m2 a day splits the first garden of the sample in two."""
    machine = tmp_path / "own.toml"
    machine.write_text("capacity_m2 = 200\n", encoding="utf-8")
    survey = Path(__file__).parents[2] / "sample_data" / "survey.gpkg"
    out = tmp_path / "out"
    run("plan", survey, "--only", "garden-01", "--machine", machine, "--out", out)
    plan = read_recorded(out / "garden-01" / "plan.gpkg")
    wires = planned_wires(plan)
    assert [wire.on for wire in wires][:2] == ["perimeter", "perimeter_2"]
    walk = np.concatenate([drawn(wire, 0.02).line.xy for wire in wires])
    laid = held(plan, line_of(walk, 0.02))
    assert not laid.strays
    assert not any(wire.gaps for wire in laid.wires)
    assert len(laid.joints) == len(plan.rows("wire_joints"))
    assert len(laid.pegs) == len(plan.rows("pegs"))


def test_a_lone_slip_is_left_out_and_said(plain) -> None:
    line = drawn(planned_wires(plain)[0], 0.02).line
    line.xy[40] += (0.9, 0.9)
    laid = held(plain, line)
    assert not laid.strays
    (finding,) = named(laid, "slip")
    assert finding.place.distance(Point(line.xy[40])) < 1e-9


def test_points_far_from_every_wire_are_left_out_and_counted(plain) -> None:
    line = drawn(planned_wires(plain)[0], 0.02).line
    away = line.xy[:1] + (300.0, 0.0) + np.arange(6)[:, None]
    laid = held(plain, line_of(np.concatenate([away, line.xy]), 0.02))
    (finding,) = named(laid, "track_elsewhere")
    assert finding.count == 6
    assert not laid.strays


def test_a_track_that_is_shifted_as_a_whole_is_said_to_be(plan) -> None:
    lines = [drawn(wire, 0.02).line for wire in planned_wires(plan)]
    for line in lines:
        line.xy[:] += (0.25, -0.15)
    (finding,) = named(held(plan, *lines), "track_shift")
    assert finding.measured == pytest.approx(np.hypot(0.25, 0.15), abs=0.03)
    assert not named(held(plan, drawn(planned_wires(plan)[0], 0.02).line), "track_shift")


def test_a_fixed_point_measured_elsewhere_is_said(plain) -> None:
    fixed = {row.text("name"): row.geometry for row in plain.rows("fixed_points")}
    line = drawn(planned_wires(plain)[0], 0.02).line
    good = TrackMark("fixed_point", "A", Point(fixed["A"].x + 0.02, fixed["A"].y), 0.02)
    bad = TrackMark("fixed_point", "B", Point(fixed["B"].x, fixed["B"].y - 0.3), 0.02)
    (finding,) = named(held(plain, line, marks=(good, bad)), "fixed_point_off")
    assert "fixed point B" in finding.text
    assert finding.measured == pytest.approx(0.3)


def test_a_measured_joint_takes_the_planned_ones_place_and_a_new_one_is_added(plain) -> None:
    wire = planned_wires(plain)[0]
    line = drawn(wire, 0.005).line
    planned = [row for row in plain.rows("wire_joints") if row.text("joint") == "three_way"]
    there = planned[0].geometry
    new = Point(wire.places(np.array([30.0]))[0])
    marks = (
        TrackMark("three_way", "", Point(there.x + 0.2, there.y), 0.02),
        TrackMark("splice", "", new, 0.02),
    )
    laid = held(plain, line, marks=marks)
    assert len(laid.joints) == len(plain.rows("wire_joints")) + 1
    measured = {each.joint: each for each in laid.joints if each.basis == "measured"}
    assert measured["three_way"].point.distance(there) == pytest.approx(0.2)
    assert measured["splice"].chainage_m == pytest.approx(30.0, abs=0.05)


def run(*words: object) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


def written(path: Path, plan: RecordedPlan, *lines: TrackLine, crs: str | None = None) -> Path:
    with path.open("w", encoding="utf-8", newline="") as file:
        table = csv.writer(file)
        table.writerow(["on", "easting_m", "northing_m", "crs"])
        for line in lines:
            table.writerows([line.name, *xy, plan.crs if crs is None else crs] for xy in line.xy)
    return path


def test_the_command_writes_a_record_with_all_that_a_search_needs(street, plain, tmp_path) -> None:
    tracks = [drawn(wire, 0.01, name=wire.on).line for wire in planned_wires(plain)]
    track, record = written(tmp_path / "t.csv", plain, *tracks), tmp_path / "r.gpkg"
    plan_file = street.plan_path("garden-01")
    result = run("check", plan_file, "--as-laid", track, "--accuracy", 0.01, "--record", record)
    assert result.exit_code in (0, 1), result.output
    found = read_laid(record)
    assert {row.text("on") for row in found.rows("laid_wire")} == {t.name for t in tracks}
    assert {row.number("accuracy_m") for row in found.rows("laid_wire")} == {0.01}
    assert len(found.rows("laid_points")) == sum(len(t.xy) for t in tracks)
    assert len(found.rows("laid_pegs")) == len(plain.rows("pegs"))
    assert len(found.rows("fixed_points")) == len(plain.rows("fixed_points"))
    again = tmp_path / "again.gpkg"
    run("check", plan_file, "--as-laid", track, "--accuracy", 0.01, "--record", again)
    for layer in ("laid_wire", "laid_points", "laid_joints", "run_info"):
        one, two = found.rows(layer), read_laid(again).rows(layer)
        assert [(r.geometry, dict(r.values)) for r in one] == [
            (r.geometry, dict(r.values)) for r in two
        ]


def test_a_file_that_is_no_record_is_never_written_over(street, plain, tmp_path) -> None:
    track = written(tmp_path / "t.csv", plain, drawn(planned_wires(plain)[0], 0.02).line)
    target = tmp_path / "notes.gpkg"
    target.write_text("mine", encoding="utf-8")
    plan_file = street.plan_path("garden-01")
    result = run("check", plan_file, "--as-laid", track, "--record", target)
    assert (result.exit_code, target.read_text(encoding="utf-8")) == (2, "mine")
    copy = tmp_path / "plan.gpkg"
    copy.write_bytes(plan_file.read_bytes())
    result = run("check", plan_file, "--as-laid", track, "--record", copy)
    assert (result.exit_code, copy.read_bytes()) == (2, plan_file.read_bytes())


def test_a_track_of_another_place_is_refused_with_its_distance(street, plain, tmp_path) -> None:
    line = drawn(planned_wires(plain)[0], 0.02).line
    line.xy[:] += (3000.0, 0.0)
    track = written(tmp_path / "t.csv", plain, line)
    result = run("check", street.plan_path("garden-01"), "--as-laid", track)
    assert result.exit_code == 2
    assert "lies 3 km from the plan" in result.output or "lies 2.9" in result.output
    assert "Traceback" not in result.output


@pytest.mark.parametrize(
    "words",
    [
        ["--accuracy", "0.02"],
        ["--as-laid", "missing.csv"],
        ["--as-laid", "TRACK", "--accuracy", "-1"],
        ["--as-laid", "TRACK", "--track-crs", "nonsense"],
    ],
)
def test_a_call_that_cannot_be_carried_out(street, plain, tmp_path, words) -> None:
    track = written(tmp_path / "t.csv", plain, drawn(planned_wires(plain)[0], 0.02).line, crs="")
    said = [str(track) if word == "TRACK" else word for word in words]
    result = run("check", street.plan_path("garden-01"), *said)
    assert result.exit_code == 2
    assert "Traceback" not in result.output
    assert "fault in lawnplat" not in result.output


def test_a_plan_without_wire_is_refused(street) -> None:
    plan = read(street.plan_path("garden-05"))
    with pytest.raises(ValueError, match="its plan lays no wire"):
        held(plan, line_of(np.zeros((3, 2)), 0.02))


def test_a_wider_tolerance_takes_the_stray_away(plain) -> None:
    line = drawn(planned_wires(plain)[0], 0.02, left_m=bulge(20.0, 0.3)).line
    loose = replace(RULES, as_laid=replace(OWN, stray_m=0.4))
    evidence = Evidence(plain, loose, load_machine())
    assert not as_laid(evidence, Track(plain.crs, (line,))).strays
