"""What lesson 12 states: its numbers worked out anew, what shows each statement, and the source of each rule."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from lesson_text import DAY_AT, HERE, INLET_GAUGE, NIGHT_AT, OUTLET, bench_trace, both, pressure

from toolkit.flow import standard_flow
from toolkit.panels import lesson_12
from toolkit.panels.regulator_view import DUSK
from toolkit.panels.words import clock
from toolkit.quiz.lesson_12 import together
from toolkit.simulation import simulate
from toolkit.trace import Trace, time_above

RATING = HERE.loads[0].maximum_gauge_pressure
OLD, OWN, ONE = "both end on the old main", "end each on the outlet", "share one line on the outlet"
MAIN, SLUG, VENTS = "old main cut off and bled down", "one slug of grit through both seats", "both vents iced over"
STUCK, LINE, FROZEN = "worker stuck wide open", "worker's sensing line broken", "worker's sensing line frozen shut"
APART, SAME = "senses the outlet, by itself", "senses where the worker does"
# The invented chances of the worked example: each layer, the cause that takes both, a better monitor; and how many
# stations they are told of.
EACH, COMMON, BETTER, STATIONS = 1 / 100, 1 / 1000, 1 / 1000, 1_000_000
# A main so many times as large as the bench's.
LARGER = 1000


def ran(**chosen: Any) -> Trace:
    """A run of the bench."""
    return bench_trace(lesson_12, **chosen)


def of(chance: float) -> str:
    """A chance as so many of the stations."""
    return f"{chance * STATIONS:,.0f}"


def one_in(chance: float) -> str:
    return f"1 in {1 / chance:,.0f}"


def chances() -> dict[str, str]:
    apart, tied = EACH**2, together(EACH, EACH, COMMON)
    better = together(EACH, BETTER, COMMON)
    same = together(EACH, EACH * EACH, COMMON)
    assert round(tied / apart) == 11  # "11 times as many"
    return {
        "each": f"a chance of {one_in(EACH)}",
        "multiplied": f"Multiply: {one_in(apart)}.",
        "of": f"Of {STATIONS:,} such stations, {of(apart)} would",
        "common": f"takes both with a chance of {one_in(COMMON)}",
        "of common": f"{of(COMMON)} of the {STATIONS:,} stations",
        "together": f"Together {of(tied)} stations lose both, which is {tied / apart:.0f} times as many, or",
        "tied": f"or {one_in(tied)}.",
        "better": f"ten times less often, {one_in(BETTER)}",
        "left": f"By chance {of(EACH * BETTER)} stations are left; the common cause still takes {of(COMMON)}",
        "better together": f"Together that is {of(better)},",
        "third": f"{of(EACH**3)} station by chance and {of(COMMON)} together make {of(same)}",
        "own tap": f"only {one_in(EACH)} of the {of(tied)}: that leaves {of(tied * EACH)}.",
    }


def worked() -> dict[str, str]:
    run = ran()
    station = run.scenario.station
    # both wide open; and what the burners take before it rises
    passed, burnt = run.at("worker_flow", lesson_12.BLED + 5), run.at("appliances_flow", lesson_12.BLED - 1)
    held, main = run.at(OUTLET, lesson_12.BLED - 1), lesson_12.NEW_SIZE
    gas = standard_flow(main * (RATING - held) / station.rt, station.gas)
    seconds = gas / (passed - burnt)
    # Both opening at once, the bench passes the rating in a time as short.
    first = next(event.time for event in run.happened("above_rating"))
    assert first - lesson_12.BLED < 1.0
    assert seconds == pytest.approx(main * (RATING - held) / station.atmosphere / (passed - burnt), rel=0.01)
    return {
        **chances(),
        "pass": both(passed, "standard_flow"),
        "burnt": both(burnt, "standard_flow"),
        "main": both(main, "volume"),
        "from": pressure(held),
        "rating": pressure(RATING),
        "rise": both(RATING - held, "pressure_difference"),
        "share": f"{100 * (RATING - held) / station.atmosphere:.1f} % of",
        "air": both(station.atmosphere, "absolute_pressure"),
        "gas": both(main * (RATING - held) / station.atmosphere, "volume"),
        "seconds": f"{seconds:.1f} s.",
        "larger": f"{LARGER * seconds:.0f} s.",
    }


def rows() -> dict[str, str]:
    """The table of causes; who holds as the bench's words have it."""
    found = {}
    for cause, lines, words, taps, name in (
        (STUCK, "a line each", "worker stuck wide open", OWN, "the worker"),
        (LINE, "a line each", "worker's line broken", OWN, "the worker"),
        (LINE, "one for both", "the line broken", ONE, "both"),
        (FROZEN, "a line each", "worker's line frozen shut", OWN, "the worker"),
        (FROZEN, "one for both", "the line frozen shut", ONE, "both"),
        (SLUG, "a line each", "a slug of grit", OWN, "both"),
        (VENTS, "a line each", "both vents iced over", OWN, "both"),
        (MAIN, "both on the old main", "old main bled down", OLD, "both"),
    ):
        run = ran(taps=taps, cause=cause)
        both_gone = lesson_12.let_by(run) is not None
        assert both_gone == (name == "both"), words
        assert (run.peak(OUTLET)[1] > RATING) == both_gone, words  # "the monitor holds, below the rating"
        found[words + lines] = f"| {words} | {lines} | {name} | {pressure(run.at(OUTLET, NIGHT_AT))} |"
    return found


def low_trip_would_have_shut(run: Trace) -> bool:
    """Whether the same slam-shut with a low trip as well would have shut, at half the worker's set point."""
    station = run.scenario.station
    (shut,), worker = station.slam_shuts, station.regulators[-1]
    with_low = replace(shut, low_gauge_pressure=0.5 * worker.set_gauge_pressure)
    again = simulate(replace(run.scenario, station=replace(station, slam_shuts=(with_low,))))
    return bool(again.happened("trips_low")) and again.at(OUTLET, NIGHT_AT) < RATING


def happened() -> dict[str, str]:
    quiet, dead, moved = ran(cause="nothing"), ran(), ran(taps=OWN)
    monitor, worker = dead.scenario.station.regulators
    for name in ("outlet", "old_main"):  # "both mains stand alike"
        assert quiet.at(f"{name}_gauge_pressure", NIGHT_AT) == pytest.approx(quiet.at(OUTLET, NIGHT_AT), rel=1e-3)
    assert dead.at(OUTLET, NIGHT_AT) == pytest.approx(INLET_GAUGE, rel=2e-3)  # "all the inlet has"
    frozen = ran(taps=OWN, cause=FROZEN)
    same, apart = ran(guard=SAME), ran(guard=APART)
    slug, iced = (ran(taps=OWN, guard=APART, cause=cause) for cause in (SLUG, VENTS))
    assert not same.happened("trips_high")
    assert low_trip_would_have_shut(same)
    assert same.at(OUTLET, NIGHT_AT) == pytest.approx(dead.at(OUTLET, NIGHT_AT), rel=1e-3)
    assert apart.at("appliances_flow", NIGHT_AT + 60) == pytest.approx(0.0, abs=1e-9)  # "the burners have no gas"
    assert not iced.happened("trips_high")
    (shut,) = apart.scenario.station.slam_shuts
    return {
        "quiet": f"{pressure(quiet.at(OUTLET, DAY_AT))} by day and {pressure(quiet.at(OUTLET, NIGHT_AT))} at night",
        "cut": f"At {lesson_12.CUT / 60:.0f} min the valve is shut, and at {clock(lesson_12.BLED)} the old",
        "dead, day": f"At {clock(DUSK - 1)} the new main stands at {pressure(dead.at(OUTLET, DAY_AT))}",
        "dead, night": f"at night at {pressure(dead.at(OUTLET, NIGHT_AT))}, which is all",
        "monitor": f"The monitor is set to {pressure(monitor.set_gauge_pressure)}",
        "moved": f"leaves the night at {pressure(moved.at(OUTLET, NIGHT_AT))}",
        "worker": f"The worker is set to {pressure(worker.set_gauge_pressure)}",
        "rating": f"are rated for {pressure(RATING)}",
        **rows(),
        "frozen, day": f"the outlet holds {pressure(frozen.at(OUTLET, DAY_AT))}, frozen line and all",
        "same": f"The night stands at {pressure(same.at(OUTLET, NIGHT_AT))}, as without it",
        "trips": f"It trips at {clock(apart.happened('trips_high')[0].time)}, and stops the gas",
        "apart": f"runs up to {pressure(apart.peak(OUTLET)[1])}",
        "above": f"above the rating for {time_above(apart.times, apart[OUTLET], RATING):.0f} s",
        "slug": f"Against the slug it trips at {clock(slug.happened('trips_high')[0].time)}",
        "slug, peak": f"goes no higher than {pressure(slug.peak(OUTLET)[1])}",
        "iced": f"the outlet stops at {pressure(iced.peak(OUTLET)[1])}",
        "trip": f"the trip is at {pressure(shut.high_gauge_pressure or 0.0)}",
    }


NUMBERS = {"Worked example": worked, "What happened": happened}

# What "In the field" tells of rules and reports, with the source that has it.
TOLD = [
    ("left on an iron main that was taken out of use", "ntsb-par-19-02"),  # finding 5
    ("One person died, and 22 people were taken to hospital.", "ntsb-par-19-02"),  # abstract
    ("the condition of the regulators played no part", "ntsb-par-19-02"),  # finding 1
    ("only on sensing lines and regulators are not the best way", "ntsb-par-19-02"),  # finding 2
    ("protection that one error or one failure cannot defeat", "ntsb-par-19-02"),  # its first recommendation
    ("damage to one control line does not take out both", "cfr-192-203"),  # 192.203(b)(9)
    ("warns of snow and ice over vents", "phmsa-73-fr-12796"),
    ("jammed a worker and its backup at once", "fairport-harbor-2011"),
]

# What the lesson teaches, each sentence as it stands there, and what shows it.
TEACHES = [
    ("No gauge tells you where a sensing line ends.", "bench"),
    (
        "Worker and monitor feel a pressure that falls to nothing, and both open to bring it up.",
        "test tests/test_layers.py::test_the_published_accident",
    ),
    ("Nothing was broken in either regulator.", "bench"),
    ("**A common cause** is one event that takes two layers which look independent.", "item 12.takes"),
    ("Where the cause takes the worker only, the monitor holds, below the rating.", "item 12.who"),
    ("Where it takes both, the set point of the monitor means nothing.", "bench"),
    (
        "One tap, or one line, blinds both.",
        "test tests/test_layers.py::test_two_regulators_on_one_broken_line_both_open",
    ),
    ("A line that freezes shut goes on telling what it felt last.", "bench"),
    ("A slug of grit lies on the first seat and on the second.", "item 12.takes"),
    (
        "The relief cannot let gas off, and the gas that it passes pushes the disk open.",
        "item 04.vent_blocked",
    ),
    (
        "One with a low trip as well would have shut here; do not count on that.",
        "test tests/test_lessons.py::test_each_number_is_what_the_toolkit_works_out",
    ),
    ("A third layer on the same tap is no third layer.", "item 12.who"),
    ("It acts by a valve of another kind, and no grit lay in its way.", "bench"),
    ("Standing apart is not enough; the layer must also be set low enough.", "bench"),
    ("Chances multiply only where nothing ties them together; what ties them is added.", "item 12.chances"),
    ("Only what acts by itself is in time.", "item 12.how_soon"),
    ("If worker and monitor both stand wide open, ask first what they feel.", "item 12.gone"),
    ("Without its line a regulator opens: shut it in or hold it by hand meanwhile.", "item 12.work"),
    ("Never bleed a main down while a sensing line still ends on it.", "item 12.work"),
    (
        "Federal rules want that damage to one control line does not take out both the regulator and its protection.",
        "source cfr-192-203",
    ),
]
