"""The record kept twice, put back, and read out of files damaged in every way that was thought of."""

from __future__ import annotations

import os
import random
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from test_chain import attempt, filled, form_1, tamper

from toolkit.classroom import store
from toolkit.classroom.chain import CHAINED, RESTORED, SALVAGED, START, linked, verdict
from toolkit.classroom.pages import rows
from toolkit.classroom.record import Record, utc_now
from toolkit.classroom.salvage import back_up, restore, salvage, salvaged
from toolkit.errors import RecordError
from toolkit.front.command import main


def written(folder: Path, count: int = 120) -> Record:
    """A record of some pages: short answers, and now and then one that runs over several pages."""
    record = Record(folder)
    record.set_learner("Kim")
    with store.writing(record.path, utc_now) as connection:
        heads: dict[str, str] = {}
        for number in range(1, count + 1):
            answer = "long " * 1500 if number % 25 == 0 else f"{number} psi"
            one = store.Recorded(number, utc_now(), attempt(("Robin", "Kim")[number % 2], number, answer=answer))
            one = linked(one, heads.get(one.attempt.learner, START))
            heads[one.attempt.learner] = one.hash
            store.add_attempt(connection, one)
    assert record.verify().holds
    return record


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Record:
    """A record that no test changes."""
    return written(tmp_path_factory.mktemp("sound"))


def state(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


# Backup and restore


def test_a_backup_is_put_back(sound: Record, tmp_path: Path) -> None:
    copy = tmp_path / "backup.sqlite3"
    done = back_up(sound.path, copy, utc_now)
    assert (done.attempts, done.kept, done.verdict.holds) == (120, None, True)
    assert list(tmp_path.iterdir()) == [copy]
    other = Record(tmp_path / "other")
    done = restore(copy, other.path, utc_now)
    assert (done.attempts, done.kept) == (120, None)
    assert other.attempts() == sound.attempts()
    assert other.learner() == "Kim"
    assert [event.kind for event in other.events()] == [RESTORED]
    assert "An earlier copy was put back" in other.verify().words
    assert other.append(attempt()) == 121
    assert other.verify().holds
    other.check()


def test_nothing_is_written_over_unless_asked_and_then_it_is_kept(sound: Record, tmp_path: Path) -> None:
    copy = tmp_path / "backup.sqlite3"
    copy.write_bytes(b"mine")
    with pytest.raises(RecordError, match="--replace"):
        back_up(sound.path, copy, utc_now)
    assert state(tmp_path) == {"backup.sqlite3": b"mine"}
    done = back_up(sound.path, copy, utc_now, over=True)
    assert done.kept is not None
    assert done.kept.read_bytes() == b"mine"

    record = filled(tmp_path / "data")
    before = record.attempts()
    with pytest.raises(RecordError, match=r"with 9 answers in it\. Say --replace"):
        restore(copy, record.path, utc_now)
    assert record.attempts() == before
    done = restore(copy, record.path, utc_now, over=True)
    assert done.kept is not None
    assert done.kept.parent == record.path.parent
    assert len(record.attempts()) == 120
    kept = done.kept.parent / "kept"
    kept.mkdir()
    done.kept.rename(kept / "record.sqlite3")
    assert Record(kept).attempts() == before
    # What is replaced is nowhere in the file: a salvage must not take it for answers.
    restore(kept / "record.sqlite3", record.path, utc_now, over=True)
    record.check()
    assert salvaged(record.path.read_bytes(), record.path, utc_now).attempts == before


def test_a_backup_in_the_older_form_is_chained_as_it_is_put_back(tmp_path: Path) -> None:
    older = form_1(tmp_path / "older")
    copy = tmp_path / "copy.sqlite3"
    assert back_up(older.path, copy, utc_now).verdict.chained_later == 6
    record = Record(tmp_path / "new")
    restore(copy, record.path, utc_now)
    assert [event.kind for event in record.events()] == [CHAINED, RESTORED]
    assert record.verify().holds
    over = form_1(tmp_path / "over")
    done = restore(copy, over.path, utc_now, over=True)
    assert (done.attempts, done.kept is not None) == (6, True)


def test_a_backup_while_answers_are_written_holds(tmp_path: Path) -> None:
    record = filled(tmp_path)
    writer = "import sys; from pathlib import Path; from test_chain import attempt, Record\n"
    writer += "record = Record(Path(sys.argv[1]))\nprint('ready', flush=True)\n"
    writer += "for n in range(60): record.append(attempt(seed=n))\n"
    command = [sys.executable, "-c", writer, str(tmp_path)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=Path(__file__).parent) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        for number in range(5):
            done = back_up(record.path, tmp_path / f"copy {number}.sqlite3", utc_now)
            assert done.verdict.holds
            assert done.attempts >= 9
    assert process.returncode == 0
    assert len(record.attempts()) == 69


def test_a_spoiled_chain_is_copied_and_told(tmp_path: Path) -> None:
    record = filled(tmp_path)
    tamper(record, "UPDATE attempt SET score = 1 WHERE id = 4")
    assert back_up(record.path, tmp_path / "copy.sqlite3", utc_now).verdict.first_unfit == 4


def foreign(path: Path) -> None:
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("CREATE TABLE recipes (name TEXT)")


def newer(path: Path) -> None:
    record = filled(path.parent / "newer")
    with closing(sqlite3.connect(record.path)) as connection:
        connection.execute("PRAGMA user_version = 3")
    record.path.rename(path)


WRONG = {
    "absent": (lambda _: None, "There is no file"),
    "empty": (lambda path: path.touch(), "is empty"),
    "folder": (lambda path: path.mkdir(), "is a folder"),
    "text": (
        lambda path: path.write_text("shopping list\n" * 99),
        r"is not a record\. Name a file that `course backup` wrote\.$",
    ),
    "foreign": (foreign, "made by another program"),
    "newer": (newer, "newer version"),
    "cut": (lambda path: path.write_bytes(filled(path.parent / "cut").path.read_bytes()[:9000]), "is damaged"),
}


@pytest.mark.parametrize("wrong", WRONG)
def test_what_is_no_sound_record_is_not_put_back(tmp_path: Path, wrong: str) -> None:
    make, words = WRONG[wrong]
    source = tmp_path / "source.sqlite3"
    make(source)
    record = filled(tmp_path / "data")
    before = state(tmp_path / "data")
    with pytest.raises(RecordError, match=words):
        restore(source, record.path, utc_now, over=True)
    assert state(tmp_path / "data") == before


@pytest.mark.parametrize("wrong", ["text", "foreign", "newer", "cut"])
def test_a_backup_takes_the_place_of_what_cannot_be_used_and_keeps_it(
    sound: Record, tmp_path: Path, wrong: str
) -> None:
    record = Record(tmp_path / "data")
    (tmp_path / "data").mkdir()
    WRONG[wrong][0](record.path)
    journal = record.path.with_name(record.path.name + "-journal")
    journal.write_bytes(b"left over")
    before = record.path.read_bytes()
    with pytest.raises(RecordError, match="--replace"):
        restore(sound.path, record.path, utc_now)
    done = restore(sound.path, record.path, utc_now, over=True)
    assert done.kept is not None
    assert done.kept.read_bytes() == before
    assert record.attempts() == sound.attempts()
    assert not journal.exists()  # it belonged to the old file, and must not be played back into the new one
    record.check()


def test_a_record_that_is_held_is_not_taken_for_a_damaged_one(
    sound: Record, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(store, "BUSY_SECONDS", 0.0)
    record = filled(tmp_path)
    with closing(sqlite3.connect(record.path, isolation_level=None)) as holder:
        holder.execute("BEGIN EXCLUSIVE")
        with pytest.raises(RecordError, match="held by another program"):
            restore(sound.path, record.path, utc_now, over=True)
    assert len(record.attempts()) == 9


def test_a_file_without_a_byte_in_it_is_no_record_to_keep(sound: Record, tmp_path: Path) -> None:
    record = Record(tmp_path)
    record.path.touch()
    assert restore(sound.path, record.path, utc_now).kept is None


def test_a_full_disk_leaves_the_record_as_it_was(
    sound: Record, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The database itself reports a full disk: it may have no more pages than the record has now."""
    record = filled(tmp_path / "data")
    before = record.attempts()
    connect = store._connect

    def full(path: Path, mode: str) -> sqlite3.Connection:
        connection = connect(path, mode)
        if path == record.path:
            connection.execute("PRAGMA max_page_count = 9")
        return connection

    monkeypatch.setattr(store, "_connect", full)
    with pytest.raises(RecordError, match="room on the disk"):
        restore(sound.path, record.path, utc_now, over=True)
    with pytest.raises(RecordError, match="room on the disk"):
        record.append(attempt(answer="x" * 50_000))
    record.append(attempt())  # a short one still has room
    monkeypatch.undo()
    assert record.attempts()[:-1] == before
    assert record.verify().holds
    record.check()


def test_a_backup_that_has_no_room_names_its_own_place(
    sound: Record, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The database itself reports a full disk: the copy may have no more pages than two."""
    connect, target = sqlite3.connect, tmp_path / "stick.sqlite3"

    def full(path: Path | str, **how: Any) -> sqlite3.Connection:
        connection = connect(path, **how)
        if not how:  # the copy; the record is opened by its address
            connection.execute("PRAGMA max_page_count = 2")
        return connection

    monkeypatch.setattr(sqlite3, "connect", full)
    with pytest.raises(RecordError, match="room on the disk") as refused:
        back_up(sound.path, target, utc_now)
    assert str(target) in str(refused.value)
    assert str(sound.path) not in str(refused.value)
    assert state(tmp_path) == {}


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="there are no pipes among files here")
@pytest.mark.parametrize("task", ["salvage", "restore"])
def test_a_pipe_is_not_waited_for(tmp_path: Path, task: str) -> None:
    os.mkfifo(tmp_path / "pipe")
    done = subprocess.run(
        [sys.executable, "-m", "toolkit.front.command", task, str(tmp_path / "pipe")],
        env=os.environ | {store.FOLDER_VARIABLE: str(tmp_path / "data")},
        capture_output=True,
        timeout=20,
    )
    assert done.returncode == 2
    assert b"is not a plain file" in done.stderr


def test_a_damaged_record_comes_back_if_the_copy_cannot_be_written(
    sound: Record, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    record = Record(tmp_path)
    record.path.write_text("damaged " * 2000)
    before = state(tmp_path)

    def fails(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("toolkit.classroom.salvage.write_all", fails)
    with pytest.raises((RecordError, OSError)):
        restore(sound.path, record.path, utc_now, over=True)
    assert state(tmp_path) == before


# Salvage


def test_rows_are_read_page_by_page_as_the_database_reads_them(sound: Record) -> None:
    """Every table, also rows of several pages: the reader by hand against SQLite itself."""
    with closing(sqlite3.connect(sound.path)) as connection:
        wanted = set()
        for table in ("attempt", "preference", "event", "sqlite_sequence", "sqlite_master"):
            key = "NULL" if table.startswith("sqlite") else "id"
            for rowid, *values in connection.execute(f"SELECT rowid, * FROM {table}"):
                wanted.add((rowid, *(values[1:] if key == "id" else values)))
    read = {(rowid, *(values[1:] if values[0] is None else values)) for rowid, values in rows(sound.path.read_bytes())}
    assert read == wanted
    assert len(read) > 120


def test_the_reader_knows_every_kind_of_value_and_size_of_page(tmp_path: Path) -> None:
    whole = [0, 1, -1, 127, -128, 2**15 - 1, -(2**15), 2**23 - 1, 2**31 - 1, 2**47 - 1, 2**63 - 1, -(2**63)]
    plain = [*whole, None, 0.5, -1e300, "", "Å" * 700, b"\x00\xff" * 900, "x" * 90_000]
    for size in (512, 1024, 4096, 65536):
        # Also every length at which a row just fits its page, or just does not.
        values = [*plain, *("y" * length for length in range(size - 60, size - 20))]
        path = tmp_path / f"{size}.sqlite3"
        with closing(sqlite3.connect(path)) as connection, connection:
            connection.execute(f"PRAGMA page_size = {size}")
            connection.execute("CREATE TABLE t (a, b)")
            connection.executemany("INSERT INTO t (rowid, a, b) VALUES (?, 'mark', ?)", list(enumerate(values, -3)))
        read = [(rowid, row[1]) for rowid, row in rows(path.read_bytes()) if row[0] == "mark"]
        assert sorted(read, key=lambda one: one[0]) == list(enumerate(values, -3))


def read_out(data: bytes, sound: Record, least: int) -> int:
    """Salvage bytes, check what must hold of any salvage, and return how many rows came out."""
    original = {one.id: one for one in sound.attempts()}
    try:
        found = salvaged(data, sound.path, utc_now)
    except RecordError:
        assert least == 0
        return 0
    rows_read = {one.id: one for one in found.attempts}
    unfit = [id_ for id_, one in rows_read.items() if original.get(id_) != one]
    told = [n for event in found.events for a, b in event.lost for n in range(a, b + 1)]
    assert sorted({*rows_read, *told}) == list(range(1, found.last + 1))
    assert not {*rows_read} & {*told}
    assert [event.kind for event in found.events][-1] == SALVAGED
    # Nothing that is not an answer as it was written passes for one.
    assert set(unfit) <= set(verdict(found.attempts, found.events, whole=True).unfit)
    assert len(rows_read) - len(unfit) >= least
    return len(rows_read)


def test_a_sound_file_is_read_out_whole(sound: Record) -> None:
    assert read_out(sound.path.read_bytes(), sound, 120) == 120


def test_a_file_cut_off_anywhere(sound: Record) -> None:
    data = sound.path.read_bytes()
    counts = [read_out(data[:end], sound, 0) for end in range(0, len(data), 997)]
    assert counts == sorted(counts)
    assert counts[-1] > 110


def test_a_page_of_noughts(sound: Record) -> None:
    data = sound.path.read_bytes()
    pages = len(data) // 4096
    counts = [read_out(data[: n * 4096] + bytes(4096) + data[(n + 1) * 4096 :], sound, 90) for n in range(pages)]
    assert min(counts) < 120
    assert counts[0] == 120  # without its first page no database opens it; the rows are all there
    assert sum(count == 120 for count in counts) >= 3


@pytest.mark.parametrize("flips", [1, 10, 100, 3000])
def test_bytes_flipped_at_random(sound: Record, flips: int) -> None:
    chance = random.Random(flips)
    for _ in range(25):
        data = bytearray(sound.path.read_bytes())
        for _ in range(flips):
            data[chance.randrange(len(data))] = chance.randrange(256)
        read_out(bytes(data), sound, {1: 90, 10: 20}.get(flips, 0))


def test_noise_and_other_files_give_nothing(sound: Record) -> None:
    chance = random.Random(5)
    for size in (0, 1, 99, 4096, 40_000):
        assert read_out(chance.randbytes(size), sound, 0) == 0
        assert read_out(b"SQLite format 3\0" + chance.randbytes(size), sound, 0) == 0
        assert read_out(b"\x0d" * size, sound, 0) == 0


@pytest.mark.parametrize("spoiled_first", [True, False])
def test_of_two_rows_of_one_number_the_one_that_fits_is_taken(sound: Record, spoiled_first: bool) -> None:
    data = sound.path.read_bytes()
    start = data.index(b'"60 psi"') // 4096 * 4096
    page = data[start : start + 4096]
    spoiled = page.replace(b'"60 psi"', b'"99 psi"')
    here, behind = (spoiled, page) if spoiled_first else (page, spoiled)
    both = data[:start] + here + data[start + 4096 :] + behind
    assert salvaged(both, sound.path, utc_now).attempts == sound.attempts()


def test_lost_rows_stay_told_and_the_chain_goes_on(sound: Record, tmp_path: Path) -> None:
    data = sound.path.read_bytes()
    broken = tmp_path / "broken.sqlite3"
    # The page in which answer 60 stands, found by words that no other answer has.
    page = data.index(b'"60 psi"') // 4096
    broken.write_bytes(data[: page * 4096] + bytes(4096) + data[(page + 1) * 4096 :])
    before = broken.read_bytes()
    done = salvage(broken, tmp_path / "out.sqlite3", utc_now)
    assert broken.read_bytes() == before
    assert done.verdict.holds
    ((first, last),) = done.verdict.lost
    assert first <= 60 <= last > first
    assert done.attempts == 120 - (last - first + 1)
    assert f"answer {first} to {last}" in done.verdict.words
    record = Record(tmp_path / "data")
    restore(done.path, record.path, utc_now)
    record.append(attempt("Kim"))
    found = record.verify()
    assert (found.holds, found.lost, record.learner()) == (True, ((first, last),), "Kim")
    assert record.attempts()[-1].id == 121
    # Beside the gap nothing is forgiven: not a row that names another before it, nor Robin's last one taken out.
    rows_now = list(record.attempts())
    assert (rows_now[-2].attempt.learner, rows_now[-2].id) == ("Robin", 120)
    rows_now[-2] = linked(rows_now[-2], START)
    assert verdict(rows_now, record.events(), whole=True).first_unfit == 120
    tamper(record, "DELETE FROM attempt WHERE id = 120")
    assert record.verify().unfit == (121,)


def test_a_changed_row_goes_on_not_fitting(tmp_path: Path) -> None:
    record = filled(tmp_path / "data")
    tamper(record, "UPDATE attempt SET score = 1 WHERE id = 4")
    done = salvage(record.path, tmp_path / "out.sqlite3", utc_now)
    assert (done.attempts, done.verdict.unfit) == (9, (4,))


def test_the_older_form_is_read_out_too(tmp_path: Path) -> None:
    older = form_1(tmp_path / "older", 60)
    data = bytearray(older.path.read_bytes())
    data[:100] = bytes(100)
    broken = tmp_path / "broken.sqlite3"
    broken.write_bytes(data)
    done = salvage(broken, tmp_path / "out.sqlite3", utc_now)
    assert (done.attempts, done.verdict.holds, done.verdict.chained_later) == (60, True, 60)


def test_a_file_of_a_newer_form_is_for_the_newer_version(tmp_path: Path) -> None:
    newer(tmp_path / "newer.sqlite3")
    # The number alone may be damage: rows that fit their chain are taken.
    assert salvage(tmp_path / "newer.sqlite3", tmp_path / "out.sqlite3", utc_now).attempts == 9
    record = filled(tmp_path / "data")
    tamper(
        record,
        "ALTER TABLE attempt ADD COLUMN mood TEXT",
        "UPDATE attempt SET mood = 'good'",
        "PRAGMA user_version = 3",
    )
    with pytest.raises(RecordError, match="newer version"):
        salvage(record.path, tmp_path / "out 2.sqlite3", utc_now)
    assert not (tmp_path / "out 2.sqlite3").exists()


def test_nothing_is_written_over_by_a_salvage(sound: Record, tmp_path: Path) -> None:
    target = tmp_path / "out.sqlite3"
    target.write_text("mine")
    with pytest.raises(RecordError, match="there already"):
        salvage(sound.path, target, utc_now)
    with pytest.raises(RecordError, match="own copy"):
        salvage(sound.path, sound.path, utc_now)
    with pytest.raises(RecordError, match="is a folder"):
        salvage(tmp_path, tmp_path / "new.sqlite3", utc_now)
    assert state(tmp_path) == {"out.sqlite3": b"mine"}


# The commands


def test_the_commands_from_backup_to_salvage(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv(store.FOLDER_VARIABLE, str(tmp_path / "data"))
    monkeypatch.chdir(tmp_path)

    def said(*words: str) -> tuple[int, str]:
        code = main(words)
        out = capsys.readouterr()
        return code, out.out + out.err

    assert said("backup") == (2, f"Nothing is recorded yet: there is no file {tmp_path / 'data' / 'record.sqlite3'}, "
                              "so there is nothing to back up.\n")  # fmt: skip
    assert said("salvage") == (2, f"Nothing is recorded yet: there is no file {tmp_path / 'data' / 'record.sqlite3'}, "
                               "so there is nothing to read out.\n")  # fmt: skip
    record = filled(tmp_path / "data")
    code, text = said("backup")
    assert code == 0
    assert "9 answers." in text
    assert "The chain holds over 9 answers." in text
    assert "What does not show" in text
    (copy,) = tmp_path.glob("guarded-pressure-backup-*.sqlite3")
    assert said("restore", copy.name)[0] == 2
    record.path.write_bytes(record.path.read_bytes()[:-4096])
    code, text = said("backup", "other.sqlite3")
    assert (code, "is damaged" in text, "course salvage" in text) == (2, True, True)
    code, text = said("salvage", "--to", "out.sqlite3")
    assert (code, 'course restore "out.sqlite3" --replace' in text) == (0, True)
    code, text = said("restore", copy.name, "--replace")
    assert (code, "is kept as" in text) == (0, True)
    assert len(record.attempts()) == 9
    assert said("restore", "nowhere")[0] == 2


@pytest.mark.skipif(not hasattr(os, "seteuid"), reason="needs a system with users")
def test_a_folder_that_may_not_be_written(sound: Record, tmp_path: Path) -> None:
    target = tmp_path / "locked"
    target.mkdir(mode=0o555)
    outer = [
        parent
        for parent in (tmp_path, *tmp_path.parents)
        if parent.name.startswith(("pytest-", "popen-")) or parent == tmp_path
    ]
    modes = {parent: parent.stat().st_mode for parent in outer}
    user = os.geteuid()
    data = sound.path.read_bytes()
    try:
        for parent in outer:
            parent.chmod(0o755)
        here = tmp_path / "here.sqlite3"
        here.write_bytes(data)
        here.chmod(0o444)
        if user == 0:
            os.seteuid(65534)  # root may write anywhere; become nobody for the moment
        for task in (lambda: back_up(here, target / "copy.sqlite3", utc_now),
                     lambda: salvage(here, target / "out.sqlite3", utc_now),
                     lambda: restore(here, target / "record.sqlite3", utc_now)):  # fmt: skip
            with pytest.raises(RecordError, match="cannot be opened or written"):
                task()
    finally:
        os.seteuid(user)
        for parent, mode in modes.items():
            parent.chmod(mode)
        target.chmod(0o755)
    assert list(target.iterdir()) == []
