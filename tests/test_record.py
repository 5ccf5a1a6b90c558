"""The record survives what happens to files on learners' machines: kills, two windows, damage, hostile text."""

from __future__ import annotations

import json
import os
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from toolkit.classroom.record import (
    APPLICATION_ID,
    FILE_NAME,
    FOLDER_VARIABLE,
    SCHEMA_VERSION,
    Attempt,
    Record,
    data_folder,
    lesson_standings,
    standings,
)
from toolkit.errors import RecordError


def attempt(**changes: object) -> Attempt:
    values: dict[str, object] = {
        "learner": "Robin",
        "course_version": "0.1.0",
        "lesson": "01",
        "item_key": "01.gauge",
        "item_hash": "ab" * 32,
        "objective": "Tell gauge from absolute.",
        "seed": 7,
        "answer": "20 psia",
        "score": 0.5,
        "maximum": 1.0,
        "seconds": 12.5,
    }
    return Attempt(**(values | changes))  # type: ignore[arg-type]


def folder_state(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_round_trip_and_order(tmp_path: Path) -> None:
    record = Record(tmp_path / "not" / "yet")
    assert record.attempts() == ()
    assert not (tmp_path / "not").exists()  # reading makes nothing
    ids = [record.append(attempt(seed=seed, answer=[40, 60, {"x": 1.5}])) for seed in range(3)]
    rows = record.attempts()
    assert [row.id for row in rows] == ids == sorted(ids)
    assert [row.attempt for row in rows] == [attempt(seed=seed, answer=[40, 60, {"x": 1.5}]) for seed in range(3)]
    record.append(attempt(learner="Kim"))
    assert [row.attempt.learner for row in record.attempts("Kim")] == ["Kim"]
    record.check()


def test_clock_set_back_does_no_harm(tmp_path: Path) -> None:
    times = iter(("2031-05-01T10:00:00.000+00:00", "2031-04-30T10:00:00.000+00:00", "1970-01-01T00:00:00.000+00:00"))
    record = Record(tmp_path, clock=lambda: next(times))
    for score in (0.0, 0.5, 1.0):
        record.append(attempt(score=score))
    assert [row.attempt.score for row in record.attempts()] == [0.0, 0.5, 1.0]
    assert [row.time[:4] for row in record.attempts()] == ["2031", "2031", "1970"]
    assert standings(record.attempts())[0].last == 1.0


def test_the_real_clock_is_utc(tmp_path: Path) -> None:
    record = Record(tmp_path)
    record.append(attempt())
    assert record.attempts()[0].time.endswith("+00:00")


def test_rows_cannot_be_changed_or_removed(tmp_path: Path) -> None:
    record = Record(tmp_path)
    record.append(attempt())
    record.set_learner("Robin")
    connection = sqlite3.connect(record.path)
    try:
        for statement in ("UPDATE attempt SET score = 1", "DELETE FROM attempt", "DELETE FROM preference"):
            with pytest.raises(sqlite3.IntegrityError, match="rows are kept"):
                connection.execute(statement)
    finally:
        connection.close()


def test_name_and_units(tmp_path: Path) -> None:
    record = Record(tmp_path)
    assert (record.learner(), record.units()) == ("", "us")
    assert record.set_learner("  Robin Ålund ") == "Robin Ålund"
    record.set_learner("Kim")
    record.set_learner("Kim")
    record.set_units("metric")
    assert (record.learner(), record.units()) == ("Kim", "metric")
    assert len(record.set_learner("x" * 10_000)) == 200
    with pytest.raises(RecordError, match=r"'us' or 'metric'"):
        record.set_units("furlongs")
    connection = sqlite3.connect(record.path)
    try:
        names = [row[0] for row in connection.execute("SELECT value FROM preference WHERE name='learner' ORDER BY id")]
    finally:
        connection.close()
    assert names[:2] == ["Robin Ålund", "Kim"]  # the earlier name stands, the repeated one adds nothing
    assert len(names) == 3


HOSTILE = (
    "a\0b",
    "Robert'); DROP TABLE attempt;--",
    "\"quoted\" \\ and 'single'",
    "x" * 10_000,
    "valve \N{FIRE} \N{FAMILY} \U0001f6e0\ufe0f",
    "<script>alert(1)</script>",
    "\u202eright to left",
    "",
    "\ud800",
)


@pytest.mark.parametrize("text", HOSTILE, ids=range(len(HOSTILE)))
def test_hostile_text_round_trips(tmp_path: Path, text: str) -> None:
    record = Record(tmp_path)
    record.append(attempt(learner=text, item_key=text, objective=text, answer={"typed": text, text: 1}))
    (row,) = record.attempts()
    # Half a surrogate pair is no text any file can hold; in a name it is replaced, in the answer's JSON it is kept.
    kept = text.replace("\ud800", "?")
    assert (row.attempt.learner, row.attempt.item_key, row.attempt.objective) == (kept, kept, kept)
    assert row.attempt.answer == {"typed": text, text: 1}
    record.check()


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(name=st.text(), answer=st.recursive(st.none() | st.integers() | st.text(), st.lists, max_leaves=5))
def test_any_text_round_trips(tmp_path: Path, name: str, answer: object) -> None:
    record = Record(tmp_path)
    record.append(attempt(learner=name, answer=answer))
    last = record.attempts()[-1].attempt
    assert last.answer == answer
    assert last.learner == name.encode("utf-8", "replace").decode()


@pytest.mark.parametrize(
    "changes",
    [
        {"score": float("nan")},
        {"seconds": float("inf")},
        {"maximum": 0.0},
        {"answer": float("nan")},
        {"answer": {1, 2}},
        {"answer": "x" * 100_001},
        {"answer": [[[[[[[[[[[[[[[[[[[[["deep"]]]]]]]]]]]]]]]]]]]]]},
        {"score": 1.5},
        {"score": -0.5},
        {"seed": 2**63},
    ],
)
def test_what_is_no_result_is_not_written(tmp_path: Path, changes: dict[str, object]) -> None:
    record = Record(tmp_path)
    with pytest.raises(RecordError, match="Nothing was written"):
        record.append(attempt(**changes))
    assert record.attempts() == ()


WRITER = """
import sys
from pathlib import Path
from toolkit.classroom.record import Attempt, Record
folder, learner, count, ballast = sys.argv[1], sys.argv[2], int(sys.argv[3]), int(sys.argv[4])
record = Record(Path(folder))
print("ready", flush=True)
sys.stdin.readline()
for number in range(count):
    answer = {"number": number, "ballast": "x" * ballast}
    record.append(Attempt(learner, "0", "01", "key", "hash", "objective", number, answer, 1.0, 1.0, 0.0))
    print(number, flush=True)
"""


def start_writer(folder: Path, learner: str, count: int, ballast: int = 0) -> subprocess.Popen[str]:
    command = [sys.executable, "-c", WRITER, str(folder), learner, str(count), str(ballast)]
    return subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)


def start_together(*writers: subprocess.Popen[str]) -> None:
    for writer in writers:
        assert writer.stdout is not None
        assert writer.stdout.readline() == "ready\n"
    for writer in writers:
        assert writer.stdin is not None
        writer.stdin.write("go\n")
        writer.stdin.flush()


KILLER = """
import json, os, random, signal, sys, time
from pathlib import Path
from toolkit.classroom.record import Attempt, Record

def write(record, turn, pipe):
    number = 0
    while True:
        answer = {"number": number, "ballast": "x" * 20000}
        learner = ("Robin", "Kim")[number % 2]
        id_ = record.append(Attempt(learner, "0", "01", "key", str(turn), "objective", number, answer, 0.1, 0.3, 1 / 3))
        os.write(pipe, f"{id_} {turn} {number}\\n".encode())
        number += 1

moments = random.Random(20)
for turn in range(int(sys.argv[2])):
    # A new file now and then, so that its making is met too.
    record = Record(Path(sys.argv[1]) / str(turn // 8))
    out, into = os.pipe()
    writer = os.fork()
    if writer == 0:
        os.close(out)
        write(record, turn, into)
    os.close(into)
    with os.fdopen(out) as said:
        acknowledged = [said.readline() for _ in range(moments.randint(0, 3))]
        time.sleep(moments.uniform(0.0, 0.02))
        os.kill(writer, signal.SIGKILL)
        # What it had still said before it died was acknowledged too.
        acknowledged += said.readlines()
    os.waitpid(writer, 0)
    torn = record.path.with_name(record.path.name + "-journal").exists()
    record.check()
    kept = [(one.id, int(one.attempt.item_hash), one.attempt.seed) for one in record.attempts()]
    whole = all(len(one.attempt.answer["ballast"]) == 20000 for one in record.attempts())
    said = [tuple(map(int, line.split())) for line in acknowledged]
    print(json.dumps([str(record.path), torn, whole, record.verify().holds, said, kept]), flush=True)
"""
KILLS = 200


@pytest.mark.skipif(not hasattr(os, "fork"), reason="kills processes that it forks")
def test_killed_at_200_moments_while_writing_loses_no_acknowledged_attempt(tmp_path: Path) -> None:
    """Seeded moments, from before the first answer to some answers later, in the middle of whatever is then done."""
    command = [sys.executable, "-c", KILLER, str(tmp_path), str(KILLS)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=300)
    assert done.returncode == 0, done.stderr
    turns = [json.loads(line) for line in done.stdout.splitlines()]
    assert len(turns) == KILLS
    acknowledged: dict[str, list[list[int]]] = {}
    for number, (file, _, whole, holds, said, kept) in enumerate(turns):
        acknowledged.setdefault(file, []).extend(said)
        assert (whole, holds) == (True, True)
        assert all(one in kept for one in acknowledged[file])
        assert [one[0] for one in kept] == list(range(1, len(kept) + 1))
        # At most one attempt per kill was on the disk but not yet acknowledged.
        assert len(kept) - len(acknowledged[file]) <= number % 8 + 1
    # The test is worth something only if some were killed with pages half written, and some had been acknowledged.
    assert sum(torn for _, torn, *_ in turns) >= 10
    assert sum(len(said) for *_, said, _ in turns) >= KILLS


HALF_DONE = """
import sqlite3, sys
connection = sqlite3.connect(sys.argv[1], isolation_level=None)
connection.execute("PRAGMA cache_size = 1")
connection.execute("BEGIN IMMEDIATE")
for _ in range(50):
    connection.execute(
        "INSERT INTO attempt (time, learner, course_version, lesson, item_key, item_hash, objective, seed, answer,"
        " score, maximum, seconds, previous, hash)"
        " VALUES ('now', 'half done', '0', '01', 'k', 'h', 'o', 1, ?, 1, 1, 1, '', '')",
        ('"' + "x" * 20000 + '"',),
    )
print("half", flush=True)
sys.stdin.readline()
"""


def test_kill_with_pages_half_written_is_undone(tmp_path: Path) -> None:
    record = Record(tmp_path)
    record.append(attempt())
    before = record.path.read_bytes()
    command = [sys.executable, "-c", HALF_DONE, str(record.path)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as writer:
        assert writer.stdout is not None
        assert writer.stdout.readline() == "half\n"
        os.kill(writer.pid, signal.SIGKILL)
    assert record.path.read_bytes() != before  # the file is in fact torn: unfinished pages are in it
    assert [row.attempt for row in record.attempts()] == [attempt()]
    record.check()
    record.append(attempt(seed=8))
    assert [row.attempt.seed for row in record.attempts()] == [7, 8]


def test_kill_before_the_tables_stand_leaves_a_usable_file(tmp_path: Path) -> None:
    (tmp_path / FILE_NAME).touch()
    record = Record(tmp_path)
    assert record.attempts() == ()
    record.append(attempt())
    assert len(record.attempts()) == 1


def test_two_windows_write_at_once(tmp_path: Path) -> None:
    with start_writer(tmp_path, "left", 100) as left, start_writer(tmp_path, "right", 100) as right:
        start_together(left, right)
        assert left.communicate()[0].split() == right.communicate()[0].split() == [str(n) for n in range(100)]
    assert left.returncode == right.returncode == 0
    record = Record(tmp_path)
    record.check()
    rows = record.attempts()
    assert len(rows) == 200
    assert record.verify().holds  # one chain each, whoever wrote in between
    for learner in ("left", "right"):
        assert [row.attempt.seed for row in rows if row.attempt.learner == learner] == list(range(100))


def test_a_file_held_for_long_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("toolkit.classroom.store.BUSY_SECONDS", 0.0)
    record = Record(tmp_path)
    record.append(attempt())
    holder = sqlite3.connect(record.path, isolation_level=None)
    try:
        holder.execute("BEGIN EXCLUSIVE")
        with pytest.raises(RecordError, match="Close other windows"):
            record.append(attempt())
    finally:
        holder.close()
    record.append(attempt())
    assert len(record.attempts()) == 2


FULL = """
import resource, sys
from pathlib import Path
from toolkit.classroom.record import Attempt, Record
from toolkit.errors import RecordError
record = Record(Path(sys.argv[1]))
resource.setrlimit(resource.RLIMIT_FSIZE, (60000, 60000))
for number in range(1000):
    try:
        answer = "x" * 500
        print(record.append(Attempt("Robin", "0", "01", "k", "h", "o", number, answer, 1.0, 1.0, 1.0)), flush=True)
    except RecordError as error:
        print(error)
        break
"""


@pytest.mark.skipif(sys.platform == "win32", reason="limits the size of a file as only Unix does")
def test_no_room_on_the_disk_is_said_and_nothing_acknowledged_is_lost(tmp_path: Path) -> None:
    """The system itself refuses to let the file grow; after that, and with room again, all is there."""
    done = subprocess.run(
        [sys.executable, "-c", FULL, str(tmp_path)], capture_output=True, text=True, check=True, timeout=120
    )
    *acknowledged, message = done.stdout.splitlines()
    assert "cannot be opened or written" in message
    assert "room on the disk" in message
    record = Record(tmp_path)
    record.check()
    assert record.verify().holds
    assert [row.id for row in record.attempts()] == [int(line) for line in acknowledged]
    assert len(acknowledged) > 20
    assert record.append(attempt()) == len(acknowledged) + 1


def use(record: Record) -> tuple[object, ...]:
    """Every call a notebook makes; each must refuse in the same plain way."""
    calls = (
        record.attempts,
        lambda: record.append(attempt()),
        record.learner,
        lambda: record.set_learner("Kim"),
        record.units,
        lambda: record.set_units("metric"),
        record.check,
        record.verify,
        record.events,
    )
    messages = []
    for call in calls:
        with pytest.raises(RecordError) as caught:
            call()
        messages.append(str(caught.value))
    return tuple(messages)


@pytest.mark.parametrize(
    "damage", [b"not a database at all, just some text " * 40, b"SQLite format 3\0" + b"\xff" * 5000]
)
def test_damaged_file_is_kept(tmp_path: Path, damage: bytes) -> None:
    (tmp_path / FILE_NAME).write_bytes(damage)
    before = folder_state(tmp_path)
    for message in use(Record(tmp_path)):
        assert "is damaged" in str(message)
        assert "kept as it is" in str(message)
        assert str(tmp_path / FILE_NAME) in str(message)
    assert folder_state(tmp_path) == before


def test_damage_deep_in_the_file_is_found(tmp_path: Path) -> None:
    record = Record(tmp_path)
    for seed in range(50):
        record.append(attempt(seed=seed, answer="x" * 5000))
    page = record.path.read_bytes()
    start, end = 12 * 4096, 16 * 4096  # behind the pages of the tables' own roots
    torn = page[:start] + b"\xee" * (end - start) + page[end:]
    record.path.write_bytes(torn)
    with pytest.raises(RecordError, match="is damaged"):
        record.check()
    with pytest.raises(RecordError, match="is damaged"):
        record.attempts()
    assert record.path.read_bytes() == torn


def test_newer_form_is_left_alone(tmp_path: Path) -> None:
    record = Record(tmp_path)
    record.append(attempt())
    connection = sqlite3.connect(record.path)
    connection.execute(f"PRAGMA user_version = {SCHEMA_VERSION + 1}")
    connection.close()
    before = folder_state(tmp_path)
    for message in use(record):
        assert f"form {SCHEMA_VERSION + 1}" in str(message)
        assert "newer version" in str(message)
    assert folder_state(tmp_path) == before


@pytest.mark.parametrize("application", [0, APPLICATION_ID + 1])
def test_another_programs_file_is_left_alone(tmp_path: Path, application: int) -> None:
    connection = sqlite3.connect(tmp_path / FILE_NAME)
    connection.execute("CREATE TABLE recipes (name TEXT)")
    connection.execute(f"PRAGMA application_id = {application}")
    connection.commit()
    connection.close()
    before = folder_state(tmp_path)
    for message in use(Record(tmp_path)):
        assert "another program" in str(message)
    assert folder_state(tmp_path) == before


def test_a_folder_that_cannot_be_made_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    record = Record(tmp_path / "file" / "folder")
    with pytest.raises(RecordError, match=FOLDER_VARIABLE):
        record.append(attempt())


@pytest.mark.skipif(os.name != "posix", reason="files have no such rights here")
def test_a_record_is_for_this_user_alone(tmp_path: Path) -> None:
    before = os.umask(0o022)
    try:
        record = Record(tmp_path / "data")
        record.set_learner("Robin")
    finally:
        os.umask(before)
    assert [one.stat().st_mode & 0o777 for one in (record.path, record.path.parent)] == [0o600, 0o700]


@pytest.mark.skipif(not hasattr(os, "seteuid"), reason="needs a system with users")
def test_read_only_folder_can_be_read_and_says_why_it_is_not_written(tmp_path: Path) -> None:
    record = Record(tmp_path)
    record.append(attempt())
    tmp_path.chmod(0o555)
    record.path.chmod(0o444)
    outer = [parent for parent in tmp_path.parents if parent.name.startswith(("pytest-", "popen-"))]
    modes = {parent: parent.stat().st_mode for parent in outer}
    user = os.geteuid()
    try:
        for parent in outer:
            parent.chmod(0o755)
        if user == 0:
            os.seteuid(65534)  # root may write anywhere; become nobody for the moment
        assert [row.attempt for row in record.attempts()] == [attempt()]
        with pytest.raises(RecordError, match="cannot be opened or written"):
            record.append(attempt())
        with pytest.raises(RecordError, match="cannot be opened or written"):
            Record(tmp_path / "inner").append(attempt())
    finally:
        os.seteuid(user)
        for parent, mode in modes.items():
            parent.chmod(mode)
        tmp_path.chmod(0o755)
    assert len(record.attempts()) == 1


def test_folder_of_the_record(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path))
    assert data_folder() == tmp_path
    assert Record().path == tmp_path / FILE_NAME
    monkeypatch.delenv(FOLDER_VARIABLE)
    assert data_folder().name == "guarded-pressure"


def test_paths_with_odd_characters(tmp_path: Path) -> None:
    record = Record(tmp_path / "50% #1 ? mode=ro")
    record.append(attempt())
    assert len(record.attempts()) == 1
    assert record.path.exists()


def test_standings(tmp_path: Path) -> None:
    record = Record(tmp_path)
    for key, score in (("01.a", 0.0), ("01.a", 2.0), ("01.a", 1.0), ("01.b", 0.5)):
        record.append(attempt(item_key=key, score=score, maximum=2.0))
    record.append(attempt(lesson="00", item_key="00.a", score=1.0))
    first, second, third = standings(record.attempts())
    assert (first.attempts, first.best, first.last) == (3, 1.0, 0.5)
    assert (second.attempts, second.best, second.last) == (1, 0.25, 0.25)
    assert third.lesson == "00"
    lessons = lesson_standings(record.attempts())
    assert [lesson.lesson for lesson in lessons] == ["00", "01"]
    assert (lessons[1].items, lessons[1].attempts, lessons[1].best, lessons[1].last) == (2, 4, 0.625, 0.375)
    assert lesson_standings(()) == ()
