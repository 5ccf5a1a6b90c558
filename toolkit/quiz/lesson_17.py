"""Lab 17, a regulator too small or a plugged filter."""

from __future__ import annotations

from collections.abc import Mapping
from random import Random

from toolkit.diagnosis.pair_small import PAIR
from toolkit.diagnosis.pair_station import PILOTS_AT
from toolkit.diagnosis.pairs import SECOND, Values
from toolkit.quiz.items import ABNORMAL, Item, pick, rounded
from toolkit.quiz.lab_items import which_cause, which_check
from toolkit.quiz.ordering import OrderQuestion, safe_steps
from toolkit.quiz.pictures import INLET
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
        "A regulator stands behind a filter, with a gauge before the filter and one behind it. By its tag it is set "
        f"to {format_pressure(values['set_point'], units)}. The burners are rated for "
        f"{format_quantity(values['demand'], 'standard_flow', units)} in all."
    )


def _left(key: str, chance: Random, units: str) -> NumericQuestion:
    values = drawn(chance, units)
    trace = simulate(PAIR.visit(values, SECOND))
    here = trace.scenario.station
    air, before = here.atmosphere, here.supply.gauge_pressure
    behind = rounded(trace.at(INLET, PILOTS_AT - 1), "gauge_pressure", units)
    return NumericQuestion(
        key,
        f"{said(values, units)} With all burners on, the gauge before the filter shows "
        f"{format_pressure(before, units)}, the one behind it {format_pressure(behind, units)}, and the air stands at "
        f"{format_quantity(air, 'absolute_pressure', units)}. The regulator is wide open and its flow choked. What "
        "share of what it could pass behind a clean filter comes through, in per cent?",
        "fraction",
        (behind + air) / (before + air),
        "Choked flow goes with the absolute pressure before the hole: add the air to both gauges, and divide.",
        (
            Slip("the gauges were divided", behind / before, "The gas pushes with the absolute pressure: add the air."),
            Slip("the drop was taken", (before - behind) / (before + air), "That is the share that is lost."),
            Slip("the drop was taken by the gauges", 1.0 - behind / before, "Add the air; and ask what is left."),
        ),
        relative_tolerance=0.02,
        units=units,
    )


# What qualified people do at a filter with a large drop, in order; and pairs that must not be turned round.
STEPS = (
    "Read the gauges before and behind the filter with all burners on, and write both down",
    "Have every burner shut off and accounted for",
    "Shut, lock and tag the valves before and behind the filter",
    "Let the filter's gas down to a safe place outdoors, and prove zero",
    "Open the filter, and put a clean element in",
    "Let gas in slowly, purge the air out, and look for leaks",
    "Have the burners relit by a qualified person, and read the drop again with gas flowing",
)
SAFETY: Mapping[tuple[int, int], str] = {
    (1, 2): "Burners that go out while a valve is shut let gas out unlit when it comes back.",
    (2, 3): "A stretch that is not shut in cannot be brought to zero.",
    (3, 4): "A filter that is opened under pressure throws its cover and its gas at whoever opens it.",
    (4, 5): "Gas is let in only once the filter is closed.",
}


def _steps(key: str, chance: Random, units: str) -> OrderQuestion:
    return safe_steps(
        key,
        f"{said(drawn(chance, units), units)} With all burners on the drop across the filter is large. Qualified "
        "people are to change its element, by the operator's written procedure. Put what they do in order.",
        STEPS,
        SAFETY,
        "Read while gas flows, then burners off, valves locked, zero proven; only then is anything opened.",
        chance,
    )


ITEMS = (
    Item(
        *("17.check", "17", "Choose the check that tells a small regulator from a plugged filter."),
        which_check(PAIR, drawn, said),
        ABNORMAL,
    ),
    Item(
        *("17.cause", "17", "Tell a small regulator from a plugged filter by what was read."),
        which_cause(PAIR, drawn, said),
        ABNORMAL,
    ),
    Item("17.left", "17", "Reckon what a plugged filter leaves of a regulator's flow.", _left),
    Item("17.steps", "17", "Put the steps of changing a filter's element in order.", _steps, ABNORMAL),
)
