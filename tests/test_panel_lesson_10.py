"""The bench of lesson 10: its ladder in closed forms, its verdict, and what the failed layers' run shows."""

from itertools import product

import pytest

from toolkit.flow import mass_flow, standard_flow
from toolkit.ladder import ladder
from toolkit.margins import relief_capacity
from toolkit.panels import lesson_10
from toolkit.panels.lesson_10 import ABOVE, BENCH, FAILURE, LIMIT, OUTLET, RELIEF, SIZE, TRIP, rungs, story, wrong
from toolkit.panels.regulator_view import MORNING, NEAR_TOP
from toolkit.panels.sliders import INLET
from toolkit.simulation import simulate
from toolkit.units import IN_WC, PSI

NIGHT = MORNING - 1
CLEAR = {"trip": lesson_10.CLEAR}


def shown(**chosen):
    return lesson_10.show(BENCH.start("us") | {"units": "us"} | chosen)


def trace(**chosen):
    return simulate(lesson_10.scenario(BENCH.start("us") | chosen))


def station(**chosen):
    return lesson_10.scenario(BENCH.start("us") | chosen).station


def kinds(**chosen):
    return [(one.kind, one.severity) for one in wrong(rungs(station(**chosen)))]


def test_the_key_of_the_prediction_is_what_happens():
    run = trace()
    worker, monitor = (r.set_gauge_pressure / IN_WC for r in reversed(run.scenario.station.regulators))
    sets = [run.scenario.station.relief_valves[0].set_gauge_pressure, TRIP.start]
    assert [worker, monitor, *(one / IN_WC for one in sets)] == pytest.approx([10, 14, 18, 20])
    (trips,) = run.happened("trips_high")
    (opens,) = run.happened("valve_opens")
    # It trips while the relief valve stands open, and nobody has gas in the morning.
    assert opens.time < trips.time
    assert run.at("relief_valve_lift_share", trips.time) > 0.4
    assert run.at("houses_flow", MORNING + 60) == pytest.approx(0.0, abs=1e-6)
    assert lesson_10.PREDICTION.options[lesson_10.PREDICTION.right].startswith("No gas: while the relief valve builds")
    assert "At 2 min 01 s" in lesson_10.explain("us")
    assert "With the trip at 24.0 in. w.c. it ends at 20.1 in. w.c., and the houses have gas" in lesson_10.explain("us")
    assert "mbar" in lesson_10.explain("metric")
    assert trace(**CLEAR).at("houses_flow", MORNING + 60) > 0.9 * lesson_10.TAKEN


@pytest.mark.parametrize("chosen", [{}, {"letter": "E"}, {"inlet": 100 * PSI}, {"above": 8 * IN_WC, **CLEAR}])
def test_the_closed_forms_are_what_the_full_ladder_finds_by_runs(chosen):
    """3 %: the full ladder has the monitor at low flow, the closed form at none."""
    built = station(**chosen)
    by_runs = {one.name: one for one in ladder(built, "outlet", limit_gauge_pressure=LIMIT)}
    for one in rungs(built):
        if one.kind != "worker_set":
            assert one.gauge_pressure == pytest.approx(by_runs[one.name].gauge_pressure, rel=0.03), one.name
            assert one.high - one.low == pytest.approx(by_runs[one.name].high - by_runs[one.name].low, rel=0.03)


def test_what_comes_is_the_choked_flow_of_one_orifice_and_less_through_two():
    """By the nozzle law, and by the capacity sheet, which finds it by runs."""
    alone, built = station(fitted=False), station()
    one = lesson_10.comes(alone, 10 * IN_WC)
    worker = alone.regulators[0]
    area = lesson_10.valve_area(worker.condition(), worker.travel)
    air = alone.atmosphere
    by_law = mass_flow(area, air + 60 * PSI, air, alone.gas, alone.temperature)
    assert one == pytest.approx(by_law, rel=1e-9)
    two = lesson_10.comes(built, 20 * IN_WC)
    (sheet,) = relief_capacity(built, "outlet", 20 * IN_WC)
    assert standard_flow(two, built.gas) == pytest.approx(sheet.worker_flow, rel=0.01)
    assert 0.7 * one < two < 0.95 * one


@pytest.mark.parametrize(
    ("failure", "rung", "drawn"),
    [
        ("none", "lock_up", "slam_shut: open"),
        ("open", "monitor_held", "slam_shut: open"),
        ("both", "valve_held", "slam_shut: open"),
    ],
)
def test_the_night_stands_on_the_rung_of_the_layer_at_work(failure, rung, drawn):
    run = trace(failure=failure, **CLEAR)
    (stands,) = (one for one in rungs(run.scenario.station) if one.kind == rung)
    assert run.at(OUTLET, NIGHT) == pytest.approx(stands.gauge_pressure, rel=0.01)
    assert drawn in shown(failure=failure, moment=NIGHT, **CLEAR).drawing


def test_with_all_else_failed_the_slam_shut_stops_the_gas_below_the_limit():
    run = trace(failure="three", **CLEAR)
    assert run.happened("trips_high")
    assert CLEAR["trip"] < run.peak(OUTLET)[1] <= LIMIT
    assert "tripped high" in shown(failure="three", moment=NIGHT, **CLEAR).drawing
    assert run.totals["vented"] < 1e-3


@pytest.mark.parametrize(
    ("chosen", "found"),
    [
        (CLEAR, []),
        ({}, [("slam_shut_in_build_up", "must")]),
        # 22.0 is above what the relief valve needs, but within its band.
        ({"trip": 22 * IN_WC}, [("slam_shut_in_build_up", "should")]),
        ({"trip": 27 * IN_WC}, [("near_limit", "should")]),
        ({"trip": 28 * IN_WC}, [("above_limit", "must")]),
        ({"relief": 14 * IN_WC, **CLEAR}, [("relief_below_monitor", "must")]),
        ({"above": 0.5 * IN_WC, **CLEAR}, [("monitor_throttles", "must"), ("monitor_at_worker", "should")]),
        ({"letter": "E", "trip": 16 * IN_WC}, [("slam_shut_below_monitor", "should"), ("relief_too_small", "should")]),
        ({"inlet": 100 * PSI, **CLEAR}, [("monitor_moves_early", "should")]),
        ({"trip": 10.5 * IN_WC}, [("slam_shut_below_monitor", "must"), ("nuisance", "must")]),
        ({"fitted": False}, [("unguarded", "must")]),
    ],
)
def test_what_is_wrong_is_found_and_told(chosen, found):
    assert kinds(**chosen) == found
    made = shown(**chosen)
    begin = (
        "The ladder is in order"
        if not found
        else f"The ladder {({'must': 'is wrong', 'should': 'needs care'})[found[0][1]]}"
    )
    assert made.sentence.startswith(begin)
    if found:
        assert lesson_10.meaning(wrong(rungs(station(**chosen)))[0]) in made.sentence


def test_the_worst_two_are_told_and_the_rest_counted():
    chosen = {"inlet": 100 * PSI, "letter": "E", "trip": 30 * IN_WC}
    found = wrong(rungs(station(**chosen)))
    assert len(found) == 4
    said = shown(**chosen).sentence
    assert all(lesson_10.meaning(one) in said for one in found[:2])
    assert "; and 2 more." in said
    assert [one.severity for one in found[:2]] == ["must", "must"]


def test_chance_of_a_nuisance_grows_as_the_trip_comes_down():
    readings = [dict(shown(failure="none", trip=at * IN_WC).readouts) for at in (10.5, 11.0, 11.5, 24.0)]
    told = [one["slam-shut trips, nothing wrong"] for one in readings]
    assert told == ["80.7 % chance", "32.8 % chance", "4.3 % chance", "under 0.1 % chance"]
    assert [lesson_10.chance_words(one) for one in (0.0, 4.9e-4, 5e-4)] == [*["under 0.1 % chance"] * 2, "0.1 % chance"]
    assert "relief valve acts, nothing wrong" not in dict(shown(fitted=False).readouts)


@pytest.mark.parametrize(("above", "moves"), [(4, True), (5.5, False)])
def test_a_ladder_in_order_says_where_the_monitor_may_move_at_lock_up(above, moves):
    chosen = {"above": above * IN_WC, "relief": 19 * IN_WC, "trip": 25 * IN_WC}
    assert kinds(**chosen) == []
    by_kind = {one.kind: one for one in rungs(station(**chosen))}
    assert (by_kind["take_over"].low < by_kind["lock_up"].high) == moves
    said = shown(**chosen).sentence
    assert said.startswith(
        "The ladder is in order: each layer acts clear of what the one below it holds, below the limit"
    )
    assert ("On a quiet night the monitor may move a little, and nothing is lost." in said) == moves


@pytest.mark.parametrize(
    ("chosen", "words"),
    [
        ({"failure": "both"} | CLEAR, "; it goes on until somebody comes."),
        ({"failure": "both"}, "Gas let off in the bench's day: 13.9 ft³."),  # the slam-shut has stopped it
        ({"failure": "none"} | CLEAR, "Gas let off in the bench's day: none."),
    ],
)
def test_gas_that_still_leaves_at_the_end_of_the_day_is_said_to_go_on(chosen, words):
    assert words in shown(**chosen).sentence


def test_a_quiet_night_trips_one_set_below_lock_up():
    assert trace(failure="none", trip=10.5 * IN_WC).happened("trips_high")
    assert not trace(failure="none", trip=11 * IN_WC).happened("trips_high")
    assert "The houses are without gas for part of the day." in shown(failure="none", trip=10.5 * IN_WC).sentence


def test_without_the_layers_the_worker_stands_alone():
    bare = station(fitted=False)
    assert [r.name for r in bare.regulators] == ["worker"]
    assert not bare.relief_valves
    assert not bare.slam_shuts
    run = trace(**BENCH.without[1])
    assert run.at(OUTLET, NIGHT) == pytest.approx(60 * PSI, rel=1e-3)
    # Whatever else is chosen to fail is not there to fail; nothing stays nothing.
    assert trace(fitted=False, failure="none").at(OUTLET, NIGHT) == pytest.approx(10.83 * IN_WC, rel=0.01)
    assert "above the limit for 8 min" in shown(fitted=False).sentence


def test_the_ladder_shows_every_rung_with_its_band():
    picture = shown(**CLEAR).ladder
    for words in ("worker locks up 10.8", "monitor holds", "relief valve passes", "slam-shut trips", "limit 27.7"):
        assert words in picture, words
    # Six rungs have bands, and the worker's set point and the limit none.
    assert picture.count('fill-opacity="0.18"') == 6


def test_every_finding_of_the_sliders_has_its_words_and_every_run_is_told():
    """All ends of the sliders that set the ladder, with the smallest and the largest relief valve."""
    ends = [(slider.low, slider.high) for slider in (INLET, lesson_10.WORKER_SET, ABOVE, RELIEF, TRIP)]
    keys = ("inlet", "set_point", "above", "relief", "trip", "letter")
    for corner in product(*ends, ("E", "J")):
        found = wrong(rungs(station(**dict(zip(keys, corner, strict=True)))))
        assert all("{}" not in lesson_10.meaning(one) for one in found)
    for number, failure in enumerate(value for _, value in FAILURE.options):
        for low in (0, 1):
            run = trace(**dict(zip(keys, [pair[low] for pair in ends] + ["E"], strict=True)), failure=failure)
            told = story(run, ("us", "metric")[number % 2])
            assert "nan" not in told
            assert ("the limit is never passed" in told) == (run.peak(OUTLET)[1] <= LIMIT)


def test_the_sizes_and_the_picture_hold_all_that_can_be_set():
    assert next(value for _, value in SIZE.options) == "G"
    assert TRIP.high == pytest.approx(NEAR_TOP)
    assert 1.25 * RELIEF.high == pytest.approx(NEAR_TOP)
    assert lesson_10.WORKER_SET.high + ABOVE.high < LIMIT
