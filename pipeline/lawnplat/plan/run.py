"""Take one site through terrain, ground, wire and works."""

from __future__ import annotations

import importlib.metadata
from dataclasses import replace

import shapely

from lawnplat.errors import NotPlannable
from lawnplat.ground.build import build_ground
from lawnplat.ground.types import Ground, Part
from lawnplat.plan.loops import lay_loops
from lawnplat.planned import Plan, Status
from lawnplat.settings.climate import load_climate
from lawnplat.settings.digest import digest
from lawnplat.settings.load import load_price_book, shipped_classes
from lawnplat.settings.types import MachineClass, RuleBook, Terms
from lawnplat.survey.types import Finding, Site
from lawnplat.terrain.build import build_terrain
from lawnplat.terrain.reader import ElevationRaster
from lawnplat.terrain.types import Terrain
from lawnplat.works.build import work_order
from lawnplat.works.job import Job
from lawnplat.works.priced import quote_record

_BESIDE_M = 0.02
"""A passage ends at the lawns it lies between, to a centimetre."""


def plan_site(
    site: Site,
    *,
    machine: MachineClass,
    rules: RuleBook,
    elevation: ElevationRaster | None = None,
    elevation_unit: str = "m",
    inputs: tuple[tuple[str, str], ...] = (),
    terms: Terms | None = None,
) -> Plan:
    """Plan one property.

    Parameters
    ----------
    site : Site
        As the survey room gives it, in a metric CRS.
    machine : MachineClass
    rules : RuleBook
    elevation : ElevationRaster, optional
        Without one, or off its reach, spot heights are used, and without those the ground is level.
    elevation_unit : str
        Unit of the raster's heights, for the record.
    inputs : tuple of (str, str)
        Further key and value pairs for the record.
    terms : Terms, optional
        Prices and climate for quote and programme; without them the shipped ones, which are
        invented.

    Returns
    -------
    Plan
        Where the ground cannot take a plan, ``status`` is ``not_plannable``, a finding of severity
        ``stop`` says why, and the plan holds what was worked out until then.

    Raises
    ------
    SurveyError
        Where the raster breaks off while it is read.
    """
    window = elevation.window(site, machine, rules) if elevation is not None else None
    terrain = build_terrain(site, machine, rules, window)
    record = _record(site, machine, rules, terrain)
    begun = Plan(
        site=site,
        machine=machine,
        status=Status.NOT_PLANNABLE,
        findings=(*site.findings, *terrain.findings),
        run_info=(*record, ("elevation_unit", elevation_unit), *inputs),
        terrain=terrain,
    )
    try:
        return _through_the_rooms(begun, terrain, rules, terms or shipped_terms())
    except NotPlannable as error:
        return _stopped(begun, error)


def shipped_terms() -> Terms:
    """Return the shipped prices, climate and machine classes, which are invented."""
    return Terms(load_price_book(), load_climate(), classes=shipped_classes())


def _through_the_rooms(begun: Plan, terrain: Terrain, rules: RuleBook, terms: Terms) -> Plan:
    site, machine = begun.site, begun.machine
    ground = build_ground(site, terrain, machine, rules)
    seen = replace(begun, ground=ground, findings=(*begun.findings, *ground.findings))
    try:
        laid = lay_loops(site, ground, terrain, machine, rules)
    except NotPlannable as error:
        return _stopped(seen, error)
    said = tuple(finding for layout in laid.layouts for finding in layout.findings)
    works = work_order(
        Job(site, terrain, laid.ground, laid.layouts, machine=machine, rules=rules, terms=terms)
    )
    carried = _carried(laid.ground, machine)
    findings = (*seen.findings, *said, *laid.findings, *carried, *works.findings)
    stopped = any(finding.severity == "stop" for finding in said)
    return replace(
        seen,
        status=Status.NOT_PLANNABLE if stopped else _status(findings),
        ground=laid.ground,
        layouts=laid.layouts,
        works=works,
        findings=findings,
        run_info=(*seen.run_info, *quote_record(terms.prices, terms.issued)),
    )


def _status(findings: tuple[Finding, ...]) -> Status:
    if any(finding.severity != "note" for finding in findings):
        return Status.PLANNED_WITH_ADVISORIES
    return Status.PLANNED


def _stopped(plan: Plan, error: NotPlannable) -> Plan:
    text = f"{error.what}; {error.remedy}" if error.remedy else error.what
    place = shapely.point_on_surface(plan.site.parcel)
    stop = Finding(rule="not_plannable", severity="stop", text=text, place=place)
    return replace(plan, findings=(*plan.findings, stop))


def _carried(ground: Ground, machine: MachineClass) -> list[Finding]:
    """Say to which parts the machine has to be carried, and which passage is too narrow for it."""
    return [
        _carried_to(part, ground, machine) for part in ground.parts if part.role == "carried"
    ]


def _carried_to(part: Part, ground: Ground, machine: MachineClass) -> Finding:
    text = f"the machine has to be carried to part {part.number} ({part.area.area:.0f} m2)"
    ways = [
        passage
        for passage in ground.passages
        if passage.verdict == "closed" and shapely.dwithin(passage.area, part.area, _BESIDE_M)
    ]
    if not ways:
        place = shapely.point_on_surface(part.area)
        return Finding(rule="carried_part", severity="note", text=text, place=place)
    widest = max(ways, key=lambda passage: passage.width_m)
    return Finding(
        rule="carried_part",
        severity="note",
        text=(
            f"{text}: the passage to it is {widest.width_m:.2f} m wide, a {machine.name} machine "
            f"needs {machine.smallest_passage_m:.2f} m"
        ),
        place=widest.axis.interpolate(0.5, normalized=True),
        measured=widest.width_m,
        limit=machine.smallest_passage_m,
    )


def _record(
    site: Site, machine: MachineClass, rules: RuleBook, terrain: Terrain
) -> tuple[tuple[str, str], ...]:
    return (
        ("lawnplat_version", importlib.metadata.version("lawnplat")),
        ("shapely_version", f"{shapely.__version__} (GEOS {shapely.geos_version_string})"),
        ("crs", site.crs),
        ("machine_class", machine.name),
        ("elevation_source", terrain.source),
        ("elevation_source_cell_m", f"{terrain.source_cell_m:g}"),
        ("grid_cell_m", f"{terrain.grid.cell_m:g}"),
        ("rule_book_sha256", digest(rules)),
        ("machine_class_sha256", digest(machine)),
    )
