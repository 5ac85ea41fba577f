"""What a simulation asks somebody to look at."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely

from lawnplat.geometry import inside_point
from lawnplat.proving.simulation.types import CoverageClass, Homing
from lawnplat.proving.simulation.world import World
from lawnplat.settings.proving_rules import SimulationRules
from lawnplat.survey.types import Finding


def findings_of(
    world: World, classes: tuple[CoverageClass, ...], homing: Homing, rules: SimulationRules
) -> Iterator[Finding]:
    """Yield a warning for lawn that starves or is not reached, and where home is found late."""
    for each in classes:
        if each.cut == "starves":
            yield Finding(
                "coverage",
                "warn",
                f"{each.area.area:.0f} m2 of lawn starve: simulated, the largest such place "
                f"({each.largest_m2:.0f} m2) is cut {each.share:.2f} times as often as the lawn on "
                "average; let a return line lead there, or trim it by hand",
                place=each.place,
                measured=each.share,
                limit=rules.starve_share,
            )
    for piece in world.missed.geoms:
        if piece.area >= rules.smallest_starved_m2:
            moved = shapely.transform(piece, lambda points: points + np.array(world.origin))
            yield Finding(
                "not_reached",
                "warn",
                f"{piece.area:.0f} m2 of lawn are planned to be mown, but no way leads there for "
                "the machine's centre: look for a firm thing that closes it",
                place=inside_point(moved),
                measured=piece.area,
                limit=rules.smallest_starved_m2,
            )
    if homing.late_share > rules.late_share:
        yield Finding(
            "homing",
            "warn",
            f"of {homing.journeys} simulated journeys home {homing.late_share:.0%} take longer "
            f"than the battery lasts ({homing.reserve_min:.0f} min; half of them "
            f"{homing.median_min:.0f} min, one in twenty over {homing.p95_min:.0f} min): add a "
            "return line, or set the machine to turn for home earlier",
            measured=homing.late_share,
            limit=rules.late_share,
        )
