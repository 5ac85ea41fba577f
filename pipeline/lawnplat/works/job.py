"""What every step of the works room looks at: one site with its layouts and settings."""

from __future__ import annotations

from dataclasses import dataclass

from lawnplat.ground.types import Ground
from lawnplat.settings.types import MachineClass, RuleBook, Terms
from lawnplat.survey.types import Site
from lawnplat.terrain.types import Terrain
from lawnplat.wire.types import Layout


@dataclass(frozen=True)
class Job:
    """One site as the works room sees it; all geometry in the site's CRS."""

    site: Site
    terrain: Terrain
    ground: Ground
    layouts: tuple[Layout, ...]
    machine: MachineClass
    rules: RuleBook
    terms: Terms
