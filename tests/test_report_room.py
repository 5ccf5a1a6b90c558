"""`course report` on a served class's own folder: nobody has to hand in, and what cannot be read is listed."""

from __future__ import annotations

import shlex
from dataclasses import replace
from pathlib import Path

import pytest
from handed_in import attempt, first_evening_toml

from toolkit.classroom.gather import gather
from toolkit.classroom.hand_in import hand_in, packed
from toolkit.classroom.room import Room, Visitor, seed_here
from toolkit.classroom.session import session_of
from toolkit.front import command
from toolkit.front.report import files_in, gather_files, gather_room

FIRST = first_evening_toml()
SESSION = session_of(FIRST)


@pytest.fixture
def room(tmp_path: Path) -> Room:
    return Room(tmp_path / "room")


def answers(room: Room, name: str, count: int = 3) -> Visitor:
    visitor, _ = room.come_in(name)
    for item in SESSION.items[:count]:
        room.record(visitor).append(attempt(name, item, 1.0))
    return visitor


def test_what_is_gathered_is_what_each_would_have_handed_in(room: Room) -> None:
    people = {name: answers(room, name) for name in ("Ann", "Bo")}
    # the instructor's own tries are nobody's result
    room.record(Visitor("instructor", "Instructor")).append(attempt("", SESSION.items[0], 1.0))
    found = gather_room(room)
    records = {name: room.record(one) for name, one in people.items()}
    handed = [
        (
            one.path.relative_to(room.folder).as_posix(),
            packed(hand_in(name, "1", "2026-12-04T20:00:00+00:00", one.attempts(), one.events())),
        )
        for name, one in records.items()
    ]
    assert found.people == gather(handed).people
    assert [one.name for one in found.people] == ["Ann", "Bo"]
    assert all(one.holds for one in found.people)
    assert found.left == ()


def test_whose_answers_they_are_is_the_name_at_the_door(room: Room) -> None:
    ann = answers(room, "Ann")
    answers(room, "Bo", 1)
    room.record(ann).set_learner("Bo")
    room.record(ann).append(attempt("Bo", SESSION.items[3], 0.5))
    found = gather_room(room)
    assert [(one.name, len(one.attempts), one.holds) for one in found.people] == [("Ann", 4, True), ("Bo", 1, True)]
    assert "Under the name Ann there are 2 files" in found.notes[0]  # the instructor is told


def test_the_seed_of_a_visitor_goes_by_the_name_at_the_door(room: Room, monkeypatch: pytest.MonkeyPatch) -> None:
    each = replace(SESSION, seed_kind="each")
    room.take_session(FIRST.replace('kind = "same"', 'kind = "each"'))
    ann = answers(room, "Ann", 0)
    room.record(ann).set_learner("Bo")
    monkeypatch.setenv("GUARDED_PRESSURE_ROOM", str(room.folder))
    monkeypatch.setenv("GUARDED_PRESSURE_DATA", str(room.data_folder(ann)))
    assert seed_here(SESSION.lessons[0], "Bo") == each.seed_of("Ann")


def test_a_damaged_record_and_one_without_an_answer_are_listed_and_the_rest_is_read(room: Room) -> None:
    answers(room, "Ann")
    bo, cy = answers(room, "Bo <b>"), room.come_in("Cy")[0]
    path = room.record(bo).path
    path.write_bytes(b"no database" * 100)
    found = gather_room(room)
    assert [one.name for one in found.people] == ["Ann"]
    told = {one.file: (one.kind, one.why) for one in found.left}
    assert told.keys() == {f"visitors/{one.key}/record.sqlite3" for one in (bo, cy)}
    assert told[f"visitors/{bo.key}/record.sqlite3"][0] == "damaged"
    assert told[f"visitors/{bo.key}/record.sqlite3"][1].startswith("Bo <b>: ")
    assert told[f"visitors/{cy.key}/record.sqlite3"] == ("empty", "Cy has answered nothing yet")
    assert path.read_bytes() == b"no database" * 100


def test_a_damaged_file_at_the_door_is_told_and_the_record_beside_it_is_gathered(room: Room) -> None:
    ann = answers(room, "Ann")
    answers(room, "Bo")
    (room.data_folder(ann) / "visitor.json").write_text("{")
    found = gather_room(Room(room.folder))
    assert [(one.name, len(one.attempts)) for one in found.people] == [("Ann", 3), ("Bo", 3)]
    assert found.notes[0].startswith(f"visitors/{ann.key}/visitor.json is damaged.")


def test_a_visitor_s_record_is_read_out_put_back_and_gathered(
    room: Room, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("GUARDED_PRESSURE_DATA", str(tmp_path / "own"))
    monkeypatch.chdir(tmp_path)
    ann = answers(room, "Ann", 9)
    path = room.record(ann).path
    path.write_bytes(path.read_bytes()[:-4096])
    assert gather_room(room).people == ()
    assert command.main(["salvage", str(path), "--to", "out.sqlite3"]) == 0
    (advice,) = (line for line in capsys.readouterr().out.splitlines() if "course restore" in line)
    assert command.main(shlex.split(advice)[1:]) == 0
    assert not (tmp_path / "own").exists()  # never into the record of who does it
    (person,) = gather_room(Room(room.folder)).people
    assert person.name == "Ann"
    assert len(person.attempts) > 0
    # and as it was read out, among files handed in
    folder = tmp_path / "files"
    folder.mkdir()
    (tmp_path / "out.sqlite3").rename(folder / "out.sqlite3")
    assert [len(one.attempts) for one in gather_files(files_in(folder, tmp_path / "report")).people] == [
        len(person.attempts)
    ]


def test_the_command_takes_the_class_s_folder_and_its_session(
    room: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    room.take_session(FIRST)
    answers(room, "Learner at bench 1")
    before = {path: path.read_bytes() for path in room.folder.rglob("*") if path.is_file()}
    assert command.main(["report", str(room.folder), "--out", str(tmp_path / "out")]) == 0
    said = capsys.readouterr()
    assert said.err == ""
    assert "1 people" in said.out
    roster = (tmp_path / "out" / "roster.html").read_text("utf-8")
    assert SESSION.title in roster
    assert "Learner at bench 2" in roster  # named in the session, and not there
    assert {path: path.read_bytes() for path in room.folder.rglob("*") if path.is_file()} == before


def test_a_class_that_nobody_entered_is_told(room: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert command.main(["report", str(room.folder), "--out", str(tmp_path / "out")]) == 2
    assert "Nobody has come into the class" in capsys.readouterr().err
