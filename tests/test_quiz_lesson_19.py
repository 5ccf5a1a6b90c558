"""The items of lab 19: each key once more, by hand, and what a wrong answer is told."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest
from quiz_text import asked, choice, numbers, numeric

from toolkit.diagnosis.pair_stuck import HELD_LOW, VALVE
from toolkit.quiz import lesson_19
from toolkit.quiz.lesson_19 import DRAWN_FOR, READ_OFF, drawn_slowly
from toolkit.quiz.ordering import ChoiceQuestion
from toolkit.quiz.pictures import OUTLET
from toolkit.quiz.questions import NumericQuestion, TraceQuestion, grade

ITEMS = {item.key: item for item in lesson_19.ITEMS}


def test_four_items_of_three_types() -> None:
    assert len(ITEMS) == 4
    assert {type(asked(key, 0)) for key in ITEMS} == {ChoiceQuestion, NumericQuestion, TraceQuestion}


@pytest.mark.parametrize("seed", range(8))
def test_only_holding_low_tells_and_vent_and_lever_are_left_alone(seed: int) -> None:
    question = choice("19.check", seed, ("us", "metric")[seed % 2])
    assert question.options[question.right] == HELD_LOW.name
    (barred,) = [one for one, told in enumerate(question.told) if told.startswith("Stop.")]
    assert question.options[barred] in ("plug the vent", "lift the relief's test lever")
    assert grade(question, barred).score == 0.0


@pytest.mark.parametrize("seed", range(24))
def test_the_cause_is_told_by_the_vent_held_low_and_by_nothing_else(seed: int) -> None:
    """By reasoning: gas from the vent with the relief valve shut is a tear; clean air is a whole diaphragm."""
    question = choice("19.cause", seed, ("us", "metric")[seed % 2])
    assert question.table is not None
    held = dict(row for row in question.table if len(row) == 2).get("gas at the vent, outlet held low")
    assert question.right == (2 if held is None else 1 if held == "none" else 0)


def test_each_answer_is_right_sometimes() -> None:
    assert {choice("19.cause", seed).right for seed in range(24)} == {0, 1, 2}


@pytest.mark.parametrize("seed", range(10))
def test_how_low_by_hand_from_the_prompt(seed: int) -> None:
    """Burners pass as the root of their pressure: rated x (passes / called for)^2."""
    question = numeric("19.held", seed, ("us", "metric")[seed % 2])
    *_, rated, passes, calls = numbers(question.prompt)
    unit = {"us": 249.08891, "metric": 100.0}[question.units]
    assert question.truth / unit == pytest.approx(rated * (passes / calls) ** 2, rel=0.01)
    (slip,) = [one for one in question.slips if one.name == "the share was not squared"]
    assert slip.value / unit == pytest.approx(rated * passes / calls, rel=0.01)


@pytest.mark.parametrize("seed", range(12))
def test_the_relief_valve_blows_until_then_and_never_after(seed: int) -> None:
    trace, shut = drawn_slowly(Random(seed), "us")
    half = READ_OFF * DRAWN_FOR
    assert half < shut < DRAWN_FOR - half
    lift = trace[f"{VALVE}_lift_share"]
    assert lift[trace.times > shut + 1].max() < 5e-3
    assert lift[trace.times < shut - half].min() > 5e-3
    # and it can be read from the picture: the outlet comes down to the line within the window
    (valve,) = trace.scenario.station.relief_valves
    below = trace.times[int(np.argmax(trace[OUTLET] < valve.set_gauge_pressure))]
    assert below == pytest.approx(shut, abs=half)
