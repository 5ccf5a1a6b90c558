"""The bench of lab 20: filter and leak against closed forms, and where valve and meter stand. General: test_lab.py."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest

from toolkit.actions import TurnValve
from toolkit.devices.line import Pipe
from toolkit.devices.regulator import lock_up_gauge_pressure
from toolkit.diagnosis.pair_leak import END, LEAST, MORE, ON_AT, PAIR, PIPE, SHUT_FOR, SPARE
from toolkit.diagnosis.pair_station import LONG_AGO, NAME, OUTLET, PILOTS_AT, area_for
from toolkit.diagnosis.pairs import FIRST, SECOND, as_met
from toolkit.faults import Leak, PluggedFilter
from toolkit.gas_by_hand import flow_share
from toolkit.panels import lab, lesson_20
from toolkit.panels.lesson_20 import LEAKS
from toolkit.scenario import Volume
from toolkit.simulation import simulate
from toolkit.trace import Trace
from toolkit.units import IN_WC, PSI

BENCH = lesson_20.BENCH
ON = PILOTS_AT - 1


def ran(which: int, check: str = "gauge_on", **chosen: Any) -> Trace:
    return simulate(lab.scenario_of(lesson_20.LAB, BENCH.start("us") | {"check": check} | chosen, which))


def test_the_key_of_the_prediction_is_what_tells() -> None:
    prediction = lesson_20.PREDICTION
    assert "Shut the outlet valve at the house" in prediction.options[prediction.right]
    assert "comes up to lock-up, 7.7 in. w.c." in prediction.explain("us")
    assert "in. w.c." not in prediction.explain("metric")


@pytest.mark.parametrize("severity", [0.0, 0.5, 1.0])
@pytest.mark.parametrize("set_point", [5 * IN_WC, 8 * IN_WC])
def test_the_leak_and_the_filter_leave_the_burners_the_same(severity: float, set_point: float) -> None:
    """Leak and burners pass as the root of one pressure: share of the set point = (spare / (1 + leak))^2 (closed)."""
    plugged, leaks = (ran(which, severity=severity, set_point=set_point) for which in (FIRST, SECOND))
    leak = LEAST + MORE * severity
    expected = (SPARE / (1 + leak)) ** 2
    # what the clean filter costs is left out
    assert leaks.at(OUTLET, ON) / set_point == pytest.approx(expected, rel=0.04)
    (load,) = leaks.scenario.station.loads
    for trace in (plugged, leaks):
        (regulator,) = trace.scenario.station.regulators
        assert trace.at(f"{NAME}_lift", ON) > 0.999 * regulator.travel
        share = flow_share(trace.at(OUTLET, ON), set_point)
        assert trace.at(f"{load.name}_flow", ON) == pytest.approx(share * load.rated_flow, rel=0.01)
    assert leaks.at(LEAKS, ON) == pytest.approx(leak * leaks.at(f"{load.name}_flow", ON), rel=0.01)


def test_the_filter_is_plugged_as_choked_flow_has_it() -> None:
    trace = ran(FIRST)
    (fault,) = trace.scenario.faults
    assert isinstance(fault, PluggedFilter)
    assert 0.5 < fault.blocked_share < 0.95
    (load,), air = trace.scenario.station.loads, trace.scenario.station.atmosphere
    # the burners' share of what the wide-open regulator passes is that of the absolute pressure before it
    before = (trace.at("inlet_gauge_pressure", ON) + air) / (60 * PSI + air)
    assert trace.at(f"{load.name}_flow", ON) / (SPARE * load.rated_flow) == pytest.approx(before, rel=0.01)


def test_with_the_valve_shut_one_comes_back_to_lock_up_and_the_other_does_not() -> None:
    plugged, leaks = ran(FIRST, "gauge_off"), ran(SECOND, "gauge_off")
    (regulator,) = plugged.scenario.station.regulators
    record = lock_up_gauge_pressure(regulator.condition(), 60 * PSI)
    assert plugged.settled(OUTLET) == pytest.approx(record, rel=2e-3)
    assert leaks.settled(OUTLET) < 0.93 * record
    (fault,) = leaks.scenario.faults
    assert isinstance(fault, Leak)
    through = area_for(leaks.settled(LEAKS), leaks.settled(OUTLET), 0.0)
    assert through == pytest.approx(fault.leak_area, rel=0.01)
    assert leaks.settled(f"{NAME}_flow") == pytest.approx(leaks.settled(LEAKS), rel=0.01)


@pytest.mark.parametrize("severity", [0.0, 1.0])
def test_the_check_that_tells_feeds_the_leak(severity: float) -> None:
    """It goes as the root of the pressure in the pipe (closed form), and that comes up as the burners go off."""
    leaks = ran(SECOND, "gauge_off", severity=severity)
    more = flow_share(leaks.settled(OUTLET), leaks.at(OUTLET, ON))
    assert leaks.settled(LEAKS) / leaks.at(LEAKS, ON) == pytest.approx(more, rel=0.01)
    assert more > 1.1


def test_a_meter_before_the_leak_would_run_and_the_one_behind_it_stands() -> None:
    leaks = ran(SECOND, "meter_off")
    assert as_met(leaks).meter_off == "runs"
    assert PAIR.by_key["meter_off"].reads(leaks).meter_off == "stands"
    assert as_met(ran(FIRST, "meter_off")).meter_off == "stands"
    leaking, plugged = (PAIR.by_key["meter_on"].reads(ran(which)) for which in (SECOND, FIRST))
    assert leaking.meter_on == plugged.meter_on == "as the rating"


def test_a_valve_before_the_leak_hides_it() -> None:
    """The same leak beyond a valve at the station: shut, the gauge before it is at lock-up, and the pipe runs empty."""
    scenario = ran(SECOND, "gauge_off").scenario
    station, (fault,) = scenario.station, scenario.faults
    assert isinstance(fault, Leak)
    (load,), (inlet, outlet) = station.loads, station.volumes
    there = replace(
        station,
        volumes=(inlet, replace(outlet, size=5e-3), Volume("pipe", PIPE)),
        pipes=(Pipe("station_valve", "outlet", "pipe"),),
        loads=(replace(load, at="pipe"),),
    )
    leak = Leak(devices="pipe", leak_area=fault.leak_area, **LONG_AGO)
    shut = TurnValve(device="station_valve", time=END, share=0.0)
    trace = simulate(replace(scenario, station=there, faults=(leak,), actions=(shut,)))
    (regulator,) = station.regulators
    record = lock_up_gauge_pressure(regulator.condition(), 60 * PSI)
    assert trace.at(OUTLET, END - 1) < 0.93 * record
    assert trace.at(OUTLET, END + SHUT_FOR) == pytest.approx(record, rel=5e-3)
    assert trace.at("pipe_gauge_pressure", END + SHUT_FOR) < 0.1 * IN_WC


@pytest.mark.parametrize("severity", [0.0, 1.0])
def test_the_outlet_falls_as_fast_with_both(severity: float) -> None:
    plugged, leaks = ran(FIRST, severity=severity), ran(SECOND, severity=severity)
    for time in (1.0, ON_AT - 1, ON_AT + 10, ON, PILOTS_AT + 5):
        assert plugged.at(OUTLET, time) == pytest.approx(leaks.at(OUTLET, time), rel=0.02), time


def test_no_gauge_stands_between_filter_and_regulator_as_the_text_says() -> None:
    drawing = BENCH.show(BENCH.start("us")).drawing
    assert "Filter filter: not opened" in drawing
    assert set(re.findall(r"Volume (\w+):", drawing)) == {"outlet"}


def test_the_leak_is_drawn_with_the_truth_only() -> None:
    for visit in (1, 2):
        start = BENCH.start("us") | {"check": "gauge_off", "visit": visit}
        assert "leak" not in BENCH.show(start).drawing
        assert "leak" in BENCH.show(start | {"truth": True}).drawing


def test_both_causes_come_up_among_the_visits_drawn_by_chance() -> None:
    assert {lab.which_of(lesson_20.LAB, visit) for visit in range(lab.TWO + 1, lab.VISITS + 1)} == {FIRST, SECOND}
