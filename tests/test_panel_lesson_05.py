"""The bench of lesson 05: who holds the outlet, in words and in the drawing."""

import pytest

from toolkit.panels import lesson_05
from toolkit.panels.monitor_station import settings_of, story, takes_over
from toolkit.panels.regulator_view import LARGEST_DEMAND
from toolkit.simulation import simulate
from toolkit.units import IN_WC, PSI


def shown(**chosen):
    return lesson_05.show(lesson_05.BENCH.start("us") | {"units": "us"} | chosen)


def trace(**chosen):
    return simulate(lesson_05.scenario(lesson_05.BENCH.start("us") | chosen))


def test_the_key_of_the_prediction_is_what_happens():
    run = trace()
    worker, monitor = settings_of(run.scenario)
    assert (worker, monitor) == (7 * IN_WC, 11 * IN_WC)  # as the question says
    assert run.at("outlet_gauge_pressure", 119) == pytest.approx(monitor, rel=0.03)
    assert run.at("appliances_flow", 119) > 0
    assert lesson_05.PREDICTION.options[lesson_05.PREDICTION.right].startswith("It rises to about 11 in. w.c.")
    assert "11.1 in. w.c." in lesson_05.explain("us")
    assert "mbar" in lesson_05.explain("metric")


@pytest.mark.parametrize(
    ("failure", "words", "drawn"),
    [
        ("none", "stands by, wide open", "Monitor regulator monitor: wide open"),
        ("open", "first takes over at 1 min", "Worker regulator worker: wide open"),
        ("line", "first takes over at 1 min", "worker_line, from outlet to worker: broken"),
        ("both", "Both regulators stand wide open", "one_line, from outlet to monitor and worker: broken"),
        ("slug", "above that for", "Worker regulator worker:"),
    ],
)
def test_each_failure_says_and_draws_who_holds(failure, words, drawn):
    made = shown(failure=failure, moment=110.0)
    assert words in made.sentence
    assert drawn in made.drawing
    assert len(made.readouts) == 5


@pytest.mark.parametrize(
    ("chosen", "words", "not_said"),
    [
        ({"failure": "none"}, "The burners have gas.", "carbon monoxide"),
        ({}, "The burners have gas: they take 314 scfh, 126 % of their rating. Burners fed like", "more pressure than"),
        ({"failure": "both"}, "more pressure than they are made for: they take 1,867 scfh", "have gas."),
        ({"failure": "none", "inlet": 5 * PSI, "demand": LARGEST_DEMAND}, "less than half", "have gas"),
    ],
)
def test_what_the_burners_get_is_told(chosen, words, not_said):
    sentence = shown(**chosen).sentence
    assert words in sentence
    assert not_said not in sentence


def test_a_monitor_set_too_near_is_told():
    assert takes_over(trace(failure="none", above=0.5 * IN_WC)) == 0.0
    assert "cannot stand by wide open" in shown(failure="none", above=0.5 * IN_WC).sentence
    assert takes_over(trace(failure="none")) is None


def test_debris_on_the_worker_shows_at_night_only():
    run = trace(failure="none", debris=4e-4, hardness=1e8)
    assert run.at("outlet_gauge_pressure", 419) > 10 * IN_WC
    assert "The monitor first takes over" in story(run, "us")
