"""A question as a class votes on it: a few options, one of them right."""

from __future__ import annotations

from dataclasses import dataclass

from toolkit.quiz.items import Item, offer
from toolkit.quiz.ordering import ChoiceQuestion
from toolkit.quiz.questions import NumericQuestion, Question, SuspectsQuestion
from toolkit.units import format_quantity

# With fewer there is nothing to talk about.
FEWEST_OPTIONS = 3


@dataclass(frozen=True)
class Vote:
    """What is voted on: the options, the index of the right one, and what is said once it is revealed."""

    options: tuple[str, ...]
    right: int
    told: tuple[str, ...]
    explanation: str


def vote_of(question: Question) -> Vote | None:
    """A question's options: its own, its suspects, or the right number among its known slips; None where it has few."""
    if isinstance(question, ChoiceQuestion):
        vote = Vote(question.options, question.right, question.told, question.explanation)
    elif isinstance(question, SuspectsQuestion):
        names = question.names()
        shares = tuple(f"The readings speak for it with {share:.0%}." for share in question.posterior)
        right = question.suspects.index(question.truth)
        vote = Vote(names, right, shares, f"What was in fact built in: {names[right]}.")
    elif isinstance(question, NumericQuestion):
        slips = [(one.value, f"{one.name}: {one.why}") for one in question.slips]
        found = sorted([(question.truth, "This is it."), *slips])
        words = tuple(format_quantity(value, question.kind, question.units) for value, _ in found)
        right = [value for value, _ in found].index(question.truth)
        vote = Vote(words, right, tuple(told for _, told in found), question.worked)
    else:
        return None
    return vote if len(set(vote.options)) == len(vote.options) >= FEWEST_OPTIONS else None


def can_be_voted_on(item: Item, seed: int = 1) -> bool:
    """Whether an item has options to vote on."""
    return vote_of(offer(item, seed)) is not None
