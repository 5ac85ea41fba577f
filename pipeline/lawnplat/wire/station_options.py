"""The table of station places: every criterion, the rank, or what speaks against it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from shapely import Point

from lawnplat.geometry import FloatArray, bearing_deg
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
    found = []
    for place in range(len(score)):
        why = "" if rank[place] else _why_not(places, measures, place, rules)
        found.append(_option(places, measures, place, int(rank[place]), float(score[place]), why))
    return tuple(sorted(found, key=lambda option: option.rank or len(found) + 1))


def _option(  # noqa: PLR0917 - one row of a table
    places: Places, measures: Measures, i: int, rank: int, score: float, why_not: str
) -> StationOption:
    return StationOption(
        point=Point(places.point[i]),
        bearing_deg=bearing_deg(*places.ahead[i]),
        rank=rank,
        score=score,
        tilt_pct=float(measures.tilt_pct[i]),
        outlet_distance_m=float(measures.outlet_m[i]),
        mean_return_m=float(measures.mean_m[i]),
        worst_return_m=float(measures.worst_m[i]),
        openness_m=float(measures.open_m[i]),
        front_clear=bool(places.front_clear[i]),
        straight_wire=bool(places.straight_wire[i]),
        rejected_because=why_not,
        cable_paved_m=float(measures.paved_m[i]),
        upslope_m2=float(measures.upslope_m2[i]),
        base_on_lawn=bool(places.base_on_lawn[i]),
        in_passage=bool(places.in_passage[i]),
        drawn_in_m=float(places.drawn_in_m[i]),
    )


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
