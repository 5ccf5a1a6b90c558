"""The bench of lesson 14: what each failure comes to, the order of the settings, and what words and pictures say."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from math import sqrt
from random import Random

import numpy as np
import pytest

from toolkit.devices.regulator import lock_up_gauge_pressure
from toolkit.layers import settled_run, wide_open
from toolkit.panels import lesson_14
from toolkit.panels.controls import Choice, Slider
from toolkit.panels.lesson_14 import (
    BREAKS,
    MONITOR,
    ORDER_WORDS,
    OUTLET,
    RATING,
    SIZE,
    VALVE,
    WORKER,
    defence,
    defended,
    order,
    order_words,
    outcome,
    relief_holds,
    rungs,
    station,
    story,
    verdict,
    wide_open_flow,
)
from toolkit.panels.regulator_view import DUSK, MORNING, NEAR_TOP, NOON
from toolkit.simulation import simulate
from toolkit.units import IN_WC, PSI

BENCH = lesson_14.BENCH
CHOICES = {c.key: [value for _, value in c.options] for c in BENCH.controls if isinstance(c, Choice)}
SLIDERS = [c for c in BENCH.controls if isinstance(c, Slider) and c.key != "moment"]
SMALL = SIZE.options[1][1]
# As it starts: what each failure should come to, (held, gas on), worked out from what each layer is for.
SOUND = {
    "none": (True, True),
    "slug, no relief": (True, False),
    "open": (True, True),
    "line": (True, True),
    "slug": (True, True),
    "slug, no trip": (True, True),
    "sun": (True, True),
}


def settings(**chosen):
    return BENCH.start("us") | chosen


def trace(**chosen):
    return simulate(lesson_14.scenario(settings(**chosen)))


def shown(**chosen):
    return lesson_14.show(settings(**chosen))


def came(**chosen):
    return outcome(trace(**chosen), "us")


def test_the_controls_the_lesson_needs_stand_in_order():
    keys = [control.key for control in BENCH.controls]
    assert {"inlet", "set_point", "debris", "hardness", "demand", "above", "relief", "trip", "fitted"} <= set(keys)
    assert keys[-2:] == ["zoom", "moment"]
    assert CHOICES["fitted"] == [True, False]
    assert BENCH.wide
    # all that can be set stays in the picture, and so does the rating
    assert max(lesson_14.TRIP.high, lesson_14.RELIEF.high, RATING) <= NEAR_TOP
    assert max(s.high for s in SLIDERS if s.key == "set_point") + lesson_14.ABOVE.high <= NEAR_TOP


# The prediction


def test_the_key_of_the_prediction_is_what_happens():
    run = trace()
    assert run.happened("trips_high")
    assert not run.happened("valve_opens")
    assert run.peak(OUTLET)[1] < RATING
    assert run.at("appliances_flow", NOON - 1) == pytest.approx(0.0, abs=1e-6)
    assert "slam-shut stops the gas" in lesson_14.PREDICTION.options[lesson_14.PREDICTION.right]
    # the wrong answers are what happens elsewhere: the monitor holds a stuck worker, the relief valve a slug
    assert came(failure="open").acted == ("monitor", "alarm")
    assert came(failure="slug").acted == ("monitor", "alarm", "relief valve")
    assert trace(failure="open", fitted=False).peak(OUTLET)[1] == pytest.approx(60 * PSI, rel=5e-3)


@pytest.mark.parametrize(("units", "words"), [("us", "22.8 in. w.c."), ("metric", "56.9 mbar")])
def test_the_explanation_counts_the_failures(units, words):
    said = lesson_14.explain(units)
    assert words in said
    assert "hold 6 of 6, 5 with gas on" in said


# Failure by failure


@pytest.mark.parametrize("failure", SOUND)
def test_with_sound_settings_each_failure_comes_to_what_its_layer_is_for(failure):
    one = came(failure=failure)
    assert (one.held, one.served) == SOUND[failure]


def test_the_defence_is_each_failure_s_own_run_counted():
    found = defence(settings())
    assert list(found) == [words for words, _ in BREAKS]
    assert BREAKS[0][1] == "none"
    assert {words: (one.held, one.served) for words, one in found.items()} == {
        words: SOUND[key] for words, key in BREAKS
    }
    assert defended(found) == (6, 6, 5)
    small = defence(settings(size=SMALL))
    assert defended(small) == (6, 5, 3)
    # what is not held does not count as served, though the burners have gas
    missed = small["a slug of grit, slam-shut stuck"]
    assert (missed.held, missed.served) == (False, True)
    assert verdict(missed) == "not held, gas on"


@pytest.mark.parametrize(
    ("chosen", "counts"),
    [
        ({"lines": "one"}, (6, 6, 5)),
        ({"lines": "one", "size": SMALL}, (6, 4, 2)),
        ({"trip": 11.5 * IN_WC}, (6, 6, 1)),
        ({"trip": 28 * IN_WC}, (6, 5, 5)),
        ({"fitted": False}, (6, 1, 1)),
    ],
)
def test_each_mistake_costs_what_the_lesson_says(chosen, counts):
    assert defended(defence(settings(**chosen))) == counts


def test_a_good_day_wakes_nobody_but_a_monitor_set_too_near_does():
    assert came(failure="none").acted == ()
    near = settings(above=0.5 * IN_WC)
    assert came(failure="none", above=0.5 * IN_WC).acted == ("monitor", "alarm")
    assert "these act with nothing wrong: monitor, alarm" in lesson_14.table_words(defence(near), "us")


def test_a_slam_shut_below_the_relief_valve_stops_first_and_is_no_finding():
    low = settings(trip=13.5 * IN_WC)
    assert order(station(low)) == ()
    assert defended(defence(low)) == (6, 6, 3)
    run = trace(failure="slug", trip=13.5 * IN_WC)
    assert run.happened("trips_high")
    assert not run.happened("valve_opens")


def test_the_alarm_rings_until_somebody_comes():
    for failure in ("slug, no relief", "open", "slug"):
        run = trace(failure=failure)
        (rings,) = run.happened("switch_high")
        assert rings.time < DUSK
        assert not run.happened("switch_rest")
        assert run.at("alarm_made", NOON - 1) == 1.0


def test_one_line_for_both_takes_both_where_it_breaks():
    apart, shared = trace(failure="line"), trace(failure="line", lines="one")
    assert apart.at(f"{MONITOR}_lift", MORNING - 1) < 0.1 * apart.scenario.station.regulators[0].travel
    for regulator in shared.scenario.station.regulators:
        assert shared.at(f"{regulator.name}_lift", DUSK - 1) == pytest.approx(regulator.travel)
    assert shared.peak(OUTLET)[1] > apart.peak(OUTLET)[1] + 5 * IN_WC


def test_without_the_layers_the_worker_is_alone_with_the_same_failures():
    bare = trace(failure="slug, no trip", fitted=False)
    of = bare.scenario.station
    assert [r.name for r in of.regulators] == [WORKER]
    assert (of.relief_valves, of.slam_shuts, of.switches) == ((), (), ())
    assert [fault.devices for fault in bare.scenario.faults] == [(WORKER,)]
    words, change = BENCH.without
    assert words == "without the layers"
    assert lesson_14.scenario(settings() | change) == lesson_14.scenario(settings(fitted=False))


def test_a_slug_takes_the_place_of_the_debris_set():
    assert lesson_14.scenario(settings(debris=1e-4)) == lesson_14.scenario(settings())
    night = trace(failure="none", debris=1e-4)
    assert night.at(OUTLET, MORNING - 1) > trace(failure="none").at(OUTLET, MORNING - 1) + IN_WC


# Closed forms


@pytest.mark.parametrize("inlet", [40 * PSI, 60 * PSI, 100 * PSI])
def test_what_the_relief_valve_holds_is_where_a_run_with_all_wide_open_ends(inlet):
    of = station(settings(inlet=inlet))
    never = replace(of, slam_shuts=(replace(of.slam_shuts[0], high_gauge_pressure=50 * PSI),))
    run = settled_run(never, 0.0, (wide_open(*of.regulators, ramp=60.0),))
    assert run.settled(OUTLET) == pytest.approx(relief_holds(of), rel=5e-3)
    # what comes is what leaves
    assert run.settled(f"{VALVE}_flow") == pytest.approx(run.settled(f"{WORKER}_flow"), rel=1e-3)


def test_two_alike_openings_in_a_row_pass_what_the_textbook_says_and_follow_the_absolute_inlet():
    """The second is choked, so the share r that passes is the ratio of the pressure between; the first passes as much
    below choking: r = psi(r) / psi(critical). White, Fluid Mechanics, from memory."""
    both, alone = station(settings()), station(settings(fitted=False))
    k = both.gas.heat_ratio

    def psi(ratio):
        return sqrt(ratio ** (2 / k) - ratio ** ((k + 1) / k))

    share = wide_open_flow(both, 16 * IN_WC) / wide_open_flow(alone, 16 * IN_WC)
    assert psi(share) / psi((2 / (k + 1)) ** (k / (k - 1))) == pytest.approx(share, rel=1e-3)
    assert 0.7 < share < 0.9
    air = both.atmosphere
    twice = station(settings(inlet=2 * (30 * PSI + air) - air))
    once = station(settings(inlet=30 * PSI))
    assert wide_open_flow(twice, 0.0) / wide_open_flow(once, 0.0) == pytest.approx(2.0, rel=2e-2)


def test_a_relief_valve_that_cannot_pass_it_is_said_to_end_far_above_the_rating():
    assert relief_holds(station(settings(size=SMALL))) > 10 * PSI
    kinds = [one.kind for one in order(station(settings(size=SMALL)))]
    assert "relief_too_small" in kinds


def test_the_ladder_of_closed_forms_has_what_monitor_and_worker_hold():
    of = station(settings())
    at = {(one.device, one.kind): one.gauge_pressure for one in rungs(of)}
    for name, kind in ((WORKER, "lock_up"), (MONITOR, "monitor_held")):
        (regulator,) = (r for r in of.regulators if r.name == name)
        assert at[name, kind] == lock_up_gauge_pressure(regulator.condition(), 60 * PSI)
    assert at[MONITOR, "monitor_held"] == pytest.approx(trace(failure="open").at(OUTLET, MORNING - 1), rel=2e-3)


@pytest.mark.parametrize(
    ("chosen", "said"),
    [
        ({}, "The settings stand in order, with room between them."),
        ({"trip": 11.5 * IN_WC}, "As set, the slam-shut may trip while the monitor holds."),
        ({"trip": 18 * IN_WC}, "the slam-shut may trip while the relief valve does its work."),
        ({"trip": 28 * IN_WC}, "As set, the slam-shut comes only above the rating."),
        ({"trip": 27 * IN_WC}, "Within its band, the slam-shut may come only above the rating."),
        ({"relief": 10 * IN_WC}, "As set, the relief valve may open while the monitor holds."),
        ({"above": 0.5 * IN_WC}, "As set, the monitor throttles the worker's flow."),
        ({"fitted": False}, "As set, nothing limits the pressure once the worker stands wide open."),
    ],
)
def test_what_is_wrong_with_the_order_is_named_in_words(chosen, said):
    assert said in order_words(station(settings(**chosen)))
    assert said in shown(**chosen).sentence


# Words and pictures


@pytest.mark.parametrize(
    ("chosen", "words", "drawn"),
    [
        ({}, "At 1 min 12 s the slam-shut trips.", "slam_shut: tripped high"),
        ({}, "In the morning the burners have no gas, or too little.", "isolated"),
        ({"failure": "open"}, "At 1 min 01 s the monitor begins to throttle.", "slam_shut: open"),
        ({"failure": "slug"}, "At 1 min 08 s the relief valve opens.", "gas at stack"),
        ({"failure": "none"}, "No layer acts.", "alarm: normal"),
        ({"failure": "open"}, "At 1 min 01 s the alarm rings.", "alarm: made"),
        ({"failure": "line"}, "Gas let off into the air: 13.4 ft³.", "worker: "),
        ({"fitted": False, "failure": "open"}, "The worker is alone", "worker: wide open"),
        ({"relief": 6 * IN_WC, "failure": "none"}, "At the very start the relief valve is open.", "gas at stack"),
    ],
)
def test_the_sentence_and_the_drawing_tell_what_happened(chosen, words, drawn):
    made = shown(**chosen, moment=MORNING - 1)
    assert words in made.sentence
    assert drawn in made.drawing
    assert len(made.readouts) == 6
    assert ".." not in made.sentence


def test_only_a_relief_valve_shut_off_is_drawn_so():
    assert 'data-isolated="1"' in shown().drawing
    assert 'data-isolated="0"' in shown(failure="slug").drawing


def test_all_failures_are_told_a_line_each_with_the_counts_on_the_gauges():
    made = shown(table=True)
    lines = made.sentence.split("\n")
    assert len(lines) == len(BREAKS) + 2
    for line, (words, key) in zip(lines[1:], BREAKS, strict=False):
        assert line.startswith(f"{words}: highest")
        assert ("held, gas on" in line) == (SOUND[key] == (True, True))
    assert dict(made.readouts)["within the rating"] == "6 of 6"
    assert dict(made.readouts)["and gas on"] == "5 of 6"
    # the pictures are those of the failure chosen
    assert made.drawing == shown().drawing


def test_the_ladder_has_every_layer():
    made = shown()
    for words in ("worker set", "monitor set", "alarm makes", "relief valve opens", "slam-shut trips", "rating"):
        assert words in made.ladder
    assert "relief valve" not in shown(fitted=False).ladder
    assert {"slam-shut trips", "switch makes"} <= {event.label for event in made.chart.events}


def test_pressures_are_told_in_the_units_chosen():
    for table in (False, True):
        made = shown(units="metric", table=table)
        assert "mbar" in made.sentence
        assert "in. w.c." not in made.sentence + made.ladder


def test_the_settings_to_print_tell_two_stories():
    stories = [lesson_14.show(settings() | change).sentence for change in BENCH.handout]
    assert len(set(stories)) == 2


# Every corner


def corners(count):
    """Some of the combinations of slider ends and choices, by a fixed seed; each end and choice stands in many."""
    ends = list(product(*((slider.low, slider.high) for slider in SLIDERS)))
    chance = Random(14)
    for _ in range(count):
        at = dict(zip((slider.key for slider in SLIDERS), chance.choice(ends), strict=True))
        yield BENCH.start("us") | at | {key: chance.choice(values) for key, values in CHOICES.items()}


def test_no_corner_fails_and_each_story_is_of_its_run():
    for at in corners(40):
        run = simulate(lesson_14.scenario(at))
        told, one = story(run, "metric"), outcome(run, "metric")
        assert ("the slam-shut trips" in told) == bool(run.happened("trips_high")), at
        assert ("the alarm rings" in told) == bool(run.happened("switch_high")), at
        assert ("never passes" in told) == one.held == (run.peak(OUTLET)[1] <= RATING), at
        assert ("have gas" in told) == (run.at("appliances_flow", NOON - 1) >= 0.5 * at["demand"]), at
        assert ("The worker is alone" in told) == (not at["fitted"])
        assert np.isfinite(run[OUTLET]).all()
        assert order_words(run.scenario.station).endswith((".", "them."))
        assert {finding.kind for finding in order(run.scenario.station)} <= set(ORDER_WORDS)
