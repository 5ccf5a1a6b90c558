"""What lesson 13 states: its numbers worked out anew, what shows each statement, and the source of each rule."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from lesson_text import INLET_GAUGE, NIGHT_AT, bench_trace, both, pressure

from toolkit.layers import MONITOR
from toolkit.limits import INSPECTION_MONTHS, inspection_due
from toolkit.panels import lesson_07, lesson_13
from toolkit.panels.words import vented_words
from toolkit.quiz.lesson_13 import passes
from toolkit.quiz.proof import (
    END,
    FAILS,
    FOUND,
    LEFT,
    LINE,
    OUTLET,
    RATING,
    RELIEF,
    RISE,
    SHUTOFF,
    TESTED,
    read,
    tag,
    tripped,
)
from toolkit.trace import Trace
from toolkit.units import IN_WC, INCH

BETWEEN = "interstage_gauge_pressure"
CONDITIONS = {value: words for words, value in lesson_13.CONDITION.options}
TESTS = {value: words for words, value in lesson_13.TESTS.options}
# A gauge's delay in the worked example [s].
LATE = 2.0
# The worker's old and new orifice in the worked example [m].
NARROW, WIDER = 0.25 * INCH, 0.375 * INCH


def ran(test: str, hidden: str, **chosen: Any) -> Trace:
    """A run of the bench, by the values of its choices."""
    return bench_trace(lesson_13, test=TESTS[test], hidden=CONDITIONS[hidden], **chosen)


def found(test: str, hidden: str, start: float = FOUND, **chosen: Any) -> str:
    """What a test of the bench reads, in both."""
    return pressure(read(ran(test, hidden, **chosen), test, start).gauge_pressure)


def day(one: date) -> str:
    """A date as the text writes it."""
    return f"{one:%B} {one.day}, {one.year}"


def worked() -> dict[str, str]:
    sound = ran("take-over", "sound")
    should = tag(sound.scenario.station, "take-over")
    low, high = should.low, should.high
    assert (low, high) == pytest.approx((0.95 * should.gauge_pressure, 1.05 * should.gauge_pressure))
    # "from lock-up, in a straight line": what the bench's test gas does
    pop = ran("pop", "shut", mend="it is left as it is")
    lock_up = tag(pop.scenario.station, "lock-up").gauge_pressure
    each = (20 * IN_WC - lock_up) / RISE
    rises = pop.at(OUTLET, FOUND + 80) - pop.at(OUTLET, FOUND + 40)
    assert rises / 40 == pytest.approx(each, rel=0.03)
    spring, autumn = date(2026, 5, 12), date(2026, 10, 12)
    ends = date(2027, 8, 12), date(2027, 12, 31)
    for last, due in zip((spring, autumn), ends, strict=True):
        assert due.isoformat() in inspection_due(last, due).finding
    before, now = passes(NARROW, INLET_GAUGE), passes(WIDER, INLET_GAUGE)
    # The bench's own worker, wide open: its lift leaves less of the same hole free.
    bench = bench_trace(lesson_07).at(lesson_07.STACK_FLOW, NIGHT_AT)
    assert bench < before  # "the larger of the two"
    return {
        "tag": pressure(should.gauge_pressure),
        "band": "5 %",
        "low": f"0.95 of the tag, {pressure(low)}",
        "high": f"1.05 of the tag, {pressure(high)}",
        "sound": found("take-over", "sound"),
        "stuck": found("take-over", "monitor"),
        "lock-up": pressure(lock_up),
        "level": pressure(20 * IN_WC),
        "rise": f"{RISE:.0f} seconds",
        "each": both(each, "pressure_difference"),
        "late": f"{LATE:.0f} seconds",
        "short": both(LATE * each, "pressure_difference"),
        "spring": f"{day(spring)}; {INSPECTION_MONTHS} months later is {day(ends[0])}",
        "autumn": f"{day(autumn)}; {INSPECTION_MONTHS} months later is {day(date(2028, 1, 12))}",
        "year": day(ends[1]),
        "narrow": both(NARROW, "small_length"),
        "wider": both(WIDER, "small_length"),
        "inlet": pressure(INLET_GAUGE),
        "before": f"it passes {both(before, 'standard_flow')}",
        "bench": f"in lesson 07, with its small lift, passes {both(bench, 'standard_flow')}",
        "times": f"{now / before:.2f}",
        "now": both(now, "standard_flow"),
    }


def happened() -> dict[str, str]:
    usual = {hidden: ran("none", hidden) for hidden in CONDITIONS}
    # "With the burners on, every gauge shows the same, whatever is hidden"
    for signal in (OUTLET, LINE, BETWEEN, "inlet_gauge_pressure"):
        assert len({pressure(run.at(signal, FAILS)) for run in usual.values()}) == 1
    station = usual["sound"].scenario.station
    tags = {test: tag(station, test).gauge_pressure for test in TESTED}
    worker = next(r for r in station.regulators if r.name != MONITOR)
    # "At night a recorder would show the worn seat", "as soon as nothing flows", "none of the other five"
    idle = {hidden: pressure(ran("take-over", hidden).at(OUTLET, FOUND)) for hidden in CONDITIONS}
    assert [hidden for hidden in CONDITIONS if idle[hidden] != idle["sound"]] == ["seat"]
    # "show in one test each"
    for hidden in set(CONDITIONS) - {"sound"}:
        fails = [t for t in TESTED if read(ran(t, hidden, mend="it is left as it is"), t, FOUND).fails]
        assert len(fails) == 1, hidden
    assert all(read(ran(test, "sound"), test, FOUND).passes for test in TESTED)
    stuck, blocked, latch = ran("take-over", "monitor"), ran("pop", "shut"), ran("trip", "latch")
    # "the relief valve lets it off", "the slam-shut trips first", "and the valve stays open"
    assert stuck.happened("valve_opens", RELIEF)
    assert latch.at(f"{SHUTOFF}_open_share", FOUND + 160) == 1.0
    for run, test in ((stuck, "take-over"), (blocked, "pop"), (latch, "trip")):
        assert read(run, test, LEFT).passes
    low = ran("take-over", "sound", level=9 * IN_WC)
    assert not read(low, "take-over", FOUND).proves
    assert not read(ran("take-over", "monitor", level=9 * IN_WC), "take-over", FOUND).proves
    failed = {hidden: ran("fails", hidden) for hidden in ("sound", "monitor")}
    us, metric = (vented_words(failed["monitor"], units) for units in ("us", "metric"))
    assert vented_words(failed["sound"], "us") == "none"
    # "the line behind it stays at"
    assert max(run.peak(LINE)[1] for run in (stuck, blocked, latch)) < 1.01 * tags["lock-up"] < RATING
    seat = ran("lock-up", "seat")
    return {
        "worker": pressure(worker.set_gauge_pressure),
        "monitor": pressure(tags["take-over"]),
        "relief": pressure(tags["pop"]),
        "trip": pressure(tags["trip"]),
        "usual": pressure(usual["monitor"].at(OUTLET, FAILS)),
        "between": pressure(usual["monitor"].at(BETWEEN, FAILS)),
        "lock-up": pressure(tags["lock-up"]),
        "begins": pressure(seat.at(OUTLET, FOUND)),
        "seat row": f"| worker's seat worn | lock-up | {pressure(tags['lock-up'])} | {found('lock-up', 'seat')} |",
        "monitor row": f"| monitor stuck open | take-over | {pressure(tags['take-over'])} "
        f"| {found('take-over', 'monitor')} |",
        "relief row": f"| relief valve drifted up | pop | {pressure(tags['pop'])} | {found('pop', 'relief')} |",
        "shut row": f"| relief's isolating valve left shut | pop | {pressure(tags['pop'])} "
        f"| still shut at {found('pop', 'shut')} |",
        "trip row": f"| slam-shut drifted up | trip | {pressure(tags['trip'])} "
        f"| still open at {found('trip', 'trip')} |",
        "latch row": f"| slam-shut's latch stuck | trip | {pressure(tags['trip'])} "
        f"| trips at {found('trip', 'latch')}, stays open |",
        "sound": found("take-over", "sound"),
        "stuck": found("take-over", "monitor"),
        "left": found("take-over", "monitor", LEFT),
        "trips first": pressure(tripped(blocked, FOUND)[0]),
        "level": pressure(9 * IN_WC),
        "fails, sound": pressure(failed["sound"].at(OUTLET, END - 1)),
        "fails, stuck": pressure(failed["monitor"].at(OUTLET, END - 1)),
        "let off": f"{us} ({metric})",
        "line": pressure(stuck.peak(LINE)[1]),
        "rating": pressure(RATING),
    }


NUMBERS = {"Worked example": worked, "What happened": happened}

# What "In the field" tells of rules, with the source that has it.
TOLD = [
    ("at least once each calendar year, and at most 15 months apart", "cfr-192-739"),  # 192.739(a)
    ("in good condition, large enough, set to the right pressure, and kept from dirt and water", "cfr-192-739"),  # (a)
    ("The capacity of a relief valve is looked at as often, by a test in place or by reckoning", "cfr-192-743"),
    ("so that one can test at what pressure it acts and whether it leaks", "cfr-192-199"),  # 192.199(c)
    (
        "A shutoff valve that would put a relief out of work must be kept from the wrong hands",
        "cfr-192-199",
    ),  # 192.199(h)
    ("The operator keeps records of who is qualified for which task", "cfr-192-803"),  # 192.807
]

BENCH_TESTS = "test tests/test_panel_lesson_13.py"
USUAL = "test_the_key_of_the_prediction_is_what_happens"

# What the lesson teaches, each sentence as it stands there, and what shows it.
TEACHES = [
    ("With the burners on, every gauge shows the same, whatever is hidden.", f"{BENCH_TESTS}::{USUAL}"),
    (
        "At night a recorder would show the worn seat, and still none of the other five.",
        f"{BENCH_TESTS}::test_once_nothing_flows_the_outlet_shows_the_worn_seat_and_no_other",
    ),
    (
        "A layer that nobody has tested is a hope.",
        f"{BENCH_TESTS}::test_the_day_the_worker_fails_tells_what_the_hidden_condition_costs",
    ),
    (
        "The worn seat shows as soon as nothing flows; the five others show in one test each.",
        f"{BENCH_TESTS}::test_a_hidden_condition_fails_its_own_test_and_no_other",
    ),
    (
        "Behind the shut outlet valve the appliances see nothing of the test.",
        f"{BENCH_TESTS}::test_the_line_behind_the_shut_valve_sees_nothing_of_any_test",
    ),
    ("As found is read before anything is touched.", "item 13.steps"),
    (
        "As left is the same test again, after the work.",
        f"{BENCH_TESTS}::test_what_was_found_is_put_right_and_tested_again",
    ),
    (
        "The monitor has hidden the worn seat.",
        f"{BENCH_TESTS}::test_a_worn_seat_climbs_until_the_monitor_has_shut",
    ),
    ("A test that ends too low proves nothing.", "item 13.verdict"),
    ("A trip that lets go is half the test: see the valve shut.", "item 13.hidden"),
    ("A band belongs to the tag, and an error to the gauge.", "item 13.band"),
    ("The earlier of the two counts.", "item 13.due"),
    ("A pop test says where a relief valve opens, not how much it can pass.", "item 13.capacity"),
    ("Never mend first and read later.", "item 13.steps"),
    ("Never leave with a relief's isolating valve shut.", "bench"),
    (
        "Federal rules want such a station tested at least once each calendar year, and at most 15 months apart.",
        "source cfr-192-739",
    ),
    ("The capacity of a relief valve is looked at as often, by a test in place or by reckoning.", "source cfr-192-743"),
]
