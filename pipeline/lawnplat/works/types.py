"""What the works room gives: pegs, marks, materials, tasks, quote, programme, commissioning."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from shapely import Point

from lawnplat.survey.types import Finding

PRICE_MISSING = "price_missing"
"""The rule of the advisory that names prices which a quote lacks."""


@dataclass(frozen=True)
class Peg:
    """One peg. ``reason`` is ``spacing``, ``bend``, ``joint`` or ``pair``."""

    number: int
    on: str
    chainage_m: float
    reason: str
    point: Point


@dataclass(frozen=True)
class Material:
    """One line of the materials list; ``basis`` says in words how the quantity came about.

    ``supplied`` is how much of the quantity comes with the machine and is not charged.
    """

    item: str
    quantity: float
    unit: str
    basis: str
    size: str = ""
    """What kind of the item: ``2 x 1.5 mm2``. Empty where there is one kind only."""
    supplied: float = 0.0


@dataclass(frozen=True)
class FixedPoint:
    """A point that stands on the ground and that a tape can be hooked to."""

    name: str
    """Short, as it is written on the sheet: ``A``, ``B``, ..."""
    what: str
    """In words: ``building corner``, ``wall end``, ``parcel corner``."""
    point: Point


@dataclass(frozen=True)
class Mark:
    """One mark that fixes the layout on the ground.

    Distances in metres. ``from_a`` and ``from_b`` are names of fixed points, empty where no pair of
    tapes with a good cut reaches; then the distances and the angle are NaN. ``to_next_offset_m`` is
    how far the wire bows from the straight line to the next mark on the same wire, at the middle of
    the arc; positive to the left in laying order, 0 for a straight, NaN at the last mark.
    """

    name: str
    what: str
    """``terminal``, ``corner``, ``curve``, ``lead-off``, ``joint``, ``bend``, ``station`` ..."""
    on: str
    """``perimeter``, ``perimeter_2`` ..., ``return_N`` or ``station``."""
    chainage_m: float
    point: Point
    height_m: float
    """Height of the ground, NaN where the terrain is not known."""
    edge_offset_m: float
    """From the nearest hard edge, NaN where there is none near."""
    edge: str
    """The kind of that edge, empty where there is none near."""
    from_a: str
    dist_a_m: float
    from_b: str
    dist_b_m: float
    angle_deg: float
    """At which the two tapes meet at the mark."""
    to_next_offset_m: float
    loop: int
    side: str = ""
    """``left`` or ``right``: the mark's for one who looks from ``from_a`` to ``from_b``."""
    to_mark: str = ""
    """Name of the mark where the stretch that begins here ends; empty where none begins."""


@dataclass(frozen=True)
class Task:
    """Work to do, before prices: how much of what. ``basis`` says how the quantity came about."""

    task: str
    """As in the price book's tasks, without the unit: ``set_out``, ``peg_wire`` ..."""
    quantity: float
    unit: str
    basis: str


@dataclass(frozen=True)
class Alternative:
    """The same wire with another machine class, or with hand trimming: all but the money.

    ``cable_m`` metres of cable of ``cable_size`` are needed, ``cable_supplied_m`` of them come with
    the machine.
    """

    option: str
    """``as planned``, ``as planned, hand trimming``, ``next class up``, ``next class down``."""
    machine_class: str
    fits: bool
    reasons: str
    hand_trimming: bool
    cable_m: float
    cable_size: str
    cable_supplied_m: float


@dataclass(frozen=True)
class BillOfQuantities:
    """All that a quote prices, counted and without money.

    ``machines`` is how many, one a loop; ``hand_trim_m2`` the lawn that they leave.
    """

    materials: tuple[Material, ...]
    tasks: tuple[Task, ...]
    machine_class: str
    machines: int
    hand_trim_m2: float
    alternatives: tuple[Alternative, ...]


@dataclass(frozen=True)
class Labour:
    """A task with the hours that the price book's productivity makes of it.

    ``hours`` are one person's, to 0.01; 0 for travel, which is priced by the visit, and where
    the price book has no productivity for the task.
    """

    task: str
    quantity: float
    unit: str
    hours: float
    basis: str


@dataclass(frozen=True)
class QuoteLine:
    """One line of the quote.

    ``kind`` is ``material``, ``machine``, ``labour``, ``electrician``, ``travel``, ``margin``,
    ``net``, ``tax`` or ``total``. Money in the price book's currency, rounded to the cent once, in
    ``amount``; None where a price is missing. ``quantity`` and ``unit_price`` are None on sums.
    """

    number: int
    kind: str
    item: str
    quantity: Decimal | None
    unit: str
    unit_price: Decimal | None
    amount: Decimal | None


@dataclass(frozen=True)
class QuoteOption:
    """The whole job in another way: the next machine class, with or without hand trimming.

    Sums are None where a price that this option needs is missing.
    """

    what: Alternative
    net: Decimal | None
    tax: Decimal | None
    total: Decimal | None


@dataclass(frozen=True)
class Quote:
    """The priced job. ``issued`` is an ISO date or empty: a library reads no clock."""

    currency: str
    lines: tuple[QuoteLine, ...]
    options: tuple[QuoteOption, ...]
    labour: tuple[Labour, ...]
    crew_days: Decimal
    total: Decimal | None
    """None while a price is missing: never a sum that leaves something out."""
    valid_days: int
    issued: str
    missing: tuple[str, ...]
    """Items without a price in the price book: the quote is not complete while there are any."""
    invented: tuple[str, ...] = ()
    """Items priced by the shipped price book, which is invented, not by the firm's own."""

    def sum_of(self, kind: str) -> Decimal | None:
        """Return the amount of the line ``net``, ``tax`` or ``total``; None where there is none."""
        return next((line.amount for line in self.lines if line.kind == kind), None)

    @property
    def valid_until(self) -> str:
        """The last day of validity as an ISO date; empty where the quote has no date."""
        if not self.issued:
            return ""
        return (date.fromisoformat(self.issued) + timedelta(days=self.valid_days)).isoformat()


@dataclass(frozen=True)
class MonthHours:
    """The programme of one month; times of day are local clock time, ``HH:MM``."""

    month: int
    """1 to 12."""
    growth_factor: float
    """0 to 1."""
    hours_per_week: float
    days_per_week: int
    start: str
    end: str
    """Both empty in a month without mowing."""
    note: str
    """Why the hours do not suffice, or why there is no mowing; else empty."""
    asked_hours_per_week: float = 0.0
    """What area, rate and growth ask for, over ``hours_per_week`` where that is not allowed."""


@dataclass(frozen=True)
class HeightStep:
    """One step of the cutting height: from this day on, this height."""

    day: int
    height_mm: float
    note: str


@dataclass(frozen=True)
class Programme:
    """How the machine is set: by month, from the first day on, and by what rules."""

    months: tuple[MonthHours, ...]
    heights: tuple[HeightStep, ...]
    first_weeks: tuple[str, ...]
    """Sentences for the first weeks, in order."""
    basis: tuple[str, ...]
    """How it came about: climate, growth model, latitude, time zone, quiet hours."""


@dataclass(frozen=True)
class Check:
    """One line of the commissioning list; ``record`` is what is written down, with its unit."""

    number: int
    what: str
    how: str
    record: str
    loop: int
    """Number of the loop; 0 for the whole site."""


@dataclass(frozen=True)
class Works:
    """All that is counted for one site."""

    pegs: tuple[Peg, ...]
    materials: tuple[Material, ...]
    fixed_points: tuple[FixedPoint, ...] = ()
    marks: tuple[Mark, ...] = ()
    tasks: tuple[Task, ...] = ()
    quote: Quote | None = None
    programme: Programme | None = None
    commissioning: tuple[Check, ...] = ()
    bill: BillOfQuantities | None = None
    findings: tuple[Finding, ...] = ()
    """What the crew or the office has to look at, for the plan's advisories."""
