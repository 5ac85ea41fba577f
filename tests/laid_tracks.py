"""Tracks of wires as laid, drawn from a plan with noise that is known and seeded."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.signal

from lawnplat.proving.chained import ChainedWire
from lawnplat.survey.track import TrackLine


@dataclass(frozen=True)
class Drawn:
    """A line as measured, and the chainage on the plan that each of its points truly has."""

    line: TrackLine
    true_m: np.ndarray


def drawn(wire: ChainedWire, sigma_m: float, step_m: float = 0.5, *, seed: int = 1,
          correlation: float = 0.0, left_m=None, name: str = "") -> Drawn:  # fmt: skip
    """Return points every ``step_m`` of a wire with normal noise in each axis.

    ``correlation`` is that of one point's noise with the next one's (autoregressive, of first
    order, its variance kept); ``left_m`` maps chainages to a displacement to the left.
    """
    at = np.arange(0.0, wire.length_m, step_m)
    noise = np.random.default_rng(seed).normal(0.0, 1.0, (len(at), 2))
    if correlation:
        noise[1:] *= np.sqrt(1 - correlation**2)
        noise = scipy.signal.lfilter([1.0], [1.0, -correlation], noise, axis=0)
    xy = wire.places(at) + sigma_m * noise
    if left_m is not None:
        xy += left_m(at)[:, None] * wire.lefts(at)
    return Drawn(line_of(xy, sigma_m, name), at)


def line_of(xy: np.ndarray, sigma_m: float, name: str = "", *, stroke: bool = False) -> TrackLine:
    return TrackLine(name, xy, np.full(len(xy), sigma_m), ("",) * len(xy), stroke, "a test")


def bulge(middle_m: float, by_m: float, half_m: float = 2.0):
    """Return a displacement of ``by_m`` round a chainage, that fades over a metre at both ends."""
    return lambda at: by_m * np.clip(half_m - np.abs(at - middle_m), 0.0, 1.0)
