"""What of the answers handed in counts, and what it adds up to, for each person.

The first answer to a question counts, since the course explains each answer and gives the same question again on
demand. With a session: those to its questions, in its numbers, on its days. Everything else is told, and not counted.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256

from toolkit.classroom.attempts import Recorded
from toolkit.classroom.gather import Person, share
from toolkit.classroom.session import Session
from toolkit.classroom.statistics import RIGHT, Mark
from toolkit.quiz.cases import ITEMS, section_of
from toolkit.quiz.items import SECTIONS

# More questions than the course has; a file that names more would keep the item analysis busy for hours.
MOST_QUESTIONS = 500
TOO_MANY = "too many questions"
OTHER_LESSON, OTHER_DAY, OTHER_SEED, AGAIN = "another lesson", "another day", "other numbers", "answered again"


@dataclass(frozen=True)
class Counted:
    """A question that a person answered: the first answer, how often it was answered, the last share of the marks."""

    first: Recorded
    section: str
    tries: int
    last: float

    @property
    def share(self) -> float:
        """Share of the marks that counts, 0 to 1."""
        return share(self.first)


@dataclass(frozen=True)
class Missing:
    """A question of the session that a person has not answered."""

    lesson: str
    item_key: str
    objective: str
    section: str


@dataclass(frozen=True)
class SectionScore:
    """A section's marks: questions `asked` and `answered`, the mean `share` over those asked, the share wanted.

    A question not answered counts nothing. Without a session only what was answered is asked, and `wanted` is None.
    """

    section: str
    asked: int
    answered: int
    share: float
    wanted: float | None

    @property
    def reached(self) -> bool | None:
        """Whether it is enough; None where nothing was said of that."""
        # a mean of 0.8, 0.8 and 0.8 is a hair below 0.8
        return None if self.wanted is None else self.share >= self.wanted - 1e-9


@dataclass(frozen=True)
class Result:
    """A person's result: what counts, what is missing, the sections, and how many answers were left out, and why."""

    person: Person
    counted: tuple[Counted, ...]
    missing: tuple[Missing, ...]
    sections: tuple[SectionScore, ...]
    left_out: tuple[tuple[str, int], ...]

    @property
    def seeds(self) -> tuple[int, ...]:
        """The seeds of the questions counted."""
        return tuple(sorted({one.first.attempt.seed for one in self.counted}))

    @property
    def bank_hash(self) -> str:
        """SHA-256 over key and hash of each question counted, in the order of the keys: what exactly was asked."""
        lines = sorted(f"{one.first.attempt.item_key} {one.first.attempt.item_hash}\n" for one in self.counted)
        return sha256("".join(lines).encode("utf-8", "replace")).hexdigest()

    @property
    def to_review(self) -> tuple[Counted | Missing, ...]:
        """Questions whose last answer earned less than RIGHT of its marks, then those not answered, by lesson."""
        weak = [one for one in self.counted if one.last < RIGHT]
        return tuple(sorted([*weak, *self.missing], key=_lesson_of))


def result(person: Person, session: Session | None) -> Result:
    """What of a person's answers counts."""
    asked = {} if session is None else {item.key: item for item in session.items}
    seed = None if session is None else session.seed_of(person.name)
    left: Counter[str] = Counter()
    groups: dict[str, list[Recorded]] = {}
    for one in person.attempts:
        key = one.attempt.item_key
        if session is not None:
            if key not in asked:
                left[OTHER_LESSON] += 1
                continue
            if not session.holds_at(one.time):
                left[OTHER_DAY] += 1
                continue
            if seed is not None and one.attempt.seed != seed:
                left[OTHER_SEED] += 1
                continue
        elif key not in groups and len(groups) >= MOST_QUESTIONS:
            left[TOO_MANY] += 1
            continue
        if key in groups:
            left[AGAIN] += 1
        groups.setdefault(key, []).append(one)
    order = {item.key: place for place, item in enumerate(ITEMS)}
    counted = tuple(
        Counted(rows[0], section_of(key), len(rows), share(rows[-1]))
        for key, rows in sorted(groups.items(), key=lambda group: (order.get(group[0], len(order)), group[0]))
    )
    missing = tuple(
        Missing(item.lesson, item.key, item.objective, item.section) for key, item in asked.items() if key not in groups
    )
    return Result(person, counted, missing, _sections(counted, missing, session), tuple(left.items()))


def marks(results: Sequence[Result], *, exact: bool) -> list[Mark]:
    """The counted answers for item analysis; questions told apart by item hash where `exact`, else by item key."""
    return [
        Mark(
            number,
            (one.first.attempt.item_key, one.first.attempt.item_hash) if exact else one.first.attempt.item_key,
            one.share,
        )
        for number, found in enumerate(results)
        for one in found.counted
    ]


def _sections(
    counted: Sequence[Counted], missing: Sequence[Missing], session: Session | None
) -> tuple[SectionScore, ...]:
    scores = []
    for section in SECTIONS:
        mine = [one.share for one in counted if one.section == section]
        asked = len(mine) + sum(one.section == section for one in missing)
        if asked:
            wanted = None if session is None else session.pass_marks[section]
            scores.append(SectionScore(section, asked, len(mine), sum(mine) / asked, wanted))
    return tuple(scores)


def _lesson_of(one: Counted | Missing) -> str:
    return one.lesson if isinstance(one, Missing) else one.first.attempt.lesson
