"""The record's file: an SQLite database, its tables, its older form, and what is said where it cannot be used.

A rollback journal with full synchronising is used, not a write-ahead log: the log does not work on network folders.
A connection lives for one call only, so that two notebooks, or a kernel that forks, never share one.
"""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from math import isfinite
from pathlib import Path
from types import UnionType
from typing import Any

from toolkit.classroom.attempts import Attempt, Recorded, checked_time
from toolkit.classroom.chain import CHAINED, START, Event, chained, linked_event
from toolkit.errors import RecordError

FOLDER_VARIABLE = "GUARDED_PRESSURE_DATA"
SCHEMA_VERSION = 2
# "GPrc" in the file's header tells our file from another program's.
APPLICATION_ID = 0x47507263
BUSY_SECONDS = 20.0
# Answers and names are for this user alone.
PRIVATE_FOLDER, _PRIVATE_FILE = 0o700, 0o600

_TABLES = ("attempt", "event", "preference")
_FIELDS = "time, learner, course_version, lesson, item_key, item_hash, objective, seed, answer, score, maximum, seconds"
_COLUMNS = {
    "attempt": f"id, {_FIELDS}, previous, hash",
    "event": "id, time, kind, last, lost, previous, hash",
    "preference": "id, time, name, value",
}
_TRIGGERS = tuple(
    f"CREATE TRIGGER {table}_{verb} BEFORE {verb} ON {table} BEGIN SELECT RAISE(ABORT, 'rows are kept'); END"
    for table in _TABLES
    for verb in ("UPDATE", "DELETE")
)
_ATTEMPT = (
    """CREATE TABLE attempt (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        time TEXT NOT NULL,
        learner TEXT NOT NULL,
        course_version TEXT NOT NULL,
        lesson TEXT NOT NULL,
        item_key TEXT NOT NULL,
        item_hash TEXT NOT NULL,
        objective TEXT NOT NULL,
        seed INTEGER NOT NULL,
        answer TEXT NOT NULL,
        score REAL NOT NULL,
        maximum REAL NOT NULL,
        seconds REAL NOT NULL,
        previous TEXT NOT NULL,
        hash TEXT NOT NULL
    )""",
    # Finds a learner's last row at once, however long the record.
    "CREATE INDEX attempt_learner ON attempt (learner, id)",
)
_EVENT = """CREATE TABLE event (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        time TEXT NOT NULL,
        kind TEXT NOT NULL,
        last INTEGER NOT NULL,
        lost TEXT NOT NULL,
        previous TEXT NOT NULL,
        hash TEXT NOT NULL
    )"""
_PREFERENCE = """CREATE TABLE preference (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        time TEXT NOT NULL,
        name TEXT NOT NULL,
        value TEXT NOT NULL
    )"""
_NO_ACCESS = (
    sqlite3.SQLITE_CANTOPEN,
    sqlite3.SQLITE_READONLY,
    sqlite3.SQLITE_PERM,
    sqlite3.SQLITE_IOERR,
    sqlite3.SQLITE_FULL,
)

Preference = tuple[int, str, str, str]


class HeldError(RecordError):
    """The file cannot be opened or written just now, which says nothing against what is in it."""


@dataclass(frozen=True)
class Contents:
    """All that a record holds; `last` is the highest number that an attempt ever had."""

    attempts: tuple[Recorded, ...] = ()
    events: tuple[Event, ...] = ()
    preferences: tuple[Preference, ...] = ()
    last: int = 0


@contextmanager
def writing(path: Path, now: Callable[[], str]) -> Iterator[sqlite3.Connection]:
    """Open a connection inside a transaction that holds the write lock; committed at the end, or all undone.

    A new file gets its tables, one of the older form is brought up to the newer; `now` tells the time of that.
    """
    with in_plain_words(path):
        path.parent.mkdir(PRIVATE_FOLDER, parents=True, exist_ok=True)
        make_private(path)
        with closing(_connect(path, "rw")) as connection:
            connection.execute("BEGIN IMMEDIATE")
            try:
                found = _form(connection, path)
                if found == 0:
                    for statement in (*_ATTEMPT, _EVENT, _PREFERENCE, *_TRIGGERS):
                        connection.execute(statement)
                    connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                elif found == 1:
                    _chain_later(connection, now())
                if found != SCHEMA_VERSION:
                    connection.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")
                yield connection
                connection.execute("COMMIT")
            except BaseException:
                if connection.in_transaction:
                    connection.execute("ROLLBACK")
                raise


@contextmanager
def reading(path: Path) -> Iterator[sqlite3.Connection | None]:
    """Open a connection to read by, at one moment of the file; None if nothing was ever written."""
    with in_plain_words(path):
        if not path.exists():
            yield None
            return
        # "rw", not "ro": what a killed writer left half done must be undone before it is read.
        with closing(_connect(path, "rw")) as connection:
            connection.execute("BEGIN")
            yield connection if _form(connection, path) else None


def make_private(path: Path) -> None:
    """Make an empty file that only this user may read and write; one that is there stays as it is. Raises OSError."""
    with suppress(FileExistsError):
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_RDWR, _PRIVATE_FILE))


def read_attempts(connection: sqlite3.Connection, learner: str | None = None) -> tuple[Recorded, ...]:
    """The attempts in the order of writing; those of the older form with the chain that they would be given."""
    older = _user_version(connection) == 1
    query = f"SELECT id, {_FIELDS}, '', '' FROM attempt" if older else f"SELECT {_COLUMNS['attempt']} FROM attempt"
    chosen: tuple[str, ...] = ()
    if learner is not None:
        query, chosen = query + " WHERE learner = ?", (learner,)
    rows = tuple(as_recorded(row) for row in connection.execute(query + " ORDER BY id", chosen))
    return chained(rows) if older else rows


def read_events(connection: sqlite3.Connection, now: Callable[[], str]) -> tuple[Event, ...]:
    """The events in their order; of a file in the older form, the one that chaining it now would add."""
    if _user_version(connection) == 1:
        return _chained_at(now(), last_id(connection))
    return tuple(as_event(row) for row in connection.execute(f"SELECT {_COLUMNS['event']} FROM event ORDER BY id"))


def read_all(connection: sqlite3.Connection, now: Callable[[], str]) -> Contents:
    """All that a file holds."""
    preferences = connection.execute(f"SELECT {_COLUMNS['preference']} FROM preference ORDER BY id").fetchall()
    return Contents(read_attempts(connection), read_events(connection, now), tuple(preferences), last_id(connection))


def write_all(connection: sqlite3.Connection, contents: Contents) -> None:
    """Put this into a file in the place of all that it holds, each row as it is."""
    for table in _TABLES:
        for verb in ("UPDATE", "DELETE"):
            connection.execute(f"DROP TRIGGER {table}_{verb}")
        connection.execute(f"DELETE FROM {table}")
    connection.execute("DELETE FROM sqlite_sequence")
    for one in contents.attempts:
        add_attempt(connection, one)
    for event in contents.events:
        add_event(connection, event)
    _insert(connection, "preference", contents.preferences)
    connection.execute("DELETE FROM sqlite_sequence WHERE name = 'attempt'")
    connection.execute("INSERT INTO sqlite_sequence (name, seq) VALUES ('attempt', ?)", (contents.last,))
    for trigger in _TRIGGERS:
        connection.execute(trigger)


def add_attempt(connection: sqlite3.Connection, one: Recorded) -> None:
    """Add a row as it is."""
    answer = one.attempt
    words = (answer.learner, answer.course_version, answer.lesson, answer.item_key, answer.item_hash, answer.objective)
    numbers = (answer.score, answer.maximum, answer.seconds)
    answered = json.dumps(answer.answer, sort_keys=True)
    _insert(
        connection, "attempt", [(one.id, one.time, *words, answer.seed, answered, *numbers, one.previous, one.hash)]
    )


def add_event(connection: sqlite3.Connection, one: Event) -> None:
    """Add an event as it is."""
    row = (one.id, one.time, one.kind, one.last, json.dumps(one.lost), one.previous, one.hash)
    _insert(connection, "event", [row])


def last_id(connection: sqlite3.Connection) -> int:
    """The highest number that an attempt ever had; 0 if there was none."""
    row = connection.execute("SELECT seq FROM sqlite_sequence WHERE name = 'attempt'").fetchone()
    return int(row[0]) if row else 0


def last_hash(connection: sqlite3.Connection, learner: str) -> str:
    """The hash of a learner's last row; that of the chain's start if there is none."""
    query = "SELECT hash FROM attempt WHERE learner = ? ORDER BY id DESC LIMIT 1"
    row = connection.execute(query, (learner,)).fetchone()
    return str(row[0]) if row else START


def as_recorded(row: Sequence[Any]) -> Recorded:
    """A row of the table as what it says; ValueError if it is none."""
    id_, time, *words, seed, answer, score, maximum, seconds, previous, hash_ = row
    _typed((*words, time, answer, previous, hash_), str)
    _typed((id_, seed), int)
    _typed((score, maximum, seconds), int | float)
    numbers = (float(score), float(maximum), float(seconds))
    if not all(map(isfinite, numbers)) or maximum <= 0:
        raise ValueError(f"row {id_} has no score")
    try:
        answered = json.loads(answer)
    except RecursionError:
        raise ValueError(f"row {id_} has no answer") from None
    fields: tuple[Any, ...] = (*words, seed, answered, *numbers)
    return Recorded(id_, checked_time(time), Attempt(*fields), previous, hash_)


def as_event(row: Sequence[Any]) -> Event:
    """A row of the events as what it says; ValueError if it is none."""
    id_, time, kind, last, lost, previous, hash_ = row
    _typed((time, kind, lost, previous, hash_), str)
    _typed((id_, last), int)
    try:
        ranges = tuple((first, end) for first, end in json.loads(lost))
    except (TypeError, RecursionError):
        raise ValueError(f"event {id_} has no ranges") from None
    _typed([number for ends in ranges for number in ends], int)
    return Event(id_, checked_time(time), kind, last, ranges, previous, hash_)


def whole(connection: sqlite3.Connection, path: Path) -> None:
    """Raise RecordError if any page of the file is damaged."""
    found = [row[0] for row in connection.execute("PRAGMA integrity_check")]
    if found != ["ok"]:
        raise RecordError(_damaged(path, "; ".join(found[:3])))


def _typed(values: Sequence[object], kind: type | UnionType) -> None:
    if not all(isinstance(value, kind) for value in values):
        raise ValueError(f"something else stands where a {kind} should")


def _insert(connection: sqlite3.Connection, table: str, rows: Sequence[Sequence[object]]) -> None:
    marks = ", ".join("?" for _ in _COLUMNS[table].split(","))
    connection.executemany(f"INSERT INTO {table} ({_COLUMNS[table]}) VALUES ({marks})", rows)


def _chain_later(connection: sqlite3.Connection, now: str) -> None:
    """Bring a file of form 1 up to form 2: lay a chain over its rows, and write down when that was done."""
    rows, last = read_attempts(connection), last_id(connection)
    for verb in ("UPDATE", "DELETE"):
        connection.execute(f"DROP TRIGGER attempt_{verb}")
        connection.execute(f"DROP TRIGGER preference_{verb}")
    connection.execute("DROP TABLE attempt")
    for statement in (*_ATTEMPT, _EVENT):
        connection.execute(statement)
    for one in rows:
        add_attempt(connection, one)
    for event in _chained_at(now, last):
        add_event(connection, event)
    for trigger in _TRIGGERS:
        connection.execute(trigger)


def _chained_at(now: str, last: int) -> tuple[Event, ...]:
    return (linked_event(Event(1, now, CHAINED, last), START),) if last else ()


def _connect(path: Path, mode: str) -> sqlite3.Connection:
    connection = sqlite3.connect(
        f"{path.resolve().as_uri()}?mode={mode}", uri=True, timeout=BUSY_SECONDS, isolation_level=None
    )
    try:
        # "Extra" also puts on the disk that the journal is gone: or a power cut could take back what was acknowledged.
        connection.execute("PRAGMA synchronous = EXTRA")
        # What is replaced leaves no copy in the file's free pages, which a salvage would take for rows.
        connection.execute("PRAGMA secure_delete = ON")
    except BaseException:
        connection.close()
        raise
    return connection


def _user_version(connection: sqlite3.Connection) -> int:
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def _form(connection: sqlite3.Connection, path: Path) -> int:
    """Schema version of the file, 0 for a new one; RecordError if it is not ours or newer than this course."""
    application = int(connection.execute("PRAGMA application_id").fetchone()[0])
    version = _user_version(connection)
    empty = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0] == 0
    if empty and application == 0 and version == 0:
        return 0
    # A view in a table's place could keep who reads it busy for ever.
    views = connection.execute("SELECT count(*) FROM sqlite_master WHERE type = 'view'").fetchone()[0]
    if application != APPLICATION_ID or version < 1 or views:
        raise RecordError(
            f"{path} was made by another program, a record of this course was expected. It is left as it is. "
            f"Move it away and try again, or set {FOLDER_VARIABLE} to another folder."
        )
    if version > SCHEMA_VERSION:
        raise RecordError(
            f"{path} was written by a newer version of the course (form {version}), this one knows form "
            f"{SCHEMA_VERSION}. It is left as it is. Use the newer version, or set {FOLDER_VARIABLE} to another folder."
        )
    return version


def _damaged(path: Path, detail: str) -> str:
    return (
        f"The record {path} is damaged ({detail}). It is kept as it is, nothing is written over it. The command "
        "`course salvage FILE` reads out what can be read. Or move the file to a safe place; a new record is begun "
        "at the next answer."
    )


@contextmanager
def in_plain_words(path: Path) -> Iterator[None]:
    """Turn what the disk or the database reports into a RecordError that says what to do."""
    try:
        yield
    except (sqlite3.DatabaseError, ValueError) as error:
        # An error without a code comes from a value that no longer reads as what was written.
        code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_CORRUPT) & 0xFF
        if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
            raise HeldError(
                f"The record {path} has been held by another program for {BUSY_SECONDS:.0f} s. "
                "Close other windows of the course and try again."
            ) from error
        if code in _NO_ACCESS:
            raise HeldError(_unusable(path, str(error))) from error
        no_database = "; perhaps it never was a record" if code == sqlite3.SQLITE_NOTADB else ""
        raise RecordError(_damaged(path, str(error)[:200] + no_database)) from error
    except OSError as error:
        raise HeldError(_unusable(path, error.strerror or str(error))) from error


def _unusable(path: Path, detail: str) -> str:
    return (
        f"The record {path} cannot be opened or written ({detail}). A folder that you may write in was expected, with "
        "room on the disk. Free the folder or choose another one; for the course's own record, set "
        f"{FOLDER_VARIABLE} to it and start the course again."
    )
