"""The layers of an as-laid record: names, geometry, columns. Metres; chainages as laid."""

from __future__ import annotations

from lawnplat.deliver.contract import Layer, layer, make_layer

LAID_FILE = "as_laid.gpkg"

COPIED = ("parcel", "feature_areas", "feature_lines", "feature_points", "fixed_points")
"""Layers of the plan that the record holds too: what tapes are hooked to and do not pass."""

LAID_LAYERS: tuple[Layer, ...] = (
    *(layer(name) for name in COPIED if name != "fixed_points"),
    make_layer(
        "laid_wire",
        "LineString",
        "on:str loop:int length_m planned_m accuracy_m measured_m",
        "Wires as laid, in laying order; accuracy_m is the standard deviation of a measured point "
        "in each of two axes, measured_m how much of the wire was measured",
    ),
    make_layer(
        "laid_points",
        "Point",
        "on:str chainage_m plan_m offset_m accuracy_m time:str use:str",
        "Points measured; offset_m to the left of the plan, plan_m their chainage there; use is "
        "wire, or slip where a point was left out",
    ),
    make_layer(
        "laid_pegs", "Point", "seq:int on:str chainage_m reason:str", "Pegs, moved with the wire"
    ),
    make_layer(
        "laid_joints",
        "Point",
        "joint:str on:str chainage_m loop:int basis:str",
        "Joints, as measured or moved with the wire",
    ),
    layer("fixed_points"),
    make_layer(
        "stray",
        "Point",
        "on:str from_m to_m worst_m side:str limit_m",
        "Stretches off the plan, at the worst place of each; side for one who walks on from 0",
    ),
    make_layer(
        "not_measured",
        "LineString",
        "on:str from_m to_m",
        "Stretches that the record holds as planned",
    ),
    make_layer(
        "findings",
        "Point",
        "rule:str severity:str text:str measured limit count:int",
        "What the track says of the plan, and what straying breaks",
    ),
    make_layer("run_info", "None", "key:str value:str", "How the record came about"),
)
