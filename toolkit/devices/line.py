"""What gas passes on its way: the supply, pipes and valves, sensing lines, the appliances, and leaks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, NamedTuple

from toolkit import checks
from toolkit.compiled import compiled, reader
from toolkit.devices.fit import OPENING, PIPE, SUPPLY, Fit, Port
from toolkit.errors import ScenarioError
from toolkit.flow import NozzleLaw, through
from toolkit.units import IN_WC, PSI


class SupplyCondition(NamedTuple):
    """Supply gauge pressure [Pa] and flow area of its line, valve and filter [m2] at one moment."""

    gauge_pressure: float
    flow_area: float


class PipeCondition(NamedTuple):
    """Flow areas [m2] of a pipe or sensing line at one moment: through it, and from either end to the air."""

    flow_area: float
    air_at_inlet: float
    air_at_outlet: float


class LoadCondition(NamedTuple):
    """Flow area of an appliance's burners at one moment [m2]."""

    flow_area: float


class RoomCondition(NamedTuple):
    """Of a volume or case: its gas's temperature as a multiple of the station's, a leak or purge to the air [m2]."""

    warmth: float
    leak: float


@dataclass(frozen=True)
class Supply:
    """A main that holds its pressure, feeding a volume through line, inlet valve and filter (flow area in m2)."""

    name: str = "supply"
    into: str = "inlet"
    gauge_pressure: float = 60 * PSI
    flow_area: float = 2e-4

    SHOWS: ClassVar = ("mass_flow",)

    def __post_init__(self) -> None:
        checks.name("supply.name", self.name)
        checks.name(f"{self.name}.into", self.into)
        checks.number(f"{self.name}.gauge_pressure", self.gauge_pressure, 0, 2e7, "Pa")
        checks.number(f"{self.name}.flow_area", self.flow_area, 1e-8, 1, "m2")

    def condition(self) -> SupplyCondition:
        """The healthy supply."""
        return SupplyCondition(self.gauge_pressure, self.flow_area)

    def ends(self) -> dict[str, str]:
        """The volumes it meets."""
        return {"into": self.into}


@dataclass(frozen=True)
class Pipe:
    """A pipe, valve or filter between two volumes, by the flow area [m2] that stands for its resistance."""

    name: str
    inlet: str
    outlet: str
    flow_area: float = 2e-4

    SHOWS: ClassVar = ("mass_flow", "inlet_air_mass_flow", "outlet_air_mass_flow")

    def __post_init__(self) -> None:
        checks.name("pipe.name", self.name)
        for end, volume in self.ends().items():
            checks.name(f"{self.name}.{end}", volume)
        if self.inlet == self.outlet:
            raise ScenarioError(
                f"{self.name}.outlet", self.outlet, "a volume other than the inlet", "Name another volume."
            )
        checks.number(f"{self.name}.flow_area", self.flow_area, 1e-9, 1, "m2")

    def condition(self) -> PipeCondition:
        """The healthy pipe."""
        return PipeCondition(self.flow_area, 0.0, 0.0)

    def ends(self) -> dict[str, str]:
        """The volumes it meets."""
        return {"inlet": self.inlet, "outlet": self.outlet}


@dataclass(frozen=True)
class SensingLine:
    """A tube from a tap on a volume to what senses there; its own gas, `size` [m3], is a volume of the line's name."""

    name: str
    tap: str = "outlet"
    size: float = 5e-5
    flow_area: float = 8e-6

    SHOWS: ClassVar = Pipe.SHOWS

    def __post_init__(self) -> None:
        checks.name("sensing_line.name", self.name)
        checks.name(f"{self.name}.tap", self.tap)
        checks.number(f"{self.name}.size", self.size, 1e-6, 1, "m3")
        checks.number(f"{self.name}.flow_area", self.flow_area, 1e-9, 1e-2, "m2")

    def condition(self) -> PipeCondition:
        """The healthy line."""
        return PipeCondition(self.flow_area, 0.0, 0.0)

    def ends(self) -> dict[str, str]:
        """The volumes it meets."""
        return {"tap": self.tap}


@dataclass(frozen=True)
class Load:
    """An appliance: burners that pass `rated_flow` [standard m3/s] at `rated_gauge_pressure` [Pa].

    `maximum_gauge_pressure` [Pa] is what its controls are rated for at the inlet.
    """

    name: str = "appliances"
    at: str = "outlet"
    rated_flow: float = 2e-3
    rated_gauge_pressure: float = 7 * IN_WC
    maximum_gauge_pressure: float = 14 * IN_WC

    SHOWS: ClassVar = ("mass_flow",)

    def __post_init__(self) -> None:
        checks.name("load.name", self.name)
        checks.name(f"{self.name}.at", self.at)
        checks.number(f"{self.name}.rated_flow", self.rated_flow, 0, 100, "standard m3/s", above=True)
        checks.number(f"{self.name}.rated_gauge_pressure", self.rated_gauge_pressure, 10, 1e7, "Pa")
        checks.number(f"{self.name}.maximum_gauge_pressure", self.maximum_gauge_pressure, 10, 1e7, "Pa")

    def ends(self) -> dict[str, str]:
        """The volumes it meets."""
        return {"at": self.at}


read_supply, read_pipe = reader(SupplyCondition), reader(PipeCondition)


@compiled
def supply_values(law: NozzleLaw, air: float, c: SupplyCondition, into: float) -> float:
    """Mass flow of the supply into a volume at a pressure [kg/s]; pressures absolute [Pa], `air` the atmosphere's."""
    return through(law, c.flow_area, air + c.gauge_pressure, into)


@compiled
def pipe_values(
    law: NozzleLaw, air: float, c: PipeCondition, inlet: float, outlet: float
) -> tuple[float, float, float]:
    """Mass flows through a pipe or sensing line, and from its inlet and outlet to the air [kg/s]."""
    return (
        through(law, c.flow_area, inlet, outlet),
        through(law, c.air_at_inlet, inlet, air),
        through(law, c.air_at_outlet, outlet, air),
    )


def supply_fit(into: int, supplied: int) -> Fit:
    """The supply in its place."""
    return Fit(SUPPLY, SupplyCondition, (into,), 1, (Port(0, into, 1.0), Port(0, supplied, 1.0)))


def pipe_fit(inlet: int, outlet: int, vented: int) -> Fit:
    """A pipe or sensing line in its place."""
    ports = (
        *(Port(0, inlet, -1.0), Port(0, outlet, 1.0)),
        *(Port(1, inlet, -1.0), Port(1, vented, 1.0)),
        *(Port(2, outlet, -1.0), Port(2, vented, 1.0)),
    )
    return Fit(PIPE, PipeCondition, (inlet, outlet), 3, ports)


def load_fit(at: int, delivered: int) -> Fit:
    """An appliance in its place."""
    return Fit(OPENING, LoadCondition, (at,), 1, (Port(0, at, -1.0), Port(0, delivered, 1.0)))


def leak_fit(room: int, vented: int) -> Fit:
    """A leak or purge from a volume in its place."""
    return Fit(OPENING, RoomCondition, (room,), 1, (Port(0, room, -1.0), Port(0, vented, 1.0)))
