"""A simulated station at a moment, as the drawing of a whole station wants it told."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import lru_cache
from math import log1p
from typing import Any

from toolkit.actions import TurnValve
from toolkit.devices.line import Pipe, SensingLine
from toolkit.devices.regulator import Regulator
from toolkit.devices.slam_shut import SlamShut
from toolkit.errors import ScenarioError
from toolkit.figures.station import StationView
from toolkit.figures.symbols_views import (
    ApplianceView,
    BranchView,
    LeakView,
    LineState,
    MainView,
    MonitorView,
    ReliefValveView,
    SecondSeatView,
    SensingLineView,
    SlamShutView,
    SupplyView,
    SwitchView,
    ValveView,
    VolumeView,
    WorkerView,
)
from toolkit.scenario import Condition, Device, Scenario, Station
from toolkit.trace import Trace
from toolkit.units import IN_WC, format_pressure

Stage = SlamShut | Regulator | Pipe
# A relief valve that passes gas with its disk this near its seat weeps; so little lift is drawn as shut.
SHUT_BELOW = 5e-3
# A stack or a sensing line with less than this share of its flow area left is blocked.
BLOCKED_BELOW = 0.02
# Less than this is not seen at a stack [standard m3/s]: 0.01 scfh.
WEEPS = 1e-7
# A disk this near its seat (share of travel) that passes next to nothing (share of its largest flow) is drawn as shut.
NEARLY_SHUT, RESTS_BELOW = 0.02, 1e-3


def run_to(station: Station, volume: str) -> tuple[Stage, ...]:
    """The devices that gas passes from the supply to a volume, in the direction of flow."""
    stages: tuple[Stage, ...] = (*station.slam_shuts, *station.regulators, *station.pipes)
    found: list[Stage] = []
    at = volume
    while at != station.supply.into:
        before = next((s for s in stages if s.outlet == at and s not in found), None)
        if before is None:
            raise ScenarioError(
                "volume", volume, f"a volume that {station.supply.name} feeds", "Name one along the flow."
            )
        found.insert(0, before)
        at = before.inlet
    return tuple(found)


def station_view(trace: Trace, time: float, volume: str, system: str, name: str = "station") -> StationView:
    """The run from the supply to a volume at a time [s]; pressures in the display units of `system`.

    Raises ScenarioError where no gas comes to that volume.
    """
    station = trace.scenario.station
    stages = run_to(station, volume)
    highest = max(station.supply.gauge_pressure, *(trace.peak(f"{v.name}_gauge_pressure")[1] for v in station.volumes))

    def level(gauge: float) -> float:
        """Depth of tint: by the logarithm, so that inches of water and hundreds of psi both show."""
        return log1p(max(0.0, gauge) / IN_WC) / log1p(highest / IN_WC)

    def at(signal: str) -> float:
        return trace.at(signal, time)

    def room(volume: str) -> VolumeView:
        gauge = at(f"{volume}_gauge_pressure")
        return VolumeView(volume, format_pressure(gauge, system), level(gauge))

    supplied = at(f"{stages[0].inlet}_gauge_pressure") if stages else station.supply.gauge_pressure
    main: list[MainView] = [SupplyView(station.supply.name, format_pressure(supplied, system), level(supplied))]
    main.append(room(station.supply.into))
    for stage in stages:
        main += [_stage(trace, time, station, stage, level), room(stage.outlet)]
    volumes = {part.name for part in main if isinstance(part, VolumeView)}
    lines = {line.name: line.tap for line in station.sensing_lines}
    drawn = {stage.name for stage in stages}
    return StationView(
        name,
        tuple(main),
        tuple(branch for branch in _branches(trace, time, lines) if branch.at in volumes),
        tuple(_lines(trace, time, station, volumes, drawn, level)),
        flow=_flows(trace, time, stages[-1].name) if stages else 0.0,
    )


def _largest(trace: Trace, device: str) -> float:
    return max(trace.peak(f"{device}_flow")[1], 1e-12)


@lru_cache(maxsize=64)
def _untouched(scenario: Scenario) -> tuple[Condition, ...]:
    """The conditions of a station's devices with nothing wrong and nobody there."""
    return replace(scenario, faults=(), actions=()).conditions(0.0)


def _now_and_untouched(trace: Trace, time: float, device: Device) -> tuple[Any, Any]:
    """A device's condition at a time [s], and the one it has with nothing wrong and nobody there."""
    number = trace.scenario.station.devices.index(device)
    return trace.scenario.conditions(time)[number], _untouched(trace.scenario)[number]


def _open_share(trace: Trace, time: float, device: Pipe | SensingLine) -> float:
    """How far a pipe or a sensing line is open, as a share of its own flow area."""
    now, whole = _now_and_untouched(trace, time, device)
    return float(now.flow_area / whole.flow_area)


def _flows(trace: Trace, time: float, device: str) -> float:
    """Share of a device's largest flow; what is next to nothing is nothing."""
    share = trace.at(f"{device}_flow", time) / _largest(trace, device)
    return min(1.0, share) if share > RESTS_BELOW else 0.0


def _stage(trace: Trace, time: float, station: Station, stage: Stage, level: Callable[[float], float]) -> MainView:
    def at(signal: str) -> float:
        return trace.at(f"{stage.name}_{signal}", time)

    if isinstance(stage, Pipe):
        return ValveView(stage.name, _open_share(trace, time, stage))
    if isinstance(stage, SlamShut):
        share = at("open_share")
        tripped = [e.kind for e in trace.events if e.subject == stage.name and e.time <= time and e.kind in _TRIPS]
        return SlamShutView(stage.name, _TRIPS[tripped[-1]] if tripped else "open", share)  # type: ignore[arg-type]
    lift, over = at("lift") / stage.travel, at("relief_lift")
    if lift < NEARLY_SHUT and not _flows(trace, time, stage.name):
        lift = 0.0
    case, vent = level(at("case_gauge_pressure")), at("vent_flow") / max(trace.peak(f"{stage.name}_vent_flow")[1], 1e-6)
    if stage.second_seat:
        seat = max(0.0, 1.0 - over / stage.second_seat.travel)
        return SecondSeatView(stage.name, lift, seat, 0.0, _seen(vent), case)
    relief = over / stage.relief.travel if stage.relief else 0.0
    place = station.at_one_pressure(stage.ends()["senses"])
    sensed = [r for r in station.regulators if r.ends()["senses"] in place]
    highest = max(sensed, key=lambda r: r.set_gauge_pressure)
    monitor = len(sensed) > 1 and stage is highest
    return (MonitorView if monitor else WorkerView)(stage.name, lift, relief, _seen(vent), case)


_TRIPS = {
    "trips_high": "tripped high",
    "trips_low": "tripped low",
    "trips_by_switch": "tripped by switch",
    "reset": "open",
}


def _seen(vent: float) -> float:
    """Breathing is not gas at the vent."""
    return vent if vent > 0.05 else 0.0


def _branches(trace: Trace, time: float, lines: dict[str, str]) -> Iterator[BranchView]:
    station = trace.scenario.station
    for valve in station.relief_valves:
        lift, flow = trace.at(f"{valve.name}_lift_share", time), trace.at(f"{valve.name}_flow", time)
        lift = lift if lift > SHUT_BELOW else 0.0
        now, whole = _now_and_untouched(trace, time, valve)
        popped = any(e.subject == valve.name and e.time <= time for e in trace.happened("relief_pops"))
        closed = now.outlet_area < BLOCKED_BELOW * whole.outlet_area
        turned = any(isinstance(a, TurnValve) and a.device == valve.name for a in trace.scenario.actions)
        isolated = now.highest_lift < SHUT_BELOW or (closed and turned)
        # what is left of a lift that fades is no gas
        weeps = flow > WEEPS and not lift and (now.weep > 0.0 or (popped and valve.weeps_after_pop > 0.0))
        yield ReliefValveView(
            valve.name,
            valve.at,
            lift,
            flow / _largest(trace, valve.name) if lift or weeps else 0.0,
            isolated=isolated,
            weeping=weeps,
            fault="stack blocked" if closed and not isolated else "",
        )
    for switch in station.switches:
        drives = "lockout" if switch.locks_out else "trip" if switch.trips else "alarm"
        at = lines.get(switch.senses, switch.senses)
        yield SwitchView(switch.name, at, trace.at(f"{switch.name}_made", time) > 0.5, drives)
    for load in station.loads:
        locked = any(load.name in s.locks_out and trace.at(f"{s.name}_made", time) > 0.5 for s in station.switches)
        yield ApplianceView(load.name, load.at, trace.at(f"{load.name}_flow", time) / load.rated_flow, locked)
    for volume in trace.scenario.leaking():
        flow = trace.at(f"{volume}_leak_flow", time)
        purge = not any(volume in fault.devices and "volume" in fault.strikes for fault in trace.scenario.faults)
        name = f"{volume}_{'purge' if purge else 'leak'}"
        yield LeakView(name, volume, flow / _largest(trace, f"{volume}_leak"), purge)


def _lines(
    trace: Trace, time: float, station: Station, volumes: set[str], drawn: set[str], level: Callable[[float], float]
) -> Iterator[SensingLineView]:
    senses: tuple[Regulator | SlamShut, ...] = (*station.regulators, *station.slam_shuts)
    for line in station.sensing_lines:
        led = tuple(d.name for d in senses if d.ends()["senses"] == line.name and d.name in drawn)
        if line.tap not in volumes or not led:
            continue
        torn = (
            trace.at(f"{line.name}_outlet_air_flow", time) > 0.0 or trace.at(f"{line.name}_inlet_air_flow", time) > 0.0
        )
        gauge = trace.at(f"{line.name}_gauge_pressure", time)
        blocked = _open_share(trace, time, line) < BLOCKED_BELOW
        state: LineState = "broken" if torn else "blocked" if blocked else "whole"
        yield SensingLineView(line.name, line.tap, led, state, level(gauge))
    # a device that senses a volume some way off without a line of its own is drawn with one all the same
    for device in senses:
        sensed = device.ends()["senses"]
        if device.name in drawn and sensed in volumes and sensed != device.outlet:
            yield SensingLineView(f"{device.name}_tap", sensed, (device.name,))
