"""`lawnplat quote`: prices a folder of plans again and touches nothing but money."""

from __future__ import annotations

import csv
import json
import shutil
import sqlite3
from contextlib import closing
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path

import fiona
import pytest
from click.testing import CliRunner, Result
from shapely import box
from shapely.geometry import mapping

from lawnplat.cli import main
from whole.conftest import Run, run_plan

MONEY = {"labour", "quote_lines", "quote_options"}
BOOKKEEPING = {"gpkg_contents", "gpkg_ogr_contents", "sqlite_sequence"}
"""Of the file itself: when each layer was changed, how many rows it has."""
E, N = 500_000.0, 5_400_000.0


def quote(*words: object) -> Result:
    return CliRunner().invoke(main, ["quote", *map(str, words)])


def rows_of(path: Path) -> dict[str, list[tuple[object, ...]]]:
    """Return every row of every table of a file, geometries as bytes."""
    with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)) as database:
        names = database.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()
        return {
            name: database.execute(f'SELECT * FROM "{name}"').fetchall()
            for (name,) in names
            if not name.startswith("rtree_")
        }


def table(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture
def plans(street: Run, tmp_path: Path) -> Path:
    """Return a copy of the sample's plans that a test may price again."""
    return Path(shutil.copytree(street.out, tmp_path / "plans"))


def own(folder: Path, text: str) -> Path:
    path = folder / "ours.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_planning_writes_the_quotes(street: Run) -> None:
    book = {row["property_id"]: row for row in table(street.out / "quotes.csv")}
    assert set(book) == set(street.table)
    for name, row in street.table.items():
        assert book[name]["status"] == row["status"]
        planned = float(row["perimeter_m"]) > 0
        assert bool(book[name]["total"]) is planned
        if not planned:
            continue
        lines = table(street.plan_path(name).with_name("quote.csv"))
        assert lines[-1]["kind"] == "total"
        assert lines[-1]["amount"] == book[name]["total"]
        sums = ("net", "tax", "total")
        parts = [Decimal(each["amount"]) for each in lines if each["kind"] not in sums]
        assert sum(parts) == Decimal(book[name]["net"])
        assert Decimal(book[name]["net"]) + Decimal(book[name]["tax"]) == Decimal(
            book[name]["total"]
        )
        layer = street.plan(name)["quote_lines"]
        assert [f"{each:.2f}" for each in layer["amount"]] == [each["amount"] for each in lines]


def test_only_money_changes(plans: Path, tmp_path: Path) -> None:
    files = sorted(plans.glob("*/plan.gpkg"))
    before = {path: rows_of(path) for path in files}
    pictures = {path: path.read_bytes() for path in plans.glob("*/plan.svg")}
    folder = {name: (plans / name).read_bytes() for name in ("portfolio.csv", "portfolio.gpkg")}
    old = {row["property_id"]: row for row in table(plans / "quotes.csv")}
    prices = own(tmp_path, '[items]\n"pegs" = "1.12"\n')  # 1.00 more a peg than the shipped 0.12
    printed = plans / "garden-02" / "site_sheet.pdf"
    printed.write_bytes(b"%PDF-1.7 the old quote\n% made by lawnplat\n")
    done = quote(plans, "--prices", prices, "--date", "2026-02-01")
    assert done.exit_code == 0, done.output
    assert not printed.exists()
    for path in files:
        after = rows_of(path)
        assert list(after) == list(before[path])
        changed = {name for name in after if after[name] != before[path][name]} - BOOKKEEPING
        planned = bool(after["perimeter_wire"])
        assert changed == ({"quote_lines", "quote_options", "run_info"} if planned else set())
        facts = [dict(row[2:] for row in each["run_info"]) for each in (before[path], after)]
        differ = {key for key in facts[0] | facts[1] if facts[0].get(key) != facts[1].get(key)}
        assert differ == ({"quote_price_book_sha256", "quote_issued"} if planned else set())
    assert all(path.read_bytes() == held for path, held in pictures.items())
    assert all((plans / name).read_bytes() == held for name, held in folder.items())
    index = (plans / "index.html").read_text(encoding="utf-8")
    for row in table(plans / "quotes.csv"):
        if not row["total"]:
            continue
        assert f">{row['total']} EUR</data>" in index
        assert f"{old[row['property_id']]['total']} EUR" not in index
        lines = table(plans / row["property_id"] / "quote.csv")
        (pegs,) = [each for each in lines if each["item"] == "pegs"]
        # A euro more a peg, 15 % margin on it; each amount is rounded to the cent, so that the
        # margin may differ by one.
        more = Decimal(row["net"]) - Decimal(old[row["property_id"]]["net"])
        assert abs(more - Decimal(pegs["quantity"]) * Decimal("1.15")) <= Decimal("0.01")
        assert row["valid_until"] == "2026-03-03"


def test_pricing_as_before_gives_the_same_rows(plans: Path) -> None:
    path = plans / "garden-02" / "plan.gpkg"
    before, book_before = rows_of(path), table(plans / "quotes.csv")
    assert quote(plans).exit_code == 0
    after = rows_of(path)
    assert {n for n in after if after[n] != before[n]} - BOOKKEEPING == set()
    assert table(plans / "quotes.csv") == book_before


def test_laying_by_machine_changes_labour(plans: Path, tmp_path: Path) -> None:
    path = plans / "garden-02" / "plan.gpkg"
    metres = {row[2]: row[3] for row in rows_of(path)["labour"]}["peg_wire"]
    machine = own(tmp_path, '[crew]\nlaying = "machine"\n[tasks_per_hour]\nslit_wire_m = 100\n')
    assert quote(plans, "--prices", machine).exit_code == 0
    labour = {row[2]: row for row in rows_of(path)["labour"]}
    assert "peg_wire" not in labour
    hours = (Decimal(str(metres)) / 100).quantize(Decimal("0.01"), ROUND_HALF_UP)
    assert labour["slit_wire"][3:6] == (metres, "m", float(hours))
    # And back again.
    assert quote(plans).exit_code == 0
    assert "peg_wire" in {row[2] for row in rows_of(path)["labour"]}


def test_missing_prices_are_named_and_leave_no_total(plans: Path, tmp_path: Path) -> None:
    bare = own(tmp_path, '[machines]\nmedium = ""\n[items]\n"pegs" = ""\n')
    done = quote(plans, "--prices", bare)
    assert done.exit_code == 1
    assert "items.pegs" in done.stdout
    path = plans / "garden-01" / "plan.gpkg"
    rows = rows_of(path)
    (said,) = [row for row in rows["advisories"] if row[3] == "price_missing"]
    assert said[4] == "warn"
    assert "items.pegs, machines.medium" in said[5]
    amounts = {row[3]: row[7] for row in rows["quote_lines"]}
    for item in ("pegs", "machine, class medium", "net", "total"):
        assert amounts[item] is None
    assert amounts["perimeter wire"] > 0
    (row,) = [each for each in table(plans / "quotes.csv") if each["property_id"] == "garden-01"]
    assert (row["net"], row["tax"], row["total"]) == ("", "", "")
    assert row["missing"] == "items.pegs; machines.medium"
    assert row["status"] == "planned_with_advisories"
    with fiona.open(path, layer="advisories") as layer:
        assert len(layer) == len(rows["advisories"])
    # Once prices are there, nothing of it is left.
    assert quote(plans).exit_code == 0
    assert not [row for row in rows_of(path)["advisories"] if row[3] == "price_missing"]
    with closing(sqlite3.connect(path)) as database:
        assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert database.execute("PRAGMA foreign_key_check").fetchall() == []


def test_the_clients_page_is_replaced_in_the_site_sheet(plans: Path) -> None:
    sheet = plans / "garden-01" / "site_sheet.html"
    sheet.write_text(
        "<p>before</p>\r\n<!-- quote: begin -->\nold\n<!-- quote: end -->\n<p>after</p>",
        encoding="utf-8",
        newline="",
    )
    other = plans / "garden-02" / "site_sheet.html"
    other.write_text("<p>not ours</p>", encoding="utf-8")
    assert quote(plans, "--date", "2026-02-01").exit_code == 0
    page = sheet.read_bytes().decode("utf-8")
    assert page.startswith("<p>before</p>\r\n<!-- quote: begin -->\n<section")
    assert page.endswith("</section>\n<!-- quote: end -->\n<p>after</p>")
    assert "Sample Street 1" in page
    assert "2026-03-03" in page
    assert other.read_text(encoding="utf-8") == "<p>not ours</p>"


def test_a_folder_without_plans(tmp_path: Path) -> None:
    for folder in (tmp_path, tmp_path / "nowhere"):
        done = quote(folder)
        assert done.exit_code == 2
        assert "holds no plan" in done.stderr
        assert "Traceback" not in done.stderr
    (tmp_path / "a").mkdir()
    (tmp_path / "a" / "plan.gpkg").write_bytes(b"not one of ours")
    assert quote(tmp_path).exit_code == 2
    assert not (tmp_path / "quotes.csv").exists()


def test_a_plan_of_an_older_version_stops_no_other(plans: Path) -> None:
    path = plans / "garden-01" / "plan.gpkg"
    with closing(sqlite3.connect(path)) as database, database:
        database.execute("DROP TABLE quote_options")
    before = path.read_bytes()
    done = quote(plans, "--json")
    assert done.exit_code == 1
    told = {each["property_id"]: each for each in json.loads(done.stdout)["properties"]}
    assert "cannot be priced" in told["garden-01"]["reason"] or "no such table" in (
        told["garden-01"]["reason"]
    )
    assert told["garden-02"]["quote"]["total"]
    unchanged = path.read_bytes() == before  # apart: a diff of whole files takes minutes
    assert unchanged


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("[tasks_per_hour]\nset_out_m = -1\n", "tasks_per_hour.set_out_m"),
        ("[tasks_per_hour]\nset_out_m = 0\n", "tasks_per_hour.set_out_m"),
        ("[tasks_per_hour]\nset_out_m = 1e6\n", "tasks_per_hour.set_out_m"),
        ('[items]\n"pegs" = "-0.01"\n', "items.pegs"),
        ('[items]\n"pegs" = "1e7"\n', "items.pegs"),
        ('[machines]\nhill = "-1"\n', "machines.hill"),
        ("[crew]\nhours_a_day = 25\n", "crew.hours_a_day"),
        ("[crew]\npeople = 0\n", "crew.people"),
        ('[crew]\nlaying = "dig"\n', "crew.laying"),
        ('[paid_as]\nset_out = "boss"\n', "paid_as.set_out"),
        ("[services]\nvisits_a_season = 0\n", "services.visits_a_season"),
    ],
)
def test_absurd_prices_are_refused_by_key_and_change_nothing(
    text: str, key: str, tmp_path: Path
) -> None:
    done = quote(tmp_path, "--prices", own(tmp_path, text))
    assert done.exit_code == 2
    assert f"{key}: " in done.stderr
    assert "expected" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_firms_own_class_needs_its_own_price(tmp_path: Path) -> None:
    """An own class is planned and named as missing; the price book may then price it."""
    machine = own(tmp_path, 'name = "hill.v2"\nbased_on = "steep"\n')
    survey = tmp_path / "survey.gpkg"
    hostile = "=1+1 <script>alert(1)</script> 🌳 שלום " + "x" * 10_240
    schema = {"geometry": "Polygon", "properties": {"property_id": "str", "label": "str"}}
    with fiona.open(
        survey, "w", driver="GPKG", layer="parcels", schema=schema, crs="EPSG:25832"
    ) as file:
        shape = mapping(box(E, N, E + 20, N + 14))
        file.write({"geometry": shape, "properties": {"property_id": "P", "label": hostile}})
    run = run_plan(tmp_path / "out", survey, "--machine", machine)
    assert run.result.exit_code == 0, run.result.output
    (row,) = table(run.out / "quotes.csv")
    assert row["missing"] == "machines.hill.v2"
    assert row["label"].startswith("'=1+1 <script>")
    prices = tmp_path / "prices.toml"
    prices.write_text('[machines]\n"hill.v2" = "3000.00"\n', encoding="utf-8")
    assert quote(run.out, "--prices", prices).exit_code == 0
    (row,) = table(run.out / "quotes.csv")
    assert row["missing"] == ""
    assert Decimal(row["total"]) > 3000
    assert CliRunner().invoke(main, ["prices", "--prices", str(prices)]).exit_code == 0
