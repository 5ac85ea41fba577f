"""The cautions that a crew and a client must have read; none of them is left out of any sheet."""

from __future__ import annotations

from lawnplat.deliver.site_sheet.markup import Html

FOR_CREW: tuple[tuple[str, str], ...] = (
    (
        "Buried services",
        (
            "Have gas, water, power, telecom and irrigation lines located and marked before any "
            "peg, blade or spade goes into the ground. What the survey does not hold is not on "
            "this map."
        ),
    ),
    (
        "Mains",
        (
            "Outlet, outdoor circuit and residual-current protection (30 mA or less) are the work "
            "of a licensed electrician, to the local code, which takes precedence. This plan shows "
            "only where low voltage may run."
        ),
    ),
    (
        "Blades",
        (
            "Switch the machine off and take out its key or battery before lifting or turning it. "
            "Wear gloves; keep hands and feet away."
        ),
    ),
    (
        "Slopes",
        (
            "The limits are those of the machine class named on this sheet: hold them against the "
            "papers of the machine itself. Try banks and edges over a fall by hand first."
        ),
    ),
    (
        "Water",
        (
            "Try every edge beside water, steps or a drop with a hand on the machine, on wet grass "
            "too. Where it slides, put a barrier or move the wire in."
        ),
    ),
    (
        "Children and animals",
        (
            "Nobody and no animal on the lawn while the machine mows; clear toys, hoses and leads "
            "first. Tell the household before the first run."
        ),
    ),
    (
        "Daylight only",
        "The machine mows by daylight only: hedgehogs and other small animals come out at dusk.",
    ),
)
"""Title and text."""

FOR_CLIENT: tuple[tuple[str, str], ...] = (
    (
        "Children and animals",
        (
            "Keep them off the lawn while the machine mows, and pick up toys, hoses and branches "
            "first."
        ),
    ),
    ("Daylight only", "Leave the hours as they are set: small animals come out at dusk."),
    ("Blades", "Never reach under the machine; switch it off before lifting it."),
    (
        "Mains",
        (
            "Outlet and residual-current protection (30 mA or less) are checked and, where needed, "
            "fitted by a licensed electrician, to the local code."
        ),
    ),
    (
        "Digging later",
        (
            "Wire and cable lie just below the turf: show this map to whoever aerates, scarifies "
            "or digs, and have buried services located first."
        ),
    ),
    (
        "Slopes and water",
        (
            "Stay clear below the machine on a bank, and look after its way beside water from time "
            "to time."
        ),
    ),
)
"""Title and text, for those who live with the machine."""


def caution_list(cautions: tuple[tuple[str, str], ...]) -> Html:
    """Return the cautions as a list of terms."""
    rows = "".join(f"<dt>{title}</dt><dd>{text}</dd>" for title, text in cautions)
    return Html(f'<dl class="cautions">{rows}</dl>')
