"""What every step of the wire room looks at: one site with its ground, terrain and settings."""

from __future__ import annotations

from dataclasses import dataclass

from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import union
from lawnplat.ground.types import Ground
from lawnplat.settings.types import MachineClass, RuleBook
from lawnplat.survey.types import Site
from lawnplat.terrain.types import Terrain


@dataclass(frozen=True)
class Scene:
    """One site as the wire room sees it."""

    site: Site
    ground: Ground
    terrain: Terrain
    machine: MachineClass
    rules: RuleBook

    @property
    def base_ahead_m(self) -> float:
        """How far the station's base reaches into the lawn from the wire."""
        return self.machine.base_length_m - self.machine.base_behind_wire_m

    def barriers(self) -> BaseGeometry:
        """Return the ground through which neither a wire nor a cable can be led."""
        return union(
            feature.geometry
            for feature in self.site.features
            if self.rules.kinds[feature.kind].barrier and feature.geometry.area > 0
        )
