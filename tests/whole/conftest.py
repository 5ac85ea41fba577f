"""The sample survey, planned once for all tests that look at its plans."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from holds import Given, PlanFile, Thing, read_plan
from lawnplat.cli import main
from lawnplat.settings.load import load_machine, load_rule_book

SAMPLE = Path(__file__).parents[2] / "sample_data"
SURVEY, RASTER = SAMPLE / "survey.gpkg", SAMPLE / "elevation.tif"


@dataclass(frozen=True)
class Run:
    """One call of `lawnplat plan` and its output folder."""

    result: Result
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
    return Run(CliRunner().invoke(main, ["plan", *map(str, words), "--out", str(out)]), out)


@pytest.fixture(scope="session")
def street(tmp_path_factory: pytest.TempPathFactory) -> Run:
    """Return the sample survey's plans."""
    out = tmp_path_factory.mktemp("street") / "plans"
    return run_plan(out, SURVEY, "--elevation", RASTER)
