"""Lesson 13's items: keys worked by hand from the prompt, by the rule's own dates, and by runs; orders tried out."""

from __future__ import annotations

import re
from datetime import date, timedelta
from random import Random

import numpy as np
import pytest
from quiz_text import asked, choice, numbers, numeric

from toolkit.limits import inspection_due
from toolkit.quiz import lesson_13
from toolkit.quiz.lesson_13 import CONDITIONS, SAFETY, STEPS, VERDICTS, drawn, due, lifting, passes, sheet
from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion
from toolkit.quiz.pictures import OUTLET
from toolkit.quiz.proof import FOUND, HIDDEN, READ_AS, RELIEF, RISES, TESTED, tag
from toolkit.quiz.questions import NumericQuestion, TraceQuestion, grade, item_hash
from toolkit.units import HOUR, IN_WC, INCH, PSI, SCF, display_unit, to_display

SEEDS = range(6)
ITEMS = {item.key: item for item in lesson_13.ITEMS}
UNITS = ("us", "metric")


def test_seven_items_of_four_types() -> None:
    assert len(ITEMS) == 7
    assert {type(asked(key, 0)) for key in ITEMS} == {NumericQuestion, TraceQuestion, OrderQuestion, ChoiceQuestion}


@pytest.mark.parametrize("key", ITEMS)
def test_a_new_seed_is_a_new_question_and_the_same_seed_the_same(key: str) -> None:
    assert len({item_hash(asked(key, seed, UNITS[seed % 2])) for seed in range(8)}) >= 7
    assert item_hash(asked(key, 3)) == item_hash(asked(key, 3))


# --- by when


@pytest.mark.parametrize("month", range(1, 13))
def test_the_month_due_is_that_of_the_rule(month: int) -> None:
    """Against the limits' own verdict, a day at a time."""
    year, at, last_day = due(2026, month)
    end = date(year, at, 31 if last_day else 12)
    assert inspection_due(date(2026, month, 12), end).good
    assert not inspection_due(date(2026, month, 12), end + timedelta(days=1)).good


@pytest.mark.parametrize("seed", range(20))
def test_the_answer_is_the_last_day_in_time_among_the_options(seed: int) -> None:
    question = choice("13.due", seed)
    months = {name: number for number, name in enumerate(lesson_13.MONTHS, 1)}

    def read(text: str) -> date:
        (found,) = re.findall(r"([A-Z][a-z]+) (\d+), (\d{4})", text)
        return date(int(found[2]), months[found[0]], int(found[1]))

    last = read(question.prompt)
    options = [read(option) for option in question.options]
    assert len(set(options)) == 4
    in_time = [day for day in options if inspection_due(last, day).good]
    assert options[question.right] == max(in_time)
    assert not inspection_due(last, max(in_time) + timedelta(days=1)).good


def test_both_bounds_are_the_earlier_one_in_some_seeds() -> None:
    rights = [q.options[q.right] for q in (choice("13.due", seed) for seed in range(20))]
    ends = [right.startswith("December 31") for right in rights]
    assert True in ends
    assert False in ends


# --- numbers

# In in. w.c., and in scfh, from US prompts.
BY_HAND = {
    "13.band": lambda n: n[1] * (1 + n[2] / 100) + n[3],
    "13.capacity": lambda n: n[2] * (n[3] / n[0]) ** 2 * (n[4] + n[5]) / (n[1] + n[5]),
}


@pytest.mark.parametrize("key", BY_HAND)
@pytest.mark.parametrize("seed", SEEDS)
def test_key_worked_by_hand_from_the_prompt(key: str, seed: int) -> None:
    question = numeric(key, seed)
    scale = SCF / HOUR if key == "13.capacity" else IN_WC
    # 1 %: orifices and flows are rounded as they are printed
    expected = BY_HAND[key](numbers(question.prompt))
    assert question.truth / scale == pytest.approx(expected, rel=0.01), question.prompt


@pytest.mark.parametrize("seed", range(20))
def test_right_slip_and_wrong(seed: int) -> None:
    for key in BY_HAND:
        question = numeric(key, seed, UNITS[seed % 2])
        unit = display_unit(question.kind, question.units)

        def typed(value: float, question: NumericQuestion = question, label: str = unit.label) -> str:
            return f"{to_display(value, question.kind, question.units):.9f} {label}"

        assert grade(question, typed(question.truth)).score == 1.0
        assert len(question.slips) >= 3
        for slip in question.slips:
            graded = grade(question, typed(slip.value))
            assert (graded.score, slip.why in graded.explanation) == (0.5, True), (key, slip)
        assert grade(question, typed(7.3 * question.truth)).score == 0.0


def test_the_slips_that_matter_are_kept() -> None:
    matter = {"13.band": "the gauge's error was taken off", "13.capacity": "gauge pressures were used"}
    for key, name in matter.items():
        for seed in range(20):
            assert name in [slip.name for slip in numeric(key, seed, UNITS[seed % 2]).slips], (key, seed)


def test_choked_flow_goes_as_the_area_and_the_absolute_inlet() -> None:
    assert passes(0.5 * INCH, 60 * PSI) == pytest.approx(4 * passes(0.25 * INCH, 60 * PSI))
    air = 101325.0
    ratio = (90 * PSI + air) / (60 * PSI + air)
    assert passes(0.25 * INCH, 90 * PSI) == pytest.approx(ratio * passes(0.25 * INCH, 60 * PSI), rel=5e-3)  # Z


# --- the trace


@pytest.mark.parametrize("units", UNITS)
@pytest.mark.parametrize("seed", SEEDS)
def test_the_relief_valve_lifts_where_the_rise_bends(seed: int, units: str) -> None:
    trace, time, here = lifting(Random(seed), units)
    (fault,) = trace.scenario.faults
    tagged = tag(here, "pop").gauge_pressure
    opens = tagged + fault.by  # type: ignore[attr-defined]
    assert trace.at(OUTLET, time) == pytest.approx(opens, rel=5e-3)
    # a bend: before it the outlet climbs, after it stands or falls
    before, after = (trace.at(OUTLET, time + one) - trace.at(OUTLET, time + one - 5.0) for one in (-1.0, 7.0))
    assert before > 0.3 * IN_WC
    assert after < 0.2 * before
    # where the line passes the tag is another time, outside the window, or never
    window = lesson_13.READ_OFF * trace.scenario.duration
    at_tag = trace.times[(trace[OUTLET] > tagged) & (trace.times > FOUND + RISES)]
    assert not len(at_tag) or abs(at_tag[0] - time) > window
    assert not trace.happened("trips_high")
    assert np.all(trace[f"{RELIEF}_lift_share"][trace.times < time] < 1e-6)


# --- sheets


@pytest.mark.parametrize("hidden", CONDITIONS)
def test_each_condition_has_a_sheet_of_its_own(hidden: str) -> None:
    here = {test: drawn(Random(4), "us", test) for test in TESTED}
    rows = sheet(here, hidden, "us")[1:]
    assert len(rows) == 5
    outside = []
    for test, _, band, found in rows[:4]:
        low, high = numbers(band)
        # 0.1: readings are printed to a tenth
        if "not by" in found or not low - 0.1 <= numbers(found)[0] <= high + 0.1:
            outside.append(test)
    wanted = {"seat": ["lock-up"], "monitor": ["take-over"], "relief": ["pop"], "shut": ["pop"], "trip": ["trip"]}
    assert outside == wanted.get(hidden, [])
    assert (rows[4][3] == "stays open") == (hidden == "latch")
    assert ("not by" in rows[2][3]) == (hidden == "shut")


def test_every_hidden_condition_is_asked_and_has_its_words() -> None:
    assert set(CONDITIONS) == set(HIDDEN)
    questions = [choice("13.hidden", seed) for seed in range(20)]
    assert len({q.options[q.right] for q in questions}) >= 5
    assert len({q.right for q in questions}) >= 4
    assert all(len(q.options) == 5 for q in questions)


@pytest.mark.parametrize("seed", range(20))
def test_a_verdict_follows_from_what_is_printed(seed: int) -> None:
    question = choice("13.verdict", seed, UNITS[seed % 2])
    assert question.table is not None
    rows = dict(row for row in question.table if len(row) == 2)
    low, high = numbers(rows["band"])
    top = numbers(rows["test was to go up to"])[0]
    ((_, text),) = [(name, text) for name, text in rows.items() if name in READ_AS.values()]
    value, inside = numbers(text)[0], low <= numbers(text)[0] <= high
    still_open = rows.get("slam-shut at the end") == "open"
    if top < low:
        expected = VERDICTS[2]
    elif "not by" in text or not inside or still_open:
        expected = VERDICTS[1]
    else:
        expected = VERDICTS[0]
    assert question.options[question.right] == expected, (question.table, value)


@pytest.mark.parametrize("seed", range(20))
def test_what_is_said_of_a_verdict_is_so(seed: int) -> None:
    question = choice("13.verdict", seed)
    told = dict(zip(question.options, question.told, strict=True))
    passes = question.options[question.right] == VERDICTS[0]
    assert ("nothing failed" in told[VERDICTS[1]]) == passes
    assert ("and shut" in told[VERDICTS[1]]) == (passes and "trip test" in question.prompt)


def test_all_three_verdicts_are_asked() -> None:
    assert {q.options[q.right] for q in (choice("13.verdict", seed) for seed in range(20))} == set(VERDICTS)


# --- the order of the steps


def test_the_steps_have_one_right_order_and_safety_comes_first() -> None:
    question = asked("13.steps", 1)
    assert isinstance(question, OrderQuestion)
    right = tuple(range(len(STEPS)))
    assert question.shown != right
    assert grade(question, right).score == 1.0
    for (earlier, later), reason in SAFETY.items():
        order = [*right]
        order[earlier], order[later] = order[later], order[earlier]
        graded = grade(question, order)
        assert graded.score == 0.0
        assert reason in " ".join(graded.explanation)
    found = {(STEPS[a].split()[0], STEPS[b].split()[0]) for a, b in SAFETY}
    assert {("Test", "Put"), ("Shut", "Test"), ("Put", "Open")} <= found
    # what is no safety matter costs marks, not all of them
    assert 0.5 < grade(question, (1, 0, *right[2:])).score < 1.0
