"""The bench of lab 19: tear, stuck stem and relief valve against closed forms. The general proof is in test_lab.py."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest

from toolkit.diagnosis.next_check import CHECKS
from toolkit.diagnosis.pair_station import END, NAME, OUTLET, PILOTS_AT, area_for
from toolkit.diagnosis.pair_stuck import (
    HELD_LOW,
    LEAST,
    LETS_OFF,
    MORE,
    PAIR,
    RELIEF_ABOVE,
    SMELL_OFF,
    SMELL_ON,
    STACK,
    TEAR,
    VALVE,
    torn_alike,
)
from toolkit.diagnosis.pairs import FIRST, SECOND, as_met
from toolkit.diagnosis.symptoms import vent_level
from toolkit.diagnosis.visits import HELD_DRAW
from toolkit.faults import StuckStem, TornDiaphragm
from toolkit.panels import lab, lesson_19
from toolkit.simulation import simulate
from toolkit.trace import Trace
from toolkit.units import HOUR, IN_WC, SCF

BENCH = lesson_19.BENCH


def ran(which: int, check: str = "gauge_on", **chosen: Any) -> Trace:
    return simulate(lab.scenario_of(lesson_19.LAB, BENCH.start("us") | {"check": check} | chosen, which))


def test_the_key_of_the_prediction_is_what_tells() -> None:
    prediction = lesson_19.PREDICTION
    assert "until the relief valve is shut" in prediction.options[prediction.right]
    assert "The relief valve opens at 10.0 in. w.c." in prediction.explain("us")
    assert "mbar" in prediction.explain("metric")
    assert "in. w.c." not in prediction.explain("metric")


@pytest.mark.parametrize("severity", [0.0, 1.0])
def test_the_stuck_stem_passes_the_load_so_many_times_and_the_relief_valve_takes_it(severity: float) -> None:
    trace = ran(SECOND, severity=severity)
    (load,), (fault,) = trace.scenario.station.loads, trace.scenario.faults
    assert isinstance(fault, StuckStem)
    assert fault.lowest == fault.highest
    # choked through 60 psi: what it passes does not hang on the outlet
    passes = (LEAST + MORE * severity) * load.rated_flow
    for time in (PILOTS_AT - 1, END - 1):
        assert trace.at(f"{NAME}_flow", time) == pytest.approx(passes, rel=2e-3)
    assert trace.at(f"{VALVE}_flow", END - 1) == pytest.approx(passes, rel=2e-3)
    assert LETS_OFF > LEAST + MORE


def test_only_the_torn_one_lets_gas_to_the_vent() -> None:
    """Through the tear goes what its hole passes into the open air (nozzle, closed form)."""
    torn, stuck = ran(FIRST, HELD_LOW.key), ran(SECOND, HELD_LOW.key)
    (load,), (tear,) = torn.scenario.station.loads, torn.scenario.faults
    assert isinstance(tear, TornDiaphragm)
    opens = 7 * IN_WC + RELIEF_ABOVE
    assert tear.hole_area == pytest.approx(area_for(TEAR * load.rated_flow, opens, 0.0), rel=1e-9)
    for time in (PILOTS_AT - 1, END - 1, torn.scenario.duration):
        vented = torn.at(f"{NAME}_vent_flow", time)
        assert area_for(vented, torn.at(OUTLET, time), 0.0) == pytest.approx(tear.hole_area, rel=0.03)
        assert stuck.at(f"{NAME}_vent_flow", time) == pytest.approx(0.0, abs=1e-9)
    assert torn.settled(f"{NAME}_vent_flow") > 10 * SCF / HOUR


def test_the_nose_at_the_vent_smells_the_stack() -> None:
    stuck = ran(SECOND)
    by_itself = as_met(stuck)
    assert (by_itself.vent_on, by_itself.vent_off) == ("none", "none")
    beside = PAIR.by_key[SMELL_ON.key].reads(stuck)
    assert (beside.vent_on, beside.vent_off) == ("strong", "strong")
    assert vent_level(stuck.at(f"{VALVE}_flow", PILOTS_AT)) == 2
    # all else is read as ever
    assert replace(beside, vent_on=None, vent_off=None) == replace(by_itself, vent_on=None, vent_off=None)
    held = ran(SECOND, HELD_LOW.key)
    assert PAIR.by_key[HELD_LOW.key].reads(held).vent_held == "none"
    # a relief valve that still blew would be smelt then too
    blowing = replace(held, signals={**held.signals, f"{VALVE}_flow": held[f"{VALVE}_flow"] + 1e-3})
    assert PAIR.by_key[HELD_LOW.key].reads(blowing).vent_held == "strong"


def test_each_check_beside_the_blowing_stack_says_how_one_keeps_out_of_its_gas() -> None:
    usual = {"relief": "stack", "vent_on": "smell_on", "vent_off": "smell_off", "vent_held": "held_low"}
    beside = [one for one in PAIR.checks if not one.check.forbidden and set(one.check.signs) & set(usual)]
    assert [one.check for one in beside] == [STACK, SMELL_ON, SMELL_OFF, HELD_LOW]
    for check in (STACK, SMELL_ON, SMELL_OFF):
        assert "upwind" in check.name
        assert "go no nearer once you smell it" in check.risk
    assert "until the stack is still" in HELD_LOW.name
    assert "safe place outdoors" in HELD_LOW.risk
    for one in beside:  # all else is as everywhere, what the burners risk included
        (sign,) = one.check.signs
        plain = CHECKS[usual[sign]]
        assert (one.check.minutes, one.check.effort, one.check.qualified) == (
            plain.minutes,
            plain.effort,
            plain.qualified,
        )
        assert ("burners go out" in one.check.risk) == ("burners go out" in plain.risk)


def test_held_low_the_relief_valve_is_shut_and_the_outlet_is_the_square_of_the_share() -> None:
    for which in (FIRST, SECOND):
        trace = ran(which, HELD_LOW.key)
        assert trace.settled(f"{VALVE}_flow") == pytest.approx(0.0, abs=1e-9)
        assert trace.settled(OUTLET) < 3 * IN_WC
    stuck = ran(SECOND, HELD_LOW.key)
    (load,) = stuck.scenario.station.loads
    share = (LEAST + 0.5 * MORE) / HELD_DRAW
    assert stuck.settled(OUTLET) == pytest.approx(share**2 * load.rated_gauge_pressure, rel=0.03)


def test_the_fit_is_the_same_whenever_it_is_made() -> None:
    here = ran(FIRST).scenario.station
    torn_alike.cache_clear()
    assert torn_alike(here, 0.5) == torn_alike(here, 0.5)


@pytest.mark.parametrize("moment", [PILOTS_AT - 1, PILOTS_AT + 60, END - 1])
def test_of_the_relief_valve_is_seen_that_it_blows_and_not_how_far_it_is_open(moment: float) -> None:
    for visit in (1, 2):
        start = BENCH.start("us") | {"visit": visit, "moment": moment}
        assert "Relief valve relief_valve: open, gas at stack." in BENCH.show(start).drawing
    opened = BENCH.show(BENCH.start("us") | {"truth": True, "moment": moment}).drawing
    assert len(set(re.findall(r"Relief valve relief_valve: open \d+ %, gas at stack", opened))) == 2


def test_both_causes_come_up_among_the_visits_drawn_by_chance() -> None:
    assert {lab.which_of(lesson_19.LAB, visit) for visit in range(lab.TWO + 1, lab.VISITS + 1)} == {FIRST, SECOND}
