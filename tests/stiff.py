"""The same scenario through scipy's stiff solvers, as a reference for the engine's own time loop."""

from itertools import pairwise

import numpy as np
from scipy.integrate import solve_ivp

from toolkit.scenario import Scenario
from toolkit.simulation import SETTLING_TIME, Network, network, settling, start_guess


def reference(scenario: Scenario, rtol: float = 1e-9, method: str = "LSODA", points: int = 400):
    """Times, pressures [Pa absolute, volumes then case contents] and the network, from scipy at a tight tolerance."""
    net = network(scenario)
    moments = scenario.moments()
    before = scenario.conditions(0.0)
    state = solve(settling(net), start_guess(net), 0.0, SETTLING_TIME, before, before, rtol, method)[1][-1]
    state[net.dynamic :] = 0.0
    times, states = [], []
    for start, end in pairwise(moments):
        after = scenario.conditions(end)
        t, y = solve(net, state, start, end, before, after, rtol, method, points)
        times.append(t)
        states.append(y)
        state, before = y[-1].copy(), after
    return np.concatenate(times), np.concatenate(states), net


def solve(net: Network, state, start, end, before, after, rtol, method, points=2):
    """One stretch between two moments; (n,) times and (n, size) states, the solver's own steps and `points` between."""
    under = net.stretch(before, after)

    def rates(t, y):
        return under((t - start) / (end - start))(list(y))[0]

    absolute = rtol * np.array([1e5 * s for s in (*net.scales, 1e-5, 1e-5, 1e-5)])
    # close together at first, where a change has just begun
    grid = start + (end - start) * np.linspace(0.0, 1.0, points) ** 3
    grid[-1] = end
    done = solve_ivp(rates, (start, end), state, method=method, rtol=rtol, atol=absolute, t_eval=grid)
    assert done.success, done.message
    return done.t, done.y.T
