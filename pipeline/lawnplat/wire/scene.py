"""What every step of the wire room looks at: one site with its ground, terrain and settings."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import grow, union
from lawnplat.ground.types import Ground
from lawnplat.settings.types import MachineClass, RuleBook
from lawnplat.survey.types import Site
from lawnplat.terrain.types import Terrain
from lawnplat.wire.route_grid import RouteGrid

_LINE_HALF_WIDTH_M = 0.01
"""Half the width that a wall or a fall drawn as a line is taken to have."""


@dataclass(frozen=True)
class Scene:
    """One site as the wire room sees it."""

    site: Site
    ground: Ground
    terrain: Terrain
    machine: MachineClass
    rules: RuleBook
    bare: Terrain | None = None
    """The terrain as it is, where ``terrain`` is taken as steeper at the edges of banks."""
    inside: RouteGrid | None = None
    """The ground inside the station's wire: how near to a wire each place is."""

    @property
    def as_it_is(self) -> Terrain:
        """The terrain as it is, nowhere taken as steeper."""
        return self.terrain if self.bare is None else self.bare

    @property
    def base_ahead_m(self) -> float:
        """How far the station's base reaches into the lawn from the wire."""
        return self.machine.base_length_m - self.machine.base_behind_wire_m

    def barriers(self) -> BaseGeometry:
        """Return the ground through which neither a wire nor a cable can be led."""
        return union(body for body in self._barring() if body.area > 0)

    def line_barriers(self) -> BaseGeometry:
        """Return the walls and falls that were drawn as lines, two fingers wide.

        A line of no width takes nothing away from ground, and so would bar nothing.
        """
        bars = union(body for body in self._barring() if body.area == 0 and body.length > 0)
        return grow(bars, _LINE_HALF_WIDTH_M)

    def _barring(self) -> Iterator[BaseGeometry]:
        for feature in self.site.features:
            if self.rules.kinds[feature.kind].barrier:
                yield feature.geometry
