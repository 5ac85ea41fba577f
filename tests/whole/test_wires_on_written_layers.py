"""Wire measured on the written layers: pairs side by side, joined islands, strips, several lawns.

Nothing is asked of the wire room: only the plan's layers and the surveyed shapes are measured. The
gardens are invented; the limits are the rule book's and the machine class's.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, Polygon, affinity, box
from shapely.geometry.base import BaseGeometry

from holds import PlanFile
from lawnplat.settings.load import load_machine

from .awkward import local
from .planning import RULES, E, N, moved, planned, site_of, thing

GAP_M = RULES.wire.pair_gap_m
HAIR_M = 2e-3  # arcs are drawn as chords
SAMPLE_M = 0.02
MEDIUM = load_machine("medium")


def plan_of(
    folder: Path,
    parcel: Polygon,
    things: list[tuple[str, BaseGeometry]],
    *,
    machine: str = "medium",
    heights: np.ndarray | None = None,
) -> PlanFile:
    site = site_of(
        moved(parcel), [thing(kind, shape) for kind, shape in things], spot_heights=heights
    )
    _, file, broken = planned(site, folder, machine=machine)
    assert broken == []
    assert file.laid
    return file


def of_section(file: PlanFile, *names: str) -> list[LineString]:
    frame = file["wire_sections"]
    return [local(line) for line in frame[frame["section"].isin(names)].geometry]


def chains(file: PlanFile, name: str) -> list[LineString]:
    """Return each lead of one way as one line: sections that follow one another joined."""
    frame = file["wire_sections"]
    found: list[list[np.ndarray]] = []
    before = ""
    for row in frame.itertuples():
        points = np.array(local(row.geometry).coords)
        if row.section == name and before == name:
            found[-1].append(points[1:])
        elif row.section == name:
            found.append([points])
        before = row.section
    return [LineString(np.concatenate(parts)) for parts in found]


def sides_and_gaps(out: list[LineString], back: BaseGeometry) -> Iterator[tuple[float, float]]:
    """Yield, at places along each lead, the side the wire back lies on (left over 0), and how far.

    The ends, three gaps long, are left out: there the wires part to both sides along the rim. At a
    bend the wire back lies round the corner: one gap in each of two directions.
    """
    for line in out:
        at_m = np.arange(3 * GAP_M, line.length - 3 * GAP_M, SAMPLE_M)
        here = shapely.get_coordinates(shapely.line_interpolate_point(line, at_m))
        ahead = shapely.get_coordinates(shapely.line_interpolate_point(line, at_m + 1e-4))
        other = shapely.get_coordinates(shapely.shortest_line(shapely.points(here), back))[1::2]
        run, across = ahead - here, other - here
        turn = run[:, 0] * across[:, 1] - run[:, 1] * across[:, 0]
        yield from zip(np.sign(turn), np.hypot(*across.T), strict=True)


FIVE_ISLANDS = [
    ("flower_bed", Point(6, 14).buffer(1.0)),
    ("water", box(13, 7, 16, 9)),
    ("flower_bed", affinity.rotate(box(22, 14, 26, 15), 30)),
    ("rock", Point(24, 5).buffer(0.8)),
    ("water", Point(14, 15).buffer(1.4)),
    ("building", box(5, -6, 20, 0)),
    ("power_outlet", Point(9, 0)),
]
TWO_LAWNS = [
    ("wall", LineString([(0, 12), (24, 12)])),
    ("flower_bed", Point(6, 18).buffer(1.0)),
    ("building", box(5, -6, 20, 0)),
    ("power_outlet", Point(9, 0)),
]
PATH_OBLIQUE = [
    ("path", affinity.rotate(box(-10, 10, 40, 13), 25, origin=(12, 11.5))),
    ("building", box(5, -6, 20, 0)),
    ("power_outlet", Point(9, 0)),
]


@pytest.mark.parametrize(
    ("parcel", "things", "leads"),
    [
        (box(0, 0, 30, 20), FIVE_ISLANDS, 5),
        (box(0, 0, 24, 24), TWO_LAWNS, 2),
        (box(0, 0, 24, 24), PATH_OBLIQUE, 1),
    ],
    ids=["five_islands", "carried_and_an_island", "over_an_oblique_path"],
)
@pytest.mark.parametrize("machine", ["medium", "large"])
def test_a_pair_lies_side_by_side_and_never_swaps_sides(
    parcel: Polygon,
    things: list[tuple[str, BaseGeometry]],
    leads: int,
    machine: str,
    tmp_path: Path,
) -> None:
    file = plan_of(tmp_path, parcel, things, machine=machine)
    out, back = chains(file, "lead_out"), chains(file, "lead_back")
    assert len(out) == len(back) == leads
    assert sum(line.length for line in out) > 1.0
    mown = local(file.all_of("mowable")).buffer(0.01)
    for one, others in ((out, back), (back, out)):
        for line in one:
            sides, gaps = np.array(list(sides_and_gaps([line], shapely.union_all(others)))).T
            # The conductor keeps what it encloses on its right: in the lawn that is the grass, and
            # the other wire lies to the left; outside it is the strip between the two wires.
            inside = line.intersection(mown).length > line.length / 2
            assert set(sides) == {1.0 if inside else -1.0}, "the wires swap sides"
            assert gaps.min() >= GAP_M - HAIR_M
            assert gaps.max() <= np.sqrt(2) * GAP_M + HAIR_M


@pytest.mark.parametrize(("apart_m", "islands"), [(0.0, 1), (0.69, 1), (0.75, 2)])
def test_islands_nearer_than_the_machine_passes_are_one(
    apart_m: float, islands: int, tmp_path: Path
) -> None:
    """Apart as the wires would lie: both setbacks taken off, against the passage of 0.70 m."""
    setback_m = RULES.kinds["flower_bed"].setback_m
    assert MEDIUM.smallest_passage_m == 0.70
    east = 12 + apart_m + 2 * setback_m
    beds = [("flower_bed", box(9, 8, 12, 11)), ("flower_bed", box(east, 8, east + 3, 11))]
    house = [("building", box(5, -6, 20, 0)), ("power_outlet", Point(9, 0))]
    file = plan_of(tmp_path, box(0, 0, 28, 20), [*beds, *house])
    assert len(chains(file, "lead_out")) == islands
    assert sum(len(part.interiors) for part in file["mowable"].geometry) == islands
    between = box(12.05, 9, east - 0.05, 10)
    wire_there = local(file.wire).intersection(between)
    assert (wire_there.length > 0) == (islands == 2), "the wire runs between them only where it may"


@pytest.mark.parametrize(("off_m", "islands"), [(0.69, 0), (0.75, 1)])
def test_an_island_nearer_to_the_rim_than_the_machine_passes_is_joined_to_it(
    off_m: float, islands: int, tmp_path: Path
) -> None:
    bed_m, edge_m = RULES.kinds["flower_bed"].setback_m, RULES.ground.open_edge_m
    south = edge_m + off_m + bed_m
    things = [
        ("flower_bed", box(6, south, 10, south + 2)),
        ("building", box(3, 20, 13, 27)),
        ("power_outlet", Point(8, 20)),
    ]
    file = plan_of(tmp_path, box(0, 0, 16, 20), things)
    assert len(chains(file, "lead_out")) == islands
    names = set(file["wire_sections"]["section"])
    assert ("island" in names) == (islands == 1)
    behind = local(file.wire).intersection(box(6.8, 0, 9.2, south))
    assert (behind.length > 0) == (islands == 1)


def test_round_firm_trees_there_is_no_wire(tmp_path: Path) -> None:
    trunks = [Point(x, y).buffer(0.3) for x, y in [(6, 6), (14, 7), (9, 14), (20, 12), (17, 16)]]
    things = [("tree", trunk) for trunk in trunks]
    house = [("building", box(5, -6, 20, 0)), ("power_outlet", Point(9, 0))]
    file = plan_of(tmp_path, box(0, 0, 26, 20), [*things, *house])
    assert set(file["wire_sections"]["section"]) == {"edge"}
    wire = local(file.wire)
    assert min(wire.distance(trunk) for trunk in trunks) > 3.0  # all of it is at the edge
    # None of it is mown all the same: bark is bark.
    assert local(file.all_of("mowable")).intersection(shapely.union_all(trunks)).area < 1e-6


def crosses(shape: BaseGeometry) -> list[tuple[str, BaseGeometry]]:
    return [
        ("path", box(10, 0, 12, 16)),
        ("building", box(2, -6, 8, 0)),
        ("power_outlet", Point(5, 0)),
        ("crossing", shape),
    ]


def strip(length_m: float, width_m: float, turned_deg: float) -> Polygon:
    half_m = length_m / 2
    bare = box(11 - half_m, 8 - width_m / 2, 11 + half_m, 8 + width_m / 2)
    return affinity.rotate(bare, turned_deg, origin=(11, 8))


GOOD_STRIPS = {
    "as_wide_as_the_path": strip(2.0, 1.4, 0),
    "a_bit_too_short": strip(1.5, 1.4, 0),
    "far_into_both_lawns": strip(7.0, 1.4, 0),
    "into_one_lawn": affinity.translate(strip(4.0, 1.4, 0), 1.2, 0),
    "oblique_15": strip(3.0, 1.4, 15),
    "oblique_30": strip(3.0, 1.6, 30),
    "oblique_45": strip(4.0, 1.8, 45),
    "oblique_45_short": strip(2.6, 1.8, 45),
    "drawn_by_hand": Polygon([(9.8, 7.2), (12.3, 7.4), (12.2, 8.9), (9.9, 8.7)]),
}


@pytest.mark.parametrize("name", GOOD_STRIPS)
@pytest.mark.parametrize("machine", ["medium", "large"])
def test_a_good_crossing_is_used_wired_both_sides_and_not_mown(
    name: str, machine: str, tmp_path: Path
) -> None:
    drawn = GOOD_STRIPS[name]
    file = plan_of(tmp_path, box(0, 0, 22, 16), crosses(drawn), machine=machine)
    assert "crossing" not in set(file["advisories"]["rule"])
    assert sorted(file["mowable"]["role"]) == ["linked", "main"]
    path = box(10, 0, 12, 16)
    assert local(file.all_of("mowable")).intersection(path).area < 1e-6
    # Across the middle of the path the wire passes twice, as far apart as the strip is wide there.
    middle = LineString([(11, 0), (11, 16)])
    wire = local(file.wire)
    places = shapely.get_parts(wire.intersection(middle))
    assert len(places) == 2
    width_m = drawn.intersection(middle).length
    assert places[0].distance(places[1]) == pytest.approx(width_m, abs=0.02)
    assert not of_section(file, "lead_out"), "no pair is needed where the machine drives over"
    assert set(file["wire_sections"]["against"]) >= {"crossing"}
    on_strip = file["wire_sections"].query("against == 'crossing'")
    assert local(on_strip.geometry.union_all()).intersection(path.buffer(0.01)).length >= 2 * 2.0
    # A line leads over it, since the machine has to find home from there.
    assert any(local(line).intersects(path) for line in file["return_lines"].geometry)


def test_a_carried_lawn_is_in_the_same_loop_through_a_pair(tmp_path: Path) -> None:
    file = plan_of(tmp_path, box(0, 0, 24, 24), TWO_LAWNS)
    roles = dict(zip(file["mowable"]["role"], file["mowable"].geometry, strict=True))
    assert set(roles) == {"main", "carried"}
    assert file.loops == [1]
    for area in roles.values():
        # A slit that leads on to an island in it is a gap wide.
        assert file.enclosed.buffer(GAP_M).covers(area.buffer(-GAP_M))
    wall = LineString([(0, 12), (24, 12)])
    over = [line for line in of_section(file, "lead_out", "lead_back") if line.intersects(wall)]
    assert len(over) == 2, "one wire out, one back"


def test_the_wire_keeps_away_from_a_neighbours(tmp_path: Path) -> None:
    """0.3 m beyond the fence a neighbour's wire runs along half of the east side."""
    theirs = LineString([(20.3, 8), (20.3, 18), (26, 18)])
    things = [
        ("neighbour_wire", theirs),
        ("building", box(3, -6, 12, 0)),
        ("power_outlet", Point(9, 0)),
    ]
    file = plan_of(tmp_path, box(0, 0, 20, 18), things)
    wanted_m = RULES.kinds["neighbour_wire"].setback_m
    every = shapely.union_all([local(file.wire), *map(local, file["return_lines"].geometry)])
    assert every.distance(theirs) == pytest.approx(wanted_m, abs=HAIR_M)
    # Where they have no wire the edge's own distance holds.
    edge = LineString([(20, 1), (20, 6)])
    assert local(file.wire).distance(edge) == pytest.approx(RULES.ground.open_edge_m, abs=HAIR_M)
    lost = file["hand_trim"].query("against == 'neighbour_wire'")["area_m2"].sum()
    # All grass in their wire's reach is put down to it, round its end and its bend a little more.
    assert (wanted_m - 0.3) * 10 - 0.1 <= lost <= (wanted_m - 0.3) * 10 * 1.1


def test_a_lawn_over_capacity_is_split_at_the_rule_books_distance(tmp_path: Path) -> None:
    small = load_machine("small")
    side_m = np.sqrt(1.5 * small.capacity_m2)
    house = box(5, -8, side_m - 5, 0)
    outlets = [("power_outlet", Point(x, 0)) for x in (7, side_m - 7)]
    file = plan_of(
        tmp_path, box(0, 0, side_m, side_m), [("building", house), *outlets], machine="small"
    )
    assert file.loops == [1, 2]
    loops = [file.of_loop(number) for number in file.loops]
    assert len({loop.station.wkt for loop in loops}) == 2
    for loop in loops:
        assert loop["mowable"].geometry.area.sum() <= small.capacity_m2
        assert loop.wire.length <= small.longest_wire_m
        assert loop.enclosed.buffer(0.25).covers(loop.station)
    apart_m = shapely.distance(loops[0].wire, loops[1].wire)
    # A seam is drawn to the rule book's distance, no farther: lawn is lost there.
    assert apart_m == pytest.approx(RULES.wire.loops_apart_m, abs=0.02)


def hump(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """A flank north and south of the bed, steep in the west and level from x = 17 on."""
    return 0.15 * np.clip(1 - (x - 5) / 12, 0, 1) * np.clip(np.abs(y - 10) - 2, 0, 4)


def test_of_equally_short_leads_the_written_one_lies_on_the_gentlest_ground(
    tmp_path: Path,
) -> None:
    """A long bed 4.6 m from the north edge all along: no line in the way, any place will do."""
    bed = box(6, 8, 21, 15)
    x, y = (side.ravel() for side in np.meshgrid(np.arange(-3, 30.0), np.arange(-3, 24.0)))
    heights = np.stack([x + E, y + N, 100 + hump(x, y)], axis=1)
    things = [
        ("flower_bed", bed),
        ("building", box(5, -6, 20, 0)),
        ("power_outlet", Point(9, 0)),
    ]
    file = plan_of(tmp_path, box(0, 0, 27, 20), things, heights=heights, machine="steep")
    (lead,) = chains(file, "lead_out")
    (part,) = file["mowable"].geometry
    island, rim = (LineString(local(part).interiors[0]), LineString(local(part).exterior))
    shortest_m = island.distance(rim)
    # The pair's own width, and a slit that runs a gap into the rim at either end.
    assert lead.length <= (1 + RULES.wire.lead_longer_share) * shortest_m + 4 * GAP_M

    def steepest_pct(line: LineString) -> float:
        at = shapely.line_interpolate_point(line, np.linspace(0, 1, 9), normalized=True)
        height = hump(*shapely.get_coordinates(at).T)
        return float(100 * np.abs(np.diff(height)).max() / (line.length / 8))

    feet = shapely.line_interpolate_point(island, np.arange(0, island.length, 0.1))
    ways = shapely.shortest_line(feet, rim)
    equal = ways[shapely.length(ways) <= (1 + RULES.wire.lead_longer_share) * shortest_m]
    lines = shapely.union_all([local(line) for line in file["return_lines"].geometry])
    corridor = lines.buffer(RULES.return_line.corridor_m)
    every = np.array([steepest_pct(line) for line in equal if not line.intersects(corridor)])
    assert every.max() - every.min() > 3.0  # there is something to choose
    # Smoothing over the wheelbase, and samples 0.25 m apart: a percent of gradient.
    assert steepest_pct(lead) <= every.min() + 1.0
