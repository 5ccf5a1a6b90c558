"""What a class handed in, brought together: people with their answers, and the files that could not be taken, and why.

Pure on bytes: the files are read elsewhere, and nothing in them is thrown away or changed. A name in a file is never
more than a text to show.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from typing import Literal, NamedTuple

from toolkit.classroom.attempts import Recorded
from toolkit.classroom.chain import Verdict
from toolkit.classroom.hand_in import WHAT, HandIn, unpacked, verdict
from toolkit.classroom.session import folded
from toolkit.errors import RecordError

Kind = Literal["foreign", "damaged", "twice", "empty"]
KINDS: dict[Kind, str] = {
    "foreign": "something else than a file made by Hand in",
    "damaged": "made by Hand in, and cannot be read any more",
    "twice": "all its answers are in another file of the same learner",
    "empty": "made by Hand in, before anything was answered",
}
# How far into a file its mark is looked for, bytes.
_MARKED = 2_000
# Two people's answers of one moment, to the thousandth of a second, do not come about by chance this often.
_ALIKE = 2
NO_NAME = "(no name)"
# More than any name that a person signs with.
LONGEST_SHOWN = 80


@dataclass(frozen=True)
class Left:
    """A file that nothing was taken from: its name, why in one of KINDS, and the reason in words."""

    file: str
    kind: Kind
    why: str


@dataclass(frozen=True)
class Person:
    """One learner with the answers of all files under the name, in the order of their time.

    `files` were taken, `holds` says whether the chain of each holds, `chain` what was found of each, in words.
    """

    name: str
    files: tuple[str, ...]
    course_versions: tuple[str, ...]
    attempts: tuple[Recorded, ...]
    holds: bool
    chain: tuple[str, ...]

    @property
    def shown(self) -> str:
        """The name as it can be shown: without signs that control how text runs, not too long, never empty."""
        return shown_name(self.name)


@dataclass(frozen=True)
class Gathered:
    """People in the order of their names, files left, and what the instructor should look into."""

    people: tuple[Person, ...]
    left: tuple[Left, ...]
    notes: tuple[str, ...]


class _Taken(NamedTuple):
    """A file that was read: its name, whose it is, what is in it, what the chain says, its answers without whose."""

    file: str
    name: str
    handed: HandIn
    verdict: Verdict
    rows: frozenset[Hashable]


def gather(files: Iterable[tuple[str, bytes]], whose: Mapping[str, str] | None = None) -> Gathered:
    """Bring together files, each a name to show and its bytes. Never fails: what cannot be read is in `left`.

    `whose` is the name that the learner of a file is known by, where that is not for the file to say.
    """
    known = whose or {}
    taken: dict[str, list[_Taken]] = {}
    left: list[Left] = []
    for path, data in files:
        file = clean_name(path)
        try:
            handed = unpacked(data, file)
        except RecordError as error:
            left.append(Left(file, "damaged" if WHAT.encode() in data[:_MARKED] else "foreign", str(error)))
            continue
        name = known.get(path, handed.learner)
        if not handed.attempts:
            left.append(Left(file, "empty", f"{shown_name(name)}: {KINDS['empty']}"))
        else:
            rows = frozenset(map(_what_was_done, handed.attempts))
            # Who gave no name is nobody else who gave none.
            who = folded(name) if shown_name(name) != NO_NAME else file
            taken.setdefault(who, []).append(_Taken(file, name, handed, verdict(handed), rows))
    people, notes = [], []
    for group in taken.values():
        kept, twice = _without_copies(group)
        left += twice
        people.append(_person(kept))
        notes += _strangers(kept)
    people.sort(key=_place)
    return Gathered(tuple(people), tuple(sorted(left, key=lambda one: one.file)), (*notes, *_alike(people)))


def _place(person: Person) -> tuple[str, str]:
    """Where a person stands in a list: by name, "bench 2" before "bench 10"."""
    return re.sub(r"\d+", lambda digits: digits[0].rjust(6, "0"), folded(person.name)), person.name


def clean_name(name: str) -> str:
    """A name without signs that are not seen but change what is (controls, turns of direction); never empty."""
    return " ".join("".join(sign if sign.isprintable() else " " for sign in name).split()) or NO_NAME


def shown_name(name: str) -> str:
    """A clean name, cut where it would fill the page."""
    clean = clean_name(name)
    return clean if len(clean) <= LONGEST_SHOWN else f"{clean[:LONGEST_SHOWN]}..."


def moment(time: str) -> datetime:
    """A time of the record as a moment; one without a zone is UTC."""
    found = datetime.fromisoformat(time)
    return found if found.tzinfo else found.replace(tzinfo=UTC)


def share(one: Recorded) -> float:
    """Share of the marks of an answer, 0 to 1."""
    return min(1.0, max(0.0, one.attempt.score / one.attempt.maximum))


def _what_was_done(one: Recorded) -> Hashable:
    """An answer without whose it is and where it stands: two records of the same deed are alike in it."""
    attempt = one.attempt
    answer = json.dumps(attempt.answer, sort_keys=True)
    return one.time, attempt.item_key, attempt.item_hash, attempt.seed, answer, attempt.score, attempt.seconds


def _without_copies(group: Sequence[_Taken]) -> tuple[list[_Taken], list[Left]]:
    """The files of a learner that have something of their own, and those whose rows are all in another one."""
    # The fullest first; of two that are alike the one whose chain holds, so that a spoiled copy does no harm.
    ranked = sorted(group, key=lambda one: (-len(one.rows), not one.verdict.holds, one.file))
    kept: list[_Taken] = []
    twice = []
    for one in ranked:
        whole = next((other for other in kept if one.rows <= other.rows), None)
        if whole is None:
            kept.append(one)
        else:
            who = shown_name(one.name)
            twice.append(Left(one.file, "twice", f"{who}: every answer in it is in {whole.file} too"))
    return sorted(kept, key=lambda one: one.file), twice


def _person(kept: Sequence[_Taken]) -> Person:
    rows: dict[Hashable, Recorded] = {}
    for taken in kept:
        for one in taken.handed.attempts:
            rows.setdefault(_what_was_done(one), one)
    latest = max(kept, key=lambda one: (moment(one.handed.made), one.file))
    return Person(
        latest.name,
        tuple(one.file for one in kept),
        tuple(sorted({one.attempt.course_version for one in rows.values()})),
        tuple(sorted(rows.values(), key=lambda one: (moment(one.time), one.id))),
        all(one.verdict.holds for one in kept),
        tuple(one.verdict.words for one in kept),
    )


def _strangers(kept: Sequence[_Taken]) -> list[str]:
    """Whether a file under a name shares nothing with the others: two machines, or two people."""
    met = Counter(row for one in kept for row in one.rows)
    alone = [one.file for one in kept if all(met[row] == 1 for row in one.rows)]
    if len(kept) < 2 or not alone:
        return []
    return [
        f"Under the name {shown_name(kept[0].name)} there are {len(kept)} files, of which these share no "
        f"answer with any other: {', '.join(alone[:5])}. One learner at two machines, or two of one name? They are "
        "counted as one. Ask."
    ]


def _alike(people: Sequence[Person]) -> list[str]:
    """People whose answers were given at the same moments: one record under two names."""
    whose: dict[Hashable, list[int]] = {}
    for place, person in enumerate(people):
        for one in person.attempts:
            whose.setdefault(_what_was_done(one), []).append(place)
    shared = Counter(pair for places in whose.values() for pair in pairwise(places))
    return [
        f"{number} answers of {people[one].shown} and {people[other].shown} are the same to the thousandth of a "
        "second: one record stands under two names. Ask."
        for (one, other), number in shared.items()
        if number >= _ALIKE
    ]
