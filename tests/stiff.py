"""The same scenario through scipy's stiff solvers, as a reference for the engine's own time loop.

scipy takes the steps and finds the moments at which something trips; what follows from a trip is the engine's own.
"""

from itertools import count, pairwise
from typing import NamedTuple

import numpy as np
from scipy.integrate import solve_ivp

from toolkit import simulation
from toolkit.actions import Reset
from toolkit.devices.latch import Latch
from toolkit.network import Network, network, settling, start_guess
from toolkit.scenario import Scenario
from toolkit.simulation import SETTLING_TIME


class Reference(NamedTuple):
    """(n,) times, (n, size) states, the pressures as held in each room (n, gas) [Pa absolute], events, the network."""

    times: np.ndarray
    states: np.ndarray
    held: np.ndarray
    shown: list
    events: list
    net: Network


def reference(
    scenario: Scenario, rtol: float = 1e-9, method: str = "LSODA", points: int = 400, most: float = float("inf")
) -> Reference:
    """The run by scipy at a tight tolerance, with `points` told in each stretch between two moments.

    Fails where a stretch takes more than `most` evaluations: at a loose tolerance LSODA may chatter for ever.
    """
    net = network(scenario)
    planned = scenario.moments()
    resets = [action for action in scenario.actions if isinstance(action, Reset)]
    latches = {device.name: Latch() for device in scenario.station.latching}
    conditions = scenario.conditions(0.0)
    state = np.array(start_guess(net))
    state = solve(settling(net), state, 0.0, SETTLING_TIME, conditions, conditions, rtol, method, most=most)[1][-1]
    state[net.dynamic :] = 0.0
    times, states, held, shown, happened, now = [], [], [], [], [], 0.0
    ahead = 0.0  # a moment past the event, so that what has just been reached counts as passed
    while now < scenario.duration:
        right = net.right_side(conditions)
        rates, _ = right.rates(list(state))
        seen = right.rates([a + b * ahead for a, b in zip(state, rates, strict=True)])[1]
        changed = simulation._reset(net, [r for r in resets if r.time == now], seen, conditions, latches, happened)
        changed |= simulation._trip(net, now, seen, conditions, latches, happened)
        resets = [r for r in resets if r.time > now]
        if changed:
            conditions = scenario.conditions(now, latches)
        then = simulation._next_moment(scenario, planned, latches, now)
        after = scenario.conditions(then, latches)
        watching = simulation._watching(net, latches, now)
        beyond = beyond_any(watching, now, then, conditions, after) if watching else None
        t, y = solve(net, state, now, then, conditions, after, rtol, method, points, beyond, most)
        under = right_sides(net, conditions, after)
        there = [under((a - now) / (then - now)).rates(list(b))[1] for a, b in zip(t, y, strict=True)]
        times.append(t)
        states.append(y)
        held.append(np.array([s[: net.gas] for s in there]))
        shown += there
        state, ahead, now = y[-1].copy(), 1e-6 if t[-1] < then else 0.0, float(t[-1])
        conditions = after if now == then else scenario.conditions(now, latches)
    return Reference(np.concatenate(times), np.concatenate(states), np.concatenate(held), shown, happened, net)


def right_sides(net, before, after):
    """The right side at a share (0 to 1) of the way from one moment's conditions to the next's, in a straight line."""
    first, last = (np.array(net.numbers(conditions)) for conditions in (before, after))
    return lambda share: net.right_side_by(net.machine.floats((first + (last - first) * share).tolist()))


def beyond_any(watching, start, end, before, after):
    """How far the farthest of the watched settings is passed, as a function of time and what is held."""

    def beyond(time, held):
        share = (time - start) / (end - start)
        return max(
            (1.0 - share) * simulation._past(one, before[one.number], held)
            + share * simulation._past(one, after[one.number], held)
            for one in watching
        )

    return beyond


def solve(net: Network, state, start, end, before, after, rtol, method, points=2, beyond=None, most=float("inf")):
    """One stretch between two moments, or until something trips; (n,) times and (n, size) states."""
    under = right_sides(net, before, after)

    def share(t):
        return (t - start) / (end - start)

    asked = count()

    def rates(t, y):
        assert next(asked) < most, "too many evaluations"
        return under(share(t)).rates(list(y))[0]

    def trips(t, y):
        return beyond(t, under(share(t)).rates(list(y))[1])

    trips.terminal, trips.direction = True, 1.0
    lifts = net.dynamic - net.gas
    absolute = rtol * np.array([*(1e5 * s for s in net.scales[: net.gas]), *[1.0] * lifts, *[1.0] * 3])
    # close together at first, where a change has just begun
    grid = start + (end - start) * np.linspace(0.0, 1.0, points) ** 3
    grid[-1] = end
    done = solve_ivp(
        rates,
        (start, end),
        state,
        method=method,
        rtol=rtol,
        atol=absolute,
        t_eval=grid,
        events=trips if beyond else None,
    )
    assert done.success, done.message
    if done.status == 1:
        return np.append(done.t, done.t_events[0][-1]), np.vstack([done.y.T, done.y_events[0][-1:]])
    return done.t, done.y.T


def crossed(times, level):
    """The times at which a level passes zero upwards."""
    return [
        float(np.interp(0.0, (a, b), (s, t)))
        for (a, b), (s, t) in zip(pairwise(level), pairwise(times), strict=True)
        if a <= 0.0 < b
    ]
