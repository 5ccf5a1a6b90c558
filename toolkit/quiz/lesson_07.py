"""Lesson 07, the relief valve."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from math import pi, sqrt
from random import Random

import numpy as np

from toolkit.devices.regulator import Regulator, lock_up_gauge_pressure
from toolkit.devices.relief_valve import ReliefValve
from toolkit.faults import BlockedRelief, DirtyReliefSeat, Fault, NickedSeat, StuckStem
from toolkit.flow import mass_flow, standard_flow
from toolkit.quiz.items import Item, pick, rounded
from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion, shown_order
from toolkit.quiz.pictures import OUTLET, outlet_picture
from toolkit.quiz.questions import NumericQuestion, Slip, TraceQuestion
from toolkit.scenario import Demand, Scenario, Station, Volume
from toolkit.simulation import simulate
from toolkit.sizing import API_526_LETTERS, api_526_letter
from toolkit.trace import Trace
from toolkit.units import format_pressure, format_quantity

WORKER, VALVE = "worker", "relief_valve"
STACK_FLOW = f"{VALVE}_flow"
# Pipe behind the worker [m3].
ROOM = 2e-2
# Coefficient that goes with the effective areas of the standard's letters. Source: `api-520-1`.
DISCHARGE = 0.975
# What the appliances are rated for [Pa gauge].
RATED = Station().loads[0].maximum_gauge_pressure
# A time read from a picture may be off by this share of the run.
READ_OFF = 0.03
# Two pressures nearer than this share of each other are not asked to be told apart, nor two areas.
APART = 0.03
# Burners run, then are shut off; the readings of a visit are taken at the end of either [s].
BURNERS_OFF, END = 60.0, 120.0
# Flow area left open by a dirty seat [m2], about one burner's worth of gas.
WEEPS = 1.5e-6
# From which flows on gas at the stack hisses and roars [standard m3/s]; our own judgement.
HISSES, ROARS = 1e-5, 1e-2


@dataclass(frozen=True)
class Setting:
    """A worker and the relief valve behind it, as drawn: gauge pressures [Pa], shares of the valve's set pressure."""

    worker_set: float
    valve_set: float
    inlet: float
    build_up: float = 0.25
    blowdown: float = 0.15
    letter: str = "G"

    @property
    def full_lift(self) -> float:
        """Pressure at which the valve is wide open, gauge Pa."""
        return self.valve_set * (1 + self.build_up)

    @property
    def reseat(self) -> float:
        """Pressure at which the valve is shut again, gauge Pa."""
        return self.valve_set * (1 - self.blowdown)

    @property
    def station(self) -> Station:
        """The station: a worker without a relief of its own, adjusted at the inlet pressure that it has."""
        plain = Station()
        valve = ReliefValve(
            name=VALVE,
            set_gauge_pressure=self.valve_set,
            build_up=self.build_up,
            blowdown=self.blowdown,
            orifice_diameter=2 * sqrt(API_526_LETTERS[self.letter] / pi),
            discharge_coefficient=DISCHARGE,
        )
        worker = Regulator(
            name=WORKER, relief=None, set_gauge_pressure=self.worker_set, adjusted_at_inlet_gauge_pressure=self.inlet
        )
        return replace(
            plain,
            supply=replace(plain.supply, gauge_pressure=self.inlet),
            regulators=(worker,),
            volumes=(plain.volumes[0], Volume("outlet", ROOM)),
            relief_valves=(valve,),
        )

    @property
    def lock_up(self) -> float:
        """Where the worker locks up, gauge Pa."""
        return lock_up_gauge_pressure(self.station.regulators[0].condition(), self.inlet)


def drawn(chance: Random, units: str, letter: str = "G") -> Setting:
    """A worker and a relief valve clear above its lock-up, round in the display unit."""
    worker_set = pick(chance, "low_gauge_pressure", units, (6, 8, 0.5), (15, 20, 1))
    above = pick(chance, "low_gauge_pressure", units, (3, 6, 0.5), (8, 15, 1))
    inlet = pick(chance, "gauge_pressure", units, (40, 60, 5), (2.75, 4, 0.25))
    return Setting(worker_set, worker_set + above, inlet, letter=letter)


def sound(chance: Random, units: str, letter: str = "G", build_up: float = Setting.build_up) -> Setting:
    """As `drawn`, with a relief valve that at full lift keeps the outlet below the appliances' rating."""
    while (setting := replace(drawn(chance, units, letter), build_up=build_up)).full_lift >= RATED:
        pass
    return setting


def _reseat(key: str, chance: Random, units: str) -> NumericQuestion:
    setting = drawn(chance, units)
    lock_up = rounded(setting.lock_up, "low_gauge_pressure", units)
    margin = pick(chance, "low_gauge_pressure", units, (0.5, 1.5, 0.5), (1, 4, 1))
    # No more: with 25 % the key may pass the appliances' rating.
    blowdown = pick(chance, "fraction", units, (15, 20, 5), (15, 20, 5))
    share = format_quantity(blowdown, "fraction", units)
    return NumericQuestion(
        key,
        f"A worker is set to {format_pressure(setting.worker_set, units)}; with nothing flowing it locks up at "
        f"{format_pressure(lock_up, units)}. The relief valve behind it has a blowdown of {share} of its set "
        f"pressure. Once it has opened, it shall be shut again while the outlet still stands "
        f"{format_pressure(margin, units)} above the worker's lock-up. What is the lowest set pressure for it?",
        "low_gauge_pressure",
        (lock_up + margin) / (1 - blowdown),
        f"It must reseat at {format_pressure(lock_up + margin, units)}. That is what is left of the set pressure once "
        f"the blowdown of {share} is taken off: divide by {1 - blowdown:.2f}. A valve that reseats below the worker's "
        "lock-up, once open, blows all night with nothing wrong any more.",
        (
            Slip("the blowdown was left out", lock_up + margin, "That is where it must reseat. It opens higher."),
            Slip(
                *("the blowdown was added to the reseat pressure", (lock_up + margin) * (1 + blowdown)),
                "The blowdown is a share of the set pressure, not of the reseat pressure: divide, do not multiply.",
            ),
            Slip(
                *("the blowdown was taken off", (lock_up + margin) * (1 - blowdown)),
                "The valve reseats below its set pressure, so the set pressure stands above where it reseats.",
            ),
            Slip(
                *("the worker's set point was taken for its lock-up", (setting.worker_set + margin) / (1 - blowdown)),
                "With nothing flowing the outlet stands at lock-up, above the worker's set point.",
            ),
        ),
        relative_tolerance=0.01,
        units=units,
    )


def free_flow(station: Station, flow_area: float, gauge: float) -> float:
    """Flow [standard m3/s] through a flow area [m2] from a gauge pressure [Pa] into the open air."""
    air = station.atmosphere
    return standard_flow(mass_flow(flow_area, air + gauge, air, station.gas, station.temperature), station.gas)


def settled(setting: Setting) -> Trace:
    """A run in which the worker has stuck wide open and no burner is on."""
    return simulate(Scenario(setting.station, (Demand(0.0, 0.0),), (StuckStem(devices=WORKER, onset=10.0),), 90.0))


def _settles(key: str, chance: Random, units: str) -> NumericQuestion:
    build_up = pick(chance, "fraction", units, (20, 35, 5), (20, 35, 5))
    setting = sound(chance, units, chance.choice("GH"), build_up)
    trace = settled(setting)
    truth, comes = trace.settled(OUTLET), trace.settled(STACK_FLOW)
    area = setting.station.relief_valves[0].flow_area
    passes = rounded(free_flow(setting.station, area, setting.full_lift), "standard_flow", units)
    return NumericQuestion(
        key,
        f"A relief valve begins to open at {format_pressure(setting.valve_set, units)}. Its lift grows in step with "
        f"the pressure, and at {format_pressure(setting.full_lift, units)} it is at full lift and passes "
        f"{format_quantity(passes, 'standard_flow', units)}. The worker, set to "
        f"{format_pressure(setting.worker_set, units)}, sticks wide open and passes "
        f"{format_quantity(comes, 'standard_flow', units)}. No burner is on. At about what pressure does the outlet "
        "settle?",
        "low_gauge_pressure",
        truth,
        f"All that comes must leave. That takes {comes / passes:.0%} of the full flow, so about as much of the lift, "
        f"and about as much of the {format_pressure(setting.full_lift - setting.valve_set, units)} of build-up, on top "
        "of the set pressure.",
        (
            Slip(
                *("the set pressure was taken for the highest pressure", setting.valve_set),
                "At its set pressure a relief valve only begins to open. It passes the flow some way above.",
            ),
            Slip("the whole build-up was taken", setting.full_lift, "At full lift it would pass more than comes."),
            Slip(
                *("the worker's set point was given", setting.worker_set),
                "The worker holds nothing any more, and a relief valve does not bring the pressure back to it.",
            ),
            Slip("only the build-up was given", truth - setting.valve_set, "It comes on top of the set pressure."),
        ),
        units=units,
    )


def creeping(chance: Random, units: str) -> tuple[Trace, float]:
    """A run with a nick in the worker's seat, the burners off part of the way; when the relief valve opens [s]."""
    setting = sound(chance, units)
    off, takes = chance.uniform(20.0, 50.0), chance.uniform(40.0, 110.0)
    # The leak that brings the outlet from lock-up to the valve's set pressure in about that time, by the law of gases.
    plain = setting.station
    rise = (setting.valve_set - setting.lock_up) / plain.atmosphere * ROOM
    nick = rise / takes / free_flow(plain, 1.0, setting.inlet)
    fault = NickedSeat(devices=WORKER, leak_area=nick, onset=0.0, ramp=1.0)
    end = 10.0 * round((off + 1.6 * takes + 30.0) / 10.0)
    trace = simulate(Scenario(plain, (Demand(0.0, 1.0), Demand(off, 0.0)), (fault,), end))
    # So little gas hardly moves the disk: what counts is that it leaves its seat at all.
    return trace, float(trace.times[np.flatnonzero(trace[STACK_FLOW] > 0.0)[0]])


def _opens(key: str, chance: Random, units: str) -> TraceQuestion:
    trace, time = creeping(chance, units)
    station, half = trace.scenario.station, READ_OFF * trace.scenario.duration
    worker, valve = station.regulators[0].set_gauge_pressure, station.relief_valves[0].set_gauge_pressure
    return TraceQuestion(
        key,
        f"A worker is set to {format_pressure(worker, units)} and has a nick in its seat. The relief valve behind it "
        f"is set to {format_pressure(valve, units)}. The burners go off during the run. From when on does the relief "
        "valve let gas off?",
        outlet_picture(trace, units, marks=(("worker set", worker),)),
        (time - half, time + half),
        trace.scenario.duration,
        f"After the burners went off the outlet jumps to lock-up and then creeps. At {time:.0f} s it comes to the "
        f"relief valve's {format_pressure(valve, units)} and climbs no further: what leaks in goes out of the stack. "
        "An outlet that stops climbing so far above lock-up is not sound.",
    )


LOCK_UP, RESEATS, OPENS = "The worker's lock-up", "The relief valve is shut again", "The relief valve begins to open"
FULL, RATING = "The relief valve is at full lift", "The appliances' rating"


def ladder_of(setting: Setting) -> dict[str, float]:
    """The pressures around a relief valve [Pa gauge] by what they are, lowest first."""
    found = {
        "The worker's set point": setting.worker_set,
        LOCK_UP: setting.lock_up,
        RESEATS: setting.reseat,
        OPENS: setting.valve_set,
        FULL: setting.full_lift,
        RATING: RATED,
    }
    return dict(sorted(found.items(), key=lambda one: one[1]))


def _apart(values: list[float]) -> bool:
    """Whether each rising value stands clear of the one before."""
    return all(high > low * (1 + APART) for low, high in pairwise(values))


def _ladder(key: str, chance: Random, units: str) -> OrderQuestion:
    while True:
        setting = replace(
            drawn(chance, units),
            build_up=pick(chance, "fraction", units, (10, 40, 5), (10, 40, 5)),
            blowdown=pick(chance, "fraction", units, (5, 40, 5), (5, 40, 5)),
        )
        pressures = ladder_of(setting)
        # A valve that opens above the rating is no protection, and nobody would ask for its ladder.
        if _apart(list(pressures.values())) and setting.valve_set < pressures[RATING]:
            break
    names = list(pressures)
    shares = [format_quantity(one, "fraction", units) for one in (setting.build_up, setting.blowdown)]
    judged = []
    if setting.reseat < setting.lock_up:
        judged.append("Here the blowdown is too long: once open, the valve does not shut again at night.")
    if setting.full_lift > pressures[RATING]:
        judged.append("Here the build-up is too long: at full lift the appliances get more than they are rated for.")
    told = "; ".join(f"{name}: {format_pressure(gauge, units)}" for name, gauge in pressures.items())
    return OrderQuestion(
        key,
        f"A worker is set to {format_pressure(setting.worker_set, units)} and locks up at "
        f"{format_pressure(setting.lock_up, units)}. The relief valve behind it is set to "
        f"{format_pressure(setting.valve_set, units)}, with a build-up of {shares[0]} and a blowdown of {shares[1]} of "
        f"its set pressure. The appliances are rated for {format_pressure(pressures[RATING], units)}. Put these "
        "pressures in order, the lowest first.",
        tuple(names),
        shown_order(len(names), chance),
        critical=tuple((names.index(lower), names.index(OPENS)) for lower in (LOCK_UP, RESEATS)),
        cap=0.4,
        scoring="tau",
        explanation=f"{told}. {' '.join(judged) or 'That is a sound ladder.'}",
        reasons=(
            "A relief valve that opens below lock-up blows every night with nothing wrong.",
            "A relief valve shuts again below where it opened, by its blowdown.",
        ),
    )


def _letter(key: str, chance: Random, units: str) -> ChoiceQuestion:
    air = Station().atmosphere
    while True:
        usual = pick(chance, "gauge_pressure", units, (30, 60, 5), (2, 4, 0.25))
        highest = usual + pick(chance, "gauge_pressure", units, (30, 60, 10), (2, 4, 0.5))
        asked = pick(chance, "area", units, (0.15, 2.0, 0.01), (100, 1200, 10))
        area = asked * (highest + air) / (usual + air)
        right, by_usual, by_gauge = (api_526_letter(one) for one in (area, asked, asked * highest / usual))
        # No area at a letter's edge, and the usual inlet must lead astray.
        if by_usual != right and _apart(sorted((*API_526_LETTERS.values(), area))):
            break
    letters = list(API_526_LETTERS)
    at = letters.index(right)
    offered = sorted({by_usual, letters[at - 1], right, letters[at + 1], by_gauge}, key=letters.index)
    needed = format_quantity(area, "area", units)

    def told(letter: str) -> str:
        has = format_quantity(API_526_LETTERS[letter], "area", units)
        if letter == right:
            return f"{letter} has {has}, the smallest that is at least the {needed} needed."
        if API_526_LETTERS[letter] < area:
            why = " It is enough at the usual inlet, but not when the main stands high." if letter == by_usual else ""
            return f"{letter} has {has}, less than the {needed} needed.{why}"
        why = " Absolute pressures count, not gauge pressures." if letter == by_gauge else ""
        return f"{letter} has {has}; a smaller one is enough.{why}"

    rows = tuple((letter, format_quantity(API_526_LETTERS[letter], "area", units)) for letter in offered)
    return ChoiceQuestion(
        key,
        f"A worker sticks wide open. At the usual inlet of {format_pressure(usual, units)} the relief valve "
        f"behind it would need {format_quantity(asked, 'area', units)} of effective area. The main in front may go to "
        f"{format_pressure(highest, units)}. Which is the smallest standard orifice that is enough?",
        tuple(offered),
        offered.index(right),
        tuple(told(letter) for letter in offered),
        "What comes through the worker goes with the absolute inlet pressure, and so does the area: "
        f"{needed}. Then take the next standard orifice up, never the nearest.",
        table=(("Orifice", "Effective area"), *rows),
        units=units,
    )


STATES = {
    "sound": "The relief valve does its work; the worker has failed.",
    "isolated": "The worker has failed, and the relief valve's isolating valve is shut.",
    "small": "The worker has failed, and the relief valve is too small for what comes.",
    "weeps": "The worker holds; the relief valve's seat has stayed dirty after a pop.",
}
# Orifices that pass the flow of the bench's worker wide open at the inlets drawn, and one that does not.
ENOUGH, TOO_SMALL = "H", "E"


def in_state(setting: Setting, state: str) -> Trace:
    """A run with the station in one of STATES: burners on, then all off."""
    station = replace(setting, letter=TOO_SMALL if state == "small" else ENOUGH).station
    faults: tuple[Fault, ...] = (StuckStem(devices=WORKER, onset=-10.0),)
    if state == "isolated":
        faults = (*faults, BlockedRelief(devices=VALVE, highest_lift=0.0, onset=-10.0))
    if state == "weeps":
        faults = (DirtyReliefSeat(devices=VALVE, leak_area=WEEPS, onset=-10.0),)
    return simulate(Scenario(station, (Demand(0.0, 1.0), Demand(BURNERS_OFF, 0.0)), faults, END))


def sound_of(flow: float) -> str:
    """What is heard at the stack for a flow [standard m3/s] out of it."""
    return "nothing" if flow < HISSES else "a faint hiss" if flow < ROARS else "a roar"


def _state(key: str, chance: Random, units: str) -> ChoiceQuestion:
    setting = sound(chance, units)
    options = chance.sample(list(STATES), len(STATES))
    truth = chance.choice(options)
    traces = {state: in_state(setting, state) for state in options}
    full, opens, rated = (format_pressure(one, units) for one in (setting.full_lift, setting.valve_set, RATED))

    def read(state: str, time: float) -> tuple[str, str]:
        return format_pressure(traces[state].at(OUTLET, time), units), sound_of(traces[state].at(STACK_FLOW, time))

    def told(state: str) -> str:
        (on, noise), (off, later) = read(state, BURNERS_OFF - 1), read(state, END - 1)
        heard = noise if noise == later else f"{noise}, then {later}"
        return f"Then the outlet stands at {on} with the burners on and at {off} with all off, and you hear {heard}."

    rows = tuple((words, *read(truth, time)) for words, time in (("burners on", BURNERS_OFF - 1), ("all off", END - 1)))
    why = {
        "sound": f"With all off the outlet stands between {opens} and {full}, and the stack roars: all that comes "
        f"leaves, below the appliances' {rated}. The trouble is the worker.",
        "isolated": f"The outlet stands far above {full}, and the stack is still: no gas can get to it.",
        "small": f"The stack roars, and yet the outlet stands above the {full} of full lift: it passes too little.",
        "weeps": f"The outlet holds as it should, far below {opens}, and yet gas leaves: the valve does not seal.",
    }[truth]
    return ChoiceQuestion(
        key,
        f"A worker is set to {format_pressure(setting.worker_set, units)}. By the sheet the relief valve behind it "
        f"begins to open at {opens} and is at full lift at {full}; the appliances are rated for {rated}. A "
        "qualified person reads the gauge and listens from well away from the stack. What is the matter?",
        tuple(STATES[state] for state in options),
        options.index(truth),
        tuple(why if state == truth else told(state) for state in options),
        "Read the outlet against three pressures: the worker's set point, where the relief valve opens, where it is at "
        "full lift. Then ask whether gas leaves.",
        table=(("", "Outlet", "At the stack"), *rows),
        traces=tuple(traces.values()),
        units=units,
    )


ITEMS = (
    Item("07.reseat", "07", "Set a relief valve so that it reseats above its worker's lock-up.", _reseat),
    Item("07.letter", "07", "Choose the standard orifice that is enough in the worst case.", _letter),
    Item("07.settles", "07", "Reckon the build-up from what comes and what a relief valve can pass.", _settles),
    Item("07.opens", "07", "Read from the outlet's trace when a relief valve lets gas off.", _opens),
    Item("07.ladder", "07", "Put a relief valve's pressures in order with its worker's.", _ladder),
    Item("07.state", "07", "Tell a relief valve at work from one that is shut off, small or dirty.", _state),
)
