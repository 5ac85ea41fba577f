"""What the settings files hold, as frozen values: rule book, machine class, price book."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import NewType

from lawnplat.settings.proving_rules import AsLaidRules, SimulationRules

TimeZone = NewType("TimeZone", str)
"""An IANA time zone's name, or ``nominal``: the zone of the longitude, without summer time."""

NOMINAL_ZONE = TimeZone("nominal")


class Treatment(StrEnum):
    """What the wire does about a kind of feature."""

    KEEP_OFF = "keep_off"
    """Excluded with a setback; an island when it stands inside the lawn."""
    FLUSH = "flush"
    """Level with the grass: a wheel may run over, small setback."""
    DRIVE_OVER = "drive_over"
    """The machine drives over it: no wire."""
    FIRM = "firm"
    """Solid: the machine may touch it and turns; no wire, but routes stay clear."""
    MARK_ONLY = "mark_only"
    """Shown on the plan; the wire does not go round it."""


class Season(StrEnum):
    """The kind of grass, by the season that it grows in."""

    COOL = "cool"
    WARM = "warm"


class RestDay(StrEnum):
    """A day of the week without mowing."""

    NONE = "none"
    MONDAY = "monday"
    TUESDAY = "tuesday"
    WEDNESDAY = "wednesday"
    THURSDAY = "thursday"
    FRIDAY = "friday"
    SATURDAY = "saturday"
    SUNDAY = "sunday"


@dataclass(frozen=True)
class KindRule:
    """The rule for one kind of feature.

    Attributes
    ----------
    treatment : Treatment
    setback_m : float
        Distance of the wire from the feature. For ``firm``, the distance that a return line keeps.
        For ``mark_only``, the distance within which wire work asks for care.
    grass : bool
        Whether the ground under the feature counts as lawn where the lawn is derived.
    barrier : bool
        Whether a wire or a cable cannot be led through it (a house, water, a fall).
    crossable : bool
        Whether a crossing leads over it where the wire keeps a setback from it (a path, paving);
        never where it is a barrier. Of anything else a crossing keeps clear.
    """

    treatment: Treatment
    setback_m: float
    grass: bool
    barrier: bool
    crossable: bool

    @property
    def crossed(self) -> bool:
        """Return whether the wires of a crossing run over it."""
        wired = self.treatment in (Treatment.KEEP_OFF, Treatment.FLUSH)
        return self.crossable and wired and not self.barrier


@dataclass(frozen=True)
class GroundRules:
    """Rules that shape the mowable ground, and what the survey takes for ground at all.

    ``attach_m`` is how near a feature without ``property_id`` must be to belong to a parcel;
    polygons under ``sliver_m2`` are drawing errors, parcels under ``smallest_parcel_m2`` bad input.
    """

    attach_m: float
    sliver_m2: float
    smallest_parcel_m2: float
    open_edge_m: float
    edge_match_m: float
    gentle_slope_pct: float
    smallest_lawn_m2: float
    smallest_part_m2: float
    smallest_carried_m2: float
    smallest_steep_patch_m2: float
    shape_tolerance_m: float
    edge_reach_m: float
    edge_stretch_m: float


@dataclass(frozen=True)
class TerrainRules:
    """Rules for the grid that elevation is read onto and for its smoothing.

    ``smoothing_share`` is the standard deviation of the smoothing as a share of the wheelbase.
    """

    cell_m: float
    largest_cells: int
    margin_m: float
    coarse_source_m: float
    coarse_step_m: float
    sparse_spot_m: float
    smoothing_share: float


@dataclass(frozen=True)
class WireRules:
    """Rules for the conductor, its joints and its ends, and for several loops side by side.

    ``loop_balance_share`` is how far a working area's share may be from the equal one.
    """

    pair_gap_m: float
    corner_radius_m: float
    terminal_gap_m: float
    spare_end_m: float
    waste_share: float
    spool_m: float
    chainage_marker_m: float
    longest_lead_m: float
    loops_apart_m: float
    loop_balance_share: float
    score_seam_gradient: float
    score_seam_outlet: float
    score_seam_firm: float
    lead_longer_share: float


@dataclass(frozen=True)
class CableRules:
    """Rules for the low-voltage cable: the conductor's temperature, and how it raises resistance.

    ``resistance_rise_per_k`` is the share of the resistance at 20 C by which each kelvin raises it.
    """

    conductor_c: float
    resistance_rise_per_k: float


@dataclass(frozen=True)
class ConsumableRules:
    """How much work one pack of a consumable is good for."""

    joints_a_sealant: float
    tie_spacing_m: float
    ties_a_pack: int


@dataclass(frozen=True)
class PegRules:
    """Rules for pegs."""

    spacing_m: float
    bend_deg: float
    curve_offset_m: float
    spare_share: float


@dataclass(frozen=True)
class StationRules:
    """Rules for the charging station's place and its cable.

    ``straightening_m`` is how far the perimeter may be drawn in to run straight past the station.
    ``tilt_margin_pct`` is how near to the least tilt a place must be where none is level. Only
    ground steeper than ``runoff_slope_pct`` counts as sending water down; ``largest_upslope_m2``
    is how much of it may drain over base and front. The base stands ``water_clear_m`` off open
    water.
    """

    front_clear_m: float
    side_clear_m: float
    straight_wire_m: float
    straightening_m: float
    largest_tilt_pct: float
    tilt_margin_pct: float
    cable_reach_m: float
    cable_clear_m: float
    runoff_slope_pct: float
    largest_upslope_m2: float
    candidate_spacing_m: float
    water_clear_m: float
    score_worst: float
    score_outlet: float
    score_paved: float
    score_tilt: float
    score_openness: float
    open_ground_m: float


@dataclass(frozen=True)
class ReturnLineRules:
    """Rules for the return line.

    ``bend_within_share`` of ``smallest_leg_m`` is the length within which turns count as one bend.
    The arc of a bend of 60 degrees between two legs no longer than that one takes 0.9 of it
    (0.5 pi / 3 / tan 30 degrees), its chords somewhat less.
    """

    straight_run_m: float
    corridor_m: float
    comfortable_m: float
    largest_bend_deg: float
    over_limit_pct: float
    smallest_leg_m: float
    bend_within_share: float
    joint_from_station_m: float
    rounding_m: float
    score_length: float
    score_gradient: float
    score_closeness: float
    score_bend: float
    score_switchback: float
    longer_share: float
    score_hook: float
    score_lead: float
    longer_for_leads_share: float
    further_line_share: float
    further_line_m: float
    far_part_share: float
    parking_test_m: float

    @property
    def bend_within_m(self) -> float:
        """Return the length within which turns count as one bend."""
        return self.bend_within_share * self.smallest_leg_m


@dataclass(frozen=True)
class SettingOutRules:
    """Rules for the marks that a crew sets out with two tapes.

    ``curve_offset_m`` is how far the wire may leave the straight or arc between two marks; an arc
    turns by ``largest_arc_deg`` and is ``longest_arc_m`` long at most. A corner that turns by less
    than ``smallest_corner_deg`` holds no tape. ``score_*`` are degrees of cut: what a fixed point
    other than a house corner, a parcel's corner, a metre of tape and one more fixed point cost.
    """

    longest_tape_m: float
    smallest_cut_deg: float
    largest_cut_deg: float
    curve_offset_m: float
    largest_arc_deg: float
    longest_arc_m: float
    ruler_m: float
    edge_reach_m: float
    smallest_corner_deg: float
    fixed_apart_m: float
    score_built: float
    score_parcel: float
    score_tape: float
    score_point: float


@dataclass(frozen=True)
class ProgrammeRules:
    """Rules for the mowing hours and the cutting height.

    ``*_optimum_c`` and ``*_spread_c`` are the growth potential's; ``full_growth_mm_day`` is leaf
    growth where it is 1. Mowing may run from ``quiet_to_h`` to ``quiet_from_h``, local clock time.
    ``work_efficiency_share`` is the share of the machine's rate that is new ground.
    ``present_height_mm`` is 0 where the grass has not been measured.
    """

    season: Season
    cool_optimum_c: float
    cool_spread_c: float
    warm_optimum_c: float
    warm_spread_c: float
    full_growth_mm_day: float
    least_growth: float
    target_height_mm: float
    present_height_mm: float
    height_step_mm: float
    highest_for_days: int
    largest_cut_share: float
    least_cuts_week: float
    work_efficiency_share: float
    quiet_from_h: float
    quiet_to_h: float
    rest_weekday: RestDay
    daylight_only: bool
    daylight_margin_min: float
    time_zone: TimeZone


@dataclass(frozen=True)
class CommissioningRules:
    """Rules for the acceptance of a site.

    ``wire_resistance_ohm_km`` is the largest resistance of the wire's copper at 20 degrees Celsius.
    """

    wire_resistance_ohm_km: float
    residual_current_ma: float


@dataclass(frozen=True)
class RuleBook:
    """Every clearance and limit that is not the machine's own.

    ``sources`` maps a dotted rule name (``wire.spool_m``, ``kinds.building.setback_m``) to where
    its value comes from.
    """

    kinds: Mapping[str, KindRule]
    terrain: TerrainRules
    ground: GroundRules
    wire: WireRules
    cable: CableRules
    consumables: ConsumableRules
    pegs: PegRules
    station: StationRules
    return_line: ReturnLineRules
    setting_out: SettingOutRules
    programme: ProgrammeRules
    commissioning: CommissioningRules
    as_laid: AsLaidRules
    simulation: SimulationRules
    sources: Mapping[str, str]


@dataclass(frozen=True)
class MachineClass:
    """One class of machine. The shipped classes are invented and generic.

    ``base_*`` are the charging station's ground plate: its length runs from behind the perimeter
    wire (``base_behind_wire_m``) into the lawn. Slopes in percent. ``supply_*`` are the voltage and
    the greatest current of the station's power supply, ``largest_drop_v`` the voltage that its
    cable may lose.
    """

    name: str
    label: str
    body_length_m: float
    body_width_m: float
    wheelbase_m: float
    cutting_width_m: float
    rate_m2_h: float
    capacity_m2: float
    slope_lawn_pct: float
    slope_edge_pct: float
    slope_return_pct: float
    smallest_passage_m: float
    comfortable_passage_m: float
    longest_wire_m: float
    return_lines: int
    run_min: float
    charge_min: float
    cutting_lowest_mm: float
    cutting_highest_mm: float
    base_length_m: float
    base_width_m: float
    base_behind_wire_m: float
    cable_supplied_m: float
    supply_v: float
    supply_a: float
    largest_drop_v: float
    sources: Mapping[str, str]


@dataclass(frozen=True)
class Price:
    """The price of one unit of an item, in the price book's currency."""

    unit: str
    amount: str
    """Decimal digits as text, so that no cent is lost on the way to ``decimal.Decimal``; empty
    where the firm has no price, which leaves a quote incomplete."""


@dataclass(frozen=True)
class Crew:
    """Who goes to a site, and how the wire goes into the ground.

    ``laying`` is ``hand`` (on pegs) or ``machine`` (into a slit).
    """

    people: int
    hours_a_day: float
    laying: str


@dataclass(frozen=True)
class Services:
    """What a client may take besides the installation. ``hand_trimming`` is a visit's price."""

    hand_trimming: Price
    visits_a_season: int


@dataclass(frozen=True)
class PriceBook:
    """Unit prices, labour rates and productivity, tax and margin.

    ``machines`` holds prices by machine class. ``tasks_per_hour`` maps a labour task to how much of
    it one person does in an hour, its unit at the end of its name; ``paid_as`` maps a task, without
    the unit, to the labour rate that it is paid at.
    """

    currency: str
    tax_share: str
    margin_share: str
    valid_days: int
    items: Mapping[str, Price]
    machines: Mapping[str, Price]
    labour_rates: Mapping[str, Price]
    tasks_per_hour: Mapping[str, float]
    paid_as: Mapping[str, str]
    crew: Crew
    services: Services
    sources: Mapping[str, str]


@dataclass(frozen=True)
class Climate:
    """Monthly mean air temperatures of a place, January to December, degrees Celsius."""

    label: str
    mean_c: tuple[float, ...]
    source: str


@dataclass(frozen=True)
class Terms:
    """What a quote and a programme need besides the plan.

    ``issued`` is the quote's date, ISO 8601, or empty: a library reads no clock. ``classes`` are
    the machine classes that a quote may offer besides the one planned for.
    """

    prices: PriceBook
    climate: Climate
    issued: str = ""
    classes: tuple[MachineClass, ...] = ()
