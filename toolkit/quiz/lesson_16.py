"""Lab 16, a seat that leaks or the sun on the pipe."""

from __future__ import annotations

from random import Random

from toolkit.diagnosis.pair_creep import PAIR, locked, rise, station, warmth
from toolkit.diagnosis.pair_station import OUTLET
from toolkit.diagnosis.pairs import Values
from toolkit.diagnosis.sites import Shade
from toolkit.faults import Warmed
from toolkit.quiz.items import ABNORMAL, Item, pick, rounded
from toolkit.quiz.lab_items import which_cause, which_check
from toolkit.quiz.pictures import outlet_picture
from toolkit.quiz.questions import NumericQuestion, Slip, TraceQuestion
from toolkit.scenario import Demand, Scenario
from toolkit.simulation import simulate
from toolkit.trace import Trace
from toolkit.units import CELSIUS_ZERO, IN_WC, format_pressure, format_quantity, to_display

# A time read from a picture may be off by this share of the run.
READ_OFF = 0.03
HOUR_AND_A_HALF = 5400.0


def drawn(chance: Random, units: str) -> Values:
    """Set point [Pa gauge], load [standard m3/s] and severity of a visit, round in the display unit."""
    return {
        "set_point": pick(chance, "low_gauge_pressure", units, (5, 8, 0.5), (13, 19, 1)),
        "demand": pick(chance, "standard_flow", units, (150, 300, 25), (4.5, 8.0, 0.5)),
        "severity": chance.randint(2, 18) / 20,
    }


def said(values: Values, units: str) -> str:
    """The station in sentences."""
    locks_up = format_pressure(locked(station(values)), units)
    return (
        f"By its tag a regulator is set to {format_pressure(values['set_point'], units)}, and by its record it locks "
        f"up at {locks_up}. A long line runs behind it in the open, with the outlet valve and the outlet gauge at its "
        "far end. The burners take "
        f"{format_quantity(values['demand'], 'standard_flow', units)}."
    )


def _warmed(key: str, chance: Random, units: str) -> NumericQuestion:
    values = drawn(chance, units)
    here = station(values)
    before = rounded(locked(here), "low_gauge_pressure", units)
    after = rounded(before + rise(values), "low_gauge_pressure", units)
    air, stood = here.atmosphere, here.temperature
    share = (after - before) / (before + air)
    counted = stood - CELSIUS_ZERO if units == "metric" else to_display(stood, "temperature", "us") * 5 / 9
    return NumericQuestion(
        key,
        f"{said(values, units)} All is off. In the sun the gauge has gone from {format_pressure(before, units)} to "
        f"{format_pressure(after, units)}; the seat is tight. The gas stood at "
        f"{format_quantity(stood, 'temperature', units)}, and the air at "
        f"{format_quantity(air, 'absolute_pressure', units)}. By how much has the sun warmed the gas?",
        "temperature_difference",
        share * stood,
        "Locked-in gas goes with its absolute temperature: the rise is a share of the absolute pressure, and the "
        "warming is the same share of the absolute temperature. A few degrees are enough to look like a leak.",
        (
            Slip(
                "the gauge pressure was taken for the whole",
                (after - before) / before * stood,
                "Add the air's pressure: the gas pushes with all of it.",
            ),
            Slip(
                "the temperature was counted from the thermometer's zero",
                share * counted,
                "Count from absolute zero, 460 °F or 273 °C further down.",
            ),
        ),
        relative_tolerance=0.05,
        units=units,
    )


def sun_and_shade(chance: Random, units: str) -> tuple[Trace, float]:
    """A run with all off in which the sun comes on the pipe and leaves it again; when it leaves [s]."""
    values = drawn(chance, units)
    here = station(values)
    times = warmth(here, rise(values) + 2 * IN_WC)
    comes = 100.0 * chance.randint(3, 9)
    leaves = comes + 100.0 * chance.randint(14, 26)
    sun = Warmed(devices="outlet", times=times, onset=comes, ramp=leaves - comes)
    shade = Shade(devices="outlet", times=1.0 / times, onset=leaves, ramp=100.0 * chance.randint(8, 16))
    return simulate(Scenario(here, (Demand(0.0, 0.0),), (sun, shade), HOUR_AND_A_HALF)), leaves


def _leaves(key: str, chance: Random, units: str) -> TraceQuestion:
    trace, leaves = sun_and_shade(chance, units)
    here, half = trace.scenario.station, READ_OFF * HOUR_AND_A_HALF
    locks_up = locked(here)
    return TraceQuestion(
        key,
        f"A regulator that locks up at {format_pressure(locks_up, units)} stands with all off on a long line in the "
        "open. Its seat is tight. When did the sun leave the pipe?",
        outlet_picture(trace, units, marks=(("lock-up", locks_up),), low=0.8 * locks_up),
        (leaves - half, leaves + half),
        trace.scenario.duration,
        f"The gauge climbs while the pipe gets warmer, and turns at {leaves:.0f} s, when it begins to cool: it is back "
        f"at {format_pressure(trace.settled(OUTLET), units)} in the end. A leak would have climbed on.",
    )


ITEMS = (
    Item(
        *("16.check", "16", "Choose a check that tells a leaking seat from the sun."),
        which_check(PAIR, drawn, said),
        ABNORMAL,
    ),
    Item(
        *("16.cause", "16", "Tell a leaking seat from the sun by what was read."),
        which_cause(PAIR, drawn, said),
        ABNORMAL,
    ),
    Item("16.warmed", "16", "Reckon how little warming lifts locked-in gas as far as a leak does.", _warmed),
    Item("16.leaves", "16", "Read from a gauge's trace when the sun left the pipe.", _leaves, ABNORMAL),
)
