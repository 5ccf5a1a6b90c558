"""Pressure lost in fuel gas piping, by the two equations of the fuel gas code, in SI.

They serve sizing of house piping in teaching; a real installation is sized by the code's own tables and by licensed
practice. Source of the equations: `ifgc-equations`.
"""

from __future__ import annotations

from math import sqrt

from toolkit import checks
from toolkit.errors import ScenarioError
from toolkit.gas import Gas
from toolkit.units import FOOT, HOUR, IN_WC, INCH, PSI, SCF

# D = Q**a / (front * (drop term / (Cr L))**b): inch, cubic feet an hour, in. w.c. or psi2, feet.
_FLOW_POWER, _DROP_POWER = 0.381, 0.206
_LOW_FRONT, _HIGH_FRONT = 19.17, 18.93


def low_pressure_flow(pressure_drop: float, diameter: float, length: float, gas: Gas) -> float:
    """Standard flow [m3/s] that costs a pressure drop [Pa] in a pipe of inside diameter [m] and length [m].

    For gauge pressures below 1.5 psi. Raises ScenarioError on a negative drop or a pipe without size.
    """
    checks.number("pressure_drop", pressure_drop, 0, 1e6, "Pa")
    return _flow(_LOW_FRONT, pressure_drop / IN_WC, diameter, length, gas)


def low_pressure_drop(standard_flow: float, diameter: float, length: float, gas: Gas) -> float:
    """Pressure drop [Pa] of a standard flow [m3/s]; the inverse of `low_pressure_flow`, errors likewise."""
    return _drop_term(_LOW_FRONT, standard_flow, diameter, length, gas) * IN_WC


def high_pressure_flow(
    upstream_absolute: float, downstream_absolute: float, diameter: float, length: float, gas: Gas
) -> float:
    """Standard flow [m3/s] between two pressures [Pa absolute] in a pipe of inside diameter [m] and length [m].

    For gauge pressures of 1.5 psi and above. Raises ScenarioError if the pressure rises along the pipe.
    """
    checks.number("upstream_absolute", upstream_absolute, 0, 1e8, "Pa")
    checks.number("downstream_absolute", downstream_absolute, 0, upstream_absolute, "Pa")
    squares = (upstream_absolute**2 - downstream_absolute**2) / PSI**2
    return _flow(_HIGH_FRONT, squares * gas.pipe_expansibility, diameter, length, gas)


def high_pressure_end(
    standard_flow: float, upstream_absolute: float, diameter: float, length: float, gas: Gas
) -> float:
    """Pressure [Pa absolute] at the end of a pipe that carries a standard flow [m3/s]; inverse of the above.

    Raises ScenarioError if the pipe cannot carry the flow at all.
    """
    squares = _drop_term(_HIGH_FRONT, standard_flow, diameter, length, gas) / gas.pipe_expansibility
    left = checks.number("upstream_absolute", upstream_absolute, 0, 1e8, "Pa") ** 2 - squares * PSI**2
    if left < 0:
        raise ScenarioError(
            "standard_flow",
            standard_flow,
            "a flow that the pipe can carry",
            "Take a wider or shorter pipe, or less flow.",
        )
    return sqrt(left)


def _check_pipe(diameter: float, length: float) -> None:
    checks.number("diameter", diameter, 0, 2, "m", above=True)
    checks.number("length", length, 0, 1e5, "m", above=True)


def _flow(front: float, drop_term: float, diameter: float, length: float, gas: Gas) -> float:
    _check_pipe(diameter, length)
    spread = drop_term / (gas.pipe_factor * length / FOOT)
    cubic_feet = (diameter / INCH * front * spread**_DROP_POWER) ** (1 / _FLOW_POWER)
    return float(cubic_feet * SCF / HOUR)


def _drop_term(front: float, standard_flow: float, diameter: float, length: float, gas: Gas) -> float:
    _check_pipe(diameter, length)
    cubic_feet = checks.number("standard_flow", standard_flow, 0, 1e4, "m3/s") * HOUR / SCF
    spread = (cubic_feet**_FLOW_POWER / (front * diameter / INCH)) ** (1 / _DROP_POWER)
    return float(spread * gas.pipe_factor * length / FOOT)
