"""A written plan as frames, one a layer, and shortcuts to what most checks need."""

from __future__ import annotations

import warnings
from collections import ChainMap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

FEATURES = ("feature_areas", "feature_lines", "feature_points")

# The contract's layers and columns, copied by hand from its page, so that a column lost in the code
# is not lost here too. The layers of features are the tool's own addition.
COLUMNS: Mapping[str, str] = MappingProxyType(
    {
        "parcel": "label area_m2",
        "lawn": "area_m2",
        **dict.fromkeys(FEATURES, "kind height_m setback_m source note"),
        "slope_zones": "zone from_pct to_pct area_m2",
        "keep_out": "kind setback_m area_m2",
        "mowable": "part role area_m2",
        "hand_trim": "against area_m2",
        "passages": "width_m length_m verdict",
        "station": "bearing_deg tilt_pct outlet_distance_m mean_return_m",
        "station_area": "part",
        "station_options": "rank score rejected_because",
        "perimeter_wire": "length_m",
        "wire_sections": "section against setback_m from_m to_m cross_fall_pct",
        "return_lines": "line_no length_m steepest_pct mean_pct climb_m",
        "wire_joints": "joint on chainage_m",
        "pegs": "seq on chainage_m reason",
        "setting_out": "mark what edge_offset_m from_a dist_a_m from_b dist_b_m angle_deg side",
        "fixed_points": "name what",
        "parking_test": "line_no distance_m",
        "advisories": "rule severity text measured limit",
        "materials": "item quantity unit basis",
        "labour": "task quantity unit hours basis",
        "quote_lines": "line item quantity unit unit_price amount kind",
        "quote_options": "option machine_class fits reasons net tax total",
        "schedule": "month growth_factor hours_per_week days_per_week start end note",
        "cutting_heights": "day height_mm note",
        "programme_notes": "about number text",
        "commissioning": "number what how record loop",
        "coverage": "cut share area_m2 loop",
        "coverage_days": "day that_day that_day_low that_day_high so_far so_far_low so_far_high",
        "homing": "journeys median_min p95_min worst_min reserve_min late_share by_line_share",
        "departures": "line_no share start_distance_m loop",
        "machine_fit": "machine_class fits reasons hours_per_day",
        "run_info": "key value",
    }
)
GEOMETRY: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "parcel": ("Polygon",),
        "lawn": ("MultiPolygon",),
        "slope_zones": ("MultiPolygon",),
        "keep_out": ("MultiPolygon",),
        "mowable": ("Polygon",),
        "hand_trim": ("MultiPolygon",),
        "passages": ("Polygon",),
        "station": ("Point",),
        "station_area": ("Polygon",),
        "station_options": ("Point",),
        "perimeter_wire": ("LineString",),
        "wire_sections": ("LineString",),
        "return_lines": ("LineString",),
        "wire_joints": ("Point",),
        "pegs": ("Point",),
        "setting_out": ("Point",),
        "fixed_points": ("Point",),
        "parking_test": ("Point",),
        "advisories": ("Point",),
        "coverage": ("MultiPolygon",),
    }
)


@dataclass(frozen=True)
class PlanFile:
    """The layers of one `plan.gpkg`, as read."""

    layers: Mapping[str, pd.DataFrame]
    path: Path = field(default=Path())
    loop: int = 1
    """Which loop is looked at, where a lawn is split into several working areas."""

    def __getitem__(self, name: str) -> pd.DataFrame:
        return self.layers[name]

    def __reduce__(self) -> tuple[object, ...]:
        """Pickle the layers as a dictionary: a view of one cannot be."""
        return _unpickled, (dict(self.layers), self.path, self.loop)

    def put(self, name: str, frame: pd.DataFrame) -> PlanFile:
        """Return the plan with one layer changed, for mutants."""
        return replace(self, layers=ChainMap({name: frame}, self.layers))  # type: ignore[arg-type]

    def in_memory(self) -> PlanFile:
        """Return the plan with every layer read, for a file that will be gone."""
        return _unpickled(dict(self.layers), self.path, self.loop)

    def all_of(self, name: str) -> BaseGeometry:
        """Return the union of a layer; an empty polygon for none."""
        return union(self[name].geometry)

    @property
    def features(self) -> pd.DataFrame:
        """Return the surveyed things of all three layers."""
        return pd.concat(
            [frame for name in FEATURES if len(frame := self[name])] or [self[FEATURES[0]]]
        )

    @property
    def facts(self) -> dict[str, str]:
        return dict(zip(self["run_info"]["key"], self["run_info"]["value"], strict=True))

    @property
    def loops(self) -> list[int]:
        """Return the numbers of the loops, in order."""
        wires = self["perimeter_wire"]
        return sorted(set(wires["loop"])) if "loop" in wires else [1] * min(len(wires), 1)

    @property
    def perimeter_name(self) -> str:
        return "perimeter" if self.loop == 1 else f"perimeter_{self.loop}"

    def of_loop(self, number: int) -> PlanFile:
        """Return what belongs to one loop; layers that tell of no loop whole."""
        mine = {
            name: frame[frame["loop"] == number] if "loop" in frame else frame
            for name, frame in self.layers.items()
        }
        found = replace(self, layers=mine, loop=number)
        names = [found.perimeter_name]
        names += [f"return_{number}" for number in found["return_lines"]["line_no"]]
        pegs = self["pegs"]
        return found.put("pegs", pegs[pegs["on"].isin(names)])

    @property
    def wire(self) -> LineString:
        return self["perimeter_wire"].geometry.iloc[0]

    @property
    def laid(self) -> bool:
        return len(self["perimeter_wire"]) > 0

    @property
    def enclosed(self) -> Polygon:
        """Return the ground inside the conductor, its two ends joined over the base."""
        ring = Polygon(np.concatenate([self.wire.coords, self.wire.coords[:1]]))
        return ring if ring.is_valid else ring.buffer(0)

    @property
    def station(self) -> Point:
        return self["station"].geometry.iloc[0]

    @property
    def bearing(self) -> np.ndarray:
        """Return the unit vector that the front faces."""
        angle = np.radians(float(self["station"]["bearing_deg"].iloc[0]))
        return np.array([np.sin(angle), np.cos(angle)])

    def leads(self) -> pd.DataFrame:
        sections = self["wire_sections"]
        return sections[sections["section"].isin(["lead_out", "lead_back"])]


def _unpickled(layers: dict[str, pd.DataFrame], path: Path, loop: int) -> PlanFile:
    return PlanFile(MappingProxyType(layers), path, loop)


def union(geometries: object) -> BaseGeometry:
    found = [g for g in geometries if g is not None and not g.is_empty]  # type: ignore[attr-defined]
    return shapely.union_all(np.array(found, dtype=object)) if found else Polygon()


def closed(shape: BaseGeometry, reach_m: float) -> BaseGeometry:
    """Return a shape with its cracks closed, each piece drawn back by itself.

    Drawn back together, GEOS 3.14 was seen to lose one of two whole pieces (lot 23 of real ground).
    """
    grown = shapely.get_parts(shape.buffer(reach_m))
    return union(piece.buffer(-reach_m) for piece in grown)


class _Layers(Mapping[str, pd.DataFrame]):
    """The layers of a file, each read with pyogrio, not with our writer, when it is asked for."""

    def __init__(self, path: Path, names: Sequence[str]) -> None:
        self._path = path
        self._read: dict[str, pd.DataFrame | None] = dict.fromkeys(names)

    def __getitem__(self, name: str) -> pd.DataFrame:
        frame = self._read[name]
        if frame is None:
            with warnings.catch_warnings():
                # layer_styles is registered as a table of attributes; nothing of ours may warn.
                frame = self._read[name] = pyogrio.read_dataframe(self._path, layer=name)
        return frame

    def __iter__(self) -> Iterator[str]:
        return iter(self._read)

    def __len__(self) -> int:
        return len(self._read)

    def __contains__(self, name: object) -> bool:
        return name in self._read


def read_plan(path: Path, only: tuple[str, ...] | None = None) -> PlanFile:
    """Return every layer that is there (or those in ``only``), read when it is first looked at."""
    there = [str(name) for name, _ in pyogrio.list_layers(path)]
    return PlanFile(_Layers(path, [n for n in there if only is None or n in only]), path)


def points_each(geometry: BaseGeometry, spacing_m: float) -> np.ndarray:
    """Return points along lines at most ``spacing_m`` apart, their vertices among them."""
    dense = shapely.segmentize(geometry, spacing_m)
    return shapely.points(shapely.get_coordinates(dense))


def frame_like(frame: pd.DataFrame, rows: list[dict[str, object]]) -> pd.DataFrame:
    """Return a frame with the columns of ``frame`` and other rows."""
    return gpd.GeoDataFrame(rows, columns=list(frame.columns), crs=getattr(frame, "crs", None))
