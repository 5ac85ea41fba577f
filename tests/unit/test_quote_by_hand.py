"""Quotes against sums done by hand, and sums that add up whatever is drawn."""

from __future__ import annotations

from dataclasses import replace
from decimal import ROUND_HALF_UP, Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lawnplat.settings.load import load_price_book
from lawnplat.settings.types import Crew, Price, PriceBook, Services
from lawnplat.works.labour import tasks_behind, work_time
from lawnplat.works.priced import quote_findings
from lawnplat.works.quote import cents, quote_of
from lawnplat.works.types import Alternative, BillOfQuantities, Material, Task

D = Decimal

PRICES = PriceBook(
    currency="XTS",
    tax_share="0.19",
    margin_share="0.10",
    valid_days=30,
    items={
        "perimeter wire": Price("m", "0.385"),
        "pegs": Price("piece", "0.07"),
        "low-voltage cable": Price("m", "2.00"),
        "low-voltage cable 2 x 1.5 mm2": Price("m", "3.00"),
    },
    machines={"medium": Price("piece", "1000.00"), "large": Price("piece", "2000.00")},
    labour_rates={
        "technician": Price("h", "50.00"),
        "helper": Price("h", "30.00"),
        "electrician": Price("h", "70.00"),
        "travel": Price("visit", "40.00"),
    },
    tasks_per_hour={
        "survey_visits": 1.0, "peg_wire_m": 80.0, "slit_wire_m": 160.0, "check_outlet_pieces": 2.0,
    },
    paid_as={
        "survey": "technician", "peg_wire": "helper", "slit_wire": "technician",
        "check_outlet": "electrician",
    },
    crew=Crew(people=2, hours_a_day=1.0, laying="hand"),
    services=Services(hand_trimming=Price("m2", "0.50"), visits_a_season=10),
    sources={},
)  # fmt: skip
AS_PLANNED = Alternative("as planned", "medium", True, "", False, 12.0, "2 x 1.5 mm2", 0.0)
BILL = BillOfQuantities(
    materials=(
        Material("perimeter wire", 101.1, "m", "by hand"),
        Material("pegs", 150.0, "piece", "by hand"),
        Material("low-voltage cable", 12.0, "m", "by hand", size="2 x 1.5 mm2"),
    ),
    tasks=(
        Task("survey", 1.0, "visit", "by hand"),
        Task("lay_wire", 100.0, "m", "by hand"),
        Task("check_outlet", 1.0, "piece", "by hand"),
    ),
    machine_class="medium",
    machines=1,
    hand_trim_m2=33.3,
    alternatives=(AS_PLANNED,),
)


def amounts(quote):
    return {line.item: line.amount for line in quote.lines}


def test_a_quote_by_hand() -> None:
    quote = quote_of(BILL, PRICES, "2026-02-01")
    assert amounts(quote) == {
        "perimeter wire": D("38.92"),  # 101.1 x 0.385 = 38.9235
        "pegs": D("10.50"),
        "low-voltage cable 2 x 1.5 mm2": D("36.00"),
        "machine, class medium": D("1000.00"),
        "technician": D("50.00"),
        "helper": D("37.50"),  # 100 m at 80 m an hour: 1.25 h
        "licensed electrician": D("35.00"),
        # 2.25 h of a crew of two with an hour a day each: 1.13 days, so two, and the survey's.
        "travel": D("120.00"),
        "margin on materials, 10 %": D("8.54"),  # 85.42 x 0.10
        "net": D("1336.46"),
        "tax, 19 %": D("253.93"),  # 253.9274
        "total": D("1590.39"),
    }
    assert quote.crew_days == D("1.13")
    assert quote.total == D("1590.39")
    assert [line.number for line in quote.lines] == list(range(1, 13))
    # 30 days from the first of February of a common year.
    assert quote.valid_until == "2026-03-03"
    assert quote.missing == ()
    assert quote_findings(quote) == ()


@pytest.mark.parametrize(
    ("amount", "expected"),
    [
        ("0.005", "0.01"), ("0.0049", "0.00"), ("2.675", "2.68"), ("2.665", "2.67"),
        ("1.004999", "1.00"),
    ],
)  # fmt: skip
def test_half_a_cent_goes_up(amount, expected) -> None:
    # 2.675 as a binary float lies under it and would be rounded to 2.67.
    assert cents(D(amount)) == D(expected)


def test_a_machine_lays_in_its_own_time() -> None:
    machine = replace(PRICES, crew=replace(PRICES.crew, laying="machine"))
    quote = quote_of(BILL, machine)
    (laying,) = [each for each in quote.labour if each.task == "slit_wire"]
    assert laying.hours == 0.63  # 100 / 160 = 0.625, half up
    assert amounts(quote)["technician"] == D("81.50")  # 1.63 h x 50
    assert "helper" not in amounts(quote)


def test_labour_lines_give_their_tasks_back() -> None:
    for laying in ("hand", "machine"):
        prices = replace(PRICES, crew=replace(PRICES.crew, laying=laying))
        assert tasks_behind(work_time(BILL.tasks, prices).labour) == BILL.tasks


def test_what_comes_with_the_machine_is_not_charged() -> None:
    supplied = replace(BILL.materials[2], supplied=12.0)
    quote = quote_of(replace(BILL, materials=(*BILL.materials[:2], supplied)), PRICES)
    assert "low-voltage cable 2 x 1.5 mm2" not in amounts(quote)
    assert quote.total is not None


def test_a_size_without_a_price_of_its_own_has_the_items() -> None:
    other = replace(BILL.materials[2], size="2 x 2.5 mm2")
    quote = quote_of(replace(BILL, materials=(other,)), PRICES)
    assert amounts(quote)["low-voltage cable 2 x 2.5 mm2"] == D("24.00")


def test_options_by_hand() -> None:
    bill = replace(
        BILL,
        alternatives=(
            AS_PLANNED,
            replace(AS_PLANNED, option="trimmed", hand_trimming=True),
            # The larger machine comes with 20 m of cable: none is charged.
            replace(
                AS_PLANNED, option="up", machine_class="large", cable_m=20.0, cable_supplied_m=20.0
            ),
        ),
    )
    quote = quote_of(bill, PRICES)
    planned, trimmed, up = quote.options
    assert (planned.net, planned.tax, planned.total) == (D("1336.46"), D("253.93"), D("1590.39"))
    # 33.3 m2 x 10 visits x 0.50 = 166.50: net 1502.96, tax 285.5624.
    assert (trimmed.net, trimmed.tax, trimmed.total) == (D("1502.96"), D("285.56"), D("1788.52"))
    # 1000.00 more for the machine, 36.00 less for cable and 3.60 less margin (49.42 x 0.10 = 4.94):
    # 38.92 + 10.50 + 2000 + 50 + 37.50 + 35 + 120 + 4.94 = 2296.86, tax 436.4034.
    assert (up.net, up.tax, up.total) == (D("2296.86"), D("436.40"), D("2733.26"))


# Missing prices


def without(table: str, name: str) -> PriceBook:
    kept = {key: value for key, value in getattr(PRICES, table).items() if key != name}
    return replace(PRICES, **{table: kept})


@pytest.mark.parametrize(
    ("prices", "named", "item"),
    [
        (without("items", "pegs"), "items.pegs", "pegs"),
        (without("machines", "medium"), "machines.medium", "machine, class medium"),
        (without("labour_rates", "helper"), "labour_rates.helper", "helper"),
        (without("labour_rates", "travel"), "labour_rates.travel", "travel"),
        (without("tasks_per_hour", "peg_wire_m"), "tasks_per_hour.peg_wire", None),
        (without("paid_as", "peg_wire"), "paid_as.peg_wire", None),
        (replace(PRICES, items={**PRICES.items, "pegs": Price("piece", "")}), "items.pegs", "pegs"),
        (
            replace(PRICES, items={**PRICES.items, "pegs": Price("100", "7.00")}),
            "items.pegs (priced by the 100, counted by the piece)",
            "pegs",
        ),
    ],
)
def test_a_missing_price_is_named_and_leaves_no_total(prices, named, item) -> None:
    quote = quote_of(BILL, prices)
    assert quote.missing == (named,)
    assert quote.total is None
    for kind in ("net", "tax", "total"):
        assert quote.sum_of(kind) is None
    assert [line.item for line in quote.lines if line.amount is None and line.quantity] == (
        [] if item is None else [item]
    )
    (found,) = quote_findings(quote)
    assert (found.rule, found.severity) == ("price_missing", "warn")
    assert named in found.text
    assert all(option.total is None for option in quote.options)


def test_a_price_that_nothing_needs_is_not_missed() -> None:
    none = replace(BILL.materials[1], quantity=0.0)
    bill = replace(BILL, materials=(BILL.materials[0], none))
    assert quote_of(bill, without("items", "pegs")).missing == ()


def test_an_option_may_lack_a_price_that_the_plan_does_not_need() -> None:
    up = replace(AS_PLANNED, option="up", machine_class="unheard of")
    quote = quote_of(replace(BILL, alternatives=(AS_PLANNED, up)), PRICES)
    assert quote.total is not None
    assert [option.total is None for option in quote.options] == [False, True]


def test_invented_prices_are_told_apart(tmp_path) -> None:
    own = tmp_path / "ours.toml"
    own.write_text('[items]\n"perimeter wire" = "0.40"\n', encoding="utf-8")
    quote = quote_of(BILL, load_price_book(own))
    assert "pegs" in quote.invented
    assert "perimeter wire" not in quote.invented


# Whatever is drawn

money = st.decimals(0, 5000, places=3).map(str)
shares = st.decimals(0, 1, places=3).map(str)


@given(
    quantities=st.lists(
        st.floats(0, 3000, allow_nan=False).map(lambda each: round(each, 1)), min_size=3, max_size=3
    ),
    prices=st.lists(money, min_size=5, max_size=5),
    margin=shares,
    tax=shares,
)
def test_totals_add_up_to_the_cent(quantities, prices, margin, tax) -> None:
    book = replace(
        PRICES,
        margin_share=margin,
        tax_share=tax,
        items={
            "perimeter wire": Price("m", prices[0]),
            "pegs": Price("piece", prices[1]),
            "low-voltage cable": Price("m", prices[2]),
        },
        machines={"medium": Price("piece", prices[3])},
        labour_rates={**PRICES.labour_rates, "helper": Price("h", prices[4])},
    )
    materials = tuple(
        replace(each, quantity=quantity)
        for each, quantity in zip(BILL.materials, quantities, strict=True)
    )
    planned = replace(AS_PLANNED, cable_m=quantities[2])
    quote = quote_of(replace(BILL, materials=materials, alternatives=(planned,)), book)
    cent = D("0.01")
    by_kind: dict[str, D] = {}
    for line in quote.lines:
        assert line.amount is not None
        assert line.amount == line.amount.quantize(cent)
        if line.quantity is not None:
            exact = line.quantity * line.unit_price
            assert abs(line.amount - exact) <= D("0.005")
            assert line.amount == exact.quantize(cent, ROUND_HALF_UP)
        by_kind[line.kind] = by_kind.get(line.kind, D(0)) + line.amount
    sums = {kind: by_kind.pop(kind) for kind in ("net", "tax", "total")}
    assert sum(by_kind.values()) == sums["net"]
    assert sums["net"] + sums["tax"] == sums["total"] == quote.total
    # The plan itself is one of its options.
    assert quote.options[0].total == quote.total
