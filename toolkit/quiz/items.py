"""An item: one thing to ask, in ever new numbers. Its key, lesson and objective stay; a seed makes the question."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from random import Random

from toolkit.errors import ScenarioError
from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion
from toolkit.quiz.questions import NumericQuestion, Question, TraceQuestion
from toolkit.units import display_unit, from_display, tidy, to_display

# (the item's key, the seeded source of chance, display set "us" or "metric") -> question
Make = Callable[[str, Random, str], Question]
# What is known, and what is done when something is wrong at the station: each has a pass mark of its own.
KNOWLEDGE, ABNORMAL = "knowledge", "abnormal operating conditions"
SECTIONS = (KNOWLEDGE, ABNORMAL)


@dataclass(frozen=True)
class Item:
    """One thing to ask: `objective` is what a learner who gets it right is able to do; `section` one of SECTIONS."""

    key: str
    lesson: str
    objective: str
    make: Make
    section: str = KNOWLEDGE


def offer(item: Item, seed: int, units: str = "us") -> Question:
    """Return the item's question for a seed and display set; the same three give the same question anywhere.

    Slips that the numbers of this seed do not tell from the truth, or from each other, are left out.
    """
    if units not in ("us", "metric"):
        raise ScenarioError("units", units, "'us' or 'metric'", "Choose one of these.")
    # A text seeds alike on every platform; the key keeps items of one seed apart.
    question = item.make(item.key, Random(f"{item.key} {seed}"), units)
    question = replace(question, prompt=tidy(question.prompt))
    if isinstance(question, NumericQuestion | TraceQuestion):
        question = replace(question, worked=tidy(question.worked))
    elif isinstance(question, OrderQuestion):
        question = replace(question, explanation=tidy(question.explanation), reasons=_tidied(question.reasons))
    elif isinstance(question, ChoiceQuestion):
        question = replace(question, explanation=tidy(question.explanation), told=_tidied(question.told))
    return question.told_apart() if isinstance(question, NumericQuestion) else question


def _tidied(texts: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(map(tidy, texts))


def pick(
    chance: Random,
    kind: str,
    units: str,
    us: tuple[float, float, float],
    metric: tuple[float, float, float],
) -> float:
    """Draw an SI value that is round in the display unit: (lowest, highest, step) for either display set."""
    low, high, step = us if units == "us" else metric
    return from_display(low + step * chance.randrange(round((high - low) / step) + 1), kind, units)


def rounded(value: float, kind: str, units: str) -> float:
    """Return an SI value as its display rounds it, so that the numbers in a prompt are the numbers reckoned with."""
    decimals = display_unit(kind, units).decimals
    return from_display(round(to_display(value, kind, units), decimals), kind, units)
