"""The bench of lesson 11: it is the choosing table's own run, and its words say what each layer costs whom."""

from __future__ import annotations

from itertools import product
from random import Random

import numpy as np
import pytest

from toolkit.choosing import FAILURES, LAYERS, LET_OFF, MORNING, compare
from toolkit.devices.regulator import lock_up_gauge_pressure
from toolkit.gas import standard_density
from toolkit.panels import lesson_11
from toolkit.panels.controls import Choice, Slider
from toolkit.panels.lesson_11 import CUSTOMERS, OUTLET, SLUG, outcome, story
from toolkit.simulation import simulate
from toolkit.trace import time_above
from toolkit.units import IN_WC, PSI

BENCH = lesson_11.BENCH
CHOICES = {c.key: [value for _, value in c.options] for c in BENCH.controls if isinstance(c, Choice)}
SLIDERS = [c for c in BENCH.controls if isinstance(c, Slider) and c.key != "moment"]
RATING = 14 * IN_WC
STUCK, SLOW, VENT, LINE, _, SUN = FAILURES


def settings(**chosen):
    return BENCH.start("us") | chosen


def trace(**chosen):
    return simulate(lesson_11.scenario(settings(**chosen)))


def told(**chosen):
    return story(trace(**chosen), settings(**chosen))


def test_the_controls_the_lesson_needs_stand_in_order():
    keys = [control.key for control in BENCH.controls]
    assert keys == [
        *("inlet", "set_point", "layer", "failure", "debris", "hardness", "demand", "whom", "zoom", "moment"),
    ]
    assert set(CHOICES["layer"]) == set(LAYERS)
    assert CHOICES["failure"] == [*FAILURES, "nothing"]
    assert CHOICES["whom"] == list(CUSTOMERS)
    assert BENCH.wide


def test_every_rung_of_every_layer_stays_on_the_ladder():
    for layer in LAYERS:
        highest = settings(layer=layer, set_point=lesson_11.HIGHEST_SET)
        rungs = lesson_11.guarded(lesson_11.base(highest), highest["layer"])
        tops = [v.set_gauge_pressure for v in rungs.relief_valves]
        tops += [s.high_gauge_pressure * (1 + s.accuracy) for s in rungs.slam_shuts]
        tops += [s.high_gauge_pressure for s in rungs.switches]
        assert all(top <= lesson_11.WATCH.top for top in tops), layer


# The bench and the choosing table


@pytest.mark.parametrize("layer", LAYERS)
def test_the_bench_is_the_choosing_table(layer):
    (row,) = compare(lesson_11.base(settings()), (layer,))
    assert row.limit_gauge_pressure == pytest.approx(2 * PSI)
    for cell in row.cells:
        run = trace(layer=layer, failure=cell.failure)
        came = outcome(run)
        assert run.peak(OUTLET)[1] == pytest.approx(cell.peak, rel=0.01), cell.failure
        assert came.served == cell.served
        assert came.reset == cell.reset
        assert (came.above > 0) == cell.defeated
        assert (came.lets_off or came.leaks) == (cell.vented > LET_OFF)


def test_the_key_of_the_prediction_is_what_happens():
    options = ("relief valve", "slam-shut", "high switch, locks out burners", "monitor, wide open")
    came = {layer: outcome(trace(layer=layer)) for layer in options}
    fits = [one.served and not one.lets_off and not one.above for one in came.values()]
    assert fits.index(True) == lesson_11.PREDICTION.right
    assert fits.count(True) == 1
    named = ("relief valve", "slam-shut", "high switch", "monitor")
    for option, name in zip(lesson_11.PREDICTION.options, named, strict=True):
        assert name in option


@pytest.mark.parametrize(("units", "words"), [("us", "14.3 in. w.c."), ("metric", "35.6 mbar")])
def test_the_explanation_goes_through_the_four(units, words):
    said = lesson_11.explain(units)
    assert words in said
    assert ("850 ft³" if units == "us" else "24,062 L") in said
    assert ("pipe goes to 60.0 psig" if units == "us" else "pipe goes to 4.14 bar") in said


# Physics against closed forms


def test_with_nothing_wrong_every_layer_rests_at_the_worker_s_lock_up():
    for layer in LAYERS:
        run = trace(layer=layer, failure="nothing")
        worker = next(r for r in run.scenario.station.regulators if r.name == "worker")
        # what stands before the worker is the first stage's pressure with a working monitor
        before = run.at(f"{worker.inlet}_gauge_pressure", MORNING - 1)
        expected = lock_up_gauge_pressure(worker.condition(), before)
        assert run.at(OUTLET, MORNING - 1) == pytest.approx(expected, rel=0.01), layer
        assert lesson_11.acts(run, "us") == []


def test_locked_in_gas_rises_with_its_absolute_temperature_whatever_stops_it():
    for layer in ("none", "slam-shut", "monitor, wide open"):
        run = trace(layer=layer, failure=SUN)
        air = run.scenario.station.atmosphere
        before, after = (run.at(OUTLET, t) + air for t in (149.0, 400.0))
        assert after / before == pytest.approx(1.07, rel=2e-3), layer


def test_what_is_let_off_is_what_the_stack_passed():
    run = trace(layer="relief valve")
    flow = run["relief_valve_flow"]
    integral = float(((flow[1:] + flow[:-1]) / 2 * np.diff(run.times)).sum())
    assert run.totals["vented"] / standard_density(run.scenario.station.gas) == pytest.approx(integral, rel=0.01)


def test_the_time_over_the_limit_is_that_of_the_trace():
    run = trace(layer="slam-shut")
    assert outcome(run).above == pytest.approx(time_above(run.times, run[OUTLET], 2 * PSI))
    assert 0 < outcome(run).above < 5


def test_one_slug_strikes_what_is_there():
    one, two = (
        lesson_11.scenario(settings(layer=layer, failure=SLUG)) for layer in ("relief valve", "monitor, wide open")
    )
    assert {name for fault in one.faults for name in fault.devices} == {"worker"}
    assert {name for fault in two.faults for name in fault.devices} == {"worker", "monitor"}
    # the piece that is set gives way to a failure that brings its own
    assert lesson_11.scenario(settings(debris=5e-4, failure=SLOW)) == lesson_11.scenario(settings(failure=SLOW))
    assert len(lesson_11.scenario(settings(debris=5e-4, failure="nothing")).faults) == 1


# Words and pictures


@pytest.mark.parametrize(
    ("chosen", "words"),
    [
        ({}, "The monitor takes over at 40 s."),
        (
            {},
            "nothing is let off, and in the morning the burners have gas. For the hospital: it keeps its gas",
        ),
        ({"layer": "relief valve"}, "850 ft³ of gas gets out"),
        ({"layer": "relief valve"}, "At 21.5 in. w.c. the burners are overfed"),
        ({"layer": "relief valve", "whom": "house"}, "For the house, what is let off can go outdoors"),
        ({"layer": "relief valve", "failure": SLOW}, "The relief valve opens a crack"),
        ({"layer": "relief valve", "failure": SUN}, "hardly any gas is let off"),
        ({"layer": "slam-shut"}, "The slam-shut trips at 41 s, at 28.0 in. w.c."),
        ({"layer": "slam-shut"}, "the layer is defeated, whoever is behind it. And the hospital goes short."),
        ({"layer": "slam-shut", "failure": SLOW}, "For the hospital: it must not go short of gas, and it does."),
        ({"layer": "slam-shut", "failure": SLOW, "whom": "house"}, "For the house: it is cold, but it can wait."),
        ({"layer": "slam-shut", "failure": SLOW, "whom": "bakery"}, "For the bakery: the day's bread is lost."),
        ({"layer": "slam-shut"}, "Somebody qualified must come, find the cause, reset and relight."),
        ({"layer": "high switch, locks out burners"}, "the pipe is still fed"),
        (
            {"layer": "internal relief", "failure": VENT},
            "nothing is let off, and in the morning the burners have gas. The",
        ),
        ({"failure": VENT}, "Nothing has tripped: it is the worker that does not open."),
        ({"failure": LINE}, "The broken line leaks, wherever it lies."),
        ({"layer": "none"}, "There is no layer."),
        ({"layer": "none"}, "Somebody must come now and make safe."),
        ({}, "Nobody must relight, but somebody must come soon: the worker has failed."),
        ({"layer": "relief valve"}, "For the hospital: it has gas, at a pressure that is not safe to burn."),
        ({"layer": "relief valve", "whom": "bakery"}, "For the bakery: it has gas, at a pressure that is not safe"),
        ({"layer": "relief valve"}, "Gas goes on getting out until somebody comes."),
        ({"layer": "high switch, locks out burners"}, "come now and make safe, then find the cause, reset and relight"),
        ({"failure": "nothing"}, "No layer acts."),
        ({"layer": "monitor, working"}, "It hunts; the chart shows the middle of the swing."),
    ],
)
def test_the_sentence_tells_what_it_costs_whom(chosen, words):
    said = told(**chosen)
    assert words in said
    assert ".." not in said


@pytest.mark.parametrize(
    ("layer", "drawn", "rung", "comes"),
    [
        ("monitor, wide open", "monitor: shut", "monitor set", "soon: the worker has failed"),
        ("relief valve", "gas at stack", "relief valve opens", "now: make safe"),
        ("slam-shut", "slam_shut: tripped high", "slam-shut trips on high pressure", "reset and relight"),
        (
            "high switch, trips slam-shut",
            "slam_shut: tripped by switch",
            "high switch makes",
            "reset and relight",
        ),
    ],
)
def test_the_drawing_the_ladder_and_the_gauges_show_the_layer(layer, drawn, rung, comes):
    made = lesson_11.show(settings(layer=layer, moment=950.0))
    assert drawn in made.drawing
    assert rung in made.ladder
    assert ("who must come", comes) in made.readouts
    assert "appliances rating" in made.ladder
    bare = lesson_11.show(settings() | BENCH.without[1])
    assert "monitor" not in bare.ladder


@pytest.mark.parametrize("layer", LAYERS)
@pytest.mark.parametrize("failure", CHOICES["failure"])
def test_nobody_must_come_only_where_nothing_is_wrong(layer, failure):
    run = trace(layer=layer, failure=failure)
    (must,) = [text for name, text in lesson_11.show(settings(layer=layer, failure=failure)).readouts if "who" in name]
    if failure == "nothing":
        assert must == "nobody"
        return
    vented = run.totals["vented"] / standard_density(run.scenario.station.gas) > LET_OFF
    above = max(run.at(OUTLET, MORNING - 1), run.settled(OUTLET)) > RATING
    assert (must == "now: make safe") == (above or vented)
    assert must != "nobody"


def test_gas_goes_on_getting_out_where_the_stack_still_passes_it():
    for layer, failure, goes_on in (
        ("relief valve", STUCK, True),
        ("relief valve", SLOW, False),  # the burners draw the pressure down, and it is shut again
        ("monitor, wide open", STUCK, False),
    ):
        run = trace(layer=layer, failure=failure)
        assert outcome(run).goes_on == goes_on
        if layer == "relief valve":
            assert (run.settled("relief_valve_flow") > 1e-9) == goes_on


def test_burners_above_their_rating_are_never_said_to_be_kept():
    for layer in LAYERS:
        for whom in CUSTOMERS:
            came, said = outcome(trace(layer=layer)), told(layer=layer, whom=whom)
            assert not (came.overfed and CUSTOMERS[whom].kept in said), (layer, whom)
            gas = dict(lesson_11.show(settings(layer=layer, whom=whom)).readouts)["gas in the morning"]
            assert (gas == "yes, above the rating") == came.overfed


def test_a_valve_that_lifts_is_not_told_to_open_a_crack():
    said = told(layer="relief valve")
    assert "begins to lift at" in said
    assert "crack" not in said


def test_pressures_are_told_in_the_units_chosen():
    made = lesson_11.show(settings(units="metric", layer="relief valve"))
    assert "in. w.c." not in made.sentence + made.ladder
    assert "24,062 L" in made.sentence


def test_the_settings_to_print_tell_three_stories():
    stories = [lesson_11.show(settings() | change).sentence for change in BENCH.handout]
    assert len(set(stories)) == len(stories) == 3


# Every corner


def corners(count):
    """Some of the combinations of slider ends and choices, by a fixed seed; each end and choice stands in many."""
    ends = list(product(*((slider.low, slider.high) for slider in SLIDERS)))
    chance = Random(11)
    for _ in range(count):
        at = dict(zip((slider.key for slider in SLIDERS), chance.choice(ends), strict=True))
        yield BENCH.start("us") | at | {key: chance.choice(values) for key, values in CHOICES.items()}


def test_no_corner_fails_and_each_story_is_of_its_run():
    for at in corners(60):
        run = simulate(lesson_11.scenario(at))
        said, came = story(run, at), outcome(run)
        assert np.isfinite(run[OUTLET]).all()
        assert ("never passes" in said) == (run.peak(OUTLET)[1] <= RATING), at
        assert ("the layer is defeated" in said) == (run.peak(OUTLET)[1] > 2 * PSI), at
        assert ("burners have gas" in said) == came.served
        assert ("reset and relight" in said) == came.reset
        assert ("There is no layer" in said) == (at["layer"] == "none")
        assert CUSTOMERS[at["whom"]].name in said
        if came.served:
            assert run.settled("appliances_flow") > 0.4 * at["demand"]
