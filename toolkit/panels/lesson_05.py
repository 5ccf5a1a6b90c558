"""Lesson 05, the monitor: a second regulator in series that takes over when the worker fails open."""

from __future__ import annotations

from dataclasses import replace

from toolkit.faults import BrokenSensingLine, Debris, Fault, StuckStem
from toolkit.layers import MONITOR
from toolkit.panels.bench import Bench, Settings, Shown, run
from toolkit.panels.controls import Choice, Slider
from toolkit.panels.monitor_station import WORKER, over_the_day, station
from toolkit.panels.predict import Prediction
from toolkit.panels.regulator_view import DAY, DUSK, MORNING
from toolkit.panels.sliders import DEBRIS, DEMAND, HARDNESS, INLET, MOMENT, SET_POINT, ZOOM, fitted
from toolkit.scenario import Scenario
from toolkit.units import IN_WC, format_pressure, tidy

ABOVE = Slider(
    "above",
    "Monitor set above the worker by",
    "settings",
    "low_gauge_pressure",
    0.5 * IN_WC,
    14 * IN_WC,
    4 * IN_WC,
    (0.5, 1),
)
WORKER_SET = replace(SET_POINT, label="Worker's spring (set point)")
WORKER_DEBRIS = replace(DEBRIS, label="Debris on the worker's seat, height")
FAILURES: dict[str, tuple[Fault, ...]] = {
    "none": (),
    "open": (StuckStem(devices=WORKER),),
    "line": (BrokenSensingLine(devices="worker_line"),),
    "both": (BrokenSensingLine(devices="one_line"),),
    "slug": (Debris(devices=(WORKER, MONITOR), height=4e-4, stiffness=1e8),),
}
FAILURE = Choice(
    "failure",
    "And, from 1 min on",
    "faults",
    (
        ("worker stuck wide open", "open"),
        ("nothing else", "none"),
        ("worker's sensing line broken", "line"),
        ("both on one line, broken", "both"),
        ("one slug of grit through both seats", "slug"),
    ),
)


def scenario(settings: Settings) -> Scenario:
    """The bench's day with the debris set and the failure chosen."""
    failure = settings["failure"]
    # a slug brings debris of its own to the worker
    height = settings["debris"] if failure != "slug" else 0.0
    piece = (Debris(devices=WORKER, height=height, stiffness=settings["hardness"]),) if height > 1e-6 else ()
    # one slug strikes what is there
    faults = tuple(
        f if settings["fitted"] or f.devices != (WORKER, MONITOR) else replace(f, devices=WORKER)
        for f in FAILURES[failure]
    )
    return Scenario(
        station(
            inlet=settings["inlet"],
            worker_set=settings["set_point"],
            monitor_above=settings["above"] if settings["fitted"] else None,
            demand=settings["demand"],
            shared_line=failure == "both",
        ),
        DAY,
        (*piece, *faults),
    )


def show(settings: Settings) -> Shown:
    """Outlet over the day, and who holds it."""
    return over_the_day(settings, run(scenario(settings)))


def explain(units: str) -> str:
    """Who holds the pressure after the worker fails, in numbers from the simulation."""
    start = BENCH.start(units)
    failed, well = (run(scenario(start | {"failure": failure})) for failure in ("open", "none"))
    day, night = (failed.at("outlet_gauge_pressure", t - 1) for t in (DUSK, MORNING))
    healthy = well.at("outlet_gauge_pressure", DUSK - 1)
    return tidy(
        f"With the worker well the outlet holds {format_pressure(healthy, units)}. Stuck wide open it holds nothing "
        "back: the outlet rises to where the monitor's spring balances, and stays there, "
        f"{format_pressure(day, units)} by day and {format_pressure(night, units)} at the end of the night. "
        "The burners never went out and nothing was vented: a monitor keeps the gas on, at a pressure that tells you "
        "it is at work."
    )


PREDICTION = Prediction(
    "Two regulators stand in a row and sense the same outlet. The worker is set 7 in. w.c., the monitor before it "
    "11 in. w.c. At 1 min the worker's stem sticks wide open. What does the outlet do?",
    (
        "It stays at 7 in. w.c.: the monitor holds the worker's set point.",
        "It rises to about 11 in. w.c. and stays there; the burners keep burning.",
        "It rises to the inlet pressure: one regulator has failed.",
        "It falls to nothing: the monitor shuts the gas off.",
    ),
    1,
    explain,
)
BENCH = Bench(
    "The monitor",
    (INLET, WORKER_SET, ABOVE, fitted("Monitor"), WORKER_DEBRIS, HARDNESS, FAILURE, DEMAND, ZOOM, MOMENT),
    show,
    wide=True,
    without=("without the monitor", {"fitted": False}),
    handout=({"failure": "none", "moment": 110.0}, {"moment": 110.0}),
)
