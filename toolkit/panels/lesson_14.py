"""Lesson 14, set, break, defend: every layer on one station, broken in every way of a list, and judged way by way.

The boiler house, its sizes, settings and failures are invented to be watched, engineering judgement throughout.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

from toolkit.devices.balance import valve_area
from toolkit.devices.line import SensingLine
from toolkit.devices.pressure_switch import PressureSwitch
from toolkit.devices.regulator import Regulator, lock_up_gauge_pressure
from toolkit.devices.relief_valve import ReliefValve
from toolkit.devices.slam_shut import SlamShut
from toolkit.faults import BlockedRelief, BrokenSensingLine, Debris, Fault, StuckShutoff, StuckStem, Warmed
from toolkit.flow import nozzle, series
from toolkit.ladder import REGULATOR_ACCURACY, RELIEF_VALVE_TOLERANCE, Finding, Rung, as_set, findings, rung
from toolkit.ladder import take_over_gauge_pressure as takes_over_at
from toolkit.layers import ACTED, MONITOR, layers_at, wide_open, with_monitor
from toolkit.limits import Limit, within
from toolkit.panels.bench import Bench, Settings, Shown, run
from toolkit.panels.controls import Choice
from toolkit.panels.lesson_05 import ABOVE, WORKER_DEBRIS, WORKER_SET
from toolkit.panels.monitor_station import takes_over
from toolkit.panels.predict import Prediction
from toolkit.panels.regulator_view import DAY, DUSK, MORNING, NOON
from toolkit.panels.sliders import DEMAND, HARDNESS, INLET, MOMENT, ZOOM, fitted
from toolkit.panels.station_bench import Watch, above_rating, watched
from toolkit.panels.words import NO_GAS, clock, vented_words
from toolkit.scenario import Scenario, Station, Volume
from toolkit.trace import Trace
from toolkit.units import IN_WC, INCH, PSI, format_pressure, format_quantity, tidy

WORKER, VALVE, SHUTOFF, ALARM, OUTLET = "worker", "relief_valve", "slam_shut", "alarm", "outlet_gauge_pressure"
WATCH = Watch("Boiler house")
# What the burners' controls take [Pa gauge].
RATING = 1 * PSI
# Room before the slam-shut, in it, between the regulators, and in the pipe of the boiler house [m3]: so long a pipe
# that a slam-shut has time to shut before a slow failure passes the rating.
BEFORE, BETWEEN, INTERSTAGE, ROOM = 1e-3, 2e-5, 3e-4, 0.5
# The alarm stands so far up from the worker's set point to the monitor's (share): it tells that the monitor works.
ALARM_SHARE = 0.5
# A slug's height on each seat [m] and its hardness [N/m]: a third of the disk's travel, and no spring crushes it.
SLUG, GRIT = 6e-4, 1e8
# What was wrong before the day began, unseen [s]; the sun shines at night, so long, and warms the gas by so much.
UNSEEN, SUN, SUN_FOR, WARMER = -10.0, 250.0, 40.0, 1.015
# Share of the burners' rating that counts as served; smallest lift that counts as open (share); the stack's bore [m].
SERVED, OPEN, STACK_BORE = 0.5, 5e-3, 3 * INCH

# Both reach down below the worker's own set point, so that they can be set wrong.
RELIEF = replace(ABOVE, key="relief", label="Relief valve opens at", low=6 * IN_WC, high=28 * IN_WC, start=16 * IN_WC)
TRIP = replace(ABOVE, key="trip", label="Slam-shut trips at", low=6 * IN_WC, high=30 * IN_WC, start=22 * IN_WC)


def _size(words: str, bore: float) -> tuple[str, float]:
    """A choice of a size in both display sets: it keeps its words when the units change."""
    us, metric = (format_quantity(bore, "small_length", units) for units in ("us", "metric"))
    return f"{words}: {us} ({metric})", bore


SIZE = Choice("size", "Its orifice", "settings", (_size("large", 1.25 * INCH), _size("small", 0.3125 * INCH)))
LINES = Choice("lines", "Sensing lines", "settings", (("one each", "own"), ("one for both", "one")))
FAILURE = Choice(
    "failure",
    "Break it with",
    "faults",
    (
        ("a slug of grit, relief valve shut off", "slug, no relief"),
        ("nothing, a good day", "none"),
        ("worker stuck wide open", "open"),
        ("worker's sensing line broken", "line"),
        ("a slug of grit through both regulators", "slug"),
        ("a slug of grit, slam-shut stuck", "slug, no trip"),
        ("sun on the locked-in pipe", "sun"),
    ),
)
# The list that a station is defended against, in order.
BREAKS = tuple((words, key) for words, key in sorted(FAILURE.options, key=lambda one: one[1] != "none"))
TABLE = Choice("table", "Judge", "view", (("this failure", False), ("all failures", True)))

# What is said of the first time that a layer acts.
ACTS = {"switch_high": "the alarm rings", "valve_opens": "the relief valve opens", "trips_high": "the slam-shut trips"}
# What is wrong with the order of the settings, in a few words for each kind of finding; `{device}` is whose.
ORDER_WORDS = {
    "monitor_at_worker": "the monitor stands too near the worker",
    "monitor_throttles": "the monitor throttles the worker's flow",
    "monitor_moves_early": "the monitor moves before the worker has locked up",
    "relief_below_monitor": "the relief valve may open while the monitor holds",
    "slam_shut_below_monitor": "the slam-shut may trip while the monitor holds",
    "slam_shut_in_build_up": "the slam-shut may trip while the relief valve does its work",
    "nuisance": "the {device} may act with nothing wrong",
    "above_limit": "the {device} comes only above the rating",
    "near_limit": "the {device} may come only above the rating",
    "relief_too_small": "the relief valve cannot pass all that comes below the rating",
    "unguarded": "nothing limits the pressure once the worker stands wide open",
}


@dataclass(frozen=True)
class Outcome:
    """What one failure comes to: the highest outlet [Pa gauge], whether that is within the rating, whether the burners
    have gas in the morning, the standard gas let off in words, and the layers that acted, in order."""

    peak: float
    held: bool
    served: bool
    let_off: str
    acted: tuple[str, ...]


def station(settings: Settings) -> Station:
    """The boiler house: slam-shut, monitor, worker, relief valve and alarm, or the worker alone."""
    plain, worker_set = Station(), settings["set_point"]
    lines = ("one_line",) if settings["lines"] == "one" else ("monitor_line", "worker_line")
    bare = replace(
        plain,
        supply=replace(plain.supply, gauge_pressure=settings["inlet"]),
        # Without an internal relief, whose spring would answer first.
        regulators=(Regulator(name=WORKER, relief=None, set_gauge_pressure=worker_set, senses=lines[-1]),),
        volumes=(Volume("inlet", BETWEEN), Volume("outlet", ROOM)),
        sensing_lines=tuple(SensingLine(name) for name in lines),
        loads=(replace(plain.loads[0], rated_flow=settings["demand"], maximum_gauge_pressure=RATING),),
    )
    if not settings["fitted"]:
        return replace(bare, sensing_lines=bare.sensing_lines[-1:])
    shut = SlamShut(name=SHUTOFF, high_gauge_pressure=settings["trip"])
    valve = ReliefValve(
        name=VALVE, set_gauge_pressure=settings["relief"], orifice_diameter=settings["size"], stack_bore=STACK_BORE
    )
    # It rings until somebody comes: by itself it would let go as the burners empty the pipe.
    rings = worker_set + ALARM_SHARE * settings["above"]
    alarm = PressureSwitch(name=ALARM, high_gauge_pressure=rings, manual_reset=True)
    guarded = with_monitor(bare, settings["above"], INTERSTAGE, senses=lines[0])
    return replace(
        guarded,
        supply=replace(guarded.supply, into=shut.inlet),
        volumes=(Volume(shut.inlet, BEFORE), *guarded.volumes),
        slam_shuts=(shut,),
        relief_valves=(valve,),
        switches=(alarm,),
    )


def faults_of(failure: str, on: Station) -> tuple[Fault, ...]:
    """The faults of a failure, as far as the station has what they strike."""
    slug = Debris(devices=(WORKER, MONITOR), height=SLUG, stiffness=GRIT)
    causes: dict[str, tuple[Fault, ...]] = {
        "none": (),
        "open": (StuckStem(devices=WORKER),),
        "line": (BrokenSensingLine(devices=on.sensing_lines[-1].name),),
        "slug": (slug,),
        # Behind a shut valve the disk feels nothing and stays down.
        "slug, no relief": (slug, BlockedRelief(devices=VALVE, highest_lift=0.0, onset=UNSEEN)),
        "slug, no trip": (slug, StuckShutoff(devices=SHUTOFF, onset=UNSEEN)),
        "sun": (Warmed(devices="outlet", times=WARMER, onset=SUN, ramp=SUN_FOR),),
    }
    there = {device.name for device in on.devices} | set(on.rooms)
    struck = ((fault, tuple(name for name in fault.devices if name in there)) for fault in causes[failure])
    return tuple(replace(fault, devices=names) for fault, names in struck if names)


def scenario(settings: Settings) -> Scenario:
    """The bench's day with the debris set and the failure chosen."""
    built, failure = station(settings), settings["failure"]
    # A slug brings debris of its own to the worker.
    height = 0.0 if failure.startswith("slug") else settings["debris"]
    piece = (Debris(devices=WORKER, height=height, stiffness=settings["hardness"]),) if height > 1e-6 else ()
    return Scenario(built, DAY, (*piece, *faults_of(failure, built)))


# The order of the settings, by closed forms


def wide_open_flow(of: Station, outlet_gauge_pressure: float) -> float:
    """Mass flow [kg/s] through the regulators in series, all wide open, into an outlet at a pressure [Pa gauge].

    Two openings one behind the other pass the same: the pressure between them is sought by halving.
    """
    passes, air = nozzle(of.gas.heat_ratio, of.rt), of.atmosphere
    areas = [valve_area(wide_open(r).worsen(r.condition(), 1.0), r.travel) for r in of.regulators]
    inlet, outlet = air + of.supply.gauge_pressure, air + outlet_gauge_pressure
    if len(areas) == 1:
        return passes(areas[0], inlet, outlet)
    low, high = outlet, inlet
    for _ in range(50):
        middle = (low + high) / 2
        more = passes(areas[0], inlet, middle) > passes(areas[1], middle, outlet)
        low, high = (middle, high) if more else (low, middle)
    return passes(areas[1], high, outlet)


def relief_holds(of: Station) -> float:
    """Pressure [Pa gauge] at which the relief valve passes all that wide-open regulators do, at most the inlet's."""
    (valve,) = of.relief_valves
    passes, air, c = nozzle(of.gas.heat_ratio, of.rt), of.atmosphere, valve.condition(of.atmosphere)
    low, high = valve.set_gauge_pressure, max(of.supply.gauge_pressure, valve.set_gauge_pressure)
    for _ in range(50):
        middle = (low + high) / 2
        lift = min(1.0, (air + middle - c.set_pressure) / c.build_up)
        area = series(c.flow_area * lift, c.outlet_area) if lift > 0 else 0.0
        enough = passes(area, air + middle, air) >= wide_open_flow(of, middle)
        low, high = (low, middle) if enough else (middle, high)
    return high


def rungs(of: Station) -> tuple[Rung, ...]:
    """The ladder by closed forms alone: what is set, where each begins, what monitor and relief valve hold."""
    found = layers_at(of, "outlet")
    made = [one for one in as_set(of, "outlet") if one.kind != "rating"]
    # The set point stands for what the worker holds with the burners on.
    made.append(rung("normal_full", found.worker.name, found.worker.set_gauge_pressure))
    for monitor in found.monitors:
        made.append(rung("take_over", monitor.name, takes_over_at(monitor.condition())))
        held = lock_up_gauge_pressure(monitor.condition(), of.supply.gauge_pressure)
        made.append(rung("monitor_held", monitor.name, held, REGULATOR_ACCURACY))
    for valve in found.relief_valves:
        off = RELIEF_VALVE_TOLERANCE * valve.set_gauge_pressure
        made.append(rung("valve_held", valve.name, relief_holds(of), off=off))
    return tuple(made)


@lru_cache(maxsize=64)
def order(of: Station) -> tuple[Finding, ...]:
    """What is wrong with the order of a station's settings against the rating, the worst first."""
    return findings(rungs(of), RATING)


def order_words(of: Station) -> str:
    """The order of the settings in one sentence: the first thing wrong, and how many more there are."""
    found = order(of)
    if not found:
        return "The settings stand in order, with room between them."
    first = found[0]
    device = spoken(first.devices[0]) if first.devices else ""
    wrong = "As set" if first.severity == "must" else "Within its band"
    more = f" That is the worst of {len(found)} things wrong with the order." if len(found) > 1 else ""
    return f"{wrong}, {ORDER_WORDS[first.kind].format(device=device)}.{more}"


def spoken(name: str) -> str:
    """A device's name in words."""
    return name.replace("slam_shut", "slam-shut").replace("_", " ")


# What came of a failure


def outcome(trace: Trace, units: str) -> Outcome:
    """What a run came to."""
    (load,) = trace.scenario.station.loads
    peak = trace.peak(OUTLET)[1]
    limit = Limit(load.maximum_gauge_pressure, "the burners' rating", "", "")
    acts = [(event.time, event.subject) for event in trace.events if event.kind in ACTED]
    began = takes_over(trace)
    acts += [(began, MONITOR)] if began is not None else []
    return Outcome(
        peak,
        within(limit, peak).good is True,
        trace.at(f"{load.name}_flow", NOON - 1) >= SERVED * load.rated_flow,
        vented_words(trace, units),
        tuple(dict.fromkeys(spoken(name) for _, name in sorted(acts))),
    )


def defence(settings: Settings) -> dict[str, Outcome]:
    """What every failure of the list comes to with these settings, by its words; the day with nothing wrong first."""
    made = {words: {**settings, "failure": key} for words, key in BREAKS}
    return {words: outcome(run(scenario(one)), settings["units"]) for words, one in made.items()}


def verdict(of: Outcome) -> str:
    """Whether a failure is survived, in a few words."""
    return f"{'held' if of.held else 'not held'}, gas {'on' if of.served else 'off'}"


def defended(found: dict[str, Outcome]) -> tuple[int, int, int]:
    """How many failures there are, how many stay within the rating, how many of those with gas on."""
    (_, *failures) = found.values()
    held = [one for one in failures if one.held]
    return len(failures), len(held), sum(one.served for one in held)


def table_words(found: dict[str, Outcome], units: str) -> str:
    """The defence, failure by failure: a line each."""
    (well, *_), (count, held, on) = found.values(), defended(found)
    nuisance = f"these act with nothing wrong: {', '.join(well.acted)}" if well.acted else "on a good day no layer acts"
    said = [
        f"Held within the burners' rating of {format_pressure(RATING, units)}: {held} of {count} failures, {on} of "
        f"them with gas on; {nuisance}."
    ]
    for words, one in found.items():
        acted = ", ".join(one.acted) or "nothing"
        off = "" if one.let_off == NO_GAS else f"; let off: {one.let_off}"
        said.append(f"{words}: highest {format_pressure(one.peak, units)}, {verdict(one)}{off}; acts: {acted}")
    return "\n".join(said)


def what_acted(trace: Trace) -> list[str]:
    """Which layers acted and when, a sentence each."""
    of, began = trace.scenario.station, takes_over(trace)
    if not of.relief_valves:
        return ["The worker is alone: nothing stands behind it."]
    said = [(found[0].time, words) for kind, words in ACTS.items() if (found := trace.happened(kind))]
    if began is not None:
        said.append((began, "the monitor begins to throttle"))
    if trace[f"{VALVE}_lift_share"][0] >= OPEN:
        said.append((0.0, "the relief valve is open"))
    if not said:
        return ["No layer acts."]
    # What acts within the first second has done so from the start.
    return [f"{f'At {clock(at)}' if at >= 1 else 'At the very start'} {words}." for at, words in sorted(said)]


def story(trace: Trace, units: str) -> str:
    """The run in a few sentences: by day and by night, what acted, how high it went, what it cost."""
    day, night = (format_pressure(trace.at(OUTLET, time - 1), units) for time in (DUSK, MORNING))
    top_at, top = trace.peak(OUTLET)
    came = outcome(trace, units)
    said = [
        f"By day the outlet stands at {day}, at the end of the night at {night}.",
        *what_acted(trace),
        f"The highest is {format_pressure(top, units)}, at {clock(top_at)}.",
        above_rating(WATCH, trace, units),
    ]
    if came.let_off != NO_GAS:
        said.append(f"Gas let off into the air: {came.let_off}.")
    if trace.happened("hunts"):
        said.append("The pressure hunts; the chart shows the middle of its swing.")
    said.append(f"In the morning the burners have {'gas' if came.served else 'no gas, or too little'}.")
    return " ".join(said)


def show(settings: Settings) -> Shown:
    """The station at the moment chosen with this failure; the verdict on it, or on every failure of the list."""
    trace, units = run(scenario(settings)), settings["units"]
    of = trace.scenario.station
    if settings["table"]:
        found = defence(settings)
        count, held, on = defended(found)
        gauges = (("within the rating", f"{held} of {count}"), ("and gas on", f"{on} of {count}"))
        told = f"{table_words(found, units)}\n{order_words(of)}"
    else:
        gauges = (("this failure", verdict(outcome(trace, units))), ("findings", str(len(order(of)) or "none")))
        told = f"{story(trace, units)} {order_words(of)}"
    return watched(WATCH, settings, trace, tidy(told), gauges)


def explain(units: str) -> str:
    """What is left once the slug has taken two layers and a valve a third, in numbers from the simulation."""
    start = BENCH.start(units)
    failed, whole = (run(scenario(start | {"failure": key})) for key in ("slug, no relief", "slug"))
    (tripped,) = failed.happened("trips_high")
    gauges = (tripped.value, failed.peak(OUTLET)[1], failed.at(OUTLET, MORNING - 1), whole.at(OUTLET, MORNING - 1))
    at, top, empty, night = (format_pressure(one, units) for one in gauges)
    count, held, on = defended(defence(start))
    return tidy(
        f"The monitor cannot shut on the grit, and no gas gets to the relief valve. At {clock(tripped.time)}, at {at}, "
        f"the slam-shut trips. The highest is {top}, within the rating; then the burners empty the pipe to {empty} and "
        f"are out. With the relief valve in use the same slug leaves the gas on, at {night} by the end of the night. "
        f"Failure by failure, these settings hold {held} of {count}, {on} with gas on."
    )


PREDICTION = Prediction(
    "A boiler house has a worker, a monitor, an alarm, a relief valve and a slam-shut, all well set. The isolating "
    "valve before the relief valve was left shut after the last test. Now one slug of grit goes through both "
    "regulators. What happens?",
    (
        "The monitor takes over and holds; the burners keep burning.",
        "The relief valve opens and blows; the burners keep burning.",
        "The slam-shut stops the gas within the burners' rating; the burners go out.",
        "Nothing is left: the outlet goes to the inlet pressure.",
    ),
    2,
    explain,
)
BENCH = Bench(
    "Set, break, defend",
    (
        *(INLET, WORKER_SET, ABOVE, RELIEF, SIZE, TRIP, LINES, fitted("Layers")),
        *(WORKER_DEBRIS, HARDNESS, FAILURE),
        *(DEMAND, TABLE, ZOOM, MOMENT),
    ),
    show,
    wide=True,
    without=("without the layers", {"fitted": False}),
    handout=({"moment": MORNING - 1}, {"failure": "open", "moment": MORNING - 1, "table": True}),
)
