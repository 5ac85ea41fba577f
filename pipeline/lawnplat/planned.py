"""The result for one property: what every room gave, and how it went."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from shapely.geometry.base import BaseGeometry

from lawnplat.ground.types import Ground
from lawnplat.proving.simulation.types import Simulation
from lawnplat.settings.types import MachineClass
from lawnplat.survey.types import Area, Finding, Site
from lawnplat.terrain.types import Terrain
from lawnplat.wire.types import Layout
from lawnplat.works.types import Works


class Status(StrEnum):
    """How a property came out."""

    PLANNED = "planned"
    PLANNED_WITH_ADVISORIES = "planned_with_advisories"
    NOT_PLANNABLE = "not_plannable"
    BAD_INPUT = "bad_input"


@dataclass(frozen=True)
class Plan:
    """One property planned, or as far as it came.

    ``terrain``, ``ground`` and ``works`` are None and ``layouts`` is empty from the room on where
    the plan stopped. ``layouts`` holds one layout a loop: several where the lawn is split into
    working areas. ``findings`` holds everything noticed, from the survey to the works.
    """

    site: Site
    machine: MachineClass
    status: Status
    findings: tuple[Finding, ...]
    run_info: tuple[tuple[str, str], ...]
    terrain: Terrain | None = None
    ground: Ground | None = None
    layouts: tuple[Layout, ...] = ()
    works: Works | None = None
    simulation: Simulation | None = None
    """Only where the plan was proved."""

    @property
    def layout(self) -> Layout | None:
        """The first loop, or None where nothing is laid."""
        return self.layouts[0] if self.layouts else None


@dataclass(frozen=True)
class QuoteSums:
    """What a property's quote comes to; the sums are None while a price is missing."""

    net: Decimal | None
    tax: Decimal | None
    total: Decimal | None
    currency: str
    valid_until: str
    """ISO date, or empty where the quote has no date."""
    missing: tuple[str, ...] = ()


@dataclass(frozen=True)
class Outcome:
    """The headline of one property, for the portfolio: small enough to keep for many thousand."""

    property_id: str
    label: str
    folder: str
    """Name of the property's folder below the output folder; empty where nothing was written."""
    status: Status
    reason: str
    """Why it is not planned; empty where it is."""
    outline: Area | None
    crs: str | None
    machine_class: str = ""
    lawn_m2: float = 0.0
    mowable_m2: float = 0.0
    hand_trim_m2: float = 0.0
    perimeter_m: float = 0.0
    return_lines_m: float = 0.0
    pegs: int = 0
    advisories: int = 0
    quote: QuoteSums | None = None
    needs_visit: tuple[str, ...] = ()
    """The rules of the advisories that somebody has to look at on the site."""
    visit: tuple[str, ...] = ()
    """Some of those advisories in words, short."""
    wire: BaseGeometry | None = None
    """The perimeters, simplified for a small map."""
    stations: BaseGeometry | None = None
