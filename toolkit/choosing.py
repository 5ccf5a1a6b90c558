"""Which layer guards against what: every layer put on one station and struck by the same failures, by simulation.

Set points, sizes and failures are invented to be compared, engineering judgement throughout; a real choice follows the
code in force, the operator's procedures and licensed practice.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from toolkit.devices.line import SensingLine
from toolkit.devices.pressure_switch import PressureSwitch
from toolkit.devices.regulator import InternalRelief, Regulator, SecondSeat
from toolkit.devices.relief_valve import ReliefValve
from toolkit.devices.slam_shut import SlamShut
from toolkit.errors import ScenarioError
from toolkit.faults import BlockedVent, BrokenSensingLine, Debris, Fault, FouledSecondSeat, StuckStem, Warmed
from toolkit.gas import standard_density
from toolkit.layers import ACTED, with_monitor
from toolkit.limits import fuel_gas_code_limit
from toolkit.scenario import Demand, Scenario, Station, Volume
from toolkit.simulation import simulate
from toolkit.trace import Trace, time_above
from toolkit.units import IN_WC, PSI, SCF, format_pressure, tidy

# The ladder of the layers, above the set point of the worker [Pa].
MONITOR_ABOVE, SECOND_SEAT_ABOVE, RELIEF_ABOVE = 4 * IN_WC, 4 * IN_WC, 9 * IN_WC
SWITCH_ABOVE, VALVE_ABOVE, SHUT_ABOVE, SHUT_BEHIND_VALVE = 7 * IN_WC, 15 * IN_WC, 21 * IN_WC, 30 * IN_WC
# What a working monitor's first stage holds between the two.
FIRST_STAGE = 10 * PSI
# The day: a third of the load, night, and full load again when the failure has been there for a while [s].
NIGHT, MORNING, END = 100.0, 1000.0, 1100.0
STRUCK, AT_NIGHT = 40.0, 150.0
# Room between two devices bolted together [m3]: its gas still comes when the first of them has shut.
BETWEEN = 1e-4
# Share of the rated flow that counts as service kept; more gas than this [standard m3] is let off, less is the breath
# of a case.
SERVED, LET_OFF = 0.5, 1e-3


@dataclass(frozen=True)
class Cell:
    """What one failure does to a station with one layer.

    `peak` [Pa gauge] at the appliances; `above` [s] over the limit; `vented` [standard m3] of all that got out to the
    air, a broken line's own loss included; `served` whether the appliances have gas at the end; `reset` whether
    somebody must reset a device by hand; `defeated` whether the peak is above the limit; `hunts` whether the pressure
    swings without dying out; `acted` the devices that acted.
    """

    failure: str
    peak: float
    above: float
    vented: float
    served: bool
    reset: bool
    defeated: bool
    hunts: bool
    acted: tuple[str, ...]


@dataclass(frozen=True)
class Row:
    """One layer against the failures that can strike it, and the limit [Pa gauge] that it should keep."""

    layer: str
    limit_gauge_pressure: float
    cells: tuple[Cell, ...]

    @property
    def defeated_by(self) -> tuple[str, ...]:
        """The failures that bring the pressure above the limit."""
        return tuple(cell.failure for cell in self.cells if cell.defeated)


def base_station() -> Station:
    """One regulator from 60 psig to 7 in. w.c. with nothing to guard it, and 20 litres of pipe behind it.

    On much less than that a monitor hunts that holds through a worker stuck open.
    """
    return Station(
        regulators=(Regulator(name="worker", relief=None),),
        volumes=(Volume("inlet", 1e-4), Volume("outlet", 2e-2)),
    )


def compare(base: Station | None = None, layers: Sequence[str] | None = None) -> tuple[Row, ...]:
    """Every layer of LAYERS, or those named, on a base station, against every failure of FAILURES that can strike it.

    The base has one regulator and no layer; the limit is the fuel gas code's for its supply and its weakest appliance,
    source `ifgc-416`. Raises ScenarioError for another base or an unknown layer. Deterministic: nothing is drawn.
    """
    station = _checked(base or base_station())
    weakest = min(load.maximum_gauge_pressure for load in station.loads)
    limit = fuel_gas_code_limit(station.supply.gauge_pressure, weakest).gauge_pressure
    if not np.isfinite(limit):
        limit = weakest  # where the code demands no device by number, the appliances' own rating counts
    names = list(LAYERS) if layers is None else layers
    for name in names:
        if name not in LAYERS:
            raise ScenarioError("layers", name, "one of " + ", ".join(LAYERS), "Check the spelling.")
    return tuple(Row(name, limit, tuple(_cells(guarded(station, name), limit))) for name in names)


def markdown(rows: Sequence[Row], system: str) -> str:
    """The table as Markdown in the display set "us" or "metric": the peaks, what they cost, what defeats each layer."""
    if not rows:
        raise ScenarioError("rows", rows, "at least one row", "Take what compare() gives.")
    limit = format_pressure(rows[0].limit_gauge_pressure, system)
    parts = [
        f"Highest pressure at the appliances; **bold** is above the limit of {limit}, a dash cannot happen. "
        "Where it hunts, this is the middle of the swing.",
        _table(rows, lambda cell: _bold(format_pressure(cell.peak, system), cell.defeated)),
        "What it costs: seconds above the limit, gas let off, what the appliances have in the morning.",
        _table(rows, lambda cell: _cost(cell, system)),
        "What defeats it, a single cause each. A layer that has failed unseen, such as a blocked relief or a stuck "
        "slam-shut, is no guard at all; only tests find it.",
        "| layer | defeated by |\n|---|---|\n"
        + "\n".join(f"| {row.layer} | {'; '.join(row.defeated_by) or 'none of these'} |" for row in rows),
    ]
    return tidy("\n\n".join(parts)) + "\n"


def _checked(base: Station) -> Station:
    """The base, if it is one that every layer can be put on."""
    checked = (len(base.regulators) == 1, not base.relief_valves, not base.slam_shuts, not base.switches)
    if not all(checked):
        raise ScenarioError("base", len(base.regulators), "one regulator and no layer beside it", "Leave out the rest.")
    worker = base.regulators[0]
    if worker.senses or worker.relief or worker.second_seat or worker.name != "worker":
        raise ScenarioError(
            "base.regulators", worker.name, "a plain regulator named worker that senses its own outlet", "Make it one."
        )
    if base.sensing_lines or not base.loads or any(load.at != worker.outlet for load in base.loads):
        raise ScenarioError(
            "base.loads", worker.outlet, "loads at the worker's outlet and no sensing lines", "Put them there."
        )
    return base


def guarded(base: Station, layer: str) -> Station:
    """A base with a sensing line for its worker, which one can break, and with a layer of LAYERS."""
    (worker,) = base.regulators
    line = SensingLine("worker_line", tap=worker.outlet)
    return LAYERS[layer](replace(base, regulators=(replace(worker, senses=line.name),), sensing_lines=(line,)))


def day(station: Station) -> tuple[Demand, ...]:
    """The day of the table: a third of every load, night, full load again; burners take a while to turn."""
    return tuple(
        Demand(time, share, load.name, stroke=5.0)
        for load in station.loads
        for time, share in ((0.0, 0.3), (NIGHT, 0.0), (MORNING, 1.0))
    )


# The layers


def _worker(station: Station) -> Regulator:
    return next(r for r in station.regulators if r.name == "worker")


def _body(station: Station, relief: InternalRelief | None = None, second: SecondSeat | None = None) -> Station:
    return replace(station, regulators=(replace(_worker(station), relief=relief, second_seat=second),))


def _internal_relief(station: Station) -> Station:
    return _body(station, relief=InternalRelief(start_above_set=RELIEF_ABOVE))


def _second_seat(station: Station) -> Station:
    return _body(station, second=SecondSeat(takes_over_above_set=SECOND_SEAT_ABOVE))


def _monitor(station: Station) -> Station:
    """A monitor upstream, wide open while the worker holds; it senses the outlet by a line of its own."""
    return with_monitor(_with_line(station), MONITOR_ABOVE, BETWEEN, senses="monitor_line")


def _with_line(station: Station) -> Station:
    line = SensingLine("monitor_line", tap=_worker(station).outlet)
    return replace(station, sensing_lines=(*station.sensing_lines, line))


def _working_monitor(station: Station) -> Station:
    """A first stage that works all the time, with an override in its body that senses the outlet.

    Modelled as two elements one behind the other with little gas in between; a slug strikes both and the worker.
    """
    body = with_monitor(_with_line(station), MONITOR_ABOVE, BETWEEN, senses="monitor_line", room="body")
    override, worker = body.regulators
    first = Regulator(
        name="first_stage",
        inlet="body",
        outlet="interstage",
        set_gauge_pressure=FIRST_STAGE,
        adjusted_at_inlet_gauge_pressure=station.supply.gauge_pressure,
        orifice_diameter=worker.orifice_diameter,
        diaphragm_area=5e-3,
        lever_ratio=2.0,
        spring_rate=2e4,
        travel=1.6e-3,
        case_volume=2e-4,
        relief=None,
    )
    second = replace(worker, inlet="interstage", adjusted_at_inlet_gauge_pressure=FIRST_STAGE)
    return replace(body, regulators=(override, first, second), volumes=(*body.volumes, Volume("interstage", 3e-4)))


def _relief_valve(station: Station) -> Station:
    worker = _worker(station)
    valve = ReliefValve(at=worker.outlet, set_gauge_pressure=worker.set_gauge_pressure + VALVE_ABOVE)
    return replace(station, relief_valves=(valve,))


def _shut(station: Station, above: float = SHUT_ABOVE) -> Station:
    worker = _worker(station)
    shut = SlamShut(
        outlet=station.supply.into,
        senses=worker.outlet,
        high_gauge_pressure=worker.set_gauge_pressure + above,
    )
    return replace(
        station,
        supply=replace(station.supply, into="upstream"),
        slam_shuts=(shut,),
        volumes=(Volume("upstream", 4e-3), *station.volumes),
    )


def _switch(station: Station, *, trips: tuple[str, ...] = (), locks_out: tuple[str, ...] = ()) -> Station:
    worker = _worker(station)
    switch = PressureSwitch(
        name="high_switch",
        senses=worker.outlet,
        high_gauge_pressure=worker.set_gauge_pressure + SWITCH_ABOVE,
        manual_reset=True,
        locks_out=locks_out,
        trips=trips,
    )
    return replace(station, switches=(switch,))


LAYERS: Mapping[str, Callable[[Station], Station]] = {
    "none": lambda base: base,
    "internal relief": _internal_relief,
    "second seat": _second_seat,
    "monitor, wide open": _monitor,
    "monitor, working": _working_monitor,
    "relief valve": _relief_valve,
    "slam-shut": _shut,
    "high switch, locks out burners": lambda base: _switch(base, locks_out=tuple(load.name for load in base.loads)),
    "high switch, trips slam-shut": lambda base: _switch(_shut(base), trips=("slam_shut",)),
    "monitor and slam-shut": lambda base: _shut(_monitor(base)),
    "relief valve and slam-shut": lambda base: _shut(_relief_valve(base), SHUT_BEHIND_VALVE),
}


# The failures


def _stuck(_station: Station) -> tuple[Fault, ...]:
    return (StuckStem(devices="worker", onset=STRUCK),)


def _slow_debris(_station: Station) -> tuple[Fault, ...]:
    return (Debris(devices="worker", height=2e-5, stiffness=1e8, edge=0.15, onset=AT_NIGHT, ramp=60.0),)


def _blocked_vent(_station: Station) -> tuple[Fault, ...]:
    debris = Debris(devices="worker", height=1e-4, stiffness=1e8, edge=0.3, onset=AT_NIGHT, ramp=60.0)
    return BlockedVent(devices="worker", onset=STRUCK), debris


def _broken_line(_station: Station) -> tuple[Fault, ...]:
    return (BrokenSensingLine(devices="worker_line", onset=STRUCK),)


def _slug(station: Station) -> tuple[Fault, ...]:
    """One slug of grit through every seat in its way."""
    names = tuple(r.name for r in station.regulators)
    debris = Debris(devices=names, height=4e-4, stiffness=1e8, onset=STRUCK)
    if any(r.second_seat for r in station.regulators):
        return debris, FouledSecondSeat(devices="worker", leak_area=5e-6, onset=STRUCK)
    return (debris,) if len(names) > 1 else ()


def _sun(station: Station) -> tuple[Fault, ...]:
    """Twenty kelvin on the gas that is locked in behind the worker at night."""
    return (Warmed(devices=_worker(station).outlet, times=1.07, onset=AT_NIGHT, ramp=100.0),)


FAILURES: Mapping[str, Callable[[Station], tuple[Fault, ...]]] = {
    "worker stuck wide open": _stuck,
    "debris at night, slow": _slow_debris,
    "vent blocked, then debris": _blocked_vent,
    "worker's sensing line broken": _broken_line,
    "one slug through both seats": _slug,
    "sun on the locked-in pipe": _sun,
}


# The runs


def _cells(station: Station, limit: float) -> Iterator[Cell]:
    for name, cause in FAILURES.items():
        faults = cause(station)
        if faults:
            yield _cell(name, simulate(Scenario(station, day(station), faults, END)), limit)


def _cell(failure: str, trace: Trace, limit: float) -> Cell:
    station = trace.scenario.station
    pressure = trace[f"{_worker(station).outlet}_gauge_pressure"]
    peak = float(pressure.max())
    acted = tuple(dict.fromkeys(event.subject for event in trace.events if event.kind in ACTED))
    by_hand = [shut.name for shut in station.slam_shuts] + [s.name for s in station.switches if s.manual_reset]
    served = all(trace.settled(f"{load.name}_flow") >= SERVED * load.rated_flow for load in station.loads)
    return Cell(
        failure,
        peak,
        time_above(trace.times, pressure, limit),
        trace.totals["vented"] / standard_density(station.gas),
        served,
        any(name in acted for name in by_hand),
        peak > limit,
        bool(trace.happened("hunts")),
        acted,
    )


# The page


def _table(rows: Sequence[Row], word: Callable[[Cell], str]) -> str:
    lines = ["| layer | " + " | ".join(FAILURES) + " |", "|---" * (len(FAILURES) + 1) + "|"]
    for row in rows:
        there = {cell.failure: word(cell) for cell in row.cells}
        lines.append(f"| {row.layer} | " + " | ".join(there.get(name, "-") for name in FAILURES) + " |")
    return "\n".join(lines)


def _bold(text: str, yes: bool) -> str:
    return f"**{text}**" if yes else text


def _cost(cell: Cell, system: str) -> str:
    scale, unit = (SCF, "scf") if system == "us" else (1.0, "m³")
    said = [f"{cell.above:.0f} s above"] if cell.defeated else []
    amount = cell.vented / scale
    said += [f"{amount:,.0f} {unit}" if amount >= 10 else f"{amount:.2g} {unit}"] if cell.vented > LET_OFF else []
    said.append("served" if cell.served else "no gas")
    said += ["reset by hand"] if cell.reset else []
    said += ["hunts"] if cell.hunts else []
    return ", ".join(said)
