"""The signs of a run: signs_of(trace), with gauges that are coarse and err.

What a gauge's reading amounts to stands in readings.py; where the other values begin is engineering judgement too.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from itertools import pairwise
from random import Random
from typing import NamedTuple

from toolkit.actions import Action
from toolkit.devices.line import SupplyCondition
from toolkit.devices.regulator import Regulator
from toolkit.diagnosis.proofs import monitors, proven
from toolkit.diagnosis.readings import (
    between_value,
    creep_value,
    drop_value,
    inlet_value,
    kick,
    kick_value,
    lock_up_value,
    outlet_value,
    record_of,
    start_value,
    step,
    sun_value,
)
from toolkit.diagnosis.signs import GAS, SIGNS, Signs
from toolkit.diagnosis.sites import Shade
from toolkit.diagnosis.symptoms import (
    ALL_ON,
    AUDIBLE,
    COLD_FLOW,
    COOLING,
    CUT_OFF,
    KICK_LASTS,
    LITTLE_ON,
    NEXT_TO_SEAT,
    NO_GAS,
    NOTHING_ON,
    PASSES,
    TRIP_BY_KICK,
    TRIPS,
    VENT_STEPS,
    gauge_shows,
    vent_level,
)
from toolkit.faults import Warmed
from toolkit.hunting import FASTEST
from toolkit.scenario import Demand, Scenario
from toolkit.trace import Trace
from toolkit.units import CELSIUS_ZERO

# A gauge is right to about this share (one standard deviation), and never further off than twice that.
GAUGE_ERROR, WORST_ERROR = 0.015, 2.0
# The meter shows less, or more, than burners of this rating take.
FLOW_LESS, FLOW_MORE = 0.75, 1.25
# A switch that makes so often in a day chatters.
CHATTERS = 4
# To hold the outlet low so much more than the rating is drawn for so long [s]; the outlet must come to lie between
# these shares of the set point, or the check has told nothing.
HELD_DRAW, HELD_FOR, HELD_LEAST, HELD_MOST = 3.0, 40.0, 0.05, 0.8


class _Stretch(NamedTuple):
    """A stretch of steady demand: middle and end [s], share of the rating, whether the sun is on the pipe."""

    middle: float
    end: float
    share: float
    sunny: bool


def held_low(scenario: Scenario) -> Scenario:
    """The same day with a check at its end: so much is drawn that the outlet is held low, and the vent is smelt."""
    start = scenario.duration
    demands = tuple(Demand(start, HELD_DRAW, load=load.name) for load in scenario.station.loads)
    return replace(scenario, demands=(*scenario.demands, *demands), duration=start + HELD_FOR)


def signs_of(trace: Trace, chance: Random | None = None, arrives: float = 0.0) -> Signs:
    """The signs of a run.

    Gauges are read at the end of the last stretch of steady demand of each sort, once every fault is fully there and
    the technician has arrived [s]; of a slam-shut and a switch it is known what they did all day. `chance` draws what
    the gauges err by; without it they are right.
    """
    day = _Day(trace, chance, arrives)
    return Signs(**{key: read(day) for key, read in _READ.items()}, **proven(trace.scenario, day.ends))


class _Day:
    """A trace with what several signs look at."""

    def __init__(self, trace: Trace, chance: Random | None, arrives: float) -> None:
        self.trace, self.scenario, self.station = trace, trace.scenario, trace.scenario.station
        self.gauge = f"{self.station.loads[0].at}_gauge_pressure"
        self.record = record_of(self.station)
        self.set = self.record.set_gauge_pressure
        self.rated = sum(load.rated_flow for load in self.station.loads)
        self.suns = [one for one in self.scenario.faults if isinstance(one, Warmed)]
        self.factors = [_gauge_factor(chance) for _ in range(2)]
        others = [one.moments()[1] for one in self.scenario.faults if not isinstance(one, Warmed)]
        self.arrives, self.since = arrives, max([arrives, *others])
        self.every = self._stretches()
        every = [one for one in self.every if one.end >= self.since]
        held = bool(self.scenario.demands) and self.scenario.demands[-1].share == HELD_DRAW
        self.held = every[-1] if held and every else None
        self.day = [one for one in every if one is not self.held]
        self.ends = self.day[-1].end if self.day else self.since
        self.on = _last(one for one in self.day if one.share >= ALL_ON)
        self.pilots = _last(one for one in self.day if NOTHING_ON < one.share <= LITTLE_ON)
        self.off = _last(one for one in self.day if one.share <= NOTHING_ON and not one.sunny)

    def _stretches(self) -> list[_Stretch]:
        changes: tuple[Demand | Warmed | Action, ...] = (*self.scenario.demands, *self.suns, *self.scenario.actions)
        marks = {one.moments() for one in changes}
        ordered = sorted((a, b) for a, b in marks if 0.0 < a < self.scenario.duration)
        starts = [0.0, *(b for _, b in ordered)]
        sunrise = min((one.onset for one in self.suns), default=float("inf"))
        return [
            _Stretch(0.5 * (start + end), end, self.share(0.5 * (start + end)), end > sunrise)
            for start, end in zip(starts, [*(a for a, _ in ordered), self.scenario.duration], strict=True)
            if end > start
        ]

    def share(self, time: float) -> float:
        """What is called for at a time, as a share of all ratings."""
        called = {one.load: one.share for one in self.scenario.demands if one.time <= time}
        return sum(load.rated_flow * called.get(load.name, 0.0) for load in self.station.loads) / self.rated

    def shows(self, time: float) -> float:
        """The outlet gauge, Pa."""
        return gauge_shows(self.trace.at(self.gauge, time) * self.factors[0])

    def burnt(self, time: float) -> float:
        """What all loads take, standard m3/s."""
        return sum(self.trace.at(f"{load.name}_flow", time) for load in self.station.loads)

    def supplied(self, time: float) -> float:
        """What the meter shows, standard m3/s."""
        return self.trace.at(f"{self.station.supply.name}_flow", time)

    def main(self, time: float) -> float:
        """The gauge before the filter, Pa."""
        condition = self.scenario.conditions(time)[0]
        assert isinstance(condition, SupplyCondition)
        return gauge_shows(condition.gauge_pressure * self.factors[1])

    def happened(self, *kinds: str, since: float = 0.0) -> int:
        """How often something happened before the outlet was held low."""
        return sum(since <= event.time <= self.ends for kind in kinds for event in self.trace.happened(kind))


def _gauge_factor(chance: Random | None) -> float:
    """What a gauge shows of the true pressure."""
    if chance is None:
        return 1.0
    return 1.0 + GAUGE_ERROR * max(-WORST_ERROR, min(WORST_ERROR, chance.gauss(0.0, 1.0)))


def _last(of: Iterable[_Stretch]) -> _Stretch | None:
    return max(of, key=lambda one: one.end, default=None)


def _outlet(day: _Day, at: _Stretch | None) -> str | None:
    return None if at is None else outlet_value(day.shows(at.end), day.record)


def _lock_up(day: _Day) -> str | None:
    return None if day.off is None else lock_up_value(day.shows(day.off.end), day.record)


def _creep(day: _Day) -> str | None:
    if day.off is None:
        return None
    return creep_value(day.shows(day.off.middle), day.shows(day.off.end), day.record)


def _between(day: _Day) -> str | None:
    pairs = monitors(day.station)
    if not pairs or day.on is None:
        return None
    first = pairs[0][0]
    inlet, middle = (day.trace.at(f"{room}_gauge_pressure", day.on.end) for room in (first.inlet, first.outlet))
    return between_value(inlet, middle, day.trace.at(day.gauge, day.on.end))


def _inlet(day: _Day) -> str | None:
    return None if day.on is None else inlet_value(day.main(day.on.end), day.record)


def _filter_drop(day: _Day) -> str | None:
    if day.on is None:
        return None
    after = gauge_shows(day.trace.at(f"{day.station.supply.into}_gauge_pressure", day.on.end) * day.factors[1])
    return drop_value(day.main(day.on.end), after)


def _meter_on(day: _Day) -> str | None:
    if day.on is None:
        return None
    share = day.supplied(day.on.end) / (day.rated * min(1.0, day.on.share))
    return step(SIGNS["meter_on"].values, share, FLOW_LESS, FLOW_MORE)


def _meter_off(day: _Day) -> str | None:
    return None if day.off is None else step(SIGNS["meter_off"].values, day.supplied(day.off.end), VENT_STEPS[1])


def _gas_level(day: _Day, regulator: Regulator, at: _Stretch) -> int:
    """Air that the case breathes does not smell: gas has to pass the diaphragm, and the vent."""
    return vent_level(min(day.trace.at(f"{regulator.name}_{flow}_flow", at.end) for flow in ("relief", "vent")))


def _vent(day: _Day, at: _Stretch | None) -> str | None:
    return None if at is None else GAS[max(_gas_level(day, one, at) for one in day.station.regulators)]


def _relief_start(day: _Day) -> str | None:
    worker = min(day.station.regulators, key=lambda one: one.set_gauge_pressure)
    smelt = [at for at in (day.on, day.off) if at is not None]
    if worker.relief is None or not smelt:
        return None
    return start_value([day.shows(at.end) for at in smelt if _gas_level(day, worker, at)], day.record)


def _vent_held(day: _Day) -> str | None:
    if day.held is None:
        return None
    held = HELD_LEAST * day.set < day.shows(day.held.end) < HELD_MOST * day.set
    return _vent(day, day.held) if held else None


def _relief(day: _Day) -> str | None:
    if not day.station.relief_valves:
        return None
    flows = (day.trace.at(f"{valve.name}_flow", one.end) for valve in day.station.relief_valves for one in day.day)
    level = max(map(vent_level, flows), default=0)
    opened = day.happened("valve_opens", since=day.arrives)
    return SIGNS["relief"].values[2 if opened else level]


def _slam_shut(day: _Day) -> str | None:
    return step(SIGNS["slam_shut"].values, day.happened(*TRIPS), 0) if day.station.slam_shuts else None


def _switch(day: _Day) -> str | None:
    made = day.happened("switch_high", "switch_low")
    return step(SIGNS["switch"].values, made, 0, CHATTERS - 1) if day.station.switches else None


def _swings(day: _Day) -> list[float]:
    """The frequencies at which it hunts, Hz."""
    hunts = [event for event in day.trace.happened("hunts") if day.arrives <= event.time <= day.ends]
    return [event.value for event in hunts if event.value < FASTEST]


def _noise(day: _Day) -> str:
    def next_to_seat(one: _Stretch, regulator: Regulator) -> bool:
        lift = day.trace.at(f"{regulator.name}_lift", one.end)
        return 0.0 < lift < NEXT_TO_SEAT * regulator.travel and day.burnt(one.end) > PASSES * day.rated

    near = any(next_to_seat(one, regulator) for one in day.day for regulator in day.station.regulators)
    return "hums" if near or any(frequency >= AUDIBLE for frequency in _swings(day)) else "quiet"


def _frost(day: _Day) -> str:
    """Cold where gas comes down from a high pressure; the gas is taken as wet."""
    cooling = COOLING.get(day.station.gas.key, 0.0)

    def outlet(one: _Stretch, regulator: Regulator) -> float:
        inlet, leaves = (day.trace.at(f"{at}_gauge_pressure", one.end) for at in (regulator.inlet, regulator.outlet))
        return day.station.temperature - cooling * (inlet - leaves)

    flowing = [one for one in day.day if day.burnt(one.end) > COLD_FLOW * day.rated]
    cold = any(outlet(one, regulator) < CELSIUS_ZERO for one in flowing for regulator in day.station.regulators)
    return "frost" if cold else "none"


def _sun(day: _Day) -> str | None:
    """As long as the sun is on the pipe nothing is told; on a day without it the gauge is watched in the shade."""
    never_there = day.off and (day.off.middle, day.off.end, day.off.end)
    times = _sun_and_shade(day) if day.suns else never_there
    if times is None:
        return None
    before, sunny, shaded = map(day.shows, times)
    return sun_value(before, sunny, shaded, day.record)


def _sun_and_shade(day: _Day) -> tuple[float, float, float] | None:
    """When the sun comes on the pipe, has warmed it, and the pipe has long been cool again, all off meanwhile [s]."""
    shades = [one for one in day.suns if isinstance(one, Shade)]
    if not shades:
        return None
    (comes, warm), (_, cool) = day.suns[0].moments(), shades[0].moments()
    if any(day.share(time) > NOTHING_ON for time in (comes, warm, cool)):
        return None
    after = next((one for one in day.every if one.middle > cool), None)
    return comes, warm, after.end if after and after.share <= NOTHING_ON else cool


def _spike(day: _Day) -> str | None:
    cuts = [(a, b) for a, b in pairwise(day.day) if a.share - b.share >= CUT_OFF]
    if not cuts:
        return None
    kicks = [
        kick(
            day.trace.peak(day.gauge, a.end, a.end + KICK_LASTS)[1] * day.factors[0],
            day.shows(a.end),
            day.shows(b.end),
            day.record,
        )
        for a, b in cuts
    ]
    return kick_value(max(kicks), day.record)


def _burners(day: _Day) -> str | None:
    def starved(one: _Stretch | None) -> bool:
        if one is None:
            return True
        little = day.burnt(one.end) < NO_GAS**2 * day.rated * min(1.0, one.share)
        return little or day.shows(one.end) < NO_GAS * day.set

    if day.on is None or not starved(day.on):
        return None if day.on is None else "gas"
    return "no gas" if starved(day.pilots) else "pilots only"


def _trip(day: _Day) -> str | None:
    times = [event.time for kind in TRIPS for event in day.trace.happened(kind) if event.time <= day.ends]
    if not times:
        return None
    first, ends = min(times), [one.end for one in day.every]
    here = min(bisect_left(ends, first), len(ends) - 1)
    before, now = day.every[max(here - 1, 0)], day.every[here]
    if before.share - now.share >= CUT_OFF and first <= before.end + TRIP_BY_KICK:
        return "as burners shut"
    return "all off" if now.share <= NOTHING_ON else "burners on"


_READ: Mapping[str, Callable[[_Day], str | None]] = {
    "outlet_on": lambda day: _outlet(day, day.on),
    "outlet_pilots": lambda day: _outlet(day, day.pilots),
    "outlet_off": lambda day: _outlet(day, day.off),
    "lock_up": _lock_up,
    "creep": _creep,
    "between": _between,
    "inlet": _inlet,
    "filter_drop": _filter_drop,
    "meter_on": _meter_on,
    "meter_off": _meter_off,
    "vent_on": lambda day: _vent(day, day.on),
    "vent_off": lambda day: _vent(day, day.off),
    "vent_held": _vent_held,
    "relief_start": _relief_start,
    "relief": _relief,
    "slam_shut": _slam_shut,
    "switch": _switch,
    "swing": lambda day: "hunts" if _swings(day) else "steady",
    "noise": _noise,
    "frost": _frost,
    "sun": _sun,
    "spike": _spike,
    "burners": _burners,
    "trip": _trip,
}
