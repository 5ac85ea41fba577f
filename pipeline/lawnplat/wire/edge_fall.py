"""What has to be said where the ground still falls away too steeply outside the wire."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from lawnplat.ground.cross_fall import HAIR_PCT, Slopes, may_slide
from lawnplat.ground.rim_fall import Rim, outward_fall_pct, rims_of
from lawnplat.survey.types import Finding
from lawnplat.wire.scene import Scene

EDGE_CROSS_FALL = "edge_cross_fall"


def edge_fall_findings(scene: Scene, pieces: Sequence[Polygon]) -> list[Finding]:
    """Return a warning for each stretch of wire over which a machine may slide.

    The ground room draws the rim in wherever that helps; what is found here could not be mended.

    Parameters
    ----------
    scene : Scene
    pieces : sequence of Polygon
        The ground whose rims the conductor follows.
    """
    if not may_slide(scene.terrain, scene.machine):
        return []
    slopes = Slopes(scene.terrain, scene.machine, scene.rules, Polygon())
    found: list[Finding] = []
    for piece in pieces:
        for rim in rims_of(piece):
            fall_pct = outward_fall_pct(scene.terrain, rim.places, rim.outward)
            over = slopes.over(rim, HAIR_PCT)
            runs = slopes.runs(rim, over)
            found.extend(_finding(scene, rim, run[over[run]], fall_pct) for run in runs)
    return found


def _finding(
    scene: Scene, rim: Rim, run: NDArray[np.intp], fall_pct: NDArray[np.float64]
) -> Finding:
    machine, rules = scene.machine, scene.rules
    worst = run[int(np.argmax(fall_pct[run]))]
    return Finding(
        rule=EDGE_CROSS_FALL,
        severity="warn",
        text=(
            f"along {len(run) * rim.step_m:.1f} m of wire the ground falls away outside it by up "
            f"to {fall_pct[worst]:.1f} %, over the {machine.slope_edge_pct:g} % of a "
            f"{machine.name} machine, and no line within {rules.ground.edge_reach_m:.1f} m inward "
            "mends it: set a barrier outside the wire, move the wire by hand to gentler ground, or "
            "take a class for steeper edges"
        ),
        place=shapely.points(rim.places[worst]),
        measured=round(float(fall_pct[worst]), 1),
        limit=machine.slope_edge_pct,
    )
