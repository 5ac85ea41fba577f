"""The client's page: what they get, what to mind, and the quote."""

from __future__ import annotations

from lawnplat.deliver.quote_page import BEGIN, END, about_of, quote_section
from lawnplat.deliver.site_sheet.cautions import FOR_CLIENT, caution_list
from lawnplat.deliver.site_sheet.markup import Html, bullets, element, said, section
from lawnplat.planned import Plan


def client_section(plan: Plan, issued: str) -> Html:
    """Return the page that the client keeps.

    The quote stands between two lines of its own, so that a new one can take its place.

    Parameters
    ----------
    plan : Plan
        A plan with ground and wires.
    issued : str
        Date of the sheet, or empty.
    """
    quote = plan.works.quote if plan.works is not None else None
    fragment = quote_section(quote, about_of(plan)) if quote is not None else ""
    name = plan.site.label or plan.site.property_id
    dated = f" - {issued}" if issued else ""
    return section(
        "For the client",
        element("p", said(name, 120), dated, class_="about"),
        element("h3", "What you get"),
        bullets(what_you_get(plan)),
        element("h3", "What to mind"),
        caution_list(FOR_CLIENT),
        Html(f"\n{BEGIN}\n{fragment}\n{END}\n"),
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
