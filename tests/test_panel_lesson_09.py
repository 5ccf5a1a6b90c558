"""The bench of lesson 09: what a switch tells and moves, when it hides a fault, and what the words say of it."""

from __future__ import annotations

from itertools import pairwise
from random import Random

import numpy as np
import pytest

from toolkit.devices.regulator import lock_up_gauge_pressure
from toolkit.panels import lesson_09
from toolkit.panels.controls import Choice, Slider
from toolkit.panels.lesson_09 import OUTLET, SHUTOFF, SWITCH, VISIT, made, often, side, story
from toolkit.panels.regulator_view import DUSK, END, MORNING, NEAR_TOP, NIGHT, NOON
from toolkit.panels.words import vented_words
from toolkit.simulation import simulate
from toolkit.units import HOUR, IN_WC, PSI, SCF

BENCH = lesson_09.BENCH
CHOICES = {c.key: [value for _, value in c.options] for c in BENCH.controls if isinstance(c, Choice)}
SLIDERS = [c for c in BENCH.controls if isinstance(c, Slider) and c.key != "moment"]
RATING = 14 * IN_WC
# A low side inside the droop of a full load, on a clean seat.
INSIDE = {"debris": 0.0, "low": 0.5 * IN_WC, "demand": 1500 * SCF / HOUR}


def settings(**chosen):
    return BENCH.start("us") | chosen


def trace(**chosen):
    return simulate(lesson_09.scenario(settings(**chosen)))


def shown(**chosen):
    return lesson_09.show(settings(**chosen))


def has_gas(run):
    return run.at("appliances_flow", VISIT) > 0.5 * run.scenario.station.loads[0].rated_flow


def test_the_controls_the_lesson_needs_stand_in_order():
    keys = [control.key for control in BENCH.controls]
    needed = {"inlet", "set_point", "high", "low", "deadband", "manual", "drives", "fitted", "debris", "demand"}
    assert needed <= set(keys)
    assert keys[-2:] == ["zoom", "moment"]
    assert CHOICES["fitted"] == [True, False]
    assert BENCH.wide
    # the highest setting that can be set stays in the picture
    assert max(s.high for s in SLIDERS if s.key == "set_point") + lesson_09.HIGH.high <= NEAR_TOP


# The prediction


def test_the_key_of_the_prediction_is_what_happens():
    run = trace()
    first, until = made(run)[0]
    assert NIGHT < first < MORNING < until < VISIT < NOON
    assert side(run) == "high"
    assert run.at(f"{SWITCH}_made", VISIT) == 0.0  # "nothing rings"
    assert 6 * IN_WC < run.at(OUTLET, VISIT) < 7 * IN_WC  # "the outlet is in order"
    assert has_gas(run)
    assert not run.scenario.station.slam_shuts
    assert "Nothing rings" in lesson_09.PREDICTION.options[lesson_09.PREDICTION.right]


@pytest.mark.parametrize(("units", "words"), [("us", "shows 6.7 in. w.c."), ("metric", "shows 16.8 mbar")])
def test_the_explanation_tells_the_night_and_the_morning(units, words):
    said = lesson_09.explain(units)
    assert words in said
    assert "makes at 4 min 07 s" in said
    assert "the next night it begins again" in said
    assert len(made(trace())) == 2  # as it does


# Physics against closed forms


def test_it_makes_at_its_setting_and_lets_go_by_its_deadband():
    run = trace(deadband=2 * IN_WC)
    (high, *_), (rest,) = run.happened("switch_high"), run.happened("switch_rest")
    assert high.value == pytest.approx(11 * IN_WC, rel=1e-3)
    assert rest.value == pytest.approx(9 * IN_WC, rel=5e-3)


def test_a_healthy_night_ends_at_lock_up_and_the_switch_rests():
    run = trace(debris=0.0)
    (worker,) = run.scenario.station.regulators
    assert often(run) == "never"
    assert run.at(OUTLET, MORNING - 1) == pytest.approx(lock_up_gauge_pressure(worker.condition(), 60 * PSI), rel=2e-3)


@pytest.mark.parametrize("drives", ["alarm", "lockout"])
def test_a_switch_touches_no_gas(drives):
    """Until the burners are called for, the outlet is that of a bench without a switch."""
    bare, run = trace(fitted=False), trace(drives=drives)
    for time in (NIGHT + 20.0, 330.0, MORNING - 1):
        assert run.at(OUTLET, time) == pytest.approx(bare.at(OUTLET, time), rel=5e-3)


def test_what_stood_between_shutoff_and_worker_still_comes():
    """(V1 p1 + V2 p2) / (V1 + V2), isothermal (closed form)."""
    run = trace(drives="trip")
    (tripped,), (closed,) = run.happened("trips_by_switch"), run.happened("valve_shut")
    (shut,) = run.scenario.station.slam_shuts
    assert tripped.subject == SHUTOFF
    assert closed.time - tripped.time == pytest.approx(shut.response + shut.closing, abs=2e-3)
    first, second = (run.at(f"{room}_gauge_pressure", closed.time) for room in ("inlet", "outlet"))
    v1, v2 = lesson_09.BETWEEN, lesson_09.BEHIND
    assert run.at(OUTLET, MORNING - 1) == pytest.approx((v1 * first + v2 * second) / (v1 + v2), rel=5e-3)


def test_the_shutoff_trips_where_the_switch_tells_it_and_nowhere_else():
    run = trace(drives="trip", failure="jumped")
    assert run.peak(OUTLET)[1] > 5 * RATING
    assert run["slam_shut_open_share"].min() == 1.0


# What it drives, and how it is reset


@pytest.mark.parametrize(
    ("drives", "over", "served"), [("alarm", True, True), ("lockout", True, False), ("trip", False, False)]
)
def test_only_what_trips_a_shutoff_keeps_the_pressure_down(drives, over, served):
    run = trace(drives=drives)
    assert (run.peak(OUTLET)[1] > RATING) == over
    assert has_gas(run) == served
    assert vented_words(run, "us") == "none"


def test_without_the_switch_the_night_is_the_same_and_nobody_is_told():
    words, change = BENCH.without
    assert words == "without the switch"
    run = simulate(lesson_09.scenario(settings() | change))
    assert not run.scenario.station.switches
    assert run.peak(OUTLET)[1] == pytest.approx(trace().peak(OUTLET)[1], rel=1e-3)
    assert "nobody is told anything" in story(run, settings() | change)
    # and without a switch there is none to jump
    assert lesson_09.scenario(settings(fitted=False, failure="jumped")) == lesson_09.scenario(settings(fitted=False))


def test_by_hand_it_stays_made_until_somebody_comes():
    spans = made(trace(manual=True))
    assert len(spans) == 1
    assert spans[0][1] == END


def test_a_jumped_switch_is_blind_to_high_and_to_low():
    for chosen in ({}, INSIDE):
        assert made(trace(**chosen))
        assert not made(trace(failure="jumped", **chosen))


# Inside what happens every day


def test_below_lock_up_it_makes_every_night_and_lets_go_only_with_a_small_deadband():
    near = {"debris": 0.0, "high": 0.5 * IN_WC}
    ((first, until),) = made(trace(**near))
    assert DUSK < first < NIGHT
    assert until == END
    small = made(trace(**near, deadband=0.25 * IN_WC))
    assert len(small) == 2
    assert MORNING < small[0][1] < VISIT
    assert len(made(trace(**near, deadband=0.25 * IN_WC, failure="cycle"))) == lesson_09.CYCLES + 1


def test_inside_the_droop_a_lockout_chatters_with_nothing_wrong():
    run = trace(drives="lockout", **INSIDE)
    assert not run.scenario.faults
    assert side(run) == "low"
    starts = [start for start, _ in made(run) if start < 20.0]
    assert len(starts) > 10
    assert min(b - a for a, b in pairwise(starts)) >= 1.0 - 1e-9  # twice its own response
    assert often(run).startswith("more than ")
    assert often(trace(drives="lockout", **INSIDE | {"low": 1 * IN_WC})) == "never"  # clear of the droop
    waits = trace(drives="lockout", manual=True, **INSIDE)
    assert often(waits) == "once"
    assert not has_gas(waits)


def test_a_sagging_main_makes_the_low_side_and_a_lockout_that_lets_go_chatters():
    sag = {"debris": 0.0, "failure": "sag"}
    assert side(trace(**sag)) == "low"
    assert len(made(trace(drives="lockout", **sag))) > 20
    assert often(trace(drives="lockout", manual=True, **sag)) == "once"


# Words and pictures


@pytest.mark.parametrize(
    ("chosen", "words", "drawn"),
    [
        ({}, "At 8 min 59 s nothing rings, and the gauge shows 6.7 in. w.c.", "made: alarm"),
        ({"manual": True}, "It waits to be reset by hand.", "made: alarm"),
        ({"drives": "lockout"}, "The switch only keeps the burners off", "made: lockout"),
        ({"drives": "trip"}, "It trips the slam-shut, which stays shut", "made: trip"),
        ({"drives": "trip"}, "In the morning the burners have no gas.", "slam_shut"),
        ({"debris": 0.0}, "The switch stays at rest.", "normal: alarm"),
        ({"failure": "jumped"}, "whatever comes, it says nothing", "normal: alarm"),
        ({"debris": 0.0, "high": 0.5 * IN_WC}, "Nothing has failed", "made: alarm"),
        ({"debris": 0.0, "high": 0.5 * IN_WC}, "It is still made at the end.", "made: alarm"),
        ({"drives": "lockout", **INSIDE}, "It makes more than 40 times, 19 of them in the first 30 s:", "lockout"),
        ({"drives": "trip"}, "Later the pipe empties, and the low side makes as well.", "slam_shut"),
        ({"drives": "lockout", **INSIDE}, "In the morning the burners go on and off.", "lockout"),
        ({"failure": "sag", "debris": 0.0}, "In the morning the burners have too little gas.", "normal: alarm"),
        ({"fitted": False}, "There is no switch", "worker"),
    ],
)
def test_the_sentence_and_the_drawing_tell_what_happened(chosen, words, drawn):
    made_of = shown(**chosen, moment=MORNING - 1)
    assert words in made_of.sentence
    assert drawn in made_of.drawing
    assert len(made_of.readouts) == 5
    assert ".." not in made_of.sentence


def test_the_ladder_has_both_settings_and_not_the_blind_shutoff():
    made_of = shown(drives="trip")
    for words in ("makes on high", "makes on low", "worker set", "rating"):
        assert words in made_of.ladder
    assert "slam-shut" not in made_of.ladder
    assert "makes on" not in shown(fitted=False).ladder
    assert {"switch makes", "switch trips it"} <= {event.label for event in made_of.chart.events}
    assert "switch lets go" in {event.label for event in shown().chart.events}


def test_the_gauge_counts_how_often_it_makes():
    for chosen, words in (({}, "2 times"), ({"manual": True}, "once"), ({"fitted": False}, "never")):
        assert ("switch makes", words) in shown(**chosen).readouts


def test_of_a_tripped_shutoff_only_what_tripped_it_is_counted():
    run = trace(drives="trip")
    assert len(made(run)) == 2  # the second by the emptying pipe
    assert ("switch makes", "once") in shown(drives="trip").readouts
    assert lesson_09.emptied(run)
    assert not lesson_09.emptied(trace(drives="alarm", failure="sag"))  # low, and nothing has tripped


def test_the_first_half_minute_counts_from_the_first_time_on():
    sags = trace(drives="lockout", debris=0.0, failure="sag")
    starts = np.array([start for start, _ in made(sags)])
    inside = int(np.searchsorted(starts, starts[0] + 30.0))
    assert 10 < inside < len(starts)
    assert f", {inside} of them in the first 30 s" in story(sags, settings(drives="lockout", failure="sag"))


def test_pressures_are_told_in_the_units_chosen():
    made_of = shown(units="metric")
    assert "mbar" in made_of.sentence
    assert "in. w.c." not in made_of.sentence + made_of.ladder


def test_the_settings_to_print_tell_two_stories():
    stories = {lesson_09.show(settings() | change).sentence for change in BENCH.handout}
    assert len(stories) == len(BENCH.handout) == 2


# Every corner


def corners(count):
    """Some of the combinations of slider ends and choices, by a fixed seed; each end and choice stands in many."""
    chance = Random(9)
    for _ in range(count):
        at = {slider.key: chance.choice((slider.low, slider.high)) for slider in SLIDERS}
        yield BENCH.start("us") | at | {key: chance.choice(values) for key, values in CHOICES.items()}


def test_no_corner_fails_and_each_story_is_of_its_run():
    for at in corners(40):
        run = simulate(lesson_09.scenario(at))
        told = story(run, at)
        acts = at["fitted"] and at["failure"] != "jumped"
        assert ("first makes" in told) == bool(made(run)), at
        assert ("stays at rest" in told) == (acts and not made(run)), at
        assert ("Nothing has failed" in told) == (bool(made(run)) and not run.scenario.faults), at
        assert ("trips the slam-shut" in told) == bool(run.happened("trips_by_switch")), at
        assert ("no gas" in told) == (
            run.at("appliances_flow", VISIT) < 0.02 * at["demand"] and "on and off" not in told
        )
        assert ("never passes" in told) == (run.peak(OUTLET)[1] <= RATING), at
        if "nothing rings" in told:
            assert run.at(f"{SWITCH}_made", VISIT) == 0.0
        assert np.isfinite(run[OUTLET]).all()
