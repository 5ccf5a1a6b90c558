"""What a technician reads at a visit, taken off a trace with the coarseness of gauges and noses.

A visit: burners on, then pilot only, then all off for five minutes; in each, the outlet gauge and the vent are looked
at once things are steady, and the outlet gauge's highest swing is noted as the burners shut.
Times, gauge steps and what counts as a whiff are engineering judgement.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from toolkit.faults import Fault
from toolkit.scenario import Demand, Scenario, Station
from toolkit.simulation import simulate
from toolkit.trace import Trace
from toolkit.units import IN_WC, PSI, format_pressure, format_quantity

STAGES = ("burners on", "pilot only", "all off for 5 minutes")
BURNERS_SHUT, ALL_OFF, END = 30.0, 60.0, 360.0
READ_AT = (29.0, 59.0, 359.0)
SWING_WINDOW = (BURNERS_SHUT, BURNERS_SHUT + 10.0)
PILOT_SHARE = 0.02

VENT_LEVELS = ("none", "a whiff", "strong")
# Standard volume flow from which gas at the vent is noticed, and from which it is strong [m3/s]: 0.25 and 5 scfh.
VENT_STEPS = (2e-6, 4e-5)

LOW_GAUGE_STEP, LOW_GAUGE_TOP = 0.1 * IN_WC, 60 * IN_WC
HIGH_GAUGE_STEP = 0.5 * PSI
INLET_GAUGE_STEP = 0.2 * PSI


@dataclass(frozen=True)
class Readings:
    """What was read: gauge pressures [Pa] as the gauges show them, vent levels as indices of VENT_LEVELS.

    `outlet_gauge_pressures` and `vents` are in the order of STAGES; `swing_gauge_pressure` is the outlet gauge's
    highest value as the burners shut; the inlet is read with the burners on.
    """

    set_gauge_pressure: float
    inlet_gauge_pressure: float
    outlet_gauge_pressures: tuple[float, float, float]
    swing_gauge_pressure: float
    vents: tuple[int, int, int]


def visit(station: Station, faults: Sequence[Fault] = ()) -> Scenario:
    """Return the scenario of a visit to a station whose faults are there from the start."""
    standing = tuple(replace(one, onset=-1e3, ramp=1.0) for one in faults)
    demands = (Demand(0.0, 1.0), Demand(BURNERS_SHUT, PILOT_SHARE, stroke=0.5), Demand(ALL_OFF, 0.0, stroke=0.5))
    return Scenario(station, demands, standing, END)


def read_visit(scenario: Scenario, gauge_factor: float = 1.0) -> Readings:
    """Run a visit and read it; `gauge_factor` is what the outlet gauge shows of the true pressure."""
    return read_trace(simulate(scenario), gauge_factor)


def read_trace(trace: Trace, gauge_factor: float = 1.0) -> Readings:
    """Read the trace of a visit at the first regulator of its station."""
    station = trace.scenario.station
    regulator = station.regulators[0]
    outlet = f"{regulator.outlet}_gauge_pressure"
    first, second, third = (gauge_shows(trace.at(outlet, time) * gauge_factor) for time in READ_AT)
    vents = tuple(vent_level(trace.at(f"{regulator.name}_vent_flow", time)) for time in READ_AT)
    return Readings(
        regulator.set_gauge_pressure,
        round(trace.at(f"{regulator.inlet}_gauge_pressure", READ_AT[0]) / INLET_GAUGE_STEP) * INLET_GAUGE_STEP,
        (first, second, third),
        gauge_shows(trace.peak(outlet, *SWING_WINDOW)[1] * gauge_factor),
        (vents[0], vents[1], vents[2]),
    )


def gauge_shows(gauge_pressure: float) -> float:
    """Return what is read of a pressure [Pa]: 0.1 in. w.c. steps up to 60 in. w.c., half psi above that."""
    step = LOW_GAUGE_STEP if abs(gauge_pressure) < LOW_GAUGE_TOP else HIGH_GAUGE_STEP
    return round(gauge_pressure / step) * step


def vent_level(standard_flow: float) -> int:
    """Index of VENT_LEVELS for a vent's standard volume flow [m3/s]; air drawn in counts as none."""
    return sum(standard_flow >= step for step in VENT_STEPS)


def readings_table(readings: Readings, units: str) -> tuple[tuple[str, ...], ...]:
    """The readings as rows of words, the first row the heading."""
    stages = zip(STAGES, readings.outlet_gauge_pressures, readings.vents, strict=True)
    return (
        ("When", "Outlet gauge", "Gas at the vent"),
        *((stage, format_pressure(outlet, units), VENT_LEVELS[vent]) for stage, outlet, vent in stages),
        ("highest as the burners shut", format_pressure(readings.swing_gauge_pressure, units), ""),
        ("inlet gauge, burners on", format_quantity(readings.inlet_gauge_pressure, "gauge_pressure", units), ""),
    )
