"""The bench of lesson 08: what trips, what a reset needs, and what the words, the drawing and the ladder say of it."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from random import Random

import numpy as np
import pytest

from toolkit.devices.regulator import lock_up_gauge_pressure
from toolkit.panels import lesson_08
from toolkit.panels.controls import Choice, Slider
from toolkit.panels.lesson_08 import OUTLET, SHUTOFF, VISIT, WORKER, Repair, story, trips, unlit
from toolkit.panels.regulator_view import DUSK, MORNING, NEAR_TOP, NIGHT, NOON
from toolkit.simulation import simulate
from toolkit.units import IN_WC, MBAR, PSI

BENCH = lesson_08.BENCH
CHOICES = {c.key: [value for _, value in c.options] for c in BENCH.controls if isinstance(c, Choice)}
SLIDERS = [c for c in BENCH.controls if isinstance(c, Slider) and c.key != "moment"]
RATING = 14 * IN_WC


def settings(**chosen):
    # where another failure is asked for, on a clean seat
    return BENCH.start("us") | ({"debris": 0.0} if "failure" in chosen else {}) | chosen


def trace(**chosen):
    return simulate(lesson_08.scenario(settings(**chosen)))


def shown(**chosen):
    return lesson_08.show(settings(**chosen))


def has_gas(run):
    return run.at("appliances_flow", NOON - 1) > 0.5 * run.scenario.station.loads[0].rated_flow


def test_the_controls_the_lesson_needs_stand_in_order():
    keys = [control.key for control in BENCH.controls]
    assert {"inlet", "set_point", "above", "low", "fitted", "debris", "hardness", "demand", "visit"} <= set(keys)
    assert keys[-2:] == ["zoom", "moment"]
    assert CHOICES["fitted"] == [True, False]
    assert BENCH.wide
    # the highest trip that can be set stays in the picture
    assert max(s.high for s in SLIDERS if s.key == "set_point") + lesson_08.ABOVE.high <= NEAR_TOP


# The prediction


def test_the_key_of_the_prediction_is_what_happens():
    run = trace()
    (tripped,) = trips(run)
    assert NIGHT < tripped.time < VISIT == 300.0  # "at night"; "at 5 min"
    (refused,) = run.happened("reset_refused")
    assert refused.time == VISIT
    assert refused.value > 12 * IN_WC
    assert not run.happened("reset")
    assert run.settled("slam_shut_open_share") == 0.0
    assert "does not hold" in lesson_08.PREDICTION.options[lesson_08.PREDICTION.right]


@pytest.mark.parametrize(("units", "words"), [("us", "12.8 in. w.c."), ("metric", "31.8 mbar")])
def test_the_explanation_goes_through_every_way_to_reset(units, words):
    said = lesson_08.explain(units)
    assert words in said
    assert ("60.0 psi stands" if units == "us" else "4.14 bar stands") in said
    assert "trips again at 6 min 14 s" in said
    assert "psig" not in said


# Physics against closed forms


def test_the_trip_comes_at_its_setting_and_the_valve_is_shut_after_its_response():
    run = trace(visit="nobody")
    (shut,) = run.scenario.station.slam_shuts
    (tripped,), (closed,) = trips(run), run.happened("valve_shut")
    assert tripped.value == pytest.approx(shut.high_gauge_pressure, rel=1e-3)
    assert closed.time - tripped.time == pytest.approx(shut.response + shut.closing, abs=2e-3)
    # nothing lets it off: it stands there until the burners draw it down
    assert run.at(OUTLET, MORNING - 1) == pytest.approx(run.at(OUTLET, VISIT), rel=1e-3)
    assert run.at(OUTLET, NOON - 1) == pytest.approx(0.0, abs=1.0)


def test_what_stood_between_still_comes():
    """(V1 p1 + V2 p2) / (V1 + V2), isothermal (closed form)."""
    run = trace(visit="nobody")
    closed = run.happened("valve_shut")[0].time
    first, second = (run.at(f"{room}_gauge_pressure", closed) for room in ("between", "outlet"))
    v1, v2 = lesson_08.BETWEEN, lesson_08.BEHIND
    assert run.at(OUTLET, MORNING - 1) == pytest.approx((v1 * first + v2 * second) / (v1 + v2), rel=2e-3)


def test_a_healthy_night_ends_at_lock_up_and_trips_nothing():
    run = trace(failure="none")
    (worker,) = run.scenario.station.regulators
    assert not trips(run)
    assert not run.scenario.actions
    assert run.at(OUTLET, MORNING - 1) == pytest.approx(lock_up_gauge_pressure(worker.condition(), 60 * PSI), rel=2e-3)


def test_locked_in_gas_rises_with_its_absolute_temperature():
    run = trace(failure="sun", fitted=False)
    air = run.scenario.station.atmosphere
    before, after = (run.at(OUTLET, t) + air for t in (lesson_08.SUN - 1, MORNING - 1))
    assert after / before == pytest.approx(lesson_08.WARMER, rel=1e-3)
    # the trip comes while it warms, and cannot stop what is behind it
    guarded = trace(failure="sun", visit="nobody")
    assert lesson_08.SUN < trips(guarded)[0].time < lesson_08.SUN + lesson_08.SUN_FOR
    assert guarded.at(OUTLET, MORNING - 1) == pytest.approx(run.at(OUTLET, MORNING - 1), rel=1e-3)


@pytest.mark.parametrize("units", ["us", "metric"])
def test_at_the_slider_s_lower_end_a_sound_night_trips_it_and_at_two_steps_more_it_does_not(units):
    at = lesson_08.ABOVE
    step = (IN_WC, MBAR)[units == "metric"] * at.steps[units == "metric"]
    lowest = step * np.ceil(at.low / step - 1e-6)
    ends = [trace(failure="none", above=lowest + more * step, visit="nobody") for more in (0, 2)]
    assert [bool(trips(run)) for run in ends] == [True, False]
    # a matter of lock-up, not of the day
    assert DUSK < trips(ends[0])[0].time < MORNING


def test_the_rooms_are_named_by_where_they_lie():
    for fitted, rooms in ((True, ["inlet", "between", "outlet"]), (False, ["inlet", "outlet"])):
        run = trace(fitted=fitted)
        assert [volume.name for volume in run.scenario.station.volumes] == rooms
        assert run.at("inlet_gauge_pressure", NOON - 1) == pytest.approx(60 * PSI, rel=0.01)


# What each way of coming to it does


def test_without_the_slam_shut_the_night_goes_past_the_rating_and_the_burners_keep_their_gas():
    bare, guarded = trace(fitted=False), trace()
    assert bare.peak(OUTLET)[1] > 2 * RATING > RATING > guarded.peak(OUTLET)[1]
    assert has_gas(bare)
    assert not has_gas(guarded)
    assert not bare.scenario.station.slam_shuts
    assert not bare.scenario.actions
    words, change = BENCH.without
    assert words == "without the slam-shut"
    assert lesson_08.scenario(settings() | change) == lesson_08.scenario(settings(fitted=False))


@pytest.mark.parametrize(
    ("visit", "kinds", "served"),
    [
        ("at once", ["trips_high", "reset_refused"], False),
        ("let down", ["trips_high", "reset_not_equalised"], False),
        ("equalised", ["trips_high", "reset", "trips_high"], False),
        ("mended", ["trips_high", "reset"], True),
        ("nobody", ["trips_high"], False),
    ],
)
def test_each_visit_does_what_it_says(visit, kinds, served):
    run = trace(visit=visit)
    wanted = ("trips_high", "trips_low", "reset", "reset_refused", "reset_not_equalised")
    assert [event.kind for event in run.events if event.kind in wanted] == kinds
    assert has_gas(run) == served


def test_a_pressure_across_the_valve_is_what_refuses_a_reset_after_letting_down():
    (refused,) = trace(visit="let down").happened("reset_not_equalised")
    assert refused.value == pytest.approx(60 * PSI, rel=1e-3)
    (low,) = trace(visit="let down", low=0.5).happened("reset_refused")
    assert low.value < 3.5 * IN_WC


def test_the_equalising_valve_goes_around_a_shut_slam_shut():
    run = trace(failure="open", visit="equalised")
    late = run.times > VISIT + lesson_08.EQUALISES
    assert run["slam_shut_open_share"][late].max() == 0.0
    assert run[OUTLET][late].max() > 10 * PSI
    mended = trace(failure="open", visit="mended")
    assert mended[OUTLET][mended.times > VISIT].max() < RATING
    assert has_gas(mended)


@pytest.mark.parametrize("failure", ["open", "vent", "sun", "drift", "main"])
def test_a_mended_cause_brings_the_gas_back_whatever_it_was(failure):
    run = trace(failure=failure, visit="mended", low=0.5)
    assert trips(run)[0].time < VISIT
    assert has_gas(run)
    assert len(trips(run)) == 1
    assert run.settled(OUTLET) < 9 * IN_WC  # and the next night is quiet


def test_a_repair_gives_back_the_healthy_condition():
    scenario = lesson_08.scenario(settings(failure="open", debris=2e-4, visit="mended"))
    station = scenario.station
    (mend,) = (fault for fault in scenario.faults if isinstance(fault, Repair))
    before, after = (scenario.conditions(mend.onset + dt) for dt in (-1.0, mend.ramp + 1.0))
    index = {device.name: i for i, device in enumerate(station.devices)}
    healthy = station.regulators[0].condition()
    for name in ("debris_height", "lowest_lift", "vent", "highest_lift"):
        assert getattr(after[index[WORKER]], name) == getattr(healthy, name)
    assert before[index[WORKER]].lowest_lift == healthy.highest_lift
    drifted = lesson_08.scenario(settings(failure="drift", visit="mended"))
    low, high = (drifted.conditions(mend.onset + dt)[index[SHUTOFF]].high for dt in (-1.0, mend.ramp + 1.0))
    assert high - low == pytest.approx(lesson_08.DRIFT)
    assert high == station.slam_shuts[0].condition(station.atmosphere).high


def test_nobody_comes_to_a_slam_shut_that_has_not_tripped():
    calm = settings(failure="none", visit="mended")
    assert lesson_08.scenario(calm) == lesson_08.unattended(calm)
    # nor before it trips: too late for the technician's hour
    late = settings(visit="mended", debris=2e-5)
    alone = simulate(lesson_08.unattended(late))
    assert not trips(alone) or trips(alone)[0].time > VISIT
    assert not lesson_08.scenario(late).actions


def test_gas_that_comes_back_by_itself_meets_no_flame_but_for_a_low_trip():
    run = trace(failure="main")
    out, back = unlit(run)
    assert lesson_08.STRUCK < out < lesson_08.BACK <= back < DUSK
    assert "flows unlit" in story(run, "us")
    guarded = trace(failure="main", low=0.5)
    assert trips(guarded)[0].kind == "trips_low"
    assert trips(guarded)[0].value == pytest.approx(3.5 * IN_WC, rel=5e-3)
    assert unlit(guarded) is None
    assert "unlit" not in story(guarded, "us")
    assert unlit(trace(failure="none")) is None


# Words and pictures


@pytest.mark.parametrize(
    ("chosen", "words", "drawn"),
    [
        (
            {},
            "The reset at 5 min 00 s is refused: the outlet stands at 12.8 in. w.c., above the trip.",
            "slam_shut: tripped high",
        ),
        ({"visit": "let down"}, "60.0 psi stands across the valve, not yet equalised", "slam_shut: tripped high"),
        ({"visit": "equalised"}, "It trips again at 6 min 14 s", "slam_shut: tripped high"),
        ({"visit": "mended"}, "In the morning the burners have gas, at 6.9 in. w.c.", "slam_shut: open"),
        ({"failure": "none"}, "The slam-shut stands open all the time.", "slam_shut: open"),
        (
            {"failure": "open", "visit": "equalised"},
            "fed past the slam-shut by the equalising valve",
            "slam_shut: tripped high",
        ),
        ({"failure": "drift"}, "it has drifted out of its band", "slam_shut: tripped high"),
        ({"failure": "main", "low": 0.5}, "trips on low pressure at 1 min 03 s", "slam_shut: tripped low"),
        ({"failure": "main", "low": 0.5}, "0.0 in. w.c., below the low trip", "slam_shut: tripped low"),
        ({"failure": "sun"}, "is above that for", "slam_shut: tripped high"),
        ({"fitted": False}, "No slam-shut is fitted.", "Supply supply: 60.0 psig. Volume inlet: 60.0 psig. Worker"),
        ({"failure": "none", "above": 1 * IN_WC}, "within reach of the worker's lock-up", "slam_shut: open"),
        ({"failure": "none", "above": 7 * IN_WC}, "which is above the appliances' rating", "slam_shut: open"),
    ],
)
def test_the_sentence_and_the_drawing_tell_what_happened(chosen, words, drawn):
    made = shown(**chosen, moment=NOON - 1)
    assert words in made.sentence
    assert drawn in made.drawing
    assert len(made.readouts) == 5
    assert ".." not in made.sentence


def test_the_ladder_has_the_trips_and_the_chart_their_marks():
    made = shown(low=0.5)
    for words in ("slam-shut trips on high pressure", "slam-shut trips on low pressure", "worker set", "rating"):
        assert words in made.ladder
    assert "slam-shut" not in shown(fitted=False).ladder
    assert {"slam-shut trips", "reset refused"} <= {event.label for event in made.chart.events}
    assert any("slam-shut" in mark.label for mark in made.chart.marks)


def test_pressures_are_told_in_the_units_chosen():
    made = shown(units="metric", visit="let down")
    assert "mbar" in made.sentence
    assert "4.14 bar stands across" in made.sentence
    assert "in. w.c." not in made.sentence + made.ladder


def test_the_settings_to_print_tell_three_stories():
    stories = [lesson_08.show(settings() | change).sentence for change in BENCH.handout]
    assert len(set(stories)) == len(stories) == 3


# Every corner


def corners(count):
    """Some of the combinations of slider ends and choices, by a fixed seed; each end and choice stands in many."""
    ends = list(product(*((slider.low, slider.high) for slider in SLIDERS)))
    chance = Random(8)
    for _ in range(count):
        at = dict(zip((slider.key for slider in SLIDERS), chance.choice(ends), strict=True))
        yield BENCH.start("us") | at | {key: chance.choice(values) for key, values in CHOICES.items()}


def test_no_corner_fails_and_each_story_is_of_its_run():
    for at in corners(40):
        run = simulate(lesson_08.scenario(at))
        told = story(run, "metric")
        high = [event for event in trips(run) if event.kind == "trips_high"]
        assert ("trips on high pressure" in told) == (trips(run)[:1] == tuple(high[:1]) and bool(high)), at
        assert ("No slam-shut" in told) == (not at["fitted"])
        assert ("have no gas" in told) == (run.at("appliances_flow", NOON - 1) < 0.02 * at["demand"])
        assert ("never passes" in told) == (run.peak(OUTLET)[1] <= RATING), at
        assert told.count("is refused") == len(run.happened("reset_refused")) + len(run.happened("reset_not_equalised"))
        assert np.isfinite(run[OUTLET]).all()


def test_how_far_a_fast_rise_runs_past_the_trip_is_a_matter_of_room():
    """More room behind the worker, less of a jump: the response is the same."""
    scenario = lesson_08.unattended(settings(failure="open"))
    larger = replace(
        scenario,
        station=replace(
            scenario.station,
            volumes=tuple(replace(v, size=4 * v.size) if v.name == "outlet" else v for v in scenario.station.volumes),
        ),
    )
    jumps = [simulate(one).peak(OUTLET)[1] - 12 * IN_WC for one in (scenario, larger)]
    assert jumps[1] < 0.6 * jumps[0]
