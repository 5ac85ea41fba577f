"""The command that shows what survey files hold and what is wrong with them; it plans nothing."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from lawnplat.cli.common import (
    EXIT_SOME_FAILED,
    crs_option,
    debug_option,
    echo_json,
    echo_table,
    json_option,
    map_option,
    reports_errors,
    rules_option,
)
from lawnplat.settings.load import load_rule_book

if TYPE_CHECKING:
    from lawnplat.survey.summary import Noticed
    from lawnplat.survey.types import Survey

_LISTED = 40
"""So many properties and ids are listed; --json gives them all."""


@click.command()
@click.argument("survey", nargs=-1, required=True, metavar="SURVEY...")
@map_option
@crs_option
@rules_option
@json_option
@debug_option
@reports_errors
def inspect(
    *,
    survey: tuple[str, ...],
    field_map: Path | None,
    crs: str | None,
    rules: Path | None,
    as_json: bool,
) -> None:
    """Show what the survey files hold and what is wrong with them; plan nothing.

    SURVEY is a GeoPackage, a folder of layers, a GeoJSON of parcels, or parcels=FILE[:LAYER]
    features=FILE[:LAYER] and so on.

    Exit status: 0 all can be planned from; 1 some property has bad input; 2 the files cannot be
    read.
    """
    from lawnplat.survey.read import load_field_map, read_survey  # noqa: PLC0415
    from lawnplat.survey.summary import kinds_in, noticed  # noqa: PLC0415

    book = load_rule_book(rules)
    mapped = load_field_map(field_map) if field_map is not None else None
    found = read_survey(survey, rules=book, field_map=mapped, crs=crs)
    kinds, notices = kinds_in(found), noticed(found)
    if as_json:
        echo_json(_summary(found, kinds, notices))
    else:
        _show(found, kinds, notices)
    if found.refusals:
        click.get_current_context().exit(EXIT_SOME_FAILED)


def _summary(found: Survey, kinds: dict[str, int], notices: tuple[Noticed, ...]) -> dict[str, Any]:
    sites = [
        {
            "property_id": site.property_id,
            "label": site.label,
            "status": "readable",
            "crs": site.crs,
            "parcel_m2": round(site.parcel.area, 2),
            "machine_class": site.machine_class,
            "lawns": len(site.lawns),
            "features": len(site.features),
            "spot_heights": len(site.spot_heights),
        }
        for site in found.sites
    ]
    refused = [
        {
            "property_id": refusal.property_id,
            "label": refusal.label,
            "status": "bad_input",
            "reason": "; ".join(f.text for f in refusal.findings if f.severity == "stop"),
        }
        for refusal in found.refusals
    ]
    properties = [*sites, *refused]
    return {"layers": found.layers, "kinds": kinds, "properties": properties, "findings": notices}


def _show(found: Survey, kinds: dict[str, int], notices: tuple[Noticed, ...]) -> None:
    echo_table(
        ("layer", "taken as", "geometry", "rows", "CRS", "file"),
        [(a.name, a.role, a.geometry_type, str(a.count), a.crs, a.file) for a in found.layers],
    )
    click.echo()
    for crs, count in Counter(site.crs for site in found.sites).items():
        click.echo(f"CRS to work in: {crs} ({count} properties)")
    listed = ", ".join(f"{kind} {count}" for kind, count in kinds.items())
    click.echo(f"Kinds of features: {listed or 'none'}\n")
    _show_properties(found)
    click.echo()
    if not notices:
        click.echo("Nothing is wrong with the files.")
    for notice in notices:
        _show_notice(notice)


def _show_properties(found: Survey) -> None:
    """List the properties, those with bad input first."""
    rows: list[tuple[str, ...]] = [
        (refusal.property_id, refusal.label, "bad input", "", "", "", "")
        for refusal in found.refusals
    ]
    for site in found.sites:
        counts = (len(site.lawns), len(site.features), len(site.spot_heights))
        area = f"{site.parcel.area:.1f}"
        rows.append((site.property_id, site.label, "readable", area, *map(str, counts)))
    headers = ("property_id", "label", "status", "parcel m2", "lawns", "features", "spot heights")
    echo_table(headers, rows[:_LISTED])
    if len(rows) > _LISTED:
        click.echo(f"... and {len(rows) - _LISTED} more properties; --json lists them all")


def _show_notice(notice: Noticed) -> None:
    times = f" ({notice.count} times)" if notice.count > 1 else ""
    click.echo(f"{notice.severity}: {notice.rule}: {notice.text}{times}")
    if notice.where:
        click.echo(f"  at {notice.where}")
    if notice.properties:
        ids = notice.properties[:_LISTED]
        more = len(notice.properties) - len(ids)
        click.echo(f"  on {', '.join(ids)}" + (f" and {more} more" if more else ""))
    if notice.place is not None:
        click.echo(f"  first place {notice.place[0]:.2f}, {notice.place[1]:.2f} ({notice.crs})")
