"""Several loops on one site: their wires by name, their return lines numbered through."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace

from lawnplat.survey.types import Finding
from lawnplat.wire.joints import PERIMETER, return_name
from lawnplat.wire.types import Joint, Layout


def perimeter_name(loop: int) -> str:
    """Return the name by which tables call the conductor of a loop; the first has no number."""
    return PERIMETER if loop == 1 else f"{PERIMETER}_{loop}"


def numbered_through(layouts: Iterable[Layout]) -> tuple[Layout, ...]:
    """Return layouts that were each laid alone as loops 1, 2, ... of one site.

    Return lines are numbered through all loops; joints and parking tests follow their wires.
    Where there are several, each finding begins with the number of its loop.
    """
    alone = tuple(layouts)
    if len(alone) == 1:
        return alone
    found: list[Layout] = []
    lines = 0
    for loop, layout in enumerate(alone, start=1):
        found.append(_as_loop(layout, loop, lines))
        lines += len(layout.return_lines)
    return tuple(found)


def _as_loop(layout: Layout, loop: int, lines_before: int) -> Layout:
    """Return the layout as loop number ``loop``, its lines numbered after those before it."""
    names = {PERIMETER: perimeter_name(loop)}
    names |= {
        return_name(line.number): return_name(line.number + lines_before)
        for line in layout.return_lines
    }
    return replace(
        layout,
        loop=loop,
        return_lines=tuple(
            replace(line, number=line.number + lines_before) for line in layout.return_lines
        ),
        joints=tuple(_renamed(joint, names) for joint in layout.joints),
        parking_tests=tuple(
            replace(test, line_number=test.line_number + lines_before)
            for test in layout.parking_tests
        ),
        findings=tuple(_of_loop(finding, loop, lines_before) for finding in layout.findings),
    )


def _renamed(joint: Joint, names: dict[str, str]) -> Joint:
    return replace(joint, on=names[joint.on])


def _of_loop(finding: Finding, loop: int, lines_before: int) -> Finding:
    """Return the finding with the loop it belongs to, and lines by their number on the site."""

    def moved(found: re.Match[str]) -> str:
        return f"return line {int(found[1]) + lines_before}"

    told = re.sub(r"\breturn line (\d+)\b", moved, finding.text)
    return replace(finding, text=f"loop {loop}: {told}")
