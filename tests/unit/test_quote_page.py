"""The client's page and the tables of quotes: hostile texts stay texts, numbers are the quote's."""

from __future__ import annotations

import csv
from dataclasses import replace
from decimal import Decimal
from html.parser import HTMLParser
from pathlib import Path

import pytest

from lawnplat.deliver.quote_files import write_quote, write_quote_book
from lawnplat.deliver.quote_page import (
    BEGIN,
    END,
    QuoteAbout,
    about_of,
    quote_section,
    with_quote,
)
from lawnplat.errors import DeliveryError
from lawnplat.planned import Outcome, QuoteSums, Status
from lawnplat.works.types import Alternative, Quote, QuoteLine, QuoteOption

D = Decimal
ABOUT = QuoteAbout("G-1", "Sample Street 1", "medium", 372.3, 115.7, 42.0)
PLANNED = Alternative("as planned", "medium", True, "", False, 10.0, "2 x 1.0 mm2", 10.0)
QUOTE = Quote(
    currency="EUR",
    lines=(
        QuoteLine(1, "material", "pegs", D("150.00"), "piece", D("0.12"), D("18.00")),
        QuoteLine(2, "material", "charging station", D("1.00"), "piece", D("0.00"), D("0.00")),
        QuoteLine(3, "margin", "margin on materials, 15 %", None, "", None, D("2.70")),
        QuoteLine(4, "net", "net", None, "", None, D("20.70")),
        QuoteLine(5, "tax", "tax, 20 %", None, "", None, D("4.14")),
        QuoteLine(6, "total", "total", None, "", None, D("24.84")),
    ),
    options=(
        QuoteOption(PLANNED, D("20.70"), D("4.14"), D("24.84")),
        QuoteOption(
            replace(PLANNED, option="next class up", machine_class="large", fits=False,
                    reasons="a passage is 0.79 m wide, it needs 0.80 m"),
            D("30.00"), D("6.00"), D("36.00"),
        ),
    ),
    labour=(),
    crew_days=D("0.90"),
    total=D("24.84"),
    valid_days=30,
    issued="2026-02-01",
    missing=(),
)  # fmt: skip

HOSTILE = {
    "script": "<script>alert(1)</script>",
    "attribute": "\"' onmouseover=alert(1) x='",
    "mark": "<!-- quote: end -->",
    "entity": "&lt;b&gt; &#60;",
    "formula": "=1+1",
    "command": "=cmd|' /C calc'!A0",
    "plus": "+1+1",
    "minus": "-1+1",
    "at": "@SUM(A1)",
    "tab": "\t=1+1",
    "long": "x" * 10_240,
    "emoji": "🌳👩‍🌾",
    "right to left": "שָׁלוֹם \u202egnihtemos",
    "null": "a\0b",
    "lines": 'first\r\nsecond,"quoted"',
    "surrogate": "a\ud800b",
}


class Page(HTMLParser):
    """Collects elements, their attributes, and all text; complains of unclosed elements."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.open: list[str] = []
        self.feed(html)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text += data


def plain_tags() -> list[str]:
    return [tag for tag, _ in Page(quote_section(QUOTE, ABOUT)).tags]


def test_the_page_holds_the_quote() -> None:
    page = Page(quote_section(QUOTE, ABOUT))
    for told in ("pegs", "150", "0.12", "18.00", "Net", "20.70", "tax, 20 %".capitalize(), "24.84"):
        assert told in page.text
    for told in ("2026-02-01", "2026-03-03", "30 days", "next class up", "0.79 m wide", "36.00"):
        assert told in page.text
    assert "licensed electrician" in page.text
    assert "30 mA" in page.text
    assert "included" in page.text


def test_tables_can_be_read_out() -> None:
    page = Page(quote_section(QUOTE, ABOUT))
    names = [tag for tag, _ in page.tags]
    assert names.count("caption") == names.count("table") == 2
    heads = [attributes for tag, attributes in page.tags if tag == "th"]
    assert {each.get("scope") for each in heads} == {"col", "row"}
    assert {"script", "style", "img", "link", "a"} & set(names) == set()


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_a_hostile_text_adds_no_markup(text) -> None:
    about = replace(ABOUT, label=text, property_id=text, machine_class=text)
    line = replace(QUOTE.lines[0], item=text, unit=text)
    option = replace(
        QUOTE.options[1], what=replace(QUOTE.options[1].what, reasons=text, machine_class=text)
    )
    quote = replace(
        QUOTE,
        currency=text,
        lines=(line, *QUOTE.lines[1:]),
        options=(QUOTE.options[0], option),
    )
    html = quote_section(quote, about)
    page = Page(html)
    assert [tag for tag, _ in page.tags] == plain_tags()
    assert not any(name.startswith("on") for _, attributes in page.tags for name in attributes)
    assert END not in html
    html.encode("utf-8")
    # Ten texts of ten thousand letters would fill pages: each is cut.
    assert len(html) < 12_000
    sheet = with_quote(f"<body>\n{BEGIN}\nold\n{END}\n</body>", html)
    assert sheet is not None
    # A second pricing finds its place again.
    assert with_quote(sheet, "new") == f"<body>\n{BEGIN}\nnew\n{END}\n</body>"


def test_a_sheet_without_the_marks_is_left_alone() -> None:
    assert with_quote("<body></body>", "x") is None
    assert with_quote(f"{END}{BEGIN}", "x") is None
    assert with_quote(f"{BEGIN}{BEGIN}{END}", "x") is None


def test_a_missing_price_stands_on_the_page() -> None:
    lines = tuple(replace(each, amount=None) for each in QUOTE.lines)
    quote = replace(QUOTE, lines=lines, total=None, missing=("items.pegs", "machines.<hill>"))
    page = Page(quote_section(quote, ABOUT))
    assert "no total" in page.text
    assert "items.pegs, machines.<hill>" in page.text
    assert "24.84" not in page.text.partition("Options")[0]


def test_invented_prices_stand_on_the_page() -> None:
    some = Page(quote_section(replace(QUOTE, invented=("pegs",)), ABOUT))
    every = Page(quote_section(replace(QUOTE, invented=("pegs", "charging station")), ABOUT))
    assert "Prices of pegs are invented" in some.text
    assert "All prices are invented" in every.text
    assert "invented" not in Page(quote_section(QUOTE, ABOUT)).text


# Tables


def cells_of(path: Path) -> list[list[str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file, strict=True))


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_a_hostile_text_is_no_formula(text, tmp_path) -> None:
    line = replace(QUOTE.lines[0], item=text, unit=text)
    write_quote(text, replace(QUOTE, lines=(line, *QUOTE.lines[1:])), tmp_path)
    sums = QuoteSums(D("1.00"), D("0.20"), D("1.20"), text, "2026-03-03", (text,))
    outcome = Outcome(
        text, text, "f", Status.PLANNED, "", None, None, quote=sums, needs_visit=(text,)
    )
    write_quote_book([outcome], tmp_path)
    for name in ("quote.csv", "quotes.csv"):
        rows = cells_of(tmp_path / name)
        assert len({len(row) for row in rows}) == 1
        for cell in (cell for row in rows for cell in row):
            assert not cell.startswith(("=", "+", "-", "@", "\t", "\r"))


def test_the_tables_are_rfc_4180(tmp_path) -> None:
    # RFC 4180, 2: lines end with CRLF, a quote in a quoted field is doubled, a header line first.
    write_quote("G,1", replace(QUOTE, currency='E"R'), tmp_path)
    raw = (tmp_path / "quote.csv").read_bytes()
    header = b"property_id,line,kind,item,quantity,unit,unit_price,amount,currency\r\n"
    assert raw.startswith(header)
    assert raw.endswith(b"\r\n")
    assert raw.count(b"\n") == raw.count(b"\r\n") == 1 + len(QUOTE.lines)
    assert b'"G,1",1,material,pegs,150.00,piece,0.12,18.00,"E""R"\r\n' in raw


def test_a_table_that_is_not_ours_is_never_replaced(tmp_path) -> None:
    for name in ("quote.csv", "quotes.csv"):
        (tmp_path / name).write_text("mine\n", encoding="utf-8")
    with pytest.raises(DeliveryError, match="not a file that lawnplat made"):
        write_quote("G-1", QUOTE, tmp_path)
    with pytest.raises(DeliveryError, match="not a file that lawnplat made"):
        write_quote_book([], tmp_path)
    write_quote("G-1", None, tmp_path)
    assert (tmp_path / "quote.csv").read_text(encoding="utf-8") == "mine\n"


def test_without_a_quote_an_earlier_runs_is_taken_away(tmp_path) -> None:
    write_quote("G-1", QUOTE, tmp_path)
    assert write_quote("G-1", None, tmp_path) is None
    assert list(tmp_path.iterdir()) == []


def test_what_the_page_says_of_a_plan(garden_plan) -> None:
    about = about_of(garden_plan)
    assert (about.property_id, about.machine_class) == ("G-1", "medium")
    assert about.perimeter_m == garden_plan.layout.perimeter.line.length
    # The strip beside the house in the drawing: 9.35 m by 0.35 m.
    assert about.hand_trim_m2 == pytest.approx(9.35 * 0.35)
    assert about_of(replace(garden_plan, ground=None, layouts=())).mowable_m2 == 0.0
