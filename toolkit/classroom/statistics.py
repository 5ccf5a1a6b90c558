"""How questions did in a class: difficulty, how well each tells strong from weak, how far a set hangs together.

Plain classical item analysis. Each figure comes with n and with an interval that would hold the true one in 95 of 100
such classes, and each is only worth its interval: in a class of twenty a correlation of 0.30 may be -0.16 as well as
0.66. So nothing is ever taken out of a score for what stands here, and flags are few.

An answer counts as right from `RIGHT` of its marks on: KR-20, difficulty and the point-biserial want right or wrong,
and most questions here give part of their marks too.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from math import atanh, exp, lgamma, log, log1p, sqrt, tanh
from statistics import NormalDist, fmean

from toolkit.classroom.review import PASSED
from toolkit.margins import wilson

# The same share that passes a lesson.
RIGHT = PASSED
CONFIDENCE = 0.95
# Flags, and no others: hardly anybody right, hardly anybody wrong, does not tell strong from weak.
TOO_HARD, TOO_EASY, TELLS_NOTHING = 0.2, 0.95, 0.1
# Below this many people an interval spans most of what is possible. Engineering judgement.
FEW = 20
_Z = NormalDist().inv_cdf(0.5 + CONFIDENCE / 2)
# An exact +1 or -1 has no interval, and what rounding leaves of it none that means anything.
_ALMOST_ONE = 1.0 - 1e-9
# Of a fraction that takes some dozens for a class, and hundreds for thousands of people.
MOST_TERMS = 10_000


@dataclass(frozen=True)
class Interval:
    """From `low` to `high`, at CONFIDENCE."""

    low: float
    high: float


@dataclass(frozen=True)
class Mark:
    """One person's answer to one question: `share` of the marks, 0 to 1. `item` is whatever tells questions apart."""

    person: Hashable
    item: Hashable
    share: float

    @property
    def right(self) -> bool:
        """Whether it counts as right."""
        return self.share >= RIGHT


@dataclass(frozen=True)
class ItemFigures:
    """How one question did among `n` people.

    `difficulty` is the share of them who were right (so the higher, the easier). `plain` is the point-biserial
    correlation of right or wrong with the person's share right over all questions, `corrected` with that over all
    other questions; None where everybody was right, or wrong, or all others did alike.
    """

    item: Hashable
    n: int
    right: int
    difficulty: float
    difficulty_interval: Interval
    plain: float | None
    plain_interval: Interval | None
    corrected: float | None
    corrected_interval: Interval | None

    @property
    def flags(self) -> tuple[str, ...]:
        """What is worth a look at the question, in words; never a reason to drop it."""
        said = []
        if self.difficulty < TOO_HARD:
            said.append("hard: few were right")
        if self.difficulty > TOO_EASY:
            said.append("easy: nearly all were right")
        if self.corrected_interval and self.corrected_interval.high < TELLS_NOTHING:
            said.append("those who did well elsewhere did no better here")
        return tuple(said)

    @property
    def few(self) -> bool:
        """Whether so few answered that the figures say little."""
        return self.n < FEW


@dataclass(frozen=True)
class Reliability:
    """KR-20 of `items` questions that `n` people all answered, with its interval."""

    n: int
    items: int
    value: float
    interval: Interval


def correlation(xs: Sequence[float], ys: Sequence[float]) -> float | None:
    """Pearson's correlation of two series of one length, which for xs of 0 and 1 is the point-biserial one.

    None for fewer than two pairs, or where either series does not vary.
    """
    if len(xs) < 2:
        return None
    x_mean, y_mean = fmean(xs), fmean(ys)
    dx, dy = [x - x_mean for x in xs], [y - y_mean for y in ys]
    # what rounding leaves of a series that stands still is no variation
    sx, sy = (sqrt(sum(d * d for d in ds)) for ds in (dx, dy))
    if sx <= 1e-12 * len(xs) or sy <= 1e-12 * len(ys):
        return None
    return max(-1.0, min(1.0, sum(a * b for a, b in zip(dx, dy, strict=True)) / (sx * sy)))


def fisher(r: float, n: int) -> Interval | None:
    """Interval of a correlation among `n`; None for fewer than four, or r of 1 or -1. Source: `fisher-1921`.

    For a point-biserial correlation it is only near: right or wrong is not normally distributed.
    """
    if n < 4 or abs(r) > _ALMOST_ONE:
        return None
    half = _Z / sqrt(n - 3)
    return Interval(tanh(atanh(r) - half), tanh(atanh(r) + half))


def kr20(rows: Sequence[Sequence[bool]]) -> Reliability | None:
    """KR-20 of people (rows) by questions (columns), right or wrong. Source: `wuensch-kr20`.

    With the variance of n, not of n - 1, as the products p q have it too. None for fewer than two people or questions,
    or where all have the same total.
    """
    n = len(rows)
    items = len(rows[0]) if rows else 0
    if n < 2 or items < 2:
        return None
    totals = [sum(row) for row in rows]
    mean = fmean(totals)
    variance = fmean((total - mean) ** 2 for total in totals)
    if variance == 0.0:
        return None
    shares = [sum(column) / n for column in zip(*rows, strict=True)]
    value = items / (items - 1) * (1 - sum(p * (1 - p) for p in shares) / variance)
    return Reliability(n, items, value, feldt(value, n, items))


def feldt(value: float, n: int, items: int) -> Interval:
    """Interval of KR-20 (or of alpha) from `n` people and `items` questions, two or more of each. Source: `feldt-1965`.

    1 - (1 - value) F, with the upper and the lower quantile of F with n - 1 and (n - 1)(items - 1) degrees of freedom.
    """
    above, below = n - 1, (n - 1) * (items - 1)
    tail = (1 - CONFIDENCE) / 2
    low, high = (1 - (1 - value) * f_quantile(p, above, below) for p in (1 - tail, tail))
    return Interval(low, high)


def f_quantile(share: float, above: int, below: int) -> float:
    """The value that an F of `above` and `below` degrees of freedom stays under in that share of cases (0 to 1)."""
    low, high = 0.0, 1.0
    # The share below grows with x, so halving finds it; 60 halvings leave less than a double can show of 0 to 1.
    for _ in range(60):
        x = (low + high) / 2
        if _beta_share(x, above / 2, below / 2) < share:
            low = x
        else:
            high = x
    x = (low + high) / 2
    return below * x / (above * (1 - x))


def _beta_share(x: float, a: float, b: float) -> float:
    """The regularised incomplete beta function I_x(a, b), 0 < x < 1. Source: `dlmf-8-17`, 8.17.22 and 8.17.4."""
    if x > (a + 1) / (a + b + 2):  # there the continued fraction is slow, and that of the other tail quick
        return 1.0 - _beta_share(1.0 - x, b, a)
    front = exp(lgamma(a + b) - lgamma(a) - lgamma(b) + a * log(x) + b * log1p(-x)) / a
    # The fraction 1 + d1/(1 + d2/(1 + ...)), from the front: each term is a factor on what stands (Lentz's way).
    c, d, fraction = 1.0, 0.0, 1.0
    for step in range(1, MOST_TERMS):
        m = step // 2
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        term = odd if step % 2 else m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        c, d = 1.0 + term / c, 1.0 / (1.0 + term * d)
        fraction *= c * d
        if abs(c * d - 1.0) < 1e-15:
            break
    return front / fraction


def item_figures(marks: Iterable[Mark]) -> tuple[ItemFigures, ...]:
    """The figures of each question, in the order first met.

    A person counts at a question once, with the first mark given. A person's share right is over the questions that
    this person answered, so people who left some out still count at the others.
    """
    table = _table(marks)
    people: dict[Hashable, dict[Hashable, bool]] = {}
    for item, answers in table.items():
        for person, right in answers.items():
            people.setdefault(person, {})[item] = right
    return tuple(_figures(item, answers, people) for item, answers in table.items())


def _table(marks: Iterable[Mark]) -> dict[Hashable, dict[Hashable, bool]]:
    """By question and person, whether the first answer was right."""
    table: dict[Hashable, dict[Hashable, bool]] = {}
    for mark in marks:
        table.setdefault(mark.item, {}).setdefault(mark.person, mark.right)
    return table


def _figures(
    item: Hashable, answers: dict[Hashable, bool], people: dict[Hashable, dict[Hashable, bool]]
) -> ItemFigures:
    n, right = len(answers), sum(answers.values())
    plain, _ = _correlated(answers, {person: list(people[person].values()) for person in answers})
    others = {person: [got for other, got in people[person].items() if other != item] for person in answers}
    corrected, pairs = _correlated(answers, others)
    return ItemFigures(
        item,
        n,
        right,
        right / n,
        Interval(*wilson(right, n)),
        plain,
        None if plain is None else fisher(plain, n),
        corrected,
        None if corrected is None else fisher(corrected, pairs),
    )


def _correlated(answers: dict[Hashable, bool], scores: dict[Hashable, list[bool]]) -> tuple[float | None, int]:
    """Correlation of right or wrong with the share right of those scores, and of how many people."""
    pairs = [(float(right), fmean(scores[person])) for person, right in answers.items() if scores[person]]
    return correlation([x for x, _ in pairs], [y for _, y in pairs]), len(pairs)


def reliability(marks: Iterable[Mark], items: Sequence[Hashable]) -> Reliability | None:
    """KR-20 of these questions among the people who answered every one of them; None where it cannot be reckoned."""
    table = _table(marks)
    asked = [table.get(item, {}) for item in items]
    whole = [person for person in (asked[0] if asked else ()) if all(person in answers for answers in asked)]
    return kr20([[answers[person] for answers in asked] for person in whole])
