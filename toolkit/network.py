"""A station laid out for the time loop: who stands where in the state, its rates of change and their slopes.

The state is the gas in each volume and sensing line, as the absolute pressure it would have at the station's
temperature, the gas in each regulator's case (q = pv V at that temperature, Pa m3), the lift of each relief valve, and
then running totals of mass in and out that nothing depends on. Because the totals are carried by the same formula, mass
balances to rounding.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from operator import mul

from toolkit.devices.fit import Fit, Run
from toolkit.devices.line import (
    Load,
    Pipe,
    RoomCondition,
    SensingLine,
    Supply,
    leak_fit,
    load_fit,
    pipe_fit,
    supply_fit,
)
from toolkit.devices.pressure_switch import PressureSwitch, pressure_switch_fit
from toolkit.devices.regulator import Regulator, regulator_fit
from toolkit.devices.relief_valve import ReliefValve, relief_valve_fit
from toolkit.devices.slam_shut import SlamShut, slam_shut_fit
from toolkit.flow import nozzle
from toolkit.scenario import Condition, Device, Scenario
from toolkit.solver import RightSide, Rows, Shown, State

# Error allowed in a step: this part of the gauge pressure plus this many pascals. The estimate is that of the
# first-order solution inside; the second-order one that is kept is far nearer (tests/test_stiff.py).
RELATIVE_TOLERANCE, ABSOLUTE_TOLERANCE = 8e-3, 2.0
# Where a relief valve or a slam-shut keeps what a peak has done, a peak's error would stay.
KEEPING_TOLERANCE, LIFT_TOLERANCE = 3e-3, 2e-3
TOTALS = ("supplied", "delivered", "vented")
# For finding the start the volumes stand this many times as large: then none fills faster than its case breathes, and
# nothing overshoots and stays there. Only where it comes to rest counts.
SETTLING_VOLUMES = 30.0


@dataclass(frozen=True)
class Network:
    """A station laid out: `places` in the state by name; a Fit for each device, then for each leaking volume, and the
    number of the condition that each is `prepared_with`.

    Per place of the dynamic part: `scales` (what 1 Pa is there) and `floors` (smallest error allowed, Pa); `tolerance`
    is the error allowed as a part of the gauge pressure. Per place of all: `per_mass`, rate of change per kg/s. The
    first `gas` places hold gas and stay above zero.
    """

    scenario: Scenario
    places: dict[str, int]
    fits: tuple[Fit, ...]
    prepared_with: tuple[int, ...]
    scales: tuple[float, ...]
    floors: tuple[float, ...]
    tolerance: float
    per_mass: tuple[float, ...]
    gas: int
    dynamic: int

    @property
    def size(self) -> int:
        """Length of the whole state, totals included."""
        return len(self.per_mass)

    @cached_property
    def weights(self) -> list[list[tuple[int, int, float]]]:
        """For each fit: which of its values goes into the rate of which place, and how many times."""
        return [
            [(port.shown, port.place, port.sign * self.per_mass[port.place]) for port in fit.ports] for fit in self.fits
        ]

    def conditions_of(self, conditions: Sequence[Condition]) -> list[Condition]:
        """The condition that each of `fits` is prepared with."""
        return [conditions[number] for number in self.prepared_with]

    def right_side(self, conditions: Sequence[Condition]) -> RightSide:
        """For given conditions: the rates of change of a state, what each device shows there, and the rates' slopes."""
        return self._right_side(self._runs(conditions), self._warmth(conditions))

    def stretch(self, before: Sequence[Condition], after: Sequence[Condition]) -> Callable[[float], RightSide]:
        """The right side at a share (0 to 1) of the way from one moment's conditions to the next's.

        Between two moments every number of a condition goes in a straight line. Only what moves is prepared anew.
        """
        runs = self._runs(before)
        pairs = list(zip(self.conditions_of(before), self.conditions_of(after), strict=True))
        moving = [(i, a, b) for i, (a, b) in enumerate(pairs) if a != b]
        cold, warm = self._warmth(before), self._warmth(after)
        if not moving and cold == warm:
            still = self._right_side(runs, cold)
            return lambda _share: still

        def at(share: float) -> RightSide:
            now = runs.copy()
            for i, a, b in moving:
                now[i] = self.fits[i].prepare(between(a, b, share))
            return self._right_side(now, [a + (b - a) * share for a, b in zip(cold, warm, strict=True)])

        return at

    def _runs(self, conditions: Sequence[Condition]) -> list[Run]:
        return [fit.prepare(c) for fit, c in zip(self.fits, self.conditions_of(conditions), strict=True)]

    def _warmth(self, conditions: Sequence[Condition]) -> list[float]:
        rooms = [c.warmth for c in conditions if isinstance(c, RoomCondition)]
        return rooms + [1.0] * (self.size - len(rooms))

    def _right_side(self, runs: Sequence[Run], warmth: Sequence[float]) -> RightSide:
        warm = any(w != 1.0 for w in warmth)
        nothing, n, ports = [0.0] * self.size, self.dynamic, self.weights
        reads = [fit.reads for fit in self.fits]

        def rates(state: State) -> tuple[list[float], Shown]:
            held = list(map(mul, state, warmth)) if warm else state
            shown = [run(held) for run in runs]
            found = nothing.copy()
            for values, into in zip(shown, ports, strict=True):
                for i, place, weight in into:
                    found[place] += weight * values[i]
            return found, (held, *shown)

        def slopes(shown: Shown) -> Rows:
            """Each device is moved only by what it reads."""
            held = list(shown[0])
            rows = [[0.0] * n for _ in nothing]
            for values, run, looks, into in zip(shown[1:], runs, reads, ports, strict=True):
                for j in looks:
                    here = held[j]
                    nudge = 1e-7 * here if here > 1e-3 else 1e-9
                    held[j] = here + nudge
                    moved = run(held)
                    held[j] = here
                    per = warmth[j] / nudge
                    for i, place, weight in into:
                        rows[place][j] += weight * per * (moved[i] - values[i])
            return rows

        return RightSide(rates, slopes)


def network(scenario: Scenario) -> Network:
    """Lay a scenario's station out for the integrator."""
    station = scenario.station
    places = {room: i for i, room in enumerate(station.rooms)}
    gas = len(places)
    for valve in station.relief_valves:
        places[f"{valve.name}_lift"] = len(places)
    dynamic = len(places)
    for total in TOTALS:
        places[total] = len(places)
    rt, pa = station.rt, station.atmosphere
    law = nozzle(station.gas.heat_ratio, rt)
    vented = places["vented"]

    def fit(device: Device) -> Fit:
        at = {end: places[volume] for end, volume in device.ends().items()}
        if isinstance(device, Supply):
            return supply_fit(law, pa, at["into"], places["supplied"])
        if isinstance(device, Load):
            return load_fit(law, pa, at["at"], places["delivered"])
        if isinstance(device, Pipe):
            return pipe_fit(law, pa, at["inlet"], at["outlet"], vented)
        if isinstance(device, SensingLine):
            return pipe_fit(law, pa, at["tap"], places[device.name], vented)
        if isinstance(device, ReliefValve):
            return relief_valve_fit(law, pa, at["at"], places[f"{device.name}_lift"], vented)
        if isinstance(device, SlamShut):
            return slam_shut_fit(law, at["inlet"], at["outlet"])
        if isinstance(device, PressureSwitch):
            return pressure_switch_fit()
        case = places[f"{device.name}_case"]
        return regulator_fit(law, pa, at["inlet"], at["outlet"], at["senses"], case, vented)

    leaking = [number for number, room in enumerate(station.rooms) if room in scenario.leaking()]
    leaks = [leak_fit(law, pa, number, vented) for number in leaking]
    devices = len(station.devices)
    volumes = [volume.size for volume in station.volumes] + [line.size for line in station.sensing_lines]
    cases = [regulator.case_volume for regulator in station.regulators]
    valves = len(station.relief_valves)
    return Network(
        scenario,
        places,
        (*(fit(device) for device in station.devices), *leaks),
        (*range(devices), *(devices + number for number in leaking)),
        scales=(*[1.0] * len(volumes), *cases, *[1.0] * valves),
        floors=(
            *[ABSOLUTE_TOLERANCE] * len(volumes),
            *[ABSOLUTE_TOLERANCE + RELATIVE_TOLERANCE * r.set_gauge_pressure for r in station.regulators],
            *[LIFT_TOLERANCE] * valves,
        ),
        tolerance=KEEPING_TOLERANCE if station.relief_valves or station.slam_shuts else RELATIVE_TOLERANCE,
        per_mass=(*[rt / v for v in volumes], *[rt] * len(cases), *[1.0] * (valves + len(TOTALS))),
        gas=gas,
        dynamic=dynamic,
    )


def between(before: Condition, after: Condition, share: float) -> Condition:
    """A condition a share of the way from one moment to the next, every number in a straight line."""
    return type(before)._make([a + (b - a) * share for a, b in zip(before, after, strict=True)])


def start_guess(net: Network) -> State:
    """Where to begin the search for the start.

    Volumes joined by pipes and slam-shuts stand at one pressure: the supply's, and after a regulator that holds back,
    its set point; cases at the atmosphere's, relief valves shut.
    """
    station = net.scenario.station
    pa = station.atmosphere
    place = {room: station.at_one_pressure(room) for room in station.rooms}
    # Of the regulators that sense the same gas the one set lowest holds it back; the others stand wide open.
    workers: dict[frozenset[str], Regulator] = {}
    for regulator in station.regulators:
        at = place[regulator.ends()["senses"]]
        if at not in workers or regulator.set_gauge_pressure <= workers[at].set_gauge_pressure:
            workers[at] = regulator
    known = {place[station.supply.into]: pa + station.supply.gauge_pressure}
    for _ in station.regulators:
        for regulator in station.regulators:
            before, after = place[regulator.inlet], place[regulator.outlet]
            if before in known and after not in known:
                known[after] = known[before]
                if regulator in workers.values():
                    known[after] = min(known[before], pa + regulator.set_gauge_pressure)
    state = [known.get(place[room], pa) for room in station.rooms[: len(place) - len(station.regulators)]]
    state += [pa * regulator.case_volume for regulator in station.regulators]
    return state + [0.0] * (net.size - len(state))


def settling(net: Network) -> Network:
    """The network with its volumes enlarged, for finding the start."""
    volumes = len(net.scenario.station.volumes)
    return replace(net, per_mass=tuple(m / SETTLING_VOLUMES if i < volumes else m for i, m in enumerate(net.per_mass)))
