"""The bench of lesson 07: what the relief valve does, in numbers, in words and in the drawing."""

from itertools import product
from math import pi
from random import Random

import pytest

from toolkit.devices.regulator import lock_up_gauge_pressure
from toolkit.margins import relief_capacity
from toolkit.panels import lesson_07
from toolkit.panels.controls import Slider
from toolkit.panels.lesson_07 import BENCH, LIFT, OUTLET, STACK_FLOW, story
from toolkit.panels.regulator_view import DUSK, MORNING, NEAR_TOP, NOON
from toolkit.simulation import simulate
from toolkit.sizing import API_526_LETTERS
from toolkit.units import IN_WC, INCH, PSI

NIGHT = MORNING - 1
assert BENCH.without is not None
WITHOUT = BENCH.without
# Grit that by day passes less than the burners take, and at night lifts the valve enough to pop.
GRIT = {"failure": "none", "debris": 3.05e-4, "hardness": 1e8}


def shown(**chosen):
    return lesson_07.show(BENCH.start("us") | {"units": "us"} | chosen)


def trace(**chosen):
    return simulate(lesson_07.scenario(BENCH.start("us") | chosen))


def test_the_key_of_the_prediction_is_what_happens():
    run = trace()
    (worker,), (valve,) = run.scenario.station.regulators, run.scenario.station.relief_valves
    assert (worker.set_gauge_pressure, valve.set_gauge_pressure) == pytest.approx((7 * IN_WC, 11 * IN_WC))
    # Past its set pressure, and it stays there, open, with gas going off to the end.
    for time in (DUSK - 1, NIGHT, 599):
        assert run.at(OUTLET, time) > 1.1 * valve.set_gauge_pressure
        assert run.at(STACK_FLOW, time) > 0.5 * run.at(STACK_FLOW, NIGHT)
    assert lesson_07.PREDICTION.options[lesson_07.PREDICTION.right].startswith("It rises past 11 in. w.c.")
    assert "13.1 in. w.c. at night" in lesson_07.explain("us")
    assert "mbar" in lesson_07.explain("metric")


@pytest.mark.parametrize("letter", ["G", "H", "J"])
def test_it_settles_where_the_valve_passes_what_the_worker_passes(letter):
    """All that comes leaves: the law of the valve at that pressure against the worker's flow wide open."""
    run = trace(letter=letter)
    station, end = run.scenario.station, run.at(OUTLET, NIGHT)
    (capacity,) = relief_capacity(station, "outlet", end)
    assert capacity.relief_flow == pytest.approx(capacity.worker_flow, rel=0.01)
    assert run.at(STACK_FLOW, NIGHT) == pytest.approx(capacity.worker_flow, rel=0.01)
    # Its lift is on the opening line.
    (valve,) = station.relief_valves
    lift = (end - valve.set_gauge_pressure) / (valve.build_up * valve.set_gauge_pressure)
    assert run.at(LIFT, NIGHT) == pytest.approx(lift, abs=0.01)


@pytest.mark.parametrize("letter", lesson_07.SIZES)
def test_the_valve_has_the_effective_area_of_its_letter(letter):
    valve = lesson_07.valve(11 * IN_WC, letter)
    assert valve.flow_area == pytest.approx(0.975 * API_526_LETTERS[letter], rel=1e-9)
    # A stack twice as wide and more takes little of it.
    assert pi / 4 * valve.stack_bore**2 > 5 * API_526_LETTERS[letter]
    words = next(words for words, value in lesson_07.SIZE.options if value == letter)
    assert f"{API_526_LETTERS[letter] / INCH**2:.3f} in²" in words


def test_the_letter_of_the_standard_is_the_smallest_that_keeps_the_rating():
    full = 1.25 * 11 * IN_WC
    (sized,) = relief_capacity(trace().scenario.station, "outlet", full)
    for letter in lesson_07.SIZES:
        run = trace(letter=letter)
        assert (run.at(OUTLET, NIGHT) <= full) == (API_526_LETTERS[letter] >= sized.api_area)


@pytest.mark.parametrize(
    ("chosen", "words", "drawn"),
    [
        ({}, "At the end of the night it stands 78 % open. It still stands open", "relief_valve: open 78 %, gas"),
        ({"failure": "none"}, "The relief valve stays shut; it is set 11.0 in. w.c.", "relief_valve: shut"),
        ({"relief": "shut"}, "its disk feels nothing, and no gas leaves", "relief_valve: shut, isolated"),
        ({"relief": "iced"}, "still the gas cannot get out", "stack blocked"),
        ({"letter": "F"}, "full lift, and that is not enough", "relief_valve: open 100 %"),
        ({"fitted": False}, "No relief valve is fitted", "appliances"),
    ],
)
def test_each_state_is_told_and_drawn(chosen, words, drawn):
    made = shown(moment=NIGHT, **chosen)
    assert words in made.sentence
    assert drawn in made.drawing
    assert len(made.readouts) == (4 if chosen.get("fitted") is False else 6)
    assert made.chart.lines[0].label == "outlet"


def test_what_the_appliances_see_is_told():
    assert "never passes the appliances' rating of 14.0 in. w.c." in shown().sentence
    assert "more pressure than they are made for" not in shown().sentence
    for defeated in ({"relief": "shut"}, {"relief": "iced"}, {"fitted": False}, {"letter": "F"}):
        assert "more pressure than they are made for" in shown(**defeated).sentence
        assert "The appliances are rated 14.0 in. w.c.: the outlet is above that for" in shown(**defeated).sentence


def test_a_shut_isolating_valve_is_as_no_valve_at_all():
    shut, bare = trace(relief="shut"), trace(**WITHOUT[1])
    assert shut.at(OUTLET, NIGHT) == pytest.approx(bare.at(OUTLET, NIGHT), rel=1e-3)
    assert shut.at(OUTLET, NIGHT) == pytest.approx(60 * PSI, rel=1e-3)
    assert shut[LIFT].max() == 0.0
    assert not shut.happened("valve_opens")
    assert shown(relief="shut").readouts[-1] == ("out of the stack", "0 scfh")


def test_without_the_layer_no_valve_is_there_and_no_rung_on_the_ladder():
    assert trace(**WITHOUT[1]).scenario.station.relief_valves == ()
    assert "relief valve opens" in shown().ladder
    assert "relief valve opens" not in shown(**WITHOUT[1]).ladder


def test_the_ladder_has_all_three_pressures_of_the_valve():
    ladder = shown().ladder
    for words in ("at full lift 13.7 in. w.c.", "is shut again 9.3 in. w.c.", "opens 11.0 in. w.c."):
        assert words in ladder
    assert "full lift" not in shown(**WITHOUT[1]).ladder


def test_what_the_burners_take_is_told_beside_what_leaves():
    readouts = dict(shown(moment=NIGHT).readouts)
    assert readouts["burners take now"] == "0 scfh"
    assert readouts["out of the stack"] == "2,939 scfh"
    assert "They take 672 scfh and not 500 scfh" in shown().sentence
    assert "and not" not in shown(failure="none").sentence


def test_after_a_pop_a_clean_seat_is_tight_and_a_dirty_one_weeps():
    sound, dirty = trace(**GRIT), trace(**GRIT, relief="weeps")
    for run in (sound, dirty):
        (reseat,) = run.happened("valve_reseats")
        # By the blowdown of 15 % below its set pressure; the event counts from half a per cent of lift.
        assert reseat.value == pytest.approx(0.85 * 11 * IN_WC, rel=0.01)
        assert MORNING < reseat.time < MORNING + 10
    assert sound.at(STACK_FLOW, NOON - 1) == pytest.approx(0.0, abs=1e-9)
    assert dirty.at(STACK_FLOW, NOON - 1) > 1e-5
    assert "weeps" not in shown(**GRIT).sentence
    made = shown(**GRIT, relief="weeps", moment=NOON - 1)
    assert "Its seat no longer seals: shut, it weeps 13 scfh." in made.sentence
    assert "relief_valve: shut, weeps" in made.drawing
    assert made.readouts[-1] == ("out of the stack", "13 scfh")
    assert "relief valve reseats" in [marker.label for marker in made.chart.events]


def test_a_valve_set_below_lock_up_opens_with_nothing_wrong_and_does_not_shut():
    near = trace(failure="none", above=0.5 * IN_WC)
    (worker,), (valve,) = near.scenario.station.regulators, near.scenario.station.relief_valves
    assert valve.set_gauge_pressure < lock_up_gauge_pressure(worker.condition(), 60 * PSI)
    (opens,) = near.happened("valve_opens")
    assert DUSK < opens.time < DUSK + 5
    assert near.at(LIFT, NOON - 1) > 0.005
    assert "It still stands open when the run ends." in shown(failure="none", above=0.5 * IN_WC).sentence
    assert not trace(failure="none", above=1 * IN_WC).happened("valve_opens")


def test_a_burner_that_starves_is_told():
    assert "The burners starve." in shown(failure="none", inlet=5 * PSI, demand=BENCH.controls[9].high).sentence
    assert "starve" not in shown(failure="none").sentence


def test_the_pressures_of_a_sound_valve_stay_in_the_picture():
    highest = lesson_07.WORKER_SET.high + lesson_07.ABOVE.high
    assert 1.25 * highest == pytest.approx(NEAR_TOP, rel=1e-6)


def test_corners_run_and_are_told():
    """Out of all corners (each slider at its ends, each choice) some drawn with a fixed seed: none is refused."""
    keys = [control.key for control in BENCH.controls[:10]]
    ends = [
        (control.low, control.high) if isinstance(control, Slider) else [value for _, value in control.options]
        for control in BENCH.controls[:10]
    ]
    for number, corner in enumerate(Random(7).sample(list(product(*ends)), 80)):
        settings = dict(zip(keys, corner, strict=True))
        run = simulate(lesson_07.scenario(settings))
        told = story(run, settings["relief"], ("us", "metric")[number % 2])
        assert "nan" not in told
        if run.scenario.station.relief_valves and settings["relief"] != "shut":
            assert ("stays shut" in told) == (run[LIFT].max() < lesson_07.OPEN), settings
        assert ("never passes" in told) == (run.peak(OUTLET)[1] <= 14 * IN_WC), settings
