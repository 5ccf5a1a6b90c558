"""Putting in order and choosing one: credit, caps, what is said, and how both stand on the page."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations
from pathlib import Path
from random import Random
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import kendalltau

from toolkit.classroom.record import Record
from toolkit.errors import AnswerError, ScenarioError
from toolkit.figures.chart import Picture
from toolkit.quiz.items import Item
from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion, order_credit, plain_credit, shown_order
from toolkit.quiz.questions import Question, grade, item_hash
from toolkit.quiz.widgets import Quiz
from toolkit.scenario import Demand, Scenario, Station
from toolkit.simulation import simulate
from toolkit.trace import Trace

HOSTILE = "<img src=x onerror=alert(1)>"
PICTURE = Picture('<svg aria-label="a picture"/>', "Outlet pressure in in. w.c. read off: 0 s 7.0; 10 s 7.9.", (10, 10))
SET_POINTS = ("worker", "lock-up", "monitor", "relief", "slam-shut")
ABOVE_WORKER = "A monitor at or below its worker takes over with nothing wrong."
ABOVE_LOCK_UP = "A relief below lock-up blows whenever the burners rest."
RIGHT = (0, 1, 2, 3, 4)


def order(**changes: object) -> OrderQuestion:
    values: dict[str, object] = {
        "key": "00.order",
        "prompt": "Put the set points in order, the lowest first.",
        "entries": SET_POINTS,
        "shown": (3, 0, 4, 2, 1),
        "critical": ((0, 2), (1, 3)),
        "cap": 0.4,
        "scoring": "tau",
        "explanation": "Each layer acts once the one below it has failed.",
        "reasons": (ABOVE_WORKER, ABOVE_LOCK_UP),
    }
    return OrderQuestion(**(values | changes))  # type: ignore[arg-type]


def choice(**changes: object) -> ChoiceQuestion:
    values: dict[str, object] = {
        "key": "00.choice",
        "prompt": "Which layer is defeated?",
        "options": ("the monitor", "the slam-shut", "neither"),
        "right": 1,
        "told": ("It still senses the outlet.", "Its sensing line ends on a dead main.", "One no longer feels it."),
        "explanation": "A layer guards only the place that it senses.",
    }
    return ChoiceQuestion(**(values | changes))  # type: ignore[arg-type]


def run_of(share: float) -> Trace:
    return simulate(Scenario(Station(), (Demand(0.0, share),), (), 20.0))


# --- credit of an order


@given(st.permutations(range(6)))
def test_credit_over_all_pairs_is_kendalls_tau(answer: list[int]) -> None:
    question = order(entries=tuple("abcdef"), shown=(1, 0, 2, 3, 4, 5), critical=(), reasons=())
    places = [answer.index(entry) for entry in range(6)]
    tau = float(kendalltau(range(6), places).statistic)
    assert grade(question, answer).score == pytest.approx((tau + 1.0) / 2.0)


@pytest.mark.parametrize("scoring", ["tau", "share"])
def test_only_the_right_order_earns_everything_and_only_the_reverse_nothing(scoring: str) -> None:
    question = order(scoring=scoring, critical=(), reasons=())
    credits = {answer: plain_credit(question, answer) for answer in permutations(RIGHT)}
    assert [answer for answer, credit in credits.items() if credit == 1.0] == [RIGHT]
    assert [answer for answer, credit in credits.items() if credit == 0.0] == [RIGHT[::-1]]
    assert all(0.0 <= credit <= 1.0 for credit in credits.values())


@pytest.mark.parametrize(
    ("answer", "tau", "share"),
    [
        ((1, 0, 2, 3, 4), 0.9, 0.75),  # one neighbouring pair turned
        ((4, 0, 1, 2, 3), 0.6, 0.75),  # the last came first: four pairs of ten, but one neighbour of four
        ((1, 2, 3, 4, 0), 0.6, 0.75),
        ((1, 0, 3, 2, 4), 0.8, 0.5),
        ((2, 3, 4, 0, 1), 0.4, 0.75),
    ],
)
def test_credit_by_hand(answer: tuple[int, ...], tau: float, share: float) -> None:
    assert plain_credit(order(), answer) == pytest.approx(tau)
    assert plain_credit(order(scoring="share"), answer) == pytest.approx(share)


def test_a_critical_pair_out_of_turn_caps_the_credit_and_its_reason_is_said() -> None:
    graded = grade(order(), (0, 1, 3, 2, 4))  # relief below monitor: not critical
    assert graded.score == pytest.approx(0.9)
    assert graded.explanation == ("Each layer acts once the one below it has failed.",)
    graded = grade(order(), (0, 3, 1, 2, 4))  # relief below lock-up: 0.8 of the pairs, capped
    assert graded.score == 0.4
    assert ABOVE_LOCK_UP in graded.explanation[0]
    assert "“relief” before “lock-up”" in graded.explanation[0]
    assert "no more than 0.40" in graded.explanation[1]
    assert ABOVE_WORKER not in " ".join(graded.explanation)
    both = grade(order(), (2, 3, 0, 1, 4))
    assert both.score == 0.4
    assert ABOVE_WORKER in both.explanation[0]
    assert ABOVE_LOCK_UP in both.explanation[1]


def test_a_cap_raises_nobody_and_is_not_named_where_it_takes_nothing() -> None:
    graded = grade(order(), RIGHT[::-1])
    assert graded.score == 0.0
    assert "no more than" not in " ".join(graded.explanation)


def test_a_safety_step_out_of_place_earns_nothing() -> None:
    steps = ("call the control room", "shut the inlet", "bleed down", "open the body")
    question = order(
        entries=steps, shown=(3, 1, 0, 2), critical=((2, 3),), reasons=("It holds gas.",), cap=0.0, scoring="share"
    )
    assert grade(question, (1, 0, 2, 3)).score == pytest.approx(2 / 3)
    graded = grade(question, (0, 1, 3, 2))
    assert graded.score == 0.0
    assert "It holds gas." in graded.explanation[0]
    assert graded.verdict == "0.00 of 1: 2 of 3 neighbouring pairs in the right order."


@pytest.mark.parametrize("scoring", ["tau", "share"])
def test_random_orders_never_beat_the_cap(scoring: str) -> None:
    question = order(scoring=scoring)
    for answer in permutations(RIGHT):
        turned = answer.index(2) < answer.index(0) or answer.index(3) < answer.index(1)
        plain = plain_credit(question, answer)
        assert order_credit(question, answer) == (min(plain, 0.4) if turned else plain)


def test_the_learners_order_stands_beside_the_right_one_in_words() -> None:
    graded = grade(order(), (0, 2, 1, 3, 4))
    assert graded.verdict == "0.90 of 1: 9 of 10 pairs in the right order."
    assert graded.table[1:4] == (
        ("1 (lowest)", "worker", "in place", "worker"),
        ("2", "monitor", "belongs at 3", "lock-up"),
        ("3", "lock-up", "belongs at 2", "monitor"),
    )
    assert graded.table[5][0] == "5 (highest)"
    assert graded.answer == [0, 2, 1, 3, 4]
    right = grade(order(), RIGHT)
    assert (right.score, right.verdict) == (1.0, "Right.")
    assert {row[2] for row in right.table[1:]} == {"in place"}


def test_the_ends_are_named_by_the_kind_or_by_the_question() -> None:
    assert order(scoring="share").places()[0] == "1 (first)"
    assert order(ends=("fastest", "slowest")).places()[-1] == "5 (slowest)"


@pytest.mark.parametrize(
    ("answer", "words"),
    [
        ([None] * 5, "No place is filled yet"),
        ([0, None, 2, None, 4], r"Empty places: 2, 4\. Not placed yet: relief; lock-up"),
        ([0, 1, 2, 3, None], r"Empty place: 5\. Not placed yet: slam-shut"),
        ([0, 0, 2, 3, 4], r"Named more than once: worker\. Not placed yet: lock-up"),
        ([0, 1, 2, 3], "one entry for each place"),
        ([0, 1, 2, 3, 5], "0 to 4 was expected"),
        ([0, 1, 2, 3, -1], "0 to 4 was expected"),
        ([False, True, 2, 3, 4], "0 to 4 was expected"),
        ([0.0, 1, 2, 3, 4], "0 to 4 was expected"),
        ("01234", "0 to 4 was expected"),
        (None, "0 to 4 was expected"),
        (7, "0 to 4 was expected"),
    ],
)
def test_what_is_no_order_is_not_graded(answer: object, words: str) -> None:
    with pytest.raises(AnswerError, match=words):
        grade(order(), answer)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"entries": ("a", "b"), "shown": (1, 0), "critical": (), "reasons": ()}, "entries"),
        ({"entries": ("a", "b", "b", "c", "d")}, "entries"),
        ({"shown": RIGHT}, "shown"),
        ({"shown": (0, 1, 2, 3)}, "shown"),
        ({"shown": (0, 0, 1, 2, 3)}, "shown"),
        ({"critical": ((2, 0), (1, 3))}, "critical"),
        ({"critical": ((0, 5), (1, 3))}, "critical"),
        ({"critical": ((-1, 2), (1, 3))}, "critical"),
        ({"reasons": (ABOVE_WORKER,)}, "reasons"),
        ({"scoring": "guess"}, "scoring"),
        ({"cap": 1.1}, "cap"),
        ({"cap": float("nan")}, "cap"),
    ],
)
def test_an_order_that_cannot_be_asked_is_refused_by_field(changes: dict[str, object], field: str) -> None:
    with pytest.raises(ScenarioError) as caught:
        order(**changes)
    assert caught.value.field == field


def test_shown_orders_are_any_but_the_right_one() -> None:
    drawn = {shown_order(3, Random(seed)) for seed in range(100)}
    assert drawn == set(permutations(range(3))) - {(0, 1, 2)}
    assert shown_order(5, Random("a")) == shown_order(5, Random("a"))


# --- choosing one


def test_the_right_choice_earns_one_and_any_other_nothing() -> None:
    question = choice()
    assert [grade(question, index).score for index in range(3)] == [0.0, 1.0, 0.0]
    right, wrong = grade(question, 1), grade(question, 0)
    assert right.explanation == (question.told[1], question.explanation)
    assert question.told[0] in wrong.explanation
    # what is right is told with its reason
    assert wrong.explanation[2:4] == ("Right is: the slam-shut.", question.told[1])
    assert "You chose: the monitor." in wrong.explanation
    assert "Right is: the slam-shut." in wrong.explanation
    assert wrong.explanation[-1] == question.explanation
    assert (right.answer, wrong.answer) == (1, 0)


@pytest.mark.parametrize(
    ("answer", "words"),
    [
        (None, "Nothing is chosen yet"),
        *((answer, "a number from 0 to 2 was expected") for answer in (3, -1, True, "1", 1.0)),
    ],
)
def test_what_is_no_choice_is_not_graded(answer: object, words: str) -> None:
    with pytest.raises(AnswerError, match=words):
        grade(choice(), answer)


def test_a_wrong_choice_is_replayed_beside_the_right_one_where_there_are_runs() -> None:
    true, other = run_of(1.0), run_of(0.1)
    question = choice(traces=(other, true, None))
    replay = grade(question, 0).replay
    assert replay is not None
    assert replay.truth is true
    assert replay.other is other
    assert grade(question, 1).replay is None
    assert grade(question, 2).replay is None
    assert grade(choice(), 0).replay is None


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"options": ("one",), "told": ("a",), "right": 0}, "options"),
        ({"options": tuple("abcdefg"), "told": tuple("abcdefg")}, "options"),
        ({"options": ("a", "a", "b")}, "options"),
        ({"right": 3}, "right"),
        ({"right": -1}, "right"),
        ({"told": ("a", "b")}, "told"),
        ({"told": ("a", "", "c")}, "told"),
    ],
)
def test_a_choice_that_cannot_be_asked_is_refused_by_field(changes: dict[str, object], field: str) -> None:
    with pytest.raises(ScenarioError) as caught:
        choice(**changes)
    assert caught.value.field == field


def test_runs_must_be_one_for_each_option_with_one_for_the_right_one() -> None:
    trace = run_of(1.0)
    for traces in ((trace, trace), (trace, None, trace)):
        with pytest.raises(ScenarioError, match="traces"):
            choice(traces=traces)


def test_questions_with_runs_can_be_compared() -> None:
    first, second = (choice(traces=(None, run_of(1.0), None)) for _ in range(2))
    assert first == second
    assert first != choice(traces=first.traces, right=1, prompt="Which one?")


# --- hash


def test_hash_changes_with_every_change_of_substance() -> None:
    orders = (
        order(),
        order(shown=(0, 3, 4, 2, 1)),
        order(cap=0.0),
        order(scoring="share"),
        order(critical=((0, 1), (1, 3))),
        order(entries=("worker", "lock-up", "monitor", "relief", "switch")),
        order(reasons=(ABOVE_WORKER, "Else.")),
    )
    choices = (choice(), choice(right=2), choice(told=("a", "b", "c")), choice(table=(("a", "b"), ("c", "d"))))
    hashes = [item_hash(question) for question in (*orders, *choices)]
    assert len(set(hashes)) == len(hashes)
    assert item_hash(order()) == hashes[0]


def test_hash_of_a_choice_knows_a_run_by_its_scenario_and_a_picture_by_its_sentence() -> None:
    trace = run_of(1.0)
    first = choice(traces=(None, trace, None), picture=PICTURE)
    bent = replace(trace, signals={name: values * 1.001 for name, values in trace.signals.items()})
    same = choice(traces=(None, bent, None), picture=replace(PICTURE, svg="<svg></svg>"))
    assert item_hash(first) == item_hash(same)
    assert item_hash(first) != item_hash(choice(traces=(None, run_of(0.5), None), picture=PICTURE))


# --- on the page


def asked(question: Question, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Quiz:
    item = Item(question.key, "01", "Try the new kinds.", lambda *_: question)
    monkeypatch.setattr("toolkit.quiz.widgets.items_of", lambda _: (item,))
    return Quiz("01", 5, Record(tmp_path))


def text_of(markup: str) -> str:
    """The words of a piece of markup; fails if it is not well formed."""
    return " ".join(ElementTree.fromstring(f"<div>{markup}</div>").itertext())


def test_an_order_is_given_place_by_place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    run = asked(order(), tmp_path, monkeypatch)
    fields = run.inputs.children
    names = ["Place 1 (lowest)", "Place 2", "Place 3", "Place 4", "Place 5 (highest)"]
    assert [field.description for field in fields] == names
    assert [field.tooltip for field in fields] == names
    # Offered as shown, in the list to read and in every drop-down, and nothing chosen.
    listed = ["relief", "worker", "slam-shut", "monitor", "lock-up"]
    offered = [one.text for one in ElementTree.fromstring(f"<div>{run.body.value}</div>").iter("li")]
    assert offered == listed
    for field in fields:
        assert [label for label, _ in field.options] == ["choose", *listed]
        assert (field.index, field.value) == (0, None)
    assert "No place is filled yet." in text_of(run.sum.value)
    run.check()
    assert "No place is filled yet." in text_of(run.message.value)

    fields[0].value = fields[1].value = 0
    said = text_of(run.sum.value)
    assert "Empty places: 3, 4, 5." in said
    assert "Named more than once: worker." in said
    assert "Not placed yet: relief; slam-shut; monitor; lock-up." in said
    run.check()
    assert "Named more than once: worker." in text_of(run.message.value)
    assert run.record.attempts() == ()

    for field, entry in zip(fields, (0, 2, 1, 3, 4), strict=True):
        field.value = entry
    assert "Every entry has a place of its own." in text_of(run.sum.value)
    run.check()
    assert all(field.disabled for field in fields)
    attempt = run.record.attempts()[-1].attempt
    assert (attempt.answer, attempt.score) == ([0, 2, 1, 3, 4], pytest.approx(0.9))
    assert 'aria-label="Your order beside the right one"' in run.feedback.value
    assert "belongs at 3" in text_of(run.feedback.value)


def test_a_choice_starts_open_and_is_recorded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    table = (("Gauge", "Reading"), ("outlet", "9.1 in. w.c."))
    traces = (run_of(0.1), run_of(1.0), None)
    run = asked(choice(picture=PICTURE, table=table, traces=traces), tmp_path, monkeypatch)
    (field,) = run.inputs.children
    assert field.value is None
    assert field.tooltip
    assert [label for label, _ in field.options] == ["the monitor", "the slam-shut", "neither"]
    body = ElementTree.fromstring(f"<div>{run.body.value}</div>")
    assert [image.attrib["aria-label"] for image in body.iter("svg")] == ["a picture"]
    assert [cell.text for cell in body.iter("td")] == ["9.1 in. w.c."]
    run.check()
    assert "Nothing is chosen yet" in text_of(run.message.value)
    assert run.record.attempts() == ()
    field.value = 0
    run.check()
    assert field.disabled
    attempt = run.record.attempts()[-1].attempt
    assert (attempt.answer, attempt.score) == (0, 0.0)
    assert "It still senses the outlet." in text_of(run.feedback.value)
    replayed = ElementTree.fromstring(f"<div>{run.feedback.value}</div>").find(".//{http://www.w3.org/2000/svg}svg")
    assert replayed is not None
    assert "True: the right answer" in replayed.attrib["aria-label"]


@pytest.mark.parametrize("question", [order(), choice()], ids=["order", "choice"])
def test_the_keyboard_goes_to_the_head_since_there_is_something_to_read_first(
    question: Question, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run = asked(question, tmp_path, monkeypatch)
    sent: list[str] = []
    monkeypatch.setattr(run.top, "focus", lambda: sent.append("head"))
    run.focus()
    assert sent == ["head"]


def test_texts_from_outside_are_shown_as_text(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    entries = (HOSTILE, "b", "c")
    asked_order = order(
        prompt=HOSTILE, entries=entries, shown=(2, 1, 0), critical=((0, 1),), reasons=(HOSTILE,), ends=(HOSTILE, "z")
    )
    asked_choice = choice(
        prompt=HOSTILE, options=(HOSTILE, "b"), told=(HOSTILE, "b"), explanation=HOSTILE, table=((HOSTILE,), (HOSTILE,))
    )
    for question, answer in ((asked_order, (1, 0, 2)), (asked_choice, (0,))):
        run = asked(question, tmp_path, monkeypatch)
        for field, value in zip(run.inputs.children, answer, strict=True):
            field.value = value
        run.check()
        assert "alert(1)" in text_of(run.feedback.value)
        assert "<img" not in run.body.value + run.sum.value + run.message.value + run.feedback.value
