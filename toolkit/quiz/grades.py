"""What an answer earns, and how a spread of points over suspects is read and paid: what all kinds of question share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite
from typing import Any

from toolkit.errors import AnswerError
from toolkit.trace import Trace


@dataclass(frozen=True)
class Replay:
    """Two runs to look at side by side: the true one, and that of another suspect or of a wrong choice.

    `signal` names the pressure to look at in both.
    """

    truth: Trace
    other: Trace
    truth_label: str
    other_label: str
    signal: str = "outlet_gauge_pressure"


@dataclass(frozen=True)
class Grade:
    """Marks, the verdict in a few words, the explanation in sentences, a table (first row the heading), a replay.

    `answer` is what was graded, as the record keeps it; `caption` says what the table shows.
    """

    score: float
    maximum: float
    verdict: str
    explanation: tuple[str, ...]
    answer: object
    table: tuple[tuple[str, ...], ...] = ()
    replay: Replay | None = None
    caption: str = ""


def quadratic_credit(spread: Sequence[float], truth: int) -> float:
    """Credit of a spread of belief (shares that sum to 1) when the suspect at index `truth` is the true one.

    1 - 1/2 sum((q - y)^2): 1 for all on the truth, 0 for all on another. Strictly proper: on average nothing pays
    more than one's honest belief. Source: `brier-1950`.
    """
    return 1.0 - 0.5 * sum((share - (index == truth)) ** 2 for index, share in enumerate(spread))


def read_points(suspects: Sequence[str], answer: Any) -> tuple[float, ...]:
    """Points as they were spread over some suspects; AnswerError if they are not points or do not sum to 100."""
    points = tuple(number(one, "points from 0 to 100") for one in answer)
    if len(points) != len(suspects):
        raise AnswerError(
            f"{len(points)} numbers were given, one for each of {len(suspects)} suspects was expected. "
            "Give 0 to those that you rule out."
        )
    if any(one < 0.0 or one > 100.0 for one in points):
        raise AnswerError("Points below 0 or above 100 were given, 0 to 100 were expected. Change those boxes.")
    total = sum(points)
    if abs(total - 100.0) > 1e-6:
        verb = f"{100 - total:g} are left to give" if total < 100.0 else f"{total - 100:g} are too many"
        raise AnswerError(f"The points add up to {total:g}, 100 were expected: {verb}.")
    return points


def number(value: Any, expected: str) -> float:
    """A finite number out of a field; AnswerError, which says what was expected, for anything else."""
    try:
        found = float(value)
    except (TypeError, ValueError, OverflowError):
        found = float("nan")
    if not isfinite(found):
        raise AnswerError(f"{str(value)[:40]!r} was given, {expected} was expected. Give a plain number.")
    return found
