"""The bench of lab 15: the tear and the held-open disk against closed forms. The general proof is in test_lab.py."""

from __future__ import annotations

from typing import Any

import pytest

from toolkit.devices.balance import valve_area
from toolkit.devices.regulator import relief_start_gauge_pressure
from toolkit.diagnosis.pair_station import END, NAME, OUTLET, PILOTS_AT
from toolkit.diagnosis.pair_torn import LEAST, MORE, RELIEF_ABOVE, torn_alike
from toolkit.diagnosis.pairs import FIRST, SECOND
from toolkit.faults import TornDiaphragm
from toolkit.panels import lab, lesson_15
from toolkit.simulation import simulate
from toolkit.trace import Trace
from toolkit.units import HOUR, IN_WC, PSI, SCF

BENCH = lesson_15.BENCH


def ran(which: int, check: str = "gauge_on", **chosen: Any) -> Trace:
    return simulate(lab.scenario_of(lesson_15.LAB, BENCH.start("us") | {"check": check} | chosen, which))


def test_the_key_of_the_prediction_is_what_tells() -> None:
    prediction = lesson_15.PREDICTION
    assert "Hold the outlet well below" in prediction.options[prediction.right]
    assert "The relief opens at 11.0 in. w.c." in prediction.explain("us")
    assert "mbar" in prediction.explain("metric")
    assert "in. w.c." not in prediction.explain("metric")


@pytest.mark.parametrize("severity", [0.0, 1.0])
def test_the_disk_held_open_passes_the_load_so_many_times(severity: float) -> None:
    trace = ran(SECOND, severity=severity)
    (load,) = trace.scenario.station.loads
    # choked through 60 psi: what it passes does not hang on the outlet
    assert trace.at(f"{NAME}_flow", END - 1) == pytest.approx((LEAST + MORE * severity) * load.rated_flow, rel=2e-3)


def test_the_relief_is_open_at_every_reading_over_a_whole_diaphragm_and_never_over_a_torn_one() -> None:
    works, torn = ran(SECOND), ran(FIRST)
    (regulator,) = works.scenario.station.regulators
    opens = relief_start_gauge_pressure(regulator.condition())
    assert opens == pytest.approx(7 * IN_WC + RELIEF_ABOVE, rel=1e-6)
    for time in (PILOTS_AT + 60, END - 1):
        assert works.at(OUTLET, time) > opens
        assert works.at(f"{NAME}_relief_lift", time) > 0.0
        assert torn.at(f"{NAME}_relief_lift", time) == 0.0
        assert torn.at(f"{NAME}_vent_flow", time) > 20 * SCF / HOUR


def test_a_torn_diaphragm_balances_with_the_area_that_is_left() -> None:
    """kept A p2 + the little on the disk = spring (balance of forces), at the lift that the run tells."""
    trace = ran(FIRST)
    (regulator,), (tear,) = trace.scenario.station.regulators, trace.scenario.faults
    assert isinstance(tear, TornDiaphragm)
    condition = regulator.condition()._replace(kept=1.0 - tear.lost_share)
    lift = trace.at(f"{NAME}_lift", END - 1)
    area = condition.area * condition.kept * (1 + condition.growth * condition.lever * lift)
    seat = condition.seat_stiffness * max(0.0, condition.seat_depth - lift)
    opening = condition.lever * (condition.preload - condition.rate * condition.lever * lift) + seat
    opening += trace.at("inlet_gauge_pressure", END - 1) * condition.unbalanced
    case = trace.at(f"{NAME}_case_gauge_pressure", END - 1)
    held = (opening / condition.lever + case * area) / (area + condition.unbalanced / condition.lever)
    assert trace.at(OUTLET, END - 1) == pytest.approx(held, rel=5e-3)
    # and the seat passes what the tear does
    assert valve_area(condition, lift) > 0.0


def test_held_low_the_relief_is_shut_and_the_tear_still_flows() -> None:
    works, torn = ran(SECOND, "held_low"), ran(FIRST, "held_low")
    assert works.settled(OUTLET) < 3 * IN_WC
    assert works.settled(f"{NAME}_vent_flow") == pytest.approx(0.0, abs=1e-9)
    assert torn.settled(OUTLET) < 3 * IN_WC
    assert torn.settled(f"{NAME}_vent_flow") > 20 * SCF / HOUR


def test_the_fit_is_the_same_whenever_it_is_made() -> None:
    here = ran(FIRST).scenario.station
    torn_alike.cache_clear()
    assert torn_alike(here, 0.5) == torn_alike(here, 0.5)
    assert here.supply.gauge_pressure == 60 * PSI
