"""How an answer on paper is marked by hand, as `grade` marks it: for who holds the key and no computer.

Each question is worth one mark. What the rules here say is what `questions.grade` does.
"""

from __future__ import annotations

from collections.abc import Callable
from math import ceil, log10
from typing import Any

from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion
from toolkit.quiz.questions import CauseQuestion, NumericQuestion, Question, TraceQuestion, VisitQuestion
from toolkit.units import display_unit, to_display

# The ends of a range are rounded by less than this share of half its width.
ROUNDED = 0.05
VISIT = (
    "None for a visit that was ended. What another order earns is weighed by the computer, choice by choice: "
    "make the same visit on the page, with the same level, station and seed."
)
SPREAD = (
    "1 less half the sum of squares: of what is missing from 100 on the true suspect, and of the points on each "
    "other, each as a share of 100. All on the true one: 1. 70 there and 30 on one other: 0.91. 50 and 50: 0.75. "
    "All on another: 0."
)
CHOICE = "1 for that one, 0 for another, or for more than one."


def marking(question: Question) -> tuple[str, ...]:
    """What earns the mark, and what earns a part of it, in sentences."""
    return RULES[type(question)](question)


def _number(question: NumericQuestion) -> tuple[str, ...]:
    reach = question.tolerance()
    said = [f"1 for {_range(question, question.truth, reach)}, in whatever unit; 0 without a unit."]
    if question.reference:
        said.append(f"The unit must say that it is {question.reference}.")
    # What lies below a perfect vacuum nobody can answer.
    slips = [one for one in question.slips if question.kind != "absolute_pressure" or one.value > 0]
    said += [f"1/2 for {_range(question, one.value, question.band(one.value))}: {one.name}." for one in slips]
    pressure = question.kind.endswith("pressure")
    said.append(
        "1/2 too where the number is right and its unit is another usual one"
        + (", or where gauge was given for absolute or absolute for gauge." if pressure else ".")
    )
    return tuple(said)


def _range(question: NumericQuestion, middle: float, reach: float) -> str:
    """From the least to the most in the question's display set, then in the other one."""
    first, second = (question.units, "metric" if question.units == "us" else "us")

    def said(units: str) -> str:
        low, high = sorted(to_display(middle + side * reach, question.kind, units) for side in (-1, 1))
        decimals = max(0, ceil(-log10(ROUNDED * (high - low))))
        return f"{low:,.{decimals}f} to {high:,.{decimals}f} {display_unit(question.kind, units).label}"

    both = (said(first), said(second))
    return both[0] if both[0] == both[1] else f"{both[0]} ({both[1]})"


def _time(question: TraceQuestion) -> tuple[str, ...]:
    start, end = question.window
    half = (end - start) / 2
    return (
        f"1 for a time from {start:.1f} to {end:.1f} s.",
        f"1/2 for one from {max(0.0, start - half):.1f} to {min(question.duration, end + half):.1f} s.",
    )


def _order(question: OrderQuestion) -> tuple[str, ...]:
    pairs = len(question.pairs())
    which = "of any two entries" if question.scoring == "tau" else "of two entries that follow each other above"
    said = [f"1/{pairs} for each of the {pairs} pairs {which} whose earlier one stands before the later one."]
    for earlier, later in question.critical:
        said.append(
            f"No more than {question.cap:g} in all where number {later + 1} above stands before number {earlier + 1}."
        )
    return tuple(said)


RULES: dict[type, Callable[[Any], tuple[str, ...]]] = {
    NumericQuestion: _number,
    TraceQuestion: _time,
    OrderQuestion: _order,
    ChoiceQuestion: lambda _: (CHOICE,),
    CauseQuestion: lambda _: (SPREAD,),
    VisitQuestion: lambda _: (VISIT,),
}
