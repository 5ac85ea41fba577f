"""The sample survey, planned once for all tests that look at its plans."""

from __future__ import annotations

import csv
import pickle
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from click.testing import CliRunner

from holds import Given, PlanFile, Thing, read_plan
from kept import kept_folder
from lawnplat.cli import main
from lawnplat.settings.load import load_machine, load_rule_book

SAMPLE = Path(__file__).parents[2] / "sample_data"
SURVEY, RASTER = SAMPLE / "survey.gpkg", SAMPLE / "elevation.tif"


@dataclass(frozen=True)
class Said:
    """How a call ended and what it printed."""

    exit_code: int
    output: str
    stderr: str
    exception: BaseException | None


@dataclass(frozen=True)
class Run:
    """One call of `lawnplat plan` and its output folder."""

    result: Said
    out: Path

    @property
    def table(self) -> dict[str, dict[str, str]]:
        with (self.out / "portfolio.csv").open(encoding="utf-8", newline="") as file:
            return {row["property_id"]: row for row in csv.DictReader(file)}

    def plan_path(self, property_id: str) -> Path:
        return self.out / self.table[property_id]["folder"] / "plan.gpkg"

    def plan(self, property_id: str) -> PlanFile:
        return read_plan(self.plan_path(property_id))

    def given(self, property_id: str, things: tuple[Thing, ...] | None = None) -> Given:
        row = self.table[property_id]
        return Given(
            load_rule_book(), load_machine(row["machine_class"]), things, status=row["status"]
        )


def run_plan(out: Path, *words: object) -> Run:
    done = CliRunner().invoke(main, ["plan", *map(str, words), "--out", str(out)])
    return Run(Said(done.exit_code, done.output, done.stderr, done.exception), out)


@pytest.fixture(scope="session")
def street() -> Run:
    """Return the sample survey's plans; they are there for every worker, and only to be read."""
    return _kept("street", lambda out: run_plan(out, SURVEY, "--elevation", RASTER))


@pytest.fixture(scope="session")
def street_of_two_workers() -> Run:
    """Return the same, planned by the command in a process of its own and two of its workers."""
    return _kept("street of two workers", _run_in_a_process)


def _run_in_a_process(out: Path) -> Run:
    command = [sys.executable, "-c", "from lawnplat.cli import main; main()", "plan", str(SURVEY)]
    command += ["--elevation", str(RASTER), "--out", str(out), "--workers", "2"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    return Run(Said(done.returncode, done.stdout, done.stderr, None), out)


def _kept(name: str, plan: Callable[[Path], Run]) -> Run:
    def fill(folder: Path) -> None:
        (folder / "said.pickle").write_bytes(pickle.dumps(plan(folder / "plans").result))

    folder = kept_folder(name, fill)
    return Run(pickle.loads((folder / "said.pickle").read_bytes()), folder / "plans")
