"""The checks of return lines, pegs, joints and tables, in the order in which they are told."""

from __future__ import annotations

from lawnplat.proving.check_types import Check
from lawnplat.proving.checks.joints import joint
from lawnplat.proving.checks.labour import labour
from lawnplat.proving.checks.lengths import length, parking_test
from lawnplat.proving.checks.materials import materials, spare
from lawnplat.proving.checks.pegs import peg_missing, peg_on_wire, peg_spacing
from lawnplat.proving.checks.programme import commissioning, cutting_height, schedule
from lawnplat.proving.checks.quote_sum import quote_sum
from lawnplat.proving.checks.return_course import return_bend, return_corridor, return_gradient
from lawnplat.proving.checks.return_run import line_number, return_end, straight_run, wire_crossing
from lawnplat.proving.checks.setting_out import setting_out

OF_LINES_AND_TABLES: tuple[Check, ...] = (
    line_number,
    straight_run,
    return_end,
    wire_crossing,
    return_corridor,
    return_bend,
    return_gradient,
    joint,
    peg_on_wire,
    peg_missing,
    peg_spacing,
    length,
    parking_test,
    setting_out,
    spare,
    materials,
    labour,
    quote_sum,
    schedule,
    cutting_height,
    commissioning,
)
