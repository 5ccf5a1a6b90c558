"""What the tests of the lessons' questions share: a question of a kind by its key and seed, the numbers of its text."""

from __future__ import annotations

import re

from toolkit.quiz.cases import ITEMS
from toolkit.quiz.items import offer
from toolkit.quiz.ordering import ChoiceQuestion
from toolkit.quiz.questions import NumericQuestion, Question

BY_KEY = {item.key: item for item in ITEMS}


def asked(key: str, seed: int, units: str = "us") -> Question:
    """The question of an item for a seed."""
    return offer(BY_KEY[key], seed, units)


def numeric(key: str, seed: int, units: str = "us") -> NumericQuestion:
    """The same, of an item that asks for a number."""
    question = asked(key, seed, units)
    assert isinstance(question, NumericQuestion)
    return question


def choice(key: str, seed: int, units: str = "us") -> ChoiceQuestion:
    """The same, of an item that asks to choose."""
    question = asked(key, seed, units)
    assert isinstance(question, ChoiceQuestion)
    return question


def numbers(text: str) -> list[float]:
    """The numbers of a text, as a learner reads them."""
    return [float(found.replace(",", "")) for found in re.findall(r"\d[\d,]*(?:\.\d+)?", text)]
