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
