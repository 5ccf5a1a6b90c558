"""Lesson 05's items: keys worked by hand from the prompt and by closed forms, and how answers are graded.

27.68 in. w.c. a psi from conversion tables (published.toml). The closed forms: gas of two rooms spread over both,
isothermal; the force balance of a regulator at no flow and at full lift.
"""

from __future__ import annotations

from random import Random

import numpy as np
import pytest
from quiz_text import asked, numbers, numeric

from toolkit.devices.regulator import lock_up_gauge_pressure
from toolkit.errors import AnswerError
from toolkit.ladder import take_over_gauge_pressure
from toolkit.quiz.cases import items_of
from toolkit.quiz.lesson_05 import (
    INTERSTAGE,
    MONITOR,
    WORKER,
    dumped,
    failed_open,
    leaking_seat,
    monitored,
    old_main,
    take_over,
)
from toolkit.quiz.pictures import OUTLET
from toolkit.quiz.questions import CauseQuestion, NumericQuestion, TraceQuestion, grade
from toolkit.scenario import Demand, Scenario
from toolkit.simulation import simulate
from toolkit.units import IN_WC, MBAR, PSI, to_display

SEEDS = range(6)
ITEMS = {item.key: item for item in items_of("05")}
# Worker's set point, monitor above it, inlet.
PLAIN = (7 * IN_WC, 5 * IN_WC, 60 * PSI)


def test_seven_items_of_three_types() -> None:
    kinds = {type(asked(key, 0)) for key in ITEMS}
    assert len(ITEMS) == 7
    assert kinds == {NumericQuestion, TraceQuestion, CauseQuestion}


# --- keys, from the numbers printed in the prompt


# In in. w.c. from US prompts.
BY_HAND = {
    "05.monitor_set": lambda n: n[1] + n[2] + n[3],
    "05.holds_at": lambda n: n[1],
    "05.spike": lambda n: (n[0] * n[1] * 27.68 + n[2] * n[3]) / (n[0] + n[2]),
    "05.old_main": lambda n: n[2] * 27.68,
}


@pytest.mark.parametrize("key", BY_HAND)
@pytest.mark.parametrize("seed", SEEDS)
def test_key_worked_by_hand_from_the_prompt(key: str, seed: int) -> None:
    question = numeric(key, seed)
    # 2 %: the numbers of a prompt are rounded as a gauge or a tag would show them; the settled outlet stands a little
    # off the monitor's set point, which is meant at a tenth of its travel.
    assert question.truth / IN_WC == pytest.approx(BY_HAND[key](numbers(question.prompt)), rel=0.02), question.prompt


@pytest.mark.parametrize("seed", SEEDS)
def test_metric_prompts_carry_the_same_sums(seed: int) -> None:
    # The prompt's own numbers: litres, bar, litres, mbar.
    n = numbers(numeric("05.spike", seed, "metric").prompt)
    assert numeric("05.spike", seed, "metric").truth / MBAR == pytest.approx(
        (n[0] * n[1] * 1000 + n[2] * n[3]) / (n[0] + n[2]), rel=0.02
    )
    n = numbers(numeric("05.monitor_set", seed, "metric").prompt)
    assert numeric("05.monitor_set", seed, "metric").truth / MBAR == pytest.approx(n[1] + n[2] + n[3], rel=1e-6)


# --- keys, by the closed forms


@pytest.mark.parametrize(("between", "behind"), [(3e-4, 2e-2), (1e-3, 2e-2), (1.6e-3, 1.5e-2)])
def test_what_is_stored_between_spreads_over_both_rooms(between: float, behind: float) -> None:
    """(Vm p1 + V2 p2) / (Vm + V2), isothermal (closed form); 0.2 % for the engine's own error."""
    trace = dumped(monitored(*PLAIN, between=between, behind=behind))
    before = trace.at(OUTLET, 65.0)
    assert trace.at(INTERSTAGE, 65.0) == pytest.approx(60 * PSI, rel=1e-3)
    expected = (between * 60 * PSI + behind * before) / (between + behind)
    assert trace.settled(OUTLET) == pytest.approx(expected, rel=2e-3)
    assert trace.settled(INTERSTAGE) == pytest.approx(expected, rel=2e-3)


def test_the_worker_locks_up_by_the_force_balance_and_the_monitor_stands_by() -> None:
    station = monitored(*PLAIN)
    trace = simulate(Scenario(station, (Demand(0.0, 1.0), Demand(10.0, 0.0)), (), 120.0))
    worker = station.regulators[1]
    assert trace.settled(OUTLET) == pytest.approx(lock_up_gauge_pressure(worker.condition(), 60 * PSI), rel=1e-3)
    assert trace.settled(f"{MONITOR}_lift") == pytest.approx(station.regulators[0].travel)


@pytest.mark.parametrize("above", [4.0, 5.0, 6.0])
def test_a_monitor_set_as_the_items_draw_it_clears_its_worker(above: float) -> None:
    """Its start, by the balance at full lift, is above the worker's lock-up; so what the trace items ask is so."""
    station = monitored(8 * IN_WC, above * IN_WC, 40 * PSI)
    monitor, worker = station.regulators
    starts = take_over_gauge_pressure(monitor.condition())
    # F0 - Ks L x over the area at full lift, out of the regulator's own sizes.
    by_hand = (monitor.spring_preload - monitor.spring_rate * monitor.lever_ratio * monitor.travel) / (
        monitor.diaphragm_area * (1 + monitor.area_growth)
    )
    assert starts == pytest.approx(by_hand, rel=1e-12)
    assert starts > lock_up_gauge_pressure(worker.condition(), 40 * PSI)


def test_the_set_point_that_the_item_asks_for_keeps_its_margin() -> None:
    """A monitor set to the key begins to move as far above the lock-up as was asked, to the tag's rounding."""
    for seed in SEEDS:
        question = numeric("05.monitor_set", seed)
        worker_set, lock_up, _, margin = (number * IN_WC for number in numbers(question.prompt))
        for inlet in (40 * PSI, 60 * PSI):
            station = monitored(worker_set, question.truth - worker_set, inlet)
            starts = take_over_gauge_pressure(station.regulators[0].condition())
            assert starts - lock_up == pytest.approx(margin, abs=0.2 * IN_WC)


def test_the_monitor_holds_near_its_set_point_and_the_gas_goes_on() -> None:
    trace = simulate(failed_open(monitored(*PLAIN)))
    assert trace.at(OUTLET, 25.0) == pytest.approx(7 * IN_WC, rel=0.05)
    assert trace.settled(OUTLET) == pytest.approx(12 * IN_WC, rel=0.05)
    assert trace.settled("appliances_flow") > trace.at("appliances_flow", 25.0)
    # The cases breathe a little; nothing is vented.
    assert trace.totals["vented"] < 1e-4 * trace.totals["delivered"]
    assert not trace.happened("hunts")


def test_two_regulators_on_a_dead_main_let_the_inlet_through() -> None:
    trace = old_main(monitored(*PLAIN))
    assert trace.settled("old_main_gauge_pressure") == pytest.approx(0.0, abs=0.01 * IN_WC)
    assert trace.settled(OUTLET) == pytest.approx(60 * PSI, rel=1e-3)
    for regulator in trace.scenario.station.regulators:
        assert trace.settled(f"{regulator.name}_lift") == pytest.approx(regulator.travel)


# --- times


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize("seed", SEEDS)
def test_take_over_is_when_the_outlet_leaves_the_worker_for_the_monitor(seed: int, units: str) -> None:
    trace, time = take_over(Random(seed), units)
    monitor, worker = (regulator.set_gauge_pressure for regulator in trace.scenario.station.regulators)
    (fault,) = trace.scenario.faults
    assert fault.onset < time < fault.onset + fault.ramp
    middle = (worker + monitor) / 2
    rises = trace.times[np.flatnonzero(trace[OUTLET] > middle)[0]]
    assert time == pytest.approx(rises, abs=1.0)
    assert trace.settled(OUTLET) == pytest.approx(monitor, rel=0.05)
    # Nothing before it moves the monitor: pilots alone must not look like the answer.
    before = trace[f"{MONITOR}_lift"][trace.times < fault.onset]
    assert before.min() == pytest.approx(trace.scenario.station.regulators[0].travel)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_gauge_between_falls_once_the_monitor_has_shut(seed: int) -> None:
    trace, off, time = leaking_seat(Random(seed), "us")
    monitor = trace.scenario.station.regulators[0]
    inlet = trace.scenario.station.supply.gauge_pressure
    assert off < time < trace.scenario.duration
    assert trace.at(INTERSTAGE, off + 1.0) == pytest.approx(inlet, rel=0.01)
    shut = trace.times[np.flatnonzero(trace[f"{MONITOR}_lift"] < 0.02 * monitor.travel)[0]]
    assert time == pytest.approx(shut, abs=0.03 * trace.scenario.duration)
    assert trace[INTERSTAGE][-1] < 0.5 * inlet
    assert trace.at(f"{WORKER}_lift", off + 1.0) > 0.0


@pytest.mark.parametrize("units", ["us", "metric"])
def test_the_window_stands_around_the_knee_that_the_picture_shows(units: str) -> None:
    """The knee by another way: where the drawn line bends down most, by differences over a second."""
    for seed in range(20):
        trace, off, time = leaking_seat(Random(seed), units)
        times = np.arange(off + 1.0, trace.scenario.duration, 0.05)
        drawn = np.interp(times, trace.times, trace[INTERSTAGE])
        bends = drawn[40:] - 2 * drawn[20:-20] + drawn[:-40]
        knee = times[20 + int(bends.argmin())]
        assert abs(time - knee) < 0.6 * 0.03 * trace.scenario.duration, seed


# --- grading


@pytest.mark.parametrize("seed", SEEDS)
def test_right_slip_wrong_and_unreadable(seed: int) -> None:
    for key in BY_HAND:
        question = numeric(key, seed)
        right = f"{to_display(question.truth, 'low_gauge_pressure', 'us'):.4f} in. w.c."
        assert grade(question, right).score == 1.0
        assert question.slips
        for slip in question.slips:
            graded = grade(question, f"{slip.value / IN_WC:.6f} in. w.c.")
            assert (graded.score, slip.why in graded.explanation) == (0.5, True)
        wrong = grade(question, f"{7.3 * question.truth / IN_WC:.3f} in. w.c.")
        assert wrong.score == 0.0
        assert question.worked in wrong.explanation[-1]
        with pytest.raises(AnswerError):
            grade(question, "plenty")


def test_the_slips_that_matter_are_kept_for_every_seed() -> None:
    matter = {
        "05.monitor_set": "the monitor was taken to begin at its set point",
        "05.holds_at": "the worker's set point was counted on",
        "05.spike": "the outlet was taken as empty",
        "05.old_main": "the monitor was counted on",
    }
    for key, name in matter.items():
        for seed in SEEDS:
            assert name in [slip.name for slip in numeric(key, seed, ("us", "metric")[seed % 2]).slips]


def test_units_added_as_they_stand_are_found_out() -> None:
    question = numeric("05.spike", 0)
    between, psig, behind, in_wc = numbers(question.prompt)
    graded = grade(question, f"{(between * psig + behind * in_wc) / (between + behind):.3f} in. w.c.")
    assert graded.score == 0.5
    assert "psig and in. w.c." in graded.verdict


@pytest.mark.parametrize("key", ["05.took_over", "05.between"])
@pytest.mark.parametrize("seed", SEEDS)
def test_times_are_graded_by_their_window(key: str, seed: int) -> None:
    question = asked(key, seed)
    assert isinstance(question, TraceQuestion)
    start, end = question.window
    assert grade(question, (start + end) / 2).score == 1.0
    assert grade(question, end + 0.3 * (end - start)).score == 0.5
    early = grade(question, 1.0)
    assert early.score == 0.0
    assert "too early" in early.explanation[0]
    assert question.worked in early.explanation


def test_prompts_say_both_set_points_and_the_inlet() -> None:
    for key in ("05.holds_at", "05.took_over", "05.between", "05.old_main", "05.worker_out"):
        question = asked(key, 3, "metric")
        assert question.prompt.count("mbar") >= 2
        assert " bar" in question.prompt
