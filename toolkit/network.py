"""A station laid out for the time loop: who stands where in the state, and the flat numbers that the steps read.

The state is the gas in each volume and sensing line, as the absolute pressure it would have at the station's
temperature, the gas in each regulator's case (q = pv V at that temperature, Pa m3), the lift of each relief valve, and
then running totals of mass in and out that nothing depends on. Because the totals are carried by the same formula, mass
balances to rounding; where steps are so long that this would tell, by the very same flows (solver.py).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import accumulate, chain
from typing import NamedTuple

from toolkit.compiled import Floats, Ints, Machine, machine
from toolkit.devices.fit import MOST_PORTS, MOST_READ, MOST_VALUES, Fit
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
from toolkit.flow import nozzle_law
from toolkit.hunting import Rows
from toolkit.rates import BENDS
from toolkit.scenario import Condition, Device, Scenario
from toolkit.stretch import rates_at, slopes_at

# Error allowed in a step: this part of the gauge pressure plus this many pascals. The estimate is that of the
# first-order solution inside; the second-order one that is kept is far nearer (tests/test_stiff.py).
RELATIVE_TOLERANCE, ABSOLUTE_TOLERANCE = 8e-3, 2.0
# Where a relief valve or a slam-shut keeps what a peak has done, a peak's error would stay.
KEEPING_TOLERANCE, LIFT_TOLERANCE = 3e-3, 2e-3
TOTALS = ("supplied", "delivered", "vented")
# For finding the start the volumes stand this many times as large: then none fills faster than its case breathes, and
# nothing overshoots and stays there. Only where it comes to rest counts.
SETTLING_VOLUMES = 30.0

State = list[float]
# What a state shows: the gas of each place as held, then each device's values.
Shown = Sequence[float]


class RightSide(NamedTuple):
    """`rates` of a state, with what the devices show there; `slopes` of the rates by the n dynamic places, from that.

    `slopes` has a row for each place of the state and n columns.
    """

    rates: Callable[[Sequence[float]], tuple[list[float], Shown]]
    slopes: Callable[[Shown], Rows]


@dataclass(frozen=True)
class Network:
    """A station laid out: `places` in the state by name; a Fit for each device, then for each leaking volume.

    Per place of the dynamic part: `scales` (what 1 Pa is there) and `floors` (smallest error allowed, Pa); `tolerance`
    is the error allowed as a part of the gauge pressure. Per place of all: `per_mass`, rate of change per kg/s. The
    first `gas` places hold gas and stay above zero. `machine` takes the steps.
    """

    scenario: Scenario
    machine: Machine
    places: dict[str, int]
    fits: tuple[Fit, ...]
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
    def masses(self) -> tuple[float, ...]:
        """The kilograms that one unit of each place stands for, 0 for a lift; what came in counts against the rest.

        So no step changes the sum.
        """
        found = [1.0 / per if i < self.gas else 0.0 for i, per in enumerate(self.per_mass)]
        for total in TOTALS:
            found[self.places[total]] = -1.0 if total == "supplied" else 1.0
        return tuple(found)

    @cached_property
    def shown_at(self) -> tuple[int, ...]:
        """Where the values of each of `fits` begin in what is shown; last, how long that is."""
        return tuple(accumulate((fit.values for fit in self.fits), initial=self.size))

    @property
    def width(self) -> int:
        """How many numbers a state shows."""
        return self.shown_at[-1]

    @cached_property
    def around_regulators(self) -> list[int]:
        """The places of the state that regulators meet, where hunting is looked for."""
        regulators = self.scenario.station.regulators
        return sorted({self.places[room] for regulator in regulators for room in regulator.ends().values()})

    @cached_property
    def _conditions_at(self) -> tuple[int, ...]:
        """Where in `numbers` the condition of each device begins; last, the leaks."""
        fits = self.fits[: len(self.scenario.station.devices)]
        return tuple(accumulate((len(fit.condition._fields) for fit in fits), initial=self.size))

    @property
    def count(self) -> int:
        """How many `numbers` the conditions are."""
        return self._conditions_at[-1] + len(self.scenario.station.rooms)

    @cached_property
    def plan(self) -> Ints:
        """The whole numbers of its layout, as rates.py reads them."""
        *begins, leaks = self._conditions_at
        begins += [leaks + fit.places[0] for fit in self.fits[len(begins) :]]
        found = [self.size, self.dynamic, self.gas, len(self.fits), self.width, self.count]
        for fit, condition, shown in zip(self.fits, begins, self.shown_at, strict=False):
            reads = sorted(set(fit.places))
            found += [fit.law, condition, shown, fit.values]
            found += [*fit.places, *[0] * (MOST_READ - len(fit.places))]
            found += [len(reads), *reads, *[0] * (MOST_READ - len(reads)), len(fit.ports)]
            for port in fit.ports:
                found += [port.shown, port.place]
            found += [0, 0] * (MOST_PORTS - len(fit.ports))
        return self.machine.ints(found)

    @cached_property
    def fixed(self) -> Floats:
        """The numbers of its layout that no condition changes, as rates.py reads them."""
        station = self.scenario.station
        pa, rests = station.atmosphere, range(self.dynamic)
        found = [*nozzle_law(station.gas.heat_ratio, station.rt), pa, self.tolerance]
        found += [pa * self.scales[i] if i < self.gas else 0.0 for i in rests]
        found += [self.floors[i] * self.scales[i] for i in rests]
        travels = [one.travel if isinstance(one, Regulator) else 0.0 for one in station.devices]
        travels += [0.0] * (len(self.fits) - len(travels))
        for fit, travel in zip(self.fits, travels, strict=True):
            weights = [port.sign * self.per_mass[port.place] for port in fit.ports]
            found += [travel, *weights, *[0.0] * (MOST_PORTS - len(weights))]
        return self.machine.floats(found)

    def numbers(self, conditions: Sequence[Condition]) -> list[float]:
        """The conditions as flat numbers: warmth of each place, then what each device is prepared with, then leaks."""
        devices = len(self.scenario.station.devices)
        rooms = [one for one in conditions[devices:] if isinstance(one, RoomCondition)]
        warmth = [room.warmth for room in rooms] + [1.0] * (self.size - len(rooms))
        return [*warmth, *chain.from_iterable(conditions[:devices]), *(room.leak for room in rooms)]

    def right_side(self, conditions: Sequence[Condition]) -> RightSide:
        """For given conditions: the rates of change of a state, what each device shows there, and the rates' slopes."""
        return self.right_side_by(self.machine.floats(self.numbers(conditions)))

    def right_side_by(self, numbers: Floats) -> RightSide:
        """The same for the `numbers` of some conditions, in a buffer."""
        machine, n = self.machine, self.dynamic

        def rates(state: Sequence[float]) -> tuple[list[float], Shown]:
            shown, found = machine.room(self.width), machine.room(self.size)
            machine.call(rates_at, self.plan, self.fixed, numbers, machine.floats(state), shown, found)
            return found[:], shown[:]

        def slopes(shown: Shown) -> Rows:
            found = machine.room(self.size * n)
            room = machine.room(BENDS * len(self.fits)), machine.room(MOST_VALUES)
            machine.call(slopes_at, self.plan, self.fixed, numbers, machine.floats(shown), found, *room)
            return [found[i * n : (i + 1) * n] for i in range(self.size)]

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
    rt = station.rt
    vented = places["vented"]

    def fit(device: Device) -> Fit:
        at = {end: places[volume] for end, volume in device.ends().items()}
        if isinstance(device, Supply):
            return supply_fit(at["into"], places["supplied"])
        if isinstance(device, Load):
            return load_fit(at["at"], places["delivered"])
        if isinstance(device, Pipe):
            return pipe_fit(at["inlet"], at["outlet"], vented)
        if isinstance(device, SensingLine):
            return pipe_fit(at["tap"], places[device.name], vented)
        if isinstance(device, ReliefValve):
            return relief_valve_fit(at["at"], places[f"{device.name}_lift"], vented)
        if isinstance(device, SlamShut):
            return slam_shut_fit(at["inlet"], at["outlet"])
        if isinstance(device, PressureSwitch):
            return pressure_switch_fit()
        case = places[f"{device.name}_case"]
        return regulator_fit(at["inlet"], at["outlet"], at["senses"], case, vented)

    leaking = [number for number, room in enumerate(station.rooms) if room in scenario.leaking()]
    leaks = [leak_fit(number, vented) for number in leaking]
    volumes = [volume.size for volume in station.volumes] + [line.size for line in station.sensing_lines]
    cases = [regulator.case_volume for regulator in station.regulators]
    valves = len(station.relief_valves)
    return Network(
        scenario,
        machine(),
        places,
        (*(fit(device) for device in station.devices), *leaks),
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
