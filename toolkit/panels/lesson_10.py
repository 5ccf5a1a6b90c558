"""Lesson 10, setting the layers: every set point, build-up and band in order below the limit, with room between them.

Sizes, settings and failures are invented to be watched, engineering judgement throughout.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import lru_cache

from toolkit.devices.balance import valve_area
from toolkit.devices.regulator import Regulator, lock_up_gauge_pressure
from toolkit.devices.slam_shut import SlamShut
from toolkit.faults import HARD_DEBRIS, BlockedRelief, Debris, Fault, StuckStem
from toolkit.figures.data import EventMarker
from toolkit.flow import nozzle, series
from toolkit.ladder import (
    REGULATOR_ACCURACY,
    RELIEF_VALVE_TOLERANCE,
    SLOWLY,
    Finding,
    Rung,
    findings,
    rung,
    take_over_gauge_pressure,
)
from toolkit.layers import MONITOR, layers_at, with_monitor
from toolkit.margins import nuisance_of
from toolkit.panels.bench import Bench, Settings, Shown, run
from toolkit.panels.controls import Choice, Slider
from toolkit.panels.lesson_07 import SIZE, valve
from toolkit.panels.monitor_station import INTERSTAGE, WORKER, takes_over
from toolkit.panels.predict import Prediction
from toolkit.panels.regulator_view import DAY, DUSK, MORNING, NOON
from toolkit.panels.sliders import DEBRIS, INLET, MOMENT, SET_POINT, ZOOM, fitted, starting
from toolkit.panels.station_bench import Watch, watched
from toolkit.panels.words import NO_GAS, clock, lasting, vented_words
from toolkit.scenario import Scenario, Station, Volume
from toolkit.trace import Trace, time_above
from toolkit.units import HOUR, IN_WC, PSI, SCF, format_pressure, tidy

SHUTOFF, VALVE, HOUSES = "slam_shut", "relief_valve", "houses"
OUTLET = "outlet_gauge_pressure"
# Room before the slam-shut, in what is bolted together behind it, and in the main behind the worker [m3]. Much less in
# the main, and what is stored before it would run on past the limit after a trip.
BEFORE, BOLTED, MAIN = 1e-3, 2e-5, 0.2
# What the regulator at each house takes at its inlet [Pa gauge]: the weakest thing downstream.
LIMIT = 1 * PSI
# What all the houses take, at the pressure that the worker usually holds [standard m3/s], [Pa gauge].
TAKEN, AT = 500 * SCF / HOUR, 10 * IN_WC
# Houses that get less than this share of what they ask for are without gas.
SERVED = 0.5
# A relief valve that lets off more than this at the end of the day has not shut [standard m3/s].
STILL_BLOWS = 1 * SCF / HOUR
# Less than this prints as 0.0 % [share], and nothing is quite sure.
LEAST_TOLD = 5e-4
# More findings than these are only counted: the worst comes first.
MOST_TOLD = 2
WATCH = Watch("Four layers on one main")

WORKER_SET = replace(starting(SET_POINT, AT), label="Worker's spring (set point)")
ABOVE = Slider(
    "above", "Monitor set above the worker by", "settings", "low_gauge_pressure",
    0.5 * IN_WC, 8 * IN_WC, 4 * IN_WC, (0.5, 1),
)  # fmt: skip
RELIEF = Slider(
    "relief", "Relief valve set to", "settings", "low_gauge_pressure", 10 * IN_WC, 24 * IN_WC, 18 * IN_WC, (0.5, 1)
)
TRIP = Slider(
    "trip", "Slam-shut trips at", "settings", "low_gauge_pressure", 10 * IN_WC, 30 * IN_WC, 20 * IN_WC, (0.5, 1)
)
# A trip clear of the relief valve's build-up and of the limit.
CLEAR = 24 * IN_WC
WORKER_DEBRIS = replace(DEBRIS, label="Grit on the worker's seat, height")
OPENS: Mapping[str, tuple[Fault, ...]] = {
    "none": (),
    "open": (StuckStem(devices=WORKER, ramp=SLOWLY),),
    "both": (StuckStem(devices=(WORKER, MONITOR), ramp=SLOWLY),),
    "three": (
        StuckStem(devices=(WORKER, MONITOR), ramp=SLOWLY),
        # Nobody saw it: it was so before the day began.
        BlockedRelief(devices=VALVE, highest_lift=0.0, onset=-10.0),
    ),
}
FAILURE = Choice(
    "failure",
    "From 1 min on, slowly",
    "faults",
    (
        ("worker and monitor go wide open", "both"),
        ("worker goes wide open", "open"),
        ("both, and the relief valve is shut off", "three"),
        ("nothing", "none"),
    ),
)


def station(
    *, inlet: float, worker_set: float, above: float, relief: float, letter: str, trip: float, layers: bool = True
) -> Station:
    """Slam-shut, monitor and worker in a row, the relief valve behind them; gauge pressures [Pa].

    `letter` is the relief valve's orifice; without `layers` the worker stands alone.
    """
    plain = Station()
    alone = replace(
        plain,
        supply=replace(plain.supply, gauge_pressure=inlet),
        regulators=(Regulator(name=WORKER, relief=None, set_gauge_pressure=worker_set),),
        volumes=(Volume("inlet", BOLTED), Volume("outlet", MAIN)),
        loads=(
            replace(
                plain.loads[0], name=HOUSES, rated_flow=TAKEN, rated_gauge_pressure=AT, maximum_gauge_pressure=LIMIT
            ),
        ),
    )
    if not layers:
        return alone
    guarded = replace(
        alone,
        supply=replace(alone.supply, into="upstream"),
        volumes=(Volume("upstream", BEFORE), *alone.volumes),
        slam_shuts=(SlamShut(name=SHUTOFF, high_gauge_pressure=trip),),
        relief_valves=(valve(relief, letter),),
    )
    return with_monitor(guarded, above, INTERSTAGE)


def scenario(settings: Settings) -> Scenario:
    """The bench's day with the settings, the grit and the failure chosen."""
    layers = settings["fitted"]
    faults: list[Fault] = []
    if settings["debris"] > 1e-6:
        faults.append(Debris(devices=WORKER, height=settings["debris"], stiffness=HARD_DEBRIS))
    failing = OPENS[settings["failure"]]
    # Without its layers the worker fails alone.
    faults += failing if layers or not failing else OPENS["open"]
    built = station(
        inlet=settings["inlet"],
        worker_set=settings["set_point"],
        above=settings["above"],
        relief=settings["relief"],
        letter=settings["letter"],
        trip=settings["trip"],
        layers=layers,
    )
    return Scenario(built, tuple(replace(demand, load=HOUSES) for demand in DAY), tuple(faults))


# The ladder in closed forms: a full ladder takes runs, too slow while a slider moves.


def comes(station: Station, gauge: float) -> float:
    """Mass flow [kg/s] through the regulators wide open, in a row, into a gauge pressure [Pa].

    Between two of them the pressure is sought at which both pass the same.
    """
    law, air = nozzle(station.gas.heat_ratio, station.rt), station.atmosphere
    areas = [valve_area(r.condition(), r.travel) for r in station.regulators]
    before, behind = air + station.supply.gauge_pressure, air + gauge
    if len(areas) == 1:
        return law(areas[0], before, behind)
    low, high = behind, before
    for _ in range(40):
        between = 0.5 * (low + high)
        more = law(areas[0], before, between) > law(areas[1], between, behind)
        low, high = (between, high) if more else (low, between)
    return law(areas[1], low, behind)


def passes_all(station: Station) -> float:
    """Gauge pressure [Pa] at which the relief valve passes what comes through the regulators wide open."""
    law, air = nozzle(station.gas.heat_ratio, station.rt), station.atmosphere
    (fitted_valve,) = station.relief_valves
    c = fitted_valve.condition(air)
    low, high = fitted_valve.set_gauge_pressure, max(station.supply.gauge_pressure, fitted_valve.set_gauge_pressure)
    for _ in range(40):
        gauge = 0.5 * (low + high)
        lift = min(1.0, (air + gauge - c.set_pressure) / c.build_up)
        leaves = law(series(c.flow_area * lift, c.outlet_area), air + gauge, air)
        low, high = (gauge, high) if leaves < comes(station, gauge) else (low, gauge)
    return high


@lru_cache(maxsize=64)
def rungs(station: Station) -> tuple[Rung, ...]:
    """The station's ladder by closed forms alone, lowest first: with no flow, at the inlet that it has."""
    found, inlet = layers_at(station, "outlet"), station.supply.gauge_pressure
    worker = found.worker
    made = [
        rung("worker_set", worker.name, worker.set_gauge_pressure),
        rung("lock_up", worker.name, lock_up_gauge_pressure(worker.condition(), inlet), REGULATOR_ACCURACY),
        rung("limit", "", LIMIT),
    ]
    for monitor in found.monitors:
        made.append(rung("take_over", monitor.name, take_over_gauge_pressure(monitor.condition()), REGULATOR_ACCURACY))
        held = lock_up_gauge_pressure(monitor.condition(), inlet)
        made.append(rung("monitor_held", monitor.name, held, REGULATOR_ACCURACY))
    for one in found.relief_valves:
        off = RELIEF_VALVE_TOLERANCE * one.set_gauge_pressure
        made.append(rung("valve_set", one.name, one.set_gauge_pressure, off=off))
        made.append(rung("valve_held", one.name, passes_all(station), off=off))
    for shut in found.slam_shuts:
        if shut.high_gauge_pressure is not None:
            made.append(rung("slam_shut_high", shut.name, shut.high_gauge_pressure, shut.accuracy))
    return tuple(sorted(made, key=lambda one: one.gauge_pressure))


@lru_cache(maxsize=64)
def wrong(ladder: tuple[Rung, ...]) -> tuple[Finding, ...]:
    """What is wrong with a ladder against the limit, worst first.

    The worker's set point stands for what it holds at full load, which is a little less.
    """
    full = tuple(rung("normal_full", one.device, one.gauge_pressure) for one in ladder if one.kind == "worker_set")
    return findings((*full, *ladder), LIMIT)


# What each finding means, with its verb where it is wrong as set, and where it may be within the bands.
MEANS: Mapping[str, tuple[str, str, str]] = {
    "monitor_at_worker": ("the monitor {} the worker for one pressure", "would fight", "may fight"),
    "monitor_throttles": ("the monitor {} the worker's full flow with nothing wrong", "throttles", "may throttle"),
    "monitor_moves_early": ("the monitor {} before the worker has locked up", "moves", "moves"),
    "relief_below_monitor": ("the relief valve {} gas off while the monitor holds", "would blow", "may blow"),
    "slam_shut_below_monitor": ("the slam-shut {} while the monitor holds", "would trip", "may trip"),
    "slam_shut_in_build_up": ("the slam-shut {} while the relief valve is still building up", "would trip", "may trip"),
    "nuisance slam_shut": ("the slam-shut {} at the worker's lock-up, with nothing wrong", "would trip", "may trip"),
    "nuisance relief_valve": (
        "the relief valve {} at the worker's lock-up, with nothing wrong",
        "would open",
        "may open",
    ),
    "relief_too_small": ("the relief valve {} what comes below the limit", "cannot pass", "cannot pass"),
    "above_limit slam_shut": ("the slam-shut {} above the limit", "would trip", "would trip"),
    "near_limit slam_shut": ("the slam-shut {} above the limit", "may trip", "may trip"),
    "near_limit relief_valve": ("the relief valve {} above the limit", "may end", "may end"),
    "unguarded": ("nothing {} the pressure if the worker fails open", "limits", "limits"),
}


def meaning(finding: Finding) -> str:
    """A finding in a few words."""
    key = finding.kind if finding.kind in MEANS else f"{finding.kind} {finding.devices[0]}"
    words, as_set, within_bands = MEANS[key]
    return words.format(as_set if finding.severity == "must" else within_bands)


def monitor_may_move(ladder: Sequence[Rung]) -> bool:
    """Whether the monitor may begin to throttle where the worker locks up, bands counted."""
    by_kind = {one.kind: one for one in ladder}
    return {"take_over", "lock_up"} <= set(by_kind) and by_kind["take_over"].low <= by_kind["lock_up"].high


def verdict(ladder: Sequence[Rung], units: str) -> str:
    """The worst of what is wrong with the ladder, and how much more there is, in a sentence or two."""
    found = wrong(tuple(ladder))
    if not found:
        limit = format_pressure(LIMIT, units)
        said = (
            f"The ladder is in order: each layer acts clear of what the one below it holds, below the limit of {limit}."
        )
        moves = " On a quiet night the monitor may move a little, and nothing is lost."
        return said + (moves if monitor_may_move(ladder) else "")
    begin = "The ladder is wrong" if found[0].severity == "must" else "The ladder needs care"
    told = "; ".join(meaning(one) for one in found[:MOST_TOLD])
    more = f"; and {len(found) - MOST_TOLD} more" if len(found) > MOST_TOLD else ""
    return f"{begin}: {told}{more}."


def what_acted(trace: Trace, units: str) -> list[str]:
    """Which layer began to act when, in sentences."""
    said = []
    began = takes_over(trace)
    if began == 0.0:
        said.append("The monitor throttles from the start.")
    elif began is not None:
        fails = any(isinstance(one, StuckStem) and MONITOR in one.devices for one in trace.scenario.faults)
        said.append(f"The monitor takes over at {clock(began)}{', and then goes open too' if fails else ''}.")
    for kind, words in (("valve_opens", "The relief valve begins to open"), ("trips_high", "The slam-shut trips")):
        for event in trace.happened(kind)[:1]:
            said.append(f"{words} at {clock(event.time)}, with the outlet at {format_pressure(event.value, units)}.")
    return said or ["No layer acts."]


def story(trace: Trace, units: str) -> str:
    """The ladder's verdict, then the run: who held by day and by night, what acted, how high it went, what it cost."""
    day, night = (format_pressure(trace.at(OUTLET, time - 1), units) for time in (DUSK, MORNING))
    top_at, top = trace.peak(OUTLET)
    passes = min(trace.at(f"{HOUSES}_flow", time) for time in (DUSK - 1, NOON - 1))
    over = time_above(trace.times, trace[OUTLET], LIMIT)
    let_off = vented_words(trace, units)
    valves = trace.scenario.station.relief_valves
    goes_on = any(trace.settled(f"{valve.name}_flow") > STILL_BLOWS for valve in valves) and let_off != NO_GAS
    said = [
        verdict(rungs(trace.scenario.station), units),
        f"By day the outlet stands at {day}, at the end of the night at {night}.",
        *what_acted(trace, units),
        f"The highest is {format_pressure(top, units)}, at {clock(top_at)}: "
        + (f"above the limit for {lasting(over)}." if over > 0 else "the limit is never passed."),
        f"Gas let off in the bench's day: {let_off}{'; it goes on until somebody comes' if goes_on else ''}.",
        "The houses have gas all day."
        if passes >= SERVED * TAKEN
        else "The houses are without gas for part of the day.",
    ]
    if trace.happened("hunts"):
        often = trace.happened("hunts")[0].value
        said.append(f"It hunts, {often:.2g} swings a second; the chart shows the middle of the swing.")
    return tidy(" ".join(said))


def chance_words(chance: float) -> str:
    """A chance (share) in per cent; one too small to print is not called none."""
    return tidy(f"{chance:.1%} chance") if chance >= LEAST_TOLD else "under 0.1 % chance"


def show(settings: Settings) -> Shown:
    """The ladder as set, and the outlet over the bench's day."""
    units, trace = settings["units"], run(scenario(settings))
    ladder = rungs(trace.scenario.station)
    acts = {"valve_set": "relief valve acts, nothing wrong", "slam_shut_high": "slam-shut trips, nothing wrong"}
    readouts = tuple((acts[one.kind], chance_words(one.chance)) for one in nuisance_of(ladder) if one.kind in acts)
    began = takes_over(trace)
    markers = () if began is None else (EventMarker(began / 60, "monitor takes over"),)
    return watched(WATCH, settings, trace, story(trace, units), readouts, markers, ladder)


def explain(units: str) -> str:
    """Where the relief valve passes it all, against the slam-shut's trip, in numbers from the simulation."""
    start = BENCH.start(units)
    set_so, higher = (run(scenario(start | change)) for change in ({}, {"trip": CLEAR}))
    (relief,) = set_so.scenario.station.relief_valves
    trips = set_so.happened("trips_high")[0]
    day, night = (format_pressure(set_so.at(OUTLET, time - 1), units) for time in (DUSK, MORNING))
    return tidy(
        f"The set points rise, but set points are not all of the ladder. The relief valve begins to open at "
        f"{format_pressure(relief.set_gauge_pressure, units)}, and by day it holds {day}. At {clock(trips.time)} fewer "
        f"burners are on, more gas must leave, and the outlet reaches {format_pressure(trips.value, units)}: the "
        f"slam-shut trips, though the relief valve is doing its work. The night ends at {night}, with every house out. "
        f"With the trip at {format_pressure(CLEAR, units)} it ends at "
        f"{format_pressure(higher.at(OUTLET, MORNING - 1), units)}, and the houses have gas in the morning."
    )


PREDICTION = Prediction(
    "Four devices guard one main, and each is set above the one before: worker 10, monitor 14, relief valve 18, "
    "slam-shut 20 in. w.c. Worker and monitor both go wide open. What do the houses have in the morning?",
    (
        "Gas at 18 in. w.c.: the relief valve holds its set pressure, and the slam-shut never feels it.",
        "No gas: while the relief valve builds up, the outlet passes the slam-shut's trip.",
        "Gas at 20 in. w.c.: the slam-shut holds the outlet at its trip.",
        "Gas at the inlet's pressure: with two regulators failed nothing is left.",
    ),
    1,
    explain,
)
BENCH = Bench(
    "Setting the layers",
    (INLET, WORKER_SET, ABOVE, RELIEF, SIZE, TRIP, fitted("The three layers"), WORKER_DEBRIS, FAILURE, ZOOM, MOMENT),
    show,
    wide=True,
    without=("without the three layers", {"fitted": False}),
    handout=({"moment": 200.0}, {"trip": CLEAR, "moment": 419.0}),
)
