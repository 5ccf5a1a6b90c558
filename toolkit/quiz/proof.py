"""A station under test: its hidden conditions, what is done in each test, and what the test reads.

Shared by the bench of lesson 13 and its questions. Sizes, settings, timetable, hidden conditions and how far they go
are invented to be watched, engineering judgement throughout. Each run makes the same test twice: as found, and again as
left, once what was found has been put right, or not.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, ClassVar

from toolkit.actions import Action, AdjustSetPoint, Purge, Reset, TurnValve
from toolkit.devices.line import Pipe, SensingLine
from toolkit.devices.regulator import Regulator, lock_up_gauge_pressure
from toolkit.devices.relief_valve import ReliefValve
from toolkit.devices.slam_shut import SlamShut
from toolkit.faults import BlockedRelief, Fault, NickedSeat, StuckShutoff, StuckStem, TripShift, WrongSetting
from toolkit.flow import nozzle
from toolkit.ladder import Rung, as_set
from toolkit.layers import MONITOR, with_monitor
from toolkit.scenario import Demand, Scenario, Station, Volume
from toolkit.simulation import simulate
from toolkit.trace import Trace
from toolkit.units import IN_WC, format_pressure

WORKER, RELIEF, SHUTOFF = "worker", "relief_valve", "slam_shut"
TRIP_LINE, HOSE, OUTLET_VALVE = "trip_line", "test_gas", "outlet_valve"
OUTLET, LINE = "outlet_gauge_pressure", "line_gauge_pressure"
# The tags stand so far above the worker's set point [Pa]: monitor, relief valve, slam-shut. Each is clear of what the
# one below it holds.
MONITOR_ABOVE, RELIEF_ABOVE, TRIP_ABOVE = 4 * IN_WC, 6.5 * IN_WC, 11 * IN_WC
# What the appliances' controls take [Pa]: above every tag, so that the ladder is whole.
RATING = 20 * IN_WC
# Rooms before the slam-shut, behind it, between the regulators, of the run to the outlet valve, behind that, and of the
# trip's sensing line with the test hose [m3].
BEFORE, BEHIND, BETWEEN, RUN, HOUSES, HOSE_ROOM = 1e-3, 1e-3, 1e-5, 3e-2, 1e-2, 2e-4
# A test hose wide open, and the bleed led outdoors [m2]: a trickle, so that a monitor stands at a tenth of its travel.
HOSE_AREA, BLEED = 1e-7, 2.8e-5
# The timetable [s]: burners off, outlet valve shut, then the test as found, the work, the test as left.
OFF, SHUTS, FOUND, MENDS, LEFT = 40.0, 60.0, 80.0, 320.0, 340.0
# In a test, counted from its beginning [s]: it is prepared, goes up, is read, and is taken back.
PREPARES, RISES, RISE, READS, BACK, BLED = 5.0, 20.0, 120.0, 160.0, 170.0, 200.0
EQUALISES, RESETS, EQUALISED = 205.0, 215.0, 220.0
# Test gas is shut off so long after a trip has let go [s].
HAND = 2.0
# Lag of the relief valve [s]: it follows the slow rise of a test, and the run not every flutter of its disk.
LAG = 0.2
# On a day without a test the worker fails open here, if it does [s].
FAILS = 240.0
# A run lasts so long [s].
END = 600.0
# How far the hidden conditions go: leak past the seat [m2], drift of relief and trip [Pa].
NICK, RELIEF_DRIFT, TRIP_DRIFT = 3.5e-9, 2.5 * IN_WC, 3 * IN_WC
# Before the day began.
LONG_AGO = -100.0
NO_SOONER: Mapping[float, float] = {}
# A monitor counts as holding once it stands this far off its upper stop, a worker as wide open above it (of travel).
WIDE = 0.9
# A relief valve counts as open from this lift on, a slam-shut as shut below that opening (shares).
LIFTED, CLOSED = 1e-6, 0.01
HIDDEN: Mapping[str, tuple[Fault, ...]] = {
    "sound": (),
    "seat": (NickedSeat(devices=WORKER, leak_area=NICK, onset=LONG_AGO),),
    "monitor": (StuckStem(devices=MONITOR, onset=LONG_AGO),),
    "relief": (WrongSetting(devices=RELIEF, by=RELIEF_DRIFT, onset=LONG_AGO),),
    # Behind a shut valve the disk feels nothing and stays down.
    "shut": (BlockedRelief(devices=RELIEF, highest_lift=0.0, onset=LONG_AGO),),
    "trip": (TripShift(devices=SHUTOFF, high_by=TRIP_DRIFT, onset=LONG_AGO),),
    "latch": (StuckShutoff(devices=SHUTOFF, onset=LONG_AGO),),
}
TESTED: Mapping[str, tuple[str, str]] = {
    "lock-up": (WORKER, "lock_up"),
    "take-over": (MONITOR, "monitor_set"),
    "pop": (RELIEF, "valve_set"),
    "trip": (SHUTOFF, "slam_shut_high"),
}
# Into which room test gas is led, for the tests that need some.
HOSE_INTO: Mapping[str, str] = {"pop": "outlet", "trip": TRIP_LINE}
# What a test's reading is the pressure of.
READ_AS: Mapping[str, str] = {
    "lock-up": "outlet, nothing flowing",
    "take-over": "outlet, worker's screw turned in",
    "pop": "relief valve begins to open",
    "trip": "slam-shut's trip lets go",
}


@dataclass(frozen=True, kw_only=True)
class Repair(Fault):
    """The end of some faults of one device: `of` were there from the start, and go as the work is done."""

    of: tuple[Fault, ...]
    strikes: ClassVar[tuple[str, ...]] = ("regulator", "relief_valve", "slam_shut")

    def worsen(self, condition: Any, severity: float) -> Any:
        """See Fault."""
        for fault in self.of:
            condition = fault.worsen(condition, 1.0 - severity)
        return condition


def mended(faults: Sequence[Fault], device: str) -> tuple[Fault, ...]:
    """The faults of a run in which those of one device are there only until the work between the two tests."""
    of = tuple(fault for fault in faults if device in fault.devices)
    return (*(fault for fault in faults if fault not in of), Repair(devices=device, of=of, onset=MENDS))


def station(*, inlet: float, worker_set: float, demand: float, hose_into: str = "") -> Station:
    """Slam-shut, monitor, worker, relief valve, and an outlet valve before the appliances; gauge pressures [Pa].

    `demand` [standard m3/s at 7 in. w.c.]; `hose_into` names the room that test gas can be led into, if any.
    """
    plain = Station()
    shut = SlamShut(name=SHUTOFF, high_gauge_pressure=worker_set + TRIP_ABOVE, senses=TRIP_LINE)
    alone = replace(
        plain,
        supply=replace(plain.supply, gauge_pressure=inlet, into=shut.inlet),
        slam_shuts=(shut,),
        regulators=(
            Regulator(
                name=WORKER,
                relief=None,
                set_gauge_pressure=worker_set,
                adjusted_at_inlet_gauge_pressure=inlet,
                senses="outlet",
            ),
        ),
        volumes=(
            Volume(shut.inlet, BEFORE),
            Volume("inlet", BEHIND),
            Volume("outlet", RUN),
            Volume("line", HOUSES),
        ),
        pipes=(
            Pipe(OUTLET_VALVE, "outlet", "line"),
            *((Pipe(HOSE, shut.inlet, hose_into, HOSE_AREA),) if hose_into else ()),
        ),
        sensing_lines=(SensingLine(TRIP_LINE, size=HOSE_ROOM),),
        relief_valves=(ReliefValve(name=RELIEF, set_gauge_pressure=worker_set + RELIEF_ABOVE, lag=LAG),),
        loads=(replace(plain.loads[0], at="line", rated_flow=demand, maximum_gauge_pressure=RATING),),
    )
    return with_monitor(alone, MONITOR_ABOVE, BETWEEN)


def tag(of: Station, test: str) -> Rung:
    """What a test's reading should be, with its band: the tag, or for the worker the lock-up in its papers."""
    device, kind = TESTED[test]
    return next(one for one in as_set(of, "outlet") if (one.device, one.kind) == (device, kind))


def opened(of: Station, level: float, room: float) -> float:
    """How far the test valve is opened, a share: test gas fills a room [m3] to a level [Pa gauge] in the RISE.

    Closed form: V dp/dt = R T m, with m of the nozzle law, from the worker's lock-up.
    """
    air = of.atmosphere
    per_area = nozzle(of.gas.heat_ratio, of.rt)(1.0, air + of.supply.gauge_pressure, air + level)
    start = lock_up_gauge_pressure(of.regulators[-1].condition(), of.supply.gauge_pressure)
    return max(0.0, level - start) / RISE * room / (of.rt * per_area) / HOSE_AREA


def gas_until(trace: Trace, test: str, level: float, start: float) -> float:
    """When test gas is shut off in the test that began at `start` [s], as a run up to a level [Pa gauge] shows it.

    Where the gauge, looked at each second, has the level, or the trip lets go; at the latest after the RISE.
    """
    gauge, last = OUTLET if test == "pop" else f"{TRIP_LINE}_gauge_pressure", start + RISES + RISE
    looks = (start + RISES + second for second in range(2, int(RISE)))
    there = next((time for time in looks if trace.at(gauge, time) >= level), last)
    lets_go = [event.time + HAND for event in trace.happened("trips_high", SHUTOFF) if event.time > start]
    return min(there, *lets_go[:1]) if test == "trip" and lets_go else there


def steps(
    of: Station, test: str, level: float, start: float, *, trips: bool = False, until: float | None = None
) -> tuple[Action, ...]:
    """What is done in one test that begins at `start` [s], in order of time for each device.

    `trips` says that the slam-shut will have tripped, and is reset in the end; `until` when test gas is shut off [s].
    """
    (worker,) = (r for r in of.regulators if r.name == WORKER)
    bleed = (
        Purge(device="outlet", time=start + BACK, flow_area=BLEED, stroke=5.0),
        Purge(device="outlet", time=start + BLED, flow_area=0.0, stroke=5.0),
    )
    reset = (
        TurnValve(device=SHUTOFF, time=start + EQUALISES, share=1.0, stroke=5.0),
        Reset(device=SHUTOFF, time=start + RESETS),
        TurnValve(device=SHUTOFF, time=start + EQUALISED, share=0.0),
    )
    opens = Purge(device="outlet", time=start + PREPARES, flow_area=BLEED, stroke=5.0)
    if test == "lock-up":
        # let down to what the worker holds, and shut in again
        return (opens, Purge(device="outlet", time=start + RISES, flow_area=0.0, stroke=5.0))
    if test == "take-over":
        return (
            opens,
            AdjustSetPoint(device=WORKER, time=start + RISES, by=level - worker.set_gauge_pressure, stroke=RISE),
            AdjustSetPoint(device=WORKER, time=start + BACK, by=0.0, stroke=20.0),
            bleed[1],
        )
    room = RUN if test == "pop" else HOSE_ROOM
    gas = (
        TurnValve(device=HOSE, time=start + RISES, share=opened(of, level, room)),
        TurnValve(device=HOSE, time=start + RISES + RISE if until is None else until, share=0.0),
    )
    if test == "pop":
        return (*gas, *bleed, *(reset if trips else ()))
    return (
        TurnValve(device=TRIP_LINE, time=start + PREPARES, share=0.0),
        *gas,
        TurnValve(device=TRIP_LINE, time=start + BACK, share=1.0),
        *reset,
    )


def under_test(
    of: Station, test: str, level: float, faults: Sequence[Fault], until: Mapping[float, float] = NO_SOONER
) -> Scenario:
    """A test as found and as left, up to a `level` [Pa gauge], with nothing put right; `of` has the hose it needs.

    `until` has by a test's start [s] when its gas is shut off [s], where that is before the end of the RISE.
    """
    # a hose is shut until it is needed
    hose = (TurnValve(device=HOSE, time=0.0, share=0.0, stroke=0.01),) if test in HOSE_INTO else ()
    blocked = any(isinstance(fault, BlockedRelief) for fault in faults)
    trips = blocked and level > tag(of, "trip").gauge_pressure
    done = [
        one for start in (FOUND, LEFT) for one in steps(of, test, level, start, trips=trips, until=until.get(start))
    ]
    shuts = TurnValve(device=OUTLET_VALVE, time=SHUTS, share=0.0)
    return Scenario(of, (Demand(0.0, 1.0), Demand(OFF, 0.0, stroke=5.0)), tuple(faults), END, (*hose, shuts, *done))


def as_found(here: Station, test: str, level: float, hidden: str) -> Trace:
    """The run of a test as found, up to a level [Pa gauge], with a hidden condition."""
    whole = under_test(here, test, level, HIDDEN[hidden])
    return simulate(replace(whole, duration=FOUND + RISES + RISE + 50.0))


@dataclass(frozen=True)
class Reading:
    """What one test read: the pressure [Pa gauge], whether the layer did its work, and what it should have read.

    `proves` says that the test went far enough to tell; `spoiled` that the layer had acted before it began.
    """

    gauge_pressure: float
    acted: bool
    should: Rung
    proves: bool = True
    spoiled: bool = False

    @property
    def passes(self) -> bool:
        """Whether the layer acted, and within its band."""
        within = self.should.low <= self.gauge_pressure <= self.should.high
        return self.acted and within and not self.spoiled

    @property
    def fails(self) -> bool:
        """Whether the test proves that the layer does not do its work, or not where it should."""
        return self.proves and not self.passes and not self.spoiled


def lift(trace: Trace, name: str, time: float) -> float:
    """How far a regulator stands open at a time [s], as a share of its travel."""
    travel = next(r.travel for r in trace.scenario.station.regulators if r.name == name)
    return trace.at(f"{name}_lift", time) / travel


def tripped(trace: Trace, start: float) -> tuple[float, ...]:
    """At which pressure [Pa gauge] the slam-shut's trip let go in the test that began at `start` [s], if it did."""
    events = trace.happened("trips_high", SHUTOFF)
    return tuple(event.value for event in events if start < event.time < start + BACK)


def read(trace: Trace, test: str, start: float) -> Reading:
    """The reading of a test that began at `start` [s]."""
    should, at = tag(trace.scenario.station, test), start + READS
    outlet = trace.at(OUTLET, at)
    if test == "lock-up":
        return Reading(outlet, True, should)
    if test == "take-over":
        # the worker lets all through, and the monitor does not
        acted = lift(trace, WORKER, at) > WIDE > lift(trace, MONITOR, at)
        return Reading(outlet, acted, should, acted or outlet > should.high)
    if test == "pop":
        lifts, full = f"{RELIEF}_lift_share", start + RISES + RISE - 1.0
        spoiled = trace.at(lifts, start + RISES - 1.0) > LIFTED
        events = trace.happened("valve_opens", RELIEF)
        opens = [event.value for event in events if start + RISES <= event.time < start + BACK]
        ended = trace.peak(OUTLET, start + RISES, start + BACK)[1]
        acted = bool(opens) or trace.at(lifts, full) > LIFTED
        return Reading(opens[0] if opens else ended, acted, should, acted or ended > should.high, spoiled)
    let_go = tripped(trace, start)
    acted = bool(let_go) and trace.at(f"{SHUTOFF}_open_share", at) < CLOSED
    gauge = let_go[0] if let_go else trace.peak(f"{TRIP_LINE}_gauge_pressure", start, start + BACK)[1]
    spoiled = trace.at(f"{SHUTOFF}_open_share", start) < 1.0
    return Reading(gauge, acted, should, bool(let_go) or gauge > should.high, spoiled)


def reading_words(found: Reading, test: str, units: str) -> str:
    """A reading as it stands on the sheet."""
    value = format_pressure(found.gauge_pressure, units)
    acts = found.acted or test == "lock-up" or (test == "trip" and found.proves and found.gauge_pressure > 0)
    return value if acts or test == "take-over" else f"not by {value}"
