"""What lesson 14 states: its numbers worked out anew, what shows each statement, and the source of each rule."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from lesson_text import DAY_AT, INLET_GAUGE, NIGHT_AT, OUTLET, bench_trace, both, pressure

from toolkit.devices.regulator import lock_up_gauge_pressure
from toolkit.flow import nozzle, series, standard_flow
from toolkit.ladder import REGULATOR_ACCURACY, RELIEF_VALVE_TOLERANCE, take_over_gauge_pressure
from toolkit.panels import lesson_14
from toolkit.panels.controls import Choice
from toolkit.panels.lesson_14 import RATING, Outcome, defence, defended
from toolkit.panels.words import NO_GAS, clock, vented_words
from toolkit.scenario import Station
from toolkit.simulation import simulate
from toolkit.trace import Trace
from toolkit.units import IN_WC

SLUG, ISOLATED, STUCK = (
    "a slug of grit through both regulators",
    "a slug of grit, relief valve shut off",
    "a slug of grit, slam-shut stuck",
)
OPEN, LINE, SUN, GOOD_DAY = (
    "worker stuck wide open",
    "worker's sensing line broken",
    "sun on the locked-in pipe",
    "nothing, a good day",
)
SMALL = lesson_14.SIZE.options[1][0]


def settings(**chosen: Any) -> dict[str, Any]:
    """The bench's settings with some controls moved; a choice by its words."""
    made = lesson_14.BENCH.start("us")
    for control in lesson_14.BENCH.controls:
        if control.key in chosen:
            value = chosen.pop(control.key)
            made[control.key] = dict(control.options)[value] if isinstance(control, Choice) else value
    assert not chosen, f"no such controls: {chosen}"
    return made


def judged(**chosen: Any) -> dict[str, Outcome]:
    return defence(settings(**chosen))


def of_six(found: dict[str, Outcome]) -> str:
    """A row's two counts."""
    count, held, on = defended(found)
    assert count == 6  # "Six failures"
    return f"| {held} of {count} | {on} of {count} |"


def gas(trace: Trace) -> str:
    """What was let off, in both."""
    return f"{vented_words(trace, 'us')} ({vented_words(trace, 'metric')})"


def passes(of: Station, gauge: float) -> float:
    """What the relief valve passes at a pressure at full lift, standard m3/s."""
    (valve,) = of.relief_valves
    c = valve.condition(of.atmosphere)
    law = nozzle(of.gas.heat_ratio, of.rt)
    return standard_flow(law(series(c.flow_area, c.outlet_area), of.atmosphere + gauge, of.atmosphere), of.gas)


def worked() -> dict[str, str]:
    of, small = (lesson_14.station(settings(**chosen)) for chosen in ({}, {"size": SMALL}))
    monitor, worker = of.regulators
    (valve,), (shut,) = of.relief_valves, of.slam_shuts
    lock_up, held = (lock_up_gauge_pressure(r.condition(), INLET_GAUGE) for r in (worker, monitor))
    assert held == pytest.approx(bench_trace(lesson_14, failure=OPEN).peak(OUTLET)[1], rel=2e-3)
    latest, soonest = (
        held * (1 + REGULATOR_ACCURACY),
        valve.set_gauge_pressure * (1 - RELIEF_VALVE_TOLERANCE),
    )
    assert REGULATOR_ACCURACY == RELIEF_VALVE_TOLERANCE == shut.accuracy  # "the same 5 %"
    comes = standard_flow(lesson_14.wide_open_flow(of, valve.set_gauge_pressure), of.gas)
    assert passes(small, RATING) < comes / 4  # "less than a quarter"
    ends = lesson_14.relief_holds(of)
    # The closed form is what the bench does: both wide open, blind on one broken line.
    blind = bench_trace(lesson_14, lines="one for both", failure=LINE)
    assert blind.peak(OUTLET)[1] == pytest.approx(ends, rel=5e-3)
    trip = shut.high_gauge_pressure or 0.0
    trip_soonest, trip_latest = trip * (1 - shut.accuracy), trip * (1 + shut.accuracy)
    overrun = bench_trace(lesson_14).peak(OUTLET)[1] - trip
    assert trip_soonest > ends * (1 + RELIEF_VALVE_TOLERANCE)
    return {
        "lock-up": pressure(lock_up),
        "begins": pressure(take_over_gauge_pressure(monitor.condition())),
        "held": pressure(held),
        "accuracy": f"{REGULATOR_ACCURACY:.0%}".replace("%", " %"),
        "latest": pressure(latest),
        "soonest": pressure(soonest),
        "room": both(soonest - latest, "pressure_difference"),
        "opens": pressure(valve.set_gauge_pressure),
        "comes": both(comes, "standard_flow"),
        "full lift": pressure(valve.set_gauge_pressure * (1 + valve.build_up)),
        "passes": both(passes(of, valve.set_gauge_pressure * (1 + valve.build_up)), "standard_flow"),
        "ends": pressure(ends),
        "small passes": both(passes(small, RATING), "standard_flow"),
        "rating": pressure(RATING),
        "trip": pressure(trip),
        "trip soonest": pressure(trip_soonest),
        "trip latest": pressure(trip_latest),
        "overrun": both(overrun, "pressure_difference"),
        "worst": pressure(trip_latest + overrun),
        "left": both(RATING - trip_latest - overrun, "pressure_difference"),
    }


def listed() -> dict[str, str]:
    """The table of the failures as the bench starts."""
    found = judged()
    rows = {
        words: f"| {pressure(one.peak)} | {'on' if one.served else 'off'} | {', '.join(one.acted) or 'nothing'} |"
        for words, one in found.items()
    }
    assert defended(found) == (6, 6, 5)  # "all six", "five with gas on"
    return {f"row {words}": f"| {words} {row}" for words, row in rows.items()}


def happened() -> dict[str, str]:
    first, slug = bench_trace(lesson_14), bench_trace(lesson_14, failure=SLUG)
    well = bench_trace(lesson_14, failure=GOOD_DAY)
    of = first.scenario.station
    monitor, worker = of.regulators
    (tripped,) = first.happened("trips_high")
    assert not first.happened("valve_opens")
    assert first.at("appliances_flow", 539.0) == pytest.approx(0.0, abs=1e-6)
    changed = {
        "small": judged(size=SMALL),
        "one line": judged(lines="one for both"),
        "both": judged(size=SMALL, lines="one for both"),
        "trip low": judged(trip=11.5 * IN_WC),
        "trip first": judged(trip=13.5 * IN_WC),
        "trip high": judged(trip=28 * IN_WC),
        "relief low": judged(relief=10 * IN_WC),
        "monitor near": judged(above=0.5 * IN_WC),
        "none": judged(fitted="not fitted"),
    }
    # What the last column says.
    assert not changed["small"][STUCK].held
    assert not changed["both"][LINE].held
    assert not changed["both"][STUCK].held
    assert changed["one line"][LINE].acted == ("alarm", "relief valve")
    assert "slam-shut" in changed["trip low"][OPEN].acted
    # "stop first and vent nothing", "finds nothing wrong", "for a slam-shut that sticks", "now put the burners out"
    first_stops, usual = changed["trip first"], judged()
    assert lesson_14.order(lesson_14.station(settings(trip=13.5 * IN_WC))) == ()
    assert first_stops[SLUG].let_off == first_stops[SUN].let_off == NO_GAS
    assert "relief valve" in first_stops[STUCK].acted
    assert [w for w, one in first_stops.items() if usual[w].served and not one.served] == [SLUG, SUN]
    # "rings until it is reset by hand", "would fall silent as the burners empty the pipe"
    assert first.at("alarm_made", NIGHT_AT) == 1.0
    (alarm,) = of.switches
    letting_go = replace(first.scenario, station=replace(of, switches=(replace(alarm, manual_reset=False),)))
    assert simulate(letting_go).at("alarm_made", NIGHT_AT) == 0.0
    assert not changed["trip high"][ISOLATED].held
    assert "relief valve" in changed["relief low"][OPEN].acted
    assert changed["monitor near"][GOOD_DAY].acted == ("monitor", "alarm")
    assert [words for words, one in changed["none"].items() if one.held] == [GOOD_DAY, SUN]
    low, shared, own = (
        bench_trace(lesson_14, relief=10 * IN_WC, failure=OPEN),
        bench_trace(lesson_14, lines="one for both", failure=LINE),
        bench_trace(lesson_14, failure=LINE),
    )
    bare = bench_trace(lesson_14, fitted="not fitted", failure=OPEN)
    return {
        "worker": pressure(worker.set_gauge_pressure),
        "alarm": pressure(of.switches[0].high_gauge_pressure or 0.0),
        "monitor": pressure(monitor.set_gauge_pressure),
        "relief": pressure(of.relief_valves[0].set_gauge_pressure),
        "trip": pressure(of.slam_shuts[0].high_gauge_pressure or 0.0),
        "rating": pressure(RATING),
        "day": pressure(well.at(OUTLET, DAY_AT)),
        "night": pressure(well.at(OUTLET, NIGHT_AT)),
        "trips": clock(tripped.time),
        "highest": pressure(first.peak(OUTLET)[1]),
        "slug": f"{pressure(slug.at(OUTLET, DAY_AT))} by day and {pressure(slug.at(OUTLET, NIGHT_AT))} at the end",
        "slug vented": gas(slug),
        **listed(),
        **{f"count {key}": of_six(found) for key, found in changed.items()},
        "low trip": pressure(11.5 * IN_WC),
        "first trip": f"slam-shut at {pressure(13.5 * IN_WC)} {of_six(changed['trip first'])}",
        "high trip": pressure(28 * IN_WC),
        "low relief": pressure(10 * IN_WC),
        "near": both(0.5 * IN_WC, "pressure_difference"),
        "blows": gas(low),
        "shared": gas(shared),
        "own": gas(own),
        "bare": pressure(bare.peak(OUTLET)[1]),
    }


NUMBERS = {"Worked example": worked, "What happened": happened}

# What "In the field" tells of rules, with the source that has it.
TOLD = [
    ("each calendar year, at most 15 months apart", "cfr-192-739"),  # 192.739(a)
    ("sound in its parts, large enough and reliable, rightly set, and kept from dirt and water", "cfr-192-739"),
    ("is looked at anew in the same time", "cfr-192-743"),  # 192.743(a)
    ("a stop valve that nobody can shut without leave", "cfr-192-199"),  # 192.199(h)
    ("Damage to one control line must not take out both", "cfr-192-203"),  # 192.203(b)(9)
    ("a record of who was found qualified, for which task, when and how", "cfr-192-803"),  # 192.807
]

# What the lesson teaches, each sentence as it stands there, and what shows it.
TEACHES = [
    ("No layer answers them all.", "bench"),
    (
        "A layer that acts on a good day will be taken out of use by somebody, sooner or later.",
        "test tests/test_panel_lesson_14.py::test_a_good_day_wakes_nobody_but_a_monitor_set_too_near_does",
    ),
    (
        "The monitor answers the worker, the relief valve answers the slug, and the slam-shut answers what is left.",
        "bench",
    ),
    (
        "The shut valve had harmed nobody, and nobody had seen it, until the day it was needed.",
        "test tests/test_panel_lesson_14.py::test_the_key_of_the_prediction_is_what_happens",
    ),
    (
        "Two stations with the same count are not alike.",
        "test tests/test_panel_lesson_14.py::test_each_mistake_costs_what_the_lesson_says",
    ),
    (
        "With one line for both, a broken line blows off 338 ft³ (9,559 L).",
        "test tests/test_panel_lesson_14.py::test_one_line_for_both_takes_both_where_it_breaks",
    ),
    ("So write down four things for each failure: the highest, the gas, what is let off, and who must come.", "bench"),
    ("Does each layer act above the one before it, and all below the rating?", "item 14.ladder"),
    ("Are the bands of any two clear of each other?", "item 14.room"),
    ("Does the relief valve pass all that can come, at the highest inlet?", "item 14.capacity"),
    ("What single cause takes two of them?", "item 14.line"),
    (
        "So it passes all that can come at 17.4 in. w.c. (43.2 mbar), long before full lift.",
        "test tests/test_panel_lesson_14.py::test_what_the_relief_valve_holds_is_where_a_run_with_all_wide_open_ends",
    ),
    ("One of its layers may have been gone for all that time.", "item 14.gone"),
    ("Never mend a missing layer by setting another one nearer.", "bench"),
    ("Federal rules want stations looked at each calendar year, at most 15 months apart.", "source cfr-192-739"),
    ("They want a stop valve that nobody can shut without leave.", "source cfr-192-199"),
    ("Damage to one control line must not take out both the regulator and its protection.", "source cfr-192-203"),
]
