"""The same seeded case for a whole class, the session on the board, and the instructor's list of who is in."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from handed_in import attempt

from toolkit.classroom.ballot import CLOSED, FIRST, REVEALED, SECOND, TALK, Ballots
from toolkit.classroom.room import Room
from toolkit.classroom.session import session_of, shipped_session
from toolkit.diagnosis.load_words import of_load
from toolkit.diagnosis.next_check import CHECKS, stops_of
from toolkit.panels.board import Board
from toolkit.panels.class_list import FOLDED, UNREAD, ClassList
from toolkit.panels.class_votes import question_of
from toolkit.panels.in_class import InClass
from toolkit.quiz.cases import ITEMS
from toolkit.quiz.html import escape
from toolkit.quiz.items import offer
from toolkit.quiz.questions import CauseQuestion, VisitQuestion
from toolkit.quiz.trouble_case import LEVELS, draw_case
from toolkit.quiz.trouble_items import case_items
from toolkit.quiz.visit import MAKE_SAFE, MAKE_SAFE_NAME, advised_acts
from toolkit.quiz.voting import CLEARLY_LESS, Vote, case_key, case_of, item_of, vote_of

FIRST_EVENING = shipped_session("first_evening")
SEEDS = range(1, 3)


def asked(ask: str, level: int, seed: int, place: str | None = None) -> tuple[object, Vote | None]:
    item = item_of(case_key(ask, level, place), seed)
    assert item is not None
    question = offer(item, seed)
    return question, vote_of(question)


def checks_of(vote: Vote) -> list[str]:
    """What the options of a vote on the first check stand for."""
    named = {of_load(one.name, mains): one.key for one in CHECKS.values() for mains in (False, True)}
    by_name = {name.casefold(): key for name, key in (named | {MAKE_SAFE_NAME: MAKE_SAFE}).items()}
    return [by_name[option.casefold()] for option in vote.options]


# The questions of a case


def test_a_key_names_the_same_question_as_the_page_of_cases_asks() -> None:
    case = draw_case(3, 1, "service")
    assert case_of(case_key("cause", 1, "service"), 3) == case
    item = next(one for one in case_items(case) if one.key == "21.cause")
    assert asked("cause", 1, 3, "service")[0] == offer(item, 3)


@pytest.mark.parametrize(
    "key", ["", "21.cause", "21.cause level 9 at service", "21.cause level 1 at nowhere", "21.none level 1 at service"]
)
def test_a_key_of_no_case_is_nothing(key: str) -> None:
    assert item_of(key, 3) is None


def test_a_lesson_s_key_is_still_a_lesson_s() -> None:
    assert item_of(ITEMS[0].key, 3) == ITEMS[0]


@pytest.mark.parametrize("level", LEVELS)
def test_what_comes_first_and_what_it_was_can_always_be_voted_on(level: int) -> None:
    for seed in SEEDS:
        first, vote = asked("first", level, seed)
        assert vote is not None
        assert vote.options[vote.right] == first.options[first.right]  # type: ignore[attr-defined]
        cause, vote = asked("cause", level, seed)
        assert isinstance(cause, CauseQuestion)
        assert vote is not None
        assert vote.options == cause.names()
        assert cause.suspects[vote.right] == cause.truth


@pytest.mark.parametrize("level", LEVELS)
def test_of_the_checks_voted_on_one_is_best_by_far_and_the_unsafe_ones_are_never_right(level: int) -> None:
    for seed in SEEDS:
        question, vote = asked("visit", level, seed)
        assert isinstance(question, VisitQuestion)
        assert vote is not None
        acts = checks_of(vote)
        best = acts[vote.right]
        # the course's own advice, reckoned by toolkit.diagnosis.next_check, is what is right
        assert best == advised_acts(question)[0]
        assert best == MAKE_SAFE or not CHECKS[best].forbidden
        unsafe = [act for act in acts if act != MAKE_SAFE and CHECKS[act].forbidden]
        assert unsafe
        for act, told in zip(acts, vote.told, strict=True):
            if act in unsafe:
                assert CHECKS[act].forbidden in told
            elif act != best:
                score = question.graded([act]).score
                assert score <= CLEARLY_LESS
        assert question.graded([best]).score == 1.0


def test_under_a_stop_condition_nothing_but_making_it_safe_is_right() -> None:
    question, _ = asked("visit", 1, 1, "service")
    assert isinstance(question, VisitQuestion)
    stopped = replace(question, opening=replace(question.opening, outlet_on="far high"))
    assert stops_of(stopped.opening)
    vote = vote_of(stopped)
    assert vote is not None
    assert checks_of(vote)[vote.right] == MAKE_SAFE
    assert all("Stop card" in told for n, told in enumerate(vote.told) if n != vote.right)


# On the board and on the pages


def test_a_class_votes_on_a_case_with_its_readings(tmp_path: Path) -> None:
    board, page = Board(Ballots(tmp_path)), InClass(Ballots(tmp_path), "ann")
    board.lesson.value = "21"
    assert board.level.layout.display == board.place.layout.display == ""
    board.level.value, board.place.value, board.item.value, board.seed.value = 1, "service", "cause", 3
    board.show()
    page.look()
    assert board.round == page.round
    assert board.round is not None
    question, vote = question_of(board.round)  # type: ignore[misc]
    assert isinstance(question, CauseQuestion)
    for shown in (board.body.value, page.body.value):
        for row in (*question.table(), ("worker set",)):
            assert all(escape(cell) in shown for cell in row)
    assert len(page.options.options) == len(vote.options)
    for phase in (FIRST, TALK, SECOND, CLOSED):
        board.go_on()
        page.look()
        assert page.round is not None
        assert page.round.phase == phase
        said = board.body.value + board.tally.value + page.body.value + page.answer.value
        assert vote.explanation not in said
        assert "The signs speak for it" not in said
    board.go_on()
    page.look()
    assert page.round is not None
    assert page.round.phase == REVEALED
    assert escape(vote.explanation) in page.answer.value
    board.lesson.value = "03"
    assert board.level.layout.display == "none"


def test_a_question_with_too_few_answers_is_told_and_not_asked(tmp_path: Path) -> None:
    few = next(seed for seed in range(1, 40) if asked("number", 1, seed, "service")[1] is None)
    board = Board(Ballots(tmp_path))
    board.lesson.value = "21"
    board.place.value, board.item.value, board.seed.value = "service", "number", few
    board.show()
    assert "Take another seed" in board.said.value
    assert board.round is None


def test_the_board_begins_with_the_room_s_session(tmp_path: Path) -> None:
    room = Room(tmp_path)
    room.take_session(FIRST_EVENING)
    session = session_of(FIRST_EVENING)
    board = Board(Ballots(tmp_path), room)
    assert board.seed.value == session.seed
    assert [number for _, number in board.lesson.options][: len(session.lessons)] == list(session.lessons)
    assert board.lesson.value == session.lessons[0]
    assert escape(session.title) in board.held.value
    # without one nothing is preset
    assert Board(Ballots(tmp_path / "else")).seed.value == 1


def test_a_spoilt_session_is_told_and_the_board_works(tmp_path: Path) -> None:
    room = Room(tmp_path)
    room.take_session("[session]\ntitle = 3\n")
    board = Board(Ballots(tmp_path), room)
    assert "session.title" in board.held.value
    board.show()
    assert board.round is not None


# Who is in


@pytest.fixture
def room(tmp_path: Path) -> Room:
    return Room(tmp_path / "room")


def test_the_list_tells_how_far_each_has_come_and_names_nobody_while_it_is_folded(room: Room) -> None:
    visitors = {name: room.come_in(name)[0] for name in ("Ann <i>", "Bo")}
    lesson_02 = [item for item in ITEMS if item.lesson == "02"]
    for item in (lesson_02[0], lesson_02[0], lesson_02[1]):
        room.record(visitors["Bo"]).append(attempt("Bo", item, 1.0))
    made = ClassList(Room(room.folder), ("02", "03"))
    assert (made.table.value, made.who.options) == ("", ())
    made.fold_button.value = True
    assert "Ann &lt;i&gt;" in made.table.value
    row = made.table.value.partition(">Bo<")[2]
    assert f"<td>2</td><td>2 of {len(lesson_02)}</td><td>0 of " in row
    made.fold_button.value = False
    assert (made.table.value, made.who.options, made.fold_button.description) == ("", (), FOLDED)


def test_a_record_that_cannot_be_read_is_told(room: Room) -> None:
    ann, _ = room.come_in("Ann")
    room.record(ann).path.write_text("no database" * 100)
    made = ClassList(room)
    made.fold_button.value = True
    assert UNREAD in made.table.value


def test_a_damaged_file_at_the_door_is_told_and_mended_by_a_new_own_code(room: Room) -> None:
    ann, _ = room.come_in("Ann")
    (room.data_folder(ann) / "visitor.json").write_text("{")
    made = ClassList(Room(room.folder))
    made.fold_button.value = True
    assert "visitor.json is damaged" in made.said.value
    made.code_button.click()
    own = made.said.value.partition("own code ")[2][:6]
    assert room.come_in("Ann", own) == (ann, "")
    made.look_button.click()
    assert "damaged" not in made.said.value


def test_who_has_lost_the_own_code_gets_another_one_that_opens_the_door(room: Room) -> None:
    ann, _ = room.come_in("Ann")
    room.come_in("Bo")
    # the door is another process than the instructor's page
    made = ClassList(Room(room.folder))
    made.fold_button.value = True
    made.who.value = ann.key
    made.code_button.click()
    own = made.said.value.partition("own code ")[2][:6]
    assert room.come_in("Ann", own) == (ann, "")
    made.fold_button.value = False
    assert own not in made.said.value
