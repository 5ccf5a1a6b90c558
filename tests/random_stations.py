"""Any station that the engine knows and anything that can happen to it, by a seed.

Sizes are drawn so that most stations can do their work (openings about as large as their flow asks for, springs as
strong as their set point asks for) and some cannot; faults and actions go over their full ranges. A few scenarios are
spoiled: one value is of a kind that must be refused where the scenario is built.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from math import log10, nan, pi, sqrt
from typing import Any, TypeVar

from toolkit.actions import Action, AdjustSetPoint, Purge, Reset, TurnValve
from toolkit.devices.line import Load, Pipe, SensingLine, Supply
from toolkit.devices.pressure_switch import PressureSwitch
from toolkit.devices.regulator import InternalRelief, Regulator, SecondSeat, Vent
from toolkit.devices.relief_valve import ReliefValve
from toolkit.devices.slam_shut import SlamShut
from toolkit.errors import ScenarioError
from toolkit.faults import FAULTS, SHORTEST_RAMP, Fault, fault
from toolkit.flow import critical_flow_factor
from toolkit.gas import GASES, NATURAL_GAS, Gas, rt, standard_density, vapour_pressure
from toolkit.scenario import Demand, Scenario, Station, Volume
from toolkit.units import atmosphere

T = TypeVar("T")

SPOILED_SHARE = 0.03
HERE = -100.0  # an onset that makes a fault stand from the start
LEAST_HELD, MOST_SUPPLY = 1200.0, 8e6  # gauge Pa
CD, CD_VALVE = 0.82, 0.65


class Draw(random.Random):
    """Random numbers of a seed, with the laws that this module draws by."""

    def log(self, low: float, high: float) -> float:
        """Even in the logarithm."""
        return low if high <= low else min(high, max(low, 10 ** self.uniform(log10(low), log10(high))))

    def chance(self, share: float) -> bool:
        return self.random() < share

    def some(self, weights: Sequence[float]) -> int:
        """A count from 0 up, by its weight."""
        return self.choices(range(len(weights)), weights)[0]

    def of_range(self, low: float, high: float) -> float:
        """A value of a full range: by its logarithm where that spans decades, an end of it now and then."""
        if self.chance(0.05):
            return self.choice((low, high))
        if low < 0.0:
            return self.choice((-1.0, 1.0)) * self.log(1e-6 * high, high)
        if low == 0.0:
            return self.log(1e-5 * high, high) if high > 100.0 else self.uniform(0.0, high)
        return self.log(low, high) if high / low > 100.0 else self.uniform(low, high)


@dataclass(frozen=True)
class Site:
    """What all parts of a station are sized by: the gas, its flow [kg/s] and Z R T [J/kg], atmosphere and pressures."""

    gas: Gas
    flow: float
    rt: float
    atmosphere: float
    supply: float
    held: float

    def area(self, gauge: float, times: float) -> float:
        """The flow area [m2] that passes `times` the station's flow when choked at a gauge pressure [Pa]."""
        per_area = (self.atmosphere + gauge) * critical_flow_factor(self.gas.heat_ratio) / sqrt(self.rt)
        return times * self.flow / per_area

    def bore(self, gauge: float, times: float, low: float, high: float, cd: float = CD_VALVE) -> float:
        """The bore [m] of that flow area, within limits."""
        return min(high, max(low, sqrt(self.area(gauge, times) * 4 / pi / cd)))


def random_scenario(seed: int) -> Scenario | ScenarioError:
    """The scenario of a seed, or the error with which it was refused."""
    draw = Draw(seed)
    try:
        scenario = _scenario(draw)
        return _spoilt(draw, scenario) if spoiled(seed) else scenario
    except ScenarioError as error:
        return error


def spoiled(seed: int) -> bool:
    """Whether the scenario of a seed must be refused."""
    return random.Random(f"spoiled {seed}").random() < SPOILED_SHARE


def _scenario(draw: Draw) -> Scenario:
    station = _station(draw)
    duration = draw.log(20.0, 300.0)
    demands = [demand for load in station.loads for demand in _timetable(draw, load.name, duration)]
    return Scenario(
        station,
        tuple(sorted(demands, key=lambda d: d.time)),
        _faults(draw, station, duration),
        duration,
        _actions(draw, station, duration),
    )


# The station: supply, then regulators, slam-shuts and pipes in a row with a volume after each, then what hangs on them


def _station(draw: Draw) -> Station:
    site, altitude, temperature = _site(draw)
    row = ["regulator"] * (1 + draw.some((5, 4, 2)))
    for kind, weights in (("slam_shut", (5, 4, 2)), ("pipe", (4, 4, 2, 1))):
        for _ in range(draw.some(weights)):
            row.insert(draw.randint(0, len(row)), kind)
    rooms = [f"volume_{i}" for i in range(len(row) + 1)]
    last = max(i for i, kind in enumerate(row) if kind == "regulator")
    outlet = rooms[last + 1]
    nominal = [site.supply]  # gauge pressure that each volume is meant to stand at
    lines: list[SensingLine] = []
    regulators: list[Regulator] = []
    slam_shuts: list[tuple[int, SlamShut]] = []
    pipes: list[Pipe] = []
    before_last = "none"
    for i, kind in enumerate(row):
        inlet, next_room, gauge = rooms[i], rooms[i + 1], nominal[-1]
        if kind == "pipe":
            area = min(1.0, max(1e-9, site.area(gauge, draw.log(3.0, 1e3))))
            pipes.append(Pipe(f"pipe_{len(pipes)}", inlet, next_room, area))
        elif kind == "slam_shut":
            slam_shuts.append((i, SlamShut(f"slam_shut_{len(slam_shuts)}", inlet, next_room, next_room)))
        else:
            job = "last" if i == last else draw.choice(("stage", "wide_open", "worker"))
            above = site.held * (1.0 + draw.log(0.02, 1.0))
            sensed = next_room if job == "stage" else outlet
            if job == "stage":
                held = draw.log(min(1.05 * site.held, 0.9 * gauge), 0.9 * gauge)
                gauge = held
            elif job == "last":
                held = above if before_last == "worker" else site.held
                gauge = site.held
            else:
                held = above if job == "wide_open" else site.held
            before_last = job
            held = min(held, 0.9 * site.supply)
            name = f"regulator_{len(regulators)}"
            senses = _tapped(draw, name, sensed, lines)
            ends = {"name": name, "inlet": inlet, "outlet": next_room, "senses": senses}
            regulators.append(_regulator(draw, site, held, nominal[-1], ends))
        nominal.append(gauge)
    by_room = dict(zip(rooms, nominal, strict=True))
    by_room |= {line.name: by_room[line.tap] for line in lines}
    slam_shuts_done = tuple(_slam_shut(draw, site, shut, by_room) for _, shut in slam_shuts)
    downstream = rooms[last + 1 :]
    loads = tuple(
        _load(draw, f"load_{i}", draw.choice(downstream if draw.chance(0.85) else rooms), site, by_room)
        for i in range(1 + draw.some((5, 3, 2)))
    )
    valves = tuple(
        _relief_valve(draw, f"relief_valve_{i}", draw.choice(downstream if draw.chance(0.7) else rooms), site, by_room)
        for i in range(draw.some((4, 4, 2)))
    )
    switches = tuple(
        _switch(draw, f"switch_{i}", by_room, loads, slam_shuts_done) for i in range(draw.some((4, 3, 2, 1)))
    )
    fills = site.flow / standard_density(site.gas)  # standard m3/s
    volumes = tuple(
        Volume(room, draw.log(1e-4, 1.0) if draw.chance(0.25) else min(1.0, max(1e-4, fills * draw.log(0.05, 300.0))))
        for room in rooms
    )
    supply = Supply("supply", rooms[0], site.supply, min(1.0, max(1e-8, site.area(site.supply, draw.log(2.0, 300.0)))))
    return Station(
        *(supply, tuple(regulators), loads, volumes, tuple(pipes), tuple(lines)),
        *(valves, slam_shuts_done, switches, site.gas, altitude, temperature),
    )


def _site(draw: Draw) -> tuple[Site, float, float]:
    gas = draw.choice(sorted(GASES.values(), key=lambda g: g.key))
    altitude, temperature = draw.choice((0.0, draw.uniform(-500, 6000))), draw.uniform(255, 320)
    pa = atmosphere(altitude)
    most = MOST_SUPPLY if gas is NATURAL_GAS else 0.9 * vapour_pressure(gas, temperature) - pa
    supply = draw.log(1e4, min(most, MOST_SUPPLY))
    held = draw.log(LEAST_HELD, 0.7 * supply)
    flow = draw.log(1e-5, 1.0) if draw.chance(0.3) else draw.log(3e-4, 3e-2)
    law = rt(gas, temperature, pa + supply)
    return Site(gas, flow * standard_density(gas), law, pa, supply, held), altitude, temperature


def _tapped(draw: Draw, name: str, sensed: str, lines: list[SensingLine]) -> str:
    """What a regulator senses: the volume itself, a line of its own, or one that is there already."""
    there = [line.name for line in lines if line.tap == sensed]
    if there and draw.chance(0.4):
        return draw.choice(there)
    if draw.chance(0.5):
        return sensed
    lines.append(SensingLine(f"{name}_line", sensed, draw.log(1e-6, 1e-3), draw.log(1e-8, 1e-4)))
    return lines[-1].name


def _regulator(draw: Draw, site: Site, held: float, inlet_gauge: float, ends: dict[str, str]) -> Regulator:
    adjusted = min(2e7, max(1.01 * held, inlet_gauge * draw.uniform(0.8, 1.2)))
    orifice = site.bore(max(adjusted, held), draw.log(0.7, 30.0), 2e-4, 0.3, CD)
    area, lever = draw.log(2e-3, 0.2), draw.log(1.0, 12.0)
    travel = max(1e-5, min(0.1, orifice / 4 * draw.uniform(0.7, 2.0)))
    depth = max(1e-6, min(0.09 * travel, 1e-4 * draw.log(0.1, 3.0)))
    # What the inlet pressure pushes with stays below the main spring's share.
    most_unbalanced = 0.7 * held * area * lever / (adjusted - held)
    balanced = max(0.0 if draw.chance(0.6) else draw.random(), 1.0 - most_unbalanced / (pi / 4 * orifice**2))
    spring = min(1e7, max(10.0, held * area * draw.log(0.01, 0.5) / (lever * travel)))
    seat = min(1e9, max(1e3, held * area * lever * draw.log(0.005, 0.2) / depth))
    above, overtravel = min(2e5, held * draw.log(0.03, 3.0)), draw.log(1e-3, 0.02)
    rate = min(1e6, max(10.0, above * area * draw.log(0.05, 2.0) / overtravel))
    port = min(0.2, max(1e-4, sqrt(area) * draw.log(0.01, 0.3)))
    inside = draw.choice(("relief", "second_seat", "neither", "neither"))
    relief = InternalRelief(above, rate, port, overtravel) if inside == "relief" else None
    wide = min(0.3, max(1e-4, orifice * draw.log(0.8, 2.0)))
    second = SecondSeat(above, rate, wide, overtravel) if inside == "second_seat" else None
    case = min(1.0, max(1e-6, area * overtravel * draw.log(1.7, 30.0)))
    return Regulator(
        **ends,
        set_gauge_pressure=held,
        adjusted_at_inlet_gauge_pressure=adjusted,
        orifice_diameter=orifice,
        diaphragm_area=area,
        area_growth=draw.uniform(0.0, 0.3),
        lever_ratio=lever,
        spring_rate=spring,
        travel=travel,
        balanced_share=balanced,
        seat_stiffness=seat,
        seat_depth=depth,
        case_volume=case,
        relief=relief,
        second_seat=second,
        vent=_vent(draw),
    )


def _vent(draw: Draw) -> Vent:
    pipe = {"pipe_length": draw.log(0.1, 100.0), "pipe_bore": draw.log(1e-3, 0.1)} if draw.chance(0.3) else {}
    limiter = draw.log(1e-4, 5e-3) if draw.chance(0.2) else 0.0
    screen = draw.log(0.01, 1.0) if draw.chance(0.3) else 1.0
    return Vent(bore=draw.log(1e-3, 0.05), screen_share=screen, limiter_bore=limiter, **pipe)


def _settings(draw: Draw, nominal: float) -> dict[str, float | None]:
    """A high setting, a low one, or both, about a pressure; now and then within it."""
    high, low = nominal * draw.uniform(1.02, 2.5), nominal * draw.uniform(0.1, 0.95)
    if draw.chance(0.05):
        high, low = nominal * 0.98, nominal * 0.5
    sides = draw.choice(("high", "high", "low", "both"))
    return {
        "high_gauge_pressure": min(2e7, max(20.0, high)) if sides != "low" else None,
        "low_gauge_pressure": max(10.0, low) if sides != "high" else None,
    }


def _slam_shut(draw: Draw, site: Site, plain: SlamShut, by_room: dict[str, float]) -> SlamShut:
    senses = draw.choice(sorted(by_room)) if draw.chance(0.5) else draw.choice((plain.outlet, plain.inlet))
    bore = site.bore(by_room[plain.inlet], draw.log(3.0, 300.0), 1e-3, 1.0)
    return SlamShut(
        *(plain.name, plain.inlet, plain.outlet, senses),
        **_settings(draw, by_room[senses]),
        response=draw.log(0.01, 10.0),
        closing=draw.log(0.01, 10.0),
        opening=draw.log(0.1, 60.0),
        bore=bore,
        bypass_bore=min(0.1, max(1e-4, bore * draw.log(0.02, 0.3))),
        reset_difference=min(2e7, max(10.0, by_room[plain.inlet] * draw.log(0.01, 2.0))),
    )


def _relief_valve(draw: Draw, name: str, at: str, site: Site, by_room: dict[str, float]) -> ReliefValve:
    setting = min(1e7, max(50.0, by_room[at] * (draw.uniform(1.03, 2.0) if draw.chance(0.93) else 0.98)))
    orifice = site.bore(setting, draw.log(0.1, 30.0), 1e-4, 0.5)
    return ReliefValve(
        *(name, at, setting),
        build_up=draw.log(0.005, 2.0),
        blowdown=draw.choice((0.0, draw.uniform(0.0, 0.9))),
        orifice_diameter=orifice,
        stack_bore=min(1.0, max(1e-4, orifice * draw.log(0.3, 10.0))),
        weeps_after_pop=draw.choice((0.0, 0.0, draw.log(1e-10, 1e-3))),
        lag=draw.log(5e-4, 1.0),
    )


def _load(draw: Draw, name: str, at: str, site: Site, by_room: dict[str, float]) -> Load:
    share = site.flow / standard_density(site.gas) * draw.log(0.05, 1.5)
    rated = min(1e7, max(10.0, by_room[at] * draw.uniform(0.5, 1.1)))
    return Load(name, at, share, rated, min(1e7, max(10.0, by_room[at] * draw.uniform(1.02, 4.0))))


def _switch(
    draw: Draw, name: str, by_room: dict[str, float], loads: Sequence[Load], shuts: Sequence[SlamShut]
) -> PressureSwitch:
    senses = draw.choice(sorted(by_room))
    job = draw.choice(("alarm", "lockout", "trip", "both"))
    locks = [load.name for load in loads] if job in ("lockout", "both") else []
    trips = [shut.name for shut in shuts] if job in ("trip", "both") else []
    return PressureSwitch(
        *(name, senses),
        **_settings(draw, by_room[senses]),
        deadband=draw.choice((0.0, min(1e6, by_room[senses] * draw.log(1e-3, 0.3)), min(1e6, by_room[senses]))),
        manual_reset=draw.chance(0.4),
        response=draw.log(0.05, 10.0),
        locks_out=tuple(draw.sample(locks, draw.randint(1, len(locks)))) if locks else (),
        trips=tuple(draw.sample(trips, draw.randint(1, len(trips)))) if trips else (),
    )


# What happens to it


def _timetable(draw: Draw, load: str, duration: float) -> Iterator[Demand]:
    share = draw.choice((0.0, 0.02, draw.uniform(0.0, 1.2), 1.0, draw.uniform(0.0, 10.0)))
    time = 0.0
    if draw.chance(0.9):  # else nothing burns until the first change
        yield Demand(0.0, share, load)
    for _ in range(draw.some((1, 2, 2, 1))):
        time += draw.uniform(0.001, 0.6) * duration
        stroke = draw.log(1e-3, 20.0)
        yield Demand(time, draw.choice((0.0, 0.0, 0.05, draw.random(), 1.0, 1.0, 3.0)), load, stroke)
        time += stroke


def _faults(draw: Draw, station: Station, duration: float) -> tuple[Fault, ...]:
    targets = {kind: [n for part in FAULTS[kind].strikes for n in station.named(part)] for kind in sorted(FAULTS)}
    kinds = [kind for kind, there in targets.items() if there]
    found = []
    for kind in draw.sample(kinds, draw.some((1, 3, 3, 2, 1))):
        values = {key: draw.of_range(low, high) for key, (low, high, _) in FAULTS[kind].ranges().items()}
        if kind == "stuck_stem":
            values["lowest"], values["highest"] = sorted((values["lowest"], values["highest"]))
        there = targets[kind]
        devices = tuple(draw.sample(there, 1 if draw.chance(0.7) else draw.randint(1, len(there))))
        onset = HERE if draw.chance(0.15) else draw.uniform(0.0, 1.05 * duration)
        found.append(fault(kind, devices=devices, onset=onset, ramp=draw.log(SHORTEST_RAMP, 100.0), **values))
    return tuple(found)


def _actions(draw: Draw, station: Station, duration: float) -> tuple[Action, ...]:
    drawn = []
    for time in sorted(draw.uniform(0.0, 1.05 * duration) for _ in range(draw.some((4, 2, 2, 2, 1)))):
        kinds: list[type[Action]] = [TurnValve, Purge, AdjustSetPoint, Reset, Reset, Reset]
        kind = draw.choice([k for k in kinds if any(station.named(part) for part in k.acts_on)])
        device = draw.choice([name for part in kind.acts_on for name in station.named(part)])
        drawn.append((kind, device, time, draw.log(0.01, 30.0)))
    found: list[Action] = []
    for kind, device, time, stroke in drawn:
        if any(type(a) is kind and a.device == device and a.moments()[1] > time for a in found):
            continue
        when = {"device": device, "time": time, "stroke": stroke}
        if kind is TurnValve:
            found.append(TurnValve(**when, share=draw.choice((0.0, 1.0, draw.random()))))
        elif kind is Purge:
            found.append(Purge(**when, flow_area=draw.choice((0.0, draw.log(1e-8, 1e-2)))))
        elif kind is AdjustSetPoint:
            found.append(AdjustSetPoint(**when, by=draw.of_range(-1e7, 1e7)))
        else:
            found.append(Reset(**when))
    return tuple(found)


# One bad value

NUMBERS = (nan, float("inf"), -float("inf"), -1e9, 1e15, "3", True, ())
NAMES = ("nowhere at all", "9_lives", "", None, 3)


def _leaves(value: object, path: tuple[str | int, ...] = ()) -> Iterator[tuple[tuple[str | int, ...], Any]]:
    """Every number and name of a scenario, by its path. Gases are not drawn, so they are not spoiled."""
    if isinstance(value, tuple):
        for i, one in enumerate(value):
            yield from _leaves(one, (*path, i))
    elif is_dataclass(value) and not isinstance(value, Gas | type):
        for field in fields(value):
            yield from _leaves(getattr(value, field.name), (*path, field.name))
    elif isinstance(value, str | float):
        yield path, value


def _with(whole: Any, path: Sequence[str | int], value: object) -> Any:
    """The same scenario with one value changed, built anew from there up."""
    if not path:
        return value
    first, *rest = path
    if isinstance(first, int):
        return (*whole[:first], _with(whole[first], rest, value), *whole[first + 1 :])
    return replace(whole, **{first: _with(getattr(whole, first), rest, value)})


def _spoilt(draw: Draw, scenario: Scenario) -> Scenario:
    """The scenario with one number or name that no scenario may have: a ScenarioError, if all is well."""
    path, value = draw.choice(list(_leaves(scenario)))
    if isinstance(value, float):
        return _with(scenario, path, draw.choice(NUMBERS))
    # A regulator that senses "" senses its outlet, and any name will do for a device; elsewhere it must be known.
    bad = [name for name in NAMES if name or path[-1] != "senses"]
    return _with(scenario, path, draw.choice(bad if path[-1] == "name" else [*bad, "nowhere"]))
