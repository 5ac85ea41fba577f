"""Find the layers of a survey among the files that were named, and what each of them is."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from lawnplat.errors import SurveyError
from lawnplat.settings.faults import suggest
from lawnplat.survey.field_map import ROLES, FieldMap
from lawnplat.survey.vector_file import layer_names

_SUFFIXES = (".gpkg", ".geojson", ".json", ".shp", ".fgb")
"""What is read of a folder."""
_CONTAINERS = (".gpkg", ".sqlite", ".gdb")
"""Files whose layers have names of their own; elsewhere the file's stem is the name."""
UNUSED = "unused"


@dataclass(frozen=True)
class LayerRef:
    """One layer in one file, and what it is to the survey (``unused`` until that is known)."""

    path: Path
    inside: str
    """The layer's name inside the file."""
    name: str
    """The layer's name to the survey: the same, or the file's stem."""
    role: str = UNUSED

    def __str__(self) -> str:
        """Return the place in words."""
        return f"{self.path.name}, layer {self.name}"


def find_layers(sources: Sequence[str], field_map: FieldMap) -> tuple[LayerRef, ...]:
    """Return every layer of the sources with its role.

    Parameters
    ----------
    sources : sequence of str
        Files, folders of layers, or ``role=FILE[:LAYER]``.
    field_map : FieldMap
        Names the layers of each role where they are not called by the role's own name.

    Returns
    -------
    tuple of LayerRef
        In the order of the sources, unused layers among them.

    Raises
    ------
    SurveyError
        A source is missing or unreadable, a layer that was asked for is not there, or there is no
        layer of parcels.
    """
    if not sources:
        raise SurveyError("", "no survey was named", "name a GeoPackage, a folder or a GeoJSON")
    refs: list[LayerRef] = []
    for source in sources:
        role, path, layer = _split(source)
        found = _layers_at(path, field_map)
        refs.extend(_given(role, path, layer, found, field_map) if role else found)
    refs = [ref if ref.role != UNUSED else _named(ref, field_map) for ref in _once(refs)]
    _check_named(refs, field_map)
    return tuple(_with_parcels(refs, field_map, sources))


def _split(source: str) -> tuple[str, Path, str]:
    """Return role, path and layer of ``role=FILE[:LAYER]``; role and layer empty for a path."""
    role, equals, rest = source.partition("=")
    if not equals or Path(source).exists() or os.sep in role:
        return "", _existing(Path(source)), ""
    if role not in ROLES:
        hint = suggest(role, ROLES, "role")
        raise SurveyError(source, f"unknown role '{role}'; {hint}", f"roles: {', '.join(ROLES)}")
    path, colon, layer = rest.rpartition(":")
    if colon and not Path(rest).exists() and Path(path).exists():
        return role, Path(path), layer
    return role, _existing(Path(rest)), ""


def _existing(path: Path) -> Path:
    if path.exists():
        return path
    if path.parent.is_dir():
        hint = suggest(path.name, [found.name for found in path.parent.iterdir()], "file")
        near = hint if hint.startswith("the nearest") else ""
        raise SurveyError(str(path), "there is no such file or folder", near or "check the path")
    raise SurveyError(str(path), "there is no such file or folder", "check the path")


def _layers_at(path: Path, field_map: FieldMap) -> list[LayerRef]:
    if not path.is_dir() or path.suffix.lower() == ".gdb":
        return _layers_of(path)
    files = sorted(found for found in path.iterdir() if _may_be_layer(found, field_map))
    if not files:
        what = "the folder holds no layer"
        raise SurveyError(str(path), what, f"expected files ending in {', '.join(_SUFFIXES)}")
    return [ref for found in files for ref in _layers_of(found)]


def _may_be_layer(path: Path, field_map: FieldMap) -> bool:
    """Return whether a file in a folder is read; much else than layers is called ``.json``."""
    if path.suffix.lower() == ".json":
        names = {name for role in ROLES for name in field_map.layers.get(role, (role,))}
        return path.stem in names or path.stem.lower() in names
    return path.suffix.lower() in _SUFFIXES


def _layers_of(path: Path) -> list[LayerRef]:
    """Return the layers of one file, called by the file's stem unless they have own names."""
    names = layer_names(path)
    if path.suffix.lower() in _CONTAINERS or len(names) != 1:
        return [LayerRef(path, name, name) for name in names]
    return [LayerRef(path, names[0], path.stem)]


def _given(
    role: str, path: Path, layer: str, refs: list[LayerRef], field_map: FieldMap
) -> list[LayerRef]:
    """Return the layers, of those in the file, that ``role=FILE[:LAYER]`` asks for."""
    wanted = (layer,) if layer else (*field_map.layers.get(role, ()), role)
    found = [ref for ref in refs if ref.name in wanted or ref.inside in wanted]
    if not layer and len(refs) == 1:
        found = refs
    if not found:
        have = ", ".join(ref.name for ref in refs) or "none"
        what = f"there is no layer '{wanted[0]}'; it holds: {have}"
        near = suggest(wanted[0], [ref.name for ref in refs], "layer") if refs else ""
        raise SurveyError(str(path), what, f"write {role}=FILE:LAYER; {near}")
    return [replace(ref, role=role) for ref in found]


def _once(refs: Iterable[LayerRef]) -> list[LayerRef]:
    """Drop a layer named again; a role given to it by hand stands before none."""
    found: dict[tuple[Path, str], LayerRef] = {}
    for ref in refs:
        key = (ref.path.resolve(), ref.inside)
        if key not in found or found[key].role == UNUSED:
            found[key] = ref
    return list(found.values())


def _named(ref: LayerRef, field_map: FieldMap) -> LayerRef:
    """Return the layer with the role that its name or the field map gives it."""
    for role in ROLES:
        names = field_map.layers.get(role, (role,))
        if ref.name in names or ref.name.lower() in names:
            return replace(ref, role=role)
    return ref


def _check_named(refs: Sequence[LayerRef], field_map: FieldMap) -> None:
    """Raise where the field map names a layer that is nowhere."""
    have = [ref.name for ref in refs]
    for role, names in field_map.layers.items():
        for name in names:
            if name not in have and name not in [item.lower() for item in have]:
                what = f"layers.{role} names '{name}', which no file holds"
                hint = suggest(name, have, "layer")
                raise SurveyError(field_map.file, what, f"{hint}; layers: {', '.join(have)}")


def _with_parcels(
    refs: list[LayerRef], field_map: FieldMap, sources: Sequence[str]
) -> list[LayerRef]:
    """Take a lone layer without a name of its own as the parcels where none is called so."""
    if any(ref.role == "parcels" for ref in refs):
        return refs
    lone = [r for r in refs if r.role == UNUSED and r.path.suffix.lower() not in _CONTAINERS]
    if len(lone) == 1:
        return [replace(ref, role="parcels") if ref is lone[0] else ref for ref in refs]
    wanted = field_map.layers.get("parcels", ("parcels",))[0]
    have = ", ".join(dict.fromkeys(ref.name for ref in refs)) or "none"
    near = suggest(wanted, [ref.name for ref in refs], "layer") if refs else ""
    hint = near if near.startswith("the nearest") else "name it with parcels=FILE:LAYER or --map"
    what = f"there is no layer '{wanted}'; layers found: {have}"
    raise SurveyError(", ".join(sources), what, hint)
