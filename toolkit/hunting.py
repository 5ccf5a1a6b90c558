"""Does a station hunt: swing to and fro without dying out?

Two ways to tell, since a long linearly implicit step damps what a short one would follow. From a run's own steps: the
turning points of the sensed pressures. From the slopes of the rates where it has settled: a pair of complex eigenvalues
that grow.
"""

from __future__ import annotations

from math import pi
from typing import NamedTuple

import numpy as np

from toolkit.compiled import Floats, compiled

Rows = list[list[float]]

# So many half swings in a row, the last of them still this share of the first, and larger than this [Pa], is hunting.
HALF_SWINGS, STILL, LEAST = 24, 0.6, 5.0
_ENDS, SOME_TURNS = 6, 8
# Slower growth than this [1/s] is left to the rounding of the slopes; a mode that turns slower than this [1/s] drifts.
GROWS, TURNS = 0.05, 0.5
# Faster than this [Hz] no disk swings: its mass, which the model leaves out, would not let it.
FASTEST = 500.0


class Mode(NamedTuple):
    """How a small disturbance of a settled station goes on: its growth [1/s] and its frequency [Hz].

    Below 0 the growth is decay; a frequency of 0 does not swing.
    """

    growth: float
    frequency: float

    @property
    def hunts(self) -> bool:
        """Whether it swings and does not die out."""
        return self.growth > GROWS and self.frequency * 2.0 * pi > TURNS and self.frequency < FASTEST


def slowest_to_die(slopes: Rows, dynamic: int) -> Mode:
    """The swinging mode that grows fastest or dies last, from the slopes of the rates; without one, no frequency."""
    found = np.linalg.eigvals(np.array(slopes[:dynamic]))
    swinging = found[np.abs(found.imag) > TURNS]
    if not len(swinging):
        return Mode(float(found.real.max()), 0.0)
    worst = swinging[np.argmax(swinging.real)]
    return Mode(float(worst.real), float(abs(worst.imag)) / (2.0 * pi))


class Hunting(NamedTuple):
    """Since when [s] and where it hunts (place in the state), and how often a second [Hz]."""

    time: float
    place: int
    frequency: float


# What is kept of each watched pressure: whether it has been seen, its last value and rise, how often it has turned, and
# when and where.
_SEEN, _LAST, _RISE, _TURNS, _TIMES = range(5)
_VALUES = _TIMES + HALF_SWINGS
SWINGS = _VALUES + HALF_SWINGS


@compiled
def swings(kept: Floats, watched: int, time: float, value: float) -> float:
    """Take in a watched pressure [Pa] at a step's end [s]: its frequency [Hz] if it hunts beyond doubt, else 0.

    `kept` holds SWINGS numbers for each watched pressure, all 0 before the first.
    """
    at = watched * SWINGS
    if kept[at + _SEEN] == 0.0:
        kept[at + _SEEN] = 1.0
        kept[at + _LAST] = value
        return 0.0
    before, rise = kept[at + _LAST], kept[at + _RISE]
    now = value - before
    found = 0.0
    if now * rise < 0.0:
        turns = int(kept[at + _TURNS])
        full = turns == HALF_SWINGS
        if full:
            turns -= 1
            for i in range(turns):
                kept[at + _TIMES + i] = kept[at + _TIMES + i + 1]
                kept[at + _VALUES + i] = kept[at + _VALUES + i + 1]
        kept[at + _TIMES + turns] = time
        kept[at + _VALUES + turns] = before
        turns += 1
        kept[at + _TURNS] = turns
        if full:
            found = _frequency(kept, at, turns)
    kept[at + _LAST] = value
    if now != 0.0:
        kept[at + _RISE] = now
    return found


@compiled
def _frequency(kept: Floats, at: int, turns: int) -> float:
    """The frequency of so many turns in a row if they are large enough and do not die out, else 0."""
    first, last, least = 0.0, 0.0, LEAST + 1.0
    for i in range(turns - 1):
        size = abs(kept[at + _VALUES + i + 1] - kept[at + _VALUES + i])
        least = min(least, size)
        if i < _ENDS:
            first += size / _ENDS
        if i >= turns - 1 - _ENDS:
            last += size / _ENDS
    if least <= LEAST or last <= STILL * first:
        return 0.0
    frequency: float = 0.5 * (turns - 1) / (kept[at + _TIMES + turns - 1] - kept[at + _TIMES])
    return frequency


@compiled
def most_turned(kept: Floats, watched: int) -> int:
    """Which of so many watched pressures has turned most often, -1 if none has turned at all often.

    Irregular swings count as hunting, too.
    """
    best, most = -1, SOME_TURNS - 1
    for i in range(watched):
        if kept[i * SWINGS + _TURNS] > most:
            best, most = i, int(kept[i * SWINGS + _TURNS])
    return best


@compiled
def swings_so_far(kept: Floats, watched: int) -> float:
    """How often a second [Hz] a watched pressure has swung as far as its turns are kept."""
    at, turns = watched * SWINGS, int(kept[watched * SWINGS + _TURNS])
    frequency: float = 0.5 * (turns - 1) / (kept[at + _TIMES + turns - 1] - kept[at + _TIMES])
    return frequency
