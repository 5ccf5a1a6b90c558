"""The page on which a session is prepared: each key has its field, the fields make the file, errors are told."""

from __future__ import annotations

import re
from base64 import b64decode
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from handed_in import first_evening_toml

from toolkit.classroom.room import ROOM_VARIABLE, Room
from toolkit.classroom.session import TABLES, session_of, session_toml
from toolkit.classroom.session_words import preview
from toolkit.errors import RoomError
from toolkit.panels.prepare import LABELS, Prepare, prepare
from toolkit.quiz import paper
from toolkit.quiz.html import escape
from toolkit.quiz.items import offer

FIRST = first_evening_toml()
DAY = date(2026, 12, 1)
HOSTILE = '"</pre><script>alert(1)</script>\\'


@pytest.fixture
def page() -> Prepare:
    return Prepare(DAY)


@pytest.fixture
def filled(page: Prepare) -> Prepare:
    page.load(FIRST)
    return page


def links(markup: str) -> dict[str, str]:
    """The files that links save, by name."""
    found = re.findall(r'download="([^"]+)" href="data:[\w/]+;base64,([^"]+)"', markup)
    return {name: b64decode(data).decode("utf-8") for name, data in found}


def test_each_key_of_a_session_file_has_a_field() -> None:
    assert sorted(LABELS) == sorted(f"{table}.{key}" for table, keys in TABLES.items() for key in keys)


def test_the_form_filled_by_hand_is_the_file_and_means_what_the_command_says(page: Prepare) -> None:
    assert page.session is None
    values: dict[str, Any] = {
        "session.title": "Second evening",
        "session.station": "bakery",
        "session.covered_tasks": "CT-07 Inspect a regulator\n\n  CT-08 Recognise a fouled seat ",
        "session.instructor": "Instructor of the evening class",
        "session.closes": date(2026, 12, 3),
        "seed.kind": "each",
        "seed.number": "77",
        "session.learners": "Ann\nBo",
        "pass_marks.knowledge": "75.5",
    }
    for key, value in values.items():
        page.fields[key].value = value
    for lesson in ("03", "02"):
        page.lessons[lesson].value = True
    session = page.session
    assert session is not None
    assert session == session_of(page.text)
    assert (session.lessons, session.opens, session.seed, session.seed_kind) == (("02", "03"), DAY, 77, "each")
    assert session.covered_tasks == ("CT-07 Inspect a regulator", "CT-08 Recognise a fouled seat")
    assert session.pass_marks == {"knowledge": 0.755, "abnormal operating conditions": 0.8}
    assert escape(preview(session)) in page.preview.value
    assert links(page.file.value) == {"session_2026-12-01.toml": session_toml(session)}
    assert not any(told.value for told in page.told.values())
    assert [name for name, _ in page.sitting.options] == ["Ann", "Bo"]


def test_a_loaded_file_comes_out_as_it_was(page: Prepare) -> None:
    # in an order of its own, and with a name and a title that would break a page or a file that is careless
    text = FIRST.replace('"02", "03"', '"05", "02"').replace('"Learner at bench 1"', repr(HOSTILE))
    page.load(text)
    assert page.session == session_of(text)
    assert page.session.lessons == ("05", "02")
    assert "<script" not in page.preview.value + page.file.value
    page.lessons["03"].value = True
    assert page.session.lessons == ("05", "02", "03")


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        ("session.title", "", "session.title"),
        ("session.title", "a" * 201, "1 to 200"),
        ("session.about", "x" * 3000, "at most"),
        ("session.covered_tasks", " \n", "session.covered_tasks"),
        ("session.covered_tasks", "one\nONE", "each once"),
        ("session.instructor", " ", "session.instructor"),
        ("session.closes", date(2026, 11, 30), "Exchange the two"),
        ("session.learners", "Ann\nann", "each once"),
        ("seed.number", "", "a whole number"),
        ("seed.number", "12a", "12a"),
        ("seed.number", "-1", "a whole number"),
        ("seed.number", "9" * 5000, "at most"),
        ("session.learners", "Ann\n" + "x" * 3000, "at most"),
        ("pass_marks.knowledge", "101", "0 to 100"),
        ("pass_marks.knowledge", "nan", "0 to 100"),
        ("pass_marks.abnormal_operating_conditions", "", "these lessons ask for it"),
    ],
)
def test_what_is_wrong_stands_beside_its_field_and_nothing_can_be_saved(
    filled: Prepare, key: str, value: Any, said: str
) -> None:
    filled.fields[key].value = value
    assert filled.session is None
    assert [name for name, told in filled.told.items() if told.value] == [key]
    assert said in filled.told[key].value
    assert links(filled.file.value) == {}
    assert filled.exam_button.disabled
    filled.load(FIRST)
    assert filled.session == session_of(FIRST)


def test_no_lesson_is_told_at_the_lessons(filled: Prepare) -> None:
    for box in filled.lessons.values():
        box.value = False
    assert "session.lessons" in filled.told["session.lessons"].value


def test_own_numbers_have_no_seed_and_no_exam(filled: Prepare) -> None:
    filled.fields["seed.number"].value = ""
    filled.fields["seed.kind"].value = "own"
    assert filled.session is not None
    assert filled.session.seed is None
    assert filled.fields["seed.number"].disabled
    assert filled.exam_button.disabled
    assert "has no seed" in filled.exams.value


@pytest.mark.parametrize(("text", "said"), [("", "Begin with"), ("[session]\ntitle = 3\n", "session.title")])
def test_a_file_that_will_not_do_changes_nothing(filled: Prepare, text: str, said: str) -> None:
    before = filled.text
    filled.load(text)
    assert said in filled.loaded.value
    assert filled.text == before


@pytest.mark.parametrize(
    ("data", "said"), [(FIRST.encode("utf-8-sig"), "Loaded"), (b"\xff\xfe", "UTF-8"), (b"#" * 900_000, "at most")]
)
def test_a_file_can_be_chosen(page: Prepare, data: bytes, said: str) -> None:
    # as the browser sends it
    chosen = {"name": "a.toml", "type": "", "size": len(data), "content": memoryview(data), "last_modified": 0}
    page.upload.set_state({"value": [chosen]})
    assert said in page.loaded.value
    assert (page.session is not None) == (said == "Loaded")


def test_exam_and_key_are_two_files_of_one_seed(filled: Prepare) -> None:
    filled.fields["seed.kind"].value = "each"
    filled.sitting.value = 1
    filled.make_exam()
    session = filled.session
    assert session is not None
    seed = session.seed_of("Learner at bench 2") or 0
    made = links(filled.exams.value)
    assert list(made) == ["exam_02.html", "exam_02_key.html"]
    exam, key = made.values()
    for item in session.items:
        question = offer(item, seed, "us")
        assert paper.asked(question) in exam
        assert paper.key(question) in key
        assert paper.key(question) not in exam
    # an exam in other numbers must not be saved for this one
    filled.fields["seed.number"].value = "5"
    assert filled.exams.value == ""


def test_a_served_class_takes_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, page: Prepare) -> None:
    assert page.give_button not in page.box.children[1].children[1].children
    room = Room(tmp_path)
    monkeypatch.setenv(ROOM_VARIABLE, str(tmp_path))
    mine = Prepare(DAY, room=room)
    mine.give()
    assert room.session() is None
    mine.load(FIRST)
    mine.give()
    assert room.session() == session_of(FIRST)
    # another one does not take its place unasked
    mine.fields["seed.number"].value = "77"
    mine.give()
    assert "Press again" in mine.given.value
    assert room.session() == session_of(FIRST)
    mine.fields["seed.number"].value = "78"  # what was asked is no longer what stands there
    mine.give()
    assert room.session() == session_of(FIRST)
    mine.give()
    assert "Given" in mine.given.value
    assert room.session().seed == 78  # type: ignore[union-attr]
    mine.give()  # the same once more asks nothing
    assert "Given" in mine.given.value
    mine.fields["session.closes"].value = mine.fields["session.opens"].value = date(2001, 2, 3)
    mine.give()
    mine.give()
    assert "no day of this session (days: 2001-02-03)" in mine.given.value
    # one that is spoilt is told by its file, and can be given anew
    (tmp_path / "session.toml").write_text("[session]\ntitle = \n")
    with pytest.raises(RoomError, match=r"session\.toml: line 2"):
        room.session()
    mine.load(FIRST)
    mine.give()
    # the page opens with what is held
    shown = prepare().children[1].children[1].children
    assert any(escape(session_of(FIRST).title) in getattr(one, "value", "") for one in shown if hasattr(one, "value"))
