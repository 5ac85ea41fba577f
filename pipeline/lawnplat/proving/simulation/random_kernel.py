"""Random numbers that are the same on every machine and thread: splitmix64, written out.

Steele, Lea & Flood, Fast splittable pseudorandom number generators, OOPSLA 2014; the constants are
those of the public-domain C by S. Vigna. A stream is one 64-bit word of state, held in an array
of length 1.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

State = NDArray[np.uint64]

_GAMMA = np.uint64(0x9E3779B97F4A7C15)
_FIRST = np.uint64(0xBF58476D1CE4E5B9)
_SECOND = np.uint64(0x94D049BB133111EB)
_UNIT = 2.0**-53


@njit(cache=True, nogil=True)
def next_word(state: State) -> np.uint64:
    """Return the next 64 random bits; ``state`` moves on."""
    state[0] += _GAMMA
    word = state[0]
    word = (word ^ (word >> np.uint64(30))) * _FIRST
    word = (word ^ (word >> np.uint64(27))) * _SECOND
    word ^= word >> np.uint64(31)
    return np.uint64(word)


@njit(cache=True, nogil=True)
def next_unit(state: State) -> float:
    """Return the next number in [0, 1), all 53 bits random."""
    return np.float64(next_word(state) >> np.uint64(11)) * _UNIT


def stream(seed: int, *path: int) -> State:
    """Return the state of the stream that a seed and a path of numbers (run, purpose) name.

    Each number is mixed in before the next, so that neighbouring numbers give unlike streams.
    """
    state = np.zeros(1, dtype=np.uint64)
    for number in (seed, *path):
        state[0] = state[0] ^ np.uint64(number)
        state[0] = next_word(state)
    return state
