"""Climate tables: the shipped one, a firm's TOML and CSV, and what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from lawnplat.errors import SettingsError
from lawnplat.settings.climate import load_climate

MEANS = (-3.5, -2, 1.25, 6, 11, 14.5, 16, 15.5, 11, 6, 1, -2)
TOML = f"mean_c = {list(MEANS)}\n"
ROWS = [f"{month},{mean}" for month, mean in enumerate(MEANS, start=1)]
CSV = "\n".join(["month,mean_c", *ROWS])


@pytest.fixture
def own(tmp_path):
    def write(content: str | bytes, name: str) -> Path:
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    return write


def faults_of(path: Path) -> str:
    with pytest.raises(SettingsError) as caught:
        load_climate(path)
    return str(caught.value)


def test_the_shipped_climate_is_a_year_and_said_to_be_invented():
    climate = load_climate()
    assert len(climate.mean_c) == 12
    assert "invented" in climate.label
    assert "invented" in climate.source
    # A temperate year of the north: July is the warmest month, January the coldest.
    assert climate.mean_c.index(max(climate.mean_c)) == 6
    assert climate.mean_c.index(min(climate.mean_c)) == 0


def test_a_toml_table_with_its_words(own):
    path = own(f'label = "hill"\nsource = "our own gauge"\n{TOML}', "hill.toml")
    climate = load_climate(path)
    assert (climate.label, climate.source) == ("hill", "our own gauge")
    assert climate.mean_c == MEANS


def test_a_toml_table_without_words_is_named_by_its_file(own):
    climate = load_climate(own(TOML, "valley.toml"))
    assert (climate.label, climate.source) == ("valley", "given in valley.toml")


@pytest.mark.parametrize(
    "content",
    [
        CSV,
        "\ufeff" + CSV,
        CSV.replace("\n", "\r\n"),
        "\n".join(["month,mean_c", *reversed(ROWS)]),
        "\n".join(["note,mean_c,month", *(f"x,{m},{i}" for i, m in enumerate(MEANS, start=1))]),
        CSV.replace("\n", "\n\n"),
    ],
    ids=["plain", "byte order mark", "line ends", "rows turned", "more columns", "blank rows"],
)
def test_a_csv_table_in_any_order(own, content):
    climate = load_climate(own(content, "gauge.CSV"))
    assert climate.mean_c == MEANS
    assert (climate.label, climate.source) == ("gauge", "given in gauge.CSV")


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        ("", ("mean_c", "twelve")),
        ("mean_c = [1, 2]\n", ("mean_c", "twelve")),
        ("mean_c = 7\n", ("mean_c", "twelve")),
        (TOML + "meen_c = 1\n", ("meen_c", "unknown key", "mean_c")),
        (TOML + "label = 3\n", ("label", "expected text")),
        (TOML.replace("14.5", "58.1"), ("month 6", "58.1", "-60 to 50")),
        (TOML.replace("14.5", "nan"), ("month 6", "-60 to 50")),
        (TOML.replace("14.5", "true"), ("month 6", "True", "-60 to 50")),
        (TOML.replace("14.5", '"warm"'), ("month 6", "warm")),
        (TOML.replace("14.5", "{ a = 1 }"), ("month 6",)),
        (TOML.replace("14.5", f'"{"9" * 10_000}"'), ("month 6",)),
        ("mean_c = = 1\n", ("line 1", "not TOML")),
    ],
)
def test_each_fault_of_a_toml_table_is_named(own, content, expected):
    path = own(content, "own.toml")
    message = faults_of(path)
    for part in (str(path), *expected):
        assert part in message
    assert len(message) < 1000  # a line or two, however long the value


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        ("", ("month and mean_c", "none")),
        (CSV.replace(",", ";"), ("month and mean_c", "month;mean_c")),
        (CSV.replace("6,14.5\n", ""), ("missing: 6",)),
        (CSV.replace("6,14.5", "5,14.5"), ("line 7", "month 5 is given twice", "missing: 6")),
        (CSV.replace("6,14.5", "13,14.5"), ("line 7", "'13'", "1 to 12")),
        (CSV.replace("6,14.5", "June,14.5"), ("line 7", "'June'", "1 to 12")),
        (CSV.replace("6,14.5", "6"), ("month 6",)),
        (CSV.replace("14.5", "57.9"), ("month 6", "57.9")),
        (CSV.replace("14.5", "=1+1"), ("month 6", "=1+1")),
        (CSV.replace("14.5", "9" * 10_000), ("month 6",)),
        (CSV.replace("14.5", "9" * 200_000), ("field",)),
        (CSV.replace("6,14.5", f"{'6' * 10_000},14.5"), ("line 7", "1 to 12")),
        (CSV.encode("utf-16"), ("UTF-8",)),
        (b"\x00\x01" * 50, ("month and mean_c",)),
    ],
)
def test_each_fault_of_a_csv_table_is_named(own, content, expected):
    path = own(content, "own.csv")
    message = faults_of(path)
    for part in (str(path), *expected):
        assert part in message
    assert len(message) < 1000


@pytest.mark.parametrize("name", ["none.toml", "none.csv"])
def test_a_missing_file_is_named(tmp_path, name):
    assert "no such file" in faults_of(tmp_path / name)


@pytest.mark.parametrize("name", ["folder.toml", "folder.csv"])
def test_a_folder_is_no_table(tmp_path, name):
    (tmp_path / name).mkdir()
    assert name in faults_of(tmp_path / name)
