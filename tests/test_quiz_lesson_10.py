"""Lesson 10's items: keys worked by hand from the prompt and by the ladder's own rules, and how answers are graded."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise
from random import Random

import pytest
from quiz_text import asked, choice, numbers

from toolkit.devices.slam_shut import SlamShut
from toolkit.faults import StuckStem
from toolkit.ladder import findings
from toolkit.quiz import lesson_10
from toolkit.quiz.lesson_10 import (
    FAILED,
    ITEMS,
    OUTLET,
    RIGHT,
    RUN_ON,
    STATES,
    WORDS,
    Setting,
    drawn,
    in_state,
    standing,
    states_of,
    tripping_at,
    trips,
)
from toolkit.quiz.questions import ChoiceQuestion, NumericQuestion, OrderQuestion, grade
from toolkit.scenario import Demand, Scenario
from toolkit.simulation import simulate
from toolkit.trace import Trace
from toolkit.units import IN_WC, PSI, from_display, to_display

SEEDS = range(8)
BY_KEY = {item.key: item for item in ITEMS}
PLAIN = Setting(10 * IN_WC, 4 * IN_WC, 18 * IN_WC, 24 * IN_WC, 60 * PSI, 28 * IN_WC)


def table(question: ChoiceQuestion) -> dict[str, list[float]]:
    """The rows of a question's table: the pressure, then the edges of its band where it has one, in one unit.

    27.68 in. w.c. a psi from conversion tables (published.toml).
    """

    def in_low_units(text: str) -> list[float]:
        return [
            float(number) * {"psig": 27.68, "bar": 1000.0}.get(unit, 1.0)
            for number, unit in re.findall(r"([\d.]+) (in\. w\.c\.|mbar|psig|bar)", text)
        ]

    assert question.table is not None
    return {name: in_low_units(f"{stands} {band}") for name, stands, band in question.table[1:]}


def test_five_items_of_three_types() -> None:
    assert {type(asked(key, 0)) for key in BY_KEY} == {NumericQuestion, ChoiceQuestion, OrderQuestion}
    assert len(BY_KEY) == 5


@pytest.mark.parametrize("units", ["us", "metric"])
def test_a_ladder_drawn_is_in_order(units: str) -> None:
    for seed in range(10):
        setting = drawn(Random(seed), units)
        rungs = setting.rungs
        assert findings(rungs, setting.limit) == ()
        asked_for = [one for one in rungs if one.kind in WORDS]
        # Clear of each other, bands counted, but for a relief valve and its own build-up.
        for lower, upper in pairwise(asked_for):
            assert (lower.kind, upper.kind) == ("valve_set", "valve_held") or lower.high < upper.low


def fast(setting: Setting) -> Trace:
    """All but the slam-shut fails at once, with no gas taken."""
    open_at_once, blocked = FAILED["three"]
    assert isinstance(open_at_once, StuckStem)
    demands = (Demand(0.0, 0.3, lesson_10.HOUSES), Demand(2.0, 0.0, lesson_10.HOUSES))
    return simulate(Scenario(setting.station, demands, (replace(open_at_once, ramp=0.01), blocked), 60.0))


@pytest.mark.parametrize("units", ["us", "metric"])
def test_the_latest_trip_drawn_and_its_run_on_stay_below_the_limit(units: str) -> None:
    most = from_display(RUN_ON[units], "pressure_difference", units)
    for seed in range(20):
        setting = drawn(Random(seed), units)
        assert setting.trip is not None
        latest = setting.trip * (1 + SlamShut.accuracy)
        assert latest + most < setting.limit
        for run in (standing(setting, "three"), fast(setting)):
            assert 0.0 < run.peak(OUTLET)[1] - setting.trip < most
        # The trip that is right where one is to be chosen.
        (right,) = (trip for trip, wrong in trips(setting, setting.rungs, units).items() if not wrong)
        assert right * (1 + SlamShut.accuracy) + most < setting.limit


@pytest.mark.parametrize("units", ["us", "metric"])
def test_a_question_with_a_slam_shut_tells_its_run_on(units: str) -> None:
    said = {"us": "may still rise by 1.5 in. w.c.", "metric": "may still rise by 3.5 mbar"}[units]
    assert said in asked("10.trip", 1, units).prompt
    for seed in range(8):
        prompt = asked("10.verdict", seed, units).prompt
        assert (said in prompt) == ("slam-shut" in prompt)


# --- the order


def test_the_order_is_that_of_the_trade_and_its_critical_pairs_cap() -> None:
    whole = [
        "The worker locks up",
        "The monitor holds, worker wide open",
        "The relief valve begins to open",
        "The relief valve passes all that comes",
        "The slam-shut trips",
        "The house regulators' limit",
    ]
    lengths = set()
    for seed in range(12):
        question = asked("10.order", seed, ("us", "metric")[seed % 2])
        assert isinstance(question, OrderQuestion)
        assert list(question.entries) == [name for name in whole if name in question.entries]
        assert ("slam-shut" in question.prompt) == ("The slam-shut trips" in question.entries)
        lengths.add(len(question.entries))
        # Set points, the numbers of the feedback, rise.
        said = numbers(question.explanation.replace("wide open: ", "").split("gives this. ")[1])
        assert said == sorted(said)
        right = list(range(len(question.entries)))
        for earlier, later in question.critical:
            turned = right[:]
            turned[earlier], turned[later] = turned[later], turned[earlier]
            assert grade(question, turned).score <= 0.4
        pairs = {(question.entries[a], question.entries[b]) for a, b in question.critical}
        assert ("The worker locks up", "The relief valve begins to open") in pairs
        assert ("The relief valve passes all that comes", "The house regulators' limit") in pairs
        if len(right) == 6:
            assert ("The worker locks up", "The slam-shut trips") in pairs
            assert ("The monitor holds, worker wide open", "The slam-shut trips") in pairs
    assert lengths == {5, 6}


# --- the number


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("units", ["us", "metric"])
def test_the_lowest_setting_by_hand(seed: int, units: str) -> None:
    question = asked("10.above", seed, units)
    assert isinstance(question, NumericQuestion)
    worker, lock_up, monitor, held, first, second = numbers(question.prompt)
    assert worker < lock_up < monitor < held
    top, below = 1 + first / 100, 1 - second / 100
    assert to_display(question.truth, question.kind, units) == pytest.approx(held * top / below)
    by_hand = {
        "the bands were left out": held,
        "only the monitor's band was counted": held * top,
        "the relief valve's band was counted the wrong way": held * top * below,
        "the worker's lock-up was taken for what the monitor holds": lock_up * top / below,
    }
    for slip in question.slips:
        assert to_display(slip.value, question.kind, units) == pytest.approx(by_hand[slip.name]), slip.name
    assert "the bands were left out" in [slip.name for slip in question.slips]
    assert "the worker's lock-up was taken for what the monitor holds" in [slip.name for slip in question.slips]


# --- where the trip goes


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("units", ["us", "metric"])
def test_the_trip_by_hand_from_the_table(seed: int, units: str) -> None:
    """5 %, the accuracy in the prompt, to either side."""
    question = choice("10.trip", seed, units)
    rungs = table(question)
    full, limit = rungs["The relief valve passes all that comes"][2], rungs["The house regulators' limit"][0]
    offered = [numbers(option)[0] for option in question.options]
    clear = [0.95 * trip > full and 1.05 * trip < limit for trip in offered]
    assert clear == [index == question.right for index in range(4)]
    opens, all_of_it = (rungs[f"The relief valve {words}"][0] for words in ("begins to open", "passes all that comes"))
    for trip, told in zip(offered, question.told, strict=True):
        assert ("above the limit: the house regulators get too much" in told) == (trip > limit)
        assert ("build-up" in told) == (opens < trip < all_of_it)
        assert ("than what the monitor holds" in told) == (trip < rungs["The monitor holds, worker wide open"][2])


def test_each_wrong_trip_is_wrong_in_its_own_way() -> None:
    rungs = lesson_10.replace(PLAIN, trip=None).rungs
    assert list(trips(PLAIN, rungs, "us").values()) == [
        "slam_shut_below_monitor",
        "slam_shut_in_build_up",
        "",
        "above_limit",
    ]
    assert [one.kind for one in tripping_at(rungs, 11 * IN_WC, PLAIN.limit)] == ["slam_shut_below_monitor", "nuisance"]
    assert [one.kind for one in tripping_at(rungs, 27.5 * IN_WC, PLAIN.limit)] == ["near_limit"]


# --- the verdict


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("units", ["us", "metric"])
def test_a_ladder_brought_into_a_state_is_found_in_it(state: str, units: str) -> None:
    for seed in range(6):
        setting = in_state(drawn(Random(seed), units), state)
        assert states_of(findings(setting.rungs, setting.limit)) == {state}


@pytest.mark.parametrize("seed", range(12))
def test_the_verdict_by_hand_from_the_table(seed: int) -> None:
    question = choice("10.verdict", seed, ("us", "metric")[seed % 2])
    rungs = table(question)
    locks, held, opens, full = (rungs[WORDS[kind]] for kind in ("lock_up", "monitor_held", "valve_set", "valve_held"))
    limit, trip = rungs[WORDS["limit"]][0], rungs.get(WORDS["slam_shut_high"], [1e9])[0]
    by_hand = {
        "near": held[1] <= locks[2],
        "low": opens[1] <= held[2],
        "build": opens[0] < trip < full[0],
        "small": full[0] > limit,
    }
    (state,) = [name for name, found in by_hand.items() if found] or ["order"]
    assert question.options[question.right] == STATES[state]
    assert question.told[question.right] == RIGHT[state]


def test_every_verdict_is_asked_for() -> None:
    right = {question.options[question.right] for question in (choice("10.verdict", seed) for seed in range(24))}
    assert right == set(STATES.values())


# --- what the outlet tells


def test_the_outlet_stands_on_the_rung_of_what_is_left() -> None:
    rungs = {one.kind: one for one in PLAIN.rungs}
    for failed, kind in (("well", "lock_up"), ("worker", "monitor_held"), ("both", "valve_held")):
        assert standing(PLAIN, failed).settled(OUTLET) == pytest.approx(rungs[kind].gauge_pressure, rel=0.015)
    # Shut off, it stands above the trip by what came after it.
    assert 24 * IN_WC < standing(PLAIN, "three").settled(OUTLET) < PLAIN.limit


@pytest.mark.parametrize("seed", range(6))
def test_the_four_readings_differ_and_the_key_is_the_one_told(seed: int) -> None:
    units = ("us", "metric")[seed % 2]
    question = choice("10.stands", seed, units)
    reading = re.findall(r"stands steady at ([\d.]+)", question.prompt)[0]
    said = [numbers(told)[0] for told in question.told]
    assert said[question.right] == float(reading)
    assert min(b / a for a, b in pairwise(sorted(said))) > 1.08
    graded = grade(question, (question.right + 1) % 4)
    assert graded.replay is not None
    assert graded.replay.truth.scenario.faults in FAILED.values()
    assert graded.replay.truth.settled(OUTLET) != pytest.approx(graded.replay.other.settled(OUTLET), rel=0.05)
