"""The voltage that a low-voltage cable loses, and the conductor that keeps it within a limit."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from lawnplat.settings.types import CableRules

OHM_PER_KM: Mapping[float, float] = MappingProxyType(
    {0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98}
)
"""Largest resistance of flexible plain copper conductors (class 5) at 20 C by nominal cross-section
in mm2: IEC 60228, as several open tables give it."""

_TABLE_C = 20.0


def resistance_ohm_per_m(size_mm2: float, cable: CableRules) -> float:
    """Return the largest resistance of one conductor, ohm a metre, at the rule book's temperature.

    Examples
    --------
    >>> round(resistance_ohm_per_m(1.5, CableRules(40.0, 0.004)), 6)  # 0.0133 x 1.08
    0.014364
    """
    warmer_k = cable.conductor_c - _TABLE_C
    return OHM_PER_KM[size_mm2] / 1000 * (1 + cable.resistance_rise_per_k * warmer_k)


def voltage_drop_v(length_m: float, ohm_per_m: float, current_a: float) -> float:
    """Return the drop of a direct current there and back along a two-core cable, in volts.

    Ohm's law over twice the length. Feet and ohms a foot do as well as metres.

    Examples
    --------
    >>> round(voltage_drop_v(100, 4.99 / 1000, 4), 3)  # 100 ft of AWG 16
    3.992
    """
    return 2 * length_m * ohm_per_m * current_a


def smallest_size(
    length_m: float, current_a: float, largest_drop_v: float, cable: CableRules
) -> tuple[float, float]:
    """Return the smallest conductor in mm2 that keeps the drop, and its drop in volts.

    Where none does, the largest conductor and its drop, which is then over ``largest_drop_v``.
    """
    for size_mm2 in sorted(OHM_PER_KM):
        drop_v = voltage_drop_v(length_m, resistance_ohm_per_m(size_mm2, cable), current_a)
        if drop_v <= largest_drop_v:
            break
    return size_mm2, drop_v
