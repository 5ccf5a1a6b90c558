"""Lesson 13, inspection and proof."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from math import pi
from random import Random

from toolkit.faults import WrongSetting
from toolkit.flow import mass_flow, standard_flow
from toolkit.gas import NATURAL_GAS
from toolkit.layers import MONITOR
from toolkit.quiz.items import Item, pick, rounded
from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion, safe_steps
from toolkit.quiz.pictures import OUTLET, outlet_picture
from toolkit.quiz.proof import (
    FOUND,
    HOSE_INTO,
    LIFTED,
    MONITOR_ABOVE,
    READ_AS,
    RELIEF,
    RISE,
    RISES,
    TESTED,
    as_found,
    read,
    reading_words,
    station,
    tag,
    under_test,
)
from toolkit.quiz.questions import NumericQuestion, Slip, TraceQuestion
from toolkit.scenario import Station
from toolkit.simulation import simulate
from toolkit.trace import Trace
from toolkit.units import (
    HOUR,
    IN_WC,
    INCH,
    SCF,
    SIXTY_FAHRENHEIT,
    STANDARD_ATMOSPHERE,
    format_pressure,
    format_quantity,
)

# A time read from a picture may be off by this share of the run.
READ_OFF = 0.03
# Up to where a test of the questions goes [Pa above the worker's set point]: past every band and every drift.
FAR = 17 * IN_WC
# Months from one inspection to the next, at most; a year has twelve. Source: `cfr-192-739`.
MOST_MONTHS, YEAR = 15, 12
# Of every regulator's orifice; it falls out where two are compared.
DISCHARGE = 0.82
# A picture ends so long after test gas is shut off [s].
AFTER = 15.0
MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)


def drawn(chance: Random, units: str, test: str) -> Station:
    """A station with worker, monitor, relief valve and slam-shut, round in the display unit, with the test's hose."""
    return station(
        inlet=pick(chance, "gauge_pressure", units, (40, 80, 5), (2.75, 5.5, 0.25)),
        worker_set=pick(chance, "low_gauge_pressure", units, (6, 8, 0.5), (15, 20, 1)),
        demand=250 * SCF / HOUR,
        hose_into=HOSE_INTO.get(test, ""),
    )


# By when the next inspection is due


def due(year: int, month: int) -> tuple[int, int, bool]:
    """Year and month by which the next inspection is due, and whether that is the month's last day.

    At most 15 months later, to the day, and once each calendar year: the earlier counts.
    """
    later = month - 1 + MOST_MONTHS
    by_months = (year + later // YEAR, later % YEAR + 1)
    return (*by_months, False) if by_months <= (year + 1, YEAR) else (year + 1, YEAR, True)


def _due(key: str, chance: Random, units: str) -> ChoiceQuestion:
    day, month, year = chance.randrange(2, 28), chance.randrange(1, YEAR + 1), chance.randrange(2015, 2030)

    def spoken(y: int, m: int) -> str:
        return f"{MONTHS[m - 1]} {day}, {y}"

    def after(months: int) -> str:
        later = month - 1 + months
        return spoken(year + later // YEAR, later % YEAR + 1)

    ends = f"December 31, {year + 1}"
    *at, last_day = due(year, month)
    right = ends if last_day else spoken(*at)
    told = {
        after(YEAR): "A year to the day is good practice for some, but the rule leaves more room than that.",
        after(MOST_MONTHS): "Fifteen months would do, but a whole calendar year would pass without an inspection."
        if last_day
        else "Fifteen months after the last one, and within the next calendar year: both bounds hold.",
        ends: "The next calendar year must not end without one; that comes before fifteen months are over."
        if last_day
        else "It is within the next calendar year, but more than fifteen months after the last one.",
        f"December 31, {year + 2}": "A whole calendar year would pass without an inspection, and far over fifteen "
        "months.",
    }
    options = chance.sample(list(told), len(told))
    return ChoiceQuestion(
        key,
        f"A station was last inspected and tested on {spoken(year, month)}. Federal rules want it at least once each "
        "calendar year, at intervals of 15 months at most. By when must it be done again, at the latest?",
        tuple(options),
        options.index(right),
        tuple(told[option] for option in options),
        "Two bounds hold at once, and the earlier one counts. An operator's own plan may ask for more.",
        units=units,
    )


# Readings


def _band(key: str, chance: Random, units: str) -> NumericQuestion:
    worker_set = pick(chance, "low_gauge_pressure", units, (6, 9, 0.5), (15, 22, 1))
    monitor_set = worker_set + rounded(MONITOR_ABOVE, "low_gauge_pressure", units)
    band = chance.choice((0.02, 0.03, 0.04, 0.05, 0.06))
    wrong = pick(chance, "low_gauge_pressure", units, (0.2, 0.6, 0.1), (0.6, 1.4, 0.2))
    worker, monitor, reads = (format_pressure(p, units) for p in (worker_set, monitor_set, wrong))
    top = monitor_set * (1 + band)
    return NumericQuestion(
        key,
        f"A worker is set to {worker}. The tag of its monitor says {monitor}, and the operator's procedure lets a "
        f"monitor stand within {band:.0%} of its tag. The test gauge reads {reads} too high. In a take-over test, what "
        "is the highest reading of that gauge at which the monitor is still within its band?",
        "low_gauge_pressure",
        top + wrong,
        f"The band's upper edge is {1 + band:.2f} of the tag, {format_pressure(top, units)}. There the gauge shows "
        f"{reads} more. A band belongs to the tag, an error to the gauge: write both down.",
        (
            Slip("the gauge's error was left out", top, "The gauge reads too high: at that pressure it shows more."),
            Slip("the gauge's error was taken off", top - wrong, "A reading that is too high is above what is there."),
            Slip("the band was left out", monitor_set + wrong, "The tag is the middle of the band, not its edge."),
            Slip("the worker's tag was used", worker_set * (1 + band) + wrong, "In a take-over the monitor holds."),
        ),
        relative_tolerance=0.005,
        units=units,
    )


def passes(diameter: float, gauge: float) -> float:
    """Standard flow [m3/s] through a wide-open orifice [m] from an inlet [Pa gauge] to little above the air's."""
    inlet = gauge + STANDARD_ATMOSPHERE
    area = DISCHARGE * pi / 4 * diameter**2
    return standard_flow(mass_flow(area, inlet, STANDARD_ATMOSPHERE, NATURAL_GAS, SIXTY_FAHRENHEIT), NATURAL_GAS)


def _capacity(key: str, chance: Random, units: str) -> NumericQuestion:
    # Sizes of orifices as they are sold, in sixteenths of an inch.
    small, large = sorted(chance.sample((3, 4, 5, 6, 8), 2))
    first, second = (rounded(n / 16 * INCH, "small_length", units) for n in (small, large))
    before = pick(chance, "gauge_pressure", units, (40, 60, 5), (2.75, 4, 0.25))
    now = before + pick(chance, "gauge_pressure", units, (20, 40, 5), (1.5, 2.75, 0.25))
    flow = rounded(passes(first, before), "standard_flow", units)
    truth = flow * passes(second, now) / passes(first, before)
    air = STANDARD_ATMOSPHERE
    wider, higher = (second / first) ** 2, (now + air) / (before + air)
    sizes = tuple(format_quantity(d, "small_length", units) for d in (first, second))
    inlets = tuple(format_pressure(p, units) for p in (before, now))
    passed, outside = format_quantity(flow, "standard_flow", units), format_quantity(air, "absolute_pressure", units)
    return NumericQuestion(
        key,
        f"When a relief valve was chosen, the worker before it had an orifice of {sizes[0]} and an inlet of "
        f"{inlets[0]}; wide open it passed {passed}, and the valve was made for that. Since then the worker has been "
        f"given an orifice of {sizes[1]}, and the inlet holds {inlets[1]}. The air stands at {outside}. At the yearly "
        "review of its capacity: about how much must the valve pass now?",
        "standard_flow",
        truth,
        f"Choked, the flow goes as the orifice's area, that is the diameter squared: {wider:.2f} times. And it goes as "
        f"the absolute inlet pressure: {higher:.2f} times. A pop test says where a valve opens, not what it passes.",
        (
            Slip("the diameters were not squared", flow * second / first * higher, "An area goes as the square."),
            Slip("gauge pressures were used", flow * wider * now / before, "Add the air's pressure to both."),
            Slip("the inlet was left out", flow * wider, "The inlet is higher too, and more comes through."),
            Slip("the orifice was left out", flow * higher, "The larger orifice lets more through."),
            Slip("nothing was reviewed", flow, "What the valve was once made for is not what can come today."),
        ),
        relative_tolerance=0.02,
        units=units,
    )


def lifting(chance: Random, units: str) -> tuple[Trace, float, Station]:
    """A pop test as found of a relief valve that has drifted, when it begins to open [s], and the station."""
    here = drawn(chance, units, "pop")
    (worker,) = (r for r in here.regulators if r.name != MONITOR)
    drift = chance.choice((-1, 1)) * chance.uniform(1.0, 2.5) * IN_WC
    level = worker.set_gauge_pressure + chance.uniform(11.0, 14.0) * IN_WC
    fault = WrongSetting(devices=RELIEF, by=drift, onset=-100.0)
    whole = under_test(here, "pop", level, (fault,))
    trace = simulate(replace(whole, duration=FOUND + RISES + RISE + AFTER))
    after = trace.times > FOUND + RISES
    lifted = trace.times[after & (trace[f"{RELIEF}_lift_share"] > LIFTED)]
    return trace, float(lifted[0]), here


def _lifts(key: str, chance: Random, units: str) -> TraceQuestion:
    trace, time, here = lifting(chance, units)
    half = READ_OFF * trace.scenario.duration
    should = tag(here, "pop").gauge_pressure
    value = format_pressure(trace.at(OUTLET, time), units)
    return TraceQuestion(
        key,
        f"In a pop test the outlet valve is shut, and from {FOUND + RISES:.0f} s on test gas is let in slowly. The "
        f"relief valve's tag says {format_pressure(should, units)}. When does the relief valve begin to open?",
        outlet_picture(trace, units, marks=(("tag", should),)),
        (time - half, time + half),
        trace.scenario.duration,
        f"Test gas drives the outlet up in a straight line. At {time:.0f} s, at {value}, the line bends and the outlet "
        "rises no further: what comes in now leaves by the stack. That bend is the reading as found; the tag only says "
        "what it should be.",
    )


# What each hidden condition is called, and what the readings say of it.
CONDITIONS: Mapping[str, tuple[str, str]] = {
    "sound": ("all are sound", "Each reading is within its band, and the slam-shut shuts."),
    "seat": ("the worker's seat leaks", "With nothing flowing the outlet climbs past lock-up."),
    "monitor": ("the monitor is stuck open", "With the worker's screw turned in, nothing holds the outlet."),
    "relief": ("the relief valve has drifted up", "It opens, but well above its band."),
    "shut": ("the relief valve's isolating valve is shut", "It never opens, however far the test goes."),
    "trip": ("the slam-shut's trip has drifted up", "It trips and shuts, but well above its band."),
    "latch": ("the slam-shut's latch is stuck", "The trip lets go where it should, and the valve stays open."),
}


def sheet(here: Mapping[str, Station], hidden: str, units: str) -> tuple[tuple[str, ...], ...]:
    """The sheet of a visit: a row for each test, with the band and the reading as found."""
    rows: list[tuple[str, ...]] = [("Test", "What is read", "Band", "As found")]
    shuts = ""
    for test in TESTED:
        of = here[test]
        level = tag(of, "lock-up").gauge_pressure + FAR
        trace = as_found(of, test, level, hidden)
        found, should = read(trace, test, FOUND), tag(of, test)
        band = f"{format_pressure(should.low, units)} to {format_pressure(should.high, units)}"
        rows.append((test, READ_AS[test], band, reading_words(found, test, units)))
        if test == "trip":
            shuts = "shuts" if found.acted else "stays open"
    return (*rows, ("trip", "slam-shut, then", "shuts", shuts))


def _hidden(key: str, chance: Random, units: str) -> ChoiceQuestion:
    state = chance.getstate()
    stations = {}
    for test in TESTED:
        chance.setstate(state)
        stations[test] = drawn(chance, units, test)
    truth = chance.choice(list(CONDITIONS))
    others = chance.sample([one for one in CONDITIONS if one != truth], 4)
    options = chance.sample([truth, *others], 5)

    def told(one: str) -> str:
        words = CONDITIONS[one][1]
        return words if one == truth else f"Then this would be read: {words[0].lower()}{words[1:]}"

    return ChoiceQuestion(
        key,
        "A qualified crew has tested a station, and this is the sheet of the visit as found. The day before, with the "
        "burners on, every gauge stood where it should. What is wrong?",
        tuple(CONDITIONS[one][0] for one in options),
        options.index(truth),
        tuple(told(one) for one in options),
        "A worn seat shows as soon as nothing flows, each of the others in one test only: that is why each layer has "
        "a test of its own.",
        table=sheet(stations, truth, units),
        units=units,
    )


VERDICTS = ("it passes", "it fails", "it proves nothing yet")
# Tests and hidden conditions to judge, and whether the test goes far enough.
TO_JUDGE = (
    *(("take-over", "sound", True), ("take-over", "monitor", True), ("take-over", "monitor", False)),
    *(("pop", "sound", True), ("pop", "relief", True), ("pop", "shut", False), ("pop", "shut", True)),
    *(("trip", "sound", True), ("trip", "trip", True), ("trip", "latch", True), ("trip", "sound", False)),
)


def _verdict(key: str, chance: Random, units: str) -> ChoiceQuestion:
    test, hidden, far = chance.choice(TO_JUDGE)
    here = drawn(chance, units, test)
    should = tag(here, test)
    level = rounded(
        tag(here, "lock-up").gauge_pressure + FAR if far else should.gauge_pressure * chance.uniform(0.88, 0.94),
        "low_gauge_pressure",
        units,
    )
    found = read(as_found(here, test, level, hidden), test, FOUND)
    right = VERDICTS[0] if found.passes else VERDICTS[1] if found.fails else VERDICTS[2]
    device = {"take-over": "monitor", "pop": "relief valve", "trip": "slam-shut"}[test]
    acted = {"take-over": "took over", "pop": "opened", "trip": "tripped"}[test]
    tagged, low, high, top = (
        format_pressure(p, units) for p in (should.gauge_pressure, should.low, should.high, level)
    )
    rows = [
        ("What was read", "As found"),
        ("tag", tagged),
        ("band", f"{low} to {high}"),
        ("test was to go up to", top),
        (READ_AS[test], reading_words(found, test, units)),
    ]
    if test == "trip":
        rows.append(("slam-shut at the end", "shut" if found.acted else "open"))
    told = {
        VERDICTS[0]: "The layer did its work, and within its band."
        if right == VERDICTS[0]
        else "To pass, the layer must be seen to do its work, and within its band.",
        VERDICTS[1]: "The test went past the band, and the layer did not do its work within it."
        if right == VERDICTS[1]
        else f"It {acted} within its band{' and shut' if test == 'trip' else ''}: nothing failed."
        if right == VERDICTS[0]
        else "To fail it, the test must go past the band or show the layer at fault.",
        VERDICTS[2]: "The test ended below the band: a layer that has had no cause to act is neither good nor bad."
        if right == VERDICTS[2]
        else "The test went far enough to tell.",
    }
    options = chance.sample(VERDICTS, 3)
    return ChoiceQuestion(
        key,
        f"A qualified crew has made a {test} test of a {device}. What does the test come to?",
        tuple(options),
        options.index(right),
        tuple(told[option] for option in options),
        "A reading has a meaning only beside its tag and its band, and only if the test went far enough.",
        table=tuple(rows),
        units=units,
    )


# A visit's steps in order; and pairs that must not be turned round, with the reason.
STEPS = (
    "Tell the operator, and see that the houses are fed another way or safely shut off",
    "Read every gauge and tag before anything is touched",
    "Shut the outlet valve, lock it and tag it",
    "Test the layer slowly, and write down where it acts, as found",
    "Put right what was outside its band",
    "Test it again, and write that down, as left",
    "Put every screw and valve back, test what was opened for leaks, and lock all as the drawing says",
    "Open the outlet valve slowly, with an eye on the gauges",
)
SAFETY: Mapping[tuple[int, int], str] = {
    (0, 2): "The flames in the houses go out, and gas comes back to them later with nothing to light it.",
    (1, 3): "Once something is touched, nobody can know any more how it was found.",
    (2, 3): "With the outlet valve open the pressure of the test goes to the appliances.",
    (3, 4): "Mended first, it can no longer be known whether the layer would have acted all this year.",
    (4, 5): "A mend that nobody has tested is a hope, as the layer was before.",
    (6, 7): "A valve left shut after a test is a layer gone, and no gauge will say so.",
}


def _steps(key: str, chance: Random, units: str) -> OrderQuestion:
    here = drawn(chance, units, "pop")
    device, test = chance.choice((("monitor", "take-over"), ("relief valve", "pop"), ("slam-shut", "trip")))
    tagged = format_pressure(tag(here, test).gauge_pressure, units)
    return safe_steps(
        key,
        f"A qualified crew comes to a station for its yearly {test} test. The {device}'s tag says {tagged}. Put what "
        "they do in order.",
        STEPS,
        SAFETY,
        "As found comes before any work, as left after it.",
        chance,
    )


ITEMS = (
    Item("13.due", "13", "Say by when a station must be inspected again.", _due),
    Item("13.band", "13", "Reckon which reading of a test gauge is still within a tag's band.", _band),
    Item("13.lifts", "13", "Read from a pop test's trace where a relief valve begins to open.", _lifts),
    Item("13.steps", "13", "Put the steps of a test visit in order, as found before as left.", _steps),
    Item("13.hidden", "13", "Tell from a sheet of readings as found which layer is defeated.", _hidden),
    Item("13.verdict", "13", "Say whether a test passes, fails, or proves nothing yet.", _verdict),
    Item("13.capacity", "13", "Review what a relief valve must pass after changes at its worker.", _capacity),
)
