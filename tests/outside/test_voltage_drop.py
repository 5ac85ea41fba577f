"""Voltage drop against published figures."""

from __future__ import annotations

from dataclasses import replace

import pytest

from lawnplat.settings.load import load_rule_book
from lawnplat.settings.types import CableRules
from lawnplat.works.voltage_drop import (
    OHM_PER_KM,
    resistance_ohm_per_m,
    smallest_size,
    voltage_drop_v,
)

RULES = load_rule_book().cable


def test_resistances_are_those_of_iec_60228() -> None:
    # IEC 60228, class 5-6, plain copper at 20 C, as several open tables give it: ohm/km.
    published = {0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98}
    assert dict(OHM_PER_KM) == published
    at_20_c = replace(RULES, conductor_c=20.0)
    for size, ohm_km in published.items():
        assert resistance_ohm_per_m(size, at_20_c) == pytest.approx(ohm_km / 1000, rel=1e-12)


def test_resistances_are_near_those_of_copper() -> None:
    # Annealed copper has 0.017241 ohm mm2/m at 20 C (IEC 60028, from memory). A nominal section is
    # a label: the standard's largest resistance lies up to 17 % over rho / A, never under it.
    for size, ohm_km in OHM_PER_KM.items():
        assert 1.0 < ohm_km / (1000 * 0.017241 / size) < 1.17


def test_a_published_drop() -> None:
    # Seen: 100 ft of AWG 16 at 4.99 ohm/1000 ft and 4 A lose 3.992 V, 16.7 % of 24 V; given to
    # three and to one decimal.
    drop_v = voltage_drop_v(100, 4.99 / 1000, 4)
    assert drop_v == pytest.approx(3.992, abs=0.0005)
    assert 100 * drop_v / 24 == pytest.approx(16.7, abs=0.07)


def test_a_warm_conductor() -> None:
    # Open tables correct by 0.926 at 40 C, which implies 0.004 a kelvin; given to three decimals.
    warm = resistance_ohm_per_m(1.0, replace(RULES, conductor_c=40.0))
    cool = resistance_ohm_per_m(1.0, replace(RULES, conductor_c=20.0))
    assert cool / warm == pytest.approx(0.926, abs=0.0005)
    # The National Bureau of Standards' 0.00393 gives 1.0786.
    nbs = CableRules(conductor_c=40.0, resistance_rise_per_k=0.00393)
    assert resistance_ohm_per_m(1.0, nbs) / cool == pytest.approx(1.0786, abs=0.00005)


@pytest.mark.parametrize(
    # By hand at 40 C (x 1.08), 2.5 A, 1.2 V: 2 x 10 x 0.026 x 1.08 x 2.5 = 1.404 V is too much,
    # 0.0195 gives 1.053 V; 15 m take 0.0133: 1.0773 V; 60 m lose 2.5855 V even in 2.5 mm2.
    ("length_m", "size", "drop_v"),
    [(10, 1.0, 1.053), (15, 1.5, 1.0773), (60, 2.5, 2.58552), (1, 0.5, 0.2106)],
)
def test_the_smallest_size_that_keeps_the_limit(length_m, size, drop_v) -> None:
    rules = CableRules(conductor_c=40.0, resistance_rise_per_k=0.004)
    found = smallest_size(length_m, 2.5, 1.2, rules)
    assert found == (size, pytest.approx(drop_v, rel=1e-9))
