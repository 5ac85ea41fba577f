"""Marks and fixed points as a table of coordinates for a GNSS rover."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path

from lawnplat.deliver.contract import ROVER_FILE
from lawnplat.deliver.place import place_file
from lawnplat.deliver.portfolio_files import cell
from lawnplat.deliver.values import known
from lawnplat.planned import Plan

HEADER = ("mark", "easting_m", "northing_m", "height_m", "what", "on", "crs", "property_id")
"""The file's first line: by it a file is known as ours."""


def write_rover(plan: Plan, folder: Path) -> Path:
    """Write ``rover.csv``: a row a mark, then a row a fixed point, and return the file.

    Coordinates and heights are in the plan's CRS, metres, to the millimetre; height is empty where
    the ground's is not known. A plan without marks gives a header alone, so that no earlier plan's
    marks are left in its place.

    Raises
    ------
    DeliveryError
        If the file cannot be written, or one that lawnplat did not make is in its place.
    """
    target = folder / ROVER_FILE
    place_file(target, lambda draft: _write(draft, plan), _is_ours)
    return target


def _write(path: Path, plan: Plan) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        table = csv.writer(file, lineterminator="\n")
        table.writerow(HEADER)
        table.writerows(_rows(plan))


def _rows(plan: Plan) -> Iterator[list[str]]:
    if plan.works is None:
        return
    whose = [_text(plan.site.crs), _text(plan.site.property_id)]
    for mark in plan.works.marks:
        place = [_metres(mark.point.x), _metres(mark.point.y), _metres(mark.height_m)]
        yield [_text(mark.name), *place, _text(mark.what), _text(mark.on), *whose]
    for fixed in plan.works.fixed_points:
        place = [_metres(fixed.point.x), _metres(fixed.point.y), ""]
        yield [_text(fixed.name), *place, _text(fixed.what), "fixed_point", *whose]


def _metres(value: float) -> str:
    return "" if known(value) is None else f"{value:.3f}"


def _text(value: str) -> str:
    return cell(known(value))


def _is_ours(path: Path) -> bool:
    with path.open("rb") as file:
        return file.readline().strip() == ",".join(HEADER).encode()
