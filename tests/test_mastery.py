"""Mastery over faults out of the record: shares right, pairs mixed up, when a pair comes back, calibration."""

from __future__ import annotations

from pathlib import Path

import pytest

from toolkit.classroom.mastery import (
    CAUSE,
    EVERY,
    Stated,
    calibration,
    calibration_words,
    comes_back,
    fault_standings,
    mixed_up,
    stated,
    weak_pairs,
)
from toolkit.classroom.record import Attempt, Record
from toolkit.figures.calibration import calibration_picture


def said(truth: str, **points: float) -> Stated:
    return Stated(truth, points)


RIGHT_A, RIGHT_B = said("a", a=80, b=20), said("b", a=10, b=90)
A_FOR_B, B_FOR_A = said("b", a=70, b=30), said("a", a=40, b=60)
C = said("c", a=0, c=100)


def test_most_points_alone_are_right() -> None:
    assert RIGHT_A.right
    assert not B_FOR_A.right
    assert not said("a", a=50, b=50).right
    assert said("a", a=50, b=50).chosen == "b"


def test_each_suspect_s_standing() -> None:
    (a, b) = fault_standings((RIGHT_A, B_FOR_A, A_FOR_B))
    assert (a.suspect, a.cases, a.right, a.points) == ("a", 2, 1, 60.0)
    assert (b.suspect, b.cases, b.right, b.points) == ("b", 1, 0, 30.0)


def test_pairs_are_mixed_up_either_way_round() -> None:
    assert mixed_up((A_FOR_B, B_FOR_A, C, said("c", a=90, c=10))) == (
        (frozenset("ab"), 2),
        (frozenset("ac"), 1),
    )


def test_a_pair_is_weak_until_told_right_twice_in_a_row() -> None:
    assert weak_pairs((A_FOR_B,)) == (frozenset("ab"),)
    assert weak_pairs((A_FOR_B, RIGHT_A, C)) == (frozenset("ab"),)
    assert weak_pairs((A_FOR_B, RIGHT_A, RIGHT_B)) == ()
    assert weak_pairs((RIGHT_A, RIGHT_B, A_FOR_B)) == (frozenset("ab"),)


def test_a_weak_pair_comes_back_at_equal_gaps() -> None:
    answers: list[Stated] = [A_FOR_B]
    came = []
    for number in range(2, 11):
        back = comes_back(answers, {"a", "b", "c"})
        came.append((number, back))
        answers.append(A_FOR_B if back else C)
    assert [number for number, back in came if back] == [3, 6, 9]
    assert all(number % EVERY == 0 for number, back in came if back)
    # of the pair the one that has waited longer
    assert comes_back((A_FOR_B, C), {"a", "b"}) == "a"
    assert comes_back((A_FOR_B, C), {"b"}) == "b"
    assert comes_back((A_FOR_B, C), {"c"}) is None
    assert comes_back((RIGHT_A, C), {"a", "b"}) is None


def test_calibration_by_hand() -> None:
    bins = calibration((RIGHT_A, RIGHT_B, A_FOR_B, C))
    # points given: 80 t, 20 f, 10 f, 90 t, 70 f, 30 t, 0 f, 100 t
    assert [(one.stated, one.count, one.true) for one in bins] == [
        (0.0, 1, 0),
        (10.0, 1, 0),
        (25.0, 2, 1),
        (70.0, 1, 0),
        (85.0, 2, 2),
        (100.0, 1, 1),
    ]
    assert sum(one.count for one in bins) == 8


@pytest.mark.parametrize(
    ("answers", "words"),
    [
        ((), "Nothing is recorded yet"),
        ((RIGHT_A,) * 3, "too few to say more"),
        ((said("a", a=90, b=10),) * 9 + (B_FOR_A,), "about as sure as you are right"),
        ((said("a", a=5, b=95),) * 10, "surer than you are right"),
        ((said("a", a=60, b=40),) * 10, "less sure than you could be"),
    ],
)
def test_the_sentence(answers: tuple[Stated, ...], words: str) -> None:
    assert words in calibration_words(answers)
    assert str(len(answers)) in calibration_words(answers) or not answers


def test_the_picture_says_its_n() -> None:
    picture = calibration_picture([(10.0, 7, 1), (85.0, 4, 3)])
    assert ">n = 7</text>" in picture.svg
    assert "n = 7: 14" in picture.alt
    assert "n = 4: 75" in picture.alt


def test_answers_are_read_out_of_the_record(tmp_path: Path) -> None:
    record = Record(tmp_path)
    good = {"case": "level 1", "truth": "a", "points": {"a": 60.0, "b": 40.0}}
    for key, answer in (
        (CAUSE, good),
        ("21.visit", good),
        (CAUSE, [100, 0]),
        (CAUSE, {"truth": "z", "points": {"a": 1}}),
        (CAUSE, {"truth": "a", "points": {"a": "many"}}),
    ):
        record.append(
            Attempt(
                learner="Robin",
                course_version="1",
                lesson="21",
                item_key=key,
                item_hash="h",
                objective="o",
                seed=1,
                answer=answer,
                score=0.5,
                maximum=1.0,
                seconds=1.0,
            )
        )
    assert stated(record.attempts()) == (Stated("a", {"a": 60.0, "b": 40.0}),)
