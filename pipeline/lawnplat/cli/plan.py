"""The command that plans: a survey in, a folder a property and the portfolio out."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from lawnplat.cli.common import (
    EXIT_SOME_FAILED,
    crs_option,
    date_option,
    debug_option,
    elevation_unit_option,
    is_debug,
    issue_date,
    json_option,
    machine_option,
    map_option,
    prices_option,
    reports_errors,
    rules_option,
)
from lawnplat.settings.climate import load_climate
from lawnplat.settings.load import load_machine, load_price_book, load_rule_book, shipped_classes
from lawnplat.settings.types import Terms

if TYPE_CHECKING:
    from lawnplat.deliver.printing import Printer
    from lawnplat.planned import Outcome


@click.command()
@click.argument("survey", nargs=-1, required=True, metavar="SURVEY...")
@click.option(
    "--out",
    required=True,
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="Folder for the plans: one folder a property in it, and the portfolio files.",
)
@click.option(
    "--elevation",
    metavar="RASTER",
    type=click.Path(path_type=Path),
    help="Elevation raster, any CRS and cell size. Without one: spot heights, else level ground.",
)
@elevation_unit_option
@map_option
@crs_option
@rules_option
@machine_option
@prices_option
@click.option(
    "--climate",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Monthly mean temperatures, TOML or CSV. Without one: the shipped, invented climate.",
)
@date_option
@click.option(
    "--pdf",
    is_flag=True,
    help="Print each site sheet as site_sheet.pdf too; needs Chromium or WeasyPrint.",
)
@click.option(
    "--prove",
    is_flag=True,
    help="Hold each plan against every rule and simulate it; a breach exits 1. Takes seconds more.",
)
@click.option("--only", multiple=True, metavar="ID", help="Plan this property; may be repeated.")
@click.option(
    "--workers",
    type=click.IntRange(min=1),
    default=1,
    show_default=True,
    help="Processes that plan at the same time.",
)
@json_option
@debug_option
@reports_errors
def plan(
    *,
    survey: tuple[str, ...],
    out: Path,
    elevation: Path | None,
    elevation_unit: str,
    field_map: Path | None,
    crs: str | None,
    rules: Path | None,
    machine: str | None,
    prices: Path | None,
    climate: Path | None,
    issued: datetime | None,
    pdf: bool,
    prove: bool,
    only: tuple[str, ...],
    workers: int,
    as_json: bool,
) -> None:
    """Plan every property of a survey and write its plan.gpkg, site_sheet.html and tables.

    SURVEY is a GeoPackage, a folder of layers, a GeoJSON of parcels, or parcels=FILE[:LAYER]
    features=FILE[:LAYER] and so on.

    --machine holds for every property; without it each parcel's machine_class does, else the class
    medium. Exit status: 0 all planned; 1 some property is not plannable or has bad input; 2 the
    call cannot be carried out.
    """
    from lawnplat.cli.plan_report import Progress, print_findings, print_outcomes  # noqa: PLC0415
    from lawnplat.portfolio.inputs import input_facts  # noqa: PLC0415
    from lawnplat.portfolio.run import RunSettings, run_portfolio  # noqa: PLC0415
    from lawnplat.survey.field_map import load_field_map  # noqa: PLC0415
    from lawnplat.survey.read import read_survey  # noqa: PLC0415

    rule_book = load_rule_book(rules)
    for_all = load_machine(machine) if machine is not None else None
    terms = Terms(
        load_price_book(prices), load_climate(climate), issue_date(issued), shipped_classes()
    )
    names = load_field_map(field_map) if field_map is not None else None
    printer = _printer() if pdf else None
    _require_raster(elevation, elevation_unit)
    found = read_survey(survey, rules=rule_book, field_map=names, crs=crs, only=only or None)
    settings = RunSettings(
        rules=rule_book,
        machine=for_all,
        elevation=elevation,
        elevation_unit=elevation_unit,
        inputs=input_facts(found, elevation, field_map),
        terms=terms,
        printer=printer,
        prove=prove,
    )
    print_findings(found.findings)
    progress = Progress(len(found.sites) + len(found.refusals), traces=is_debug())
    outcomes = run_portfolio(found, settings, out, workers=workers, report=progress.tell)
    print_outcomes(outcomes, out, as_json=as_json)
    if any(_failed(outcome) for outcome in outcomes):
        raise click.exceptions.Exit(EXIT_SOME_FAILED)


def _printer() -> Printer:
    """Return what prints; raise before anything is planned where nothing here can."""
    from lawnplat.deliver.printing import find_printer  # noqa: PLC0415

    return find_printer()


def _require_raster(path: Path | None, unit: str) -> None:
    """Raise before anything is planned where the elevation raster cannot be used."""
    if path is None:
        return
    from lawnplat.terrain.reader import ElevationRaster  # noqa: PLC0415 - brings rasterio

    with ElevationRaster(path, unit=unit):
        pass


def _failed(outcome: Outcome) -> bool:
    from lawnplat.planned import Status  # noqa: PLC0415

    return outcome.status not in {Status.PLANNED, Status.PLANNED_WITH_ADVISORIES}
