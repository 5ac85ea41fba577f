"""The command that says where a wire lies, years later, and where to look for a break."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

import click

from lawnplat.cli.common import (
    debug_option,
    echo_json,
    echo_table,
    json_option,
    reports_errors,
    rules_option,
)
from lawnplat.settings.load import load_rule_book

if TYPE_CHECKING:
    from lawnplat.proving.locate.known import Known
    from lawnplat.proving.locate.places import Located, Stretch
    from lawnplat.proving.locate.two_tapes import TwoTapes

CAUTIONS = (
    "Switch the mower off and pull the station's plug before you dig or cut.",
    (
        "Have buried gas, water, power and telecom lines located first; near one dig by hand only. "
        "Local codes prevail."
    ),
)
_BREAKS_AT_JOINTS = (
    "Look at the nearest joint first: most breaks are at joints (common practice, no source)."
)


@click.command()
@click.argument("record", metavar="RECORD", type=click.Path(path_type=Path))
@click.option("--chainage", "chainage_m", type=float, metavar="M", help="The place at that metre.")
@click.option(
    "--between",
    "between_m",
    type=(float, float),
    metavar="FROM TO",
    help="The stretch between two metres, and where to cut in and measure.",
)
@click.option("--on", metavar="WIRE", help="A wire, such as return_1. Default: the perimeter.")
@click.option("--loop", type=click.IntRange(min=1), metavar="N", help="The wire of that loop.")
@rules_option
@json_option
@debug_option
@reports_errors
def locate(
    *,
    record: Path,
    chainage_m: float | None,
    between_m: tuple[float, float] | None,
    on: str | None,
    loop: int | None,
    rules: Path | None,
    as_json: bool,
) -> None:
    """Say where a wire lies, by its chainage, in coordinates and two tapes.

    RECORD is an as_laid.gpkg that lawnplat check --as-laid wrote. Of a plan.gpkg, the places are
    those planned. Chainage counts along the wire, the perimeter's from the station's left terminal
    seen from behind, a return line's from the station.

    Exit status: 0 done; 2 the call cannot be carried out.
    """
    from lawnplat.portfolio.laid import read_wires  # noqa: PLC0415 - brings shapely
    from lawnplat.proving.locate.known import known_of  # noqa: PLC0415
    from lawnplat.proving.locate.places import located, stretch  # noqa: PLC0415

    if (chainage_m is None) == (between_m is None):
        raise click.UsageError("give either --chainage M or --between FROM TO")
    book = load_rule_book(rules)
    known = known_of(read_wires(record), book)
    wire = known.wire(on, loop)
    if chainage_m is not None:
        place = located(known, wire, chainage_m, book)
        _tell_json(known, place=place) if as_json else _tell_place(known, place)
    elif between_m is not None:
        part = stretch(known, wire, *between_m, book)
        _tell_json(known, part=part) if as_json else _tell_stretch(known, part)


def _tell_json(known: Known, place: Located | None = None, part: Stretch | None = None) -> None:
    told: dict[str, object] = {
        "property_id": known.property_id,
        "crs": known.crs,
        "basis": "as laid" if known.as_laid else "as planned",
    }
    if place is not None:
        told["place"] = _plain_place(place)
    if part is not None:
        told["stretch"] = {
            "start": _plain_place(part.start),
            "end": _plain_place(part.end),
            "length_m": part.length_m,
            "line": [[round(x, 3), round(y, 3)] for x, y in part.line.coords],
            "halvings": [
                {
                    "step": each.step,
                    "if_broken_between": each.if_broken,
                    "open_joint": each.open_joint,
                    "place": _plain_place(each.place),
                }
                for each in part.halvings
            ],
            "tests_needed": part.tests_left,
        }
    echo_json({**told, "cautions": CAUTIONS})


def _plain_place(place: Located) -> dict[str, object]:
    known = {"across_m": place.across_m, "along_m": place.along_m}
    unknown = {name: None for name, value in known.items() if math.isnan(value)}
    return {**vars(place), **unknown}


def _tell_basis(known: Known) -> None:
    if not known.as_laid:
        click.echo("As planned, not as laid: nothing was measured after the wire was laid.")


def _tell_place(known: Known, place: Located) -> None:
    click.echo(f"{known.property_id}, {place.on}, {place.chainage_m:.2f} m along the wire")
    _tell_basis(known)
    click.echo(f"  place    {place.x_m:.3f} {place.y_m:.3f} ({known.crs})")
    click.echo(f"           {place.lon:.8f} {place.lat:.8f} (longitude, latitude)")
    click.echo(f"  tapes    {_tapes(place)}")
    for word, peg in (("before", place.peg_before), ("after", place.peg_after)):
        if peg is not None:
            far = f"{peg.away_m:.2f} m {word}"
            click.echo(f"  peg      {peg.name} at {peg.chainage_m:.2f} m, {far}")
    if place.joint is not None:
        joint = place.joint
        told = f"{joint.name} at {joint.chainage_m:.2f} m, {joint.away_m:.2f} m along the wire"
        click.echo(f"  joint    {told}")
    if math.isnan(place.across_m):
        click.echo("  reach    not measured here: as planned")
    else:
        along = f"{place.along_m:.2f} m along the wire, spare at an end included"
        click.echo(f"  reach    {place.across_m:.2f} m across; {along}")
    _tell_cautions()


def _tell_stretch(known: Known, part: Stretch) -> None:
    on, start, end = part.start.on, part.start, part.end
    between = f"{start.chainage_m:.2f} to {end.chainage_m:.2f} m"
    click.echo(f"{known.property_id}, {on}, {between}: {part.length_m:.2f} m of wire")
    _tell_basis(known)
    click.echo(f"  from  {start.x_m:.3f} {start.y_m:.3f}: {_tapes(start)}")
    click.echo(f"  to    {end.x_m:.3f} {end.y_m:.3f}: {_tapes(end)}")
    ways = "; ".join(f"{x:.2f} {y:.2f}" for x, y in part.line.simplify(0.05).coords)
    click.echo(f"  line  {ways} ({known.crs})")
    if part.halvings:
        click.echo(
            "\nCut in and measure to both ends, in this order; go on in the half that is open:"
        )
        rows = [
            (
                "middle" if each.step == 1 else "quarter",
                each.if_broken,
                f"{each.place.chainage_m:.2f}",
                f"{each.place.x_m:.3f} {each.place.y_m:.3f}",
                f"open the {each.open_joint} joint" if each.open_joint else "cut in",
            )
            for each in part.halvings
        ]
        texts = [_tapes(each.place) for each in part.halvings]
        echo_table(("test", "if broken in", "at m", "place", "how"), rows, texts)
    tests = "1 test leaves" if part.tests_left == 1 else f"{part.tests_left} tests leave"
    click.echo(f"\n{tests} a stretch short enough to be laid bare whole.")
    _tell_cautions()


def _tapes(place: Located) -> str:
    if place.tapes is not None:
        return _two_tapes(place.tapes)
    ways = []
    if place.square is not None:
        line = place.square
        ways.append(
            f"{line.along_m:.3f} m from {line.from_a} on the line to {line.to_b}, "
            f"{line.off_m:.3f} m square to its {line.side}"
        )
    if place.along is not None:
        peg = place.along
        ways.append(
            f"{peg.away_m:.2f} m {peg.way} along the wire from peg {peg.peg}, which lies "
            f"{_two_tapes(peg.tapes)}"
        )
    told = "; or ".join(ways) or "use the coordinates"
    return f"no two fixed points reach it: {told}"


def _two_tapes(tapes: TwoTapes) -> str:
    return (
        f"{tapes.dist_a_m:.3f} m from {tapes.from_a}, {tapes.dist_b_m:.3f} m from {tapes.from_b}, "
        f"{tapes.side} of {tapes.from_a}-{tapes.from_b}, cut {tapes.cut_deg:.0f} deg"
    )


def _tell_cautions() -> None:
    click.echo()
    for line in (_BREAKS_AT_JOINTS, *CAUTIONS):
        click.echo(line)
