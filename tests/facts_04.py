"""What lesson 04 states: its numbers worked out anew, and the source of each rule it tells."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from lesson_text import (
    CONDITION,
    DAY_AT,
    HERE,
    INLET_GAUGE,
    NIGHT_AT,
    OUTLET,
    REGULATOR,
    area_of,
    bench_trace,
    both,
    pressure,
)

from toolkit.devices.regulator import InternalRelief, relief_start_gauge_pressure
from toolkit.panels import lesson_04
from toolkit.panels.words import vented_words
from toolkit.units import IN_WC, PSI


def worked() -> dict[str, str]:
    set_point, above, rating = 7 * IN_WC, InternalRelief().start_above_set, HERE.loads[0].maximum_gauge_pressure
    start_ = relief_start_gauge_pressure(CONDITION)
    turned = replace(REGULATOR, set_gauge_pressure=10 * IN_WC).condition()
    raised = relief_start_gauge_pressure(turned._replace(relief_preload=CONDITION.relief_preload))
    lift, lever, rate = REGULATOR.travel, REGULATOR.lever_ratio, REGULATOR.spring_rate
    less, area = rate * lever * lift, REGULATOR.diaphragm_area
    return {
        "set point": pressure(set_point),
        "above": both(above, "pressure_difference"),
        "start": pressure(start_),
        "rating": pressure(rating),
        "over the rating": both(start_ - rating, "pressure_difference"),
        "new set point": pressure(10 * IN_WC),
        "new start": pressure(raised),
        "lift": both(lift, "small_length"),
        "lever": f"{lever:.0f}",
        "drop": both(lever * lift, "small_length"),
        "rate": both(rate, "spring_rate"),
        "less": both(less, "force"),
        "area": area_of(area),
        "less pressure": both(less / area, "pressure_difference"),
        "left": pressure(start_ - less / area),
        "growth": f"{REGULATOR.area_growth:.0%}".replace("%", " %"),
        "jammed": pressure(relief_start_gauge_pressure(CONDITION, lift)),
    }


def happened() -> dict[str, str]:
    def night(**chosen: Any) -> str:
        return pressure(bench_trace(lesson_04, **chosen).at(OUTLET, NIGHT_AT))

    torn = bench_trace(lesson_04, debris=0.0, also="diaphragm torn")
    assert not torn.happened("relief_opens")
    assert torn.at("regulator_vent_flow", DAY_AT) > 0
    assert bench_trace(lesson_04).at("regulator_vent_flow", DAY_AT) == pytest.approx(0, abs=1e-9)
    shut = bench_trace(lesson_04, blocked=1.0)
    assert vented_words(shut, "us") == "none"
    failed_open = bench_trace(lesson_04, debris=0.0, also="stem stuck wide open")
    # "The relief is open all the way"
    assert failed_open.at("regulator_relief_lift", NIGHT_AT) == pytest.approx(InternalRelief().travel)
    wide = failed_open.at(OUTLET, NIGHT_AT)
    return {
        "by day": pressure(bench_trace(lesson_04).at(OUTLET, DAY_AT)),
        "grit": night(),
        "start": pressure(relief_start_gauge_pressure(CONDITION)),
        "rating": pressure(HERE.loads[0].maximum_gauge_pressure),
        "wide": pressure(wide),
        "times": f"{wide / HERE.loads[0].maximum_gauge_pressure:.0f} times",
        "inlet": pressure(INLET_GAUGE),
        "lower inlet": pressure(20 * PSI),
        "wide, lower inlet": night(debris=0.0, also="stem stuck wide open", inlet=20 * PSI),
        **{f"blocked {share}": f"{share} %" for share in (50, 80, 95, 100)},
        **{f"at {share}": night(blocked=share / 100) for share in (50, 80, 95, 100)},
        "vent only": night(debris=0.0, blocked=1.0),
        "torn": night(debris=0.0, also="diaphragm torn"),
    }


NUMBERS = {"Worked example": worked, "What happened": happened}

# Trade figures in the text that no calculation gives.
SAID_IN_WORDS = {
    # Common practice, no source: `practice-internal-relief`.
    "What happened": ("9 in. w.c.",),
}

# What "In the field" tells of rules and reports, with the source that has it.
TOLD = [
    ("sized for the regulator failed wide open", "ifgc-416-2-5"),  # fuel gas code 416.2.5
    ("outdoors, proof against rain and insects, away from openings", "cfr-192-355"),  # 192.355(b)
    ("ice over vents", "phmsa-73-fr-12796"),
    ("an indoor regulator whose vent line was not connected", "ntsb-par-19-01"),
]

# What the lesson teaches: a sentence of its text, and what bears it out.
TEACHES = [
    ("When the outlet is too high, the diaphragm lifts off that opening.", "bench"),
    ("Gas goes through it into the room above, and out of the vent.", "bench"),
    ("So the vent belongs to the relief: no vent, no relief.", "item 04.vent_blocked"),
    (
        "By common practice a house regulator's relief begins to open about 9 in. w.c. above the set point.",
        "source practice-internal-relief",
    ),
    ("So the relief opens only after that has been passed.", "item 04.above_rating"),
    (
        "The bench's relief is there for a seat that leaks.",
        "test tests/test_choosing.py::test_an_internal_relief_passes_a_small_leak_and_not_a_wide_open_seat",
    ),
    (
        "The relief is open all the way, and it is not enough.",
        "test tests/test_taught.py::test_what_a_relief_holds_hangs_on_the_inlet_and_on_the_orifice",
    ),
    (
        "What a relief can hold depends on the inlet pressure and on the size of the orifice.",
        "test tests/test_taught.py::test_what_a_relief_holds_hangs_on_the_inlet_and_on_the_orifice",
    ),
    (
        "Never fit a larger orifice and count on the same relief.",
        "test tests/test_taught.py::test_what_a_relief_holds_hangs_on_the_inlet_and_on_the_orifice",
    ),
    ("It pushes down, together with the spring, and holds the disk open.", "bench"),
    (
        "Half a vent hardly shows; the last bit is what does it.",
        "test tests/test_taught.py::test_half_a_vent_hardly_shows_and_the_last_bit_does_it",
    ),
    (
        "A vent without gas does not prove a sound regulator.",
        "test tests/test_taught.py::test_no_gas_comes_out_of_a_shut_vent_while_the_outlet_runs_away",
    ),
    (
        "With the vent shut and no other fault at all, the air locked in above keeps the diaphragm down.",
        "test tests/test_taught.py::test_air_locked_in_above_the_diaphragm_holds_the_outlet_high_by_itself",
    ),
    ("So it moves along: it now starts at 19.0 in. w.c. (47.4 mbar).", "item 04.relief_start"),
    ("It starts sooner than with the disk shut, but it is still too small.", "item 04.jammed"),
    (
        "If the vent still flows, the diaphragm is torn, or the relief's own pad is dirty.",
        "test tests/test_dynamics.py::test_dirt_on_the_relief_weeps_as_a_tear_of_that_area",
    ),
    ("If the vent stops, the relief was at work.", "item 04.at_the_vent"),
    (
        "A relief that serves as the protection must be sized for the regulator failed wide open; so the "
        "fuel gas code has it.",
        "source ifgc-416-2-5",
    ),
    (
        "Federal rules want the vent of a service regulator outdoors, proof against rain and insects, away "
        "from openings, and safe from flood water.",
        "source cfr-192-355",
    ),
]
