"""Lesson 13, inspection and proof: hidden conditions that only a test shows, as found and as left."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from toolkit.faults import Debris, StuckStem
from toolkit.figures.data import EventMarker
from toolkit.figures.symbols_views import OVERFED
from toolkit.layers import MONITOR
from toolkit.panels.bench import Bench, Settings, Shown, run
from toolkit.panels.controls import Choice, Slider
from toolkit.panels.predict import Prediction
from toolkit.panels.sliders import DEBRIS, DEMAND, HARDNESS, INLET, MOMENT, SET_POINT, ZOOM, starting
from toolkit.panels.station_bench import Watch, watched
from toolkit.panels.words import NO_GAS, vented_words
from toolkit.quiz.proof import (
    BACK,
    END,
    FAILS,
    FOUND,
    HIDDEN,
    HOSE_INTO,
    LEFT,
    LIFTED,
    LINE,
    LONG_AGO,
    MENDS,
    NO_SOONER,
    OFF,
    OUTLET,
    RATING,
    READS,
    RELIEF,
    SHUTS,
    TESTED,
    TRIP_LINE,
    WIDE,
    WORKER,
    Repair,
    gas_until,
    lift,
    mended,
    read,
    station,
    tag,
    tripped,
    under_test,
)
from toolkit.scenario import Demand, Scenario
from toolkit.trace import Trace
from toolkit.units import IN_WC, PSI, format_pressure, tidy

TEST_MARKERS = (
    EventMarker(OFF / 60, "burners off"),
    EventMarker(SHUTS / 60, "outlet valve shut"),
    EventMarker(FOUND / 60, "as found"),
    EventMarker(MENDS / 60, "work"),
    EventMarker(LEFT / 60, "as left"),
)
FAILURE_MARKERS = (EventMarker(FAILS / 60, "worker fails open"),)
WATCH = Watch("Station under test", drawn_to="line", markers=TEST_MARKERS)

LEVEL = Slider(
    "level", "Test goes up to", "settings", "low_gauge_pressure", 8 * IN_WC, 24 * IN_WC, 20 * IN_WC, (0.5, 1)
)
TESTS = Choice(
    "test",
    "Test",
    "settings",
    (
        ("none, and the worker fails open", "fails"),
        ("none, a usual day", "none"),
        ("take-over test of the monitor", "take-over"),
        ("lock-up test of the worker", "lock-up"),
        ("pop test of the relief valve", "pop"),
        ("trip test of the slam-shut", "trip"),
    ),
)
CONDITION = Choice(
    "hidden",
    "Hidden condition",
    "faults",
    (
        ("monitor stuck open", "monitor"),
        ("all sound", "sound"),
        ("worker's seat worn", "seat"),
        ("relief valve drifted up", "relief"),
        ("relief's isolating valve left shut", "shut"),
        ("slam-shut drifted up", "trip"),
        ("slam-shut's latch stuck", "latch"),
    ),
)
MEND = Choice("mend", "Before the test as left", "faults", (("it is put right", True), ("it is left as it is", False)))
# How a test's reading is said: where the layer has acted, where it has not, and where the test ended too soon.
ACTED: Mapping[str, str] = {
    "lock-up": "the worker stands at",
    "take-over": "the monitor holds",
    "pop": "the relief valve begins to open at",
    "trip": "the slam-shut trips at",
}
NOT: Mapping[str, str] = {
    "take-over": "the monitor does not take over, and the outlet goes to",
    "pop": "the relief valve is still shut at",
    "trip": "the slam-shut is still open at",
}
UNPROVEN: Mapping[str, str] = {**NOT, "take-over": "the worker still holds, at"}


def scenario(settings: Settings) -> Scenario:
    """The bench's run: a test as found and as left, or a day without one.

    Only what the test as found has shown to be wrong can be put right, and test gas is shut off as soon as the trip
    lets go or the level is reached: for that the run is made before.
    """
    test, alone = settings["test"], unmended(settings)
    if test not in TESTED:
        return alone
    starts = (FOUND, LEFT) if test in HOSE_INTO else ()
    until = {start: gas_until(run(alone), test, settings["level"], start) for start in starts}
    alone = unmended(settings, until)
    found = read(run(alone), test, FOUND)
    if not (settings["mend"] and found.fails):
        return alone
    faults = mended(alone.faults, found.should.device)
    for start in starts[1:]:
        # once it is put right the layer acts sooner
        later = replace(unmended(settings, {FOUND: until[FOUND]}), faults=faults)
        until[start] = gas_until(run(later), test, settings["level"], start)
    return replace(unmended(settings, until), faults=faults)


def unmended(settings: Settings, until: Mapping[float, float] = NO_SOONER) -> Scenario:
    """The bench's run with nothing put right; for `until` see `under_test`."""
    test, faults = settings["test"], HIDDEN[settings["hidden"]]
    if settings["debris"] > 1e-6:
        grain = Debris(devices=WORKER, height=settings["debris"], stiffness=settings["hardness"], onset=LONG_AGO)
        faults = (*faults, grain)
    here = station(
        inlet=settings["inlet"],
        worker_set=settings["set_point"],
        demand=settings["demand"],
        hose_into=HOSE_INTO.get(test, ""),
    )
    if test in TESTED:
        return under_test(here, test, settings["level"], faults, until)
    fails = (StuckStem(devices=WORKER, onset=FAILS),) if test == "fails" else ()
    return Scenario(here, (Demand(0.0, 1.0),), (*faults, *fails), END)


# What a test tells


def verdict(trace: Trace, test: str, start: float, units: str) -> str:
    """One test in words: the reading and whether that holds; as found with the tag and its band beside it."""
    found = read(trace, test, start)
    value, tagged, low, high = (
        format_pressure(p, units)
        for p in (found.gauge_pressure, found.should.gauge_pressure, found.should.low, found.should.high)
    )
    papers = "its papers say" if test == "lock-up" else "its tag says"
    band = f" ({papers} {tagged}, and {low} to {high} will do)" if start == FOUND else ""
    if found.spoiled:
        what = "relief valve is open" if test == "pop" else "slam-shut is shut"
        return f"no reading, for the {what} before the test begins; find out why first."
    if not found.proves:
        return f"{UNPROVEN[test]} {value}: the test ends before it proves anything."
    if found.acted:
        return f"{ACTED[test]} {value}{band}: {'within' if found.passes else 'outside'} its band."
    first = ", and the slam-shut trips first" if test == "pop" and tripped(trace, start) else ""
    if test == "trip" and tripped(trace, start):
        return f"the trip lets go at {value}{band}, and the valve stays open: it fails."
    return f"{NOT[test]} {value}{first}{band}: it fails."


def untested(trace: Trace, units: str) -> list[str]:
    """A day without a test in sentences: what the gauges show, and what comes of it where the worker fails."""

    def shown(signal: str, time: float) -> str:
        return format_pressure(trace.at(signal, time), units)

    early, end = FAILS - 1.0, END - 1.0
    should = tag(trace.scenario.station, "lock-up").high
    said = [
        f"Nobody tests. The outlet holds {shown(OUTLET, early)}, with "
        f"{shown('interstage_gauge_pressure', early)} between the two regulators.",
        "No gauge says whether a layer would act."
        if trace.at(OUTLET, early) < should
        else "That is above what the worker holds: something is wrong by day already.",
    ]
    if not any(isinstance(fault, StuckStem) and fault.onset == FAILS for fault in trace.scenario.faults):
        return said
    load = trace.scenario.station.loads[0]
    takes = trace.at(f"{load.name}_flow", end) / load.rated_flow
    co = f"The burners take {takes:.0%} of their rating: fed like that they can make carbon monoxide."
    fed = [co] if takes > OVERFED else []
    if lift(trace, MONITOR, end) < WIDE:
        return [*said, f"The worker fails open, and the monitor holds {shown(OUTLET, end)}.", *fed]
    blows = trace.at(f"{RELIEF}_lift_share", end) > LIFTED
    last = (
        f"and the relief valve blows at {shown(OUTLET, end)}" if blows else f"the outlet ends at {shown(OUTLET, end)}"
    )
    return [*said, f"The worker fails open, the monitor does not hold, {last}.", *fed]


def story(trace: Trace, test: str, units: str) -> str:
    """The run in a few sentences: as found, as left, what went outdoors, and what the appliances saw."""
    said = tests(trace, test, units) if test in TESTED else untested(trace, units)
    vented = vented_words(trace, units)
    if vented != NO_GAS:
        said.append(f"In all, {vented} of gas is let off outdoors.")
    if trace.happened("hunts"):
        said.append("The regulators hunt; the chart shows the middle of the swing.")
    top, rating = trace.peak(LINE)[1], format_pressure(RATING, units)
    line = f"The appliances see {format_pressure(top, units)} at most"
    said.append(f"{line}, and are rated {rating}." if top <= RATING else f"{line}, above their rating of {rating}.")
    return tidy(" ".join(said))


def tests(trace: Trace, test: str, units: str) -> list[str]:
    """The two tests of a run in sentences."""
    before = trace.at(OUTLET, FOUND)
    found, left = (verdict(trace, test, start, units) for start in (FOUND, LEFT))
    said = [f"With the outlet valve shut the outlet stands at {format_pressure(before, units)} as the test begins."]
    if test != "lock-up" and before > tag(trace.scenario.station, "lock-up").high:
        said.append("That is above the worker's lock-up: its seat does not seal.")
    said.append(f"As found: {found}")
    if any(isinstance(fault, Repair) for fault in trace.scenario.faults):
        said.append("Then it is put right.")
    elif read(trace, test, FOUND).fails:
        said.append("It is left as it is.")
    return [*said, f"As left: {left}"]


def show(settings: Settings) -> Shown:
    """The station at the moment chosen, the outlet over the run, and what the test says."""
    test, units, moment = settings["test"], settings["units"], settings["moment"]
    trace = run(scenario(settings))
    watch = WATCH if test in TESTED else replace(WATCH, markers=FAILURE_MARKERS if test == "fails" else ())
    between = format_pressure(trace.at("interstage_gauge_pressure", moment), units)
    readouts = [("between the regulators now", between)]
    if test == "trip":
        watch = replace(watch, also=(("at the trip", f"{TRIP_LINE}_gauge_pressure", "vermilion"),))
        readouts.append(("at the trip now", format_pressure(trace.at(f"{TRIP_LINE}_gauge_pressure", moment), units)))
    return watched(watch, settings, trace, story(trace, test, units), readouts)


def explain(units: str) -> str:
    """What a usual day and a test tell of a stuck monitor, in numbers from the simulation."""
    start = BENCH.start(units)

    def ran(hidden: str, test: str) -> Trace:
        return run(scenario(start | {"hidden": hidden, "test": test}))

    def shown(trace: Trace, signal: str, time: float) -> str:
        return format_pressure(trace.at(signal, time), units)

    usual, sound = ran("monitor", "none"), ran("sound", "none")
    stuck, well, failed = ran("monitor", "take-over"), ran("sound", "take-over"), ran("monitor", "fails")
    between = "interstage_gauge_pressure"
    return tidy(
        f"On a usual day the outlet holds {shown(usual, OUTLET, FAILS)} with the monitor stuck, and "
        f"{shown(sound, OUTLET, FAILS)} with it sound; between the two regulators stand {shown(usual, between, FAILS)} "
        f"and {shown(sound, between, FAILS)}. No gauge tells the two apart. The take-over test does: a sound monitor "
        f"holds {shown(well, OUTLET, FOUND + READS)}, and with the stuck one the outlet goes to "
        f"{shown(stuck, OUTLET, FOUND + READS)}, with the relief valve blowing. On the day that the worker fails "
        f"open, it goes to {shown(failed, OUTLET, END - 1.0)}."
    )


PREDICTION = Prediction(
    "Worker and monitor stand in a row, and behind them a relief valve. Some time last year the monitor stuck wide "
    "open. The worker is well. It is a usual day, with the burners on. Which gauge or sound tells that the monitor is "
    "stuck?",
    (
        "The outlet gauge: it stands above the worker's set point.",
        "The gauge between the two regulators: it stands at the inlet pressure, and should not.",
        "The relief valve: it lets a little gas off.",
        "None of them: only a test tells.",
    ),
    3,
    explain,
)
BENCH = Bench(
    "Inspection and proof",
    (
        replace(INLET, low=20 * PSI),
        replace(SET_POINT, label="Worker's spring (set point)", low=5 * IN_WC, high=8 * IN_WC),
        TESTS,
        LEVEL,
        CONDITION,
        replace(DEBRIS, label="Debris on the worker's seat, height"),
        HARDNESS,
        MEND,
        DEMAND,
        ZOOM,
        starting(MOMENT, FOUND + BACK),
    ),
    show,
    wide=True,
    without=("without the hidden condition", {"hidden": "sound"}),
    handout=({}, {"test": "take-over"}),
)
