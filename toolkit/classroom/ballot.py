"""A class votes: one question at a time, a first vote, talk, a second vote, and only then the answer.

To vote, talk it over and vote again teaches more than to be told (Crouch and Mazur 2001, source `crouch-mazur-2001`).
What happens is rows added to one small file in the class's folder, which every page of the class reads; the last vote
of a voter counts. A vote is no mark: it stands in nobody's record, and the class sees numbers, never names.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

from toolkit.errors import RoomError

FILE = "votes.sqlite3"
# What the class is asked to do now, in order.
SHOWN, FIRST, TALK, SECOND, CLOSED, REVEALED = PHASES = (
    "shown",
    "first vote",
    "talk",
    "second vote",
    "closed",
    "revealed",
)
BALLOTS = (FIRST, SECOND)
_BUSY_SECONDS = 10.0
_TABLES = (
    "CREATE TABLE IF NOT EXISTS step (id INTEGER PRIMARY KEY, round INTEGER NOT NULL, item TEXT NOT NULL,"
    " seed INTEGER NOT NULL, units TEXT NOT NULL, phase TEXT NOT NULL)",
    "CREATE TABLE IF NOT EXISTS vote (id INTEGER PRIMARY KEY, round INTEGER NOT NULL, ballot TEXT NOT NULL,"
    " voter TEXT NOT NULL, choice INTEGER NOT NULL)",
    "CREATE TABLE IF NOT EXISTS hands (id INTEGER PRIMARY KEY, round INTEGER NOT NULL, ballot TEXT NOT NULL,"
    " choice INTEGER NOT NULL, hands INTEGER NOT NULL)",
)


@dataclass(frozen=True)
class Round:
    """What the class is asked now: which time, the item's key, its seed and display units, and the phase."""

    number: int
    item: str
    seed: int
    units: str
    phase: str

    @property
    def open(self) -> bool:
        """Whether votes are taken."""
        return self.phase in BALLOTS


class Ballots:
    """The votes of a class, in its folder. Raises RoomError where they cannot be read or written."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / FILE

    def now(self) -> Round | None:
        """What is asked now; None before the first question."""
        if not self.path.exists():
            return None
        with self._open() as connection:
            row = connection.execute(
                "SELECT round, item, seed, units, phase FROM step ORDER BY id DESC LIMIT 1"
            ).fetchone()
        return Round(*row) if row else None

    def ask(self, item: str, seed: int, units: str) -> Round:
        """Put a question before the class."""
        last = self.now()
        return self._step(Round(last.number + 1 if last else 1, item, seed, units, SHOWN))

    def go_on(self) -> Round:
        """Take the next phase; the last one stays. Raises RoomError where nothing is asked."""
        last = self.now()
        if last is None:
            raise RoomError("Nothing is asked yet, a question was expected. Show one first.")
        if last.phase == REVEALED:
            return last
        return self._step(Round(last.number, last.item, last.seed, last.units, PHASES[PHASES.index(last.phase) + 1]))

    def vote(self, voter: str, number: int, choice: int) -> None:
        """Take a vote on the question of a number. Raises RoomError where it is not being voted on (any more)."""
        with self._open() as connection:
            connection.execute("BEGIN IMMEDIATE")
            row = connection.execute("SELECT round, phase FROM step ORDER BY id DESC LIMIT 1").fetchone()
            if row is None or row[0] != number or row[1] not in BALLOTS:
                raise RoomError("The vote is closed. Wait for the next one.")
            connection.execute(
                "INSERT INTO vote (round, ballot, voter, choice) VALUES (?, ?, ?, ?)", (number, row[1], voter, choice)
            )
            connection.execute("COMMIT")

    def raise_hands(self, number: int, ballot: str, choice: int, hands: int) -> None:
        """Count hands for a choice, of those who have no page to vote on; the last count stands."""
        with self._open() as connection:
            connection.execute(
                "INSERT INTO hands (round, ballot, choice, hands) VALUES (?, ?, ?, ?)", (number, ballot, choice, hands)
            )

    def counts(self, number: int, ballot: str, options: int) -> tuple[int, ...]:
        """Votes for each option, pages and hands together."""
        if not self.path.exists():
            return (0,) * options
        with self._open() as connection:
            votes = connection.execute(
                "SELECT choice, count(*) FROM vote WHERE id IN"
                " (SELECT max(id) FROM vote WHERE round = ? AND ballot = ? GROUP BY voter) GROUP BY choice",
                (number, ballot),
            ).fetchall()
        found = list(self.hands(number, ballot, options))
        for choice, count in votes:
            if 0 <= choice < options:
                found[choice] += count
        return tuple(found)

    def hands(self, number: int, ballot: str, options: int) -> tuple[int, ...]:
        """Hands that were counted for each option."""
        with self._open() as connection:
            counted = dict(
                connection.execute(
                    "SELECT choice, hands FROM hands WHERE id IN"
                    " (SELECT max(id) FROM hands WHERE round = ? AND ballot = ? GROUP BY choice)",
                    (number, ballot),
                ).fetchall()
            )
        return tuple(counted.get(choice, 0) for choice in range(options))

    def mine(self, voter: str, number: int, ballot: str) -> int | None:
        """What a voter has voted last, if anything."""
        with self._open() as connection:
            row = connection.execute(
                "SELECT choice FROM vote WHERE round = ? AND ballot = ? AND voter = ? ORDER BY id DESC LIMIT 1",
                (number, ballot, voter),
            ).fetchone()
        return None if row is None else int(row[0])

    def _step(self, to: Round) -> Round:
        with self._open() as connection:
            connection.execute(
                "INSERT INTO step (round, item, seed, units, phase) VALUES (?, ?, ?, ?, ?)",
                (to.number, to.item, to.seed, to.units, to.phase),
            )
        return to

    @contextmanager
    def _open(self) -> Iterator[sqlite3.Connection]:
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            with closing(sqlite3.connect(self.path, timeout=_BUSY_SECONDS, isolation_level=None)) as connection:
                for statement in _TABLES:
                    connection.execute(statement)
                yield connection
        except (sqlite3.DatabaseError, OSError) as error:
            raise RoomError(
                f"The votes in {self.path} cannot be read or written ({error}). A folder that may be written in was "
                "expected. Move the file away if it is damaged: votes are no marks, and nothing else is lost."
            ) from error
