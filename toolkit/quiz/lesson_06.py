"""Lesson 06, the integral device."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from random import Random

import numpy as np

from toolkit.devices.line import SensingLine
from toolkit.devices.regulator import Regulator, SecondSeat, relief_start_gauge_pressure
from toolkit.faults import BrokenSensingLine, Debris, Fault, FouledSecondSeat, NickedSeat, StuckStem, TornDiaphragm
from toolkit.quiz.items import Item, pick, rounded
from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion, shown_order
from toolkit.quiz.pictures import OUTLET, outlet_picture
from toolkit.quiz.questions import NumericQuestion, Slip, TraceQuestion
from toolkit.scenario import Demand, Scenario, Station, Volume
from toolkit.simulation import simulate
from toolkit.trace import Trace
from toolkit.units import PSI, format_pressure, format_quantity, tidy

WORKER, LINE = "worker", "sensing_line"
# Pipe behind the worker [m3].
BEHIND = 2e-2
# After so long with nothing flowing even the smallest leak has filled the pipe [s].
REST = 7200.0
# A time read from a picture may be off by this share of the run.
READ_OFF = 0.03
# A creep has stopped once the outlet stands within this share of where it ends.
STOPPED = 0.99
# A visit: burners on, then pilots at this share of the rating, then nothing; each is read at its end [s].
PILOTS_AT, PILOTS, OFF_AT, END = 100.0, 0.05, 200.0, 400.0
# What is wrong comes while the burners are on, well before the first reading [s].
STRUCK_AT = 20.0
READ_AT = (PILOTS_AT - 5.0, OFF_AT - 5.0, END - 5.0)
# More gas than this at the vent is no breath of the case [standard m3/s]: some 0.4 m3/h.
AT_VENT = 1e-4
# The overtravel counts as movement from here on [m].
MOVED = 3e-5


def guarded(worker_set: float, above: float, inlet: float) -> Station:
    """A worker with a second seat that begins `above` its set point, sensing its outlet through one line.

    Gauge pressures [Pa]; the worker is adjusted at the inlet pressure that it has.
    """
    plain = Station()
    worker = Regulator(
        name=WORKER,
        relief=None,
        second_seat=SecondSeat(takes_over_above_set=above),
        set_gauge_pressure=worker_set,
        adjusted_at_inlet_gauge_pressure=inlet,
        senses=LINE,
    )
    return replace(
        plain,
        supply=replace(plain.supply, gauge_pressure=inlet),
        regulators=(worker,),
        volumes=(plain.volumes[0], Volume("outlet", BEHIND)),
        sensing_lines=(SensingLine(LINE),),
    )


def _drawn(chance: Random, units: str) -> tuple[float, float, float]:
    """Worker's set point, how far the second seat begins above it, inlet: gauge Pa, round in the display unit."""
    return (
        pick(chance, "low_gauge_pressure", units, (6, 8, 0.5), (15, 20, 1)),
        # Clear of the worker's lock-up, and low enough that what it holds at its worst stays below the rating.
        pick(chance, "low_gauge_pressure", units, (2, 3.5, 0.5), (5, 8, 1)),
        pick(chance, "gauge_pressure", units, (40, 60, 5), (2.75, 4, 0.25)),
    )


def _told(station: Station, units: str) -> str:
    """The station in two sentences."""
    worker, start = station.regulators[0], _begins(station)
    return (
        f"A worker is set to {format_pressure(worker.set_gauge_pressure, units)}. The second seat in its body begins "
        f"at {format_pressure(start, units)} with the worker's disk on its seat; the inlet holds "
        f"{format_pressure(station.supply.gauge_pressure, units)}."
    )


def _begins(station: Station) -> float:
    return relief_start_gauge_pressure(station.regulators[0].condition())


def night(station: Station, *faults: Fault) -> Trace:
    """A run in which the burners go off, to its end at rest."""
    return simulate(Scenario(station, (Demand(0.0, 1.0), Demand(10.0, 0.0)), faults, REST))


def shut_gauge_pressure(worker: Regulator, lift: float = 0.0) -> float:
    """Outlet pressure [Pa gauge] at which the second seat is just shut, the worker's disk held at a lift [m], no flow.

    Closed form: where it begins, with its spring pressed by its travel and the diaphragm higher by as much. The nearer
    the disk is to its own seat, the higher; at lift 0, which is a disk that only just leaks, the highest.
    """
    c = worker.condition()
    pressed = c._replace(relief_preload=c.relief_preload + c.relief_rate * c.second_travel)
    return relief_start_gauge_pressure(pressed, lift - c.second_travel / c.lever)


def first_stage(worker_set: float, above: float) -> Station:
    """A worker with a second seat for a line of medium pressure; gauge Pa. Sizes are engineering judgement."""
    plain = guarded(worker_set, above, 100 * PSI)
    worker = replace(
        plain.regulators[0],
        diaphragm_area=5e-3,
        lever_ratio=2.0,
        spring_rate=2e4,
        area_growth=0.02,
        second_seat=SecondSeat(takes_over_above_set=above, spring_rate=1.5e4),
    )
    return replace(plain, regulators=(worker,))


def _line_regulators(key: str, chance: Random, units: str) -> NumericQuestion:
    rating = pick(chance, "gauge_pressure", units, (20, 30, 2), (1.4, 2.0, 0.2))
    above = pick(chance, "gauge_pressure", units, (1, 2, 0.5), (0.06, 0.14, 0.02))
    margin = pick(chance, "gauge_pressure", units, (1, 2, 0.5), (0.06, 0.14, 0.02))
    # What shutting takes hardly depends on the set point.
    like = first_stage(rating - above - 4 * margin, above)
    more = rounded(shut_gauge_pressure(like.regulators[0]) - _begins(like), "gauge_pressure", units)
    truth = rating - margin - more - above
    # These are differences: psi, not psig.
    shown = {
        name: format_quantity(value, "gauge_pressure", units).replace("psig", "psi")
        for name, value in (("above", above), ("more", more), ("margin", margin))
    }
    return NumericQuestion(
        key,
        f"Line regulators take {format_quantity(rating, 'gauge_pressure', units)} at their inlet, no more. The second "
        f"seat of the worker before them begins {shown['above']} above the worker's set point; by its sheet it is shut "
        f"at the latest {shown['more']} above where it begins. {shown['margin']} shall be left to the rating. What is "
        "the highest set point for the worker?",
        "gauge_pressure",
        truth,
        f"Go down from {format_quantity(rating, 'gauge_pressure', units)}: {shown['margin']} to spare, "
        f"{shown['more']} to shut, {shown['above']} to begin. The pressure that the second seat holds at its worst "
        "counts against the rating, not the one at which it begins.",
        (
            Slip(
                "what it takes to shut was left out",
                rating - margin - above,
                "A second seat that has begun is not yet shut; the outlet rises further.",
            ),
            Slip(
                "where it begins was given, not the worker's set point",
                rating - margin - more,
                f"The worker is set {shown['above']} lower.",
            ),
            Slip("the margin was left out", rating - more - above, f"{shown['margin']} shall be left to the rating."),
            Slip("only the margin was taken off", rating - margin, "With the worker failed the outlet stands higher."),
        ),
        relative_tolerance=0.015,
        units=units,
    )


def creeping(chance: Random, units: str) -> tuple[Trace, float, float]:
    """A run with a nick in the worker's seat; when the burners go off, and when the creep has stopped [s]."""
    station = guarded(*_drawn(chance, units))
    off = chance.uniform(20.0, 60.0)
    nick = NickedSeat(devices=WORKER, leak_area=chance.uniform(3.5e-9, 8e-9), onset=-10.0, ramp=1.0)
    whole = Scenario(station, (Demand(0.0, 1.0), Demand(off, 0.0)), (nick,), REST)
    long = simulate(whole)
    stopped = float(long.times[np.flatnonzero(long[OUTLET] > STOPPED * long.settled(OUTLET))[0]])
    duration = 10.0 * round((stopped + 0.4 * (stopped - off) + 10.0) / 10.0)
    return simulate(replace(whole, duration=duration)), off, stopped


def _creep_stops(key: str, chance: Random, units: str) -> TraceQuestion:
    trace, off, stopped = creeping(chance, units)
    station, half = trace.scenario.station, READ_OFF * trace.scenario.duration
    start = _begins(station)
    marks = (("worker set", station.regulators[0].set_gauge_pressure), ("second seat begins", start))
    return TraceQuestion(
        key,
        f"{_told(station, units)} The worker's seat leaks, and the burners go off during the run. From when on is the "
        "second seat shut?",
        outlet_picture(trace, units, marks=marks),
        (stopped - half, stopped + half),
        trace.scenario.duration,
        f"The burners went off at {off:.0f} s, and the outlet crept up. At {format_pressure(start, units)} the second "
        f"seat began to move, but gas still came. It is shut where the line turns level, near "
        f"{format_pressure(trace.settled(OUTLET), units)}, from {stopped:.0f} s on.",
    )


@dataclass(frozen=True)
class Cause:
    """A failure in words, the faults that it is, and what the two seats make of it."""

    words: str
    faults: tuple[Fault, ...]
    why: str


GRIT = Debris(devices=WORKER, height=2e-4, stiffness=1e8)
CAUSES = (
    Cause("the worker's disk sticks wide open", (StuckStem(devices=WORKER),), "The diaphragm travels on without it."),
    Cause("grit lies on the worker's seat", (GRIT,), "The second seat is clean, and shuts."),
    Cause(
        "the worker's seat is nicked",
        (NickedSeat(devices=WORKER, leak_area=5e-7),),
        "What leaks past the worker's seat is stopped at the second.",
    ),
    Cause(
        "the sensing line breaks off",
        (BrokenSensingLine(devices=LINE),),
        "The diaphragm that moves both disks feels only the air outside.",
    ),
    Cause(
        "the diaphragm tears wide",
        (TornDiaphragm(devices=WORKER, hole_area=2e-5, lost_share=0.3),),
        "The one diaphragm that moves both disks no longer lifts.",
    ),
    Cause(
        "one slug of grit goes through both seats",
        (GRIT, FouledSecondSeat(devices=WORKER, leak_area=5e-6)),
        "Neither seat can be pressed shut.",
    ),
)
# So many options stand to choose from.
OPTIONS = 4


def struck(station: Station, cause: Cause) -> Trace:
    """A visit's day with a cause that comes while the burners are on."""
    return visited(station, tuple(replace(fault, onset=STRUCK_AT) for fault in cause.faults))


def visited(station: Station, faults: tuple[Fault, ...]) -> Trace:
    """Burners on, pilots only, nothing, with faults."""
    return simulate(Scenario(station, (Demand(0.0, 1.0), Demand(PILOTS_AT, PILOTS), Demand(OFF_AT, 0.0)), faults, END))


def _top(trace: Trace) -> float:
    return trace.peak(OUTLET)[1]


def _passed(trace: Trace) -> bool:
    return _top(trace) > trace.scenario.station.loads[0].maximum_gauge_pressure


def _one_of_many(chance: Random, station: Station, wanted: bool) -> list[tuple[Cause, Trace]]:
    """Four causes and their runs: one that passes the rating (or that keeps it), first, and three that do not."""
    kinds: dict[bool, list[tuple[Cause, Trace]]] = {True: [], False: []}
    for cause in chance.sample(CAUSES, len(CAUSES)):
        run = struck(station, cause)
        kinds[_passed(run)].append((cause, run))
        if kinds[wanted] and len(kinds[not wanted]) >= OPTIONS - 1:
            break
    return [kinds[wanted][0], *kinds[not wanted][: OPTIONS - 1]]


def _blind(key: str, chance: Random, units: str) -> ChoiceQuestion:
    station = guarded(*_drawn(chance, units))
    wanted = chance.random() < 0.5
    found = _one_of_many(chance, station, wanted)
    right = found[0]
    chance.shuffle(found)
    rating = format_pressure(station.loads[0].maximum_gauge_pressure, units)
    asked = "Which of these is the second seat no guard against?" if wanted else "Which of these does it guard against?"
    return ChoiceQuestion(
        key,
        f"{_told(station, units)} The appliances are rated for {rating}. {asked}",
        tuple(cause.words for cause, _ in found),
        found.index(right),
        tuple(tidy(f"{cause.why} The outlet goes to {format_pressure(_top(run), units)}.") for cause, run in found),
        "Both seats hang on one diaphragm, one sensing line and one vent. The second seat answers a worker's disk that "
        "does not shut; what strikes the parts that they share takes both.",
        traces=tuple(run for _, run in found),
        units=units,
    )


VERDICTS: Mapping[str, str] = {
    "well": "the worker is well, and the second seat stands by",
    "holds": "the worker has failed, and the second seat holds",
    "both": "worker and second seat have both failed",
    "torn": "the diaphragm is torn",
}
SIGNS: Mapping[str, str] = {
    "well": "the outlet stands near the set point by day and at the worker's lock-up at no flow, and the vent is quiet",
    "holds": "at no flow the outlet stands between where the second seat begins and where it is shut (a little lower "
    "with the disk far off its seat), and the vent is quiet",
    "both": "the outlet rises far past where a second seat is shut, and the vent is quiet",
    "torn": "gas comes out of the vent, with the burners on as well as off",
}
NEXT: Mapping[str, str] = {
    "well": "Write the readings down; the next visit is compared with them.",
    "holds": "Treat it as urgent: nothing is left behind the second seat.",
    "both": "Shut off and make safe as the procedure says, before anything else.",
    "torn": "Make safe as the procedure says; the second seat hangs on the same diaphragm, and is no guard.",
}


def drawn_faults(chance: Random) -> tuple[Fault, ...]:
    """What was built into the worker before a visit, one of four kinds as likely as another."""
    kind = chance.choice(tuple(VERDICTS))
    if kind == "holds":
        low = Debris(devices=WORKER, height=chance.uniform(3e-5, 3e-4), stiffness=1e8, onset=STRUCK_AT)
        share = chance.uniform(0.4, 1.0)
        return (chance.choice((low, StuckStem(devices=WORKER, lowest=share, highest=share, onset=STRUCK_AT))),)
    if kind == "both":
        return (
            Debris(devices=WORKER, height=chance.uniform(3e-5, 3e-4), stiffness=1e8, onset=STRUCK_AT),
            FouledSecondSeat(devices=WORKER, leak_area=chance.uniform(1e-6, 6e-6), onset=STRUCK_AT),
        )
    if kind == "torn":
        hole, lost = chance.uniform(4e-6, 2e-5), chance.uniform(0.02, 0.3)
        return (TornDiaphragm(devices=WORKER, hole_area=hole, lost_share=lost, onset=STRUCK_AT),)
    return ()


def verdict(trace: Trace) -> str:
    """What a visit's run shows, a key of VERDICTS, from what happens in the worker and not from what was built in."""
    if trace.at(f"{WORKER}_vent_flow", READ_AT[0]) > AT_VENT:
        return "torn"
    if trace.at(f"{WORKER}_relief_lift", READ_AT[-1]) < MOVED:
        return "well"
    return (
        "both"
        if trace.at(OUTLET, READ_AT[-1]) > 1.1 * shut_gauge_pressure(trace.scenario.station.regulators[0])
        else "holds"
    )


def _visit(key: str, chance: Random, units: str) -> ChoiceQuestion:
    station = guarded(*_drawn(chance, units))
    trace = visited(station, drawn_faults(chance))
    truth = verdict(trace)
    order = list(VERDICTS)
    chance.shuffle(order)
    held = shut_gauge_pressure(station.regulators[0])
    vents = ("gas" if trace.at(f"{WORKER}_vent_flow", time) > AT_VENT else "quiet" for time in READ_AT)
    outlets = (format_pressure(trace.at(OUTLET, time), units) for time in READ_AT)
    rows = zip(("burners on", "pilots only", "all off"), outlets, vents, strict=True)
    return ChoiceQuestion(
        key,
        f"{_told(station, units)} By the sheet it is shut at {format_pressure(held, units)} at the latest. These are "
        "the readings of a visit. What do they say?",
        tuple(VERDICTS[one] for one in order),
        order.index(truth),
        tuple("So it is." if one == truth else f"In that case {SIGNS[one]}." for one in order),
        f"What shows it: {SIGNS[truth]}. {NEXT[truth]}",
        table=(("Reading at", "Outlet", "Vent"), *rows),
        units=units,
    )


def ladder_of(station: Station) -> tuple[tuple[str, float], ...]:
    """The pressures of a worker with a second seat in words, with their gauge Pa, lowest first."""
    found = {
        "the worker's set point": station.regulators[0].set_gauge_pressure,
        "the worker's lock-up": night(station).settled(OUTLET),
        "where the second seat begins, the worker's disk on its seat": _begins(station),
        "the highest that the second seat lets through": shut_gauge_pressure(station.regulators[0]),
        "what the appliances are rated for": station.loads[0].maximum_gauge_pressure,
    }
    return tuple(sorted(found.items(), key=lambda entry: entry[1]))


def _order(key: str, chance: Random, units: str) -> OrderQuestion:
    station = guarded(*_drawn(chance, units))
    found = ladder_of(station)
    said = "; ".join(f"{name}: {format_pressure(value, units)}" for name, value in found)
    return OrderQuestion(
        key,
        f"A worker is set to {format_pressure(station.regulators[0].set_gauge_pressure, units)}. A second seat in its "
        "own body guards it, set as it should be. Put the pressures in order, the lowest first.",
        tuple(name for name, _ in found),
        shown_order(len(found), chance),
        # Lock-up below the second seat's start, and the most that it lets through below the rating.
        ((1, 2), (3, 4)),
        0.4,
        "tau",
        f"{said[0].upper()}{said[1:]}.",
        (
            "A second seat that begins below the worker's lock-up moves every night although nothing is wrong.",
            "What the second seat lets through at its worst must stay below what the appliances take.",
        ),
    )


ITEMS = (
    Item("06.line_regulators", "06", "Set a worker whose second seat spares the line behind it.", _line_regulators),
    Item("06.creep_stops", "06", "Read from the outlet's trace when the second seat was shut.", _creep_stops),
    Item("06.blind", "06", "Say which failures blind a worker and its second seat at once.", _blind),
    Item("06.visit", "06", "Tell from a visit's readings whether the second seat is at work.", _visit),
    Item("06.order", "06", "Put the pressures of a worker and its second seat in order.", _order),
)
