"""Grading: strictly proper credit for a spread, named slips for numbers, windows for times."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from toolkit.errors import AnswerError
from toolkit.figures.chart import Picture
from toolkit.quiz.grades import read_points
from toolkit.quiz.questions import (
    NumericQuestion,
    Slip,
    TraceQuestion,
    grade,
    item_hash,
    quadratic_credit,
)
from toolkit.units import IN_WC, PSI, atmosphere, tidy

PICTURE = Picture("<svg/>", "Outlet pressure read off: 0 s 7.0.", (10, 10))


def number(**changes: object) -> NumericQuestion:
    values: dict[str, object] = {
        "key": "00.test",
        "prompt": "What does the outlet gauge show?",
        "kind": "low_gauge_pressure",
        "truth": 7.0 * IN_WC,
        "worked": "Because of the set point.",
        "slips": (Slip("lock-up was given", 7.9 * IN_WC, "That is at rest."),),
        "relative_tolerance": 0.02,
    }
    return NumericQuestion(**(values | changes))  # type: ignore[arg-type]


# --- spread of points


def test_credit_of_a_spread_against_the_published_score() -> None:
    """Brier 1950, Monthly Weather Review 78:1: a forecast of 0.7 that comes true scores (1 - 0.7)^2 =
    0.09; over both outcomes the score is twice that. The credit is 1 less half the score over all outcomes."""
    brier = 0.09
    assert quadratic_credit([0.7, 0.3], 0) == pytest.approx(1 - 0.5 * 2 * brier)
    assert quadratic_credit([1.0, 0.0, 0.0], 0) == 1.0
    assert quadratic_credit([0.0, 1.0, 0.0], 0) == 0.0
    assert quadratic_credit([0.25] * 4, 2) == pytest.approx(1 - 0.5 * (0.75**2 + 3 * 0.25**2))


shares = st.lists(st.floats(0.001, 1.0), min_size=2, max_size=8)


@given(belief=shares, other=shares)
def test_honest_spread_pays_best_on_average(belief: list[float], other: list[float]) -> None:
    size = min(len(belief), len(other))
    honest, told = ([share / sum(row[:size]) for share in row[:size]] for row in (belief, other))

    def expected(spread: list[float]) -> float:
        return sum(chance * quadratic_credit(spread, index) for index, chance in enumerate(honest))

    # The loss is half the squared distance from the honest spread: never a gain, and no loss only for the honest one.
    gap = 0.5 * sum((a - b) ** 2 for a, b in zip(honest, told, strict=True))
    assert expected(honest) - expected(told) == pytest.approx(gap, abs=1e-12)


# --- numbers


@pytest.mark.parametrize(
    "text", ["7 in wc", "7.0 in. w.c.", '7" wc', "17.4 mbar", "1.74 kPa", "0.253 psi", "0,0174 bar"]
)
def test_right_in_any_unit(text: str) -> None:
    assert grade(number(), text).score == 1.0


def test_the_edge_of_the_tolerance() -> None:
    assert grade(number(), "7.13 in wc").score == 1.0
    assert grade(number(), "7.15 in wc").score == 0.0
    assert grade(number(absolute_tolerance=0.1 * IN_WC), "7.2 in wc").score == 1.0


def test_known_slip_gets_half_and_is_named_and_explained() -> None:
    graded = grade(number(), "7.9 in wc")
    assert graded.score == 0.5
    assert "lock-up was given" in graded.verdict
    assert "That is at rest." in graded.explanation
    assert "7.0 in. w.c." in graded.explanation[-1]
    assert "Because of the set point." in graded.explanation[-1]


@pytest.mark.parametrize(("text", "unit"), [("7 psi", "in. w.c."), ("7 mbar", "in. w.c."), ("17.4 psi", "mbar")])
def test_slip_of_unit_gets_half_and_names_the_unit(text: str, unit: str) -> None:
    graded = grade(number(), text)
    assert graded.score == 0.5
    assert unit in graded.verdict


def test_gauge_for_absolute_is_named() -> None:
    air = atmosphere(1500)
    question = number(kind="absolute_pressure", truth=20 * PSI + air, slips=(), site_atmosphere=air)
    graded = grade(question, "20 psia")
    assert graded.score == 0.5
    assert "gauge pressure was given for an absolute one" in graded.verdict


def test_absolute_must_be_said_where_it_is_asked_for() -> None:
    air = atmosphere(1500)
    question = number(
        kind="absolute_pressure", truth=20 * PSI + air, slips=(), site_atmosphere=air, reference="absolute"
    )
    with pytest.raises(AnswerError, match="psia"):
        grade(question, "20 psig")
    assert grade(question, f"{20 + air / PSI:.2f} psia").score == 1.0
    asked_gauge = number(kind="gauge_pressure", truth=20 * PSI, slips=(), site_atmosphere=air, reference="gauge")
    with pytest.raises(AnswerError, match="gauge"):
        grade(asked_gauge, f"{20 + air / PSI:.2f} psia")
    assert grade(asked_gauge, "20 psi").score == 1.0


def test_wrong_answer_is_explained_not_just_wrong() -> None:
    graded = grade(number(), "12 in wc")
    assert graded.score == 0.0
    assert "12.0 in. w.c." in graded.explanation[0]
    assert "7.0 in. w.c. Because of the set point." in graded.explanation[1]


@pytest.mark.parametrize(
    "text", ["", "seven", "7", "9 bananas", "9 kg", "1e999 psi", "nan psi", "9**9**9 psi", "7" * 10_000]
)
def test_unreadable_number_is_not_graded(text: str) -> None:
    with pytest.raises(AnswerError) as caught:
        grade(number(), text)
    assert len(str(caught.value)) > 20


def test_slips_that_cannot_be_told_from_the_truth_are_dropped() -> None:
    slips = (
        Slip("too near", 7.1 * IN_WC, ""),
        Slip("kept", 9 * IN_WC, ""),
        Slip("same as the one before", 9.1 * IN_WC, ""),
        Slip("kept too", 12 * IN_WC, ""),
    )
    assert [slip.name for slip in number(slips=slips).told_apart().slips] == ["kept", "kept too"]


# --- times


def at(answer: object, start: float = 40.0, end: float = 50.0) -> float:
    question = TraceQuestion("00.time", "When?", PICTURE, (start, end), 100.0, "It was then.")
    return grade(question, answer).score


@pytest.mark.parametrize(
    ("answer", "score"),
    [(40, 1), (45, 1), (50, 1), (39.9, 0.5), (35, 0.5), (55, 0.5), (34.9, 0), (55.1, 0), (0, 0), (100, 0)],
)
def test_full_inside_the_window_half_inside_twice_its_width(answer: float, score: float) -> None:
    assert at(answer) == score


@pytest.mark.parametrize("answer", [-1, 101, float("nan"), float("inf"), "soon", None, 10**400])
def test_time_off_the_run_is_not_graded(answer: object) -> None:
    with pytest.raises(AnswerError):
        at(answer)


@pytest.mark.parametrize("text", ["45", " 45 s ", "45 sec", "45.", "45,0", "0.75 min"])
def test_a_typed_time_is_read(text: str) -> None:
    question = TraceQuestion("00.time", "When?", PICTURE, (40.0, 50.0), 100.0, "It was then.")
    graded = grade(question, text)
    assert (graded.score, graded.answer) == (1.0, pytest.approx(45.0))


@pytest.mark.parametrize(
    ("text", "words"),
    [("", "No time was given"), ("  ", "No time was given"), ("soon", "Begin with a number"), ("45 psi", "pressure")],
)
def test_an_empty_or_unreadable_time_is_not_graded_and_says_so(text: str, words: str) -> None:
    with pytest.raises(AnswerError, match=words):
        at(text, 0.0, 10.0)


def test_time_says_early_or_late_and_why() -> None:
    question = TraceQuestion("00.time", "When?", PICTURE, (40.0, 50.0), 100.0, "It was then.")
    assert "early" in grade(question, 36).verdict
    assert "late" in grade(question, 53).verdict
    graded = grade(question, 70)
    assert "20 s too late" in graded.explanation[0]
    assert "It was then." in graded.explanation


# --- points


class Three:
    suspects = ("a", "b", "c")


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ([50, 40, 0], "10 are left to give"),
        ([50, 60, 10], "20 are too many"),
        ([50, 50], "2 numbers were given"),
        ([120, -20, 0], "below 0 or above 100"),
        ([50, 50, float("nan")], "points from 0 to 100"),
        ([50, 50, "x"], "points from 0 to 100"),
    ],
)
def test_points_that_are_no_spread_are_not_graded(points: list[object], words: str) -> None:
    with pytest.raises(AnswerError, match=words):
        read_points(Three.suspects, points)


# --- hash


def test_hash_changes_with_the_substance_and_not_with_the_picture() -> None:
    plain = number(picture=PICTURE)
    assert item_hash(plain) == item_hash(number(picture=replace(PICTURE, svg="<svg></svg>")))
    others = (
        number(picture=PICTURE, truth=7.001 * IN_WC),
        number(picture=PICTURE, prompt="What?"),
        number(picture=PICTURE, slips=()),
        number(picture=PICTURE, units="metric"),
        number(picture=replace(PICTURE, alt="another sentence")),
    )
    assert len({item_hash(plain), *map(item_hash, others)}) == 1 + len(others)


def test_hash_does_not_depend_on_the_last_bits_of_a_key() -> None:
    truth = 7.0 * IN_WC
    assert item_hash(number(truth=truth)) == item_hash(number(truth=math.nextafter(truth, 1e9)))


def test_hash_is_this_one() -> None:
    """Written down, so that a change of the canonical form is noticed: results pooled by hash would fall apart."""
    question = NumericQuestion("00.fixed", "How much?", "volume", 0.125, "So much.")
    assert item_hash(question) == "4a3049c61e0d5990ded607e754377c4b14ab9716208a7246e207f27099cc0091"


def test_no_second_full_stop() -> None:
    assert tidy("It shows 7.0 in. w.c.. It holds 2 lbf/in..") == "It shows 7.0 in. w.c. It holds 2 lbf/in."
