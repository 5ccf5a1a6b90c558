"""The rules for marking by hand say what `grade` does: each is carried out here as a person would, and compared."""

from __future__ import annotations

import re
from random import Random

import pytest

from toolkit.quiz.cases import ITEMS, offer
from toolkit.quiz.marking import SPREAD, marking
from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion
from toolkit.quiz.questions import CauseQuestion, NumericQuestion, TraceQuestion, grade
from toolkit.units import display_unit

SEED = 5
NUMBER = r"(-?[\d,.]+)"
UNITS = ("us", "metric")


def questions(kind: type, units: str = "us") -> list:
    return [one for item in ITEMS if isinstance(one := offer(item, SEED, units), kind)]


def ranges(question: NumericQuestion) -> list[tuple[float, float, float, str]]:
    """Marks, least, most, unit, in both display sets, as printed."""
    found = []
    for said in marking(question):
        for low, high, label in re.findall(rf"{NUMBER} to {NUMBER} ([^(),:]+?)(?=[,(:)]| \()", said):
            ends = (float(end.replace(",", "").rstrip(".")) for end in (low, high))
            found.append((1.0 if said.startswith("1 ") else 0.5, *ends, label.strip()))
    return found


@pytest.mark.parametrize("units", UNITS)
def test_a_number_in_a_printed_range_earns_what_is_printed_and_one_beside_it_does_not(units: str) -> None:
    for question in questions(NumericQuestion, units):
        printed = ranges(question)
        labels = {display_unit(question.kind, one).label for one in UNITS}
        assert {label for *_, label in printed} == labels, question.key
        slips = [one for one in question.slips if question.kind != "absolute_pressure" or one.value > 0]
        assert len(printed) == len(labels) * (1 + len(slips)), question.key
        for marks, low, high, label in printed:
            step = (high - low) / 20
            for number in (low + step, (low + high) / 2, high - step):
                assert grade(question, f"{number:.12f} {label}").score == marks, (question.key, number, label)
            if marks == 1.0:
                for number in (low - step, high + step):
                    assert grade(question, f"{number:.12f} {label}").score < 1.0, (question.key, number, label)


def test_a_time_in_a_printed_range_earns_what_is_printed() -> None:
    for question in questions(TraceQuestion):
        full, half = marking(question)
        low, high = map(float, re.search(rf"from {NUMBER} to {NUMBER} s", full).groups())  # type: ignore[union-attr]
        below, above = map(float, re.search(rf"from {NUMBER} to {NUMBER} s", half).groups())  # type: ignore[union-attr]
        step = min(0.2, (high - low) / 10)
        assert [grade(question, one).score for one in (low + step, high - step)] == [1.0, 1.0]
        outside = [one for one in (below + step, low - step, high + step, above - step) if below <= one <= above]
        assert outside
        assert {grade(question, one).score for one in outside} == {0.5}
        beyond = [one for one in (below - step, above + step) if 0 <= one <= question.duration]
        assert {grade(question, one).score for one in beyond} <= {0.0}


def test_an_order_marked_by_the_printed_rule_earns_what_the_course_gives() -> None:
    chance = Random(1)
    for question in questions(OrderQuestion):
        first, *limits = marking(question)
        pairs = int(re.match(r"1/(\d+) for each", first)[1])  # type: ignore[index]
        count = len(question.entries)
        for _ in range(40):
            order = chance.sample(range(count), count)
            place = {entry: at for at, entry in enumerate(order)}
            if "of any two entries" in first:
                counted = [(a, b) for a in range(count) for b in range(a + 1, count)]
            else:
                counted = [(a, a + 1) for a in range(count - 1)]
            assert len(counted) == pairs
            marks = sum(place[a] < place[b] for a, b in counted) / pairs
            for said in limits:
                cap, later, earlier = re.match(  # type: ignore[union-attr]
                    r"No more than ([\d.]+) in all where number (\d+) above stands before number (\d+)\.", said
                ).groups()
                if place[int(later) - 1] < place[int(earlier) - 1]:
                    marks = min(marks, float(cap))
            assert grade(question, order).score == pytest.approx(marks), question.key


def test_points_marked_by_the_printed_rule_earn_what_the_course_gives() -> None:
    question = questions(CauseQuestion)[0]
    true, count = question.suspects.index(question.truth), len(question.suspects)
    other = (true + 1) % count
    printed = {"All on the true one": (100, 0), "70 there and 30 on one other": (70, 30), "50 and 50": (50, 50)}
    for words, (there, beside) in (*printed.items(), ("All on another", (0, 100))):
        points = [0.0] * count
        points[true], points[other] = there, beside
        marks = float(re.search(rf"{words}: ([\d.]+)\.(?= |$)", SPREAD)[1])  # type: ignore[index]
        assert grade(question, points).score == pytest.approx(marks)


def test_a_choice_earns_all_or_nothing() -> None:
    for question in questions(ChoiceQuestion):
        assert marking(question)[0].startswith("1 for that one, 0 for another")
        assert {grade(question, one).score for one in range(len(question.options)) if one != question.right} == {0.0}
