"""How fast the grass grows, month by month, and how often it has to be cut for it."""

from __future__ import annotations

from math import exp

from lawnplat.settings.types import Climate, ProgrammeRules, Season

_DAYS_A_WEEK = 7


def growth_potential(
    mean_c: float, optimum_c: float, spread_c: float, *, held_above: bool = False
) -> float:
    """Return growth as a share of that at the best temperature, 0 to 1.

    ``exp(-0.5 * ((mean - optimum) / spread)**2)`` (Gelernter & Stowell, PACE Turf).

    Parameters
    ----------
    mean_c, optimum_c, spread_c : float
        Mean air temperature, the grass's optimum and the width of the curve, degrees Celsius.
    held_above : bool
        Whether heat over the optimum takes nothing off (the revised form for warm-season grass).

    Examples
    --------
    >>> round(growth_potential(10.0, 20.0, 5.5), 4)
    0.1915
    """
    if held_above and mean_c >= optimum_c:
        return 1.0
    return exp(-0.5 * ((mean_c - optimum_c) / spread_c) ** 2)


def monthly_growth(climate: Climate, rules: ProgrammeRules) -> tuple[float, ...]:
    """Return the growth potential of the twelve months, January first."""
    warm = rules.season is Season.WARM
    optimum_c = rules.warm_optimum_c if warm else rules.cool_optimum_c
    spread_c = rules.warm_spread_c if warm else rules.cool_spread_c
    return tuple(
        growth_potential(mean, optimum_c, spread_c, held_above=warm) for mean in climate.mean_c
    )


def growth_between_cuts_mm(height_mm: float, largest_cut_share: float) -> float:
    """Return how much the grass may grow over its cutting height before the next cut.

    A leaf of ``height / (1 - share)`` loses just the share when it is cut to the height: to keep
    3 inches, mow at 4.5 (Cornell Gardening).

    Examples
    --------
    >>> growth_between_cuts_mm(50.0, 0.5)
    50.0
    """
    return height_mm * largest_cut_share / (1.0 - largest_cut_share)


def cuts_a_week(growth: float, height_mm: float, rules: ProgrammeRules) -> float:
    """Return the cuts of the whole lawn that a week of this growth asks for, 0 for none.

    Parameters
    ----------
    growth : float
        Growth potential, 0 to 1.
    height_mm : float
        Cutting height.
    rules : ProgrammeRules
    """
    if growth < rules.least_growth:
        return 0.0
    grown_mm = _DAYS_A_WEEK * growth * rules.full_growth_mm_day
    asked = grown_mm / growth_between_cuts_mm(height_mm, rules.largest_cut_share)
    return max(asked, rules.least_cuts_week)
