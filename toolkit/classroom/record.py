"""The learner's record: every attempt at a question, kept in one small file in the user's own data folder.

Nothing is ever changed or removed: attempts, the learner's name and the display preference are rows added at the end,
and the file itself refuses an update or a delete. Order is the order of writing (`id`), not the clock's.

A rollback journal with full synchronising is used, not a write-ahead log: the log does not work on network folders.
A connection lives for one call only, so that two notebooks, or a kernel that forks, never share one.
"""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from math import isfinite
from pathlib import Path
from time import monotonic
from typing import Any, Literal

import platformdirs

from toolkit.errors import RecordError

FOLDER_VARIABLE = "GUARDED_PRESSURE_DATA"
FILE_NAME = "record.sqlite3"
SCHEMA_VERSION = 1
# "GPrc" in the file's header tells our file from another program's.
APPLICATION_ID = 0x47507263
BUSY_SECONDS = 20.0
LONGEST_NAME = 200
UNITS = ("us", "metric")
Screen = Literal["desk", "projector"]
SCREENS: tuple[Screen, ...] = ("desk", "projector")

_STATEMENTS = (
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
        seconds REAL NOT NULL
    )""",
    """CREATE TABLE preference (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        time TEXT NOT NULL,
        name TEXT NOT NULL,
        value TEXT NOT NULL
    )""",
    *(
        f"CREATE TRIGGER {table}_{verb} BEFORE {verb} ON {table} BEGIN SELECT RAISE(ABORT, 'rows are kept'); END"
        for table in ("attempt", "preference")
        for verb in ("UPDATE", "DELETE")
    ),
)
_NO_ACCESS = (
    sqlite3.SQLITE_CANTOPEN,
    sqlite3.SQLITE_READONLY,
    sqlite3.SQLITE_PERM,
    sqlite3.SQLITE_IOERR,
    sqlite3.SQLITE_FULL,
)


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
    """An attempt as it stands in the record: `id` is its place in the order of writing, `time` UTC in ISO 8601."""

    id: int
    time: str
    attempt: Attempt


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


def data_folder() -> Path:
    """Folder of the learner's record: the environment variable GUARDED_PRESSURE_DATA, else the user's data folder."""
    named = os.environ.get(FOLDER_VARIABLE)
    return Path(named) if named else platformdirs.user_data_path("guarded-pressure", appauthor=False)


def stopwatch() -> Callable[[], float]:
    """Start a watch; the function returned gives the seconds since then."""
    start = monotonic()
    return lambda: monotonic() - start


def utc_now() -> str:
    """Now, in UTC, ISO 8601 with milliseconds."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


class Record:
    """The record in one folder. Making the object touches no disk; each call opens, works and closes.

    Every call raises RecordError, in words meant for the learner, if the file cannot be used.
    """

    def __init__(self, folder: Path | None = None, *, clock: Callable[[], str] = utc_now) -> None:
        self.path = (data_folder() if folder is None else Path(folder)) / FILE_NAME
        self._clock = clock

    def append(self, attempt: Attempt) -> int:
        """Write one attempt and return its id; once this returns, the attempt is on the disk."""
        row = _row(attempt)
        with self._writing() as connection:
            marks = ", ".join("?" for _ in range(len(row) + 1))
            cursor = connection.execute(f"INSERT INTO attempt ({_COLUMNS}) VALUES ({marks})", (self._clock(), *row))
            return int(cursor.lastrowid or 0)

    def attempts(self, learner: str | None = None) -> tuple[Recorded, ...]:
        """Return every attempt in the order of writing, of one learner if a name is given; empty when there is none."""
        query = f"SELECT id, {_COLUMNS} FROM attempt"
        chosen: tuple[str, ...] = ()
        if learner is not None:
            query, chosen = query + " WHERE learner = ?", (learner,)
        with self._reading() as connection:
            rows = [] if connection is None else connection.execute(query + " ORDER BY id", chosen).fetchall()
            return tuple(_recorded(row) for row in rows)

    def learner(self) -> str:
        """Name the learner gave last; empty if none was given."""
        return self._preference("learner") or ""

    def set_learner(self, name: str) -> str:
        """Set the learner's name from now on; returns it as kept, trimmed and at most 200 characters long."""
        kept = _text(name).strip()[:LONGEST_NAME]
        self._set_preference("learner", kept)
        return kept

    def units(self) -> str:
        """Display preference, "us" or "metric"; "us" if none was given."""
        return self._preference("units") or UNITS[0]

    def set_units(self, units: str) -> None:
        """Set the display preference, "us" or "metric"."""
        if units not in UNITS:
            raise RecordError(f"{units!r} was given for the display units, 'us' or 'metric' was expected. Choose one.")
        self._set_preference("units", units)

    def today(self) -> date:
        """The day by the record's clock, UTC."""
        return date.fromisoformat(self._clock()[:10])

    def screen(self) -> Screen:
        """What the lessons are shown on, "desk" or "projector"; "desk" if none was given."""
        return "projector" if self._preference("screen") == "projector" else "desk"

    def set_screen(self, screen: str) -> None:
        """Set what the lessons are shown on, "desk" or "projector"."""
        if screen not in SCREENS:
            raise RecordError(f"{screen!r} was given for the screen, 'desk' or 'projector' was expected. Choose one.")
        self._set_preference("screen", screen)

    def check(self) -> None:
        """Read the whole file and raise RecordError if any part of it is damaged."""
        with self._reading() as connection:
            found = [] if connection is None else [row[0] for row in connection.execute("PRAGMA integrity_check")]
        if found not in ([], ["ok"]):
            raise RecordError(_damaged(self.path, "; ".join(found[:3])))

    def check_writable(self) -> None:
        """Take the lock for writing and give it back: raise RecordError if nothing could be written. Adds no row."""
        with self._writing():
            pass

    def _preference(self, name: str) -> str | None:
        query = "SELECT value FROM preference WHERE name = ? ORDER BY id DESC LIMIT 1"
        with self._reading() as connection:
            row = None if connection is None else connection.execute(query, (name,)).fetchone()
        return None if row is None else str(row[0])

    def _set_preference(self, name: str, value: str) -> None:
        """Add a row, unless the value stands already."""
        if self._preference(name) == value:
            return
        with self._writing() as connection:
            connection.execute(
                "INSERT INTO preference (time, name, value) VALUES (?, ?, ?)", (self._clock(), name, value)
            )

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        """Open a connection inside a transaction that holds the write lock; committed at the end, or all undone."""
        with _in_plain_words(self.path):
            self.path.parent.mkdir(parents=True, exist_ok=True)
            with closing(_connect(self.path, "rwc")) as connection:
                connection.execute("BEGIN IMMEDIATE")
                try:
                    if _version(connection, self.path) == 0:
                        for statement in _STATEMENTS:
                            connection.execute(statement)
                        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                        connection.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")
                    yield connection
                    connection.execute("COMMIT")
                except BaseException:
                    if connection.in_transaction:
                        connection.execute("ROLLBACK")
                    raise

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection | None]:
        """Open a connection to read by; None if nothing was ever written."""
        with _in_plain_words(self.path):
            if not self.path.exists():
                yield None
                return
            # "rw", not "ro": what a killed writer left half done must be undone before it is read.
            with closing(_connect(self.path, "rw")) as connection:
                yield connection if _version(connection, self.path) else None


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


_COLUMNS = (
    "time, learner, course_version, lesson, item_key, item_hash, objective, seed, answer, score, maximum, seconds"
)


def _row(attempt: Attempt) -> tuple[str | int | float, ...]:
    numbers = (attempt.score, attempt.maximum, attempt.seconds)
    if not all(isfinite(number) for number in numbers) or attempt.maximum <= 0.0:
        raise RecordError(
            f"score, maximum and seconds {numbers!r} were given, finite numbers and a maximum above 0 were expected. "
            "Nothing was written."
        )
    try:
        answer = json.dumps(attempt.answer, allow_nan=False, sort_keys=True)
    except (TypeError, ValueError) as error:
        raise RecordError(
            f"the answer cannot be written down: {error}. Give text, numbers or lists of them."
        ) from error
    words = (
        attempt.learner,
        attempt.course_version,
        attempt.lesson,
        attempt.item_key,
        attempt.item_hash,
        attempt.objective,
    )
    return (*map(_text, words), int(attempt.seed), answer, *map(float, numbers))


def _text(words: str) -> str:
    """Return the text with what no file can hold (half of a surrogate pair) replaced."""
    return words.encode("utf-8", "replace").decode("utf-8")


def _recorded(row: tuple[Any, ...]) -> Recorded:
    id_, time, *words, answer, score, maximum, seconds = row
    learner, version, lesson, key, hash_, objective, seed = words
    answered = json.loads(answer)
    return Recorded(
        id_, time, Attempt(learner, version, lesson, key, hash_, objective, seed, answered, score, maximum, seconds)
    )


def _connect(path: Path, mode: str) -> sqlite3.Connection:
    connection = sqlite3.connect(
        f"{path.resolve().as_uri()}?mode={mode}", uri=True, timeout=BUSY_SECONDS, isolation_level=None
    )
    connection.execute("PRAGMA synchronous = FULL")
    return connection


def _version(connection: sqlite3.Connection, path: Path) -> int:
    """Schema version of the file, 0 for a new one; RecordError if it is not ours or newer than this course."""
    application = int(connection.execute("PRAGMA application_id").fetchone()[0])
    version = int(connection.execute("PRAGMA user_version").fetchone()[0])
    empty = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0] == 0
    if empty and application == 0 and version == 0:
        return 0
    if application != APPLICATION_ID or version < 1:
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
        f"The record {path} is damaged ({detail}). It is kept as it is, nothing is written over it. "
        "Move it to a safe place; a new record is begun at the next answer."
    )


@contextmanager
def _in_plain_words(path: Path) -> Iterator[None]:
    """Turn what the disk or the database reports into a RecordError that says what to do."""
    try:
        yield
    except (sqlite3.DatabaseError, ValueError) as error:
        # An error without a code comes from a value that no longer reads as what was written.
        code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_CORRUPT) & 0xFF
        if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
            message = (
                f"The record {path} has been held by another program for {BUSY_SECONDS:.0f} s. "
                "Close other windows of the course and try again."
            )
        elif code in _NO_ACCESS:
            message = _unusable(path, str(error))
        else:
            message = _damaged(path, str(error)[:200])
        raise RecordError(message) from error
    except OSError as error:
        raise RecordError(_unusable(path, error.strerror or str(error))) from error


def _unusable(path: Path, detail: str) -> str:
    return (
        f"The record {path} cannot be opened or written ({detail}). A folder that you may write in was expected, with "
        f"room on the disk. Free the folder, or set {FOLDER_VARIABLE} to another one and start the course again."
    )
