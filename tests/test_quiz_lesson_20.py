"""The items of lab 20: each key once more, by hand, and what a wrong answer is told."""

from __future__ import annotations

import pytest
from quiz_text import asked, choice, numbers, numeric

from toolkit.quiz import lesson_20
from toolkit.quiz.lesson_20 import SAFETY, STEPS
from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion
from toolkit.quiz.questions import NumericQuestion, grade

ITEMS = {item.key: item for item in lesson_20.ITEMS}


def test_four_items_of_three_types() -> None:
    assert len(ITEMS) == 4
    assert {type(asked(key, 0)) for key in ITEMS} == {ChoiceQuestion, NumericQuestion, OrderQuestion}


@pytest.mark.parametrize("seed", range(8))
def test_only_the_shut_valve_tells_and_the_set_point_is_left_alone(seed: int) -> None:
    question = choice("20.check", seed, ("us", "metric")[seed % 2])
    assert question.options[question.right] == "shut the outlet valve, read the outlet gauge and watch it"
    barred = question.options.index("raise the set point")
    assert question.told[barred].startswith("Stop. A set point is never raised")
    assert grade(question, barred).score == 0.0


@pytest.mark.parametrize("seed", range(24))
def test_the_cause_is_told_by_what_comes_back_and_by_nothing_else(seed: int) -> None:
    """By reasoning: back at lock-up nothing flows, so it is the filter; below it something draws, so it is the leak."""
    question = choice("20.cause", seed, ("us", "metric")[seed % 2])
    assert question.table is not None
    found = dict(row for row in question.table if len(row) == 2)
    lock_up = found.get("lock-up beside its record")
    assert question.right == (2 if lock_up is None else 0 if lock_up == "as on record" else 1)
    assert found.get("meter, all off", "stands") == "stands"


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("key", ["20.check", "20.cause"])
def test_what_is_told_names_the_reading_that_differs_and_none_that_is_the_same(key: str, seed: int) -> None:
    """Of the three readings of the shut valve only the lock-up tells."""
    question = choice(key, seed)
    said = [words for words in question.told if "lock-up beside its record" in words]
    assert said or question.right == 2
    assert not [words for words in said if "over minutes" in words]


def test_each_answer_is_right_sometimes() -> None:
    assert {choice("20.cause", seed).right for seed in range(24)} == {0, 1, 2}


@pytest.mark.parametrize("seed", range(10))
def test_what_is_lost_by_hand_from_the_prompt(seed: int) -> None:
    """Burners pass as the root of their pressure; the rest of what the regulator passes is lost."""
    question = numeric("20.lost", seed, ("us", "metric")[seed % 2])
    *_, set_point, takes, passes, low = numbers(question.prompt)
    unit = {"us": 0.0283168466 / 3600, "metric": 1.0 / 3600}[question.units]
    assert question.truth / unit == pytest.approx(passes - takes * (low / set_point) ** 0.5, rel=0.02)
    assert "the root was not taken" in [slip.name for slip in question.slips]


def test_the_steps_keep_people_first_and_a_leaking_pipe_shut_off() -> None:
    question = asked("20.steps", 1)
    assert isinstance(question, OrderQuestion)
    right = list(range(len(STEPS)))
    assert grade(question, right).score == 1.0
    # people, gas off before mending, tight before gas
    assert {(0, 3), (4, 5), (5, 6)} <= set(SAFETY)
    for earlier, later in SAFETY:
        order = right.copy()
        order[earlier], order[later] = order[later], order[earlier]
        assert grade(question, order).score == 0.0
    # reading the gauge before asking costs marks only
    assert 0.5 < grade(question, [1, 0, 2, 3, 4, 5, 6, 7]).score < 1.0
