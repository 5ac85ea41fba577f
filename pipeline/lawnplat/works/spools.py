"""Wire as it is bought: how many spools the wires of a site are cut from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

from lawnplat.settings.types import RuleBook
from lawnplat.wire.joints import return_name
from lawnplat.wire.loops import perimeter_name
from lawnplat.wire.types import Layout
from lawnplat.works.types import Material

WIRE_SPOOLS = "wire spools"
_SAME_M = 1e-6


@dataclass(frozen=True)
class _Cut:
    """One wire as it is cut: whole spools, spliced, and a last piece."""

    whole: int
    last_m: float


def spools_of(layouts: Sequence[Layout], with_waste_m: float, rules: RuleBook) -> Material:
    """Return how many spools to take: whole spools to each splice, the last pieces cut from others.

    Last pieces, each in one length, are laid into spools the longest first, each into the first
    spool with room. ``with_waste_m`` is the length of all wires with spare and waste.
    """
    cuts = [cut for layout in layouts for cut in _cuts(layout, rules)]
    spool_m = rules.wire.spool_m
    whole, others = sum(cut.whole for cut in cuts), _bins([cut.last_m for cut in cuts], spool_m)
    by_cutting = whole + others
    spools = max(by_cutting, ceil(round(with_waste_m / spool_m, 6)))
    basis = (
        f"{with_waste_m:.1f} m in spools of {spool_m:g} m: {whole} used whole, to a splice each, "
        f"and {others} for the last pieces of {len(cuts)} wires"
    )
    if spools > by_cutting:
        basis = f"{basis}; {spools - by_cutting} more for waste"
    return Material(WIRE_SPOOLS, spools, "spool", basis)


def _cuts(layout: Layout, rules: RuleBook) -> list[_Cut]:
    lengths = {perimeter_name(layout.loop): layout.perimeter.line.length}
    lengths |= {return_name(line.number): line.line.length for line in layout.return_lines}
    spliced = [joint.on for joint in layout.joints if joint.joint == "splice"]
    return [_cut(length_m, spliced.count(name), rules) for name, length_m in lengths.items()]


def _cut(length_m: float, splices: int, rules: RuleBook) -> _Cut:
    with_spare_m = length_m + 2 * rules.wire.spare_end_m
    last_m = with_spare_m - splices * rules.wire.spool_m
    # The joints take a remainder shorter than the spare from the spare.
    return _Cut(splices, min(last_m, rules.wire.spool_m))


def _bins(pieces_m: Sequence[float], spool_m: float) -> int:
    """Return how many spools the pieces take, the longest first, each where it first fits."""
    left_m: list[float] = []
    for piece_m in sorted(pieces_m, reverse=True):
        if piece_m <= _SAME_M:
            continue
        at = next((i for i, room_m in enumerate(left_m) if piece_m <= room_m + _SAME_M), None)
        if at is None:
            left_m.append(spool_m - piece_m)
        else:
            left_m[at] -= piece_m
    return len(left_m)
