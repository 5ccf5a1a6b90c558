"""A station, what is drawn from it, and what happens to it: plain frozen data, checked as it is built."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from toolkit import checks
from toolkit.actions import Action, AdjustSetPoint, Purge, TurnValve, ramped
from toolkit.devices import latch as latches_of
from toolkit.devices.balance import RegulatorCondition, preload_for
from toolkit.devices.latch import Latch, Latching
from toolkit.devices.line import (
    Load,
    LoadCondition,
    Pipe,
    PipeCondition,
    RoomCondition,
    SensingLine,
    Supply,
    SupplyCondition,
)
from toolkit.devices.pressure_switch import PressureSwitch, PressureSwitchCondition
from toolkit.devices.regulator import Regulator
from toolkit.devices.relief_valve import ReliefValve, ReliefValveCondition
from toolkit.devices.slam_shut import SlamShut, SlamShutCondition
from toolkit.errors import ScenarioError
from toolkit.faults import Fault
from toolkit.flow import nozzle
from toolkit.gas import NATURAL_GAS, Gas, rt, standard_density
from toolkit.units import SIXTY_FAHRENHEIT, atmosphere

Device = Supply | SlamShut | Regulator | Pipe | SensingLine | ReliefValve | Load | PressureSwitch
Condition = (
    RegulatorCondition
    | SupplyCondition
    | PipeCondition
    | ReliefValveCondition
    | SlamShutCondition
    | PressureSwitchCondition
    | LoadCondition
    | RoomCondition
)


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
    """What a station is built of, by name; `altitude` [m], gas `temperature` [K]."""

    supply: Supply = field(default_factory=Supply)
    regulators: tuple[Regulator, ...] = field(default_factory=lambda: (Regulator(),))
    loads: tuple[Load, ...] = field(default_factory=lambda: (Load(),))
    volumes: tuple[Volume, ...] = (Volume("inlet", 2e-3), Volume("outlet", 5e-3))
    pipes: tuple[Pipe, ...] = ()
    sensing_lines: tuple[SensingLine, ...] = ()
    relief_valves: tuple[ReliefValve, ...] = ()
    slam_shuts: tuple[SlamShut, ...] = ()
    switches: tuple[PressureSwitch, ...] = ()
    gas: Gas = NATURAL_GAS
    altitude: float = 0.0
    temperature: float = SIXTY_FAHRENHEIT

    def __post_init__(self) -> None:
        if not isinstance(self.gas, Gas):
            raise ScenarioError("station.gas", self.gas, "a Gas", "Take one from toolkit.gas.GASES.")
        checks.number("station.altitude", self.altitude, -500, 6000, "m")
        checks.number("station.temperature", self.temperature, 220, 340, "K")
        for part, kind in _PARTS.items():
            for one in getattr(self, part):
                if not isinstance(one, kind):
                    raise ScenarioError(
                        f"station.{part}", one, f"{kind.__name__} entries", "Build each with its class."
                    )
        names = [volume.name for volume in self.volumes] + [device.name for device in self.devices]
        for one in names:
            if names.count(one) > 1:
                raise ScenarioError("station", one, "a name of its own for each volume and device", "Rename one.")
        rooms = [room for room in self.rooms if not room.endswith(_CASE)]
        for device in self.devices:
            for end, volume in device.ends().items():
                if volume not in rooms:
                    raise ScenarioError(
                        f"{device.name}.{end}",
                        volume,
                        "one of the volumes " + ", ".join(rooms),
                        checks.near(volume, rooms),
                    )
        for switch in self.switches:
            for key, known in (("locks_out", self.loads), ("trips", self.slam_shuts)):
                for name in getattr(switch, key):
                    if name not in (there := [one.name for one in known]):
                        raise ScenarioError(
                            f"{switch.name}.{key}",
                            name,
                            "one of " + (", ".join(there) or "none"),
                            checks.near(name, there),
                        )
        for regulator in self.regulators:
            if regulator.set_gauge_pressure >= self.supply.gauge_pressure:
                raise ScenarioError(
                    f"{regulator.name}.set_gauge_pressure",
                    regulator.set_gauge_pressure,
                    f"less than the supply's gauge pressure ({self.supply.gauge_pressure:g} Pa)",
                    "A regulator only lowers pressure: lower its set point or raise the supply.",
                )

    @cached_property
    def devices(self) -> tuple[Device, ...]:
        """All devices, about in the order of the flow."""
        upstream: tuple[Device, ...] = (self.supply, *self.slam_shuts, *self.regulators)
        return (*upstream, *self.pipes, *self.sensing_lines, *self.relief_valves, *self.loads, *self.switches)

    @cached_property
    def latching(self) -> tuple[Latching, ...]:
        """The devices that remember what happened to them."""
        return (*self.slam_shuts, *self.switches, *self.relief_valves)

    @cached_property
    def rooms(self) -> tuple[str, ...]:
        """Where gas is held: the volumes, the sensing lines, then the regulators' cases (`<regulator>_case`)."""
        return (
            *(v.name for v in self.volumes),
            *(line.name for line in self.sensing_lines),
            *(r.name + _CASE for r in self.regulators),
        )

    def at_one_pressure(self, room: str) -> frozenset[str]:
        """The volumes and sensing lines that stand at one pressure with one of them while gas rests."""
        ways: list[Pipe | SlamShut] = [*self.pipes, *self.slam_shuts]
        joined = [(way.inlet, way.outlet) for way in ways] + [(line.name, line.tap) for line in self.sensing_lines]
        found, grown = {room}, {room}
        while grown:
            grown = {b for pair in joined for a, b in (pair, pair[::-1]) if a in found} - found
            found |= grown
        return frozenset(found)

    def named(self, kind: str) -> list[str]:
        """The names of all that a fault or action of this kind can be about."""
        kinds: dict[str, Iterable[Any]] = {
            "supply": [self.supply],
            "regulator": self.regulators,
            "pipe": self.pipes,
            "sensing_line": self.sensing_lines,
            "relief_valve": self.relief_valves,
            "slam_shut": self.slam_shuts,
            "pressure_switch": self.switches,
            "volume": self.volumes,
        }
        return list(self.rooms) if kind == "room" else [one.name for one in kinds[kind]]

    @cached_property
    def sound(self) -> tuple[Condition, ...]:
        """The condition of each of `devices`, then of each of `rooms`, with nothing done and nothing wrong.

        Burners are lit at their rating.
        """
        return (*(self._sound(device) for device in self.devices), *[RoomCondition(1.0, 0.0)] * len(self.rooms))

    def _sound(self, device: Device) -> Condition:
        if isinstance(device, Load):
            per_area = nozzle(self.gas.heat_ratio, self.rt)(
                1.0, self.atmosphere + device.rated_gauge_pressure, self.atmosphere
            )
            return LoadCondition(device.rated_flow * standard_density(self.gas) / per_area)
        if isinstance(device, ReliefValve | SlamShut | PressureSwitch):
            return device.condition(self.atmosphere)
        return device.condition()

    @cached_property
    def atmosphere(self) -> float:
        """The site's atmospheric pressure, Pa absolute."""
        return atmosphere(self.altitude)

    @cached_property
    def rt(self) -> float:
        """Z R T of the gas in the volumes, J/kg, with Z at the supply's pressure where it matters most."""
        return rt(self.gas, self.temperature, self.atmosphere + self.supply.gauge_pressure)


_CASE = "_case"
_PARTS: dict[str, type] = {
    "regulators": Regulator,
    "loads": Load,
    "volumes": Volume,
    "pipes": Pipe,
    "sensing_lines": SensingLine,
    "relief_valves": ReliefValve,
    "slam_shuts": SlamShut,
    "switches": PressureSwitch,
}


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
    """A station, its timetable of loads, its faults, what the technician does, and how long to watch [s].

    A demand at time 0 is the state to start from. The run starts settled, with whatever faults are there by then and
    every latch at rest.
    """

    station: Station = field(default_factory=Station)
    demands: tuple[Demand, ...] = (Demand(0.0, 1.0),)
    faults: tuple[Fault, ...] = ()
    duration: float = 600.0
    actions: tuple[Action, ...] = ()

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
                    "demand.load", demand.load, "one of the loads " + ", ".join(loads), checks.near(demand.load, loads)
                )
            if demand.time < last.get(demand.load, 0.0):
                raise ScenarioError(
                    "demand.time",
                    demand.time,
                    f"a time after the load's last change is done ({last[demand.load]:g} s)",
                    "Put the timetable in order, or shorten the stroke before.",
                )
            last[demand.load] = demand.moments()[1]
        self._check_faults()
        self._check_actions()

    def _check_faults(self) -> None:
        struck: set[tuple[str, str]] = set()
        for fault in self.faults:
            if not isinstance(fault, Fault):
                raise ScenarioError(
                    "scenario.faults", fault, "faults of toolkit.faults", "Build it with fault(kind, ...)."
                )
            kind = type(fault).__name__
            targets = [name for strikes in fault.strikes for name in self.station.named(strikes)]
            for device in fault.devices:
                if device not in targets:
                    raise ScenarioError(
                        f"{kind}.devices",
                        device,
                        "one of " + (", ".join(targets) or "none"),
                        checks.near(device, targets),
                    )
                if (kind, device) in struck:
                    raise ScenarioError(
                        "scenario.faults", kind, f"one {kind} on {device}", "Merge the two into the worse."
                    )
                struck.add((kind, device))

    def _check_actions(self) -> None:
        done: dict[tuple[str, str], float] = {}
        for action in self.actions:
            if not isinstance(action, Action):
                raise ScenarioError(
                    "scenario.actions", action, "actions of toolkit.actions", "Build it with action(kind, ...)."
                )
            kind = type(action).__name__
            targets = [name for part in action.acts_on for name in self.station.named(part)]
            if action.device not in targets:
                raise ScenarioError(
                    f"{kind}.device",
                    action.device,
                    "one of " + (", ".join(targets) or "none"),
                    checks.near(action.device, targets),
                )
            if action.time < done.get((kind, action.device), 0.0):
                raise ScenarioError(
                    f"{kind}.time",
                    action.time,
                    f"a time after the same action on {action.device} before it is done",
                    "Put the actions in order, or shorten the stroke before.",
                )
            done[kind, action.device] = action.moments()[1]

    def moments(self) -> list[float]:
        """The times at which something planned starts or stops changing, from 0 to the duration, rising [s]."""
        inside = {0.0, self.duration}
        changes: tuple[Demand | Fault | Action, ...] = (*self.demands, *self.faults, *self.actions)
        for change in changes:
            inside.update(time for time in change.moments() if 0.0 < time < self.duration)
        return sorted(inside)

    def leaking(self) -> tuple[str, ...]:
        """The volumes from which gas can get out to the air during the run."""
        purged = {action.device for action in self.actions if isinstance(action, Purge)}
        leaks = {name for fault in self.faults if "volume" in fault.strikes for name in fault.devices}
        return tuple(name for name in self.station.rooms if name in purged | leaks)

    def conditions(self, time: float, latches: Mapping[str, Latch] | None = None) -> tuple[Condition, ...]:
        """The condition of each device of station.devices, then of each of station.rooms, at a time [s].

        First what the technician has done, then what the faults do to it, then what has tripped.
        """
        found = []
        station = self.station
        for device, sound in zip((*station.devices, *station.rooms), station.sound, strict=True):
            name = device if isinstance(device, str) else device.name
            condition = self._acted(device, name, sound, time)
            for fault in self.faults:
                # Also before its onset: a number that comes at once, as the kind of debris does, must not ramp in.
                # A sensing line is a device and a room of one name.
                if name in fault.devices and isinstance(device, str) == fault.strikes_rooms:
                    condition = fault.worsen(condition, fault.severity(time))
            if latches:
                condition = self._latched(device, condition, time, latches)
            found.append(condition)
        return tuple(found)

    def _acted(self, device: Device | str, name: str, sound: Any, time: float) -> Condition:
        """A device's condition with what the technician has done to it."""
        if isinstance(device, Load):
            return LoadCondition(sound.flow_area * self._share(name, time))
        mine = [action for action in self.actions if action.device == name]
        if not mine:
            return sound  # type: ignore[no-any-return]
        turned = [action for action in mine if isinstance(action, TurnValve)]
        if isinstance(device, str):
            return RoomCondition(1.0, ramped([a for a in mine if isinstance(a, Purge)], 0.0, time))
        if isinstance(device, Regulator):
            adjusted = ramped([a for a in mine if isinstance(a, AdjustSetPoint)], 0.0, time)
            return sound._replace(preload=max(1e-3, preload_for(sound, adjusted))) if adjusted else sound  # type: ignore[no-any-return]
        if isinstance(device, PressureSwitch) or not turned:
            return sound  # type: ignore[no-any-return]
        if isinstance(device, ReliefValve):
            return sound._replace(outlet_area=sound.outlet_area * ramped(turned, 1.0, time))  # type: ignore[no-any-return]
        if isinstance(device, SlamShut):
            return sound._replace(bypass_area=device.bypass_area * ramped(turned, 0.0, time))  # type: ignore[no-any-return]
        return sound._replace(flow_area=sound.flow_area * ramped(turned, 1.0, time))  # type: ignore[no-any-return]

    def _latched(
        self, device: Device | str, condition: Condition, time: float, latches: Mapping[str, Latch]
    ) -> Condition:
        """A device's condition with what has tripped, on itself or on the switches that drive it."""
        if isinstance(device, str):
            return condition
        if isinstance(condition, LoadCondition):
            share = 1.0
            for switch in self.station.switches:
                if device.name in switch.locks_out and switch.name in latches:
                    share *= latches_of.open_share(switch, latches[switch.name], time)
            return LoadCondition(condition.flow_area * share)
        if device.name not in latches:
            return condition
        latch = latches[device.name]
        if isinstance(device, SlamShut) and isinstance(condition, SlamShutCondition):
            return condition._replace(open_share=latches_of.open_share(device, latch, time))
        if isinstance(device, ReliefValve) and isinstance(condition, ReliefValveCondition):
            shown = min(1.0, (time - latch.since) / latches_of.STROKE) if latch.mode == latches_of.POP else 0.0
            return condition._replace(weep=condition.weep + device.weeps_after_pop * shown)
        if isinstance(condition, PressureSwitchCondition):
            return condition._replace(made=float(latch.mode != latches_of.REST))
        return condition

    def _share(self, load: str, time: float) -> float:
        share = 0.0
        for demand in self.demands:
            if demand.load != load or demand.time > time:
                continue
            done = 1.0 if demand.time == 0.0 else min(1.0, (time - demand.time) / demand.stroke)
            share += (demand.share - share) * done
        return share
