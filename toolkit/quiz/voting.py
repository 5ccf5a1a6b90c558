"""A question as a class votes on it: a few options, one of them right; and the cases that a whole class works on."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from toolkit.diagnosis.next_check import CHECKS
from toolkit.quiz.cases import ITEMS
from toolkit.quiz.cause import QUALIFIED, CauseQuestion
from toolkit.quiz.items import Item, offer
from toolkit.quiz.ordering import ChoiceQuestion
from toolkit.quiz.questions import NumericQuestion, Question, VisitQuestion
from toolkit.quiz.trouble_case import LEVELS, TroubleCase, draw_case, places
from toolkit.quiz.trouble_items import LESSON, OBJECTIVES, case_items
from toolkit.quiz.visit import MAKE_SAFE, NOTHING_SHOWN, STOP_CARD, advised_acts, named, walk
from toolkit.units import format_quantity

# With fewer there is nothing to talk about.
FEWEST_OPTIONS = 3
# Of a visit's many checks so many are voted on beside the advised one, none of them as good: what a minute of it tells
# is at most this share of what a minute of the best tells. An unsafe one is among them, so that it is talked about.
OTHER_CHECKS, CLEARLY_LESS = 3, 0.8
# The questions of a case that can be voted on, in the order in which it is worked.
CASE_ASKS: Mapping[str, str] = {key: OBJECTIVES[key] for key in ("first", "visit", "cause", "number", "layer")}
_ANY = "any station"
_CASE_KEY = re.compile(rf"({LESSON}\.\w+) level (\d) at (.+)")


@dataclass(frozen=True)
class Vote:
    """What is voted on: the options, the index of the right one, and what is said once it is revealed."""

    options: tuple[str, ...]
    right: int
    told: tuple[str, ...]
    explanation: str


def vote_of(question: Question) -> Vote | None:
    """A question's options: its own, its suspects, some of its checks, or the right number among its known slips.

    None where it has too few.
    """
    if isinstance(question, ChoiceQuestion):
        vote = Vote(question.options, question.right, question.told, question.explanation)
    elif isinstance(question, CauseQuestion):
        names = question.names()
        shares = tuple(f"The signs speak for it with {share:.0%}." for share in question.posterior)
        right = question.suspects.index(question.truth)
        vote = Vote(names, right, shares, f"It was: {names[right]}. {question.also}".strip())
    elif isinstance(question, VisitQuestion):
        vote = _first_check(question)
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


# A case for a whole class


def case_key(ask: str, level: int, place: str | None) -> str:
    """What names a question of a case (a key of CASE_ASKS) by level and place; with a seed it is the same anywhere."""
    return f"{LESSON}.{ask} level {level} at {place or _ANY}"


def case_of(key: str, seed: int) -> TroubleCase | None:
    """The case that a key of `case_key` and a seed name; None where the key is another's.

    Raises ScenarioError where no day of that level was found.
    """
    found = _CASE_KEY.fullmatch(key)
    if not found or int(found[2]) not in LEVELS or found[3] not in (_ANY, *places()):
        return None
    return draw_case(seed, int(found[2]), None if found[3] == _ANY else found[3])


def item_of(key: str, seed: int) -> Item | None:
    """The item of a key: a lesson's, or a case's; None where this course does not know it."""
    case = case_of(key, seed)
    if case is None:
        return next((one for one in ITEMS if one.key == key), None)
    return next((one for one in case_items(case) if key.startswith(f"{one.key} ")), None)


def _first_check(question: VisitQuestion) -> Vote:
    """Which check comes first: the advised one among others, an unsafe one, and mostly to have it made safe."""
    best = advised_acts(question)[0] if advised_acts(question) else MAKE_SAFE
    allowed = [key for key in question.checks if not CHECKS[key].forbidden and key != best]
    credit = {key: walk(question, (key,)).steps[0].credit for key in allowed}
    less = sorted((key for key in allowed if credit[key] <= CLEARLY_LESS), key=lambda key: (-credit[key], key))
    # From nearly as good to hardly worth the walk.
    spread = [less[place * (len(less) - 1) // max(1, OTHER_CHECKS - 1)] for place in range(OTHER_CHECKS) if less]
    unsafe = [key for key in question.checks if CHECKS[key].forbidden][:1]
    # Where to make safe first is as good as the best check, it is no wrong answer and cannot be voted on beside it.
    safe = [MAKE_SAFE] if walk(question, (MAKE_SAFE,)).steps[0].credit <= CLEARLY_LESS else []
    acts = sorted({best, *spread, *unsafe, *safe}, key=lambda act: _name(question, act))
    explanation = f"First comes: {_name(question, best)}. {QUALIFIED}"
    return Vote(
        tuple(_name(question, act) for act in acts),
        acts.index(best),
        tuple(_told(question, act) for act in acts),
        explanation,
    )


def _name(question: VisitQuestion, act: str) -> str:
    name = named(act, question.place)
    return name[0].upper() + name[1:]


def _told(question: VisitQuestion, act: str) -> str:
    """What a check that is made first would show, and what its minutes are worth beside those of the best."""
    done = walk(question, (act,))
    step = done.steps[0]
    if done.stopped:
        return f"{done.stopped} {STOP_CARD}"
    if act == MAKE_SAFE:
        none_yet = "In doubt, to stop is never unsafe. Here no stop condition is met so far."
        return "A stop condition holds: that comes before any search." if step.credit else none_yet
    shown = "; ".join(f"{name}: {value}" for name, value in step.showed) or NOTHING_SHOWN
    worth = (
        "tells most for its time" if step.credit == 1.0 else f"tells {step.credit:.0%} of what the best tells a minute"
    )
    minutes = "1 minute" if step.minutes == 1.0 else f"{step.minutes:g} minutes"
    return f"It takes {minutes} and {worth}. It shows {shown}."
