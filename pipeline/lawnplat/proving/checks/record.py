"""Checks of the file itself: layers, geometry, and what it was made by."""

from __future__ import annotations

from collections.abc import Iterator

import shapely

from lawnplat.proving.breach import breach
from lawnplat.proving.evidence import Evidence
from lawnplat.proving.layout import GEOMETRY, NEEDED
from lawnplat.proving.things import FEATURE_LAYERS
from lawnplat.proving.tolerances import AREA_SHARE
from lawnplat.settings.digest import digest
from lawnplat.survey.types import Finding

_GRAVE = ("parcel", "lawn", "mowable", "perimeter_wire", "station", "wire_sections")
"""Without these a plan cannot be proved."""


def layers(evidence: Evidence) -> Iterator[Finding]:
    """Yield layers and columns that are not there, and rows of another property."""
    plan = evidence.plan
    for name, columns in NEEDED.items():
        if name not in plan.layers:
            severity = "stop" if name in _GRAVE else ""
            text = f"the file has no layer {name}: plan the property again"
            yield breach(evidence, "layers", text, severity=severity)
            continue
        rows = plan.rows(name)
        lacking = [column for column in columns if rows and column not in rows[0].values]
        if lacking:
            text = f"layer {name} has no column {', '.join(lacking)}: plan the property again"
            yield breach(evidence, "layers", text)
        others = {row.text("property_id") for row in rows} - {plan.property_id}
        if others:
            text = (
                f"layer {name} has rows of another property ({min(others)}) than {plan.property_id}"
            )
            yield breach(evidence, "layers", text)


def validity(evidence: Evidence) -> Iterator[Finding]:
    """Yield geometries that are missing, invalid or of another type than their layer's."""
    for name, kind in GEOMETRY.items():
        for number, row in enumerate(evidence.plan.rows(name), start=1):
            shape = row.geometry
            if shape is None or shape.is_empty:
                text = f"row {number} of layer {name} has no geometry"
                yield breach(evidence, "validity", text)
            elif shape.geom_type != kind:
                text = f"row {number} of layer {name} is a {shape.geom_type}, not a {kind}"
                yield breach(evidence, "validity", text, shapely.centroid(shape))
            elif not shape.is_valid:
                reason = shapely.is_valid_reason(shape)
                text = f"row {number} of layer {name} cannot be measured: {reason}"
                yield breach(evidence, "validity", text, shapely.centroid(shape))


def settings(evidence: Evidence) -> Iterator[Finding]:
    """Yield settings by which the plan was made and to which it is not held."""
    facts = evidence.plan.facts
    told = facts.get("machine_class", "")
    if told != evidence.machine.name:
        text = f"the plan is for the machine class '{told}', held here to {evidence.machine.name}"
        yield breach(evidence, "settings", text)
    for key, value, what, option in (
        ("rule_book_sha256", evidence.rules, "rule book", "--rules"),
        ("machine_class_sha256", evidence.machine, "machine class", "--machine"),
    ):
        another_class = value is evidence.machine and told != evidence.machine.name
        if facts.get(key, "") != digest(value) and not another_class:
            text = (
                f"the plan was made by another {what} than it is held to: give its own with "
                f"{option}, or plan the property again"
            )
            yield breach(evidence, "settings", text)
    yield from _kinds(evidence)


def _kinds(evidence: Evidence) -> Iterator[Finding]:
    plan = evidence.plan
    kinds = {row.text("kind") for layer in FEATURE_LAYERS for row in plan.rows(layer)}
    for kind in sorted(kinds - evidence.rules.kinds.keys()):
        text = f"the rule book has no kind '{kind}': such things of the plan were not looked at"
        yield breach(evidence, "settings", text)


def survey(evidence: Evidence) -> Iterator[Finding]:
    """Yield where parcel and things of the plan are not those of the survey it is held against."""
    site = evidence.site
    if site is None:
        return
    drawn = evidence.plan.union("parcel")
    off = shapely.symmetric_difference(drawn, site.parcel)
    if off.area > AREA_SHARE * site.parcel.area:
        text = (
            f"the survey's parcel differs from the plan's by {off.area:.1f} m2: plan the property "
            "again from this survey"
        )
        yield breach(evidence, "survey", text, shapely.point_on_surface(off), measured=off.area)
    told = sum(len(evidence.plan.rows(layer)) for layer in FEATURE_LAYERS)
    if told != len(site.features):
        text = (
            f"the survey has {len(site.features)} things on the property, the plan drew {told}: "
            "plan the property again from this survey"
        )
        yield breach(evidence, "survey", text, measured=told, limit=len(site.features))


def not_laid(evidence: Evidence) -> Iterator[Finding]:
    """Yield a plan that lays no wire and does not say why."""
    if not evidence.loops and "perimeter_wire" in evidence.plan.layers:
        yield breach(evidence, "not_laid", "the plan lays no wire")


def not_measured(evidence: Evidence) -> Iterator[Finding]:
    """Without heights, say what was left out."""
    if evidence.terrain is None:
        text = (
            "no heights were given: fall across the wire, tilt and gradients were not measured, "
            "slopes taken from the plan's own zones; give --elevation, or a survey with spot "
            "heights"
        )
        yield breach(evidence, "not_measured", text)
