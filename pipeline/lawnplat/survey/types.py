"""What a survey becomes: one frozen `Site` a property, and what was noticed on the way."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from shapely import MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

Area = Polygon | MultiPolygon
FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Finding:
    """Something noticed in the survey, reported once with a count.

    ``severity`` is ``stop`` (the property cannot be read), ``warn`` (something was repaired, left
    out or assumed) or ``note``.
    """

    rule: str
    severity: str
    text: str
    where: str = ""
    count: int = 1
    place: Point | None = None
    """Metric CRS of the site, where the finding belongs to one place on one property."""
    measured: float | None = None
    """The value found, in the unit that the rule's name or the text carries."""
    limit: float | None = None
    """What the rule allows, in the same unit."""


@dataclass(frozen=True)
class Feature:
    """One surveyed thing.

    ``geometry`` is valid, two-dimensional, never empty, in the site's CRS: the footprint, that is
    a point widened by its ``radius_m`` and a line by half its ``width_m`` where those were given;
    else the bare point or line.
    """

    kind: str
    geometry: BaseGeometry
    source: str
    height_m: float | None = None
    setback_m: float | None = None
    note: str = ""


@dataclass(frozen=True)
class Site:
    """One property, ready to plan.

    All geometry is valid, two-dimensional, in ``crs``: projected, metres, scale error on the site
    under 0.1 %. ``lawns`` is empty where the survey gave none. ``spot_heights`` is an array of
    shape (n, 3): x, y in ``crs``, elevation in metres.
    """

    property_id: str
    label: str
    crs: str
    parcel: Area
    lawns: tuple[Polygon, ...] = ()
    features: tuple[Feature, ...] = ()
    spot_heights: FloatArray = field(default_factory=lambda: np.empty((0, 3)))
    machine_class: str | None = None
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class Refusal:
    """A property whose part of the files cannot be used: ``status`` is ``bad_input``."""

    property_id: str
    label: str
    findings: tuple[Finding, ...]
    outline: Area | None = None
    crs: str | None = None


@dataclass(frozen=True)
class Survey:
    """All that the files held: properties to plan, properties refused, findings on the whole."""

    sites: tuple[Site, ...]
    refusals: tuple[Refusal, ...]
    findings: tuple[Finding, ...]
    layers: tuple[LayerSummary, ...]


@dataclass(frozen=True)
class LayerSummary:
    """One layer as it was found in its file."""

    role: str
    """``parcels``, ``lawns``, ``features``, ``spot_heights``, or ``unused``."""
    file: str
    name: str
    geometry_type: str
    count: int
    crs: str
    columns: tuple[str, ...]
