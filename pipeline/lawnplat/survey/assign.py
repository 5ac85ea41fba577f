"""Give every lawn, feature and spot height to the properties that it belongs to."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from lawnplat.geometry import grow, polygons
from lawnplat.settings.faults import suggest
from lawnplat.settings.types import GroundRules
from lawnplat.survey.crs import shift_accuracy_m
from lawnplat.survey.estate import Estate, within_reach
from lawnplat.survey.features import Thing, add_all, footprints
from lawnplat.survey.findings import Notes, Remark, RowPlace
from lawnplat.survey.parcels import Parcel, as_id
from lawnplat.survey.repair import repair_area, sound
from lawnplat.survey.rows import Layer, Row
from lawnplat.survey.types import Feature, FloatArray

ROUGH_SHIFT_M = 1.0
"""The register states 1 m for WGS 84 against its continental twins, which the trade takes as one;
what is worse is told."""


@dataclass
class Holding:
    """What a property has been given so far."""

    parcel: Parcel
    lawns: list[Polygon] = field(default_factory=list)
    features: list[Feature] = field(default_factory=list)
    spots: list[FloatArray] = field(default_factory=list)


@dataclass(frozen=True)
class Assignment:
    """What is shared while the layers are given out.

    Attributes
    ----------
    estates : sequence of Estate
        The parcels, one estate for each CRS.
    holdings : mapping of str to Holding
        By property id; a property that is not wanted has none.
    known_ids : collection of str
        Every id that the file states, those of refused properties among them.
    rules : GroundRules
    notes : Notes
        Gathers what concerns the files as a whole.
    """

    estates: Sequence[Estate]
    holdings: dict[str, Holding]
    known_ids: Collection[str]
    rules: GroundRules
    notes: Notes

    def give_features(self, things: Sequence[Thing], layer: Layer) -> None:
        """Give each feature, widened to its footprint, to its properties."""
        reach = np.array([_half_width(thing) for thing in things]) + self.rules.attach_m
        drawn = [thing.geometry for thing in things]
        owned: set[int] = set()
        noted: dict[int, tuple[Remark, ...]] = {}
        for estate, rows, shapes, owners in self._owners(drawn, _ids(things), layer, reach):
            fine = sound(np.array(shapes, dtype=object), self.rules.shape_tolerance_m)
            for row, shape, good, parcels in zip(rows, shapes, fine, owners, strict=True):
                owned.update([row] if parcels else ())
                those = self._wanted(estate, parcels)
                if those:
                    thing = things[row]
                    made, remarks = footprints(thing, shape, self.rules, is_sound=bool(good))
                    noted[row] = (*thing.remarks, *self._unknown(thing.stated_id), *remarks)
                    for holding in those:
                        self._give_feature(thing, made, noted[row], holding)
        for row, thing in enumerate(things):
            add_all([self.notes], noted.get(row, thing.remarks), thing.at)
            if row not in owned:
                self._outside("a feature", thing.stated_id, thing.at)

    def _give_feature(
        self,
        thing: Thing,
        made: Sequence[Feature],
        remarks: Sequence[Remark],
        holding: Holding,
    ) -> None:
        parcel = holding.parcel
        add_all([parcel.notes], remarks, thing.at)
        self._note_far(made, thing, parcel)
        holding.features += [_near(feature, parcel) for feature in made]

    def _wanted(self, estate: Estate, parcels: Sequence[int]) -> list[Holding]:
        """Return the holdings of those parcels of an estate that are wanted."""
        found = [self.holdings.get(estate.parcels[index].property_id) for index in parcels]
        return [holding for holding in found if holding is not None]

    def _note_far(self, made: Sequence[Feature], thing: Thing, parcel: Parcel) -> None:
        """Note a feature that its id puts on a parcel from which it lies apart."""
        limit = self.rules.attach_m
        for feature in made if thing.stated_id in self.known_ids else ():
            away = float(feature.geometry.distance(parcel.area))
            if away > limit:
                text = f"a {feature.kind} of this property lies apart from its parcel"
                place = feature.geometry.representative_point()
                far = Remark("feature_far_off", "warn", text, place, away, limit)
                parcel.notes.add(far, thing.at)

    def give_lawns(self, layer: Layer) -> None:
        """Give each lawn to its property; those without an id are cut at the parcels."""
        rows = [row for row in layer.rows if self._is_lawn(row)]
        drawn = [row.geometry for row in rows if row.geometry is not None]
        ids = [as_id(row.values.get("property_id")) for row in rows]
        owned: set[int] = set()
        for estate, numbers, shapes, owners in self._owners(drawn, ids, layer, np.zeros(len(rows))):
            for number, shape, parcels in zip(numbers, shapes, owners, strict=True):
                area, remarks = self._repaired(shape)
                remarks = (*self._unknown(ids[number]), *remarks)
                cut = ids[number] not in self.known_ids
                for parcel in (estate.parcels[p] for p in parcels):
                    if self._give_lawn(area, parcel, rows[number].at, remarks, cut=cut):
                        owned.add(number)
                if parcels:
                    add_all([self.notes], remarks, rows[number].at)
        for number, row in enumerate(rows):
            if number not in owned:
                self._outside("a lawn", ids[number], row.at)

    def _is_lawn(self, row: Row) -> bool:
        if row.geometry is None:
            text = f"a lawn has {row.fault}: left out"
        elif not polygons(row.geometry):
            text = f"a lawn is a {row.geometry.geom_type}, expected a polygon: left out"
        else:
            return True
        self.notes.add(Remark("bad_geometry", "warn", text), row.at)
        return False

    def _repaired(self, shape: BaseGeometry) -> tuple[BaseGeometry | None, tuple[Remark, ...]]:
        return repair_area(
            shape, sliver_m2=self.rules.sliver_m2, tolerance_m=self.rules.shape_tolerance_m
        )

    def _give_lawn(
        self,
        area: BaseGeometry | None,
        parcel: Parcel,
        at: RowPlace,
        remarks: Sequence[Remark],
        *,
        cut: bool,
    ) -> bool:
        """Give a lawn, or what of it lies on the parcel; return whether there is any."""
        if area is None:
            return False
        if cut and not shapely.covers(parcel.area, area):
            area = shapely.intersection(area, parcel.area)
        pieces = [piece for piece in polygons(area) if piece.area >= self.rules.sliver_m2]
        holding = self.holdings.get(parcel.property_id)
        if pieces and holding is not None:
            holding.lawns += pieces
            add_all([parcel.notes], remarks, at)
            self._note_beyond(area, parcel, at)
        return bool(pieces)

    def _note_beyond(self, lawn: BaseGeometry, parcel: Parcel, at: RowPlace) -> None:
        """Note a lawn that reaches farther over the boundary than a drawing error."""
        if shapely.covers(parcel.area, lawn):
            return
        beyond = shapely.difference(lawn, grow(parcel.area, self.rules.edge_match_m))
        if beyond.area > self.rules.sliver_m2:
            text = "the lawn reaches beyond the parcel; what lies beyond is not planned"
            place = beyond.representative_point()
            parcel.notes.add(Remark("lawn_beyond_parcel", "warn", text, place, beyond.area), at)

    def give_spot_heights(self, layer: Layer) -> None:
        """Give each spot height to the properties that it lies on or near."""
        points, heights = [], []
        for row in layer.rows:
            height = _height(row, layer.height_unit_m)
            if row.geometry is None or height is None:
                text = f"a spot height has {row.fault or 'no height'}: left out"
                self.notes.add(Remark("bad_spot_height", "warn", text), row.at)
            else:
                points.append(shapely.force_2d(row.geometry.centroid))
                heights.append(height)
        for estate in self.estates if points else ():
            shapes, fine = estate.moved(points, layer.crs)
            xyz = np.column_stack([shapely.get_coordinates(shapes), heights])[fine]
            near = estate.near_points(xyz[:, :2])
            for parcel, indexes in zip(estate.parcels, near, strict=True):
                holding = self.holdings.get(parcel.property_id)
                if holding is not None and len(indexes):
                    holding.spots.append(xyz[indexes])

    def _owners(
        self, drawn: Sequence[BaseGeometry], ids: Sequence[str], layer: Layer, reach: FloatArray
    ) -> Iterator[tuple[Estate, list[int], list[BaseGeometry], list[list[int]]]]:
        """Yield, for each estate: its rows, their shapes in its CRS, and the parcels of each."""
        for estate in self.estates if len(drawn) else ():
            shapes, fine = estate.moved(drawn, layer.crs)
            rows = np.flatnonzero(fine).tolist()
            self._note_shift(layer, estate, drawn[rows[0]] if rows else None)
            own = [ids[row] for row in rows]
            owners = estate.owners(shapes[rows], own, reach[rows], self.known_ids)
            yield estate, rows, list(shapes[rows]), owners

    def _note_shift(self, layer: Layer, estate: Estate, sample: BaseGeometry | None) -> None:
        """Note a layer that can only be brought roughly to where the parcels are."""
        if sample is None:
            return
        accuracy = shift_accuracy_m(layer.crs, estate.crs, shapely.get_coordinates(sample)[0])
        if accuracy is None or accuracy > ROUGH_SHIFT_M:
            how = "to an unknown accuracy" if accuracy is None else f"to {accuracy:g} m only"
            text = f"{layer.ref}: its datum is not that of the parcels; it could be shifted {how}"
            self.notes.add(Remark("rough_shift", "warn", text, None, accuracy, ROUGH_SHIFT_M))

    def _unknown(self, stated_id: str) -> tuple[Remark, ...]:
        """Return a remark on an id that no parcel has."""
        if not stated_id or stated_id in self.known_ids:
            return ()
        hint = suggest(stated_id, self.known_ids, "property")
        text = f"names property {stated_id}, which no parcel has ({hint}): taken where it lies"
        return (Remark("unknown_property", "warn", text),)

    def _outside(self, what: str, stated_id: str, at: RowPlace) -> None:
        """Note a thing that no parcel has."""
        if stated_id and stated_id in self.known_ids:
            return  # its property is refused, and says so itself
        if stated_id:
            text = f"{what} names a property that no parcel has, and lies on none: left out"
        else:
            text = f"{what} lies outside every parcel: left out"
        self.notes.add(Remark("outside_parcels", "warn", text), at)


def _ids(things: Sequence[Thing]) -> list[str]:
    return [thing.stated_id for thing in things]


def _half_width(thing: Thing) -> float:
    return max(thing.measures["radius_m"] or 0.0, (thing.measures["width_m"] or 0.0) / 2)


def _near(feature: Feature, parcel: Parcel) -> Feature:
    geometry = within_reach(feature.geometry, parcel.area)
    if geometry is feature.geometry:
        return feature
    return Feature(
        kind=feature.kind,
        geometry=geometry,
        source=feature.source,
        height_m=feature.height_m,
        setback_m=feature.setback_m,
        note=feature.note,
    )


def _height(row: Row, unit_m: float) -> float | None:
    """Return the elevation that a row states, or its point's z, in metres; None for none."""
    stated = row.values.get("elevation_m")
    if stated is not None and str(stated).strip():
        try:
            height = float(stated)
        except (TypeError, ValueError):
            return None
    elif row.geometry is not None and row.geometry.has_z:
        height = float(shapely.get_coordinates(row.geometry, include_z=True)[0, 2]) * unit_m
    else:
        return None
    return height if math.isfinite(height) else None
