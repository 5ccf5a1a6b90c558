"""Lesson 14's items: keys worked by hand from the prompt and by closed forms, answers read off the runs, grading."""

from __future__ import annotations

import re
from itertools import pairwise, product
from random import Random

import pytest
from quiz_text import asked, choice, numbers, numeric

from toolkit.devices.regulator import lock_up_gauge_pressure
from toolkit.diagnosis.signs import letters
from toolkit.faults import TripShift
from toolkit.flow import critical_ratio
from toolkit.quiz import lesson_14
from toolkit.quiz.lesson_14 import (
    ANSWERS,
    CRITICAL,
    HELD,
    OUTLET,
    RATING,
    SHUTOFF,
    STACK_FLOW,
    STATES,
    Setting,
    both_open,
    broken,
    drawn,
    found,
    in_state,
    ladder_of,
    line_told,
    second_gone,
    what_held,
)
from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion
from toolkit.quiz.questions import (
    CauseQuestion,
    NumericQuestion,
    TraceQuestion,
    grade,
    item_hash,
)
from toolkit.scenario import Scenario
from toolkit.simulation import simulate
from toolkit.units import IN_WC, MBAR, PSI, display_unit

SEEDS = range(6)
ITEMS = {item.key: item for item in lesson_14.ITEMS}
PLAIN = Setting(7 * IN_WC, 11 * IN_WC, 16 * IN_WC, 22 * IN_WC, 60 * PSI)


def test_seven_items_of_five_types() -> None:
    assert len(ITEMS) == 7
    kinds = {type(asked(key, 0)) for key in ITEMS}
    assert kinds == {NumericQuestion, TraceQuestion, CauseQuestion, OrderQuestion, ChoiceQuestion}


@pytest.mark.parametrize("key", ITEMS)
def test_a_new_seed_is_a_new_question_and_the_same_seed_the_same(key: str) -> None:
    hashes = {item_hash(asked(key, seed, ("us", "metric")[seed % 2])) for seed in range(8)}
    assert len(hashes) >= 6
    assert item_hash(asked(key, 3)) == item_hash(asked(key, 3))


# --- keys, from the numbers printed in the prompt

# Set pressure, where it ends, its band, the other's band; usual inlet, its flow, the line, highest inlet, the air.
BY_HAND = {
    "14.room": lambda n: (n[1] + n[2] / 100 * n[0]) / (1 - n[3] / 100),
    "14.capacity": lambda n: n[1] * (n[3] + n[4]) / (n[0] + n[4]),
}


@pytest.mark.parametrize("key", BY_HAND)
@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize("seed", SEEDS)
def test_key_worked_by_hand_from_the_prompt(key: str, units: str, seed: int) -> None:
    question = numeric(key, seed, units)
    by_hand = BY_HAND[key](numbers(question.prompt))
    # the numbers of a prompt are rounded; Z is left out of the hand's ratio
    assert question.truth / display_unit(question.kind, units).scale == pytest.approx(by_hand, rel=0.02)


@pytest.mark.parametrize("seed", range(10))
def test_the_slips_of_a_number_stand_clear_of_its_key_and_of_each_other(seed: int) -> None:
    for key in BY_HAND:
        question = numeric(key, seed, ("us", "metric")[seed % 2])
        assert len(question.slips) >= 2
        values = sorted((question.truth, *(slip.value for slip in question.slips)))
        assert all(high - low > 2 * question.tolerance() * 0.99 for low, high in pairwise(values))


@pytest.mark.parametrize("seed", SEEDS)
def test_set_to_the_key_a_slam_shut_at_its_soonest_lets_the_relief_valve_work(seed: int) -> None:
    question = numeric("14.room", seed)
    opens, ends, tolerance, accuracy = numbers(question.prompt)
    sound = drawn(Random(f"14.room {seed}"), "us")
    assert opens * IN_WC == pytest.approx(sound.valve)
    soonest = question.truth * (1 - accuracy / 100)
    assert soonest / IN_WC == pytest.approx(ends + tolerance / 100 * opens, abs=0.06)
    # in a run: at its soonest it stays open with all else gone, and below where the relief valve ends it does not
    plain = both_open(sound)
    stuck, _ = plain.scenario.faults
    for at, trips in ((soonest, False), (0.98 * ends * IN_WC, True)):
        drift = TripShift(devices=SHUTOFF, high_by=at - sound.trip, onset=-10.0)
        again = simulate(Scenario(plain.scenario.station, plain.scenario.demands, (stuck, drift), 90.0))
        assert bool(again.happened("trips_high")) == trips


def test_what_the_capacity_counts_on_is_so() -> None:
    for seed in SEEDS:
        setting = drawn(Random(seed), "us")
        station = setting.station()
        air = station.atmosphere
        assert (air + setting.valve) / (air + setting.inlet) < critical_ratio(station.gas.heat_ratio)  # "is choked"


# --- order


@pytest.mark.parametrize("seed", range(12))
def test_the_ladder_is_in_the_order_of_its_numbers(seed: int) -> None:
    units = ("us", "metric")[seed % 2]
    question = asked("14.ladder", seed, units)
    assert isinstance(question, OrderQuestion)
    scale = IN_WC if units == "us" else MBAR
    worker, _, valve, trip, _, rating, lock_up, held, build_up, accuracy = numbers(question.prompt)
    by_hand = {
        "The worker's set point": worker,
        "The worker's lock-up": lock_up,
        "The monitor's lock-up": held,
        "The relief valve begins to open": valve,
        "The relief valve is at full lift": valve * (1 + build_up / 100),
        "The slam-shut trips, at its soonest": trip * (1 - accuracy / 100),
        "The burners' rating": rating,
    }
    assert list(question.entries) == sorted(by_hand, key=lambda name: by_hand[name])
    assert rating * scale == pytest.approx(RATING, rel=5e-3)
    # a critical inversion caps the credit, whatever else is right
    for earlier, later in question.critical:
        order = list(range(7))
        order[earlier], order[later] = later, earlier
        assert grade(question, order).score <= 0.4
    neighbours = [1, 0, 2, 3, 4, 5, 6]
    assert grade(question, neighbours).score == pytest.approx(20 / 21)


def test_the_lock_ups_told_are_where_the_runs_end() -> None:
    lock_up, held = PLAIN.lock_ups()
    monitor, worker = PLAIN.station().regulators
    assert lock_up == lock_up_gauge_pressure(worker.condition(), 60 * PSI)
    assert ladder_of(PLAIN, 0.25, 0.05)[HELD] == held == lock_up_gauge_pressure(monitor.condition(), 60 * PSI)
    assert in_state(PLAIN, "sound").at(OUTLET, 79.0) == pytest.approx(lock_up, rel=2e-3)
    assert in_state(PLAIN, "worker").at(OUTLET, 79.0) == pytest.approx(held, rel=1e-2)
    assert len(CRITICAL) == 3


# --- which layer is left


def by_thought(monitor_apart: bool, shut_apart: bool, relief_open: bool) -> str:
    """What each layer's own wants say, with no run."""
    if monitor_apart:
        return "monitor"
    if relief_open:
        return "relief"
    return "shut" if shut_apart else "nothing"


@pytest.mark.parametrize("layout", list(product((True, False), repeat=3)))
@pytest.mark.parametrize("seed", [0, 1])
def test_the_run_of_a_broken_line_agrees_with_thought(layout: tuple[bool, bool, bool], seed: int) -> None:
    named = dict(zip(("monitor_apart", "shut_apart", "relief_open"), layout, strict=True))
    trace = broken(drawn(Random(seed), ("us", "metric")[seed]), **named)
    truth = by_thought(*layout)
    assert what_held(trace) == truth
    # "far past the rating", and in all the others not
    assert (trace.peak(OUTLET)[1] > 5 * RATING) == (truth == "nothing")
    told = line_told(truth, **named)
    assert set(told) == set(ANSWERS)
    assert ("sound, but" in told["shut"]) == (layout[0] and layout[1])
    assert ("isolating valve is shut" in told["relief"]) == (not layout[2])


@pytest.mark.parametrize("seed", range(12))
def test_the_line_s_key_follows_from_its_words(seed: int) -> None:
    question = choice("14.line", seed, ("us", "metric")[seed % 2])
    monitor, shut = re.findall(r"through (a line of its own|the worker's line)", question.prompt)
    relief = "isolating valve is open" in question.prompt
    truth = by_thought(monitor.startswith("a"), shut.startswith("a"), relief)
    assert question.options[question.right] == ANSWERS[truth]


# --- which layers are gone

# (slam-shut tripped, gas leaves the stack, recorder above the relief valve's set pressure, outlet above the worker's)
SIGNS = {
    "sound": (False, False, False, False),
    "worker": (False, False, False, True),
    "both": (False, True, True, True),
    "three": (True, False, True, False),
    "drift": (True, False, False, False),
}


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("seed", SEEDS)
def test_each_state_has_signs_of_its_own(state: str, seed: int) -> None:
    setting = drawn(Random(seed), ("us", "metric")[seed % 2])
    trace = in_state(setting, state)
    rows = dict(found(trace, "us"))
    end = trace.scenario.duration - 1.0
    signs = (
        rows["slam-shut"] == "tripped",
        rows["heard at the stack"] != "nothing",
        trace.peak(OUTLET)[1] > setting.valve,
        trace.at(OUTLET, end) > 1.2 * setting.worker,
    )
    assert signs == SIGNS[state]
    assert trace.peak(OUTLET)[1] < RATING
    assert (trace.at(STACK_FLOW, end) > 0.0) == signs[1]


@pytest.mark.parametrize("seed", SEEDS)
def test_the_table_is_that_of_the_right_state_and_wrong_ones_read_otherwise(seed: int) -> None:
    question = choice("14.gone", seed)
    assert question.table is not None
    right = question.traces[question.right]
    assert right is not None
    assert question.table[1:] == found(right, "us")
    tables = [found(trace, "us") for trace in question.traces if trace is not None]
    assert len(set(tables)) == len(STATES)
    wrong = (question.right + 1) % len(STATES)
    graded = grade(question, wrong)
    assert graded.score == 0.0
    assert graded.replay is not None


# --- the trace


@pytest.mark.parametrize("seed", SEEDS)
def test_the_second_layer_lets_go_where_the_outlet_leaves_the_monitor(seed: int) -> None:
    setting, trace, first, time = second_gone(Random(seed), ("us", "metric")[seed % 2])
    worker, monitor = trace.scenario.faults
    assert worker.onset == first
    assert 0.0 < time - monitor.onset < 0.5 * 0.03 * trace.scenario.duration + 3.0
    assert trace.at(OUTLET, monitor.onset - 1.0) == pytest.approx(setting.monitor, rel=0.03)
    assert trace.at(OUTLET, first - 1.0) == pytest.approx(setting.worker, rel=0.1)
    assert trace.happened("valve_opens")
    assert not trace.happened("trips_high")  # "One layer is left behind it."
    question = asked("14.second", seed)
    assert isinstance(question, TraceQuestion)
    start, end = question.window
    assert end - start == pytest.approx(0.06 * question.duration)
    for wrong in (start - 2 * (end - start), end + 2 * (end - start)):
        if 0 <= wrong <= question.duration:
            assert grade(question, wrong).score == 0.0


def test_a_layer_has_acted_as_told() -> None:
    for seed in SEEDS:
        question = asked("14.worker_out", seed)
        assert isinstance(question, CauseQuestion)
        assert letters(question.signs) & set("ijn")
        assert question.truth in question.suspects
