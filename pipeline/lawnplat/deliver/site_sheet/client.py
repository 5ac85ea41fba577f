"""The client's page: what they get, what to mind, and the quote."""

from __future__ import annotations

from collections.abc import Callable

from lawnplat.deliver.site_sheet.cautions import FOR_CLIENT, caution_list
from lawnplat.deliver.site_sheet.markup import Html, bullets, element, joined, said, section, table
from lawnplat.planned import Plan
from lawnplat.works.types import Quote

QUOTE_BEGIN, QUOTE_END = "<!-- quote: begin -->", "<!-- quote: end -->"
"""Lines between which the quote stands, so that a new one can take its place."""

QuoteSection = Callable[[Quote], str]
"""Makes the HTML fragment of a quote; all text in it is escaped already."""


def client_section(plan: Plan, issued: str, quote_section: QuoteSection | None = None) -> Html:
    """Return the page that the client keeps.

    Parameters
    ----------
    plan : Plan
        A plan with ground and wires.
    issued : str
        Date of the sheet, or empty.
    quote_section : callable, optional
        Makes the quote's fragment; without one, a plain table of its lines.
    """
    quote = plan.works.quote if plan.works is not None else None
    make = quote_section or plain_quote
    fragment = make(quote) if quote is not None else ""
    name = plan.site.label or plan.site.property_id
    dated = f" - {issued}" if issued else ""
    return section(
        "For the client",
        element("p", said(name, 120), dated, class_="about"),
        element("h3", "What you get"),
        bullets(what_you_get(plan)),
        element("h3", "What to mind"),
        caution_list(FOR_CLIENT),
        Html(f"\n{QUOTE_BEGIN}\n{fragment}\n{QUOTE_END}\n"),
    )


def what_you_get(plan: Plan) -> list[str]:
    """Return what the machine does and what it leaves, in sentences."""
    if plan.ground is None:
        return []
    mown = sum(part.area.area for part in plan.ground.parts)
    lawn, trim = plan.ground.lawn.area, sum(each.area.area for each in plan.ground.hand_trim)
    lines = [f"{mown:.0f} m² of your {lawn:.0f} m² of lawn are mown by the machine."]
    if round(trim) > 0:
        lines.append(f"{trim:.0f} m² along edges and in narrow places are trimmed by hand.")
    carried = [part for part in plan.ground.parts if part.role == "carried"]
    if carried:
        area = sum(part.area.area for part in carried)
        lines.append(f"The machine has to be carried to {area:.0f} m² of it.")
    wire = sum(layout.perimeter.line.length for layout in plan.layouts)
    stations = len(plan.layouts)
    told = "one charging station" if stations == 1 else f"{stations} charging stations"
    lines.append(f"{wire:.0f} m of wire round lawn and beds, and {told}.")
    lines.extend(_hours(plan))
    return lines


def _hours(plan: Plan) -> list[str]:
    programme = plan.works.programme if plan.works is not None else None
    months = [each for each in programme.months if each.start] if programme is not None else []
    if not months:
        return []
    most = max(months, key=lambda each: each.hours_per_week)
    first, last = min(each.start for each in months), max(each.end for each in months)
    return [
        (
            f"It mows at most {most.hours_per_week:.0f} hours a week, on {most.days_per_week} "
            f"days, between {first} and {last}, by daylight."
        )
    ]


def plain_quote(quote: Quote) -> Html:
    """Return the quote as a table of its lines."""
    rows = [
        (
            f"{each.number}",
            said(each.item),
            "" if each.quantity is None else f"{each.quantity:f}",
            said(each.unit),
            "" if each.unit_price is None else f"{each.unit_price:f}",
            f"{each.amount:.2f}",
        )
        for each in quote.lines
    ]
    heads = ("No.", "Item", "Quantity", "Unit", "Unit price", "Amount")
    lines = table(f"Quote in {quote.currency}", heads, rows, right=(2, 4, 5))
    valid = f"Total {quote.total:.2f} {quote.currency}, valid {quote.valid_days} days"
    dated = f" from {quote.issued}." if quote.issued else "."
    pieces = [element("h3", "Quote"), lines, element("p", valid, dated, class_="total")]
    if quote.missing:
        missing = ", ".join(quote.missing)
        pieces.append(element("p", "Not complete, no price for: ", said(missing), class_="stop"))
    return joined(pieces)
