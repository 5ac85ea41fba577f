"""The table of station places: every criterion, the rank, or what speaks against it."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from lawnplat.geometry import FloatArray, bearings_deg
from lawnplat.settings.types import RuleBook
from lawnplat.wire.places import Places
from lawnplat.wire.station_measures import Measures
from lawnplat.wire.types import StationOption


def options_of(
    places: Places,
    measures: Measures,
    score: FloatArray,
    order: NDArray[np.int64],
    rules: RuleBook,
) -> tuple[StationOption, ...]:
    """Return every place with its rank (``order`` holds the ranked ones, best first) or reasons."""
    rank = np.zeros(len(score), int)
    rank[order] = np.arange(1, len(order) + 1)
    why = ["" if rank[i] else _why_not(places, measures, i, rules) for i in range(len(score))]
    # Column by column: arrays turn into plain numbers much faster whole than one by one.
    columns: dict[str, list[Any]] = {
        "point": np.asarray(shapely.points(places.point)).tolist(),
        "bearing_deg": bearings_deg(places.ahead).tolist(),
        "rank": rank.tolist(),
        "score": score.tolist(),
        "tilt_pct": measures.tilt_pct.tolist(),
        "outlet_distance_m": measures.outlet_m.tolist(),
        "mean_return_m": measures.mean_m.tolist(),
        "worst_return_m": measures.worst_m.tolist(),
        "openness_m": measures.open_m.tolist(),
        "front_clear": places.front_clear.tolist(),
        "straight_wire": places.straight_wire.tolist(),
        "rejected_because": why,
        "cable_paved_m": measures.paved_m.tolist(),
        "upslope_m2": measures.upslope_m2.tolist(),
        "water_m": measures.water_m.tolist(),
        "base_on_lawn": places.base_on_lawn.tolist(),
        "in_passage": places.in_passage.tolist(),
        "drawn_in_m": places.drawn_in_m.tolist(),
    }
    rows = zip(*columns.values(), strict=True)
    found = [StationOption(**dict(zip(columns, row, strict=True))) for row in rows]
    return tuple(sorted(found, key=lambda option: option.rank or len(found) + 1))


def _why_not(places: Places, measures: Measures, i: int, rules: RuleBook) -> str:
    """Return every reason that speaks against place ``i``."""
    limits = rules.station
    reasons = [
        (not places.front_clear[i], f"front not clear for {limits.front_clear_m:.1f} m"),
        (not places.base_on_lawn[i], "base not wholly on lawn"),
        (not places.straight_wire[i], f"wire not straight for {limits.straight_wire_m:.1f} m"),
        (places.in_passage[i], "in a narrow passage"),
        (not places.way_out[i], "no room beyond the front for a return line to leave"),
        (
            measures.tilt_pct[i] > limits.largest_tilt_pct,
            f"tilted {measures.tilt_pct[i]:.1f} %, over {limits.largest_tilt_pct:.1f} %",
        ),
        (
            measures.outlet_m[i] > limits.cable_reach_m,
            f"outlet {measures.outlet_m[i]:.1f} m away, over {limits.cable_reach_m:.1f} m",
        ),
        (
            measures.water_m[i] < limits.water_clear_m,
            f"{measures.water_m[i]:.1f} m from open water, under {limits.water_clear_m:.1f} m",
        ),
        (
            measures.upslope_m2[i] > limits.largest_upslope_m2,
            f"{measures.upslope_m2[i]:.0f} m2 of slope above, over {limits.largest_upslope_m2:.0f}",
        ),
        (
            np.isnan(measures.outlet_m[i]) and bool(np.isfinite(measures.outlet_m).any()),
            "no way round the lawn for a cable from an outlet",
        ),
    ]
    said = [text for holds, text in reasons if holds]
    return "; ".join(said) if said else "a place beside it was ranked in its stead"
