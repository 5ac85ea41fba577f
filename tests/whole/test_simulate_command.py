"""`lawnplat simulate` on a written plan, and `lawnplat plan --prove`."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import fiona
import pytest
from click.testing import CliRunner, Result

from lawnplat.cli import main
from lawnplat.deliver.recorded import read_recorded
from lawnplat.survey.types import Finding

SAMPLE = Path(__file__).parents[2] / "sample_data"
FILLED = ("coverage", "coverage_days", "homing", "departures", "machine_fit")
QUICK = "[simulation]\nruns = 3\ndays = 7\ndeparture_journeys = 4\nfit_runs = 1\n"


def call(*words: object) -> Result:
    return CliRunner().invoke(main, [*map(str, words)])


def plan(out: Path, *words: object) -> Result:
    rules = out.parent / "quick.toml"
    rules.write_text(QUICK, encoding="utf-8")
    survey = SAMPLE / "survey.gpkg"
    return call("plan", survey, "--only", "garden-01", "--out", out, "--rules", rules, *words)


@pytest.fixture(scope="module")
def unproved(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("unproved") / "plans"
    assert plan(out).exit_code == 0
    return out / "garden-01" / "plan.gpkg"


def test_a_plan_that_is_not_proved_leaves_the_layers_empty(unproved: Path) -> None:
    found = read_recorded(unproved)
    assert all(name in found.layers and not found.rows(name) for name in FILLED)
    assert not any(key.startswith("simulation") for key in found.facts)


def test_simulating_a_file_prints_and_writes(unproved: Path, tmp_path: Path) -> None:
    out = tmp_path / "simulation.gpkg"
    words = ("simulate", unproved, "--days", 7, "--runs", 3, "--seed", 9, "--out", out)
    said = call(*words)
    assert said.exit_code == 0, said.output
    assert "3 runs of 7 days, seed 9" in said.output
    assert set(FILLED) <= set(fiona.listlayers(out))
    facts = call(*words, "--json")
    result = json.loads(facts.output)
    assert result["record"]["simulation_seed"] == "9"
    (loop,) = result["loops"]
    assert sum(each["area_m2"] for each in loop["coverage"]) == pytest.approx(loop["reached_m2"])
    assert [each["machine_class"] for each in result["machine_fit"]] == [
        "small", "medium", "steep", "large",
    ]  # fmt: skip
    again = json.loads(call(*words, "--json").output)
    assert again == result


def test_a_plan_is_never_written_over(unproved: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy.gpkg"
    shutil.copy(unproved, copy)
    before = copy.read_bytes()
    said = call("simulate", unproved, "--days", 7, "--runs", 1, "--out", copy)
    assert said.exit_code == 2
    assert copy.read_bytes() == before


def test_days_without_work_are_told_and_hold_no_number(unproved: Path) -> None:
    # The programme asks for two days a week, spread evenly: none of them is the first.
    said = call("simulate", unproved, "--days", 1, "--runs", 1)
    assert said.exit_code == 0, said.output
    assert "does not work on any of these days" in said.output
    assert "nan" not in said.output
    facts = call("simulate", unproved, "--days", 1, "--runs", 1, "--json")
    # RFC 8259, section 6: numbers such as NaN and Infinity are not JSON.
    (loop,) = json.loads(facts.output, parse_constant=pytest.fail)["loops"]
    assert loop["homing"]["journeys"] == 0
    assert loop["homing"]["median_min"] is None


@pytest.mark.parametrize("name", ["nothing.gpkg", "text.gpkg", "folder"])
def test_what_is_no_plan_is_refused_in_two_lines(name: str, tmp_path: Path) -> None:
    (tmp_path / "text.gpkg").write_text("no plan", encoding="utf-8")
    (tmp_path / "folder").mkdir()
    said = call("simulate", tmp_path / name)
    assert said.exit_code == 2
    assert name in said.output
    assert len(said.output.splitlines()) <= 2


def test_a_proved_plan_holds_what_simulating_its_file_gives(tmp_path: Path) -> None:
    out = tmp_path / "plans"
    said = plan(out, "--prove")
    path = out / "garden-01" / "plan.gpkg"
    written = read_recorded(path)
    assert said.exit_code == 0, said.output
    assert all(written.rows(name) for name in FILLED)
    result = json.loads(call("simulate", path, "--rules", tmp_path / "quick.toml", "--json").output)
    (home,) = written.rows("homing")
    assert home.number("median_min") == pytest.approx(result["loops"][0]["homing"]["median_min"])
    shares = [row.number("share") for row in written.rows("departures")]
    assert sum(shares) == pytest.approx(1)
    assert "Simulated work" in (out / "garden-01" / "site_sheet.html").read_text("utf-8")


def test_a_breach_that_stops_makes_the_property_not_plannable(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    breach = Finding("wire_setback", "stop", "the wire lies 0.10 m from a wall, 0.35 m is asked")
    monkeypatch.setattr("lawnplat.proving.check.check_plan", lambda _evidence: (breach,))
    out = tmp_path / "plans"
    said = plan(out, "--prove", "--json")
    assert said.exit_code == 1
    (found,) = json.loads(said.stdout)["properties"]
    assert found["status"] == "not_plannable"
    assert found["reason"].startswith("the finished plan breaks a rule: the wire lies 0.10 m")
    rules = [
        row.text("rule") for row in read_recorded(out / "garden-01/plan.gpkg").rows("advisories")
    ]
    assert "wire_setback" in rules


def test_planning_without_a_proof_never_loads_numba(tmp_path: Path) -> None:
    code = (
        "import sys\n"
        "from lawnplat.cli import main\n"
        f"main(['plan', {str(SAMPLE / 'survey.gpkg')!r}, '--only', 'garden-01', "
        f"'--out', {str(tmp_path / 'plans')!r}], standalone_mode=False)\n"
        "assert 'numba' not in sys.modules and 'lawnplat.proving.check' not in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True, capture_output=True)
