"""The settings room: what ships, what a firm's own file may change, how faults are named."""

from __future__ import annotations

import dataclasses
import math
import pickle
import subprocess
import sys
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from lawnplat.errors import SettingsError
from lawnplat.settings.faults import nearest
from lawnplat.settings.limits import IN_ORDER, Limit, limit_of
from lawnplat.settings.load import (
    digest,
    load_machine,
    load_price_book,
    load_rule_book,
    shipped_class,
    shipped_classes,
)
from lawnplat.settings.types import Price, RestDay, RuleBook, Season, Treatment

CONTRACT_KINDS = """
    building wall fence hedge flower_bed path paving_flush stepping_stones gravel water drop tree
    shrub play_equipment planter furniture rock no_mow crossing power_outlet buried_service
    neighbour_wire
"""


@pytest.fixture
def own(tmp_path):
    """Return a function that writes a firm's own settings file."""

    def write(text: str, name: str = "house.toml") -> Path:
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return path

    return write


def faults_of(call) -> str:
    with pytest.raises(SettingsError) as caught:
        call()
    return str(caught.value)


# What ships


def test_every_kind_of_the_contract_has_a_rule_and_no_other_does():
    assert sorted(load_rule_book().kinds) == sorted(CONTRACT_KINDS.split())


@pytest.mark.parametrize(
    ("rule", "value"),
    [
        # Common practice, no source: the trade's figures for boundary wire.
        ("kinds.wall.setback_m", 0.35),
        ("kinds.fence.setback_m", 0.35),
        ("kinds.building.setback_m", 0.35),
        ("kinds.path.setback_m", 0.30),
        ("kinds.flower_bed.setback_m", 0.30),
        ("kinds.paving_flush.setback_m", 0.10),
        ("station.front_clear_m", 2.0),
        ("station.side_clear_m", 0.30),
        ("return_line.straight_run_m", 2.0),
        ("return_line.parking_test_m", 3.0),
        ("pegs.spacing_m", 0.70),
        ("wire.spare_end_m", 0.50),
    ],
)
def test_shipped_rules_are_the_trades(rule, value):
    assert value_at(load_rule_book(), rule) == value


def test_buried_services_keep_the_published_tolerance_zone():
    # Common Ground Alliance Best Practices 5.19: 18 inches each side; an inch is 0.0254 m exactly.
    # Half a centimetre: the shipped figure is given to the centimetre.
    assert value_at(load_rule_book(), "kinds.buried_service.setback_m") == pytest.approx(
        18 * 0.0254, abs=0.005
    )


def value_at(book: object, key: str):
    # The price book's items have names of their own, with points in them.
    table, _, item = key.partition(".")
    names = [table, item] if table in {"items", "machines"} else key.split(".")
    for name in names:
        book = book[name] if isinstance(book, dict) else getattr(book, name)
    return book


def test_every_value_of_the_rule_book_has_a_source_and_every_source_a_value():
    book = load_rule_book()
    names = {
        f"{group}.{field.name}"
        for group in (f.name for f in dataclasses.fields(RuleBook))
        if group not in ("kinds", "sources")
        for field in dataclasses.fields(getattr(book, group))
    }
    names |= {
        f"kinds.{kind}.{field.name}"
        for kind, rule in book.kinds.items()
        for field in dataclasses.fields(rule)
    }
    assert set(book.sources) == names
    assert all(book.sources.values())
    assert not any(source.startswith("set in") for source in book.sources.values())


def test_four_classes_ship_ordered_by_capacity():
    machines = shipped_classes()
    assert [m.name for m in machines] == ["small", "medium", "steep", "large"]
    capacities = [m.capacity_m2 for m in machines]
    assert capacities == sorted(capacities)
    fields = {f.name for f in dataclasses.fields(machines[0])} - {"name", "sources"}
    assert all(set(m.sources) == fields for m in machines)


def test_shipped_prices_are_exact_and_said_to_be_invented():
    book = load_price_book()
    assert all("invented" in source for source in book.sources.values())
    for price in (*book.items.values(), *book.labour_rates.values()):
        assert f"{Decimal(price.amount):f}" == price.amount
    assert {"perimeter wire", "return line wire", "pegs", "three-way joints"} <= set(book.items)


def test_values_are_of_their_declared_types():
    book = load_rule_book()
    assert type(book.wire.spool_m) is float
    assert book.kinds["tree"].treatment is Treatment.FIRM
    assert type(load_machine().return_lines) is int
    assert type(load_price_book().items["pegs"].amount) is str


def test_settings_cross_to_worker_processes():
    for each in (load_rule_book(), load_machine("steep"), load_price_book()):
        assert pickle.loads(pickle.dumps(each)) == each


# A firm's own file


def test_own_rules_change_only_what_they_hold(own):
    path = own("[ground]\nopen_edge_m = 0.4\n[kinds.hedge]\nsetback_m = 1\n")
    book, shipped = load_rule_book(path), load_rule_book()
    assert book.ground == dataclasses.replace(shipped.ground, open_edge_m=0.4)
    assert book.kinds["hedge"] == dataclasses.replace(shipped.kinds["hedge"], setback_m=1.0)
    changed = {k for k in book.sources if book.sources[k] != shipped.sources[k]}
    assert changed == {"ground.open_edge_m", "kinds.hedge.setback_m"}
    assert book.sources["ground.open_edge_m"] == "set in house.toml"


def test_own_value_may_bring_its_source(own):
    path = own('[pegs]\nspacing_m = { value = 0.5, source = "soft soil" }\n')
    book = load_rule_book(path)
    assert book.pegs.spacing_m == 0.5
    assert book.sources["pegs.spacing_m"] == "soft soil"


def test_an_own_programme_takes_words_and_a_time_zone(own):
    path = own(
        '[programme]\nseason = "warm"\nrest_weekday = "none"\ntime_zone = "Europe/Madrid"\n'
    )
    found = load_rule_book(path).programme
    assert (found.season, found.rest_weekday) == (Season.WARM, RestDay.NONE)
    assert found.time_zone == "Europe/Madrid"


def test_value_table_without_source_is_set_in_the_file(own):
    book = load_rule_book(own("[pegs]\nspacing_m = { value = 0.5 }\n"))
    assert book.sources["pegs.spacing_m"] == "set in house.toml"


def test_own_machine_starts_from_medium_and_is_named_by_its_file(own):
    path = own("slope_lawn_pct = 45.0\n", "hill.toml")
    machine = load_machine(str(path))
    medium = load_machine("medium")
    assert machine == dataclasses.replace(
        medium,
        name="hill",
        slope_lawn_pct=45.0,
        sources={**medium.sources, "slope_lawn_pct": "set in hill.toml"},
    )


def test_own_machine_may_be_based_on_another_class_and_named(own):
    path = own('based_on = "large"\nname = "park"\nreturn_lines = 2\n')
    machine, large = load_machine(str(path)), load_machine("large")
    assert (machine.name, machine.return_lines) == ("park", 2)
    assert machine.longest_wire_m == large.longest_wire_m != load_machine("medium").longest_wire_m


def test_an_empty_file_changes_nothing(own):
    assert load_rule_book(own("")) == load_rule_book()


def test_no_name_means_medium():
    assert load_machine() == load_machine("medium")
    assert load_machine("") == load_machine("medium")


def test_a_machine_class_from_a_survey_is_never_taken_for_a_file(own):
    path = own("slope_lawn_pct = 45.0\n")
    assert "no class" in faults_of(lambda: shipped_class(str(path)))


def test_own_prices_keep_every_digit(own):
    text = (
        'tax_share = 0.190\n[items]\n"pegs" = 0.10\n'
        '"perimeter wire" = { unit = "km", amount = "380.00", source = "offer 12" }\n'
    )
    book = load_price_book(own(text))
    assert book.tax_share == "0.190"
    # A binary float would print 0.1000000000000000055 or lose the last zero.
    assert book.items["pegs"] == Price(unit="piece", amount="0.10")
    assert book.items["perimeter wire"] == Price(unit="km", amount="380.00")
    assert book.sources["items.perimeter wire"] == "offer 12"
    assert book.sources["items.pegs"] == "set in house.toml"


# Faults


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("[wire]\nspol_m = 200.0\n", ("wire.spol_m", "200.0", "nearest known key is spool_m")),
        ("[kinds.bilding]\nsetback_m = 1\n", ("kinds.bilding", "nearest known kind is building")),
        ("[kinds.wall]\nsetbak_m = 1\n", ("kinds.wall.setbak_m", "setback_m")),
        ("[wires]\nspool_m = 2\n", ("wires", "nearest known key is wire")),
        ("spacing_m = 0.5\n", ("spacing_m", "0.5", "belongs at pegs.spacing_m")),
        ("[kinds.wall]\nsetback_m = -0.1\n", ("kinds.wall.setback_m", "-0.1", "at least 0")),
        ("[kinds.wall]\nsetback_m = 350\n", ("kinds.wall.setback_m", "350", "at most 20")),
        ("[wire]\nwaste_share = 5\n", ("wire.waste_share", "5", "at most 1")),
        ("[pegs]\nspacing_m = 0\n", ("pegs.spacing_m", "found 0", "over 0")),
        ('[pegs]\nspacing_m = "0.7"\n', ("pegs.spacing_m", '"0.7"', "a number")),
        ("[pegs]\nspacing_m = true\n", ("pegs.spacing_m", "true", "a number")),
        ("[pegs]\nspacing_m = nan\n", ("pegs.spacing_m", "NaN", "over 0")),
        ("[pegs]\nspacing_m = inf\n", ("pegs.spacing_m", "Infinity", "over 0")),
        ("[pegs]\nspacing_m = 1e999\n", ("pegs.spacing_m", "1E+999", "at most 5")),
        (f"[pegs]\nspacing_m = {10**400}\n", ("pegs.spacing_m", "000...", "at most 5")),
        ("[pegs]\nspacing_m = [1]\n", ("pegs.spacing_m", "a list", "a number")),
        ("[pegs]\nspacing_m = {valu = 1}\n", ("pegs.spacing_m", "table of valu", "a number")),
        ("[pegs]\nspacing_m = 2020-01-01\n", ("pegs.spacing_m", "2020-01-01", "a number")),
        ("[kinds.wall]\ngrass = 1\n", ("kinds.wall.grass", "found 1", "true or false")),
        ('[kinds.wall]\ntreatment = "keepoff"\n', ("kinds.wall.treatment", "keep_off")),
        ('[programme]\nseason = "cold"\n', ("programme.season", '"cold"', "cool, warm")),
        ('[programme]\nrest_weekday = "Sundey"\n', ("programme.rest_weekday", "sunday")),
        ('[programme]\ntime_zone = "Europe/Berlim"\n', ("programme.time_zone", "Europe/Berlin")),
        ('[programme]\ntime_zone = "../../etc/passwd"\n', ("programme.time_zone", "nominal")),
        ('[programme]\ntime_zone = "Europe"\n', ("programme.time_zone", "nominal")),
        ('[programme]\ntime_zone = ""\n', ("programme.time_zone", "empty text")),
        ("[programme]\ntime_zone = 1\n", ("programme.time_zone", "found 1", "text")),
        ("[programme]\nwork_efficiency_share = 0\n", ("work_efficiency_share", "at least 0.01")),
        ("[programme]\nquiet_to_h = 21\n", ("programme.quiet_to_h", "quiet_from_h = 20")),
        ("[commissioning]\nresidual_current_ma = 300\n", ("residual_current_ma", "at most 30")),
        ("ground = 3\n", ("ground", "found 3", "expected a table", "open_edge_m")),
        ("[terrain]\nlargest_cells = 1000.5\n", ("terrain.largest_cells", "a whole number")),
        (
            "[return_line]\ncorridor_m = 2.0\n",
            ("return_line.corridor_m", "found 2", "return_line.comfortable_m = 1"),
        ),
    ],
)
def test_each_fault_of_a_rule_book_is_named(own, text, expected):
    path = own(text)
    message = faults_of(lambda: load_rule_book(path))
    for part in (str(path), *expected):
        assert part in message


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("cutting_lowest_mm = 70\n", ("cutting_lowest_mm", "found 70", "cutting_highest_mm = 60")),
        ("smallest_passage_m = 3\n", ("smallest_passage_m", "comfortable_passage_m = 2")),
        ("smallest_passage_m = 0.3\n", ("smallest_passage_m: found 0.3", "body_width_m = ")),
        ("return_lines = 1.5\n", ("return_lines", "1.5", "whole number")),
        ("return_lines = 0\n", ("return_lines", "found 0", "at least 1")),
        ("body_widht_m = 0.4\n", ("body_widht_m", "nearest known key is body_width_m")),
        ('label = ""\n', ("label", "empty text")),
        ('based_on = "medum"\n', ("based_on", "medum", "nearest known class is medium")),
        ("based_on = 3\n", ("based_on", "3", "large, medium, small, steep")),
    ],
)
def test_each_fault_of_a_machine_class_is_named(own, text, expected):
    path = own(text)
    message = faults_of(lambda: load_machine(str(path)))
    for part in (str(path), *expected):
        assert part in message


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ('[items]\n"pegz" = "1"\n', ("items.pegz", "nearest known key is pegs")),
        ('[items]\n"pegs" = "1,20"\n', ("items.pegs", '"1,20"', '"0.25"')),
        ('[items]\n"pegs" = "-1"\n', ("items.pegs", '"-1"', "at least 0")),
        ('[items]\n"pegs" = "1e99"\n', ("items.pegs", "1e99", "at most 1000000")),
        ('[items]\n"pegs" = 1e-99999\n', ("items.pegs", "1E-99999", "28 digits")),
        ('[items]\n"pegs" = "NaN"\n', ("items.pegs", "NaN")),
        ('[items]\n"pegs" = { amonut = "1" }\n', ("items.pegs", "amonut", "amount")),
        ('[items]\n"pegs" = { unit = 3 }\n', ("items.pegs", "found 3", "text")),
        ('tax_share = "19"\n', ("tax_share", '"19"', "at most 1")),
        ("[tasks_per_hour]\npeg_wire_m = 0\n", ("tasks_per_hour.peg_wire_m", "at least 0.01")),
        ("valid_days = 0\n", ("valid_days", "at least 1")),
    ],
)
def test_each_fault_of_a_price_book_is_named(own, text, expected):
    path = own(text)
    message = faults_of(lambda: load_price_book(path))
    for part in (str(path), *expected):
        assert part in message


def test_all_faults_are_reported_together_each_with_its_file(own):
    path = own(
        "[wire]\nspol_m = 1\nwaste_share = 7\n[kinds.wal]\nsetback_m = 1\n[pegs]\nbend_deg=0"
    )
    lines = faults_of(lambda: load_rule_book(path)).splitlines()
    assert len(lines) == 4
    assert all(line.startswith(f"{path}: ") for line in lines)


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        (b"[wire]\nspool_m = = 2\n", ("line 2", "not TOML", "spool_m = = 2")),
        (b"[wire\n", ("line 1", "not TOML")),
        (b"a = 1\na = 2\n", ("line 2", "not TOML")),
        (b'a = """never closed\n', ("not TOML", "line 1")),
        (b'# fine\nx = "\xff"\n', ("line 2", "UTF-8")),
        (b"\x00\x01SQLite", ("line 1", "not TOML")),
        (b"x = " + b"9" * 5000 + b"\n", ("not TOML that can be read", "digits")),
        (b"x = " + b"[" * 5000, ("not TOML that can be read", "recursion")),
    ],
)
def test_a_broken_file_is_named_with_its_line(tmp_path, content, expected):
    path = tmp_path / "broken.toml"
    path.write_bytes(content)
    message = faults_of(lambda: load_rule_book(path))
    for part in (str(path), *expected):
        assert part in message
    assert len(message.splitlines()) <= 2


def test_a_file_with_a_byte_order_mark_is_read(tmp_path):
    path = tmp_path / "marked.toml"
    path.write_bytes(b"\xef\xbb\xbf[pegs]\nspacing_m = 0.5\n")
    assert load_rule_book(path).pegs.spacing_m == 0.5


def test_missing_file_and_folder(tmp_path):
    assert "no such file" in faults_of(lambda: load_rule_book(tmp_path / "none.toml"))
    assert "no such file" in faults_of(lambda: load_machine(str(tmp_path / "none.toml")))
    assert "cannot be read" in faults_of(lambda: load_price_book(tmp_path))


def test_unknown_class_names_the_nearest_and_all():
    message = faults_of(lambda: load_machine("meduim"))
    assert "nearest known class is medium" in message
    assert "large, medium, small, steep" in message


def test_nearest():
    assert nearest("Flower bed", ("flower_bed", "path")) == "flower_bed"
    assert nearest("xyz", ("flower_bed", "path")) is None


VALUES = st.one_of(
    st.floats().map(str),
    st.integers().map(str),
    st.booleans().map(lambda yes: str(yes).lower()),
    st.sampled_from(["[]", "{}", "{value = 1}", "{value = {}}", "07:32:00", "'firm'", "''"]),
    st.text(st.characters(codec="ascii", exclude_characters="'\x7f", min_codepoint=32)).map(
        lambda text: f"'{text}'"
    ),
)


@settings(
    max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data())
def test_any_value_is_either_taken_or_refused_by_name(own, data):
    book = load_rule_book()
    key = data.draw(st.sampled_from(sorted(book.sources)))
    path = own(f"{key} = {data.draw(VALUES)}\n")
    try:
        changed = load_rule_book(path)
    except SettingsError as error:
        assert f"{path}: {key}: " in str(error)  # noqa: PT017
    else:
        assert changed.sources[key] == "set in house.toml"
        assert type(value_at(changed, key)) is type(value_at(book, key))


# Limits


def test_limits_at_their_edges():
    assert Limit(0, 1).holds(0)
    assert Limit(0, 1).holds(1)
    assert not Limit(0, 1, open_low=True).holds(0)
    assert not Limit(0, 1).holds(float("nan"))
    assert not Limit(0, float("inf")).holds(float("inf"))


def test_every_number_that_ships_has_bounds_of_its_own():
    numbers = [
        key
        for each in (load_rule_book(), load_machine(), load_price_book())
        for key in each.sources
        if isinstance(value_at(each, key), float)
    ]
    assert len(numbers) > 60
    assert [key for key in numbers if math.isinf(limit_of(key).low)] == []


def test_pairs_in_order_are_known_keys():
    known = set(load_rule_book().sources) | set(load_machine().sources)
    assert {key for pair in IN_ORDER for key in pair} <= known


# Digest


def test_digest_tells_values_and_not_sources(own):
    shipped = load_rule_book()
    same = own("[pegs]\nspacing_m = 0.7\n", "same.toml")
    other = own("[pegs]\nspacing_m = 0.71\n", "other.toml")
    assert digest(load_rule_book(same)) == digest(shipped)
    assert digest(load_rule_book(other)) != digest(shipped)
    assert digest(shipped, load_machine()) != digest(load_machine(), shipped)
    assert digest(load_machine("small")) != digest(load_machine("large"))


def test_digest_is_the_sha256_of_canonical_json():
    # GNU coreutils: printf '[]' | sha256sum
    assert digest() == "4f53cda18c2baa0c0354bb5f9a3ecbe5ed12ab4d8e11ba873c2f11161202b945"
    # printf '[["a", 1, 2.5, null, true], {"k": "v"}]' | sha256sum
    assert digest(("a", 1, 2.5, None, True), {"k": "v"}) == (
        "b568f25239124d24f62dd9c9dbcd489ff0d2f6f4ec05f885f0a230fe49ceb901"
    )


def test_digest_does_not_depend_on_the_order_of_keys():
    assert digest({"a": 1, "b": 2.0}) == digest({"b": 2.0, "a": 1})
    assert digest({"a": 1, "b": 2.0}) != digest({"a": 2.0, "b": 1})


def test_digest_is_the_same_in_another_process():
    code = (
        "from lawnplat.settings.load import *\n"
        "print(digest(load_rule_book(), *shipped_classes(), load_price_book()))"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == digest(load_rule_book(), *shipped_classes(), load_price_book())


def test_digest_refuses_what_is_no_settings_value():
    with pytest.raises(TypeError, match="set is no settings value"):
        digest({1, 2})


# Weight


def test_loading_settings_brings_no_heavy_library():
    code = (
        "import sys, lawnplat.settings.load as s\n"
        "s.load_rule_book(); s.load_machine(); s.load_price_book()\n"
        "heavy = {'numpy', 'shapely', 'fiona', 'pandas', 'geopandas', 'scipy', 'click'}\n"
        "print(sorted(heavy & set(sys.modules)))"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"
