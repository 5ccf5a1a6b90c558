"""The station of most pairs: one regulator built for its load, so that a visit can hold the outlet low at any load.

Sizes are invented to be watched, engineering judgement.
"""

from __future__ import annotations

from dataclasses import replace
from math import pi, sqrt

from toolkit.devices.regulator import InternalRelief, Regulator
from toolkit.flow import mass_flow, standard_flow
from toolkit.scenario import Demand, Station
from toolkit.units import HOUR, SCF

NAME, OUTLET = "regulator", "outlet_gauge_pressure"
# A visit: all burners on, then pilots only, then all off; when each begins, and the end [s].
PILOTS_AT, OFF_AT, END = 120.0, 240.0, 600.0
PILOTS = 0.05
VISIT_DAY = (Demand(0.0, 1.0), Demand(PILOTS_AT, PILOTS), Demand(OFF_AT, 0.0))
# Causes are there long before the visit.
LONG_AGO = {"onset": -10.0, "ramp": 1.0}
# Wide open the regulator passes so many times its load; the travel of its disk [m].
SPARE, TRAVEL = 1.9, 1.05e-3
# A relief with the usual port is built for this load [standard m3/s]; for another load the port is to match.
USUAL_LOAD = 300 * SCF / HOUR


def orifice_for(flow_area: float, travel: float, discharge_coefficient: float) -> float:
    """Diameter [m] of the orifice whose disk, wide open at `travel` [m], leaves `flow_area` [m2].

    Gap and hole in series (`balance.valve_area`): Cd pi/4 o^2 4x / sqrt(o^2 + 16 x^2) = CA, solved for o.
    """
    share, gap = (flow_area / (discharge_coefficient * pi / 4)) ** 2, 16.0 * travel**2
    return sqrt((share + sqrt(share**2 + 4.0 * gap**2 * share)) / (2.0 * gap))


def area_for(flow: float, inlet: float, outlet: float) -> float:
    """Flow area [m2] that passes a flow [standard m3/s] of the course's gas from one gauge pressure [Pa] to another."""
    plain = Station()
    per_area = mass_flow(1.0, plain.atmosphere + inlet, plain.atmosphere + outlet, plain.gas, plain.temperature)
    return flow / standard_flow(per_area, plain.gas)


def built_for(set_point: float, demand: float, relief_above_set: float | None = None, spare: float = SPARE) -> Station:
    """A station built for its load [standard m3/s at 7 in. w.c.], its regulator set to `set_point` [Pa gauge].

    Wide open it passes `spare` times the load. With `relief_above_set` [Pa] it has an internal relief of that start.
    """
    plain = Station()
    wide = area_for(spare * demand, plain.supply.gauge_pressure, set_point)
    port = InternalRelief.port_diameter * sqrt(demand / USUAL_LOAD)
    relief = InternalRelief(start_above_set=relief_above_set, port_diameter=port) if relief_above_set else None
    regulator = Regulator(
        name=NAME,
        set_gauge_pressure=set_point,
        orifice_diameter=orifice_for(wide, TRAVEL, Regulator.discharge_coefficient),
        travel=TRAVEL,
        relief=relief,
    )
    return replace(plain, regulators=(regulator,), loads=(replace(plain.loads[0], rated_flow=demand),))
