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
    pressure,
)

from toolkit.devices.regulator import inlet_effect
from toolkit.panels import lesson_02
from toolkit.units import HOUR, IN_WC, INCH, PSI, SCF


def worked() -> dict[str, str]:
    demand = 1400 * SCF / HOUR
    trace = bench_trace(lesson_02, demand=demand)
    set_point, flowing, locked = REGULATOR.set_gauge_pressure, trace.at(OUTLET, DAY_AT), trace.at(OUTLET, NIGHT_AT)
    seat, area, lever = REGULATOR.unbalanced_area, REGULATOR.diaphragm_area, REGULATOR.lever_ratio
    fall = 40 * PSI
    lower = bench_trace(lesson_02, inlet=20 * PSI)
    got = flow_through(1e-6, flowing) / flow_through(1e-6, set_point)
    assert lower.at(OUTLET, NIGHT_AT) == pytest.approx(locked - fall * inlet_effect(CONDITION), abs=0.02 * IN_WC)
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
        "falls by": both(fall * inlet_effect(CONDITION), "pressure_difference"),
        "locked then": pressure(lower.at(OUTLET, NIGHT_AT)),
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
