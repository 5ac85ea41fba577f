"""The index over all properties, and the PDF beside a sheet."""

from __future__ import annotations

import importlib.util
import shutil
import stat
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from urllib.parse import unquote

import pytest
import shapely
from click.testing import CliRunner
from shapely import Point, box

from lawnplat import plan as plan_room
from lawnplat.cli import main
from lawnplat.deliver import printing
from lawnplat.deliver.index_page import index_page
from lawnplat.deliver.printing import Printer, drop_printed, find_printer, print_sheet
from lawnplat.deliver.sheet_file import write_index, write_sheet
from lawnplat.deliver.site_sheet import site_sheet
from lawnplat.deliver.small_map import few_points, small_map
from lawnplat.errors import DeliveryError, SettingsError
from lawnplat.planned import Outcome, Plan, QuoteSums, Status
from lawnplat.portfolio.outcomes import outcome_of_plan
from lawnplat.portfolio.run import RunSettings, run_portfolio
from lawnplat.settings.load import load_rule_book
from lawnplat.survey.types import Site, Survey
from sheet_reader import assert_sound

SUMS = QuoteSums(Decimal("1028.75"), Decimal("205.75"), Decimal("1234.5"), "EUR", "2026-12-25")
HOSTILE = "<script>alert(1)</script>\"'&\x00\u202e 🦔"


@pytest.fixture
def outcomes(garden_plan: Plan, stopped_plan: Plan) -> list[Outcome]:
    planned = outcome_of_plan(garden_plan, "G 1#?ä")
    priced = replace(planned, quote=SUMS)
    refused = Outcome(HOSTILE, HOSTILE, "", Status.BAD_INPUT, f"no {HOSTILE}", None, None)
    return [priced, outcome_of_plan(stopped_plan, "G-2"), refused]


def test_every_property_has_a_row(outcomes: list[Outcome]) -> None:
    page = assert_sound(index_page(outcomes, issued="2026-11-02"))
    rows = page.all("tbody")[0].all("tr")
    assert len(rows) == 3
    planned, stopped, refused = (each.words() for each in rows)
    assert "1234.50 EUR" in planned
    assert "the wire runs above a fall" in planned
    assert "cells of 2.5 m" not in planned  # a note asks for no visit
    assert "no clear ground" in stopped
    assert "bad input" in refused
    assert "<script>" in refused  # as text
    assert [len(each.all("svg")) for each in rows] == [1, 1, 0]


def test_links_lead_to_the_sheets(outcomes: list[Outcome]) -> None:
    page = assert_sound(index_page(outcomes))
    links = [each.attributes["href"] for each in page.all("a")]
    assert unquote(links[0]) == "G 1#?ä/site_sheet.html"
    assert not set(links[0]) & set(" #?ä")
    assert len(links) == 2


def test_thousands_of_properties_stay_small(outcomes: list[Outcome]) -> None:
    text = index_page(outcomes[:1] * 5000)
    # 6 MB of maps and a kilobyte of text for each.
    assert len(text.encode()) < 11_000_000


def test_an_index_without_properties_is_a_page() -> None:
    assert "0 properties: none" in assert_sound(index_page([])).words()


def test_a_small_map_keeps_shape_and_size() -> None:
    # 20 m by 10 m in 92 units: 4 + 92 + 4 wide, half of 92 and twice 4 high.
    drawn = small_map(box(0, 0, 20, 10), None, Point(10, 5), title="t", most_points=50)
    assert 'viewBox="0 0 100 54"' in drawn
    assert 'x="47" y="24"' in drawn


def test_few_points_are_few() -> None:
    ring = Point(0, 0).buffer(10, quad_segs=500)
    few = few_points(ring, 20, 20.0)
    assert shapely.get_num_coordinates(few) <= 20
    assert few.area == pytest.approx(ring.area, rel=0.1)


def test_pages_of_others_stay(tmp_path: Path) -> None:
    (tmp_path / "index.html").write_text("<p>somebody's</p>")
    with pytest.raises(DeliveryError, match="not a file that lawnplat made"):
        write_index(index_page([]), tmp_path)
    (tmp_path / "index.html").unlink()
    write_index(index_page([]), tmp_path)
    write_index(index_page([]), tmp_path)


def test_a_property_cannot_take_the_indexs_name() -> None:
    from lawnplat.deliver.names import folder_names  # noqa: PLC0415

    assert folder_names(["index.html"])[0].folder != "index.html"


def program(folder: Path, body: str) -> Printer:
    """Return a printer that is a shell script."""
    path = folder / "browser"
    path.write_text(f"#!/bin/sh\n{body}\n")
    path.chmod(path.stat().st_mode | stat.S_IXUSR)
    return Printer(str(path))


PRINTS = """
for each in "$@"; do case "$each" in --print-to-pdf=*) echo "%PDF-1.4 %%EOF" > "${each#*=}";;
esac; done"""


def test_a_pdf_is_placed_whole_and_known_as_ours(garden_plan: Plan, tmp_path: Path) -> None:
    write_sheet(site_sheet(garden_plan), tmp_path)
    made = print_sheet(tmp_path, program(tmp_path, PRINTS))
    assert made.read_bytes().startswith(b"%PDF-")
    print_sheet(tmp_path, program(tmp_path, PRINTS))
    drop_printed(tmp_path)
    assert not made.exists()
    made.write_bytes(b"%PDF-1.4 somebody's %%EOF")
    drop_printed(tmp_path)
    assert made.exists()
    with pytest.raises(DeliveryError, match="not a file that lawnplat made"):
        print_sheet(tmp_path, program(tmp_path, PRINTS))


@pytest.mark.parametrize("body", ["exit 3", "exit 0", 'echo "no pdf" > /dev/null'])
def test_a_program_that_prints_nothing_is_an_error(body: str, tmp_path: Path) -> None:
    (tmp_path / "site_sheet.html").write_text("x")
    with pytest.raises(DeliveryError, match=r"exit status 3|wrote no PDF"):
        print_sheet(tmp_path, program(tmp_path, body))
    assert not (tmp_path / "site_sheet.pdf").exists()


def test_without_a_printer_nothing_is_planned(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(shutil, "which", lambda _: None)
    monkeypatch.setattr(importlib.util, "find_spec", lambda _: None)
    with pytest.raises(SettingsError, match="install Chromium"):
        find_printer()
    out = tmp_path / "plans"
    call = ["plan", "sample_data/survey.gpkg", "--pdf", "--out", str(out)]
    done = CliRunner().invoke(main, call)
    assert done.exit_code == 2
    assert "--pdf" in done.output
    assert "weasyprint" in done.output
    assert not out.exists()


def test_weasyprint_will_do_where_no_browser_is(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(printing.shutil, "which", lambda _: None)
    monkeypatch.setattr(printing.importlib.util, "find_spec", lambda _: object())
    assert find_printer() == Printer("")


def test_a_print_that_fails_is_the_propertys_advisory(
    garden_plan: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plain = replace(garden_plan, findings=(), status=Status.PLANNED)

    def plan_site(each: Site, **_: object) -> Plan:
        return replace(plain, site=replace(plain.site, property_id=each.property_id))

    monkeypatch.setattr(plan_room, "plan_site", plan_site)
    sites = tuple(replace(plain.site, property_id=name) for name in ("bad", "good"))
    body = f'case "$*" in */bad/*) exit 1;; esac\n{PRINTS}'
    settings = RunSettings(rules=load_rule_book(), printer=program(tmp_path, body))
    out = tmp_path / "out"
    bad, good = run_portfolio(Survey(sites, (), (), ()), settings, out)
    assert (bad.status, good.status) == (Status.PLANNED_WITH_ADVISORIES, Status.PLANNED)
    assert "site_sheet.pdf was not made" in bad.visit[0]
    assert not (out / "bad" / "site_sheet.pdf").exists()
    assert (out / "good" / "site_sheet.pdf").exists()
    assert "site_sheet.pdf was not made" in (out / "bad" / "site_sheet.html").read_text()
    # A later run that prints nothing leaves no PDF of the earlier plan.
    run_portfolio(Survey(sites, (), (), ()), replace(settings, printer=None), out)
    assert not (out / "good" / "site_sheet.pdf").exists()
