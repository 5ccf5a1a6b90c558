"""What stands before and after the regulators: the supply and the appliances."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

from toolkit import checks
from toolkit.units import IN_WC, PSI

Nozzle = Callable[[float, float, float], float]
Run = Callable[[list[float], list[float]], tuple[float, ...]]


class SupplyCondition(NamedTuple):
    """Supply gauge pressure [Pa] and flow area of its line, valve and filter [m2] at one moment."""

    gauge_pressure: float
    flow_area: float


class LoadCondition(NamedTuple):
    """Flow area of an appliance's burners at one moment [m2]."""

    flow_area: float


@dataclass(frozen=True)
class Supply:
    """A main that holds its pressure, feeding a volume through line, inlet valve and filter (flow area in m2)."""

    name: str = "supply"
    into: str = "inlet"
    gauge_pressure: float = 60 * PSI
    flow_area: float = 2e-4

    def __post_init__(self) -> None:
        checks.name("supply.name", self.name)
        checks.name(f"{self.name}.into", self.into)
        checks.number(f"{self.name}.gauge_pressure", self.gauge_pressure, 0, 2e7, "Pa")
        checks.number(f"{self.name}.flow_area", self.flow_area, 1e-8, 1, "m2")


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

    def __post_init__(self) -> None:
        checks.name("load.name", self.name)
        checks.name(f"{self.name}.at", self.at)
        checks.number(f"{self.name}.rated_flow", self.rated_flow, 0, 100, "standard m3/s", above=True)
        checks.number(f"{self.name}.rated_gauge_pressure", self.rated_gauge_pressure, 10, 1e7, "Pa")
        checks.number(f"{self.name}.maximum_gauge_pressure", self.maximum_gauge_pressure, 10, 1e7, "Pa")


def supply_flows(nozzle: Nozzle, atmosphere: float, into: int, supplied: int) -> Callable[[SupplyCondition], Run]:
    """The supply's flow: for a condition, a function of (state, net mass flows) that returns its mass flow [kg/s]."""

    def prepare(c: SupplyCondition) -> Run:
        area, pressure = c.flow_area, atmosphere + c.gauge_pressure

        def run(state: list[float], net: list[float]) -> tuple[float, ...]:
            flow = nozzle(area, pressure, state[into])
            net[into] += flow
            net[supplied] += flow
            return (flow,)

        return run

    return prepare


def load_flows(nozzle: Nozzle, atmosphere: float, at: int, delivered: int) -> Callable[[LoadCondition], Run]:
    """The appliance's flow: for a condition, a function of (state, net mass flows) that gives its mass flow [kg/s]."""

    def prepare(c: LoadCondition) -> Run:
        area = c.flow_area

        def run(state: list[float], net: list[float]) -> tuple[float, ...]:
            flow = nozzle(area, state[at], atmosphere) if area else 0.0
            net[at] -= flow
            net[delivered] += flow
            return (flow,)

        return run

    return prepare
