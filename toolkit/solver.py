"""One step of a stiff system, in plain floats: small and dense, where lists beat arrays.

Linearly implicit: a Rosenbrock method of two stages and second order. Its gamma is the
larger of the two that make it L-stable: then its stability function has no sign change, and a step cannot throw the
disk from one side of its seat to the other; with the smaller one, and with a third-order method of four stages, every
lock-up chattered (DEVELOPERS.md, "Evidence"). Source: `verwer-1999`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from operator import mul
from typing import NamedTuple

GAMMA = 1.0 + 0.5**0.5

State = list[float]
Shown = tuple[Sequence[float], ...]
Rows = list[list[float]]


class RightSide(NamedTuple):
    """`rates` of a state, with what the devices show there; `slopes` of the rates by the n dynamic places, from that.

    `slopes` has a row for each place of the state and n columns.
    """

    rates: Callable[[State], tuple[list[float], Shown]]
    slopes: Callable[[Shown], Rows]


def step(
    there: RightSide, y: State, f: list[float], slopes: Rows, drift: list[float], h: float, n: int, gas: int
) -> tuple[State, list[float]]:
    """One step of `h` [s]: the new state and its error estimate; new minus estimate is the first-order solution.

    `f` and `slopes` are the rates and their slopes at `y`, `drift` the rates' own change in time [1/s]; `there` is the
    right side at the step's end. Where the first stage leaves the range of pressures (the first `gas` places), it is
    given back as it is: the caller sees it by a state that is not above zero.
    """
    gh = GAMMA * h
    matrix = [[-gh * a for a in row] for row in slopes[:n]]
    for i in range(n):
        matrix[i][i] += 1.0
    order, totals = _factor(matrix), slopes[n:]

    def solve(r: list[float]) -> list[float]:
        k = _solve(matrix, order, r)
        # the totals: the same formula, with nothing to solve for
        return k + [a + gh * sum(map(mul, row, k)) for a, row in zip(r[n:], totals, strict=True)]

    k1 = solve([a + gh * d for a, d in zip(f, drift, strict=True)])
    y2 = [a + h * b for a, b in zip(y, k1, strict=True)]
    if min(y2[:gas]) <= 0.0:
        return y2, k1
    k2 = solve([a - 2.0 * b - gh * d for a, b, d in zip(there.rates(y2)[0], k1, drift, strict=True)])
    half = 0.5 * h
    error = [half * (b + c) for b, c in zip(k1, k2, strict=True)]
    return [a + h * b + e for a, b, e in zip(y, k1, error, strict=True)], error


def _factor(m: Rows) -> list[int]:
    """LU with row pivoting, in place, and the order of the rows; small and dense, where lists beat arrays."""
    n = len(m)
    order = list(range(n))
    for k in range(n - 1):
        best = k
        for i in range(k + 1, n):
            if abs(m[i][k]) > abs(m[best][k]):
                best = i
        if best != k:
            m[k], m[best] = m[best], m[k]
            order[k], order[best] = order[best], order[k]
        row = m[k]
        pivot = row[k]
        for i in range(k + 1, n):
            other = m[i]
            if other[k]:
                share = other[k] = other[k] / pivot
                for j in range(k + 1, n):
                    other[j] -= share * row[j]
    return order


def _solve(m: Rows, order: list[int], r: list[float]) -> list[float]:
    n = len(m)
    x = [r[i] for i in order]  # r may go on beyond n
    for i in range(1, n):
        row = m[i]
        for j in range(i):
            x[i] -= row[j] * x[j]
    for i in range(n - 1, -1, -1):
        row = m[i]
        for j in range(i + 1, n):
            x[i] -= row[j] * x[j]
        x[i] /= row[i]
    return x
