"""The external relief valve: stands alone on a volume downstream and lets gas off to a safe place outdoors.

Its disk follows an opening line while the pressure rises and a closing line, lower by the blowdown, while it falls, and
stays where it is in between: a play between two lines, with a short lag. Back pressure in the stack throttles the flow
and does not move the set pressure. Lag and discharge coefficient of the default are engineering judgement.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi
from typing import ClassVar, NamedTuple

from toolkit import checks
from toolkit.compiled import compiled, reader
from toolkit.devices.fit import RELIEF_VALVE, Fit, Port
from toolkit.flow import NozzleLaw, series, through
from toolkit.units import IN_WC

# From this share of its lift on a valve has popped: dirt carried by the gas may keep its seat from sealing again.
POPPED = 0.1


class ReliefValveCondition(NamedTuple):
    """A relief valve's effective numbers at one moment."""

    set_pressure: float  # Pa absolute
    build_up: float  # Pa above set at which it is at full lift
    blowdown: float  # Pa below the opening line at which it closes
    flow_area: float  # discharge coefficient times area at full lift, m2
    outlet_area: float  # flow area of isolating valve and stack, m2
    weep: float  # flow area that stays open when shut, m2
    lag: float  # s
    highest_lift: float  # share of full lift that the disk can reach


@dataclass(frozen=True)
class ReliefValve:
    """An external relief valve on the volume `at`; gauge pressures [Pa], lengths [m], `lag` [s].

    `build_up` and `blowdown` are shares of the set pressure. `weeps_after_pop` [m2] is the flow area that stays open
    once it has popped. `stack_bore` is the bore of isolating valve and vent stack.
    """

    name: str = "relief_valve"
    at: str = "outlet"
    set_gauge_pressure: float = 22 * IN_WC
    build_up: float = 0.25
    blowdown: float = 0.15
    orifice_diameter: float = 0.025
    discharge_coefficient: float = 0.65
    stack_bore: float = 0.05
    weeps_after_pop: float = 0.0
    lag: float = 0.002

    SHOWS: ClassVar = ("lift_share", "mass_flow")

    def __post_init__(self) -> None:
        checks.name("relief_valve.name", self.name)
        here = self.name
        checks.name(f"{here}.at", self.at)
        checks.number(f"{here}.set_gauge_pressure", self.set_gauge_pressure, 50, 1e7, "Pa")
        checks.number(f"{here}.build_up", self.build_up, 0.005, 2, "of the set pressure")
        checks.number(f"{here}.blowdown", self.blowdown, 0, 0.9, "of the set pressure")
        checks.number(f"{here}.orifice_diameter", self.orifice_diameter, 1e-4, 0.5, "m")
        checks.number(f"{here}.discharge_coefficient", self.discharge_coefficient, 0, 1, "", above=True)
        checks.number(f"{here}.stack_bore", self.stack_bore, 1e-4, 1, "m")
        checks.number(f"{here}.weeps_after_pop", self.weeps_after_pop, 0, 1e-3, "m2")
        checks.number(f"{here}.lag", self.lag, 5e-4, 1, "s")

    @property
    def flow_area(self) -> float:
        """Discharge coefficient times area at full lift, m2.

        Formula: flow area of a round opening
            CA = Cd π d^2 / 4
        Where:
            CA: flow area, discharge coefficient times area [m²]
            Cd (discharge_coefficient): discharge coefficient
            d (orifice_diameter): diameter of the opening [m]
        Holds: the valve at full lift; the same for every round opening of the bench
        Source: from memory
        Example:
            US: Cd = 0.65, d = 1.000 in. gives CA = 0.511 in²
            metric: Cd = 0.65, d = 25.00 mm gives CA = 319.1 mm²
        """
        return self.discharge_coefficient * pi / 4 * self.orifice_diameter**2

    def condition(self, atmosphere: float) -> ReliefValveCondition:
        """The healthy valve at a site's atmosphere [Pa]."""
        return ReliefValveCondition(
            set_pressure=atmosphere + self.set_gauge_pressure,
            build_up=self.build_up * self.set_gauge_pressure,
            blowdown=self.blowdown * self.set_gauge_pressure,
            flow_area=self.flow_area,
            outlet_area=self.discharge_coefficient * pi / 4 * self.stack_bore**2,
            weep=0.0,
            lag=self.lag,
            highest_lift=1.0,
        )

    def ends(self) -> dict[str, str]:
        """The volumes it meets."""
        return {"at": self.at}


read_relief_valve = reader(ReliefValveCondition)


@compiled
def relief_valve_values(
    law: NozzleLaw, air: float, c: ReliefValveCondition, at: float, lift: float
) -> tuple[float, float, float]:
    """Lift as a share of full lift, mass flow [kg/s] and the lift's rate [1/s], at a pressure [Pa] and a lift."""
    # a long step may throw the disk past its stops
    y = min(c.highest_lift, max(0.0, lift))
    least = min(c.highest_lift, max(0.0, (at - c.set_pressure) / c.build_up))
    most = min(c.highest_lift, max(0.0, (at + c.blowdown - c.set_pressure) / c.build_up))
    rate = (least - lift) if lift < least else (most - lift) if lift > most else 0.0
    area = series(c.flow_area * y + c.weep, c.outlet_area)
    return y, through(law, area, at, air), rate * (1.0 / c.lag)


def relief_valve_fit(at: int, lift: int, vented: int) -> Fit:
    """A relief valve in its place; its lift, a share of full lift, is a place of the state."""
    return Fit(
        RELIEF_VALVE, ReliefValveCondition, (at, lift), 3, (Port(1, at, -1.0), Port(1, vented, 1.0), Port(2, lift, 1.0))
    )
