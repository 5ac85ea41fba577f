"""The page over all properties of a run: small map, status, figures, what needs a visit."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from urllib.parse import quote

from lawnplat.deliver.contract import SHEET_FILE
from lawnplat.deliver.picture_file import MARK
from lawnplat.deliver.site_sheet.markup import Html, element, html, joined, said, table
from lawnplat.deliver.small_map import small_map
from lawnplat.planned import Outcome, Status

_POLICY = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
_MAP_BYTES = 6_000_000
"""All small maps together stay about under this."""
_POINT_BYTES = 14
_MOST_POINTS, _FEWEST_POINTS = 120, 12
_LETTERS = 160
_STATUS = {
    Status.PLANNED: "planned",
    Status.PLANNED_WITH_ADVISORIES: "planned, with advisories",
    Status.NOT_PLANNABLE: "cannot be planned",
    Status.BAD_INPUT: "bad input",
}
_PRICE = re.compile(r'<data value="[^"<>]*">[^<]*</data>')
_STYLE = """
body { margin: 8mm auto; padding: 0 6mm; max-width: 260mm; color: #111; background: #fff;
  font: 10pt/1.4 Helvetica, Arial, 'Liberation Sans', 'DejaVu Sans', sans-serif; }
h1 { font-size: 16pt; margin: 0 0 2mm; }
table { border-collapse: collapse; width: 100%; font-size: 9.5pt; }
caption { text-align: left; font-weight: 700; padding: 2mm 0; }
th, td { border-bottom: 0.2mm solid #777; padding: 1.5mm 2mm; text-align: left; vertical-align: top;
  font-weight: 400; overflow-wrap: anywhere; }
thead th { font-weight: 700; border-bottom: 0.5mm solid #111; }
tbody tr { content-visibility: auto; contain-intrinsic-size: auto 110px; break-inside: avoid; }
.figure { text-align: right; white-space: nowrap; font-variant-numeric: tabular-nums; }
a { color: #00427a; } small { color: #333; font-size: 8.5pt; }
ul { margin: 0; padding-left: 4mm; } svg { display: block; max-width: none; }
@page { size: A4 landscape; margin: 12mm; }
"""


def index_page(outcomes: Sequence[Outcome], *, issued: str = "") -> str:
    """Return the index as one HTML document.

    Parameters
    ----------
    outcomes : sequence of Outcome
        In any number: small maps get fewer points the more there are.
    issued : str
        Date of the run, ISO 8601, or empty.

    Returns
    -------
    str
        No scripts, nothing fetched from elsewhere, every text escaped; links lead to the folders'
        site sheets.
    """
    head = (
        '<meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>Properties planned</title><style>{_STYLE}</style>"
    )
    body = element(
        "main", element("h1", "Properties planned"), element("p", _summary(outcomes, issued)),
        _listed(outcomes),
    )  # fmt: skip
    return (
        f'<!DOCTYPE html>\n<html lang="en">\n{MARK}\n<head>{head}</head>\n'
        f"<body>{body}</body>\n</html>\n"
    )


def _summary(outcomes: Sequence[Outcome], issued: str) -> str:
    counts = Counter(each.status for each in outcomes)
    told = ", ".join(f"{counts[status]} {words}" for status, words in _STATUS.items()
                     if counts[status])  # fmt: skip
    wire = sum(each.perimeter_m for each in outcomes)
    area = sum(each.mowable_m2 for each in outcomes)
    dated = f"{issued}: " if issued else ""
    figures = f"{area:.0f} m² mown, {wire:.0f} m of wire"
    return f"{dated}{len(outcomes)} properties: {told or 'none'}. {figures}."


def _listed(outcomes: Sequence[Outcome]) -> Html:
    share = _MAP_BYTES // max(len(outcomes), 1) // (2 * _POINT_BYTES)
    most = max(_FEWEST_POINTS, min(_MOST_POINTS, share))
    heads = ("Property", "Map", "Status", "Mown m²", "Wire m", "Price", "Needs a site visit")
    rows = (_row(each, most) for each in outcomes)
    return table("Properties, in the survey's order", heads, rows, right=(3, 4, 5))


def _row(each: Outcome, most_points: int) -> tuple[str, ...]:
    name = said(each.property_id, _LETTERS)
    if each.folder:
        name = element("a", name, href=f"{quote(each.folder, safe='')}/{SHEET_FILE}")
    if each.label:
        name = joined((name, Html("<br>"), element("small", said(each.label, _LETTERS))))
    return (
        name,
        _map(each, most_points),
        _STATUS[each.status],
        f"{each.mowable_m2:.0f}" if each.mowable_m2 else "-",
        f"{each.perimeter_m:.1f}" if each.perimeter_m else "-",
        _price(each),
        _visit(each),
    )


def _price(each: Outcome) -> Html:
    """Return the quote's total, or a dash where there is none, marked by its folder."""
    words = "-"
    if each.quote is not None and each.quote.total is not None:
        words = f"{each.quote.total:.2f} {each.quote.currency}"
    return element("data", words, value=each.folder)


def with_prices(page: str, outcomes: Sequence[Outcome]) -> str:
    """Return an index page with the prices of ``outcomes`` in place of those of their folders."""
    prices = {_start(cell): cell for cell in map(_price, outcomes)}
    return _PRICE.sub(lambda found: prices.get(_start(found[0]), found[0]), page)


def _start(cell: str) -> str:
    """Return the opening tag of a price, by which a property's is known."""
    return cell.partition(">")[0]


def _map(each: Outcome, most_points: int) -> Html:
    if each.outline is None or each.outline.is_empty:
        return Html("-")
    title = html(f"Map of {each.property_id[:_LETTERS]}")
    drawn = small_map(each.outline, each.wire, each.stations, title=title, most_points=most_points)
    return Html(drawn)


def _visit(each: Outcome) -> Html:
    """Return what somebody has to see to: why it is not planned, else what warns."""
    if each.reason:
        return said(each.reason, 2 * _LETTERS)
    if not each.visit:
        return Html("-")
    items = [element("li", said(text, _LETTERS)) for text in each.visit]
    more = each.advisories - len(each.visit)
    if more > 0:
        items.append(element("li", f"and {more} more, on the sheet"))
    return element("ul", *items)
