"""The ladder of a station's set points at its protected volume, computed, and what is wrong with its order.

Set points, trips and closed forms where there are some; what a layer holds comes from a settled run in which the
regulators that hold the volume stand wide open and no other layer is at work.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

from toolkit import checks
from toolkit.devices.balance import RegulatorCondition
from toolkit.devices.pressure_switch import PressureSwitch
from toolkit.devices.regulator import Regulator, lock_up_gauge_pressure, relief_start_gauge_pressure
from toolkit.devices.slam_shut import SlamShut
from toolkit.layers import LOW_SHARE, Layers, alone, at_supply, layers_at, settled_run, wide_open
from toolkit.scenario import Station
from toolkit.units import format_pressure

# How far from its value a device may stand when it is next visited, as a share of the pressure. Engineering judgement:
# a spring is set by hand against a gauge, then settles. Slam-shuts and switches carry their own accuracy.
REGULATOR_ACCURACY = 0.05
INTERNAL_RELIEF_TOLERANCE = 0.10
RELIEF_VALVE_TOLERANCE = 0.05

KINDS = MappingProxyType(
    {
        "worker_set": "is set",
        "monitor_set": "is set",
        "normal_full": "holds at full load",
        "normal_low": "holds at low load",
        "lock_up": "locks up",
        "relief_start": "internal relief begins to open",
        "relief_held": "internal relief passes the wide-open flow",
        "second_seat_start": "second seat begins to shut, disk seated",
        "second_seat_held": "second seat holds",
        "take_over": "begins to throttle",
        "monitor_held": "holds, worker wide open",
        "valve_set": "begins to open",
        "valve_full": "is at full lift",
        "valve_reseats": "is shut again",
        "valve_held": "passes the wide-open flow",
        "slam_shut_high": "trips on high pressure",
        "slam_shut_low": "trips on low pressure",
        "switch_high": "makes on high pressure",
        "switch_low": "makes on low pressure",
        "rating": "highest inlet pressure it takes",
        "limit": "limit",
    }
)
# A worker goes wide open over this long [s], so slowly that a layer's pressure is not overshot.
SLOWLY = 60.0
# What limits the pressure once the worker stands wide open.
HOLDS = ("monitor_held", "second_seat_held", "relief_held", "valve_held", "slam_shut_high")


@dataclass(frozen=True)
class Rung:
    """One pressure of the ladder [Pa gauge]: its name, device, kind (a key of KINDS), and the edges of its band."""

    name: str
    device: str
    kind: str
    gauge_pressure: float
    low: float
    high: float


@dataclass(frozen=True)
class Finding:
    """Something found wanting: severity "must" or "should", what it is, a sentence, the mend, the devices."""

    severity: str
    kind: str
    sentence: str
    mend: str
    devices: tuple[str, ...] = ()


def rung(kind: str, device: str, gauge_pressure: float, tolerance: float = 0.0, *, off: float | None = None) -> Rung:
    """A rung of a kind, with a band of `tolerance` as a share of its pressure, or of `off` [Pa], to either side."""
    half = abs(gauge_pressure) * tolerance if off is None else off
    name = f"{device} {KINDS[kind]}".strip()
    return Rung(name, device, kind, gauge_pressure, gauge_pressure - half, gauge_pressure + half)


def ladder(
    station: Station,
    at: str,
    *,
    highest_supply_gauge_pressure: float | None = None,
    limit_gauge_pressure: float | None = None,
    inlet_maxima: Mapping[str, float] | None = None,
) -> tuple[Rung, ...]:
    """The rungs of the ladder at a volume, lowest first.

    Highest supply pressure [Pa gauge; None: the supply's own], the limit of the volume [Pa gauge; None: no such rung],
    and the highest inlet pressures [Pa gauge] of devices by name, of which those downstream of the volume count.
    Raises ScenarioError for a volume that no regulator holds, SimulationError where a run cannot be finished.
    """
    high = at_supply(station, highest_supply_gauge_pressure)
    found = layers_at(high, at)
    rungs = [*_regulated(station, high, found)]
    for regulator in found.holders:
        rungs += _body(high, found, regulator)
    for monitor in found.monitors:
        rungs.append(rung("take_over", monitor.name, take_over_gauge_pressure(monitor.condition()), REGULATOR_ACCURACY))
        others = [r for r in found.holders if r is not monitor]
        rungs.append(rung("monitor_held", monitor.name, _held(high, found, (), others, LOW_SHARE), REGULATOR_ACCURACY))
    for valve in found.relief_valves:
        rungs.append(rung("valve_set", valve.name, valve.set_gauge_pressure, RELIEF_VALVE_TOLERANCE))
        held = _held(high, found, (valve.name,), found.holders)
        rungs.append(rung("valve_held", valve.name, held, off=RELIEF_VALVE_TOLERANCE * valve.set_gauge_pressure))
    rungs += _trips_of(found)
    for name, highest in (inlet_maxima or {}).items():
        if any(device.name == name and device.ends().get("inlet") in found.place for device in station.devices):
            rungs.append(rung("rating", name, highest))
    if limit_gauge_pressure is not None:
        rungs.append(rung("limit", "", checks.number("limit", limit_gauge_pressure, 0, 1e8, "Pa gauge", above=True)))
    return tuple(sorted(rungs, key=lambda one: one.gauge_pressure))


def as_set(station: Station, at: str) -> tuple[Rung, ...]:
    """The rungs that closed forms give, with no run: what is set, where the worker locks up, where each layer begins.

    Lowest first; the ratings of the loads at the place stand among them. Raises ScenarioError as `layers_at` does.
    """
    found = layers_at(station, at)
    worker = found.worker
    inlet = max((r.set_gauge_pressure for r in found.feeders), default=station.supply.gauge_pressure)
    rungs = [
        rung("worker_set", worker.name, worker.set_gauge_pressure),
        rung("lock_up", worker.name, lock_up_gauge_pressure(worker.condition(), inlet), REGULATOR_ACCURACY),
    ]
    for monitor in found.monitors:
        rungs.append(rung("monitor_set", monitor.name, monitor.set_gauge_pressure, REGULATOR_ACCURACY))
    rungs += [one for regulator in found.holders for one in _body_starts(regulator)]
    rungs += [rung("valve_set", v.name, v.set_gauge_pressure, RELIEF_VALVE_TOLERANCE) for v in found.relief_valves]
    rungs += _trips_of(found)
    rungs += [
        rung("rating", load.name, load.maximum_gauge_pressure) for load in station.loads if load.at in found.place
    ]
    return tuple(sorted(rungs, key=lambda one: one.gauge_pressure))


def take_over_gauge_pressure(c: RegulatorCondition) -> float:
    """Pressure [Pa gauge] at which a monitor leaves its upper stop while its worker still holds.

    The wide-open monitor has no pressure across it, so nothing pushes on its unbalanced area: it begins well below its
    set point, which is meant at a tenth of the travel and full inlet.

    Formula: where a monitor begins to take over
        p2 = (F0 - Ks L xm) / (kept A (1 + e L xm))
    Where:
        p2: outlet pressure at which it leaves its upper stop, gauge [Pa]
        F0, Ks, L, A, e, kept, xm: see RegulatorCondition
    Holds: a wide-open monitor, with no pressure lost across it; no friction
    Source: worked out here from the balance of forces
    Example:
        US: the bench's monitor gives p2 = 8.2 in. w.c.
        metric: the bench's monitor gives p2 = 20.4 mbar
    """
    travel = c.lever * c.highest_lift
    return (c.preload - c.rate * travel) / (c.area * c.kept * (1 + c.growth * travel))


def _regulated(station: Station, high: Station, found: Layers) -> Iterator[Rung]:
    """What the worker holds: under flow at the usual supply, at no flow at the highest."""
    name, signal = found.worker.name, f"{found.at}_gauge_pressure"
    for kind, share in (("normal_full", 1.0), ("normal_low", LOW_SHARE)):
        yield rung(kind, name, settled_run(station, share).settled(signal), REGULATOR_ACCURACY)
    inlet = settled_run(high, 0.0).settled(f"{found.worker.inlet}_gauge_pressure")
    yield rung("lock_up", name, lock_up_gauge_pressure(found.worker.condition(), inlet), REGULATOR_ACCURACY)


def _body(high: Station, found: Layers, regulator: Regulator) -> Iterator[Rung]:
    """The internal relief or second seat in a regulator's own body."""
    kind = "second_seat_held" if regulator.second_seat else "relief_held"
    for start in _body_starts(regulator):
        yield start
        held = _held(high, found, (regulator.name,), found.holders)
        yield rung(kind, regulator.name, held, off=start.gauge_pressure - start.low)


def _body_starts(regulator: Regulator) -> Iterator[Rung]:
    """Where the internal relief or second seat begins, if there is one."""
    if regulator.relief or regulator.second_seat:
        kind = "second_seat_start" if regulator.second_seat else "relief_start"
        start = relief_start_gauge_pressure(regulator.condition())
        yield rung(kind, regulator.name, start, INTERNAL_RELIEF_TOLERANCE)


def _held(high: Station, found: Layers, keep: Sequence[str], stuck: Sequence[Regulator], share: float = 0.0) -> float:
    """The pressure that is left with regulators wide open and only some layers at work [Pa gauge].

    At no load, where a relief must pass it all and a second seat must shut; a monitor at low load, or gas shut in
    before the worker would count as what it holds.
    """
    trace = settled_run(alone(high, found.at, keep), share, (wide_open(*stuck, ramp=SLOWLY),))
    return trace.settled(f"{found.at}_gauge_pressure")


def _trips_of(found: Layers) -> Iterator[Rung]:
    devices: list[SlamShut | PressureSwitch] = [*found.slam_shuts, *found.switches]
    for device in devices:
        kind = "slam_shut" if isinstance(device, SlamShut) else "switch"
        for side, setting in (("high", device.high_gauge_pressure), ("low", device.low_gauge_pressure)):
            if setting is not None:
                yield rung(f"{kind}_{side}", device.name, setting, device.accuracy)


# What is wrong with the order


@dataclass(frozen=True)
class _Ladder:
    """The rungs by kind."""

    rungs: Sequence[Rung]
    by_kind: Mapping[str, tuple[Rung, ...]] = field(init=False)

    def __post_init__(self) -> None:
        kinds = {kind: tuple(one for one in self.rungs if one.kind == kind) for kind in KINDS}
        object.__setattr__(self, "by_kind", kinds)

    def of(self, *kinds: str) -> tuple[Rung, ...]:
        return tuple(one for kind in kinds for one in self.by_kind[kind])


def findings(rungs: Sequence[Rung], limit_gauge_pressure: float) -> tuple[Finding, ...]:
    """Overlaps and inversions of a ladder against a limit [Pa gauge], the "must" first.

    A "must" is an order that is wrong as set; a "should" one that is right as set and may be wrong within the bands.
    """
    checks.number("limit_gauge_pressure", limit_gauge_pressure, 0, 1e8, "Pa gauge", above=True)
    found = _Ladder(rungs)
    said = (
        *_monitors(found),
        *_reliefs_and_monitors(found),
        *_shutoffs(found),
        *_nuisances(found),
        *_low_sides(found),
        *_above(found, limit_gauge_pressure),
        *_ratings(found),
    )
    return tuple(sorted(said, key=lambda one: one.severity != "must"))


def shown(gauge: float) -> str:
    """A gauge pressure in both display sets."""
    return f"{format_pressure(gauge, 'us')} ({format_pressure(gauge, 'metric')})"


def _told(one: Rung) -> str:
    return f"{one.name} at {shown(one.gauge_pressure)}"


def _order(kind: str, lower: Rung, upper: Rung, why: str, mend: str) -> Iterator[Finding]:
    """A finding where `upper` does not stand clear above `lower`."""
    devices = tuple(dict.fromkeys(d for d in (upper.device, lower.device) if d))
    if upper.gauge_pressure <= lower.gauge_pressure:
        sentence = f"Inverted: {_told(upper)}, but {_told(lower)}. {why}"
        yield Finding("must", kind, sentence, mend, devices)
    elif upper.low <= lower.high:
        sentence = f"The bands overlap: {_told(upper)} may stand as low as {shown(upper.low)}, and {lower.name} "
        sentence += f"as high as {shown(lower.high)}. {why}"
        yield Finding("should", kind, sentence, mend, devices)


def _monitors(found: _Ladder) -> Iterator[Finding]:
    """A monitor clear of its worker: at no flow, and under flow."""
    for lock in found.of("lock_up"):
        for held in found.of("monitor_held"):
            why = "Two regulators that hold one pressure fight each other, and which of them works is chance."
            yield from _order(
                "monitor_at_worker", lock, held, why, "Raise the monitor's set point clear above the worker's lock-up."
            )
        for start in found.of("take_over"):
            for full in found.of("normal_full"):
                if start.gauge_pressure <= full.gauge_pressure:
                    why = "It throttles the worker's full flow."
                    yield from _order("monitor_throttles", full, start, why, "Raise the monitor's set point.")
                elif start.gauge_pressure <= lock.gauge_pressure:
                    sentence = f"{_told(start)}, before {_told(lock)}. At low flow both move together."
                    mend = "Watch the two for hunting at low load; raise the monitor's set point if they do."
                    yield Finding("should", "monitor_moves_early", sentence, mend, (start.device, lock.device))


def _reliefs_and_monitors(found: _Ladder) -> Iterator[Finding]:
    """A relief opens only above what a monitor or second seat holds."""
    for held in found.of("monitor_held", "second_seat_held"):
        for start in found.of("valve_set", "relief_start"):
            why = "The relief blows gas off while the layer before it does its work."
            yield from _order(
                "relief_below_monitor", held, start, why, f"Set {start.device} clear above {shown(held.high)}."
            )


def _shutoffs(found: _Ladder) -> Iterator[Finding]:
    """A slam-shut trips neither while another layer holds, nor within a relief's build-up."""
    for trip in found.of("slam_shut_high"):
        for held in found.of("monitor_held", "second_seat_held"):
            why = "Service is lost although the layer before it holds."
            mend = f"Set {trip.device} clear above {shown(held.high)}."
            yield from _order("slam_shut_below_monitor", held, trip, why, mend)
        for start in found.of("valve_set", "relief_start"):
            for held in found.of(start.kind.split("_")[0] + "_held"):
                if held.device == start.device and start.low <= trip.high and trip.low <= held.high:
                    yield _in_build_up(trip, start, held)


def _in_build_up(trip: Rung, start: Rung, held: Rung) -> Finding:
    sentence = f"{_told(trip)}, within reach of the build-up of {start.device}, which begins to open at "
    sentence += f"{shown(start.gauge_pressure)} and passes the flow at {shown(held.gauge_pressure)}. "
    sentence += "It trips while the relief does its work."
    mend = (
        f"Set {trip.device} clear above {shown(held.high)}; or clear below {shown(start.low)}, with the relief there "
    )
    mend += "for the slam-shut's failure."
    severity = "must" if start.gauge_pressure <= trip.gauge_pressure <= held.gauge_pressure else "should"
    return Finding(severity, "slam_shut_in_build_up", sentence, mend, (trip.device, start.device))


def _nuisances(found: _Ladder) -> Iterator[Finding]:
    """What acts on high pressure stands clear above the worker's lock-up."""
    words = {
        "slam_shut_high": ("It trips with nothing wrong.", "Raise its high trip"),
        "switch_high": ("It makes within the worker's usual range.", "Raise its high setting"),
        "valve_set": ("It lets gas off with nothing wrong.", "Raise its set pressure"),
        "relief_start": ("It lets gas off with nothing wrong.", "Fit a stiffer relief spring"),
        "second_seat_start": ("It shuts with nothing wrong.", "Fit a stiffer overtravel spring"),
    }
    for kind, (why, mend) in words.items():
        for one in found.of(kind):
            for lock in found.of("lock_up"):
                yield from _order(
                    "nuisance", lock, one, why, f"{mend} clear above {shown(lock.high)}, or lower the lock-up."
                )


def _low_sides(found: _Ladder) -> Iterator[Finding]:
    """What acts on low pressure stands clear below what the worker holds at full load."""
    for one in found.of("slam_shut_low", "switch_low"):
        for full in found.of("normal_full"):
            why = "It acts within the worker's droop, at full load, with nothing wrong."
            yield from _order(
                "low_in_droop", one, full, why, f"Lower the low setting of {one.device} clear below {shown(full.low)}."
            )


def _above(found: _Ladder, limit: float) -> Iterator[Finding]:
    """What holds or acts above the limit; a relief backed by a layer that holds within it is only a first help."""
    holds = found.of(*HOLDS)
    good = [one for one in holds if one.gauge_pressure <= limit]
    if not holds:
        yield Finding(
            "must",
            "unguarded",
            "Nothing limits the pressure if the worker stands wide open.",
            "Add a monitor, a second seat, a relief or a slam-shut.",
        )
    for one in (*found.of("lock_up"), *holds, *found.of("switch_high")):
        relief = one.kind in ("relief_held", "valve_held")
        top = f"the limit of {shown(limit)}"
        if one.gauge_pressure > limit:
            if relief:
                first = next((r for r in found.of("valve_set", "relief_start") if r.device == one.device), None)
                sentence = f"{one.device} cannot pass the flow of the worker wide open: it ends at "
                sentence += f"{shown(one.gauge_pressure)}, above {top}."
                if first and first.gauge_pressure > limit:
                    sentence += f" It begins to open only at {shown(first.gauge_pressure)}."
                mend = "Fit a larger relief, a smaller orifice in the worker, or a layer that stops the flow."
            else:
                sentence, mend = f"{_told(one)}, above {top}.", f"Bring it clear below {shown(limit)}."
            severity = "should" if relief and good else "must"
            kind = "relief_too_small" if relief else "above_limit"
            yield Finding(severity, kind, sentence, mend, (one.device,))
        elif one.high > limit:
            sentence = f"{_told(one)}, within {top}, but it may stand as high as {shown(one.high)}."
            yield Finding("should", "near_limit", sentence, f"Bring it clear below {shown(limit)}.", (one.device,))


def _ratings(found: _Ladder) -> Iterator[Finding]:
    """What a layer holds, against what the devices downstream take at their inlet."""
    for rating in found.of("rating"):
        for one in found.of("lock_up", *HOLDS):
            if one.gauge_pressure > rating.gauge_pressure:
                sentence = f"{_told(one)}, but {rating.device} downstream takes {shown(rating.gauge_pressure)} at most."
                mend = f"Lower it below {shown(rating.gauge_pressure)}, or fit a {rating.device} rated for it."
                yield Finding("must", "above_rating", sentence, mend, (one.device, rating.device))
