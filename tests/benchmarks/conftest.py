"""Prints, after timed runs, how each room's cost grows beside n log n in the grid's cells."""

from __future__ import annotations

import math

import pytest

GROWTH = pytest.StashKey[dict[str, dict[str, tuple[float, float]]]]()
"""By room and size of garden: cells of the elevation grid on the parcel, seconds (median)."""


def pytest_configure(config):
    config.stash[GROWTH] = {}


@pytest.fixture
def growth(request):
    """Take (room, size, cells, seconds) of one timing."""

    def record(room, size, cells, seconds):
        request.config.stash[GROWTH].setdefault(room, {})[size] = (cells, seconds)

    return record


def pytest_terminal_summary(terminalreporter, config):
    rooms = config.stash[GROWTH]
    if not rooms:
        return
    terminalreporter.section("growth: ms (ns a cell and doubling of cells: ms / (n log2 n))")
    for room, sizes in rooms.items():
        shown = [
            f"{size} {1e3 * took:.0f} ms ({1e9 * took / (cells * math.log2(cells)):.0f})"
            for size, (cells, took) in sizes.items()
        ]
        terminalreporter.write_line(f"{room:<8} " + "   ".join(shown))
