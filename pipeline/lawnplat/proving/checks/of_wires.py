"""The checks of ground, perimeter and station, in the order in which they are told."""

from __future__ import annotations

from lawnplat.proving.check_types import Check

OF_WIRES: tuple[Check, ...] = ()
