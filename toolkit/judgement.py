"""A station judged: its ladder, what is wrong with it, its worst single failures, and what the rules say of them.

For teaching. The operator and the code in force judge a real station, and licensed persons work on it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from math import isfinite

from toolkit import limits as rules
from toolkit.errors import ScenarioError
from toolkit.faults import BrokenSensingLine, Fault
from toolkit.judgement_text import text_of
from toolkit.ladder import Finding, Rung, findings, ladder, shown
from toolkit.layers import (
    ACTED,
    ONSET,
    Layers,
    at_supply,
    layers_at,
    loads_at,
    settled_run,
    wide_open,
)
from toolkit.limits import Limit, Verdict
from toolkit.margins import Capacity, Nuisance, nuisance_of, relief_capacity
from toolkit.scenario import Scenario, Station
from toolkit.simulation import simulate
from toolkit.station_schema import StationFile, StationLimits
from toolkit.trace import Trace

# How long a failure is watched [s].
WATCHED = 300.0


@dataclass(frozen=True)
class Failure:
    """A single failure at the highest supply pressure, the worse of full load and night; gauge pressures [Pa].

    `peak` at the protected volume; `peaks` at every volume; `acted` the layers that acted; `over` the appliances whose
    controls saw more than their rating; `lost` those that get no gas at the end of the day's run; `hunts` whether the
    pressure swings without dying out.
    """

    what: str
    devices: tuple[str, ...]
    peak: float
    peaks: Mapping[str, float]
    acted: tuple[str, ...]
    over: tuple[str, ...]
    lost: tuple[str, ...]
    hunts: bool


@dataclass(frozen=True)
class Judgement:
    """What there is to say of a station.

    `limit` is what the ladder was judged against and `highest_supply` the supply pressure at which [Pa gauge]; `rungs`
    lowest first; `findings` the "must" first; `failures` the worst first; `verdicts` each with its section.
    """

    limit: Limit
    highest_supply: float
    rungs: tuple[Rung, ...]
    findings: tuple[Finding, ...]
    failures: tuple[Failure, ...]
    verdicts: tuple[Verdict, ...]
    nuisance: tuple[Nuisance, ...]
    capacity: tuple[Capacity, ...]


def report(station_file: StationFile, system: str) -> str:
    """The judgement as text for a terminal, in the display set "us" or "metric". Errors as for `judge`."""
    return text_of(station_file, judge(station_file), system)


def judge(station_file: StationFile) -> Judgement:
    """Judge a station by its ladder, by simulated failures, and by the rules for its kind of system.

    Raises ScenarioError where the file has no limits or nobody holds the protected volume, SimulationError where a run
    cannot be finished.
    """
    given = station_file.limits
    if given is None:
        raise ScenarioError("limits", None, "what the station may take", "Add [limits] to the file.")
    usual = station_file.scenario.station
    highest = max(usual.supply.gauge_pressure, given.maximum_actual_gauge_pressure or 0.0)
    high = at_supply(usual, highest)
    found = layers_at(high, given.at)
    limit = _limit(usual, found, given)
    rungs = ladder(
        usual,
        given.at,
        highest_supply_gauge_pressure=highest,
        limit_gauge_pressure=limit.gauge_pressure,
        inlet_maxima=given.inlet_maxima,
    )
    failures = _failures(high, found)
    held = {one.kind: one.gauge_pressure for one in rungs if one.kind in ("normal_full", "lock_up")}
    service = _service(high, found, given, failures, highest) if given.kind == "service" else ()
    # 192.197(a) asks for no other device: what is missing then is for the operator to weigh.
    allowed = any(one.good and one.section.endswith("192.197(a)") for one in service)
    demanded = not allowed and (given.kind != "building" or isfinite(_building(found, usual).gauge_pressure))
    said = [
        *(_eased(one) if allowed else one for one in findings(rungs, limit.gauge_pressure)),
        *_failures_found(usual, failures, demanded=demanded),
        *_delivery(usual, given),
        *_facts(usual, given, highest),
    ]
    capacity: tuple[Capacity, ...] = ()
    if limit.gauge_pressure < highest:
        capacity = relief_capacity(usual, given.at, limit.gauge_pressure, highest_supply_gauge_pressure=highest)
    return Judgement(
        limit,
        highest,
        rungs,
        tuple(sorted(said, key=lambda one: one.severity != "must")),
        failures,
        (*service, *_verdicts(usual, found, given, failures, limit, held, allowed=allowed)),
        nuisance_of(rungs),
        capacity,
    )


# The limit


def _ratings(station: Station, found: Layers) -> dict[str, float]:
    """The highest pressure of each appliance that stands at the protected pressure."""
    return {load.name: load.maximum_gauge_pressure for load in station.loads if load.at in found.place}


def _building(found: Layers, station: Station) -> Limit:
    """The fuel gas code's limit: the supply at the point of delivery is what the worker is set to."""
    weakest = min((load.maximum_gauge_pressure for load in station.loads), default=found.worker.set_gauge_pressure)
    return rules.fuel_gas_code_limit(found.worker.set_gauge_pressure, weakest)


def _limit(station: Station, found: Layers, given: StationLimits) -> Limit:
    """The lowest finite limit at the protected volume: the rule's, the appliances', what the file says it may take."""
    ratings = _ratings(station, found)
    own = Limit(given.maop, "the MAOP that the station file gives", "station file, [limits]", "")
    if given.kind == "distribution":
        return rules.overpressure_limit(given.maop, given.smys_gauge_pressure)
    if given.kind == "low pressure":
        rule = rules.low_pressure_limit(ratings)
    elif given.kind == "service":
        rule = own
        if ratings:
            weakest = min(ratings, key=lambda name: ratings[name])
            words = f"no unsafe overpressuring of the customer's appliances; the {weakest} takes the least"
            rule = Limit(ratings[weakest], words, "49 CFR 192.197(b) and (c)", "cfr-192-197")
    else:
        rule = _building(found, station)
    return min(rule, own, key=lambda one: one.gauge_pressure)


# Failures


def _failures(high: Station, found: Layers) -> tuple[Failure, ...]:
    """Every regulator stuck wide open and every sensing line broken, one at a time, the worst at the volume first."""
    tried: list[tuple[str, Fault]] = [(f"{r.name} stuck wide open", wide_open(r)) for r in high.regulators]
    tried += [(f"{line.name} broken", BrokenSensingLine(devices=line.name, onset=ONSET)) for line in high.sensing_lines]
    return tuple(sorted((_failure(high, found, *one) for one in tried), key=lambda one: -one.peak))


def _failure(high: Station, found: Layers, what: str, fault: Fault) -> Failure:
    day, night = (simulate(Scenario(high, loads_at(high, share), (fault,), WATCHED)) for share in (1.0, 0.0))
    volumes = [f"{volume.name}_gauge_pressure" for volume in high.volumes]
    peaks = {
        signal.removesuffix("_gauge_pressure"): max(trace.peak(signal, ONSET)[1] for trace in (day, night))
        for signal in volumes
    }
    lost = [load.name for load in high.loads if day.settled(f"{load.name}_flow") < 0.05 * load.rated_flow]
    return Failure(
        what,
        fault.devices if isinstance(fault.devices, tuple) else (fault.devices,),
        peaks[found.at],
        peaks,
        _subjects(ACTED, day, night),
        _subjects(("above_rating",), day, night),
        tuple(lost),
        bool(day.happened("hunts") or night.happened("hunts")),
    )


def _subjects(kinds: tuple[str, ...], *traces: Trace) -> tuple[str, ...]:
    return tuple(dict.fromkeys(e.subject for trace in traces for e in trace.events if e.kind in kinds))


# Findings that no ladder shows


def _eased(one: Finding) -> Finding:
    """A missing or small layer where the rule asks for none."""
    if one.kind not in ("relief_too_small", "unguarded"):
        return one
    sentence = (
        f"{one.sentence} 49 CFR 192.197(a) asks for no other device here; the appliances are exposed all the same."
    )
    return replace(one, severity="should", sentence=sentence)


def _failures_found(station: Station, failures: tuple[Failure, ...], *, demanded: bool) -> Iterator[Finding]:
    for one in failures:
        over = [load for load in station.loads if load.name in one.over]
        if over:
            seen = [
                f"{load.name} {shown(one.peaks[load.at])} (made for {shown(load.maximum_gauge_pressure)})"
                for load in over
            ]
            sentence = f"With {one.what} the controls of appliances see too much: {', '.join(seen)}."
            mend = "Add a layer that holds it within their rating, or fit controls rated for that pressure."
            severity = "must" if demanded else "should"
            yield Finding(severity, "appliance_over", sentence, mend, (*one.devices, *one.over))
        if one.hunts:
            sentence = f"With {one.what} the pressure swings without dying out."
            yield Finding("should", "hunts", sentence, "Give the line more room, or set the layers apart.", one.devices)


def _delivery(station: Station, given: StationLimits) -> Iterator[Finding]:
    """Each appliance gets the pressure that it needs at full load."""
    least = given.lowest_delivery_gauge_pressure
    if least is None:
        return
    day = settled_run(station, 1.0)
    for load in station.loads:
        if (got := day.settled(f"{load.at}_gauge_pressure")) < least:
            sentence = f"At full load {load.name} gets {shown(got)}, less than the {shown(least)} that it needs."
            yield Finding(
                "must", "delivery", sentence, "Fit a larger regulator or pipe, or raise the set point.", (load.name,)
            )


def _facts(station: Station, given: StationLimits, highest: float) -> Iterator[Finding]:
    """What the file leaves open."""
    if given.maximum_actual_gauge_pressure is None:
        sentence = f"The highest pressure of the supply is not given; all this is judged at {shown(highest)}."
        mend = "Find the highest pressure that the supply reaches and give it as maximum_actual_pressure in [limits]."
        yield Finding("should", "fact_missing", sentence, mend, (station.supply.name,))
    unrated = [r.name for r in station.regulators if r.name not in given.inlet_maxima]
    if unrated:
        sentence = f"The highest inlet pressure of {', '.join(unrated)} is not given."
        yield Finding(
            "should", "fact_missing", sentence, "Read it off the plate and add it to inlet_maxima.", tuple(unrated)
        )


# Verdicts


def _service(
    high: Station, found: Layers, given: StationLimits, failures: tuple[Failure, ...], highest: float
) -> tuple[Verdict, ...]:
    """49 CFR 192.197."""
    guards = {"monitor"} if found.monitors else set()
    if found.relief_valves or any(r.relief for r in found.holders):
        guards.add("relief")
    if any(shut.high_gauge_pressure is not None for shut in found.slam_shuts):
        guards.add("shutoff")
    before, into = _before(high, found)
    upstream_limit = None
    if before and (before.relief_valves or before.slam_shuts):
        stuck = next(one for one in failures if one.devices == (before.worker.name,))
        upstream_limit = stuck.peaks[into]
    return rules.service_regulator_rule(
        highest,
        given.features,
        guards,
        clean_gas=given.clean_gas,
        rated_inlet_gauge_pressure=given.inlet_maxima.get(found.worker.name),
        upstream_set_gauge_pressure=before.worker.set_gauge_pressure if before else None,
        upstream_limit_gauge_pressure=upstream_limit,
    )


def _before(high: Station, found: Layers) -> tuple[Layers | None, str]:
    """The layers around the volume that feeds the worker or its monitor, where another regulator holds it."""
    for holder in found.holders:
        place = high.at_one_pressure(holder.inlet)
        if any(feeder.ends()["senses"] in place for feeder in found.feeders):
            return layers_at(high, holder.inlet), holder.inlet
    return None, ""


def _verdicts(
    station: Station,
    found: Layers,
    given: StationLimits,
    failures: tuple[Failure, ...],
    limit: Limit,
    held: Mapping[str, float],
    *,
    allowed: bool,
) -> Iterator[Verdict]:
    ratings, worst = _ratings(station, found), failures[0]
    small = bool(ratings) and max(ratings.values()) <= rules.LOW_PRESSURE_APPLIANCE
    what = f"With {worst.what}, the pressure in {found.at}"
    if given.kind == "low pressure":
        yield rules.within(rules.low_pressure_limit(ratings), worst.peak, what)
    elif given.kind == "distribution":
        yield rules.within(limit, worst.peak, what)
    elif given.kind == "service":
        if not allowed and limit.source:
            yield rules.within(limit, worst.peak, what)
        yield from rules.service_regulator_build_up(held["normal_full"], held["lock_up"], ratings)
    else:
        ats = {load.at for load in station.loads}
        peak, where, how = max((one.peaks[at], at, one.what) for one in failures for at in ats)
        yield rules.within(_building(found, station), peak, f"With {how}, the pressure in {where}")
    if small and given.kind in ("low pressure", "service"):
        for pressure in (held["normal_full"], held["lock_up"]):
            yield rules.delivery_band(pressure)
    for monitor in found.monitors:
        yield rules.series_regulators(found.worker.set_gauge_pressure, monitor.set_gauge_pressure)
    if given.kind == "building":
        return
    lines = {line.name for line in station.sensing_lines}
    others = [one.senses for one in found.monitors] + [one.senses for one in found.slam_shuts]
    if found.worker.senses in lines and others:
        yield rules.control_lines_apart(found.worker.senses in others)
    for device in station.devices:
        inlet = device.ends().get("inlet")
        if inlet and device.name in given.inlet_maxima:
            most = max(one.peaks[inlet] for one in failures)
            yield from rules.equipment_rating(most, {device.name: given.inlet_maxima[device.name]})
