"""The inks of the picture. Colours are those of `lawnplat.deliver.looks`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType

from lawnplat.deliver.looks import (
    BLACK,
    BLUE,
    GREEN,
    GREY,
    LIGHT_GREY,
    ORANGE,
    PURPLE,
    SKY_BLUE,
    VERMILION,
    WHITE,
    YELLOW,
)
from lawnplat.deliver.picture.canvas import Ink

PARCEL = Ink("property boundary", stroke=BLACK, width=0.4, dash=(4, 1, 0.6, 1))
LAWN = Ink("lawn outside the wire", fill="#EAF4E4")
PART = Ink("mown", fill="#C3E3C6", stroke=GREEN, width=0.15)
CARRIED = Ink("mown, machine is carried", fill="#DDEFC9", stroke=GREEN, width=0.3, dash=(1.5, 0.8))
TRIM = Ink("trim by hand", fill=YELLOW, opacity=0.75, pattern="hatch-trim")
WORKABLE = Ink("slope: workable", pattern="hatch-workable")
STEEP = Ink("slope: too steep", fill=VERMILION, opacity=0.12, pattern="hatch-steep")
SLIDE = Ink("falls away outside", fill=ORANGE, opacity=0.25, pattern="hatch-workable")
NARROW = Ink("too narrow or small", fill=PURPLE, opacity=0.15, pattern="hatch-narrow")

PASSAGE: Mapping[str, Ink] = MappingProxyType(
    {
        "open": Ink("passage", stroke=BLACK, width=0.3, dash=(0.5, 0.7)),
        "guided": Ink("passage, guided", stroke=BLUE, width=0.35, dash=(1.2, 0.6)),
        "closed": Ink("passage, too narrow", stroke=VERMILION, width=0.45, dash=(0.5, 0.5)),
    }
)

WIRE = Ink("perimeter wire", stroke=VERMILION, width=0.6, sign="line", halo=WHITE)
LAYING = Ink(
    "direction of laying", fill=VERMILION, stroke=WHITE, width=0.12, sign="arrow", size=2.6
)
RETURN = Ink("return line", stroke=BLUE, width=0.6, dash=(2.6, 1.1), sign="line", halo=WHITE)
CABLE = Ink("low-voltage cable", stroke=BLACK, width=0.35, dash=(0.4, 0.8), sign="line")
PEG = Ink("peg", fill=BLACK, sign="dot", size=0.5)
BASE = Ink("station base", fill=BLUE, stroke=BLACK, width=0.25)
FRONT = Ink(
    "keep clear for station", fill=WHITE, opacity=0.6, stroke=BLUE, width=0.25, dash=(1, 0.7)
)
FACING = Ink("station, front", fill=BLACK, stroke=WHITE, width=0.2, sign="arrow", size=4.4)
JOINT: Mapping[str, Ink] = MappingProxyType(
    {
        "splice": Ink("splice", fill=WHITE, stroke=BLACK, width=0.3, sign="diamond", size=2.4),
        "three_way": Ink(
            "three-way joint", fill=SKY_BLUE, stroke=BLACK, width=0.3, sign="triangle", size=3.2
        ),
        "terminal": Ink("wire end", fill=BLACK, stroke=WHITE, width=0.15, sign="square", size=1.2),
    }
)
TEST = Ink("acceptance test: start", fill=WHITE, stroke=BLUE, width=0.4, sign="ring", size=3.0)
ADVISORY = Ink("look here (number)", fill=YELLOW, stroke=BLACK, width=0.3, sign="diamond", size=5.0)

MARK = Ink("setting-out mark", fill=WHITE, stroke=BLACK, width=0.35, sign="dot", size=1.5)
FIXED = Ink("fixed point for tapes", fill=YELLOW, stroke=BLACK, width=0.3, sign="square", size=2.4)
CONTOUR = Ink("contour", stroke="#7A4A1E", width=0.18, sign="line")
CONTOUR_FIFTH = Ink("contour", stroke="#7A4A1E", width=0.35, sign="line")

_HARD = Ink("", fill="#C9C9C9", stroke=BLACK, width=0.35)
_THING = Ink("", fill=ORANGE, opacity=0.35, stroke=BLACK, width=0.25)
_PLANTED = Ink("", fill=PURPLE, opacity=0.3, stroke=BLACK, width=0.25, pattern="hatch-bed")
_GROUND = Ink("", fill="#EFEFEF", stroke=GREY, width=0.2)

_KINDS: Mapping[str, Ink] = MappingProxyType(
    {
        "building": replace(_HARD, pattern="hatch-building"),
        "wall": replace(_HARD, fill=GREY),
        "fence": replace(_HARD, fill=GREY, width=0.3, dash=(1.6, 0.5)),
        "hedge": replace(_PLANTED, fill=GREEN, opacity=0.35, pattern="hatch-hedge"),
        "flower_bed": _PLANTED,
        "path": _GROUND,
        "paving_flush": replace(_GROUND, pattern="hatch-paving"),
        "stepping_stones": replace(_GROUND, fill=WHITE),
        "gravel": replace(_GROUND, pattern="hatch-gravel"),
        "water": replace(_HARD, fill=SKY_BLUE, opacity=0.6, stroke=BLUE, pattern="hatch-water"),
        "drop": replace(_HARD, fill=VERMILION, stroke=VERMILION, width=0.6, dash=(0.8, 0.5)),
        "tree": replace(_HARD, fill=GREEN, opacity=0.9, width=0.3),
        "shrub": replace(_PLANTED, fill=GREEN, opacity=0.25),
        "play_equipment": _THING,
        "planter": replace(_PLANTED, width=0.4),
        "furniture": replace(_THING, opacity=0.2),
        "rock": replace(_HARD, fill=GREY, opacity=0.6),
        "no_mow": replace(_PLANTED, fill=YELLOW, opacity=0.2, pattern="hatch-wild"),
        "crossing": replace(_GROUND, fill=SKY_BLUE, opacity=0.3, stroke=BLUE, dash=(1.2, 0.8)),
        "power_outlet": Ink("", fill=YELLOW, stroke=BLACK, width=0.3, sign="bolt", size=4.6),
        "buried_service": Ink(
            "", fill=YELLOW, opacity=0.4, stroke=BLACK, width=0.45, dash=(2.5, 0.9), halo=YELLOW
        ),
        "neighbour_wire": Ink("", stroke=PURPLE, width=0.5, dash=(1, 0.6)),
    }
)
_OTHER = replace(_GROUND, fill=LIGHT_GREY)
_CAREFUL = MappingProxyType({"buried_service": "buried service: locate first"})


def kind_words(kind: str) -> str:
    """Return a kind's name in plain words."""
    return kind.replace("_", " ")


def feature_ink(kind: str) -> Ink:
    """Return the ink of a kind of feature."""
    label = _CAREFUL.get(kind, kind_words(kind))
    return replace(_KINDS.get(kind, _OTHER), label=label)


def contour_ink(interval_m: float, fifth: bool) -> Ink:
    """Return the ink of a contour; the key tells the interval."""
    ink = CONTOUR_FIFTH if fifth else CONTOUR
    return replace(ink, label=f"{ink.label}, {5 * interval_m if fifth else interval_m:g} m")
