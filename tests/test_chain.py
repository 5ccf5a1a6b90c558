"""The chain over the record shows what was changed past the course, and the form before it is taken over."""

from __future__ import annotations

import json
import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from dataclasses import replace
from datetime import date, timedelta
from hashlib import sha256
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolkit.classroom.attempts import Attempt, Recorded
from toolkit.classroom.chain import CHAINED, START, chained, link, linked, verdict
from toolkit.classroom.record import APPLICATION_ID, Record
from toolkit.classroom.review import GAPS, standing
from toolkit.errors import RecordError


def attempt(learner: str = "Robin", seed: int = 7, **changes: object) -> Attempt:
    plain = Attempt(learner, "0.1.0", "01", "01.gauge", "ab" * 32, "Objective.", seed, "20 psia", 0.5, 1.0, 12.5)
    return replace(plain, **changes)  # type: ignore[arg-type]


def filled(folder: Path) -> Record:
    """Nine answers, of Robin and Kim in turn, with numbers that no short decimal fraction has."""
    record = Record(folder)
    for number in range(9):
        score = (0.1 + 0.2) / (number + 1)
        record.append(attempt(("Robin", "Kim")[number % 2], number, score=score, seconds=1e-7 / 3 + number))
    return record


def tamper(record: Record, *statements: str) -> None:
    """Change the file as somebody does who knows SQLite but not the chain."""
    with closing(sqlite3.connect(record.path)) as connection, connection:
        for trigger in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            connection.execute(f"DROP TRIGGER {trigger[0]}")
        for statement in statements:
            connection.execute(statement)


# The chain


def test_the_hash_is_sha_256_over_the_fields_as_json() -> None:
    """FIPS 180-4's own example "abc", then a row spelled out by hand: any other program can check a record."""
    assert sha256(b"abc").hexdigest() == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    one = Recorded(3, "2026-03-02T08:00:00.000+00:00", attempt("Å", answer={"b": [1, 2.0], "a": None}, score=0.1 + 0.2))
    text = (
        '["' + "0" * 64 + '","attempt",3,"2026-03-02T08:00:00.000+00:00","\\u00c5","0.1.0","01","01.gauge","'
        + "ab" * 32 + '","Objective.",7,{"a":null,"b":[1,2.0]},0.30000000000000004,1.0,12.5]'
    )  # fmt: skip
    assert linked(one, START).hash == sha256(text.encode("ascii")).hexdigest()
    assert link("x", ()) == sha256(b'["x"]').hexdigest()


def test_an_untouched_record_holds(tmp_path: Path) -> None:
    assert Record(tmp_path).verify().holds
    record = filled(tmp_path)
    found = record.verify()
    assert (found.holds, found.rows, found.first_unfit, found.set_back) == (True, 9, None, ())
    assert "holds over 9 answers" in found.words
    rows = record.attempts("Kim")
    assert [row.previous for row in rows] == [START, *(row.hash for row in rows[:-1])]


@pytest.mark.parametrize("numbers", [(-0.0, 1.0, -0.0), (1 / 3, 2 / 3, 5e-324), (1e22, 1e23, 1e300)])
def test_numbers_come_back_to_the_last_bit(tmp_path: Path, numbers: tuple[float, float, float]) -> None:
    score, maximum, seconds = numbers
    record = Record(tmp_path)
    record.append(attempt(score=score, maximum=maximum, seconds=seconds, answer={2: 1 / 3, 10: -0.0}))
    assert record.verify().holds
    (row,) = record.attempts()
    assert (row.attempt.score, row.attempt.maximum, row.attempt.seconds) == numbers


CHANGES = {
    "time": "'2020-01-01T00:00:00.000+00:00'",
    "learner": "'Kim'",
    "course_version": "'9'",
    "lesson": "'02'",
    "item_key": "'x'",
    "item_hash": "'x'",
    "objective": "'x'",
    "seed": "1000",
    "answer": "'\"other\"'",
    "score": "score + 1e-16",
    "maximum": "0.75",
    "seconds": "0",
    "previous": "'" + "1" * 64 + "'",
    "hash": "'" + "1" * 64 + "'",
    "id": "100",
}


@pytest.mark.parametrize("field", CHANGES)
@pytest.mark.parametrize("row", [1, 5, 9])
def test_a_changed_field_shows(tmp_path: Path, field: str, row: int) -> None:
    record = filled(tmp_path)
    tamper(record, f"UPDATE attempt SET {field} = {CHANGES[field]} WHERE id = {row}")
    found = record.verify()
    assert not found.holds
    if field != "id":
        assert found.first_unfit == row
        assert f"Answer {row} does not fit" in found.words


@pytest.mark.parametrize(
    ("statement", "first"),
    [
        ("DELETE FROM attempt WHERE id = 5", 6),
        ("DELETE FROM attempt WHERE id = 8", 9),  # Kim's last: nothing of Kim's follows, but the numbers tell
        ("DELETE FROM attempt WHERE learner = 'Kim'", 3),
        ("DELETE FROM attempt WHERE id = 1", 2),
        ("INSERT INTO attempt SELECT 10, time, 'Kim', '', '', '', '', '', 1, '1', 1, 1, 1, hash, hash "
         "FROM attempt WHERE id = 8", 10),
        ("UPDATE attempt SET id = -id WHERE id IN (3, 5)", -5),
    ],
)  # fmt: skip
def test_a_row_taken_out_or_put_in_shows(tmp_path: Path, statement: str, first: int) -> None:
    record = filled(tmp_path)
    tamper(record, statement)
    assert record.verify().first_unfit == first


def test_what_the_chain_cannot_show_is_what_the_words_say(tmp_path: Path) -> None:
    """The limits that PROVES names are real: an end cut off, and a chain laid anew over other answers, both hold."""
    record = filled(tmp_path)
    tamper(record, "DELETE FROM attempt WHERE id > 7")
    assert record.verify().holds
    better = chained(replace(one, attempt=replace(one.attempt, score=1.0)) for one in record.attempts())
    assert verdict(better, (), whole=True).holds


def test_a_row_with_a_hash_of_its_own_but_an_old_neighbour_shows(tmp_path: Path) -> None:
    rows = list(filled(tmp_path).attempts())
    rows[4] = linked(replace(rows[4], attempt=replace(rows[4].attempt, score=1.0)), rows[4].previous)
    assert verdict(rows, (), whole=True).unfit == (7,)  # Robin's next one names the hash that stood there


def test_rows_out_of_their_order_show() -> None:
    rows = chained(Recorded(n, "2026-03-02T08:00:00Z", attempt(name, n)) for n, name in ((1, "A"), (2, "B")))
    assert verdict(rows, (), whole=False).holds
    assert verdict(rows[::-1], (), whole=False).unfit == (1,)


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_any_one_change_shows(data: st.DataObject) -> None:
    names = data.draw(st.lists(st.sampled_from(("A", "B", "C")), min_size=2, max_size=8))
    made = (Recorded(n, "2026-03-02T08:00:00Z", attempt(name, n)) for n, name in enumerate(names, 1))
    rows = list(chained(made))
    assert verdict(rows, (), whole=True).holds
    place = data.draw(st.integers(0, len(rows) - 1))
    change = data.draw(st.sampled_from(("drop", "twice", "swap", "answer")))
    if change == "drop":
        del rows[place]
        if place == len(rows):
            return  # an end cut off does not show
    elif change == "twice":
        rows.insert(place, rows[place])
    elif change == "swap":
        other = data.draw(st.integers(0, len(rows) - 1).filter(lambda number: number != place))
        rows[place], rows[other] = rows[other], rows[place]
    else:
        answer = data.draw(st.integers() | st.text() | st.lists(st.floats(allow_nan=False, allow_infinity=False)))
        rows[place] = replace(rows[place], attempt=replace(rows[place].attempt, answer=answer))
        if answer == "20 psia":
            return
    assert not verdict(rows, (), whole=True).holds


def test_adding_a_row_looks_up_one_row_only(tmp_path: Path) -> None:
    record = filled(tmp_path)
    with closing(sqlite3.connect(record.path)) as connection:
        plan = connection.execute(
            "EXPLAIN QUERY PLAN SELECT hash FROM attempt WHERE learner = ? ORDER BY id DESC LIMIT 1", ("Kim",)
        ).fetchall()
    assert "USING INDEX attempt_learner" in plan[0][3]
    assert len(plan) == 1  # no sorting


# The clock set back


def test_a_clock_set_back_is_told_and_the_review_goes_on(tmp_path: Path) -> None:
    """A clock that was years ahead on one day must not put the next review off for years."""
    times = iter(("2026-03-01", "2099-05-01", "2026-03-02", "2026-03-09", "9999-12-31", "9999-12-31"))
    record = Record(tmp_path, clock=lambda: f"{next(times)}T08:00:00.000+00:00")
    for _ in range(4):
        record.append(attempt(score=1.0))
    assert record.verify().holds  # the clock is no change of the record
    assert record.verify().set_back == (3,)
    assert "clock had been set back before answer 3" in record.verify().words
    stand = standing(record.attempts(), "01", ("01.gauge",))
    assert stand.due == date(2026, 3, 9) + timedelta(days=GAPS[2])
    record.append(attempt(score=1.0))
    assert standing(record.attempts()[-1:], "01", ("01.gauge",)).due == date.max


# The form before the chain

FORM_1 = (
    """CREATE TABLE attempt (
        id INTEGER PRIMARY KEY AUTOINCREMENT, time TEXT NOT NULL, learner TEXT NOT NULL, course_version TEXT NOT NULL,
        lesson TEXT NOT NULL, item_key TEXT NOT NULL, item_hash TEXT NOT NULL, objective TEXT NOT NULL,
        seed INTEGER NOT NULL, answer TEXT NOT NULL, score REAL NOT NULL, maximum REAL NOT NULL, seconds REAL NOT NULL
    )""",
    """CREATE TABLE preference (
        id INTEGER PRIMARY KEY AUTOINCREMENT, time TEXT NOT NULL, name TEXT NOT NULL, value TEXT NOT NULL
    )""",
    *(
        f"CREATE TRIGGER {table}_{verb} BEFORE {verb} ON {table} BEGIN SELECT RAISE(ABORT, 'rows are kept'); END"
        for table in ("attempt", "preference")
        for verb in ("UPDATE", "DELETE")
    ),
    f"PRAGMA application_id = {APPLICATION_ID}",
    "PRAGMA user_version = 1",
)


def form_1(folder: Path, count: int = 6) -> Record:
    """A record as the course wrote it before there was a chain, with an answer whose keys stand in another order."""
    record = Record(folder)
    folder.mkdir(exist_ok=True)
    with closing(sqlite3.connect(record.path)) as connection, connection:
        for statement in FORM_1:
            connection.execute(statement)
        for number in range(count):
            answer = '{"9": 1, "10": 2.50}' if number == 2 else json.dumps("x" * 40)
            row = (f"2026-03-0{1 + number % 9}T08:00:00.000+00:00", ("Robin", "Kim")[number % 2], number, answer)
            connection.execute(
                "INSERT INTO attempt (time, learner, course_version, lesson, item_key, item_hash, objective, seed,"
                " answer, score, maximum, seconds) VALUES (?, ?, '0', '01', '01.gauge', 'h', 'o', ?, ?, 0.1, 1, 2.5)",
                row,
            )
        connection.execute("INSERT INTO preference (time, name, value) VALUES ('t', 'learner', 'Kim')")
    return record


def form_of(record: Record) -> int:
    with closing(sqlite3.connect(record.path)) as connection:
        return int(connection.execute("PRAGMA user_version").fetchone()[0])


def test_the_older_form_is_read_as_it_is(tmp_path: Path) -> None:
    record = form_1(tmp_path)
    before = record.path.read_bytes()
    rows = record.attempts()
    assert len(rows) == 6
    assert rows[2].attempt.answer == {"9": 1, "10": 2.5}
    assert record.learner() == "Kim"
    assert (record.verify().holds, record.verify().chained_later) == (True, 6)
    assert record.path.read_bytes() == before


def test_the_older_form_is_chained_at_the_next_answer(tmp_path: Path) -> None:
    form_1(tmp_path)
    record = Record(tmp_path, clock=lambda: "2026-04-01T08:00:00.000+00:00")
    before = record.attempts()
    assert record.append(attempt("Kim")) == 7
    assert form_of(record) == 2
    assert record.attempts()[:6] == before
    assert (record.learner(), record.attempts()[6].previous) == ("Kim", before[5].hash)
    (event,) = record.events()
    assert (event.kind, event.last, event.time) == (CHAINED, 6, "2026-04-01T08:00:00.000+00:00")
    found = record.verify()
    assert found.holds
    assert "Answers up to 6 were written by an older version of the course and chained later" in found.words
    record.check()
    record.append(attempt("Kim"))
    assert len(record.events()) == 1
    with closing(sqlite3.connect(record.path)) as connection:
        for table in ("attempt", "event", "preference"):
            with pytest.raises(sqlite3.IntegrityError, match="rows are kept"):
                connection.execute(f"DELETE FROM {table}")
    tamper(record, "UPDATE event SET last = 3")
    assert not record.verify().holds


def test_an_empty_older_form_has_nothing_to_tell(tmp_path: Path) -> None:
    record = form_1(tmp_path, 0)
    record.append(attempt())
    assert record.events() == ()
    assert record.verify().holds


OPENER = """
import sys
from pathlib import Path
from toolkit.classroom.record import Record
record = Record(Path(sys.argv[1]))
print("ready", flush=True)
sys.stdin.readline()
record.set_units("metric")
"""


@pytest.mark.skipif(os.name == "nt", reason="kills with a signal that Windows lacks")
def test_killed_while_it_takes_over_the_older_form(tmp_path: Path) -> None:
    """Killed at twelve seeded moments: the file is of one form or the other, with every row."""
    moments, forms = random.Random(4), set()
    for turn in range(12):
        record = form_1(tmp_path / str(turn), 800)
        command = [sys.executable, "-c", OPENER, str(record.path.parent)]
        with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as opener:
            assert opener.stdin is not None
            assert opener.stdout is not None
            assert opener.stdout.readline() == "ready\n"
            opener.stdin.write("go\n")
            opener.stdin.flush()
            time.sleep(moments.uniform(0.0, 0.15))
            os.kill(opener.pid, signal.SIGKILL)
        forms.add(form_of(record))
        assert len(record.attempts()) == 800
        assert record.verify().holds
        record.check()
        record.append(attempt())
        assert (form_of(record), record.verify().holds, len(record.events())) == (2, True, 1)
    assert forms  # which of the two depends on the machine


def test_a_hand_edited_value_that_no_course_writes_is_told(tmp_path: Path) -> None:
    for number, edit in enumerate(("answer = '['", "score = 'much'", "time = 'noon'", "seed = 1.5", "maximum = 0")):
        record = filled(tmp_path / str(number))
        tamper(record, f"UPDATE attempt SET {edit} WHERE id = 4")
        with pytest.raises(RecordError, match="is damaged"):
            record.verify()
    record = filled(tmp_path / "deep")
    tamper(record, f"UPDATE attempt SET answer = '{'[' * 100_000}' WHERE id = 4")
    with pytest.raises(RecordError, match="is damaged"):
        record.attempts()
