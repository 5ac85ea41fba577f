"""The invented street: nine gardens side by side, each drawn for what it shows.

The street runs along y = 0; every garden's x starts at its own west corner.
"""

from __future__ import annotations

from shapely import LineString, Point, Polygon
from shapes import Garden, blob, rect, strip


def plain() -> Garden:
    """Draw a house, a terrace, a lawn on three sides."""
    g = Garden(
        "garden-01", "Sample Street 1: plain", 0, Polygon([(0, 0), (22, 0), (22, 33), (0, 31)])
    )
    g.add("building", rect(5.5, 6, 11, 9.5), height_m=7.5)
    g.add("paving_flush", rect(5.5, 15.5, 11, 3.5), note="terrace")
    g.add("path", rect(0, 0, 22, 6), note="paved forecourt, kerb 5 cm")
    g.add("hedge", Polygon([(0.3, 30.1), (21.7, 32.1), (21.7, 32.9), (0.3, 30.9)]), height_m=1.8)
    g.tree(18.4, 24.6, 0.20, 6)
    g.fence((0, 6), (0, 31))
    g.fence((22, 6), (22, 33))
    g.outlet(8, 15.5)
    return g


def everything() -> Garden:
    """Draw beds, pond, planters, play equipment, firm trees, stepping stones, flush paving."""
    g = Garden(
        "garden-02",
        "Sample Street 3: beds, pond and play",
        22,
        Polygon([(0, 0), (26, 0), (26, 37), (0, 33)]),
        machine_class="medium",
    )
    house = [(6, 6), (18, 6), (18, 16), (13, 16), (13, 14), (6, 14)]
    g.add("building", Polygon(house), height_m=8.0)
    g.add("building", rect(20, 4, 6, 7), height_m=3.0, note="garage")
    g.add("path", rect(20.5, 0, 5, 4), note="drive")
    g.add("paving_flush", rect(6, 14, 7, 4), note="terrace")
    g.add("paving_flush", rect(9.2, 0, 1.4, 6), note="front path, flush slabs")
    g.add("paving_flush", blob(18.2, 32.4, 1.4, 1.4, 1.0), note="seat by the pond")
    g.add("flower_bed", Polygon([(0.6, 0.2), (9.2, 0.2), (9.2, 1.2), (4.5, 1.6), (0.6, 1.1)]))
    g.add("flower_bed", blob(6.4, 28.2, 2.5, 1.4, 0.6), note="rose bed")
    side_bed = [(0.1, 17.5), (1.7, 18.2), (2.2, 21.5), (1.7, 25.2), (0.1, 26.3)]
    g.add("flower_bed", Polygon(side_bed))
    g.add("water", blob(18.6, 26.8, 2.8, 1.9, 2.0), note="pond, 0.8 m deep")
    g.add("rock", Point(14.2, 28.3), radius_m=0.5, height_m=0.6)
    g.add("planter", rect(13.8, 17.4, 0.9, 0.9), height_m=0.5)
    g.add("planter", rect(16.4, 17.4, 0.9, 0.9), height_m=0.5)
    g.add("play_equipment", rect(20.2, 17.6, 3.4, 2.2, 12), height_m=2.2, note="swing")
    g.add("play_equipment", Point(22.6, 32.3), radius_m=1.6, note="trampoline")
    g.add("furniture", rect(8.6, 31.4, 1.8, 0.7, -8), height_m=0.5, note="bench")
    g.tree(11.2, 24.6, 0.20, 7)
    g.tree(13.2, 32.4, 0.30, 11)
    g.tree(23.4, 23.2, 0.15, 5)
    g.add("shrub", Point(24.6, 13.4), radius_m=0.7, height_m=1.5)
    g.add("shrub", Point(1.3, 30.6), radius_m=0.8, height_m=1.8)
    for step in range(8):
        g.add("stepping_stones", rect(9.3 + 0.62 * step, 18.6 + 0.78 * step, 0.45, 0.4, 38))
    service = LineString([(19.2, 0), (19.2, 7.5), (18, 7.5)])
    g.add("buried_service", service, note="water pipe, 1 m deep")
    g.fence((0, 0), (0, 33))
    g.fence((0, 33), (26, 37), (26, 11))
    g.outlet(13, 15.2)
    return g


def side_passage() -> Garden:
    """Draw front and back lawn joined beside the house: 1.6 m of grass, 0.9 m between the wires."""
    g = Garden(
        "garden-03",
        "Sample Street 5: side passage",
        48,
        Polygon([(0, 0), (18, 0), (18, 36), (0, 37)]),
    )
    g.add("building", rect(1.6, 8, 10.4, 9.5), height_m=7.0)
    g.add("building", rect(12, 9, 6, 7), height_m=2.8, note="garage, up to the boundary")
    g.add("path", rect(12.5, 0, 5.5, 9), note="drive")
    g.add("path", rect(10.9, 0, 1.6, 8), note="way to the door")
    g.add("paving_flush", rect(4.5, 17.5, 8, 3.5), note="terrace")
    g.add("hedge", rect(0.2, 0.1, 10.7, 0.7), height_m=1.2)
    g.add("building", rect(14.2, 32.6, 3.4, 2.6), height_m=2.3, note="shed")
    rear_bed = [(0.1, 36.8), (0.1, 33.0), (1.4, 33.6), (2.6, 34.9), (4.8, 35.6), (7.2, 36.5)]
    g.add("flower_bed", Polygon(rear_bed), note="corner bed")
    g.tree(13.6, 28.2, 0.25, 9)
    g.fence((0, 0.8), (0, 37), (18, 36), (18, 16), height_m=1.6)
    g.outlet(9, 17.5)
    return g


def crossing() -> Garden:
    """Draw two lawns parted by a drive, with a strip that the machine may drive over."""
    g = Garden(
        "garden-04",
        "Sample Street 7: drive between two lawns",
        66,
        Polygon([(0, 0), (28, 0), (28, 31), (0, 36)]),
    )
    g.add("building", rect(2.5, 5.5, 10, 10), height_m=8.0)
    g.add("building", rect(13, 22, 5.5, 6.5), height_m=2.8, note="garage")
    g.add("path", rect(14, 0, 3.5, 22), note="drive, kerb 4 cm")
    g.add("crossing", rect(13.4, 18.2, 4.7, 1.5), note="kerb lowered on both sides")
    g.add("paving_flush", rect(3, 15.5, 8, 3.2), note="terrace")
    g.add("flower_bed", rect(12.5, 5.5, 1.5, 10))
    g.add("hedge", rect(0.1, 0.1, 13.9, 0.8), height_m=1.0)
    g.add("hedge", rect(17.5, 0.1, 10.4, 0.8), height_m=1.0)
    g.fence((0, 0.9), (0, 36), (28, 31), (28, 0.9))
    g.fence((15.8, 28.5), (15.8, 33.18))
    g.tree(22.4, 8.2, 0.25, 8)
    g.tree(24.6, 21.5, 0.20, 6)
    g.add("shrub", Point(20.2, 27.2), radius_m=0.7, height_m=1.4)
    g.outlet(10, 15.5)
    return g


def not_plannable() -> Garden:
    """Draw grass in strips and one small corner: nowhere room for a station."""
    g = Garden(
        "garden-05",
        "Sample Street 9: strips of grass",
        94,
        Polygon([(0, 0), (12, 0), (12, 25), (0, 25)]),
        machine_class="small",
    )
    g.add("building", rect(1.2, 5, 9.6, 9), height_m=6.5)
    g.add("gravel", rect(0, 0, 12, 5), note="parking")
    g.add("paving_flush", rect(1.0, 14, 10, 3.2), note="terrace")
    bed = [(1.2, 18.1), (10.8, 18.1), (10.8, 22.9), (9.9, 22.9), (9.9, 25), (1.2, 25)]
    g.add("flower_bed", Polygon(bed), note="vegetables")
    g.fence((0, 5), (0, 25), (12, 25), (12, 5), height_m=1.8)
    g.outlet(6, 14)
    return g


def bent() -> Garden:
    """Draw an L round the back of the neighbour."""
    corners = [(0, 0), (20, 0), (20, 42), (-12, 41), (-12, 25), (0, 25)]
    g = Garden("garden-06", "Sample Street 11: L-shaped", 106, Polygon(corners))
    g.add("building", rect(4, 7, 12, 9), height_m=7.5)
    g.add("building", rect(16, 8, 4, 6.5), height_m=2.8, note="garage")
    g.add("path", rect(15.5, 0, 4.5, 8), note="drive")
    g.add("path", rect(8, 0, 1.4, 7), note="way to the door")
    g.add("gravel", rect(9.4, 0, 6.1, 7), note="front yard")
    g.add("paving_flush", rect(4, 16, 9, 3.5), note="terrace")
    g.add("flower_bed", blob(10.8, 32.6, 2.4, 1.5, 0.3), note="island bed")
    g.add("flower_bed", rect(4, 5.6, 4, 1.4), note="along the house")
    hedge = Polygon([(-11.8, 40.1), (19.6, 41.1), (19.6, 41.9), (-11.8, 40.9)])
    g.add("hedge", hedge, height_m=2.0)
    g.add("building", rect(-11.6, 36.6, 3, 2.6), height_m=2.3, note="shed")
    leg_bed = [
        (-11.9, 25.1),
        (-6.4, 25.1),
        (-7.4, 26.0),
        (-9.3, 26.4),
        (-10.8, 27.6),
        (-11.9, 29.8),
    ]
    g.add("flower_bed", Polygon(leg_bed), note="corner bed")
    g.tree(-5.6, 32.4, 0.25, 9)
    g.tree(4.2, 27.6, 0.20, 6)
    g.fence((0, 0), (0, 25), (-12, 25), (-12, 41))
    g.outlet(12, 16)
    return g


def messy() -> Garden:
    """Draw in a hurry: rings that cross themselves, points twice, slivers, overlaps, heights."""
    ring = [(0, 0, 62.1), (24, 0, 62.3), (24, 0, 62.3), (24, 19, 62.5), (24, 38, 62.8)]
    ring += [(12, 40, 62.8), (12, 40, 62.8), (0, 42, 62.7)]
    g = Garden("garden-07", "Sample Street 13: messy drawing", 126, Polygon(ring))
    house = [(6, 6), (17, 6), (17, 6), (17, 15), (11.5, 15), (6, 15)]
    g.add("building", Polygon([(x, y, 68.0) for x, y in house]), height_m=6.0)
    g.add(
        "building", rect(0, 6, 6, 6.5), height_m=2.7, note="garage, drawn over the boundary hedge"
    )
    g.add("path", rect(1, 0, 4.6, 6.3), note="drive, drawn into the garage")
    g.add("path", rect(8, 0, 1.5, 6.2), note="way to the door, drawn into the house")
    g.add("paving_flush", rect(6, 14.8, 9, 3.7), note="terrace, drawn into the house")
    g.add("flower_bed", Polygon([(4, 25), (8, 29), (8, 25), (4, 29)]), note="ring crosses itself")
    g.add("flower_bed", rect(15, 26, 4, 2))
    g.add("flower_bed", rect(17.4, 27, 3.4, 2.2, 10), note="overlaps the bed beside it")
    g.add("flower_bed", rect(12, 22, 2.4, 0.004), note="sliver of a deleted bed")
    spike = [(1.6, 33), (4.4, 33), (4.4, 35.4), (4.4, 36.9), (4.4, 35.4), (1.6, 35.4)]
    g.add("play_equipment", Polygon(spike), note="sand pit, with a spike")
    g.tree(11, 33.5, 0.25, 8)
    g.tree(11, 33.5, 0.25, 8)
    g.add("tree", Point(19.6, 21.4, 63.1), radius_m=0.2, height_m=6)
    g.fence((24, 0), (24, 19), (24, 38))
    g.fence((24, 38), (24, 0))
    g.fence((24, 38), (12, 40), (0, 42))
    g.add("shrub", None, note="never measured")
    g.outlet(14, 15)
    return g


def two_lawns() -> Garden:
    """Draw lawns as surveyed, one reached on foot only; retaining edge, meadow, next wire."""
    g = Garden(
        "garden-08",
        "Sample Street 15: surveyed lawns, retaining edge",
        150,
        Polygon([(0, 0), (26, 0), (26, 43), (0, 38)]),
    )
    g.add("building", rect(6, 8, 13, 9.5), height_m=8.5)
    g.add("building", rect(19, 9, 7, 6.5), height_m=2.9, note="garage")
    g.add("path", rect(19.5, 0, 6.5, 9), note="drive")
    g.add("path", rect(17.7, 0, 1.8, 8), note="way to the door")
    g.add("gravel", rect(0, 6.4, 6, 11.1), note="bins and firewood")
    g.add("paving_flush", rect(8, 17.5, 9, 4), note="terrace")
    g.add("wall", LineString([(0, 17.5), (0, 33.2)]), width_m=0.24, height_m=0.8)
    g.add(
        "drop",
        LineString([(0.2, 33.2), (13, 35.4), (25.8, 36.6)]),
        height_m=0.8,
        note="retaining edge, 0.8 m down to the meadow",
    )
    meadow = [(0, 33.4), (13, 35.6), (26, 36.9), (26, 43), (0, 38)]
    g.add("no_mow", Polygon(meadow), note="wild flower meadow, mown by scythe in autumn")
    g.add("neighbour_wire", LineString([(-0.4, 20), (-0.4, 33)]), note="as the neighbour said")
    g.add("flower_bed", blob(18.4, 27.4, 2.2, 1.3, 1.4))
    front_bed = [(6, 6.4), (13.5, 6.9), (17.7, 6.4), (17.7, 8), (6, 8)]
    g.add("flower_bed", Polygon(front_bed), note="along the house")
    g.add("hedge", rect(0.1, 0.1, 17.6, 0.8), height_m=1.1)
    g.tree(7.2, 28.4, 0.3, 10)
    g.fence((26, 15.5), (26, 36.6), height_m=1.4)
    g.outlet(15.5, 17.5)
    g.lawn([(0, 0.9), (17.7, 0.9), (17.7, 6.4), (13.5, 6.9), (6, 6.4), (0, 6.4)], "front lawn")
    back = [(0.12, 17.5), (8, 17.5), (8, 21.5), (17, 21.5), (17, 17.5), (19.5, 15.5), (26, 15.5)]
    back += [(26, 36.6), (25.8, 36.6), (13, 35.4), (0.2, 33.2), (0.12, 33.2)]
    g.lawn(back, "back lawn")
    return g


def bank() -> Garden:
    """Draw a bank of about 30 percent between the lower and the upper lawn."""
    g = Garden(
        "garden-09",
        "Sample Street 17: bank",
        190,
        Polygon([(0, 0), (24, 0), (24, 45), (0, 44)]),
    )
    g.add("building", rect(5.5, 5, 12, 8.5), height_m=7.5)
    g.add("path", rect(19.5, 0, 4.5, 10), note="drive")
    g.add("gravel", rect(0, 0, 19.5, 5), note="front yard")
    g.add("paving_flush", rect(7, 13.5, 9, 3.2), note="terrace")
    top_bed = [
        (0.1, 43.9),
        (0.1, 38.2),
        (1.0, 38.8),
        (1.7, 40.6),
        (3.0, 42.0),
        (6.4, 42.7),
        (8.1, 44.2),
    ]
    g.add("flower_bed", Polygon(top_bed), note="corner bed")
    g.add("flower_bed", Polygon([(16, 13.5), (17.5, 13.5), (17.5, 15.6), (16.8, 16.2), (16, 16.4)]))
    g.add("shrub", Point(12.4, 42.4), radius_m=0.8, height_m=1.6)
    g.add("building", rect(19.6, 40.6, 3.6, 2.8), height_m=2.3, note="shed")
    g.tree(15.4, 38.4, 0.3, 11)
    g.fence((0, 5), (0, 44), (24, 45), (24, 10))
    g.outlet(9, 13.5)
    return g


def shared_hedge() -> tuple[Polygon, dict[str, object]]:
    """Return a hedge on a boundary, drawn once, with no property of its own; street metres."""
    hedge = strip((126, 14.6), (126, 41.5), width=0.8)
    return hedge, {"kind": "hedge", "height_m": 1.8, "note": "on the boundary, belongs to both"}


STREET = (
    plain,
    everything,
    side_passage,
    crossing,
    not_plannable,
    bent,
    messy,
    two_lawns,
    bank,
)
