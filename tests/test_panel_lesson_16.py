"""The bench of lab 16: leak and sun against closed forms. The general proof is in test_lab.py."""

from __future__ import annotations

from typing import Any

import pytest

from toolkit.diagnosis.pair_creep import BEFORE, COOL_AT, END, LINE, OFF_AT, SHUT_AT, WARM_AT, rise
from toolkit.diagnosis.pair_station import OUTLET
from toolkit.diagnosis.pairs import FIRST, SECOND
from toolkit.faults import NickedSeat, Warmed
from toolkit.flow import mass_flow
from toolkit.gas_by_hand import warmed_pressure
from toolkit.panels import lab, lesson_16
from toolkit.simulation import simulate
from toolkit.trace import Trace
from toolkit.units import IN_WC, PSI

BENCH = lesson_16.BENCH


def ran(which: int, check: str = "gauge_off", **chosen: Any) -> Trace:
    return simulate(lab.scenario_of(lesson_16.LAB, BENCH.start("us") | {"check": check} | chosen, which))


def test_the_key_of_the_prediction_is_what_tells() -> None:
    prediction = lesson_16.PREDICTION
    assert "Shut the inlet valve" in prediction.options[prediction.right]
    assert "to 9.7 in. w.c." in prediction.explain("us")
    assert "in. w.c." not in prediction.explain("metric")


@pytest.mark.parametrize("severity", [0.0, 0.5, 1.0])
def test_both_climb_as_the_closed_forms_say(severity: float) -> None:
    """dp/dt = RT m / V with a choked leak, and p / T for gas that is locked in (closed forms)."""
    leaks, warms = ran(FIRST, severity=severity), ran(SECOND, severity=severity)
    station = leaks.scenario.station
    (nick,), (sun,) = leaks.scenario.faults, warms.scenario.faults
    assert isinstance(nick, NickedSeat)
    assert isinstance(sun, Warmed)
    inlet, start = station.atmosphere + 60 * PSI, OFF_AT + 60.0
    flow = mass_flow(nick.leak_area, inlet, station.atmosphere + leaks.at(OUTLET, start), station.gas, 288.7056)
    slope = station.rt * flow / LINE
    risen = leaks.at(OUTLET, WARM_AT) - leaks.at(OUTLET, start)
    assert risen == pytest.approx(slope * (WARM_AT - start), rel=0.01)
    locked = warms.at(OUTLET, OFF_AT)
    warm = warmed_pressure(warms.at(OUTLET, OFF_AT + 5), 288.7056, 288.7056 * sun.times, station.atmosphere)
    assert warms.at(OUTLET, WARM_AT) == pytest.approx(warm, rel=0.02)
    assert rise({"severity": severity}) == pytest.approx(leaks.at(OUTLET, WARM_AT) - locked, abs=0.8 * IN_WC)


def test_what_stands_behind_the_valve_comes_through_and_no_more() -> None:
    trace = ran(FIRST, "inlet_shut")
    before = trace.at("inlet_gauge_pressure", SHUT_AT) - trace.at(OUTLET, SHUT_AT)
    gained = trace.at(OUTLET, END) - trace.at(OUTLET, SHUT_AT)
    assert gained == pytest.approx(BEFORE * before / LINE, rel=0.1)
    assert trace.at(OUTLET, END) == pytest.approx(trace.at(OUTLET, SHUT_AT + 1200), abs=1.0)
    # in the sun the shut valve changes nothing
    assert ran(SECOND, "inlet_shut").at(OUTLET, END) == pytest.approx(ran(SECOND).at(OUTLET, END), abs=5.0)


def test_in_the_shade_what_the_sun_has_lifted_falls_and_what_leaked_stays() -> None:
    warms, leaks = ran(SECOND, "sun"), ran(FIRST, "sun")
    assert warms.at(OUTLET, COOL_AT) == pytest.approx(warms.at(OUTLET, OFF_AT + 5), abs=0.1 * IN_WC)
    assert leaks.at(OUTLET, COOL_AT) > leaks.at(OUTLET, END) + 0.5 * IN_WC


def test_the_shade_is_spoken_of() -> None:
    shown = BENCH.show(BENCH.start("us") | {"check": "sun", "visit": 1, "truth": True})
    assert any("the cooling in the shade" in said for _, said in shown.events)
