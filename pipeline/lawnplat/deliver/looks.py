"""How each layer looks: one table for the styles in the file and for the picture.

Colours are those of Okabe & Ito (2008), which colour-blind readers tell apart; dashes, shapes and
line widths tell the same in black and white.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

BLACK = "#000000"
ORANGE = "#E69F00"
SKY_BLUE = "#56B4E9"
GREEN = "#009E73"
YELLOW = "#F0E442"
BLUE = "#0072B2"
VERMILION = "#D55E00"
PURPLE = "#CC79A7"
GREY = "#8A8A8A"
LIGHT_GREY = "#D9D9D9"
WHITE = "#FFFFFF"


@dataclass(frozen=True)
class Look:
    """The look of one class of things. Widths and sizes in millimetres on paper.

    ``dash`` holds lengths of line and gap. ``shape`` is for points alone: ``circle``, ``square``,
    ``triangle``, ``diamond``, ``cross`` or ``star``.
    """

    label: str
    fill: str = ""
    fill_opacity: float = 1.0
    stroke: str = ""
    width_mm: float = 0.25
    dash: tuple[float, ...] = ()
    shape: str = "circle"
    size_mm: float = 2.0


@dataclass(frozen=True)
class LayerLook:
    """The looks of one layer: one for all, or one for each value of a column.

    ``looks`` pairs a value of ``column`` with its look; the value is empty where ``column`` is, and
    for what has any other value.
    """

    layer: str
    looks: tuple[tuple[str, Look], ...]
    column: str = ""


def _one(layer: str, look: Look) -> LayerLook:
    return LayerLook(layer, (("", look),))


_TRIM = Look("trimmed by hand", fill=YELLOW, fill_opacity=0.7)
_MOWN = Look("mown", fill=GREEN, fill_opacity=0.35, stroke=GREEN)
_WIRE = Look("perimeter wire", stroke=VERMILION, width_mm=0.7)
_RETURN = Look("return line", stroke=BLUE, width_mm=0.7, dash=(3.0, 1.5))
_PLACE = Look("place looked at", fill=WHITE, stroke=GREY, size_mm=1.4)
_CAUTION = Look("look at this", fill=YELLOW, stroke=BLACK, shape="triangle", size_mm=3.6)

_SEVERITIES = (
    ("stop", replace(_CAUTION, label="stop", fill=VERMILION)),
    ("warn", replace(_CAUTION, label="warning")),
    ("note", replace(_CAUTION, label="note", fill=WHITE, shape="circle", size_mm=2.0)),
)
_KINDS = (
    ("building", Look("building", fill=GREY, fill_opacity=0.8, stroke=BLACK)),
    ("water", Look("water", fill=SKY_BLUE, fill_opacity=0.8, stroke=BLUE)),
    ("flower_bed", Look("flower bed", fill=PURPLE, fill_opacity=0.5, stroke=PURPLE)),
    ("tree", Look("tree", fill=GREEN, fill_opacity=0.8, stroke=BLACK)),
    ("", Look("other", fill=LIGHT_GREY, fill_opacity=0.8, stroke=GREY)),
)
_LINES = (
    ("buried_service", Look("buried service", stroke=BLACK, width_mm=0.6, dash=(2.5, 0.9))),
    ("drop", Look("drop", stroke=VERMILION, width_mm=0.6, dash=(0.8, 0.5))),
    ("", Look("other", stroke=BLACK, width_mm=0.4)),
)
_POINTS = (
    ("power_outlet", Look("outlet", fill=YELLOW, stroke=BLACK, shape="star", size_mm=3.6)),
    ("tree", Look("tree", fill=GREEN, stroke=BLACK)),
    ("", Look("other", fill=LIGHT_GREY, stroke=BLACK)),
)

LOOKS: tuple[LayerLook, ...] = (
    _one("parcel", Look("property", stroke=BLACK, width_mm=0.5, dash=(4.0, 1.5, 0.8, 1.5))),
    _one("lawn", Look("lawn", fill=GREEN, fill_opacity=0.15)),
    LayerLook("feature_areas", _KINDS, column="kind"),
    LayerLook("feature_lines", _LINES, column="kind"),
    LayerLook("feature_points", _POINTS, column="kind"),
    LayerLook(
        "slope_zones",
        (
            ("gentle", Look("gentle", fill=GREEN, fill_opacity=0.1)),
            ("workable", Look("workable", fill=ORANGE, fill_opacity=0.25)),
            ("too_steep", Look("too steep", fill=VERMILION, fill_opacity=0.4, stroke=VERMILION)),
        ),
        column="zone",
    ),
    LayerLook(
        "keep_out",
        (
            ("too_steep", Look("too steep", fill=VERMILION, fill_opacity=0.3)),
            ("cross_fall", Look("falls away outside", fill=ORANGE, fill_opacity=0.4)),
            ("straight_wire", Look("straight wire by the station", fill=GREY, fill_opacity=0.4)),
            ("too_narrow", Look("too narrow", fill=PURPLE, fill_opacity=0.4)),
            ("too_small", Look("too small", fill=PURPLE, fill_opacity=0.4)),
            ("open_edge", Look("open edge", fill=LIGHT_GREY, fill_opacity=0.6)),
            ("", Look("setback", fill=GREY, fill_opacity=0.4)),
        ),
        column="kind",
    ),
    LayerLook(
        "mowable",
        (
            ("main", _MOWN),
            ("linked", replace(_MOWN, label="mown, linked", fill_opacity=0.3)),
            ("carried", replace(_MOWN, label="mown, carried", fill_opacity=0.2, dash=(2.0, 1.0))),
        ),
        column="role",
    ),
    LayerLook(
        "coverage",
        (
            ("starves", Look("starves", fill=VERMILION, fill_opacity=0.5)),
            ("seldom", Look("cut seldom", fill=ORANGE, fill_opacity=0.3)),
            ("evenly", Look("cut evenly", fill=GREEN, fill_opacity=0.1)),
        ),
        column="cut",
    ),
    _one("hand_trim", _TRIM),
    LayerLook(
        "passages",
        (
            ("closed", Look("closed passage", stroke=VERMILION, width_mm=0.4, dash=(0.8, 0.8))),
            ("guided", Look("guided passage", stroke=BLUE, width_mm=0.4, dash=(0.8, 0.8))),
            ("open", Look("open passage", stroke=GREEN, width_mm=0.4, dash=(0.8, 0.8))),
        ),
        column="verdict",
    ),
    LayerLook(
        "station_area",
        (
            ("base", Look("station base", fill=BLUE, fill_opacity=0.6, stroke=BLACK)),
            (
                "front",
                Look("kept clear", fill=WHITE, fill_opacity=0.5, stroke=BLUE, dash=(1.0, 1.0)),
            ),
        ),
        column="part",
    ),
    LayerLook(
        "station_options",
        (
            ("1", replace(_PLACE, label="chosen", fill=BLUE)),
            ("0", replace(_PLACE, label="rejected", shape="cross")),
            ("", _PLACE),
        ),
        column="rank",
    ),
    _one("cable_route", Look("low-voltage cable", stroke=BLACK, width_mm=0.35, dash=(0.4, 0.8))),
    _one("perimeter_wire", _WIRE),
    LayerLook(
        "wire_sections",
        (
            ("edge", replace(_WIRE, label="along an edge")),
            ("island", replace(_WIRE, label="round an island", stroke=PURPLE)),
            ("lead_out", replace(_WIRE, label="lead out", stroke=ORANGE, dash=(1.5, 0.8))),
            ("lead_back", replace(_WIRE, label="lead back", stroke=ORANGE, dash=(1.5, 0.8))),
        ),
        column="section",
    ),
    _one("return_lines", _RETURN),
    LayerLook(
        "wire_joints",
        (
            ("splice", Look("splice", fill=WHITE, stroke=BLACK, shape="diamond", size_mm=2.6)),
            (
                "three_way",
                Look("three-way joint", fill=BLUE, stroke=BLACK, shape="triangle", size_mm=3.0),
            ),
            ("terminal", Look("terminal", fill=BLACK, stroke=BLACK, shape="square", size_mm=1.6)),
        ),
        column="joint",
    ),
    _one("pegs", Look("peg", fill=BLACK, size_mm=0.7)),
    _one(
        "fixed_points",
        Look("fixed point", fill=WHITE, stroke=BLACK, shape="triangle", size_mm=2.6),
    ),
    _one("setting_out", Look("setting-out mark", stroke=BLACK, shape="cross", size_mm=2.4)),
    _one(
        "parking_test", Look("acceptance test", fill=WHITE, stroke=BLUE, shape="star", size_mm=3.6)
    ),
    LayerLook("advisories", _SEVERITIES, column="severity"),
    LayerLook("findings", _SEVERITIES, column="severity"),
    _one("station", Look("station", fill=BLUE, stroke=BLACK, shape="square", size_mm=3.0)),
)
"""In drawing order, lowest first."""
