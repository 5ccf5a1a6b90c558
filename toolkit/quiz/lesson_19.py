"""Lab 19, torn or stuck open."""

from __future__ import annotations

from dataclasses import replace
from random import Random

from toolkit.diagnosis.pair_stuck import PAIR, RELIEF_ABOVE, station, stuck
from toolkit.diagnosis.pairs import Values
from toolkit.diagnosis.visits import HELD_DRAW
from toolkit.quiz.items import ABNORMAL, Item, pick
from toolkit.quiz.lab_items import which_cause, which_check
from toolkit.quiz.pictures import outlet_picture
from toolkit.quiz.questions import NumericQuestion, Slip, TraceQuestion
from toolkit.scenario import Demand, Scenario
from toolkit.simulation import simulate
from toolkit.trace import Trace
from toolkit.units import format_pressure, format_quantity

# A time read from a picture may be off by this share of the run; how long the run is [s].
READ_OFF, DRAWN_FOR = 0.03, 300.0


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
    return (
        f"By its tag a regulator is set to {set_point}; it has no relief of its own. A relief valve behind it opens at "
        f"{opens}, and its stack ends outdoors beside the regulator's vent. The meter stands before the regulator. The "
        f"burners are rated for {format_quantity(values['demand'], 'standard_flow', units)} in all."
    )


def _held(key: str, chance: Random, units: str) -> NumericQuestion:
    values = drawn(chance, units)
    passes, calls = chance.randint(15, 18) / 10, chance.choice((2.5, HELD_DRAW, 3.5, 4.0))
    rated = station(values).loads[0].rated_gauge_pressure
    share = passes / calls
    return NumericQuestion(
        key,
        f"{said(values, units)} They are rated at {format_pressure(rated, units)}. The stem is stuck where the "
        f"regulator passes {passes:g} times what the burners are rated for, whatever the outlet is. To hold the outlet "
        f"low, {calls:g} times the rating is called for, through openings that are like the burners'. Where does the "
        "outlet settle?",
        "low_gauge_pressure",
        rated * share**2,
        f"What comes is {share:.0%} of what is called for. Burners pass as the root of their pressure, so square that, "
        "and take it of the pressure at which they are rated. The relief valve is shut long before.",
        (
            Slip("the share was not squared", rated * share, "Flow goes as the root of pressure: square the share."),
            Slip("the root was taken", rated * share**0.5, "Less flow needs less pressure still: square the share."),
            Slip("the share was turned round", rated / share**2, "More is called for than comes: the outlet falls."),
        ),
        relative_tolerance=0.05,
        units=units,
    )


def drawn_slowly(chance: Random, units: str) -> tuple[Trace, float]:
    """A run in which ever more is drawn over a stuck stem, with all burners on at first; when the valve is shut [s]."""
    values = drawn(chance, units)
    usual = station(values)
    # without blowdown, so that the line on the picture is where it opens and where it shuts
    here = replace(usual, relief_valves=tuple(replace(one, blowdown=0.0) for one in usual.relief_valves))
    begins, stroke = 10.0 * chance.randint(4, 10), 10.0 * chance.randint(9, 16)
    draw = Demand(begins, HELD_DRAW, stroke=stroke)
    trace = simulate(Scenario(here, (Demand(0.0, 1.0), draw), (stuck(here, values["severity"]),), DRAWN_FOR))
    # it may flutter shut and open again on its way
    return trace, trace.happened("valve_reseats")[-1].time


def _shuts(key: str, chance: Random, units: str) -> TraceQuestion:
    trace, shut = drawn_slowly(chance, units)
    (valve,) = trace.scenario.station.relief_valves
    half = READ_OFF * DRAWN_FOR
    opens = valve.set_gauge_pressure
    return TraceQuestion(
        key,
        f"A stem is stuck open, and the relief valve behind it blows; it begins to open at "
        f"{format_pressure(opens, units)}, and is shut again there. Qualified people draw more and more gas, to "
        "a safe place, to hold the outlet low. From when on is the relief valve shut, so that the air at the vent "
        "begins to clear?",
        outlet_picture(trace, units, marks=(("opens", opens),)),
        (shut - half, shut + half),
        trace.scenario.duration,
        f"The relief valve is shut from {shut:.0f} s on, once the outlet has come down to the line. Before "
        "that the air beside the vent has gas from the stack in it. Wait until it has cleared; then look at the vent.",
    )


ITEMS = (
    Item(
        *("19.check", "19", "Choose the check that tells a torn diaphragm from a stuck stem."),
        which_check(PAIR, drawn, said),
        ABNORMAL,
    ),
    Item(
        *("19.cause", "19", "Tell a torn diaphragm from a stuck stem by what was read."),
        which_cause(PAIR, drawn, said),
        ABNORMAL,
    ),
    Item("19.held", "19", "Reckon how low a draw holds the outlet over a stuck stem.", _held),
    Item("19.shuts", "19", "Read from the outlet's trace when the relief valve is shut.", _shuts, ABNORMAL),
)
