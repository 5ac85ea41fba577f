"""Read a survey: files in, one `Site` a property out, and everything that was noticed."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np

from lawnplat.errors import SurveyError
from lawnplat.settings.faults import suggest
from lawnplat.settings.types import RuleBook
from lawnplat.survey.assign import Assignment, Holding
from lawnplat.survey.crs import read_crs
from lawnplat.survey.estate import Estate
from lawnplat.survey.features import things_of
from lawnplat.survey.field_map import FieldMap, load_field_map
from lawnplat.survey.findings import Notes, Remark
from lawnplat.survey.parcels import Parcel, parcels_of
from lawnplat.survey.rows import Found, Layer, look_at, read_layer
from lawnplat.survey.sources import find_layers
from lawnplat.survey.types import Refusal, Site, Survey

__all__ = ["load_field_map", "read_survey"]

_NO_AREA = ("Point", "LineString", "MultiPoint", "MultiLineString")


def read_survey(
    sources: Sequence[str],
    *,
    rules: RuleBook,
    field_map: FieldMap | None = None,
    crs: str | None = None,
    only: Collection[str] | None = None,
) -> Survey:
    """Read every layer of a survey and return one site for each property.

    Parameters
    ----------
    sources : sequence of str
        GeoPackages, folders of layers, single files, or ``role=FILE[:LAYER]``.
    rules : RuleBook
        Its kinds are the known ones.
    field_map : FieldMap, optional
        Which of other people's names stand for ours.
    crs : str, optional
        The CRS of layers that state none.
    only : collection of str, optional
        Ids of the properties that are wanted. Ids and CRSs are the same with and without it.

    Returns
    -------
    Survey
        Sites and refusals in the order of the files. ``findings`` is on the files as a whole: what
        is wrong with a feature stands there once with the count of all, and on each site that it
        concerns.

    Raises
    ------
    SurveyError
        A file, a layer or a CRS is missing or cannot be read, or there is no parcel at all.
    SettingsError
        The field map gives a kind that the rule book does not know.
    """
    mapped = field_map or FieldMap()
    mapped.check_kinds(rules.kinds)
    if crs is not None:
        read_crs(crs, "--crs")
    found = look_at(find_layers(sources, mapped), mapped)
    notes = Notes()
    parcels, refusals = _parcels(found, rules, crs, notes)
    wanted = _wanted(parcels, refusals, only)
    holdings = {p.property_id: Holding(p) for p in parcels if p.property_id in wanted}
    given = Assignment(
        estates=_estates(parcels),
        holdings=holdings,
        known_ids={p.stated_id for p in parcels} | {each.property_id for each in refusals},
        rules=rules.ground,
        notes=notes,
    )
    _give_out(found, given, rules, mapped, crs)
    return Survey(
        sites=tuple(_site(holding) for holding in holdings.values()),
        refusals=tuple(each for each in refusals if each.property_id in wanted),
        findings=notes.findings(),
        layers=tuple(each.summary() for each in found),
    )


def _parcels(
    found: Sequence[Found], rules: RuleBook, crs: str | None, notes: Notes
) -> tuple[list[Parcel], list[Refusal]]:
    """Read the layers of parcels.

    Raises
    ------
    SurveyError
        They hold no row, or nothing with an area.
    """
    layers: list[Layer] = []
    for each in found:
        if each.ref.role == "parcels":
            _check_areas(each)
            layers.append(read_layer(each, crs, notes))
    if not any(layer.rows for layer in layers):
        where = ", ".join(f"{layer.ref.path}, layer {layer.ref.name}" for layer in layers)
        raise SurveyError(where, "the layer of parcels is empty", "it needs one polygon a property")
    for each, layer in zip((f for f in found if f.ref.role == "parcels"), layers, strict=True):
        if "property_id" not in layer.columns:
            columns = each.says.columns
            named = f"; columns: {', '.join(columns)}" if columns else ""
            text = f"{each.ref} has no column property_id{named}; say with --map which one it is"
            notes.add(Remark("no_id_column", "warn", text))
    return parcels_of(layers, rules.ground, notes)


def _check_areas(found: Found) -> None:
    kind = found.says.geometry_type.removeprefix("3D ")
    if kind in _NO_AREA or kind == "None":
        where = f"{found.ref.path}, layer {found.ref.name}"
        what = f"parcels must be polygons, the layer holds {kind}"
        remedy = "name the layer of parcels with parcels=FILE:LAYER or --map"
        raise SurveyError(where, what.replace("None", "no geometry"), remedy)


def _wanted(
    parcels: Sequence[Parcel], refusals: Sequence[Refusal], only: Collection[str] | None
) -> set[str]:
    """Return the ids of the properties that are wanted.

    Raises
    ------
    SurveyError
        An id in ``only`` is not in the survey.
    """
    every = [*(p.property_id for p in parcels), *(r.property_id for r in refusals)]
    if only is None:
        return set(every)
    for wanted in only:
        if wanted not in every:
            what = f"there is no property '{wanted}'; {suggest(wanted, every, 'property')}"
            raise SurveyError("--only", what, "lawnplat inspect lists the properties")
    return set(only)


def _estates(parcels: Sequence[Parcel]) -> list[Estate]:
    by_crs: dict[str, list[Parcel]] = {}
    for parcel in parcels:
        by_crs.setdefault(parcel.crs, []).append(parcel)
    return [Estate(crs, group) for crs, group in by_crs.items()]


def _give_out(
    found: Sequence[Found],
    given: Assignment,
    rules: RuleBook,
    field_map: FieldMap,
    crs: str | None,
) -> None:
    """Read the other layers, one at a time, and give what they hold to the properties."""
    for each in found:
        if each.ref.role in ("unused", "parcels"):
            continue
        if each.says.count == 0:
            given.notes.add(Remark("empty_layer", "note", f"{each.ref} is empty"))
            continue
        layer = read_layer(each, crs, given.notes)
        if each.ref.role == "features":
            given.give_features(things_of(layer, rules, field_map, given.notes), layer)
        elif each.ref.role == "lawns":
            given.give_lawns(layer)
        else:
            given.give_spot_heights(layer)


def _site(holding: Holding) -> Site:
    parcel = holding.parcel
    return Site(
        property_id=parcel.property_id,
        label=parcel.label,
        crs=parcel.crs,
        parcel=parcel.area,
        lawns=tuple(holding.lawns),
        features=tuple(holding.features),
        spot_heights=np.vstack([np.empty((0, 3)), *holding.spots]),
        machine_class=parcel.machine_class,
        findings=parcel.notes.findings(),
    )
