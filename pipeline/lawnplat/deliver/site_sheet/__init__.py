"""The site sheet: one HTML file that a crew digs by and a client signs, A4 when printed."""

from __future__ import annotations

from lawnplat.deliver.site_sheet.build import site_sheet

__all__ = ["site_sheet"]
