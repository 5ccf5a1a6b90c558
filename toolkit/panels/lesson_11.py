"""Lesson 11, choosing the layers: keep the gas, vent it or stop it, and what each costs whom when it acts.

Layers, failures and the day are those of the choosing table; the three customers are invented, engineering judgement.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from toolkit.choosing import END, FAILURES, LET_OFF, MORNING, NIGHT, SERVED, base_station, day, guarded
from toolkit.devices.relief_valve import ReliefValve
from toolkit.faults import BrokenSensingLine, Debris, Fault
from toolkit.figures.data import EventMarker
from toolkit.gas import standard_density
from toolkit.limits import fuel_gas_code_limit
from toolkit.panels.bench import Bench, Settings, Shown, run
from toolkit.panels.controls import Choice
from toolkit.panels.monitor_station import WORKER, takes_over
from toolkit.panels.predict import Prediction
from toolkit.panels.sliders import DEBRIS, DEMAND, HARDNESS, INLET, MOMENT, SET_POINT, ZOOM
from toolkit.panels.station_bench import Watch, above_rating, watched
from toolkit.panels.words import NO_GAS, clock, lasting, vented_words
from toolkit.scenario import Scenario, Station
from toolkit.trace import Trace, time_above
from toolkit.units import IN_WC, PSI, format_pressure, tidy

OUTLET = "outlet_gauge_pressure"
WATCH = Watch(
    "The station and its layer",
    duration=END,
    # the highest rung, a slam-shut behind a relief valve, with its band
    top=45 * IN_WC,
    markers=(EventMarker(NIGHT / 60, "all off"), EventMarker(MORNING / 60, "burners on")),
)
# More gas unburnt than this share of what the burners are made for still gets out.
GETS_OUT = 0.01
# What is said of burners that have gas above their rating, whoever they belong to.
OVERFED = "it has gas, at a pressure that is not safe to burn"
# One slug through a station with one seat strikes that seat as the table's slug strikes two.
SLUG, SLUG_HEIGHT, GRIT = "one slug through both seats", 4e-4, 1e8
# A working monitor's first stage holds 10 psi: it needs clearly more than that before it.
LOWEST_INLET = 25 * PSI
# The set points of the layers stand above the worker's: within these they stay in the picture.
LOWEST_SET, HIGHEST_SET = 5 * IN_WC, 10 * IN_WC
# Keep the gas, vent it, stop it; then two at once, and none.
ORDER = (
    *("monitor, wide open", "monitor, working", "second seat"),
    *("relief valve", "internal relief"),
    *("slam-shut", "high switch, trips slam-shut", "high switch, locks out burners"),
    *("monitor and slam-shut", "relief valve and slam-shut", "none"),
)
LAYER = Choice("layer", "Layer", "settings", tuple((name, name) for name in ORDER))
FAILURE = Choice("failure", "What goes wrong", "faults", (*((name, name) for name in FAILURES), ("nothing", "nothing")))
ACTS: Mapping[str, str] = {
    "relief_opens": "The internal relief opens",
    "second_seat_acts": "The second seat begins to shut",
    "valve_opens": "The relief valve begins to lift",
    "switch_high": "The high switch makes",
    "trips_by_switch": "The switch trips the slam-shut",
    "trips_high": "The slam-shut trips",
}


@dataclass(frozen=True)
class Outcome:
    """What a run came to.

    `above` [s] over the code's limit; `lets_off` whether the layer let off more than a breath, and `leaks` whether a
    broken line did; `served` whether the burners have gas in the morning, and `fed_at` [Pa gauge] which pressure;
    `overfed` whether that is above their rating; `reset` whether somebody must reset a device; `locked` whether
    burners stand locked out; `urgent` whether the appliances stand above their rating by night or in the morning, or
    gas gets out; `goes_on` whether it still does at the end; `failed` whether the worker's own failure is behind it.
    """

    above: float
    lets_off: bool
    leaks: bool
    served: bool
    fed_at: float
    overfed: bool
    reset: bool
    locked: bool
    urgent: bool
    goes_on: bool
    failed: bool


@dataclass(frozen=True)
class Customer:
    """For whom a layer is weighed: what it means to them to be kept on, to have gas let off, to be cut off."""

    name: str
    kept: str
    let_off: str
    cut_off: str


CUSTOMERS: Mapping[str, Customer] = {
    "hospital": Customer(
        "the hospital",
        "it keeps its gas, as it must",
        "what is let off must lead clear of its windows and air intakes",
        "it must not go short of gas, and it does",
    ),
    "house": Customer(
        "the house",
        "it keeps its gas",
        "what is let off can go outdoors, clear of its windows",
        "it is cold, but it can wait",
    ),
    "bakery": Customer(
        "the bakery",
        "its ovens burn on",
        "what is let off can go up above the roof, but it is paid for",
        "the day's bread is lost",
    ),
}
WHOM = Choice(
    "whom",
    "For whom",
    "view",
    (("hospital: must keep its gas", "hospital"), ("house: can wait", "house"), ("bakery: many ovens", "bakery")),
)


def base(settings: Settings) -> Station:
    """The station of the choosing table with nothing to guard it, as the controls set it."""
    plain = base_station()
    (worker,), (load,) = plain.regulators, plain.loads
    return replace(
        plain,
        supply=replace(plain.supply, gauge_pressure=settings["inlet"]),
        regulators=(replace(worker, set_gauge_pressure=settings["set_point"]),),
        loads=(replace(load, rated_flow=settings["demand"]),),
    )


def scenario(settings: Settings) -> Scenario:
    """The choosing table's day with the debris set and the failure chosen."""
    station, failure = guarded(base(settings), settings["layer"]), settings["failure"]
    faults: tuple[Fault, ...] = FAILURES[failure](station) if failure in FAILURES else ()
    if failure == SLUG and not faults:
        faults = (Debris(devices=WORKER, height=SLUG_HEIGHT, stiffness=GRIT, onset=40.0),)
    height = settings["debris"]
    # a failure that brings debris of its own comes instead of the piece set
    if height > 1e-6 and not any(isinstance(fault, Debris) for fault in faults):
        faults = (Debris(devices=WORKER, height=height, stiffness=settings["hardness"]), *faults)
    return Scenario(station, day(station), faults, END)


def limit(station: Station) -> float:
    """What the fuel gas code lets stand at these appliances [Pa gauge]. Source: `ifgc-416`."""
    weakest = min(load.maximum_gauge_pressure for load in station.loads)
    return fuel_gas_code_limit(station.supply.gauge_pressure, weakest).gauge_pressure


def outcome(trace: Trace) -> Outcome:
    """What a run came to."""
    station = trace.scenario.station
    (load,) = station.loads
    made = {s.name: trace.at(f"{s.name}_made", END) > 0.5 for s in station.switches}
    shut = any(trace.at(f"{s.name}_open_share", END) < 1.0 for s in station.slam_shuts)
    measured = trace.totals["vented"] / standard_density(station.gas) > LET_OFF
    served, fed_at = trace.settled(f"{load.name}_flow") >= SERVED * load.rated_flow, trace.settled(OUTLET)

    def cracked(valve: ReliefValve) -> bool:
        return bool((trace[f"{valve.name}_flow"] > 0.0).any())

    lets_off = measured and bool(trace.happened("relief_opens") or any(map(cracked, station.relief_valves)))
    leaks = measured and any(isinstance(fault, BrokenSensingLine) for fault in trace.scenario.faults)
    stands = max(trace.at(OUTLET, MORNING - 1), fed_at)
    unburnt = trace.settled("supply_flow") - trace.settled(f"{load.name}_flow")
    return Outcome(
        above=time_above(trace.times, trace[OUTLET], limit(station)),
        lets_off=lets_off,
        leaks=leaks,
        served=served,
        fed_at=fed_at,
        overfed=served and fed_at > load.maximum_gauge_pressure,
        reset=shut or any(made.values()),
        locked=any(made[s.name] and s.locks_out for s in station.switches),
        urgent=stands > load.maximum_gauge_pressure or lets_off or leaks,
        goes_on=(lets_off or leaks) and unburnt > GETS_OUT * load.rated_flow,
        failed=any(WORKER in fault.devices for fault in trace.scenario.faults),
    )


def must_come(came: Outcome) -> str:
    """Who must come, and how soon, in a few words."""
    if came.urgent:
        return "now: make safe"
    if came.reset:
        return "reset and relight"
    if not came.served:
        return "find out why"
    return "soon: the worker has failed" if came.failed else "nobody"


def acts(trace: Trace, units: str) -> list[str]:
    """Who acted, each the first time it did, in order of time, a sentence each."""
    first = [trace.happened(kind)[0] for kind in ACTS if trace.happened(kind)]
    said = [(e.time, f"{ACTS[e.kind]} at {clock(e.time)}, at {format_pressure(e.value, units)}.") for e in first]
    began = takes_over(trace)
    if began is not None:
        said.append((began, f"The monitor takes over at {clock(began)}."))
    for valve in trace.scenario.station.relief_valves:
        # what lets off a little without lifting as far as an event
        passing = trace.times[trace[f"{valve.name}_flow"] > 0.0]
        if len(passing) and not trace.happened("valve_opens"):
            said.append((float(passing[0]), f"The relief valve opens a crack at {clock(float(passing[0]))}."))
    return [words for _, words in sorted(said)]


def weighed(came: Outcome, whom: str, station: Station, units: str) -> str:
    """What a run means to a customer, in a few sentences."""
    customer = CUSTOMERS[whom]
    said = []
    if came.above:
        said.append(
            f"The fuel gas code's limit of {format_pressure(limit(station), units)} is passed for "
            f"{lasting(came.above)}: the layer is defeated, whoever is behind it."
        )
    if came.served and came.above:
        said.append(f"For {customer.name}: gas at such a pressure is no service.")
    elif came.served:
        said.append(f"For {customer.name}: {OVERFED if came.overfed else customer.kept}.")
    else:
        said.append(f"And {customer.name} goes short." if came.above else f"For {customer.name}: {customer.cut_off}.")
    if came.overfed:
        fed = format_pressure(came.fed_at, units)
        said.append(f"At {fed} the burners are overfed, above their rating: they can make carbon monoxide.")
    if came.lets_off:
        said.append(f"For {customer.name}, {customer.let_off}.")
    if came.leaks:
        said.append("The broken line leaks, wherever it lies.")
    if came.goes_on:
        said.append("Gas goes on getting out until somebody comes.")
    if came.reset:
        first = " now and make safe, then" if came.urgent else ","
        said.append(f"Somebody qualified must come{first} find the cause, reset and relight.")
    elif came.urgent:
        said.append("Somebody must come now and make safe.")
    elif came.served and came.failed:
        said.append("Nobody must relight, but somebody must come soon: the worker has failed.")
    if not (came.reset or came.served):
        said.append("Nothing has tripped: it is the worker that does not open.")
    if came.locked:
        said.append("The switch stopped the burners, not the gas: the pipe is still fed.")
    return " ".join(said)


def story(trace: Trace, settings: Settings) -> str:
    """The run in a few sentences: who acted, how high it went, what was let off, and what that means for whom."""
    units, station = settings["units"], trace.scenario.station

    def shown(gauge: float) -> str:
        return format_pressure(gauge, units)

    day, night = (trace.at(OUTLET, t - 1) for t in (NIGHT, MORNING))
    said = [f"By day the outlet stands at {shown(day)}, at the end of the night at {shown(night)}."]
    said += acts(trace, units) or ["No layer acts." if settings["layer"] != "none" else "There is no layer."]
    top_at, top = trace.peak(OUTLET)
    said += [f"The highest is {shown(top)}, at {clock(top_at)}.", above_rating(WATCH, trace, units)]
    came = outcome(trace)
    vented = vented_words(trace, units)
    off = "nothing is let off" if vented == NO_GAS else f"{vented} of gas gets out"
    if vented != NO_GAS and not (came.lets_off or came.leaks):
        off = "hardly any gas is let off"
    (load,) = station.loads
    flow = trace.settled(f"{load.name}_flow") / load.rated_flow
    has = "have gas" if came.served else "have too little gas" if flow > 0.02 else "have no gas"
    said.append(f"In the bench's day {off}, and in the morning the burners {has}.")
    if trace.happened("hunts"):
        said.append("It hunts; the chart shows the middle of the swing.")
    said.append(weighed(came, settings["whom"], station, units))
    return tidy(" ".join(said))


def show(settings: Settings) -> Shown:
    """The station at the moment chosen, the outlet over the table's day, the story in words."""
    trace = run(scenario(settings))
    began = takes_over(trace)
    markers = () if began is None else (EventMarker(began / 60, "monitor takes over"),)
    came = outcome(trace)
    gas = "no" if not came.served else "yes, above the rating" if came.overfed else "yes"
    return watched(
        WATCH,
        settings,
        trace,
        story(trace, settings),
        (("gas in the morning", gas), ("who must come", must_come(came))),
        markers,
    )


def explain(units: str) -> str:
    """What each layer of the question does with a worker wide open, in numbers from the simulation."""
    start = BENCH.start(units)
    names = ("relief valve", "slam-shut", "high switch, locks out burners", "monitor, wide open")
    traces = {name: run(scenario(start | {"layer": name})) for name in names}
    valve, shut, switch, monitor = (format_pressure(trace.peak(OUTLET)[1], units) for trace in traces.values())
    night = format_pressure(traces["monitor, wide open"].at(OUTLET, MORNING - 1), units)
    return tidy(
        f"The monitor holds {night} at night and {monitor} at the most, with gas in the morning and nothing let off. "
        f"The relief valve keeps the gas on too, at {valve} at the most, but lets off "
        f"{vented_words(traces['relief valve'], units)} in the bench's day, and goes on until somebody comes. "
        f"The slam-shut stops the gas, after a jump to {shut}, and nobody has any until it is reset. The switch stops "
        f"the burners only: the pipe goes to {switch}. Keep it, vent it or stop it: choose by what the place can stand."
    )


PREDICTION = Prediction(
    "A hospital must keep its gas, and nothing may be let off beside its windows. At 40 s the worker sticks wide open. "
    "Which layer does what the hospital needs?",
    (
        "A relief valve: it keeps the gas on, and what it lets off is a puff.",
        "A slam-shut: it is the safest, for it stops everything.",
        "A high switch that locks out the burners: it acts first.",
        "A monitor: it takes over the pressure and keeps the gas in the pipe.",
    ),
    3,
    explain,
)
BENCH = Bench(
    "Choosing the layers",
    (
        replace(INLET, low=LOWEST_INLET),
        replace(SET_POINT, label="Worker's spring (set point)", low=LOWEST_SET, high=HIGHEST_SET),
        LAYER,
        FAILURE,
        replace(DEBRIS, label="Debris on the worker's seat, height"),
        HARDNESS,
        DEMAND,
        WHOM,
        ZOOM,
        replace(MOMENT, high=END, start=500.0),
    ),
    show,
    wide=True,
    without=("without the layer", {"layer": "none"}),
    handout=(
        {"moment": 950.0},
        {"layer": "relief valve", "whom": "house", "moment": 950.0},
        {"layer": "slam-shut", "whom": "bakery", "moment": 950.0},
    ),
)
