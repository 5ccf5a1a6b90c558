"""Lesson 11, choosing the layers."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from random import Random

import numpy as np

from toolkit.choosing import END, FAILURES, LET_OFF, MORNING, SERVED, base_station, day, guarded
from toolkit.faults import StuckStem
from toolkit.gas import standard_density
from toolkit.limits import fuel_gas_code_limit
from toolkit.quiz.items import Item, pick, rounded
from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion, shown_order
from toolkit.quiz.pictures import OUTLET, outlet_picture
from toolkit.quiz.questions import NumericQuestion, Slip, TraceQuestion
from toolkit.scenario import Demand, Scenario, Station
from toolkit.simulation import simulate
from toolkit.trace import Trace
from toolkit.units import FOOT, HOUR, SCF, display_unit, format_pressure, format_quantity

WORKER = "worker"
MONITOR, RELIEF, SHUT = "monitor, wide open", "relief valve", "slam-shut"
LOCKS_OUT, TRIPS = "high switch, locks out burners", "high switch, trips slam-shut"
SINGLE = (MONITOR, "second seat", RELIEF, "internal relief", SHUT, TRIPS, LOCKS_OUT)
STUCK, SLOW = "worker stuck wide open", "debris at night, slow"
# Peaks that are put in order differ by this much at least.
APART = 1.08
# A time read from a picture may be off by this share of the run; a monitor throttles below this share of its travel.
READ_OFF, OFF_STOP = 0.03, 0.9


@dataclass(frozen=True)
class Outcome:
    """What a layer and a failure came to: the highest outlet [Pa gauge], whether that is above the code's limit, gas
    let off [standard m3], whether the burners have gas in the morning, whether somebody must reset a device."""

    peak: float
    defeated: bool
    vented: float
    served: bool
    reset: bool


def drawn(chance: Random, units: str) -> Station:
    """The choosing table's base with an inlet, a set point and a load that are round in the display unit."""
    plain = base_station()
    (worker,), (load,) = plain.regulators, plain.loads
    inlet = pick(chance, "gauge_pressure", units, (45, 70, 5), (3, 5, 0.25))
    worker_set = pick(chance, "low_gauge_pressure", units, (6, 8, 0.5), (15, 20, 1))
    return replace(
        plain,
        supply=replace(plain.supply, gauge_pressure=inlet),
        regulators=(replace(worker, set_gauge_pressure=worker_set, adjusted_at_inlet_gauge_pressure=inlet),),
        loads=(replace(load, rated_flow=chance.choice((200, 250, 300, 350)) * SCF / HOUR),),
    )


def struck(base: Station, layer: str, failure: str) -> Trace | None:
    """The table's day with a layer and a failure; None where the failure cannot strike that station."""
    station = guarded(base, layer)
    faults = FAILURES[failure](station)
    return simulate(Scenario(station, day(station), faults, END)) if faults else None


def code_limit(station: Station) -> float:
    """What the fuel gas code lets stand at the appliances [Pa gauge]. Source: `ifgc-416`."""
    (load,) = station.loads
    return fuel_gas_code_limit(station.supply.gauge_pressure, load.maximum_gauge_pressure).gauge_pressure


def outcome(trace: Trace) -> Outcome:
    """What a run came to."""
    station = trace.scenario.station
    (load,) = station.loads
    peak = trace.peak(OUTLET)[1]
    return Outcome(
        peak,
        peak > code_limit(station),
        trace.totals["vented"] / standard_density(station.gas),
        trace.settled(f"{load.name}_flow") >= SERVED * load.rated_flow,
        any(trace.happened(kind) for kind in ("trips_high", "trips_by_switch", "switch_high")),
    )


def outcomes(base: Station, layers: Sequence[str], failure: str) -> dict[str, Outcome]:
    """What each of some layers came to; those that the failure cannot strike are left out."""
    runs = {layer: struck(base, layer, failure) for layer in layers}
    return {layer: outcome(run) for layer, run in runs.items() if run}


def _told(base: Station, units: str) -> str:
    """The base in a sentence."""
    (worker,) = base.regulators
    return (
        f"A worker set to {format_pressure(worker.set_gauge_pressure, units)} feeds burners that are rated for "
        f"{format_pressure(base.loads[0].maximum_gauge_pressure, units)}; the inlet holds "
        f"{format_pressure(base.supply.gauge_pressure, units)}. The fuel gas code allows "
        f"{format_pressure(code_limit(base), units)} after a failure."
    )


def off_words(vented: float, units: str) -> str:
    """Gas let off in words: "850 ft³", "nothing"."""
    unit = display_unit("volume", units)
    number = vented / unit.scale
    return f"{number:,.{1 if number < 100 else 0}f} {unit.label}" if vented > LET_OFF else "nothing"


def came_words(came: Outcome, units: str) -> str:
    """An outcome in a sentence."""
    return (
        f"The outlet reaches {format_pressure(came.peak, units)}, {off_words(came.vented, units)} is let off, and in "
        f"the morning the burners have {'gas' if came.served else 'no gas'}"
        f"{', until somebody resets it' if came.reset else ''}."
    )


# The items

# What a place needs, in words, and whether an outcome gives it; nobody is served by what is defeated.
NEEDS: Mapping[str, tuple[str, Callable[[Outcome], bool]]] = {
    "hospital": (
        "A hospital must keep its gas, and nothing may be let off: the only wall for a vent is full of windows.",
        lambda came: not came.defeated and came.served and came.vented <= LET_OFF,
    ),
    "farm": (
        "A farm far from the road must keep its gas, for nobody could come and reset anything for a day. A stack would "
        "stand in an open field.",
        lambda came: not came.defeated and came.served and not came.reset,
    ),
    "store": (
        "A store room can do without gas for a day, but nothing may be let off, and gas must stay shut off until "
        "somebody has come and looked.",
        lambda came: not came.defeated and not came.served and came.vented <= LET_OFF and came.reset,
    ),
}


def _fits(key: str, chance: Random, units: str) -> ChoiceQuestion:
    base, failure = drawn(chance, units), chance.choice((STUCK, SLOW))
    came = outcomes(base, SINGLE, failure)
    able = {need: [layer for layer, one in came.items() if fits(one)] for need, (_, fits) in NEEDS.items()}
    need = chance.choice([one for one, layers in able.items() if layers])
    right = chance.choice(able[need])
    wrong = [layer for layer in SINGLE if layer not in able[need]]
    options = chance.sample([right, *chance.sample(wrong, 3)], 4)
    return ChoiceQuestion(
        key,
        f"{_told(base, units)} {NEEDS[need][0]} The failure to guard against: {failure}. Which layer fits?",
        tuple(options),
        options.index(right),
        tuple(f"{layer[0].upper()}{layer[1:]}. {came_words(came[layer], units)}" for layer in options),
        "First strike out what the failure defeats. Then ask whether the place can stand gas let off, or gas shut off; "
        "what is left fits. The code in force and the operator's procedure still decide.",
        units=units,
    )


def _read(key: str, chance: Random, units: str) -> ChoiceQuestion:
    base, failure = drawn(chance, units), chance.choice((STUCK, SLOW))
    options = chance.sample([MONITOR, RELIEF, SHUT, LOCKS_OUT], 4)
    runs = {layer: struck(base, layer, failure) for layer in options}
    came = {layer: outcome(run) for layer, run in runs.items() if run}
    truth = chance.choice(options)
    rows = (
        ("highest at the outlet", format_pressure(came[truth].peak, units)),
        ("gas let off", off_words(came[truth].vented, units)),
        ("burners in the morning", "gas" if came[truth].served else "no gas"),
        ("to be reset by hand", "yes" if came[truth].reset else "no"),
    )

    def told(layer: str) -> str:
        if layer == truth:
            return f"It was the {layer}: the readings are its own."
        return f"With the {layer} this would be read. {came_words(came[layer], units)}"

    return ChoiceQuestion(
        key,
        f"{_told(base, units)} One layer guards the outlet. In the course of a day and a night this came about: "
        f"{failure}. These readings were taken. Which layer was it?",
        tuple(options),
        options.index(truth),
        tuple(map(told, options)),
        "A monitor keeps the gas: on, and in the pipe. A relief valve vents it: on, and out of the stack. A slam-shut "
        "stops it: no gas, and a reset. A lockout stops only the burners, so the outlet goes where the worker lets it.",
        table=(("What was looked at", "Reading"), *rows),
        traces=tuple(runs.values()),
        units=units,
    )


def an_hour(flow: float, units: str) -> float:
    """What a flow [standard m3/s] lets off in an hour [m3], in the number that is printed: of scfh, so many ft3."""
    return flow * HOUR * (FOOT**3 / SCF if units == "us" else 1.0)


def _let_off(key: str, chance: Random, units: str) -> NumericQuestion:
    base = drawn(chance, units)
    trace = struck(base, RELIEF, STUCK)
    assert trace is not None
    (valve,) = trace.scenario.station.relief_valves
    flow = rounded(trace.at(f"{valve.name}_flow", MORNING - 1.0), "standard_flow", units)
    minutes = 10 * chance.randrange(3, 16)
    (load,) = base.loads
    return NumericQuestion(
        key,
        f"{_told(base, units)} At night the worker sticks wide open, with no burner on, and the relief valve holds. "
        f"Its stack passes {format_quantity(flow, 'standard_flow', units)}. Somebody qualified shuts the gas off after "
        f"{minutes} minutes. How much gas has been let off?",
        "volume",
        an_hour(flow, units) * minutes / 60,
        f"Flow times time: {minutes} minutes are {minutes / 60:.2f} hours. By day the burners take "
        f"{format_quantity(load.rated_flow, 'standard_flow', units)} at the most; a worker wide open passes many times "
        "that, and a relief valve lets it go until somebody comes.",
        (
            Slip("minutes were taken for hours", an_hour(flow, units) * minutes, "The flow is that of an hour."),
            Slip("the time was left out", an_hour(flow, units), "That is what goes in one hour."),
            Slip(
                "the burners' flow was taken",
                an_hour(load.rated_flow, units) * minutes / 60,
                "What leaves is what the worker passes, not what the burners would take.",
            ),
        ),
        units=units,
    )


def failed(base: Station, layer: str, chance: Random) -> Trace:
    """A day on which the burners go down to the pilots and up again, and later the worker sticks wide open."""
    low, high = chance.uniform(25.0, 45.0), chance.uniform(60.0, 80.0)
    onset = high + chance.uniform(20.0, 80.0)
    stuck = StuckStem(devices=WORKER, onset=onset, ramp=chance.uniform(2.0, 5.0))
    demands = (Demand(0.0, 1.0), Demand(low, 0.05), Demand(high, 1.0))
    duration = 10.0 * round((onset + chance.uniform(40.0, 80.0)) / 10.0)
    return simulate(Scenario(guarded(base, layer), demands, (stuck,), duration))


def acts_at(trace: Trace) -> float:
    """When the one layer of a run begins to act [s]; before the worker fails none does."""
    found = [event.time for kind in ("valve_opens", "trips_high") for event in trace.happened(kind)]
    for monitor in (r for r in trace.scenario.station.regulators if r.name != WORKER):
        throttles = trace[f"{monitor.name}_lift"] < OFF_STOP * monitor.travel
        found.append(float(trace.times[np.flatnonzero(throttles)[0]]))
    return min(found)


ENDS: Mapping[str, str] = {
    MONITOR: "it stands steady a little above where the worker held it: gas kept. It was the monitor.",
    RELIEF: "it stands far above where the worker held it, and the burners still burn: gas let off. It was the relief "
    "valve, which needs build-up.",
    SHUT: "it shoots up, and then the burners draw it down to nothing: gas stopped. It was the slam-shut.",
}


def _acted(key: str, chance: Random, units: str) -> TraceQuestion:
    base, layer = drawn(chance, units), chance.choice(tuple(ENDS))
    trace = failed(base, layer, chance)
    time, half = acts_at(trace), READ_OFF * trace.scenario.duration
    return TraceQuestion(
        key,
        f"{_told(base, units)} In this run the burners go down to the pilots and up again. Later the worker sticks "
        "wide open, and one layer acts: a monitor, a relief valve or a slam-shut. When does it act?",
        outlet_picture(trace, units, marks=(("worker set", base.regulators[0].set_gauge_pressure),)),
        (time - half, time + half),
        trace.scenario.duration,
        f"While the burners go down and up again, the outlet only goes to the worker's lock-up and back. At "
        f"{time:.0f} s it leaves what the worker can do: {ENDS[layer]}",
    )


# Layers that a single failure defeats, and why.
BLIND: Mapping[str, str] = {
    MONITOR: "Monitor and worker stand in the same gas: one slug can foul both seats. What keeps the gas in the pipe "
    "needs a layer of another kind behind it.",
    "second seat": "A second seat shares the worker's body, diaphragm, vent and sensing line: what blinds the one "
    "blinds the other.",
    "internal relief": "An internal relief is a small opening in the worker's own diaphragm: it passes a little leak, "
    "not a worker wide open, and what blinds the diaphragm blinds it too.",
    SHUT: "A slam-shut needs its time. A slow rise it stops; a fast one has gone by before it is shut.",
}


def _defeat(key: str, chance: Random, units: str) -> ChoiceQuestion:
    base = drawn(chance, units)
    for layer in chance.sample(list(BLIND), len(BLIND)):
        runs = {failure: struck(base, layer, failure) for failure in FAILURES}
        came = {failure: outcome(run) for failure, run in runs.items() if run}
        beaten = [failure for failure, one in came.items() if one.defeated]
        kept = [failure for failure in came if failure not in beaten]
        if beaten:
            break
    right = chance.choice(beaten)
    options = [right, *chance.sample(kept, min(3, len(kept)))]
    chance.shuffle(options)
    allowed = format_pressure(code_limit(base), units)

    def told(failure: str) -> str:
        side = "above" if came[failure].defeated else "within"
        said = f"{failure[0].upper()}{failure[1:]}: the outlet reaches {format_pressure(came[failure].peak, units)}"
        return f"{said}, {side} the {allowed}."

    return ChoiceQuestion(
        key,
        f"{_told(base, units)} One layer guards the outlet: {layer}. Which of these takes the outlet past what the "
        "code allows, in spite of it?",
        tuple(options),
        options.index(right),
        tuple(map(told, options)),
        BLIND[layer],
        traces=tuple(runs[failure] for failure in options),
        units=units,
    )


def apart(came: Mapping[str, Outcome], count: int, chance: Random) -> list[str]:
    """So many layers by their peaks, the lowest first, each clearly above the one before."""
    while True:
        names = sorted(chance.sample(list(came), count), key=lambda name: came[name].peak)
        if all(came[high].peak > APART * came[low].peak for low, high in pairwise(names)):
            return names


def _peaks(key: str, chance: Random, units: str) -> OrderQuestion:
    base = drawn(chance, units)
    came = outcomes(base, (*SINGLE, "none"), STUCK)
    names = apart(came, 4, chance)
    peaks = ", ".join(f"{name} {format_pressure(came[name].peak, units)}" for name in names)
    return OrderQuestion(
        key,
        f"{_told(base, units)} By day the worker sticks wide open within five seconds. Each of these guards the outlet "
        "alone. Put them in order by the highest pressure that the outlet reaches.",
        tuple(f"no layer at all ({name})" if name == "none" else name for name in names),
        shown_order(len(names), chance),
        critical=(),
        cap=1.0,
        scoring="tau",
        explanation=f"The outlet reaches: {peaks}. What throttles is quick and near; a relief valve needs build-up; "
        "what must first fall shut lets a jump through; what is too small, or stops only the burners, holds nothing.",
    )


ITEMS = (
    Item("11.fits", "11", "Choose a layer by what the place can stand.", _fits),
    Item("11.read", "11", "Tell from readings which layer has acted.", _read),
    Item("11.acted", "11", "Read from the outlet's trace from when on a layer holds it.", _acted),
    Item("11.let_off", "11", "Reckon how much gas a relief valve lets off until somebody comes.", _let_off),
    Item("11.defeat", "11", "Name the single failure that defeats a layer.", _defeat),
    Item("11.peaks", "11", "Put layers in order by how high they let the outlet go.", _peaks),
)
