"""The command that holds written plans against the rules."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from lawnplat.cli.common import (
    EXIT_SOME_FAILED,
    crs_option,
    debug_option,
    echo_json,
    echo_table,
    elevation_unit_option,
    json_option,
    machine_option,
    map_option,
    prices_option,
    printable,
    reports_errors,
    rules_option,
)
from lawnplat.settings.load import load_machine, load_price_book, load_rule_book

if TYPE_CHECKING:
    from lawnplat.portfolio.checked import Proved
    from lawnplat.survey.types import Finding

_BROKEN = ("stop", "warn")


@click.command()
@click.argument("plans", nargs=-1, required=True, metavar="PLAN... [SURVEY...]")
@click.option(
    "--elevation",
    metavar="RASTER",
    type=click.Path(path_type=Path),
    help="Elevation raster for what needs heights. Without one: the survey's spot heights.",
)
@elevation_unit_option
@map_option
@crs_option
@rules_option
@machine_option
@prices_option
@click.option(
    "--out",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="GeoPackage for the findings, a point at the worst spot of each.",
)
@click.option(
    "--as-laid",
    "track",
    metavar="TRACK",
    type=click.Path(path_type=Path),
    help="The wire as measured after laying: GeoPackage, GeoJSON, CSV, DXF or GPX; for one plan.",
)
@click.option(
    "--track-crs", metavar="CRS", help="CRS of a track that names none, such as EPSG:25832."
)
@click.option(
    "--accuracy",
    "accuracy_m",
    type=float,
    metavar="M",
    help="Standard deviation of the track's points in each of two axes, where they state none.",
)
@click.option(
    "--record",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Where the as-laid record goes. Default: as_laid.gpkg beside the plan.",
)
@json_option
@debug_option
@reports_errors
def check(
    *,
    plans: tuple[str, ...],
    elevation: Path | None,
    elevation_unit: str,
    field_map: Path | None,
    crs: str | None,
    rules: Path | None,
    machine: str | None,
    prices: Path | None,
    out: Path | None,
    track: Path | None,
    track_crs: str | None,
    accuracy_m: float | None,
    record: Path | None,
    as_json: bool,
) -> None:
    """Hold plans against the rule book by other methods than the planner's.

    PLAN is a plan.gpkg, or a folder of plans. SURVEY is what they were planned from, as for
    lawnplat plan; without one the plans' own feature layers are taken. What needs heights is
    measured where --elevation or the survey's spot heights tell them.

    With --as-laid, the wire as it was measured after laying is matched to the plan: where it
    strays, what that breaks, and a record by which lawnplat locate finds a break years later.

    A finding is a note where the plan's own advisories say so too. Exit status: 0 no rule broken;
    1 some rule broken; 2 the call cannot be carried out.
    """
    from lawnplat.portfolio.checked import (  # noqa: PLC0415
        Against,
        Proved,
        plans_and_survey,
        prove_files,
    )
    from lawnplat.portfolio.laid import TrackFile, prove_laid  # noqa: PLC0415
    from lawnplat.survey.field_map import load_field_map  # noqa: PLC0415

    against = Against(
        rules=load_rule_book(rules),
        machine=load_machine(machine) if machine is not None else None,
        prices=load_price_book(prices) if prices is not None else None,
        field_map=load_field_map(field_map) if field_map is not None else None,
        crs=crs,
        elevation=elevation,
        elevation_unit=elevation_unit,
    )
    paths, sources = plans_and_survey(plans)
    if track is None and (track_crs, accuracy_m, record) != (None, None, None):
        raise click.UsageError("--track-crs, --accuracy and --record go with --as-laid")
    if track is None:
        proved = prove_files(paths, against, sources)
    else:
        if len(paths) != 1:
            raise click.UsageError("--as-laid takes one plan")
        given = TrackFile(track, track_crs, accuracy_m)
        laid, written = prove_laid(paths[0], given, against, sources, record)
        proved = (Proved(paths[0], laid.property_id, laid.crs, laid.findings),)
    if out is not None:
        _write(proved, out)
    if as_json:
        _tell_json(proved, None if track is None else written)
    else:
        _tell(proved)
        if track is not None:
            told = [f"{w.planned.on} {w.laid.length_m:.2f} m" for w in laid.wires if w.points]
            click.echo(f"as laid: {', '.join(told)}; record in {written}")
    if any(each.severity in _BROKEN for plan in proved for each in plan.findings):
        raise click.exceptions.Exit(EXIT_SOME_FAILED)


def _write(proved: Sequence[Proved], out: Path) -> None:
    from lawnplat.deliver.findings_file import PlanFindings, write_findings  # noqa: PLC0415

    rows = [PlanFindings(each.property_id, each.crs, each.findings) for each in proved]
    write_findings(rows, out)


def _tell(proved: Sequence[Proved]) -> None:
    for plan in proved:
        counts = _counts(plan.findings)
        told = [f"{number} {name}" for name, number in counts.items() if number]
        if not any(counts[name] for name in _BROKEN):
            told.insert(0, "no rule broken")
        click.echo(f"{printable(plan.property_id)}: {', '.join(told)}")
        if plan.findings:
            rows = [_row(each) for each in plan.findings]
            texts = [each.text for each in plan.findings]
            echo_table(("rule", "severity", "x", "y", "measured", "limit"), rows, texts)
            click.echo()
    if len(proved) > 1:
        broken = sum(any(f.severity in _BROKEN for f in plan.findings) for plan in proved)
        click.echo(f"{len(proved)} plans, {broken} with a rule broken")


def _tell_json(proved: Sequence[Proved], record: Path | None) -> None:
    from lawnplat.proving.catalogue import RULES  # noqa: PLC0415

    echo_json(
        {
            "plans": [
                {
                    "plan": each.path,
                    "property_id": each.property_id,
                    "crs": each.crs,
                    "counts": _counts(each.findings),
                    "findings": [_json_row(finding) for finding in each.findings],
                }
                for each in proved
            ],
            "rules": {rule.name: rule.about for rule in RULES},
            **({} if record is None else {"record": record}),
        }
    )


def _counts(findings: Iterable[Finding]) -> dict[str, int]:
    severities = [each.severity for each in findings]
    return {name: severities.count(name) for name in (*_BROKEN, "note")}


def _json_row(each: Finding) -> dict[str, object]:
    place = None if each.place is None else [round(each.place.x, 3), round(each.place.y, 3)]
    return {
        "rule": each.rule,
        "severity": each.severity,
        "place": place,
        "measured": each.measured,
        "limit": each.limit,
        "text": each.text,
    }


def _row(each: Finding) -> tuple[str, ...]:
    place = each.place
    x, y = ("", "") if place is None else (f"{place.x:.2f}", f"{place.y:.2f}")
    return each.rule, each.severity, x, y, _number(each.measured), _number(each.limit)


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.3f}".rstrip("0").rstrip(".")
