"""The folder of a class: who is let in, what stays over a restart, and what a hostile name or a damaged file does."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from toolkit.classroom.record import LONGEST_NAME, Record
from toolkit.classroom.room import CODE_LENGTH, LETTERS, Room, Visitor
from toolkit.errors import LaunchError, RoomError


@pytest.fixture
def room(tmp_path: Path) -> Room:
    return Room(tmp_path / "room")


def test_the_class_code_can_be_read_aloud_and_is_taken_as_typed(room: Room) -> None:
    assert len(room.code) == CODE_LENGTH
    assert set(room.code) <= set(LETTERS)
    assert not set("O0I1B8S5Z2") & set(LETTERS)
    assert room.opens(f" {room.code[:3].lower()}-{room.code[3:]} ")
    assert not room.opens(room.code[:-1])
    assert not room.opens("")


def test_a_class_goes_on_after_a_restart(room: Room) -> None:
    visitor, own = room.come_in("Ann")
    again = Room(room.folder)
    assert (again.code, again.secret) == (room.code, room.secret)
    assert again.visitor(visitor.key) == visitor
    assert again.come_in("Ann", own) == (visitor, "")


def test_a_code_may_be_given(tmp_path: Path) -> None:
    assert Room(tmp_path / "room", "evening 7").code == "EVENING7"
    assert Room(tmp_path / "room").code == "EVENING7"
    with pytest.raises(RoomError, match="4 to 40 letters or digits"):
        Room(tmp_path / "room", "a!")


def test_a_name_that_is_taken_needs_the_own_code(room: Room) -> None:
    ann, own = room.come_in("Ann  Example ")
    assert ann.name == "Ann Example"
    for name in ("Ann Example", "ann example", " ANN   EXAMPLE"):
        with pytest.raises(RoomError, match="Somebody has come in as"):
            room.come_in(name)
        with pytest.raises(RoomError, match="own code is another"):
            room.come_in(name, f"{(int(own) + 1) % 10**6:06d}")
    assert room.come_in("ann example", f"{own[:3]} {own[3:]}") == (ann, "")
    assert [one.name for one in room.visitors()] == ["Ann Example"]


def test_a_code_that_another_process_gave_opens_at_once_and_the_old_one_no_more(room: Room) -> None:
    ann, own = room.come_in("Ann")
    new = Room(room.folder).new_own_code(ann.key)
    assert room.come_in("Ann", new) == (ann, "")
    if new != own:
        with pytest.raises(RoomError, match="own code is another"):
            room.come_in("Ann", own)


def test_a_visitor_s_record_is_the_one_that_a_page_of_the_visitor_s_writes(room: Room) -> None:
    ann, _ = room.come_in("Ann")
    # a page's kernel is told this folder and nothing else
    page = Record(room.data_folder(ann))
    assert page.learner() == "Ann"
    page.set_learner("Ann B")
    assert room.record(ann).learner() == "Ann B"


def test_a_lost_own_code_is_replaced(room: Room) -> None:
    ann, own = room.come_in("Ann")
    new = room.new_own_code(ann.key)
    assert new != own
    with pytest.raises(RoomError):
        room.come_in("Ann", own)
    assert room.come_in("Ann", new) == (ann, "")


def test_each_has_a_record_alone(room: Room) -> None:
    ann, _ = room.come_in("Ann")
    bob, _ = room.come_in("Bob")
    assert room.record(ann).learner() == "Ann"
    assert room.record(bob).learner() == "Bob"
    assert room.data_folder(ann) != room.data_folder(bob)
    assert room.data_folder(Visitor("instructor", "Instructor")) not in (room.data_folder(ann), room.data_folder(bob))


@given(st.text(max_size=300))
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_name_leads_anywhere(tmp_path: Path, name: str) -> None:
    room = Room(tmp_path / "room")
    before = {one.key for one in room.visitors()}
    try:
        visitor, own = room.come_in(name)
    except RoomError:
        assert not name.split() or any(one.name.casefold() for one in room.visitors())
        return
    assert visitor.key not in before
    assert len(visitor.name) <= LONGEST_NAME
    assert room.data_folder(visitor).parent == room.folder / "visitors"
    assert {path.parent for path in tmp_path.rglob("visitor.json")} <= set((room.folder / "visitors").iterdir())
    assert Room(room.folder).come_in(visitor.name, own)[0] == visitor


@pytest.mark.parametrize("name", ["../../x", "a/b", "..", "CON", "\x00", "<script>", "=1+1", "é" * 500])
def test_a_hostile_name_is_but_a_name(room: Room, name: str) -> None:
    visitor, _ = room.come_in(name)
    assert set(visitor.key) <= set("0123456789abcdef")
    assert Room(room.folder).visitor(visitor.key) == visitor


def test_a_name_of_nothing_is_refused(room: Room) -> None:
    for name in ("", "  \t"):
        with pytest.raises(RoomError, match="No name"):
            room.come_in(name)
    assert room.visitors() == ()


@pytest.mark.parametrize("damage", ["", "{", "[]", '{"name": "Ann"}', "null"])
def test_a_damaged_file_keeps_nobody_else_out_and_is_mended_by_a_new_own_code(room: Room, damage: str) -> None:
    ann, own = room.come_in("Ann")
    path = room.data_folder(ann) / "visitor.json"
    path.write_text(damage)
    again = Room(room.folder)
    assert path.read_text() == damage
    assert again.visitors() == (ann,)  # by the name in the record
    assert again.damaged()[0].startswith(f"visitors/{ann.key}/visitor.json is damaged. Ann, by the name")
    again.come_in("Bo")
    for code in (own, "", " "):
        with pytest.raises(RoomError):
            again.come_in("Ann", code)
    assert again.come_in("Ann", again.new_own_code(ann.key)) == (ann, "")
    assert again.damaged() == Room(room.folder).damaged() == ()


@pytest.mark.skipif(os.name != "posix", reason="files have no such rights here")
def test_what_is_secret_is_for_this_user_alone(room: Room) -> None:
    ann, own = room.come_in("Ann")
    for path in (room.folder / "cookie_secret", room.data_folder(ann) / "visitor.json"):
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert own not in (room.data_folder(ann) / "visitor.json").read_text()
    assert not list(room.folder.rglob(".*.*"))


def test_a_folder_that_cannot_be_one_is_refused(tmp_path: Path) -> None:
    (tmp_path / "room").write_text("a file")
    with pytest.raises(LaunchError, match=r"is a file, and no folder.*--folder"):
        Room(tmp_path / "room")
