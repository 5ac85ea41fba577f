"""Ways to spoil setting-out marks, materials, labour, quote and programme."""

from __future__ import annotations

from shapely import affinity

from lawnplat.proving.evidence import Evidence

from .ways import Spoilt, Way, changed, dropped, first, with_plan


def _taped(evidence: Evidence) -> int | None:
    rows = evidence.plan.rows("setting_out")
    return next((at for at, row in enumerate(rows) if row.text("from_a")), None)


def tape_misread(evidence: Evidence) -> Spoilt | None:
    """Two centimetres: at any cut the mark is off by half of that at least."""
    at = _taped(evidence)
    if at is None:
        return None
    row = evidence.plan.rows("setting_out")[at]
    told = row.number("dist_a_m") + 0.021
    return with_plan(
        evidence, changed(evidence.plan, "setting_out", at, dist_a_m=told), row.geometry
    )


def mark_on_the_other_side(evidence: Evidence) -> Spoilt | None:
    at = _taped(evidence)
    if at is None:
        return None
    row = evidence.plan.rows("setting_out")[at]
    other = {"left": "right", "right": "left"}[row.text("side")]
    return with_plan(evidence, changed(evidence.plan, "setting_out", at, side=other), row.geometry)


def fixed_point_moved(evidence: Evidence) -> Spoilt | None:
    if not evidence.plan.rows("fixed_points"):
        return None
    moved = affinity.translate(evidence.plan.rows("fixed_points")[0].geometry, 0.2, 0.2)
    return with_plan(evidence, changed(evidence.plan, "fixed_points", 0, moved))


def fixed_point_dropped(evidence: Evidence) -> Spoilt | None:
    if not evidence.plan.rows("fixed_points"):
        return None
    return with_plan(evidence, dropped(evidence.plan, "fixed_points", 0))


def mark_at_another_chainage(evidence: Evidence) -> Spoilt:
    at = first(evidence.plan, "setting_out", on="return_1", what="terminal")
    row = evidence.plan.rows("setting_out")[at]
    told = row.number("chainage_m") + 0.5
    return with_plan(
        evidence, changed(evidence.plan, "setting_out", at, chainage_m=told), row.geometry
    )


def marks_of_joints_dropped(evidence: Evidence) -> Spoilt | None:
    at = first(evidence.plan, "setting_out", what="joint")
    if at is None:
        return None
    place = evidence.plan.rows("setting_out")[at].geometry
    rows = [r for r in evidence.plan.rows("setting_out") if r.text("what") != "joint"]
    return with_plan(evidence, evidence.plan.with_rows("setting_out", rows), place)


def edge_told_wrong(evidence: Evidence) -> Spoilt | None:
    rows = evidence.plan.rows("setting_out")
    at = next((place for place, row in enumerate(rows) if row.text("edge")), None)
    if at is None:
        return None
    told = rows[at].number("edge_offset_m") + 0.05
    plan = changed(evidence.plan, "setting_out", at, edge_offset_m=told)
    return with_plan(evidence, plan, rows[at].geometry)


def height_told_wrong(evidence: Evidence) -> Spoilt | None:
    rows = evidence.plan.rows("setting_out")
    at = next((place for place, row in enumerate(rows) if row.number("height_m") > -1e4), None)
    if at is None:
        return None
    told = rows[at].number("height_m") + 0.1
    plan = changed(evidence.plan, "setting_out", at, height_m=told)
    return with_plan(evidence, plan, rows[at].geometry)


def arc_told_flat(evidence: Evidence) -> Spoilt | None:
    """Tell the most bowed stretch as straight."""
    rows = evidence.plan.rows("setting_out")
    bows = [abs(row.number("to_next_offset_m")) if row.text("to_mark") else 0.0 for row in rows]
    bows = [0.0 if bow != bow else bow for bow in bows]  # noqa: PLR0124
    at = max(range(len(bows)), key=bows.__getitem__)
    if bows[at] < 0.08:
        return None
    return with_plan(evidence, changed(evidence.plan, "setting_out", at, to_next_offset_m=0.0))


def arc_told_to_the_other_side(evidence: Evidence) -> Spoilt | None:
    rows = evidence.plan.rows("setting_out")
    for at, row in enumerate(rows):
        if row.text("to_mark") and abs(row.number("to_next_offset_m")) > 0.05:
            told = -row.number("to_next_offset_m")
            plan = changed(evidence.plan, "setting_out", at, to_next_offset_m=told)
            return with_plan(evidence, plan)
    return None


def notes_on_marks_dropped(evidence: Evidence) -> Spoilt | None:
    if first(evidence.plan, "advisories", rule="setting_out") is None:
        return None
    rows = [r for r in evidence.plan.rows("advisories") if r.text("rule") != "setting_out"]
    return with_plan(evidence, evidence.plan.with_rows("advisories", rows))


def _quantity(layer: str, key: str, name: str, by: float) -> Way:
    column = "item" if layer != "labour" else "task"

    def spoil(evidence: Evidence) -> Spoilt | None:
        at = first(evidence.plan, layer, **{column: name})
        if at is None:
            return None
        told = evidence.plan.rows(layer)[at].number(key) + by
        return with_plan(evidence, changed(evidence.plan, layer, at, **{key: told}))

    spoil.__name__ = f"{key}_of_{name.replace(' ', '_').replace('-', '_')}_in_{layer}"
    return spoil


def _amount(kind: str, column: str = "amount", by: float = 0.01) -> Way:
    def spoil(evidence: Evidence) -> Spoilt | None:
        at = first(evidence.plan, "quote_lines", kind=kind)
        if at is None:
            return None
        told = round(evidence.plan.rows("quote_lines")[at].number(column) + by, 2)
        return with_plan(evidence, changed(evidence.plan, "quote_lines", at, **{column: told}))

    spoil.__name__ = f"{column}_of_{kind}_off"
    return spoil


def dearer_line_added_up_right(evidence: Evidence) -> Spoilt | None:
    """Ask more for the machine and put it through all sums: only the price is wrong."""
    plan = evidence.plan
    tax_free = {row.text("kind"): at for at, row in enumerate(plan.rows("quote_lines"))}
    rows = plan.rows("quote_lines")
    machine = tax_free.get("machine")
    if machine is None:
        return None
    price, count = rows[machine].number("unit_price") + 100.0, rows[machine].number("quantity")
    more, share = (
        100.0 * count,
        rows[tax_free["tax"]].number("amount") / rows[tax_free["net"]].number("amount"),
    )
    plan = changed(plan, "quote_lines", machine, unit_price=price, amount=price * count)
    for kind, by in (
        ("net", more),
        ("tax", more * round(share, 2)),
        ("total", more * (1 + round(share, 2))),
    ):
        told = round(rows[tax_free[kind]].number("amount") + by, 2)
        plan = changed(plan, "quote_lines", tax_free[kind], amount=told)
    return with_plan(evidence, plan)


def option_off_by_a_cent(evidence: Evidence) -> Spoilt | None:
    if not evidence.plan.rows("quote_options"):
        return None
    told = round(evidence.plan.rows("quote_options")[-1].number("total") + 0.01, 2)
    last = len(evidence.plan.rows("quote_options")) - 1
    return with_plan(evidence, changed(evidence.plan, "quote_options", last, total=told))


def _month(**values: object) -> Way:
    def spoil(evidence: Evidence) -> Spoilt | None:
        at = first(evidence.plan, "schedule", month=7)
        return with_plan(evidence, changed(evidence.plan, "schedule", at, **values))

    spoil.__name__ = "month_with_" + "_".join(f"{k}_{v}" for k, v in values.items())
    return spoil


def month_dropped(evidence: Evidence) -> Spoilt:
    return with_plan(evidence, dropped(evidence.plan, "schedule", 6))


def height_below_the_machines(evidence: Evidence) -> Spoilt:
    return with_plan(evidence, changed(evidence.plan, "cutting_heights", 0, height_mm=5.0))


def parking_test_not_on_the_list(evidence: Evidence) -> Spoilt:
    rows = evidence.plan.rows("commissioning")
    at = next(place for place, row in enumerate(rows) if "return line 1" in row.text("what"))
    return with_plan(evidence, changed(evidence.plan, "commissioning", at, what="Fence walked"))


OF_TABLES: tuple[tuple[Way, str], ...] = (
    (tape_misread, "setting_out"),
    (mark_on_the_other_side, "setting_out"),
    (fixed_point_moved, "setting_out"),
    (fixed_point_dropped, "setting_out"),
    (mark_at_another_chainage, "setting_out"),
    (marks_of_joints_dropped, "setting_out"),
    (edge_told_wrong, "setting_out"),
    (height_told_wrong, "setting_out"),
    (arc_told_flat, "setting_out"),
    (arc_told_to_the_other_side, "setting_out"),
    (notes_on_marks_dropped, "setting_out"),
    (_quantity("materials", "quantity", "perimeter wire", -1.0), "spare"),
    (_quantity("materials", "quantity", "return line wire", -1.0), "spare"),
    (_quantity("materials", "quantity", "pegs", -5.0), "materials"),
    (_quantity("materials", "quantity", "three-way joints", -1.0), "materials"),
    (_quantity("materials", "quantity", "wire spools", -1.0), "materials"),
    (_quantity("materials", "quantity", "low-voltage cable", -9.0), "materials"),
    (_quantity("labour", "quantity", "set_out", -10.0), "labour"),
    (_quantity("labour", "quantity", "make_joint", -1.0), "labour"),
    (_quantity("labour", "hours", "peg_wire", -0.5), "labour"),
    (_quantity("labour", "quantity", "travel", -1.0), "labour"),
    (_amount("material"), "quote_sum"),
    (_amount("labour"), "quote_sum"),
    (_amount("margin"), "quote_sum"),
    (_amount("net"), "quote_sum"),
    (_amount("tax"), "quote_sum"),
    (_amount("total"), "quote_sum"),
    (_amount("labour", "quantity", 1.0), "quote_sum"),
    (dearer_line_added_up_right, "quote_sum"),
    (option_off_by_a_cent, "quote_sum"),
    (_month(start="18:00", end="09:00"), "schedule"),
    (_month(start="03:00"), "schedule"),
    (_month(hours_per_week=150.0), "schedule"),
    (_month(days_per_week=7), "schedule"),
    (month_dropped, "schedule"),
    (height_below_the_machines, "cutting_height"),
    (parking_test_not_on_the_list, "commissioning"),
)
