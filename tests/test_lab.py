"""The labs: each pair is proven to look alike, and to be told apart by the checks that are said to tell, over the whole
range of its sliders; and nothing gives the truth away before it is asked for."""

from __future__ import annotations

import re
from functools import cache
from itertools import product
from math import pi
from typing import Any

import pytest

from toolkit.course import LESSONS as COURSE
from toolkit.devices.balance import valve_area
from toolkit.diagnosis.next_check import CHECKS
from toolkit.diagnosis.pair_station import PILOTS_AT, SPARE, TRAVEL, area_for, built_for, orifice_for
from toolkit.diagnosis.pairs import FIRST, SECOND, PairCheck, as_it_is
from toolkit.diagnosis.readings import LOCK_UP_OFF
from toolkit.panels import LESSONS, lab
from toolkit.panels.bench import run
from toolkit.panels.lab import Lab, which_of
from toolkit.trace import Trace
from toolkit.units import HOUR, IN_WC, PSI, SCF, format_pressure

LABS: dict[str, Lab] = {number: module.LAB for number, module in LESSONS.items() if hasattr(module, "LAB")}
CHECKED = [(number, key) for number, one in LABS.items() for key in one.pair.by_key]


def start(number: str, **chosen: Any) -> dict[str, Any]:
    return LESSONS[number].BENCH.start("us") | chosen


def settings(number: str) -> list[dict[str, Any]]:
    """The sliders of a lab at both ends, and all in the middle."""
    sliders = LABS[number].sliders
    ends = product(*((one.low, one.high) for one in sliders))
    middle = tuple((one.low + one.high) / 2 for one in sliders)
    return [start(number, **dict(zip((s.key for s in sliders), at, strict=True))) for at in (*ends, middle)]


def check(number: str, key: str) -> PairCheck:
    return LABS[number].pair.by_key[key]


@cache
def usual(number: str) -> str:
    """A check that is made on the visit as it is."""
    return next(key for key, one in LABS[number].pair.by_key.items() if one.made is as_it_is)


def both(number: str, chosen: dict[str, Any]) -> tuple[Trace, Trace]:
    first, second = (run(lab.scenario_of(LABS[number], chosen, which)) for which in (FIRST, SECOND))
    return first, second


def test_each_lab_of_the_course_has_a_pair_and_each_pair_a_lab() -> None:
    assert [one.number for one in COURSE if one.lab] == list(LABS)


# The proof that they look alike, and that a check tells


@pytest.mark.parametrize(("number", "key"), CHECKED)
def test_a_check_shows_the_same_with_both_unless_it_tells(number: str, key: str) -> None:
    one = check(number, key)
    for chosen in settings(number):
        first, second = (LABS[number].pair.shows(chosen, key, which) for which in (FIRST, SECOND))
        assert [name for name, _ in first] == [name for name, _ in second]
        assert bool(first) == (not one.check.forbidden), "a check that may be made shows something"
        assert (first != second) == one.tells, (chosen, first, second)


@pytest.mark.parametrize("number", LABS)
def test_what_a_check_that_tells_has_read_stands_under_a_name_of_its_own(number: str) -> None:
    """Else a table of what was read would not say that the check was made, and nobody could answer from it."""
    pair, chosen = LABS[number].pair, start(number)
    names = {key: {name for name, _ in pair.shows(chosen, key, FIRST)} for key in pair.by_key}
    for key, one in pair.by_key.items():
        others = set().union(*(found for other, found in names.items() if other != key))
        assert not one.tells or names[key] - others, key


@pytest.mark.parametrize("number", LABS)
def test_the_outlet_gauges_agree_within_what_two_visits_gauges_err(number: str) -> None:
    """The share is `LOCK_UP_OFF`; with each pair's own start they agree within 2 %."""
    signal = f"{LABS[number].watch.at}_gauge_pressure"
    for chosen, share in (*((one, LOCK_UP_OFF) for one in settings(number)), (start(number), 0.02)):
        first, second = both(number, chosen | {"check": usual(number)})
        ends = [one.time - 1.0 for one in first.scenario.demands if one.time > 0] + [first.scenario.duration]
        for time in ends:
            assert first.at(signal, time) == pytest.approx(second.at(signal, time), rel=share), (time, chosen)


@pytest.mark.parametrize("number", LABS)
def test_no_run_of_a_lab_swings(number: str) -> None:
    for chosen in settings(number):
        assert not any(trace.happened("hunts") for trace in both(number, chosen | {"check": usual(number)}))


# What is offered


@pytest.mark.parametrize("number", LABS)
def test_a_lab_offers_blind_checks_ones_that_tell_and_one_that_nobody_may_make(number: str) -> None:
    checks = LABS[number].pair.checks
    assert sum(not one.tells and not one.check.forbidden for one in checks) >= 4
    assert sum(one.tells for one in checks) in (1, 2)
    assert sum(bool(one.check.forbidden) for one in checks) >= 1
    assert not checks[0].tells
    assert not checks[0].check.forbidden
    for one in checks:
        known = CHECKS.get(one.check.key)
        assert known is None or known is one.check, "minutes, effort and safety stand once"
        assert one.check.minutes > 0
        assert not (one.tells and one.check.forbidden)


@pytest.mark.parametrize("number", LABS)
def test_the_first_two_visits_are_the_pair_and_a_visit_is_always_the_same(number: str) -> None:
    here = [which_of(LABS[number], visit) for visit in range(1, lab.VISITS + 1)]
    assert {here[0], here[1]} == {FIRST, SECOND}
    assert here == [which_of(LABS[number], visit) for visit in range(1, lab.VISITS + 1)]


# What the bench shows


def words(drawing: str) -> str:
    """What a drawing says of itself, its numbers left out."""
    (said,) = re.findall(r"<desc>(.*?)</desc>", drawing)
    return re.sub(r"\d[\d.,]*", "#", said)


@pytest.mark.parametrize(("number", "key"), CHECKED)
def test_nothing_gives_the_truth_away_before_it_is_asked_for(number: str, key: str) -> None:
    one, bench = check(number, key), LESSONS[number].BENCH
    shown = [bench.show(start(number, check=key, visit=visit)) for visit in (1, 2)]
    for here in shown:
        assert "not opened" in here.drawing
        assert "leak" not in here.drawing
        assert not any(name in here.sentence for name in LABS[number].pair.suspects)
        assert here.events == ()
        assert here.chart.events == lab.markers(LABS[number], one)
    if not one.tells:
        assert words(shown[0].drawing) == words(shown[1].drawing)
        assert shown[0].sentence == shown[1].sentence
        assert shown[0].readouts[2:] == shown[1].readouts[2:]


@pytest.mark.parametrize("number", LABS)
def test_a_gauge_is_read_only_by_the_check_that_reads_it(number: str) -> None:
    one = LABS[number]
    station = both(number, start(number))[0].scenario.station
    hidden = [room.name for room in station.volumes if room.name != one.watch.at]
    for key, here in one.pair.by_key.items():
        drawing = LESSONS[number].BENCH.show(start(number, check=key)).drawing
        unread = set(re.findall(r"Volume (\w+): not read", drawing))
        assert unread == set(hidden) & set(re.findall(r"Volume (\w+):", drawing)) - set(here.gauges)


@pytest.mark.parametrize("number", LABS)
def test_a_room_without_a_gauge_has_none_before_the_truth(number: str) -> None:
    for room in LABS[number].ungauged:
        assert f"Volume {room}:" not in LESSONS[number].BENCH.show(start(number)).drawing
        assert f"Volume {room}:" in LESSONS[number].BENCH.show(start(number, truth=True)).drawing


@pytest.mark.parametrize("number", [number for number, one in LABS.items() if one.opens_at])
def test_a_lab_that_opens_with_all_burners_on_shows_what_its_first_check_reads(number: str) -> None:
    assert LABS[number].pair.checks[0].check.key == "gauge_on"
    for visit in (1, 2):
        chosen = start(number, visit=visit)
        trace = run(lab.scenario_of(LABS[number], chosen))
        stood = trace.at(f"{LABS[number].watch.at}_gauge_pressure", PILOTS_AT - 1)
        shown = LESSONS[number].BENCH.show(chosen)
        assert ("outlet gauge, moment shown", format_pressure(stood, "us")) in shown.readouts


@pytest.mark.parametrize("number", LABS)
def test_on_paper_the_check_that_tells_is_shown_when_it_has_been_made(number: str) -> None:
    bench = LESSONS[number].BENCH
    telling = next(one for one in LABS[number].pair.checks if one.tells)
    for changed in bench.handout[1:]:
        settings = start(number) | changed
        assert settings["check"] == telling.check.key
        if telling.steps:
            assert settings["moment"] > max(time for time, _ in telling.steps)


@pytest.mark.parametrize(("number", "key"), CHECKED)
def test_the_sentence_has_the_check_with_its_cost_and_what_it_shows(number: str, key: str) -> None:
    one, pair = check(number, key), LABS[number].pair
    shown = LESSONS[number].BENCH.show(start(number, check=key))
    assert shown.sentence.startswith(f"{pair.noticed} Check: {one.check.name}.")
    if one.check.forbidden:
        assert f"Stop. {one.check.forbidden}" in shown.sentence
        assert one.check.risk in shown.sentence
        assert "It shows" not in shown.sentence
        assert len(shown.readouts) == 2
        return
    assert re.search(rf"It takes {one.check.minutes:g} minutes? \({one.check.effort}\)\.", shown.sentence)
    assert "1 minutes" not in shown.sentence
    assert f"Risk: {one.check.risk}." in shown.sentence
    assert ("For qualified persons only, by the written procedure." in shown.sentence) == one.check.qualified
    found = pair.shows(start(number), key, which_of(LABS[number], 1))
    assert shown.readouts[2:] == found
    assert all(f"{name}: {value}" in shown.sentence for name, value in found)


@pytest.mark.parametrize(("number", "key"), CHECKED)
def test_the_truth_shows_both_causes_and_whether_the_check_tells(number: str, key: str) -> None:
    one, pair = check(number, key), LABS[number].pair
    for visit in (1, 2):
        which = which_of(LABS[number], visit)
        shown = LESSONS[number].BENCH.show(start(number, check=key, visit=visit, truth=True))
        assert shown.sentence.startswith(f"At this visit it was {pair.suspects[which]}.")
        assert ("this check tells the two apart" in shown.sentence) == one.tells
        assert (pair.because in shown.sentence) == one.tells
        captions = re.findall(r"<figcaption>(.*?)</figcaption>", shown.drawing)
        assert captions == [pair.suspects[which].capitalize(), pair.suspects[1 - which].capitalize()]
        assert "not opened" not in shown.drawing
        assert len(shown.chart.lines) == 2
        pairs = dict(shown.readouts)
        theirs = dict(pair.shows(start(number), key, 1 - which))
        for name, value in pair.shows(start(number), key, which):
            assert pairs[name] == f"{value} | {theirs[name]}"


@pytest.mark.parametrize("number", LABS)
@pytest.mark.parametrize("truth", [False, True])
def test_the_supply_stands_at_its_own_pressure_whatever_is_behind_it(number: str, truth: bool) -> None:
    for key in LABS[number].pair.by_key:
        drawing = LESSONS[number].BENCH.show(start(number, check=key, truth=truth)).drawing
        assert set(re.findall(r"Supply supply: (.*?)\.\s", drawing)) == {"60.0 psig"}


# The station of most pairs


@pytest.mark.parametrize("demand", [150 * SCF / HOUR, 300 * SCF / HOUR])
def test_the_station_passes_its_spare_when_wide_open(demand: float) -> None:
    here = built_for(7 * IN_WC, demand)
    (regulator,) = here.regulators
    wide = valve_area(regulator.condition(), regulator.travel)
    assert wide == pytest.approx(area_for(SPARE * demand, 60 * PSI, 7 * IN_WC), rel=1e-9)
    # and a gap far wider than the hole leaves the hole's own area
    hole = 0.82 * pi / 4 * 1e-3**2
    assert orifice_for(hole, 1.0, 0.82) == pytest.approx(1e-3, rel=1e-5)
    assert regulator.travel == TRAVEL
