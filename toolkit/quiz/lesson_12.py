"""Lesson 12, one cause, two layers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from random import Random

import numpy as np

from toolkit.actions import Action, Purge, TurnValve
from toolkit.devices.line import Pipe, SensingLine
from toolkit.devices.regulator import lock_up_gauge_pressure
from toolkit.devices.slam_shut import SlamShut
from toolkit.faults import BlockedSensingLine, BlockedVent, BrokenSensingLine, Debris, Fault, StuckStem
from toolkit.flow import standard_flow
from toolkit.layers import MONITOR
from toolkit.quiz.items import Item, pick, rounded
from toolkit.quiz.lesson_05 import WORKER, monitored
from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion, safe_steps
from toolkit.quiz.pictures import OUTLET, outlet_picture
from toolkit.quiz.questions import NumericQuestion, Slip, TraceQuestion
from toolkit.scenario import Demand, Scenario, Station, Volume
from toolkit.simulation import simulate
from toolkit.trace import Trace
from toolkit.units import display_unit, format_pressure, format_quantity, tidy, to_display

OLD_MAIN, TIE, SHUTOFF = "old_main", "tie", "slam_shut"
# Rooms [m3]: the new main, much larger than what stands between the regulators; an old one that bleeds down soon; and
# before the slam-shut.
NEW_SIZE, OLD_SIZE, BEFORE = 0.2, 1e-2, 1e-3
# The cause comes while the burners are on; they go off; the run ends [s]. What is cut off is bled down a little later.
STRIKES, BLED, OFF, LATER = 20.0, 10.0, 75.0, 150.0
# A purge that empties the old main in a few seconds [m2].
PURGE = 2e-5
# Nothing holds where the outlet ends above this share of the inlet's pressure; above this times the worker's lock-up it
# is not the worker that holds.
NOT_HELD, PAST_WORKER = 0.1, 1.1
# A time read from a picture may be off by this share of the run.
READ_OFF = 0.03


@dataclass(frozen=True)
class Layout:
    """Where the lines end: `taps` "old", "one" or "own" (see TAPS), `guard` "none", "own" or "same" (see GUARDS)."""

    taps: str
    guard: str = "none"


TAPS: Mapping[str, str] = {
    "old": "The sensing lines of both end on an old main that is tied to the outlet by an open valve.",
    "one": "Both sense the outlet through one line. An old main is tied to the outlet by an open valve.",
    "own": "Each senses the outlet through a line of its own. An old main is tied to the outlet by an open valve.",
}
GUARDS: Mapping[str, str] = {
    "own": "A slam-shut before them senses the outlet through a tap of its own.",
    "same": "A slam-shut before them senses what the worker senses, on the worker's line.",
}
CAUSES: Mapping[str, str] = {
    "main": "the old main is cut off and bled down",
    "open": "the worker's stem sticks wide open",
    "line": "the worker's sensing line is torn off",
    "frozen": "the worker's sensing line freezes shut",
    "slug": "a slug of grit goes through both seats",
    "vent": "the worker's vent ices over",
}


def laid_out(layout: Layout, worker_set: float, above: float, inlet: float) -> Station:
    """Worker and monitor on an outlet that an old main is tied to, with or without a slam-shut before them.

    Gauge pressures [Pa]: the worker's set point, the monitor's `above` that, the inlet.
    """
    tap = OLD_MAIN if layout.taps == "old" else "outlet"
    names = ("one_line",) if layout.taps == "one" else ("monitor_line", "worker_line")
    lines = tuple(SensingLine(name, tap) for name in names)
    plain = monitored(worker_set, above, inlet, behind=NEW_SIZE)
    monitor, worker = plain.regulators
    shut = SlamShut(
        name=SHUTOFF,
        senses="outlet" if layout.guard == "own" else lines[-1].name,
        high_gauge_pressure=worker_set + 2 * above,  # clear above what the monitor locks up at
    )
    guarded, rooms = layout.guard != "none", (*plain.volumes, Volume(OLD_MAIN, OLD_SIZE))
    return replace(
        plain,
        supply=replace(plain.supply, into=shut.inlet if guarded else plain.supply.into),
        slam_shuts=(shut,) if guarded else (),
        regulators=(replace(monitor, senses=lines[0].name), replace(worker, senses=lines[-1].name)),
        volumes=(Volume(shut.inlet, BEFORE), *rooms) if guarded else rooms,
        pipes=(Pipe(TIE, "outlet", OLD_MAIN),),
        sensing_lines=lines,
    )


def struck(station: Station, cause: str) -> tuple[tuple[Fault, ...], tuple[Action, ...]]:
    """The faults and the actions that a cause of CAUSES is."""
    line = station.sensing_lines[-1].name
    if cause == "main":
        cut = TurnValve(device=TIE, time=STRIKES, share=0.0)
        return (), (cut, Purge(device=OLD_MAIN, time=STRIKES + BLED, flow_area=PURGE))
    faults: dict[str, Fault] = {
        "open": StuckStem(devices=WORKER, onset=STRIKES),
        "line": BrokenSensingLine(devices=line, onset=STRIKES),
        "frozen": BlockedSensingLine(devices=line, onset=STRIKES),
        "slug": Debris(devices=(WORKER, MONITOR), height=4e-4, stiffness=1e8, onset=STRIKES),
        "vent": BlockedVent(devices=WORKER, onset=STRIKES),
    }
    return (faults[cause],), ()


def night(station: Station, cause: str) -> Scenario:
    """A cause that comes while the burners are on; then they go off."""
    faults, actions = struck(station, cause)
    return Scenario(station, (Demand(0.0, 1.0), Demand(OFF, 0.0)), faults, LATER, actions)


def who_stops_it(trace: Trace) -> str:
    """The layer that keeps the outlet down in the end: "worker", "monitor", "slam-shut" or "none"."""
    station, end = trace.scenario.station, trace.settled(OUTLET)
    worker, inlet = station.regulators[-1], station.supply.gauge_pressure
    if trace.happened("trips_high"):
        return "slam-shut"
    if end > NOT_HELD * inlet:
        return "none"
    return "monitor" if end > PAST_WORKER * lock_up_gauge_pressure(worker.condition(), inlet) else "worker"


def _drawn(chance: Random, units: str) -> tuple[float, float, float]:
    """Worker's set point, how far the monitor stands above it, inlet [Pa gauge], round in the display unit."""
    return (
        pick(chance, "low_gauge_pressure", units, (6, 8, 0.5), (15, 20, 1)),
        pick(chance, "low_gauge_pressure", units, (4, 6, 0.5), (10, 15, 1)),
        pick(chance, "gauge_pressure", units, (40, 60, 5), (2.75, 4, 0.25)),
    )


def _told(station: Station, layout: Layout, units: str) -> str:
    """The station in sentences."""
    monitor, worker = (format_pressure(r.set_gauge_pressure, units) for r in station.regulators)
    trips = [format_pressure(shut.high_gauge_pressure or 0.0, units) for shut in station.slam_shuts]
    said = (
        f"Worker and monitor stand in series. The worker is set to {worker}, the monitor before it to {monitor}; the "
        f"inlet holds {format_pressure(station.supply.gauge_pressure, units)}.",
        TAPS[layout.taps],
        GUARDS.get(layout.guard, ""),
        *(f"It trips at {trip} on high pressure only." for trip in trips),
    )
    return " ".join(one for one in said if one)


# What is asked: each layer is the answer of some, so that none can be guessed.
WHO_CASES: Sequence[tuple[Layout, str]] = (
    (Layout("old", "own"), "main"),
    (Layout("one", "own"), "line"),
    (Layout("own", "same"), "slug"),
    (Layout("old", "same"), "main"),
    (Layout("one", "same"), "line"),
    (Layout("own", "own"), "line"),
    (Layout("own", "same"), "open"),
    (Layout("old", "own"), "open"),
    (Layout("own", "own"), "main"),
    (Layout("one", "same"), "main"),
)
# A layer's name as an option, why it holds where it does, and what is mistaken in choosing it elsewhere.
WHO: Mapping[str, tuple[str, str, str]] = {
    "worker": (
        "the worker, as before",
        "It feels the outlet as before: this cause touches nothing that it senses or moves.",
        "The worker is struck: what it feels, or its seat or stem, is no longer what it was.",
    ),
    "monitor": (
        "the monitor",
        "The worker has let go, and the monitor still feels the outlet and can move.",
        "You counted on it because it is there. It is struck as well, or the outlet never came to its set point.",
    ),
    "slam-shut": (
        "the slam-shut, by shutting",
        "It still feels the outlet, and it shuts by a valve of its own.",
        "You counted on it because it is there. It trips only if the place that it feels comes to its trip.",
    ),
    "none": (
        "none of them",
        "One cause has taken every layer: all feel the same place, and it no longer tells of the outlet.",
        "One layer still feels the outlet and can act: it stands apart from this cause.",
    ),
}


def _who(key: str, chance: Random, units: str) -> ChoiceQuestion:
    layout, cause = chance.choice(WHO_CASES)
    station = laid_out(layout, *_drawn(chance, units))
    truth = who_stops_it(simulate(night(station, cause)))
    options = chance.sample(list(WHO), len(WHO))
    return ChoiceQuestion(
        key,
        f"{_told(station, layout, units)} The burners are on. Now {CAUSES[cause]}; nothing else is wrong. Later the "
        "burners go off. Which of the three keeps the outlet down in the end?",
        tuple(WHO[one][0] for one in options),
        options.index(truth),
        tuple(WHO[one][1 if one == truth else 2] for one in options),
        "Ask of each layer: what does it feel, what must it move, and does this one cause touch either?",
        units=units,
    )


# Layouts with four causes each, of which one takes every layer; the simulation says which.
TAKES_CASES: Sequence[tuple[Layout, tuple[str, str, str, str]]] = (
    (Layout("old"), ("main", "open", "line", "frozen")),
    (Layout("one"), ("line", "main", "open", "vent")),
    (Layout("one"), ("frozen", "main", "open", "vent")),
    (Layout("own"), ("slug", "main", "open", "line")),
    (Layout("old", "same"), ("main", "slug", "open", "line")),
    (Layout("one", "same"), ("line", "slug", "main", "open")),
)


def _takes(key: str, chance: Random, units: str) -> ChoiceQuestion:
    layout, causes = chance.choice(TAKES_CASES)
    station, options = laid_out(layout, *_drawn(chance, units)), chance.sample(causes, len(causes))
    traces = {cause: simulate(night(station, cause)) for cause in options}
    ends = {cause: who_stops_it(trace) for cause, trace in traces.items()}
    (truth,) = (cause for cause, end in ends.items() if end == "none")

    def told(cause: str) -> str:
        end = format_pressure(traces[cause].settled(OUTLET), units)
        if cause == truth:
            return f"Every layer feels, or must move, the one thing that is struck: the outlet ends at {end}"
        return f"Then the {ends[cause]} still keeps the outlet down; it ends at {end}"

    return ChoiceQuestion(
        key,
        f"{_told(station, layout, units)} Each of these may happen, alone. Which one takes every layer at once?",
        tuple(CAUSES[cause] for cause in options),
        options.index(truth),
        tuple(tidy(f"{told(cause)}.") for cause in options),
        "A cause is common where two layers share a thing: a tap, a line, the gas, the weather, a pair of hands.",
        traces=tuple(traces.values()),
        units=units,
    )


def together(one: float, other: float, common: float) -> float:
    """The chance that both layers fail: by two chances apart, or by one cause that takes both (closed form)."""
    return common + (1.0 - common) * one * other


def _chances(key: str, chance: Random, units: str) -> NumericQuestion:
    worker, monitor = (chance.choice((20, 25, 30, 40, 50, 60)) for _ in range(2))
    common = chance.choice((100, 125, 150, 200, 250, 300))
    return NumericQuestion(
        key,
        f"The chances here are invented. In a year a worker lets go with a chance of 1 in {worker}, and by itself its "
        f"monitor would not take over with a chance of 1 in {monitor}. Besides, one cause that takes both comes with a "
        f"chance of 1 in {common}. What is the chance, in per cent, that both fail in a year? "
        "Give three digits that count.",
        "fraction",
        together(1 / worker, 1 / monitor, 1 / common),
        f"Two chances apart are multiplied: 1 in {worker * monitor}. The cause that takes both is added to that: 1 in "
        f"{common}. It is most of the sum, and a better monitor does not make it smaller.",
        (
            Slip(
                "the two were taken as independent",
                1 / (worker * monitor),
                "That holds only where nothing takes both. The common cause comes on top.",
            ),
            Slip("the two chances were added", 1 / worker + 1 / monitor, "Both must fail: multiply what is apart."),
            Slip(
                "all three were multiplied",
                1 / (worker * monitor * common),
                "The common cause needs no other: it takes both by itself, so it is added.",
            ),
            Slip("one layer was counted", 1 / worker, "One layer alone does not let the outlet by."),
        ),
        relative_tolerance=0.01,
        units=units,
    )


def wide_open_flow(station: Station) -> float:
    """What two wide-open regulators pass into an outlet still near its set point [standard m3/s], by simulation."""
    faults = (StuckStem(devices=(WORKER, MONITOR), onset=STRIKES, ramp=1e-2),)
    trace = simulate(Scenario(station, (Demand(0.0, 1.0), Demand(STRIKES / 2, 0.0)), faults, STRIKES + 5.0))
    return trace.at(f"{WORKER}_flow", STRIKES + 0.5)


def _how_soon(key: str, chance: Random, units: str) -> NumericQuestion:
    station = monitored(*_drawn(chance, units), behind=NEW_SIZE)
    main = pick(chance, "volume", units, (200, 900, 50), (6000, 25000, 1000))
    flow = rounded(wide_open_flow(station), "standard_flow", units)
    held = station.regulators[-1].set_gauge_pressure
    rating, air = rounded(station.loads[0].maximum_gauge_pressure, "low_gauge_pressure", units), station.atmosphere
    # A whole number as it was drawn.
    holds = f"{to_display(main, 'volume', units):,.0f} {display_unit('volume', units).label}"
    mixed = to_display(rating - held, "pressure_difference", units) / to_display(air, "absolute_pressure", units)
    # What one more pascal in the main takes [standard m3].
    stored = standard_flow(1.0 / station.rt, station.gas) * main
    truth = stored * (rating - held) / flow
    return NumericQuestion(
        key,
        f"The sensing lines of a worker and its monitor have lost their main, and both stand wide open. They pass "
        f"{format_quantity(flow, 'standard_flow', units)} into a main of {holds} from "
        f"which nobody draws. It stands at {format_pressure(held, units)}, and the air at "
        f"{format_quantity(air, 'absolute_pressure', units)}. In about how many seconds does it pass "
        f"the {format_pressure(rating, units)} that the appliances are rated for?",
        "time",
        truth,
        "The rise is a share of the air's pressure, and that share of the main's volume is the gas that must come in. "
        "Divide it by the flow. Nobody can drive to a station in that time: only what acts by itself guards the main.",
        (
            Slip(
                "the rise was counted from nothing",
                stored * rating / flow,
                f"The main stands at {format_pressure(held, units)} already.",
            ),
            Slip("the units were mixed", stored * air * mixed / flow, "Bring rise and air to one unit first."),
            Slip("the whole main was to be filled", stored * air / flow, "It is full already; only the rise counts."),
        ),
        relative_tolerance=0.05,
        units=units,
    )


def one_after_the_other(chance: Random, units: str) -> tuple[Trace, float]:
    """A run in which the worker fails and the monitor holds, then its main is bled; when the outlet leaves it [s]."""
    station = laid_out(Layout("old"), *_drawn(chance, units))
    first = chance.uniform(30.0, 60.0)
    second = first + chance.uniform(50.0, 110.0)
    work = (
        TurnValve(device=TIE, time=second - 20.0, share=0.0),
        Purge(device=OLD_MAIN, time=second, flow_area=chance.uniform(1e-6, 3e-6), stroke=5.0),
    )
    fault = StuckStem(devices=WORKER, onset=first)
    duration = 10.0 * round((second + chance.uniform(50.0, 80.0)) / 10.0)
    trace = simulate(Scenario(station, (Demand(0.0, 1.0),), (fault,), duration, work))
    monitor = station.regulators[0]
    held = lock_up_gauge_pressure(monitor.condition(), station.supply.gauge_pressure)
    gone = trace[OUTLET] > PAST_WORKER * held
    return trace, float(trace.times[np.flatnonzero(gone & (trace.times > second))[0]])


def _gone(key: str, chance: Random, units: str) -> TraceQuestion:
    trace, time = one_after_the_other(chance, units)
    station, half = trace.scenario.station, READ_OFF * trace.scenario.duration
    monitor, worker = (r.set_gauge_pressure for r in station.regulators)
    return TraceQuestion(
        key,
        f"{_told(station, Layout('old'), units)} In this run the worker's stem sticks wide open first. Later the old "
        "main is cut off and bled down. From when on does no layer hold the outlet any more?",
        outlet_picture(trace, units, marks=(("worker set", worker), ("monitor set", monitor))),
        (time - half, time + half),
        trace.scenario.duration,
        f"First the outlet steps up to near {format_pressure(monitor, units)} and stays there: one layer has gone, and "
        f"the monitor holds. At {time:.0f} s it leaves that too, and climbs without end. The monitor was not broken; "
        "it felt a main that was being emptied.",
    )


# What is done before a main goes out of use, in order; and pairs that must not be turned round, with the reason.
STEPS = (
    "Find every sensing line that ends on the old main, on the drawings and on the ground",
    "Post somebody at the station who reads the outlet and can shut it in",
    "Move each line to the pipe that it protects, one at a time, its regulator shut in or held by hand meanwhile",
    "Prove that worker and monitor hold with the lines where they are now",
    "Cut the old main off",
    "Bleed the old main down and prove zero",
)
SAFETY: Mapping[tuple[int, int], str] = {
    (0, 4): "A line that nobody looked for goes blind with the main, and its regulator opens.",
    (1, 2): "A regulator opens while its line is off, and the outlet rises in less time than anybody takes to come.",
    (2, 4): "Regulators that still sense the old main open when it is cut off and loses its gas.",
    (3, 4): "A line that was moved but not proved may be shut, or be the wrong one.",
    (4, 5): "A main that is bled while still tied in takes the gas of the main in use with it.",
}


def _work(key: str, chance: Random, units: str) -> OrderQuestion:
    layout = Layout("old")
    return safe_steps(
        key,
        f"{_told(laid_out(layout, *_drawn(chance, units)), layout, units)} The old main is to be taken out of use. Put "
        "what qualified people do, by the operator's written procedure, in order.",
        STEPS,
        SAFETY,
        "Somebody at the outlet before a line is touched; lines first, main last.",
        chance,
    )


ITEMS = (
    Item("12.who", "12", "Tell which layer is left once one cause has struck.", _who),
    Item("12.takes", "12", "Find the one cause that takes every layer of a station.", _takes),
    Item("12.chances", "12", "Reckon the chance that two layers fail, with what takes both.", _chances),
    Item("12.how_soon", "12", "Reckon how soon a main passes its rating with both regulators open.", _how_soon),
    Item("12.gone", "12", "Read from the outlet's trace when the last layer went.", _gone),
    Item("12.work", "12", "Put the steps before a main goes out of use in order.", _work),
)
