"""Lesson 06, the integral device: a second seat in the worker's own body that shuts when the disk cannot."""

from __future__ import annotations

from dataclasses import replace

from toolkit.devices.line import SensingLine
from toolkit.devices.regulator import Regulator, SecondSeat, lock_up_gauge_pressure, relief_start_gauge_pressure
from toolkit.faults import BlockedVent, BrokenSensingLine, Debris, Fault, FouledSecondSeat, StuckStem, TornDiaphragm
from toolkit.panels.bench import Bench, Settings, Shown, run
from toolkit.panels.controls import Choice, Slider
from toolkit.panels.monitor_station import burners_words
from toolkit.panels.predict import Prediction
from toolkit.panels.regulator_view import DAY, DUSK, MORNING
from toolkit.panels.sliders import DEBRIS, DEMAND, HARDNESS, INLET, MOMENT, SET_POINT, ZOOM, fitted
from toolkit.panels.station_bench import Watch, above_rating, watched
from toolkit.panels.words import clock, vented_words
from toolkit.quiz.lesson_06 import shut_gauge_pressure
from toolkit.scenario import Scenario, Station, Volume
from toolkit.trace import Trace
from toolkit.units import IN_WC, format_pressure, tidy

WORKER, LINE = "worker", "sensing_line"
# Pipe behind the worker [m3], as much as on the bench of the monitor, so that the two can be compared.
OUTLET = 2e-2
WATCH = Watch("Worker with a second seat")
# The second seat counts as at work once this share of its travel is used, as shut once nearly all of it is.
AT_WORK, SHUT = 0.01, 0.999
# Just before the morning [s]: what a night ends at.
NIGHT_AT = MORNING - 1

ABOVE = Slider(
    "above",
    "Second seat set above the worker by",
    "settings",
    "low_gauge_pressure",
    0.5 * IN_WC,
    14 * IN_WC,
    4 * IN_WC,
    (0.5, 1),
)
WORKER_SET = replace(SET_POINT, label="Worker's spring (set point)")
WORKER_DEBRIS = replace(DEBRIS, label="Debris on the worker's seat, height")
# A slug of grit: a piece on the worker's seat, and what it leaves open at the second one.
SLUG = Debris(devices=WORKER, height=4e-4, stiffness=1e8)
FOULED = FouledSecondSeat(devices=WORKER, leak_area=5e-6)
FAILURES: dict[str, tuple[Fault, ...]] = {
    "open": (StuckStem(devices=WORKER),),
    "none": (),
    "line": (BrokenSensingLine(devices=LINE),),
    "vent": (BlockedVent(devices=WORKER),),
    # A hole of some 5 mm, and a third of the diaphragm slack: far beyond what the springs still hold.
    "torn": (TornDiaphragm(devices=WORKER, hole_area=2e-5, lost_share=0.3),),
    "slug": (SLUG, FOULED),
}
FAILURE = Choice(
    "failure",
    "And, from 1 min on",
    "faults",
    (
        ("worker stuck wide open", "open"),
        ("nothing else", "none"),
        ("sensing line broken", "line"),
        ("vent blocked", "vent"),
        ("diaphragm torn wide", "torn"),
        ("one slug of grit through both seats", "slug"),
    ),
)


def station(*, inlet: float, worker_set: float, above: float, demand: float, fitted: bool = True) -> Station:
    """A worker that senses its outlet through one line, with or without a second seat in its body.

    Gauge pressures [Pa]; `above` is how far above its set point the second seat begins; `demand` [standard m3/s at
    7 in. w.c.].
    """
    plain = Station()
    worker = Regulator(
        name=WORKER,
        relief=None,
        second_seat=SecondSeat(takes_over_above_set=above) if fitted else None,
        set_gauge_pressure=worker_set,
        senses=LINE,
    )
    return replace(
        plain,
        supply=replace(plain.supply, gauge_pressure=inlet),
        regulators=(worker,),
        volumes=(plain.volumes[0], Volume("outlet", OUTLET)),
        sensing_lines=(SensingLine(LINE),),
        loads=(replace(plain.loads[0], rated_flow=demand),),
    )


def scenario(settings: Settings) -> Scenario:
    """The bench's day with the debris set and the failure chosen."""
    failure, fitted = settings["failure"], settings["fitted"]
    # A slug brings debris of its own to the worker.
    height = settings["debris"] if failure != "slug" else 0.0
    piece = (Debris(devices=WORKER, height=height, stiffness=settings["hardness"]),) if height > 1e-6 else ()
    struck = tuple(fault for fault in FAILURES[failure] if fitted or fault is not FOULED)
    return Scenario(
        station(
            inlet=settings["inlet"],
            worker_set=settings["set_point"],
            above=settings["above"],
            demand=settings["demand"],
            fitted=fitted,
        ),
        DAY,
        (*piece, *struck),
    )


def shut_share(trace: Trace, time: float) -> float:
    """How far the second seat has travelled towards shut at a time [s], 0 to 1; 0 where there is none."""
    (worker,) = trace.scenario.station.regulators
    if worker.second_seat is None:
        return 0.0
    return min(1.0, max(0.0, trace.at(f"{WORKER}_relief_lift", time) / worker.second_seat.travel))


def began(trace: Trace) -> float | None:
    """When the second seat is first at work [s]; None where it never is."""
    (worker,) = trace.scenario.station.regulators
    if worker.second_seat is None:
        return None
    at_work = trace.times[trace[f"{WORKER}_relief_lift"] > AT_WORK * worker.second_seat.travel]
    return float(at_work[0]) if len(at_work) else None


def stands(share: float, *, dirty: bool = False) -> str:
    """How the second seat stands, in words; one with dirt under it comes down and is not shut."""
    if dirty and share >= SHUT:
        return "down, held off by dirt"
    return "shut" if share >= SHUT else "open" if share <= AT_WORK else tidy(f"{min(share, 0.99):.0%} shut")


def seat_words(trace: Trace, time: float) -> str:
    """How the second seat stands at a time [s], in words."""
    dirty = any(isinstance(fault, FouledSecondSeat) and time >= fault.onset for fault in trace.scenario.faults)
    return stands(shut_share(trace, time), dirty=dirty)


def second_seat_words(trace: Trace, units: str) -> str:
    """What the second seat did, in a sentence or two."""
    (worker,) = trace.scenario.station.regulators
    if worker.second_seat is None:
        return "No second seat is fitted: behind the worker stands nothing."
    at, start = began(trace), relief_start_gauge_pressure(worker.condition())
    lock_up = lock_up_gauge_pressure(worker.condition(), trace.scenario.station.supply.gauge_pressure)
    shut_by = shut_gauge_pressure(worker)
    if at is None and trace.peak("outlet_gauge_pressure")[1] > shut_by:
        return (
            f"The second seat stays open, above the {format_pressure(shut_by, units)} by which it should be shut: "
            "what blinds the worker blinds it too."
        )
    if at is None:
        return "The second seat stands by, open."
    by_day, by_night = (seat_words(trace, t - 1) for t in (DUSK, MORNING))
    since = f"is first at work at {clock(at)}" if at else "is at work from the start"
    said = f"The second seat {since}; by day it stands {by_day}, at the end of the night {by_night}."
    if lock_up > start:
        said += (
            f" It is set too near: it begins at {format_pressure(start, units)}, and a sound worker locks up at "
            f"{format_pressure(lock_up, units)}."
        )
    return said


def story(trace: Trace, units: str) -> str:
    """The run in a few sentences: the outlet, who holds, the rating, what is let off, whether the burners have gas."""
    day, night = (format_pressure(trace.at("outlet_gauge_pressure", t - 1), units) for t in (DUSK, MORNING))
    top_at, top = trace.peak("outlet_gauge_pressure")
    off = vented_words(trace, units)
    said = [
        f"By day the outlet stands at {day}, at the end of the night at {night}.",
        second_seat_words(trace, units),
        f"The highest is {format_pressure(top, units)}, at {clock(top_at)}.",
        above_rating(WATCH, trace, units),
        "No gas is let off." if off == "none" else f"Gas let off: {off}.",
        burners_words(trace, units),
    ]
    if trace.happened("hunts"):
        said.append("It hunts; the chart shows the middle of the swing.")
    return tidy(" ".join(said))


def show(settings: Settings) -> Shown:
    """Outlet over the day, the worker with its two seats, and who holds."""
    trace, units = run(scenario(settings)), settings["units"]
    seat = seat_words(trace, settings["moment"]) if settings["fitted"] else "not fitted"
    return watched(WATCH, settings, trace, story(trace, units), (("second seat now", seat),))


def explain(units: str) -> str:
    """Who holds after the worker has failed, with and without the second seat, in numbers from the simulation."""
    start = BENCH.start(units)
    failed, well, bare = (run(scenario(start | change)) for change in ({}, {"failure": "none"}, {"fitted": False}))
    shown = [
        format_pressure(trace.at("outlet_gauge_pressure", time - 1), units)
        for trace, time in ((well, DUSK), (failed, DUSK), (failed, MORNING), (bare, MORNING))
    ]
    return tidy(
        f"With the worker well the outlet holds {shown[0]}. Stuck wide open, its disk cannot come down, but the "
        f"diaphragm travels on and shuts the second seat: {shown[1]} by day and {shown[2]} at the end of the night. "
        "That is lower than where it is set to begin, because the disk hangs low and the main spring pushes less. "
        f"The burners never went out and nothing was let off. Without the second seat the night goes to {shown[3]}."
    )


PREDICTION = Prediction(
    "A worker is set to 7 in. w.c. In its own body sits a second seat, set to begin 4 in. w.c. above that. At 1 min "
    "the worker's disk sticks wide open while the burners are on. What does the outlet do?",
    (
        "It stays at 7 in. w.c.: the second seat does the worker's work.",
        "It rises by about 3 in. w.c. and stays there; the burners keep burning.",
        "It falls to nothing: the second seat shuts the gas off until somebody resets it.",
        "It rises by about 3 in. w.c. while gas blows out of the vent.",
        "It rises to the inlet pressure: a regulator that has failed cannot guard itself.",
    ),
    1,
    explain,
)
BENCH = Bench(
    "The integral device",
    (INLET, WORKER_SET, ABOVE, fitted("Second seat"), WORKER_DEBRIS, HARDNESS, FAILURE, DEMAND, ZOOM, MOMENT),
    show,
    wide=True,
    without=("without the second seat", {"fitted": False}),
    # The second seat at work at night; both seats blind.
    handout=({"moment": NIGHT_AT}, {"failure": "line", "moment": NIGHT_AT}),
)
