"""Lab 20, plugged or leaking."""

from __future__ import annotations

from collections.abc import Mapping
from math import sqrt
from random import Random

from toolkit.diagnosis.pair_leak import PAIR, SPARE
from toolkit.diagnosis.pair_station import PILOTS_AT
from toolkit.diagnosis.pairs import SECOND, Values
from toolkit.quiz.items import ABNORMAL, Item, pick, rounded
from toolkit.quiz.lab_items import which_cause, which_check
from toolkit.quiz.ordering import OrderQuestion, safe_steps
from toolkit.quiz.pictures import OUTLET
from toolkit.quiz.questions import NumericQuestion, Slip
from toolkit.simulation import simulate
from toolkit.units import format_pressure, format_quantity


def drawn(chance: Random, units: str) -> Values:
    """Set point [Pa gauge], load [standard m3/s] and severity of a visit, round in the display unit."""
    return {
        "set_point": pick(chance, "low_gauge_pressure", units, (5, 8, 0.5), (13, 19, 1)),
        "demand": pick(chance, "standard_flow", units, (150, 300, 25), (4.5, 8.0, 0.5)),
        "severity": chance.randint(2, 18) / 20,
    }


def said(values: Values, units: str) -> str:
    """The station in sentences."""
    return (
        "A regulator stands behind a filter at the street, with no gauge between the two. A buried pipe leads from it "
        "to a house; the outlet valve and the meter are at the house. By its tag the regulator is set to "
        f"{format_pressure(values['set_point'], units)}, and there the burners take "
        f"{format_quantity(values['demand'], 'standard_flow', units)} in all."
    )


def _lost(key: str, chance: Random, units: str) -> NumericQuestion:
    values = drawn(chance, units)
    trace = simulate(PAIR.visit(values, SECOND))
    set_point, takes = values["set_point"], values["demand"]
    low = rounded(trace.at(OUTLET, PILOTS_AT - 1), "low_gauge_pressure", units)
    passes = rounded(SPARE * takes, "standard_flow", units)
    burnt = takes * sqrt(low / set_point)
    return NumericQuestion(
        key,
        f"{said(values, units)} Wide open, with this inlet, the regulator passes "
        f"{format_quantity(passes, 'standard_flow', units)}. The filter is clean. With all burners on the "
        "regulator is wide open, and the outlet gauge shows "
        f"{format_pressure(low, units)}. How much does the pipe lose?",
        "standard_flow",
        passes - burnt,
        f"Burners pass as the root of their pressure: at {low / set_point:.0%} of it they take "
        f"{burnt / takes:.0%} of their flow. What the regulator passes besides goes into the ground.",
        (
            Slip("the root was not taken", passes - takes * low / set_point, "Flow goes as the root of pressure."),
            Slip("the burners' full flow was taken", passes - takes, "At a low outlet they take less than that."),
            Slip("the burners' flow was given", burnt, "That is what is burnt; the rest is lost."),
        ),
        relative_tolerance=0.03,
        units=units,
    )


# What qualified people do, in order; and pairs that must not be turned round, with the reason.
STEPS = (
    "Test for gas indoors and where the pipe enters, by nose and detector; if any, get people out, call from outside",
    "Read the outlet gauge with all burners on, and write it down",
    "Have every burner shut off and accounted for",
    "Shut the outlet valve at the house, and watch the outlet gauge for a few minutes only",
    "Where it does not come back, call it in, shut the inlet valve, and keep people and flames away from the pipe",
    "Have the leak mended, and the pipe proven tight",
    "Let gas in slowly, purge the air out, and see the outlet gauge come to lock-up",
    "Have the burners relit by a qualified person",
)
SAFETY: Mapping[tuple[int, int], str] = {
    (0, 3): "Gas indoors stops everything else, and the ground may have taken its smell: no valve is worked before.",
    (2, 3): "Burners that go out while a valve is shut let gas out unlit when it comes back.",
    (4, 5): "A pipe that leaks is not dug up or mended while gas still feeds it.",
    (5, 6): "Gas is let in only once the pipe is proven tight.",
    (6, 7): "Burners are relit only once the outlet is right again.",
}


def _steps(key: str, chance: Random, units: str) -> OrderQuestion:
    return safe_steps(
        key,
        f"{said(drawn(chance, units), units)} {PAIR.noticed} Qualified people are to find out whether the pipe leaks, "
        "by the operator's written procedure, and it does. Put what they do in order.",
        STEPS,
        SAFETY,
        "People first, then what is found; burners off, then the valve at the house and the gauge. A pipe that "
        "leaks is shut off first, and gets gas again only when it is proven tight.",
        chance,
    )


ITEMS = (
    Item(
        *("20.check", "20", "Choose the check that tells a plugged filter from a leaking pipe."),
        which_check(PAIR, drawn, said),
        ABNORMAL,
    ),
    Item(
        *("20.cause", "20", "Tell a plugged filter from a leaking pipe by what was read."),
        which_cause(PAIR, drawn, said),
        ABNORMAL,
    ),
    Item("20.lost", "20", "Reckon what a leak takes from a regulator that stands wide open.", _lost),
    Item("20.steps", "20", "Put the steps at a pipe that may leak in order.", _steps, ABNORMAL),
)
