"""simulate(scenario) -> Trace: the only time loop.

The state is the gas in each volume, as the absolute pressure it would have at the station's temperature, and the gas in
each regulator's case (q = pv V at that temperature, Pa m3), followed by running totals of mass in and out that nothing
depends on. The equations are stiff (rates from milliseconds to minutes, an exact standstill at lock-up), so the step is
linearly implicit (toolkit/solver.py). Steps end exactly where a fault or a demand starts or stops changing. Because the
totals are carried by the same formula, mass balances to rounding.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise
from operator import mul
from typing import Any, NamedTuple

import numpy as np

from toolkit.devices.line import Load, Supply, load_flows, supply_flows
from toolkit.devices.regulator import SIGNALS, Regulator, flows
from toolkit.errors import SimulationError
from toolkit.flow import nozzle
from toolkit.gas import standard_density
from toolkit.scenario import Condition, Scenario, Station
from toolkit.solver import RightSide, Shown, State, jacobian_of, step
from toolkit.trace import Event, Trace

# Error allowed in a step: this part of the gauge pressure plus this many pascals. The estimate is that of the
# first-order solution inside; the second-order one that is kept is far nearer (tests/test_stiff.py).
RELATIVE_TOLERANCE, ABSOLUTE_TOLERANCE = 8e-3, 2.0
# Twice what the longest of 2 000 random runs took; a station that hunts would use up any number.
STEP_BUDGET = 8_000
FIRST_STEP, SMALLEST_STEP = 0.2, 1e-10
# The start is found by letting the station stand this long [s] with volumes this many times as large: then no volume
# fills faster than its case breathes, and nothing overshoots and stays there. Only where it comes to rest counts, so
# the way there may be rough.
SETTLING_TIME, SETTLING_VOLUMES, SETTLING_TOLERANCE = 1e6, 30.0, 12.0
# A disk counts as off its seat from this lift on [m], a relief as off its pad from this one: a slow weep counts.
OFF_THE_SEAT, OFF_THE_PAD = 1e-6, 2e-7

Run = Callable[[State, list[float]], tuple[float, ...]]


@dataclass(frozen=True)
class Network:
    """A station laid out for the integrator: who stands where in the state, and the function of each device."""

    scenario: Scenario
    places: dict[str, int]
    prepares: tuple[Callable[[Any], Run], ...]
    scales: tuple[float, ...]
    floors: tuple[float, ...]
    per_mass: tuple[float, ...]
    dynamic: int

    @property
    def size(self) -> int:
        """Length of the whole state, totals included."""
        return len(self.per_mass)

    def right_side(self, conditions: Sequence[Condition]) -> RightSide:
        """For given conditions: the rates of change of a state, and the pressures and what each device shows there."""
        return self._right_side(self._runs(conditions), self._warmth(conditions))

    def stretch(self, before: Sequence[Condition], after: Sequence[Condition]) -> Callable[[float], RightSide]:
        """The right side at a share (0 to 1) of the way from one moment's conditions to the next's.

        Between two moments every number of a condition goes in a straight line. Only what moves is prepared anew.
        """
        runs, devices = self._runs(before), len(self.prepares)
        pairs = list(zip(before, after, strict=True))
        moving = [(i, a, b) for i, (a, b) in enumerate(pairs[:devices]) if a != b]
        warming = any(a != b for a, b in pairs[devices:])
        if not moving and not warming:
            still = self._right_side(runs, self._warmth(before))
            return lambda _share: still

        def at(share: float) -> RightSide:
            now = runs.copy()
            for i, a, b in moving:
                now[i] = self.prepares[i](between(a, b, share))
            rooms = [between(a, b, share) for a, b in pairs[devices:]] if warming else before[devices:]
            return self._right_side(now, [room.warmth for room in rooms])  # type: ignore[union-attr]

        return at

    def _runs(self, conditions: Sequence[Condition]) -> list[Run]:
        return [prepare(c) for prepare, c in zip(self.prepares, conditions, strict=False)]

    def _warmth(self, conditions: Sequence[Condition]) -> list[float]:
        return [room.warmth for room in conditions[len(self.prepares) :]]  # type: ignore[union-attr]

    def _right_side(self, runs: Sequence[Run], warmth: Sequence[float]) -> RightSide:
        warm = any(w != 1.0 for w in warmth)
        per_mass, nothing = self.per_mass, [0.0] * len(self.per_mass)

        def right_side(state: State) -> tuple[list[float], Shown]:
            net = nothing.copy()
            held = list(map(mul, state, warmth)) if warm else state
            shown = [run(held, net) for run in runs]
            return list(map(mul, net, per_mass)), (held, *shown)

        return right_side


def network(scenario: Scenario) -> Network:
    """Lay a scenario's station out for the integrator."""
    station = scenario.station
    places: dict[str, int] = {volume.name: i for i, volume in enumerate(station.volumes)}
    for regulator in station.regulators:
        places[f"{regulator.name}_case"] = len(places)
    dynamic = len(places)
    for total in ("supplied", "delivered", "vented"):
        places[total] = len(places)
    rt, pa = station.rt, station.atmosphere
    law = nozzle(station.gas.heat_ratio, rt)
    prepares: list[Callable[[Any], Run]] = []
    for device in station.devices:
        if isinstance(device, Supply):
            prepares.append(supply_flows(law, pa, places[device.into], places["supplied"]))
        elif isinstance(device, Load):
            prepares.append(load_flows(law, pa, places[device.at], places["delivered"]))
        else:
            ends = (device.inlet, device.outlet, device.senses or device.outlet, f"{device.name}_case", "vented")
            prepares.append(flows(law, pa, *(places[end] for end in ends)))
    volumes = [volume.size for volume in station.volumes]
    cases = [regulator.case_volume for regulator in station.regulators]
    return Network(
        scenario,
        places,
        tuple(prepares),
        scales=(*[1.0] * len(volumes), *cases),
        floors=(
            *[ABSOLUTE_TOLERANCE] * len(volumes),
            *[ABSOLUTE_TOLERANCE + RELATIVE_TOLERANCE * r.set_gauge_pressure for r in station.regulators],
        ),
        per_mass=(*[rt / v for v in volumes], *[rt] * len(cases), 1.0, 1.0, 1.0),
        dynamic=dynamic,
    )


def simulate(scenario: Scenario) -> Trace:
    """Run a scenario from its settled start.

    Raises SimulationError where a run cannot be finished; nothing of it is returned. A scenario that cannot be built
    raises ScenarioError before it gets here.

    >>> from toolkit.scenario import Demand, Scenario
    >>> from toolkit.units import IN_WC
    >>> trace = simulate(Scenario(demands=(Demand(0, 1.0), Demand(60, 0.0)), duration=300))
    >>> round(trace.settled("outlet_gauge_pressure") / IN_WC, 2)
    7.81
    """
    net = network(scenario)
    moments = scenario.moments()
    conditions = scenario.conditions(0.0)
    state: State = [*settled_state(scenario.station, conditions), *[0.0] * (net.size - net.dynamic)]
    points: list[Point] = []
    for start, end in pairwise(moments):
        then = scenario.conditions(end)
        steps = list(integrate(net, state, start, end, conditions, then))
        points.extend(steps if not points else steps[1:])
        state, conditions = points[-1].state, then
    return _trace(net, points)


class Point(NamedTuple):
    """The station at the end of a step: time [s], state, its rates, and what each device shows."""

    time: float
    state: State
    rates: list[float]
    shown: Shown


def integrate(
    net: Network,
    state: State,
    start: float,
    end: float,
    before: Sequence[Condition],
    after: Sequence[Condition],
    tolerance: float = 1.0,
) -> Iterator[Point]:
    """The points of a run from `start` to `end` [s] while the conditions go in a straight line from one to the other.

    The first point is the start itself; `tolerance` multiplies the error allowed. Raises SimulationError when
    the step budget is used up or no step is small enough.
    """
    n, long = net.dynamic, end - start
    under = net.stretch(before, after)
    moves = list(before) != list(after)
    # per place: atmosphere and smallest error allowed, in the place's own unit
    rests = [(net.scenario.station.atmosphere * s, f * s) for s, f in zip(net.scales, net.floors, strict=True)]

    t, y, h, previous = start, state, min(FIRST_STEP, long), state
    here = under(0.0)
    f, shown = here(y)
    yield Point(t, y, f, shown)
    drift = [0.0] * len(y)
    for _ in range(STEP_BUDGET):
        jacobian = jacobian_of(here, y, f, n)
        if moves:
            share = (t - start) / long
            nudge = 1e-4 if share < 0.5 else -1e-4
            drift = [(b - a) / (nudge * long) for a, b in zip(f, under(share + nudge)(y)[0], strict=True)]
        while True:
            last = t + h >= end - 1e-12 * max(1.0, abs(end))
            later = end if last else t + h
            h = later - t
            there = under((later - start) / long) if moves else here
            new, error = step(there, y, f, jacobian, drift, h, n)
            worst, at = 1e3, 0
            if min(new[:n]) > 0.0:
                worst = 0.0
                for i, (a, b, e, (rest, floor)) in enumerate(zip(y, new, error, rests, strict=False)):
                    allowed = floor + RELATIVE_TOLERANCE * max(abs(a - rest), abs(b - rest))
                    if (share := abs(e) / allowed) > worst:
                        worst, at = share, i
                worst /= tolerance
            if worst <= 1.0:
                break
            h *= max(0.1, 0.85 * worst**-0.5)
            if h < SMALLEST_STEP:
                raise SimulationError(
                    f"The run stopped at {t:.6g} s: no step is small enough there. Ramp the change over more time."
                )
        # Where a disk comes to its stop between the stages, the second can take back all that the first went ahead: the
        # step is within its error and gets nowhere, and so on for ever. The first-order solution is as near and moves.
        ahead = new[at] - error[at] - y[at]
        if (new[at] - y[at]) * ahead < 0.25 * ahead * ahead:
            new = [a - e for a, e in zip(new, error, strict=True)]
        # Nor may it swing about that stop from step to step: what really swings does so over many steps.
        swings = worst > 0.01 and (new[at] - y[at]) * (y[at] - previous[at]) < 0.0
        t, y, here, previous = later, new, there, y
        f, shown = here(y)
        yield Point(t, y, f, shown)
        if last:
            return
        h *= 0.5 if swings else min(6.0, 0.85 * max(worst, 1e-6) ** -0.5)
    raise SimulationError(
        f"The run used up its {STEP_BUDGET} steps at {t:.6g} s: the station hunts there. "
        "Give the smallest volume more room, lower the supply pressure, or set the regulators further apart."
    )


def between(before: Condition, after: Condition, share: float) -> Condition:
    """A condition a share of the way from one moment to the next, every number in a straight line."""
    return type(before)._make([a + (b - a) * share for a, b in zip(before, after, strict=True)])


def start_guess(net: Network) -> State:
    """Everything up to a regulator at its inlet's supply, everything after it at its set point, cases at atmosphere."""
    station = net.scenario.station
    state = [station.atmosphere + station.supply.gauge_pressure] * net.dynamic + [0.0] * 3
    for regulator in station.regulators:
        state[net.places[regulator.outlet]] = station.atmosphere + regulator.set_gauge_pressure
        state[net.places[f"{regulator.name}_case"]] = station.atmosphere * regulator.case_volume
    return state


def settling(net: Network) -> Network:
    """The network with its volumes enlarged, for finding the start."""
    volumes = len(net.scenario.station.volumes)
    return replace(net, per_mass=tuple(m / SETTLING_VOLUMES if i < volumes else m for i, m in enumerate(net.per_mass)))


@lru_cache(maxsize=256)
def settled_state(station: Station, conditions: tuple[Condition, ...]) -> tuple[float, ...]:
    """The gas in each volume and case after the station has stood under these conditions.

    Kept, since runs that differ only in what happens later start alike.
    """
    net = settling(network(Scenario(station, ())))
    rooms = conditions[len(net.prepares) :]
    # start_guess gives pressures; a warm room holds less gas at them
    state = [p / room.warmth for p, room in zip(start_guess(net), rooms, strict=False)]  # type: ignore[union-attr]
    state += [0.0] * (net.size - net.dynamic)
    for point in integrate(net, state, 0.0, SETTLING_TIME, conditions, conditions, SETTLING_TOLERANCE):
        state = point.state
    return tuple(state[: net.dynamic])


def _trace(net: Network, points: list[Point]) -> Trace:
    scenario, station = net.scenario, net.scenario.station
    pa, per_kilogram = station.atmosphere, 1.0 / standard_density(station.gas)
    signals = {}
    for volume in station.volumes:
        place = net.places[volume.name]
        signals[f"{volume.name}_gauge_pressure"] = np.array([p.shown[0][place] for p in points]) - pa
    for number, device in enumerate(station.devices, start=1):
        shown = np.array([p.shown[number] for p in points])
        if isinstance(device, Regulator):
            for column, signal in enumerate(SIGNALS):
                values = shown[:, column]
                if signal.endswith("mass_flow"):
                    signals[f"{device.name}_{signal.replace('mass_flow', 'flow')}"] = values * per_kilogram
                elif signal == "case_absolute_pressure":
                    signals[f"{device.name}_case_gauge_pressure"] = values - pa
                else:
                    signals[f"{device.name}_{signal}"] = values.copy()
        else:
            signals[f"{device.name}_flow"] = shown[:, 0] * per_kilogram
    first, last = points[0].state, points[-1].state
    totals = {total: last[net.places[total]] for total in ("supplied", "delivered", "vented")}
    totals["stored"] = sum((last[i] - first[i]) / net.per_mass[i] for i in range(net.dynamic))
    times = np.array([p.time for p in points])
    return Trace(scenario, times, signals, _events(net, points), totals, len(points) - 1)


def _events(net: Network, points: list[Point]) -> tuple[Event, ...]:
    """What happened, in order of time: the scenario's own changes, and the crossings in the run, located."""
    scenario, station = net.scenario, net.scenario.station
    found = [
        Event(d.time, "demand_changes", d.load, d.share) for d in scenario.demands if 0 < d.time < scenario.duration
    ]
    for fault in scenario.faults:
        kind = type(fault).__name__
        for name, time in zip(("fault_begins", "fault_complete"), fault.moments(), strict=True):
            if 0 <= time <= scenario.duration:
                found.append(Event(time, name, kind))
    pa = station.atmosphere
    for number, device in enumerate(station.devices, start=1):
        if isinstance(device, Regulator):
            sensed = net.places[device.senses or device.outlet]
            stop = device.travel * 0.9999

            def lift(p: Point, n: int = number) -> float:
                return p.shown[n][0] - OFF_THE_SEAT

            def relief(p: Point, n: int = number) -> float:
                return p.shown[n][1] - OFF_THE_PAD

            def full(p: Point, n: int = number, top: float = stop) -> float:
                return p.shown[n][0] - top

            def pressure(p: Point, place: int = sensed) -> float:
                return p.shown[0][place] - pa

            found += [
                Event(p.time, "seat_opens" if up else "seat_shuts", device.name)
                for p, up in _crossings(net, points, lift)
            ]
            found += [Event(p.time, "wide_open", device.name) for p, up in _crossings(net, points, full) if up]
            found += [
                Event(p.time, "relief_opens" if up else "relief_shuts", device.name, pressure(p))
                for p, up in _crossings(net, points, relief)
            ]
        elif isinstance(device, Load):
            limit = device.maximum_gauge_pressure

            def over(p: Point, place: int = net.places[device.at], top: float = limit) -> float:
                return p.shown[0][place] - pa - top

            found += [
                Event(p.time, "above_rating" if up else "below_rating", device.name, limit)
                for p, up in _crossings(net, points, over)
            ]
    return tuple(sorted(found, key=lambda event: event.time))


def _crossings(net: Network, points: list[Point], level: Callable[[Point], float]) -> Iterator[tuple[Point, bool]]:
    """Where a level passes zero, and whether upwards."""
    below = level(points[0]) <= 0.0
    for a, b in pairwise(points):
        if (level(b) <= 0.0) == below:
            continue
        below = not below
        yield _locate(net, a, b, level), not below


def _locate(net: Network, a: Point, b: Point, level: Callable[[Point], float]) -> Point:
    """The crossing, on the straight line between two states: what that misses is within the error of a step."""
    up, start, end = level(b) > 0.0, a, b
    for _ in range(60):
        if b.time - a.time <= 1e-4 * max(1.0, b.time):
            break
        t = 0.5 * (a.time + b.time)
        share = (t - start.time) / (end.time - start.time)
        state = [u + (v - u) * share for u, v in zip(start.state, end.state, strict=True)]
        rates, shown = net.right_side(net.scenario.conditions(t))(state)
        middle = Point(t, state, rates, shown)
        if (level(middle) > 0.0) == up:
            b = middle
        else:
            a = middle
    return b
