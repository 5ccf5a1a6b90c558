"""What is written down of an answer, and what the answers add up to: plain values, no disk."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from math import isfinite

from toolkit.errors import RecordError

# Far more than any question asks for; they keep a pasted text from filling the record and the file to hand in.
LONGEST_ANSWER = 100_000
DEEPEST_ANSWER = 20
LARGEST_WHOLE = 2**63 - 1
# What rounding may put a score above its maximum, or below nothing.
_ROUNDING = 1e-9


@dataclass(frozen=True)
class Attempt:
    """One graded answer.

    `answer` is any JSON value as the learner gave it; `score` out of `maximum`; `seconds` is the time taken.
    `item_hash` tells two versions of an item apart, `seed` makes the same numbers again.
    """

    learner: str
    course_version: str
    lesson: str
    item_key: str
    item_hash: str
    objective: str
    seed: int
    answer: object
    score: float
    maximum: float
    seconds: float


@dataclass(frozen=True)
class Recorded:
    """An attempt as it stands in the record: `id` is its place in the order of writing, `time` UTC in ISO 8601.

    `previous` is the hash of the same learner's attempt before it, `hash` its own (see `chain`).
    """

    id: int
    time: str
    attempt: Attempt
    previous: str = ""
    hash: str = ""


@dataclass(frozen=True)
class ItemStanding:
    """A learner's standing in one item: how often tried, best and last share of the marks (0 to 1)."""

    lesson: str
    item_key: str
    attempts: int
    best: float
    last: float
    first_time: str
    last_time: str


@dataclass(frozen=True)
class LessonStanding:
    """A learner's standing in one lesson.

    `best` and `last` are the means over the items tried of each item's best and last share of the marks, 0 to 1.
    """

    lesson: str
    items: int
    attempts: int
    best: float
    last: float
    first_time: str
    last_time: str


def checked(attempt: Attempt) -> Attempt:
    """The attempt as every file gives it back: text that UTF-8 can hold, floats, an answer as its JSON reads.

    Raises a RecordError that names the field where there is no such thing.
    """
    # Adding nothing turns the minus nought, which the database does not keep, into nought.
    score, maximum, seconds = (float(number) + 0.0 for number in (attempt.score, attempt.maximum, attempt.seconds))
    if not all(map(isfinite, (score, maximum, seconds))) or maximum <= 0.0:
        raise RecordError(
            f"score, maximum and seconds {(score, maximum, seconds)!r} were given, finite numbers and a maximum above "
            "0 were expected."
        )
    if not -_ROUNDING <= score / maximum <= 1.0 + _ROUNDING:
        raise RecordError(f"score {score!r} was given, a number from 0 to the maximum {maximum!r} was expected.")
    if abs(int(attempt.seed)) > LARGEST_WHOLE:
        raise RecordError("a seed of more than 18 digits was given, a smaller one was expected.")
    return Attempt(
        learner=clean_text(attempt.learner),
        course_version=clean_text(attempt.course_version),
        lesson=clean_text(attempt.lesson),
        item_key=clean_text(attempt.item_key),
        item_hash=clean_text(attempt.item_hash),
        objective=clean_text(attempt.objective),
        seed=int(attempt.seed),
        answer=json.loads(answer_text(attempt.answer)),
        score=score,
        maximum=maximum,
        seconds=seconds,
    )


def answer_text(answer: object) -> str:
    """An answer as JSON; RecordError where it cannot be written so, or is longer or deeper than any answer."""
    try:
        text = json.dumps(answer, allow_nan=False, sort_keys=True)
        # Once read back all keys are text, and in another order.
        kept = json.loads(text)
        text = json.dumps(kept, allow_nan=False, sort_keys=True)
    except (TypeError, ValueError, RecursionError) as error:
        raise RecordError(
            f"the answer cannot be written down: {error}. Give text, numbers or lists of them."
        ) from error
    if len(text) > LONGEST_ANSWER or _depth(kept) > DEEPEST_ANSWER:
        raise RecordError(
            f"the answer is too long: {len(text)} characters as JSON, at most {LONGEST_ANSWER}, and lists in each "
            f"other at most {DEEPEST_ANSWER} deep, were expected. Give a shorter one."
        )
    return text


def checked_time(time: str) -> str:
    """The time, if it is one in ISO 8601; else ValueError."""
    datetime.fromisoformat(time)
    return time


def clean_text(words: str) -> str:
    """Return the text with what no file can hold (half of a surrogate pair) replaced."""
    return words.encode("utf-8", "replace").decode("utf-8")


def standings(recorded: tuple[Recorded, ...]) -> tuple[ItemStanding, ...]:
    """Each item tried, in the order first met, with attempts, best and last share of the marks."""
    groups: dict[tuple[str, str], list[Recorded]] = {}
    for one in recorded:
        groups.setdefault((one.attempt.lesson, one.attempt.item_key), []).append(one)
    return tuple(
        ItemStanding(lesson, key, len(rows), max(map(_share, rows)), _share(rows[-1]), rows[0].time, rows[-1].time)
        for (lesson, key), rows in groups.items()
    )


def lesson_standings(recorded: tuple[Recorded, ...]) -> tuple[LessonStanding, ...]:
    """Each lesson tried, in the order of its number."""
    groups: dict[str, list[ItemStanding]] = {}
    for item in standings(recorded):
        groups.setdefault(item.lesson, []).append(item)
    last_of = {one.attempt.lesson: one.time for one in recorded}
    return tuple(
        LessonStanding(
            lesson,
            len(items),
            sum(item.attempts for item in items),
            sum(item.best for item in items) / len(items),
            sum(item.last for item in items) / len(items),
            items[0].first_time,
            last_of[lesson],
        )
        for lesson, items in sorted(groups.items())
    )


def _share(one: Recorded) -> float:
    return one.attempt.score / one.attempt.maximum


def _depth(value: object) -> int:
    """How many lists stand in each other; not by recursion, which has an end of its own."""
    depth, layer = 0, [value]
    while layer := [one for one in layer if isinstance(one, list | dict)]:
        depth += 1
        layer = [inner for one in layer for inner in (one.values() if isinstance(one, dict) else one)]
    return depth
