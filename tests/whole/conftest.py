"""The sample survey, planned once for all tests that look at its plans."""

from __future__ import annotations

import csv
import pickle
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


def plan_street(folder: Path) -> None:
    run = run_plan(folder / "plans", SURVEY, "--elevation", RASTER)
    (folder / "said.pickle").write_bytes(pickle.dumps(run.result))


@pytest.fixture(scope="session")
def street() -> Run:
    """Return the sample survey's plans; they are there for every worker, and only to be read."""
    folder = kept_folder("street", plan_street)
    return Run(pickle.loads((folder / "said.pickle").read_bytes()), folder / "plans")
