"""Lesson 04, the internal relief: when it opens, how much it can pass, and what a blocked vent makes of it."""

from __future__ import annotations

from dataclasses import replace

from toolkit.faults import BlockedVent, StuckStem, TornDiaphragm
from toolkit.panels.bench import Bench, Settings, Shown, run
from toolkit.panels.controls import Choice, Slider
from toolkit.panels.predict import Prediction
from toolkit.panels.regulator_view import DAY, MORNING, NAME, debris, over_the_day, station
from toolkit.panels.sliders import DEBRIS, DEMAND, HARDNESS, INLET, MOMENT, RELIEF, SET_POINT, ZOOM, fitted, starting
from toolkit.scenario import Scenario
from toolkit.units import INCH, format_pressure, tidy

FITTED = fitted("Internal relief")
BLOCKED = Slider("blocked", "Vent blocked", "faults", "fraction", 0.0, 1.0, 0.0, (5, 5))
# This lesson starts with grit, which only the relief can answer.
HARD_FIRST = replace(HARDNESS, options=tuple(reversed(HARDNESS.options)))
ALSO = Choice(
    "also",
    "And, from 1 min on",
    "faults",
    (("nothing else", "none"), ("stem stuck wide open", "open"), ("diaphragm torn", "torn")),
)
MORE = {
    "none": (),
    "open": (StuckStem(devices=NAME, lowest=1.0, highest=1.0),),
    "torn": (TornDiaphragm(devices=NAME, hole_area=4e-6, lost_share=0.05),),
}


def scenario(settings: Settings) -> Scenario:
    """The bench's day with debris, the vent blocked so far, and what else was chosen."""
    vent = (BlockedVent(devices=NAME, blocked_share=settings["blocked"]),) if settings["blocked"] > 0 else ()
    return Scenario(
        station(
            inlet=settings["inlet"],
            set_point=settings["set_point"],
            relief_above_set=settings["relief"] if settings["fitted"] else None,
            demand=settings["demand"],
        ),
        DAY,
        (*debris(settings["debris"], settings["hardness"]), *vent, *MORE[settings["also"]]),
    )


def show(settings: Settings) -> Shown:
    """Outlet over the day with what the relief has to answer."""
    return over_the_day(settings, run(scenario(settings)))


def explain(units: str) -> str:
    """What the blocked vent makes of the relief, in numbers from the simulation."""
    start = BENCH.start(units)
    open_vent, blocked = (run(scenario(start | {"blocked": share})) for share in (0.0, BLOCKED_FOR_SHOW))
    night, worst = open_vent.at("outlet_gauge_pressure", MORNING - 1), blocked.at("outlet_gauge_pressure", MORNING - 1)
    said = (
        f"With the vent open the relief holds the night at {format_pressure(night, units)}. "
        f"With the vent {BLOCKED_FOR_SHOW:.0%} blocked the gas that the relief passes is caught above the diaphragm. "
        f"It pushes down with the main spring, the disk opens, and the outlet goes to {format_pressure(worst, units)}. "
        "A blocked vent turns the relief against you."
    )
    return tidy(said)


PREDICTION = Prediction(
    "Grit holds the seat open, and a wasp has built its nest in the vent. The internal relief itself is sound. "
    "How high does the outlet go at night, compared with the same grit and a clear vent?",
    (
        "Just as high: the relief opens at its spring's setting.",
        "A little higher: the relief passes less.",
        "Far higher: the relief's own gas pushes the valve open.",
        "Lower: nothing can get out.",
    ),
    2,
    explain,
)
BLOCKED_FOR_SHOW = 0.95
BENCH = Bench(
    "The internal relief",
    (INLET, SET_POINT, RELIEF, FITTED, starting(DEBRIS, 0.006 * INCH), HARD_FIRST, BLOCKED, ALSO, DEMAND, ZOOM, MOMENT),
    show,
    without=("without the internal relief", {"fitted": False}),
    handout=({"moment": MORNING - 1}, {"moment": MORNING - 1, "blocked": BLOCKED_FOR_SHOW}),
)
