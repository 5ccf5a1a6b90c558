"""Lesson 03, how regulators fail: open, closed, in between; what hides under flow and shows at night."""

from __future__ import annotations

from toolkit.faults import Fault, NickedSeat, StuckStem, WeakMainSpring
from toolkit.panels.bench import Bench, Settings, Shown, run
from toolkit.panels.controls import Choice
from toolkit.panels.predict import Prediction
from toolkit.panels.regulator_view import DAY, DUSK, MORNING, NAME, debris, levels, over_the_day, station
from toolkit.panels.sliders import DEBRIS, DEMAND, HARDNESS, INLET, MOMENT, SET_POINT, ZOOM, starting
from toolkit.scenario import Scenario
from toolkit.units import HOUR, INCH, SCF, format_pressure, tidy

FAILURES: dict[str, tuple[Fault, ...]] = {
    "none": (),
    "open": (StuckStem(devices=NAME, lowest=1.0, highest=1.0),),
    "half": (StuckStem(devices=NAME, lowest=0.06, highest=0.06),),
    "closed": (StuckStem(devices=NAME, lowest=0.0, highest=0.0),),
    "spring": (WeakMainSpring(devices=NAME, left_share=0.35),),
    "nick": (NickedSeat(devices=NAME, leak_area=2e-8),),
}
FAILURE = Choice(
    "failure",
    "Another failure, from 1 min on",
    "faults",
    (
        ("none", "none"),
        ("stem stuck wide open", "open"),
        ("stem stuck nearly shut", "half"),
        ("stem stuck shut", "closed"),
        ("main spring broken", "spring"),
        ("seat nicked", "nick"),
    ),
)


def scenario(settings: Settings) -> Scenario:
    """The bench's day with the failure chosen and the debris set."""
    return Scenario(
        station(inlet=settings["inlet"], set_point=settings["set_point"], demand=settings["demand"]),
        DAY,
        (*debris(settings["debris"], settings["hardness"]), *FAILURES[settings["failure"]]),
    )


def show(settings: Settings) -> Shown:
    """Outlet over the day with what was set to fail."""
    return over_the_day(settings, run(scenario(settings)))


def explain(units: str) -> str:
    """Where a piece of plastic shows, in numbers from the simulation."""
    start = BENCH.start(units)
    trace, clean = run(scenario(start)), run(scenario(start | {"debris": 0.0}))
    at = levels(trace.scenario)
    by_day, clean_day = (one.at("outlet_gauge_pressure", DUSK - 1) for one in (trace, clean))
    night = trace.at("outlet_gauge_pressure", MORNING - 1)
    return tidy(
        "With the burners on the disk stands well clear of the piece: the outlet holds "
        f"{format_pressure(by_day, units)}, with a clean seat "
        f"{format_pressure(clean_day, units)}. Nobody would notice. At night the disk "
        "has to come down onto it, and the outlet must press harder to seal: it locks up at "
        f"{format_pressure(night, units)} in place of {format_pressure(at.lock_up, units)}. So look for debris with "
        "the burners off."
    )


PREDICTION = Prediction(
    "A shaving of pipe plastic settles on the seat while the burners are on. When does the outlet pressure show it?",
    (
        "At once: the burners starve.",
        "At once: the outlet runs far too high with the burners on.",
        "At night: with everything off, the outlet stands higher than it should.",
        "Never: a soft piece is squeezed flat and forgotten.",
    ),
    2,
    explain,
)
BENCH = Bench(
    "How regulators fail",
    (
        INLET,
        SET_POINT,
        starting(DEBRIS, 0.010 * INCH),
        HARDNESS,
        FAILURE,
        starting(DEMAND, 900 * SCF / HOUR),
        ZOOM,
        MOMENT,
    ),
    show,
)
