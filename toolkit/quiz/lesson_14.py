"""Lesson 14, set, break, defend: questions on a station with every layer."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from random import Random

from toolkit.devices.balance import valve_area
from toolkit.devices.line import SensingLine
from toolkit.devices.regulator import lock_up_gauge_pressure
from toolkit.devices.relief_valve import ReliefValve
from toolkit.devices.slam_shut import SlamShut
from toolkit.faults import BlockedRelief, BrokenSensingLine, Debris, Fault, StuckShutoff, StuckStem, TripShift
from toolkit.flow import mass_flow, standard_flow
from toolkit.ladder import RELIEF_VALVE_TOLERANCE
from toolkit.layers import MONITOR, wide_open
from toolkit.quiz.cause import CauseQuestion
from toolkit.quiz.items import Item, pick, rounded
from toolkit.quiz.lesson_05 import DISTRICT_VISIT, monitored
from toolkit.quiz.lesson_07 import sound_of
from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion, shown_order
from toolkit.quiz.pictures import OUTLET, outlet_picture
from toolkit.quiz.questions import NumericQuestion, Slip, TraceQuestion
from toolkit.quiz.spread import amounts_to, cause_question
from toolkit.scenario import Demand, Scenario, Station, Volume
from toolkit.simulation import simulate
from toolkit.trace import Trace
from toolkit.units import INCH, PSI, format_pressure, format_quantity

WORKER, VALVE, SHUTOFF = "worker", "relief_valve", "slam_shut"
BETWEEN, STACK_FLOW = "interstage_gauge_pressure", f"{VALVE}_flow"
# What the burners' controls take [Pa gauge].
RATING = 1 * PSI
# Room before the slam-shut, in it, between the regulators, and in the pipe behind them [m3].
BEFORE, IN_BODY, INTERSTAGE, ROOM = 1e-3, 2e-5, 3e-4, 0.5
# A relief valve that passes all that two wide-open regulators let through at the inlets drawn, and its stack [m].
BORE, STACK_BORE = 1.25 * INCH, 3 * INCH
# A slug's height on each seat [m] and its hardness [N/m].
SLUG, GRIT = 6e-4, 1e8
# A relief valve that was shut off before the run began: its disk feels nothing and stays down.
ISOLATED = BlockedRelief(devices=VALVE, highest_lift=0.0, onset=-10.0)
# Two pressures nearer than this share are not asked to be told apart; a time read may be off by this share of a run.
APART, READ_OFF = 0.03, 0.03
# A slam-shut trips within so much of its setting [%], to either side: lowest, highest and step, in both display units.
SHUTS_WITHIN = ((4, 10, 2), (4, 10, 2))
# A monitor has let go this far above what it held (share).
LET_GO = 1.06
# What is looked at with every layer in place.
EVERY_LAYER = (*DISTRICT_VISIT, "slam_shut", "trip", "slam_shut_point")


@dataclass(frozen=True)
class Setting:
    """The settings of a station with every layer, gauge Pa: worker, monitor, relief valve, slam-shut; its inlet."""

    worker: float
    monitor: float
    valve: float
    trip: float
    inlet: float

    def station(self, *, shared: bool = False, shut_senses: str = "outlet") -> Station:
        """Slam-shut, monitor, worker, relief valve; both regulators on one line where `shared`."""
        lines = ("one_line",) if shared else ("monitor_line", "worker_line")
        held = monitored(self.worker, self.monitor - self.worker, self.inlet, between=INTERSTAGE, behind=ROOM)
        monitor, worker = held.regulators
        shut = SlamShut(name=SHUTOFF, senses=shut_senses, high_gauge_pressure=self.trip)
        valve = ReliefValve(name=VALVE, set_gauge_pressure=self.valve, orifice_diameter=BORE, stack_bore=STACK_BORE)
        return replace(
            held,
            supply=replace(held.supply, into=shut.inlet),
            regulators=(replace(monitor, senses=lines[0]), replace(worker, senses=lines[-1])),
            volumes=(Volume(shut.inlet, BEFORE), Volume("inlet", IN_BODY), *held.volumes[1:]),
            sensing_lines=tuple(SensingLine(name) for name in lines),
            slam_shuts=(shut,),
            relief_valves=(valve,),
        )

    def lock_ups(self) -> tuple[float, float]:
        """Where worker and monitor lock up, gauge Pa."""
        monitor, worker = (lock_up_gauge_pressure(r.condition(), self.inlet) for r in self.station().regulators)
        return worker, monitor


def drawn(chance: Random, units: str) -> Setting:
    """A sound station, its settings round in the display unit."""
    worker = pick(chance, "low_gauge_pressure", units, (6, 8, 0.5), (15, 20, 1))
    return Setting(
        worker,
        worker + pick(chance, "low_gauge_pressure", units, (4, 5, 0.5), (10, 12, 1)),
        pick(chance, "low_gauge_pressure", units, (15, 17, 0.5), (38, 43, 1)),
        pick(chance, "low_gauge_pressure", units, (21, 22.5, 0.5), (53, 56, 1)),
        pick(chance, "gauge_pressure", units, (40, 60, 5), (2.75, 4, 0.25)),
    )


def _told(setting: Setting, units: str) -> str:
    """The station in two sentences."""
    gauges = (setting.worker, setting.monitor, setting.valve, setting.trip, setting.inlet)
    worker, monitor, valve, trip, inlet = (format_pressure(one, units) for one in gauges)
    return (
        f"A worker is set to {worker}, its monitor to {monitor}. A relief valve opens at {valve}, a slam-shut trips at "
        f"{trip}; the inlet holds {inlet}, and the burners' controls are rated for {format_pressure(RATING, units)}."
    )


LOCK_UP, HELD, OPENS = "The worker's lock-up", "The monitor's lock-up", "The relief valve begins to open"
FULL, SOONEST, RATED = "The relief valve is at full lift", "The slam-shut trips, at its soonest", "The burners' rating"


def ladder_of(setting: Setting, build_up: float, accuracy: float) -> dict[str, float]:
    """The pressures of a station [Pa gauge] by what they are, lowest first; `build_up` and `accuracy` are shares."""
    lock_up, held = setting.lock_ups()
    found = {
        "The worker's set point": setting.worker,
        LOCK_UP: lock_up,
        HELD: held,
        OPENS: setting.valve,
        FULL: setting.valve * (1 + build_up),
        SOONEST: setting.trip * (1 - accuracy),
        RATED: RATING,
    }
    return dict(sorted(found.items(), key=lambda one: one[1]))


def _ladder(key: str, chance: Random, units: str) -> OrderQuestion:
    while True:
        setting = drawn(chance, units)
        build_up = pick(chance, "fraction", units, (10, 50, 5), (10, 50, 5))
        accuracy = pick(chance, "fraction", units, *SHUTS_WITHIN)
        found = ladder_of(setting, build_up, accuracy)
        if all(high > low * (1 + APART) for low, high in pairwise(found.values())):
            break
    names = list(found)
    shares = [format_quantity(one, "fraction", units) for one in (build_up, accuracy)]
    lock_up, held = (format_pressure(one, units) for one in setting.lock_ups())
    near = "Here the slam-shut may trip while the relief valve still does its work: too little room."
    judged = near if found[SOONEST] < found[FULL] else "This is a sound ladder."
    told = "; ".join(f"{name}: {format_pressure(gauge, units)}" for name, gauge in found.items())
    return OrderQuestion(
        key,
        f"{_told(setting, units)} The worker locks up at {lock_up}, the monitor at {held}. The relief valve's build-up "
        f"is {shares[0]} of its set pressure; the slam-shut trips within {shares[1]} of its setting. Put these "
        "pressures in order, the lowest first.",
        tuple(names),
        shown_order(len(names), chance),
        critical=tuple((names.index(low), names.index(high)) for low, high in CRITICAL),
        cap=0.4,
        scoring="tau",
        explanation=f"{told}. {judged}",
        reasons=tuple(CRITICAL.values()),
    )


CRITICAL = {
    (LOCK_UP, OPENS): "A relief valve that opens below lock-up blows every night with nothing wrong.",
    (HELD, OPENS): "A relief valve that opens below what the monitor holds blows while the monitor does its work.",
    (HELD, SOONEST): "A slam-shut that trips below what the monitor holds puts the burners out for nothing.",
}


def both_open(setting: Setting) -> Trace:
    """A night in which worker and monitor have stuck wide open, and only the relief valve is left."""
    stuck = StuckStem(devices=(WORKER, MONITOR), onset=10.0), StuckShutoff(devices=SHUTOFF, onset=-10.0)
    return simulate(Scenario(setting.station(), (Demand(0.0, 0.0),), stuck, 90.0))


def _room(key: str, chance: Random, units: str) -> NumericQuestion:
    setting = drawn(chance, units)
    accuracy = pick(chance, "fraction", units, *SHUTS_WITHIN)
    ends = rounded(both_open(setting).settled(OUTLET), "low_gauge_pressure", units)
    high = RELIEF_VALVE_TOLERANCE * setting.valve
    tolerance, share = (format_quantity(one, "fraction", units) for one in (RELIEF_VALVE_TOLERANCE, accuracy))
    opens, top = format_pressure(setting.valve, units), format_pressure(ends, units)
    return NumericQuestion(
        key,
        f"A relief valve is set to {opens}. With both regulators before it wide open it passes all that comes, with "
        f"the outlet at {top}. It may stand high by {tolerance} of its set pressure. A slam-shut trips within {share} "
        "of its setting, to either side. What is its lowest setting, so that it never trips while the relief valve "
        "does its work?",
        "low_gauge_pressure",
        (ends + high) / (1 - accuracy),
        f"A relief valve that stands high ends at {format_pressure(ends + high, units)}. At its soonest the slam-shut "
        f"trips at {1 - accuracy:.2f} of its setting, so divide by that. Two bands lie between two layers.",
        (
            Slip("both bands were left out", ends, "Neither device stands just where its tag says."),
            Slip("the relief valve's band was left out", ends / (1 - accuracy), "One that stands high ends higher."),
            Slip("the slam-shut's band was left out", ends + high, "It may trip below its setting."),
            Slip("the build-up was left out", (setting.valve + high) / (1 - accuracy), "There it only begins to open."),
        ),
        relative_tolerance=0.01,
        units=units,
    )


def wide_open_flow(setting: Setting, inlet: float) -> float:
    """Flow [standard m3/s] through the worker stuck wide open, from an inlet pressure [Pa gauge]."""
    station = setting.station()
    worker, air = station.regulators[-1], station.atmosphere
    area = valve_area(wide_open(worker).worsen(worker.condition(), 1.0), worker.travel)
    comes = mass_flow(area, air + inlet, air + setting.valve, station.gas, station.temperature)
    return standard_flow(comes, station.gas)


def _capacity(key: str, chance: Random, units: str) -> NumericQuestion:
    setting = drawn(chance, units)
    usual = setting.inlet
    highest = usual + pick(chance, "gauge_pressure", units, (30, 60, 10), (2, 4, 0.5))
    passed, truth = (wide_open_flow(setting, inlet) for inlet in (usual, highest))
    flow, passed = format_quantity(passed, "standard_flow", units), rounded(passed, "standard_flow", units)
    one, other = (format_pressure(inlet, units) for inlet in (usual, highest))
    air = format_quantity(setting.station().atmosphere, "absolute_pressure", units)
    return NumericQuestion(
        key,
        f"Stuck wide open at its usual inlet of {one}, a worker passes {flow} into a line that a relief valve keeps "
        f"near {format_pressure(setting.valve, units)}. Its main may reach {other}; the air stands at {air}. About "
        "how much must the relief valve be able to pass?",
        "standard_flow",
        truth,
        f"The flow through the wide-open seat is choked, so it goes with the absolute inlet pressure: add {air} to "
        "both inlet pressures and take their ratio. The highest that can come counts, not the usual.",
        (
            Slip("the usual inlet was taken", passed, "A relief valve must pass the most that can come."),
            Slip("gauge pressures were used", passed * highest / usual, "Absolute pressures count."),
            Slip("the root of the ratio was taken", (truth * passed) ** 0.5, "Choked flow takes no root."),
        ),
        relative_tolerance=0.03,
        units=units,
    )


ANSWERS = {
    "monitor": "The monitor holds, and the gas stays on.",
    "relief": "The relief valve blows, and the gas stays on.",
    "shut": "The slam-shut trips, and the burners go out.",
    "nothing": "Nothing holds: the outlet goes far past the rating.",
}


def broken(setting: Setting, *, monitor_apart: bool, shut_apart: bool, relief_open: bool) -> Trace:
    """A run in which the worker's line breaks; others sense apart or by it; the relief valve is in use or shut off."""
    line = "worker_line" if monitor_apart else "one_line"
    station = setting.station(shared=not monitor_apart, shut_senses="outlet" if shut_apart else line)
    faults = (BrokenSensingLine(devices=line, onset=20.0), *(() if relief_open else (ISOLATED,)))
    return simulate(Scenario(station, (Demand(0.0, 1.0), Demand(50.0, 0.0)), faults, 90.0))


def what_held(trace: Trace) -> str:
    """Which of ANSWERS a run came to."""
    held = "monitor" if trace.peak(OUTLET)[1] < RATING else "nothing"
    return "shut" if trace.happened("trips_high") else "relief" if trace.happened("valve_opens") else held


def line_told(truth: str, *, monitor_apart: bool, shut_apart: bool, relief_open: bool) -> dict[str, str]:
    """Of each of ANSWERS why it holds or does not."""
    idle = "{} is sound, but the monitor holds the outlet far below where it acts.".format
    relief = "It needs no line: it stands on the pipe, and is large enough."
    last = "The relief valve holds the outlet below its trip." if relief_open else "It senses apart: all that is left."
    if monitor_apart:
        relief, last = idle("The relief valve"), idle("The slam-shut")
    left = f"One layer is left that does not need that line. {ANSWERS[truth]}"
    return {
        "monitor": "It feels the outlet by a line of its own." if monitor_apart else "Blind like the worker, it opens.",
        "relief": relief if relief_open else "Its isolating valve is shut: no gas gets to it.",
        "shut": last if shut_apart else "It senses through the broken line as well, and feels nothing.",
        "nothing": left if truth != "nothing" else "No layer is left that can feel the outlet and act.",
    }


def _line(key: str, chance: Random, units: str) -> ChoiceQuestion:
    setting = drawn(chance, units)
    # Where the monitor senses apart nothing else counts, so most of the stations have both on one line.
    monitor, shut, relief = chance.random() < 0.25, chance.random() < 0.5, chance.random() < 0.4
    truth = what_held(broken(setting, monitor_apart=monitor, shut_apart=shut, relief_open=relief))
    options = chance.sample(list(ANSWERS), len(ANSWERS))
    told = line_told(truth, monitor_apart=monitor, shut_apart=shut, relief_open=relief)
    own, same = "a line of its own", "the worker's line"
    return ChoiceQuestion(
        key,
        f"{_told(setting, units)} The monitor senses through {own if monitor else same}, the slam-shut through "
        f"{own if shut else same}. The relief valve can pass all that comes; its isolating valve is "
        f"{'open' if relief else 'shut'}. The worker's line breaks, and later the burners go off. What happens?",
        tuple(ANSWERS[one] for one in options),
        options.index(truth),
        tuple(told[one] for one in options),
        "Ask of each layer in turn: does it still feel the outlet, and can it still act? Only such a layer counts.",
        units=units,
    )


# What may be gone, and how the readings tell it.
STATES = {
    "sound": ("None of them.", "The worker's set point is held, and between the two stands nearly all of the inlet."),
    "worker": ("The worker.", "The monitor's set point is held, and the gauge between the two has fallen."),
    "both": ("Worker and monitor.", "The recorder went past the monitor, and gas leaves the stack."),
    "three": ("Worker, monitor and relief valve.", "The recorder went past the relief valve, and the stack is silent."),
    "drift": ("Only the slam-shut.", "It tripped, and the recorder shows no more than the worker's lock-up."),
}
# The burners go off and on again; the visit is at the end of the run.
DAY = (Demand(0.0, 1.0), Demand(60.0, 0.0), Demand(80.0, 1.0))


def in_state(setting: Setting, state: str) -> Trace:
    """A run of a station with some of its layers gone."""
    slug = Debris(devices=(WORKER, MONITOR), height=SLUG, stiffness=GRIT, onset=20.0)
    faults: dict[str, tuple[Fault, ...]] = {
        "sound": (),
        "worker": (StuckStem(devices=WORKER, onset=20.0),),
        "both": (slug,),
        "three": (slug, ISOLATED),
        # To just below lock-up: the first time that the burners go off trips it.
        "drift": (TripShift(devices=SHUTOFF, high_by=0.97 * setting.lock_ups()[0] - setting.trip, onset=-10.0),),
    }
    return simulate(Scenario(setting.station(), DAY, faults[state], 110.0))


def found(trace: Trace, units: str) -> tuple[tuple[str, str], ...]:
    """What is read at the visit, as rows (what, reading)."""
    time = trace.scenario.duration - 1.0
    shut = trace.at(f"{SHUTOFF}_open_share", time) < 0.5
    return (
        ("outlet, the burners calling for gas", format_pressure(trace.at(OUTLET, time), units)),
        ("gauge between the regulators", format_pressure(max(0.0, trace.at(BETWEEN, time)), units)),
        ("heard at the stack", sound_of(trace.at(STACK_FLOW, time))),
        ("slam-shut", "tripped" if shut else "open"),
        ("highest outlet on the recorder", format_pressure(trace.peak(OUTLET)[1], units)),
    )


def _gone(key: str, chance: Random, units: str) -> ChoiceQuestion:
    setting = drawn(chance, units)
    options = chance.sample(list(STATES), len(STATES))
    truth = chance.choice(options)
    traces = {state: in_state(setting, state) for state in options}

    def told(state: str) -> str:
        outlet, _, stack, shut, highest = (reading for _, reading in found(traces[state], units))
        return f"Then you read {outlet} at the outlet and {highest} on the recorder: stack, {stack}; slam-shut, {shut}."

    return ChoiceQuestion(
        key,
        f"{_told(setting, units)} All sense the outlet by lines of their own. Qualified people took these readings. "
        "Which layers are gone?",
        tuple(STATES[state][0] for state in options),
        options.index(truth),
        tuple(STATES[state][1] if state == truth else told(state) for state in options),
        "Read the outlet against the ladder: where it stands tells which layer holds it, and so which have let go.",
        table=(("What was looked at", "Reading"), *found(traces[truth], units)),
        traces=tuple(traces.values()),
        units=units,
    )


def second_gone(chance: Random, units: str) -> tuple[Setting, Trace, float, float]:
    """A run in which first the worker and later the monitor sticks wide open; when each lets go [s]."""
    setting = drawn(chance, units)
    first = chance.uniform(20.0, 45.0)
    second = first + chance.uniform(40.0, 90.0)
    faults = StuckStem(devices=WORKER, onset=first), StuckStem(devices=MONITOR, onset=second)
    end = 10.0 * round((second + chance.uniform(40.0, 70.0)) / 10.0)
    trace = simulate(Scenario(setting.station(), (Demand(0.0, 1.0),), faults, end))
    high = (trace[OUTLET] > LET_GO * trace.at(OUTLET, second - 1.0)) & (trace.times > second)
    return setting, trace, first, float(trace.times[high][0])


def _second(key: str, chance: Random, units: str) -> TraceQuestion:
    setting, trace, first, time = second_gone(chance, units)
    half = READ_OFF * trace.scenario.duration
    marks = (("worker set", setting.worker), ("monitor set", setting.monitor), ("relief opens", setting.valve))
    return TraceQuestion(
        key,
        f"{_told(setting, units)} Some burners run steadily. In this run two layers let go, one after the other. From "
        "when on is the second one gone?",
        outlet_picture(trace, units, marks=marks),
        (time - half, time + half),
        trace.scenario.duration,
        f"At {first:.0f} s the worker lets go, and the outlet goes up to the monitor's "
        f"{format_pressure(setting.monitor, units)} and stays. At {time:.0f} s it leaves that as well: the monitor is "
        f"gone. The relief valve stops the climb above {format_pressure(setting.valve, units)}. One layer is left "
        "behind it.",
    )


def _worker_out(key: str, chance: Random, units: str) -> CauseQuestion:
    told = (
        "A station has every layer: worker, monitor, relief valve, slam-shut. A slug was ruled out, and one of the "
        "layers has acted. Qualified people read what stands in the table, with everything in place."
    )
    suspects = ("dirty_seat", "torn", "stuck_open", "line_broken", "shutoff_near", "relief_dirty")
    # a relief open, a slam-shut tripped, a monitor at work
    acted = amounts_to("i", "j", "n")
    return cause_question(key, chance, units, told, suspects, acted, place="monitored", looked_at=EVERY_LAYER)


ITEMS = (
    Item("14.ladder", "14", "Put the pressures of a station with every layer in order.", _ladder),
    Item("14.room", "14", "Leave room for two bands between a relief valve and a slam-shut.", _room),
    Item("14.capacity", "14", "Reckon what a relief valve must pass at the highest inlet.", _capacity),
    Item("14.line", "14", "Tell which layer is left when one sensing line breaks.", _line),
    Item("14.gone", "14", "Tell from readings which layers of a station are gone.", _gone),
    Item("14.second", "14", "Read from the outlet's trace when a second layer let go.", _second),
    Item("14.worker_out", "14", "Weigh the suspects once a layer has acted.", _worker_out),
)
