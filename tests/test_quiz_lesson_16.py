"""The items of lab 16: each key once more, by hand, and what a wrong answer is told."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest
from quiz_text import asked, choice, numbers, numeric

from toolkit.quiz import lesson_16
from toolkit.quiz.lesson_16 import READ_OFF, sun_and_shade
from toolkit.quiz.ordering import ChoiceQuestion
from toolkit.quiz.pictures import OUTLET
from toolkit.quiz.questions import NumericQuestion, TraceQuestion, grade

ITEMS = {item.key: item for item in lesson_16.ITEMS}


def test_four_items_of_three_types() -> None:
    assert len(ITEMS) == 4
    assert {type(asked(key, 0)) for key in ITEMS} == {ChoiceQuestion, NumericQuestion, TraceQuestion}


@pytest.mark.parametrize("seed", range(8))
def test_the_inlet_valve_or_the_shade_tells_and_the_set_point_is_left_alone(seed: int) -> None:
    question = choice("16.check", seed, ("us", "metric")[seed % 2])
    assert question.options[question.right] in (
        "shut the inlet valve and watch the outlet gauge, all off",
        "read the outlet gauge with all off before the sun is on it, in the sun, and in the shade again",
    )
    barred = question.options.index("raise the set point")
    assert question.told[barred].startswith("Stop. A set point is never raised")
    assert grade(question, barred).score == 0.0


@pytest.mark.parametrize("seed", range(24))
def test_the_cause_is_told_by_the_shut_valve_or_the_shade_and_by_nothing_else(seed: int) -> None:
    """By reasoning: without the inlet's gas a leak stops and the sun goes on; in the shade it is the other way."""
    question = choice("16.cause", seed, ("us", "metric")[seed % 2])
    assert question.table is not None
    read = dict(row for row in question.table if len(row) == 2)
    leak = {"comes to a stop": True, "climbs on": False}.get(read.get("outlet gauge, inlet valve shut, all off", ""))
    if leak is None:
        shade = read.get("gauge in the sun, then in the shade, all off", "")
        leak = {"rises and stays up": True, "rises and falls back": False}.get(shade)
    assert question.right == (2 if leak is None else 0 if leak else 1)


def test_each_answer_is_right_sometimes() -> None:
    assert {choice("16.cause", seed).right for seed in range(24)} == {0, 1, 2}


@pytest.mark.parametrize("seed", range(10))
def test_the_warming_by_hand_from_the_prompt(seed: int) -> None:
    """T rises as p does, both absolute: 459.67 °F and 273.15 °C below zero; 27.68 in. w.c. a psi."""
    question = numeric("16.warmed", seed)
    *_, before, after, stood, air = numbers(question.prompt)
    warmer = (stood + 459.67) * (after - before) / (before + 27.68 * air)
    assert question.truth * 9 / 5 == pytest.approx(warmer, rel=0.02)
    question = numeric("16.warmed", seed, "metric")
    *_, before, after, stood, air = numbers(question.prompt)
    assert question.truth == pytest.approx((stood + 273.15) * (after - before) / (before + 1000 * air), rel=0.02)
    assert len(question.slips) == 2


@pytest.mark.parametrize("seed", range(10))
def test_the_sun_leaves_where_the_gauge_is_highest(seed: int) -> None:
    trace, leaves = sun_and_shade(Random(seed), "us")
    top = trace.times[int(np.argmax(trace[OUTLET]))]
    assert top == pytest.approx(leaves, abs=0.5 * READ_OFF * trace.scenario.duration)
    assert leaves < trace.scenario.duration - 2 * READ_OFF * trace.scenario.duration
