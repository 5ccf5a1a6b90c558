"""A spring-loaded regulator with soft seat, internal relief or second seat, case and vent.

The model leaves out friction, the mass of the moving parts, velocity boost and sound waves in the inlet pipe.
Spring rates, lever ratio and discharge coefficients of the default are engineering judgement, source "bench".
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import pi, sqrt
from typing import ClassVar

from toolkit import checks
from toolkit.compiled import compiled
from toolkit.devices.balance import RegulatorCondition, relief_area, stand, valve_area
from toolkit.devices.fit import REGULATOR, Fit, Port
from toolkit.errors import ScenarioError
from toolkit.flow import NozzleLaw, series, through
from toolkit.units import IN_WC, PSI

# Where the main flow stands among the values that a regulator shows (`Regulator.SHOWS`).
MAIN_FLOW = 3

# Stands for "no relief": a spring that nothing in a station can lift. Finite, so that conditions can be interpolated.
NEVER_LIFTS = 1e9
# The diaphragm can go this much further than it takes to shut a second seat.
OVERTRAVEL_SPARE = 1.25


@dataclass(frozen=True)
class InternalRelief:
    """A spring-held opening in the diaphragm's centre.

    `start_above_set` [Pa]: how far above the set point it begins to open; 9 in. w.c. is common practice, no source.
    `spring_rate` [N/m], `port_diameter` [m], `travel` [m], `discharge_coefficient` [-].
    """

    start_above_set: float = 9 * IN_WC
    spring_rate: float = 1500.0
    port_diameter: float = 0.0127
    travel: float = 0.006
    discharge_coefficient: float = 0.65

    def __post_init__(self) -> None:
        checks.number("relief.start_above_set", self.start_above_set, 0, 2e5, "Pa", above=True)
        checks.number("relief.spring_rate", self.spring_rate, 10, 1e6, "N/m")
        checks.number("relief.port_diameter", self.port_diameter, 1e-4, 0.2, "m")
        checks.number("relief.travel", self.travel, 1e-5, 0.05, "m")
        checks.number("relief.discharge_coefficient", self.discharge_coefficient, 0, 1, "", above=True)


@dataclass(frozen=True)
class SecondSeat:
    """An integral overpressure device: a second seat in the regulator's own body, on the same diaphragm and vent.

    Where the disk cannot follow, the diaphragm travels on against an overtravel spring and shuts this seat over
    `travel` [m], so that gas keeps flowing at a raised pressure. `takes_over_above_set` [Pa]: how far above the set
    point the overtravel begins; `spring_rate` [N/m], `orifice_diameter` [m], `discharge_coefficient` [-].
    The rates and sizes of the default are engineering judgement.
    """

    takes_over_above_set: float = 4 * IN_WC
    spring_rate: float = 1500.0
    orifice_diameter: float = 0.0095
    travel: float = 0.003
    discharge_coefficient: float = 0.82

    def __post_init__(self) -> None:
        checks.number("second_seat.takes_over_above_set", self.takes_over_above_set, 0, 2e6, "Pa", above=True)
        checks.number("second_seat.spring_rate", self.spring_rate, 10, 1e7, "N/m")
        checks.number("second_seat.orifice_diameter", self.orifice_diameter, 1e-4, 0.3, "m")
        checks.number("second_seat.travel", self.travel, 1e-5, 0.05, "m")
        checks.number("second_seat.discharge_coefficient", self.discharge_coefficient, 0, 1, "", above=True)


# Darcy friction factor of a short commercial pipe, engineering judgement.
VENT_FRICTION = 0.03


@dataclass(frozen=True)
class Vent:
    """The opening of the case to the outside air, with what is screwed into it; lengths in m.

    `bore` and `discharge_coefficient` of the opening itself; a vent pipe of `pipe_length` and `pipe_bore`; an insect
    screen at its end that leaves `screen_share` of the pipe free; a vent limiter's bore. 0 is none of it.
    """

    bore: float = 0.019
    discharge_coefficient: float = 0.65
    pipe_length: float = 0.0
    pipe_bore: float = 0.0
    screen_share: float = 1.0
    limiter_bore: float = 0.0

    def __post_init__(self) -> None:
        checks.number("vent.bore", self.bore, 1e-4, 0.3, "m")
        checks.number("vent.discharge_coefficient", self.discharge_coefficient, 0, 1, "", above=True)
        checks.number("vent.pipe_length", self.pipe_length, 0, 100, "m")
        checks.number("vent.pipe_bore", self.pipe_bore, 0, 0.3, "m")
        checks.number("vent.screen_share", self.screen_share, 0.01, 1, "of the pipe's area")
        checks.number("vent.limiter_bore", self.limiter_bore, 0, 0.3, "m")
        if self.pipe_length and self.pipe_bore < 1e-3:
            raise ScenarioError("vent.pipe_bore", self.pipe_bore, "a bore of 0.001 m or more", "Give the pipe a bore.")

    @property
    def flow_area(self) -> float:
        """Discharge coefficient times area of all of it in series, m2.

        A pipe counts as A / sqrt(f L / D + 1 / screen^2): pressure loss of a slow flow by the Darcy equation, with the
        screen as an opening that is smaller by its share. Source: `white-fluid-mechanics`.
        """
        cd = self.discharge_coefficient
        area = cd * pi / 4 * self.bore**2
        if self.pipe_length:
            losses = VENT_FRICTION * self.pipe_length / self.pipe_bore + 1 / self.screen_share**2
            area = series(area, pi / 4 * self.pipe_bore**2 / sqrt(losses))
        elif self.screen_share < 1:
            area = series(area, cd * pi / 4 * self.bore**2 * self.screen_share)
        if self.limiter_bore:
            area = series(area, cd * pi / 4 * self.limiter_bore**2)
        return area


@dataclass(frozen=True)
class Regulator:
    """A regulator between two volumes; SI, gauge pressures against the site's atmosphere.

    The set point is the outlet pressure held at 10 % of the disk's travel while the inlet is at
    `adjusted_at_inlet_gauge_pressure`. `senses` names the volume whose pressure is under the diaphragm (the outlet
    where empty).
    """

    name: str = "regulator"
    inlet: str = "inlet"
    outlet: str = "outlet"
    senses: str = ""
    set_gauge_pressure: float = 7 * IN_WC
    adjusted_at_inlet_gauge_pressure: float = 60 * PSI
    orifice_diameter: float = 0.00635
    discharge_coefficient: float = 0.82
    diaphragm_area: float = 0.020106
    area_growth: float = 0.08
    lever_ratio: float = 5.0
    spring_rate: float = 1200.0
    travel: float = 0.0015875
    balanced_share: float = 0.0
    seat_stiffness: float = 1.4e5
    seat_depth: float = 1e-4
    case_volume: float = 0.5e-3
    relief: InternalRelief | None = field(default_factory=InternalRelief)
    second_seat: SecondSeat | None = None
    vent: Vent = field(default_factory=Vent)

    SHOWS: ClassVar = (
        *("lift", "relief_lift", "case_absolute_pressure"),
        *("mass_flow", "relief_mass_flow", "vent_mass_flow"),
    )

    def __post_init__(self) -> None:
        checks.name("regulator.name", self.name)
        here = self.name
        for end in ("inlet", "outlet"):
            checks.name(f"{here}.{end}", getattr(self, end))
        if self.senses != "":
            checks.name(f"{here}.senses", self.senses)
        if self.inlet == self.outlet:
            raise ScenarioError(f"{here}.outlet", self.outlet, "a volume other than the inlet", "Name another volume.")
        for part, kind in (("vent", Vent), ("relief", InternalRelief | None), ("second_seat", SecondSeat | None)):
            if not isinstance(getattr(self, part), kind):
                raise ScenarioError(f"{here}.{part}", getattr(self, part), f"a {part}", "Build it with its own class.")
        if self.relief and self.second_seat:
            raise ScenarioError(
                f"{here}.second_seat",
                self.second_seat,
                "no second seat beside an internal relief: both ride on the diaphragm's overtravel",
                "Leave out one of the two.",
            )
        ranges: dict[str, tuple[float, float, str]] = {
            "set_gauge_pressure": (1, 1e7, "Pa"),
            "adjusted_at_inlet_gauge_pressure": (1, 2e7, "Pa"),
            "orifice_diameter": (2e-4, 0.3, "m"),
            "discharge_coefficient": (0.05, 1, ""),
            "diaphragm_area": (1e-4, 2, "m2"),
            "area_growth": (0, 0.5, ""),
            "lever_ratio": (0.2, 50, ""),
            "spring_rate": (10, 1e7, "N/m"),
            "travel": (1e-5, 0.1, "m"),
            "balanced_share": (0, 1, ""),
            "seat_stiffness": (1e3, 1e9, "N/m"),
            "seat_depth": (1e-6, 0.01, "m"),
            "case_volume": (1e-6, 1, "m3"),
        }
        for key, (low, high, unit) in ranges.items():
            checks.number(f"{here}.{key}", getattr(self, key), low, high, unit)
        if self.set_gauge_pressure >= self.adjusted_at_inlet_gauge_pressure:
            raise ScenarioError(
                f"{here}.set_gauge_pressure",
                self.set_gauge_pressure,
                f"less than the inlet pressure it is adjusted at ({self.adjusted_at_inlet_gauge_pressure:g} Pa)",
                "Lower the set point or raise the inlet pressure.",
            )
        if self.seat_depth >= 0.1 * self.travel:
            raise ScenarioError(
                f"{here}.seat_depth",
                self.seat_depth,
                f"less than a tenth of the travel ({0.1 * self.travel:g} m)",
                "The set point is defined clear of the seat: make the seat shallower or the travel longer.",
            )
        if self.diaphragm_area * self.overtravel >= 0.9 * self.case_volume:
            raise ScenarioError(
                f"{here}.case_volume",
                self.case_volume,
                "more room than the travel of the relief or second seat sweeps",
                "Enlarge the case or shorten that travel.",
            )
        if self.spring_preload <= 0:
            raise ScenarioError(
                f"{here}.set_gauge_pressure",
                self.set_gauge_pressure,
                "a set point that leaves the main spring compressed",
                "Raise the set point, enlarge the diaphragm, or lower the inlet pressure it is adjusted at.",
            )

    @property
    def unbalanced_area(self) -> float:
        """Area of the seat on which inlet minus outlet pressure pushes the disk open, m2."""
        return (1 - self.balanced_share) * pi / 4 * self.orifice_diameter**2

    @property
    def spring_preload(self) -> float:
        """Main spring's force at lift 0 [N], from the balance at a tenth of the travel."""
        lift = 0.1 * self.travel
        area = self.diaphragm_area * (1 + 0.1 * self.area_growth)
        open_force = (self.adjusted_at_inlet_gauge_pressure - self.set_gauge_pressure) * self.unbalanced_area
        return (
            self.set_gauge_pressure * area + self.spring_rate * self.lever_ratio * lift - open_force / self.lever_ratio
        )

    @property
    def overtravel(self) -> float:
        """How far the diaphragm can travel beyond a disk that cannot follow, m."""
        if self.second_seat:
            return OVERTRAVEL_SPARE * self.second_seat.travel
        return self.relief.travel if self.relief else 0.0

    @property
    def relief_preload(self) -> float:
        """Force of the relief's or the second seat's spring while it rests [N]."""
        if self.second_seat:
            above = self.second_seat.takes_over_above_set
        elif self.relief:
            above = self.relief.start_above_set
        else:
            return NEVER_LIFTS
        return (self.set_gauge_pressure + above) * self.diaphragm_area - self.spring_preload

    def condition(self) -> RegulatorCondition:
        """The healthy regulator's effective numbers."""
        relief, second = self.relief or InternalRelief(), self.second_seat
        return RegulatorCondition(
            area=self.diaphragm_area,
            growth=self.area_growth / (self.lever_ratio * self.travel),
            kept=1.0,
            lever=self.lever_ratio,
            preload=self.spring_preload,
            rate=self.spring_rate,
            relief_preload=self.relief_preload,
            relief_rate=second.spring_rate if second else relief.spring_rate,
            relief_travel=self.overtravel,
            unbalanced=self.unbalanced_area,
            seat_stiffness=self.seat_stiffness,
            seat_depth=self.seat_depth,
            debris_stiffness=0.0,
            debris_height=0.0,
            debris_edge=1.0,
            lowest_lift=0.0,
            highest_lift=self.travel,
            case_volume=self.case_volume,
            curtain=self.discharge_coefficient * pi * self.orifice_diameter,
            orifice=self.discharge_coefficient * pi / 4 * self.orifice_diameter**2,
            nick=0.0,
            hole=0.0,
            relief_curtain=relief.discharge_coefficient * pi * relief.port_diameter,
            relief_port=relief.discharge_coefficient * pi / 4 * relief.port_diameter**2 if self.relief else 0.0,
            vent=self.vent.flow_area,
            second_curtain=second.discharge_coefficient * pi * second.orifice_diameter if second else 0.0,
            second_orifice=second.discharge_coefficient * pi / 4 * second.orifice_diameter**2 if second else 0.0,
            second_travel=second.travel if second else 0.0,
            second_nick=0.0,
        )

    def ends(self) -> dict[str, str]:
        """The volumes it meets."""
        return {"inlet": self.inlet, "outlet": self.outlet, "senses": self.senses or self.outlet}


@compiled
def regulator_values(
    law: NozzleLaw, air: float, c: RegulatorCondition, inlet: float, outlet: float, sensed: float, case_gas: float
) -> tuple[float, float, float, float, float, float]:
    """A regulator's SHOWS: lift and relief lift [m], pressure of the case [Pa], flows: main, relief, vent [kg/s].

    From the absolute pressures of the volumes it meets and of the air [Pa] and the case gas q = pv V [Pa m3].
    """
    lift, relief_lift, case = stand(c, sensed, case_gas, inlet, outlet)
    main = through(law, valve_area(c, lift, relief_lift), inlet, outlet)
    relief = through(law, relief_area(c, relief_lift), sensed, case)
    return lift, relief_lift, case, main, relief, through(law, c.vent, case, air)


def regulator_fit(inlet: int, outlet: int, senses: int, case: int, vented: int) -> Fit:
    """The regulator in its place in the state."""
    ports = (
        *(Port(3, inlet, -1.0), Port(3, outlet, 1.0)),
        *(Port(4, senses, -1.0), Port(4, case, 1.0)),
        *(Port(5, case, -1.0), Port(5, vented, 1.0)),
    )
    return Fit(REGULATOR, RegulatorCondition, (inlet, outlet, senses, case), 6, ports)


def gauge_at_lift(c: RegulatorCondition, lift: float, inlet_gauge_pressure: float) -> float:
    """Outlet gauge pressure that balances the disk at a lift, case at atmosphere, relief shut [Pa].

    At lift 0 this is the lock-up pressure.

    Formula: outlet pressure under flow (droop)
        p2 = (L F0 - Ks L^2 x + p1 Au + Fc) / (L kept A (1 + e L x) + Au)
        Fc = kseat max(0, xc - x) + kd max(0, hd - x)
    Where:
        p2: outlet pressure that balances the disk, gauge; the set point less this is the droop [Pa]
        x (lift): how far the disk stands off the seat [m]
        p1 (inlet_gauge_pressure): inlet pressure, gauge [Pa]
        Fc: force of the soft seat, and of what lies on it [N]
        F0, Ks, L, A, e, kept, Au, kseat, xc, kd, hd: see RegulatorCondition
    Holds: no friction, no velocity boost; the internal relief shut, the room above the diaphragm at the air's pressure
    Source: worked out here from the balance of forces
    Example:
        US: the bench's regulator, x = 0.030 in., p1 = 60.0 psig gives p2 = 6.1 in. w.c.
        metric: the bench's regulator, x = 0.80 mm, p1 = 4.00 bar gives p2 = 15.0 mbar
    """
    contact = c.seat_stiffness * max(0.0, c.seat_depth - lift) + c.debris_stiffness * max(0.0, c.debris_height - lift)
    area = c.area * c.kept * (1 + c.growth * c.lever * lift)
    opening = c.lever * c.preload - c.rate * c.lever**2 * lift + inlet_gauge_pressure * c.unbalanced
    return (opening + contact) / (c.lever * area + c.unbalanced)


def lock_up_gauge_pressure(c: RegulatorCondition, inlet_gauge_pressure: float) -> float:
    """Outlet gauge pressure at which the disk seals [Pa], case at atmosphere; beyond the relief's start it cannot.

    Formula: lock-up
        p2 = (L F0 + p1 Au + kseat xc + kd hd) / (L kept A + Au)
    Where:
        p2: outlet pressure at which the disk seals, gauge [Pa]
        p1 (inlet_gauge_pressure): inlet pressure, gauge [Pa]
        F0, L, A, kept, Au, kseat, xc, kd, hd: see RegulatorCondition
    Holds: nothing flows; below the start of the internal relief, which else opens first
    Source: worked out here from the balance of forces
    Example:
        US: the bench's regulator, p1 = 60.0 psig gives p2 = 7.8 in. w.c.
        metric: the bench's regulator, p1 = 4.00 bar gives p2 = 19.4 mbar
    """
    return gauge_at_lift(c, 0.0, inlet_gauge_pressure)


def inlet_effect(c: RegulatorCondition) -> float:
    """Rise of the lock-up pressure per rise of inlet pressure, Pa/Pa.

    Formula: inlet effect
        i = Au / (L kept A + Au)
    Where:
        i: rise of the outlet's lock-up for each unit of rise of the inlet
        L, A, kept, Au: see RegulatorCondition
    Holds: at lock-up; under flow as long as the disk stays where it is
    Source: worked out here from the balance of forces
    Example:
        both: the bench's regulator gives i = 0.000315
    """
    return c.unbalanced / (c.lever * c.area * c.kept + c.unbalanced)


def relief_start_gauge_pressure(c: RegulatorCondition, lift: float = 0.0) -> float:
    """Outlet gauge pressure at which the internal relief begins to open with the disk held at a lift [Pa].

    Formula: start of the internal relief
        p2 = (F0 - Ks L x + Fr0) / (kept A (1 + e L x))
    Where:
        p2: outlet pressure at which the relief begins to open, gauge [Pa]
        x (lift): where the disk is held; 0 is shut [m]
        F0, Ks, L, A, e, kept, Fr0: see RegulatorCondition
    Holds: no friction; the room above the diaphragm at the air's pressure, so the vent is clear
    Source: worked out here from the balance of forces
    Example:
        US: the bench's regulator, x = 0.000 in. gives p2 = 16.0 in. w.c.
        metric: the bench's regulator, x = 1.58 mm gives p2 = 32.5 mbar
    """
    area = c.area * c.kept * (1 + c.growth * c.lever * lift)
    return (c.preload - c.rate * c.lever * lift + c.relief_preload) / area
