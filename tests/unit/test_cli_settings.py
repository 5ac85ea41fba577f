"""The commands `rules`, `classes` and `prices`, and what all commands share."""

from __future__ import annotations

import json
import subprocess
import sys

import click
import pytest
from click.testing import CliRunner

from lawnplat.cli import common, main
from lawnplat.errors import NotPlannable, SettingsError
from lawnplat.settings.load import (
    digest,
    load_machine,
    load_price_book,
    load_rule_book,
    shipped_classes,
)


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def table_of(text: str) -> list[list[str]]:
    """Return the cells of a printed table, cut where its rule line says that columns begin."""
    lines = text.splitlines()
    rule = lines[1]
    starts = [i for i, c in enumerate(rule) if c == "-" and (i == 0 or rule[i - 1] == " ")]
    ends = [*starts[1:], None]
    return [[line[a:b].strip() for a, b in zip(starts, ends, strict=True)] for line in lines]


def test_rules_prints_every_rule_with_value_and_source():
    result = run("rules")
    assert result.exit_code == 0
    header, rule, *rows = table_of(result.stdout)
    assert header == ["rule", "value", "source"]
    assert all(set(cell) == {"-"} for cell in rule)
    book = load_rule_book()
    assert {row[0]: row[2] for row in rows} == dict(book.sources)
    values = {row[0]: row[1] for row in rows}
    assert values["kinds.water.treatment"] == "keep_off"
    assert values["kinds.water.grass"] == "no"
    assert float(values["wire.spool_m"]) == book.wire.spool_m


def test_rules_prints_a_firms_own_value_and_where_it_was_set(tmp_path):
    path = tmp_path / "house.toml"
    path.write_text("[pegs]\nspacing_m = 0.5\n")
    result = run("rules", "--rules", path)
    assert ["pegs.spacing_m", "0.5", "set in house.toml"] in table_of(result.stdout)


def test_rules_as_json():
    result = run("rules", "--json")
    got = json.loads(result.stdout)
    book = load_rule_book()
    assert got["digest"] == digest(book)
    assert got["rule_book"]["kinds"]["wall"] == {
        "treatment": "keep_off",
        "setback_m": 0.35,
        "grass": False,
        "barrier": True,
        "crossable": False,
    }
    assert got["rule_book"]["sources"] == dict(book.sources)


def test_classes_stand_side_by_side():
    header, _, *rows = table_of(run("classes").stdout)
    machines = shipped_classes()
    assert header == ["key", *(m.name for m in machines), "source"]
    cells = {row[0]: row[1:] for row in rows}
    assert [float(v) for v in cells["slope_lawn_pct"][:-1]] == [m.slope_lawn_pct for m in machines]
    assert "invented" in cells["slope_lawn_pct"][-1]
    assert set(cells) == set(machines[0].sources)


def test_classes_prints_one_machine_from_a_file(tmp_path):
    path = tmp_path / "hill.toml"
    path.write_text('based_on = "steep"\nslope_lawn_pct = { value = 55, source = "its papers" }\n')
    header, _, *rows = table_of(run("classes", "--machine", path).stdout)
    assert header == ["key", "hill", "source"]
    assert ["slope_lawn_pct", "55", "its papers"] in rows
    got = json.loads(run("classes", "--machine", path, "--json").stdout)
    assert got["machine_classes"][0]["name"] == "hill"
    assert got["digest"] == digest(load_machine(str(path)))


def test_prices_prints_amounts_with_their_units(tmp_path):
    path = tmp_path / "ours.toml"
    path.write_text('currency = "CHF"\n[items]\n"pegs" = "0.10"\n')
    rows = table_of(run("prices", "--prices", path).stdout)
    assert ["items.pegs", "0.10", "CHF a piece", "set in ours.toml"] in rows
    got = json.loads(run("prices", "--json").stdout)
    assert got["price_book"]["items"]["pegs"] == {
        "unit": "piece",
        "amount": load_price_book().items["pegs"].amount,
    }


@pytest.mark.parametrize(
    ("command", "option"), [("rules", "--rules"), ("classes", "--machine"), ("prices", "--prices")]
)
@pytest.mark.parametrize("content", [None, "[x\n", "colour = 3\n"])
def test_a_bad_file_is_status_2_and_a_message_on_standard_error(tmp_path, command, option, content):
    path = tmp_path / "house.toml"
    if content is not None:
        path.write_text(content)
    result = run(command, option, path)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert str(path) in result.stderr
    assert "Traceback" not in result.stderr
    assert len(result.stderr.splitlines()) <= 2


def test_debug_lets_the_error_through(tmp_path):
    result = run("rules", "--debug", "--rules", tmp_path / "none.toml")
    assert isinstance(result.exception, SettingsError)


def test_debug_shows_a_traceback_from_the_shell(tmp_path):
    arguments = ["rules", "--rules", str(tmp_path / "none.toml"), "--debug"]
    code = f"from lawnplat.cli import main; main({arguments!r})"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert run.returncode != 0
    assert "Traceback" in run.stderr


@pytest.mark.parametrize("command", ["rules", "classes", "prices"])
def test_each_option_has_help(command):
    result = run(command, "--help")
    assert result.exit_code == 0
    options = main.get_command(click.Context(main), command).params
    assert all(option.help for option in options)


def test_no_option_is_ignored():
    # `rules` takes no machine: an option that would do nothing is refused.
    assert run("rules", "--machine", "small").exit_code == 2


@pytest.mark.parametrize("command", ["rules", "classes", "prices"])
def test_the_commands_load_nothing_heavy(command):
    code = (
        "import sys\nfrom lawnplat.cli import main\n"
        f"main(['{command}'], standalone_mode=False)\n"
        "heavy = {'numpy', 'shapely', 'fiona', 'pandas', 'geopandas', 'scipy', 'rasterio'}\n"
        "print(sorted(heavy & set(sys.modules)), file=sys.stderr)"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stderr.strip() == "[]"


# What all commands share


def command_that(error):
    @click.command()
    @common.debug_option
    @common.reports_errors
    def command():
        raise error

    return command


def test_an_expected_error_is_its_message_and_status_2():
    result = CliRunner().invoke(command_that(NotPlannable("garden", "too steep", "regrade")), [])
    assert result.exit_code == common.EXIT_CANNOT == 2
    assert result.stderr == "Error: garden: too steep\n  regrade\n"


def test_an_unexpected_error_is_called_our_fault_and_shows_no_traceback():
    result = CliRunner().invoke(command_that(ZeroDivisionError("by zero")), [])
    assert result.exit_code == 2
    assert "unexpected ZeroDivisionError: by zero" in result.stderr
    assert "--debug" in result.stderr
    result = CliRunner().invoke(command_that(ZeroDivisionError("by zero")), ["--debug"])
    assert isinstance(result.exception, ZeroDivisionError)


def test_clicks_own_errors_go_through():
    result = CliRunner().invoke(command_that(click.UsageError("say which")), [])
    assert result.exit_code == 2
    assert "say which" in result.stderr
    result = CliRunner().invoke(command_that(click.exceptions.Exit(1)), [])
    assert result.exit_code == 1


def test_table_is_aligned_and_has_no_trailing_blanks(capsys):
    common.echo_table(("a", "bcd"), [("long cell", "x"), ("", "")])
    assert capsys.readouterr().out == "a          bcd\n---------  ---\nlong cell  x\n\n"


def test_json_keeps_letters_and_refuses_the_unknown(capsys):
    common.echo_json({"name": "Grün", "set": ("a", "b")})
    assert json.loads(capsys.readouterr().out) == {"name": "Grün", "set": ["a", "b"]}
    with pytest.raises(TypeError):
        common.echo_json(object())
