"""One step of a stiff system, small and dense.

Linearly implicit: a Rosenbrock method of two stages and second order. Its gamma is the larger of the two that make it
L-stable: then its stability function has no sign change, and a step cannot throw the disk from one side of its seat to
the other; with the smaller one, and with a third-order method of four stages, every lock-up chattered (DEVELOPERS.md,
"Evidence"). Source: `verwer-1999`.
"""

from __future__ import annotations

from typing import NamedTuple

from toolkit.compiled import Floats, Ints, compiled
from toolkit.rates import Layout, add_bent, rates_of

GAMMA = 1.0 + 0.5**0.5
# A stage that loses more than this part of the mass it moves is solved once more.
LOSES = 1e-11


class Work(NamedTuple):
    """The buffers of a run: what it knows where it stands, what a step finds, and room for the way between.

    `state`, its `rates`, what is `shown` there, the rates' `slopes`, and the `bends`, those of the flows by themselves;
    `drift` is the rates' own change in time [1/s]. `masses` are the kilograms that one unit of each place stands for,
    all 0 where none is booked. `here` and `there` are the conditions' numbers at a step's start and end. A step finds
    the `new` state and its `error`; new minus error is the first-order solution. `before` is the state one step back.
    From `matrix` on: the factored system with the `order` of its rows, the two stages, what each is solved for, what it
    leaves over of that, and what is added for it.
    """

    state: Floats
    rates: Floats
    shown: Floats
    slopes: Floats
    bends: Floats
    drift: Floats
    masses: Floats
    before: Floats
    here: Floats
    there: Floats
    new: Floats
    error: Floats
    new_rates: Floats
    new_shown: Floats
    matrix: Floats
    order: Ints
    first: Floats
    second: Floats
    side: Floats
    left: Floats
    more: Floats


@compiled
def step(net: Layout, w: Work, h: float) -> bool:
    """One step of `h` [s] into `new` and `error`; False where a pressure would not stay above zero, or is no number."""
    n, size, gh = net.dynamic, net.size, GAMMA * h
    for i in range(n):
        for j in range(n):
            w.matrix[i * n + j] = -gh * w.slopes[i * n + j]
        w.matrix[i * n + i] += 1.0
    _factor(w.matrix, w.order, n)

    for i in range(size):
        w.side[i] = w.rates[i]
    _solve(net, w, gh, 1.0, w.first)
    for i in range(size):
        w.new[i] = w.state[i] + h * w.first[i]
    if not _above_zero(net, w.new):
        return False
    rates_of(net, w.there, w.new, w.new_shown, w.new_rates)
    for i in range(size):
        w.side[i] = w.new_rates[i] - 2.0 * w.first[i]
    _solve(net, w, gh, -1.0, w.second)
    for i in range(size):
        w.error[i] = 0.5 * h * (w.first[i] + w.second[i])
        w.new[i] += w.error[i]
    return _above_zero(net, w.new)


@compiled
def _above_zero(net: Layout, state: Floats) -> bool:
    """Whether all pressures are; one that is no number is not."""
    for i in range(net.gas):  # noqa: SIM110  (numba knows no generators)
        if not state[i] > 0.0:
            return False
    return True


@compiled
def _factor(m: Floats, order: Ints, n: int) -> None:
    """LU with row pivoting, in place, and the order of the rows."""
    for i in range(n):
        order[i] = i
    for k in range(n - 1):
        best = k
        for i in range(k + 1, n):
            if abs(m[i * n + k]) > abs(m[best * n + k]):
                best = i
        if best != k:
            for j in range(n):
                m[k * n + j], m[best * n + j] = m[best * n + j], m[k * n + j]
            order[k], order[best] = order[best], order[k]
        for i in range(k + 1, n):
            share = m[i * n + k] / m[k * n + k]
            m[i * n + k] = share
            for j in range(k + 1, n):
                m[i * n + j] -= share * m[k * n + j]


@compiled
def _solve(net: Layout, w: Work, gh: float, later: float, x: Floats) -> None:
    """Solve the factored system for `side` and the drift of `later` times `gh` [s] into `x`, then the totals.

    The totals are the same formula with nothing to solve for.
    """
    n, side, left, masses, after = net.dynamic, w.side, w.left, w.masses, later * gh
    for i in range(net.size):
        left[i] = side[i] + after * w.drift[i]
    _solve_factored(w.matrix, w.order, n, left, x)
    for i in range(n, net.size):
        total = 0.0
        for j in range(n):
            total += w.slopes[i * n + j] * x[j]
        x[i] = left[i] + gh * total
    lost, moved = 0.0, 0.0
    for i in range(net.size):
        mass = masses[i]
        lost += mass * (x[i] - side[i])
        moved += abs(mass * x[i])
    if abs(lost) > LOSES * moved:
        _polish(net, w, gh, later, x)


@compiled
def _polish(net: Layout, w: Work, gh: float, later: float, x: Floats) -> None:
    """Solve once more for what `x` leaves over, and take the totals from the very flows that say what it leaves.

    In a step that is very long for the fastest rate, a flow is the small difference of products as much larger as the
    step is too long. Each place sums these up in its own way, and what it rounds off is mass from nowhere. Here each
    flow is summed up once for all its ports: what it is rounded by leaves one place for another, and the solution evens
    that out. What a port gives to a wrong place, or keeps, stays wrong.
    """
    n = net.dynamic
    for i in range(net.size):
        w.left[i] = w.side[i]
    add_bent(net, w.bends, x, later, gh, w.left)
    for i in range(n):
        w.left[i] -= x[i]
    _solve_factored(w.matrix, w.order, n, w.left, w.more)
    add_bent(net, w.bends, w.more, 0.0, gh, w.left)
    for i in range(n):
        x[i] += w.more[i]
    for i in range(n, net.size):
        x[i] = w.left[i]


@compiled
def _solve_factored(m: Floats, order: Ints, n: int, side: Floats, x: Floats) -> None:
    """Solve the factored system for `side` into `x`, the dynamic places only."""
    for i in range(n):
        x[i] = side[order[i]]
    for i in range(1, n):
        for j in range(i):
            x[i] -= m[i * n + j] * x[j]
    for i in range(n - 1, -1, -1):
        for j in range(i + 1, n):
            x[i] -= m[i * n + j] * x[j]
        x[i] /= m[i * n + i]
