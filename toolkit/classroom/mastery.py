"""Mastery over faults, out of the record: which suspects one tells rightly, which pairs one mixes up, how sure one is.

All of it is coaching: no mark depends on it, but when to come back does (toolkit.classroom.review). It reads the
answers to the cause of a case, in which the record keeps the true suspect and the points that were given to each
(toolkit.quiz.cause).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from toolkit.classroom.record import Recorded

# The item that a case begins with, and the one that asks for the suspect.
FIRST, CAUSE = "21.first", "21.cause"
# Every so many cases one comes back to a pair that was mixed up: equal gaps do as well as growing ones.
# Source: `latimier-2021`.
EVERY = 3
# A pair is told apart once its suspects were right so often in a row.
IN_A_ROW = 2
# Stated points are gathered between these edges for the calibration picture.
EDGES = (0.0, 5.0, 20.0, 40.0, 60.0, 80.0, 95.0, 100.0)
# Below so many answers nothing is said about being too sure, or not sure enough; above them, from this difference on.
FEWEST, MARKED = 10, 0.1


@dataclass(frozen=True)
class Stated:
    """One answer to the cause of a case: what it was, and the points given to each suspect; they sum to 100."""

    truth: str
    points: Mapping[str, float]

    @property
    def chosen(self) -> str:
        """The suspect with most of the points; of several alike one that was not it."""
        return max(self.points, key=lambda key: (self.points[key], key != self.truth))

    @property
    def right(self) -> bool:
        """Whether the true suspect got most of the points, alone."""
        return self.chosen == self.truth


@dataclass(frozen=True)
class FaultStanding:
    """How one suspect was told: in so many cases, right in so many, with these mean points on the truth."""

    suspect: str
    cases: int
    right: int
    points: float


@dataclass(frozen=True)
class Bin:
    """Statements with alike points: their mean [0 to 100], how many there were, how many were true."""

    stated: float
    count: int
    true: int


def stated(recorded: Sequence[Recorded]) -> tuple[Stated, ...]:
    """The answers to causes in a record, in the order of writing; what does not read as one is left out."""
    return tuple(found for one in recorded if one.attempt.item_key == CAUSE if (found := _read(one.attempt.answer)))


def _read(answer: object) -> Stated | None:
    if not isinstance(answer, dict):
        return None
    truth, points = answer.get("truth"), answer.get("points")
    if not isinstance(truth, str) or not isinstance(points, dict) or truth not in points:
        return None
    if not all(isinstance(value, int | float) for value in points.values()):
        return None
    return Stated(truth, {str(key): float(value) for key, value in points.items()})


def fault_standings(answers: Sequence[Stated]) -> tuple[FaultStanding, ...]:
    """Each suspect that was the true one, in the order first met."""
    groups: dict[str, list[Stated]] = {}
    for one in answers:
        groups.setdefault(one.truth, []).append(one)
    return tuple(
        FaultStanding(key, len(rows), sum(one.right for one in rows), sum(one.points[key] for one in rows) / len(rows))
        for key, rows in groups.items()
    )


def mixed_up(answers: Sequence[Stated]) -> tuple[tuple[frozenset[str], int], ...]:
    """The pairs of suspects of which one was taken for the other, and how often, the most often first."""
    pairs = Counter(frozenset({one.truth, one.chosen}) for one in answers if not one.right)
    return tuple(sorted(pairs.items(), key=lambda pair: (-pair[1], sorted(pair[0]))))


def weak_pairs(answers: Sequence[Stated]) -> tuple[frozenset[str], ...]:
    """The pairs that were mixed up and are not told apart yet, the one that has waited longest first."""
    met = {pair: [at for at, one in enumerate(answers) if one.truth in pair] for pair, _ in mixed_up(answers)}
    weak = [pair for pair, cases in met.items() if not _told_apart([answers[at].right for at in cases])]
    return tuple(sorted(weak, key=lambda pair: (max(met[pair]), sorted(pair))))


def _told_apart(rights: Sequence[bool]) -> bool:
    return len(rights) >= IN_A_ROW and all(rights[-IN_A_ROW:])


def comes_back(answers: Sequence[Stated], possible: Collection[str]) -> str | None:
    """The suspect that the next case should have, None for any: at every EVERY-th case one of a weak pair.

    Of the pair it is the one that has waited longer, of those that are `possible` where the case is to be.
    """
    if (len(answers) + 1) % EVERY:
        return None
    last = {one.truth: at for at, one in enumerate(answers)}
    for pair in weak_pairs(answers):
        there = [key for key in sorted(pair) if key in possible]
        if there:
            return min(there, key=lambda key: last.get(key, -1))
    return None


def calibration(answers: Sequence[Stated]) -> tuple[Bin, ...]:
    """All points that were stated, gathered by their size, beside how often they were on the true suspect."""
    said = [(points, key == one.truth) for one in answers for key, points in one.points.items()]
    bins = []
    for low, high in pairwise(EDGES):
        inside = [(points, true) for points, true in said if low <= points < high or points == high == EDGES[-1]]
        if inside:
            mean = sum(points for points, _ in inside) / len(inside)
            bins.append(Bin(mean, len(inside), sum(true for _, true in inside)))
    return tuple(bins)


def calibration_words(answers: Sequence[Stated]) -> str:
    """A sentence on how sure one was beside how often one was right; it says how few answers it rests on."""
    if not answers:
        return "Nothing is recorded yet: the picture fills as you answer."
    sure = sum(one.points[one.chosen] for one in answers) / len(answers) / 100.0
    right = sum(one.right for one in answers) / len(answers)
    cases = "1 case" if len(answers) == 1 else f"{len(answers)} cases"
    said = (
        f"In {cases} you gave your first suspect {100 * sure:.0f} points on average, and it was the true one in "
        f"{right:.0%}."
    )
    if len(answers) < FEWEST:
        return f"{said} That is too few to say more."
    if abs(sure - right) < MARKED:
        return f"{said} You are about as sure as you are right."
    side = (
        "surer than you are right: look for what speaks against it" if sure > right else "less sure than you could be"
    )
    return f"{said} You are {side}."
