"""Hatches, which tell kinds of ground apart in black and white too."""

from __future__ import annotations

from dataclasses import dataclass
from xml.etree.ElementTree import Element, SubElement

from lawnplat.deliver.looks import BLACK, BLUE, GREEN, ORANGE, PURPLE, VERMILION


@dataclass(frozen=True)
class _Hatch:
    """One tile: path data in a square of ``tile`` millimetres."""

    tile: float
    data: str
    stroke: str
    width: float


def _slashes(tile: float) -> str:
    """Return a rising diagonal that meets its neighbours' without a seam."""
    q = tile / 4
    return f"M{-q} {q}L{q} {-q}M0 {tile}L{tile} 0M{tile - q} {tile + q}L{tile + q} {tile - q}"


def _backslashes(tile: float) -> str:
    q = tile / 4
    return f"M{-q} {tile - q}L{q} {tile + q}M0 0L{tile} {tile}M{tile - q} {-q}L{tile + q} {q}"


_HATCHES = {
    "hatch-building": _Hatch(1.6, _slashes(1.6), BLACK, 0.12),
    "hatch-workable": _Hatch(4.0, _slashes(4.0), ORANGE, 0.3),
    "hatch-steep": _Hatch(2.0, _slashes(2.0) + _backslashes(2.0), VERMILION, 0.25),
    "hatch-narrow": _Hatch(1.6, _backslashes(1.6), PURPLE, 0.35),
    "hatch-trim": _Hatch(1.4, "M0 0.7H1.4", BLACK, 0.12),
    "hatch-water": _Hatch(3.0, "M0 1Q0.75 0.4 1.5 1T3 1M0 2.5Q0.75 1.9 1.5 2.5T3 2.5", BLUE, 0.2),
    "hatch-bed": _Hatch(1.8, "M0.5 0.5h0.01M1.4 1.4h0.01", PURPLE, 0.6),
    "hatch-hedge": _Hatch(1.6, "M0.2 1.2Q0.8 0.1 1.4 1.2", GREEN, 0.3),
    "hatch-gravel": _Hatch(1.5, "M0.3 0.4h0.01M1.1 1.0h0.01", BLACK, 0.3),
    "hatch-paving": _Hatch(2.0, "M0 0H2M0 1H2M0 0V1M1 1V2", BLACK, 0.08),
    "hatch-wild": _Hatch(2.4, "M0.6 2L0.9 0.8M1.2 2V0.5M1.8 2L1.5 0.8", GREEN, 0.22),
}


def add_pattern(defs: Element, name: str, prefix: str = "") -> None:
    """Add the hatch of that name to a document's definitions; ``prefix`` stands before its id."""
    hatch = _HATCHES[name]
    side = f"{hatch.tile:g}"
    pattern = SubElement(
        defs,
        "pattern",
        {"id": f"{prefix}{name}", "width": side, "height": side, "patternUnits": "userSpaceOnUse"},
    )
    stroke = {"stroke": hatch.stroke, "stroke-width": f"{hatch.width:g}", "fill": "none"}
    SubElement(pattern, "path", {"d": hatch.data, **stroke, "stroke-linecap": "round"})
