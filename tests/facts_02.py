"""What lesson 02 states: its numbers worked out anew, and the source of each rule it tells."""

from __future__ import annotations

import pytest
from lesson_text import (
    CONDITION,
    DAY_AT,
    INLET_GAUGE,
    NIGHT_AT,
    OUTLET,
    REGULATOR,
    area_of,
    bench_trace,
    both,
    flow_through,
    hundredths,
    pressure,
)

from toolkit.devices.regulator import inlet_effect
from toolkit.panels import lesson_02
from toolkit.units import HOUR, IN_WC, INCH, MBAR, PSI, SCF


def worked() -> dict[str, str]:
    demand = 1400 * SCF / HOUR
    trace = bench_trace(lesson_02, demand=demand)
    set_point, flowing, locked = REGULATOR.set_gauge_pressure, trace.at(OUTLET, DAY_AT), trace.at(OUTLET, NIGHT_AT)
    seat, area, lever = REGULATOR.unbalanced_area, REGULATOR.diaphragm_area, REGULATOR.lever_ratio
    fall = 40 * PSI
    lower = bench_trace(lesson_02, inlet=20 * PSI)
    got = flow_through(1e-6, flowing) / flow_through(1e-6, set_point)
    falls, then = fall * inlet_effect(CONDITION), lower.at(OUTLET, NIGHT_AT)
    assert then == pytest.approx(locked - falls, abs=0.02 * IN_WC)
    # What stands there adds up.
    for unit in (IN_WC, MBAR):
        assert round(round(locked / unit, 2) - round(falls / unit, 2), 2) == round(then / unit, 2)
    return {
        "set point": pressure(set_point),
        "demand": both(demand, "standard_flow"),
        "flowing": pressure(flowing),
        "droop": both(set_point - flowing, "pressure_difference"),
        "locked": pressure(locked),
        "above": both(locked - set_point, "pressure_difference"),
        "orifice": both(REGULATOR.orifice_diameter, "small_length"),
        "seat": area_of(seat),
        "diaphragm": area_of(area),
        "lever": f"{lever:.0f}",
        "inlet": pressure(INLET_GAUGE),
        "lower inlet": pressure(20 * PSI),
        "fall": f"{fall / PSI:.0f} psi",
        "fall in. w.c.": both(fall, "pressure_difference"),
        "sum": f"{(lever * area + seat) / INCH**2:.1f} in²",
        "effect": f"{inlet_effect(CONDITION):.6f}",
        "falls by": hundredths(falls),
        "locked then": f"From {hundredths(locked)} it goes to {hundredths(then)}.",
        "share of pressure": f"{flowing / set_point:.2f}",
        "root": f"{got:.2f}",
        "share of input": f"{got:.0%}".replace("%", " %"),
    }


def happened() -> dict[str, str]:
    trace = bench_trace(lesson_02)
    least, most = (bench_trace(lesson_02, demand=cfh * SCF / HOUR).at(OUTLET, DAY_AT) for cfh in (100, 1500))
    weak = bench_trace(lesson_02, inlet=5 * PSI).at(OUTLET, DAY_AT)
    lost = bench_trace(lesson_02, inlet=5 * PSI, demand=1500 * SCF / HOUR)
    assert lost.at("regulator_lift", DAY_AT) == pytest.approx(REGULATOR.travel)  # "no travel left"
    return {
        "set point": pressure(REGULATOR.set_gauge_pressure),
        "demand": both(trace.scenario.station.loads[0].rated_flow, "standard_flow"),
        "flowing": pressure(trace.at(OUTLET, DAY_AT)),
        "locked": pressure(trace.at(OUTLET, NIGHT_AT)),
        "small flow": both(100 * SCF / HOUR, "standard_flow"),
        "at small flow": pressure(least),
        "large flow": both(1500 * SCF / HOUR, "standard_flow"),
        "at large flow": pressure(most),
        "weak inlet": pressure(5 * PSI),
        "at weak inlet": pressure(weak),
        "lost": pressure(lost.at(OUTLET, DAY_AT)),
    }


NUMBERS = {"Worked example": worked, "What happened": happened}

# What "In the field" tells of rules and reports, with the source that has it.
TOLD = [
    ("little build-up from a service regulator when nothing flows", "cfr-192-197"),  # 192.197(a)
    ("between 2 and 14 in. w.c.", "pa-59-29"),  # 52 Pa. Code 59.29
    ("by at most half of its set pressure", "wis-psc-135-197"),  # Wis. PSC 135.197
]

# What the lesson teaches: a sentence of its text, and what bears it out.
TEACHES = [
    (
        "The outlet pressure pushes up from below and shuts it.",
        "test tests/test_balance.py::test_more_outlet_pressure_never_opens_the_disk_and_never_shuts_the_relief",
    ),
    ("The disk stands where the two are equal.", "test tests/test_regulator.py::test_balance_under_flow"),
    (
        "Then the diaphragm is lower, the spring is longer, and a longer spring pushes less.",
        "test tests/test_regulator.py::test_balance_under_flow",
    ),
    ("Set point less outlet is the droop.", "item 02.droop"),
    (
        "At small flow the outlet stands a little above the set point; that is no fault.",
        "test tests/test_taught.py::test_at_small_flow_the_outlet_stands_between_set_point_and_lock_up",
    ),
    ("A soft seat seals only when it is pressed.", "test tests/test_regulator.py::test_lock_up"),
    ("So the outlet has to climb until the diaphragm presses hard enough: here to 7.8 in. w.c. (19.4 mbar).", "bench"),
    (
        "A sound regulator stays there all night.",
        "test tests/test_taught.py::test_a_sound_regulator_stays_at_its_lock_up_all_night",
    ),
    ("A needle that goes on rising is not lock-up; that is the next lesson.", "item 02.when_locked_up"),
    (
        "On the bench it pushes on the disk through the hole in the seat, and helps to open.",
        "item 02.inlet_effect",
    ),
    (
        "So with less inlet the outlet is a little lower, at rest and under flow.",
        "test tests/test_taught.py::test_less_inlet_lowers_the_outlet_at_rest_and_under_flow",
    ),
    ("The regulator has lost its hold; from here on the outlet just follows the inlet down.", "item 02.lost_hold"),
    ("The square root is 0.96: they give 96 % of their heat.", "item 02.burner_input"),
    (
        "As it moves, air goes in and out of the vent on the spring side.",
        "test tests/test_dynamics.py::test_breathing_takes_the_time_that_the_vent_gives",
    ),
    (
        "That is why the vent must be clear.",
        "test tests/test_dynamics.py::test_a_small_vent_slows_the_regulator_and_the_pressure_shoots_over_at_cut_off",
    ),
    ("The starving may end, but at night the whole house sits too high.", "bench"),
    (
        "Never swap an orifice or a spring for one that is not on the tag.",
        "test tests/test_layers.py::test_a_wrong_orifice_lifts_lock_up_by_its_larger_unbalanced_area",
    ),
    ("Federal rules want little build-up from a service regulator when nothing flows.", "source cfr-192-197"),
    ("One state lets an operator deliver between 2 and 14 in. w.c. to a house.", "source pa-59-29"),
    (
        "Another lets a service regulator build up by at most half of its set pressure when nothing flows.",
        "source wis-psc-135-197",
    ),
]
