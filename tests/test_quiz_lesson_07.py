"""Lesson 07's items: keys worked by hand from the prompt and by closed forms, and how answers are graded.

14.696 psia from conversion tables (published.toml); the letters' areas are those of API 526 (published.toml).
"""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations
from random import Random

import pytest
from quiz_text import asked, choice, numbers, numeric

from toolkit.devices.regulator import lock_up_gauge_pressure
from toolkit.margins import relief_capacity
from toolkit.quiz import lesson_07
from toolkit.quiz.items import offer
from toolkit.quiz.lesson_07 import (
    ITEMS,
    OUTLET,
    STACK_FLOW,
    STATES,
    Setting,
    creeping,
    in_state,
    ladder_of,
    settled,
    sound_of,
)
from toolkit.quiz.questions import ChoiceQuestion, NumericQuestion, OrderQuestion, TraceQuestion, grade
from toolkit.scenario import Demand, Scenario
from toolkit.simulation import simulate
from toolkit.sizing import API_526_LETTERS
from toolkit.units import IN_WC, INCH, PSI, to_display

SEEDS = range(8)
BY_KEY = {item.key: item for item in ITEMS}
PLAIN = Setting(7 * IN_WC, 11 * IN_WC, 60 * PSI)


def test_six_items_of_four_types() -> None:
    assert {type(asked(key, 0)) for key in BY_KEY} == {NumericQuestion, ChoiceQuestion, OrderQuestion, TraceQuestion}
    assert len(BY_KEY) == 6
    for item in ITEMS:
        assert item.objective.endswith(".")
        assert len(item.objective) < 90


@pytest.mark.parametrize("item", ITEMS, ids=lambda item: item.key)
def test_twenty_seeds_in_both_units(item: lesson_07.Item) -> None:
    """Each can be made; the key scores full; what is not the key does not."""
    for seed in range(20):
        question = offer(item, seed, ("us", "metric")[seed % 2])
        if isinstance(question, ChoiceQuestion):
            scores = [grade(question, index).score for index in range(len(question.options))]
            assert scores == [float(index == question.right) for index in range(len(scores))]
        elif isinstance(question, OrderQuestion):
            assert grade(question, tuple(range(len(question.entries)))).score == 1.0
            assert grade(question, question.shown).score < 1.0
        elif isinstance(question, TraceQuestion):
            assert 0 < question.window[0] < question.window[1] < question.duration
            assert grade(question, round(sum(question.window) / 2)).score == 1.0
        else:
            assert isinstance(question, NumericQuestion)
            unit = "in. w.c." if question.units == "us" else "mbar"
            right = to_display(question.truth, question.kind, question.units)
            assert grade(question, f"{right:.5f} {unit}").score == 1.0
            for slip in question.slips:
                graded = grade(question, f"{to_display(slip.value, question.kind, question.units):.6f} {unit}")
                assert (graded.score, slip.why in graded.explanation) == (0.5, True)


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("units", ["us", "metric"])
def test_a_valve_that_is_called_enough_holds_below_the_rating(seed: int, units: str) -> None:
    rating = PLAIN.station.loads[0].maximum_gauge_pressure
    question = choice("07.state", seed, units)
    run = next(
        trace
        for option, trace in zip(question.options, question.traces, strict=True)
        if option == STATES["sound"] and trace is not None
    )
    assert run.peak(OUTLET)[1] < rating
    (valve,) = run.scenario.station.relief_valves
    assert valve.set_gauge_pressure * (1 + valve.build_up) < rating
    assert numeric("07.settles", seed, units).truth < rating
    assert numeric("07.reseat", seed, units).truth < rating
    assert creeping(Random(seed), units)[0].peak(OUTLET)[1] < rating


# --- numbers, from the prompt and by closed form


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("units", ["us", "metric"])
def test_the_reseat_by_hand(seed: int, units: str) -> None:
    question = numeric("07.reseat", seed, units)
    _, lock_up, percent, margin = numbers(question.prompt)
    assert to_display(question.truth, question.kind, units) == pytest.approx((lock_up + margin) / (1 - percent / 100))


@pytest.mark.parametrize("seed", SEEDS)
def test_a_valve_set_to_the_key_is_shut_where_it_was_asked_to_be(seed: int) -> None:
    """By the engine: once popped, it is shut above lock-up by the margin and not much more."""
    question = numeric("07.reseat", seed)
    worker_set, lock_up, percent, margin = numbers(question.prompt)
    setting = Setting(worker_set * IN_WC, question.truth, 60 * PSI, blowdown=percent / 100)
    # Enough gas to lift the disk clear of its seat, and less than the burners take in the morning.
    nicked = lesson_07.NickedSeat(devices="worker", leak_area=1.4e-6, onset=0.0, ramp=1.0)
    day = (Demand(0.0, 1.0), Demand(10.0, 0.0), Demand(60.0, 1.0, stroke=0.05))
    trace = simulate(Scenario(setting.station, day, (nicked,), 80.0))
    (reseats,) = trace.happened("valve_reseats")
    assert reseats.value / IN_WC == pytest.approx(lock_up + margin, rel=0.02)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_build_up_by_hand(seed: int) -> None:
    question = numeric("07.settles", seed)
    opens, full, passes, _, comes = numbers(question.prompt)
    # 1.5 %: a straight share of the flow, where the flow also rises a little with the pressure.
    assert question.truth / IN_WC == pytest.approx(opens + (full - opens) * comes / passes, rel=0.015)
    assert opens * IN_WC < question.truth < full * IN_WC


def test_it_settles_where_the_valve_passes_all_by_the_sheet() -> None:
    trace = settled(PLAIN)
    (capacity,) = relief_capacity(PLAIN.station, "outlet", trace.settled(OUTLET))
    assert capacity.relief_flow == pytest.approx(capacity.worker_flow, rel=0.01)


def test_the_slips_that_matter_are_kept_for_every_seed() -> None:
    matter = {
        "07.reseat": "the blowdown was left out",
        "07.settles": "the set pressure was taken for the highest pressure",
    }
    for key, name in matter.items():
        for seed in SEEDS:
            assert name in [slip.name for slip in numeric(key, seed, ("us", "metric")[seed % 2]).slips]


@pytest.mark.parametrize("seed", SEEDS)
def test_the_slips_are_what_their_names_say(seed: int) -> None:
    question = numeric("07.reseat", seed)
    worker, lock_up, percent, margin = numbers(question.prompt)
    by_hand = {
        "the blowdown was left out": lock_up + margin,
        "the blowdown was added to the reseat pressure": (lock_up + margin) * (1 + percent / 100),
        "the blowdown was taken off": (lock_up + margin) * (1 - percent / 100),
        "the worker's set point was taken for its lock-up": (worker + margin) / (1 - percent / 100),
    }
    for slip in question.slips:
        assert slip.value / IN_WC == pytest.approx(by_hand[slip.name]), slip.name
    question = numeric("07.settles", seed)
    opens, full, _, worker, _ = numbers(question.prompt)
    by_hand = {
        "the set pressure was taken for the highest pressure": opens,
        "the whole build-up was taken": full,
        "the worker's set point was given": worker,
        "only the build-up was given": question.truth / IN_WC - opens,
    }
    for slip in question.slips:
        # Half of the last digit that a tag shows.
        assert slip.value / IN_WC == pytest.approx(by_hand[slip.name], abs=0.051), slip.name


# --- the letter


@pytest.mark.parametrize("seed", range(20))
def test_the_letter_by_hand(seed: int) -> None:
    question = choice("07.letter", seed)
    usual, area, highest = numbers(question.prompt)
    needed = area * (highest + 14.696) / (usual + 14.696)
    enough = [letter for letter, offered in API_526_LETTERS.items() if offered / INCH**2 >= needed]
    assert question.options[question.right] == enough[0]
    # The next smaller one, the next larger one, and what the usual inlet alone would ask for, are offered.
    order = list(API_526_LETTERS)
    for index in (order.index(enough[0]) - 1, order.index(enough[0]) + 1):
        assert order[index] in question.options
    by_usual = next(letter for letter, offered in API_526_LETTERS.items() if offered / INCH**2 >= area)
    assert by_usual in question.options
    assert by_usual != enough[0]
    told = question.told[question.options.index(by_usual)]
    assert "not when the main stands high" in told
    assert question.table is not None
    assert [row[0] for row in question.table[1:]] == list(question.options)


# --- the ladder


def test_the_ladder_s_pressures_are_those_of_the_devices() -> None:
    rungs = ladder_of(PLAIN)
    worker = PLAIN.station.regulators[0]
    assert rungs[lesson_07.LOCK_UP] == lock_up_gauge_pressure(worker.condition(), 60 * PSI)
    assert rungs[lesson_07.RESEATS] == pytest.approx(0.85 * 11 * IN_WC)
    assert rungs[lesson_07.FULL] == pytest.approx(1.25 * 11 * IN_WC)
    assert list(rungs.values()) == sorted(rungs.values())


def test_the_order_by_hand_and_its_critical_pairs() -> None:
    orders = set()
    for seed in range(20):
        question = asked("07.ladder", seed)
        assert isinstance(question, OrderQuestion)
        worker, lock_up, opens, rise, fall, rating = numbers(question.prompt)
        by_hand = {
            "The worker's set point": worker,
            "The worker's lock-up": lock_up,
            "The relief valve is shut again": opens * (1 - fall / 100),
            "The relief valve begins to open": opens,
            "The relief valve is at full lift": opens * (1 + rise / 100),
            "The appliances' rating": rating,
        }
        assert list(question.entries) == sorted(by_hand, key=lambda name: by_hand[name])
        orders.add(question.entries)
        assert ("too long: once open" in question.explanation) == (opens * (1 - fall / 100) < lock_up)
        assert ("too long: at full lift" in question.explanation) == (opens * (1 + rise / 100) > rating)
        right = list(range(6))
        for earlier, later in question.critical:
            turned = right[:]
            turned[earlier], turned[later] = turned[later], turned[earlier]
            graded = grade(question, turned)
            assert graded.score <= 0.4
            assert any("relief valve" in words for words in graded.explanation)
    # The order is not the same each time: it has to be worked out.
    assert len(orders) >= 3


def test_an_order_that_spares_the_critical_pairs_keeps_its_credit() -> None:
    question = asked("07.ladder", 0)
    assert isinstance(question, OrderQuestion)
    best = max(grade(question, order).score for order in permutations(range(6)) if order != tuple(range(6)))
    assert best == pytest.approx(14 / 15)


# --- what is the matter


@pytest.mark.parametrize("state", STATES)
def test_each_state_shows_what_it_is_known_by(state: str) -> None:
    for valve_set in (10 * IN_WC, 14 * IN_WC):
        for inlet in (40 * PSI, 60 * PSI):
            setting = replace(PLAIN, valve_set=valve_set, inlet=inlet)
            trace = in_state(setting, state)
            off, flow = trace.settled(OUTLET), trace.settled(STACK_FLOW)
            if state == "sound":
                assert setting.valve_set < off < setting.full_lift
                assert sound_of(flow) == "a roar"
            elif state == "isolated":
                assert off > 0.9 * inlet
                assert sound_of(flow) == "nothing"
            elif state == "small":
                assert off > 1.1 * setting.full_lift
                assert sound_of(flow) == "a roar"
            else:
                assert off == pytest.approx(setting.lock_up, rel=0.01)
                assert sound_of(flow) == "a faint hiss"


@pytest.mark.parametrize("seed", SEEDS)
def test_the_readings_tell_the_states_apart(seed: int) -> None:
    question = choice("07.state", seed, ("us", "metric")[seed % 2])
    assert question.table is not None
    _, (_, on, by_day), (_, off, at_night) = question.table
    seen = set()
    for option, told in zip(question.options, question.told, strict=True):
        if option == question.options[question.right]:
            assert told.startswith(("With all off", "The outlet", "The stack"))
            continue
        assert f"{on} with the burners on and at {off} with all off, and you hear {at_night}" not in told
        seen.add(told)
    assert len(seen) == 3
    assert by_day in ("nothing", "a faint hiss", "a roar")
    wrong = (question.right + 1) % 4
    graded = grade(question, wrong)
    assert graded.replay is not None
    assert graded.replay.truth.settled(OUTLET) != pytest.approx(graded.replay.other.settled(OUTLET), rel=0.05)


def test_every_state_is_asked_for() -> None:
    right = {question.options[question.right] for question in (choice("07.state", seed) for seed in range(20))}
    assert right == set(STATES.values())


# --- the trace


@pytest.mark.parametrize("seed", range(20))
def test_it_lets_gas_off_where_the_outlet_comes_to_its_set_pressure(seed: int) -> None:
    trace, time = creeping(Random(seed), "us")
    (valve,) = trace.scenario.station.relief_valves
    assert trace.at(OUTLET, time) == pytest.approx(valve.set_gauge_pressure, rel=2e-3)
    before = trace[OUTLET][trace.times < time - 1.0]
    assert before.max() < valve.set_gauge_pressure
    # Then it climbs no further, and there is time left to see it.
    assert trace.peak(OUTLET)[1] < 1.005 * valve.set_gauge_pressure
    assert trace.scenario.duration - time > 15.0
    off = trace.scenario.demands[1].time
    assert time - off > 20.0
    # By the law of gases, from lock-up at the leak's rate; 10 % for the seat's own closing.
    nick = trace.scenario.faults[0]
    assert isinstance(nick, lesson_07.NickedSeat)
    rate = lesson_07.free_flow(trace.scenario.station, nick.leak_area, trace.scenario.station.supply.gauge_pressure)
    (worker,) = trace.scenario.station.regulators
    rise = valve.set_gauge_pressure - lock_up_gauge_pressure(
        worker.condition(), trace.scenario.station.supply.gauge_pressure
    )
    assert time - off == pytest.approx(rise / 101325 * lesson_07.ROOM / rate, rel=0.1, abs=2.0)
