"""The safety shutoff, or slam-shut: trips on high or low pressure, stays shut until somebody resets it by hand."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi
from typing import ClassVar, NamedTuple

from toolkit import checks
from toolkit.compiled import compiled, reader
from toolkit.devices.fit import SLAM_SHUT, Fit, Port
from toolkit.errors import ScenarioError
from toolkit.flow import NozzleLaw, through
from toolkit.units import IN_WC, PSI

# What stands for "no trip on this side": pressures that no station reaches. Finite, so that they can be interpolated.
NEVER_LOW, NEVER_HIGH = 0.0, 1e12


class SlamShutCondition(NamedTuple):
    """A slam-shut's effective numbers at one moment."""

    high: float  # Pa absolute
    low: float  # Pa absolute
    open_share: float  # of its flow area
    flow_area: float  # m2, wide open
    bypass_area: float  # m2, of the equalising valve as it stands
    moves: float  # share of its closing that the latch still does; 0 is stuck


@dataclass(frozen=True)
class SlamShut:
    """A slam-shut between two volumes, sensing a third; gauge pressures [Pa], None is no trip on that side.

    `response` [s] passes from the trip until the valve moves, `closing` [s] until it is shut. `accuracy` is the share
    of the setting within which it trips. A reset is refused while the sensed pressure is out of range or while more
    than `reset_difference` [Pa] stands across the valve: equalise first, through the bypass (`bypass_bore` [m]).
    """

    name: str = "slam_shut"
    inlet: str = "upstream"
    outlet: str = "inlet"
    senses: str = "outlet"
    high_gauge_pressure: float | None = 20 * IN_WC
    low_gauge_pressure: float | None = None
    accuracy: float = 0.05
    response: float = 0.5
    closing: float = 0.2
    opening: float = 5.0
    bore: float = 0.025
    discharge_coefficient: float = 0.65
    bypass_bore: float = 0.003
    reset_difference: float = 1 * PSI

    SHOWS: ClassVar = ("open_share", "mass_flow")

    def __post_init__(self) -> None:
        checks.name("slam_shut.name", self.name)
        here = self.name
        for end, volume in self.ends().items():
            checks.name(f"{here}.{end}", volume)
        if self.inlet == self.outlet:
            raise ScenarioError(f"{here}.outlet", self.outlet, "a volume other than the inlet", "Name another volume.")
        if self.high_gauge_pressure is None and self.low_gauge_pressure is None:
            raise ScenarioError(f"{here}.high_gauge_pressure", None, "a high or a low trip", "Give at least one.")
        for field in ("high_gauge_pressure", "low_gauge_pressure"):
            if getattr(self, field) is not None:
                checks.number(f"{here}.{field}", getattr(self, field), 10, 2e7, "Pa")
        if None not in (low := self.low_gauge_pressure, high := self.high_gauge_pressure) and low >= high:  # type: ignore[operator]
            raise ScenarioError(
                f"{here}.low_gauge_pressure",
                low,
                f"less than the high trip ({high:g} Pa)",
                "Lower it, or swap the two.",
            )
        checks.number(f"{here}.accuracy", self.accuracy, 0, 0.3, "of the setting")
        checks.number(f"{here}.response", self.response, 0.01, 60, "s")
        checks.number(f"{here}.closing", self.closing, 0.01, 60, "s")
        checks.number(f"{here}.opening", self.opening, 0.1, 600, "s")
        checks.number(f"{here}.bore", self.bore, 1e-3, 1, "m")
        checks.number(f"{here}.discharge_coefficient", self.discharge_coefficient, 0, 1, "", above=True)
        checks.number(f"{here}.bypass_bore", self.bypass_bore, 1e-4, 0.1, "m")
        checks.number(f"{here}.reset_difference", self.reset_difference, 10, 2e7, "Pa")

    @property
    def bypass_area(self) -> float:
        """Flow area of the equalising valve wide open, m2."""
        return self.discharge_coefficient * pi / 4 * self.bypass_bore**2

    def condition(self, atmosphere: float) -> SlamShutCondition:
        """The healthy slam-shut, open, at a site's atmosphere [Pa]."""
        high, low = self.high_gauge_pressure, self.low_gauge_pressure
        return SlamShutCondition(
            high=NEVER_HIGH if high is None else atmosphere + high,
            low=NEVER_LOW if low is None else atmosphere + low,
            open_share=1.0,
            flow_area=self.discharge_coefficient * pi / 4 * self.bore**2,
            bypass_area=0.0,
            moves=1.0,
        )

    def ends(self) -> dict[str, str]:
        """The volumes it meets."""
        return {"inlet": self.inlet, "outlet": self.outlet, "senses": self.senses}


read_slam_shut = reader(SlamShutCondition)


@compiled
def slam_shut_values(law: NozzleLaw, c: SlamShutCondition, inlet: float, outlet: float) -> tuple[float, float]:
    """Open share and mass flow of a slam-shut [kg/s] between two absolute pressures [Pa]."""
    return c.open_share, through(law, c.open_share * c.flow_area + c.bypass_area, inlet, outlet)


def slam_shut_fit(inlet: int, outlet: int) -> Fit:
    """A slam-shut in its place."""
    return Fit(SLAM_SHUT, SlamShutCondition, (inlet, outlet), 2, (Port(1, inlet, -1.0), Port(1, outlet, 1.0)))
