"""Firm obstacles: those that the machine turns from, and those that the wire has to go round."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from lawnplat.ground.setbacks import setback_of
from lawnplat.settings.types import RuleBook, Treatment
from lawnplat.survey.types import Feature


@dataclass(frozen=True)
class FirmSplit:
    """Firm obstacles inside the ground with no wire, and those that the wire must pass."""

    inside: tuple[Feature, ...]
    wired: tuple[Feature, ...]


def split_firm(ground: BaseGeometry, features: tuple[Feature, ...], rules: RuleBook) -> FirmSplit:
    """Split the firm features of a site by where the wire would run.

    A firm obstacle that stands free inside ``ground``, further from its rim than its own setback,
    needs no wire. One that the rim would touch or nearly touch is wired like any other obstacle.
    """
    firm = [
        feature for feature in features if rules.kinds[feature.kind].treatment is Treatment.FIRM
    ]
    if not firm or ground.is_empty:
        return FirmSplit((), ())
    bodies = np.array([feature.geometry for feature in firm], dtype=object)
    reach = np.array([setback_of(feature, rules) for feature in firm])
    free = shapely.covers(ground, bodies) & (
        shapely.distance(shapely.boundary(ground), bodies) >= reach
    )
    touched = shapely.distance(ground, bodies) <= reach
    inside = tuple(feature for feature, is_free in zip(firm, free, strict=True) if is_free)
    wired = tuple(
        feature
        for feature, is_free, is_near in zip(firm, free, touched, strict=True)
        if is_near and not is_free
    )
    return FirmSplit(inside, wired)
