"""Lesson 03, how regulators fail: open, closed, in between; what hides under flow and shows at night."""

from __future__ import annotations

from toolkit.faults import Fault, NickedSeat, StuckStem, WeakMainSpring
from toolkit.panels.bench import Bench, Settings, run
from toolkit.panels.controls import Choice, Slider
from toolkit.panels.predict import Prediction
from toolkit.panels.regulator_view import DAY, DUSK, MORNING, NAME, debris, levels, over_the_day, station
from toolkit.panels.sliders import DEBRIS, DEMAND, HARDNESS, INLET, MOMENT, SET_POINT, ZOOM, starting
from toolkit.scenario import Scenario
from toolkit.units import HOUR, SCF, format_pressure

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


def explain(units: str) -> str:
    """Where a piece of plastic shows, in numbers from the simulation."""
    trace = run(scenario({c.key: c.start for c in BENCH.controls if isinstance(c, Slider)} | START))
    at = levels(trace.scenario)
    by_day = trace.at("outlet_gauge_pressure", DUSK - 1)
    night = trace.at("outlet_gauge_pressure", MORNING - 1)
    return (
        f"With the burners on the disk stands well clear of the piece and the outlet holds "
        f"{format_pressure(by_day, units)}: nothing to see. At night the disk has to come down onto it, and the outlet "
        f"must press harder to seal: it locks up at {format_pressure(night, units)} in place of "
        f"{format_pressure(at.lock_up, units)}. So look for debris with the burners off."
    ).replace("..", ".")


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
START = {"hardness": HARDNESS.options[0][1], "failure": "none"}
BENCH = Bench(
    "How regulators fail",
    (INLET, SET_POINT, starting(DEBRIS, 2.5e-4), HARDNESS, FAILURE, starting(DEMAND, 900 * SCF / HOUR), ZOOM, MOMENT),
    scenario,
    over_the_day,
)
