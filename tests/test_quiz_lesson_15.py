"""The items of lab 15: each key once more, by hand, and what a wrong answer is told."""

from __future__ import annotations

import pytest
from quiz_text import asked, choice, numbers, numeric

from toolkit.diagnosis.pair_torn import PAIR
from toolkit.quiz import lesson_15
from toolkit.quiz.lesson_15 import SAFETY, STEPS
from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion
from toolkit.quiz.questions import NumericQuestion, grade

ITEMS = {item.key: item for item in lesson_15.ITEMS}


def test_four_items_of_three_types() -> None:
    assert len(ITEMS) == 4
    assert {type(asked(key, 0)) for key in ITEMS} == {ChoiceQuestion, NumericQuestion, OrderQuestion}


@pytest.mark.parametrize("seed", range(8))
def test_only_holding_low_tells_and_plugging_is_stopped(seed: int) -> None:
    question = choice("15.check", seed, ("us", "metric")[seed % 2])
    assert question.options[question.right] == "hold the outlet low, then look for gas at the vent"
    barred = question.options.index("plug the vent")
    assert question.told[barred].startswith("Stop. A vent is never plugged")
    assert grade(question, barred).score == 0.0


@pytest.mark.parametrize("seed", range(24))
def test_the_cause_is_told_by_the_vent_held_low_and_by_nothing_else(seed: int) -> None:
    """By reasoning: gas with the outlet held low is a tear, none is a relief; without that check nobody can tell."""
    question = choice("15.cause", seed, ("us", "metric")[seed % 2])
    assert question.table is not None
    held = dict(row for row in question.table if len(row) == 2).get("gas at the vent, outlet held low")
    expected = 2 if held is None else 1 if held == "none" else 0
    assert question.right == expected
    assert question.options[:2] == PAIR.suspects
    wrong = (expected + 1) % 3
    assert (grade(question, wrong).replay is not None) == (expected != 2 and wrong != 2)


def test_each_answer_is_right_sometimes() -> None:
    assert {choice("15.cause", seed).right for seed in range(24)} == {0, 1, 2}


@pytest.mark.parametrize("seed", range(10))
def test_a_torn_diaphragm_s_lock_up_by_hand(seed: int) -> None:
    question = numeric("15.torn_high", seed, ("us", "metric")[seed % 2])
    *_, whole, lost = numbers(question.prompt)
    unit = {"us": 249.08891, "metric": 100.0}[question.units]
    assert question.truth / unit == pytest.approx(whole / (1 - lost / 100), rel=0.02)
    assert {"the share was taken off", "the tear was left out"} <= {slip.name for slip in question.slips}


def test_the_steps_keep_people_first_and_the_smell_after_the_draw() -> None:
    question = asked("15.steps", 1)
    assert isinstance(question, OrderQuestion)
    assert grade(question, list(range(len(STEPS)))).score == 1.0
    for earlier, later in SAFETY:
        order = list(range(len(STEPS)))
        order[earlier], order[later] = order[later], order[earlier]
        assert grade(question, order).score == 0.0
    assert 0.5 < grade(question, [1, 0, 2, 3, 4, 5]).score < 1.0


def test_the_burners_are_off_before_the_draw_and_the_nose_is_not_trusted_after_it() -> None:
    """Common practice, no source: a burner left on may go out at the low pressure; a nose gets used to the smell."""
    off, drawn, looked = (
        next(place for place, step in enumerate(STEPS) if words in step)
        for words in ("burner off", "Draw until", "gas detector")
    )
    assert off < drawn < looked
    assert (off, drawn) in SAFETY
    assert (drawn, looked) in SAFETY
    assert "from upwind" in STEPS[1]
