"""The picture of a plan, put together."""

from __future__ import annotations

from xml.etree.ElementTree import SubElement

from lawnplat.deliver.looks import BLACK, WHITE
from lawnplat.deliver.picture.canvas import Canvas
from lawnplat.deliver.picture.corners import free_corners
from lawnplat.deliver.picture.ground_map import draw_ground, draw_outlets
from lawnplat.deliver.picture.labels import Labels
from lawnplat.deliver.picture.panel import (
    CAUTION,
    bar_size_mm,
    draw_north,
    draw_panel,
    draw_scale_bar,
)
from lawnplat.deliver.picture.paper import paper_for
from lawnplat.deliver.picture.wire_map import draw_advisories, draw_wires, with_a_place
from lawnplat.planned import Plan
from lawnplat.survey.types import Finding

_SEVERITIES = ("stop", "warn", "note")


def draw(plan: Plan) -> str:
    """Return a plan as one self-contained SVG page, A4, to scale.

    Parameters
    ----------
    plan : Plan
        A plan, complete or as far as it came: what is not known is not drawn.

    Returns
    -------
    str
        An SVG document: no scripts, nothing fetched from elsewhere, every text escaped. The same
        plan gives the same text. North is grid north of the site's CRS.
    """
    paper = paper_for(plan.site.parcel.bounds)
    name = plan.site.label or plan.site.property_id
    canvas = Canvas(paper, f"Wire plan of {name}", f"Property {plan.site.property_id}. {CAUTION}")
    canvas.rect(0, 0, paper.width_mm, paper.height_mm, fill=WHITE)
    clip = clip_to_map(canvas)
    labels = Labels(paper)
    numbered = numbered_findings(plan.findings)
    corners = free_corners(paper, plan, labels, bar_size_mm(paper))
    draw_ground(canvas, plan, labels, clip)
    if plan.layouts:
        draw_wires(canvas, plan.layouts, plan.works, labels, clip)
    draw_outlets(canvas, plan, labels, clip)
    draw_advisories(canvas, with_a_place(numbered, plan.site.parcel), labels, clip)
    canvas.group("names", clip)
    labels.write(canvas)
    draw_frame(canvas)
    draw_scale_bar(canvas, corners.bar)
    draw_north(canvas, at_left=corners.north_at_left)
    draw_panel(canvas, plan, numbered)
    return canvas.svg()


def numbered_findings(findings: tuple[Finding, ...]) -> list[tuple[int, Finding]]:
    """Return the findings with numbers from 1, what stops first, then what warns, then notes."""
    known = [each for each in findings if each.severity in _SEVERITIES]
    ordered = sorted(known, key=lambda each: _SEVERITIES.index(each.severity))
    return list(enumerate(ordered, start=1))


def clip_to_map(canvas: Canvas) -> str:
    """Define the map's frame as a clip and return its id."""
    name, paper = f"{canvas.prefix}map-frame", canvas.paper
    clip = SubElement(canvas.defs, "clipPath", {"id": name})
    frame = (paper.left_mm, paper.top_mm, paper.map_width_mm, paper.map_height_mm)
    names = ("x", "y", "width", "height")
    SubElement(clip, "rect", {k: f"{v:.2f}" for k, v in zip(names, frame, strict=True)})
    return name


def draw_frame(canvas: Canvas) -> None:
    """Draw the line round the map."""
    canvas.group("frame")
    paper = canvas.paper
    frame = (paper.left_mm, paper.top_mm, paper.map_width_mm, paper.map_height_mm)
    canvas.rect(*frame, fill="none", stroke=BLACK, stroke_width="0.3")
