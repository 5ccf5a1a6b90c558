"""Which devices hold a volume's pressure and which guard it, read off the station's own names.

The worker is the regulator with the lowest set point of those that sense the volume; a monitor is another one in
series with it. What stands at one pressure while gas rests (volumes joined by pipes, slam-shuts and sensing lines)
counts as one place.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from toolkit import checks
from toolkit.devices.line import Pipe
from toolkit.devices.pressure_switch import PressureSwitch
from toolkit.devices.regulator import Regulator
from toolkit.devices.relief_valve import ReliefValve
from toolkit.devices.slam_shut import SlamShut
from toolkit.errors import ScenarioError
from toolkit.faults import Fault, StuckStem
from toolkit.scenario import Demand, Scenario, Station, Volume
from toolkit.simulation import simulate
from toolkit.trace import Trace

# The name that `with_monitor` gives.
MONITOR = "monitor"
# Share of every load's rating at low load, pilots and a small burner. Engineering judgement.
LOW_SHARE = 0.05
# A trip setting that no station here reaches: the highest that a slam-shut takes [Pa].
NEVER_TRIPS = 2e7
# A fault begins when the loads are where they should be; a run is settled after the last of these [s].
ONSET, LONG = 60.0, 600.0
# The events that say that a layer of protection, or an alarm, has acted.
ACTED = (
    *("relief_opens", "second_seat_acts", "valve_opens", "trips_high", "trips_low", "trips_by_switch"),
    *("switch_high", "switch_low"),
)


@dataclass(frozen=True)
class Layers:
    """The devices around the volume `at`: `place` names all volumes and sensing lines at one pressure with it.

    `worker`, its `monitors`, the `feeders` (regulators upstream that hold another pressure), the `relief_valves`,
    `slam_shuts` and `switches` that look at this place.
    """

    at: str
    place: frozenset[str]
    worker: Regulator
    monitors: tuple[Regulator, ...]
    feeders: tuple[Regulator, ...]
    relief_valves: tuple[ReliefValve, ...]
    slam_shuts: tuple[SlamShut, ...]
    switches: tuple[PressureSwitch, ...]

    @property
    def holders(self) -> tuple[Regulator, ...]:
        """The worker and its monitors."""
        return (self.worker, *self.monitors)


def layers_at(station: Station, at: str) -> Layers:
    """The devices that hold and guard a volume. Raises ScenarioError for an unknown volume, or one nobody holds."""
    volumes = [volume.name for volume in station.volumes]
    if at not in volumes:
        raise ScenarioError("at", at, "one of the volumes " + ", ".join(volumes), "Check the spelling.")
    place = station.at_one_pressure(at)
    sensing = [r for r in station.regulators if r.ends()["senses"] in place and place & downstream(station, r.outlet)]
    if not sensing:
        raise ScenarioError(
            "at", at, "a volume whose pressure a regulator senses", "Name a volume that a regulator holds."
        )
    worker = min(reversed(sensing), key=lambda r: r.set_gauge_pressure)
    monitors = tuple(r for r in sensing if r is not worker and _in_series(station, r, worker))
    feeders = tuple(r for r in station.regulators if r not in sensing and place & downstream(station, r.outlet))
    return Layers(
        at,
        place,
        worker,
        monitors,
        feeders,
        tuple(valve for valve in station.relief_valves if valve.at in place),
        tuple(shut for shut in station.slam_shuts if shut.senses in place),
        tuple(switch for switch in station.switches if switch.senses in place),
    )


def downstream(station: Station, volume: str) -> frozenset[str]:
    """A volume and all to which gas can flow from it."""
    links: list[Regulator | Pipe | SlamShut] = [*station.regulators, *station.pipes, *station.slam_shuts]
    ways = [(one.inlet, one.outlet) for one in links]
    found, grown = {volume}, {volume}
    while grown:
        grown = {b for a, b in ways if a in found} - found
        found |= grown
    return frozenset(found)


def _in_series(station: Station, one: Regulator, other: Regulator) -> bool:
    return other.inlet in downstream(station, one.outlet) or one.inlet in downstream(station, other.outlet)


def at_supply(station: Station, gauge_pressure: float | None) -> Station:
    """The station with its supply at another gauge pressure [Pa]; None leaves it as it is."""
    if gauge_pressure is None:
        return station
    checks.number("highest_supply_gauge_pressure", gauge_pressure, 0, 2e7, "Pa", above=True)
    return replace(station, supply=replace(station.supply, gauge_pressure=gauge_pressure))


def with_monitor(station: Station, above: float, size: float, *, senses: str = "", room: str = "interstage") -> Station:
    """A station of one regulator with a wide-open monitor named MONITOR before it.

    The monitor is built like the worker and set `above` [Pa] it; `size` [m3] of the `room` between the two. It senses
    what the worker senses, or through another line that the station has.
    """
    (worker,) = station.regulators
    monitor = replace(
        worker,
        name=MONITOR,
        outlet=room,
        senses=senses or worker.ends()["senses"],
        set_gauge_pressure=worker.set_gauge_pressure + above,
    )
    before = [volume.name for volume in station.volumes].index(worker.outlet)
    return replace(
        station,
        regulators=(monitor, replace(worker, inlet=room)),
        volumes=(*station.volumes[:before], Volume(room, size), *station.volumes[before:]),
    )


def alone(station: Station, at: str, keep: Collection[str] = ()) -> Station:
    """The station with no layer at work on a volume but those named in `keep`; regulators stay as they are.

    Relief valves go, internal reliefs and second seats of the regulators that hold it too; slam-shuts no longer trip;
    switches go.
    """
    found = layers_at(station, at)
    bare = {r.name for r in found.holders} - set(keep)
    dropped = {valve.name for valve in found.relief_valves} - set(keep)
    return replace(
        station,
        regulators=tuple(
            replace(r, relief=None, second_seat=None) if r.name in bare else r for r in station.regulators
        ),
        relief_valves=tuple(valve for valve in station.relief_valves if valve.name not in dropped),
        slam_shuts=tuple(
            shut if shut.name in keep else replace(shut, high_gauge_pressure=NEVER_TRIPS, low_gauge_pressure=None)
            for shut in station.slam_shuts
        ),
        switches=tuple(switch for switch in station.switches if switch.name in keep),
    )


def wide_open(*regulators: Regulator, onset: float = ONSET, ramp: float = 5.0) -> StuckStem:
    """The fault that brings regulators wide open and holds them there; onset and ramp [s]."""
    return StuckStem(devices=tuple(r.name for r in regulators), onset=onset, ramp=ramp)


def loads_at(station: Station, share: float) -> tuple[Demand, ...]:
    """Every load at a share of its rating; where that is none, from low load on, as a day ends."""
    start = share or LOW_SHARE
    demands = [Demand(0.0, start, load.name) for load in station.loads]
    if not share:
        demands += [Demand(10.0, 0.0, load.name, stroke=5.0) for load in station.loads]
    return tuple(demands)


def settled_run(station: Station, share: float, faults: Sequence[Fault] = (), duration: float = LONG) -> Trace:
    """A run that ends settled, with every load at a share of its rating."""
    return simulate(Scenario(station, loads_at(station, share), tuple(faults), duration))
