"""The bench of lab 18: which of two regulators in series holds the gas back. The general proof is in test_lab.py."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from toolkit.devices.regulator import lock_up_gauge_pressure
from toolkit.diagnosis.pair_monitor import ABOVE, LEFT, LESS, WIDE, WORKER
from toolkit.diagnosis.pair_station import END, LONG_AGO, OUTLET, PILOTS_AT, area_for
from toolkit.diagnosis.pairs import FIRST, SECOND
from toolkit.diagnosis.readings import LOCK_UP_OFF
from toolkit.faults import StuckStem, WeakMainSpring
from toolkit.layers import MONITOR
from toolkit.panels import lab, lesson_18
from toolkit.panels.lesson_18 import BETWEEN
from toolkit.simulation import simulate
from toolkit.trace import Trace
from toolkit.units import IN_WC, PSI

BENCH = lesson_18.BENCH
ON = PILOTS_AT - 1


def ran(which: int, check: str = "gauge_on", **chosen: Any) -> Trace:
    return simulate(lab.scenario_of(lesson_18.LAB, BENCH.start("us") | {"check": check} | chosen, which))


def test_the_key_of_the_prediction_is_what_tells() -> None:
    prediction = lesson_18.PREDICTION
    assert "between the two regulators" in prediction.options[prediction.right]
    assert "59.8 psig where the spring of the worker is weak" in prediction.explain("us")
    assert "psi" not in prediction.explain("metric")


@pytest.mark.parametrize("severity", [0.0, 0.5, 1.0])
def test_with_one_preload_left_either_holds_alike(severity: float) -> None:
    """Lock-up by the balance of forces with the share of the spring that is left (closed form)."""
    weak, shut = ran(FIRST, severity=severity), ran(SECOND, severity=severity)
    left = LEFT - LESS * severity
    forces = []
    for trace, name in ((weak, WORKER), (shut, MONITOR)):
        (fault,) = trace.scenario.faults
        assert isinstance(fault, WeakMainSpring)
        assert fault.devices == (name,)
        regulator = next(one for one in trace.scenario.station.regulators if one.name == name)
        condition = regulator.condition()
        forces.append(fault.left_share * condition.preload)
        lock_up = lock_up_gauge_pressure(condition._replace(preload=forces[-1]), 60 * PSI)
        assert trace.at(OUTLET, END) == pytest.approx(lock_up, rel=0.01)
        assert lock_up < (1 - LOCK_UP_OFF) * lock_up_gauge_pressure(regulator.condition(), 60 * PSI)
    assert forces[0] == pytest.approx(forces[1], rel=1e-9)
    worker = next(one for one in weak.scenario.station.regulators if one.name == WORKER)
    assert forces[0] == pytest.approx(left * worker.condition().preload, rel=1e-9)


def test_the_gauge_between_stands_where_the_open_one_leaves_it() -> None:
    """What a wide-open worker needs before it for the burners' flow, by the nozzle's own law (closed form)."""
    weak, shut = ran(FIRST), ran(SECOND)
    assert weak.at(BETWEEN, ON) > 0.99 * 60 * PSI
    station = shut.scenario.station
    (load,) = station.loads
    flow = shut.at(f"{load.name}_flow", ON)
    wide = area_for(WIDE * load.rated_flow, 60 * PSI, 7 * IN_WC)
    assert area_for(flow, shut.at(BETWEEN, ON), shut.at(OUTLET, ON)) == pytest.approx(wide, rel=0.02)
    assert shut.at(BETWEEN, END) == pytest.approx(shut.at(OUTLET, END), abs=1.0)
    monitor, worker = station.regulators
    assert monitor.set_gauge_pressure - worker.set_gauge_pressure == pytest.approx(ABOVE)


def test_a_monitor_that_sticks_is_right_with_pilots_only() -> None:
    sound = replace(ran(SECOND).scenario, faults=())
    stuck = StuckStem(devices=MONITOR, lowest=0.0, highest=0.08, **LONG_AGO)
    trace, usual = simulate(replace(sound, faults=(stuck,))), simulate(sound)
    assert trace.at(OUTLET, ON) < 0.7 * usual.at(OUTLET, ON)
    assert trace.at(OUTLET, PILOTS_AT + 110) == pytest.approx(usual.at(OUTLET, PILOTS_AT + 110), rel=0.02)
    assert trace.at(OUTLET, END) == pytest.approx(usual.at(OUTLET, END), rel=0.01)
    assert trace.at(BETWEEN, ON) < 0.1 * 60 * PSI


def test_the_inlet_gauge_is_read_in_the_drawing_by_the_check_that_reads_it() -> None:
    drawing = BENCH.show(BENCH.start("us") | {"check": "inlet"}).drawing
    assert "Volume inlet: 60.0 psig" in drawing
    assert "Volume interstage: not read" in drawing


@pytest.mark.parametrize("visit", [1, 2])
def test_the_gauge_between_is_read_by_its_check_only(visit: int) -> None:
    start = BENCH.start("us") | {"visit": visit}
    assert "Volume interstage: not read" in BENCH.show(start).drawing
    read = BENCH.show(start | {"check": "between"}).drawing
    which = lab.which_of(lesson_18.LAB, visit)
    assert f"Volume interstage: {('59.8 psig', '27.5 in. w.c.')[which]}" in read


def test_both_causes_come_up_among_the_visits_drawn_by_chance() -> None:
    assert {lab.which_of(lesson_18.LAB, visit) for visit in range(lab.TWO + 1, lab.VISITS + 1)} == {FIRST, SECOND}
