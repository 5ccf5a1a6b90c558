"""The chain over the record's rows: each carries a hash over its own fields and the hash of the row before it.

The row before is the same learner's, so that one learner's rows, handed in alone, can be checked without those of
others who use the machine. What holds the learners' chains together in one file is the number of each row: it is under
the hash, and numbers run on without a gap, so that a row, or all rows of a learner, cannot be taken out without a
trace.

The hash is SHA-256 over the fields as JSON, floats in the shortest form that reads back as the same number.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from itertools import pairwise

from toolkit.classroom.attempts import Recorded

START = "0" * 64
CHAINED, SALVAGED, RESTORED = "chained later", "salvaged", "restored"
PROVES = (
    "What shows: that an answer was changed, taken out or put in after it was written, for it does not fit the chain. "
    "What does not show: that somebody wrote the whole file anew with a chain of its own, cut off its end "
    "before handing it in, or answered in another's name."
)

Range = tuple[int, int]


@dataclass(frozen=True)
class Event:
    """What happened to the record as a whole, in a chain of its own.

    `kind` is CHAINED (rows up to `last` were written by an older version and chained at this time), SALVAGED (rows up
    to `last` were read out of a damaged file; those of the ranges `lost`, ends included, could not be) or RESTORED (the
    record was put back from a backup that went up to `last`).
    """

    id: int
    time: str
    kind: str
    last: int
    lost: tuple[Range, ...] = ()
    previous: str = ""
    hash: str = ""


@dataclass(frozen=True)
class Verdict:
    """What checking the chain found.

    `rows` were looked at; `unfit` are the numbers of those that do not fit; `lost` are the ranges that a salvage told
    as lost; rows up to `chained_later` were chained after they were written; before each row of `set_back` the clock
    had been set back; `restored` are the times when a backup was put back; `spoiled` tells what fits as little, but is
    no row.
    """

    rows: int
    unfit: tuple[int, ...] = ()
    lost: tuple[Range, ...] = ()
    chained_later: int = 0
    set_back: tuple[int, ...] = ()
    restored: tuple[str, ...] = ()
    spoiled: str = ""

    @property
    def holds(self) -> bool:
        """Whether everything fits."""
        return not self.unfit and not self.spoiled

    @property
    def first_unfit(self) -> int | None:
        """The number of the first row that does not fit."""
        return self.unfit[0] if self.unfit else None

    @property
    def words(self) -> str:
        """What was found, in sentences; PROVES says what that is worth."""
        said = [f"The chain holds over {counted(self.rows, 'answer')}."] if self.holds else []
        if self.unfit:
            others = f" Of {counted(self.rows, 'answer')} {len(self.unfit)} do not fit." if len(self.unfit) > 1 else ""
            said.append(
                f"Answer {self.unfit[0]} does not fit the chain: it, or what stood before it, was changed, "
                f"taken out or put in after it was written.{others}"
            )
        if self.spoiled:
            said.append(self.spoiled)
        if self.lost:
            ranges = ", ".join(f"{a}" if a == b else f"{a} to {b}" for a, b in self.lost[:10])
            more = " and others" if len(self.lost) > 10 else ""
            said.append(f"Lost when a damaged file was read out: answer {ranges}{more}.")
        if self.chained_later:
            said.append(
                f"Answers up to {self.chained_later} were written by an older version of the course and chained later: "
                "of the time before that the chain says nothing."
            )
        said += [f"An earlier copy was put back at {time}." for time in self.restored]
        if self.set_back:
            said.append(
                f"The machine's clock had been set back before answer {', '.join(map(str, self.set_back[:5]))}"
                f"{' and others' if len(self.set_back) > 5 else ''}: they stand in the order of writing, their "
                "times do not."
            )
        return " ".join(said)


def linked(one: Recorded, previous: str) -> Recorded:
    """The row with its place in the chain."""
    answer = one.attempt
    fields = (
        *("attempt", one.id, one.time, answer.learner, answer.course_version, answer.lesson, answer.item_key),
        *(answer.item_hash, answer.objective, answer.seed, answer.answer),
        *(answer.score, answer.maximum, answer.seconds),
    )
    return replace(one, previous=previous, hash=link(previous, fields))


def linked_event(one: Event, previous: str) -> Event:
    """The event with its place in the chain."""
    fields = ("event", one.id, one.time, one.kind, one.last, one.lost)
    return replace(one, previous=previous, hash=link(previous, fields))


def link(previous: str, fields: Sequence[object]) -> str:
    """The hash over what stood before and these fields."""
    text = json.dumps([previous, *fields], allow_nan=False, sort_keys=True, separators=(",", ":"))
    return sha256(text.encode("ascii")).hexdigest()


def chained(rows: Iterable[Recorded]) -> tuple[Recorded, ...]:
    """The rows with a chain for each learner, laid over them anew."""
    heads: dict[str, str] = {}
    done = []
    for one in rows:
        row = linked(one, heads.get(one.attempt.learner, START))
        heads[one.attempt.learner] = row.hash
        done.append(row)
    return tuple(done)


def verdict(rows: Sequence[Recorded], events: Sequence[Event], *, whole: bool) -> Verdict:
    """Check rows and events in their order; `whole` if these are all rows of a file, not those of one learner."""
    lost = tuple(ends for event in events for ends in event.lost)
    later = max((event.last for event in events if event.kind == CHAINED), default=0)
    heads: dict[str, tuple[int, str]] = {}
    unfit, before = [], 0
    for one in rows:
        who = one.attempt.learner
        id_, head = heads.get(who, (0, START))
        fits = one == linked(one, one.previous) and one.id > before
        # A gap that a salvage told of may have held the row that this one names as the one before.
        fits = fits and (one.previous == head or bool(_covered(lost, id_ + 1, one.id - 1)))
        if whole and one.id > later:
            gone = one.id - 1 - max(before, later)
            fits = fits and (gone <= 0 or _covered(lost, max(before, later) + 1, one.id - 1) == gone)
        if not fits:
            unfit.append(one.id)
        before, heads[who] = one.id, (one.id, one.hash)
    return Verdict(
        len(rows),
        tuple(unfit),
        lost,
        later,
        tuple(two.id for one, two in pairwise(rows) if two.time < one.time),
        tuple(event.time for event in events if event.kind == RESTORED),
        "" if _events_fit(events) else "What is told of the record's own history was changed.",
    )


def _events_fit(events: Sequence[Event]) -> bool:
    head = START
    for number, event in enumerate(events, 1):
        if event != linked_event(event, head) or event.id != number:
            return False
        head = event.hash
    return True


def _covered(lost: Sequence[Range], first: int, last: int) -> int:
    """How many of the numbers from first to last are told as lost."""
    return sum(max(0, min(last, b) - max(first, a) + 1) for a, b in lost)


def counted(number: int, what: str) -> str:
    """A number of things in words: "1 row", "2 rows"."""
    return f"{number} {what}" if number == 1 else f"{number} {what}s"
