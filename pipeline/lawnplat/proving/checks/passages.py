"""Checks of narrow places: whether the machine passes, and whether they are as wide as told.

Widths are measured on a fine raster by distance transform: the widest way through a place is the
largest distance from all rims that still leaves its two sides joined.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from shapely.geometry.base import BaseGeometry

from lawnplat.proving.breach import breach
from lawnplat.proving.evidence import Evidence
from lawnplat.proving.recorded import union
from lawnplat.proving.strips import strips_of
from lawnplat.proving.tolerances import CM
from lawnplat.settings.types import MachineClass
from lawnplat.survey.types import Finding

_CELL_M = 0.02
_MOST_CELLS = 4_000_000
_SLACK_M = 1.5 * CM
"""Rims drawn as chords, opened twice, come in by so much."""
_NARROW_M2 = 2 * CM
"""Smaller scraps lie in corners that a disc of the machine's size leaves out."""
_TOLD_M = 3 * _CELL_M
_STEPS = 12
_REACH_M = 2.0
"""So much of the ground beside a narrow place is looked at: wider than any narrow place is."""
_BESIDE_M = 0.05
_TWO = 2


def passage(evidence: Evidence) -> Iterator[Finding]:
    """Nowhere is mown ground narrower than the machine passes.

    Firm things stand in it without narrowing it, since the machine turns from them.
    """
    least_m = evidence.machine.smallest_passage_m
    radius_m = least_m / 2 - _SLACK_M
    driven = _driven(evidence)
    reached = shapely.buffer(shapely.buffer(driven, -radius_m), radius_m + CM)
    narrow = shapely.difference(evidence.mowable, union([reached, evidence.firm]))
    for part in shapely.get_parts(narrow):
        if part.area > _NARROW_M2:
            place = shapely.point_on_surface(part)
            width_m = 2 * float(shapely.distance(place, shapely.boundary(driven)))
            yield breach(
                evidence, "passage",
                f"{part.area:.2f} m2 are to be mown where the machine does not fit: about "
                f"{width_m:.2f} m wide, a {evidence.machine.name} machine needs {least_m:.2f} m",
                place, measured=width_m, limit=least_m,
            )  # fmt: skip


def passage_verdict(evidence: Evidence) -> Iterator[Finding]:
    """Passages are as wide as told, and closed, guided or open by their width."""
    driven, comfortable_m = _driven(evidence), evidence.machine.comfortable_passage_m
    for row in evidence.plan.rows("passages"):
        if row.geometry is None:
            continue
        told_m, verdict = row.number("width_m"), row.text("verdict")
        place = shapely.point_on_surface(row.geometry)
        fits = {_verdict(width_m, evidence.machine) for width_m in (told_m - CM, told_m + CM)}
        if verdict not in fits:
            yield breach(
                evidence, "passage_verdict",
                f"a passage {told_m:.2f} m wide is told as {verdict}", place,
                measured=told_m, limit=evidence.machine.smallest_passage_m,
            )  # fmt: skip
        if verdict == "closed":
            continue
        found_m = width_through(driven, row.geometry, comfortable_m)
        if found_m is not None and abs(found_m - told_m) > _TOLD_M:
            yield breach(
                evidence, "passage_verdict",
                f"a passage is told as {told_m:.2f} m wide, the ground leaves {found_m:.2f} m",
                place, measured=told_m, limit=found_m,
            )  # fmt: skip


def width_through(
    ground: BaseGeometry, place: BaseGeometry, comfortable_m: float
) -> float | None:
    """Return the width of the widest way through a narrow place, metres.

    Parameters
    ----------
    ground : BaseGeometry
        All ground that a machine drives over.
    place : BaseGeometry
        The narrow place, a part of ``ground`` between two others.
    comfortable_m : float
        Width from which ground is not narrow: its sides are as wide.

    Returns
    -------
    float or None
        To about two cells of the raster, 2 cm each. None where the place does not part two wide
        sides close by, or is too long for the raster.
    """
    west, south, east, north = shapely.buffer(place, _REACH_M).bounds
    columns, rows = int((east - west) / _CELL_M) + 1, int((north - south) / _CELL_M) + 1
    if rows * columns > _MOST_CELLS:
        return None
    x, y = np.meshgrid(west + _CELL_M * np.arange(columns), south + _CELL_M * np.arange(rows))
    free = shapely.contains_xy(ground, x, y)
    off_m = np.asarray(ndimage.distance_transform_edt(np.asarray(free, dtype=np.uint8))) * _CELL_M
    beside = free & ~shapely.contains_xy(shapely.buffer(place, _BESIDE_M), x, y)
    sides, count = ndimage.label(beside)
    large = [
        number
        for number in range(1, count + 1)
        if 2 * off_m[sides == number].max() > comfortable_m - 2 * _CELL_M
    ]
    if len(large) != _TWO:
        return None
    one, other = (sides == number for number in large)
    low, high = 0.0, float(min(off_m[one].max(), off_m[other].max()))
    for _ in range(_STEPS):
        middle = (low + high) / 2
        low, high = (middle, high) if _joined(off_m >= middle, one, other) else (low, middle)
    return 2 * low if low > 0 else None


def _joined(
    open_: NDArray[np.bool_], one: NDArray[np.bool_], other: NDArray[np.bool_]
) -> bool:
    labels, _ = ndimage.label(open_)
    here, there = np.unique(labels[open_ & one]), np.unique(labels[open_ & other])
    return bool(np.intersect1d(here, there).size)


def _driven(evidence: Evidence) -> BaseGeometry:
    """Return all ground that machines drive over, with cracks between its parts closed."""
    strips = [strips_of(evidence, loop) for loop in evidence.loops]
    whole = union([evidence.mowable, evidence.firm, *strips])
    grown = shapely.get_parts(shapely.buffer(whole, CM))
    return union(shapely.buffer(piece, -CM) for piece in grown)


def _verdict(width_m: float, machine: MachineClass) -> str:
    if width_m < machine.smallest_passage_m:
        return "closed"
    return "guided" if width_m < machine.comfortable_passage_m else "open"
