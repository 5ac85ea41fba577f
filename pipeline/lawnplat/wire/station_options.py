"""The table of station places: every criterion, the rank, or what speaks against it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
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
    against = _why_not(places, measures, rules)
    why = ["" if place else text for place, text in zip(rank.tolist(), against, strict=True)]
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


def _why_not(places: Places, measures: Measures, rules: RuleBook) -> list[str]:
    """Return every reason that speaks against each place."""
    reasons = list(_reasons(places, measures, rules))
    holding = np.stack([holds for holds, _ in reasons], axis=1).tolist()
    said = (
        "; ".join(text(i) for holds, (_, text) in zip(row, reasons, strict=True) if holds)
        for i, row in enumerate(holding)
    )
    return [text or "a place beside it was ranked in its stead" for text in said]


def _reasons(
    places: Places, measures: Measures, rules: RuleBook
) -> Iterator[tuple[NDArray[np.bool_], Callable[[int], str]]]:
    """Yield for which places a reason holds, and how it is put for one of them."""
    limits = rules.station
    front, straight = (
        f"front not clear for {limits.front_clear_m:.1f} m",
        f"wire not straight for {limits.straight_wire_m:.1f} m",
    )
    yield ~places.front_clear, lambda _: front
    yield ~places.base_on_lawn, lambda _: "base not wholly on lawn"
    yield ~places.straight_wire, lambda _: straight
    yield places.in_passage, lambda _: "in a narrow passage"
    yield ~places.way_out, lambda _: "no room beyond the front for a return line to leave"
    tilt_pct, most_pct = measures.tilt_pct, limits.largest_tilt_pct
    yield tilt_pct > most_pct, lambda i: f"tilted {tilt_pct[i]:.1f} %, over {most_pct:.1f} %"
    outlet_m, reach_m = measures.outlet_m, limits.cable_reach_m
    yield outlet_m > reach_m, lambda i: f"outlet {outlet_m[i]:.1f} m away, over {reach_m:.1f} m"
    water_m, clear_m = measures.water_m, limits.water_clear_m
    yield (
        water_m < clear_m,
        lambda i: f"{water_m[i]:.1f} m from open water, under {clear_m:.1f} m",
    )
    above_m2, most_m2 = measures.upslope_m2, limits.largest_upslope_m2
    yield above_m2 > most_m2, lambda i: f"{above_m2[i]:.0f} m2 of slope above, over {most_m2:.0f}"
    no_cable = np.isnan(outlet_m) & bool(np.isfinite(outlet_m).any())
    yield no_cable, lambda _: "no way round the lawn for a cable from an outlet"
