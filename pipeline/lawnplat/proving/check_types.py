"""What a check is."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from lawnplat.proving.evidence import Evidence
from lawnplat.survey.types import Finding

Check = Callable[[Evidence], Iterator[Finding]]
"""Yields one finding for each breach: rule, severity, text, place, measured and limit."""
