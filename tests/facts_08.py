"""What lesson 08 states: its numbers worked out anew, what shows each statement, and the source of each rule."""

from __future__ import annotations

from typing import Any

import pytest
from lesson_text import DAY_AT, HERE, INLET_GAUGE, NIGHT_AT, OUTLET, bench_trace, both, pressure

from toolkit.devices.regulator import lock_up_gauge_pressure
from toolkit.panels import lesson_08
from toolkit.panels.regulator_view import NOON
from toolkit.panels.words import clock, vented_words
from toolkit.trace import Trace, time_above
from toolkit.units import IN_WC, INCH, PSI, format_quantity

RATING = HERE.loads[0].maximum_gauge_pressure
FOOT = 12 * INCH
OPEN = "worker stuck wide open"
# How far the trip at its soonest shall stay above lock-up in the worked example [Pa].
CLEAR = 2 * IN_WC


def ran(**chosen: Any) -> Trace:
    """A run of the bench; where another failure is chosen, with a clean seat."""
    return bench_trace(lesson_08, **({"debris": 0.0} if "failure" in chosen else {}), **chosen)


def across(value: float) -> str:
    """A pressure across a valve, in both, as the bench says it."""
    us, metric = (format_quantity(value, "gauge_pressure", units) for units in ("us", "metric"))
    return f"{us.replace('psig', 'psi')} ({metric})"


def worked() -> dict[str, str]:
    grit = ran()
    station = grit.scenario.station
    (worker,), (shut,) = station.regulators, station.slam_shuts
    trip = shut.high_gauge_pressure or 0.0
    lock_up = lock_up_gauge_pressure(worker.condition(), INLET_GAUGE)
    (closed,) = grit.happened("valve_shut")
    stands, end = grit.at(OUTLET, closed.time), grit.peak(OUTLET)[1]
    between, behind = lesson_08.BETWEEN, lesson_08.BEHIND
    # The closed form is what the bench does.
    mixed = (between * INLET_GAUGE + behind * stands) / (between + behind)
    assert end == pytest.approx(mixed, rel=2e-3)
    lowest, highest = (lock_up + CLEAR) / (1 - shut.accuracy), (RATING - (end - trip)) / (1 + shut.accuracy)
    assert lowest < trip < highest
    warming = station.temperature * (trip - lock_up) / (lock_up + station.atmosphere)
    return {
        "lock-up": pressure(lock_up),
        "clear": both(CLEAR, "pressure_difference"),
        "edge": pressure(lock_up + CLEAR),
        "band": f"{shut.accuracy:.0%}".replace("%", " %"),
        "soonest": f"{1 - shut.accuracy:.2f}",
        "lowest": pressure(lowest),
        "rating": pressure(RATING),
        "after the trip": both(end - trip, "pressure_difference"),
        "left": pressure(RATING - (end - trip)),
        "latest": f"{1 + shut.accuracy:.2f}",
        "highest": pressure(highest),
        "trip": pressure(trip),
        # One more digit than the bench has: of 0.001 the sum would make another pressure.
        "between": f"{between / FOOT**3:.4f} ft³ ({format_quantity(between, 'volume', 'metric')})",
        "one psi": f"One psi is {PSI / IN_WC:.1f} in. w.c., so that is {INLET_GAUGE / IN_WC:,.0f} in. w.c.",
        "fast": f"a fast failure, which goes to {pressure(ran(failure=OPEN).peak(OUTLET)[1])}",
        "inlet": pressure(INLET_GAUGE),
        "behind": both(behind, "volume"),
        "when shut": pressure(stands),
        "end": pressure(end),
        "rise": both(trip - lock_up, "pressure_difference"),
        "air": both(station.atmosphere, "absolute_pressure"),
        "share": f"{100 * (trip - lock_up) / (lock_up + station.atmosphere):.1f} %",
        "cold": both(station.temperature, "temperature"),
        "absolute temperature": f"{station.temperature * 1.8:.0f} °R ({station.temperature:.0f} K)",
        "warming": both(warming, "temperature_difference"),
    }


def visits() -> dict[str, str]:
    """A row for each way to come to a tripped slam-shut: what the reset does, and what the burners have."""
    rows = {}
    for words, visit in lesson_08.VISITS.options:
        if visit == "nobody":
            continue
        run = ran(visit=words)
        refused, unequal, again = run.happened("reset_refused"), run.happened("reset_not_equalised"), run.happened
        if refused:
            did = f"refused: the outlet stands at {pressure(refused[0].value)}"
        elif unequal:
            did = f"refused: {across(unequal[0].value)} across the valve"
        elif len(again("trips_high")) > 1:
            did = f"holds, then trips again at {clock(again('trips_high')[1].time)}"
        else:
            did = "holds"
        gas = (
            "gas, for somebody qualified to light"
            if run.at("appliances_flow", NOON - 1) > 0.5 * run.scenario.station.loads[0].rated_flow
            else "no gas"
        )
        rows[visit] = f"| {words} | {did} | {gas} |"
    assert rows["mended"].endswith("| holds | gas, for somebody qualified to light |")
    assert all(row.endswith("| no gas |") for visit, row in rows.items() if visit != "mended")
    return rows


def happened() -> dict[str, str]:
    well, grit, bare = ran(debris=0.0), ran(), ran(fitted="not fitted")
    (worker,), (shut,) = grit.scenario.station.regulators, grit.scenario.station.slam_shuts
    (tripped,) = grit.happened("trips_high")
    # "does nothing"; "it throttles nothing and lets nothing off"
    assert not lesson_08.trips(well)
    assert vented_words(grit, "us") == "none"
    assert grit.peak(OUTLET)[1] < RATING < bare.at(OUTLET, NIGHT_AT)
    assert grit.at("appliances_flow", NOON - 1) == pytest.approx(0.0, abs=1e-9)
    open_ = ran(failure=OPEN)
    past = ran(failure=OPEN, visit="lets down, equalises, resets")
    assert past.settled("slam_shut_open_share") == 0.0  # "with the slam-shut shut all the while"
    # "in less than a second", "twice the rating"
    assert time_above(open_.times, open_[OUTLET], RATING) < 1.0
    assert open_.peak(OUTLET)[1] == pytest.approx(2 * RATING, rel=0.05)
    sun, vent, drift = (
        ran(failure=words, visit="does not come")
        for words in ("sun on the locked-in pipe", "worker's vent iced, answers late", "trip drifted down")
    )
    (warmed,) = sun.scenario.faults
    no_low, low = (ran(failure="main shut off, then back on", low=one) for one in ("none", "at half the set point"))
    out, back = lesson_08.unlit(no_low) or (0.0, 0.0)
    assert not lesson_08.trips(no_low)
    assert lesson_08.unlit(low) is None
    assert low.at(OUTLET, NIGHT_AT) == pytest.approx(0.0, abs=0.01 * IN_WC)  # "no gas comes back"
    return {
        "worker": pressure(worker.set_gauge_pressure),
        "trip": pressure(shut.high_gauge_pressure or 0.0),
        "well, day": pressure(well.at(OUTLET, DAY_AT)),
        "well, night": pressure(well.at(OUTLET, NIGHT_AT)),
        "trips": clock(tripped.time),
        "visit": f"The first reset comes at {clock(lesson_08.VISIT)}",
        "later": f"the others at {clock(lesson_08.VISIT + lesson_08.RESETS)}",
        "ends": pressure(grit.peak(OUTLET)[1]),
        "rating": pressure(RATING),
        "bare": pressure(bare.at(OUTLET, NIGHT_AT)),
        **visits(),
        "past": pressure(past.peak(OUTLET)[1]),
        "response": f"{shut.response:.1f} s",
        "closing": f"{shut.closing:.1f} s",
        "open, peak": pressure(open_.peak(OUTLET)[1]),
        "sun": both((warmed.times - 1) * sun.scenario.station.temperature, "temperature_difference"),
        "sun trips": clock(lesson_08.trips(sun)[0].time),
        "sun, night": pressure(sun.at(OUTLET, NIGHT_AT)),
        "vent trips": clock(lesson_08.trips(vent)[0].time),
        "vent, peak": pressure(vent.peak(OUTLET)[1]),
        "drift": pressure(lesson_08.trips(drift)[0].value),
        "out": clock(out),
        "back": clock(back),
        "low": pressure(shut_low(low)),
        "low trips": clock(lesson_08.trips(low)[0].time),
    }


def shut_low(trace: Trace) -> float:
    """The low trip of a run's slam-shut [Pa gauge]."""
    return trace.scenario.station.slam_shuts[0].low_gauge_pressure or 0.0


NUMBERS = {"Worked example": worked, "What happened": happened}

# What "In the field" tells of rules and reports, with the source that has it.
TOLD = [
    ("one of four ways to guard a service", "cfr-192-197"),  # 192.197(c)
    ("built so that one can test at what pressure it acts and whether it leaks", "cfr-192-199"),  # 192.199(c)
    ("each calendar year, at most 15 months apart", "cfr-192-739"),
    ("Damage to one control line must not take out both", "cfr-192-203"),  # 192.203(b)(9)
    ("sorts such valves by how near to their setting they trip", "en-14382"),
]

# What the lesson teaches, each sentence as it stands there, and what shows it.
TEACHES = [
    ("A slam-shut throttles nothing and lets nothing off: it only stops the gas.", "bench"),
    (
        "And it stays shut until somebody resets it by hand.",
        "test tests/test_layers.py::test_a_slam_shut_reset_by_hand_opens_over_its_stroke",
    ),
    ("In the morning the burners have no gas.", "bench"),
    ("The gas in it has nowhere to go, so the latch will not hold.", "item 08.reset"),
    (
        "Only when that has equalised the pressure can the slam-shut open gently.",
        "test tests/test_layers.py::test_reset_is_refused_while_the_cause_stands_and_until_equalised",
    ),
    ("But with the grit still there the outlet creeps up again, and it trips again.", "bench"),
    ("While the equalising valve is open, the slam-shut guards nothing.", "bench"),
    ("The trip is where the stopping begins, not where the pressure ends.", "item 08.overrun"),
    ("A slow rise ends close to the trip, and a fast one far above it.", "bench"),
    ("It cannot help: the gas is behind it, and the outlet goes on to 20.2 in. w.c. (50.4 mbar).", "bench"),
    (
        "When the burners shut all at once, its outlet jumps, and the slam-shut trips at 2 min 01 s.",
        "test tests/test_dynamics.py::test_a_small_vent_slows_the_regulator_and_the_pressure_shoots_over_at_cut_off",
    ),
    ("Set a trip too near, and any quiet night can do the same.", "item 08.band"),
    (
        "Set lower, it puts the place out while the other device still holds.",
        "test tests/test_choosing.py::test_a_relief_before_a_slam_shut_keeps_the_service",
    ),
    (
        "Before the worker, what stands between the two still comes through after the trip; so keep that room small.",
        "test tests/test_layers.py::test_what_was_between_the_slam_shut_and_the_regulator_still_comes",
    ),
    ("Any clear morning does that to a pipe above ground.", "item 08.sun"),
    ("A trip that went off at usual pressure points to the slam-shut itself.", "item 08.cause"),
    ("Never reset first and look later.", "item 08.steps"),
    ("They want it tested each calendar year, at most 15 months apart.", "source cfr-192-739"),
]
