"""Ways to spoil what a plan was made from and by: file, settings, survey."""

from __future__ import annotations

from dataclasses import replace

import shapely
from shapely import LineString, Point, Polygon

from lawnplat.proving.evidence import Evidence
from lawnplat.proving.recorded import Row

from .ways import Spoilt, Way, changed, with_plan


def heights_taken_away(evidence: Evidence) -> Spoilt:
    return Spoilt(replace(evidence, terrain=None))


def wire_taken_away(evidence: Evidence) -> Spoilt:
    """Leave the plan without wire and station; no advisory says why."""
    plan = evidence.plan
    for layer in ("perimeter_wire", "station", "wire_sections", "return_lines"):
        plan = plan.with_rows(layer, [])
    return with_plan(evidence, plan)


def mown_part_twisted(evidence: Evidence) -> Spoilt:
    """Exchange two neighbouring corners of the mown part: its outline crosses itself."""
    part = evidence.plan.rows("mowable")[0].geometry
    points = list(part.exterior.coords[:-1])
    far = len(points) // 2
    points[0], points[far] = points[far], points[0]
    return with_plan(evidence, changed(evidence.plan, "mowable", 0, Polygon(points)))


def peg_without_a_place(evidence: Evidence) -> Spoilt:
    rows = list(evidence.plan.rows("pegs"))
    rows[3] = Row(None, rows[3].values)
    return with_plan(evidence, evidence.plan.with_rows("pegs", rows))


def station_drawn_as_a_line(evidence: Evidence) -> Spoilt:
    at = shapely.get_coordinates(evidence.plan.rows("station")[0].geometry)[0]
    line = LineString([at, at + 0.5])
    return with_plan(evidence, changed(evidence.plan, "station", 0, line), Point(at))


def held_to_other_rules(evidence: Evidence) -> Spoilt:
    ground = evidence.rules.ground
    wider = replace(ground, open_edge_m=ground.open_edge_m + 0.05)
    return Spoilt(replace(evidence, rules=replace(evidence.rules, ground=wider)))


def held_to_a_changed_class(evidence: Evidence) -> Spoilt:
    machine = evidence.machine
    return Spoilt(replace(evidence, machine=replace(machine, capacity_m2=machine.capacity_m2 + 1)))


def thing_of_an_unknown_kind(evidence: Evidence) -> Spoilt | None:
    for layer in ("feature_areas", "feature_lines", "feature_points"):
        if evidence.plan.rows(layer):
            return with_plan(evidence, changed(evidence.plan, layer, 0, kind="haystack"))
    return None


def parcel_surveyed_larger(evidence: Evidence) -> Spoilt | None:
    """Let the survey's parcel reach a metre further all round."""
    if evidence.site is None:
        return None
    parcel = shapely.buffer(evidence.site.parcel, 1.0, join_style="mitre")
    return Spoilt(replace(evidence, site=replace(evidence.site, parcel=parcel)))


def thing_no_longer_surveyed(evidence: Evidence) -> Spoilt | None:
    if evidence.site is None or not evidence.site.features:
        return None
    site = replace(evidence.site, features=evidence.site.features[1:])
    return Spoilt(replace(evidence, site=site))


OF_RECORDS: tuple[tuple[Way, str], ...] = (
    (heights_taken_away, "not_measured"),
    (wire_taken_away, "not_laid"),
    (mown_part_twisted, "validity"),
    (peg_without_a_place, "validity"),
    (station_drawn_as_a_line, "validity"),
    (held_to_other_rules, "settings"),
    (held_to_a_changed_class, "settings"),
    (thing_of_an_unknown_kind, "settings"),
    (parcel_surveyed_larger, "survey"),
    (thing_no_longer_surveyed, "survey"),
)
"""Each of them on nearly every plan."""
