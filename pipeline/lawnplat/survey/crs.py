"""Coordinate reference systems: read one, and choose the metric one to work in.

Whether a CRS will do is measured, not looked up: short geodesics from the site's own points are
projected, and their length and direction in the plane are compared with the true ones. That covers
feet, stretched projections, axes that point west or south, and degrees alike.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from functools import cache

import numpy as np
import pyproj
import shapely
from numpy.typing import NDArray
from pyproj.aoi import AreaOfInterest
from pyproj.database import query_utm_crs_info
from pyproj.exceptions import CRSError
from shapely.geometry.base import BaseGeometry

from lawnplat.errors import SurveyError
from lawnplat.survey.types import FloatArray

LARGEST_SCALE_ERROR = 0.001
"""On lengths; areas then agree with the geodesic area within twice that. Promised to the reader."""

_PROBE_M = 100.0
"""Length of the geodesics that are measured: long against rounding, short against a site."""
_AZIMUTHS = np.array([0.0, 45.0, 90.0, 135.0])
_SAME_CRS_M = 0.001
_DEGREES = "OGC:CRS84"
_GEOD = pyproj.Geod(ellps="WGS84")


def read_crs(text: str, where: str) -> pyproj.CRS:
    """Return the horizontal CRS in any notation that pyproj knows (EPSG code, WKT, PROJ string).

    Raises
    ------
    SurveyError
        The text is no CRS, or one that does not place points on the earth (a local engineering
        grid, a geocentric or a vertical CRS).
    """
    try:
        crs = pyproj.CRS.from_user_input(text)
        flat = crs.sub_crs_list[0] if crs.is_compound else crs
        flat = flat.to_2d()
    except CRSError as error:
        reason = " ".join(str(error).split())
        remedy = "name it as in EPSG:25832, by WKT or as a PROJ string"
        raise SurveyError(where, f"'{text[:60]}' is not a CRS ({reason})", remedy) from error
    if not (flat.is_geographic or flat.is_projected):
        what = f"the CRS '{crs.name}' does not place points on the earth"
        raise SurveyError(where, what, "bring the file into a projected or geographic CRS")
    return flat


def name_of(crs: pyproj.CRS) -> str:
    """Return ``EPSG:n`` where the CRS has a code, else its name."""
    authority = crs.to_authority()
    return ":".join(authority) if authority else crs.name


def height_unit_m(text: str) -> float:
    """Return the length of a CRS's vertical unit in metres; 1 where it has no vertical axis."""
    axes = pyproj.CRS.from_user_input(text).axis_info
    return float(axes[2].unit_conversion_factor) if len(axes) > 2 else 1.0  # noqa: PLR2004


def to_degrees(crs: pyproj.CRS, xy: FloatArray) -> FloatArray:
    """Return longitude and latitude (WGS 84, degrees) of points; inf where there are none."""
    x, y = _transformer(crs.to_wkt(), _DEGREES).transform(xy[..., 0], xy[..., 1])
    return np.stack([x, y], axis=-1)


def reproject(
    geometries: Sequence[BaseGeometry] | NDArray[np.object_], source: pyproj.CRS, target: str
) -> NDArray[np.object_]:
    """Return geometries in another CRS, east and north in that order, z kept as it is.

    Points that the target cannot hold get infinite coordinates.
    """
    transformer = _transformer(source.to_wkt(), target)

    def moved(xyz: FloatArray) -> FloatArray:
        x, y = transformer.transform(xyz[:, 0], xyz[:, 1])
        return np.column_stack([x, y, *xyz[:, 2:].T])

    array = np.asarray(geometries, dtype=object)
    flat = ~shapely.has_z(array)
    result = array.copy()
    result[flat] = shapely.transform(array[flat], moved)
    result[~flat] = shapely.transform(array[~flat], moved, include_z=True)
    return result


def shift_accuracy_m(source: pyproj.CRS, target: str, xy: FloatArray) -> float | None:
    """Return how far points may be off after `reproject`, where the two CRSs differ in datum.

    Parameters
    ----------
    source : CRS
    target : str
    xy : array of shape (2,)
        A point of the site in ``source``: which of several shifts is taken depends on the place.

    Returns
    -------
    float or None
        Metres, as the EPSG register states it for the shift that PROJ takes; 0 where there is no
        shift, None where nothing is stated.
    """
    if _datum(source) == _datum(pyproj.CRS.from_user_input(target)):
        return 0.0
    transformer = _transformer(source.to_wkt(), target)
    transformer.transform(xy[0], xy[1])
    stated = transformer.get_last_used_operation().accuracy
    return float(stated) if stated >= 0 else None


def site_points(geometries: Iterable[BaseGeometry]) -> FloatArray:
    """Return the westernmost, easternmost, southernmost and northernmost vertex of each geometry.

    Returns
    -------
    array of shape (n, 4, 2)
        Vertices and not corners of a box, because a site across the antimeridian has a box that
        goes round the earth.
    """
    points = []
    for geometry in geometries:
        xy = shapely.get_coordinates(geometry)
        points.append(xy[[*xy.argmin(axis=0), *xy.argmax(axis=0)]])
    return np.array(points).reshape(-1, 4, 2)


def choose(sources: Sequence[pyproj.CRS], of: Sequence[int], points: FloatArray) -> list[str]:
    """Return the metric CRS to work in for each of several sites.

    One CRS serves all of them where one can: the files' own, else one UTM zone. Otherwise each
    site has the files' own where that will do there, its own UTM zone, or, where no zone will do, a
    transverse mercator of its own.

    Parameters
    ----------
    sources : sequence of CRS
        The CRSs of the files.
    of : sequence of int
        For each site, which of ``sources`` it is drawn in.
    points : array of shape (n, 4, 2)
        Points of each site, longitude and latitude in degrees, all finite.

    Returns
    -------
    list of str
        ``EPSG:n`` where it has a code, else WKT or a PROJ string. East and north in that order,
        metres, scale error on the site under 0.1 %.
    """
    if not len(of):
        return []
    owns = [_own_name(crs, points.reshape(-1, 2)) for crs in sources]
    if len(set(owns)) == 1 and _serves(owns[0], points):
        return owns[:1] * len(of)
    centres = _centres(points)
    zone = _most_common_utm(sources[of[0]], centres)
    if _serves(zone, points):
        return [zone] * len(of)
    datums = [_datum(crs) for crs in sources]
    utms = [_utm(datums[i], *centre) for i, centre in zip(of, centres, strict=True)]
    return _each([owns[i] for i in of], utms, points, centres)


def _serves(crs: str, points: FloatArray) -> bool:
    return bool(crs) and bool((scale_error(crs, points) < LARGEST_SCALE_ERROR).all())


def _each(
    owns: Sequence[str], utms: Sequence[str], points: FloatArray, centres: FloatArray
) -> list[str]:
    """Return the best CRS for each site by itself; sites are tried together, a CRS at a time."""
    chosen = [""] * len(owns)
    for candidates in (owns, utms, [_local(*centre) for centre in centres]):
        for candidate in dict.fromkeys(candidates):
            rows = [i for i, c in enumerate(candidates) if c == candidate and not chosen[i]]
            if candidate and rows:
                good = scale_error(candidate, points[rows]) < LARGEST_SCALE_ERROR
                for row in np.array(rows)[good]:
                    chosen[row] = candidate
    return chosen


def scale_error(crs: str, points: FloatArray) -> FloatArray:
    """Return the largest scale error of a CRS on each site: 0.001 is a millimetre a metre.

    Infinite where the CRS does not reach the site, or where its axes do not point east and north.

    Parameters
    ----------
    crs : str
    points : array of shape (n, m, 2)
        Longitude and latitude in degrees.

    Returns
    -------
    array of shape (n,)
    """
    lon, lat = np.broadcast_arrays(points[..., 0, None], points[..., 1, None])
    shape = (*points.shape[:-1], len(_AZIMUTHS))
    lon, lat = np.broadcast_to(lon, shape), np.broadcast_to(lat, shape)
    azimuth = np.broadcast_to(_AZIMUTHS, shape)
    far_lon, far_lat, _ = _GEOD.fwd(lon, lat, azimuth, np.full(shape, _PROBE_M))
    transformer = _transformer(_DEGREES, crs)
    x0, y0 = transformer.transform(lon, lat)
    x1, y1 = transformer.transform(far_lon, far_lat)
    with np.errstate(invalid="ignore"):
        dx, dy = np.asarray(x1) - x0, np.asarray(y1) - y0
        error = np.abs(np.hypot(dx, dy) / _PROBE_M - 1.0)
        usual_axes = (dx[..., 2] > 0) & (dy[..., 0] > 0)
    error = np.where(np.isfinite(error) & usual_axes[..., None], error, np.inf)
    return np.asarray(error.reshape(len(points), -1).max(axis=1))


def _centres(points: FloatArray) -> FloatArray:
    """Return the middle of each site; longitudes are averaged round the circle."""
    lon, lat = np.radians(points[..., 0]), points[..., 1]
    middle = np.degrees(np.arctan2(np.sin(lon).mean(axis=1), np.cos(lon).mean(axis=1)))
    return np.column_stack([middle, lat.mean(axis=1)])


def _own_name(crs: pyproj.CRS, lonlat: FloatArray) -> str:
    """Return the CRS as text: its EPSG code where that gives the same coordinates, else WKT."""
    if not crs.is_projected:
        return ""
    code = crs.to_epsg(min_confidence=70)
    if code is None:
        return str(crs.to_wkt())
    sample = lonlat[:: max(1, len(lonlat) // 10)]
    own = _transformer(_DEGREES, crs.to_wkt()).transform(sample[:, 0], sample[:, 1])
    coded = _transformer(_DEGREES, f"EPSG:{code}").transform(sample[:, 0], sample[:, 1])
    same = np.abs(np.asarray(own) - np.asarray(coded)).max() < _SAME_CRS_M
    return f"EPSG:{code}" if same else str(crs.to_wkt())


def _most_common_utm(crs: pyproj.CRS, centres: FloatArray) -> str:
    zones = Counter((_zone(lon), lat >= 0) for lon, lat in centres)
    (zone, north), _ = max(zones.items(), key=lambda item: (item[1], -item[0][0]))
    return _utm(_datum(crs), zone * 6.0 - 183.0, 1.0 if north else -1.0)


def _datum(crs: pyproj.CRS) -> str:
    return str(crs.geodetic_crs.name) if crs.geodetic_crs else ""


def _zone(lon: float) -> int:
    return int((lon + 180.0) // 6.0) % 60 + 1


def _utm(datum: str, lon: float, lat: float) -> str:
    """Return a UTM zone, on the data's own datum where EPSG has one, else on WGS 84."""
    zone, north = _zone(lon), bool(lat >= 0)
    own = "" if datum == "WGS 84" else _utm_on(datum, zone, north)
    return own or f"EPSG:{(32600 if north else 32700) + zone}"


@cache
def _utm_on(datum: str, zone: int, north: bool) -> str:
    middle = zone * 6.0 - 183.0
    box = AreaOfInterest(middle, 0.0 if north else -80.0, middle, 84.0 if north else 0.0)
    found = query_utm_crs_info(datum_name=datum, area_of_interest=box)
    ending = f"UTM zone {zone}{'N' if north else 'S'}"
    return next((f"EPSG:{crs.code}" for crs in found if crs.name.endswith(ending)), "")


def _local(lon: float, lat: float) -> str:
    """Return a transverse mercator about a site; rounded, so that neighbours share it."""
    return (
        f"+proj=tmerc +lat_0={lat:.1f} +lon_0={lon:.1f} +k=1 +x_0=0 +y_0=0 "
        "+datum=WGS84 +units=m +no_defs +type=crs"
    )


@cache
def _transformer(source: str, target: str) -> pyproj.Transformer:
    return pyproj.Transformer.from_crs(source, target, always_xy=True)
