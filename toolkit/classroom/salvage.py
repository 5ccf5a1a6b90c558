"""The record kept twice, put back, and read out of a damaged file. No call changes or removes what it reads from."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable
from contextlib import closing, suppress
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise
from pathlib import Path

from toolkit.classroom.attempts import Recorded
from toolkit.classroom.chain import (
    CHAINED,
    RESTORED,
    SALVAGED,
    START,
    Event,
    Range,
    Verdict,
    chained,
    counted,
    linked,
    linked_event,
    verdict,
)
from toolkit.classroom.pages import MAGIC, Value, rows
from toolkit.classroom.store import (
    APPLICATION_ID,
    SCHEMA_VERSION,
    Contents,
    HeldError,
    Preference,
    as_event,
    as_recorded,
    in_plain_words,
    make_private,
    read_all,
    reading,
    whole,
    write_all,
    writing,
)
from toolkit.errors import RecordError

# Columns of an attempt: now, and in the older form without its chain.
_COLUMNS, _OLDER_COLUMNS = 15, 13
_EVENT_COLUMNS, _PREFERENCE_COLUMNS, _SEQUENCE_COLUMNS = 7, 4, 2
# No attempt takes less of a file: a number beyond file size over this comes from damage.
_LEAST_BYTES = 60

Clock = Callable[[], str]


@dataclass(frozen=True)
class Done:
    """What a backup, a restore or a salvage came to.

    `path` is the file now in place, `kept` where the one before it lies (None if there was none), `attempts` how many
    it holds.
    """

    path: Path
    kept: Path | None
    attempts: int
    verdict: Verdict


def back_up(record: Path, target: Path, now: Clock, *, over: bool = False) -> Done:
    """Copy a sound record to `target`, while others may be writing it, and check the copy.

    With `over` a file that stands at `target` is kept beside it under another name; without, it is refused.
    """
    _apart(record, target)
    _contents(begun(record, "back up"), now)  # what is damaged is told before anything is moved
    kept = None
    with in_plain_words(target):
        if target.exists():
            if not over:
                raise RecordError(f"{target} is there already. Name another file, or say --replace: it is then kept.")
            kept = _free_name(target, "before", now())
        part = _free_name(target, "unfinished", now())
        try:
            _copy(record, part, target)
            contents = _contents(part, now)
            if kept:
                target.rename(kept)
            part.rename(target)
        except BaseException:
            part.unlink(missing_ok=True)
            raise
    return Done(target, kept, len(contents.attempts), _verdict(contents))


def restore(source: Path, record: Path, now: Clock, *, over: bool = False) -> Done:
    """Put what `source` holds into the record's place, in one piece or not at all.

    With `over` what the record holds now is kept beside it under another name; without, a record with anything in it is
    refused.
    """
    _apart(source, record)
    with in_plain_words(source):
        _plain_file(source)
        with source.open("rb") as file:
            if file.read(len(MAGIC)) not in (b"", MAGIC):
                raise RecordError(f"{source} is not a record. Name a file that `course backup` wrote.")
    contents = _contents(source, now)
    kept = None
    try:
        with in_plain_words(record):
            there = record.is_dir() or (record.exists() and record.stat().st_size > 0)
        held, damaged = _contents(record, now) if there else Contents(), False
    except HeldError:
        raise
    except RecordError:
        held, damaged = Contents(), True
    if (held != Contents() or damaged) and not over:
        what = "damaged or of another kind" if damaged else f"with {counted(len(held.attempts), 'answer')} in it"
        raise RecordError(
            f"{record} is there already, {what}. Say --replace to put {source} in its place: "
            "what is there now is then kept beside it."
        )
    if damaged:
        kept = _free_name(record, "before", now())
        with in_plain_words(record):
            record.rename(kept)
    try:
        with writing(record, now):
            pass  # an older form is brought up by itself, before the copy
        with writing(record, now) as connection:
            if held != Contents():
                # Nobody else can write between this copy and the change: this connection holds the lock.
                kept = _free_name(record, "before", now())
                _copy(record, kept, kept)
            write_all(connection, _with_event(contents, Event(0, now(), RESTORED, contents.last)))
    except BaseException:
        if damaged and kept:
            record.unlink(missing_ok=True)
            kept.rename(record)
        raise
    after = _contents(record, now)
    return Done(record, kept, len(after.attempts), _verdict(after))


def salvage(source: Path, target: Path, now: Clock) -> Done:
    """Read every row that can still be read out of a damaged file into a new record at `target`.

    Rows that cannot be read are told as lost in the new record; a row that no longer fits its chain is taken over as it
    stands and goes on not fitting.
    """
    _apart(source, target)
    with in_plain_words(target):
        if target.exists():
            raise RecordError(f"{target} is there already. Name another file for what is read out.")
    contents = salvaged(_bytes(source), source, now)
    try:
        with writing(target, now) as connection:
            write_all(connection, contents)
    except BaseException:
        target.unlink(missing_ok=True)
        raise
    return Done(target, None, len(contents.attempts), _verdict(contents))


def is_record(data: bytes) -> bool:
    """Whether the bytes of a file begin as a record's do, damaged further on or not."""
    return data.startswith(MAGIC) and int.from_bytes(data[68:72], "big") == APPLICATION_ID


def salvaged(data: bytes, source: Path, now: Clock) -> Contents:
    """What can be read out of the bytes of a file, with what is missing told as lost."""
    found, older, events, preferences, last = _sorted_out(data)
    attempts = tuple(found[id_] for id_ in sorted(found)) or chained(older[id_] for id_ in sorted(older))
    if not attempts:
        form = int.from_bytes(data[60:64], "big") if is_record(data) else 0
        if form > SCHEMA_VERSION:
            raise RecordError(
                f"{source} was written by a newer version of the course (form {form}), this one knows form "
                f"{SCHEMA_VERSION}. Read it out with the newer version."
            )
        raise RecordError(
            f"Not one answer could be read out of {source}. It is left as it is, and nothing was written."
        )
    last = max(last, attempts[-1].id)
    told = [events[id_] for id_ in sorted(events)]
    if not found:
        told = [Event(0, now(), CHAINED, last)]
    contents = Contents(attempts, _relinked(told), tuple(preferences[id_] for id_ in sorted(preferences)), last)
    known = [ends for event in told for ends in event.lost]
    lost = tuple(ends for ends in _gaps([one.id for one in attempts], last) if ends not in known)
    return _with_event(contents, Event(0, now(), SALVAGED, last, lost))


def _sorted_out(
    data: bytes,
) -> tuple[dict[int, Recorded], dict[int, Recorded], dict[int, Event], dict[int, Preference], int]:
    """The rows of a file by what they are: attempts, attempts of the older form, events, preferences, last number."""
    found: dict[int, Recorded] = {}
    older: dict[int, Recorded] = {}
    events: dict[int, Event] = {}
    preferences: dict[int, Preference] = {}
    last, largest = 0, len(data) // _LEAST_BYTES
    for rowid, values in rows(data):
        row = (rowid, *values[1:])
        with suppress(ValueError):
            if len(row) == _COLUMNS:
                one = as_recorded(row)
                fits = one == linked(one, one.previous)
                if fits or (1 <= rowid <= largest and rowid not in found):
                    found[rowid] = one
            elif len(row) == _OLDER_COLUMNS:
                one = as_recorded((*row, "", ""))
                if 1 <= rowid <= largest:
                    older[rowid] = one
            elif len(row) == _EVENT_COLUMNS:
                events[rowid] = as_event(row)
            elif len(row) == _PREFERENCE_COLUMNS:
                preferences[rowid] = _preference(row)
            elif len(values) == _SEQUENCE_COLUMNS and values[0] == "attempt" and isinstance(values[1], int):
                last = values[1] if 0 <= values[1] <= largest else last
    return found, older, events, preferences, last


def _preference(row: tuple[Value, ...]) -> Preference:
    id_, time, name, value = row
    if not (isinstance(id_, int) and isinstance(time, str) and isinstance(name, str) and isinstance(value, str)):
        raise ValueError("not a preference")
    return id_, time, name, value


def _relinked(events: list[Event]) -> tuple[Event, ...]:
    """The events as they stand if none is lost, else with numbers and chain anew."""
    if [event.id for event in events] == list(range(1, len(events) + 1)) and all(event.hash for event in events):
        return tuple(events)
    done: list[Event] = []
    for number, event in enumerate(events, 1):
        done.append(linked_event(replace(event, id=number), done[-1].hash if done else START))
    return tuple(done)


def _with_event(contents: Contents, event: Event) -> Contents:
    before = contents.events[-1].hash if contents.events else START
    new = linked_event(replace(event, id=len(contents.events) + 1), before)
    return replace(contents, events=(*contents.events, new))


def _gaps(ids: list[int], last: int) -> list[Range]:
    """The ranges of numbers from 1 to the last that are not there."""
    edges = [0, *ids, last + 1]
    return [(a + 1, b - 1) for a, b in pairwise(edges) if b - a > 1]


def _contents(path: Path, now: Clock) -> Contents:
    """All that a sound file holds; a RecordError says what is wrong with another."""
    with in_plain_words(path):
        _plain_file(path)
        if not path.stat().st_size:
            raise RecordError(f"{path} is empty: no record is in it.")
    with reading(path) as connection:
        if connection is None:
            return Contents()
        whole(connection, path)
        return read_all(connection, now)


def begun(record: Path, task: str) -> Path:
    """The record's path where one was begun; a RecordError says that there is none for the task."""
    if not record.exists():
        raise RecordError(f"Nothing is recorded yet: there is no file {record}, so there is nothing to {task}.")
    return record


def _plain_file(path: Path) -> None:
    """Raise RecordError for what is no file to read: nothing, a folder, a pipe that would be waited for."""
    if not path.exists():
        raise RecordError(f"There is no file {path}. Name a file that is there.")
    if path.is_dir():
        raise RecordError(f"{path} is a folder. Name a file in it.")
    if not path.is_file():
        raise RecordError(f"{path} is not a plain file. Name one that is.")


def _verdict(contents: Contents) -> Verdict:
    return verdict(contents.attempts, contents.events, whole=True)


def _copy(source: Path, target: Path, named: Path) -> None:
    """A page by page copy of a database that others may be using; what fails in writing it is told as of `named`."""
    with in_plain_words(named):
        target.parent.mkdir(parents=True, exist_ok=True)
        make_private(target)
        try:
            with reading(source) as original, in_plain_words(named), closing(sqlite3.connect(target)) as copy:
                if original is not None:
                    original.backup(copy)
        except BaseException:
            target.unlink(missing_ok=True)
            raise


def _bytes(path: Path) -> bytes:
    try:
        _plain_file(path)
        return path.read_bytes()
    except OSError as error:
        raise RecordError(
            f"{path} cannot be read ({error.strerror}). Check its name and that you may read it."
        ) from None


def _apart(source: Path, target: Path) -> None:
    if source.resolve() == target.resolve():
        raise RecordError(f"{source} was named as its own copy. Name another file.")


def _free_name(path: Path, what: str, now: str) -> Path:
    """A name beside the path that no file has: `record-before-20260302-081500.sqlite3`."""
    stem = f"{path.stem}-{what}-{datetime.fromisoformat(now):%Y%m%d-%H%M%S}"
    number, free = 1, path.with_name(stem + path.suffix)
    while os.path.lexists(free):
        number += 1
        free = path.with_name(f"{stem}-{number}{path.suffix}")
    return free
