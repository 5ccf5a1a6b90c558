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

    Formula: flow in a pipe at low pressure
        Q = (19.17 D (Δh / (Cr L))^0.206)^(1 / 0.381)
    Where:
        Q: standard volume flow [scfh]
        D (diameter): inside diameter of the pipe [in.]
        Δh (pressure_drop): pressure that the pipe may cost [in. w.c.]
        L (length): length of the pipe with its fittings [ft]
        Cr (gas.pipe_factor): the code's factor of the gas: 0.6094 natural gas, 1.2462 propane
    Holds: gauge pressures below 1.5 psi (103 mbar); a real pipe is sized by the code's own tables
    Source: `ifgc-equations`.
    Example:
        US: natural gas, Δh = 0.5 in. w.c., D = 1.049 in., L = 50 ft gives Q = 286 scfh
        metric: natural gas, Δh = 1.2 mbar, D = 26.60 mm, L = 15.0 m gives Q = 7.97 m³/h
    """
    checks.number("pressure_drop", pressure_drop, 0, 1e6, "Pa")
    return _flow(_LOW_FRONT, pressure_drop / IN_WC, diameter, length, gas)


def low_pressure_drop(standard_flow: float, diameter: float, length: float, gas: Gas) -> float:
    """Pressure drop [Pa] of a standard flow [m3/s]; the inverse of `low_pressure_flow`, errors likewise.

    Formula: what a flow costs in a pipe at low pressure
        Δh = Cr L (Q^0.381 / (19.17 D))^(1 / 0.206)
    Where:
        Δh: pressure that the pipe costs [in. w.c.]
        Q (standard_flow): standard volume flow [scfh]
        D (diameter): inside diameter of the pipe [in.]
        L (length): length of the pipe with its fittings [ft]
        Cr (gas.pipe_factor): the code's factor of the gas: 0.6094 natural gas, 1.2462 propane
    Holds: gauge pressures below 1.5 psi (103 mbar); a real pipe is sized by the code's own tables
    Source: `ifgc-equations`.
    Example:
        US: natural gas, Q = 300 scfh, D = 1.049 in., L = 50 ft gives Δh = 0.5 in. w.c.
        metric: propane, Q = 5.00 m³/h, D = 26.60 mm, L = 15.0 m gives Δh = 1.0 mbar
    """
    return _drop_term(_LOW_FRONT, standard_flow, diameter, length, gas) * IN_WC


def high_pressure_flow(
    upstream_absolute: float, downstream_absolute: float, diameter: float, length: float, gas: Gas
) -> float:
    """Standard flow [m3/s] between two pressures [Pa absolute] in a pipe of inside diameter [m] and length [m].

    For gauge pressures of 1.5 psi and above. Raises ScenarioError if the pressure rises along the pipe.

    Formula: flow in a pipe at higher pressure
        Q = (18.93 D ((p1^2 - p2^2) Y / (Cr L))^0.206)^(1 / 0.381)
    Where:
        Q: standard volume flow [scfh]
        D (diameter): inside diameter of the pipe [in.]
        p1 (upstream_absolute): pressure at its beginning, absolute [psia]
        p2 (downstream_absolute): pressure at its end, absolute [psia]
        L (length): length of the pipe with its fittings [ft]
        Y (gas.pipe_expansibility): the code's second factor: 0.9992 natural gas, 0.9910 propane
        Cr (gas.pipe_factor): the code's first factor: 0.6094 natural gas, 1.2462 propane
    Holds: gauge pressures of 1.5 psi (103 mbar) and above; a real pipe is sized by the code's own tables
    Source: `ifgc-equations`.
    Example:
        US: natural gas, p1 = 16.7 psia, p2 = 15.7 psia, D = 1.049 in., L = 100 ft gives Q = 1,812 scfh
        metric: natural gas, p1 = 1.150 bar abs, p2 = 1.100 bar abs, D = 26.60 mm, L = 30.0 m gives Q = 43.49 m³/h
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
