"""A class votes and looks at a hidden fault: what is counted, what is shown when, what no page tells early."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from toolkit.classroom.ballot import (
    CLOSED,
    FIRST,
    PHASES,
    REVEALED,
    SECOND,
    SHOWN,
    TALK,
    Ballots,
)
from toolkit.classroom.room import ROOM_VARIABLE, Room
from toolkit.diagnosis.next_check import CHECKS
from toolkit.diagnosis.signatures import SUSPECTS
from toolkit.errors import RoomError
from toolkit.panels import class_votes
from toolkit.panels.board import NEXT, Board
from toolkit.panels.class_votes import ASKED, question_of
from toolkit.panels.demonstration import BENCH, HIDDEN, NUMBERS, hidden, key_text, show
from toolkit.panels.in_class import InClass, in_class
from toolkit.quiz.cases import ITEMS
from toolkit.quiz.items import offer
from toolkit.quiz.questions import NumericQuestion, OrderQuestion, TraceQuestion
from toolkit.quiz.voting import FEWEST_OPTIONS, vote_of


@pytest.fixture(scope="module")
def votable() -> str:
    """An item that can be voted on."""
    return next(item.key for item in ITEMS if item.lesson in ("03", "09") and vote_of(offer(item, 1)))


@pytest.fixture
def ballots(tmp_path: Path) -> Ballots:
    return Ballots(tmp_path)


# What is counted


def test_a_round_goes_through_its_phases_once(ballots: Ballots, votable: str) -> None:
    assert ballots.now() is None
    with pytest.raises(RoomError, match="Nothing is asked"):
        ballots.go_on()
    asked = ballots.ask(votable, 5, "us")
    assert (asked.number, asked.phase) == (1, SHOWN)
    found = [ballots.go_on().phase for _ in PHASES]
    assert found == [FIRST, TALK, SECOND, CLOSED, REVEALED, REVEALED]
    assert ballots.ask(votable, 6, "metric").number == 2
    assert Ballots(ballots.path.parent).now() == ballots.now()  # another kernel, or the next start, reads the same


def test_the_last_vote_counts_and_the_two_ballots_stand_apart(ballots: Ballots, votable: str) -> None:
    ballots.ask(votable, 5, "us")
    ballots.go_on()
    for voter, choice in (("a", 0), ("b", 1), ("a", 2)):
        ballots.vote(voter, 1, choice)
    ballots.raise_hands(1, FIRST, 1, 4)
    ballots.raise_hands(1, FIRST, 1, 3)
    ballots.go_on()
    ballots.go_on()
    ballots.vote("b", 1, 2)
    assert ballots.counts(1, FIRST, 3) == (0, 4, 1)
    assert ballots.counts(1, SECOND, 3) == (0, 0, 1)
    assert ballots.mine("a", 1, FIRST) == 2
    assert ballots.mine("a", 1, SECOND) is None


def test_no_vote_is_taken_when_none_is_open_or_for_another_question(ballots: Ballots, votable: str) -> None:
    ballots.ask(votable, 5, "us")
    with pytest.raises(RoomError, match="closed"):
        ballots.vote("a", 1, 0)
    ballots.go_on()
    with pytest.raises(RoomError, match="closed"):
        ballots.vote("a", 2, 0)
    ballots.go_on()
    with pytest.raises(RoomError, match="closed"):
        ballots.vote("a", 1, 0)
    assert ballots.counts(1, FIRST, 3) == (0, 0, 0)


def test_thirty_vote_at_once_and_none_is_lost(ballots: Ballots, votable: str) -> None:
    ballots.ask(votable, 5, "us")
    ballots.go_on()
    voters = [threading.Thread(target=ballots.vote, args=(f"v{number}", 1, number % 3)) for number in range(30)]
    for one in voters:
        one.start()
    for one in voters:
        one.join()
    assert ballots.counts(1, FIRST, 3) == (10, 10, 10)


def test_a_damaged_file_is_told_and_kept(ballots: Ballots) -> None:
    ballots.path.write_text("no database" * 100)
    with pytest.raises(RoomError, match="votes are no marks"):
        ballots.now()
    assert ballots.path.read_text().startswith("no database")


# What can be voted on


def test_every_question_is_a_vote_or_has_a_reason_not_to_be_one() -> None:
    for item in ITEMS:
        question = offer(item, 3)
        vote = vote_of(question)
        if vote is None:
            assert not isinstance(question, NumericQuestion) or len(question.slips) < FEWEST_OPTIONS, item.key
            continue
        assert not isinstance(question, OrderQuestion | TraceQuestion)
        assert FEWEST_OPTIONS <= len(vote.options) == len(set(vote.options)) == len(vote.told)
        if isinstance(question, NumericQuestion):
            told = [vote.told[n] for n in range(len(vote.options)) if n != vote.right]
            assert sorted(told) == sorted(f"{one.name}: {one.why}" for one in question.slips)


# What is shown when


def test_each_phase_has_its_words() -> None:
    assert set(ASKED) == set(NEXT) == set(PHASES)


def test_a_page_makes_the_question_of_a_round_once(
    ballots: Ballots, votable: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = []
    monkeypatch.setattr(class_votes, "offer", lambda *asked: made.append(asked) or offer(*asked))
    page = InClass(ballots, "ann")
    ballots.ask(votable, 5_001, "us")
    for _ in PHASES:
        page.look()
        ballots.go_on()
    assert len(made) == 1
    ballots.ask(votable, 5_002, "us")
    page.look()
    assert len(made) == 2


def test_a_learner_sees_the_question_votes_and_learns_the_answer_last(ballots: Ballots, votable: str) -> None:
    page = InClass(ballots, "ann")
    assert "Nothing is asked yet" in page.body.value
    asked = ballots.ask(votable, 5, "us")
    page.look()
    found = question_of(asked)
    assert found is not None
    _, vote = found
    assert page.options.disabled
    ballots.go_on()
    page.look()
    assert not page.options.disabled
    page.vote()
    assert "Nothing is chosen" in page.said.value
    page.options.value = (vote.right + 1) % len(vote.options)
    page.vote()
    assert "Your vote is" in page.said.value
    for phase in (TALK, SECOND):
        ballots.go_on()
        page.look()
        assert page.round is not None
        assert page.round.phase == phase
        # nothing tells what others chose, or what is right
        assert page.answer.value == ""
    page.options.value = vote.right
    page.vote()
    ballots.go_on()
    page.look()
    assert "1 of 1" in page.answer.value
    assert "\u2713" not in page.answer.value
    assert vote.told[vote.right] not in page.answer.value
    ballots.go_on()
    page.look()
    assert page.answer.value.count("\u2713") == 1
    assert ballots.counts(asked.number, SECOND, len(vote.options))[vote.right] == 1


def test_each_ballot_begins_empty_and_what_was_voted_stands_after_a_reload(ballots: Ballots, votable: str) -> None:
    page = InClass(ballots, "ann")
    ballots.ask(votable, 5, "us")
    ballots.go_on()
    page.look()
    page.options.value = 1
    page.vote()
    for one in (page, InClass(ballots, "ann")):
        one.look()
        assert (one.options.value, one.options.disabled) == (1, False)
        assert "Your vote is B" in one.said.value
    ballots.go_on()  # talked over: the first vote in sight, and no change to it
    for one in (page, InClass(ballots, "ann")):
        one.look()
        assert (one.options.value, one.options.disabled) == (1, True)
        assert "Your first vote stands" in one.said.value
    other = InClass(ballots, "bo")
    other.look()
    assert "You have not voted." in other.said.value
    ballots.go_on()  # nobody's second vote is the first one unless it is given again
    for one in (page, InClass(ballots, "ann")):
        one.look()
        assert (one.options.value, one.said.value) == (None, "")
    page.options.value = 2
    page.vote()
    again = InClass(ballots, "ann")
    again.look()
    assert again.options.value == 2


def test_what_could_not_be_read_for_a_moment_comes_at_the_next_look(
    ballots: Ballots, votable: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def held(*_: object) -> None:
        raise RoomError("held")

    page, board = InClass(ballots, "ann"), Board(ballots)
    ballots.ask(votable, 5, "us")
    ballots.go_on()
    with monkeypatch.context() as trouble:
        for name in ("mine", "counts", "hands"):
            trouble.setattr(ballots, name, held)
        page.look()
        board.look()
    page.look()
    board.look()
    assert not page.options.disabled
    assert len(board.hands.children) == len(page.options.options)
    assert "0 have voted." in board.said.value


def test_a_late_vote_is_told(ballots: Ballots, votable: str) -> None:
    page = InClass(ballots, "ann")
    ballots.ask(votable, 5, "us")
    ballots.go_on()
    page.look()
    page.options.value = 0
    ballots.go_on()
    page.vote()
    assert "closed" in page.said.value


def test_the_board_leads_through_a_round_with_hands_alone(tmp_path: Path, votable: str) -> None:
    board = Board(Ballots(tmp_path))
    item = next(one for one in ITEMS if one.key == votable)
    board.lesson.value, board.item.value, board.seed.value = item.lesson, votable, 5
    board.show()
    assert board.round is not None
    vote = question_of(board.round)[1]  # type: ignore[index]
    assert board.next_button.description == NEXT[SHOWN]
    board.go_on()
    board.hands.children[vote.right].value = 7
    assert "7 have voted." in board.said.value
    assert "who have come in" not in board.said.value
    for _ in (TALK, SECOND):
        board.go_on()
        assert "7 of 7" not in board.tally.value
    board.hands.children[vote.right].value = 9
    board.go_on()
    assert "7 of 7" in board.tally.value
    assert "9 of 9" in board.tally.value
    assert "\u2713" not in board.tally.value
    board.go_on()
    assert board.tally.value.count("\u2713") == 1
    assert board.next_button.layout.display == "none"


def test_the_board_of_a_served_class_says_how_many_are_in(tmp_path: Path, votable: str) -> None:
    room = Room(tmp_path)
    room.come_in("Ann")
    board = Board(Ballots(tmp_path), Room(tmp_path))
    board.ballots.ask(votable, 5, "us")
    board.look()
    board.go_on()
    board.ballots.vote("x", 1, 0)
    board.look()
    assert "1 have voted of 1 who have come in." in board.said.value


def test_two_boards_and_a_restart_show_the_same(tmp_path: Path, votable: str) -> None:
    first = Board(Ballots(tmp_path))
    first.ballots.ask(votable, 5, "us")
    first.look()
    first.go_on()
    again = Board(Ballots(tmp_path))
    assert again.round == first.round
    assert again.next_button.description == NEXT[FIRST]
    # hands that were counted stand, and are not counted as none
    again.hands.children[1].value = 4
    third = Board(Ballots(tmp_path))
    assert [one.value for one in third.hands.children][:3] == [0, 4, 0]
    third.hands.children[0].value = 1
    assert third.ballots.counts(1, FIRST, 3) == (1, 4, 0)


def test_the_page_of_a_class_says_where_there_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(ROOM_VARIABLE, raising=False)
    assert "Here is no class" in in_class().value


# A hidden fault


def test_each_suspect_is_hidden_once() -> None:
    assert sorted(hidden(number).suspect for number in NUMBERS) == sorted(HIDDEN)
    lines = key_text().splitlines()
    assert len(lines) == len(NUMBERS)
    for number, line in zip(NUMBERS, lines, strict=True):
        assert line.startswith(f"{number:3d}  {SUSPECTS[hidden(number).suspect]} ")


@pytest.mark.parametrize("number", NUMBERS)
def test_what_is_hidden_is_not_told_before_it_is_asked_for(number: int) -> None:
    settings = BENCH.start("us") | {"number": number, "zoom": "near"}
    name = SUSPECTS[hidden(number).suspect]
    shown = show(settings)
    for text in (shown.drawing, shown.sentence, str(shown.readouts), str(shown.events)):
        assert name not in text
    assert shown.events == ()
    assert name in show(settings | {"truth": True}).sentence


def test_what_may_not_be_done_is_refused() -> None:
    settings = BENCH.start("us") | {"zoom": "near"}
    for check in CHECKS.values():
        if check.forbidden:
            shown = show(settings | {"check": check.key})
            assert check.forbidden in shown.sentence
            assert len(shown.readouts) == 1


def test_the_further_it_has_come_the_more_it_shows() -> None:
    number = next(one for one in NUMBERS if hidden(one).suspect == "dirty_seat")
    settings = BENCH.start("us") | {"number": number, "zoom": "near", "check": "gauge_off"}
    peaks = [show(settings | {"severity": share}).chart.lines[0].values.max() for share in (0.0, 0.5, 1.0)]
    # the relief keeps the worse two alike
    assert peaks[0] < min(peaks[1:])
    assert "lock-up beside its record: as on record" in show(settings | {"severity": 0.0}).sentence
