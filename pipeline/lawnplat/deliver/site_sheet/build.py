"""The site sheet put together, page after page."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from html import escape

import shapely
from shapely.geometry.base import BaseGeometry

from lawnplat.deliver.picture.draw import numbered_findings
from lawnplat.deliver.picture.panel import CAUTION
from lawnplat.deliver.picture.paper import Paper
from lawnplat.deliver.picture_file import MARK
from lawnplat.deliver.site_sheet.cautions import FOR_CREW, caution_list
from lawnplat.deliver.site_sheet.client import client_section
from lawnplat.deliver.site_sheet.contours import Contours, contours
from lawnplat.deliver.site_sheet.forms import Form
from lawnplat.deliver.site_sheet.legend import draw_key_map, draw_legend
from lawnplat.deliver.site_sheet.map_page import draw_map_page
from lawnplat.deliver.site_sheet.markup import Html, element, joined, plain_words, said, section
from lawnplat.deliver.site_sheet.setting_out import setting_out_section
from lawnplat.deliver.site_sheet.simulated import simulation_section
from lawnplat.deliver.site_sheet.station_detail import draw_station, station_sizes, straight_words
from lawnplat.deliver.site_sheet.style import style
from lawnplat.deliver.site_sheet.tables import (
    commissioning_section,
    materials_section,
    programme_section,
)
from lawnplat.deliver.site_sheet.tiles import WORKING_SCALE, map_pages
from lawnplat.planned import Plan, Status
from lawnplat.survey.types import Finding
from lawnplat.wire.types import Layout

_TITLE_LETTERS = 90
_POLICY = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
_OVERVIEW = "overview"
_NO_GROUND = ("building", "water")
"""Kinds whose ground has no contours."""
_DONE = (Status.PLANNED, Status.PLANNED_WITH_ADVISORIES)
_SEVERITY = {"stop": "STOP", "warn": "Warning", "note": "Note"}


def site_sheet(plan: Plan, *, issued: str = "") -> str:
    """Return the site sheet of a plan as one HTML document.

    Parameters
    ----------
    plan : Plan
        A plan, complete or as far as it came: what is not known is left out, and a plan that must
        not be laid says so on every map page.
    issued : str
        Date of the sheet, ISO 8601, or empty.

    Returns
    -------
    str
        No scripts, nothing fetched from elsewhere, every text escaped. Maps are to scale when
        printed on A4 at 100 %. The same plan gives the same text. North is grid north.
    """
    name = _name(plan)
    numbered = numbered_findings(plan.findings)
    head = joined(
        (
            Html('<meta charset="utf-8">'),
            Html(f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'),
            Html('<meta name="viewport" content="width=device-width, initial-scale=1">'),
            Html(f"<title>Site sheet: {escape(name)}</title>"),
            Html(f"<style>{style(f'{issued}  {name}' if issued else name)}</style>"),
        )
    )
    pages = joined((*_maps(plan, numbered, issued), *_pages(plan, numbered, issued)))
    body = element("main", pages)
    return (
        f'<!DOCTYPE html>\n<html lang="en">\n{MARK}\n<head>{head}</head>\n'
        f"<body>{body}</body>\n</html>\n"
    )


def _name(plan: Plan) -> str:
    return plain_words(plan.site.label or plan.site.property_id)[:_TITLE_LETTERS]


def _maps(plan: Plan, numbered: list[tuple[int, Finding]], issued: str) -> Iterator[Html]:
    """Yield the map pages: where the site is too large for a working scale, each loop's too."""
    sheets, lines = _sheets(plan), _contours(plan)
    block = _title_block(plan, issued)
    keyed = [each.paper for each in sheets if each.what != _OVERVIEW]
    for number, sheet in enumerate(sheets, start=1):
        overview = sheet.what == _OVERVIEW
        canvas = draw_map_page(sheet.paper, plan, numbered, lines, number, marks=not overview)
        placed = len(keyed) > 1 and not overview
        keys = [Html(draw_legend(sheet.form, canvas.key, number, narrow=placed))]
        if placed:
            first = len(sheets) - len(keyed) + 1
            keys.append(Html(draw_key_map(plan.site.parcel, keyed, number, first)))
        which = f"sheet {number} of {len(sheets)}{', ' if sheet.what else ''}{sheet.what}"
        under = element("div", block, element("div", *keys, class_="keys"), class_="under")
        header = _map_header(plan, which, sheet.paper.scale, first=number == 1)
        body = element("div", element("figure", Html(canvas.element())), under, class_="body")
        yield element("section", header, body, class_=f"sheet {sheet.form.name}")


@dataclass(frozen=True)
class _Sheet:
    """One map page to be: ``what`` it shows of a site that needs several maps, or empty."""

    what: str
    form: Form
    paper: Paper


def _sheets(plan: Plan) -> list[_Sheet]:
    """Return the map pages of the site, and after an overview those of each loop."""
    whole = map_pages(_shown(plan))
    overview = whole.papers[0].scale > WORKING_SCALE and bool(plan.layouts)
    sets = [(_OVERVIEW if overview else "", whole)]
    if overview:
        sets += [(f"loop {each.loop}", map_pages(_shown_of(plan, each))) for each in plan.layouts]
    return [_Sheet(what, pages.form, paper) for what, pages in sets for paper in pages.papers]


def _map_header(plan: Plan, which: str, scale: float, *, first: bool) -> Html:
    words = f"Map, {which}, scale 1:{scale:g} on A4, printed at 100 %"
    pieces = [element("h2", words, class_="one-line")]
    if first:
        name = said(_name(plan), _TITLE_LETTERS)
        pieces.insert(0, element("h1", "Site sheet: ", name, class_="one-line"))
    return element("header", *pieces)


def _shown_of(plan: Plan, layout: Layout) -> BaseGeometry:
    """Return what the maps of one loop must show: its ground and its wires."""
    parts = (
        [part.area for part in plan.ground.parts if part.loop == layout.loop] if plan.ground else []
    )
    cable = layout.station.cable_route
    near = [cable] if cable is not None else []
    return shapely.union_all([*parts, layout.perimeter.line, layout.station.base, *near])


def _contours(plan: Plan) -> Contours | None:
    """Return the contours of the property's open ground."""
    if plan.terrain is None:
        return None
    shut = [each.geometry for each in plan.site.features if each.kind in _NO_GROUND]
    return contours(plan.terrain, shapely.difference(plan.site.parcel, shapely.union_all(shut)))


def _shown(plan: Plan) -> BaseGeometry:
    """Return what the maps must show: the property and all that is laid."""
    laid = [layout.perimeter.line for layout in plan.layouts]
    laid += [each.station.cable_route for each in plan.layouts if each.station.cable_route]
    bases = [layout.station.base for layout in plan.layouts]
    return shapely.union_all([plan.site.parcel, *plan.site.lawns, *laid, *bases])


def _title_block(plan: Plan, issued: str) -> Html:
    site, known = plan.site, dict(plan.run_info)
    rows = [
        ("Property", said(site.property_id, 60)),
        ("Machine class", said(plan.machine.name, 40)),
        ("CRS", said(site.crs, 40)),
        ("Date", issued or "not given"),
        ("Plan made by", f"lawnplat {known.get('lawnplat_version', '')}".strip()),
        ("Checked by", Html('<span class="line"></span>')),
        *_figures(plan),
    ]
    pairs = [
        element("div", element("dt", term), element("dd", words, class_="one-line"))
        for term, words in rows
    ]
    pieces = [element("dl", *pairs), element("p", CAUTION, class_="caution")]
    if plan.status not in _DONE:
        pieces.insert(0, element("p", "DO NOT LAY: cannot be planned", class_="stop"))
    return element("div", *pieces, class_="title")


def _figures(plan: Plan) -> Iterator[tuple[str, str]]:
    if plan.ground is not None:
        mown = sum(part.area.area for part in plan.ground.parts)
        yield "Lawn, mown of it", f"{plan.ground.lawn.area:.0f} m², {mown:.0f} m²"
    if plan.layouts:
        wire = sum(each.perimeter.line.length for each in plan.layouts)
        lines = [line.line.length for each in plan.layouts for line in each.return_lines]
        yield "Wire, return lines", f"{wire:.1f} m, {sum(lines):.1f} m"


def _pages(plan: Plan, numbered: list[tuple[int, Finding]], issued: str) -> Iterator[Html]:
    several = len(plan.layouts) > 1
    for layout in plan.layouts:
        yield _station_page(plan, layout, several=several)
    works = plan.works
    if works is not None:
        if works.marks:
            yield setting_out_section(works, several=several)
        yield materials_section(works)
        if works.programme is not None:
            yield programme_section(works.programme)
        if works.commissioning:
            yield commissioning_section(works, several=several)
    if plan.simulation is not None and plan.simulation.loops:
        yield simulation_section(plan.simulation)
    yield _advisories(numbered)
    if plan.status in _DONE and plan.layouts:
        yield client_section(plan, issued)


def _station_page(plan: Plan, layout: Layout, *, several: bool) -> Html:
    canvas = draw_station(plan, layout)
    which = f" of loop {layout.loop}" if several else ""
    title = f"Station{which}, scale 1:{canvas.paper.scale:g}"
    return section(title, element("figure", Html(canvas.element())), _station_facts(layout))


def _station_facts(layout: Layout) -> Html:
    station, sizes = layout.station, station_sizes(layout)
    rows = [
        ("Front faces", f"{station.bearing_deg:.0f}° from grid north"),
        ("Tilt over base and front", f"{station.tilt_pct:.1f} %"),
        ("Base, length and width", f"{sizes.base_length_m:.2f} x {sizes.base_width_m:.2f} m"),
        ("Kept clear, depth and width", f"{sizes.front_depth_m:.2f} x {sizes.front_width_m:.2f} m"),
        ("Wire straight to the left", straight_words(sizes.straight_left_m)),
        ("Wire straight to the right", straight_words(sizes.straight_right_m)),
        ("Wire begins, seen from behind", "left wire end"),
        ("Wire ends, seen from behind", "right wire end"),
        ("Cable to the outlet", _cable(layout)),
        ("Return lines", f"{len(layout.return_lines)}"),
    ]
    return element(
        "dl", *(element("div", element("dt", a), element("dd", b)) for a, b in rows), class_="facts"
    )


def _cable(layout: Layout) -> str:
    station = layout.station
    if station.cable_route is None:
        return "no outlet within reach"
    paved = f", {station.cable_paved_m:.1f} m paved" if station.cable_paved_m else ""
    return f"{station.outlet_distance_m:.1f} m{paved}"


def _advisories(numbered: list[tuple[int, Finding]]) -> Html:
    items = [
        element("li", element("b", _SEVERITY[each.severity]), ": ", said(each.text),
                value=f"{number}", class_="stop" if each.severity == "stop" else "advisory")
        for number, each in numbered
    ]  # fmt: skip
    none = element("p", "The plan asks for nothing in particular to be looked at.")
    return section(
        "Advisories and cautions",
        element("h3", "Look at this on site (numbers as on the map)"),
        element("ol", *items) if items else none,
        element("h3", "Cautions"),
        caution_list(FOR_CREW),
    )
