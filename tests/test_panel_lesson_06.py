"""The bench of lesson 06: who holds the outlet, in words, in the drawing, on the ladder, and by the closed forms."""

from __future__ import annotations

from itertools import product
from random import Random

import pytest

from toolkit.devices.regulator import lock_up_gauge_pressure, relief_start_gauge_pressure
from toolkit.faults import FouledSecondSeat
from toolkit.figures.chart import TimeChart
from toolkit.panels import lesson_06
from toolkit.panels.controls import Slider
from toolkit.panels.lesson_06 import AT_WORK, FAILURE, NIGHT_AT, began, shut_share, stands, story
from toolkit.panels.words import vented_words
from toolkit.quiz.lesson_06 import shut_gauge_pressure
from toolkit.simulation import simulate
from toolkit.units import IN_WC, PSI, format_pressure

DAY_AT = 119.0
OUTLET = "outlet_gauge_pressure"
RATING = 14 * IN_WC
BLINDED = ("line", "vent", "torn")


def shown(**chosen):
    return lesson_06.show(lesson_06.BENCH.start("us") | chosen)


def trace(**chosen):
    return simulate(lesson_06.scenario(lesson_06.BENCH.start("us") | chosen))


def worker_of(run):
    return run.scenario.station.regulators[0]


# --- what the second seat does


def test_the_key_of_the_prediction_is_what_happens():
    run, well, bare = trace(), trace(failure="none"), trace(fitted=False)
    worker = worker_of(run)
    # As the question says.
    assert worker.set_gauge_pressure == 7 * IN_WC
    assert worker.second_seat.takes_over_above_set == 4 * IN_WC
    risen = run.at(OUTLET, DAY_AT) - worker.set_gauge_pressure
    assert risen == pytest.approx(3 * IN_WC, abs=0.3 * IN_WC)
    assert run.at("appliances_flow", DAY_AT) > well.at("appliances_flow", DAY_AT)
    assert vented_words(run, "us") == "none"
    assert bare.at(OUTLET, NIGHT_AT) == pytest.approx(60 * PSI, rel=0.01)
    right = lesson_06.PREDICTION.options[lesson_06.PREDICTION.right]
    assert right.startswith("It rises by about 3 in. w.c. and stays there; the burners")
    for units in ("us", "metric"):
        said = lesson_06.explain(units)
        for one in (well.at(OUTLET, DAY_AT), run.at(OUTLET, DAY_AT), run.at(OUTLET, NIGHT_AT)):
            assert format_pressure(one, units).rstrip(".") in said
        assert format_pressure(bare.at(OUTLET, NIGHT_AT), units) in said


@pytest.mark.parametrize("above", [2.0, 4.0, 8.0])
def test_at_no_flow_the_outlet_stands_where_the_force_balance_has_it(above):
    """Springs over area at the diaphragm's place, out of the regulator's own sizes: 0.5 % for the gap that is left."""
    run = trace(above=above * IN_WC)
    worker = worker_of(run)
    second = worker.second_seat
    down = worker.lever_ratio * worker.travel - second.travel
    area = worker.diaphragm_area * (1 + worker.area_growth * down / (worker.lever_ratio * worker.travel))
    main = worker.spring_preload - worker.spring_rate * down
    own = (7 + above) * IN_WC * worker.diaphragm_area - worker.spring_preload + second.spring_rate * second.travel
    assert run.at(OUTLET, NIGHT_AT) == pytest.approx((main + own) / area, rel=5e-3)
    assert shut_share(run, NIGHT_AT) == pytest.approx(1.0)


def test_the_worker_alone_locks_up_as_without_a_second_seat():
    for run in (trace(failure="none"), trace(failure="none", fitted=False)):
        lock_up = lock_up_gauge_pressure(worker_of(run).condition(), 60 * PSI)
        assert run.at(OUTLET, NIGHT_AT) == pytest.approx(lock_up, rel=2e-3)
        assert began(run) is None


def test_the_nearer_the_disk_to_its_seat_the_higher_the_second_seat_holds():
    heights = (2e-5, 2e-4, 6e-4, 1.2e-3)
    held = [trace(failure="none", debris=height, hardness=1e8).at(OUTLET, NIGHT_AT) for height in heights]
    assert held == sorted(held, reverse=True)
    highest = shut_gauge_pressure(worker_of(trace()))
    assert trace().at(OUTLET, NIGHT_AT) < held[-1] < held[0] < highest * 1.005


def test_set_below_lock_up_it_moves_every_night_and_the_sentence_says_so():
    near = trace(failure="none", above=0.5 * IN_WC)
    start = relief_start_gauge_pressure(worker_of(near).condition())
    assert start < lock_up_gauge_pressure(worker_of(near).condition(), 60 * PSI)
    assert 120.0 < began(near) < 240.0
    assert "It is set too near: it begins at 7.5 in. w.c." in story(near, "us")
    assert "too near" not in story(trace(above=1 * IN_WC), "us")


def test_the_second_seat_moves_along_with_the_workers_screw():
    low, high = (trace(set_point=inches * IN_WC).at(OUTLET, NIGHT_AT) for inches in (7, 10))
    assert high - low == pytest.approx(3 * IN_WC, rel=0.06)


# --- words, drawing, ladder


@pytest.mark.parametrize(
    ("failure", "words", "drawn", "passes"),
    [
        ("open", "first at work at 1 min", "worker: wide open, second seat shut", False),
        ("none", "The second seat stands by, open.", "worker: shut, second seat open", False),
        ("line", "what blinds the worker blinds it too", "wide open, second seat open, sensing line broken", True),
        ("vent", "what blinds the worker blinds it too", "worker: shut, second seat open", True),
        ("torn", "what blinds the worker blinds it too", "second seat open, gas at vent", True),
        ("slug", "at the end of the night down, held off by dirt", "second seat", True),
    ],
)
def test_each_failure_says_and_draws_who_holds(failure, words, drawn, passes):
    made = shown(failure=failure, moment=NIGHT_AT)
    assert words in made.sentence
    assert drawn in made.drawing
    assert ("is above that for" in made.sentence) == passes
    assert ("made for" in made.sentence) == passes
    (load,) = trace().scenario.station.loads
    taken = trace(failure=failure).at("appliances_flow", DAY_AT) / load.rated_flow
    told = f"{taken:.0%}".replace("%", " %") + " of their rating. Burners fed like that can make carbon monoxide."
    assert (told in made.sentence) == (failure not in ("none", "vent"))
    assert ("carbon monoxide" in made.sentence) == (taken > 1.05)
    assert [name for name, _ in made.readouts][-1] == "second seat now"
    assert "begins to shut" in made.ladder
    assert "appliances rating" in made.ladder


def test_gas_is_let_off_by_a_broken_line_and_a_torn_diaphragm_only():
    for _, failure in FAILURE.options:
        sentence = shown(failure=failure).sentence
        assert ("Gas let off: " in sentence) == (failure in ("line", "torn")), failure
        assert ("No gas is let off." in sentence) == (failure not in ("line", "torn"))


def test_without_the_second_seat_nothing_of_it_is_shown_and_its_dirt_strikes_nothing():
    made = shown(fitted=False, failure="slug", moment=NIGHT_AT)
    assert "No second seat is fitted" in made.sentence
    assert dict(made.readouts)["second seat now"] == "not fitted"
    assert "second seat" not in made.drawing.replace(lesson_06.WATCH.title, "")
    assert "begins to shut" not in made.ladder
    settings = lesson_06.BENCH.start("us") | {"failure": "slug"}
    kinds = [{type(fault) for fault in lesson_06.scenario(settings | {"fitted": one}).faults} for one in (True, False)]
    assert kinds[0] - kinds[1] == {FouledSecondSeat}


def test_a_starved_house_is_told():
    starved = shown(inlet=5 * PSI, demand=lesson_06.BENCH.controls[7].high)
    assert "The burners get less than half" in starved.sentence


def test_how_it_stands_is_never_rounded_up_to_shut():
    shown_as = [stands(share) for share in (0.0, AT_WORK, 0.4, 0.9985, 1.0)]
    assert shown_as == ["open", "open", "40 % shut", "99 % shut", "shut"]
    assert [stands(share, dirty=True) for share in (0.0, 0.4, 1.0)] == ["open", "40 % shut", "down, held off by dirt"]


def test_a_seat_held_off_by_dirt_is_not_called_shut():
    seats = [dict(shown(failure=one, moment=NIGHT_AT).readouts)["second seat now"] for one in ("open", "slug")]
    assert seats == ["shut", "down, held off by dirt"]
    assert dict(shown(failure="slug", moment=30.0).readouts)["second seat now"] == "open"


def test_the_chart_marks_when_the_second_seat_begins():
    made = shown()
    (event,) = trace().happened("second_seat_acts")
    assert [marker.time for marker in made.chart.events if marker.label == "second seat shuts"] == [event.time / 60]
    assert "second seat" in TimeChart(made.spec).alt(made.chart)


# --- the whole range of the controls


def corners():
    controls = [c for c in lesson_06.BENCH.controls if c.group != "view"]
    ends = [(c.low, c.high) if isinstance(c, Slider) else tuple(value for _, value in c.options) for c in controls]
    for values in product(*ends):
        yield dict(zip((c.key for c in controls), values, strict=True))


def test_the_corners_run_and_tell_the_truth():
    """A drawn part of all corners, in both units; all of them run too, which takes half a minute."""
    chosen = Random(6).sample(list(corners()), 60)
    assert {settings["failure"] for settings in chosen} == {value for _, value in FAILURE.options}
    for settings in chosen:
        run = simulate(lesson_06.scenario(settings))
        top = run.peak(OUTLET)[1]
        for units in ("us", "metric"):
            said = story(run, units)
            assert ("above that for" in said) == (top > RATING), settings
            assert format_pressure(top, units).rstrip(".") in said
        assert not run.happened("hunts")
        blind = "what blinds the worker" in said
        assert not blind or settings["failure"] in BLINDED, settings
        assert not blind or top > shut_gauge_pressure(worker_of(run))


def test_a_sound_second_seat_lets_through_no_more_than_its_worst():
    for settings in corners():
        if settings["failure"] == "open" and settings["fitted"] and settings["hardness"] == 1e8:
            run = simulate(lesson_06.scenario(settings))
            worst = shut_gauge_pressure(worker_of(run))
            assert run.at(OUTLET, NIGHT_AT) < worst, settings
            # 12 %: burners that go off fill the pipe faster than the sensing line tells the diaphragm.
            assert run.peak(OUTLET)[1] < 1.12 * worst, settings
