"""What plans break, as one layer of a GeoPackage for any viewer."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely
from pyproj import CRS, Transformer
from shapely import Point

from lawnplat.deliver.contract import FINDINGS, MADE_BY, PORTFOLIO_RUN_INFO
from lawnplat.deliver.gpkg import is_ours, write_layers
from lawnplat.deliver.place import place_file
from lawnplat.deliver.rows import Row
from lawnplat.survey.types import Finding, FloatArray

_WORLD = "EPSG:4326"


@dataclass(frozen=True)
class PlanFindings:
    """One plan's findings. Places in ``crs``."""

    property_id: str
    crs: str
    findings: Sequence[Finding]


def write_findings(plans: Sequence[PlanFindings], target: Path) -> Path:
    """Write the layer ``findings``: a point at the worst spot of each breach.

    Parameters
    ----------
    plans : sequence of PlanFindings
        Places are written in the plans' CRS where it is one and the same, else in EPSG:4326.
    target : pathlib.Path
        A GeoPackage; its folder is made where it is missing.

    Returns
    -------
    pathlib.Path
        The file.

    Raises
    ------
    DeliveryError
        It cannot be written, or a file is in its place that is no layer of findings of ours.
    """
    found = {plan.crs for plan in plans}
    crs = found.pop() if len(found) == 1 else _WORLD
    rows = [row for plan in plans for row in _rows(plan, crs)]
    layers = [(FINDINGS, rows), (PORTFOLIO_RUN_INFO, [Row(None, ("", *MADE_BY))])]
    place_file(target, lambda draft: write_layers(draft, layers, crs), _is_findings)
    return target


def _rows(plan: PlanFindings, crs: str) -> Iterable[Row]:
    places = [_moved(each.place, plan.crs, crs) for each in plan.findings]
    for each, place in zip(plan.findings, places, strict=True):
        about = (each.rule, each.severity, each.text, each.measured, each.limit)
        yield Row(place, (plan.property_id, *about))


def _moved(place: Point | None, source: str, target: str) -> Point | None:
    if place is None or source == target:
        return place
    transformer = Transformer.from_crs(CRS(source), CRS(target), always_xy=True)

    def moved(xy: FloatArray) -> FloatArray:
        return np.column_stack(transformer.transform(xy[:, 0], xy[:, 1]))

    return shapely.transform(place, moved)


def _is_findings(path: Path) -> bool:
    """Return whether a file is one of these: a plan is ours too, and must never be replaced."""
    if not is_ours(path):
        return False
    query = "SELECT count(*) FROM gpkg_contents WHERE table_name = ?"
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as database:
            return bool(database.execute(query, (FINDINGS.name,)).fetchone()[0])
    except sqlite3.Error:
        return False
