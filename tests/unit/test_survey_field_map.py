"""The field map: what it says, and every way to get it wrong."""

from __future__ import annotations

import pytest

from lawnplat.errors import SettingsError
from lawnplat.settings.load import load_rule_book
from lawnplat.survey.field_map import FieldMap, load_field_map

KINDS = load_rule_book().kinds

WHOLE = """
[layers]
parcels = "plots"
features = ["buildings", "trees"]

[columns.parcels]
property_id = "ID"

[columns.trees]
radius_m = "trunk"

[kinds]
column = "landuse"
default = "building"
ignore = ["lamp"]

[kinds.layers]
trees = "tree"

[kinds.values]
flowerbed = "flower_bed"
"""


def written(tmp_path, text):
    path = tmp_path / "map.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_whole_map(tmp_path):
    found = load_field_map(written(tmp_path, WHOLE))
    assert found.layers == {"parcels": ("plots",), "features": ("buildings", "trees")}
    assert found.column("property_id", "parcels", "plots") == ("ID", "columns.parcels.property_id")
    assert found.column("radius_m", "features", "trees") == ("trunk", "columns.trees.radius_m")
    assert found.column("radius_m", "features", "buildings") is None
    assert found.column("kind", "features", "trees") == ("landuse", "kinds.column")
    assert found.default_kind("trees") == "tree"
    assert found.default_kind("buildings") == "building"
    assert found.kind_values == {"flowerbed": "flower_bed"}
    assert found.kind_ignore == ("lamp",)
    found.check_kinds(KINDS)


def test_empty_map_changes_nothing(tmp_path):
    found = load_field_map(written(tmp_path, ""))
    assert found.layers == FieldMap().layers
    assert found.default_kind("features") is None


@pytest.mark.parametrize(
    ("text", "key", "words"),
    [
        ("[layer]\nparcels = 'a'", "layer:", "nearest known table is layers"),
        ("[layers]\nparcel = 'a'", "layers.parcel:", "nearest known layer is parcels"),
        ("[layers]\nparcels = 3", "layers.parcels:", "expected a name or a list of names"),
        ("[layers]\nparcels = ['a', 3]", "layers.parcels:", "expected a name"),
        ("layers = 'plots'", "layers:", "expected a table"),
        ("[columns.parcels]\nproperty = 'a'", "columns.parcels.property:", "property_id"),
        ("[columns.parcels]\nproperty_id = 3", "columns.parcels.property_id:", "expected text"),
        ("[columns.plots]\nlabel = 'a'", "columns.plots:", "neither a role nor a layer"),
        ("[columns]\nparcels = 'ID'", "columns.parcels:", "expected a table"),
        ("[kinds]\ndefalt = 'tree'", "kinds.defalt:", "nearest known key is default"),
        ("[kinds]\ndefault = 3", "kinds.default:", "expected text"),
        ("[kinds.values]\na = 3", "kinds.values.a:", "expected text"),
        ("[kinds.layers]\nplots = 'tree'", "kinds.layers.plots:", "known: features"),
    ],
)
def test_every_fault_names_file_key_and_what_would_do(tmp_path, text, key, words):
    path = written(tmp_path, text)
    with pytest.raises(SettingsError) as caught:
        load_field_map(path)
    message = str(caught.value)
    assert message.startswith(str(path))
    assert key in message
    assert words in message


def test_all_faults_are_named_together(tmp_path):
    with pytest.raises(SettingsError) as caught:
        load_field_map(written(tmp_path, "[layers]\nparcel = 'a'\n[kinds]\ndefault = 3"))
    assert "layers.parcel" in str(caught.value)
    assert "kinds.default" in str(caught.value)


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("[kinds]\ndefault = 'buidling'", "kinds.default"),
        ("[kinds.values]\nx = 'buidling'", "kinds.values.x"),
        ("[layers]\nfeatures='b'\n[kinds.layers]\nb = 'buidling'", "kinds.layers.b"),
    ],
)
def test_kinds_are_held_against_the_rule_book(tmp_path, text, key):
    found = load_field_map(written(tmp_path, text))
    with pytest.raises(SettingsError) as caught:
        found.check_kinds(KINDS)
    assert key in str(caught.value)
    assert "nearest known kind is building" in str(caught.value)


def test_no_such_file(tmp_path):
    with pytest.raises(SettingsError, match="no such file"):
        load_field_map(tmp_path / "map.toml")
