"""The items of lab 17: each key once more, by hand, and what a wrong answer is told."""

from __future__ import annotations

import pytest
from quiz_text import asked, choice, numbers, numeric

from toolkit.quiz import lesson_17
from toolkit.quiz.lesson_17 import SAFETY, STEPS
from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion
from toolkit.quiz.questions import NumericQuestion, grade

ITEMS = {item.key: item for item in lesson_17.ITEMS}


def test_four_items_of_three_types() -> None:
    assert len(ITEMS) == 4
    assert {type(asked(key, 0)) for key in ITEMS} == {ChoiceQuestion, NumericQuestion, OrderQuestion}


@pytest.mark.parametrize("seed", range(8))
def test_only_the_drop_tells_and_the_set_point_is_left_alone(seed: int) -> None:
    question = choice("17.check", seed, ("us", "metric")[seed % 2])
    assert question.options[question.right] == "read the pressure drop across the filter with all burners on"
    barred = question.options.index("raise the set point")
    assert question.told[barred].startswith("Stop. A set point is never raised")
    assert grade(question, barred).score == 0.0


@pytest.mark.parametrize("seed", range(16))
def test_the_cause_is_told_by_the_drop_and_by_nothing_else(seed: int) -> None:
    """By reasoning: a small drop leaves the regulator, another the filter; without a drop nobody can tell."""
    question = choice("17.cause", seed, ("us", "metric")[seed % 2])
    assert question.table is not None
    drop = dict(row for row in question.table if len(row) == 2).get("pressure drop across the filter, all on")
    assert question.right == (2 if drop is None else 0 if drop == "small" else 1)


@pytest.mark.parametrize("seed", range(10))
def test_what_is_left_by_hand_from_the_prompt(seed: int) -> None:
    """Choked flow goes with the absolute pressure: (behind + air) / (before + air)."""
    question = numeric("17.left", seed, ("us", "metric")[seed % 2])
    *_, before, behind, air = numbers(question.prompt)
    assert question.truth == pytest.approx((behind + air) / (before + air), rel=5e-3)
    assert "the gauges were divided" in [slip.name for slip in question.slips]


def test_the_steps_prove_zero_before_anything_is_opened() -> None:
    question = asked("17.steps", 1)
    assert isinstance(question, OrderQuestion)
    right = list(range(len(STEPS)))
    assert grade(question, right).score == 1.0
    for earlier, later in SAFETY:
        order = right.copy()
        order[earlier], order[later] = order[later], order[earlier]
        assert grade(question, order).score == 0.0
    # reading the drop late costs marks only
    assert 0.5 < grade(question, [1, 0, 2, 3, 4, 5, 6]).score < 1.0
