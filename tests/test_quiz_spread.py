"""The suspects questions of lessons 03 to 05: words of the signs, engine of the look-up, a true day behind each."""

from __future__ import annotations

from functools import cache
from random import Random

import numpy as np
import pytest
from quiz_text import asked

from toolkit.diagnosis.load_words import at_place
from toolkit.diagnosis.posterior import PRIORS, READ, posterior
from toolkit.diagnosis.proofs import monitors
from toolkit.diagnosis.signatures import SUSPECTS, shipped
from toolkit.diagnosis.signs import SIGNS, letters
from toolkit.diagnosis.sites import MORNING
from toolkit.diagnosis.symptoms import VENT_STEPS
from toolkit.diagnosis.visits import signs_of
from toolkit.errors import ScenarioError
from toolkit.quiz.cause import CauseQuestion
from toolkit.quiz.questions import grade
from toolkit.quiz.spread import TOLD, VISIT, cause_question
from toolkit.simulation import simulate
from toolkit.trace import Trace

KEYS = ("03.any", "03.high", "03.low", "04.at_the_vent", "05.worker_out")
SEEDS = range(20)
# What a day kept for an item amounts to: one of these symptoms, where the item asks for some.
WANTED = {"03.high": "bco", "03.low": "def", "04.at_the_vent": "a", "05.worker_out": "b"}


@cache
def question(key: str, seed: int) -> CauseQuestion:
    found = asked(key, seed, ("us", "metric")[seed % 2])
    assert isinstance(found, CauseQuestion)
    return found


@cache
def run_of(key: str, seed: int) -> Trace:
    return simulate(question(key, seed).scenario)


def all_on(one: CauseQuestion, place: int) -> list[float]:
    return [100.0 * (place == index) for index in range(len(one.suspects))]


@pytest.mark.parametrize("key", KEYS)
def test_signs_are_those_of_the_run(key: str) -> None:
    """The run read again: what is plain to see is the same with any gauges, and a reading is what some gauge shows."""
    for seed in SEEDS:
        one, trace = question(key, seed), run_of(key, seed)
        again = [signs_of(trace, Random(gauges)).met() for gauges in range(20)]
        for sign, value in one.signs.met().items():
            found = {other[sign] for other in again}
            assert value in found, (seed, sign, found)
            assert sign in READ or found == {value}, (seed, sign, found)


@pytest.mark.parametrize("key", KEYS[:4])
def test_gas_at_the_vent_is_gas_that_leaves_it(key: str) -> None:
    """With all off at the night's end, by the flows of the run alone."""
    for seed in SEEDS:
        one, trace = question(key, seed), run_of(key, seed)
        name = one.scenario.station.regulators[0].name
        leaves = min(trace.at(f"{name}_{flow}_flow", MORNING - 0.1) for flow in ("relief", "vent"))
        assert one.signs.vent_off == ("none", "a whiff", "strong")[sum(leaves >= step for step in VENT_STEPS)]


@pytest.mark.parametrize("key", KEYS)
def test_words_are_those_of_the_signs_and_of_the_look_up(key: str) -> None:
    for seed in SEEDS:
        one = question(key, seed)
        heading, *rows = one.table()
        assert heading == ("What was looked at", "It showed")
        words = {at_place(sign.name, one.place): sign.values for sign in SIGNS.values()}
        assert len(rows) >= 10
        assert all(value in words[name] for name, value in rows)
        assert one.names() == tuple(SUSPECTS[suspect] for suspect in one.suspects)
        wanted = WANTED.get(key)
        assert wanted is None or letters(one.signs) & set(wanted)


@pytest.mark.parametrize("key", KEYS)
def test_what_the_signs_say_is_what_the_look_up_says(key: str) -> None:
    for seed in SEEDS:
        one = question(key, seed)
        said = posterior(one.signs, shipped(one.place), {suspect: PRIORS[suspect] for suspect in one.suspects})
        assert one.posterior == pytest.approx([said[suspect] for suspect in one.suspects])
        assert sum(one.posterior) == pytest.approx(1.0)


def test_the_truth_is_offered_and_mostly_the_likeliest() -> None:
    hits, sure = [], []
    for key in KEYS:
        for seed in SEEDS:
            one = question(key, seed)
            true = one.posterior[one.suspects.index(one.truth)]
            # a day on which nobody could tell is not asked about
            assert max(one.posterior) >= TOLD
            hits.append(true == max(one.posterior))
            sure.append(max(one.posterior))
            if not hits[-1]:
                told = grade(one, all_on(one, one.suspects.index(one.truth))).explanation[0]
                assert "one of the rarer cases" in told
    assert np.mean(hits) >= 0.9
    # What is said of the likeliest is about how often it is true: of 100 days at 0.95 two standard errors are 0.044.
    assert np.mean(hits) == pytest.approx(np.mean(sure), abs=0.06)


@pytest.mark.parametrize("key", KEYS)
def test_every_suspect_of_an_item_comes_up(key: str) -> None:
    """In a hundred days: none is there only to be ruled out."""
    suspects = question(key, 0).suspects
    drawn: set[str] = set()
    for seed in range(100):
        drawn.add(question(key, seed).truth)
        if len(drawn) == len(suspects):
            break
    assert drawn == set(suspects)


@pytest.mark.parametrize("key", KEYS)
def test_a_wrong_suspect_is_replayed_beside_the_true_one(key: str) -> None:
    for seed in SEEDS[:6]:
        one = question(key, seed)
        true = one.suspects.index(one.truth)
        assert grade(one, all_on(one, true)).score == 1.0
        for wrong, suspect in enumerate(one.suspects):
            if wrong == true:
                continue
            graded = grade(one, all_on(one, wrong))
            assert graded.score == 0.0
            replay = graded.replay
            assert replay is not None
            assert replay.truth.scenario == one.scenario
            assert (replay.truth_label, replay.other_label) == (SUSPECTS[one.truth], SUSPECTS[suspect])
            ends = min(replay.truth.times[-1], replay.other.times[-1])
            times = np.linspace(0.0, ends, 500)
            first, second = (np.interp(times, run.times, run[replay.signal]) for run in (replay.truth, replay.other))
            # While a monitor holds, the outlet is much the same whatever ails the worker: then another gauge is shown.
            apart = np.abs(first - second).max() / max(first.max(), second.max())
            # A small tear hardly moves a gauge: that its vent smells stands in words.
            smells = "torn" in (one.truth, suspect) and "gas at the vent" in " ".join(graded.explanation)
            assert apart > 0.05 or smells, (seed, suspect, apart)
            told = ("What would tell", "What mostly tells", "No single check")
            assert any(words in said for said in graded.explanation for words in told)


@pytest.mark.parametrize(
    ("truth", "rival", "made", "check"),
    [
        ("torn", "stuck_open", False, "hold the outlet low, then look for gas at the vent"),
        ("vent_blocked", "nothing", False, "look at the end of the vent"),
        ("stuck_open", "nothing", True, "smell at the vent from upwind, all burners on"),
        ("weak_spring", "too_small", True, "read the outlet gauge with pilots only"),
    ],
)
def test_feedback_names_a_further_check_or_one_that_was_made(truth: str, rival: str, made: bool, check: str) -> None:
    one = next(found for seed in range(100) if (found := question("03.any", seed)).truth == truth)
    told = " ".join(grade(one, all_on(one, one.suspects.index(rival))).explanation)
    pair = f"{SUSPECTS[truth]} from {SUSPECTS[rival]}"
    words = f"What mostly tells {pair} was met already: " if made else f"What would tell {pair}: "
    assert words + check in told


def test_lesson_05_judges_worker_and_monitor_together() -> None:
    for seed in SEEDS:
        one, trace = question("05.worker_out", seed), run_of("05.worker_out", seed)
        ((monitor, worker),) = monitors(one.scenario.station)
        assert not any(monitor.name in fault.devices for fault in one.scenario.faults)
        # At the end of the night the monitor has come down, and the outlet stands above what its worker holds.
        assert trace.at(f"{monitor.name}_lift", MORNING - 1.0) < 0.5 * monitor.travel
        outlet = trace.at(f"{one.scenario.station.loads[0].at}_gauge_pressure", MORNING - 1.0)
        assert 1.1 * worker.set_gauge_pressure < outlet < 1.1 * monitor.set_gauge_pressure
        assert one.signs.between is not None
        assert one.signs.relief == "shut"
        for name in ("worker set", "monitor set", "relief valve"):
            assert name in one.prompt


def test_a_station_of_the_first_lessons_has_no_layer_that_they_do_not_teach() -> None:
    for key in KEYS[:4]:
        station = question(key, 0).scenario.station
        assert (station.slam_shuts, station.switches, station.relief_valves) == ((), (), ())
        assert [one.relief is not None for one in station.regulators] == [True]


def test_a_day_that_never_comes_is_said() -> None:
    with pytest.raises(ScenarioError, match="Take another"):
        cause_question("03.any", Random(1), "us", "", ("nothing",), lambda _: False)


def test_only_what_was_looked_at_is_shown() -> None:
    assert set(question("03.any", 1).signs.met()) <= set(VISIT)
    assert question("04.at_the_vent", 1).signs.vent_held is not None
