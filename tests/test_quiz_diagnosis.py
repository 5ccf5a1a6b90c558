"""Symptoms as a technician meets them, and the likelihoods made of them."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from math import exp, log
from random import Random

import numpy as np
import pytest
from scipy.special import logsumexp
from scipy.stats import dlaplace

from toolkit.devices.regulator import lock_up_gauge_pressure, relief_start_gauge_pressure
from toolkit.diagnosis import suspects as module
from toolkit.diagnosis.suspects import (
    BIN,
    FALL_OFF,
    PLACES,
    RUNS,
    SUSPECTS,
    TOLD_APART,
    VENT_KERNEL,
    cloud,
    draw_run,
    log_likelihood,
    nearest_run,
    posterior,
    telling,
)
from toolkit.diagnosis.symptoms import (
    VENT_LEVELS,
    VENT_STEPS,
    Readings,
    gauge_shows,
    read_visit,
    readings_table,
    vent_level,
    visit,
)
from toolkit.errors import ScenarioError
from toolkit.faults import Debris, NickedSeat, StuckStem, TornDiaphragm
from toolkit.scenario import Station
from toolkit.units import IN_WC, PSI

STATION = Station()
REGULATOR = STATION.regulators[0]


def low(number: float) -> float:
    return number * IN_WC


def test_sound_station_reads_set_point_and_lock_up() -> None:
    readings = read_visit(visit(STATION))
    lock_up = lock_up_gauge_pressure(REGULATOR.condition(), STATION.supply.gauge_pressure)
    assert readings.outlet_gauge_pressures[2] == pytest.approx(lock_up, abs=low(0.1))
    assert readings.outlet_gauge_pressures[0] < lock_up
    assert readings.vents == (0, 0, 0)
    assert readings.inlet_gauge_pressure == pytest.approx(60 * PSI, rel=0.01)


def test_hard_debris_shows_at_rest_only_and_ends_at_the_relief() -> None:
    readings = read_visit(visit(STATION, [Debris(devices="regulator", height=5e-5, stiffness=1e8, edge=0.02)]))
    start = relief_start_gauge_pressure(REGULATOR.condition())
    sound = read_visit(visit(STATION))
    # The piece takes a little of the flow's room at the seat, so the droop is a little larger; nobody would see it.
    assert readings.outlet_gauge_pressures[0] == pytest.approx(sound.outlet_gauge_pressures[0], abs=low(0.2))
    assert readings.outlet_gauge_pressures[2] == pytest.approx(start, rel=0.1)
    assert readings.vents[0] == 0
    assert readings.vents[2] > 0


def test_torn_diaphragm_smells_at_every_stage() -> None:
    readings = read_visit(visit(STATION, [TornDiaphragm(devices="regulator", hole_area=5e-6)]))
    assert readings.vents == (2, 2, 2)
    assert readings.outlet_gauge_pressures[2] < low(12)


def test_stuck_open_is_high_with_the_burners_on() -> None:
    readings = read_visit(visit(STATION, [StuckStem(devices="regulator", lowest=0.5, highest=0.5)]))
    assert readings.outlet_gauge_pressures[0] > low(16)


def test_the_gauge_errs_and_is_coarse() -> None:
    assert gauge_shows(low(7.04)) == pytest.approx(low(7.0))
    assert gauge_shows(low(7.06)) == pytest.approx(low(7.1))
    assert gauge_shows(10.3 * PSI) == pytest.approx(10.5 * PSI)
    exact, high = read_visit(visit(STATION)), read_visit(visit(STATION), 1.03)
    assert high.outlet_gauge_pressures[2] == pytest.approx(1.03 * exact.outlet_gauge_pressures[2], abs=low(0.1))


def test_vent_levels() -> None:
    assert [VENT_LEVELS[vent_level(flow)] for flow in (-1.0, 0.0, VENT_STEPS[0], VENT_STEPS[1])] == [
        "none",
        "none",
        "a whiff",
        "strong",
    ]


def test_table_of_readings_in_both_display_sets() -> None:
    readings = Readings(low(7), 60 * PSI, (low(6.8), low(7.5), low(16)), low(7.6), (0, 0, 2))
    us, metric = readings_table(readings, "us"), readings_table(readings, "metric")
    assert us[3] == ("all off for 5 minutes", "16.0 in. w.c.", "strong")
    assert metric[3] == ("all off for 5 minutes", "39.9 mbar", "strong")
    assert us[5][1] == "60.0 psig"
    assert {len(row) for row in us} == {3}


# --- likelihoods


def test_kernel_of_a_pressure_is_the_discrete_laplace_distribution() -> None:
    """Against scipy.stats.dlaplace, whose parameter a is -ln of the fall-off."""
    run = module._bins(cloud("healthy")[0].readings)
    for step in range(-6, 7):
        seen = (run[0] + step, *run[1:])
        assert module._log_kernel(seen, run)[0] == pytest.approx(dlaplace.logpmf(step, -log(FALL_OFF)))


def test_kernels_of_the_vent_are_probabilities() -> None:
    for row in VENT_KERNEL:
        assert sum(row) == pytest.approx(1.0)


def test_joint_likelihood_sums_to_one_over_all_readings() -> None:
    """Two pressures and a vent level, everything else as in the run: all that can be read adds up to 1."""
    runs = [module._bins(run.readings) for run in cloud("fouled_seat")[:5]]
    span = range(-40, 180)
    pressure = [[dlaplace.pmf(np.array(span) - run[place], -log(FALL_OFF)).sum() for place in range(5)] for run in runs]
    assert np.allclose(pressure, 1.0, atol=1e-9)
    total = sum(
        exp(sum(module._log_kernel((*run[:5], *vents), run)[5:]))
        for run in runs
        for vents in product(range(3), repeat=3)
    )
    assert total / len(runs) == pytest.approx(1.0)


def test_log_likelihood_is_the_mean_over_runs_of_joint_kernels() -> None:
    readings = cloud("torn_diaphragm")[3].readings
    seen = module._bins(readings)
    terms = [sum(module._log_kernel(seen, module._bins(run.readings))) for run in cloud("torn_diaphragm")]
    assert log_likelihood(readings, "torn_diaphragm") == pytest.approx(logsumexp(terms) - log(RUNS))


def test_posterior_is_bayes_and_sums_to_one() -> None:
    readings = cloud("fouled_seat")[0].readings
    keys = tuple(SUSPECTS)
    logs = [log(SUSPECTS[key].weight) + log_likelihood(readings, key) for key in keys]
    expected = np.exp(np.array(logs) - logsumexp(logs))
    assert posterior(readings) == pytest.approx(expected, rel=1e-9)
    assert sum(posterior(readings)) == pytest.approx(1.0)


def test_relabelling_changes_nothing() -> None:
    readings = cloud("stuck_open")[0].readings
    keys = tuple(SUSPECTS)
    forwards, backwards = posterior(readings, keys), posterior(readings, keys[::-1])
    assert forwards == pytest.approx(backwards[::-1], rel=1e-12)


def test_readings_far_from_all_runs_still_give_probabilities() -> None:
    odd = Readings(low(7), 0.0, (59 * PSI, 0.0, 59 * PSI), 0.0, (2, 0, 2))
    chances = posterior(odd)
    assert sum(chances) == pytest.approx(1.0)
    assert all(chance >= 0.0 for chance in chances)


def test_clear_cases_are_found() -> None:
    torn = read_visit(visit(STATION, [TornDiaphragm(devices="regulator", hole_area=5e-6)]))
    nicked = read_visit(visit(STATION, [NickedSeat(devices="regulator", leak_area=1e-8)]))
    for readings, key in ((torn, "torn_diaphragm"), (nicked, "fouled_seat"), (read_visit(visit(STATION)), "healthy")):
        chances = dict(zip(SUSPECTS, posterior(readings), strict=True))
        assert max(chances, key=lambda name: chances[name]) == key
        assert chances[key] > 0.8


def test_calibrated_over_seeded_cases() -> None:
    """Cases drawn by the same weights: the probability given to the likeliest suspect is about how often it is true.

    150 cases: two standard errors of a hit rate of 0.9 are 0.05; 0.08 leaves room for the coarseness of the clouds.
    """
    chance = Random(77)
    keys, weights = tuple(SUSPECTS), [suspect.weight for suspect in SUSPECTS.values()]
    hits, sure = 0, 0.0
    for _ in range(150):
        truth = chance.choices(keys, weights)[0]
        chances = posterior(draw_run(truth, chance).readings)
        best = max(range(len(keys)), key=lambda index: chances[index])
        hits += keys[best] == truth
        sure += chances[best]
    assert abs(hits - sure) / 150 < 0.08
    assert hits / 150 > 0.8


def test_clouds_are_kept_and_the_same_every_time() -> None:
    assert cloud("healthy") is cloud("healthy")
    first = cloud("low_inlet")[0]
    again = draw_run("low_inlet", Random(f"{module.CLOUD_SEED} low_inlet"))
    assert again == first
    assert nearest_run(first.readings, "low_inlet") == first


def test_unknown_suspect_is_refused() -> None:
    with pytest.raises(ScenarioError, match="gremlins"):
        cloud("gremlins")


def test_pairs_are_of_known_suspects() -> None:
    for pair in TOLD_APART:
        assert len(pair) == 2
        assert pair <= set(SUSPECTS)


def test_telling_names_the_reading_that_parts_two_suspects() -> None:
    readings = replace(
        read_visit(visit(STATION, [TornDiaphragm(devices="regulator", hole_area=5e-6)])), inlet_gauge_pressure=45 * PSI
    )
    words = telling(readings, "torn_diaphragm", "fouled_seat", "us")
    assert any(sentence.startswith("Gas at the vent, burners on: you read strong") for sentence in words)
    assert "hold the outlet below the relief's start" in words[-2]
    assert len(PLACES) == len(module._bins(readings))


def test_bins_are_fine_enough_to_tell_lock_up_from_creep() -> None:
    readings = read_visit(visit(STATION))
    high = replace(readings, outlet_gauge_pressures=(*readings.outlet_gauge_pressures[:2], low(9.0)))
    assert module._bins(high)[2] - module._bins(readings)[2] >= 2
    assert BIN < 0.1
