"""The items of lesson 12: each key once more, by hand or by another run, and wrong answers told apart."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from random import Random

import pytest
from quiz_text import asked, choice, numbers, numeric

from toolkit.actions import Purge, TurnValve
from toolkit.devices.regulator import lock_up_gauge_pressure
from toolkit.faults import BrokenSensingLine, StuckStem
from toolkit.layers import MONITOR
from toolkit.quiz import lesson_12
from toolkit.quiz.lesson_05 import WORKER, monitored
from toolkit.quiz.lesson_12 import (
    BLED,
    CAUSES,
    NEW_SIZE,
    OLD_MAIN,
    OLD_SIZE,
    PURGE,
    SAFETY,
    STEPS,
    STRIKES,
    TAKES_CASES,
    TIE,
    WHO,
    WHO_CASES,
    Layout,
    laid_out,
    night,
    one_after_the_other,
    together,
    who_stops_it,
    wide_open_flow,
)
from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion
from toolkit.quiz.pictures import OUTLET
from toolkit.quiz.questions import NumericQuestion, TraceQuestion, grade, item_hash
from toolkit.scenario import Demand, Scenario
from toolkit.simulation import simulate
from toolkit.units import IN_WC, PSI, display_unit, to_display

SEEDS = range(6)
ITEMS = {item.key: item for item in lesson_12.ITEMS}
# Worker's set point, monitor above it, inlet.
PLAIN = (7 * IN_WC, 5 * IN_WC, 50 * PSI)


def test_six_items_of_four_types() -> None:
    assert len(ITEMS) == 6
    assert {type(asked(key, 0)) for key in ITEMS} == {NumericQuestion, TraceQuestion, OrderQuestion, ChoiceQuestion}


@pytest.mark.parametrize("key", ITEMS)
def test_a_new_seed_is_a_new_question_and_the_same_seed_the_same(key: str) -> None:
    hashes = {item_hash(asked(key, seed, ("us", "metric")[seed % 2])) for seed in range(8)}
    assert len(hashes) >= 7
    assert item_hash(asked(key, 3)) == item_hash(asked(key, 3))


# --- which layer is left, which cause takes all


# What follows from where the lines end, by reasoning and not by a run: what a cause blinds or jams.
def struck_too(layout: Layout, cause: str) -> set[str]:
    if cause in ("line", "frozen"):
        return {"worker", "monitor"} if layout.taps == "one" else {"worker"}
    if cause == "main":
        return {"worker", "monitor"} if layout.taps == "old" else set()
    return {"worker", "monitor"} if cause == "slug" else {"worker"}


def reasoned(layout: Layout, cause: str) -> str:
    """The first layer that the cause leaves; a slam-shut on the worker's line is blind with the worker."""
    lost = struck_too(layout, cause)
    feels_the_worker_s = cause in ("line", "frozen") or (cause == "main" and layout.taps == "old")
    if layout.guard == "none" or (layout.guard == "same" and feels_the_worker_s):
        lost = lost | {"slam-shut"}
    return next((layer for layer in ("worker", "monitor", "slam-shut") if layer not in lost), "none")


CASES = [*WHO_CASES, *((layout, cause) for layout, causes in TAKES_CASES for cause in causes)]


@pytest.mark.parametrize(("layout", "cause"), sorted(set(CASES), key=str))
def test_the_run_leaves_the_layer_that_reasoning_leaves(layout: Layout, cause: str) -> None:
    for pressures in (PLAIN, (6 * IN_WC, 4 * IN_WC, 40 * PSI), (8 * IN_WC, 6 * IN_WC, 60 * PSI)):
        trace = simulate(night(laid_out(layout, *pressures), cause))
        assert who_stops_it(trace) == reasoned(layout, cause)
        # and the layers' ends are far apart
        station, end = trace.scenario.station, trace.settled(OUTLET)
        locks = [lock_up_gauge_pressure(r.condition(), pressures[2]) for r in station.regulators]
        if reasoned(layout, cause) == "none":
            assert end > 5 * locks[0]
        elif reasoned(layout, cause) == "monitor":
            assert 1.3 * locks[1] < end < 1.35 * locks[0]
        elif reasoned(layout, cause) == "worker":
            assert end == pytest.approx(locks[1], rel=0.01)


def test_each_layer_is_the_answer_of_some_case() -> None:
    found = Counter(reasoned(layout, cause) for layout, cause in WHO_CASES)
    assert set(found) == set(WHO)
    assert max(found.values()) <= 3


@pytest.mark.parametrize("seed", range(20))
def test_who_is_left_is_told(seed: int) -> None:
    question = choice("12.who", seed, ("us", "metric")[seed % 2])
    assert set(question.options) == {name for name, _, _ in WHO.values()}
    assert len(set(question.told)) == 4
    assert grade(question, question.right).score == 1.0
    assert sum(words in question.prompt for words in CAUSES.values()) == 1


@pytest.mark.parametrize("seed", range(10))
def test_only_one_cause_takes_all_and_a_wrong_one_is_replayed_beside_it(seed: int) -> None:
    question = choice("12.takes", seed, ("us", "metric")[seed % 2])
    assert len(question.traces) == 4
    ends = [trace.settled(OUTLET) for trace in question.traces if trace is not None]
    inlet = question.traces[question.right].scenario.station.supply.gauge_pressure  # type: ignore[union-attr]
    right = ends.pop(question.right)
    assert right > 0.1 * inlet > 2 * max(ends)
    assert question.told[question.right].startswith("Every layer")
    assert all(".." not in told for told in question.told)
    wrong = (question.right + 1) % 4
    graded = grade(question, wrong)
    assert graded.score == 0.0
    assert graded.replay is not None
    assert graded.replay.truth is question.traces[question.right]
    assert question.told[wrong].startswith("Then the ")


# --- numbers


@pytest.mark.parametrize("seed", range(12))
def test_the_chances_by_hand_and_by_counting(seed: int) -> None:
    question = numeric("12.chances", seed)
    _, worker, _, monitor, _, common = numbers(question.prompt)
    assert question.truth == pytest.approx(1 / common + (1 - 1 / common) / worker / monitor)
    # independent: count the years in which the cause comes, or else both layers fail
    years = common * worker * monitor
    assert question.truth == pytest.approx((worker * monitor + (common - 1)) / years)


def test_two_layers_are_as_good_as_their_product_only_with_nothing_common() -> None:
    assert together(0.01, 0.01, 0.0) == pytest.approx(1e-4)
    assert together(0.01, 0.01, 1e-3) == pytest.approx(1.0999e-3)
    chance, lost, draws = Random(5), 0, 200_000
    for _ in range(draws):
        lost += chance.random() < 0.01 or (chance.random() < 0.05 and chance.random() < 0.05)
    # four standard deviations of the count
    assert lost / draws == pytest.approx(together(0.05, 0.05, 0.01), abs=4 * (0.0125 / draws) ** 0.5)


@pytest.mark.parametrize("seed", SEEDS)
def test_how_soon_by_hand_from_the_prompt(seed: int) -> None:
    """27.68 in. w.c. a psi; gas at 60 degF fills as standard gas does."""
    question = numeric("12.how_soon", seed)
    flow, main, held, air, rating = numbers(question.prompt)
    assert question.truth == pytest.approx(main * (rating - held) / 27.68 / air / (flow / 3600), rel=0.02)
    question = numeric("12.how_soon", seed, "metric")
    flow, main, held, air, rating = numbers(question.prompt)
    assert question.truth == pytest.approx(main / 1000 * (rating - held) / (1000 * air) / (flow / 3600), rel=0.02)


def test_the_main_fills_in_the_reckoned_time() -> None:
    """The closed form of the item against a run in which both regulators come wide open."""
    station = monitored(*PLAIN, behind=20.0)
    faults = (StuckStem(devices=(WORKER, MONITOR), onset=STRIKES, ramp=1e-2),)
    trace = simulate(Scenario(station, (Demand(0.0, 1.0), Demand(10.0, 0.0)), faults, 240.0))
    (passed,) = trace.happened("above_rating")
    held, rating = trace.at(OUTLET, STRIKES), passed.value
    flow = wide_open_flow(replace(station, volumes=monitored(*PLAIN, behind=NEW_SIZE).volumes))
    expected = 20.0 * (rating - held) / station.atmosphere / flow
    assert passed.time - STRIKES == pytest.approx(expected, rel=0.03)


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("key", ["12.chances", "12.how_soon"])
def test_right_slip_and_wrong(key: str, seed: int) -> None:
    question = numeric(key, seed, ("us", "metric")[seed % 2])
    unit = display_unit(question.kind, question.units)

    def typed(value: float) -> str:
        return f"{to_display(value, question.kind, question.units):.9f} {unit.label}"

    assert grade(question, typed(question.truth)).score == 1.0
    assert len(question.slips) >= 2
    for slip in question.slips:
        graded = grade(question, typed(slip.value))
        assert (graded.score, slip.why in graded.explanation) == (0.5, True), slip
    assert grade(question, typed(3.3 * question.truth)).score == 0.0


def test_the_misconceptions_that_matter_are_kept() -> None:
    for seed in range(20):
        units = ("us", "metric")[seed % 2]
        assert "the two were taken as independent" in [s.name for s in numeric("12.chances", seed, units).slips]
        assert "the whole main was to be filled" in [s.name for s in numeric("12.how_soon", seed, units).slips]


# --- the trace


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize("seed", SEEDS)
def test_the_outlet_steps_up_once_and_then_leaves_the_monitor_too(seed: int, units: str) -> None:
    trace, time = one_after_the_other(Random(seed), units)
    station, half = trace.scenario.station, lesson_12.READ_OFF * trace.scenario.duration
    monitor, worker = station.regulators
    (purge,) = (action for action in trace.scenario.actions if isinstance(action, Purge))
    (stuck,) = trace.scenario.faults
    assert trace.at(OUTLET, stuck.onset - 1) == pytest.approx(worker.set_gauge_pressure, rel=0.05)
    # the monitor holds in between, for long enough to be seen, and not when the line leaves it
    assert trace.at(OUTLET, purge.time - 1) == pytest.approx(monitor.set_gauge_pressure, rel=0.05)
    assert purge.time - stuck.onset > 2 * half
    assert trace.at(OUTLET, time + half) > 1.5 * monitor.set_gauge_pressure
    assert time < trace.scenario.duration - 2 * half
    question = asked("12.gone", seed, units)
    assert isinstance(question, TraceQuestion)
    # the first step is no answer
    assert grade(question, stuck.onset + 5.0).score == 0.0


# --- the order


def test_the_steps_have_one_right_order_and_the_lines_come_before_the_main() -> None:
    question = asked("12.work", 1)
    assert isinstance(question, OrderQuestion)
    right = tuple(range(len(STEPS)))
    assert grade(question, right).score == 1.0
    for earlier, later in SAFETY:
        order = [*right]
        order[earlier], order[later] = order[later], order[earlier]
        graded = grade(question, order)
        assert graded.score == 0.0
        assert SAFETY[earlier, later] in " ".join(graded.explanation)
    assert STEPS.index(next(step for step in STEPS if step.startswith("Post somebody"))) == 1
    # the main cut first, or bled while it is still tied in, or a line moved with nobody at the outlet; but to post
    # somebody before the lines are found costs marks only
    assert grade(question, (0, 2, 1, 3, 4, 5)).score == 0.0
    assert grade(question, (4, 0, 1, 2, 3, 5)).score == 0.0
    assert grade(question, (0, 1, 2, 3, 5, 4)).score == 0.0
    assert 0.5 < grade(question, (1, 0, 2, 3, 4, 5)).score < 1.0


def test_a_regulator_whose_line_is_off_opens() -> None:
    station = laid_out(Layout("own"), *PLAIN)
    worker = station.regulators[-1]
    trace = simulate(night(station, "line"))
    assert trace.settled(f"{WORKER}_lift") == pytest.approx(worker.travel)
    # Both lines off at once: nobody holds.
    off = tuple(BrokenSensingLine(devices=line.name, onset=STRIKES) for line in station.sensing_lines)
    both = simulate(Scenario(station, (Demand(0.0, 1.0), Demand(40.0, 0.0)), off, 90.0))
    assert both.settled(OUTLET) > 10 * PSI


@pytest.mark.parametrize("key", ["12.who", "12.takes"])
def test_a_slam_shut_is_said_to_trip_on_high_pressure_only(key: str) -> None:
    prompts = [asked(key, seed).prompt for seed in range(12)]
    fitted = [prompt for prompt in prompts if "A slam-shut before them" in prompt]
    assert fitted
    assert all("on high pressure only." in prompt for prompt in fitted)


def test_a_main_bled_with_the_lines_on_it_or_still_tied_in_does_what_the_reasons_say() -> None:
    def bled(taps: str, *, cut: bool) -> tuple[float, float]:
        """The highest outlet [Pa gauge], and how often the old main's own gas was let off."""
        station = laid_out(Layout(taps), *PLAIN)
        work = (TurnValve(device=TIE, time=STRIKES, share=0.0),) if cut else ()
        purge = Purge(device=OLD_MAIN, time=STRIKES + BLED, flow_area=PURGE)
        trace = simulate(Scenario(station, (Demand(0.0, 0.05),), (), 120.0, (*work, purge)))
        held = OLD_SIZE * (trace.at(f"{OLD_MAIN}_gauge_pressure", STRIKES) / station.rt)
        return trace.peak(OUTLET)[1], trace.totals["vented"] / held

    assert bled("old", cut=True)[0] > 10 * PSI
    assert bled("own", cut=True)[0] < 9 * IN_WC
    assert bled("own", cut=True)[1] == pytest.approx(1.0, rel=0.05)
    assert bled("own", cut=False)[1] > 20
