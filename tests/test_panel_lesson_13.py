"""The bench of lesson 13: what hides on a usual day and shows under test, as found and as left."""

from __future__ import annotations

from itertools import product
from random import Random

import numpy as np
import pytest

from toolkit.devices.regulator import lock_up_gauge_pressure
from toolkit.layers import MONITOR
from toolkit.panels import lesson_13
from toolkit.panels.bench import run
from toolkit.panels.controls import Choice, Slider
from toolkit.panels.regulator_view import NEAR_TOP
from toolkit.quiz.proof import (
    BACK,
    BETWEEN,
    END,
    FAILS,
    FOUND,
    HIDDEN,
    LEFT,
    LINE,
    MENDS,
    OUTLET,
    RATING,
    READS,
    RELIEF,
    RELIEF_DRIFT,
    RISE,
    RISES,
    RUN,
    SHUTOFF,
    SHUTS,
    TESTED,
    TRIP_DRIFT,
    TRIP_LINE,
    WORKER,
    Repair,
    read,
    tag,
)
from toolkit.units import IN_WC, PSI

BENCH = lesson_13.BENCH
CHOICES = {c.key: [value for _, value in c.options] for c in BENCH.controls if isinstance(c, Choice)}
SLIDERS = [c for c in BENCH.controls if isinstance(c, Slider) and c.key != "moment"]
# The test that shows each hidden condition.
SHOWS = {
    "seat": "lock-up",
    "monitor": "take-over",
    "relief": "pop",
    "shut": "pop",
    "trip": "trip",
    "latch": "trip",
}
GAUGES = (OUTLET, LINE, "interstage_gauge_pressure", "inlet_gauge_pressure")


def settings(**chosen):
    return BENCH.start("us") | {"test": "take-over"} | chosen


def trace(**chosen):
    return run(lesson_13.scenario(settings(**chosen)))


def shown(**chosen):
    return lesson_13.show(settings(**chosen))


def test_the_controls_the_lesson_needs_stand_in_order():
    keys = [control.key for control in BENCH.controls]
    assert {"inlet", "set_point", "test", "level", "hidden", "debris", "hardness", "mend", "demand"} <= set(keys)
    assert keys[-2:] == ["zoom", "moment"]
    assert len(keys) == 11
    assert BENCH.wide
    assert set(CHOICES["hidden"]) == set(HIDDEN) == {"sound", *SHOWS}
    # the highest that a test goes to stays in the picture
    assert max(s.high for s in SLIDERS if s.key == "level") < NEAR_TOP
    assert BENCH.start("us")["test"] == "fails"
    assert BENCH.start("us")["hidden"] == "monitor"
    words, change = BENCH.without
    assert words == "without the hidden condition"
    assert lesson_13.scenario(settings() | change) == lesson_13.scenario(settings(hidden="sound"))


# The prediction


def test_the_key_of_the_prediction_is_what_happens():
    usual = {hidden: trace(test="none", hidden=hidden) for hidden in HIDDEN}
    for signal in GAUGES:
        values = [one.at(signal, FAILS) for one in usual.values()]
        # 0.02 in. w.c., which no gauge shows
        assert max(values) - min(values) < 0.02 * IN_WC, signal
    assert max(one.totals["vented"] for one in usual.values()) < 1e-6
    assert "only a test tells" in lesson_13.PREDICTION.options[lesson_13.PREDICTION.right]
    assert usual["monitor"].at("interstage_gauge_pressure", FAILS) == pytest.approx(60 * PSI, rel=5e-3)


def test_once_nothing_flows_the_outlet_shows_the_worn_seat_and_no_other():
    idle = {hidden: trace(hidden=hidden).at(OUTLET, FOUND) for hidden in HIDDEN}
    assert idle.pop("seat") > idle["sound"] + IN_WC
    assert max(idle.values()) - min(idle.values()) < 0.02 * IN_WC


@pytest.mark.parametrize(("units", "words"), [("us", "15.2 in. w.c."), ("metric", "37.8 mbar")])
def test_the_explanation_compares_a_usual_day_and_a_test(units, words):
    said = lesson_13.explain(units)
    assert words in said
    assert said.count("11.1 in. w.c." if units == "us" else "27.6 mbar") == 1
    assert said.count("59.9 psig" if units == "us" else "4.13 bar") == 2


# What each test shows


@pytest.mark.parametrize(("hidden", "test"), list(product(SHOWS, TESTED)))
def test_a_hidden_condition_fails_its_own_test_and_no_other(hidden, test):
    found = read(trace(hidden=hidden, test=test, mend=False), test, FOUND)
    assert found.fails == (SHOWS[hidden] == test)
    assert found.passes == (SHOWS[hidden] != test)


@pytest.mark.parametrize("test", TESTED)
def test_a_sound_station_passes_as_found_and_as_left(test):
    one = trace(hidden="sound", test=test)
    assert read(one, test, FOUND).passes
    assert read(one, test, LEFT).passes
    assert not any(isinstance(fault, Repair) for fault in one.scenario.faults)


@pytest.mark.parametrize(("hidden", "test"), SHOWS.items())
def test_what_was_found_is_put_right_and_tested_again(hidden, test):
    assert read(trace(hidden=hidden, test=test), test, LEFT).passes
    assert read(trace(hidden=hidden, test=test, mend=False), test, LEFT).fails


def test_only_what_the_test_has_found_is_put_right():
    assert trace(hidden="relief", test="take-over").scenario.faults == HIDDEN["relief"]
    # not yet found: the test ends below the tag
    assert trace(hidden="relief", test="pop", level=10 * IN_WC).scenario.faults == HIDDEN["relief"]
    mended = trace(hidden="relief", test="pop").scenario
    number = next(i for i, d in enumerate(mended.station.devices) if d.name == RELIEF)
    before, after = (mended.conditions(t)[number].set_pressure for t in (MENDS - 1, MENDS + 10))
    assert before - after == pytest.approx(RELIEF_DRIFT)


# Physics against closed forms


def test_the_lock_up_read_is_the_force_balance():
    one = trace(hidden="sound", test="lock-up")
    worker = next(r for r in one.scenario.station.regulators if r.name == WORKER)
    expected = lock_up_gauge_pressure(worker.condition(), 60 * PSI)
    assert read(one, "lock-up", FOUND).gauge_pressure == pytest.approx(expected, rel=2e-3)


def test_relief_and_trip_act_at_their_tags_and_at_their_drifted_settings():
    for test, hidden, drift in (("pop", "relief", RELIEF_DRIFT), ("trip", "trip", TRIP_DRIFT)):
        well, off = (trace(hidden=one, test=test, level=24 * IN_WC) for one in ("sound", hidden))
        tagged = tag(well.scenario.station, test).gauge_pressure
        assert read(well, test, FOUND).gauge_pressure == pytest.approx(tagged, rel=5e-3)
        assert read(off, test, FOUND).gauge_pressure == pytest.approx(tagged + drift, rel=5e-3)


def test_a_monitor_at_a_tenth_of_its_travel_holds_its_tag():
    one = trace(hidden="sound", test="take-over")
    monitor = next(r for r in one.scenario.station.regulators if r.name == MONITOR)
    lift = one.at(f"{MONITOR}_lift", FOUND + READS) / monitor.travel
    assert 0.02 < lift < 0.2
    assert read(one, "take-over", FOUND).gauge_pressure == pytest.approx(monitor.set_gauge_pressure, rel=0.02)


def test_test_gas_rises_in_a_straight_line_to_the_level():
    """V dp/dt = R T m of a choked hole (closed form), which the share of the hose is reckoned from."""
    one = trace(hidden="shut", test="pop", mend=False)
    lock_up = tag(one.scenario.station, "lock-up").gauge_pressure
    each = (20 * IN_WC - lock_up) / RISE
    rise = one.at(OUTLET, FOUND + RISES + 90) - one.at(OUTLET, FOUND + RISES + 30)
    assert rise / 60 == pytest.approx(each, rel=0.03)
    assert one.peak(OUTLET, FOUND, FOUND + BACK)[1] == pytest.approx(20 * IN_WC, rel=0.02)


def test_a_worn_seat_climbs_until_the_monitor_has_shut():
    one = trace(hidden="seat", test="lock-up", mend=False)
    climbs, stands = one.at(OUTLET, FOUND + 70) - one.at(OUTLET, FOUND + 40), one.at(OUTLET, 600) - one.at(OUTLET, 560)
    assert climbs > 0.5 * IN_WC > 100 * abs(stands)
    monitor = next(r for r in one.scenario.station.regulators if r.name == MONITOR)
    shut = lock_up_gauge_pressure(monitor.condition(), 60 * PSI)
    # what stood between the two still comes: it spreads over the run as well
    assert one.settled(OUTLET) == pytest.approx(shut + BETWEEN / RUN * 60 * PSI, rel=0.06)


def test_the_line_behind_the_shut_valve_sees_nothing_of_any_test():
    for test, hidden in product(TESTED, HIDDEN):
        one = trace(test=test, hidden=hidden)
        inside = one[LINE][one.times > SHUTS + 5]
        assert np.ptp(inside) < 1.0, (test, hidden)
        assert one.peak(LINE)[1] < 9 * IN_WC < RATING


def test_the_trip_is_tested_by_its_line_and_the_outlet_stays():
    one = trace(hidden="sound", test="trip")
    assert one.peak(f"{TRIP_LINE}_gauge_pressure")[1] > 18 * IN_WC
    assert one.peak(OUTLET)[1] < 9 * IN_WC
    assert len(one.happened("trips_high")) == len(one.happened("reset")) == 2
    assert one.settled(f"{SHUTOFF}_open_share") == 1.0


def test_test_gas_is_shut_off_as_soon_as_the_trip_lets_go_or_the_level_is_reached():
    line = f"{TRIP_LINE}_gauge_pressure"
    for hidden, level in product(("sound", "seat", "latch"), (20 * IN_WC, 24 * IN_WC)):
        one = trace(hidden=hidden, test="trip", level=level)
        for start in (FOUND, LEFT):
            let_go = read(one, "trip", start)
            assert let_go.acted or hidden == "latch"
            # a hand's two seconds
            top = one.peak(line, start, start + BACK)[1]
            assert 0 < top - let_go.gauge_pressure < 0.5 * IN_WC, (hidden, level)
    # drifted past the level: never above it, though the worn worker fills the line before the test
    for grain in (0.0, 1e-4):
        never = trace(hidden="trip", test="trip", level=20 * IN_WC, debris=grain, mend=False)
        assert not never.happened("trips_high")
        assert never.peak(line)[1] == pytest.approx(20 * IN_WC, rel=0.01)


def test_the_trip_s_line_is_drawn_with_a_plug_while_it_is_shut_off():
    assert "line-blocked" in shown(test="trip", moment=FOUND + READS).drawing
    assert "line-blocked" not in shown(test="trip", moment=FOUND).drawing
    assert "line-blocked" not in shown(test="pop", moment=FOUND + READS).drawing


def test_a_stuck_latch_lets_go_and_the_valve_stays_open():
    one = trace(hidden="latch", test="trip", mend=False)
    found = read(one, "trip", FOUND)
    assert found.should.low < found.gauge_pressure < found.should.high
    assert one.at(f"{SHUTOFF}_open_share", FOUND + READS) == 1.0
    assert found.fails


def test_a_test_that_ends_too_low_proves_nothing():
    for test, hidden in (("take-over", "sound"), ("take-over", "monitor"), ("pop", "shut"), ("trip", "trip")):
        found = read(trace(test=test, hidden=hidden, level=9 * IN_WC), test, FOUND)
        assert not found.proves
        assert not found.passes
        assert not found.fails


def test_the_day_the_worker_fails_tells_what_the_hidden_condition_costs():
    well, stuck = trace(test="fails", hidden="sound"), trace(test="fails", hidden="monitor")
    assert well.settled(OUTLET) == pytest.approx(11 * IN_WC, rel=0.02)
    assert stuck.settled(OUTLET) > 14 * IN_WC
    assert stuck.totals["vented"] > 1000 * max(well.totals["vented"], 1e-9)


# Words and pictures


@pytest.mark.parametrize(
    ("chosen", "words", "drawn"),
    [
        ({}, "the monitor does not take over, and the outlet goes to 15.2 in. w.c.", "outlet_valve: shut"),
        ({}, "Then it is put right. As left: the monitor holds 11.1 in. w.c.: within its band.", "monitor: wide open"),
        ({"mend": False}, "It is left as it is. As left: the monitor does not take over", "monitor: wide open"),
        ({"level": 9 * IN_WC}, "the worker still holds, at 9.", "worker: "),
        ({"test": "lock-up", "hidden": "seat"}, "the worker stands at 11.9 in. w.c.", "worker: shut"),
        ({"test": "pop", "hidden": "seat"}, "its seat does not seal", "relief_valve"),
        ({"test": "pop", "hidden": "relief"}, "begins to open at 16.0 in. w.c.", "relief_valve"),
        (
            {"test": "pop", "hidden": "shut"},
            "still shut at 19.9 in. w.c., and the slam-shut trips first",
            'data-isolated="1"',
        ),
        ({"test": "trip", "hidden": "trip"}, "the slam-shut is still open at 20.0 in. w.c.", "slam_shut: open"),
        ({"test": "trip", "hidden": "latch"}, "and the valve stays open: it fails.", "slam_shut: tripped high"),
        ({"test": "trip", "hidden": "sound"}, "trips at 18.0 in. w.c.: within its band.", "slam_shut: tripped high"),
        ({"test": "none"}, "No gauge says whether a layer would act.", "outlet_valve: open"),
        ({"test": "fails"}, "the monitor does not hold, and the relief valve blows", "relief_valve"),
        ({"test": "fails", "hidden": "relief"}, "and the monitor holds 11.1 in. w.c.", "relief_valve"),
    ],
)
def test_the_sentence_and_the_drawing_tell_what_was_read(chosen, words, drawn):
    made = shown(**chosen)
    assert words in made.sentence
    assert drawn in made.drawing
    assert len(made.readouts) == (6 if chosen.get("test") == "trip" else 5)
    assert ".." not in made.sentence


def test_the_isolating_valve_is_drawn_open_once_it_is_put_right():
    assert 'data-isolated="1"' in shown(test="pop", hidden="shut", moment=MENDS - 10).drawing
    assert 'data-isolated="1"' not in shown(test="pop", hidden="shut", moment=LEFT + 20).drawing
    assert 'data-isolated="1"' in shown(test="pop", hidden="shut", moment=LEFT + 20, mend=False).drawing
    assert 'data-isolated="1"' in shown(test="none", hidden="shut", moment=END - 10).drawing
    # a lift that has faded is no gas, and gas bled outdoors no leak
    assert "weeps" not in shown(test="trip", hidden="sound").drawing
    assert "purge" in shown().drawing


def test_the_ladder_has_every_tag_and_the_chart_the_two_tests():
    made = shown(test="trip")
    for words in ("worker set", "monitor set", "relief valve opens", "slam-shut trips on high pressure", "rating"):
        assert words in made.ladder
    assert {"as found", "as left", "outlet valve shut"} <= {event.label for event in made.chart.events}
    assert "at the trip" in [line.label for line in made.chart.lines]
    assert [event.label for event in shown(test="fails", hidden="sound").chart.events] == ["worker fails open"]


def test_pressures_are_told_in_the_units_chosen():
    made = shown(units="metric")
    assert "37.8 mbar" in made.sentence
    assert "in. w.c." not in made.sentence + made.ladder


def test_no_corner_fails_and_each_story_is_of_its_run():
    ends = list(product(*((slider.low, slider.high) for slider in SLIDERS)))
    chance = Random(13)
    for _ in range(40):
        at = settings(**dict(zip((s.key for s in SLIDERS), chance.choice(ends), strict=True)))
        at |= {key: chance.choice(values) for key, values in CHOICES.items()}
        one = run(lesson_13.scenario(at))
        told = lesson_13.story(one, at["test"], "metric")
        assert np.isfinite(one[OUTLET]).all()
        assert ("above their rating" in told) == (one.peak(LINE)[1] > RATING), at
        assert ("Then it is put right" in told) == any(isinstance(f, Repair) for f in one.scenario.faults), at
        if at["test"] in TESTED:
            left = told.partition("As left: ")[2]
            found = read(one, at["test"], LEFT)
            assert ("within its band" in left) == found.passes, (at, told)
            assert ("proves anything" in left) == (not found.proves and not found.spoiled), (at, told)


@pytest.mark.parametrize(("hidden", "says"), [("monitor", "146 %"), ("sound", "124 %"), ("trip", "124 %")])
def test_burners_that_are_fed_too_much_are_told(hidden, says):
    # An orifice passes as the root of its pressure: the share is that of the outlet over the pressure of the rating.
    of = run(lesson_13.scenario(settings(test="fails", hidden=hidden)))
    load = of.scenario.station.loads[0]
    root = (of.at(f"{load.at}_gauge_pressure", lesson_13.END - 1) / load.rated_gauge_pressure) ** 0.5
    assert f"{root:.0%}".replace("%", " %") == says
    assert (
        f"take {says} of their rating: fed like that they can make carbon monoxide"
        in shown(test="fails", hidden=hidden).sentence
    )
    assert "carbon monoxide" not in shown(test="none", hidden="sound").sentence
