"""The bench of lab 17: what comes through an orifice and a filter, by closed forms. The general proof: test_lab.py."""

from __future__ import annotations

from typing import Any

import pytest

from toolkit.diagnosis import pair_leak, pair_monitor, pair_small
from toolkit.diagnosis.pair_small import CLEAN, METER_WORDS, RIGHT, capacity, wide_open
from toolkit.diagnosis.pair_station import END, NAME, OUTLET, PILOTS_AT
from toolkit.diagnosis.pairs import FIRST, SECOND
from toolkit.diagnosis.signs import SIGNS
from toolkit.faults import PluggedFilter
from toolkit.gas_by_hand import flow_share
from toolkit.panels import lab, lesson_17
from toolkit.panels.lesson_17 import AFTER
from toolkit.simulation import simulate
from toolkit.trace import Trace
from toolkit.units import IN_WC, PSI

BENCH = lesson_17.BENCH
ON = PILOTS_AT - 1


def ran(which: int, check: str = "gauge_on", **chosen: Any) -> Trace:
    return simulate(lab.scenario_of(lesson_17.LAB, BENCH.start("us") | {"check": check} | chosen, which))


def test_the_key_of_the_prediction_is_what_tells() -> None:
    prediction = lesson_17.PREDICTION
    assert "drop across the filter" in prediction.options[prediction.right]
    assert "29.3 psig where the filter is plugged" in prediction.explain("us")
    assert "psi" not in prediction.explain("metric")


@pytest.mark.parametrize("severity", [0.0, 0.5, 1.0])
@pytest.mark.parametrize("set_point", [5 * IN_WC, 8 * IN_WC])
def test_the_burners_get_their_share_and_the_outlet_its_square(severity: float, set_point: float) -> None:
    """A burner passes as the root of its pressure (closed form): a share c of the flow stands at c^2 of it."""
    values = {"severity": severity, "set_point": set_point}
    for which in (FIRST, SECOND):
        trace = ran(which, **values)
        (load,) = trace.scenario.station.loads
        wanted = load.rated_flow * flow_share(set_point, load.rated_gauge_pressure)
        share = trace.at(f"{NAME}_flow", ON) / wanted
        # what the clean filter costs is in neither size
        assert share == pytest.approx(capacity(values), rel=0.03)
        assert trace.at(OUTLET, ON) == pytest.approx(share**2 * set_point, rel=0.01)


def test_what_the_plugged_filter_leaves_goes_with_the_absolute_pressure() -> None:
    small, plugged = ran(FIRST), ran(SECOND)
    air, supply = small.scenario.station.atmosphere, 60 * PSI
    # both regulators choked: flow per area goes with the pressure before them
    areas = wide_open(small.scenario.station) / wide_open(plugged.scenario.station)
    before = (plugged.at(AFTER, ON) + air) / (small.at(AFTER, ON) + air)
    assert before == pytest.approx(areas, rel=2e-3)
    assert wide_open(small.scenario.station) * CLEAN < small.scenario.station.supply.flow_area * RIGHT
    (fault,) = plugged.scenario.faults
    assert isinstance(fault, PluggedFilter)
    assert 0.5 < fault.blocked_share < 0.95
    assert plugged.at(AFTER, ON) < 0.6 * supply < small.at(AFTER, ON)


def test_a_plugged_filter_shows_nothing_with_all_off() -> None:
    for time in (PILOTS_AT + 110, END):
        assert ran(SECOND).at(AFTER, time) == pytest.approx(ran(FIRST).at(AFTER, time), rel=5e-3)


def test_how_near_the_meter_is_to_the_rating_is_said_with_it() -> None:
    """In labs whose burners starve a bare "as the rating" would be said of four fifths of it."""
    assert {value for value, _ in METER_WORDS} <= set(SIGNS["meter_on"].values)
    for pair in (pair_small.PAIR, pair_monitor.PAIR, pair_leak.PAIR):
        for severity in (0.0, 1.0):
            values = BENCH.start("us") | {"severity": severity}
            ((_, said),) = pair.shows(values, "meter_on", FIRST)
            assert said in dict(METER_WORDS).values()


@pytest.mark.parametrize("visit", [1, 2])
def test_the_gauge_behind_the_filter_is_read_by_its_check_only(visit: int) -> None:
    start = BENCH.start("us") | {"visit": visit}
    assert "Volume inlet: not read" in BENCH.show(start).drawing
    read = BENCH.show(start | {"check": "filter"}).drawing
    which = lab.which_of(lesson_17.LAB, visit)
    assert f"Volume inlet: {('59.6', '29.3')[which]} psig" in read
    assert "Filter filter: not opened" in read


def test_the_truth_shows_how_far_the_filter_is_plugged() -> None:
    drawing = BENCH.show(BENCH.start("us") | {"truth": True}).drawing
    assert "Filter filter: clear" in drawing
    assert "% blocked" in drawing
