"""What a line that is laid leaves to the next one; by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import cast

from shapely import LineString, Point

from lawnplat.settings.load import load_rule_book
from lawnplat.wire.corridor import Leaving, _kept_from
from lawnplat.wire.types import Station

RULES = load_rule_book()
STATION = cast("Station", SimpleNamespace(point=Point(0, 0)))
LEAVING = Leaving(2.0)


def test_a_short_lead_takes_its_corridor_from_end_to_end() -> None:
    lead = LineString([(5, 5), (6, 5)])
    kept = _kept_from(lead, STATION, LEAVING, RULES)
    aside_m = RULES.return_line.corridor_m - 0.01
    assert all(kept.covers(Point(x, 5 + aside_m)) for x in (5.0, 5.5, 6.0))


def test_a_line_takes_its_corridor_where_the_next_has_parted_from_it() -> None:
    line = LineString([(0, 0), (0, 10)])
    kept = _kept_from(line, STATION, LEAVING, RULES)
    aside_m = RULES.return_line.corridor_m - 0.01
    # By hand: 2 m of straight run, and 1.5 m in which the two part.
    assert not kept.covers(Point(aside_m, 1.0))
    assert kept.covers(Point(aside_m, 4.0))
