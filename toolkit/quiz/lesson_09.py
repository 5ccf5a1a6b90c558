"""Lesson 09, the pressure switch."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from random import Random

from toolkit.devices.pressure_switch import PressureSwitch
from toolkit.devices.regulator import Regulator, lock_up_gauge_pressure
from toolkit.devices.slam_shut import SlamShut
from toolkit.faults import Debris, Fault, NickedSeat, TripShift
from toolkit.flow import nozzle
from toolkit.layers import NEVER_TRIPS
from toolkit.quiz.items import Item, pick, rounded
from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion, shown_order
from toolkit.quiz.pictures import OUTLET, outlet_picture
from toolkit.quiz.questions import NumericQuestion, Slip, TraceQuestion
from toolkit.scenario import Demand, Scenario, Station, Volume
from toolkit.simulation import simulate
from toolkit.trace import Trace
from toolkit.units import STANDARD_ATMOSPHERE, format_pressure, format_quantity

WORKER, SWITCH, SHUTOFF = "worker", "pressure_switch", "slam_shut"
# Rooms before the shutoff, between it and the worker, and behind the worker [m3].
BEFORE, BETWEEN, BEHIND = 1e-3, 2e-5, 5e-2
# A time read from a picture may be off by this share of the run.
READ_OFF = 0.03
# The burners go off here [s] and the worker locks up; where its seat leaks, from then on.
OFF = 20.0
NIGHT = (Demand(0.0, 1.0), Demand(OFF, 0.0))
# Pressures to be put in order stand apart by at least this share.
APART = 0.02
# A bridged switch makes at no pressure that a run reaches [Pa off its settings].
BLIND = 1e7


@dataclass(frozen=True)
class Setting:
    """A worker without a relief, and a switch behind it; gauge pressures [Pa], `demand` [standard m3/s].

    `drives` is "alarm", "lockout" (of the burners) or "trip" (of a slam-shut before the worker).
    """

    worker_set: float
    high: float
    low: float
    deadband: float
    demand: float
    drives: str = "alarm"
    manual_reset: bool = False

    @cached_property
    def station(self) -> Station:
        """What is built."""
        plain, trips = Station(), self.drives == "trip"
        load = replace(plain.loads[0], rated_flow=self.demand)
        # It senses nothing that would trip it: only the switch does.
        shut = SlamShut(name=SHUTOFF, senses=SlamShut.outlet, high_gauge_pressure=NEVER_TRIPS)
        switch = PressureSwitch(
            name=SWITCH,
            high_gauge_pressure=self.high,
            low_gauge_pressure=self.low,
            deadband=self.deadband,
            manual_reset=self.manual_reset,
            locks_out=(load.name,) if self.drives == "lockout" else (),
            trips=(SHUTOFF,) if trips else (),
        )
        rooms = (Volume("inlet", BETWEEN), Volume("outlet", BEHIND))
        return replace(
            plain,
            supply=replace(plain.supply, into=shut.inlet if trips else "inlet"),
            slam_shuts=(shut,) if trips else (),
            regulators=(Regulator(name=WORKER, relief=None, set_gauge_pressure=self.worker_set),),
            volumes=(Volume(shut.inlet, BEFORE), *rooms) if trips else rooms,
            loads=(load,),
            switches=(switch,),
        )

    @cached_property
    def full(self) -> float:
        """What the sound worker holds at full load, gauge Pa."""
        return simulate(Scenario(self.station, (Demand(0.0, 1.0),), (), OFF)).settled(OUTLET)

    @cached_property
    def lock_up(self) -> float:
        """Where the sound worker locks up, gauge Pa (closed form)."""
        return lock_up_gauge_pressure(self.station.regulators[0].condition(), self.station.supply.gauge_pressure)

    def leak(self, rate: float) -> NickedSeat:
        """A leak past the seat that lets the shut-in outlet rise by `rate` [Pa/s] at the high setting.

        Closed form: V dp/dt = R T m, with m of the nozzle law.
        """
        here = self.station
        air, rt, inlet = here.atmosphere, here.rt, here.supply.gauge_pressure
        per_area = nozzle(here.gas.heat_ratio, rt)(1.0, air + inlet, air + self.high)
        return NickedSeat(devices=WORKER, leak_area=rate * BEHIND / (rt * per_area), onset=OFF, ramp=1e-3)


def drawn(chance: Random, units: str, drives: str = "alarm") -> Setting:
    """A station whose switch is set well clear, in numbers that are round in the display unit."""
    worker_set = pick(chance, "low_gauge_pressure", units, (6.5, 8, 0.5), (16, 20, 1))
    return Setting(
        worker_set,
        worker_set + pick(chance, "low_gauge_pressure", units, (5, 6, 0.5), (12, 15, 1)),
        worker_set - pick(chance, "low_gauge_pressure", units, (2.5, 3.5, 0.5), (6, 9, 1)),
        pick(chance, "low_gauge_pressure", units, (1.5, 3, 0.5), (4, 7, 1)),
        pick(chance, "standard_flow", units, (1000, 1500, 100), (28, 42, 2)),
        drives,
    )


# The items


def _low(key: str, chance: Random, units: str) -> NumericQuestion:
    setting = drawn(chance, units, "lockout")
    accuracy = chance.choice((0.05, 0.08, 0.1))
    margin = pick(chance, "low_gauge_pressure", units, (0.5, 1.5, 0.5), (1, 4, 1))
    full = rounded(setting.full, "low_gauge_pressure", units)
    edge = full - margin
    return NumericQuestion(
        key,
        f"A worker is set to {format_pressure(setting.worker_set, units)} and holds {format_pressure(full, units)} at "
        f"full load. A low switch locks the burners out. It makes within {accuracy:.0%} of its setting, to either "
        f"side. Even where it makes at the highest pressure, that shall be {format_pressure(margin, units)} below what "
        "the worker holds at full load. What is its highest setting?",
        "low_gauge_pressure",
        edge / (1 + accuracy),
        f"It must not make above {format_pressure(edge, units)}. At its highest it makes at {1 + accuracy:.2f} of the "
        "setting, so divide by that. Set inside the droop, it locks the burners out at full load with nothing wrong.",
        (
            Slip("the band was left out", edge, "It may make above its setting; the band says how far."),
            Slip("the band was taken to the wrong side", edge / (1 - accuracy), "Early is above the setting here."),
            Slip("the droop was forgotten", (setting.worker_set - margin) / (1 + accuracy), "Full load holds less."),
        ),
        relative_tolerance=0.01,
        units=units,
    )


def rising(setting: Setting, rate: float, duration: float) -> Trace:
    """A night in which the seat leaks so that the outlet rises by `rate` [Pa/s]."""
    return simulate(Scenario(setting.station, NIGHT, (setting.leak(rate),), duration))


def _goes_on(key: str, chance: Random, units: str) -> NumericQuestion:
    setting = replace(drawn(chance, units, "lockout"), manual_reset=True)
    rate = pick(chance, "low_gauge_pressure", units, (0.1, 0.2, 0.02), (0.2, 0.5, 0.1))
    wait = chance.choice((60.0, 90.0, 120.0))
    trace = rising(setting, rate, OFF + (setting.high - setting.worker_set) / rate + wait + 30.0)
    (made,) = trace.happened("switch_high")
    each = f"{format_quantity(10 * rate, 'pressure_difference', units)} every ten seconds"
    high = format_pressure(setting.high, units)
    return NumericQuestion(
        key,
        f"A worker is set to {format_pressure(setting.worker_set, units)}. A switch that makes at {high} locks the "
        f"burners out. At night the worker's seat leaks, and the outlet rises by {each}. {wait:.0f} s after the switch "
        "has made, somebody comes. How high does the outlet stand then?",
        "low_gauge_pressure",
        trace.at(OUTLET, made.time + wait),
        f"A lockout shuts burners; it shuts nothing before the pipe. The leak goes on, {each} for {wait:.0f} s, on top "
        f"of {high}. Only what stops the gas before the worker, or lets it off, keeps the pressure down.",
        (
            Slip("the lockout was taken to hold the pressure", setting.high, "It protects the flame, not the pipe."),
            Slip("only the rise was given", rate * wait, "The rise comes on top of the setting."),
            Slip("it was counted from the set point", setting.worker_set + rate * wait, "Count from the setting."),
        ),
        relative_tolerance=0.03,
        units=units,
    )


def falling(chance: Random, units: str) -> tuple[Trace, float]:
    """A run in which the outlet climbs past the switch and is drawn down again slowly; when the switch lets go [s]."""
    setting = drawn(chance, units)
    top = setting.high + chance.uniform(0.2, 0.4) * (setting.high - setting.worker_set)
    rate = (top - setting.lock_up) / chance.uniform(40.0, 60.0)
    falls = setting.deadband / chance.uniform(20.0, 30.0)
    on = OFF + (top - setting.lock_up) / rate
    # What the pipe gives back and what leaks in, as a share of the burners: V dp/dt at one temperature.
    draws = BEHIND * (falls + rate) / STANDARD_ATMOSPHERE / setting.demand
    duration = 10.0 * round((on + 1.5 * (top - setting.high + setting.deadband) / falls + 20.0) / 10.0)
    demands = (*NIGHT, Demand(on, draws, stroke=1.0))
    trace = simulate(Scenario(setting.station, demands, (setting.leak(rate),), duration))
    return trace, trace.happened("switch_rest")[0].time


def _lets_go(key: str, chance: Random, units: str) -> TraceQuestion:
    trace, time = falling(chance, units)
    station, half = trace.scenario.station, READ_OFF * trace.scenario.duration
    (switch,), (worker,) = station.switches, station.regulators
    high = switch.high_gauge_pressure or 0.0
    marks = (("worker set", worker.set_gauge_pressure), ("switch makes", high))
    low_again, band = format_pressure(high - switch.deadband, units), format_pressure(switch.deadband, units)
    return TraceQuestion(
        key,
        f"A switch makes at {format_pressure(high, units)}, with a deadband of {band}, and lets go by itself. The "
        "burners go off, the worker's seat leaks, and then a small burner draws the outlet down again. When does the "
        "switch let go?",
        outlet_picture(trace, units, marks=marks),
        (time - half, time + half),
        trace.scenario.duration,
        f"It makes on the way up, at {trace.happened('switch_high')[0].time:.0f} s. On the way down it stays made past "
        f"its setting, and lets go only the deadband lower, at {low_again}: at {time:.0f} s.",
    )


LOW_MAKES, LOW_GOES = "The low side makes", "The low side lets go"
FULL, LOCK_UP = "The outlet at full load", "The worker's lock-up"
HIGH_GOES, HIGH_MAKES, RATING = "The high side lets go", "The high side makes", "The appliances' rating"


def ladder_of(setting: Setting) -> dict[str, float]:
    """The pressures around a switch [Pa gauge] by what they are, lowest first."""
    found = {
        LOW_MAKES: setting.low,
        LOW_GOES: setting.low + setting.deadband,
        FULL: setting.full,
        LOCK_UP: setting.lock_up,
        HIGH_GOES: setting.high - setting.deadband,
        HIGH_MAKES: setting.high,
        RATING: setting.station.loads[0].maximum_gauge_pressure,
    }
    return dict(sorted(found.items(), key=lambda one: one[1]))


def _ladder(key: str, chance: Random, units: str) -> OrderQuestion:
    while True:
        setting = drawn(chance, units)
        setting = replace(
            setting,
            high=setting.worker_set + pick(chance, "low_gauge_pressure", units, (2, 5.5, 0.5), (5, 14, 1)),
            deadband=pick(chance, "low_gauge_pressure", units, (0.5, 4, 0.5), (1, 10, 1)),
        )
        told = ladder_of(setting)
        apart = all(high > low * (1 + APART) for low, high in pairwise(told.values()))
        if apart and setting.low < setting.full and setting.lock_up < setting.high < told[RATING]:
            break
    names = list(told)
    late = {
        "the low side does not let go at full load": told[LOW_GOES] > told[FULL],
        "the high side does not let go at night": told[HIGH_GOES] < told[LOCK_UP],
        "nor does it at full load": told[HIGH_GOES] < told[FULL],
    }
    wide = ", ".join(words for words, true in late.items() if true)
    judged = f"Here, once made, {wide}: the deadband is too wide." if wide else "It lets go by day and by night."
    pairs = {
        (LOW_MAKES, LOW_GOES): "A low side lets go above where it made, by the deadband.",
        (LOW_MAKES, FULL): "A low side that makes above what is held at full load acts every day with nothing wrong.",
        (LOCK_UP, HIGH_MAKES): "A high side that makes below lock-up acts every night with nothing wrong.",
        (HIGH_GOES, HIGH_MAKES): "A high side lets go below where it made, by the deadband.",
    }
    shown = {name: format_pressure(gauge, units) for name, gauge in told.items()}
    pressures = "; ".join(f"{name}: {gauge}" for name, gauge in shown.items())
    return OrderQuestion(
        key,
        f"A worker holds {shown[FULL]} at full load and locks up at {shown[LOCK_UP]}. A switch makes at "
        f"{shown[LOW_MAKES]} on low and at {shown[HIGH_MAKES]} on high pressure, each with a deadband of "
        f"{format_pressure(setting.deadband, units)}. The appliances are rated for {shown[RATING]}. Put these "
        "pressures in order, the lowest first.",
        tuple(names),
        shown_order(len(names), chance),
        critical=tuple((names.index(lower), names.index(higher)) for lower, higher in pairs),
        cap=0.4,
        scoring="tau",
        explanation=f"{pressures}. {judged}",
        reasons=tuple(pairs.values()),
    )


def _told(known: Mapping[str, tuple[str, str]], options: Sequence[str], truth: str) -> tuple[str, ...]:
    """Of each option, what tells it; of a wrong one, what would be read if it were so."""
    return tuple(("" if one == truth else "If it were so: ") + known[one][1] for one in options)


# What a switch may drive, and how what is read tells it.
DRIVES: Mapping[str, tuple[str, str]] = {
    "alarm": ("an alarm only", "The lamp is on and the outlet stands high, yet the burners get their gas."),
    "lockout": ("the burners' lockout", "The burners stay off, and so nothing draws the high outlet down."),
    "trip": ("a slam-shut", "The outlet stopped near the setting, and there is no gas left in the morning."),
    "jumped": ("nothing: it is jumped, or its small valve is shut", "The outlet stands high, yet the lamp is off."),
}
# The burners are called for again, and the morning is read [s].
CALLED, READ = 200.0, 240.0


def driven(drives: str, setting: Setting) -> Trace:
    """A night with a leaking seat, and a morning on which the burners are called for, with one of DRIVES."""
    jumped = drives == "jumped"
    station = replace(setting, drives="alarm" if jumped else drives, manual_reset=True).station
    rate = (setting.high - setting.lock_up) / 40.0
    bridged = (TripShift(devices=SWITCH, high_by=BLIND, low_by=-BLIND, onset=-10.0),) if jumped else ()
    return simulate(Scenario(station, (*NIGHT, Demand(CALLED, 1.0)), (setting.leak(rate), *bridged), READ + 1.0))


def _drives(key: str, chance: Random, units: str) -> ChoiceQuestion:
    setting = drawn(chance, units)
    options = chance.sample(list(DRIVES), len(DRIVES))
    truth = chance.choice(options)
    traces = {one: driven(one, setting) for one in options}
    trace = traces[truth]

    def row(words: str, time: float) -> tuple[str, ...]:
        lamp = "on" if trace.at(f"{SWITCH}_made", time) > 0.5 else "off"
        burn = "called for" if time >= CALLED else "not called for"
        lit = trace.at("appliances_flow", time) > 0.5 * setting.demand
        return words, format_pressure(trace.at(OUTLET, time), units), lamp, f"{burn}, {'burn' if lit else 'off'}"

    return ChoiceQuestion(
        key,
        f"A worker is set to {format_pressure(setting.worker_set, units)}, and its seat leaks at night. A switch on "
        f"the outlet makes at {format_pressure(setting.high, units)} and must be reset by hand; its lamp shows whether "
        "it is made. What does the switch drive?",
        tuple(DRIVES[one][0] for one in options),
        options.index(truth),
        _told(DRIVES, options, truth),
        "A switch moves no gas itself. Ask what became of the burners, and what became of the pressure.",
        table=(("", "Outlet", "Lamp", "Burners"), row("end of the night", CALLED - 1), row("morning", READ)),
        traces=tuple(traces.values()),
        units=units,
    )


# Why a switch makes again and again, and how what is read tells it.
REASONS: Mapping[str, tuple[str, str]] = {
    "near": ("its high setting, true to its tag, lies below the worker's lock-up", "It made on a sound lock-up."),
    "droop": ("its low setting lies inside the worker's droop", "It made on a sound full load, true to its tag."),
    "grit": ("the worker's seat leaks", "The outlet climbs past lock-up and on; the switch is right."),
    "drift": ("the switch has drifted from its tag", "Tested, it makes far from its tag, at sound pressure."),
}
# At the end of such a day [s] the outlet at night is read, at once and later.
AT_ONCE, LATER = OFF + 10.0, 150.0


def day(reason: str, setting: Setting) -> Trace:
    """Full load, then night, with a switch that makes for one of REASONS."""
    near, inside = ((setting.worker_set + one) / 2 for one in (setting.lock_up, setting.full))
    settings = {"near": replace(setting, high=near), "droop": replace(setting, low=inside)}
    faults: dict[str, tuple[Fault, ...]] = {
        "grit": (Debris(devices=WORKER, height=1e-4, stiffness=1e8, edge=0.02, onset=5.0),),
        "drift": (TripShift(devices=SWITCH, high_by=near - setting.high, onset=-10.0),),
    }
    return simulate(Scenario(settings.get(reason, setting).station, NIGHT, faults.get(reason, ()), LATER + 1.0))


def read(trace: Trace, units: str) -> tuple[tuple[str, str], ...]:
    """What is read after such a day, as rows (what, reading)."""
    (switch,), faults = trace.scenario.station.switches, trace.scenario.faults
    made = next(event for event in trace.events if event.kind in ("switch_high", "switch_low"))
    high, low = switch.high_gauge_pressure or 0.0, switch.low_gauge_pressure or 0.0
    drifted = high + sum(fault.high_by for fault in faults if isinstance(fault, TripShift))
    gauges = {
        "high setting, on the tag": high,
        "high setting, tested with test gas": drifted,
        "low setting, on the tag and tested": low,
        "outlet at full load": trace.at(OUTLET, OFF - 1),
        "outlet soon after all burners are off": trace.at(OUTLET, AT_ONCE),
        f"the same, {LATER - AT_ONCE:.0f} s later": trace.at(OUTLET, LATER),
    }
    told = tuple((words, format_pressure(gauge, units)) for words, gauge in gauges.items())
    return (("the switch made on", "high" if made.kind == "switch_high" else "low"), *told)


def _reason(key: str, chance: Random, units: str) -> ChoiceQuestion:
    setting = drawn(chance, units)
    options = chance.sample(list(REASONS), len(REASONS))
    truth = chance.choice(options)
    traces = {one: day(one, setting) for one in options}

    full, lock_up = (format_pressure(one, units) for one in (setting.full, setting.lock_up))
    return ChoiceQuestion(
        key,
        f"A worker is set to {format_pressure(setting.worker_set, units)}. By its papers it holds {full} at full load "
        f"and locks up at {lock_up}. The switch behind it makes nearly every day. Qualified people took these "
        "readings. Why does it make?",
        tuple(REASONS[one][0] for one in options),
        options.index(truth),
        _told(REASONS, options, truth),
        "Compare the switch with its tag, and the outlet with the worker's papers. A switch that is right is not "
        "moved: what made it is mended.",
        table=(("What was looked at", "Reading"), *read(traces[truth], units)),
        traces=tuple(traces.values()),
        units=units,
    )


ITEMS = (
    Item("09.low", "09", "Set a low switch clear below what the worker holds at full load.", _low),
    Item("09.goes_on", "09", "Reckon how the pressure goes on after a burner lockout.", _goes_on),
    Item("09.lets_go", "09", "Read from the outlet's trace when a switch lets go.", _lets_go),
    Item("09.ladder", "09", "Put a switch's pressures in order with its worker's.", _ladder),
    Item("09.drives", "09", "Tell from readings what a switch drives, or that it is blind.", _drives),
    Item("09.reason", "09", "Tell from readings why a switch makes again and again.", _reason),
)
