"""Lesson 08's items: keys worked by hand from the prompt and by closed forms, orders tried out, grading."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import permutations
from random import Random

import pytest
from quiz_text import asked, choice, numbers, numeric

from toolkit.actions import Purge, Reset, TurnValve
from toolkit.devices.regulator import lock_up_gauge_pressure
from toolkit.faults import NickedSeat, TripShift, Warmed
from toolkit.flow import nozzle
from toolkit.quiz import lesson_08
from toolkit.quiz.lesson_08 import (
    BEHIND,
    CAUSES,
    OUTLET,
    SAFETY,
    SHUTOFF,
    STEPS,
    WORKER,
    caused,
    found,
    guarded,
    holds,
    leak_area,
    locks_up,
    night,
    trip_of,
    tripping,
)
from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion
from toolkit.quiz.questions import NumericQuestion, TraceQuestion, grade, item_hash
from toolkit.scenario import Demand, Scenario, Station
from toolkit.simulation import simulate
from toolkit.trace import Trace
from toolkit.units import IN_WC, MBAR, PSI, display_unit, format_pressure, to_display

SEEDS = range(6)
ITEMS = {item.key: item for item in lesson_08.ITEMS}
# Worker's set point, trip above it, inlet.
PLAIN = (7 * IN_WC, 5 * IN_WC, 60 * PSI)
LOW = 3.5 * IN_WC


def test_seven_items_of_four_types() -> None:
    assert len(ITEMS) == 7
    kinds = {type(asked(key, 0)) for key in ITEMS}
    assert kinds == {NumericQuestion, TraceQuestion, OrderQuestion, ChoiceQuestion}


@pytest.mark.parametrize("key", ITEMS)
def test_a_new_seed_is_a_new_question_and_the_same_seed_the_same(key: str) -> None:
    hashes = {item_hash(asked(key, seed, ("us", "metric")[seed % 2])) for seed in range(8)}
    assert len(hashes) >= 7
    assert item_hash(asked(key, 3)) == item_hash(asked(key, 3))


# --- keys, from the numbers printed in the prompt


# In in. w.c. from US prompts; the warming in degrees Fahrenheit. 27.68 in. w.c. a psi, absolute zero at -459.67 degF.
BY_HAND = {
    "08.band": lambda n: (n[1] + n[3]) / (1 - n[2] / 100),
    "08.overrun": lambda n: n[1] + n[3] * n[4],
    "08.sun": lambda n: (n[4] + 459.67) * (n[1] - n[3]) / (n[3] + n[5] * 27.68),
}


@pytest.mark.parametrize("key", BY_HAND)
@pytest.mark.parametrize("seed", SEEDS)
def test_key_worked_by_hand_from_the_prompt(key: str, seed: int) -> None:
    question = numeric(key, seed)
    scale = 5 / 9 if key == "08.sun" else IN_WC
    assert question.truth / scale == pytest.approx(BY_HAND[key](numbers(question.prompt)), rel=0.02), question.prompt


@pytest.mark.parametrize("seed", SEEDS)
def test_metric_prompts_carry_the_same_sums(seed: int) -> None:
    question = numeric("08.band", seed, "metric")
    assert question.truth / MBAR == pytest.approx(BY_HAND["08.band"](numbers(question.prompt)), rel=1e-3)
    question = numeric("08.sun", seed, "metric")
    n = numbers(question.prompt)
    assert question.truth == pytest.approx((n[4] + 273.15) * (n[1] - n[3]) / (n[3] + 1000 * n[5]), rel=0.02)


# --- keys, by closed forms and by simulation


def test_the_lock_up_told_is_the_force_balance_and_where_a_night_ends() -> None:
    station = guarded(*PLAIN)
    (worker,) = station.regulators
    assert locks_up(station) == lock_up_gauge_pressure(worker.condition(), 60 * PSI)
    trace = simulate(night(station, (), 60.0))
    assert trace.settled(OUTLET) == pytest.approx(locks_up(station), rel=2e-3)
    assert not trace.happened("trips_high")


@pytest.mark.parametrize("seed", SEEDS)
def test_set_to_the_key_a_slam_shut_keeps_its_margin_at_its_soonest(seed: int) -> None:
    question = numeric("08.band", seed)
    worker_set, lock_up, accuracy, margin = numbers(question.prompt)
    assert question.truth / IN_WC * (1 - accuracy / 100) == pytest.approx(lock_up + margin, abs=1e-6)
    # and in a run: at its soonest it stays open at lock-up, with its margin gone it does not
    station = guarded(worker_set * IN_WC, question.truth - worker_set * IN_WC, 60 * PSI)
    for off, trips in ((0.0, False), (margin + 0.3, True)):
        drift = TripShift(devices=SHUTOFF, high_by=-question.truth * accuracy / 100 - off * IN_WC, onset=-10.0)
        assert bool(simulate(night(station, (drift,), 60.0)).happened("trips_high")) == trips


def overrun(station: Station, area: float) -> Trace:
    """A night in which the worker's seat leaks through an area [m2], until well after the slam-shut is shut."""
    leak = NickedSeat(devices=WORKER, leak_area=area, onset=40.0, ramp=1e-3)
    return simulate(night(station, (leak,), 120.0))


@pytest.mark.parametrize("seed", SEEDS)
def test_a_run_with_a_quick_closing_ends_where_the_sum_says(seed: int) -> None:
    """The engine against the key; 1.5 % for the closing, during which gas still comes."""
    question = numeric("08.overrun", seed)
    worker_set, trip, inlet, rate, response = numbers(question.prompt)
    station = guarded(worker_set * IN_WC, (trip - worker_set) * IN_WC, inlet * PSI)
    (shut,) = station.slam_shuts
    station = replace(station, slam_shuts=(replace(shut, response=response, closing=0.05),))
    run = overrun(station, leak_area(station, rate * IN_WC))
    (closed,) = run.happened("valve_shut")
    assert run.at(OUTLET, closed.time) == pytest.approx(question.truth, rel=0.015)


@pytest.mark.parametrize("leak", [1.5e-7, 3e-7])
def test_the_outlet_rises_by_a_choked_leak_until_the_valve_is_shut(leak: float) -> None:
    """dp/dt = RT m / V of a choked leak (closed form); 1 % for the room of the case."""
    station = guarded(*PLAIN)
    trace = overrun(station, leak)
    (tripped,), (closed,) = trace.happened("trips_high"), trace.happened("valve_shut")
    (shut,) = station.slam_shuts
    air = station.atmosphere
    passed = nozzle(station.gas.heat_ratio, station.rt)(leak, air + 60 * PSI, air + tripped.value)
    rate = station.rt * passed / BEHIND
    assert closed.time - tripped.time == pytest.approx(shut.response + shut.closing, abs=1e-3)
    risen = trace.at(OUTLET, closed.time) - tripped.value
    assert risen == pytest.approx(rate * (shut.response + shut.closing), rel=0.01)


def test_the_warming_of_the_key_trips_it_and_a_little_less_does_not() -> None:
    station = guarded(*PLAIN)
    lock_up, trip, cold = locks_up(station), trip_of(station), station.temperature
    warming = cold * (trip - lock_up) / (lock_up + station.atmosphere)
    for share, trips in ((0.97, False), (1.03, True)):
        sun = Warmed(devices="outlet", times=1 + share * warming / cold, onset=60.0, ramp=30.0)
        assert bool(simulate(night(station, (sun,), 120.0)).happened("trips_high")) == trips


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize("seed", SEEDS)
def test_it_trips_where_the_creep_ends_within_its_band(seed: int, units: str) -> None:
    trace, time = tripping(Random(seed), units)
    station = trace.scenario.station
    (tripped,) = trace.happened("trips_high")
    assert abs(tripped.value / trip_of(station) - 1) <= station.slam_shuts[0].accuracy + 1e-3
    creep = trace.at(OUTLET, time) - trace.at(OUTLET, time - 5.0)
    after = trace.settled(OUTLET) - trace.at(OUTLET, time + 3.0)
    assert creep > 5 * abs(after)  # a kink that can be seen
    assert trace.settled(OUTLET) > trip_of(station) * 0.95
    # the burners' shutting off is no answer
    (off,) = (demand.time for demand in trace.scenario.demands if demand.time)
    question = asked("08.tripped", seed, units)
    assert isinstance(question, TraceQuestion)
    assert time - off > 10.0


# --- resets


@pytest.mark.parametrize("seed", range(20))
def test_one_reading_lets_the_reset_hold_and_each_other_lacks_one_thing(seed: int) -> None:
    question = choice("08.reset", seed, ("us", "metric")[seed % 2])
    assert len(question.options) == 4
    low, high, most = numbers(question.prompt)[3], numbers(question.prompt)[1], numbers(question.prompt)[4]
    for place, option in enumerate(question.options):
        outlet, across = (float(number) for number in re.findall(r"\d+\.\d+", option))
        assert (low <= outlet <= high and across <= most) == (place == question.right), option
    assert len(set(question.told)) == 4


@pytest.mark.parametrize(
    ("high_gauge", "bypass", "kind"),
    [(12 * IN_WC, 1.0, "reset"), (12 * IN_WC, 0.0, "reset_not_equalised"), (7.2 * IN_WC, 1.0, "reset_refused")],
)
def test_a_reset_in_a_run_holds_as_the_item_says(high_gauge: float, bypass: float, kind: str) -> None:
    """The rule of the item is the engine's: tripped for good by a sag, then tried with the supply back."""
    station = guarded(7 * IN_WC, 5 * IN_WC, 60 * PSI, low=LOW)
    shift = TripShift(devices=SHUTOFF, high_by=high_gauge - 12 * IN_WC, onset=100.0, ramp=1.0)
    cut = (TurnValve(device="supply", time=20.0, share=0.0), TurnValve(device="supply", time=50.0, share=1.0))
    fill = TurnValve(device=SHUTOFF, time=110.0, share=1.0)
    empty = TurnValve(device=SHUTOFF, time=130.0, share=0.0)
    drain = (Purge(device="inlet", time=135.0, flow_area=1e-6), Purge(device="inlet", time=145.0, flow_area=0.0))
    # filled in any case, so that the outlet is in range; then equalised anew, or let down before the worker
    more = () if bypass else (empty, *drain)
    reset = Reset(device=SHUTOFF, time=160.0)
    demands = (Demand(0.0, 1.0), Demand(90.0, 0.0))
    trace = simulate(Scenario(station, demands, (shift,), 170.0, (*cut, fill, *more, reset)))
    assert trace.happened("trips_low")
    (shut,) = station.slam_shuts
    outlet = trace.at(OUTLET, 159.9)
    across = trace.at("upstream_gauge_pressure", 159.9) - trace.at("inlet_gauge_pressure", 159.9)
    assert [event.kind for event in trace.events if event.kind.startswith("reset")] == [kind]
    believed = holds(shut, outlet, across) and outlet <= high_gauge
    assert believed == (kind == "reset")


# --- the order of the steps


def test_the_steps_have_one_right_order_and_safety_comes_first() -> None:
    question = asked("08.steps", 1)
    assert isinstance(question, OrderQuestion)
    right = tuple(range(len(STEPS)))
    assert question.shown != right
    assert grade(question, right).score == 1.0
    swapped = {pair: [*right] for pair in SAFETY}
    for (earlier, later), order in swapped.items():
        order[earlier], order[later] = order[later], order[earlier]
        graded = grade(question, order)
        assert graded.score == 0.0
        assert SAFETY[earlier, later] in " ".join(graded.explanation)
    first_words = {(STEPS[a].split()[0], STEPS[b].split()[0]) for a, b in SAFETY}
    assert {("Let", "Find"), ("Find", "Reset"), ("Equalise", "Reset"), ("See", "Purge,")} <= first_words
    # turning round two steps that are no safety matter costs marks, not all of them
    assert 0.5 < grade(question, (1, 0, *right[2:])).score < 1.0


def test_only_the_taught_order_of_letting_down_equalising_and_resetting_brings_the_gas_back() -> None:
    """Every order of the three, tried in a run after a trip on warmed gas."""
    station = guarded(*PLAIN)
    sun = Warmed(devices="outlet", times=1.02, onset=30.0, ramp=20.0)

    def step(name: str, time: float) -> tuple[Purge | Reset | TurnValve, ...]:
        if name == "let down":
            return (
                Purge(device="outlet", time=time, flow_area=1e-5),
                Purge(device="outlet", time=time + 25.0, flow_area=0.0),
            )
        if name == "equalise":
            return (
                TurnValve(device=SHUTOFF, time=time, share=1.0),
                TurnValve(device=SHUTOFF, time=time + 28.0, share=0.0),
            )
        return (Reset(device=SHUTOFF, time=time),)

    held = []
    for order in permutations(("let down", "equalise", "reset")):
        actions = [action for place, name in enumerate(order) for action in step(name, 60.0 + 30.0 * place)]
        # the equalising valve is open for as long as the next step takes
        actions = [
            TurnValve(device=SHUTOFF, time=175.0, share=0.0) if isinstance(a, TurnValve) and not a.share else a
            for a in actions
        ]
        trace = simulate(Scenario(station, (Demand(0.0, 1.0), Demand(10.0, 0.0)), (sun,), 180.0, tuple(actions)))
        assert trace.happened("trips_high")
        if trace.settled("slam_shut_open_share") == 1.0:
            held.append(order)
    assert ("let down", "equalise", "reset") in held
    assert all(order[-1] == "reset" for order in held)


# --- the cause


@pytest.mark.parametrize("cause", CAUSES)
@pytest.mark.parametrize("seed", SEEDS)
def test_each_cause_trips_it_and_its_readings_tell(cause: str, seed: int) -> None:
    units = ("us", "metric")[seed % 2]
    chance = Random(seed)
    station = guarded(*lesson_08._drawn(chance, units), low=LOW)
    trace = simulate(caused(cause, station, chance))
    tripped = next(event for event in trace.events if event.kind.startswith("trips_"))
    assert tripped.time < 170.0  # before anybody comes
    latch, _, warmer, tested, first, later = (reading for _, reading in found(trace, units))
    end = trace.settled(OUTLET)
    lock_up = locks_up(station)
    assert (latch == "low") == (cause == "main")
    assert (float(warmer.split()[0]) > 1.0) == (cause == "sun")
    assert (tested != format_pressure(trip_of(station), units)) == (cause == "drift")
    assert (end > 1.3 * lock_up) == (cause == "grit")
    assert (first != later) == (cause == "grit")
    if cause != "grit":
        assert end == pytest.approx(lock_up, rel=5e-3)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_wrong_cause_is_replayed_beside_the_true_one(seed: int) -> None:
    question = choice("08.cause", seed, ("us", "metric")[seed % 2])
    assert question.table is not None
    assert len(question.table) == 7
    assert grade(question, question.right).score == 1.0
    wrong = (question.right + 1) % 4
    graded = grade(question, wrong)
    assert graded.score == 0.0
    assert graded.replay is not None
    assert graded.replay.truth is question.traces[question.right]
    assert question.told[wrong].startswith("Then this would be read")
    assert not question.told[question.right].startswith("Then")


def test_the_true_cause_is_drawn_from_all_and_stands_in_any_place() -> None:
    questions = [choice("08.cause", seed) for seed in range(20)]
    assert {q.options[q.right] for q in questions} == {name for name, _ in CAUSES.values()}
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
        said = grade(question, typed(7.3 * question.truth)).explanation[-1]
        shown = said.removeprefix("The answer is ").removesuffix(question.worked).strip()
        assert grade(question, shown).score == 1.0, shown


def test_the_slips_that_matter_are_kept() -> None:
    matter = {
        "08.band": "the band was left out",
        "08.overrun": "the wait was left out",
        "08.sun": "gauge pressures were used",
    }
    for key, name in matter.items():
        for seed in range(20):
            assert name in [slip.name for slip in numeric(key, seed, ("us", "metric")[seed % 2]).slips], (key, seed)
