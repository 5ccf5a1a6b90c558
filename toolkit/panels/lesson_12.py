"""Lesson 12, one cause, two layers: what looks like two guards falls to one event, and what would have stood apart.

Sizes, settings and failures are invented to be watched, engineering judgement throughout.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from toolkit.actions import Action, Purge, TurnValve
from toolkit.devices.line import Pipe, SensingLine
from toolkit.devices.regulator import lock_up_gauge_pressure
from toolkit.devices.slam_shut import SlamShut
from toolkit.faults import BlockedSensingLine, BlockedVent, BrokenSensingLine, Debris, Fault, StuckStem
from toolkit.layers import MONITOR
from toolkit.panels.bench import Bench, Settings, Shown, run
from toolkit.panels.controls import Choice
from toolkit.panels.lesson_05 import ABOVE, WORKER_DEBRIS, WORKER_SET
from toolkit.panels.monitor_station import WORKER, takes_over
from toolkit.panels.monitor_station import station as monitored
from toolkit.panels.predict import Prediction
from toolkit.panels.regulator_view import DAY, DUSK, MORNING, NOON
from toolkit.panels.sliders import DEMAND, HARDNESS, INLET, MOMENT, ZOOM, starting
from toolkit.panels.station_bench import Watch, above_rating, watched
from toolkit.panels.words import NO_GAS, clock, vented_words
from toolkit.scenario import Scenario, Station, Volume
from toolkit.trace import Trace
from toolkit.units import HOUR, IN_WC, SCF, format_pressure, tidy

OLD_MAIN, TIE, SHUTOFF, OUTLET = "old_main", "tie", "slam_shut", "outlet_gauge_pressure"
# The old main stays in the drawing, past the valve that ties it to the new one.
WATCH = Watch("Two regulators, two mains", drawn_to=OLD_MAIN)
# The new main is so large that what stands between the regulators makes no spike that counts; the old one is short, so
# that it bleeds down while one looks; room before the slam-shut [m3].
NEW_SIZE, OLD_SIZE, BEFORE = 0.2, 1e-2, 1e-3
# The old main is cut off, then it is bled down [s] through a purge [m2].
CUT, BLED, PURGE = 60.0, 70.0, 2e-5
# Share of the travel from which on a regulator counts as wide open, and up to which as shut.
WIDE_OPEN, SHUT = 0.99, 1e-3
# The outlet has been let by where it stands this far above the monitor's lock-up (share of it) and the monitor is open.
LET_BY = 1.05
# Shares of the burners' rating: from this on they count as served, above that as overfed, and above the last as far
# overfed.
SERVED, OVERFED, FAR_OVERFED = 0.3, 1.1, 1.5
# How far the slam-shut's high trip stands above the worker's set point [Pa].
TRIP_ABOVE = 12 * IN_WC

# Less above the worker than the slam-shut's trip, with room for the monitor's lock-up between.
BELOW_TRIP = replace(ABOVE, high=8 * IN_WC)
TAPS = Choice(
    "taps",
    "The two sensing lines",
    "settings",
    (
        ("both end on the old main", "old"),
        ("share one line on the outlet", "one"),
        ("end each on the outlet", "own"),
    ),
)
GUARD = Choice(
    "guard",
    "A slam-shut before them",
    "settings",
    (("none", "none"), ("senses the outlet, by itself", "own"), ("senses where the worker does", "same")),
)
CAUSE = Choice(
    "cause",
    "From 1 min on",
    "faults",
    (
        ("old main cut off and bled down", "main"),
        ("nothing", "none"),
        ("worker stuck wide open", "open"),
        ("worker's sensing line broken", "line"),
        ("worker's sensing line frozen shut", "frozen"),
        ("one slug of grit through both seats", "slug"),
        ("both vents iced over", "vents"),
    ),
)


def lines_of(taps: str) -> tuple[SensingLine, ...]:
    """The sensing lines: the worker's is the last."""
    if taps == "one":
        return (SensingLine("one_line"),)
    tap = OLD_MAIN if taps == "old" else "outlet"
    return SensingLine("monitor_line", tap), SensingLine("worker_line", tap)


def station(settings: Settings) -> Station:
    """Worker and monitor on an outlet that an old main is tied to, with or without a slam-shut before them."""
    lines, guard = lines_of(settings["taps"]), settings["guard"]
    plain = monitored(
        inlet=settings["inlet"],
        worker_set=settings["set_point"],
        monitor_above=settings["above"],
        demand=settings["demand"],
    )
    monitor, worker = plain.regulators
    shut = SlamShut(
        name=SHUTOFF,
        senses="outlet" if guard == "own" else lines[-1].name,
        high_gauge_pressure=settings["set_point"] + TRIP_ABOVE,
    )
    guarded = guard != "none"
    return replace(
        plain,
        supply=replace(plain.supply, into=shut.inlet if guarded else plain.supply.into),
        slam_shuts=(shut,) if guarded else (),
        regulators=(replace(monitor, senses=lines[0].name), replace(worker, senses=lines[-1].name)),
        volumes=(
            *((Volume(shut.inlet, BEFORE),) if guarded else ()),
            *(replace(room, size=NEW_SIZE) if room.name == "outlet" else room for room in plain.volumes),
            Volume(OLD_MAIN, OLD_SIZE),
        ),
        pipes=(Pipe(TIE, "outlet", OLD_MAIN),),
        sensing_lines=lines,
    )


def scenario(settings: Settings) -> Scenario:
    """The bench's day with the debris set and the one cause chosen."""
    cause, line = settings["cause"], lines_of(settings["taps"])[-1].name
    # a slug brings debris of its own to the worker
    height = settings["debris"] if cause != "slug" else 0.0
    piece = (Debris(devices=WORKER, height=height, stiffness=settings["hardness"]),) if height > 1e-6 else ()
    causes: dict[str, tuple[Fault, ...]] = {
        "none": (),
        "main": (),
        "open": (StuckStem(devices=WORKER),),
        "line": (BrokenSensingLine(devices=line),),
        "frozen": (BlockedSensingLine(devices=line),),
        "slug": (Debris(devices=(WORKER, MONITOR), height=4e-4, stiffness=1e8),),
        "vents": (BlockedVent(devices=(WORKER, MONITOR)),),
    }
    work: tuple[Action, ...] = (
        TurnValve(device=TIE, time=CUT, share=0.0),
        Purge(device=OLD_MAIN, time=BLED, flow_area=PURGE),
    )
    return Scenario(station(settings), DAY, (*piece, *causes[cause]), actions=work if cause == "main" else ())


def let_by(trace: Trace) -> tuple[float, bool] | None:
    """When worker and monitor first let the outlet by together [s], and whether both stand wide open in doing so.

    None where one of them holds: the monitor is shut where the outlet is above its lock-up.
    """
    station, outlet = trace.scenario.station, trace[OUTLET]
    held = lock_up_gauge_pressure(station.regulators[0].condition(), station.supply.gauge_pressure)
    monitor, worker = (trace[f"{r.name}_lift"] / r.travel for r in station.regulators)
    past = (outlet > LET_BY * held) & (monitor > SHUT) & (trace.times > CUT)
    if not past.any():
        return None
    return float(trace.times[past][0]), bool((np.minimum(monitor, worker)[past] > WIDE_OPEN).any())


def who_holds(trace: Trace) -> str:
    """How many of the two regulators are left, as a sentence."""
    passed, began = let_by(trace), takes_over(trace)
    if passed is not None:
        how = "both regulators stand wide open" if passed[1] else "neither regulator shuts as it should"
        return f"From {clock(passed[0])} on {how}: one cause has taken two layers."
    if began is None:
        return "The worker does all the work, and the monitor stands by, wide open."
    if began == 0.0:
        return "The monitor throttles from the start: set so near the worker, it cannot stand by wide open."
    return f"The worker has let go, and from {clock(began)} on the monitor holds: one layer is taken, not two."


def what_the_guard_did(trace: Trace) -> str:
    """What the slam-shut felt and did, as a sentence; nothing where there is none, or nothing for it to do."""
    if not trace.scenario.station.slam_shuts:
        return ""
    (shut,), tripped = trace.scenario.station.slam_shuts, trace.happened("trips_high")
    apart = shut.senses == "outlet"
    if tripped:
        feels = "feels the outlet by itself" if apart else "feels what the worker feels"
        return f"The slam-shut {feels}; it trips at {clock(tripped[0].time)} and stops the gas."
    if let_by(trace) is None:
        return ""
    if trace.peak(OUTLET)[1] < (shut.high_gauge_pressure or 0.0):
        return "The slam-shut stays open: the outlet does not reach its trip."
    return "The slam-shut feels what the worker feels, and does not trip: a third layer, and the same cause."


def what_burners_have(trace: Trace) -> str:
    """What the burners have the next morning: no gas, gas, too much or far too much."""
    (load,) = trace.scenario.station.loads
    share = trace.at(f"{load.name}_flow", NOON - 1) / load.rated_flow
    if share <= SERVED:
        return "no gas"
    return "far too much gas" if share > FAR_OVERFED else "too much gas" if share > OVERFED else "gas"


def story(trace: Trace, units: str) -> str:
    """The run in a few sentences: how many layers were left, how high it went, what stood apart, who has gas."""

    def shown(gauge: float) -> str:
        return format_pressure(gauge, units)

    day, night = (trace.at(OUTLET, t - 1) for t in (DUSK, MORNING))
    top_at, top = trace.peak(OUTLET)
    off = vented_words(trace, units)
    said = (
        f"By day the outlet stands at {shown(day)}, at the end of the night at {shown(night)}.",
        who_holds(trace),
        what_the_guard_did(trace),
        f"The highest is {shown(top)}, at {clock(top_at)}.",
        above_rating(WATCH, trace, units),
        "" if off == NO_GAS else f"Gas let off into the air: {off}.",
        f"The next morning the burners have {what_burners_have(trace)}.",
    )
    return tidy(" ".join(one for one in said if one))


def show(settings: Settings) -> Shown:
    """The station at the moment chosen with its old main, the outlet over the day, the story."""
    trace, units = run(scenario(settings)), settings["units"]
    old = format_pressure(trace.at(f"{OLD_MAIN}_gauge_pressure", settings["moment"]), units)
    return watched(WATCH, settings, trace, story(trace, units), (("old main now", old),))


def explain(units: str) -> str:
    """What two regulators do that sense a dead main, in numbers from the simulation."""
    start = BENCH.start(units)
    dead, alive = (run(scenario(start | {"taps": taps})) for taps in ("old", "own"))
    high, night = (format_pressure(dead.at(OUTLET, t - 1), units) for t in (DUSK, MORNING))
    well = format_pressure(alive.at(OUTLET, MORNING - 1), units)
    return tidy(
        "Both sensing lines end on a main that loses its gas. Worker and monitor feel a pressure that falls, and both "
        f"open to bring it up: before 2 min the outlet is at {high}, and at the end of the night at {night}. Nothing "
        f"was broken in either regulator. With their lines on the outlet, the same work leaves that night at {well}."
    )


PREDICTION = Prediction(
    "Worker and monitor feed a new main. Their sensing lines still end on the old main beside it. At 1 min the old "
    "main is cut off and bled down. What does the new main do?",
    (
        "Nothing: the old main is no longer in use.",
        "The worker opens, and the monitor takes over at its set point.",
        "Both regulators open, and it goes far too high.",
        "Both regulators shut, and the burners go out.",
    ),
    2,
    explain,
)
BENCH = Bench(
    "One cause, two layers",
    (
        INLET,
        WORKER_SET,
        BELOW_TRIP,
        TAPS,
        GUARD,
        WORKER_DEBRIS,
        HARDNESS,
        CAUSE,
        starting(DEMAND, 250 * SCF / HOUR),
        ZOOM,
        MOMENT,
    ),
    show,
    wide=True,
    without=("with each line on the outlet", {"taps": "own"}),
    handout=({"moment": DUSK - 1, "zoom": "whole"}, {"moment": DUSK - 1, "zoom": "whole", "guard": "own"}),
)
