"""Lesson 06's items: keys by hand, by closed forms and from the runs, and how answers are graded."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from itertools import pairwise
from random import Random

import numpy as np
import pytest

from toolkit.devices.regulator import lock_up_gauge_pressure, relief_start_gauge_pressure
from toolkit.errors import AnswerError
from toolkit.faults import FouledSecondSeat, NickedSeat, StuckStem, TornDiaphragm
from toolkit.quiz.items import offer
from toolkit.quiz.lesson_06 import (
    AT_VENT,
    CAUSES,
    ITEMS,
    OUTLET,
    READ_AT,
    VERDICTS,
    WORKER,
    creeping,
    drawn_faults,
    first_stage,
    guarded,
    ladder_of,
    night,
    shut_gauge_pressure,
    struck,
    verdict,
    visited,
)
from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion
from toolkit.quiz.questions import NumericQuestion, TraceQuestion, grade, item_hash
from toolkit.units import BAR, IN_WC, MBAR, PSI, to_display

SEEDS = range(20)
BY_KEY = {item.key: item for item in ITEMS}
PLAIN = (7 * IN_WC, 3 * IN_WC, 60 * PSI)
RATING = 14 * IN_WC
# Ends of what the items draw, so that what holds between them holds for every seed.
EDGES = [
    (low * unit, above * unit, inlet)
    for unit, lows, aboves, inlets in (
        (IN_WC, (6, 8), (2, 3.5), (40 * PSI, 60 * PSI)),
        (MBAR, (15, 20), (5, 8), (2.75 * BAR, 4 * BAR)),
    )
    for low in lows
    for above in aboves
    for inlet in inlets
]


@cache
def asked(key, seed):
    return offer(BY_KEY[key], seed, ("us", "metric")[seed % 2])


def test_five_items_of_four_types():
    kinds = {type(asked(key, 0)) for key in BY_KEY}
    assert len(ITEMS) == 5
    assert kinds == {NumericQuestion, TraceQuestion, ChoiceQuestion, OrderQuestion}
    assert all(item.objective.endswith(".") and len(item.objective) < 90 for item in ITEMS)


@pytest.mark.parametrize("key", BY_KEY)
def test_new_seeds_give_new_questions_and_the_same_seed_the_same(key):
    assert len({item_hash(asked(key, seed)) for seed in SEEDS}) >= 15
    assert item_hash(offer(BY_KEY[key], 3, "metric")) == item_hash(asked(key, 3))
    for seed in SEEDS:
        question = asked(key, seed)
        said = [question.prompt, *getattr(question, "told", ()), getattr(question, "explanation", "")]
        assert all(".." not in text and "nan" not in text.split() for text in said)


# --- the closed form behind the keys


@pytest.mark.parametrize("share", [0.002, 0.1, 0.5, 1.0])
def test_a_stuck_disk_leaves_the_outlet_where_the_springs_have_it(share):
    """Of any lift: 0.5 % for what the last gas in leaves shut in."""
    station = guarded(*PLAIN)
    (worker,) = station.regulators
    held = night(station, StuckStem(devices=WORKER, lowest=share, highest=share, onset=-10.0)).settled(OUTLET)
    assert shut_gauge_pressure(worker, share * worker.travel) == pytest.approx(held, rel=5e-3)


def test_the_least_leak_is_the_worst():
    (worker,) = guarded(*PLAIN).regulators
    held = [shut_gauge_pressure(worker, share * worker.travel) for share in (0.0, 0.3, 0.6, 1.0)]
    assert held == sorted(held, reverse=True)
    assert held[0] == shut_gauge_pressure(worker)


# --- the line regulators


def printed(question):
    return [float(text) for text in re.findall(r"\d+(?:\.\d+)?", question.prompt)]


@pytest.mark.parametrize("seed", SEEDS)
def test_the_set_point_asked_for_is_the_rating_less_all_three(seed):
    question = asked("06.line_regulators", seed)
    rating, above, more, margin = printed(question)
    assert question.truth / (PSI, BAR)[seed % 2] == pytest.approx(rating - above - more - margin, abs=1e-6)


@pytest.mark.parametrize("seed", SEEDS[:6])
def test_a_worker_set_so_spares_the_line_regulators_by_the_margin(seed):
    question = asked("06.line_regulators", seed)
    unit = (PSI, BAR)[seed % 2]
    rating, above, _, margin = (number * unit for number in printed(question))
    station = first_stage(question.truth, above)
    # A small burner and a slow leak, so that the second seat keeps up. 1 %: the tag's rounding, and gas shut in.
    calm = replace(station, loads=(replace(station.loads[0], rated_flow=1e-4),))
    nick = NickedSeat(devices=WORKER, leak_area=3e-8, onset=-10.0)
    assert night(calm, nick).settled(OUTLET) == pytest.approx(rating - margin, rel=0.01)
    assert shut_gauge_pressure(station.regulators[0]) == pytest.approx(rating - margin, abs=0.12 * PSI)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_slips_that_matter_are_kept_and_named(seed):
    question = asked("06.line_regulators", seed)
    names = [slip.name for slip in question.slips]
    assert "what it takes to shut was left out" in names
    assert "where it begins was given, not the worker's set point" in names
    label = ("psig", "bar")[seed % 2]
    for slip in question.slips:
        graded = grade(question, f"{to_display(slip.value, 'gauge_pressure', question.units):.6f} {label}")
        assert (graded.score, slip.why in graded.explanation) == (0.5, True)
    right = grade(question, f"{to_display(question.truth, 'gauge_pressure', question.units):.6f} {label}")
    assert right.score == 1.0
    with pytest.raises(AnswerError):
        grade(question, "plenty")


# --- the creep


@pytest.mark.parametrize("seed", SEEDS[:8])
def test_the_creep_stops_where_the_second_seat_is_shut(seed):
    trace, off, stopped = creeping(Random(seed), ("us", "metric")[seed % 2])
    (worker,) = trace.scenario.station.regulators
    assert off < stopped < 0.9 * trace.scenario.duration
    # 1 %: the pipe is filled a little past it while the last gap goes.
    assert trace.settled(OUTLET) == pytest.approx(shut_gauge_pressure(worker), rel=0.01)
    travel = worker.second_seat.travel
    shut = trace.times[np.flatnonzero(trace[f"{WORKER}_relief_lift"] > 0.97 * travel)[0]]
    assert stopped == pytest.approx(shut, abs=0.05 * trace.scenario.duration)
    begins = trace.times[np.flatnonzero(trace[OUTLET] > relief_start_gauge_pressure(worker.condition()))[0]]
    # Whoever reads off where it begins is outside the window, and outside that of half marks.
    assert stopped - begins > 2 * 0.03 * trace.scenario.duration


@pytest.mark.parametrize("seed", SEEDS[:4])
def test_the_time_is_graded_by_its_window(seed):
    question = asked("06.creep_stops", seed)
    start, end = question.window
    assert grade(question, (start + end) / 2).score == 1.0
    assert grade(question, end + 0.3 * (end - start)).score == 0.5
    early = grade(question, 1.0)
    assert early.score == 0.0
    assert question.worked in early.explanation


# --- what blinds both

SHARED = {
    "the sensing line breaks off",
    "the diaphragm tears wide",
    "one slug of grit goes through both seats",
}


@pytest.mark.parametrize("drawn", EDGES)
def test_only_what_the_two_seats_share_passes_the_rating(drawn):
    station = guarded(*drawn)
    for cause in CAUSES:
        top = struck(station, cause).peak(OUTLET)[1]
        # Well to either side, so that no seed makes a question of a hair.
        assert top > 2 * RATING if cause.words in SHARED else top < 0.99 * RATING, (cause.words, top / RATING)


def test_the_right_option_is_the_odd_one_out():
    both_ways = set()
    for seed in SEEDS:
        question = asked("06.blind", seed)
        tops = [trace.peak(OUTLET)[1] > RATING for trace in question.traces]
        wanted = "no guard" in question.prompt
        both_ways.add(wanted)
        assert [place for place, passed in enumerate(tops) if passed is wanted] == [question.right]
        assert len(question.options) == 4
        assert (question.options[question.right] in SHARED) is wanted
        right, wrong = grade(question, question.right), grade(question, (question.right + 1) % 4)
        assert (right.score, wrong.score) == (1.0, 0.0)
        assert wrong.replay is not None
        assert not np.array_equal(wrong.replay.truth[OUTLET], wrong.replay.other[OUTLET])
        assert question.told[(question.right + 1) % 4] in wrong.explanation
    assert both_ways == {True, False}
    assert len({asked("06.blind", seed).right for seed in SEEDS}) == 4


# --- the visit


def test_the_readings_and_the_verdict_agree_with_what_was_built_in():
    """The verdict comes from the run; what was built in must agree, and an independent reading of the table too."""
    found = set()
    for seed in range(60):
        chance = Random(seed)
        station = guarded(*EDGES[seed % len(EDGES)])
        faults = drawn_faults(chance)
        trace = visited(station, faults)
        kinds = {type(fault) for fault in faults}
        built = (
            "torn" if TornDiaphragm in kinds else "both" if FouledSecondSeat in kinds else "holds" if faults else "well"
        )
        assert verdict(trace) == built, (seed, faults)
        found.add(built)
        (worker,) = station.regulators
        still = trace.at(OUTLET, READ_AT[-1])
        lock_up = lock_up_gauge_pressure(worker.condition(), station.supply.gauge_pressure)
        if built == "well":
            assert still == pytest.approx(lock_up, rel=0.02)
        elif built == "holds":
            # To be told on a gauge from a sound worker's lock-up, by a twentieth of it at least.
            assert 1.05 * lock_up < still < 1.02 * shut_gauge_pressure(worker)
        elif built == "both":
            assert still > 1.3 * shut_gauge_pressure(worker)
    assert found == set(VERDICTS)


def test_the_table_and_the_options_of_a_visit():
    seen = set()
    for seed in SEEDS:
        question = asked("06.visit", seed)
        heading, *rows = question.table
        assert heading == ("Reading at", "Outlet", "Vent")
        assert [row[0] for row in rows] == ["burners on", "pilots only", "all off"]
        assert set(question.options) == set(VERDICTS.values())
        truth = question.options[question.right]
        seen.add(truth)
        assert (truth == VERDICTS["torn"]) == all(row[2] == "gas" for row in rows)
        assert (truth != VERDICTS["torn"]) == all(row[2] == "quiet" for row in rows)
        wrong = grade(question, (question.right + 1) % 4)
        assert wrong.score == 0.0
        assert wrong.explanation[1].startswith("In that case ")
        assert grade(question, question.right).score == 1.0
    assert len(seen) >= 3
    assert AT_VENT > 0


# --- the order


IN_ORDER = [
    "the worker's set point",
    "the worker's lock-up",
    "where the second seat begins",
    "the highest that the second seat lets through",
    "what the appliances are rated for",
]


@pytest.mark.parametrize("seed", SEEDS)
def test_each_seed_draws_a_ladder_in_that_order(seed):
    assert [entry.split(",")[0] for entry in asked("06.order", seed).entries] == IN_ORDER


@pytest.mark.parametrize("drawn", EDGES)
def test_the_ladder_stands_as_the_critical_pairs_need_it(drawn):
    station = guarded(*drawn)
    (worker,) = station.regulators
    found = ladder_of(station)
    assert [name.split(",")[0] for name, _ in found] == IN_ORDER
    values = [value for _, value in found]
    inlet = station.supply.gauge_pressure
    expected = (
        worker.set_gauge_pressure,
        lock_up_gauge_pressure(worker.condition(), inlet),
        worker.set_gauge_pressure + worker.second_seat.takes_over_above_set,
        shut_gauge_pressure(worker),
        RATING,
    )
    assert values == pytest.approx(expected, rel=3e-3)
    # Two that stand closer than this would be chance to put in order.
    assert min(b / a for a, b in pairwise(values)) > 1.02


def test_an_order_with_a_critical_pair_turned_is_capped():
    question = asked("06.order", 1)
    right = tuple(range(5))
    assert grade(question, right).score == 1.0
    early = grade(question, (0, 2, 1, 3, 4))
    assert early.score == 0.4
    assert any("moves every night" in said for said in early.explanation)
    over = grade(question, (0, 1, 2, 4, 3))
    assert over.score == 0.4
    assert any("below what the appliances take" in said for said in over.explanation)
    harmless = grade(question, (1, 0, 2, 3, 4))
    assert 0.4 < harmless.score < 1.0
    assert question.shown != right
