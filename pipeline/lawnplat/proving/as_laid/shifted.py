"""Whether a whole track is shifted: by its own offsets, and by fixed points measured again."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely

from lawnplat.proving.as_laid.measured import Measured
from lawnplat.proving.recorded import RecordedPlan
from lawnplat.settings.types import RuleBook
from lawnplat.survey.track import TrackMark
from lawnplat.survey.types import Finding

_MOST_OF_IT = 0.5
"""A shift that explains half of the sum of squares of all offsets is no chance: noise of its own
for each point leaves two parts in so many as there are points."""
_FEWEST = 10


def shift_finding(wires: Sequence[Measured], rules: RuleBook) -> tuple[Finding, ...]:
    """Return a finding where one shift explains most of what a track lies off its plan.

    The shift t is the least-squares solution of left . t = offset over all points.
    """
    if sum(len(each.offset_m) for each in wires) < _FEWEST:
        return ()
    lefts = np.concatenate([each.wire.lefts(each.chainage_m) for each in wires])
    offset = np.concatenate([each.offset_m for each in wires])
    sigma = np.concatenate([each.sigma_m for each in wires])
    lefts_w, offset_w = lefts / sigma[:, None], offset / sigma
    by, *_ = np.linalg.lstsq(lefts_w, offset_w, rcond=None)
    left_over = offset_w - lefts_w @ by
    explained = 1.0 - float((left_over**2).sum() / max((offset_w**2).sum(), 1e-12))
    far_m = float(np.hypot(*by))
    if far_m <= rules.as_laid.stray_m or explained < _MOST_OF_IT:
        return ()
    text = (
        f"the whole track lies {far_m:.2f} m off ({by[0]:+.2f} m east, {by[1]:+.2f} m north), as "
        "by a wrong base, datum or pole: measure fixed points of the plan too before moving wire"
    )
    limit = rules.as_laid.stray_m
    return (Finding("track_shift", "warn", text, measured=round(far_m, 3), limit=limit),)


def control_findings(
    marks: Sequence[TrackMark], plan: RecordedPlan, rules: RuleBook
) -> Iterator[Finding]:
    """Yield what is off where the track holds fixed points of the plan by their names."""
    planned = {row.text("name"): row.geometry for row in plan.rows("fixed_points")}
    for mark in marks:
        there = planned.get(mark.name)
        if mark.what != "fixed_point" or there is None:
            continue
        # Off by one in each of two axes: the distance has a Rayleigh distribution.
        limit = rules.as_laid.stray_sigmas * np.sqrt(2.0) * mark.accuracy_m
        off_m = float(shapely.distance(there, mark.point))
        if off_m > limit:
            text = f"fixed point {mark.name} was measured {off_m:.2f} m off its place on the plan"
            yield Finding(
                "fixed_point_off", "warn", text, place=mark.point,
                measured=round(off_m, 3), limit=round(float(limit), 3),
            )  # fmt: skip
