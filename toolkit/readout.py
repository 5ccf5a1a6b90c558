"""What a run's points tell: the signals of a Trace, and its events in order of time."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from toolkit.compiled import Floats
from toolkit.devices.line import Load
from toolkit.devices.regulator import Regulator
from toolkit.devices.relief_valve import ReliefValve
from toolkit.devices.slam_shut import SlamShut
from toolkit.gas import standard_density
from toolkit.hunting import Hunting
from toolkit.network import TOTALS, Network
from toolkit.scenario import Device
from toolkit.stretch import locate
from toolkit.trace import Event, Signal, Trace

# A disk counts as off its seat from this lift on [m], a relief as off its pad from this one: a slow weep counts. A
# relief valve counts as open from this share of its lift on, as fully open from that one; a slam-shut as shut below it.
OFF_THE_SEAT, OFF_THE_PAD = 1e-6, 2e-7
OFF_ITS_SEAT, FULLY_LIFTED, ALMOST_SHUT = 5e-3, 0.98, 1e-3


@dataclass(frozen=True)
class Stretch:
    """The points of a run between two moments, `start` and `end` [s] if nothing tripped before.

    `rows` is (n, 1 + 2 size + width): time, state, rates and what is shown. `numbers` are the conditions' at start and
    end; between the two they go in a straight line.
    """

    rows: Signal
    size: int
    start: float
    end: float
    numbers: tuple[Floats, Floats]
    hunting: Hunting | None

    @property
    def times(self) -> Signal:
        """(n,) [s]."""
        return self.rows[:, 0]

    @property
    def states(self) -> Signal:
        """(n, size)."""
        return self.rows[:, 1 : 1 + self.size]

    @property
    def shown(self) -> Signal:
        """(n, width)."""
        return self.rows[:, 1 + 2 * self.size :]


def trace_of(net: Network, stretches: Sequence[Stretch], happened: Sequence[Event]) -> Trace:
    """The Trace of a run's stretches and of what tripped on the way."""
    scenario, station = net.scenario, net.scenario.station
    pa, per_kilogram = station.atmosphere, 1.0 / standard_density(station.gas)
    # a stretch begins where the one before has ended, and that point is told once
    rows = np.concatenate([stretches[0].rows, *(one.rows[1:] for one in stretches[1:])])
    shown = rows[:, 1 + 2 * net.size :]
    signals = {}
    for room in (*(v.name for v in station.volumes), *(line.name for line in station.sensing_lines)):
        signals[f"{room}_gauge_pressure"] = shown[:, net.places[room]] - pa
    shows = [(device.name, device.SHOWS) for device in station.devices]
    shows += [(f"{room}_leak", ("mass_flow",)) for room in scenario.leaking()]
    for begins, (name, columns) in zip(net.shown_at, shows, strict=False):
        for column, signal in enumerate(columns, start=begins):
            values = shown[:, column]
            if signal.endswith("mass_flow"):
                signals[f"{name}_{signal.replace('mass_flow', 'flow')}"] = values * per_kilogram
            elif signal.endswith("absolute_pressure"):
                signals[f"{name}_{signal.replace('absolute', 'gauge')}"] = values - pa
            else:
                signals[f"{name}_{signal}"] = values.copy()
    first, last = rows[0, 1:].tolist(), rows[-1, 1:].tolist()
    totals = {total: last[net.places[total]] for total in TOTALS}
    totals["stored"] = sum((last[i] - first[i]) / net.per_mass[i] for i in range(net.gas))
    events = sorted((*_planned(net), *happened, *_crossed(net, stretches, shown)), key=lambda event: event.time)
    return Trace(scenario, rows[:, 0].copy(), signals, tuple(events), totals, len(rows) - 1)


def _planned(net: Network) -> Iterator[Event]:
    """The scenario's own changes."""
    scenario = net.scenario
    for d in scenario.demands:
        if 0 < d.time < scenario.duration:
            yield Event(d.time, "demand_changes", d.load, d.share)
    for fault in scenario.faults:
        for name, time in zip(("fault_begins", "fault_complete"), fault.moments(), strict=True):
            if 0 <= time <= scenario.duration:
                yield Event(time, name, type(fault).__name__)
    for action in scenario.actions:
        if action.time <= scenario.duration:
            yield Event(action.time, "action", type(action).__name__)


class Level(NamedTuple):
    """What to watch: a column of what is shown, the value it passes, and the kinds of event to tell there.

    Where `up` or `down` is empty, passing that way is not told. The event's value is the gauge pressure in a `place` of
    the state, or the number given.
    """

    subject: str
    column: int
    value: float
    up: str
    down: str
    place: int | None = None
    number: float = 0.0


def _crossed(net: Network, stretches: Sequence[Stretch], shown: Signal) -> Iterator[Event]:
    """The crossings in the run, located."""
    levels = _levels(net)
    above = shown[:, [level.column for level in levels]] > np.array([level.value for level in levels])
    turned = above[1:] != above[:-1]
    if not turned.any():
        return
    lengths = [len(one.times) - 1 for one in stretches]
    begins = np.cumsum([0, *lengths])
    pa, find = net.scenario.station.atmosphere, _finder(net)
    for row, number in np.argwhere(turned):
        level, rising = levels[number], bool(above[row + 1, number])
        if kind := level.up if rising else level.down:
            which = int(np.searchsorted(begins, row, side="right")) - 1
            point = find(stretches[which], int(row - begins[which]), level)
            value = level.number if level.place is None else point[1 + 2 * net.size + level.place] - pa
            yield Event(point[0], kind, level.subject, value)


def _levels(net: Network) -> list[Level]:
    """All that is watched on the devices."""
    pa, found = net.scenario.station.atmosphere, []

    def watch(device: Device, column: int, value: float, up: str, down: str, *where: int) -> None:
        found.append(Level(device.name, column, value, up, down, *where))

    for at, device in zip(net.shown_at, net.scenario.station.devices, strict=False):
        if isinstance(device, Regulator):
            sensed = net.places[device.ends()["senses"]]
            second = (
                ("second_seat_acts", "second_seat_rests") if device.second_seat else ("relief_opens", "relief_shuts")
            )
            watch(device, at, OFF_THE_SEAT, "seat_opens", "seat_shuts")
            watch(device, at, device.travel * 0.9999, "wide_open", "")
            watch(device, at + 1, OFF_THE_PAD, *second, sensed)
        elif isinstance(device, ReliefValve):
            place = net.places[device.at]
            watch(device, at, OFF_ITS_SEAT, "valve_opens", "valve_reseats", place)
            watch(device, at, FULLY_LIFTED, "valve_full", "", place)
        elif isinstance(device, SlamShut):
            watch(device, at, ALMOST_SHUT, "valve_begins_to_open", "valve_shut")
        elif isinstance(device, Load):
            place, limit = net.places[device.at], device.maximum_gauge_pressure
            found.append(Level(device.name, place, pa + limit, "above_rating", "below_rating", number=limit))
    return found


def _finder(net: Network) -> Callable[[Stretch, int, Level], list[float]]:
    """What locates a crossing of a level after a row of a stretch: the point just beyond it."""
    machine, size = net.machine, net.size
    scratch = [machine.room(count) for count in (net.count, size, size, size, net.width)]

    def find(stretch: Stretch, row: int, level: Level) -> list[float]:
        way = (*stretch.numbers, stretch.start, stretch.end)
        a, b = (machine.floats(stretch.rows[at].tolist()) for at in (row, row + 1))
        machine.call(locate, net.plan, net.fixed, *way, a, b, level.column, level.value, *scratch)
        found: list[float] = b[:]
        return found

    return find
