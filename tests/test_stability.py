"""Hunting: its sign against published findings, its frequency and growth against a run in fine steps.

Published (abstracts read, no table of parameters): a regulator is less stable the higher the inlet pressure and the
smaller the downstream volume (`el-golli-rami-2007`, `zafer-luecke-2008`).
"""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from layered import PLAIN, W, hard, monitored
from random_stations import random_scenario

from toolkit.devices.line import SensingLine, Supply
from toolkit.faults import StuckStem
from toolkit.hunting import HALF_SWINGS, LEAST, SWINGS, most_turned, slowest_to_die, swings
from toolkit.scenario import Demand, Scenario, Station, Volume
from toolkit.simulation import simulate
from toolkit.stability import mode_at, nudged, settled_mode
from toolkit.units import IN_WC, PSI


def sensed_through(flow_area, volume=1e-3, psig=60, **regulator):
    """One regulator that senses its outlet through a line of this flow area [m2], on an outlet of this volume [m3]."""
    return Station(
        supply=Supply(gauge_pressure=psig * PSI),
        regulators=(replace(PLAIN, senses="line", **regulator),),
        volumes=(Volume("inlet", 2e-3), Volume("outlet", volume)),
        sensing_lines=(SensingLine("line", flow_area=flow_area),),
    )


@pytest.mark.parametrize("share", [0.02, 0.3])
def test_less_stable_the_higher_the_inlet_and_the_smaller_the_volume_downstream(share):
    by_inlet = [mode_at(sensed_through(8e-7, psig=psig), share).growth for psig in (20, 60, 100)]
    by_volume = [mode_at(sensed_through(8e-7, volume, 100), share).growth for volume in (1e-3, 2e-3, 5e-3)]
    assert all(a < b for a, b in pairwise(by_inlet))
    assert all(a > b for a, b in pairwise(by_volume))


def test_less_stable_the_more_the_sensing_line_is_throttled():
    growths = [mode_at(sensed_through(area, psig=100), 0.3).growth for area in (3.2e-6, 1.6e-6, 8e-7, 4e-7)]
    assert all(a < b for a, b in pairwise(growths))
    assert growths[0] < 0 < growths[-1]


def test_a_fine_run_swings_as_the_eigenvalues_say():
    """Growth and frequency of a swing that is still small beside what it takes to reach the seat."""
    scenario = Scenario(sensed_through(2e-7, psig=100), (Demand(0, 0.3),))
    mode = settled_mode(scenario)
    assert mode.hunts
    trace = nudged(scenario, seconds=0.2, nudge=1e-3)
    gauge, times = trace["outlet_gauge_pressure"], trace.times
    turns = [i for i in range(1, len(gauge) - 1) if (gauge[i] - gauge[i - 1]) * (gauge[i + 1] - gauge[i]) < 0]
    moments, sizes = times[turns], np.abs(np.diff(gauge[turns]))
    assert len(turns) > 20
    assert 0.5 / np.diff(moments[2:]).mean() == pytest.approx(mode.frequency, rel=0.02)
    growth = np.log(sizes[-1] / sizes[2]) / (moments[-1] - moments[3])
    assert growth == pytest.approx(mode.growth, rel=0.15)
    # what is stable dies out
    calm = nudged(Scenario(sensed_through(4e-7, 2e-2, 20), (Demand(0, 0.3),)), seconds=2.0)
    gauge = calm["outlet_gauge_pressure"]
    assert np.ptp(gauge[calm.times > 1.0]) < 0.02 * np.ptp(gauge)


def test_a_run_says_that_it_hunts_even_where_its_steps_damp_the_swing():
    scenario = Scenario(sensed_through(4e-7, psig=100), (Demand(0, 0.3), Demand(30, 0.0)), duration=60)
    (first,) = simulate(scenario).happened("hunts")
    assert first.time <= 30
    assert first.subject == "line"
    assert first.value == pytest.approx(settled_mode(scenario).frequency, rel=0.2)
    assert not simulate(replace(scenario, station=sensed_through(3.2e-6))).happened("hunts")


@pytest.mark.parametrize(
    ("seed", "within", "least", "some"), [(263, 0.01, LEAST, 20), (374, 0.01, LEAST, 20), (1129, 0.2, 0.0, 700)]
)
def test_a_run_says_how_often_it_has_swung_and_swings_no_more(seed, within, least, some):
    """Found by turning points on the way, not by eigenvalues; the last of the three, small and irregular, by patience.

    Worked out anew from the signal: half a swing from turn to turn. A turn is told a step late.
    """
    trace = simulate(random_scenario(seed))
    hunts = trace.happened("hunts")[0]
    gauge, times = trace[f"{hunts.subject}_gauge_pressure"], trace.times
    rise = np.diff(gauge[times <= hunts.time])
    turns = np.flatnonzero(rise[:-1] * rise[1:] < 0)[-HALF_SWINGS:] + 1
    assert len(turns) == HALF_SWINGS
    assert hunts.value == pytest.approx(0.5 / np.diff(times[turns]).mean(), rel=within)
    assert np.abs(np.diff(gauge[turns])).min() > least
    # from there on the steps are longer than a swing
    assert np.sum(times > hunts.time) < some
    ahead = times[times > hunts.time]
    assert ahead[-1] - ahead[0] > 3 / hunts.value


def test_a_monitor_on_a_short_line_hunts_through_a_worker_stuck_open():
    stuck = StuckStem(devices=W, onset=-100)
    day = (Demand(0, 1.0),)
    assert settled_mode(Scenario(monitored(outlet=5e-3), day, (stuck,))).hunts
    assert not settled_mode(Scenario(monitored(outlet=2e-2), day, (stuck,))).hunts
    assert not settled_mode(Scenario(monitored(outlet=2e-2), day, (hard(W, onset=-100),))).hunts


def test_a_mode_by_hand():
    """Of dx/dt = g x - w y, dy/dt = w x + g y the eigenvalues are g +- w i."""
    mode = slowest_to_die([[0.3, -8.0], [8.0, 0.3], [1.0, 1.0]], 2)
    assert mode.growth == pytest.approx(0.3)
    assert mode.frequency == pytest.approx(8.0 / (2 * np.pi))
    assert mode.hunts
    assert not slowest_to_die([[-0.3, -8.0], [8.0, -0.3]], 2).hunts
    assert slowest_to_die([[-2.0, 0.0], [0.0, -3.0]], 2) == (-2.0, 0.0)


@pytest.mark.parametrize(("decay", "hunts"), [(0.0, True), (0.02, True), (0.2, False)])
def test_swings_that_stay_are_told_from_swings_that_die(decay, hunts):
    kept, found = [0.0] * SWINGS, 0.0
    for time in np.arange(0, 8, 0.02):
        value = 1e5 + 10 * IN_WC * np.exp(-decay * time * 5) * np.sin(2 * np.pi * 5 * time)
        found = found or swings(kept, 0, float(time), float(value))
    assert bool(found) == hunts
    if found:
        assert found == pytest.approx(5.0, rel=0.02)


def fed(kept, watched, values):
    """Whether a row of values, a tenth of a second apart, is found to hunt; the first frequency found [Hz]."""
    found = [swings(kept, watched, 0.1 * i, float(value)) for i, value in enumerate(values)]
    return next((one for one in found if one > 0.0), 0.0)


def test_swings_smaller_than_the_least_count_for_nothing_however_steady():
    saw = np.array([0.0, 1.0] * 40)
    assert fed([0.0] * SWINGS, 0, 1e5 + 0.99 * LEAST * saw) == 0.0
    assert fed([0.0] * SWINGS, 0, 1e5 + 1.01 * LEAST * saw) == pytest.approx(5.0)
    # one small one among large ones
    saw[10] = 0.99
    assert fed([0.0] * SWINGS, 0, (1e5 + 10 * LEAST * saw)[: HALF_SWINGS + 5]) == 0.0


def test_it_takes_so_many_half_swings_in_a_row():
    """A row of n values that go to and fro has n - 2 turns; so many half swings have one turn more."""
    for turns, hunts in ((HALF_SWINGS, False), (HALF_SWINGS + 1, True)):
        assert bool(fed([0.0] * SWINGS, 0, 1e5 + 100.0 * np.array([0.0, 1.0] * 40)[: turns + 2])) == hunts


@pytest.mark.parametrize(("share", "hunts"), [(0.61, True), (0.59, False)])
def test_the_last_swings_are_weighed_against_as_many_first_ones(share, hunts):
    """Closed form: of 23 half swings, each r times the one before, the last six are r^17 times the first six."""
    row = 1e5 + 1000.0 * (-(share ** (1 / 17))) ** np.arange(HALF_SWINGS + 5)
    assert bool(fed([0.0] * SWINGS, 0, row)) == hunts


def test_a_pressure_that_stands_still_for_a_while_still_turns():
    assert fed([0.0] * SWINGS, 0, 1e5 + 100.0 * np.array([0.0, 0.0, 1.0, 1.0] * 20)) == pytest.approx(2.5)


def test_a_swing_is_measured_from_turn_to_turn():
    """Up at once and down by and by: not from where the first step after a turn has come to."""
    assert fed([0.0] * SWINGS, 0, 1e5 + 2.0 * LEAST * np.array([0.0, 1.0, 0.9] * 20)) == pytest.approx(10 / 3, rel=0.02)


def test_which_pressure_has_turned_most_often():
    kept = [0.0] * (3 * SWINGS)
    for watched, turns in ((0, 9), (1, 12), (2, 3)):
        fed(kept, watched, 1e5 + 100.0 * np.array([0.0, 1.0] * 40)[: turns + 2])
    assert most_turned(kept, 3) == 1
    assert most_turned(kept, 1) == 0
    assert most_turned([0.0] * SWINGS, 1) == -1
