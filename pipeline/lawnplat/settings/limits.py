"""What a settings value may be: bounds that catch a wrong sign or unit, and pairs in order."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Limit:
    """Bounds of one number. ``open_low`` leaves the lower bound itself out."""

    low: float
    high: float
    open_low: bool = False

    def holds(self, value: float) -> bool:
        """Return whether the value is finite and within the bounds."""
        above = value > self.low if self.open_low else value >= self.low
        return math.isfinite(value) and above and value <= self.high

    def words(self) -> str:
        """Return the bounds in words."""
        low = f"over {self.low:g}" if self.open_low else f"at least {self.low:g}"
        return low if math.isinf(self.high) else f"{low} and at most {self.high:g}"


def _over_zero(high: float) -> Limit:
    return Limit(0.0, high, open_low=True)


def _from_zero(high: float) -> Limit:
    return Limit(0.0, high)


_BY_ENDING = {
    "_share": _from_zero(1.0),
    "_deg": _over_zero(180.0),
    "_pct": _over_zero(200.0),
    "_m2_h": _over_zero(10_000.0),
    "_m2": _from_zero(1_000_000.0),
    "_mm": _over_zero(300.0),
    "_min": _over_zero(1440.0),
    "setback_m": _from_zero(20.0),
    "_m": _from_zero(500.0),
}
"""By the unit at the end of a key; wide enough for any ground, narrow enough that millimetres
given for metres are caught."""

_BY_KEY = {
    "terrain.cell_m": _over_zero(10.0),
    "terrain.largest_cells": Limit(100, 100_000_000),
    "ground.open_edge_m": _from_zero(20.0),
    "ground.edge_match_m": _from_zero(5.0),
    "ground.shape_tolerance_m": _over_zero(0.1),
    "ground.edge_reach_m": _from_zero(20.0),
    "ground.edge_stretch_m": _over_zero(20.0),
    "wire.pair_gap_m": _over_zero(0.5),
    "wire.terminal_gap_m": _over_zero(0.5),
    "wire.corner_radius_m": _from_zero(5.0),
    "wire.spare_end_m": _from_zero(20.0),
    "wire.spool_m": _over_zero(10_000.0),
    "wire.chainage_marker_m": _over_zero(500.0),
    "cable.conductor_c": Limit(-40.0, 90.0),
    "cable.resistance_rise_per_k": _over_zero(0.01),
    "consumables.joints_a_sealant": Limit(1.0, 1000.0),
    "consumables.tie_spacing_m": _over_zero(20.0),
    "consumables.ties_a_pack": Limit(1, 10_000),
    "wire.longest_lead_m": _from_zero(500.0),
    "pegs.spacing_m": _over_zero(5.0),
    "pegs.curve_offset_m": _over_zero(1.0),
    "station.front_clear_m": _over_zero(20.0),
    "station.side_clear_m": _from_zero(20.0),
    "station.straightening_m": _from_zero(5.0),
    "station.cable_clear_m": _over_zero(1.0),
    "station.candidate_spacing_m": _over_zero(20.0),
    "return_line.straight_run_m": _over_zero(50.0),
    "return_line.corridor_m": _from_zero(10.0),
    "return_line.parking_test_m": _over_zero(100.0),
    "setting_out.longest_tape_m": _over_zero(100.0),
    "setting_out.curve_offset_m": _over_zero(0.5),
    "setting_out.longest_arc_m": _over_zero(100.0),
    "setting_out.ruler_m": _over_zero(10.0),
    "setting_out.edge_reach_m": _from_zero(50.0),
    "setting_out.fixed_apart_m": _from_zero(5.0),
    "programme.cool_optimum_c": Limit(0.0, 50.0),
    "programme.cool_spread_c": _over_zero(30.0),
    "programme.warm_optimum_c": Limit(0.0, 50.0),
    "programme.warm_spread_c": _over_zero(30.0),
    "programme.full_growth_mm_day": Limit(0.1, 50.0),
    "programme.least_growth": Limit(0.001, 1.0),
    "programme.height_step_mm": Limit(1.0, 100.0),
    "programme.present_height_mm": _from_zero(2000.0),
    "programme.highest_for_days": Limit(0, 365),
    "programme.largest_cut_share": Limit(0.05, 0.5),
    "programme.least_cuts_week": Limit(0.1, 7.0),
    "programme.work_efficiency_share": Limit(0.01, 1.0),
    "programme.quiet_from_h": Limit(0.0, 24.0),
    "programme.quiet_to_h": Limit(0.0, 24.0),
    "programme.daylight_margin_min": _from_zero(360.0),
    "commissioning.wire_resistance_ohm_km": _over_zero(1000.0),
    "commissioning.residual_current_ma": Limit(1.0, 30.0),
    "as_laid.accuracy_m": _over_zero(5.0),
    "as_laid.stray_m": _from_zero(1.0),
    "as_laid.stray_sigmas": Limit(1.0, 6.0),
    "as_laid.reach_m": _over_zero(20.0),
    "as_laid.largest_gap_m": _over_zero(50.0),
    "as_laid.last_stretch_m": Limit(0.2, 20.0),
    "as_laid.joint_near_m": _from_zero(5.0),
    "simulation.days": Limit(1, 366),
    "simulation.runs": Limit(1, 10_000),
    "simulation.seed": Limit(0, 2**53),
    "simulation.cell_share": Limit(0.05, 1.0),
    "simulation.largest_cells": Limit(1000, 100_000_000),
    "simulation.wire_turn_m": _from_zero(5.0),
    "simulation.new_ground_share": Limit(0.01, 1.0),
    "simulation.reserve_share": Limit(0.01, 0.9),
    "simulation.lines_first_min": _from_zero(1440.0),
    "simulation.departure_spacing_m": Limit(0.5, 100.0),
    "simulation.departure_step_share": Limit(0.01, 1.0),
    "simulation.departure_journeys": Limit(2, 10_000),
    "simulation.smoothing_m": Limit(0.1, 20.0),
    "simulation.enough_share": Limit(0.01, 0.999),
    "simulation.fit_runs": Limit(1, 10_000),
    "body_length_m": _over_zero(5.0),
    "body_width_m": _over_zero(5.0),
    "wheelbase_m": _over_zero(5.0),
    "cutting_width_m": _over_zero(5.0),
    "capacity_m2": _over_zero(1_000_000.0),
    "smallest_passage_m": _over_zero(20.0),
    "comfortable_passage_m": _over_zero(20.0),
    "longest_wire_m": _over_zero(100_000.0),
    "return_lines": Limit(1, 20),
    "base_length_m": _over_zero(5.0),
    "base_width_m": _over_zero(5.0),
    "supply_v": _over_zero(60.0),
    "supply_a": _over_zero(50.0),
    "largest_drop_v": _over_zero(60.0),
    "valid_days": Limit(1, 3650),
    "crew.people": Limit(1, 20),
    "crew.hours_a_day": _over_zero(24.0),
    "services.visits_a_season": Limit(1, 100),
}

_TASK = Limit(0.01, 1000.0)
"""A task a working week at the slowest, a kilometre an hour at the fastest."""
_FACTOR = _from_zero(math.inf)
_ANY = Limit(-math.inf, math.inf)

IN_ORDER = (
    ("setting_out.smallest_cut_deg", "setting_out.largest_cut_deg"),
    ("setting_out.ruler_m", "setting_out.edge_reach_m"),
    ("return_line.corridor_m", "return_line.comfortable_m"),
    ("wire.spare_end_m", "wire.spool_m"),
    ("programme.quiet_to_h", "programme.quiet_from_h"),
    ("simulation.starve_share", "simulation.seldom_share"),
    ("cutting_lowest_mm", "cutting_highest_mm"),
    ("smallest_passage_m", "comfortable_passage_m"),
    ("body_width_m", "smallest_passage_m"),
    ("cutting_width_m", "body_width_m"),
    ("wheelbase_m", "body_length_m"),
    ("base_behind_wire_m", "base_length_m"),
    ("slope_edge_pct", "slope_lawn_pct"),
    ("slope_return_pct", "slope_lawn_pct"),
    ("largest_drop_v", "supply_v"),
)
"""Pairs of keys whose first value may not be over the second."""


def limit_of(key: str) -> Limit:
    """Return the bounds of a number by its dotted key."""
    if key in _BY_KEY:
        return _BY_KEY[key]
    if ".score_" in key:
        return _FACTOR
    if key.startswith("tasks_per_hour."):
        return _TASK
    return next((limit for end, limit in _BY_ENDING.items() if key.endswith(end)), _ANY)
