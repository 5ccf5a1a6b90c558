"""The quiz on the page: questions, answers, feedback and the record, by the methods that the buttons call."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import pytest
from ipywidgets import HTML

from toolkit.classroom.record import FOLDER_VARIABLE, Attempt, Record
from toolkit.classroom.room import ROOM_VARIABLE, SESSION_VARIABLE, Room, seed_here
from toolkit.classroom.session import session_of, shipped_session
from toolkit.errors import RecordError
from toolkit.panels.progress import Progress, progress
from toolkit.panels.start import findings
from toolkit.quiz import html
from toolkit.quiz.cases import LESSONS, items_of
from toolkit.quiz.items import offer
from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion
from toolkit.quiz.questions import CauseQuestion, NumericQuestion, TraceQuestion, item_hash
from toolkit.quiz.widgets import Quiz, quiz, unit_hint
from toolkit.units import display_unit, parse_quantity, to_display

SVG = "{http://www.w3.org/2000/svg}svg"
HOSTILE = "<img src=x onerror=alert(1)>\"'&\0"


@pytest.fixture
def record(tmp_path: Path) -> Record:
    return Record(tmp_path)


def key_of(question: object) -> list[object]:
    """The right answer, as the fields would hold it."""
    if isinstance(question, NumericQuestion):
        unit = display_unit(question.kind, question.units)
        return [f"{to_display(question.truth, question.kind, question.units):.6f} {unit.label}"]
    if isinstance(question, TraceQuestion):
        return [f"{sum(question.window) / 2:.1f}"]
    if isinstance(question, ChoiceQuestion):
        return [question.right]
    if isinstance(question, OrderQuestion):
        return list(range(len(question.entries)))
    assert isinstance(question, CauseQuestion)
    return [100 if key == question.truth else 0 for key in question.suspects]


def fill(run: Quiz, values: list[object]) -> None:
    for field, value in zip(run.inputs.children, values, strict=True):
        field.value = value


def text_of(markup: str) -> str:
    """The words of a piece of markup; fails if it is not well formed."""
    return " ".join(ElementTree.fromstring(f"<div>{markup}</div>").itertext())


def shown(part: object) -> bool:
    return part.layout.display != "none"  # type: ignore[attr-defined]


def press(button: object) -> None:
    """Press a button as the page does, and let what goes wrong in the callback be seen."""
    for call in button._click_handlers.callbacks:  # type: ignore[attr-defined]
        call(button)


@pytest.mark.parametrize("lesson", LESSONS)
def test_a_whole_run_with_right_answers(lesson: str, record: Record) -> None:
    record.set_learner("Robin")
    run = Quiz(lesson, 5, record)
    for number, item in enumerate(items_of(lesson), start=1):
        assert f"Question {number} of {len(items_of(lesson))}" in run.head.value
        assert shown(run.check_button)
        assert not shown(run.next_button)
        question = run.question
        assert question == offer(item, 5)
        fill(run, key_of(question))
        press(run.check_button)
        assert "Right." in text_of(run.feedback.value)
        assert not shown(run.check_button)
        assert shown(run.next_button)
        assert all(field.disabled for field in run.inputs.children)
        last = record.attempts()[-1].attempt
        assert question is not None
        assert (last.learner, last.lesson, last.item_key, last.seed) == ("Robin", lesson, item.key, 5)
        assert (last.item_hash, last.objective) == (item_hash(question), item.objective)
        assert (last.score, last.maximum) == (1.0, 1.0)
        assert last.seconds >= 0.0
        press(run.next_button)
    words = text_of(run.body.value)
    assert f"{len(run.items)}.00 of {len(run.items)} marks" in words
    assert all(item.objective in words for item in run.items)
    assert shown(run.again_button)
    assert len(record.attempts()) == len(run.items)


def test_again_brings_new_numbers(record: Record) -> None:
    run = Quiz("01", 5, record)
    for _ in run.items:
        run.next()
    assert "not asked" in run.body.value
    press(run.again_button)
    assert run.seed != 5
    assert run.question is not None
    assert run.index == 0
    assert not shown(run.again_button)


def test_unreadable_answer_is_said_and_neither_graded_nor_recorded(record: Record) -> None:
    run = Quiz("01", 5, record)
    fill(run, ["nonsense"])
    run.check()
    assert 'role="alert"' in run.message.value
    assert "nonsense" in run.message.value
    assert shown(run.check_button)
    assert run.feedback.value == ""
    assert record.attempts() == ()
    fill(run, key_of(run.question))
    run.check()
    assert run.message.value == ""
    assert len(record.attempts()) == 1


def test_an_answer_counts_once(record: Record) -> None:
    run = Quiz("01", 5, record)
    fill(run, key_of(run.question))
    run.check()
    run.check()
    assert len(record.attempts()) == 1
    assert len(run.grades) == 1


def test_a_time_starts_empty_and_is_not_graded_untouched(record: Record) -> None:
    run = Quiz("02", 5, record)
    while not isinstance(run.question, TraceQuestion):
        run.next()
    (field,) = run.inputs.children
    assert field.value == ""
    assert f"from 0 to {run.question.duration:g}" in field.placeholder
    press(run.check_button)
    assert "No time was given" in text_of(run.message.value)
    assert shown(run.check_button)
    assert record.attempts() == ()
    fill(run, key_of(run.question))
    press(run.check_button)
    assert record.attempts()[-1].attempt.score == 1.0
    assert isinstance(record.attempts()[-1].attempt.answer, float)


def at_suspects(record: Record) -> Quiz:
    run = Quiz("03", 5, record)
    while not isinstance(run.question, CauseQuestion):
        run.next()
    return run


def test_points_are_added_up_as_they_are_given(record: Record) -> None:
    run = at_suspects(record)
    names = [field.description for field in run.inputs.children]
    question = run.question
    assert isinstance(question, CauseQuestion)
    assert tuple(names) == question.names()
    run.inputs.children[0].value = 60
    assert "60 of 100 points given, 40 left to give" in run.sum.value
    run.inputs.children[1].value = 60
    assert "20 too many" in run.sum.value
    run.check()
    assert "20 are too many" in run.message.value
    assert record.attempts() == ()
    run.inputs.children[1].value = 40
    assert "all are given" in run.sum.value
    run.check()
    assert len(record.attempts()) == 1
    assert record.attempts()[0].attempt.answer == {
        "case": "",
        "truth": question.truth,
        "points": dict(zip(question.suspects, [60.0, 40.0] + [0.0] * (len(names) - 2), strict=True)),
    }


def test_feedback_shows_posterior_and_replay(record: Record) -> None:
    run = at_suspects(record)
    assert "What was read at the visit" in run.body.value
    assert isinstance(run.question, CauseQuestion)
    wrong = next(index for index, key in enumerate(run.question.suspects) if key != run.question.truth)
    run.inputs.children[wrong].value = 100
    run.check()
    words = text_of(run.feedback.value)
    assert "What the signs say" in words
    assert 'aria-label="Your points beside what the signs say"' in run.feedback.value
    assert "What would tell" in words
    picture = ElementTree.fromstring(f"<div>{run.feedback.value}</div>").find(f".//{SVG}")
    assert picture is not None
    assert "True: " in picture.attrib["aria-label"]


def test_every_picture_has_a_sentence_and_every_field_a_name(record: Record) -> None:
    for lesson in LESSONS:
        run = Quiz(lesson, 1, record)
        for _ in run.items:
            tree = ElementTree.fromstring(f"<div>{run.body.value}</div>")
            assert all(len(image.attrib["aria-label"]) > 40 for image in tree.iter(SVG))
            # What the page reads a control's name from: its label, else its tooltip.
            assert all(field.description or field.tooltip for field in run.inputs.children)
            run.next()


def test_record_that_cannot_be_written_is_said_and_the_answer_still_graded(tmp_path: Path) -> None:
    (tmp_path / "record.sqlite3").write_bytes(b"not a record at all " * 100)
    run = Quiz("01", 5, Record(tmp_path))
    assert "is damaged" in text_of(run.foot.value)
    fill(run, key_of(run.question))
    run.check()
    assert "Right." in run.feedback.value
    assert "not in your record" in text_of(run.message.value)
    assert "is damaged" in text_of(run.message.value)
    for _ in run.items:
        run.next()
    assert "1 of these answers could not be written" in run.body.value


def test_question_that_cannot_be_made_does_not_end_the_quiz(record: Record, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise RecordError("made to fail")

    with monkeypatch.context() as patch:
        patch.setattr("toolkit.quiz.widgets.offer", refuse)
        run = Quiz("01", 5, record)
    assert "made to fail" in run.message.value
    assert shown(run.next_button)
    run.check()
    run.next()
    assert run.index == 1
    assert run.question is not None


def test_units_of_the_learner_are_used(record: Record) -> None:
    record.set_units("metric")
    run = Quiz("01", 5, record)
    assert run.question == offer(run.items[0], 5, "metric")


def test_hostile_answers_and_names_are_shown_as_text(record: Record) -> None:
    record.set_learner(HOSTILE)
    run = Quiz("01", 5, record)
    fill(run, [HOSTILE])
    run.check()
    assert "<img" not in run.message.value
    fill(run, key_of(run.question))
    run.check()
    assert record.attempts()[0].attempt.learner == HOSTILE.strip()
    view = Progress(record)
    assert "<img" not in view.table.value
    assert view.name.value == HOSTILE.strip()
    view.name.value = HOSTILE + "2"
    view.keep()
    assert "<img" not in view.table.value + view.message.value


def test_markup_is_made_of_text() -> None:
    assert html.paragraph("<b>&") == "<p>&lt;b&gt;&amp;</p>"
    assert "<script" not in html.table([("<script>", "b"), ("c", "<script>")], '"><script>')
    assert "<script" not in html.note("<script>")


@pytest.mark.parametrize("kind", ["low_gauge_pressure", "absolute_pressure", "standard_flow", "heat_input"])
def test_hints_can_be_typed_as_they_stand(kind: str) -> None:
    hint = unit_hint(kind).removeprefix("number and unit, such as ")
    for example in hint.split(" or "):
        parse_quantity(example, kind)


# --- the record shown back


def result(lesson: str, key: str, score: float, learner: str = "") -> Attempt:
    return Attempt(learner, "0", lesson, key, "h", "o", 1, "a", score, 1.0, 1.0)


def test_empty_record_in_plain_words(record: Record) -> None:
    view = Progress(record)
    assert "Nothing is recorded yet" in view.table.value
    assert str(record.path) in text_of(view.place.value)
    assert not record.path.exists()


def test_results_lesson_by_lesson(tmp_path: Path) -> None:
    times = iter(["2031-01-02T00:00:00.000+00:00", "2031-02-03T00:00:00.000+00:00", "2031-02-04T00:00:00.000+00:00"])
    record = Record(tmp_path, clock=lambda: next(times))
    for score in (0.5, 1.0, 0.0):
        record.append(result("02", "02.droop", score))
    rows = ElementTree.fromstring(Progress(record).table.value).findall("./tbody/tr")
    cells = [["".join(cell.itertext()) for cell in row] for row in rows]
    assert [row[0] for row in cells] == [f"{lesson} {title}" for lesson, title in LESSONS.items()]
    share = f"1 of {len(items_of('02'))}"
    assert cells[1][1:] == [share, "3", "100%", "0%", "2031-01-02", "2031-02-04"]
    assert "not tried yet" in cells[0]


def test_only_the_learners_own_results(record: Record) -> None:
    record.append(result("02", "02.droop", 1.0, "Kim"))
    record.set_learner("Robin")
    view = Progress(record)
    assert "Nothing is recorded under the name Robin" in view.table.value
    view.name.value = "Kim"
    press(view.keep_button)
    assert "<table" in view.table.value
    assert record.learner() == "Kim"


def test_name_and_units_are_kept(record: Record) -> None:
    view = Progress(record)
    view.name.value, view.units.value = " Robin ", "metric"
    view.keep()
    assert (record.learner(), record.units()) == ("Robin", "metric")
    assert "Kept" in view.message.value
    record.append(result("02", "02.droop", 1.0, "Robin"))
    press(view.show_button)
    assert "<table" in view.table.value
    assert view.name.value == "Robin"


def test_the_name_at_the_door_stays(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    room = Room(tmp_path / "room")
    ann, _ = room.come_in("Ann")
    monkeypatch.setenv(ROOM_VARIABLE, str(room.folder))
    view = Progress(room.record(ann))
    assert view.name.disabled
    assert "came in under this name" in "".join(one.value for one in view.box.children if isinstance(one, HTML))
    # the page can hide nothing from who sends the kernel other values
    view.name.value, view.units.value = "Bo", "metric"
    view.keep()
    assert (room.record(ann).learner(), room.record(ann).units(), view.name.value) == ("Ann", "metric", "Ann")


def test_a_visitor_is_told_nothing_of_the_machine_that_serves_the_class(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    room = Room(tmp_path / "room")
    ann, _ = room.come_in("Ann")
    record = room.record(ann)
    record.path.write_bytes(b"not a record at all " * 100)

    def said() -> str:
        run = Quiz("02", seed=5, record=record)
        fill(run, key_of(run.question))
        run.check()
        checked = " ".join(one.said for one in findings(record, "us"))
        return run.foot.value + run.message.value + Progress(record).message.value + checked

    assert str(tmp_path) in said()
    monkeypatch.setenv(ROOM_VARIABLE, str(room.folder))
    monkeypatch.setenv(FOLDER_VARIABLE, str(room.data_folder(ann)))
    told = said()
    assert str(tmp_path) not in told
    assert "`course" not in told
    assert "it is not in your record" in told
    assert "Tell your instructor" in told
    # who serves the class is told all of it
    monkeypatch.setenv(FOLDER_VARIABLE, str(room.folder / "instructor"))
    assert str(tmp_path) in said()


def test_a_session_on_one_s_own_machine_says_the_numbers(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    each = shipped_session("first_evening").replace('kind = "same"', 'kind = "each"')
    (tmp_path / "session.toml").write_text(each, encoding="utf-8")
    record = Record(tmp_path)
    monkeypatch.setenv(SESSION_VARIABLE, str(tmp_path / "session.toml"))
    view = Progress(record)
    assert "First evening" in view.place.value
    assert "Keep your name first" in view.place.value
    view.name.value = "Ann"
    view.keep()
    assert "Keep your name first" not in view.place.value
    # a run that was left in other numbers is no part of the session
    begun = Quiz("02", seed=5, record=record)
    fill(begun, key_of(begun.question))
    begun.check()
    with monkeypatch.context() as without:
        without.delenv(SESSION_VARIABLE)
        assert Quiz("02", record=record).seed == 5
    assert Quiz("02", record=record).seed == session_of(each).seed_of("Ann")
    assert seed_here("05", "Ann") is None
    (tmp_path / "session.toml").write_text("[session]\ntitle = \n", encoding="utf-8")
    assert "line 2" in Progress(record).place.value


def test_damaged_record_is_said(tmp_path: Path) -> None:
    (tmp_path / "record.sqlite3").write_bytes(b"not a record at all " * 100)
    view = Progress(Record(tmp_path))
    assert "is damaged" in view.message.value
    view.keep()
    assert "is damaged" in view.message.value


def test_public_functions_give_boxes_and_use_the_folder_of_the_environment(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path / "elsewhere"))
    assert "gp-quiz" in quiz("01", seed=7)._dom_classes
    assert "gp-quiz" in progress()._dom_classes
    assert not (tmp_path / "elsewhere").exists()  # looking on writes nothing


# Going on where it was left -------------------------------------------------------------------------------------------


def answered(quiz_widget):
    """One answer, right or wrong, to the question that stands there."""
    field = quiz_widget.inputs.children[0]
    field.value = "7 in wc"
    quiz_widget.check()


def test_a_quiz_that_was_left_goes_on_at_its_next_question_with_its_numbers(tmp_path):
    record = Record(tmp_path)
    first = Quiz("02", 77, record)
    answered(first)
    first.next()
    asked = first.question
    again = Quiz("02", None, record)
    assert (again.seed, again.index) == (77, 1)
    assert again.question == asked
    assert "You left at question 2" in again.message.value
    again.again()
    assert again.index == 0


def test_another_learner_and_a_given_seed_begin_at_the_first_question(tmp_path):
    record = Record(tmp_path)
    answered(Quiz("02", 77, record))
    assert Quiz("02", 5, record).index == 0
    record.set_learner("B")
    assert Quiz("02", None, record).index == 0


def test_the_summary_of_a_run_gone_on_with_says_what_was_not_asked(tmp_path):
    record = Record(tmp_path)
    first = Quiz("02", 77, record)
    answered(first)
    again = Quiz("02", None, record)
    again.index = len(again.items) - 1
    again.grades = [None] * len(again.items)
    again.summarise()
    assert "not asked" in again.body.value


def test_feedback_is_hidden_until_there_is_some_and_waits_anew_for_each_question(tmp_path):
    made = Quiz("02", 77, Record(tmp_path))
    assert made.answered.layout.display == "none"
    answered(made)
    assert made.answered.layout.display == ""
    made.reveal()
    assert "gp-revealed" in made.answered._dom_classes
    made.next()
    assert "gp-revealed" not in made.answered._dom_classes
    assert made.answered.layout.display == "none"
