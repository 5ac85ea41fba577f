"""The wires of a written plan by the names that its tables call them."""

from __future__ import annotations

import shapely

from lawnplat.proving.chained import ChainedWire, chained
from lawnplat.proving.recorded import RecordedPlan, Row

PERIMETER_LAYER = "perimeter_wire"
RETURN_LAYER = "return_lines"


def planned_wires(plan: RecordedPlan) -> tuple[ChainedWire, ...]:
    """Return perimeters in the order of their loops, then return lines in the order drawn."""
    rows = [(row, perimeter_name(loop_of(row))) for row in plan.rows(PERIMETER_LAYER)]
    rows += [(row, f"return_{int(row.number('line_no'))}") for row in plan.rows(RETURN_LAYER)]
    return tuple(
        chained(on, loop_of(row), shapely.get_coordinates(row.geometry))
        for row, on in rows
        if row.geometry is not None and not row.geometry.is_empty
    )


def perimeter_name(loop: int) -> str:
    """Return the name of a loop's perimeter in the column ``on``; the first has no number."""
    return "perimeter" if loop == 1 else f"perimeter_{loop}"


def loop_of(row: Row) -> int:
    """Return the loop that a row tells of; 1 where it tells of none."""
    loop = row.number("loop")
    return 1 if loop != loop else int(loop)  # noqa: PLR0124 - missing is NaN
