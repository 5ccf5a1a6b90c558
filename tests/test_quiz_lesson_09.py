"""Lesson 09's items: keys worked by hand and by closed forms, orders sorted anew, readings told apart."""

from __future__ import annotations

from random import Random

import pytest
from quiz_text import asked, choice, numbers, numeric

from toolkit.devices.regulator import lock_up_gauge_pressure
from toolkit.flow import nozzle
from toolkit.quiz import lesson_09
from toolkit.quiz.lesson_09 import (
    BEHIND,
    CALLED,
    DRIVES,
    FULL,
    HIGH_GOES,
    HIGH_MAKES,
    LOCK_UP,
    LOW_GOES,
    LOW_MAKES,
    NIGHT,
    OFF,
    OUTLET,
    RATING,
    READ,
    REASONS,
    SWITCH,
    Setting,
    day,
    drawn,
    driven,
    falling,
    ladder_of,
    rising,
)
from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion
from toolkit.quiz.questions import NumericQuestion, TraceQuestion, grade, item_hash
from toolkit.scenario import Demand, Scenario
from toolkit.simulation import simulate
from toolkit.units import HOUR, IN_WC, MBAR, PSI, SCF, display_unit, to_display

SEEDS = range(6)
ITEMS = {item.key: item for item in lesson_09.ITEMS}
PLAIN = Setting(7 * IN_WC, 12 * IN_WC, 4 * IN_WC, 2 * IN_WC, 1250 * SCF / HOUR)


def test_six_items_of_four_types() -> None:
    assert len(ITEMS) == 6
    assert {type(asked(key, 0)) for key in ITEMS} == {NumericQuestion, TraceQuestion, OrderQuestion, ChoiceQuestion}


@pytest.mark.parametrize("key", ITEMS)
def test_a_new_seed_is_a_new_question_and_the_same_seed_the_same(key: str) -> None:
    hashes = {item_hash(asked(key, seed, ("us", "metric")[seed % 2])) for seed in range(8)}
    assert len(hashes) >= 7
    assert item_hash(asked(key, 3)) == item_hash(asked(key, 3))


# --- keys, from the numbers printed in the prompt

BY_HAND = {
    "09.low": lambda n: (n[1] - n[3]) / (1 + n[2] / 100),
    "09.goes_on": lambda n: n[1] + n[2] / 10 * n[3],
}


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize("key", BY_HAND)
@pytest.mark.parametrize("seed", SEEDS)
def test_key_worked_by_hand_from_the_prompt(key: str, seed: int, units: str) -> None:
    question = numeric(key, seed, units)
    scale = IN_WC if units == "us" else MBAR
    assert question.truth / scale == pytest.approx(BY_HAND[key](numbers(question.prompt)), rel=0.02), question.prompt


# --- keys, by closed forms and by simulation


def test_the_lock_up_told_is_the_force_balance_and_where_a_night_ends() -> None:
    (worker,) = PLAIN.station.regulators
    assert lock_up_gauge_pressure(worker.condition(), 60 * PSI) == PLAIN.lock_up
    trace = simulate(Scenario(PLAIN.station, NIGHT, (), 60.0))
    assert trace.settled(OUTLET) == pytest.approx(PLAIN.lock_up, rel=2e-3)
    assert trace.at(OUTLET, OFF - 1) == pytest.approx(PLAIN.full, rel=2e-3)
    assert not trace.happened("switch_high")


@pytest.mark.parametrize("seed", SEEDS)
def test_set_to_the_key_a_low_side_rests_at_full_load_even_at_its_earliest(seed: int) -> None:
    question = numeric("09.low", seed)
    worker_set, full, accuracy, margin = numbers(question.prompt)
    earliest = question.truth * (1 + accuracy / 100)
    assert earliest / IN_WC == pytest.approx(full - margin, abs=1e-6)
    # and in a run: at its earliest it rests at full load; a little more than the margin higher it does not
    chance = Random(f"09.low {seed}")
    setting = drawn(chance, "us")
    assert setting.worker_set / IN_WC == pytest.approx(worker_set)
    for low, makes in ((earliest, False), (earliest + (margin + 0.1) * IN_WC, True)):
        moved = Setting(setting.worker_set, setting.high, low, setting.deadband, setting.demand)
        run = simulate(Scenario(moved.station, (Demand(0.0, 1.0),), (), OFF))
        assert bool(run.happened("switch_low")) == makes


@pytest.mark.parametrize("rate", [0.1 * IN_WC, 0.2 * IN_WC])
def test_the_outlet_goes_on_by_a_choked_leak_after_the_lockout(rate: float) -> None:
    """dp/dt = RT m / V of a choked leak (closed form); 2 % for the room of the case."""
    setting = Setting(7 * IN_WC, 12 * IN_WC, 4 * IN_WC, 2 * IN_WC, 1250 * SCF / HOUR, "lockout", manual_reset=True)
    run, here = rising(setting, rate, 250.0), setting.station
    (made,) = run.happened("switch_high")
    air = here.atmosphere
    passed = nozzle(here.gas.heat_ratio, here.rt)(setting.leak(rate).leak_area, air + 60 * PSI, air + made.value)
    assert here.rt * passed / BEHIND == pytest.approx(rate)
    risen = run.at(OUTLET, made.time + 60.0) - made.value
    assert made.value == pytest.approx(12 * IN_WC, rel=1e-3)
    assert risen == pytest.approx(60.0 * rate, rel=0.02)


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize("seed", SEEDS)
def test_it_lets_go_its_deadband_lower_and_well_after_its_setting_is_passed(seed: int, units: str) -> None:
    trace, time = falling(Random(seed), units)
    (switch,) = trace.scenario.station.switches
    high = switch.high_gauge_pressure or 0.0
    assert trace.at(OUTLET, time) == pytest.approx(high - switch.deadband, rel=5e-3)
    (made,) = trace.happened("switch_high")
    half = lesson_09.READ_OFF * trace.scenario.duration
    # the setting, passed on the way down, is read more than twice the window too early
    down = max(t for t in trace.times if trace.at(OUTLET, t) >= high)
    assert made.time < down < time - 2 * half
    assert time + half < trace.scenario.duration
    question = asked("09.lets_go", seed, units)
    assert isinstance(question, TraceQuestion)
    start, end = question.window
    assert grade(question, (start + end) / 2).score == 1.0


# --- the order


@pytest.mark.parametrize("seed", range(20))
def test_the_order_is_that_of_the_pressures_printed(seed: int) -> None:
    question = asked("09.ladder", seed, ("us", "metric")[seed % 2])
    assert isinstance(question, OrderQuestion)
    full, lock_up, low, high, deadband, rating = numbers(question.prompt)
    by_hand = {
        LOW_MAKES: low,
        LOW_GOES: low + deadband,
        FULL: full,
        LOCK_UP: lock_up,
        HIGH_GOES: high - deadband,
        HIGH_MAKES: high,
        RATING: rating,
    }
    assert question.entries == tuple(sorted(by_hand, key=lambda name: by_hand[name]))
    said = question.explanation
    assert ("low side does not let go" in said) == (low + deadband > full)
    assert ("high side does not let go at night" in said) == (high - deadband < lock_up)
    assert ("nor does it at full load" in said) == (high - deadband < full)
    assert ("It lets go by day and by night." in said) == (low + deadband < full and high - deadband > lock_up)


def test_orders_differ_and_sound_and_unsound_ones_are_asked() -> None:
    questions = [asked("09.ladder", seed) for seed in range(20)]
    orders = {question.entries for question in questions if isinstance(question, OrderQuestion)}
    assert len(orders) >= 3
    sound = ["by day and by night" in q.explanation for q in questions if isinstance(q, OrderQuestion)]
    assert 0 < sum(sound) < len(sound)


@pytest.mark.parametrize("lower", [LOW_MAKES, LOCK_UP])
def test_a_setting_inside_what_happens_every_day_caps_the_credit(lower: str) -> None:
    question = asked("09.ladder", 5)
    assert isinstance(question, OrderQuestion)
    higher = {LOW_MAKES: FULL, LOCK_UP: HIGH_MAKES}[lower]
    order = list(range(len(question.entries)))
    a, b = question.entries.index(lower), question.entries.index(higher)
    order.insert(a, order.pop(b))
    assert grade(question, order).score == 0.4


def test_a_ladder_that_is_read_as_sound_lets_go_in_a_run() -> None:
    """At full load the high side lets go if its edge stands above what the outlet holds then, and only then."""
    for deadband, lets_go in ((2.0, True), (6.5, False)):
        setting = Setting(7 * IN_WC, 12 * IN_WC, 4 * IN_WC, deadband * IN_WC, 1250 * SCF / HOUR)
        found = ladder_of(setting)
        assert (found[HIGH_GOES] > found[FULL]) == lets_go
        leak = setting.leak(0.2 * IN_WC)
        run = simulate(Scenario(setting.station, (*NIGHT, Demand(90.0, 1.0)), (leak,), 120.0))
        assert run.happened("switch_high")
        assert bool(run.happened("switch_rest")) == lets_go


# --- what it drives, and why it makes


@pytest.mark.parametrize("drives", DRIVES)
@pytest.mark.parametrize("seed", SEEDS)
def test_each_thing_it_may_drive_shows_in_what_is_read(drives: str, seed: int) -> None:
    setting = drawn(Random(seed), ("us", "metric")[seed % 2])
    run = driven(drives, setting)
    night, morning = (run.at(OUTLET, time) for time in (CALLED - 1, READ))
    lamp = [run.at(f"{SWITCH}_made", time) > 0.5 for time in (CALLED - 1, READ)]
    burns = run.at("appliances_flow", READ) > 0.5 * setting.demand
    assert lamp == [drives != "jumped"] * 2
    assert burns == (drives in ("alarm", "jumped"))
    assert (night < 1.3 * setting.high) == (drives == "trip")
    if drives == "lockout":
        assert morning > night
    if drives == "trip":
        assert morning < 0.1 * setting.worker_set


@pytest.mark.parametrize("seed", range(20))
def test_the_table_tells_what_it_drives(seed: int) -> None:
    units = ("us", "metric")[seed % 2]
    question = choice("09.drives", seed, units)
    _, (_, _, lamp, _), (_, outlet, _, burners) = question.table or ()
    told = (
        "nothing: it is jumped, or its small valve is shut"
        if lamp == "off"
        else "an alarm only"
        if burners.endswith("burn")
        else "a slam-shut"
        if float(outlet.split()[0]) == 0.0
        else "the burners' lockout"
    )
    assert question.options[question.right] == told


@pytest.mark.parametrize("reason", REASONS)
@pytest.mark.parametrize("seed", SEEDS)
def test_each_reason_makes_it_and_leaves_its_own_reading(reason: str, seed: int) -> None:
    units = ("us", "metric")[seed % 2]
    setting = drawn(Random(seed), units)
    run = day(reason, setting)
    rows = dict(lesson_09.read(run, units))
    assert rows["the switch made on"] == ("low" if reason == "droop" else "high")
    tag, tested = rows["high setting, on the tag"], rows["high setting, tested with test gas"]
    assert (tag != tested) == (reason == "drift")
    first, later = rows["outlet soon after all burners are off"], rows["the same, 120 s later"]
    assert (first != later) == (reason == "grit")
    lock_up = to_display(setting.lock_up, "low_gauge_pressure", units)
    assert (float(tag.split()[0]) < lock_up) == (reason == "near")
    low = float(rows["low setting, on the tag and tested"].split()[0])
    assert (low > to_display(setting.full, "low_gauge_pressure", units)) == (reason == "droop")


@pytest.mark.parametrize("key", ["09.drives", "09.reason"])
@pytest.mark.parametrize("seed", SEEDS)
def test_a_wrong_choice_is_replayed_beside_the_true_one(key: str, seed: int) -> None:
    question = choice(key, seed, ("us", "metric")[seed % 2])
    assert grade(question, question.right).score == 1.0
    wrong = (question.right + 1) % 4
    graded = grade(question, wrong)
    assert graded.score == 0.0
    assert graded.replay is not None
    assert graded.replay.truth is question.traces[question.right]
    assert question.told[wrong].startswith("If it were so: ")
    assert not question.told[question.right].startswith("If")


@pytest.mark.parametrize(("key", "known"), [("09.drives", DRIVES), ("09.reason", REASONS)])
def test_the_truth_is_drawn_from_all_and_stands_in_any_place(key: str, known: dict[str, tuple[str, str]]) -> None:
    questions = [choice(key, seed) for seed in range(20)]
    assert {q.options[q.right] for q in questions} == {name for name, _ in known.values()}
    assert {q.right for q in questions} == {0, 1, 2, 3}


# --- grading of numbers


@pytest.mark.parametrize("seed", range(20))
def test_right_slip_and_wrong(seed: int) -> None:
    units = ("us", "metric")[seed % 2]
    for key in BY_HAND:
        question = numeric(key, seed, units)
        unit = display_unit(question.kind, units)

        def typed(value: float, question: NumericQuestion = question, unit: object = unit) -> str:
            return f"{to_display(value, question.kind, question.units):.9f} {unit.label}"  # type: ignore[attr-defined]

        assert grade(question, typed(question.truth)).score == 1.0
        assert question.slips
        for slip in question.slips:
            graded = grade(question, typed(slip.value))
            assert (graded.score, slip.why in graded.explanation) == (0.5, True), (key, slip)
        assert grade(question, typed(7.3 * question.truth)).score == 0.0


def test_the_slips_that_matter_are_kept() -> None:
    matter = {"09.low": "the band was left out", "09.goes_on": "the lockout was taken to hold the pressure"}
    for key, name in matter.items():
        for seed in range(20):
            kept = [slip.name for slip in numeric(key, seed, ("us", "metric")[seed % 2]).slips]
            assert name in kept, (key, seed)
