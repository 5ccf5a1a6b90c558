"""The page of cases, by the methods that its buttons call: a whole case, an unsafe act, a class's seed, the record."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from test_quiz_widgets import key_of, press, shown, text_of

from toolkit.classroom.mastery import CAUSE, EVERY, stated
from toolkit.classroom.record import Record
from toolkit.diagnosis.look_up import meanwhile
from toolkit.diagnosis.next_check import CHECKS
from toolkit.diagnosis.signs import Signs
from toolkit.panels.progress import Progress
from toolkit.quiz.cases import section_of
from toolkit.quiz.items import ABNORMAL
from toolkit.quiz.ordering import OrderQuestion
from toolkit.quiz.questions import CauseQuestion
from toolkit.quiz.visit import MAKE_SAFE, STOP_CARD, VisitQuestion, advised_acts, worded
from toolkit.quiz.widgets_visit import SEEN, CaseQuiz, VisitPage, visit


@pytest.fixture
def record(tmp_path: Path) -> Record:
    kept = Record(tmp_path)
    kept.set_learner("Robin")
    return kept


def opened(record: Record, level: int = 1, seed: int = 3, place: str | None = "service") -> tuple[VisitPage, CaseQuiz]:
    page = VisitPage(record)
    page.level.value, page.place.value, page.seed.value = level, place, seed
    press(page.open_button)
    assert page.quiz is not None
    return page, page.quiz


def answered(run: CaseQuiz, wrong_cause: bool = False) -> None:
    """Answer the question in front rightly, or the cause wrongly."""
    question = run.question
    if isinstance(question, VisitQuestion):
        for act in advised_acts(question):
            press(run.buttons[act])
    elif isinstance(question, CauseQuestion):
        place = question.suspects.index(question.truth)
        run.inputs.children[(place + wrong_cause) % len(question.suspects)].value = 100
    else:
        for field, value in zip(run.inputs.children, key_of(question), strict=True):
            field.value = value
    press(run.check_button)


def test_a_whole_case_with_right_answers(record: Record) -> None:
    page, run = opened(record)
    assert "seed 3" in text_of(page.message.value)
    assert "worker set" in text_of(page.card.value)
    while run.index < len(run.items):
        key = run.item.key
        answered(run)
        assert "Right." in text_of(run.feedback.value), key
        last = record.attempts()[-1].attempt
        assert (last.lesson, last.item_key, last.seed, last.score) == ("21", key, 3, 1.0)
        press(run.next_button)
    words = text_of(run.body.value)
    assert f"{len(run.items)}.00 of {len(run.items)} marks" in words
    assert words.endswith("100% 100% passed Knowledge 100% 80% passed")
    assert len(record.attempts()) == len(run.items)
    assert section_of("21.first") == ABNORMAL
    assert len(stated(record.attempts())) == 1
    # the start page says how it went, with a link
    assert "21 The visit" in text_of(Progress(record).table.value)
    press(page.stand_button)
    assert "In 1 case you gave" in text_of(page.standing.value)
    assert "<svg" in page.standing.value
    press(run.again_button)
    assert page.quiz is not run


def test_the_same_level_station_and_seed_are_the_same_case(record: Record, tmp_path: Path) -> None:
    one, other = opened(record)[1], opened(Record(tmp_path / "other"))[1]
    assert one.question == other.question
    assert opened(record, seed=4)[1].question != one.question


@pytest.mark.parametrize("act", ["plug_vent", "raise_set_point"])
def test_an_unsafe_act_stops_the_case(record: Record, act: str) -> None:
    _, run = opened(record)
    answered(run)
    press(run.next_button)
    press(run.buttons[act])
    words = text_of(run.feedback.value)
    assert CHECKS[act].forbidden in words
    assert STOP_CARD in words
    assert 'class="gp-stop" role="alert"' in run.feedback.value
    assert not shown(run.check_button)
    assert run.next_button.description == "Show the summary"
    assert record.attempts()[-1].attempt.score == 0.0
    press(run.next_button)
    words = text_of(run.body.value)
    assert "not passed: an unsafe act" in words
    assert words.count("not asked") == len(run.items) - 2
    assert len(record.attempts()) == 2


def test_the_visit_shows_what_was_found_and_the_minutes(record: Record) -> None:
    _, run = opened(record)
    run.next()
    assert run.check_button.description == "I know enough: end the visit"
    press(run.check_button)
    assert "No check was made" in text_of(run.message.value)
    assert record.attempts() == ()
    frost, safe = run.buttons["frost"], run.buttons[MAKE_SAFE]
    assert frost.description == "look for frost (1\u00a0min)"
    press(frost)
    assert run.message.value == ""
    assert "frost on a regulator" in text_of(run.sum.value)
    assert "Minutes gone: 1." in text_of(run.sum.value)
    # what it showed stands where it was pressed, and a second press makes nothing
    assert frost.description.startswith("look for frost (1\u00a0min): frost on a regulator")
    assert frost.disabled
    press(frost)
    press(safe)
    press(safe)
    assert "made safe" in text_of(run.sum.value)
    assert "Minutes gone: 11." in text_of(run.sum.value)
    assert [act for act, button in run.buttons.items() if button.disabled] == ["frost"]
    press(run.check_button)
    assert run.inputs.children == ()
    assert shown(run.next_button)
    assert record.attempts()[-1].attempt.answer["acts"] == ["frost", MAKE_SAFE]  # type: ignore[index]
    run.next()
    assert run.check_button.description == "Check my answer"


def test_what_calls_for_care_is_said_in_the_look_up_s_words(record: Record) -> None:
    _, run = opened(record)
    run.next()
    assert isinstance(run.question, VisitQuestion)
    assert "Meanwhile" not in run.sum.value
    run.question = replace(run.question, shows=replace(run.question.shows, vent_off="strong", frost="none"))
    press(run.buttons["smell_off"])
    (care,) = meanwhile(Signs(vent_off="strong"))
    assert "no flame or spark near it" in care
    assert care in text_of(run.sum.value)
    # it stands as long as the sign does
    press(run.buttons["frost"])
    assert care in text_of(run.sum.value)
    assert not run.stopped


def test_no_button_tells_by_its_place_or_looks_which_act_is_unsafe(record: Record) -> None:
    _, run = opened(record)
    run.next()
    groups = [[button.description for button in box.children] for box in run.inputs.children[2::2]]
    assert [name for group in groups for name in group] == [button.description for button in run.buttons.values()]
    assert all(group == sorted(group) for group in groups)
    unsafe = {worded(key) for key, one in CHECKS.items() if one.forbidden}
    assert unsafe & {name for group in groups for name in group}
    assert all(set(group) - unsafe for group in groups)
    looks = {
        (tuple(button._dom_classes), str(button.style.get_state()["button_color"])) for button in run.buttons.values()
    }
    assert len(looks) == 1


def test_a_press_from_before_a_stop_condition_could_be_seen_does_not_end_the_case(
    record: Record, monkeypatch: pytest.MonkeyPatch
) -> None:
    _, run = opened(record)
    run.next()
    assert isinstance(run.question, VisitQuestion)
    run.question = replace(run.question, shows=replace(run.question.shows, outlet_pilots="far high"))
    seconds = 0.1
    monkeypatch.setattr("toolkit.quiz.widgets_visit.stopwatch", lambda: lambda: seconds)
    press(run.buttons["gauge_pilots"])
    press(run.buttons["frost"])
    assert "too soon" in text_of(run.message.value)
    assert run.acts == ["gauge_pilots"]
    # to stop is never too soon, nor is a check once it is made safe
    press(run.buttons[MAKE_SAFE])
    press(run.buttons["frost"])
    assert run.acts == ["gauge_pilots", MAKE_SAFE, "frost"]
    assert not run.stopped
    # who has had the time to read it and goes on is stopped
    run.show()
    run.question = replace(run.question, shows=replace(run.question.shows, outlet_pilots="far high"))
    seconds = SEEN
    press(run.buttons["gauge_pilots"])
    press(run.buttons["frost"])
    assert run.stopped


def test_a_level_that_a_station_has_not_is_said(record: Record) -> None:
    page = VisitPage(record)
    page.level.value, page.place.value = 4, "service"
    page.open_case()
    before = page.quiz
    page.level.value, page.place.value, page.seed.value = 2, "bakery", 5
    page.open_case()
    said = text_of(page.message.value)
    assert page.quiz is not before or "was given" in said


def test_the_projector_view_is_kept_for_the_next_page(record: Record) -> None:
    page, run = opened(record)
    assert "gp-on-projector" not in page.box._dom_classes
    page.projector.value = True
    assert "gp-on-projector" in page.box._dom_classes
    assert record.screen() == "projector"
    assert "gp-on-projector" in VisitPage(record).box._dom_classes
    # an answer waits for Reveal, as in the quiz
    answered(run)
    assert "gp-revealed" not in run.answered._dom_classes
    press(run.reveal_button)
    assert "gp-revealed" in run.answered._dom_classes


def test_a_reviewed_case_is_opened_by_its_key(record: Record) -> None:
    page = VisitPage(record)
    page.kept.value = "4-01"
    press(page.open_button)
    assert page.quiz is not None
    assert "reviewed case 4-01" in text_of(page.message.value)
    question = page.quiz.question
    press(page.open_button)
    assert page.quiz.question == question
    press(page.other_button)
    assert page.kept.value is None
    assert page.quiz.question != question


def test_every_third_case_comes_back_to_a_pair_mixed_up(record: Record) -> None:
    page, run = opened(record)
    truth = None
    for number in range(1, EVERY):
        while run.item.key != CAUSE:
            run.next()
        question = run.question
        assert isinstance(question, CauseQuestion)
        truth = truth or question.truth
        answered(run, wrong_cause=number == 1)
        if number < EVERY - 1:
            press(page.other_button)
            assert page.quiz is not None
            run = page.quiz
    first = stated(record.attempts())[0]
    press(page.other_button)
    assert page.quiz is not None
    while page.quiz.item.key != CAUSE:
        page.quiz.next()
    back = page.quiz.question
    assert isinstance(back, CauseQuestion)
    assert back.truth in {first.truth, first.chosen}


def test_the_page_s_function_gives_the_widget(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("GUARDED_PRESSURE_DATA", str(tmp_path))
    assert len(visit().children) == 3


def test_what_is_chosen_stands_in_whole_words(record: Record) -> None:
    page = VisitPage(record)
    assert text_of(page.chosen.value).startswith("Level 1: one fault, clear readings. Station: any station. Seed: ")
    page.level.value, page.place.value, page.seed.value = 3, "damped, monitored", 12
    assert "damped, monitored, worker and monitor with damped sensing lines on short piping" in text_of(
        page.chosen.value
    )
    assert text_of(page.chosen.value).endswith("Seed: 12.")
    page.place.value = "house_service"
    assert "Station: house service. Seed" in text_of(page.chosen.value)
    page.kept.value = "4-01"
    assert text_of(page.chosen.value).startswith("Reviewed case 4-01")


def test_the_order_so_far_stands_in_whole_words(record: Record) -> None:
    _, run = opened(record)
    while run.item.key != "21.restore":
        run.next()
    question = run.question
    assert isinstance(question, OrderQuestion)
    assert "so far" not in run.sum.value
    run.inputs.children[1].value = 6
    said = text_of(run.sum.value.partition("</style>")[2])
    assert said == f"Place Your order so far 2 {question.entries[6]}"
