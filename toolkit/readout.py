"""What a run's points tell: the signals of a Trace, and its events in order of time."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from toolkit.devices.latch import Latch
from toolkit.devices.line import Load
from toolkit.devices.regulator import Regulator
from toolkit.devices.relief_valve import ReliefValve
from toolkit.devices.slam_shut import SlamShut
from toolkit.gas import standard_density
from toolkit.network import TOTALS, Network
from toolkit.scenario import Device
from toolkit.trace import Event, Trace

if TYPE_CHECKING:
    from toolkit.simulation import Point

# A disk counts as off its seat from this lift on [m], a relief as off its pad from this one: a slow weep counts. A
# relief valve counts as open from this share of its lift on, as fully open from that one; a slam-shut as shut below it.
OFF_THE_SEAT, OFF_THE_PAD = 1e-6, 2e-7
OFF_ITS_SEAT, FULLY_LIFTED, ALMOST_SHUT = 5e-3, 0.98, 1e-3


def trace_of(
    net: Network, points: Sequence[Point], latches: Sequence[Mapping[str, Latch]], happened: Sequence[Event]
) -> Trace:
    """The Trace of a run's points, with the latches under which each was reached and what tripped on the way."""
    scenario, station = net.scenario, net.scenario.station
    pa, per_kilogram = station.atmosphere, 1.0 / standard_density(station.gas)
    signals = {}
    for room in (*(v.name for v in station.volumes), *(line.name for line in station.sensing_lines)):
        place = net.places[room]
        signals[f"{room}_gauge_pressure"] = np.array([p.shown[0][place] for p in points]) - pa
    shows = [(device.name, device.SHOWS) for device in station.devices]
    shows += [(f"{room}_leak", ("mass_flow",)) for room in scenario.leaking()]
    for number, (name, columns) in enumerate(shows, start=1):
        shown = np.array([p.shown[number] for p in points])
        for column, signal in enumerate(columns):
            values = shown[:, column]
            if signal.endswith("mass_flow"):
                signals[f"{name}_{signal.replace('mass_flow', 'flow')}"] = values * per_kilogram
            elif signal.endswith("absolute_pressure"):
                signals[f"{name}_{signal.replace('absolute', 'gauge')}"] = values - pa
            else:
                signals[f"{name}_{signal}"] = values.copy()
    first, last = points[0].state, points[-1].state
    totals = {total: last[net.places[total]] for total in TOTALS}
    totals["stored"] = sum((last[i] - first[i]) / net.per_mass[i] for i in range(net.gas))
    times = np.array([p.time for p in points])
    events = sorted((*_planned(net), *happened, *_crossed(net, points, latches)), key=lambda event: event.time)
    return Trace(scenario, times, signals, tuple(events), totals, len(points) - 1)


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


def _crossed(net: Network, points: Sequence[Point], latches: Sequence[Mapping[str, Latch]]) -> Iterator[Event]:
    """The crossings in the run, located."""
    for number, device in enumerate(net.scenario.station.devices, start=1):
        for level, tell in _levels(net, number, device):
            below = level(points[0]) <= 0.0
            for (a, b), under in zip(pairwise(points), latches[1:], strict=True):
                if (level(b) <= 0.0) == below:
                    continue
                below = not below
                crossed = tell(_locate(net, a, b, under, level), not below)
                if crossed:
                    yield crossed


def _levels(
    net: Network, number: int, device: Device
) -> list[tuple[Callable[[Point], float], Callable[[Point, bool], Event | None]]]:
    """What to watch on a device: a level, and the event to tell where it passes zero, upwards or not."""
    pa, name = net.scenario.station.atmosphere, device.name

    def shown(column: int, less: float) -> Callable[[Point], float]:
        return lambda p: p.shown[number][column] - less

    def tell(up: str, down: str, place: int | None = None) -> Callable[[Point, bool], Event | None]:
        def event(p: Point, rising: bool) -> Event | None:
            kind = up if rising else down
            return Event(p.time, kind, name, 0.0 if place is None else p.shown[0][place] - pa) if kind else None

        return event

    if isinstance(device, Regulator):
        sensed = net.places[device.ends()["senses"]]
        second = ("second_seat_acts", "second_seat_rests") if device.second_seat else ("relief_opens", "relief_shuts")
        return [
            (shown(0, OFF_THE_SEAT), tell("seat_opens", "seat_shuts")),
            (shown(0, device.travel * 0.9999), tell("wide_open", "")),
            (shown(1, OFF_THE_PAD), tell(*second, sensed)),
        ]
    if isinstance(device, ReliefValve):
        place = net.places[device.at]
        return [
            (shown(0, OFF_ITS_SEAT), tell("valve_opens", "valve_reseats", place)),
            (shown(0, FULLY_LIFTED), tell("valve_full", "", place)),
        ]
    if isinstance(device, SlamShut):
        return [(shown(0, ALMOST_SHUT), tell("valve_begins_to_open", "valve_shut"))]
    if isinstance(device, Load):
        place, limit = net.places[device.at], device.maximum_gauge_pressure

        def rating(p: Point, rising: bool) -> Event:
            return Event(p.time, "above_rating" if rising else "below_rating", name, limit)

        return [(lambda p: p.shown[0][place] - pa - limit, rating)]
    return []


def _locate(net: Network, a: Point, b: Point, latches: Mapping[str, Latch], level: Callable[[Point], float]) -> Point:
    """The crossing, on the straight line between two states: what that misses is within the error of a step."""
    up, start, end = level(b) > 0.0, a, b
    for _ in range(60):
        if b.time - a.time <= 1e-4 * max(1.0, b.time):
            break
        t = 0.5 * (a.time + b.time)
        share = (t - start.time) / (end.time - start.time)
        state = [u + (v - u) * share for u, v in zip(start.state, end.state, strict=True)]
        rates, shown = net.right_side(net.scenario.conditions(t, latches)).rates(state)
        middle = type(a)(t, state, rates, shown)
        if (level(middle) > 0.0) == up:
            b = middle
        else:
            a = middle
    return b
