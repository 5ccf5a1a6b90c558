"""What lesson 11 states: its numbers worked out anew, what shows each statement, and the source of each rule."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import pytest
from lesson_text import HERE, INLET_GAUGE, INTERSTAGE, OUTLET, bench_trace, both, pressure

from toolkit.choosing import LET_OFF, MORNING, NIGHT, Cell, Row, base_station, compare
from toolkit.panels import lesson_11
from toolkit.panels.words import clock, vented_words
from toolkit.scenario import Station
from toolkit.trace import Trace, time_above
from toolkit.units import FOOT, PSI

LOAD = HERE.loads[0]
RATING = LOAD.maximum_gauge_pressure
STUCK, SLOW, VENT, LINE, SLUG, SUN = (value for _, value in lesson_11.FAILURE.options[:6])
# An invented visit to an invented bakery [min]: the way there, the cause found and mended, the ovens and each of them.
WAY, MENDS, OVENS, AN_OVEN = 40, 60, 12, 5


def ran(layer: str, failure: str = STUCK, **chosen: Any) -> Trace:
    return bench_trace(lesson_11, layer=layer, failure=failure, **chosen)


@cache
def rows() -> dict[str, Row]:
    """The choosing table of the bench's own station."""
    return {row.layer: row for row in compare(lesson_11.base(lesson_11.BENCH.start("us")))}


def cell(layer: str, failure: str = STUCK) -> Cell:
    return next(one for one in rows()[layer].cells if one.failure == failure)


def bakery() -> Station:
    """A 2 psi line to ovens with regulators of their own, which take 5 psi at their inlets: invented."""
    plain = base_station()
    (worker,), (load,) = plain.regulators, plain.loads
    return replace(
        plain,
        # a stiffer spring for the higher set point
        regulators=(replace(worker, set_gauge_pressure=2 * PSI, spring_rate=4e3),),
        loads=(replace(load, rated_flow=6e-3, rated_gauge_pressure=2 * PSI, maximum_gauge_pressure=5 * PSI),),
    )


def let_off(amount: float) -> str:
    """Gas in standard volume, as the gauge of the bench says it."""
    us, metric = amount / FOOT**3, amount * 1e3
    return " (".join(f"{n:,.{1 if n < 100 else 0}f} {unit}" for n, unit in ((us, "ft³"), (metric, "L"))) + ")"


def vented(trace: Trace) -> str:
    return f"{vented_words(trace, 'us')} ({vented_words(trace, 'metric')})"


def table() -> dict[str, str]:
    """The choosing table of the text: with the worker stuck wide open, and what defeats each layer."""
    made = {}
    for name, row in rows().items():
        one = cell(name)
        gone = let_off(one.vented) if one.vented > LET_OFF else "none"
        over = ", above the rating" if lesson_11.outcome(ran(name)).overfed else ""
        gas, comes = f"yes{over}" if one.served else "no", "yes" if one.reset else "no"
        made[name] = f"| {name} | {pressure(one.peak)} | {gone} | {gas} | {comes} |"
        made[f"{name}, defeated"] = f"| {name} | {'; '.join(row.defeated_by) or 'none of these'} |"
    return made


def happened() -> dict[str, str]:
    valve, shut, lockout, monitor = (
        ran(name) for name in ("relief valve", "slam-shut", "high switch, locks out burners", "monitor, wide open")
    )
    # The bench is the table: checked where the text leans on it.
    for name, trace in (("relief valve", valve), ("slam-shut", shut), ("monitor, wide open", monitor)):
        assert trace.peak(OUTLET)[1] == pytest.approx(cell(name).peak, rel=0.01)
    limit = lesson_11.limit(monitor.scenario.station)
    assert time_above(monitor.times, monitor[OUTLET], RATING) < 1.0  # "for less than a second"
    fed = lesson_11.outcome(valve)
    assert fed.overfed
    assert fed.goes_on  # "until somebody comes"
    assert lesson_11.must_come(lesson_11.outcome(monitor)).startswith("soon")  # "somebody must come"
    assert valve.at(OUTLET, NIGHT - 1) > RATING
    over = time_above(shut.times, shut[OUTLET], limit)
    assert 0.0 < over < 5.0  # "for a moment"
    slow_shut, slow_valve = ran("slam-shut", SLOW), ran("relief valve", SLOW)
    assert RATING < slow_shut.at(OUTLET, MORNING - 1) < limit  # "within the code's", "far above the tag's"
    slow_monitor = ran("monitor, wide open", SLOW)
    # "the monitor shuts", "what stood between the two still seeps", "above the rating" until the morning
    assert slow_monitor.at("monitor_lift", 300.0) == 0.0
    assert slow_monitor.at(INTERSTAGE, 120.0) > 10 * slow_monitor.at(INTERSTAGE, MORNING - 1)
    assert slow_monitor.at(INTERSTAGE, MORNING - 1) == pytest.approx(slow_monitor.at(OUTLET, MORNING - 1), rel=0.01)
    assert slow_monitor.at(OUTLET, MORNING - 1) > RATING
    # "the bench says that it hunts": the working monitor does, the other does not
    assert ran("monitor, working").happened("hunts")
    assert not monitor.happened("hunts")
    sun = ran("slam-shut", SUN)
    bare = ran("none", SUN)
    assert sun.peak(OUTLET)[1] == pytest.approx(bare.peak(OUTLET)[1], rel=0.01)  # "with no layer at all"
    assert lesson_11.outcome(bare).served
    assert not lesson_11.outcome(sun).served
    slug, both_kinds = ran("monitor, wide open", SLUG), ran("monitor and slam-shut", SLUG)
    assert both_kinds.peak(OUTLET)[1] < limit < slug.peak(OUTLET)[1]
    nest = ran("internal relief", VENT)
    assert vented_words(nest, "us") == "none"
    assert ran("none", VENT).peak(OUTLET)[1] < nest.peak(OUTLET)[1]
    pair = ran("relief valve and slam-shut")
    assert not pair.happened("trips_high")
    return {
        "rating": pressure(RATING),
        "limit": pressure(limit),
        "monitor, night": pressure(monitor.at(OUTLET, MORNING - 1)),
        "monitor, peak": pressure(monitor.peak(OUTLET)[1]),
        "valve, night": pressure(valve.at(OUTLET, MORNING - 1)),
        "valve, morning": pressure(fed.fed_at),
        "valve, vented": vented(valve),
        "shut, trips": pressure(shut.happened("trips_high")[0].value),
        "shut, peak": pressure(shut.peak(OUTLET)[1]),
        "lockout": pressure(lockout.at(OUTLET, MORNING - 1)),
        "slow, monitor": f"The outlet ends at {pressure(slow_monitor.at(OUTLET, MORNING - 1))}",
        "slow, shut": pressure(slow_shut.peak(OUTLET)[1]),
        "slow, valve": vented(slow_valve),
        "sun": pressure(sun.peak(OUTLET)[1]),
        "slug": pressure(slug.peak(OUTLET)[1]),
        "slug, two kinds": pressure(both_kinds.peak(OUTLET)[1]),
        "slug, trips": clock(both_kinds.happened("trips_high")[0].time),
        "nest": pressure(nest.peak(OUTLET)[1]),
        "pair": pressure(pair.peak(OUTLET)[1]),
        **table(),
    }


def worked() -> dict[str, str]:
    valve = ran("relief valve")
    (stack,) = valve.scenario.station.relief_valves
    flow = valve.at(f"{stack.name}_flow", MORNING - 1)
    load = valve.scenario.station.loads[0].rated_flow
    hours = (MORNING - NIGHT) / 3600
    # The reckoned amount is what the bench lets off in its night, but for the moment in which the burners go off.
    at = (valve.times >= NIGHT + 10) & (valve.times <= MORNING)
    times, flows = valve.times[at], valve[f"{stack.name}_flow"][at]
    integral = float(((flows[1:] + flows[:-1]) / 2 * (times[1:] - times[:-1])).sum())
    assert flow * hours * 3600 == pytest.approx(integral, rel=0.02)
    down = WAY + MENDS + OVENS * AN_OVEN
    row = {
        one.layer: one for one in compare(bakery(), ("monitor, wide open", "slam-shut", "high switch, trips slam-shut"))
    }
    peaks = {layer: next(c.peak for c in one.cells if c.failure == STUCK) for layer, one in row.items()}
    held = row["slam-shut"].limit_gauge_pressure
    assert peaks["monitor, wide open"] < peaks["high switch, trips slam-shut"] < held < peaks["slam-shut"]
    return {
        "flow": both(flow, "standard_flow"),
        "burners": both(load, "standard_flow"),
        "times": f"{flow / load:.0f} times",
        "night": f"{hours * 60:.0f} minutes",
        "hours": f"{hours:.2f} hours",
        "amount": let_off(flow * hours * 3600),
        "inlet": pressure(INLET_GAUGE),
        "way": f"{WAY} minutes",
        "mends": f"{MENDS} minutes",
        "ovens": f"{OVENS} ovens",
        "each": f"{AN_OVEN} minutes",
        "lit": f"{OVENS * AN_OVEN} minutes",
        "down": f"{down} minutes",
        "set": pressure(2 * PSI),
        "held": pressure(held),
        "monitor": pressure(peaks["monitor, wide open"]),
        "shut": pressure(peaks["slam-shut"]),
        "switch": pressure(peaks["high switch, trips slam-shut"]),
    }


NUMBERS = {"Worked example": worked, "What happened": happened}
# What "In the field" tells of rules and reports, with the source that has it.
TOLD = [
    ("a monitor in series, a relief valve that vents outdoors, or a shutoff that is reset by hand", "cfr-192-197"),
    ("Its stack must end where gas can leave without undue hazard", "cfr-192-199"),
    ("Damage to one control line must not take out both", "cfr-192-203"),
    ("each calendar year, at most 15 months apart", "cfr-192-739"),
    ("no more than 2 psi", "ifgc-416"),
]

# What the lesson teaches, each sentence as it stands there, and what shows it.
TEACHES = [
    ("A layer can keep the gas, vent it, or stop it.", "item 11.read"),
    ("Nobody must relight, but somebody must come: one layer is left.", "bench"),
    ("To keep it costs the least while it works, and nobody may notice that it works.", "bench"),
    (
        "With slow debris the monitor shuts, but what stood between the two still seeps through the worker's seat.",
        "bench",
    ),
    (
        "With the working monitor and the worker wide open, the bench says that it hunts.",
        "test tests/test_panel_lesson_11.py::test_the_sentence_tells_what_it_costs_whom",
    ),
    (
        "It keeps the gas on, but not in the pipe.",
        "test tests/test_choosing.py::test_what_is_let_off_and_what_is_kept",
    ),
    ("Held within the code is not the same as held within the tag.", "bench"),
    ("In the morning nobody has gas, until somebody qualified has come.", "item 11.fits"),
    (
        "It stops the burners and not the gas.",
        "test tests/test_choosing.py::test_burners_locked_out_do_not_lower_the_pressure",
    ),
    ("The same layer is right for one place and wrong for the next.", "item 11.fits"),
    (
        "A shutoff needs its time: what is fast has gone by before it is shut.",
        "test tests/test_choosing.py::test_a_shutoff_needs_its_time",
    ),
    (
        "A monitor stands in the same gas as its worker, so one slug of grit can foul both seats.",
        "item 11.defeat",
    ),
    (
        "A layer on the worker's own diaphragm shares its vent and its sensing line.",
        "test tests/test_choosing.py::test_a_layer_on_the_worker_s_own_diaphragm_shares_its_vent_and_its_line",
    ),
    (
        "So choose a second layer of another kind.",
        "test tests/test_choosing.py::test_a_cause_that_takes_two_seats_defeats_what_stands_in_series",
    ),
    (
        "With the relief valve set below it, the slam-shut stays open, and the burners keep their gas.",
        "test tests/test_choosing.py::test_a_relief_before_a_slam_shut_keeps_the_service",
    ),
    ("Warm gas that is locked in trips a shutoff, though every device is sound.", "bench"),
    (
        "The layer that throttles holds the lowest, and the one that must first fall shut lets a jump through.",
        "item 11.peaks",
    ),
    ("A relief valve lets gas go until somebody comes, so what it costs is a matter of time.", "item 11.let_off"),
    (
        "They want relief and limiting stations tested each calendar year, at most 15 months apart.",
        "source cfr-192-739",
    ),
]
