"""How a device is fitted into a station: what it reads of the state, what it shows, and which flows it adds where."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

Nozzle = Callable[[float, float, float], float]
Run = Callable[[Sequence[float]], tuple[float, ...]]


class Port(NamedTuple):
    """One of the values a device shows (by its number there), added with a sign to the rate of a place of the state."""

    shown: int
    place: int
    sign: float


class Fit(NamedTuple):
    """A device in its place.

    `prepare` makes, for a condition, the function of the state that returns the values of the device's SHOWS (and
    after them more that is not told); `reads` are the places of the state that this function looks at; `ports` say what
    becomes of the flows among the values.
    """

    prepare: Callable[[Any], Run]
    reads: tuple[int, ...]
    ports: tuple[Port, ...]
