"""The checks of return lines, pegs, joints and tables, in the order in which they are told."""

from __future__ import annotations

from lawnplat.proving.check_types import Check

OF_LINES_AND_TABLES: tuple[Check, ...] = ()
