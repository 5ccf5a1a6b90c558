"""The learner's record: every attempt at a question, kept in one small file in the user's own data folder.

Nothing is ever changed or removed: attempts, the learner's name and the display preference are rows added at the end,
and the file itself refuses an update or a delete. Order is the order of writing (`id`), not the clock's. Attempts are
chained (see `chain`), so that a change made past the course shows.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from time import monotonic
from typing import Literal

import platformdirs

from toolkit.classroom import chain
from toolkit.classroom.attempts import (
    Attempt,
    ItemStanding,
    LessonStanding,
    Recorded,
    checked,
    clean_text,
    lesson_standings,
    standings,
)
from toolkit.classroom.store import (
    APPLICATION_ID,
    FOLDER_VARIABLE,
    SCHEMA_VERSION,
    add_attempt,
    last_hash,
    last_id,
    read_attempts,
    read_events,
    reading,
    whole,
    writing,
)
from toolkit.errors import RecordError

__all__ = [
    "APPLICATION_ID",
    "FILE_NAME",
    "FOLDER_VARIABLE",
    "SCHEMA_VERSION",
    "Attempt",
    "ItemStanding",
    "LessonStanding",
    "Record",
    "Recorded",
    "data_folder",
    "lesson_standings",
    "standings",
    "stopwatch",
    "utc_now",
]

FILE_NAME = "record.sqlite3"
LONGEST_NAME = 200
UNITS = ("us", "metric")
Screen = Literal["desk", "projector"]
SCREENS: tuple[Screen, ...] = ("desk", "projector")


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
        try:
            kept = checked(attempt)
        except RecordError as error:
            raise RecordError(f"{error} Nothing was written.") from error
        with writing(self.path, self._clock) as connection:
            one = Recorded(last_id(connection) + 1, self._clock(), kept)
            add_attempt(connection, chain.linked(one, last_hash(connection, kept.learner)))
            return one.id

    def attempts(self, learner: str | None = None) -> tuple[Recorded, ...]:
        """Return every attempt in the order of writing, of one learner if a name is given; empty when there is none."""
        with reading(self.path) as connection:
            return () if connection is None else read_attempts(connection, learner)

    def events(self) -> tuple[chain.Event, ...]:
        """What happened to the record as a whole, in its order."""
        with reading(self.path) as connection:
            return () if connection is None else read_events(connection, self._clock)

    def verify(self) -> chain.Verdict:
        """Check the chain over all rows; `chain.PROVES` says what that is worth."""
        with reading(self.path) as connection:
            if connection is None:
                return chain.verdict((), (), whole=True)
            return chain.verdict(read_attempts(connection), read_events(connection, self._clock), whole=True)

    def learner(self) -> str:
        """Name the learner gave last; empty if none was given."""
        return self._preference("learner") or ""

    def set_learner(self, name: str) -> str:
        """Set the learner's name from now on; returns it as kept, trimmed and at most 200 characters long."""
        kept = clean_text(name).strip()[:LONGEST_NAME]
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

    def now(self) -> str:
        """The time by the record's clock, UTC, in ISO 8601."""
        return self._clock()

    def today(self) -> date:
        """The day by the record's clock, UTC."""
        return date.fromisoformat(self._clock()[:10])

    def local_day(self) -> date:
        """The day by the record's clock where this machine stands."""
        return datetime.fromisoformat(self._clock()).astimezone().date()

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
        with reading(self.path) as connection:
            if connection is not None:
                whole(connection, self.path)

    def check_writable(self) -> None:
        """Take the lock for writing and give it back: raise RecordError if nothing could be written. Adds no row."""
        with writing(self.path, self._clock):
            pass

    def _preference(self, name: str) -> str | None:
        query = "SELECT value FROM preference WHERE name = ? ORDER BY id DESC LIMIT 1"
        with reading(self.path) as connection:
            row = None if connection is None else connection.execute(query, (name,)).fetchone()
        return None if row is None else str(row[0])

    def _set_preference(self, name: str, value: str) -> None:
        """Add a row, unless the value stands already."""
        if self._preference(name) == value:
            return
        with writing(self.path, self._clock) as connection:
            connection.execute(
                "INSERT INTO preference (time, name, value) VALUES (?, ?, ?)", (self._clock(), name, value)
            )
