"""Lesson 07, the relief valve: it stands alone downstream and lets off what a failed worker passes."""

from __future__ import annotations

from dataclasses import replace
from math import pi, sqrt

from toolkit.devices.regulator import Regulator
from toolkit.devices.relief_valve import ReliefValve
from toolkit.faults import BlockedRelief, Debris, Fault, StuckStem
from toolkit.figures.data import EventMarker
from toolkit.ladder import Rung, rung
from toolkit.panels.bench import Bench, Settings, Shown, run
from toolkit.panels.controls import Choice, Slider
from toolkit.panels.predict import Prediction
from toolkit.panels.regulator_view import DAY, DUSK, MORNING, NOON
from toolkit.panels.sliders import DEBRIS, DEMAND, HARDNESS, INLET, MOMENT, SET_POINT, ZOOM, starting
from toolkit.panels.station_bench import Watch, above_rating, rungs_of, watched
from toolkit.panels.words import clock
from toolkit.scenario import Scenario, Station, Volume
from toolkit.sizing import API_526_LETTERS
from toolkit.trace import Trace
from toolkit.units import HOUR, IN_WC, INCH, SCF, format_pressure, format_quantity, tidy

WORKER, VALVE = "worker", "relief_valve"
LIFT, STACK_FLOW = f"{VALVE}_lift_share", f"{VALVE}_flow"
OUTLET = "outlet_gauge_pressure"
# Pipe downstream [m3], as much as on the bench of the monitor, so that the two can be compared.
ROOM = 2e-2
# Coefficient that goes with the effective areas of the standard's letters. Source: `api-520-1`.
DISCHARGE = 0.975
# A stack so wide that it takes less than 2 % of the largest letter's flow [m].
STACK_BORE = 3 * INCH
# What an ice cap or a nest leaves of it: enough to hear gas, far too little to hold the pressure (share blocked).
ICED = 0.99
# The smallest lift that counts as open: below it the disk only settles on its seat; and what counts as all of it
# (shares of full lift).
OPEN, FULL = 5e-3, 0.999
# Flow area that a seat dirty after a pop leaves open [m2]: about one burner's worth of gas at the set point.
WEEPS = 1.5e-6
# Burners that get less than this share of what they are made for starve; with more than that one they burn badly.
# Both are our own judgement.
SERVED, OVERFED = 0.5, 1.1
WATCH = Watch("Worker and relief valve")

ABOVE = Slider(
    "above",
    "Relief valve set above the worker by",
    "settings",
    "low_gauge_pressure",
    0.5 * IN_WC,
    10 * IN_WC,
    4 * IN_WC,
    (0.5, 1),
)


def both_areas(area: float) -> str:
    """An area [m2] in both display sets: a choice keeps its words when the units change."""
    return f"{format_quantity(area, 'area', 'us')} ({format_quantity(area, 'area', 'metric')})"


# G first: a choice starts with its first option, and the lesson starts with the size that is enough.
SIZES = ("G", "E", "F", "H", "J")
SIZE = Choice(
    "letter",
    "Relief valve's orifice",
    "settings",
    tuple((f"{letter}: {both_areas(API_526_LETTERS[letter])}", letter) for letter in SIZES),
)
FITTED = Choice("fitted", "Relief valve", "settings", (("fitted", True), ("not fitted", False)))
WORKER_SET = replace(SET_POINT, label="Worker's spring (set point)")
# More than a grit of 0.3 mm lets through: by day such a grit stays hidden, and at night it lifts the valve.
BURNERS = starting(DEMAND, 500 * SCF / HOUR)
WORKER_DEBRIS = replace(DEBRIS, label="Debris on the worker's seat, height")
FAILURE = Choice(
    "failure",
    "Worker, from 1 min on",
    "faults",
    (("worker stuck wide open", "open"), ("nothing else", "none")),
)
RELIEF = Choice(
    "relief",
    "State of the relief valve",
    "faults",
    (
        ("sound", "sound"),
        ("stack iced up, all but blocked", "iced"),
        ("isolating valve left shut", "shut"),
        ("dirty seat: weeps after a pop", "weeps"),
    ),
)
# What a relief valve that cannot discharge suffers from, and how its drawing says so.
DEFEATED: dict[str, BlockedRelief] = {
    # Nobody saw it: it was so before the day began.
    "iced": BlockedRelief(devices=VALVE, blocked_share=ICED, onset=-10.0),
    # Behind a shut valve the disk feels nothing and stays down.
    "shut": BlockedRelief(devices=VALVE, highest_lift=0.0, onset=-10.0),
}


def valve(set_gauge_pressure: float, letter: str, *, weeps: bool = False) -> ReliefValve:
    """A relief valve set [Pa gauge] whose effective area is a standard letter's."""
    return ReliefValve(
        name=VALVE,
        set_gauge_pressure=set_gauge_pressure,
        orifice_diameter=2 * sqrt(API_526_LETTERS[letter] / pi),
        discharge_coefficient=DISCHARGE,
        stack_bore=STACK_BORE,
        weeps_after_pop=WEEPS if weeps else 0.0,
    )


def station(
    *, inlet: float, worker_set: float, demand: float, valves: tuple[ReliefValve, ...], room: float = ROOM
) -> Station:
    """A worker with no relief of its own, and the relief valves behind it; gauge pressures [Pa], `room` [m3].

    `demand` [standard m3/s at 7 in. w.c.].
    """
    plain = Station()
    return replace(
        plain,
        supply=replace(plain.supply, gauge_pressure=inlet),
        regulators=(Regulator(name=WORKER, relief=None, set_gauge_pressure=worker_set),),
        volumes=(plain.volumes[0], Volume("outlet", room)),
        relief_valves=valves,
        loads=(replace(plain.loads[0], rated_flow=demand),),
    )


def scenario(settings: Settings) -> Scenario:
    """The bench's day with the debris set, the worker's failure and the state of the relief valve."""
    worker_set, relief, fitted = settings["set_point"], settings["relief"], settings["fitted"]
    fitted_valve = valve(worker_set + settings["above"], settings["letter"], weeps=relief == "weeps")
    faults: list[Fault] = []
    if settings["debris"] > 1e-6:
        faults.append(Debris(devices=WORKER, height=settings["debris"], stiffness=settings["hardness"]))
    if settings["failure"] == "open":
        faults.append(StuckStem(devices=WORKER))
    if fitted and relief in DEFEATED:
        faults.append(DEFEATED[relief])
    return Scenario(
        station(
            inlet=settings["inlet"],
            worker_set=worker_set,
            demand=settings["demand"],
            valves=(fitted_valve,) if fitted else (),
        ),
        DAY,
        tuple(faults),
    )


def what_the_valve_did(trace: Trace, relief: str, units: str) -> list[str]:
    """When it opened and shut, how far it stood open at the end of the night, what kept it from its work."""
    if not trace.scenario.station.relief_valves:
        return ["No relief valve is fitted: nothing lets gas off."]
    (fitted,) = trace.scenario.station.relief_valves
    if relief == "shut":
        return ["The relief valve's isolating valve is shut: its disk feels nothing, and no gas leaves."]
    lift, opened = trace[LIFT], trace.happened("valve_opens")
    if lift.max() < OPEN:
        return [f"The relief valve stays shut; it is set {format_pressure(fitted.set_gauge_pressure, units)}."]
    said = []
    if lift[0] >= OPEN:
        said.append("The relief valve is open from the start: it is set too near the worker.")
    elif opened:
        first = opened[0]
        said.append(
            f"The relief valve begins to open at {clock(first.time)}, with the outlet at "
            f"{format_pressure(first.value, units)}."
        )
    night = trace.at(LIFT, MORNING - 1)
    if night >= OPEN:
        said.append(f"At the end of the night it stands {night:.0%} open.")
    if relief == "iced":
        said.append("Its stack is all but blocked: it lifts, and still the gas cannot get out.")
    elif lift.max() >= FULL and trace.peak(OUTLET)[1] > (1 + fitted.build_up) * fitted.set_gauge_pressure:
        said.append("It goes to full lift, and that is not enough: it is too small for what comes.")
    shut = trace.happened("valve_reseats")
    if shut:
        first = shut[0]
        said.append(f"It reseats at {clock(first.time)}, at {format_pressure(first.value, units)}.")
        if trace.happened("relief_pops"):
            weeps = float(trace[STACK_FLOW][(trace.times > first.time) & (lift < OPEN)].min())
            said.append(f"Its seat no longer seals: shut, it weeps {format_quantity(weeps, 'standard_flow', units)}.")
    if lift[-1] >= OPEN:
        said.append(f"It {'opens again and' if shut else 'still'} stands open when the run ends.")
    return said


def story(trace: Trace, relief: str, units: str) -> str:
    """The run in a few sentences: who held what by day and by night, what the relief valve did, what it cost."""

    def shown(time: float) -> str:
        return format_pressure(trace.at(OUTLET, time), units)

    (load,) = trace.scenario.station.loads
    top_at, top = trace.peak(OUTLET)
    said = [
        f"By day the outlet stands at {shown(DUSK - 1)}, at the end of the night at {shown(MORNING - 1)}.",
        *what_the_valve_did(trace, relief, units),
        f"The highest is {format_pressure(top, units)}, at {clock(top_at)}.",
    ]
    passes = [trace.at(f"{load.name}_flow", time) for time in (DUSK - 1, NOON - 1)]
    if min(passes) < SERVED * load.rated_flow:
        said.append("The burners starve.")
    elif top > load.maximum_gauge_pressure:
        said.append("The burners have gas all day, and more pressure than they are made for.")
    else:
        said.append("The burners have gas all day.")
    if max(passes) > OVERFED * load.rated_flow:
        most, made_for = (format_quantity(one, "standard_flow", units) for one in (max(passes), load.rated_flow))
        said.append(f"They take {most} and not {made_for}, and may burn badly.")
    if trace.happened("hunts"):
        often = trace.happened("hunts")[0].value
        said.append(f"It hunts, {often:.2g} swings a second; the chart shows the middle of the swing.")
    said.append(above_rating(WATCH, trace, units))
    return tidy(" ".join(said))


def ladder(station: Station) -> tuple[Rung, ...]:
    """The ladder with all three pressures of the relief valve: where it opens, is at full lift, is shut again."""
    own = [
        rung(kind, valve.name, share * valve.set_gauge_pressure)
        for valve in station.relief_valves
        for kind, share in (("valve_full", 1 + valve.build_up), ("valve_reseats", 1 - valve.blowdown))
    ]
    return (*rungs_of(station, WATCH.at), *own)


def show(settings: Settings) -> Shown:
    """Outlet over the bench's day, and what the relief valve lets off."""
    units, moment, trace = settings["units"], settings["moment"], run(scenario(settings))
    relief, fitted = settings["relief"], settings["fitted"]
    readouts: list[tuple[str, str]] = []
    if fitted:
        leaves = max(0.0, trace.at(STACK_FLOW, moment))
        readouts = [
            ("relief valve open", tidy(f"{trace.at(LIFT, moment):.0%}")),
            ("out of the stack", format_quantity(leaves, "standard_flow", units)),
        ]
    reseats = trace.happened("valve_reseats")[:1]
    markers = tuple(EventMarker(event.time / 60, "relief valve reseats") for event in reseats)
    rungs = ladder(trace.scenario.station)
    return watched(WATCH, settings, trace, story(trace, relief, units), readouts, markers, rungs)


def explain(units: str) -> str:
    """Where the outlet settles once the relief valve passes it all, in numbers from the simulation."""
    start = BENCH.start(units)
    failed, bare = (run(scenario(start | {"fitted": fitted})) for fitted in (True, False))
    (fitted_valve,) = failed.scenario.station.relief_valves
    day, night = (failed.at(OUTLET, time - 1) for time in (DUSK, MORNING))
    leaves = format_quantity(failed.at(STACK_FLOW, MORNING - 1), "standard_flow", units)
    return tidy(
        f"The relief valve begins to open at {format_pressure(fitted_valve.set_gauge_pressure, units)}. It opens "
        "further only as the pressure rises further, so the outlet climbs until all that the worker passes can leave: "
        f"{format_pressure(day, units)} by day, {format_pressure(night, units)} at night, with {leaves} going out of "
        f"the stack. It shuts nothing off: the gas blows until somebody stops it. Without it the night ends at "
        f"{format_pressure(bare.at(OUTLET, MORNING - 1), units)}."
    )


PREDICTION = Prediction(
    "A worker is set 7 in. w.c. Behind it stands a relief valve, set 11 in. w.c., that vents outdoors. At 1 min the "
    "worker's stem sticks wide open. What does the outlet do?",
    (
        "It rises to 11 in. w.c. and no further: that is what the relief valve is set to.",
        "It rises past 11 in. w.c. and stays there, and gas blows off until somebody stops it.",
        "It rises to 11 in. w.c., the relief valve pops, and the outlet is back at 7 in. w.c.",
        "It falls to nothing: the relief valve shuts the gas off.",
    ),
    1,
    explain,
)
BENCH = Bench(
    "The relief valve",
    (
        *(INLET, WORKER_SET, ABOVE, SIZE, FITTED),
        *(WORKER_DEBRIS, HARDNESS, FAILURE, RELIEF),
        *(BURNERS, ZOOM, MOMENT),
    ),
    show,
    wide=True,
    without=("without the relief valve", {"fitted": False}),
    handout=({}, {"moment": 419.0, "relief": "shut", "zoom": "whole"}),
)
