"""What lesson 10 states: its numbers worked out anew, and the source of each rule it tells."""

from __future__ import annotations

from math import floor
from typing import Any

import pytest
from lesson_text import DAY_AT, INLET_GAUGE, NIGHT_AT, OUTLET, bench_trace, both, pressure

from toolkit.devices.slam_shut import SlamShut
from toolkit.gas import standard_density
from toolkit.ladder import REGULATOR_ACCURACY, RELIEF_VALVE_TOLERANCE, Rung
from toolkit.limits import equipment_rating, overpressure_limit
from toolkit.margins import nuisance_of
from toolkit.panels import lesson_10
from toolkit.panels.lesson_10 import CLEAR, LIMIT, VALVE, comes, rungs, wrong
from toolkit.panels.words import clock, vented_words
from toolkit.trace import Trace
from toolkit.units import IN_WC, PSI, to_display

# The main's MAOP of the worked example, invented.
MAOP = 20 * IN_WC
HIGH_INLET = 100 * PSI
WORKER_OPEN, BOTH_OPEN, ALL_BUT_ONE, NOTHING = (
    "worker goes wide open",
    "worker and monitor go wide open",
    "both, and the relief valve is shut off",
    "nothing",
)
TOO_SMALL = next(words for words, letter in lesson_10.SIZE.options if letter == "E")


def percent(share: float, decimals: int = 0) -> str:
    return f"{share:.{decimals}%}".replace("%", " %")


def trace(**chosen: Any) -> Trace:
    return bench_trace(lesson_10, **{"trip": CLEAR, **chosen})


def rung(run: Trace, kind: str) -> Rung:
    (found,) = (one for one in rungs(run.scenario.station) if one.kind == kind)
    return found


def let_off(run: Trace) -> str:
    return f"{vented_words(run, 'us')} ({vented_words(run, 'metric')})"


def rounded_down(gauge: float) -> str:
    """A gauge pressure in both, to a tenth that it does not pass."""
    us, metric = (floor(10 * to_display(gauge, "low_gauge_pressure", units)) / 10 for units in ("us", "metric"))
    return f"{us:.1f} in. w.c. ({metric:.1f} mbar)"


def worked() -> dict[str, str]:
    run, caught = trace(), trace(failure=ALL_BUT_ONE)
    station = run.scenario.station
    by_rule = overpressure_limit(MAOP).gauge_pressure
    # "the lower of the two counts"
    assert by_rule == pytest.approx(1.5 * MAOP)
    assert by_rule > LIMIT
    assert [one.good for one in equipment_rating(by_rule, {"house regulator": LIMIT})] == [False]
    lock_up, held = rung(run, "lock_up"), rung(run, "monitor_held")
    starts, full = rung(run, "take_over"), rung(run, "valve_held")
    (valve,), (shut,) = station.relief_valves, station.slam_shuts
    monitor, worker = station.regulators
    # "inside the lock-up's band"; "what it holds must be clear"
    assert lock_up.gauge_pressure < starts.gauge_pressure < lock_up.high < held.low
    # "5 % of its set pressure", by hand
    off = RELIEF_VALVE_TOLERANCE * valve.set_gauge_pressure
    assert full.high == pytest.approx(full.gauge_pressure + off)
    lowest = held.high / (1 - RELIEF_VALVE_TOLERANCE)
    assert lowest < valve.set_gauge_pressure
    flow = comes(station, full.gauge_pressure) / standard_density(station.gas)
    lift = (full.gauge_pressure - valve.set_gauge_pressure) / (valve.build_up * valve.set_gauge_pressure)
    # The closed form is what the bench shows.
    assert run.at(OUTLET, NIGHT_AT) == pytest.approx(full.gauge_pressure, rel=1e-2)
    assert run.at(f"{VALVE}_flow", NIGHT_AT) == pytest.approx(flow, rel=5e-3)
    assert run.at(f"{VALVE}_lift_share", NIGHT_AT) == pytest.approx(lift, abs=0.02)
    soonest = full.high / (1 - SlamShut.accuracy)
    assert shut.high_gauge_pressure == CLEAR
    assert 20 * IN_WC < soonest < CLEAR
    run_on = caught.peak(OUTLET)[1] - CLEAR
    highest = (LIMIT - run_on) / (1 + SlamShut.accuracy)
    assert soonest < CLEAR < highest
    # "no room for another layer"
    assert highest / soonest < (1 + REGULATOR_ACCURACY) / (1 - REGULATOR_ACCURACY) + 0.01
    return {
        "maop": pressure(MAOP),
        "by rule": pressure(by_rule),
        "limit": pressure(LIMIT),
        "worker": pressure(worker.set_gauge_pressure),
        "lock-up": pressure(lock_up.gauge_pressure),
        "band": percent(REGULATOR_ACCURACY),
        "lock-up, high": pressure(lock_up.high),
        "monitor": pressure(monitor.set_gauge_pressure),
        "starts": pressure(starts.gauge_pressure),
        "held": pressure(held.gauge_pressure),
        "held, high": pressure(held.high),
        "divide": f"{1 - RELIEF_VALVE_TOLERANCE:.2f}",
        "lowest": pressure(lowest),
        "valve": pressure(valve.set_gauge_pressure),
        "flow": both(flow, "standard_flow"),
        "lift": percent(lift),
        "full": pressure(full.gauge_pressure),
        "full, high": pressure(full.high),
        "soonest": pressure(soonest),
        "clear": pressure(CLEAR),
        "run on": both(run_on, "pressure_difference"),
        "left": pressure(LIMIT - run_on),
        "multiply": f"{1 + SlamShut.accuracy:.2f}",
        "off": f"{percent(RELIEF_VALVE_TOLERANCE)} of its set pressure of {pressure(valve.set_gauge_pressure)}",
        "off, in all": f"that is {both(off, 'pressure_difference')}",
        "highest": f"Rounded down, set it no higher than {rounded_down(highest)};",
    }


def happened() -> dict[str, str]:
    as_found, mended = bench_trace(lesson_10), trace()
    by_day = {failure: trace(failure=failure) for failure in (NOTHING, WORKER_OPEN, BOTH_OPEN, ALL_BUT_ONE)}
    assert [one.kind for one in wrong(rungs(as_found.scenario.station))] == ["slam_shut_in_build_up"]
    assert wrong(rungs(mended.scenario.station)) == ()
    (trips,) = as_found.happened("trips_high")
    (valve,), (shut,) = as_found.scenario.station.relief_valves, as_found.scenario.station.slam_shuts
    # "the houses have gas"; "the last row": none
    flow = {name: run.at(f"{lesson_10.HOUSES}_flow", DAY_AT) for name, run in by_day.items()}
    assert [flow[name] > 0.9 * flow[NOTHING] for name in by_day] == [True, True, True, False]
    assert not mended.happened("trips_high")
    near = {}
    for trip in (10.5, 11.0, 11.5, 12.0):
        run = trace(failure=NOTHING, trip=trip * IN_WC)
        (chance,) = (one for one in nuisance_of(rungs(run.scenario.station)) if one.kind == "slam_shut_high")
        near[f"near {trip}"] = f"| {pressure(trip * IN_WC)} | {percent(chance.chance, 1)} |"
    fights = trace(failure=NOTHING, above=0.5 * IN_WC)
    # "throttles from the start"
    assert next(one.kind for one in wrong(rungs(fights.scenario.station))) == "monitor_throttles"
    blows = trace(failure=WORKER_OPEN, relief=14 * IN_WC)
    # "it goes on until somebody comes"
    assert blows.settled(f"{VALVE}_flow") > 0.9 * blows.at(f"{VALVE}_flow", NIGHT_AT) > 0
    early = trace(failure=WORKER_OPEN, trip=14.5 * IN_WC)
    assert early.happened("trips_high")
    small = trace(letter=TOO_SMALL)
    # "only the slam-shut keeps the limit"
    assert rung(small, "valve_held").gauge_pressure > LIMIT > small.peak(OUTLET)[1]
    assert small.happened("trips_high")
    far = trace(failure=ALL_BUT_ONE, trip=30 * IN_WC)
    assert lesson_10.TRIP.high == pytest.approx(30 * IN_WC)
    # With the relief valve at work the outlet comes nowhere near: "so that only the slam-shut is left"
    assert trace(trip=30 * IN_WC).peak(OUTLET)[1] < LIMIT
    assert far.peak(OUTLET)[1] > LIMIT > by_day[ALL_BUT_ONE].peak(OUTLET)[1]
    high = trace(inlet=HIGH_INLET)
    # "the monitor now moves before the worker has locked up"
    assert [one.kind for one in wrong(rungs(high.scenario.station))] == ["monitor_moves_early"]
    return {
        "worker": pressure(as_found.scenario.station.regulators[1].set_gauge_pressure),
        "monitor": pressure(as_found.scenario.station.regulators[0].set_gauge_pressure),
        "valve": pressure(valve.set_gauge_pressure),
        "shut": pressure(shut.high_gauge_pressure or 0.0),
        "limit": pressure(LIMIT),
        "day": pressure(as_found.at(OUTLET, DAY_AT)),
        "trips": clock(trips.time),
        "full": pressure(rung(as_found, "valve_held").gauge_pressure),
        "clear": pressure(CLEAR),
        "well": pressure(by_day[NOTHING].at(OUTLET, NIGHT_AT)),
        "open": pressure(by_day[WORKER_OPEN].at(OUTLET, NIGHT_AT)),
        "both": pressure(by_day[BOTH_OPEN].at(OUTLET, NIGHT_AT)),
        "three": pressure(by_day[ALL_BUT_ONE].peak(OUTLET)[1]),
        "alone": pressure(trace(fitted="not fitted").at(OUTLET, NIGHT_AT)),
        "lock-up": pressure(rung(as_found, "lock_up").gauge_pressure),
        **near,
        "above": both(0.5 * IN_WC, "low_gauge_pressure"),
        "low valve": pressure(14 * IN_WC),
        "blows": let_off(blows),
        "low trip": pressure(14.5 * IN_WC),
        "small, full": pressure(rung(small, "valve_held").gauge_pressure),
        "small, day": pressure(small.at(OUTLET, DAY_AT)),
        "small, top": pressure(small.peak(OUTLET)[1]),
        "far": pressure(30 * IN_WC),
        "far, top": pressure(far.peak(OUTLET)[1]),
        "high inlet": pressure(HIGH_INLET),
        "usual inlet": pressure(INLET_GAUGE),
        "high lock-up": pressure(rung(high, "lock_up").gauge_pressure),
        "high full": pressure(rung(high, "valve_held").gauge_pressure),
        "starts": pressure(rung(high, "take_over").gauge_pressure),
    }


NUMBERS = {"Worked example": worked, "What happened": happened}

# Trade figures in the text that no calculation gives.
SAID_IN_WORDS: dict[str, tuple[str, ...]] = {}

# What "In the field" tells of rules and reports, with the source that has it.
TOLD = [
    ("have enough capacity, and be set so", "cfr-192-201"),  # 192.201(a)
    ("no appliance runs unsafely", "cfr-192-201"),  # 192.201(a)(1)
    ("half as much again as the MAOP", "cfr-192-201"),  # 192.201(a)(2)(iii)
    ("each calendar year, at most 15 months apart", "cfr-192-739"),  # 192.739(a)
    ("the right setting is part of that test", "cfr-192-739"),  # 192.739(a)(3)
    ("by a test in place or by reckoning", "cfr-192-743"),  # 192.743(a)
    ("their set points must differ", "phmsa-pi-71-082"),
]

# What the lesson teaches: a sentence of its text, and what bears it out.
TEACHES = [
    ("Each set point stands above the one before, and still the ladder is wrong.", "bench"),
    ("The slam-shut stood in its build-up.", "bench"),
    ("An outlet that stands still stands on a rung.", "bench"),
    ("The rung tells which layer is at work, and so which ones have failed.", "item 10.stands"),
    (
        "Each rung has a band, for no spring stays just where it was set.",
        "test tests/test_ladder.py::test_bands_come_from_the_devices_own_accuracy",
    ),
    ("Where two bands overlap, nobody knows which layer acts first.", "item 10.above"),
    (
        "A layer too near the one below acts with nothing wrong.",
        "test tests/test_margins.py::test_a_trip_set_near_is_a_nuisance_and_one_set_far_is_not",
    ),
    ("A layer acts only when all those below it have failed.", "item 10.order"),
    ("A trip above the limit protects nothing.", "item 10.trip"),
    (
        "Only where the monitor begins to move may lie within the lock-up's band; what it holds may not.",
        "test tests/test_panel_lesson_10.py::test_a_ladder_in_order_says_where_the_monitor_may_move_at_lock_up",
    ),
    ("Watch the run-on too: what comes after the trip counts.", "bench"),
    ("A relief valve that is too small ends above the limit, wherever it is set.", "item 10.verdict"),
    (
        "A ladder holds for the highest inlet, or it does not hold.",
        "test tests/test_ladder.py::test_lock_up_is_the_closed_form_at_the_highest_inlet",
    ),
    (
        "Federal rules want stations that limit pressure to have enough capacity, and be set so that the limit holds.",
        "source cfr-192-201",
    ),
    (
        "Stations are tested each calendar year, at most 15 months apart, and the right setting is part of that test.",
        "source cfr-192-739",
    ),
    ("What a relief valve can pass is looked at as often, by a test in place or by reckoning.", "source cfr-192-743"),
]
