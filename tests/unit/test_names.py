"""Property ids as folder names."""

from __future__ import annotations

from pathlib import Path, PurePosixPath, PureWindowsPath

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lawnplat.deliver.names import folder_names


def folder(property_id: str) -> str:
    return folder_names([property_id])[0].folder


@pytest.mark.parametrize(
    "plain", ["G-1", "12", "Garten Süd 3", "名前", "a.b", "हिन्दी", "_x", "(a)+b"]
)
def test_a_safe_id_keeps_its_name_and_nothing_is_said(plain: str) -> None:
    assert folder(plain) == plain
    assert folder_names([plain])[0].finding is None


@pytest.mark.parametrize(
    "unsafe",
    [
        "", ".", "..", "../x", "/etc", "a/b", "a\\b", "C:x", "CON", "con.txt", "Lpt1", "nul",
        "-rf", "x ", " x", "x.", ".hidden", "a\nb", "a\0b", "a*b?", "é" * 200, "e\u0301",
        "portfolio.gpkg", "PORTFOLIO.CSV", "\ud800", "\u202egpj.exe",
    ],
)  # fmt: skip
def test_an_unsafe_id_gets_another_name_and_says_so(unsafe: str) -> None:
    (found,) = folder_names([unsafe])
    assert found.folder != unsafe
    assert found.finding is not None
    assert f"'{found.folder}'" in found.finding.text
    assert found.finding.severity == "note"


def is_one_harmless_component(name: str) -> bool:
    # Device names: common knowledge of one family of systems, from memory.
    devices = {"CON", "PRN", "AUX", "NUL", *(f"{d}{n}" for d in ("COM", "LPT") for n in range(10))}
    reserved = name.split(".", maxsplit=1)[0].upper() in devices
    return (
        not reserved
        and PureWindowsPath(name).parts == (name,)
        and PurePosixPath(name).parts == (name,)
        and name not in {".", ".."}
        and not name.startswith((".", "-", " "))
        and not name.endswith((".", " "))
        and name.isprintable()
        and 0 < len(name.encode()) <= 130  # file systems allow 255; the name of a draft fits too
    )


@given(st.lists(st.text(max_size=40), max_size=12))
def test_any_ids_get_names_that_differ_and_stay_inside(ids: list[str]) -> None:
    names = folder_names(ids)
    assert [each.property_id for each in names] == ids
    assert len({each.folder.casefold() for each in names}) == len(ids)
    for each in names:
        assert is_one_harmless_component(each.folder), each
        assert (each.finding is None) == (each.folder == each.property_id)


@given(
    st.lists(st.sampled_from(["A", "a", "a/b", "a_b", "..", "con", "é", "e\u0301"]), unique=True)
)
def test_the_order_of_the_ids_does_not_matter(ids: list[str]) -> None:
    there = {each.property_id: each.folder for each in folder_names(ids)}
    back = {each.property_id: each.folder for each in folder_names(ids[::-1])}
    assert there == back


def test_ids_that_differ_only_in_case_do_not_meet() -> None:
    names = folder_names(["g-1", "G-1"])
    assert names[1].folder == "G-1"
    assert names[0].folder.startswith("g-1-")
    assert "differ only in case" in names[0].finding.text


def test_the_names_can_be_made_as_folders(tmp_path: Path) -> None:
    ids = ["../../x", "名" * 100, "a\0b", "CON", "A", "a", "A", "\ud800", ""]
    for each in folder_names(ids):
        (tmp_path / each.folder).mkdir()
    assert len(list(tmp_path.iterdir())) == len(ids)
    assert not (tmp_path.parent / "x").exists()
