"""Cases drawn by seed: levels are what they say, one seed is one case, and every question can be graded."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace

import pytest

from toolkit.classroom.review import PASS_MARKS
from toolkit.devices.line import Supply
from toolkit.devices.regulator import Regulator
from toolkit.diagnosis.next_check import CHECKS
from toolkit.diagnosis.signatures import NOTHING, SUSPECTS, TWO, shipped
from toolkit.diagnosis.signs import SIGNS, Signs
from toolkit.errors import AnswerError, ScenarioError
from toolkit.figures.chart import Picture
from toolkit.quiz.bank import case_of_key
from toolkit.quiz.cause import CauseQuestion, most_apart, told_apart
from toolkit.quiz.items import ABNORMAL, offer
from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion
from toolkit.quiz.paper import asked, key
from toolkit.quiz.questions import NumericQuestion, Question, TraceQuestion, content_hash, grade, item_hash
from toolkit.quiz.trouble_case import (
    CLEAR,
    DOUBTED,
    FOUND,
    HIDDEN,
    LEVELS,
    NO_FAULT,
    TroubleCase,
    acted,
    checks_at,
    draw_case,
    drawable,
    fault_names,
    places,
    read_signs,
)
from toolkit.quiz.trouble_items import SECTIONS, case_items, first_way
from toolkit.quiz.trouble_record import passing, signal_of
from toolkit.quiz.trouble_words import call_words
from toolkit.quiz.visit import VisitQuestion, advised_acts
from toolkit.scenario import Scenario
from toolkit.simulation import simulate
from toolkit.units import IN_WC, PSI

SEEDS = range(3)
STAND_IN = Picture("<svg/>", "Outlet pressure read off: 0 s 7.0.", (1, 1))


@pytest.mark.parametrize("level", LEVELS)
def test_a_level_is_what_it_says(level: int) -> None:
    for seed in SEEDS:
        case = draw_case(seed, level)
        share = case.thinks(case.signs).shares()[case.suspect]
        if level == 1:
            read = case.thinks(case.signs.only(read_signs()))
            assert read.ranked()[0][0] == case.suspect
            assert read.ranked()[0][1] >= CLEAR
            assert case.suspect not in (*NO_FAULT, TWO)
        elif level == 2:
            assert case.thinks(case.opening()).shares()[case.suspect] <= HIDDEN
            assert acted(case)
            assert share >= FOUND
        elif level == 3:
            assert case.suspect == TWO
            assert len(case.scenario.faults) >= 2 or case.scenario.demands[0].share > 1.0
            assert share >= DOUBTED
        else:
            assert case.suspect in NO_FAULT
            assert case.suspect != NOTHING or not fault_names(case)


HASHES = """
from toolkit.quiz.questions import content_hash
from toolkit.quiz.trouble_case import draw_case
for level in (1, 2, 3, 4):
    print(content_hash(draw_case(1, level)))
"""


def test_the_same_seed_is_the_same_case_in_another_process() -> None:
    """Numbers count to six digits in the hash, so that another platform's last bits make no other case."""
    here = [content_hash(draw_case(1, level)) for level in LEVELS]
    environment = os.environ | {"PYTHONHASHSEED": "12345"}
    there = subprocess.run([sys.executable, "-c", HASHES], env=environment, capture_output=True, text=True, check=True)
    assert there.stdout.split() == here
    assert len(set(here)) == len(here)
    assert content_hash(draw_case(2, 1)) != here[0]


@pytest.mark.parametrize("place", places())
def test_there_are_cases_at_every_station(place: str) -> None:
    level = 1 + places().index(place) % 2 * 3  # levels 1 and 4 by turns: every station has both
    case = draw_case(7, level, place)
    assert case.place == place
    assert case.thinks(case.opening()).table is shipped(place)  # its own, not that of a kind
    assert case.suspect in case.suspects
    assert case.suspect in drawable(level, place)
    kinds = {type(offer(item, 7)) for item in case_items(case)[:3]}
    assert kinds == {ChoiceQuestion, VisitQuestion, CauseQuestion}


def test_what_cannot_be_drawn_is_refused() -> None:
    with pytest.raises(ScenarioError, match="level: 9 was given"):
        draw_case(1, 9)
    with pytest.raises(ScenarioError, match="station: 'nowhere' was given"):
        draw_case(1, 1, "nowhere")
    with pytest.raises(ScenarioError, match="suspect: 'monitor_shut' was given, one that can be at 'service'"):
        draw_case(1, 1, "service", "monitor_shut")


def test_at_the_second_level_the_layer_is_sound() -> None:
    layers_own = {"monitor_shut", "monitor_near", "shutoff_near", "switch_near", "relief_dirty", "relief_blocked"}
    assert layers_own <= set(drawable(1, "monitored"))
    assert not layers_own & set(drawable(2, "monitored"))


def test_a_case_may_be_asked_for_by_its_suspect() -> None:
    assert draw_case(1, 1, None, "weak_spring").suspect == "weak_spring"


@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize("units", ["us", "metric"])
def test_every_question_of_a_case_takes_its_key(level: int, units: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("toolkit.figures.chart.trace_picture", lambda *_: STAND_IN)
    case = draw_case(level, level)
    for item in case_items(case):
        question = offer(item, level, units)
        assert question.key == item.key
        assert grade(question, best_answer(question)).score == pytest.approx(1.0), item.key
        assert ".." not in question.prompt
        assert item_hash(question) == item_hash(offer(item, level, units))
        # on paper too, and the key's answer is the screen's
        assert asked(question)
        assert key(question)


def best_answer(question: object) -> object:
    if isinstance(question, ChoiceQuestion):
        return question.right
    if isinstance(question, VisitQuestion):
        return advised_acts(question)
    if isinstance(question, CauseQuestion):
        return [100 * (one == question.truth) for one in question.suspects]
    if isinstance(question, TraceQuestion):
        return sum(question.window) / 2
    if isinstance(question, OrderQuestion):
        return list(range(len(question.entries)))
    assert isinstance(question, NumericQuestion)
    unit = {"standard_flow": "m3/s", "gauge_pressure": "Pa"}[question.kind]
    return f"{question.truth:.9g} {unit}"


def test_the_first_question_is_a_section_of_its_own() -> None:
    items = case_items(draw_case(1, 1))
    assert [item.key for item in items if item.section == ABNORMAL] == list(SECTIONS) == ["21.first"]
    assert set(PASS_MARKS) == {item.section for item in items}
    assert PASS_MARKS[ABNORMAL] == 1.0


@pytest.mark.parametrize(
    ("met", "way"),
    [
        ({"outlet_on": "far high"}, "make_safe"),
        ({"outlet_on": "far high", "slam_shut": "tripped"}, "make_safe"),
        ({"relief": "blows or has blown", "slam_shut": "tripped", "outlet_on": "far low"}, "leave"),
        ({"relief": "blows or has blown", "outlet_on": "normal"}, "look"),
        ({"slam_shut": "tripped", "outlet_on": "far low", "burners": "no gas"}, "leave"),
        ({"outlet_on": "low"}, "look"),
        ({"outlet_on": "normal", "switch": "made"}, "look"),
        ({"outlet_on": "normal", "relief": "weeping"}, "look"),
        ({"outlet_on": "normal", "burners": "pilots only"}, "look"),
        ({"outlet_on": "normal", "burners": "gas", "slam_shut": "open", "switch": "quiet"}, "as_record"),
    ],
)
def test_what_comes_first(met: dict[str, str], way: str) -> None:
    """An abnormal operating condition by 49 CFR 192.803 (`cfr-192-803`); what comes first is common practice."""
    assert first_way(Signs(**met)) == way


def test_nothing_abnormal_is_not_sent_to_look_for_what_is_not_there() -> None:
    case = replace(draw_case(1, 1, "service"), signs=Signs(outlet_on="normal", burners="gas", slam_shut="open"))
    first = offer(case_items(case)[0], 1)
    assert isinstance(first, ChoiceQuestion)
    told = dict(zip(first.options, first.told, strict=True))
    (abnormal,) = (said for option, said in told.items() if option.startswith("Abnormal, but nothing to stop"))
    assert "as it should be" in abnormal
    assert "look again" not in abnormal


def ways_at_first(place: str, **met: str) -> dict[str, str]:
    """The ways to begin that are offered at a station with what was met on arrival, and what is told of each."""
    case = replace(draw_case(1, 1, place), signs=Signs(**met))
    first = offer(case_items(case)[0], 1)
    assert isinstance(first, ChoiceQuestion)
    return dict(zip(first.options, first.told, strict=True))


def test_what_is_told_of_a_slam_shut_fits_the_one_that_stands_there() -> None:
    """Common practice, no source: what is not fitted is not offered, and what has tripped is not called open."""
    (left,) = (
        said
        for way, said in ways_at_first("service", outlet_on="far low", slam_shut="open").items()
        if "leave it shut" in way
    )
    assert "is open" in left
    (left,) = (
        said
        for way, said in ways_at_first("line sensed", outlet_on="far high", slam_shut="tripped").items()
        if "leave it shut" in way
    )
    assert left.startswith("It has tripped, and yet the outlet")
    assert not any("slam-shut" in way for way in ways_at_first("bakery", outlet_on="far low"))


@pytest.mark.parametrize(("relief", "blown"), [("blows or has blown", True), ("weeping", True), ("shut", False)])
def test_a_stack_that_let_gas_off_is_kept_clear_of_and_read_on_the_tags(relief: str, blown: bool) -> None:
    """Common practice, no source: a day's sign tells that it blew, not that it blows now."""
    ways = ways_at_first("line sensed", outlet_on="low", relief=relief)
    (told,) = (said for way, said in ways.items() if way.startswith("Abnormal, but nothing to stop at once"))
    assert ("nobody and no flame near it" in told) == blown
    assert ("on the tags" in told) == blown


@pytest.mark.parametrize(("value", "meant"), [("made", "it has acted"), ("quiet", "it has not acted")])
def test_the_call_says_what_a_switch_has_done(value: str, meant: str) -> None:
    case = replace(draw_case(1, 1, "service"), signs=Signs(outlet_on="low", switch=value))
    said = call_words(case)
    assert f"pressure switch: {value}, " in said
    assert meant in said


def question_of(case: TroubleCase, end: str) -> Question:
    return next(offer(item, 1) for item in case_items(case) if item.key == f"21.{end}")


def test_layers_that_a_station_has_not_are_said_not_to_be_there() -> None:
    bare = question_of(draw_case(1, 1, "bakery"), "layer")
    assert isinstance(bare, ChoiceQuestion)
    assert bare.options[bare.right] == "none of them"
    for option, told in zip(bare.options[:-1], bare.told[:-1], strict=True):
        assert option.endswith(" (not fitted here)")
        assert told.startswith("It is not fitted here")
    full = question_of(draw_case(1, 1, "service"), "layer")
    assert isinstance(full, ChoiceQuestion)
    assert not any("not fitted" in said for said in (*full.options, *full.told))


def test_a_layer_that_let_its_mark_go_by_is_told_with_both_pressures() -> None:
    """An internal relief over a torn diaphragm: gas at the vent and a gauge past the mark, and yet it is shut."""
    case = case_of_key("3-03")
    question = question_of(case, "layer")
    assert isinstance(question, ChoiceQuestion)
    told = question.told[question.options.index("the internal relief")]
    assert "although the pressure went to 28.2 in. w.c. and its mark is 16.0 in. w.c." in told
    assert trace_of_case(case).peak(signal_of(case))[1] / IN_WC == pytest.approx(28.2, abs=0.1)
    # on the other cases of the bank a layer that did not act had no call to
    for name in ("1-01", "2-02"):
        other = question_of(case_of_key(name), "layer")
        assert isinstance(other, ChoiceQuestion)
        assert not any("although" in said for said in other.told)


def test_leaks_are_looked_for_as_soon_as_gas_is_in_and_burners_are_lit_last() -> None:
    """Common practice, no source; the operator's procedure decides."""
    question = question_of(draw_case(1, 1, "service", "weak_spring"), "restore")
    assert isinstance(question, OrderQuestion)
    steps = list(question.entries)
    mended, let_in, leaks, lock_up, proven, lit = (
        next(place for place, step in enumerate(steps) if words in step)
        for words in ("Mend the cause", "inlet slowly", "look for leaks", "lock up", "Prove each layer", "relights")
    )
    assert mended < let_in < leaks < lock_up < proven < lit == len(steps) - 1
    assert leaks == let_in + 1
    for earlier, later in ((let_in, leaks), (leaks, lock_up), (leaks, proven), (leaks, lit), (proven, lit)):
        order = list(range(len(steps)))
        order[earlier], order[later] = order[later], order[earlier]
        assert grade(question, order).score == 0.0


def test_the_time_asked_for_is_when_the_outlet_passes_the_mark() -> None:
    for level in LEVELS:
        case = draw_case(2, level)
        found = passing(case)
        trace = trace_of_case(case)
        values = trace[signal_of(case)]
        before = values[(trace.times > 8.0) & (trace.times < found.time)]
        if found.falls:
            assert (before >= found.value).all()
            assert trace.at(signal_of(case), found.time + 1e-6) <= found.value
        else:
            assert (before <= found.value).all()
            assert trace.at(signal_of(case), found.time + 1e-6) >= found.value


def trace_of_case(case: TroubleCase):  # type: ignore[no-untyped-def]
    from toolkit.quiz.trouble_case import trace_of

    return trace_of(case.scenario)


def test_the_checks_of_a_station_are_those_of_its_devices() -> None:
    service = {one.key for one in checks_at(draw_case(1, 1, "service"))}
    monitored = {one.key for one in checks_at(draw_case(1, 1, "monitored"))}
    assert not service & {"between", "monitor_point", "relief_point", "lift_lever", "line", "stack"}
    assert {"between", "monitor_point", "relief_point", "lift_lever", "line"} <= monitored
    assert {"plug_vent", "raise_set_point", "jump_switch", "pin_shutoff"} <= service
    names = [one.name for one in checks_at(draw_case(1, 1, "monitored"))]
    assert names == sorted(names)  # no order of theirs tells which are unsafe


def test_the_feedback_names_the_check_and_what_it_shows() -> None:
    case = draw_case(1, 1, "line sensed", "filter_plugged")
    said = told_apart("line sensed", "filter_plugged", "too_small", case.signs, Signs())
    assert CHECKS["filter"].name in said
    assert "\u201clarge\u201d with filter plugged" in said or "\u201cmarked\u201d with filter plugged" in said
    assert "\u201csmall\u201d with too small" in said
    # a day that looks like the other cause's is told as such
    assert "did not speak" not in said
    unlike = told_apart("line sensed", "filter_plugged", "too_small", replace(case.signs, filter_drop="small"), Signs())
    assert unlike.endswith("On this day it did not speak for the true cause.")


@pytest.mark.parametrize(
    ("name", "truth", "rival"),
    [("1-07", "line_blocked", "oversize"), ("1-13", "oversize", "nothing"), ("4-04", "nothing", "monitor_shut")],
)
def test_a_noise_is_never_what_tells_two_suspects_apart(name: str, truth: str, rival: str) -> None:
    """A hum is quick to hear and comes with nothing wrong too: what is named is a sign that can be proven."""
    case = case_of_key(name)
    said = told_apart(case.place, truth, rival, case.signs, case.opening())
    assert said.startswith("What would tell")
    assert SIGNS["noise"].name not in said
    assert "hums" not in said


def test_the_replay_shows_the_gauge_on_which_two_runs_differ() -> None:
    station = Scenario().station
    sound = simulate(Scenario())
    low = simulate(Scenario(replace(station, regulators=(Regulator(set_gauge_pressure=5 * IN_WC),))))
    # half the main's pressure moves the outlet by its inlet effect alone
    starved = simulate(Scenario(replace(station, supply=Supply(gauge_pressure=30 * PSI))))
    assert most_apart(station, sound, low) == "outlet_gauge_pressure"
    assert most_apart(station, sound, starved) == "inlet_gauge_pressure"


def test_a_wrong_cause_is_replayed_beside_the_true_one() -> None:
    for place in ("service", "house_service"):
        case = draw_case(3, 1, place)
        question = offer(case_items(case)[2], 3)
        assert isinstance(question, CauseQuestion)
        wrong = next(one for one in question.suspects if one != question.truth)
        graded = grade(question, [100 * (one == wrong) for one in question.suspects])
        assert graded.score == 0.0
        assert graded.replay is not None
        assert graded.replay.truth.scenario == case.scenario
        assert graded.replay.other_label == SUSPECTS[wrong]
        assert graded.replay.signal in graded.replay.other.signals
        assert isinstance(graded.answer, dict)
        assert graded.answer["truth"] == case.suspect
        assert graded.answer["points"][wrong] == 100
        with pytest.raises(AnswerError, match="100 were expected"):
            grade(question, [10] * len(question.suspects))


def test_fifty_seeds() -> None:
    """Fuzz: a case of each of fifty seeds, level by turns, and its first three questions."""
    suspects = set()
    for seed in range(51):
        case = draw_case(seed, 1 + seed % 4)
        suspects.add(case.suspect)
        for item in case_items(case)[:3]:
            assert offer(item, seed).prompt
    assert len(suspects) >= 9


@pytest.mark.parametrize("truth", ["true_trip", "dirty_seat"])
def test_dirt_and_the_trip_that_it_brought_are_not_set_against_each_other(truth: str) -> None:
    case = draw_case(1, 4 if truth == "true_trip" else 1, "shutoff first", truth)
    cause = question_of(case, "cause")
    assert isinstance(cause, CauseQuestion)
    assert {"true_trip", "dirty_seat"} & set(cause.suspects) == {truth}
