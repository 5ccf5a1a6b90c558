"""Lab 18, a weak spring or the monitor shut too soon."""

from __future__ import annotations

from collections.abc import Mapping
from random import Random

from toolkit.diagnosis.pair_monitor import ABOVE, PAIR
from toolkit.diagnosis.pair_station import PILOTS_AT
from toolkit.diagnosis.pairs import SECOND, Values
from toolkit.quiz.items import ABNORMAL, Item, pick, rounded
from toolkit.quiz.lab_items import which_cause, which_check
from toolkit.quiz.ordering import OrderQuestion, safe_steps
from toolkit.quiz.pictures import INLET, OUTLET
from toolkit.quiz.questions import NumericQuestion, Slip
from toolkit.simulation import simulate
from toolkit.units import IN_WC, PSI, format_pressure, format_quantity


def drawn(chance: Random, units: str) -> Values:
    """Set point [Pa gauge], load [standard m3/s] and severity of a visit, round in the display unit."""
    return {
        "set_point": pick(chance, "low_gauge_pressure", units, (5, 8, 0.5), (13, 19, 1)),
        "demand": pick(chance, "standard_flow", units, (150, 300, 25), (4.5, 8.0, 0.5)),
        "severity": chance.randint(2, 18) / 20,
    }


def said(values: Values, units: str) -> str:
    """The station in sentences."""
    worker, monitor = (format_pressure(values["set_point"] + above, units) for above in (0.0, ABOVE))
    return (
        f"A monitor stands before a worker, with a gauge between the two. By their tags the worker is set to {worker} "
        f"and the monitor to {monitor}. The burners are rated for "
        f"{format_quantity(values['demand'], 'standard_flow', units)} in all."
    )


def _way(key: str, chance: Random, units: str) -> NumericQuestion:
    values = drawn(chance, units)
    trace = simulate(PAIR.visit(values, SECOND))
    kinds = {INLET: "gauge_pressure", "interstage_gauge_pressure": "low_gauge_pressure", OUTLET: "low_gauge_pressure"}
    inlet, middle, outlet = (rounded(trace.at(signal, PILOTS_AT - 1), kind, units) for signal, kind in kinds.items())
    # what a small unit is taken for: inches of water for psi, hundredths for thousandths of a bar
    times, words = (PSI / IN_WC, "in. w.c. for psi") if units == "us" else (10.0, "mbar for hundredths of a bar")
    return NumericQuestion(
        key,
        f"{said(values, units)} With all burners on, the gauge before the two shows {format_pressure(inlet, units)}, "
        f"the one between them {format_pressure(middle, units)}, and the outlet gauge "
        f"{format_pressure(outlet, units)}. How far up the way from the outlet to the inlet does the gauge "
        "between stand, in per cent?",
        "fraction",
        (middle - outlet) / (inlet - outlet),
        "Bring all three to one unit. Take the outlet off the other two, and divide. So little is near the outlet: "
        "the first of the two, the monitor, holds the gas back.",
        (
            Slip(
                f"{words} was taken",
                times * (middle - outlet) / (inlet - times * outlet),
                "Bring all three gauges to one unit before you compare them.",
            ),
            Slip("the outlet was left out", middle / inlet, "The way begins at the outlet: take it off both."),
            Slip(
                "the way down was taken", (inlet - middle) / (inlet - outlet), "Count from the outlet, not the inlet."
            ),
        ),
        relative_tolerance=0.05,
        units=units,
    )


# What qualified people do about a weak spring in either of the two, in order; and pairs that must not be turned round.
STEPS = (
    "Ask whether gas is smelt indoors; if it is, get people out and call from outside",
    "Read the outlet gauge and the gauge between with all burners on, and write both down",
    "Have every burner shut off and accounted for",
    "Shut, lock and tag the valves before and behind the two regulators",
    "Let their gas down to a safe place outdoors, and prove zero",
    "Put the right spring in",
    "Let gas in slowly, search for leaks, prove monitor and worker one by one, and write down both set points",
    "Have the burners relit by a qualified person",
)
SAFETY: Mapping[tuple[int, int], str] = {
    (0, 3): "Gas indoors stops everything else: no valve is worked while people are in danger.",
    (2, 3): "Burners that go out while a valve is shut let gas out unlit when it comes back.",
    (3, 4): "A stretch that is not shut in cannot be brought to zero.",
    (4, 5): "A regulator that is opened under pressure throws its cover and its gas at whoever opens it.",
    (6, 7): "Burners are relit only behind layers that have been proven.",
}


def _steps(key: str, chance: Random, units: str) -> OrderQuestion:
    return safe_steps(
        key,
        f"{said(drawn(chance, units), units)} The outlet is low at every load, and the gauge between has told which of "
        "the two has the weak spring. Qualified people are to change it, by the operator's written procedure. Put what "
        "they do in order.",
        STEPS,
        SAFETY,
        "People first, then what is found; burners off, valves locked, zero proven; only then is anything opened."
        " Both layers are proven before a burner is lit.",
        chance,
    )


ITEMS = (
    Item(
        *("18.check", "18", "Choose a check that tells a weak spring from a monitor that shuts too soon."),
        which_check(PAIR, drawn, said),
        ABNORMAL,
    ),
    Item(
        *("18.cause", "18", "Tell a weak spring from a monitor that shuts too soon by what was read."),
        which_cause(PAIR, drawn, said),
        ABNORMAL,
    ),
    Item("18.way", "18", "Reckon whether the gauge between stands near the outlet or near the inlet.", _way),
    Item("18.steps", "18", "Put the steps of changing a weak spring in order.", _steps, ABNORMAL),
)
