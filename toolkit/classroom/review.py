"""What a learner has mastered, what is due for review, and where to go on: worked out from the record, day by day.

Equal or growing gaps make what was learnt last about alike (Latimier and others 2021, source `latimier-2021`); the
course asks for a review after a day, a week and a month.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from toolkit.classroom.record import Recorded

# A day of the record's clock, UTC.
Day = date
# A lesson counts as mastered from this mean share of the marks on, over all its items. Engineering judgement.
PASSED = 0.8
# From one review to the next, days; the last one goes on being used.
GAPS = (1, 7, 30)


@dataclass(frozen=True)
class Standing:
    """How a learner stands in a lesson.

    `tried` of its `items`; `share` the mean over all items of the last share of the marks (an item not tried counts
    nothing), 0 to 1; `passes` how often all items were answered with PASSED or more, each at its time; `due` the day of
    the next review, None before the first pass; `seed` and `asked` are those of an unfinished run through the items.
    """

    lesson: str
    items: int
    tried: int
    share: float
    passes: int
    due: Day | None
    seed: int | None
    asked: int

    @property
    def mastered(self) -> bool:
        """Whether it was passed at least once."""
        return self.passes > 0

    def is_due(self, today: Day) -> bool:
        """Whether a review is due."""
        return self.due is not None and today >= self.due


def standing(recorded: Sequence[Recorded], lesson: str, items: Sequence[str]) -> Standing:
    """How the attempts of one learner stand in a lesson with these item keys, in the order in which they are asked."""
    mine = [one for one in recorded if one.attempt.lesson == lesson and one.attempt.item_key in items]
    last: dict[str, float] = {}
    since: dict[str, float] = {}  # the answers since the last pass
    passes, due = 0, None
    for one, day in zip(mine, _days(mine), strict=True):
        share = one.attempt.score / one.attempt.maximum
        last[one.attempt.item_key] = since[one.attempt.item_key] = share
        if len(since) == len(items) and sum(since.values()) >= PASSED * len(items):
            if due is None or day >= due:
                due = day + timedelta(days=min(GAPS[min(passes, len(GAPS) - 1)], (Day.max - day).days))
                passes += 1
            since = {}
    seed, asked = _unfinished(mine, items)
    return Standing(lesson, len(items), len(last), sum(last.values()) / len(items), passes, due, seed, asked)


def _days(mine: Sequence[Recorded]) -> list[Day]:
    """The day of each attempt, none later than one written after it.

    A clock that ran far ahead for a while would else put the next review off for as long.
    """
    days: list[Day] = []
    for one in reversed(mine):
        day = date.fromisoformat(one.time[:10])
        days.append(min(day, days[-1]) if days else day)
    return days[::-1]


def _unfinished(mine: Sequence[Recorded], items: Sequence[str]) -> tuple[int | None, int]:
    """The seed of the last run if its last item was not reached, and how many of its items were."""
    if not mine:
        return None, 0
    seed, place = mine[-1].attempt.seed, list(items).index(mine[-1].attempt.item_key)
    return (None, 0) if place == len(items) - 1 else (seed, place + 1)


def go_on(recorded: Sequence[Recorded], lessons: Mapping[str, Sequence[str]], today: Day) -> tuple[str, str]:
    """The lesson to take now and why: "begun", "due", "next", or "" when all is mastered and nothing is due.

    `lessons` gives the item keys of each lesson in the order in which lessons are taken. A run that was left comes
    first, then what is due, then the first lesson that is not mastered.
    """
    stand = {lesson: standing(recorded, lesson, items) for lesson, items in lessons.items()}
    if recorded and recorded[-1].attempt.lesson in stand and stand[recorded[-1].attempt.lesson].seed is not None:
        return recorded[-1].attempt.lesson, "begun"
    for why, found in (
        ("due", [lesson for lesson, one in stand.items() if one.is_due(today)]),
        ("next", [lesson for lesson, one in stand.items() if not one.mastered]),
    ):
        if found:
            return found[0], why
    return "", ""
