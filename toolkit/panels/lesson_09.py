"""Lesson 09, the pressure switch: it moves no gas itself; it rings, stops the burners, or trips a shutoff.

Sizes, settings and failures are invented to be watched, engineering judgement throughout.
"""

from __future__ import annotations

from dataclasses import replace

from toolkit.devices.pressure_switch import PressureSwitch
from toolkit.devices.regulator import Regulator
from toolkit.devices.slam_shut import SlamShut
from toolkit.faults import Debris, Fault, StuckStem, SupplyChange, TripShift
from toolkit.figures.data import EventMarker
from toolkit.layers import NEVER_TRIPS
from toolkit.panels.bench import Bench, Settings, Shown, run
from toolkit.panels.controls import Choice, Slider
from toolkit.panels.predict import Prediction
from toolkit.panels.regulator_view import DAY, DUSK, END, MORNING, NIGHT, NOON
from toolkit.panels.sliders import DEBRIS, DEMAND, HARDNESS, INLET, MOMENT, SET_POINT, ZOOM, fitted, starting
from toolkit.panels.station_bench import Watch, above_rating, watched
from toolkit.panels.words import clock, lasting
from toolkit.scenario import Demand, Scenario, Station, Volume
from toolkit.trace import Trace
from toolkit.units import HOUR, IN_WC, INCH, PSI, SCF, format_pressure, tidy

WORKER, SWITCH, SHUTOFF, OUTLET = "worker", "pressure_switch", "slam_shut", "outlet_gauge_pressure"
WATCH = Watch("Worker and pressure switch")
# Room before the shutoff, between it and the worker, and behind the worker [m3].
BEFORE, BETWEEN, BEHIND = 1e-3, 2e-5, 2e-2
# One grain under the seat holds up this share of its edge: a leak that goes on filling the pipe all night.
GRAIN = 0.01
# A switch that is bridged makes at no pressure that the bench reaches [Pa off its settings].
BLIND = 1e7
# Less flow than these shares of what the burners take: none, too little to burn well.
NO_GAS, TOO_LITTLE = 0.02, 0.5
# The main sags to this [Pa gauge] over that long [s], as in a cold spell.
SAG, SAGS_OVER = 0.6 * PSI, 20.0
# Burners that go on and off until the night, and go on as on other days: so long on, so long off [s].
ON_FOR, OFF_FOR = 20.0, 20.0
CYCLES = round(NIGHT / (ON_FOR + OFF_FOR))
CYCLING = (
    *(
        Demand((ON_FOR + OFF_FOR) * number + off, share, stroke=2.0)
        for number in range(CYCLES)
        for off, share in ((0.0, 1.0), (ON_FOR, 0.0))
    ),
    *(demand for demand in DAY if demand.time >= MORNING),
)
# The technician looks by day, with the burners on [s].
VISIT = NOON - 1
# One that chatters is counted over so long at first [s].
AT_FIRST = 30.0
# A switch that makes more often than this in the bench's day is never at rest.
CHATTERS = 4

HIGH = Slider("high", "High setting above set point", "settings", "low_gauge_pressure", 0.5 * IN_WC, 14 * IN_WC,
              4 * IN_WC, (0.5, 1))  # fmt: skip
LOW = Slider("low", "Low setting below set point", "settings", "low_gauge_pressure", 0.5 * IN_WC, 3 * IN_WC,
             2.5 * IN_WC, (0.5, 1))  # fmt: skip
DEADBAND = Slider("deadband", "Deadband", "settings", "low_gauge_pressure", 0.1 * IN_WC, 3 * IN_WC, 1 * IN_WC,
                  (0.1, 0.25))  # fmt: skip
DRIVES = Choice(
    "drives",
    "The switch drives",
    "settings",
    (("an alarm", "alarm"), ("the burners' lockout", "lockout"), ("the slam-shut", "trip")),
)
RESET = Choice("manual", "It lets go", "settings", (("by itself", False), ("only by hand", True)))
# Grit first: it is what the question is about.
GRIT_FIRST = replace(HARDNESS, options=HARDNESS.options[::-1])
FAILURES: dict[str, tuple[Fault, ...]] = {
    "none": (),
    "open": (StuckStem(devices=WORKER),),
    "sag": (SupplyChange(devices="supply", gauge_pressure=SAG, ramp=SAGS_OVER),),
    "cycle": (),
    "jumped": (TripShift(devices=SWITCH, high_by=BLIND, low_by=-BLIND, onset=-10.0),),
}
FAILURE = Choice(
    "failure",
    "And in the course of the day",
    "faults",
    (
        ("nothing else", "none"),
        ("worker stuck wide open", "open"),
        ("main sags", "sag"),
        ("burners go on and off", "cycle"),
        ("switch jumped", "jumped"),
    ),
)


def station(settings: Settings) -> Station:
    """Shutoff, worker and pipe with a switch on it; the shutoff trips only where the switch tells it to."""
    plain, worker_set = Station(), settings["set_point"]
    load = replace(plain.loads[0], rated_flow=settings["demand"])
    drives = settings["drives"]
    switch = PressureSwitch(
        name=SWITCH,
        high_gauge_pressure=worker_set + settings["high"],
        low_gauge_pressure=worker_set - settings["low"],
        deadband=settings["deadband"],
        manual_reset=settings["manual"],
        locks_out=(load.name,) if drives == "lockout" else (),
        trips=(SHUTOFF,) if drives == "trip" else (),
    )
    # Blind of itself, and drawn without a line to the outlet: it shuts only where the switch tells it to.
    shut = SlamShut(name=SHUTOFF, senses=SlamShut.outlet, high_gauge_pressure=NEVER_TRIPS)
    driven = settings["fitted"] and drives == "trip"
    rooms = (Volume("inlet", BETWEEN), Volume("outlet", BEHIND))
    return replace(
        plain,
        supply=replace(plain.supply, gauge_pressure=settings["inlet"], into=shut.inlet if driven else "inlet"),
        slam_shuts=(shut,) if driven else (),
        # Without an internal relief, whose spring would answer first.
        regulators=(Regulator(name=WORKER, relief=None, set_gauge_pressure=worker_set),),
        volumes=(Volume(shut.inlet, BEFORE), *rooms) if driven else rooms,
        loads=(load,),
        switches=(switch,) if settings["fitted"] else (),
    )


def scenario(settings: Settings) -> Scenario:
    """The bench's day, or the day of a burner that cycles, with the debris set and the failure chosen."""
    height, failure = settings["debris"], settings["failure"]
    grain = (
        (Debris(devices=WORKER, height=height, stiffness=settings["hardness"], edge=GRAIN),) if height > 1e-6 else ()
    )
    # Where no switch is fitted, there is none to jump.
    failed = () if failure == "jumped" and not settings["fitted"] else FAILURES[failure]
    return Scenario(station(settings), CYCLING if failure == "cycle" else DAY, (*grain, *failed), END)


def made(trace: Trace) -> tuple[tuple[float, float], ...]:
    """From when to when the switch was made [s]; the end of the run where it still is."""
    spans: list[tuple[float, float]] = []
    since: float | None = None
    for event in trace.events:
        if event.subject != SWITCH:
            continue
        if event.kind in ("switch_high", "switch_low"):
            since = event.time
        elif since is not None:
            spans.append((since, event.time))
            since = None
    return (*spans, (since, trace.scenario.duration)) if since is not None else tuple(spans)


def counted(trace: Trace) -> tuple[tuple[float, float], ...]:
    """The moves that count: where it trips a shutoff, what the emptying pipe does to it later does not."""
    trips = trace.happened("trips_by_switch")
    return tuple(span for span in made(trace) if not trips or span[0] <= trips[0].time)


def emptied(trace: Trace) -> bool:
    """Whether the pipe behind a tripped shutoff went so low that the low side made as well."""
    trips = trace.happened("trips_by_switch")
    return bool(trips) and any(event.time > trips[0].time for event in trace.happened("switch_low"))


def often(trace: Trace) -> str:
    """How often the switch made, in words; of one that chatters the engine follows only some of the moves."""
    times = len(counted(trace))
    more = "more than " if trace.happened("chatters") else ""
    return "never" if not times else "once" if times == 1 else f"{more}{times} times"


def soon_often(trace: Trace) -> str:
    """How often one that chatters made at first, from the first time on; nothing of another."""
    starts = [start for start, _ in made(trace)]
    if not trace.happened("chatters"):
        return ""
    return f", {sum(start < starts[0] + AT_FIRST for start in starts)} of them in the first {AT_FIRST:.0f} s"


def side(trace: Trace) -> str:
    """On which side the switch made first: "high", "low", or nothing."""
    kinds = [e.kind.removeprefix("switch_") for e in trace.events if e.kind in ("switch_high", "switch_low")]
    return kinds[0] if kinds else ""


def story(trace: Trace, settings: Settings) -> str:
    """The run in a few sentences: what the gauge did, when the switch made and let go, what it moved, what it hid."""
    units, drives = settings["units"], settings["drives"]

    def shown(gauge: float) -> str:
        return format_pressure(gauge, units)

    said = []
    if settings["failure"] != "cycle":
        day, night = (shown(trace.at(OUTLET, time - 1)) for time in (DUSK, MORNING))
        said.append(f"At the end of the day the outlet stands at {day}, at the end of the night at {night}.")
    said += _switch_told(trace, settings) if settings["fitted"] else ["There is no switch: nobody is told anything."]
    top_at, top = trace.peak(OUTLET)
    said.append(f"The highest is {shown(top)}, at {clock(top_at)}.")
    spans = made(trace)
    if spans and side(trace) == "high" and drives != "trip" and top > trace.at(OUTLET, spans[0][0]) + 0.5 * IN_WC:
        what = "rings" if drives == "alarm" else "keeps the burners off"
        said.append(f"The switch only {what}: the gas that comes through the worker it cannot stop.")
    said.append(above_rating(WATCH, trace, units))
    said.append(_served(trace, drives))
    return tidy(" ".join(said))


def _switch_told(trace: Trace, settings: Settings) -> list[str]:
    """What the switch did, and what came of it."""
    spans, drives = made(trace), settings["drives"]
    if settings["failure"] == "jumped":
        return ["The switch is jumped: whatever comes, it says nothing."]
    if not spans:
        return ["The switch stays at rest."]
    first, until = spans[0]
    said = [f"The switch first makes at {clock(first)}, on {side(trace)} pressure."]
    if not trace.scenario.faults:
        said.append("Nothing has failed: it answers to what happens every day.")
    if drives == "trip":
        said.append("It trips the slam-shut, which stays shut until somebody resets it.")
        # what it senses after that is a line that the shutoff has cut off
        return [*said, *(["Later the pipe empties, and the low side makes as well."] if emptied(trace) else [])]
    if len(spans) > CHATTERS:
        said.append(f"It makes {often(trace)}{soon_often(trace)}: it is never at rest for long.")
    elif settings["manual"]:
        said.append("It waits to be reset by hand.")
    elif until < trace.scenario.duration:
        again = f", and makes {often(trace)} in all" if len(spans) > 1 else ""
        said.append(f"It lets go by itself after {lasting(until - first)}{again}.")
    else:
        said.append("It is still made at the end.")
    if drives == "lockout":
        locked = lasting(sum(end - start for start, end in spans))
        how = "again and again" if len(spans) > CHATTERS else f"for {locked}"
        said.append(f"The burners are locked out {how}.")
    elif settings["failure"] != "cycle" and first < VISIT and not any(a <= VISIT < b for a, b in spans):
        now = format_pressure(trace.at(OUTLET, VISIT), settings["units"])
        said.append(f"At {clock(VISIT)} nothing rings, and the gauge shows {now}: who comes then sees nothing of it.")
    return said


def _served(trace: Trace, drives: str) -> str:
    """Whether the burners have gas in the morning; where a lockout lets them on and off, no one moment tells."""
    if drives == "lockout" and sum(MORNING < start < VISIT for start, _ in made(trace)) > 1:
        return "In the morning the burners go on and off."
    (load,) = trace.scenario.station.loads
    share = trace.at(f"{load.name}_flow", VISIT) / load.rated_flow
    has = "no gas" if share < NO_GAS else "too little gas" if share < TOO_LITTLE else "gas"
    return f"In the morning the burners have {has}."


def show(settings: Settings) -> Shown:
    """The station at the moment chosen, the outlet over the day, and what the switch told."""
    trace = run(scenario(settings))
    watch = replace(WATCH, markers=()) if settings["failure"] == "cycle" else WATCH
    gauges = (("switch makes", often(trace)),)
    return watched(watch, settings, trace, story(trace, settings), gauges, _lets_go(trace))


def _lets_go(trace: Trace) -> tuple[EventMarker, ...]:
    rests = trace.happened("switch_rest")
    return (EventMarker(rests[0].time / 60, "switch lets go"),) if rests else ()


def explain(units: str) -> str:
    """What the technician finds by day, in numbers from the simulation."""
    trace = run(scenario(BENCH.start(units)))
    first, until = made(trace)[0]
    night, noon = (format_pressure(trace.at(OUTLET, t - 1), units) for t in (MORNING, NOON))
    return tidy(
        f"With the burners off the grit lets the outlet creep up, and the switch makes at {clock(first)}. At the end "
        f"of the night the gauge shows {night}. The burners come on and draw the pressure down, and the switch lets "
        f"go at {clock(until)}. At {clock(VISIT)} the gauge shows {noon} and nothing rings, yet the grit is still "
        "there: the next night it begins again."
    )


PREDICTION = Prediction(
    "Grit lies on the worker's seat. A high pressure switch drives an alarm and lets go by itself. All night the "
    "alarm rings. A technician comes just before 9 min, with the burners still on. What does he find?",
    (
        "The alarm rings, and the outlet is far too high.",
        "Nothing rings, and the outlet is in order.",
        "The burners are locked out.",
        "The slam-shut has tripped.",
    ),
    1,
    explain,
)
BENCH = Bench(
    "The pressure switch",
    (
        INLET,
        SET_POINT,
        HIGH,
        LOW,
        DEADBAND,
        RESET,
        DRIVES,
        fitted("Pressure switch"),
        starting(DEBRIS, 0.006 * INCH),
        GRIT_FIRST,
        FAILURE,
        starting(DEMAND, 500 * SCF / HOUR),
        ZOOM,
        MOMENT,
    ),
    show,
    wide=True,
    without=("without the switch", {"fitted": False}),
    handout=({"moment": MORNING - 1}, {"drives": "trip", "moment": MORNING - 1}),
)
