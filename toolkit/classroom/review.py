"""What a learner has mastered, what is due for review, and where to go on: worked out from the record, day by day.

Equal or growing gaps make what was learnt last about alike (Latimier and others 2021, source `latimier-2021`); the
course asks for a review after a day, a week and a month. A lesson is passed by all its items, the visit by whole cases.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

from toolkit.classroom.mastery import FIRST, stated, weak_pairs
from toolkit.classroom.record import Recorded
from toolkit.quiz.items import ABNORMAL, KNOWLEDGE

# A day of the record's clock, UTC.
Day = date
# A lesson counts as mastered from this mean share of the marks on, over all its items. Engineering judgement.
PASSED = 0.8
# What passes each section of a case: reacting to an abnormal operating condition is either right or not.
PASS_MARKS: Mapping[str, float] = {ABNORMAL: 1.0, KNOWLEDGE: PASSED}
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
        last[one.attempt.item_key] = since[one.attempt.item_key] = _share(one)
        if len(since) == len(items) and sum(since.values()) >= PASSED * len(items):
            passes, due = _passed(passes, due, day)
            since = {}
    seed, asked = _unfinished(mine, items)
    return Standing(lesson, len(items), len(last), sum(last.values()) / len(items), passes, due, seed, asked)


def case_standing(recorded: Sequence[Recorded], lesson: str, items: Sequence[str]) -> Standing:
    """How the attempts of one learner stand in a lesson of whole cases; `items` are the keys that every case has.

    `tried`, `items` and `share` are those of the last case, `passes` counts cases; none that was left is gone on with.
    While a pair of suspects is mixed up, the review is due GAPS[0] days after the last case at the latest: a schedule
    by passes alone would let it rest for a month.
    """
    mine = [one for one in recorded if one.attempt.lesson == lesson]
    days, passes, due = _days(mine), 0, None
    begins = [at for at, one in enumerate(mine) if one.attempt.item_key == FIRST]
    last: dict[str, float] = {}
    for begin, end in pairwise([*begins, len(mine)]):
        case = mine[begin:end]
        last = {one.attempt.item_key: _share(one) for one in case}
        # What was wrong is told by most of the points, whatever else earned marks.
        if _case_passed(last, items) and all(one.right for one in stated(case)):
            passes, due = _passed(passes, due, days[end - 1])
    if due is not None and weak_pairs(stated(mine)):
        due = min(due, _later(days[-1], GAPS[0]))
    asked = len({*items, *last})
    return Standing(lesson, asked, len(last), sum(last.values()) / asked, passes, due, None, 0)


def _case_passed(shares: Mapping[str, float], items: Sequence[str]) -> bool:
    """Whether a case of these shares of the marks is passed: none left out, what comes first right, the rest PASSED."""
    rest = [share for key, share in shares.items() if key != FIRST]
    enough = sum(rest) >= PASS_MARKS[KNOWLEDGE] * len(rest)
    return {*items} <= {*shares} and shares[FIRST] >= PASS_MARKS[ABNORMAL] and enough


def _share(one: Recorded) -> float:
    """The share of the marks that an answer earned."""
    return one.attempt.score / one.attempt.maximum


def _passed(passes: int, due: Day | None, day: Day) -> tuple[int, Day | None]:
    """Passes and the day of the next review, once all is passed on a day: before it is due that changes nothing."""
    if due is not None and day < due:
        return passes, due
    return passes + 1, _later(day, GAPS[min(passes, len(GAPS) - 1)])


def _later(day: Day, days: int) -> Day:
    return day + timedelta(days=min(days, (Day.max - day).days))


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


def go_on(recorded: Sequence[Recorded], standings: Mapping[str, Standing], today: Day) -> tuple[str, str]:
    """The lesson to take now and why: "begun", "due", "next", or "" when all is mastered and nothing is due.

    `standings` has each lesson in the order in which lessons are taken. A run that was left comes first, then what is
    due, then the first lesson that is not mastered.
    """
    last = standings.get(recorded[-1].attempt.lesson) if recorded else None
    if last is not None and last.seed is not None:
        return last.lesson, "begun"
    for why, found in (
        ("due", [lesson for lesson, one in standings.items() if one.is_due(today)]),
        ("next", [lesson for lesson, one in standings.items() if not one.mastered]),
    ):
        if found:
            return found[0], why
    return "", ""
