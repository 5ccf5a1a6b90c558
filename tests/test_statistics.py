"""Item analysis against published worked examples and scipy, and what it must keep whatever is answered."""

from __future__ import annotations

from math import inf

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from published import published
from scipy import stats

from toolkit.classroom.statistics import (
    FEW,
    RIGHT,
    Interval,
    Mark,
    correlation,
    f_quantile,
    feldt,
    fisher,
    item_figures,
    kr20,
    reliability,
)
from toolkit.margins import wilson

# Wuensch, StatHelp, KR20: ten students by ten questions.
WUENSCH = (
    "1111110110 1011011101 1111011001 0010001000 0000010010 1110111111 1101110111 1111111101 0101111101 1101101110"
)
# The example data of a reference library's alpha, without the three people who left a question out.
COMPLETE = "11111111111 11111111010 11101101100 11111000100 11110010000 11111000000 01011000010 11100000000 10010000000"
# Brown 2001, table 2: eight students' whole scores, and who was right at items 1, 2 and 3.
BROWN_TOTALS = (50, 45, 45, 40, 35, 30, 30, 25)
BROWN_ITEMS = ((1, 1, 1, 1, 0, 0, 0, 0), (0, 0, 0, 0, 1, 1, 1, 1), (1,) * 8)


def matrix(text: str) -> list[list[bool]]:
    return [[sign == "1" for sign in row] for row in text.split()]


def marks(rows: list[list[bool]]) -> list[Mark]:
    """Marks of people by questions, both numbered."""
    return [Mark(p, i, float(right)) for p, row in enumerate(rows) for i, right in enumerate(row)]


def random_rows(seed: int, people: int, items: int) -> list[list[bool]]:
    rng = np.random.default_rng(seed)
    skill, hard = rng.normal(size=(people, 1)), rng.normal(size=items)
    return [[bool(one) for one in row] for row in rng.random((people, items)) < 1 / (1 + np.exp(hard - skill))]


# Published ---------------------------------------------------------------------------------------------------------


def test_kr20_of_a_published_table():
    rows = matrix(WUENSCH)
    products, variance = published("kr20_wuensch_products_and_variance").value
    shares = np.mean(rows, axis=0)
    assert [sum(shares * (1 - shares)), np.var(np.sum(rows, axis=1))] == pytest.approx([products, variance], rel=1e-9)
    found = kr20(rows)
    assert found is not None
    published("kr20_wuensch").check(found.value)
    # with n in one place and n - 1 in the other it would come out higher: the usual mistake
    assert 10 / 9 * (1 - products / np.var(np.sum(rows, axis=1), ddof=1)) > found.value + 0.04


def test_kr20_and_its_interval_of_a_reference_library():
    found = kr20(matrix(COMPLETE))
    assert found is not None
    assert (found.n, found.items) == (9, 11)
    published("alpha_listwise").check(found.value)
    published("alpha_listwise_interval").check([found.interval.low, found.interval.high])


def test_point_biserial_of_a_published_table():
    found = [correlation(item, BROWN_TOTALS) for item in BROWN_ITEMS]
    assert found[2] is None  # all were right: the table prints .00 there, but there is none
    assert found[0] is not None
    assert found[1] == pytest.approx(-found[0])
    published("point_biserial_brown").check(found[0])


def test_interval_of_a_correlation_of_a_published_example():
    found = fisher(0.56, 60)
    assert found is not None
    published("fisher_interval_of_60").check([found.low, found.high])


def test_small_class_hides_a_correlation():
    # what the course tells instructors: 0.30 in a class of twenty
    found = fisher(0.30, 20)
    assert found is not None
    assert (round(found.low, 2), round(found.high, 2)) == (-0.16, 0.66)


@pytest.mark.parametrize(("right", "n"), [(81, 263), (15, 148)])
def test_interval_of_a_share_of_published_examples(right, n):
    published(f"wilson_{right}_of_{n}").check(list(wilson(right, n)))


def test_published_keys_of_shares():
    assert {published(key).source for key in ("wilson_81_of_263", "wilson_15_of_148")} == {"newcombe-1998"}


# Reference library -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("share", [0.025, 0.5, 0.975])
@pytest.mark.parametrize(("above", "below"), [(1, 1), (2, 1), (9, 81), (19, 19 * 12), (30, 2000), (499, 499 * 40)])
def test_f_quantile_is_scipy_s(share, above, below):
    assert f_quantile(share, above, below) == pytest.approx(stats.f.ppf(share, above, below), rel=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_each_question_s_figures_are_scipy_s(seed):
    rows = random_rows(seed, 24, 9)
    array = np.array(rows, dtype=float)
    totals = array.sum(axis=1)
    for column, found in enumerate(item_figures(marks(rows))):
        item, rest = array[:, column], totals - array[:, column]
        assert (found.n, found.right) == (24, item.sum())
        assert found.difficulty == pytest.approx(item.mean())
        if item.std() == 0:
            assert found.plain is found.corrected is None
            continue
        assert found.plain == pytest.approx(stats.pointbiserialr(item, totals)[0], abs=1e-12)
        assert found.corrected == pytest.approx(stats.pointbiserialr(item, rest)[0], abs=1e-12)
        theirs = stats.pearsonr(item, rest).confidence_interval()
        assert found.corrected_interval is not None
        assert [found.corrected_interval.low, found.corrected_interval.high] == pytest.approx(theirs, abs=1e-12)


@pytest.mark.parametrize("seed", range(3))
def test_kr20_is_alpha_of_right_and_wrong(seed):
    array = np.array(random_rows(seed, 30, 8), dtype=float)
    covariance = np.cov(array.T)
    alpha = 8 / 7 * (1 - np.trace(covariance) / covariance.sum())
    found = kr20(array.astype(bool).tolist())
    assert found is not None
    assert found.value == pytest.approx(alpha, abs=1e-12)
    low, high = (1 - (1 - alpha) * stats.f.ppf(p, 29, 29 * 7) for p in (0.975, 0.025))
    assert [found.interval.low, found.interval.high] == pytest.approx([low, high], abs=1e-9)


# What it must keep -------------------------------------------------------------------------------------------------


def test_what_counts_as_right():
    assert Mark("a", "b", RIGHT).right
    assert not Mark("a", "b", RIGHT - 1e-9).right
    (found,) = item_figures([Mark("a", "q", 1.0), Mark("b", "q", 0.5), Mark("c", "q", 0.9)])
    assert (found.right, found.n) == (2, 3)


def test_the_first_answer_of_a_person_counts():
    (found,) = item_figures([Mark("a", "q", 0.0), Mark("a", "q", 1.0)])
    assert (found.n, found.right) == (1, 0)


def test_a_question_left_out_costs_neither_person_nor_question():
    rows = random_rows(7, 12, 5)
    some = [mark for mark in marks(rows) if (mark.person, mark.item) != (3, 2)]
    before, after = item_figures(marks(rows)), item_figures(some)
    assert [one.n for one in after] == [12, 12, 11, 12, 12]
    assert [one.difficulty for one in after if one.item != 2] == [one.difficulty for one in before if one.item != 2]
    whole = reliability(some, range(5))
    assert whole is not None
    assert whole.n == 11  # KR-20 wants people who answered all


def flags(p_right: int, n: int, agree: bool) -> tuple[str, ...]:
    """Flags of a question that `p_right` of `n` had right, they being the strong ones or the weak ones elsewhere."""
    people = range(n)
    right = [person < p_right for person in people]
    strong = [one == agree for one in right]
    given = [Mark(p, "q", float(right[p])) for p in people] + [Mark(p, "other", float(strong[p])) for p in people]
    return item_figures(given)[0].flags


def test_flags_are_few_and_only_these():
    assert flags(20, 40, agree=True) == ()
    assert flags(3, 40, agree=True) == ("hard: few were right",)
    assert flags(8, 40, agree=True) == ()  # exactly 0.2 is not below it
    assert flags(39, 40, agree=True) == ("easy: nearly all were right",)
    assert flags(38, 40, agree=True) == ()  # exactly 0.95 is not above it


def test_a_question_that_the_weak_get_right_is_flagged_only_where_the_interval_says_so():
    def against(n: int) -> tuple[str, ...]:
        # half are right; of them a fifth are right elsewhere, of the others four fifths
        given = [Mark(p, "q", float(p < n // 2)) for p in range(n)]
        given += [Mark(p, "other", float((p % 5 == 0) if p < n // 2 else (p % 5 != 0))) for p in range(n)]
        return item_figures(given)[0].flags

    assert against(40) == ("those who did well elsewhere did no better here",)
    assert against(6) == ()


def test_few_people_are_told():
    assert [item_figures([Mark(p, "q", 1.0) for p in range(n)])[0].few for n in (1, FEW - 1, FEW)] == [
        True,
        True,
        False,
    ]


@pytest.mark.parametrize(
    "rows", [[], [[True, False]], [[True], [False]], [[True, False]] * 5, [[True, False], [False, True]]]
)
def test_where_kr20_cannot_be_reckoned_there_is_none(rows):
    assert kr20(rows) is None


@pytest.mark.parametrize(("r", "n"), [(0.3, 3), (1.0, 20), (-1.0, 20)])
def test_where_a_correlation_has_no_interval_there_is_none(r, n):
    assert fisher(r, n) is None


@given(st.lists(st.tuples(st.integers(0, 6), st.integers(0, 4), st.floats(0, 1)), max_size=60))
def test_whatever_is_answered_every_figure_is_sound(given_marks):
    found = item_figures(Mark(*one) for one in given_marks)
    assert [one.item for one in found] == list(dict.fromkeys(item for _, item, _ in given_marks))
    for one in found:
        assert 0 <= one.difficulty_interval.low <= one.difficulty <= one.difficulty_interval.high <= 1
        for value, interval in ((one.plain, one.plain_interval), (one.corrected, one.corrected_interval)):
            assert value is None or -1 <= value <= 1
            assert interval is None or (value is not None and -1 <= interval.low <= value <= interval.high <= 1)
    whole = reliability([Mark(*one) for one in given_marks], range(5))
    assert whole is None or -inf < whole.interval.low <= whole.value <= whole.interval.high <= 1


def test_an_interval_narrows_with_people():
    wide, narrow = feldt(0.7, 10, 12), feldt(0.7, 100, 12)
    assert isinstance(wide, Interval)
    assert wide.low < narrow.low < 0.7 < narrow.high < wide.high
