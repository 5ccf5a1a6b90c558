"""The bench of lesson 12: what one cause takes, what stands apart, and what words, drawing and ladder say."""

from itertools import product

import numpy as np
import pytest

from toolkit.devices.regulator import lock_up_gauge_pressure
from toolkit.gas import standard_density
from toolkit.panels import lesson_12
from toolkit.panels.controls import Choice, Slider
from toolkit.panels.lesson_12 import BLED, CUT, LET_BY, OUTLET, let_by, story
from toolkit.panels.regulator_view import DUSK, MORNING, NEAR_TOP
from toolkit.simulation import simulate
from toolkit.trace import time_above
from toolkit.units import HOUR, IN_WC, PSI, SCF

BENCH = lesson_12.BENCH
CHOICES = {c.key: [value for _, value in c.options] for c in BENCH.controls if isinstance(c, Choice)}
SLIDERS = [c for c in BENCH.controls if isinstance(c, Slider) and c.key != "moment"]
RATING = 14 * IN_WC
DAY_AT, NIGHT_AT = DUSK - 1, MORNING - 1


def settings(**chosen):
    return BENCH.start("us") | chosen


def trace(**chosen):
    return simulate(lesson_12.scenario(settings(**chosen)))


def shown(**chosen):
    return lesson_12.show(settings(**chosen))


def lock_up(run, place):
    return lock_up_gauge_pressure(run.scenario.station.regulators[place].condition(), 60 * PSI)


def test_the_controls_the_lesson_needs_stand_in_order():
    keys = [control.key for control in BENCH.controls]
    assert {"inlet", "set_point", "above", "taps", "guard", "debris", "hardness", "cause", "demand"} <= set(keys)
    assert keys[-2:] == ["zoom", "moment"]
    assert BENCH.wide
    # a monitor always locks up below the slam-shut's trip, and that trip stays in the picture
    above, highest = (next(s.high for s in SLIDERS if s.key == key) for key in ("above", "set_point"))
    assert above + 2 * IN_WC < lesson_12.TRIP_ABOVE
    assert highest + lesson_12.TRIP_ABOVE <= NEAR_TOP


# The prediction


def test_the_key_of_the_prediction_is_what_happens():
    run = trace()
    for regulator in run.scenario.station.regulators:
        assert run.at(f"{regulator.name}_lift", DAY_AT) == pytest.approx(regulator.travel)
    assert run.at("old_main_gauge_pressure", DAY_AT) == pytest.approx(0.0, abs=1.0)
    assert run.at(OUTLET, DAY_AT) > 10 * PSI
    assert lesson_12.PREDICTION.options[lesson_12.PREDICTION.right].startswith("Both regulators open")
    assert "20.1 psig" in lesson_12.explain("us")
    assert "leaves that night at 7.8 in. w.c." in lesson_12.explain("us")
    assert "1.39 bar" in lesson_12.explain("metric")


def test_the_bench_without_its_cause_has_each_line_on_the_outlet():
    words, change = BENCH.without
    assert words == "with each line on the outlet"
    run = simulate(lesson_12.scenario(settings() | change))
    assert {line.tap for line in run.scenario.station.sensing_lines} == {"outlet"}
    assert run.peak(OUTLET)[1] < RATING


# Physics against closed forms


def test_both_mains_stand_alike_while_the_valve_is_open():
    run = trace(cause="none")
    assert run.at("old_main_gauge_pressure", NIGHT_AT) == pytest.approx(run.at(OUTLET, NIGHT_AT), rel=1e-3)
    assert run.at(OUTLET, NIGHT_AT) == pytest.approx(lock_up(run, 1), rel=2e-3)


def test_the_new_main_fills_as_fast_as_two_choked_openings_pass():
    """dp/dt = RT (m in - m out) / V (closed form), with the flows that the run itself tells."""
    run = trace()
    station = run.scenario.station
    times = np.linspace(BLED + 2.0, BLED + 5.0, 301)
    on = run.on(times)
    came = np.trapezoid(on["worker_flow"] - on["appliances_flow"], times) * standard_density(station.gas)
    risen = on[OUTLET][-1] - on[OUTLET][0]
    assert risen == pytest.approx(station.rt * came / lesson_12.NEW_SIZE, rel=5e-3)


@pytest.mark.parametrize("taps", CHOICES["taps"])
def test_a_stuck_worker_takes_one_layer_wherever_the_lines_end(taps):
    run = trace(taps=taps, cause="open")
    assert run.at(OUTLET, NIGHT_AT) == pytest.approx(lock_up(run, 0), rel=2e-3)
    assert let_by(run) is None
    assert run.peak(OUTLET)[1] < RATING


# One cause, two layers

TAKES_BOTH = {
    ("old", "main"),
    ("one", "line"),
    ("one", "frozen"),
    *((taps, cause) for taps in ("old", "one", "own") for cause in ("slug", "vents")),
}


@pytest.mark.parametrize(("taps", "cause"), list(product(CHOICES["taps"], CHOICES["cause"])))
def test_a_cause_takes_both_where_both_share_what_it_strikes(taps, cause):
    run = trace(taps=taps, cause=cause)
    both = (taps, cause) in TAKES_BOTH
    assert (let_by(run) is not None) == both
    assert (run.peak(OUTLET)[1] > RATING) == both
    assert ("one cause has taken two layers" in story(run, "us")) == both
    if both:
        since = let_by(run)[0]
        assert since > CUT
        assert run.at(OUTLET, since + 1.0) > LET_BY * lock_up(run, 0)


NEAR = {"inlet": 100 * PSI, "set_point": 4 * IN_WC, "above": 0.5 * IN_WC, "demand": 25 * SCF / HOUR}


@pytest.mark.parametrize(
    "chosen",
    [
        {"cause": "frozen"},  # what stands between the two comes through as the burners go off, the monitor shut
        {"cause": "open"} | NEAR,  # for a moment the monitor has not shut yet
    ],
)
def test_a_short_spike_is_no_layer_lost(chosen):
    run = trace(taps="own", **chosen)
    monitor = run.scenario.station.regulators[0]
    held = lock_up_gauge_pressure(monitor.condition(), run.scenario.station.supply.gauge_pressure)
    assert run.peak(OUTLET)[1] > LET_BY * held
    assert let_by(run) is None


@pytest.mark.parametrize(
    ("taps", "guard", "cause", "trips"),
    [
        ("old", "own", "main", True),
        ("old", "same", "main", False),
        ("one", "own", "line", True),
        ("one", "same", "line", False),
        ("one", "own", "frozen", True),
        ("one", "same", "frozen", False),
        ("own", "own", "slug", True),
        ("own", "same", "slug", True),
        ("own", "own", "open", False),
        ("own", "own", "main", False),
        ("own", "own", "vents", False),
    ],
)
def test_a_slam_shut_helps_where_it_still_feels_the_outlet(taps, guard, cause, trips):
    run = trace(taps=taps, guard=guard, cause=cause)
    assert bool(run.happened("trips_high")) == trips
    said = story(run, "us")
    assert ("stops the gas" in said) == trips
    assert said.endswith("the burners have no gas.") == trips
    if trips:
        (tripped,) = run.happened("trips_high")
        assert tripped.value == pytest.approx(19 * IN_WC, rel=0.05)
        assert run.at(OUTLET, NIGHT_AT) < RATING
    third = guard == "same" and not trips
    assert ("a third layer, and the same cause" in said) == third
    if third:
        assert run.at(OUTLET, NIGHT_AT) == pytest.approx(trace(taps=taps, cause=cause).at(OUTLET, NIGHT_AT), rel=1e-2)


# The words and the pictures


@pytest.mark.parametrize(
    ("chosen", "words"),
    [
        ({}, "From 1 min 10 s on both regulators stand wide open: one cause has taken two layers."),
        ({"cause": "none"}, "The worker does all the work, and the monitor stands by, wide open."),
        ({"cause": "open"}, "from 1 min 01 s on the monitor holds: one layer is taken, not two."),
        ({"cause": "none", "above": 0.5 * IN_WC}, "The monitor throttles from the start"),
        ({"cause": "slug"}, "neither regulator shuts as it should: one cause has taken two layers."),
        ({"cause": "vents", "guard": "own"}, "The slam-shut stays open: the outlet does not reach its trip."),
        ({"guard": "own"}, "The slam-shut feels the outlet by itself; it trips at 1 min 11 s and stops the gas."),
        ({"guard": "same", "cause": "slug"}, "The slam-shut feels what the worker feels; it trips at"),
        ({"cause": "line", "taps": "own"}, "Gas let off into the air: 13"),
        ({}, "The next morning the burners have far too much gas."),
        ({"cause": "open"}, "The next morning the burners have too much gas."),
        ({"cause": "none"}, "The next morning the burners have gas."),
        ({"cause": "none", "debris": 4e-4, "hardness": 1e8}, "the monitor holds: one layer is taken, not two."),
    ],
)
def test_the_sentence_tells_the_run(chosen, words):
    assert words in shown(**chosen).sentence


def test_the_time_above_the_rating_is_the_run_s():
    run = trace(guard="own")
    over = time_above(run.times, run[OUTLET], RATING)
    assert f"above that for {over:.0f} s" in story(run, "us")


@pytest.mark.parametrize(
    ("chosen", "drawn"),
    [
        ({"moment": 119.0}, "from old_main to worker"),
        ({"moment": 119.0, "taps": "own"}, "from outlet to worker"),
        ({"moment": 119.0, "taps": "one", "cause": "line"}, "one_line, from outlet to monitor and worker: broken"),
        ({"moment": 119.0}, "worker: wide open"),
        ({"moment": 119.0, "guard": "own"}, "tripped"),
    ],
)
def test_the_drawing_shows_where_the_lines_end_and_what_stands_open(chosen, drawn):
    assert drawn in shown(**chosen).drawing


def test_the_ladder_has_the_slam_shut_only_where_it_feels_the_outlet_s_place():
    assert "slam-shut trips" in shown(guard="own").ladder
    assert "slam-shut" not in shown().ladder
    made = shown()
    assert ("old main now", "0.0 in. w.c.") in made.readouts
    assert any(words.endswith("the disk is wide open.") for _, words in made.events)


def test_a_slug_brings_its_own_debris():
    (fault,) = lesson_12.scenario(settings(cause="slug", debris=1e-3)).faults
    assert set(fault.devices) == {"worker", "monitor"}
    assert len(lesson_12.scenario(settings(cause="open", debris=1e-3)).faults) == 2


@pytest.mark.parametrize("end", ["low", "high"])
@pytest.mark.parametrize(("taps", "guard"), list(product(CHOICES["taps"], CHOICES["guard"])))
def test_every_cause_runs_with_all_sliders_at_an_end(taps, guard, end):
    ends = {s.key: getattr(s, end) for s in SLIDERS}
    for cause in CHOICES["cause"]:
        run = trace(taps=taps, guard=guard, cause=cause, hardness=CHOICES["hardness"][-1], **ends)
        said = story(run, "metric")
        assert "in. w.c." not in said
        # a story of two layers lost is told only where the pressure bears it out
        if "two layers" in said and not run.happened("trips_high"):
            assert run.peak(OUTLET)[1] > LET_BY * lock_up_gauge_pressure(
                run.scenario.station.regulators[0].condition(), run.scenario.station.supply.gauge_pressure
            )
