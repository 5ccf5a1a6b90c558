"""A station, what is drawn from it, and what happens to it: plain frozen data, checked as it is built."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import NamedTuple

from toolkit import checks
from toolkit.devices.balance import RegulatorCondition
from toolkit.devices.line import Load, LoadCondition, Supply, SupplyCondition
from toolkit.devices.regulator import Regulator
from toolkit.errors import ScenarioError
from toolkit.faults import Fault
from toolkit.flow import nozzle
from toolkit.gas import NATURAL_GAS, Gas, rt, standard_density
from toolkit.units import SIXTY_FAHRENHEIT, atmosphere


class RoomCondition(NamedTuple):
    """Temperature of the gas in a volume or case, as a multiple of the station's."""

    warmth: float


Condition = RegulatorCondition | SupplyCondition | LoadCondition | RoomCondition


@dataclass(frozen=True)
class Volume:
    """A run of pipe, by the gas it holds: `size` [m3]."""

    name: str
    size: float

    def __post_init__(self) -> None:
        checks.name("volume.name", self.name)
        checks.number(f"{self.name}.size", self.size, 1e-6, 1e4, "m3")


@dataclass(frozen=True)
class Station:
    """Supply, regulators, volumes and appliances, by name; `altitude` [m], gas `temperature` [K]."""

    supply: Supply = field(default_factory=Supply)
    regulators: tuple[Regulator, ...] = field(default_factory=lambda: (Regulator(),))
    loads: tuple[Load, ...] = field(default_factory=lambda: (Load(),))
    volumes: tuple[Volume, ...] = (Volume("inlet", 2e-3), Volume("outlet", 5e-3))
    gas: Gas = NATURAL_GAS
    altitude: float = 0.0
    temperature: float = SIXTY_FAHRENHEIT

    def __post_init__(self) -> None:
        if not isinstance(self.gas, Gas):
            raise ScenarioError("station.gas", self.gas, "a Gas", "Take one from toolkit.gas.GASES.")
        checks.number("station.altitude", self.altitude, -500, 6000, "m")
        checks.number("station.temperature", self.temperature, 220, 340, "K")
        rooms = [volume.name for volume in self.volumes]
        names = rooms + [device.name for device in self.devices]
        for one in names:
            if names.count(one) > 1:
                raise ScenarioError("station", one, "a name of its own for each volume and device", "Rename one.")
        for device, end in self.ends():
            if end not in rooms:
                raise ScenarioError(f"{device}", end, "one of the volumes " + ", ".join(rooms), _near(end, rooms))
        for regulator in self.regulators:
            if regulator.set_gauge_pressure >= self.supply.gauge_pressure:
                raise ScenarioError(
                    f"{regulator.name}.set_gauge_pressure",
                    regulator.set_gauge_pressure,
                    f"less than the supply's gauge pressure ({self.supply.gauge_pressure:g} Pa)",
                    "A regulator only lowers pressure: lower its set point or raise the supply.",
                )

    @property
    def devices(self) -> tuple[Supply | Regulator | Load, ...]:
        """All devices, in the order of the flow: supply, regulators, loads."""
        return (self.supply, *self.regulators, *self.loads)

    @property
    def rooms(self) -> tuple[str, ...]:
        """Where gas is held: the volumes, then the regulators' cases (`<regulator>_case`)."""
        return (*(v.name for v in self.volumes), *(f"{r.name}_case" for r in self.regulators))

    def ends(self) -> Iterator[tuple[str, str]]:
        """Each place at which a device meets a volume: (device.end, the volume's name)."""
        yield f"{self.supply.name}.into", self.supply.into
        for r in self.regulators:
            yield from ((f"{r.name}.inlet", r.inlet), (f"{r.name}.outlet", r.outlet))
            yield f"{r.name}.senses", r.senses or r.outlet
        for load in self.loads:
            yield f"{load.name}.at", load.at

    @property
    def atmosphere(self) -> float:
        """The site's atmospheric pressure, Pa absolute."""
        return atmosphere(self.altitude)

    @property
    def rt(self) -> float:
        """Z R T of the gas in the volumes, J/kg, with Z at the supply's pressure where it matters most."""
        return rt(self.gas, self.temperature, self.atmosphere + self.supply.gauge_pressure)


@dataclass(frozen=True)
class Demand:
    """From `time` [s] on, a load runs at `share` of its rating; it takes `stroke` seconds to get there."""

    time: float
    share: float
    load: str = "appliances"
    stroke: float = 1.0

    def __post_init__(self) -> None:
        checks.number("demand.time", self.time, 0, 1e6, "s")
        checks.number("demand.share", self.share, 0, 10, "of the rating")
        checks.number("demand.stroke", self.stroke, 1e-3, 1e5, "s")
        checks.name("demand.load", self.load)

    def moments(self) -> tuple[float, float]:
        """The times at which the change begins and ends, s; at 0 it is the state to start from, and no change."""
        return self.time, self.time + (self.stroke if self.time else 0.0)


@dataclass(frozen=True)
class Scenario:
    """A station, its timetable of loads, its faults, and how long to watch [s].

    A demand at time 0 is the state to start from. The run starts settled, with whatever faults are there by then.
    """

    station: Station = field(default_factory=Station)
    demands: tuple[Demand, ...] = (Demand(0.0, 1.0),)
    faults: tuple[Fault, ...] = ()
    duration: float = 600.0

    def __post_init__(self) -> None:
        checks.number("scenario.duration", self.duration, 0.1, 1e6, "s")
        if not isinstance(self.station, Station):
            raise ScenarioError(
                "scenario.station", self.station, "a Station", "Build one with toolkit.scenario.Station."
            )
        loads = [load.name for load in self.station.loads]
        last: dict[str, float] = {}
        for demand in self.demands:
            if not isinstance(demand, Demand):
                raise ScenarioError(
                    "scenario.demands", demand, "Demand entries", "Build each with Demand(time, share)."
                )
            if demand.load not in loads:
                raise ScenarioError(
                    "demand.load", demand.load, "one of the loads " + ", ".join(loads), _near(demand.load, loads)
                )
            if demand.time < last.get(demand.load, 0.0):
                raise ScenarioError(
                    "demand.time",
                    demand.time,
                    f"a time after the load's last change is done ({last[demand.load]:g} s)",
                    "Put the timetable in order, or shorten the stroke before.",
                )
            last[demand.load] = demand.moments()[1]
        struck: set[tuple[str, str]] = set()
        for fault in self.faults:
            if not isinstance(fault, Fault):
                raise ScenarioError(
                    "scenario.faults", fault, "faults of toolkit.faults", "Build it with fault(kind, ...)."
                )
            kind = type(fault).__name__
            targets = {
                "supply": [self.station.supply.name],
                "regulator": [r.name for r in self.station.regulators],
                "room": list(self.station.rooms),
            }[fault.strikes]
            for device in fault.devices:
                if device not in targets:
                    raise ScenarioError(
                        f"{kind}.devices", device, "one of " + ", ".join(targets), _near(device, targets)
                    )
                if (kind, device) in struck:
                    raise ScenarioError(
                        "scenario.faults", kind, f"one {kind} on {device}", "Merge the two into the worse."
                    )
                struck.add((kind, device))

    def moments(self) -> list[float]:
        """The times at which something starts or stops changing, from 0 to the duration, rising [s]."""
        inside = {0.0, self.duration}
        changes: tuple[Demand | Fault, ...] = (*self.demands, *self.faults)
        for change in changes:
            inside.update(time for time in change.moments() if 0.0 < time < self.duration)
        return sorted(inside)

    def conditions(self, time: float) -> tuple[Condition, ...]:
        """The condition of each device of station.devices, then of each of station.rooms, at a time [s]."""
        found = []
        for device in (*self.station.devices, *self.station.rooms):
            condition: Condition
            if isinstance(device, str):
                condition = RoomCondition(1.0)
            elif isinstance(device, Load):
                condition = LoadCondition(self._load_area(device) * self._share(device.name, time))
            elif isinstance(device, Supply):
                condition = SupplyCondition(device.gauge_pressure, device.flow_area)
            else:
                condition = device.condition()
            name = device if isinstance(device, str) else device.name
            for fault in self.faults:
                if name in fault.devices and (severity := fault.severity(time)):
                    condition = fault.worsen(condition, severity)
            found.append(condition)
        return tuple(found)

    def _load_area(self, load: Load) -> float:
        station = self.station
        per_area = nozzle(station.gas.heat_ratio, station.rt)(
            1.0, station.atmosphere + load.rated_gauge_pressure, station.atmosphere
        )
        return load.rated_flow * standard_density(station.gas) / per_area

    def _share(self, load: str, time: float) -> float:
        share = 0.0
        for demand in self.demands:
            if demand.load != load or demand.time > time:
                continue
            done = 1.0 if demand.time == 0.0 else min(1.0, (time - demand.time) / demand.stroke)
            share += (demand.share - share) * done
        return share


def _near(given: str, known: list[str]) -> str:
    close = get_close_matches(given, known, 1)
    return f"Did you mean {close[0]!r}?" if close else "Check the spelling."
