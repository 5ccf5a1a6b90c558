"""Which layer would not act: by calls on each layer alone, beside what can be said by hand and what the day showed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from toolkit.faults import (
    BlockedRelief,
    BlockedVent,
    BrokenSensingLine,
    Debris,
    Fault,
    Leak,
    StuckShutoff,
    StuckStem,
    TripShift,
    Warmed,
    WrongSetting,
)
from toolkit.quiz import trouble_layers
from toolkit.quiz.items import offer
from toolkit.quiz.ordering import ChoiceQuestion
from toolkit.quiz.questions import grade
from toolkit.quiz.trouble_case import TroubleCase, day_end, draw_case, fitted_layers, trace_of
from toolkit.quiz.trouble_items import case_items
from toolkit.quiz.trouble_layers import (
    FAR,
    NEAR,
    NONE,
    NONE_ASKED,
    Answer,
    Guard,
    Shown,
    answer,
    answers,
    call,
    defeated,
    guards,
    is_asked,
)
from toolkit.scenario import Station

Change = Callable[[Station], Station]


def at(place: str, *faults: Fault, change: Change = lambda station: station) -> TroubleCase:
    """A case at a place with some faults in place of its own, on a station that is changed."""
    case = draw_case(1, 1, place)
    station = change(case.scenario.station)
    return replace(case, scenario=replace(case.scenario, station=station, faults=faults))


def on_one_line(station: Station) -> Station:
    """The monitor feels the pressure through its worker's line."""
    monitor, worker = station.regulators
    return replace(station, regulators=(replace(monitor, senses=worker.senses), worker))


def shutoff_too(station: Station) -> Station:
    """The slam-shut too."""
    station = on_one_line(station)
    shut = tuple(replace(one, senses=station.regulators[1].senses) for one in station.slam_shuts)
    return replace(station, slam_shuts=shut)


def shut_higher(times: float) -> TripShift:
    station = draw_case(1, 1, "service").scenario.station
    return TripShift(devices="slam_shut", high_by=(times - 1.0) * (station.slam_shuts[0].high_gauge_pressure or 0.0))


VENT = BlockedVent(devices="regulator", blocked_share=0.999)
BROKEN = BrokenSensingLine(devices="worker_line")


@pytest.mark.parametrize(
    ("case", "layer"),
    [
        # the relief's way out is the case's vent (lesson 04)
        (lambda: at("service", VENT), "the internal relief"),
        (lambda: at("shutoff first", VENT), "the internal relief"),
        # an isolating valve that is shut (lesson 07)
        (lambda: at("line sensed", BlockedRelief(devices="relief_valve", blocked_share=1.0)), "the relief valve"),
        (lambda: at("monitored", WrongSetting(devices="relief_valve", by=1e5)), "the relief valve"),
        # a line that two share blinds both, each on its own does not (lesson 12)
        (lambda: at("monitored", BROKEN, change=on_one_line), "the monitor"),
        (lambda: at("monitored", BROKEN), NONE),
        # two layers are out: there is no one answer
        (lambda: at("monitored", BROKEN, change=shutoff_too), None),
        # it trips, and does not shut
        (lambda: at("service", StuckShutoff(devices="slam_shut", moves=0.0)), "the slam-shut"),
        (lambda: at("service", shut_higher(4.0)), "the slam-shut"),
        # neither far off nor near
        (lambda: at("service", shut_higher((NEAR + FAR) / 2)), None),
        # too early is no failure to act
        (lambda: at("service", shut_higher(0.6)), NONE),
        # a layer that another one masks stands all the same
        (lambda: at("shutoff first", Debris(devices="regulator", height=1e-4, stiffness=1e8)), NONE),
        (lambda: at("line sensed", VENT), NONE),
        # what flows out of a break keeps the pressure from all marks: nothing can be said
        (lambda: at("service", Leak(devices="outlet", leak_area=1e-3)), None),
    ],
)
def test_the_layer_that_would_not_act(case: Callable[[], TroubleCase], layer: str | None) -> None:
    found = case()
    assert defeated(found) == layer, [
        (one.guard.layer, one.state, one.now, one.sound) for one in answers(found.scenario)
    ]


def test_behind_a_relief_that_is_isolated_the_pressure_is_the_inlet_s() -> None:
    """By hand: nothing draws and nothing lets off, so gas flows until the outlet has the supply's pressure."""
    case = at("line sensed", BlockedRelief(devices="relief_valve", blocked_share=1.0))
    guard = next(one for one in guards(case.scenario.station) if one.layer == "the relief valve")
    found = answer(case.scenario, guard)
    assert found.now.highest == pytest.approx(case.scenario.station.supply.gauge_pressure, rel=0.01)
    assert found.sound.highest < 0.5 * found.now.highest
    # and sound it opens at what stands on its tag
    assert found.sound.acts_at == pytest.approx(case.scenario.station.relief_valves[0].set_gauge_pressure, rel=0.02)


def test_a_layer_is_called_on_alone() -> None:
    station = at("monitored").scenario.station
    for guard in guards(station):
        bare = call(station, guard).scenario.station
        there = {one.layer for one in guards(bare) if one.mark < 1e6}
        # the monitor stands there too, and is held open with the worker where it is not the one that is asked
        assert there == {guard.layer, "the monitor"}
        (open_wide,) = [one for one in call(station, guard).scenario.faults if isinstance(one, StuckStem)]
        assert open_wide.devices == (("worker",) if guard.layer == "the monitor" else ("worker", "monitor"))


def test_what_the_day_itself_shows_is_found_by_the_call() -> None:
    """On the case's own day the outlet goes far past all marks: the slam-shut stays, the relief passes nothing."""
    case = at(
        "line sensed",
        StuckStem(devices="regulator", lowest=1.0, highest=1.0, onset=30.0),
        BlockedRelief(devices="relief_valve", blocked_share=1.0, onset=10.0),
        shut := TripShift(devices="slam_shut", high_by=1e6, onset=1.0),
    )
    trace, end = trace_of(case.scenario), day_end(case)
    highest = float(trace["outlet_gauge_pressure"][trace.times <= end].max())
    passed = {one.layer for one in guards(case.scenario.station) if highest > FAR * one.mark}
    assert passed == {"the slam-shut", "the relief valve", "the pressure switch"}
    acted = {one.subject for one in trace.events if one.kind in ("trips_high", "switch_high", "valve_opens")}
    assert acted == {"pressure_switch", "relief_valve"}
    assert trace["relief_valve_flow"].max() < 1e-6
    out = {one.guard.layer for one in answers(case.scenario) if one.state == "defeated"}
    assert out == {"the slam-shut", "the relief valve"}
    one_out = replace(case, scenario=replace(case.scenario, faults=tuple(f for f in case.scenario.faults if f != shut)))
    assert defeated(one_out) == "the relief valve"


@pytest.mark.parametrize(
    ("now", "state"),
    [
        (Shown(1.0, 2.0), "acts"),
        (Shown(NEAR, 2.0), "acts"),
        (Shown(1.5, 2.0), "unclear"),
        (Shown(FAR, 2.0), "defeated"),
        (Shown(None, FAR), "defeated"),
        (Shown(None, 0.9), "unclear"),
        (Shown(1.0, 2.0 * FAR), "defeated"),
        (Shown(1.0, 3.0), "unclear"),
        (Shown(0.5, 0.5), "acts"),
    ],
)
def test_between_near_and_far_nothing_is_said(now: Shown, state: str) -> None:
    guard = Guard("the relief valve", "relief_valve", "outlet", 1.0)
    assert Answer(guard, now, Shown(1.0, 2.0)).state == state
    # a layer that does not act when all is sound is not asked about
    assert Answer(guard, now, Shown(None, 2.0)).state == "unclear"


@pytest.mark.parametrize("units", ["us", "metric"])
def test_the_question(units: str) -> None:
    case = at("service", VENT)
    items = case_items(case)
    assert [item.key for item in items][-2:] == ["21.defeated", "21.restore"]
    question = offer(items[-2], 1, units)
    assert isinstance(question, ChoiceQuestion)
    assert set(question.options) == {*fitted_layers(case.scenario.station), NONE}
    assert question.options[-1] == NONE
    assert question.options[question.right] == "the internal relief"
    assert "blocked vent (regulator)" in question.prompt
    told = dict(zip(question.options, question.told, strict=True))
    assert "it is no use" in told["the internal relief"]
    assert told["the slam-shut"].endswith("as it should.")
    assert told[NONE] == "One of them is out: the internal relief."
    assert [grade(question, one).score for one in range(len(question.options))] == [
        float(one == question.right) for one in range(len(question.options))
    ]


def test_a_case_without_a_definite_answer_is_not_asked() -> None:
    two = at("monitored", BROKEN, change=shutoff_too)
    assert not is_asked(two)
    assert "21.defeated" not in [item.key for item in case_items(two)]
    # nor one in which nothing is wrong
    assert not any(is_asked(replace(at("service"), day=day)) for day in range(20))
    warm = Warmed(devices="outlet", times=1.01)
    assert not any(is_asked(replace(at("service", warm), day=day)) for day in range(20))


def test_a_part_of_those_that_take_no_layer_is_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    case = at("service", VENT)
    assert all(is_asked(replace(case, day=day)) for day in range(40))
    monkeypatch.setattr(trouble_layers, "defeated", lambda _: NONE)
    asked = sum(is_asked(replace(case, day=day)) for day in range(500))
    # within three standard deviations of what was meant
    assert abs(asked - 500 * NONE_ASKED) < 3 * (500 * NONE_ASKED * (1 - NONE_ASKED)) ** 0.5
