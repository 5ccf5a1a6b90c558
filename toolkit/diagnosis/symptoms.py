"""What shows over a day, taken off a trace with coarse gauges and noses.

A day: any timetable. `symptoms_of` reads it at the end of each stretch of steady demand, beside the run of the same
station in good order; what is latched or flagged tells of the whole day.
Times, gauge steps, what counts as a whiff, as high or as low are engineering judgement.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from toolkit.devices.regulator import Regulator, lock_up_gauge_pressure
from toolkit.faults import Warmed
from toolkit.hunting import FASTEST
from toolkit.trace import Trace
from toolkit.units import BAR, CELSIUS_ZERO, IN_WC, PSI

# Standard volume flow from which gas at the vent is noticed, and from which it is strong [m3/s]: 0.25 and 5 scfh.
VENT_STEPS = (2e-6, 4e-5)

LOW_GAUGE_STEP, LOW_GAUGE_TOP = 0.1 * IN_WC, 60 * IN_WC
HIGH_GAUGE_STEP = 0.5 * PSI


def gauge_shows(gauge_pressure: float) -> float:
    """Return what is read of a pressure [Pa]: 0.1 in. w.c. steps up to 60 in. w.c., half psi above that."""
    step = gauge_step(gauge_pressure)
    return round(gauge_pressure / step) * step


def gauge_step(gauge_pressure: float) -> float:
    """The step in which a gauge of this pressure [Pa] is read, Pa."""
    return LOW_GAUGE_STEP if abs(gauge_pressure) < LOW_GAUGE_TOP else HIGH_GAUGE_STEP


def vent_level(standard_flow: float) -> int:
    """How strongly a vent smells at a standard volume flow [m3/s], 0 for none to 2; air drawn in counts as none."""
    return sum(standard_flow >= step for step in VENT_STEPS)


@dataclass(frozen=True)
class Symptom:
    """Something a technician can meet: the letter of its column, a short plain name, how it is met."""

    key: str
    name: str
    met: str


SYMPTOMS: dict[str, Symptom] = {
    one.key: one
    for one in (
        Symptom("a", "gas at the vent", "The vent smells or bubbles under soap while nothing is changing."),
        Symptom("b", "creep at no flow", "With everything shut off the gauge goes on rising, or stands above lock-up."),
        Symptom("c", "high under flow", "With the burners on the gauge stands above lock-up."),
        Symptom("d", "low only at high load", "The gauge is right with little on and sags when all burners are on."),
        Symptom("e", "low always", "The gauge is low with little on and with all on."),
        Symptom("f", "no gas", "Burners do not light or go out, and nothing comes any more."),
        Symptom("g", "hunting", "The needle swings to and fro with a steady demand and does not come to rest."),
        Symptom("h", "hum", "The regulator hums or buzzes: a swing too fast to follow, or a disk next to its seat."),
        Symptom("i", "relief open or weeping", "A relief has opened, or gas comes out of its stack."),
        Symptom("j", "slam-shut trips", "The safety shutoff has shut and waits to be reset by hand."),
        Symptom("k", "switch trips or chatters", "The pressure switch gives its alarm, or comes and goes."),
        Symptom("l", "rises with the sun", "The gauge climbs while the sun is on pipe or regulator and nothing draws."),
        Symptom("m", "frost", "The regulator is white with frost while gas flows."),
        Symptom("n", "steady at the monitor's set", "The gauge stands still where the monitor is set, not the worker."),
        Symptom("o", "spike at cut-off", "As the burners shut the gauge kicks up and falls back, or trips a layer."),
    )
}

# Shares of the set point: this far above what the sound station shows is high, and a little; below this share is low;
# below that one burners do not hold; within this much it stands still.
HIGH, LITTLE, LOW, NO_GAS, STILL = 0.10, 0.05, 0.85, 0.2, 0.02
# Shares of the rating: from here on burners are on, up to here little is on, from here on all is; below, nothing is.
UNDER_FLOW, LITTLE_ON, ALL_ON, NOTHING_ON = 0.4, 0.35, 0.6, 0.005
# A cut-off takes off this share of the rating; its kick is this share of the set point above the sound station's own
# and over after so many seconds; a trip by it comes sooner.
CUT_OFF, KICK, KICK_LASTS, TRIP_BY_KICK = 0.4, 0.25, 15.0, 5.0
# A swing from this frequency on [Hz] is heard, about where hearing begins. Next to its seat: within this share of the
# travel while this share of the rating or more passes.
AUDIBLE, NEXT_TO_SEAT, PASSES = 20.0, 0.02, 0.1
# The sun's own rise, as a share of the set point.
SUN_RISE = 0.05
# Cooling of a gas by a pressure drop [K/Pa] and the share of the rating from which the flow carries the cold to the
# body. The gas is taken as wet and at the station's temperature; frost is an outlet below freezing. Source of the
# first value: `coolprop`, methane at 15 degC; the second is propane at 2 bar from the same library.
COOLING = {"natural_gas": 0.46 / BAR, "propane": 2.0 / BAR}
COLD_FLOW = 0.1


class _Reading(NamedTuple):
    """The end of a stretch of steady demand: its middle and end [s], the share of the rating, whether in the sun."""

    middle: float
    end: float
    share: float
    sunny: bool


def symptoms_of(trace: Trace, sound: Trace, arrives: float = 0.0) -> frozenset[str]:
    """The symptoms of a day, by their letters in SYMPTOMS.

    `sound` is the run of the station in good order under the timetable it was built for. Steady readings are taken
    once every fault is fully there and the technician has arrived [s]; trips and switch alarms of the whole day are
    found on arrival, a relief that opened and shut again before is not. A station without a device does not show it.
    """
    day = _Day(trace, sound, arrives)
    return frozenset(key for key, shows in _SHOWS.items() if shows(day))


class _Day:
    """A trace beside the sound one, with what several symptoms look at."""

    def __init__(self, trace: Trace, sound: Trace, arrives: float) -> None:
        self.trace, self.sound, self.arrives = trace, sound, arrives
        scenario = trace.scenario
        self.station = scenario.station
        self.gauge = f"{self.station.loads[0].at}_gauge_pressure"
        self.set = min(one.set_gauge_pressure for one in sound.scenario.station.regulators)
        self.rated = sum(load.rated_flow for load in sound.scenario.station.loads)
        self.suns = [one for one in scenario.faults if isinstance(one, Warmed)]
        self.since = max([arrives, *(one.moments()[1] for one in scenario.faults if not isinstance(one, Warmed))])
        self.readings = [one for one in self._stretches() if one.end > self.since]
        self.shade = [one for one in self.readings if not one.sunny]
        self.flowing = [one for one in self.readings if one.share > NOTHING_ON]
        self.stands = [one for one in self.shade if one.share <= NOTHING_ON]

    def _stretches(self) -> list[_Reading]:
        scenario = self.trace.scenario
        ends = {(one.time, one.moments()[1]) for one in scenario.demands if one.time > 0.0}
        ends |= {one.moments() for one in self.suns}
        ends |= {(one.time, one.moments()[1]) for one in scenario.actions}
        marks = sorted((a, b) for a, b in ends if a < scenario.duration)
        starts = [0.0, *(b for _, b in marks)]
        sunrise = min((one.onset for one in self.suns), default=float("inf"))
        return [
            _Reading(0.5 * (start + end), end, self.flow_of(self.sound, end) / self.rated, end > sunrise)
            for start, end in zip(starts, [*(a for a, _ in marks), scenario.duration], strict=True)
            if end > start
        ]

    def flow_of(self, trace: Trace, time: float) -> float:
        """What all loads take at a time, standard m3/s."""
        return sum(trace.at(f"{load.name}_flow", time) for load in trace.scenario.station.loads)

    def shows(self, time: float) -> float:
        """The gauge at the loads, Pa."""
        return self.trace.at(self.gauge, time)

    def above(self, time: float) -> float:
        """How far the gauge stands above the sound station's, as a share of the set point."""
        return (self.shows(time) - self.sound.at(self.gauge, time)) / self.set

    def low(self, one: _Reading) -> bool:
        """Whether the gauge is low, not merely drooping as it always did."""
        return self.shows(one.end) < LOW * self.set and self.above(one.end) < -LITTLE

    def gasless(self, one: _Reading) -> bool:
        """Whether burners go out: hardly any pressure at them, or no flow through them."""
        starved = self.flow_of(self.trace, one.end) < NO_GAS**2 * self.flow_of(self.sound, one.end)
        return starved or self.shows(one.end) < NO_GAS * self.set

    def events(self, *kinds: str, since: float = 0.0) -> bool:
        """Whether something happened that does not happen to the sound station."""
        return any(
            any(event.time >= since for event in self.trace.happened(kind)) and not self.sound.happened(kind)
            for kind in kinds
        )

    def no_gas(self) -> bool:
        """Whether gas fails at a reading and does not come back."""
        return bool(self.flowing) and self.gasless(self.flowing[-1])

    def lows(self) -> tuple[bool, bool]:
        """Whether it is low with all burners on, and with little on, as long as gas comes at all."""
        burning = [] if self.no_gas() else self.flowing
        high = [self.low(one) for one in burning if one.share >= ALL_ON]
        little = [self.low(one) for one in burning if one.share <= LITTLE_ON]
        return any(high), bool(little) and all(little)

    def monitors(self) -> list[Regulator]:
        """The regulators in series with another that are set above it."""
        all_of = self.station.regulators
        return [
            one
            for one in all_of
            if one.set_gauge_pressure > self.set
            and any(one.outlet == other.inlet or other.outlet == one.inlet for other in all_of)
        ]


def _gas_at_vent(day: _Day) -> bool:
    # Air that the case breathes does not smell: gas has to pass the diaphragm, and the vent.
    def smells(regulator: str, time: float) -> bool:
        return all(vent_level(day.trace.at(f"{regulator}_{flow}_flow", time)) > 0 for flow in ("relief", "vent"))

    return any(smells(regulator.name, one.end) for regulator in day.station.regulators for one in day.readings)


def _creep(day: _Day) -> bool:
    def rises(one: _Reading) -> bool:
        return day.shows(one.end) - day.shows(one.middle) > STILL * day.set and day.above(one.end) > STILL

    return any(day.above(one.end) > HIGH or rises(one) for one in day.stands)


def _high_under_flow(day: _Day) -> bool:
    most = day.set + HIGH * day.set
    for one in day.readings:
        most = max(most, day.sound.at(day.gauge, one.end))
    return any(day.shows(one.end) > most + LITTLE * day.set for one in day.flowing if one.share >= UNDER_FLOW)


def _hunts(day: _Day) -> list[float]:
    """The frequencies at which it hunts [Hz] where the sound station does not."""
    if day.sound.happened("hunts"):
        return []
    swings = [event.value for event in day.trace.happened("hunts") if event.time >= day.arrives]
    return [frequency for frequency in swings if frequency < FASTEST]


def _hums(day: _Day) -> bool:
    def next_to_seat(one: _Reading, trace: Trace) -> bool:
        lifts = [(trace.at(f"{r.name}_lift", one.end), r.travel) for r in trace.scenario.station.regulators]
        passes = day.flow_of(trace, one.end) > PASSES * day.rated
        return passes and any(0.0 < lift < NEXT_TO_SEAT * travel for lift, travel in lifts)

    return any(frequency >= AUDIBLE for frequency in _hunts(day)) or any(
        next_to_seat(one, day.trace) and not next_to_seat(one, day.sound) for one in day.flowing
    )


def _relief_open(day: _Day) -> bool:
    weeps = any(
        vent_level(day.trace.at(f"{valve.name}_flow", one.end)) > 0
        for valve in day.station.relief_valves
        for one in day.readings
    )
    return weeps or day.events("valve_opens", "relief_opens", since=day.arrives)


def _rises_with_sun(day: _Day) -> bool:
    def rise(trace: Trace, sun: Warmed) -> float:
        start, end = (min(time, trace.scenario.duration) for time in sun.moments())
        return trace.at(day.gauge, end) - trace.at(day.gauge, start)

    return any(rise(day.trace, sun) - rise(day.sound, sun) > SUN_RISE * day.set for sun in day.suns)


def _frost(day: _Day) -> bool:
    cooling = COOLING.get(day.station.gas.key, 0.0)

    def outlet(one: _Reading, regulator: Regulator) -> float:
        inlet, leaves = (
            day.trace.at(f"{room}_gauge_pressure", one.end) for room in (regulator.inlet, regulator.outlet)
        )
        return day.station.temperature - cooling * (inlet - leaves)

    return any(
        outlet(one, regulator) < CELSIUS_ZERO
        for one in day.flowing
        if day.flow_of(day.trace, one.end) > COLD_FLOW * day.rated
        for regulator in day.station.regulators
    )


def _at_monitor(day: _Day) -> bool:
    def stands(one: _Reading, monitor: Regulator) -> bool:
        # It droops with the load as the worker does, and with no flow it locks up.
        raised = (monitor.set_gauge_pressure - day.set) / day.set
        top = lock_up_gauge_pressure(monitor.condition(), day.station.supply.gauge_pressure) + STILL * day.set
        still = abs(day.shows(one.end) - day.shows(one.middle)) < STILL * day.set
        return still and day.above(one.end) > max(LITTLE, raised - HIGH) and day.shows(one.end) < top

    return any(stands(one, monitor) for monitor in day.monitors() for one in day.shade)


def _spike(day: _Day) -> bool:
    def kicks(before: _Reading, after: _Reading) -> bool:
        cut = before.end
        if before.share - after.share < CUT_OFF or day.above(cut) > HIGH:
            return False
        peak, good = (trace.peak(day.gauge, cut, cut + KICK_LASTS)[1] for trace in (day.trace, day.sound))
        trips = [event for kind in TRIPS for event in day.trace.happened(kind) if cut <= event.time <= after.end]
        if trips:
            # A kick as it always was, into a setting that stands too near.
            return trips[0].time <= cut + TRIP_BY_KICK and trips[0].value <= good
        kick = peak - good
        return kick > KICK * day.set and day.above(after.end) * day.set < 0.5 * kick

    return any(kicks(before, after) for before, after in pairwise(day.shade))


TRIPS = ("trips_high", "trips_low", "trips_by_switch")
_SHOWS: dict[str, Callable[[_Day], bool]] = {
    "a": _gas_at_vent,
    "b": _creep,
    "c": _high_under_flow,
    "d": lambda day: day.lows() == (True, False),
    "e": lambda day: day.lows() == (True, True),
    "f": _Day.no_gas,
    "g": lambda day: bool(_hunts(day)),
    "h": _hums,
    "i": _relief_open,
    "j": lambda day: day.events(*TRIPS),
    "k": lambda day: day.events("switch_high", "switch_low"),
    "l": _rises_with_sun,
    "m": _frost,
    "n": _at_monitor,
    "o": _spike,
}
