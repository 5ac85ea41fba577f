"""The client's page: the quote as a fragment of HTML, every text escaped."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from html import escape

from lawnplat.planned import Plan
from lawnplat.works.types import Quote, QuoteLine, QuoteOption

BEGIN = "<!-- quote: begin -->"
END = "<!-- quote: end -->"
"""The lines in a site sheet between which the fragment stands."""

_KEPT = "\t\n\u200c\u200d"
"""Not printable and yet part of texts: blanks, what joins letters and emoji or keeps them apart.
What turns the direction of all that follows is not among them."""
_LONGEST = 300
"""Letters of one text: an honest remark is shorter."""
_SUMS = ("margin", "net", "tax", "total")
_CAUTIONS = (
    (
        "Mains work is not in this price beyond the electrician's hours named: new circuits, "
        "outlets and their residual-current protection (at most 30 mA) are a licensed "
        "electrician's, to the local code."
    ),
    (
        "Gas, water, power and telecom lines are located and marked before any work in the "
        "ground; locating them, moving them and repairing surfaces are not in this price."
    ),
    (
        "Groundwork is not in this price: levelling for the station, lawn repair, removal of "
        "roots and stones."
    ),
    (
        "Quantities come from the plan. They are settled on the site, and so is the price where "
        "the survey does not match the ground."
    ),
)


@dataclass(frozen=True)
class QuoteAbout:
    """What the page says of the job besides money. Texts are as surveyed: hostile until escaped."""

    property_id: str
    label: str
    machine_class: str
    mowable_m2: float
    perimeter_m: float
    hand_trim_m2: float


def about_of(plan: Plan) -> QuoteAbout:
    """Return what the page says of a plan besides money."""
    ground = plan.ground
    return QuoteAbout(
        property_id=plan.site.property_id,
        label=plan.site.label,
        machine_class=plan.machine.name,
        mowable_m2=sum(part.area.area for part in ground.parts) if ground else 0.0,
        perimeter_m=sum(layout.perimeter.line.length for layout in plan.layouts),
        hand_trim_m2=sum(each.area.area for each in ground.hand_trim) if ground else 0.0,
    )


def quote_section(quote: Quote, about: QuoteAbout) -> str:
    """Return the client's page as an HTML fragment, a ``section`` with class ``quote``.

    It has tables with captions and scoped headers, no script, no style of its own, and refers to
    nothing outside.
    """
    parts = [
        '<section class="quote" aria-labelledby="quote-title">',
        '<h3 id="quote-title">Quote</h3>',
        *_head(quote, about),
        *_notices(quote),
        *_lines(quote),
        *_options(quote, about),
        *_conditions(quote),
        "</section>",
    ]
    return "\n".join(parts)


def with_quote(page: str, section: str) -> str | None:
    """Return a site sheet with the fragment between its two marks; None where it lacks them."""
    if page.count(BEGIN) != 1 or page.count(END) != 1:
        return None
    before, _, rest = page.partition(BEGIN)
    _, found, after = rest.partition(END)
    return f"{before}{BEGIN}\n{section}\n{END}{after}" if found else None


def _head(quote: Quote, about: QuoteAbout) -> Iterator[str]:
    name = f"{_text(about.label)} ({_text(about.property_id)})" if about.label else ""
    yield f'<p class="quote-for"><bdi>{name or _text(about.property_id)}</bdi></p>'
    yield (
        f"<p>Machine class <bdi>{_text(about.machine_class)}</bdi>; {about.mowable_m2:.0f} m² "
        f"mown; {about.perimeter_m:.0f} m of perimeter wire.</p>"
    )
    if quote.issued:
        yield (
            f'<p>Issued <time datetime="{quote.issued}">{quote.issued}</time>, valid until '
            f'<time datetime="{quote.valid_until}">{quote.valid_until}</time> '
            f"({quote.valid_days} days).</p>"
        )
    else:
        yield f"<p>Valid for {quote.valid_days} days from its date of issue.</p>"


def _notices(quote: Quote) -> Iterator[str]:
    if quote.missing:
        named = ", ".join(_text(each) for each in quote.missing)
        yield (
            '<p class="quote-incomplete" role="note"><strong>Not complete: no total.</strong> '
            f"The price book lacks: {named}.</p>"
        )
    if quote.invented:
        asked = sum(line.kind not in _SUMS for line in quote.lines)
        whose = (
            "All prices"
            if len(quote.invented) == asked
            else f"Prices of {', '.join(_text(each) for each in quote.invented)}"
        )
        yield (
            f'<p class="quote-invented" role="note"><strong>{whose} are invented</strong>, for '
            "demonstration: not an offer until the firm's own are given.</p>"
        )


def _lines(quote: Quote) -> Iterator[str]:
    currency = _text(quote.currency)
    yield "<table>"
    yield f"<caption>Quote, amounts in {currency}</caption>"
    yield _row("th", ("Item", "Quantity", "Unit", f"Price ({currency})", f"Amount ({currency})"))
    yield "<tbody>"
    for line in quote.lines:
        yield _sum_row(line) if line.kind in _SUMS else _item_row(line)
    yield "</tbody></table>"


def _item_row(line: QuoteLine) -> str:
    quantity = "" if line.quantity is None else f"{line.quantity.normalize():f}"
    included = line.amount == 0
    price = "" if line.unit_price is None else f"{line.unit_price:f}"
    return (
        f'<tr><th scope="row">{_text(line.item)}</th>{_number(quantity)}'
        f"<td>{_text(line.unit)}</td>{_number('included' if included else price)}"
        f"{_number(_money(line.amount))}</tr>"
    )


def _sum_row(line: QuoteLine) -> str:
    name = {"net": "Net", "total": "Total"}.get(line.kind, _text(line.item).capitalize())
    return (
        f'<tr class="quote-{line.kind}"><th scope="row" colspan="4">{name}</th>'
        f"{_number(_money(line.amount))}</tr>"
    )


def _options(quote: Quote, about: QuoteAbout) -> Iterator[str]:
    if len(quote.options) <= 1:
        return
    currency = _text(quote.currency)
    yield "<table>"
    yield f"<caption>Options for the whole job, amounts in {currency}</caption>"
    heads = ("Option", "Machine class", "Fits this plan", "Remarks", f"Total ({currency})")
    yield _row("th", heads)
    yield "<tbody>"
    for option in quote.options:
        yield _option_row(option, about)
    yield "</tbody></table>"


def _option_row(option: QuoteOption, about: QuoteAbout) -> str:
    what = option.what
    remarks = _text(what.reasons)
    if what.hand_trimming:
        trimmed = f"{about.hand_trim_m2:.0f} m² that the machine leaves, trimmed for a season"
        remarks = "; ".join(filter(None, (remarks, trimmed)))
    cells = (
        f"<bdi>{_text(what.machine_class)}</bdi>",
        "yes" if what.fits else "no",
        remarks,
    )
    total = _number(_money(option.total))
    return f'<tr><th scope="row">{_text(what.option)}</th>{_cells(cells)}{total}</tr>'


def _conditions(quote: Quote) -> Iterator[str]:
    days = f"{quote.crew_days.normalize():f}"
    yield f"<p>Work on the site: about {days} crew-days.</p>"
    yield "<h4>What the price does not hold</h4>"
    yield "<ul>"
    for caution in _CAUTIONS:
        yield f"<li>{caution}</li>"
    yield "</ul>"


def _row(tag: str, texts: Sequence[str]) -> str:
    cells = "".join(f'<{tag} scope="col">{text}</{tag}>' for text in texts)
    return f"<thead><tr>{cells}</tr></thead>"


def _cells(texts: Sequence[str]) -> str:
    return "".join(f"<td>{text}</td>" for text in texts)


def _number(text: str) -> str:
    """Return a cell whose class lets a sheet's style align its digits."""
    return f'<td class="number">{text}</td>'


def _money(amount: Decimal | None) -> str:
    return "missing" if amount is None else f"{amount:.2f}"


def _text(text: str) -> str:
    """Return a text that no browser takes for markup, cut where it would fill pages."""
    kept = "".join(c for c in text if c.isprintable() or c in _KEPT)
    if len(kept) > _LONGEST:
        kept = f"{kept[:_LONGEST]}..."
    return escape(kept, quote=True)
