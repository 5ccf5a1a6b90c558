"""Lab 15, torn diaphragm or relief at work."""

from __future__ import annotations

from collections.abc import Mapping
from random import Random

from toolkit.devices.regulator import lock_up_gauge_pressure
from toolkit.diagnosis.pair_station import built_for
from toolkit.diagnosis.pair_torn import PAIR, RELIEF_ABOVE
from toolkit.diagnosis.pairs import Values
from toolkit.quiz.items import ABNORMAL, Item, pick, rounded
from toolkit.quiz.lab_items import which_cause, which_check
from toolkit.quiz.ordering import OrderQuestion, safe_steps
from toolkit.quiz.questions import NumericQuestion, Slip
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
    set_point, opens = (
        format_pressure(gauge, units) for gauge in (values["set_point"], values["set_point"] + RELIEF_ABOVE)
    )
    takes = format_quantity(values["demand"], "standard_flow", units)
    return (
        f"By its tag a service regulator is set to {set_point}, and its internal relief opens at {opens}. The burners "
        f"take {takes}."
    )


def _torn_high(key: str, chance: Random, units: str) -> NumericQuestion:
    values, lost = drawn(chance, units), chance.choice((0.15, 0.2, 0.25, 0.3, 0.35))
    here = built_for(values["set_point"], values["demand"], RELIEF_ABOVE)
    condition, inlet = here.regulators[0].condition(), here.supply.gauge_pressure
    whole = rounded(lock_up_gauge_pressure(condition, inlet), "low_gauge_pressure", units)
    return NumericQuestion(
        key,
        f"{said(values, units)} Whole, it locks up at {format_pressure(whole, units)}. A tear takes {lost:.0%} of the "
        "area that its diaphragm pushes with. What does the outlet gauge show with all off? Leave out what flows "
        "through the tear itself.",
        "low_gauge_pressure",
        lock_up_gauge_pressure(condition._replace(kept=1.0 - lost), inlet),
        f"The same spring has to be held by {1 - lost:.0%} of the area, so it takes more pressure: divide the lock-up "
        f"by {1 - lost:.2f}. That is why a torn diaphragm reads high, as a relief at work does. The same "
        "area lifts the relief, so over a tear it opens later than its tag says.",
        (
            Slip("the share was taken off", whole * (1.0 - lost), "With less area it takes more pressure, not less."),
            Slip("the share was added", whole * (1.0 + lost), "Divide by the share that is left."),
            Slip("the tear was left out", whole, "The spring pushes as before, and less area pushes back."),
        ),
        units=units,
    )


# What qualified people do to hold an outlet low, in order; and pairs that must not be turned round, with the reason.
STEPS = (
    "Ask whether gas is smelt indoors; if it is, get people out and call from outside",
    "Read the outlet gauge, smell at the vent from upwind, and write both down as found",
    "Have every burner off and accounted for, and lead the draw to a safe place outdoors",
    "Draw until the outlet gauge stands well below the point at which the relief opens",
    "Wait until the air has cleared, and look for gas at the vent with a gas detector",
    "Shut the draw slowly, and read the outlet gauge again",
)
SAFETY: Mapping[tuple[int, int], str] = {
    (0, 3): "Gas indoors stops everything else: no valve is worked while people are in danger.",
    (2, 3): "Gas that is drawn must go somewhere safe, and a burner that is left on may go out and let gas indoors.",
    (3, 4): "Above its opening point a sound relief lets out gas just like a tear.",
}


def _steps(key: str, chance: Random, units: str) -> OrderQuestion:
    return safe_steps(
        key,
        f"{said(drawn(chance, units), units)} {PAIR.noticed} Qualified people are to hold the outlet low, by the "
        "operator's written procedure. Put what they do in order.",
        STEPS,
        SAFETY,
        "People first, then what is found, then a safe way out for the gas; only then the check itself.",
        chance,
    )


ITEMS = (
    Item(
        *("15.check", "15", "Choose the check that tells a torn diaphragm from a relief at work."),
        which_check(PAIR, drawn, said),
        ABNORMAL,
    ),
    Item(
        *("15.cause", "15", "Tell a torn diaphragm from a relief at work by what was read."),
        which_cause(PAIR, drawn, said),
        ABNORMAL,
    ),
    Item("15.torn_high", "15", "Reckon how high a torn diaphragm lets the outlet stand.", _torn_high),
    Item("15.steps", "15", "Put the steps of holding an outlet low in order.", _steps, ABNORMAL),
)
