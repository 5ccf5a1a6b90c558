"""Lesson 11's items: keys against the choosing table itself and by hand from the prompt, wrong options, grading."""

from __future__ import annotations

import re
from itertools import pairwise
from random import Random

import numpy as np
import pytest
from quiz_text import asked, choice

from toolkit.choosing import FAILURES, LET_OFF, Cell, compare
from toolkit.gas import standard_density
from toolkit.quiz import lesson_11
from toolkit.quiz.lesson_11 import (
    BLIND,
    ENDS,
    LOCKS_OUT,
    MONITOR,
    NEEDS,
    OUTLET,
    RELIEF,
    SHUT,
    SINGLE,
    SLOW,
    STUCK,
    Outcome,
    acts_at,
    apart,
    drawn,
    failed,
    outcome,
    outcomes,
    struck,
)
from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion
from toolkit.quiz.questions import NumericQuestion, Question, TraceQuestion, grade, item_hash
from toolkit.scenario import Station
from toolkit.units import BAR, FOOT, IN_WC, MBAR, PSI, from_display

SEEDS = range(6)
ITEMS = {item.key: item for item in lesson_11.ITEMS}


def cell(base: Station, layer: str, failure: str) -> Cell | None:
    (row,) = compare(base, (layer,))
    return next((one for one in row.cells if one.failure == failure), None)


def base_of(question: Question, seed: int, units: str) -> Station:
    """The base that a question's seed draws."""
    return drawn(Random(f"{question.key} {seed}"), units)


def value(text: str) -> float:
    """A pressure as an option's sentence tells it [Pa gauge]."""
    (number, unit) = re.findall(r"reaches ([\d.,]+) (in\. w\.c\.|psig|mbar|bar)", text)[0]
    return float(number.replace(",", "")) * {"in. w.c.": IN_WC, "psig": PSI, "mbar": MBAR, "bar": BAR}[unit]


def test_six_items_of_four_types() -> None:
    assert len(ITEMS) == 6
    kinds = {type(asked(key, 0)) for key in ITEMS}
    assert kinds == {NumericQuestion, TraceQuestion, OrderQuestion, ChoiceQuestion}


@pytest.mark.parametrize("key", ITEMS)
def test_a_new_seed_is_a_new_question_and_the_same_seed_the_same(key: str) -> None:
    hashes = {item_hash(asked(key, seed, ("us", "metric")[seed % 2])) for seed in range(4)}
    assert len(hashes) == 4
    assert item_hash(asked(key, 3)) == item_hash(asked(key, 3))


# --- the runs are the choosing table's


@pytest.mark.parametrize("failure", [STUCK, "worker's sensing line broken", "one slug through both seats"])
@pytest.mark.parametrize("layer", [MONITOR, RELIEF, SHUT, LOCKS_OUT, "second seat"])
def test_an_outcome_is_the_cell_of_the_choosing_table(layer: str, failure: str) -> None:
    base = drawn(Random(5), "us")
    expected, run = cell(base, layer, failure), struck(base, layer, failure)
    if expected is None:
        assert run is None
        return
    assert run is not None
    came = outcome(run)
    assert came.peak == pytest.approx(expected.peak, rel=0.01)
    assert came.vented == pytest.approx(expected.vented, abs=1e-3, rel=0.01)
    assert (came.defeated, came.served, came.reset) == (expected.defeated, expected.served, expected.reset)


# --- which layer fits


@pytest.mark.parametrize("seed", range(4))
def test_one_layer_gives_what_the_place_needs_and_the_others_do_not(seed: int) -> None:
    units = ("us", "metric")[seed % 2]
    question = choice("11.fits", seed, units)
    base = base_of(question, seed, units)
    failure = STUCK if STUCK in question.prompt else SLOW
    (need,) = [name for name, (words, _) in NEEDS.items() if words in question.prompt]
    for place, layer in enumerate(question.options):
        one = cell(base, layer, failure)
        assert one is not None
        # the needs once more, in the table's own terms
        fits = {
            "hospital": one.served and one.vented <= LET_OFF,
            "farm": one.served and not one.reset,
            "store": not one.served and one.reset and one.vented <= LET_OFF,
        }[need] and not one.defeated
        assert fits == (place == question.right), (layer, one)
        assert value(question.told[place]) == pytest.approx(one.peak, rel=0.03)


def test_every_need_comes_up_and_is_right_for_other_layers() -> None:
    questions = [choice("11.fits", seed) for seed in range(12)]
    rights: dict[str, set[str]] = {name: set() for name in NEEDS}
    for question in questions:
        (need,) = [name for name, (words, _) in NEEDS.items() if words in question.prompt]
        rights[need].add(question.options[question.right])
    assert all(rights.values())
    assert rights["hospital"] <= {MONITOR, "second seat"}
    assert not rights["store"] & (rights["hospital"] | rights["farm"])
    assert {question.right for question in questions} >= {0, 1, 2}


@pytest.mark.parametrize(
    ("vented", "served", "reset", "content"),
    [
        (0.0, True, False, {"hospital", "farm"}),
        (1.0, True, False, {"farm"}),
        (0.0, True, True, {"hospital"}),
        (0.0, False, True, {"store"}),
        (1.0, False, True, set()),
        (0.0, False, False, set()),
    ],
)
def test_each_place_is_content_with_what_it_asked_for(
    vented: float, served: bool, reset: bool, content: set[str]
) -> None:
    came = Outcome(peak=5e3, defeated=False, vented=vented, served=served, reset=reset)
    assert {name for name, (_, fits) in NEEDS.items() if fits(came)} == content


def test_what_is_defeated_serves_nobody() -> None:
    for _, fits in NEEDS.values():
        for served in (True, False):
            assert not fits(Outcome(peak=5e5, defeated=True, vented=0.0, served=served, reset=not served))


# --- which layer was it


@pytest.mark.parametrize("seed", SEEDS)
def test_the_readings_are_those_of_the_layer_and_of_no_other(seed: int) -> None:
    units = ("us", "metric")[seed % 2]
    question = choice("11.read", seed, units)
    assert question.table is not None
    read = dict(question.table[1:])
    truth = question.options[question.right]
    run = question.traces[question.right]
    assert run is not None
    assert (read["gas let off"] != "nothing") == (truth == RELIEF)
    assert (read["to be reset by hand"] == "yes") == (truth in (SHUT, LOCKS_OUT))
    assert (read["burners in the morning"] == "gas") == (truth in (MONITOR, RELIEF))
    peaks = [one.peak(OUTLET)[1] for one in question.traces if one is not None]
    assert len(peaks) == 4
    peaks.sort()
    assert all(high > 1.1 * low for low, high in pairwise(peaks))
    wrong = grade(question, (question.right + 1) % 4)
    assert wrong.replay is not None
    assert wrong.replay.truth is run


# --- from when on a layer acts


@pytest.mark.parametrize("layer", ENDS)
@pytest.mark.parametrize("seed", range(4))
def test_a_layer_acts_soon_after_the_worker_fails_and_the_trace_shows_how(layer: str, seed: int) -> None:
    base = drawn(Random(seed), "us")
    trace = failed(base, layer, Random(seed))
    (stuck,) = trace.scenario.faults
    time = acts_at(trace)
    assert stuck.onset < time < stuck.onset + 5.0
    before = trace.at(OUTLET, stuck.onset - 1.0)
    after = trace.at(OUTLET, time + 20.0)
    # until then nothing but the worker's own lock-up moves the outlet
    quiet = trace[OUTLET][trace.times < stuck.onset]
    assert quiet.max() < 1.25 * before
    assert {
        MONITOR: before + 3 * IN_WC < after < before + 6 * IN_WC,
        RELIEF: after > before + 13 * IN_WC,
        SHUT: abs(after) < 0.1 * before,
    }[layer]


def test_every_layer_comes_up_in_the_traces() -> None:
    said = []
    for seed in range(8):
        question = asked("11.acted", seed)
        assert isinstance(question, TraceQuestion)
        said.append(question.worked)
    assert all(any(words in one for one in said) for words in ENDS.values())


# --- what is let off


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize("seed", SEEDS)
def test_what_is_let_off_is_worked_by_hand_from_the_prompt(seed: int, units: str) -> None:
    question = asked("11.let_off", seed, units)
    assert isinstance(question, NumericQuestion)
    (flow,) = re.findall(r"passes ([\d.,]+) (?:scfh|m³/h)", question.prompt)
    (minutes,) = re.findall(r"after (\d+) minutes", question.prompt)
    by_hand = float(flow.replace(",", "")) * float(minutes) / 60 * (FOOT**3 if units == "us" else 1.0)
    assert question.truth == pytest.approx(by_hand, rel=1e-9)
    names = {slip.name for slip in question.slips}
    assert {"minutes were taken for hours", "the burners' flow was taken"} <= names


def test_the_flow_of_the_stack_is_what_the_worker_passes_wide_open() -> None:
    """Choked flow: CA p sqrt(k/RT) (2/(k+1))^((k+1)/2(k-1)) (textbook), orifice and curtain one after the other."""
    base = drawn(Random(1), "us")
    trace = struck(base, RELIEF, STUCK)
    assert trace is not None
    station = trace.scenario.station
    (worker,) = station.regulators
    k = station.gas.heat_ratio
    orifice, curtain = np.pi / 4 * worker.orifice_diameter**2, np.pi * worker.orifice_diameter * worker.travel
    area = worker.discharge_coefficient / np.hypot(1 / orifice, 1 / curtain)
    upstream = trace.at("inlet_gauge_pressure", 990.0) + station.atmosphere
    mass = area * upstream * np.sqrt(k / station.rt) * (2 / (k + 1)) ** ((k + 1) / (2 * (k - 1)))
    passes = trace.at("relief_valve_flow", 990.0) * standard_density(station.gas)
    assert passes == pytest.approx(mass, rel=0.01)


# --- what defeats a layer


@pytest.mark.parametrize("seed", SEEDS)
def test_one_failure_defeats_the_layer_and_the_others_do_not(seed: int) -> None:
    units = ("us", "metric")[seed % 2]
    question = choice("11.defeat", seed, units)
    (layer,) = [name for name in BLIND if f"the outlet: {name}." in question.prompt]
    (row,) = compare(base_of(question, seed, units), (layer,))
    assert [name for name in question.options if name in row.defeated_by] == [question.options[question.right]]
    assert len(question.options) >= 3
    assert question.explanation == BLIND[layer]


# --- the order of the peaks


@pytest.mark.parametrize("seed", range(4))
def test_the_order_is_that_of_the_table_s_peaks(seed: int) -> None:
    question = asked("11.peaks", seed)
    assert isinstance(question, OrderQuestion)
    names = ["none" if "no layer" in entry else entry for entry in question.entries]
    base = base_of(question, seed, "us")
    found = [cell(base, name, STUCK) for name in names]
    peaks = [one.peak for one in found if one is not None]
    assert len(peaks) == 4
    assert peaks == sorted(peaks)
    assert all(high > 1.05 * low for low, high in pairwise(peaks))
    assert grade(question, (0, 1, 2, 3)).score == 1.0
    assert 0.0 < grade(question, (1, 0, 2, 3)).score < 1.0


def test_peaks_that_are_too_near_each_other_are_not_asked_for() -> None:
    came = outcomes(drawn(Random(2), "us"), (*SINGLE, "none"), STUCK)
    for seed in range(20):
        names = apart(came, 4, Random(seed))
        assert not {"none", LOCKS_OUT} <= set(names)


def test_the_failures_named_are_the_table_s() -> None:
    assert {STUCK, SLOW} <= set(FAILURES)
    assert from_display(2.0, "gauge_pressure", "us") == pytest.approx(lesson_11.code_limit(drawn(Random(0), "us")))
