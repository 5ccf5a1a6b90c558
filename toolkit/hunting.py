"""Does a station hunt: swing to and fro without dying out?

Two ways to tell, since a long linearly implicit step damps what a short one would follow. From a run's own steps: the
turning points of the sensed pressures. From the slopes of the rates where it has settled: a pair of complex eigenvalues
that grow.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from math import pi
from typing import NamedTuple

import numpy as np

from toolkit.solver import Rows

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


@dataclass
class Swings:
    """Watches some places of the state; `see` is called once a step."""

    places: tuple[int, ...]
    _last: dict[int, tuple[float, float]] = field(default_factory=dict)
    _turns: dict[int, list[tuple[float, float]]] = field(default_factory=dict)

    def see(self, time: float, held: Sequence[float]) -> Hunting | None:
        """Take in a step's end [s]; the hunting, as soon as it is beyond doubt."""
        for place in self.places:
            value = held[place]
            before, rise = self._last.get(place, (value, 0.0))
            now = value - before
            turns = self._turns.setdefault(place, [])
            if now * rise < 0.0:
                turns.append((time, before))
                if len(turns) > HALF_SWINGS:
                    del turns[0]
                    sizes = [abs(b[1] - a[1]) for a, b in pairwise(turns)]
                    first, last = sum(sizes[:_ENDS]) / _ENDS, sum(sizes[-_ENDS:]) / _ENDS
                    if min(sizes) > LEAST and last > STILL * first:
                        return Hunting(time, place, 0.5 * (len(turns) - 1) / (turns[-1][0] - turns[0][0]))
            self._last[place] = (value, now or rise)
        return None

    def so_far(self) -> Hunting | None:
        """The place that has turned most often, if at all often: irregular swings count as hunting, too."""
        place = max(self._turns, key=lambda at: len(self._turns[at]), default=None)
        if place is None or len(turns := self._turns[place]) < SOME_TURNS:
            return None
        return Hunting(turns[-1][0], place, 0.5 * (len(turns) - 1) / (turns[-1][0] - turns[0][0]))
