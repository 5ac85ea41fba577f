"""A property as a map a few centimetres wide: outline, wire, station, in few points."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import shapely
from shapely.geometry.base import BaseGeometry

from lawnplat.deliver.looks import BLACK, BLUE, VERMILION
from lawnplat.deliver.picture.paper import runs

SIDE = 100
"""Units of the drawing; one is a third of a millimetre on the page."""
_PAD = 4
_HALVINGS = 12


@dataclass(frozen=True)
class _Fit:
    """From metres to the drawing's whole units."""

    west_m: float
    north_m: float
    per_m: float

    def path(self, geometry: BaseGeometry) -> str:
        """Return lines and rings as path data in whole units."""
        return "".join(self._run(coords, closed) for coords, closed in runs(geometry))

    def _run(self, coords: Sequence[Sequence[float]], closed: bool) -> str:
        places = [self.place(x, y) for x, y, *_ in coords]
        return "M" + "L".join(f"{x} {y}" for x, y in places) + ("Z" if closed else "")

    def place(self, x_m: float, y_m: float) -> tuple[int, int]:
        return (
            round(_PAD + (x_m - self.west_m) * self.per_m),
            round(_PAD + (self.north_m - y_m) * self.per_m),
        )


def small_map(
    outline: BaseGeometry,
    wire: BaseGeometry | None,
    stations: BaseGeometry | None,
    *,
    title: str,
    most_points: int,
) -> str:
    """Return an SVG element of a property.

    Parameters
    ----------
    outline : shapely geometry
        The parcel, in metres.
    wire : shapely geometry or None
        Lines.
    stations : shapely geometry or None
        Points.
    title : str
        HTML-escaped text that tells what is shown.
    most_points : int
        The outline and the wire are drawn with about so many points each at most.
    """
    west, south, east, north = outline.bounds
    side_m = max(east - west, north - south, 1e-6)
    fit = _Fit(west, north, (SIDE - 2 * _PAD) / side_m)
    ground = fit.path(few_points(outline, most_points, side_m))
    drawn = [
        f'<path d="{ground}" fill="#eee" fill-rule="evenodd" stroke="{BLACK}"/>',
    ]
    if wire is not None:
        data = fit.path(few_points(wire, most_points, side_m))
        drawn.append(f'<path d="{data}" fill="none" stroke="{VERMILION}" stroke-width="1.4"/>')
    for point in shapely.get_parts(stations) if stations is not None else ():
        x, y = fit.place(point.x, point.y)
        drawn.append(f'<rect x="{x - 3}" y="{y - 3}" width="6" height="6" fill="{BLUE}"/>')
    width = round((east - west) * fit.per_m + 2 * _PAD)
    height = round((north - south) * fit.per_m + 2 * _PAD)
    return (
        f'<svg viewBox="0 0 {width} {height}" width="{width}" height="{height}" role="img" '
        f'aria-label="{title}"><title>{title}</title>{"".join(drawn)}</svg>'
    )


def few_points(geometry: BaseGeometry, most: int, side_m: float) -> BaseGeometry:
    """Return the geometry with about ``most`` points, simplified no more than that takes.

    Examples
    --------
    >>> few_points(shapely.Point(0, 0).buffer(9, quad_segs=64), 20, 18.0).is_valid
    True
    """
    tolerance = side_m / (4 * SIDE)
    simple = shapely.simplify(geometry, tolerance)
    for _ in range(_HALVINGS):
        if shapely.get_num_coordinates(simple) <= most:
            break
        tolerance *= 1.5
        simple = shapely.simplify(geometry, tolerance)
    return simple
