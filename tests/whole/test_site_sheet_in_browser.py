"""The site sheet in a browser: loads in silence, prints to A4, and lengths on paper are true."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from lawnplat.deliver.index_page import index_page
from lawnplat.deliver.printing import find_printer, print_sheet
from lawnplat.deliver.sheet_file import write_index, write_sheet
from lawnplat.deliver.site_sheet import site_sheet
from lawnplat.planned import Plan
from lawnplat.portfolio.outcomes import outcome_of_plan
from sheet_reader import read_page

NAMES = ("chromium", "chromium-browser", "google-chrome")
BROWSER = next(filter(None, map(shutil.which, NAMES)), "")
pytestmark = pytest.mark.skipif(not BROWSER, reason="no Chromium here")
needs_poppler = pytest.mark.skipif(
    shutil.which("pdftoppm") is None or shutil.which("pdfinfo") is None, reason="no poppler here"
)
A4_POINTS = (595.28, 841.89)
"""210 mm x 297 mm (ISO 216) in points of 1/72 inch."""
DOTS_PER_MM = 20


def console(page: Path, profile: Path) -> list[str]:
    """Return what the page makes the browser's console say."""
    root = ["--no-sandbox"] if os.geteuid() == 0 else []
    command = [
        BROWSER, "--headless=new", "--disable-gpu", "--enable-logging=stderr", "--v=0",
        "--disable-background-networking", f"--user-data-dir={profile}", *root,
        "--dump-dom", page.as_uri(),
    ]  # fmt: skip
    done = subprocess.run(command, capture_output=True, text=True, check=True, timeout=120)
    assert "</html>" in done.stdout
    return [line for line in done.stderr.splitlines() if "CONSOLE" in line]


def test_the_pages_load_in_silence(garden_plan: Plan, tmp_path: Path) -> None:
    sheet = write_sheet(site_sheet(garden_plan), tmp_path)
    index = write_index(index_page([outcome_of_plan(garden_plan, "G-1")]), tmp_path)
    assert console(sheet, tmp_path / "one") == []
    assert console(index, tmp_path / "two") == []
    # The policy forbids every request, so that one that is tried is told on the console: try one.
    asks = sheet.read_text().replace("<main>", '<main><img src="https://example.invalid/a.png">')
    loud = tmp_path / "loud.html"
    loud.write_text(asks)
    assert "Content Security Policy" in "".join(console(loud, tmp_path / "three"))


@needs_poppler
def test_it_prints_to_as_many_pages_of_a4_as_it_has_sections(
    garden_plan: Plan, tmp_path: Path
) -> None:
    text = site_sheet(garden_plan)
    write_sheet(text, tmp_path)
    printed = print_sheet(tmp_path, find_printer())
    command = ["pdfinfo", "-l", "99", str(printed)]
    told = subprocess.run(command, capture_output=True, text=True, check=True)
    sizes = [tuple(map(float, each)) for each in
             re.findall(r"Page +\d+ size: +([\d.]+) x ([\d.]+)", told.stdout)]  # fmt: skip
    # Every section of this small plan fits one page: map, station, materials, advisories, client.
    assert len(sizes) == len(read_page(text).all("section")) == 5
    for size in sizes:
        # Chromium rounds pages to whole points of its own, 1/96 inch at most.
        assert sorted(size) == pytest.approx(A4_POINTS, abs=0.75)


@needs_poppler
@pytest.mark.parametrize(
    ("size", "scale", "bar_m"), [((24, 18), 200, 10), ((40, 20), 200, 10), ((90, 90), 500, 10),
                                 ((180, 200), 1000, 50)],
)  # fmt: skip
def test_ten_metres_are_ten_metres_on_paper(
    garden_plan: Plan, tmp_path: Path, size: tuple[int, int], scale: int, bar_m: int
) -> None:
    from shapely import box  # noqa: PLC0415

    site = replace(garden_plan.site, parcel=box(0, 0, *size), features=())
    plan = replace(garden_plan, site=site, terrain=None, ground=None, layouts=(), works=None)
    text = site_sheet(replace(plan, findings=()))
    assert f"scale 1:{scale} " in text
    write_sheet(text, tmp_path)
    page = first_page(print_sheet(tmp_path, find_printer()))
    paths = read_page(text).all("path")
    bar = next(each for each in paths if each.attributes.get("id") == "m1-bar")
    x, y, _ = map(float, re.findall(r"[\d.]+", bar.attributes["d"]))
    # The map begins 8 mm from the left and 8 + 12 mm from the top of the page.
    top, left = round((20 + y - 1) * DOTS_PER_MM), round((8 + x - 2) * DOTS_PER_MM)
    strip = page[top : top + 2 * DOTS_PER_MM, left : left + 120 * DOTS_PER_MM] < 128
    lengths = [longest_run(row) / DOTS_PER_MM for row in strip]
    # Half a percent: what a ruler on paper tells; a dot is 0.05 mm.
    assert max(lengths) == pytest.approx(bar_m * 1000 / scale, rel=0.005)


def first_page(printed: Path) -> np.ndarray:
    """Return the first page as grey values, ``DOTS_PER_MM`` dots a millimetre."""
    out = printed.with_suffix("")
    dots = f"{DOTS_PER_MM * 25.4:g}"
    command = ["pdftoppm", "-gray", "-r", dots, "-singlefile", "-l", "1", str(printed), str(out)]
    subprocess.run(command, check=True, timeout=120)
    data = out.with_suffix(".pgm").read_bytes()
    _, width, height, _ = data.split(maxsplit=4)[:4]
    count = int(width) * int(height)
    return np.frombuffer(data[-count:], np.uint8).reshape(int(height), int(width))


def longest_run(row: np.ndarray) -> int:
    edges = np.flatnonzero(np.diff(np.concatenate(([0], row.astype(np.int8), [0]))))
    return int(max(edges[1::2] - edges[::2], default=0))


@needs_poppler
def test_a_long_garden_prints_a_page_a_map(garden_plan: Plan, tmp_path: Path) -> None:
    from shapely import box  # noqa: PLC0415

    site = replace(garden_plan.site, parcel=box(0, 0, 18, 92), features=())
    plan = replace(garden_plan, site=site, terrain=None, ground=None, layouts=(), works=None)
    write_sheet(site_sheet(plan), tmp_path)
    printed = print_sheet(tmp_path, find_printer())
    told = subprocess.run(["pdfinfo", printed], capture_output=True, text=True, check=True)
    assert int(re.search(r"Pages: +(\d+)", told.stdout)[1]) == 4  # three maps and the cautions
