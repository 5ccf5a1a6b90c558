"""The lessons' texts: their form, their links, and every number in them, worked out anew by the toolkit."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from importlib import import_module
from pathlib import Path
from typing import Any

import ipywidgets
import pytest
from lesson_text import CONDITION, FOLDER, INLET_GAUGE, PATHS, bench_trace, prose, sections

from toolkit.classroom.record import Record
from toolkit.course import LESSONS as COURSE
from toolkit.course import START
from toolkit.devices.regulator import (
    lock_up_gauge_pressure,
)
from toolkit.front.lesson_facts import WORKED_OUT, numbers, told
from toolkit.front.lesson_rules import RULES, Book, Wrong, read_book
from toolkit.front.lesson_words import syllables
from toolkit.panels import LESSONS as BENCHES
from toolkit.panels import lesson_02, lesson_03, start
from toolkit.panels.bench import UNITS
from toolkit.panels.predict import PredictThenTry
from toolkit.panels.progress import Progress
from toolkit.quiz.cases import LESSONS as QUIZZES
from toolkit.quiz.widgets import Quiz
from toolkit.units import (
    format_pressure,
)

TAUGHT = tuple(QUIZZES)
BOOKS = {lesson: read_book(path) for lesson, path in PATHS.items()}


# Facts --------------------------------------------------------------------------------------------------------------

# A module a lesson: NUMBERS works out what stands under a heading, SAID_IN_WORDS has trade figures that no calculation
# gives, TOLD has what "In the field" tells of rules and reports, with the source that has it.
FACTS = {lesson: import_module(f"facts_{lesson}") for lesson in TAUGHT}
NUMBERS = [(lesson, heading) for lesson, facts in FACTS.items() for heading in facts.NUMBERS]
TOLD = [(lesson, *told) for lesson, facts in FACTS.items() for told in getattr(facts, "TOLD", ())]


@pytest.mark.parametrize(("lesson", "heading"), NUMBERS)
def test_each_number_is_what_the_toolkit_works_out(lesson: str, heading: str) -> None:
    assert [str(wrong) for wrong in numbers(BOOKS[lesson], FACTS[lesson], heading)] == []


@pytest.mark.parametrize("lesson", TAUGHT)
def test_worked_example_and_explanation_are_both_worked_out(lesson: str) -> None:
    assert set(WORKED_OUT) <= set(FACTS[lesson].NUMBERS)


@pytest.mark.parametrize(("lesson", "words", "key"), TOLD)
def test_a_rule_told_in_the_field_has_its_source_below(lesson: str, words: str, key: str) -> None:
    assert [str(wrong) for wrong in told(BOOKS[lesson], words, key)] == []


# Form ---------------------------------------------------------------------------------------------------------------


def test_there_is_a_lesson_for_each_bench_and_quiz() -> None:
    assert list(PATHS) == ["00", *TAUGHT]
    assert list(BENCHES) == list(TAUGHT)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.__name__)
@pytest.mark.parametrize("lesson", PATHS)
def test_each_rule_of_form_and_language_is_kept(lesson: str, rule: Callable[[Book], Iterator[Wrong]]) -> None:
    assert [str(wrong) for wrong in rule(BOOKS[lesson])] == []


def minutes(lesson: str) -> int:
    (found,) = re.findall(r"^About (\d+) minutes\.$", prose(lesson), re.MULTILINE)
    return int(found)


def test_the_list_of_lessons_is_that_of_the_notebooks_and_of_the_readme() -> None:
    listed = [(one.number, one.file, one.minutes) for one in (START, *COURSE)]
    assert listed == [(lesson, path.name, minutes(lesson)) for lesson, path in PATHS.items()]
    readme = (FOLDER.parent / "README.md").read_text("utf-8")
    rows = re.findall(r"^\| \[(.+?)\]\(lessons/(.+?)\) \| (\d+) \|", readme, re.MULTILINE)
    assert rows == [(one.name, one.file, str(one.minutes)) for one in (START, *COURSE)]


# Cautions -----------------------------------------------------------------------------------------------------------


CARD = (
    ("phones", "doorbells", "outside", "hunt"),
    ("outdoors", "ice", "insects", "water"),
    ("Propane sinks", "natural gas rises"),
    ("Carbon monoxide", "fresh air"),
    ("Isolate, lock, tag, vent down, prove zero",),
    ("Never defeat a layer", "plug a vent", "set point"),
    ("Reset after the cause", "qualified"),
    ("Relight only if you are qualified", "every outlet"),
    ("sensing taps", "abandons"),
    ("Local code", "written procedure", "licensed persons"),
)


def test_the_safety_card_has_all_its_points() -> None:
    points = re.split(r"^\d+\. ", sections("00")["Safety card"], flags=re.MULTILINE)[1:]
    assert len(points) == len(CARD)
    for point, words in zip(points, CARD, strict=True):
        assert [word for word in words if word not in point] == []


def test_the_course_says_that_it_qualifies_nobody_and_what_the_bench_leaves_out() -> None:
    assert "do not qualify anyone" in sections("00")["What this course is not"]
    for word in ("friction", "velocity boost", "sound waves", "judgement"):
        assert word in sections("00")["What the bench leaves out"]


# Controls and buttons that the text names ---------------------------------------------------------------------------


def buttons(widget: Any) -> set[str]:
    """The words on the buttons inside a widget."""
    own = {widget.description} if isinstance(widget, ipywidgets.Button | ipywidgets.ToggleButton) else set()
    return own.union(*map(buttons, getattr(widget, "children", ())))


def test_the_start_page_names_buttons_as_they_are(tmp_path: Path) -> None:
    record = Record(tmp_path)
    ask = PredictThenTry(lesson_02.PREDICTION, lesson_02.BENCH)
    ask.choose(0)
    ask.open_bench()
    there = buttons(ask) | {"Pause"} | buttons(Quiz("02", 1, record).box) | buttons(Progress(record).box)
    package = FOLDER.parent / "toolkit"
    scripts = "".join(path.read_text(encoding="utf-8") for path in (package / "front/labextension").rglob("*.js"))
    later = {"Start again": scripts, "Show or hide the code": scripts}
    # The words of the button after the last question.
    later["Show the summary"] = (package / "quiz/widgets.py").read_text(encoding="utf-8")
    assert [words for words, source in later.items() if words not in source] == []
    named = set(re.findall(r"(?<!\*)\*([^*]+)\*(?!\*)", prose("00")))
    jupyter_menus = {"View"}
    assert named <= there | set(later) | jupyter_menus | {UNITS.label}
    assert {"Open the bench", "Was I right?", "Check my answer", "Keep name and units"} <= named & there


# Language -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("word", "count"), [("pressure", 2), ("regulator", 4), ("gas", 1), ("opened", 2), ("the", 1)])
def test_syllables_are_counted_as_spoken(word: str, count: int) -> None:
    assert syllables(word) == count


# The start page's panel ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("units", ["us", "metric"])
def test_a_sound_course_finds_everything_working(tmp_path: Path, units: str) -> None:
    record = Record(tmp_path)
    found = start.findings(record, units)
    assert [one.what for one in found if not one.works] == []
    assert len(found) == len(start.CHECKS)
    assert str(record.path) in found[-1].said
    (bench,) = [one.said for one in found if one.what == "The bench"]
    assert format_pressure(lock_up_gauge_pressure(CONDITION, INLET_GAUGE), units) in bench
    assert "Everything works." in start.findings_html(found)


def test_the_check_of_the_record_adds_nothing_to_it(tmp_path: Path) -> None:
    record = Record(tmp_path)
    start.findings(record, "us")
    assert record.path.exists()
    assert record.attempts() == ()
    assert record.learner() == ""


def test_a_record_that_cannot_be_written_is_told_with_what_it_means(tmp_path: Path) -> None:
    blocked = tmp_path / "a file, not a folder"
    blocked.write_text("")
    found = start.findings(Record(blocked), "us")
    assert [one.what for one in found if not one.works] == ["Your record"]
    assert "your answers will not be kept" in found[-1].said
    page = start.findings_html(found)
    assert "1 of 5 do not work" in page
    assert "\u2717 does not work" in page


def test_a_bench_that_locks_up_wrongly_is_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # The bench's day with a nick in the seat: it creeps where it should stand still.
    nicked = bench_trace(lesson_03, debris=0.0, failure="seat nicked")
    monkeypatch.setattr(start, "run", lambda _scenario: nicked)
    found = {one.what: one for one in start.findings(Record(tmp_path), "us")}
    assert not found["The bench"].works
    assert "should" in found["The bench"].said


def test_a_missing_part_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(start, "requires", lambda _name: ["ipywidgets>=8", "no-such-part>=1"])
    (found,) = [one for one in start.findings(Record(tmp_path), "us") if one.what == "The course's parts"]
    assert not found.works
    assert "no-such-part" in found.said
    assert "ipywidgets" not in found.said


def test_findings_are_written_without_markup_from_outside() -> None:
    page = start.findings_html((start.Finding("<b>", False, "<script>"),))
    assert "<script>" not in page
    assert "&lt;script&gt;" in page


@pytest.mark.parametrize("units", ["us", "metric"])
def test_the_practice_slider_is_followed_by_its_sentence(tmp_path: Path, units: str) -> None:
    record = Record(tmp_path)
    record.set_units(units)
    _, _, slider, told = start.self_check(record).children
    before = told.value
    assert format_pressure(slider.value, units).rstrip(".") in before
    slider.press(1)
    assert told.value != before
    assert format_pressure(slider.value, units).rstrip(".") in told.value
