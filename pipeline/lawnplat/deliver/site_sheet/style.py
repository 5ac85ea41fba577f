"""The look of the sheet: black on white, system fonts, A4 when printed."""

from __future__ import annotations

from lawnplat.deliver.site_sheet.forms import (
    FORMS,
    GAP_MM,
    HEAD_MM,
    PAGE_MARGIN_MM,
    STRIP_MM,
    TITLE_MM,
)

_PLAIN = """
* { box-sizing: border-box; }
html { background: #e9e9e6; }
body { margin: 0; color: #111; background: #fff; font: 9.5pt/1.4 Helvetica, Arial,
  'Liberation Sans', 'DejaVu Sans', sans-serif; -webkit-print-color-adjust: exact;
  print-color-adjust: exact; }
main { width: 210mm; margin: 0 auto; background: #fff; }
svg { display: block; }
h1, h2, h3, p, dl, dd, figure { margin: 0; }
h1 { font-size: 14pt; line-height: 6mm; font-weight: 700; }
h2 { font-size: 12.5pt; border-bottom: 0.5mm solid #111; padding-bottom: 1mm; margin-bottom: 3mm; }
h3 { font-size: 10.5pt; margin: 4mm 0 1.5mm; break-after: avoid; }
p { margin: 0 0 2.5mm; max-width: 175mm; }
ul, ol { margin: 0 0 3mm; padding-left: 5mm; }
li { margin-bottom: 0.8mm; max-width: 175mm; overflow-wrap: anywhere; }
table { border-collapse: collapse; width: 100%; margin: 0 0 5mm; font-size: 8.5pt;
  line-height: 1.3; }
caption { text-align: left; font-weight: 700; font-size: 10pt; padding: 1mm 0; break-after: avoid; }
th, td { border: 0.2mm solid #555; padding: 0.9mm 1.4mm; text-align: left; vertical-align: top;
  overflow-wrap: break-word; font-weight: 400; }
thead th { background: #e6e6e6; font-weight: 700; }
thead { display: table-header-group; }
tr { break-inside: avoid; }
.figure, .number { text-align: right; font-variant-numeric: tabular-nums; white-space: nowrap; }
.page { padding: 14mm 13mm; break-before: page; }
.one-line { white-space: nowrap; overflow: hidden; text-overflow: ellipsis; }
.sheet h2 { border: 0; margin: 0; padding: 0; font-size: 10.5pt; line-height: 5.4mm;
  font-weight: 400; }
.sheet { break-after: page; overflow: hidden; }
.title { border: 0.3mm solid #111; padding: 1.5mm 2mm; font-size: 8pt; line-height: 1.3;
  overflow: hidden; display: flex; flex-direction: column; }
.title dl { flex: 0 1 auto; min-height: 0; overflow: hidden; }
.title .caution, .title .stop { flex: none; }
.title div { display: flex; gap: 1.5mm; }
.title dt { flex: 0 0 25mm; color: #333; }
.title dd { flex: 1; min-width: 0; font-weight: 700; }
.title .caution { font-weight: 700; border-top: 0.2mm solid #111; margin: auto 0 0;
  padding-top: 1mm; }
.title .stop { padding: 0.5mm 1mm; margin-bottom: 1mm; }
.facts { columns: 2; column-gap: 8mm; font-size: 9pt; margin-top: 3mm; }
.facts div { display: flex; justify-content: space-between; gap: 3mm; break-inside: avoid;
  border-bottom: 0.15mm solid #777; }
.facts dd { text-align: right; font-weight: 700; }
.cautions dt { break-after: avoid; font-weight: 700; margin-top: 1.5mm; }
.cautions dd { break-inside: avoid; margin: 0 0 1mm; max-width: 175mm; }
.tick { display: inline-block; width: 4.5mm; height: 4.5mm; border: 0.4mm solid #111; }
.line { display: block; height: 5.5mm; min-width: 26mm; border-bottom: 0.2mm solid #111; }
.long { height: 7mm; }
.stop { font-weight: 700; border: 0.6mm solid #111; padding: 1.5mm 2mm; }
.stop::before { content: "\\26A0\\FE0E\\00A0"; }
.about { color: #333; }
.total { font-weight: 700; font-size: 10.5pt; }
@media screen { .page, .sheet { border-bottom: 3mm solid #e9e9e6; } }
@media print { html { background: #fff; } main { width: auto; }
  .page { padding: 0; } .sheet { margin: 0; padding: 0 !important; } }
"""


def style(running: str) -> str:
    """Return the sheet's style.

    Parameters
    ----------
    running : str
        What stands at the foot of every printed page beside its number; any text.
    """
    foot = (
        f"@bottom-left {{ content: {_quoted(running)}; font: 7.5pt Helvetica, Arial, sans-serif; }}"
        ' @bottom-right { content: "page " counter(page) " of " counter(pages);'
        " font: 7.5pt Helvetica, Arial, sans-serif; }"
    )
    pages = [f"@page {{ size: A4 portrait; margin: 13mm 13mm 15mm; {foot} }}"]
    for form, turned in zip(FORMS, ("portrait", "landscape"), strict=True):
        pages.append(
            f"@page {form.name} {{ size: A4 {turned}; margin: {PAGE_MARGIN_MM:g}mm; {foot} }}"
        )
    return _PLAIN + "\n".join([*pages, *_forms()])


def _forms() -> list[str]:
    upright, across = FORMS
    strip = (
        f".upright .under {{ display: grid; grid-template-columns: {TITLE_MM:g}mm 1fr;"
        f" column-gap: {GAP_MM:g}mm; height: {STRIP_MM:g}mm; margin-top: {GAP_MM:g}mm; }}"
        f" .upright .title {{ height: {STRIP_MM:g}mm; }}"
        f" .upright .keys {{ display: flex; gap: 2mm; }}"
    )
    side = (
        f".across .body {{ display: grid; grid-template-columns: {across.map_width_mm:g}mm 1fr;"
        f" column-gap: {GAP_MM:g}mm; }}"
        f" .across .title {{ height: {STRIP_MM:g}mm; margin-bottom: {GAP_MM:g}mm; }}"
        " .across .keys { display: flex; flex-direction: column; gap: 2mm; }"
    )
    heads = f".sheet header {{ height: {HEAD_MM:g}mm; overflow: hidden; }}"
    return [
        heads, strip, side,
        f".upright {{ page: upright; width: {upright.map_width_mm:g}mm; }}",
        ".across { page: across; width: 281mm; }",
        (f"@media screen {{ .sheet {{ padding: {PAGE_MARGIN_MM:g}mm;"
        " box-sizing: content-box; } .across { background: #fff; } }"),
    ]  # fmt: skip


def _quoted(text: str) -> str:
    """Return any text as a CSS string that can end neither itself nor the style element."""
    return '"' + "".join(c if c.isascii() and c.isalnum() else f"\\{ord(c):X} " for c in text) + '"'
