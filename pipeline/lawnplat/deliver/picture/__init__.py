"""A plan as one self-contained SVG page: map, key, figures, what to look at."""

from __future__ import annotations

from lawnplat.deliver.picture.draw import draw

__all__ = ["draw"]
