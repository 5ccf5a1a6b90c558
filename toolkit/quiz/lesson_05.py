"""Lesson 05, the monitor."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import numpy as np

from toolkit.actions import TurnValve
from toolkit.devices.line import Pipe
from toolkit.devices.regulator import Regulator
from toolkit.diagnosis.signs import OUTLET as OUTLET_VALUES
from toolkit.diagnosis.signs import Signs
from toolkit.faults import Debris, Leak, StuckStem
from toolkit.ladder import take_over_gauge_pressure
from toolkit.layers import MONITOR, with_monitor
from toolkit.quiz.cause import CauseQuestion
from toolkit.quiz.items import Item, pick, rounded
from toolkit.quiz.pictures import OUTLET, outlet_picture
from toolkit.quiz.questions import NumericQuestion, Slip, TraceQuestion
from toolkit.quiz.spread import cause_question
from toolkit.scenario import Demand, Scenario, Station, Volume
from toolkit.simulation import simulate
from toolkit.trace import Trace
from toolkit.units import display_unit, format_pressure, format_quantity

WORKER = "worker"
INTERSTAGE = "interstage_gauge_pressure"
# Little room between the two and much behind them, so that what is stored between makes a small spike [m3].
BETWEEN, BEHIND = 3e-4, 2e-2
# The gauge between the regulators is seen to fall once this share of the inlet's pressure is gone: a hundredth is
# three points of the picture's height, and more than the pipes take while the burners are on.
SEEN_FALL = 0.01
# A time read from a picture may be off by this share of the run.
READ_OFF = 0.03


def monitored(
    worker_set: float, above: float, inlet: float, *, between: float = BETWEEN, behind: float = BEHIND
) -> Station:
    """A wide-open monitor before its worker, both sensing the outlet, neither with an internal relief.

    Gauge pressures [Pa]: the worker's set point, the monitor's `above` that, the inlet; volumes [m3].
    """
    plain = Station()
    # Each is adjusted at the inlet pressure that it will have.
    worker = Regulator(name=WORKER, relief=None, set_gauge_pressure=worker_set, adjusted_at_inlet_gauge_pressure=inlet)
    alone = replace(
        plain,
        supply=replace(plain.supply, gauge_pressure=inlet),
        regulators=(worker,),
        volumes=(plain.volumes[0], Volume("outlet", behind)),
    )
    return with_monitor(alone, above, between)


def _drawn(chance: Random, units: str) -> tuple[float, float, float]:
    """Worker's set point, how far the monitor stands above it, inlet: gauge Pa, round in the display unit."""
    return (
        pick(chance, "low_gauge_pressure", units, (6, 8, 0.5), (15, 20, 1)),
        # Nearer than this a sound worker's lock-up already moves the monitor.
        pick(chance, "low_gauge_pressure", units, (4, 6, 0.5), (10, 15, 1)),
        pick(chance, "gauge_pressure", units, (40, 60, 5), (2.75, 4, 0.25)),
    )


def _set_points(station: Station) -> tuple[float, float]:
    """Set points of worker and monitor, gauge Pa."""
    monitor, worker = (regulator.set_gauge_pressure for regulator in station.regulators)
    return worker, monitor


def _told(station: Station, units: str) -> str:
    """The station in a sentence."""
    worker, monitor = _set_points(station)
    return (
        f"Worker and monitor stand in series and sense the same outlet. The worker is set to "
        f"{format_pressure(worker, units)}, the monitor before it to {format_pressure(monitor, units)}; the inlet "
        f"holds {format_pressure(station.supply.gauge_pressure, units)}."
    )


def _marks(station: Station) -> tuple[tuple[str, float], ...]:
    worker, monitor = _set_points(station)
    return (("worker set", worker), ("monitor set", monitor))


def _monitor_set(key: str, chance: Random, units: str) -> NumericQuestion:
    worker_set, above, inlet = _drawn(chance, units)
    margin = pick(chance, "low_gauge_pressure", units, (0.5, 1.5, 0.5), (1, 4, 1))
    station = monitored(worker_set, above, inlet)
    monitor = station.regulators[0]
    night = simulate(Scenario(station, (Demand(0.0, 1.0), Demand(10.0, 0.0)), (), 120.0))
    lock_up = rounded(night.settled(OUTLET), "low_gauge_pressure", units)
    starts = take_over_gauge_pressure(monitor.condition())
    below = rounded(monitor.set_gauge_pressure - starts, "low_gauge_pressure", units)
    return NumericQuestion(
        key,
        f"A worker is set to {format_pressure(worker_set, units)}; with nothing flowing it locks up at "
        f"{format_pressure(lock_up, units)}. As the bench's sheet has it, the monitor begins to leave its upper stop "
        f"{format_pressure(below, units)} below its own set point. It shall not move before the outlet stands "
        f"{format_pressure(margin, units)} above the worker's lock-up. What is the lowest set point for the monitor?",
        "low_gauge_pressure",
        lock_up + below + margin,
        f"The worker drives the outlet up to {format_pressure(lock_up, units)} every time the burners go off. With "
        f"{format_pressure(margin, units)} to spare the monitor may begin at {format_pressure(lock_up + margin, units)}"
        f", and its set point is {format_pressure(below, units)} above where it begins. Set nearer, both regulators "
        "answer the same change.",
        (
            Slip(
                "the worker's set point was taken for its lock-up",
                worker_set + below + margin,
                "With nothing flowing the outlet stands at lock-up, above the worker's set point.",
            ),
            Slip(
                "the monitor was taken to begin at its set point",
                lock_up + margin,
                "A monitor begins to close below its set point; at its set point it already holds.",
            ),
            Slip("the margin was left out", lock_up + below, "Without it the worker's lock-up moves the monitor."),
            Slip(
                "the monitor's start was counted the wrong way",
                lock_up - below + margin,
                "The set point stands above the start, so what lies between is added.",
            ),
        ),
        relative_tolerance=0.01,
        units=units,
    )


def failed_open(station: Station) -> Scenario:
    """The worker's stem sticks wide open after 30 s while the burners run."""
    return Scenario(station, (Demand(0.0, 1.0),), (StuckStem(devices=WORKER, onset=30.0),), 180.0)


def _holds_at(key: str, chance: Random, units: str) -> NumericQuestion:
    station = monitored(*_drawn(chance, units))
    worker, monitor = _set_points(station)
    truth = simulate(failed_open(station)).settled(OUTLET)
    return NumericQuestion(
        key,
        f"{_told(station, units)} Some burners run steadily. Now the worker's stem sticks wide open. At about what "
        "pressure does the outlet settle?",
        "low_gauge_pressure",
        truth,
        f"The worker holds nothing back any more. The outlet rises until the monitor's spring balances it, near the "
        f"monitor's set point of {format_pressure(monitor, units)}, and stays there. The burners keep burning.",
        (
            Slip(
                "the worker's set point was counted on",
                worker,
                "The monitor does not know the worker's set point; it holds its own.",
            ),
            Slip(
                "the two set points were added",
                worker + monitor,
                "The monitor's set point is the outlet pressure that it holds, not what it adds to the worker's.",
            ),
            Slip("only the difference was given", monitor - worker, "The monitor stands that far above the worker."),
            Slip(
                "the inlet pressure was given",
                station.supply.gauge_pressure,
                "One regulator has failed, and the other still holds.",
            ),
        ),
        relative_tolerance=0.08,
        units=units,
    )


def dumped(station: Station) -> Trace:
    """A run in which all that stands between the regulators goes into the outlet, and nothing more.

    The burners go off at 10 s, the monitor shuts at 60 s, the worker opens wide at 70 s.
    """
    faults = (
        StuckStem(devices=MONITOR, lowest=0.0, highest=0.0, onset=60.0, ramp=1.0),
        StuckStem(devices=WORKER, onset=70.0, ramp=1.0),
    )
    return simulate(Scenario(station, (Demand(0.0, 1.0), Demand(10.0, 0.0)), faults, 120.0))


def _spike(key: str, chance: Random, units: str) -> NumericQuestion:
    worker_set, above, inlet = _drawn(chance, units)
    between = pick(chance, "volume", units, (0.02, 0.06, 0.01), (0.4, 1.6, 0.2))
    behind = pick(chance, "volume", units, (0.5, 1.5, 0.1), (15, 40, 5))
    trace = dumped(monitored(worker_set, above, inlet, between=between, behind=behind))
    before = trace.at(OUTLET, 65.0)
    truth = trace.settled(OUTLET)
    lock_up = format_pressure(before, units)
    pair = [display_unit(kind, units) for kind in ("gauge_pressure", "low_gauge_pressure")]
    mixed = (between * inlet / pair[0].scale + behind * before / pair[1].scale) / (between + behind) * pair[1].scale
    return NumericQuestion(
        key,
        f"Nothing flows. Between monitor and worker stand {format_quantity(between, 'volume', units)} of gas at the "
        f"inlet's {format_pressure(inlet, units)}; behind the worker {format_quantity(behind, 'volume', units)} at "
        f"{lock_up}. The worker fails wide open at once, and the monitor shuts before more gas can follow. At what "
        "pressure does the outlet end?",
        "low_gauge_pressure",
        truth,
        "What stood between the two spreads over both rooms: add volume times pressure of each, and divide by both "
        "volumes together. The less room there is between the regulators, and the more behind them, the smaller "
        "the spike.",
        (
            Slip(
                "the outlet was taken as empty",
                between * inlet / (between + behind),
                f"The outlet stands at {lock_up} already.",
            ),
            Slip(
                "the middle of the two pressures was taken",
                (inlet + before) / 2,
                "The rooms are not equal: each pressure counts by its volume.",
            ),
            Slip(
                "the volumes were exchanged",
                (behind * inlet + between * before) / (between + behind),
                "Each pressure goes with its own volume.",
            ),
            Slip("only the rise was given", truth - before, f"The rise comes on top of the {lock_up} there."),
            Slip(
                f"{pair[0].label} and {pair[1].label} were added as they stand",
                mixed,
                "Bring both pressures to one unit first.",
            ),
            Slip("the spike was overlooked", before, "What is stored between the two comes through before anything."),
        ),
        relative_tolerance=0.02,
        units=units,
    )


def take_over(chance: Random, units: str) -> tuple[Trace, float]:
    """A run in which the worker sticks wide open, and when the monitor leaves its upper stop then [s].

    Before it the burners go down to the pilots and up again, so that the outlet moves with nothing wrong as well.
    """
    station = monitored(*_drawn(chance, units))
    low, high = chance.uniform(25.0, 45.0), chance.uniform(60.0, 80.0)
    onset = high + chance.uniform(20.0, 80.0)
    demands = (Demand(0.0, 1.0), Demand(low, 0.05), Demand(high, 1.0))
    fault = StuckStem(devices=WORKER, onset=onset, ramp=chance.uniform(2.0, 6.0))
    trace = simulate(Scenario(station, demands, (fault,), 10.0 * round((onset + chance.uniform(40.0, 80.0)) / 10.0)))
    off_stop = trace[f"{MONITOR}_lift"] < 0.999 * station.regulators[0].travel
    return trace, float(trace.times[np.flatnonzero(off_stop & (trace.times > onset))[0]])


def _took_over(key: str, chance: Random, units: str) -> TraceQuestion:
    trace, time = take_over(chance, units)
    station, half = trace.scenario.station, READ_OFF * trace.scenario.duration
    worker, monitor = _set_points(station)
    return TraceQuestion(
        key,
        f"{_told(station, units)} In this run the burners go down to the pilots and up again. Later the worker fails. "
        "From when on does the monitor hold the outlet?",
        outlet_picture(trace, units, marks=_marks(station)),
        (time - half, time + half),
        trace.scenario.duration,
        f"Until {time:.0f} s the outlet stands near {format_pressure(worker, units)}, or at the worker's lock-up while "
        f"little flows. Then it overshoots and settles near {format_pressure(monitor, units)}, the monitor's set "
        "point. An outlet that is steady there says that the monitor is at work.",
    )


def leaking_seat(chance: Random, units: str) -> tuple[Trace, float, float]:
    """A run with grit on the worker's seat; when the burners go off; when the gauge between is seen to fall [s]."""
    station = monitored(*_drawn(chance, units))
    off = chance.uniform(30.0, 110.0)
    grit = Debris(
        devices=WORKER,
        height=chance.uniform(2.5e-5, 8e-5),
        stiffness=1e8,
        edge=chance.uniform(0.01, 0.04),
        onset=10.0,
        ramp=1.0,
    )
    whole = Scenario(station, (Demand(0.0, 1.0), Demand(off, 0.0)), (grit,), 10.0 * round((off + 90.0) / 10.0))
    trace = simulate(whole)
    seen = (1.0 - SEEN_FALL) * station.supply.gauge_pressure
    last = int(np.flatnonzero(trace[INTERSTAGE] >= seen)[-1])
    # The picture draws straight lines from point to point, and the points of a slow fall stand seconds apart.
    (start, end), (high, low) = trace.times[last : last + 2], trace[INTERSTAGE][last : last + 2]
    return trace, off, float(start + (end - start) * (high - seen) / (high - low))


def _between(key: str, chance: Random, units: str) -> TraceQuestion:
    trace, off, time = leaking_seat(chance, units)
    half = READ_OFF * trace.scenario.duration
    return TraceQuestion(
        key,
        f"{_told(trace.scenario.station, units)} Grit lies on the worker's seat, and the burners go off during the "
        "run. The picture shows the gauge between the two regulators. From when on does that gauge tell that the "
        "monitor holds the gas back?",
        outlet_picture(trace, units, signal=INTERSTAGE, kind="gauge_pressure", name="Pressure between the regulators"),
        (time - half, time + half),
        trace.scenario.duration,
        f"A monitor that stands by wide open lets the inlet's pressure through to the worker. The burners went off at "
        f"{off:.0f} s. The worker could not seal, the outlet climbed slowly, and the monitor began to close. That "
        f"shows on the gauge only once it is all but shut: from {time:.0f} s on the gas that stood between the two "
        "runs off through the leaking seat, and no more follows.",
    )


# The station of the suspects question: worker and monitor on a line each, and a relief valve that has not blown.
DISTRICT = "district_station"
# What is looked at there: the gauge between the two tells which of them holds, and each line is proven.
DISTRICT_VISIT = (
    *("outlet_on", "outlet_pilots", "outlet_off", "lock_up", "creep", "between"),
    *("inlet", "vent_on", "vent_off", "relief", "line"),
)


def monitor_holds(signs: Signs) -> bool:
    """Whether the outlet stands high with all off and goes no higher, and no relief valve had to help."""
    return signs.outlet_off in OUTLET_VALUES[3:] and signs.relief == "shut"


def _worker_out(key: str, chance: Random, units: str) -> CauseQuestion:
    told = (
        "At a district station worker and monitor stand in series, each with a sensing line of its own. One night the "
        "monitor was found holding the outlet. By the operator's plan qualified people read what stands in the table, "
        "with both in place."
    )
    suspects = ("dirty_seat", "torn", "stuck_open", "line_broken", "line_blocked")
    return cause_question(key, chance, units, told, suspects, monitor_holds, place=DISTRICT, looked_at=DISTRICT_VISIT)


def old_main(station: Station) -> Trace:
    """A run in which the main that both regulators sense is shut off from the outlet and bled down; burners off."""
    linked = replace(
        station,
        regulators=tuple(replace(regulator, senses="old_main") for regulator in station.regulators),
        volumes=(*station.volumes, Volume("old_main", 5e-3)),
        pipes=(Pipe("link", "outlet", "old_main"),),
    )
    bled = Leak(devices="old_main", leak_area=1e-4, onset=20.0)
    cut = TurnValve(device="link", time=10.0, share=0.0)
    return simulate(Scenario(linked, (Demand(0.0, 1.0), Demand(40.0, 0.0)), (bled,), 600.0, (cut,)))


def _old_main(key: str, chance: Random, units: str) -> NumericQuestion:
    station = monitored(*_drawn(chance, units))
    worker, monitor = _set_points(station)
    inlet = station.supply.gauge_pressure
    shown = format_pressure(inlet, units)
    return NumericQuestion(
        key,
        f"{_told(station, units)} The sensing lines of both end on an old main that is joined to the outlet. "
        "That main is cut off and bled down; the lines are left where they were. Then all burners go off. At what "
        "pressure does the outlet end?",
        "gauge_pressure",
        old_main(station).settled(OUTLET),
        "Both regulators feel a main without pressure, and both open as wide as they can to fill it. Nothing holds gas "
        f"back: the outlet ends at the inlet's {shown}. One mistake took both layers; each needs a sensing line of its "
        "own, on the pipe that it protects.",
        (
            Slip("the monitor was counted on", monitor, "The monitor senses the same dead main, so it opens as well."),
            Slip("the worker was counted on", worker, "The worker senses the dead main and opens."),
            Slip(
                "half the inlet pressure was given",
                inlet / 2,
                "With nothing flowing two open regulators in series share nothing: the inlet's pressure goes through.",
            ),
        ),
        relative_tolerance=0.02,
        units=units,
    )


ITEMS = (
    Item("05.monitor_set", "05", "Set a monitor clear above its worker's lock-up.", _monitor_set),
    Item("05.holds_at", "05", "Tell what the outlet shows while the monitor holds.", _holds_at),
    Item("05.took_over", "05", "Read from the outlet's trace when the monitor took over.", _took_over),
    Item("05.between", "05", "Read from the gauge between the regulators that the monitor holds.", _between),
    Item("05.spike", "05", "Reckon the spike from the gas stored between the regulators.", _spike),
    Item("05.old_main", "05", "Tell what two regulators do that sense the same dead main.", _old_main),
    Item("05.worker_out", "05", "Weigh the suspects once a monitor was found holding.", _worker_out),
)
