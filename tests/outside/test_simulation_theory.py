"""The simulated machine against what theory says of one that turns at random.

Every tolerance is 4.5 standard errors of the sample at hand: a right simulation fails one check in
150 000. Standard errors of means over a path that remembers are those of means of batches.
"""

import math

import numpy as np
import pytest
import scipy.stats
from shapely import Point, Polygon, box

from lawnplat.proving.simulation.runs import run_all
from lawnplat.proving.simulation.turning_kernel import COSINE, UNIFORM
from simulated import arrays, flights, world

Z = 4.5
DISC = Point(0, 0).buffer(1, quad_segs=64)
OBLONG = box(0, 0, 20, 10)
GROUNDS = {
    "oblong": OBLONG,
    "disc": DISC,
    "bent": Polygon([(0, 0), (14, 0), (14, 5), (6, 5), (6, 11), (0, 11)]),
    "with a pond and a bed": OBLONG.difference(Point(6, 5).buffer(2)).difference(box(13, 3, 16, 8)),
}


def mean_and_error(values, batches=100):
    """Mean of a sequence and its standard error, by batches far longer than its memory."""
    means = np.array([batch.mean() for batch in np.array_split(values, batches)])
    return means.mean(), means.std(ddof=1) / math.sqrt(batches)


@pytest.mark.parametrize("ground", GROUNDS.values(), ids=GROUNDS)
def test_mean_free_path_is_pi_area_over_rim_under_the_cosine_law(ground):
    # Cauchy's formula; holds for random turning of any lawn: Hidalgo-Caballero et al., Eur. Phys.
    # J. Plus 137:501, 2022. The rims of holes count.
    mean, error = mean_and_error(flights(ground, COSINE, 100_000, 11)[2])
    assert abs(mean - math.pi * ground.area / ground.length) < Z * error


@pytest.mark.parametrize(
    ("ground", "cosine", "uniform"),
    [
        # Disc: chord 2 cos(angle), whose mean is pi/2 under cos(angle)/2, and 4/pi under 1/pi.
        (DISC, math.pi / 2, 4 / math.pi),
        # Oblong 20 x 10: 200 pi / 60; under a uniform angle 9.557 (simulated elsewhere).
        (OBLONG, 10.472, 9.557),
    ],
    ids=["disc", "oblong"],
)
def test_the_mean_free_path_tells_the_two_laws_apart(ground, cosine, uniform):
    # Comets, Popov, Schuetz, Vachkovskaia, Arch. Rational Mech. Anal. 191, 2009.
    rounded = 5e-4
    for law, expected, other in ((COSINE, cosine, uniform), (UNIFORM, uniform, cosine)):
        mean, error = mean_and_error(flights(ground, law, 100_000, 12)[2])
        # A circle of 256 chords is shorter by 1e-4 than its own.
        assert abs(mean - expected) < Z * error + rounded
        assert abs(mean - other) > 2 * (Z * error + rounded)


def places(law, count):
    """Places on the oblong, so far apart on the way that they know nothing of each other."""
    starts, ways, lengths = flights(OBLONG, law, count * 12, 13)
    along = np.cumsum(lengths)
    at = np.arange(60.0, along[-1], 120.0)
    leg = np.searchsorted(along, at)
    back = along[leg] - at
    return starts[leg] + ways[leg] * (lengths[leg] - back)[:, np.newaxis]


def test_every_place_is_mown_alike_under_the_cosine_law_alone():
    # The uniform law is the stationary one for cosine turns only (Comets et al., as above).
    for law, uniform in ((COSINE, True), (UNIFORM, False)):
        found = places(law, 20_000)
        counts, _, _ = np.histogram2d(*found.T, bins=(10, 5), range=((0, 20), (0, 10)))
        chance = scipy.stats.chisquare(counts.ravel()).pvalue
        assert bool(chance > 1e-5) == uniform


def coverage(hours, side_m, runs, seed=21):
    """Shares of a square cut after some hours without a break, one a run, and wL/A."""
    ways, pace, points = arrays(world(box(0, 0, side_m, side_m)), lines_first_min=0.0)
    pace = pace._replace(run_s=hours * 3600.0 / 0.8, reserve_s=hours * 3600.0 / 4)
    done = run_all(
        ways, pace, np.ones(1), np.array([hours * 3600.0]), points, seed=(seed,), runs=runs
    )
    mowed_m = done.sums[:, 2]
    return done.ever[:, 0] / points.mown.sum(), 0.2 * mowed_m / side_m**2


@pytest.mark.parametrize(("hours", "side_m"), [(1, 20), (2, 20), (4, 24)])
def test_uncut_share_falls_as_koopman_says(hours, side_m):
    # Random search: uncut share exp(-wL/A) (Koopman, from memory). Flights in one straight line do
    # not overlap themselves, and the strip by the wire is half covered: both are of the order of
    # the width over the side, which bounds the difference.
    shares, ratio = coverage(hours, side_m, runs=200)
    expected = 1 - np.exp(-ratio)
    error = (shares - expected).std(ddof=1) / math.sqrt(len(shares))
    assert abs((shares - expected).mean()) < Z * error + 0.2 / side_m


def test_one_observed_hour_predicts_the_second():
    # Sportelli et al., AgriEngineering 4(3):592-605, 2022: random work covered 54.64 % after one
    # hour and 80.15 % after two; 1 - (1 - 0.5464)^2 = 79.42 %. The side of the square is such that
    # an hour of the simulated machine covers the first share.
    side_m = math.sqrt(0.2 * 65 / (0.2 * 0.35) / -math.log(1 - 0.5464))
    first, _ = coverage(1, side_m, runs=300)
    second, _ = coverage(2, side_m, runs=300)
    # As above, and half a chord till the machine meets the wire: a share of the hour's way, of
    # which a point not yet cut takes its part, at most 1/e.
    slack = 0.2 / side_m + math.pi * side_m / 4 / 928.6 / math.e
    for shares, expected in ((first, 0.5464), (second, 0.7942)):
        error = shares.std(ddof=1) / math.sqrt(len(shares))
        assert abs(shares.mean() - expected) < Z * error + slack


def test_time_home_in_a_corridor_has_its_closed_form():
    """A corridor 12 m x 3 m with a return line across its middle; home is the first thing met.

    When the battery tells it to go home the machine is anywhere in a half of a x b = 6 m x 3 m, in
    any direction. It is still out after s where the place s ahead lies in the same half: for a
    direction at an angle t that is (a - s |cos t|)(b - s |sin t|) of the a b places. The mean over
    t, with |cos| and |sin| of mean 2/pi and their product of mean 1/pi, is

        P(out after s) = 1 - 2 s (a + b) / (pi a b) + s^2 / (pi a b),   s <= min(a, b).
    """
    a, b = 6.0, 3.0
    corridor = box(0, 0, 2 * a, b)
    ways, pace, points = arrays(
        world(corridor, [(a, 0), (a, b)], station=(a, 0)), lines_first_min=0.0
    )
    done = run_all(ways, pace, np.ones(1), np.full(300, 4000.0), points, seed=(31,), runs=40)
    # One journey a day, after more than a kilometre: it has forgotten where it set out.
    assert len(done.ends) == 300 * 40
    met_m = done.searches_s * pace.speed_m_s

    def still_out(s):
        return 1 - 2 * s * (a + b) / (math.pi * a * b) + s**2 / (math.pi * a * b)

    beyond = (met_m > b).mean()
    assert abs(beyond - still_out(b)) < Z * math.sqrt(
        still_out(b) * (1 - still_out(b)) / len(met_m)
    )
    # Of those within b: Kolmogorov's test against the same law.
    within = met_m[met_m <= b]
    law = scipy.stats.kstest(within, lambda s: (1 - still_out(s)) / (1 - still_out(b)))
    assert law.pvalue > 1e-5
    # Then along what it met: the line is met evenly, so from 0 to b with mean b/2.
    by_line = done.ends == 1
    along = (done.homes_s - done.searches_s)[by_line] * pace.speed_m_s
    assert scipy.stats.kstest(along, scipy.stats.uniform(0, b).cdf).pvalue > 1e-5
    # The perimeter too, evenly from 0 to once round.
    round_m = (done.homes_s - done.searches_s)[done.ends == 2] * pace.speed_m_s
    assert scipy.stats.kstest(round_m, scipy.stats.uniform(0, corridor.length).cdf).pvalue > 1e-5
    # Two sides of the line of length b, and the rim: met as the lengths are.
    share = 2 * b / (2 * b + corridor.length)
    assert abs(by_line.mean() - share) < Z * math.sqrt(share * (1 - share) / len(by_line))
