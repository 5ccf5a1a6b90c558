"""Session files: what they mean, that every mistake is told by table and key, and `course session` as it is typed."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from handed_in import first_evening_toml
from hypothesis import given, settings
from hypothesis import strategies as st

from toolkit.classroom.session import (
    LARGEST_SEED,
    MOST_LEARNERS,
    TABLES,
    Session,
    folded,
    session_of,
    session_toml,
    shipped_session,
    shipped_sessions,
    toml_of,
)
from toolkit.classroom.session_words import other_day, preview, sittings
from toolkit.errors import LaunchError, ScenarioError
from toolkit.front import command
from toolkit.panels.exam_pages import exam_pages
from toolkit.quiz import paper
from toolkit.quiz.cases import ITEMS, items_of, offer, section_of
from toolkit.quiz.items import ABNORMAL, KNOWLEDGE, SECTIONS

FIRST = first_evening_toml()


def changed(old: str, new: str) -> str:
    """The first evening's file with one place changed."""
    assert FIRST.count(old) == 1, old
    return FIRST.replace(old, new)


def each(text: str = FIRST) -> Session:
    return session_of(text.replace('kind = "same"', 'kind = "each"'))


# What it means -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("opens", "closes", "said", "held"),
    [
        ("2026-12-01", "2026-12-04", "2026-12-01 to 2026-12-04", "0110"),
        ("2026-12-01", "2026-12-01", "2026-12-01", "0100"),
        ("2026-12-01", "", "from 2026-12-01 on", "0111"),
        ("", "2026-12-04", "to 2026-12-04", "1110"),
        ("", "", "any", "1111"),
    ],
)
def test_days_may_be_left_out(opens: str, closes: str, said: str, held: str):
    text = shipped_session("first_evening")
    assert "\nopens" not in text  # the course's own example does not grow old
    for key, day in (("opens", opens), ("closes", closes)):
        if day:
            text = re.sub(rf"# {key} = .*", f"{key} = {day}", text)
    session = session_of(text)
    assert session.days == said
    times = [f"{day}T12:00:00+00:00" for day in ("2026-11-29", "2026-12-01", "2026-12-04", "2026-12-06")]
    assert "".join(str(int(session.holds_at(time))) for time in times) == held
    for time in times:
        assert bool(other_day(session, time)) is not session.holds_at(time)
    assert f"{said}\n" in preview(session)


def test_shipped_sessions_can_be_read():
    assert "first_evening" in shipped_sessions()
    for name in shipped_sessions():
        assert session_of(shipped_session(name)).items


def test_the_first_evening_says_what_stands_in_it():
    found = session_of(FIRST)
    assert found.lessons == ("02", "03")
    assert found.items == (*items_of("02"), *items_of("03"))
    assert (found.opens, found.closes) == (date(2026, 12, 1), date(2026, 12, 4))
    assert found.pass_marks == {KNOWLEDGE: 0.8, ABNORMAL: 0.9}
    assert found.covered_tasks[0].startswith("CT-07")
    assert [found.seed_of(name) for name in ("a", "b")] == [20261201, 20261201]


def test_each_learner_has_a_seed_that_can_be_worked_out_again():
    found = each()
    # the stated way, by hand
    by_hand = int(sha256(b"20261201\nlearner at bench 1").hexdigest()[:8], 16) // 2
    assert found.seed_of("Learner at bench 1") == by_hand
    assert found.seed_of("  LEARNER  at bench 1 ") == by_hand
    assert found.seed_of("Learner at bench 2") != by_hand
    assert each(changed("number = 20261201", "number = 7")).seed_of("Learner at bench 1") != by_hand


@given(st.text(max_size=300))
def test_a_learner_s_seed_is_one_that_the_record_takes(name):
    seed = each().seed_of(name)
    assert seed is not None
    assert 0 <= seed <= LARGEST_SEED
    assert seed == each().seed_of(folded(name))


def test_own_numbers_have_no_seed():
    found = session_of(changed('kind = "same"\nnumber = 20261201', 'kind = "own"'))
    assert found.seed_of("a") is None
    with pytest.raises(LaunchError, match="no seed"):
        sittings(found)


@pytest.mark.parametrize(
    ("time", "counts"),
    [
        ("2026-11-30T09:59:59.999+00:00", False),
        ("2026-11-30T10:00:00.000+00:00", True),  # it is 1 December already, east of everywhere
        ("2026-12-02T12:00:00", True),  # without a zone it is UTC
        ("2026-12-05T11:59:59.999+00:00", True),  # and still 4 December, west of everywhere
        ("2026-12-05T12:00:00.000+00:00", False),
        ("0001-01-01T00:00:00+14:00", False),
        ("9999-12-31T23:59:59-12:00", False),
    ],
)
def test_a_day_counts_as_long_as_it_is_that_day_anywhere(time, counts):
    assert session_of(FIRST).holds_at(time) is counts


# Sections ----------------------------------------------------------------------------------------------------------


def test_every_item_is_in_a_section_and_both_have_enough_to_ask():
    assert {item.section for item in ITEMS} == set(SECTIONS)
    keys = [item.key for item in ITEMS if item.section == ABNORMAL]
    assert {"08.steps", "08.cause", "05.took_over", "13.hidden", "14.gone"} <= set(keys)
    assert len(keys) > 20
    for item in ITEMS:
        assert section_of(item.key) == item.section
    assert section_of("99.unknown") == KNOWLEDGE


def test_no_item_of_abnormal_conditions_is_misspelt():
    from toolkit.quiz.cases import _ABNORMAL

    assert set(_ABNORMAL) <= {item.key for item in ITEMS}
    assert len(set(_ABNORMAL)) == len(_ABNORMAL)


# What is refused ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "field", "mend"),
    [
        ("[session]", "[sessions]", "sessions", "Did you mean 'session'"),
        ("[session]", "[[session]]", "session", "single brackets"),
        ("title = ", "titel = ", "session.titel", "Did you mean 'title'"),
        ('title = "First evening: the regulator and how it fails"', 'title = ""', "session.title", "in quotes"),
        ('title = "First evening: the regulator and how it fails"', "title = 3", "session.title", "in quotes"),
        ('instructor = "Ins', 'instructor = "\\u202eIns', "session.instructor", "in quotes"),
        ('station = "house_service"', 'station = "house_servise"', "session.station", "Did you mean 'house_service'"),
        ('lessons = ["02", "03"]', 'lessons = ["02", "3"]', "session.lessons", "two digits"),
        ('lessons = ["02", "03"]', 'lessons = ["00"]', "session.lessons", "two digits"),
        ('lessons = ["02", "03"]', 'lessons = ["02", "02"]', "session.lessons", "one of the two"),
        ('lessons = ["02", "03"]', "lessons = []", "session.lessons", "square brackets"),
        ('lessons = ["02", "03"]', 'lessons = "02"', "session.lessons", "square brackets"),
        ("opens = 2026-12-01", 'opens = "2026-12-01"', "session.opens", "without quotes"),
        ("opens = 2026-12-01", "opens = 2026-12-01T08:00:00", "session.opens", "without quotes"),
        ("opens = 2026-12-01", "opens = 2026-12-05", "session.closes", "Exchange"),
        ("closes = 2026-12-04", "closes = 4", "session.closes", "Write year"),
        ("knowledge = 80", "knowledge = 0.8", "pass_marks.knowledge", "Write 80."),
        ("knowledge = 80", "knowledge = 1", "pass_marks.knowledge", "Write 100."),
        ('"Learner at bench 2"', '"learner AT bench  1"', "session.learners", "one of the two"),
        ('kind = "same"', 'kind = "Same"', "seed.kind", "Choose one"),
        ('kind = "same"', 'kind = "own"', "seed.number", "Leave the number out"),
        ("number = 20261201", "number = -1", "seed.number", "without quotes"),
        ("number = 20261201", "number = true", "seed.number", "without quotes"),
        ("number = 20261201", 'number = "20261201"', "seed.number", "without quotes"),
        ("number = 20261201", f"number = {LARGEST_SEED + 1}", "seed.number", "whole number"),
        ("knowledge = 80", "knowledge = 101", "pass_marks.knowledge", "per cent"),
        ("knowledge = 80", "knowledge = nan", "pass_marks.knowledge", "per cent"),
        ("knowledge = 80", "", "pass_marks.knowledge", "per cent"),
        (
            "abnormal_operating_conditions = 90",
            'abnormal_operating_conditions = "90"',
            "pass_marks.abnormal_operating_conditions",
            "per cent",
        ),
        ("knowledge = 80", "knowlege = 80", "pass_marks.knowlege", "Did you mean 'knowledge'"),
        ("knowledge = 80", "knowledge = 80 %", "line ", "quotes and brackets"),
    ],
)
def test_a_mistake_is_told_by_table_and_key_with_its_mend(old, new, field, mend):
    with pytest.raises(ScenarioError) as told:
        session_of(changed(old, new))
    assert told.value.field.startswith(field)
    assert mend in str(told.value)
    assert "\n" not in str(told.value)


def test_a_mark_is_wanted_only_for_what_is_asked():
    # lesson 01 asks nothing of abnormal conditions
    text = changed('lessons = ["02", "03"]', 'lessons = ["01"]').replace("abnormal_operating_conditions = 90", "")
    assert session_of(text).pass_marks == {KNOWLEDGE: 0.8}


@pytest.mark.parametrize("text", ["", "#", "x", "[session", '"' * 5000, "[" * 5000, "a" * 300_000, "a.b.c = 1\n" * 90])
def test_what_is_no_session_is_refused(text):
    with pytest.raises(ScenarioError):
        session_of(text)


def test_too_many_learners_are_refused():
    names = ", ".join(f'"n{n}"\n' for n in range(MOST_LEARNERS + 1))
    text = re.sub(r"learners = \[.*\]", f"learners = [{names}]", FIRST)
    with pytest.raises(ScenarioError, match="at most"):
        session_of(text)


def read_or_told(text: str) -> str:
    """The preview of a session, or why there is none."""
    try:
        return preview(session_of(text))
    except ScenarioError as error:
        return str(error)


VALUES = st.one_of(
    st.text(max_size=30).map(lambda text: '"' + text.replace("\\", "").replace('"', "").replace("\n", "") + '"'),
    st.integers().map(str),
    st.floats().map(str),
    st.dates().map(str),
    st.sampled_from(["true", "[]", "{}", '["02"]', "[[1], [2]]", "1e999", "inf", "-nan", "2026-13-01", "0x1F", ""]),
)
KEYS = [key for keys in TABLES.values() for key in keys]


@settings(max_examples=200, deadline=None)
@given(st.data())
def test_whatever_stands_in_a_key_it_is_read_or_refused_in_a_sentence(data):
    lines = FIRST.splitlines()
    for _ in range(data.draw(st.integers(1, 3))):
        key = data.draw(st.sampled_from(KEYS))
        place = data.draw(st.integers(0, len(lines)))
        lines = [line for line in lines if not line.startswith(f"{key} =")] if data.draw(st.booleans()) else lines
        lines.insert(place, f"{key} = {data.draw(VALUES)}")
    told = read_or_told("\n".join(lines))
    assert told
    assert len(told) < 1500


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=400))
def test_any_text_is_read_or_refused(text):
    with pytest.raises(ScenarioError):
        session_of(text)


# Written and read again

LINES = st.text(min_size=1, max_size=200).map(str.strip).filter(lambda text: text and text.isprintable())
HOSTILE_LINES = st.sampled_from(
    ['"', "\\", '""" x', "a\\nb", "[seed]", "# no", "\\u0041", "'", "\u00e9 \U0001f525", "</pre>"]
)
TEXTS = st.one_of(LINES, HOSTILE_LINES)
DAYS = st.dates(date(2000, 1, 1), date(2999, 12, 31))


@st.composite
def sessions(draw: st.DrawFn) -> Session:
    lessons = draw(st.lists(st.sampled_from(sorted({item.lesson for item in ITEMS})), min_size=1, unique=True))
    # what is above 0 and not above 1 was meant as a share, and is refused
    marks = {section: draw(st.just(0.0) | st.floats(1.001, 100)) / 100.0 for section in SECTIONS}
    kind = draw(st.sampled_from(("same", "each", "own")))
    opens, closes = sorted((draw(DAYS), draw(DAYS)))
    opens, closes = draw(st.sampled_from(((opens, closes), (opens, None), (None, closes), (None, None))))
    return Session(
        title=draw(TEXTS),
        about=draw(st.one_of(st.just(""), TEXTS)),
        station=draw(st.sampled_from(("house_service", "bakery"))),
        lessons=tuple(lessons),
        covered_tasks=tuple(draw(st.lists(TEXTS, min_size=1, max_size=4, unique_by=folded))),
        instructor=draw(TEXTS),
        opens=opens,
        closes=closes,
        learners=tuple(draw(st.lists(TEXTS, max_size=4, unique_by=folded))),
        seed_kind=kind,
        seed=None if kind == "own" else draw(st.integers(0, LARGEST_SEED)),
        pass_marks=marks,
    )


@settings(max_examples=150, deadline=None)
@given(sessions())
def test_a_session_that_is_written_is_read_as_the_same(session):
    assert session_of(session_toml(session)) == session


def test_the_largest_session_can_be_written_and_read():
    names = tuple(f"{number:03}" + '"' * 197 for number in range(MOST_LEARNERS))
    session = replace(session_of(FIRST), learners=names)
    assert session_of(session_toml(session)) == session


def test_what_is_written_is_what_a_person_would_write():
    text = session_toml(session_of(FIRST))
    for line in ('title = "First evening: the regulator and how it fails"', "opens = 2026-12-01", "knowledge = 80"):
        assert line in text.splitlines()


@settings(max_examples=100, deadline=None)
@given(st.text(max_size=80))
def test_any_text_is_written_as_toml(text):
    plain = text.encode("utf-8", "replace").decode()
    assert tomllib.loads(toml_of({"a": {"b": text, "c": [text]}}))["a"].get("b", "") == plain


# `course session` --------------------------------------------------------------------------------------------------


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> Callable[..., tuple[int, str, str]]:
    def typed(*words: str) -> tuple[int, str, str]:
        code = command.main(["session", *words, "--folder", str(tmp_path / "out")])
        said = capsys.readouterr()
        assert "Traceback" not in said.err
        return code, said.out, said.err

    return typed


def test_the_preview_says_what_becomes_of_the_file(run: Any, tmp_path: Path):
    code, out, err = run("first_evening")
    assert (code, err) == (0, "")
    for said in (
        *("Days:          any", "Instructor of the evening class", "CT-07", "Linden Row"),
        *("02 The regulator: 6", "knowledge: 7, enough from 80%", f"{ABNORMAL}: 5, enough from 90%"),
        'quiz("02", seed=20261201), quiz("03", seed=20261201)',
    ):
        assert said in out
    assert not (tmp_path / "out").exists()


def test_the_preview_gives_each_learner_a_seed():
    said = preview(each())
    for name in each().learners:
        assert f'{name}: quiz("02", seed={each().seed_of(name)})' in said
    assert "add learners" in preview(each(re.sub(r"learners = \[.*\]", "", FIRST)))
    own = session_of(changed('kind = "same"\nnumber = 20261201', 'kind = "own"'))
    assert "draws its own numbers" in preview(own)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (None, "There is no file"),
        (b"\xff\xfe", "UTF-8"),
        (b"[session]\ntitle = 3\n", "session.title"),
        (b" " * 2_000_000, "too large"),
    ],
)
def test_a_file_that_will_not_do_is_refused_in_a_sentence(run: Any, tmp_path: Path, content, said):
    path = tmp_path / "mine.toml"
    if content is not None:
        path.write_bytes(content)
    code, out, err = run(str(path))
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert said in err


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("", "name is empty"),
        ("\0", "no session"),
        ("a" * 5000, "cannot be read"),
        (".", "is a folder"),
        ("no/such\nfile", "no session"),
    ],
)
def test_a_name_that_will_not_do_is_refused_in_a_sentence(run: Any, name, said):
    code, out, err = run(name)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert said in err


def test_exam_and_key_are_files_of_their_own_in_the_numbers_of_the_seed(run: Any, tmp_path: Path):
    code, out, err = run("first_evening", "--exam", "--key", "--paper", "letter")
    folder = tmp_path / "out"
    assert (code, err) == (0, "")
    assert out.splitlines() == [str(folder / name) for name in ("exam.html", "exam_key.html")]
    exam, key = ((folder / name).read_text("utf-8") for name in ("exam.html", "exam_key.html"))
    for item in session_of(FIRST).items:
        question = offer(item, 20261201, "us")
        assert paper.asked(question) in exam
        assert paper.key(question) in key
        assert paper.key(question) not in exam
    assert "size:letter" in exam
    assert "qualifies nobody" in exam
    # who marks it needs no more than the two sheets: 0.8 of seven and 0.9 of five marks
    for page in (exam, key):
        assert "Knowledge: 7 marks, enough from 5.60 (80 %)" in page
        assert "Abnormal operating conditions: 5 marks, enough from 4.50 (90 %)" in page
        assert page.count("(knowledge, 1 mark)") == 7
        assert page.count("(abnormal operating conditions, 1 mark)") == 5
    assert "Marks: 1 for" not in exam
    assert key.count("Marks: ") == 12
    # only what is asked for is written
    assert run("first_evening", "--key")[1].splitlines() == [str(folder / "exam_key.html")]


def test_each_learner_s_exam_bears_the_name_escaped_and_other_numbers():
    hostile = "<script>alert(1)</script>"
    text = changed('"Learner at bench 1"', f'"{hostile}"').replace('"02", "03"', '"02"')
    session = each(text)
    seen = []
    for name, seed in sittings(session)[:2]:
        exam, key = exam_pages(session, name, seed, "us", "a4")
        seen.append(exam)
        assert f"seed {seed}" in exam
        assert "<script" not in exam + key
    assert "&lt;script&gt;" in seen[0]
    assert seen[0] != seen[1]


def test_without_names_no_exam_of_each_own_is_made(run: Any, tmp_path: Path):
    text = re.sub(r"learners = \[.*\]", "", FIRST).replace('kind = "same"', 'kind = "each"')
    (tmp_path / "mine.toml").write_text(text, "utf-8")
    code, out, err = run(str(tmp_path / "mine.toml"), "--exam")
    assert (code, out) == (2, "")
    assert "Add learners" in err
