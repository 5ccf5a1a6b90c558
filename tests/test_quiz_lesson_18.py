"""The items of lab 18: each key once more, by hand, and what a wrong answer is told."""

from __future__ import annotations

import pytest
from quiz_text import asked, choice, numbers, numeric

from toolkit.quiz import lesson_18
from toolkit.quiz.lesson_18 import SAFETY, STEPS
from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion
from toolkit.quiz.questions import NumericQuestion, grade

ITEMS = {item.key: item for item in lesson_18.ITEMS}


def test_four_items_of_three_types() -> None:
    assert len(ITEMS) == 4
    assert {type(asked(key, 0)) for key in ITEMS} == {ChoiceQuestion, NumericQuestion, OrderQuestion}


@pytest.mark.parametrize("seed", range(8))
def test_the_gauge_between_or_the_proof_tells_and_the_set_point_is_left_alone(seed: int) -> None:
    question = choice("18.check", seed, ("us", "metric")[seed % 2])
    assert question.options[question.right] in (
        "read the gauge between the regulators with all burners on",
        "prove the monitor's set point",
    )
    barred = question.options.index("raise the set point")
    assert question.told[barred].startswith("Stop. A set point is never raised")
    assert grade(question, barred).score == 0.0


@pytest.mark.parametrize("seed", range(24))
def test_the_cause_is_told_by_what_the_monitor_shows_and_by_nothing_else(seed: int) -> None:
    """By reasoning: near the inlet the second holds, near the outlet the first; a monitor off its record is it."""
    question = choice("18.cause", seed, ("us", "metric")[seed % 2])
    assert question.table is not None
    found = dict(row for row in question.table if len(row) == 2)
    between, proven = found.get("gauge between the regulators, all on"), found.get("monitor's set point, proven")
    known = {"near the inlet": 0, "near the outlet": 1, "as on record": 0, "off": 1, None: 2}
    assert question.right == (known[proven] if between is None else known[between])
    # what the symptom says is what is read
    assert found.get("outlet gauge, all burners on", "low") == "low"
    assert found.get("outlet gauge, pilots only", "low") == "low"


def test_each_answer_is_right_sometimes() -> None:
    assert {choice("18.cause", seed).right for seed in range(24)} == {0, 1, 2}


@pytest.mark.parametrize("seed", range(10))
def test_the_way_by_hand_from_the_prompt(seed: int) -> None:
    """27.68 in. w.c. a psi, 1000 mbar a bar."""
    question = numeric("18.way", seed, ("us", "metric")[seed % 2])
    *_, inlet, middle, outlet = numbers(question.prompt)
    small = {"us": 27.68, "metric": 1000.0}[question.units]
    assert question.truth == pytest.approx((middle - outlet) / (small * inlet - outlet), rel=5e-3)
    assert question.truth < 0.1, "near the outlet"
    taken = {"us": "in. w.c. for psi was taken", "metric": "mbar for hundredths of a bar was taken"}[question.units]
    (slip,) = [one for one in question.slips if one.name == taken]
    wrongly = {"us": 1.0, "metric": 100.0}[question.units]
    assert slip.value == pytest.approx((middle - outlet) / (wrongly * inlet - outlet), rel=5e-3)


def test_the_steps_keep_people_first_zero_before_opening_and_proof_before_relighting() -> None:
    question = asked("18.steps", 1)
    assert isinstance(question, OrderQuestion)
    right = list(range(len(STEPS)))
    assert grade(question, right).score == 1.0
    # people, zero before opening, proof before relighting
    assert {(0, 3), (4, 5), (6, 7)} <= set(SAFETY)
    for earlier, later in SAFETY:
        order = right.copy()
        order[earlier], order[later] = order[later], order[earlier]
        assert grade(question, order).score == 0.0
    # reading the gauges before asking costs marks only
    assert 0.5 < grade(question, [1, 0, 2, 3, 4, 5, 6, 7]).score < 1.0
