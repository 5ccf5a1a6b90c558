"""How a device is fitted into a station: what it reads of the state, what it shows, and which flows it adds where."""

from __future__ import annotations

from typing import Any, NamedTuple

# The laws by which a device's values come from the state; what each reads and shows stands at its `..._values`.
SUPPLY, PIPE, OPENING, REGULATOR, RELIEF_VALVE, SLAM_SHUT, PRESSURE_SWITCH = range(7)
# So many places at most does a law read, so many values does it show, and so many ports has a device.
MOST_READ, MOST_VALUES, MOST_PORTS = 4, 6, 6


class Port(NamedTuple):
    """One of the values a device shows (by its number there), added with a sign to the rate of a place of the state."""

    shown: int
    place: int
    sign: float


class Fit(NamedTuple):
    """A device in its place: its law, the kind of its condition, the places of the state that the law is given, and how
    many values it shows.

    `ports` say what becomes of the flows among the values. Of the values the device's SHOWS come first; what comes
    after them is not told.
    """

    law: int
    condition: Any
    places: tuple[int, ...]
    values: int
    ports: tuple[Port, ...]
