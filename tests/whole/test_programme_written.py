"""Schedule, cutting heights and commissioning list as written for the sample survey."""

from __future__ import annotations

import math

import pytest

from lawnplat.settings.climate import load_climate
from lawnplat.settings.load import load_machine, load_rule_book

from .conftest import SURVEY, Run, run_plan

PLANNED = [f"garden-0{n}" for n in (1, 2, 3, 4, 6, 7, 8, 9)]
RULES = load_rule_book()


def hours(clock: str) -> float:
    return int(clock[:2]) + int(clock[3:]) / 60


@pytest.mark.parametrize("name", PLANNED)
def test_the_schedule_follows_from_the_written_areas(street: Run, name: str) -> None:
    # By the formulas of facts known outside: growth potential of cool-season grass (Gelernter &
    # Stowell), cut when half the height has grown (Cornell: a third of the leaf), 1.5 inches a week
    # in full growth (University of Nebraska). Nothing of the planner but its areas.
    plan, machine = street.plan(name), load_machine(street.table[name]["machine_class"])
    driven = plan["mowable"][plan["mowable"]["role"] != "carried"]
    area_m2 = driven.groupby("loop")["area_m2"].sum().max()
    cut_h = area_m2 / machine.rate_m2_h * (1 + machine.charge_min / machine.run_min)
    schedule = plan["schedule"]
    assert list(schedule["month"]) == list(range(1, 13))
    for row, mean_c in zip(schedule.itertuples(), load_climate().mean_c, strict=True):
        growth = math.exp(-0.5 * ((mean_c - 20.0) / 5.5) ** 2)
        assert row.growth_factor == pytest.approx(growth, abs=1e-9)
        if growth < 0.05:
            assert row.days_per_week == row.hours_per_week == 0
            assert "no mowing" in row.note
            continue
        asked_h = max(growth * 1.5 * 25.4 / 25.0, 1.0) * cut_h
        # A quarter up, and a hundredth for the rounded rules.
        assert asked_h - 0.01 <= row.hours_per_week <= asked_h + 0.26
        assert row.days_per_week * (hours(row.end) - hours(row.start)) >= row.hours_per_week
        assert 7.0 <= hours(row.start) < hours(row.end) <= 20.0


@pytest.mark.parametrize("name", PLANNED)
def test_heights_step_down_to_the_target(street: Run, name: str) -> None:
    machine = load_machine(street.table[name]["machine_class"])
    heights = street.plan(name)["cutting_heights"]
    assert heights["height_mm"].iloc[0] == machine.cutting_highest_mm
    assert heights["height_mm"].iloc[-1] == RULES.programme.target_height_mm
    assert heights["height_mm"].is_monotonic_decreasing
    assert heights["day"].is_monotonic_increasing


@pytest.mark.parametrize("name", PLANNED)
def test_the_list_covers_what_the_layers_hold(street: Run, name: str) -> None:
    plan = street.plan(name)
    checks = plan["commissioning"]
    assert list(checks["number"]) == list(range(1, len(checks) + 1))
    whats = list(checks["what"])
    assert sum(what.startswith("Parking test") for what in whats) == len(plan["return_lines"])
    leads = plan["wire_sections"].groupby("loop")["section"].apply(
        lambda each: int(((each == "lead_out") & (each.shift() != "lead_out")).sum())
    )
    # Each lead goes to an island or to a lawn apart; each of these has a line of its own.
    apart = sum("carried" in what for what in whats)
    assert sum(what.startswith("Island") for what in whats) + apart == leads.sum()
    driven = (plan["passages"]["verdict"] != "closed").sum()
    assert sum(what.startswith("Passage") for what in whats) == driven


def test_a_garden_that_is_not_planned_has_empty_tables(street: Run) -> None:
    plan = street.plan("garden-05")
    assert plan["schedule"].empty
    assert plan["cutting_heights"].empty
    assert plan["commissioning"].empty


def test_own_climate_and_rules_change_the_schedule(tmp_path) -> None:
    climate, rules = tmp_path / "cold.csv", tmp_path / "rules.toml"
    rows = [f"{month},{20 if month == 7 else -5}" for month in range(1, 13)]
    climate.write_text("month,mean_c\n" + "\n".join(rows), encoding="utf-8")
    rules.write_text(
        '[programme]\nquiet_to_h = 9\nquiet_from_h = 11\ntime_zone = "Europe/Berlin"\n', "utf-8"
    )
    words = ("--only", "garden-02", "--climate", climate, "--rules", rules, "--date", "2026-05-04")
    run = run_plan(tmp_path / "plans", SURVEY, *words)
    assert run.result.exit_code == 0, run.result.output
    plan = run.plan("garden-02")
    july = plan["schedule"].set_index("month").loc[7]
    assert (july.start, july.end) == ("09:00", "11:00")
    assert (july.days_per_week, july.hours_per_week) == (6, 12)
    assert (plan["schedule"]["days_per_week"] > 0).sum() == 1
    (warning,) = plan["advisories"].query("rule == 'programme'").itertuples()
    assert (warning.severity, warning.limit) == ("warn", 12)
    assert warning.measured > 12
    told = " ".join(plan["programme_notes"]["text"])
    assert "cold (given in cold.csv)" in told
    assert "summer time as in 2026" in told


def test_a_climate_that_cannot_be_read_stops_the_call_in_a_line_or_two(tmp_path) -> None:
    climate = tmp_path / "climate.csv"
    climate.write_text("month,mean_c\n1,x\n", encoding="utf-8")
    run = run_plan(tmp_path / "plans", SURVEY, "--climate", climate)
    assert run.result.exit_code == 2
    assert "climate.csv" in run.result.stderr
    assert "Traceback" not in run.result.stderr
