"""Is a station stable where it has settled, and what does its hunting look like?

Left out, as everywhere in the model: friction and mass of the moving parts, sound in the pipes. A real regulator's
friction damps small swings; what the model calls unstable can stand still in the field until something nudges it.
"""

from __future__ import annotations

from toolkit import checks
from toolkit.hunting import Mode, slowest_to_die
from toolkit.network import network
from toolkit.readout import trace_of
from toolkit.scenario import Demand, Scenario, Station
from toolkit.simulation import integrate, settled_state
from toolkit.trace import Trace

# The error allowed in a step of a fine run, as a share of the usual one: then no swing is damped by the steps.
FINE = 2e-3


def settled_mode(scenario: Scenario) -> Mode:
    """How a small disturbance goes on where a scenario settles with what is there at its start."""
    net = network(scenario)
    conditions = scenario.conditions(0.0)
    right = net.right_side(conditions)
    state = [*settled_state(scenario.station, conditions), *[0.0] * (net.size - net.dynamic)]
    return slowest_to_die(right.slopes(right.rates(state)[1]), net.dynamic)


def mode_at(station: Station, share: float, load: str = "appliances") -> Mode:
    """The same for a healthy station with a load at a share of its rating."""
    return settled_mode(Scenario(station, (Demand(0.0, share, load),)))


def nudged(scenario: Scenario, seconds: float = 2.0, nudge: float = 0.02) -> Trace:
    """A short run in fine steps, from the settled start with the sensed volumes' gauge pressure off by a share.

    `seconds` [s] and `nudge` [-]. It follows every swing, so it costs far more than `simulate`; what the technician
    does and what trips is left out. Raises SimulationError where the step budget does not last.
    """
    checks.number("seconds", seconds, 0.01, 60, "s")
    checks.number("nudge", nudge, -0.9, 0.9, "of the gauge pressure")
    net = network(scenario)
    conditions = scenario.conditions(0.0)
    state = [*settled_state(scenario.station, conditions), *[0.0] * (net.size - net.dynamic)]
    pa = scenario.station.atmosphere
    for place in {net.places[r.ends()["senses"]] for r in scenario.station.regulators}:
        state[place] += nudge * (state[place] - pa)
    run = integrate(net, state, 0.0, seconds, conditions, conditions, tolerance=FINE, damps=False)
    return trace_of(net, [run], ())
