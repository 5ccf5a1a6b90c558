"""What lessons 01 to 05 teach and no other test shows: on their benches, or on the plain station where they have none.

`facts_NN.TEACHES` names these tests as evidence for the sentences of the lessons.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from math import sqrt
from typing import Any

import numpy as np
import pytest
from lesson_text import DAY_AT, HERE, INLET_GAUGE, NIGHT_AT, OUTLET, PASSES, REGULATOR, bench_trace

from toolkit.devices.regulator import lock_up_gauge_pressure, relief_start_gauge_pressure
from toolkit.diagnosis.symptoms import vent_level
from toolkit.faults import HARD_DEBRIS, Debris, NickedSeat, StuckStem
from toolkit.flow import critical_ratio, nozzle
from toolkit.panels import lesson_02, lesson_03, lesson_04, lesson_05
from toolkit.panels.regulator_view import END, MORNING, NIGHT, NOON, PILOTS
from toolkit.panels.words import NO_GAS, vented_words
from toolkit.scenario import Demand, Scenario, Station
from toolkit.simulation import simulate
from toolkit.trace import Trace
from toolkit.units import HOUR, IN_WC, INCH, PSI, SCF

FROM_THE_START = -100.0  # an onset before the run [s]
SET_POINT = REGULATOR.set_gauge_pressure
LOCK_UP = lock_up_gauge_pressure(REGULATOR.condition(), INLET_GAUGE)
RATING = HERE.loads[0].maximum_gauge_pressure
# Nobody sees less than this on a gauge for house pressure.
UNSEEN = 0.2 * IN_WC
# A time at which the bench's burners have long been off [s].
SETTLED_NIGHT = NIGHT + 10


def day_and_night(lesson: Any, **chosen: Any) -> tuple[float, float]:
    """Outlet with the burners on and at the end of the night [Pa gauge]."""
    trace = bench_trace(lesson, **chosen)
    return trace.at(OUTLET, DAY_AT), trace.at(OUTLET, NIGHT_AT)


# Lesson 01


@pytest.mark.parametrize("heat_ratio", [1.13, 1.30, 1.40])
def test_gas_in_a_choked_hole_moves_at_the_speed_of_sound(heat_ratio: float) -> None:
    """Mass flow over area and density, against sqrt(k RT), both of the gas as it is in the hole: an isentrope."""
    rt, before = 1.37e5, 5e5
    in_the_hole = critical_ratio(heat_ratio)
    density = before / rt * in_the_hole ** (1 / heat_ratio)
    sound = sqrt(heat_ratio * rt * in_the_hole ** (1 - 1 / heat_ratio))
    assert nozzle(heat_ratio, rt)(1.0, before, 1e5) / density == pytest.approx(sound, rel=1e-9)


# Lesson 02


def test_at_small_flow_the_outlet_stands_between_set_point_and_lock_up() -> None:
    day, night = day_and_night(lesson_02, demand=100 * SCF / HOUR)
    assert SET_POINT + UNSEEN < day < night


def test_a_sound_regulator_stays_at_its_lock_up_all_night() -> None:
    trace = bench_trace(lesson_02)
    night = [trace.at(OUTLET, time) for time in np.linspace(SETTLED_NIGHT, MORNING - 1, 9)]
    assert night == pytest.approx([LOCK_UP] * len(night), abs=0.01 * IN_WC)


def test_less_inlet_lowers_the_outlet_at_rest_and_under_flow() -> None:
    seen = [day_and_night(lesson_02, inlet=psig * PSI) for psig in (20, 60, 90)]
    for outlets in zip(*seen, strict=True):
        assert all(low < high for low, high in pairwise(outlets))
        assert outlets[-1] - outlets[0] < 1.5 * IN_WC  # "a little": out of 70 psi


# Lesson 03


def evening(leak_area: float, share: float) -> Trace:
    """A nicked seat on the plain station; after 10 s the burners go to a share of their rating."""
    nick = NickedSeat(devices=REGULATOR.name, leak_area=leak_area, onset=FROM_THE_START)
    return simulate(Scenario(HERE, (Demand(0.0, 1.0), Demand(10.0, share)), (nick,), 300.0))


# The larger is ten times the leak that the lesson reckons from its creep.
@pytest.mark.parametrize("leak_area", [1e-9, 1e-8])
def test_a_pilot_burns_a_small_leak_away_and_hides_it(leak_area: float) -> None:
    pilots, off = evening(leak_area, PILOTS), evening(leak_area, 0.0)
    sound = simulate(Scenario(HERE, (Demand(0.0, 1.0), Demand(10.0, PILOTS)), (), 300.0))
    assert pilots.settled(OUTLET) == pytest.approx(sound.settled(OUTLET), abs=UNSEEN)
    assert off.settled(OUTLET) > LOCK_UP + 5 * IN_WC
    assert pilots.settled(PASSES) > off.settled("regulator_flow") > 0.0


@pytest.mark.parametrize(
    ("failure", "by_day", "by_night"),
    [
        ("stem stuck wide open", (RATING, PSI), (100 * IN_WC, INLET_GAUGE)),
        ("stem stuck shut", (0.0, 0.5 * IN_WC), None),
        ("stem stuck nearly shut", (0.0, 1 * IN_WC), (RATING, 20 * IN_WC)),
    ],
)
def test_day_and_night_tell_open_shut_and_in_between(
    failure: str, by_day: tuple[float, float], by_night: tuple[float, float] | None
) -> None:
    """What the outlet lies between; behind a shut stem the night's is what was locked in, which tells nothing."""
    day, night = day_and_night(lesson_03, debris=0.0, failure=failure)
    assert by_day[0] - 1.0 < day < by_day[1]
    assert by_night is None or by_night[0] < night < by_night[1]


def test_a_hard_piece_shows_at_night_only_and_ends_at_the_relief() -> None:
    piece = Debris(devices="regulator", height=5e-5, stiffness=HARD_DEBRIS, edge=0.02, onset=FROM_THE_START)
    day = (Demand(0, 1.0), Demand(NIGHT, 0.0))
    fouled, sound = (simulate(Scenario(HERE, day, faults, END)) for faults in ((piece,), ()))
    # The piece takes a little of the flow's room at the seat, so the droop is a little larger; nobody would see it.
    assert fouled.at(OUTLET, NIGHT - 1) == pytest.approx(sound.at(OUTLET, NIGHT - 1), abs=UNSEEN)
    assert fouled.at("regulator_vent_flow", NIGHT - 1) == pytest.approx(0.0, abs=1e-9)
    assert fouled.at(OUTLET, END) == pytest.approx(relief_start_gauge_pressure(REGULATOR.condition()), rel=0.1)
    assert vent_level(fouled.at("regulator_vent_flow", END)) >= 1


def test_the_screw_hides_a_piece_on_the_seat_and_starves_the_burners() -> None:
    sound_day, sound_night = day_and_night(lesson_03, debris=0.0)
    _, fouled_night = day_and_night(lesson_03)
    turned_day, turned_night = day_and_night(lesson_03, set_point=4 * IN_WC)
    assert fouled_night > sound_night + 2 * IN_WC
    assert turned_night == pytest.approx(sound_night, abs=UNSEEN)
    assert turned_day < 0.6 * sound_day


def test_pressure_that_was_bled_off_comes_back_through_a_nicked_seat() -> None:
    """The morning's burners bring the outlet down; once they are off it creeps up to where it was."""
    trace = bench_trace(lesson_03, debris=0.0, failure="seat nicked")
    assert trace.at(OUTLET, NOON - 1) < SET_POINT
    for time in (NIGHT_AT, END):
        assert trace.at(OUTLET, time) > LOCK_UP + 5 * IN_WC


def test_a_seat_gone_wide_open_fills_the_pipe_at_once_and_more_pipe_gives_little_time() -> None:
    """The time from the set point to the rating, with the burners off and the stem let go within a millisecond."""
    let_go, taken = 10.0, []
    stuck = StuckStem(devices=REGULATOR.name, onset=let_go, ramp=1e-3)
    for times in (1, 10):
        pipes = tuple(replace(one, size=one.size * times) if one.name == "outlet" else one for one in HERE.volumes)
        trace = simulate(Scenario(replace(HERE, volumes=pipes), (Demand(0.0, 0.0),), (stuck,), 20.0))
        over = trace.times[np.flatnonzero(trace[OUTLET] > RATING)[0]]
        taken.append(over - let_go)
    assert 0.0 < taken[0] < 0.01
    assert 5 * taken[0] < taken[1] < 0.1


# Lesson 04


def stuck_open(station: Station) -> Trace:
    stuck = StuckStem(devices=REGULATOR.name, onset=FROM_THE_START)
    return simulate(Scenario(station, (Demand(0.0, 0.0),), (stuck,), 60.0))


def test_what_a_relief_holds_hangs_on_the_inlet_and_on_the_orifice() -> None:
    """The relief open all the way, behind a stem stuck wide open: the outlet is above the rating and goes with both."""
    inlets = [replace(HERE, supply=replace(HERE.supply, gauge_pressure=psig * PSI)) for psig in (20, 60, 90)]
    orifices = [
        replace(HERE, regulators=(replace(REGULATOR, orifice_diameter=inches * INCH),))
        for inches in (0.1875, 0.25, 0.5)
    ]
    for stations in (inlets, orifices):
        traces = [stuck_open(station) for station in stations]
        ends = [trace.settled(OUTLET) for trace in traces]
        assert ends[0] > 2 * RATING
        assert all(high > 1.3 * low for low, high in pairwise(ends))
        for trace in traces:
            assert trace.settled("regulator_relief_lift") == pytest.approx(
                trace.scenario.station.regulators[0].relief.travel
            )  # type: ignore[union-attr]


def test_half_a_vent_hardly_shows_and_the_last_bit_does_it() -> None:
    clear, half, most, shut = (day_and_night(lesson_04, blocked=share)[1] for share in (0.0, 0.5, 0.95, 1.0))
    assert half - clear < 0.5 * IN_WC
    assert most - clear > 30 * IN_WC
    assert shut == pytest.approx(INLET_GAUGE, rel=1e-2)


def test_no_gas_comes_out_of_a_shut_vent_while_the_outlet_runs_away() -> None:
    trace = bench_trace(lesson_04, blocked=1.0)
    assert trace.at(OUTLET, NIGHT_AT) > 50 * PSI
    assert vented_words(trace, "us") == NO_GAS
    assert vented_words(bench_trace(lesson_04), "us") != NO_GAS


def test_air_locked_in_above_the_diaphragm_holds_the_outlet_high_by_itself() -> None:
    trace = bench_trace(lesson_04, debris=0.0, blocked=1.0)
    locked_in = trace.at("regulator_case_gauge_pressure", NIGHT_AT)
    assert trace.at(OUTLET, NIGHT_AT) > RATING
    # The case's pressure is what the outlet must press against on top of the spring.
    assert trace.at(OUTLET, NIGHT_AT) - locked_in == pytest.approx(LOCK_UP, abs=UNSEEN)
    assert day_and_night(lesson_04, debris=0.0)[1] == pytest.approx(LOCK_UP, abs=UNSEEN)


# Lesson 05


def spike(ramp: float, times: float) -> float:
    """Highest outlet [Pa gauge] where the worker takes a time [s] to open and the room between is so many times it."""
    plain = lesson_05.scenario(lesson_05.BENCH.start("us"))
    volumes = tuple(
        replace(one, size=one.size * times) if one.name == "interstage" else one for one in plain.station.volumes
    )
    faults = tuple(replace(fault, ramp=ramp) for fault in plain.faults)
    run = replace(plain, station=replace(plain.station, volumes=volumes), faults=faults)
    return simulate(run).peak(OUTLET, start=faults[0].onset, end=DAY_AT)[1]


def test_time_and_room_decide_what_a_spike_does() -> None:
    quick, usual = spike(0.5, 1), spike(5.0, 1)
    assert quick > usual + 5 * IN_WC
    assert spike(5.0, 3) > usual + 5 * IN_WC
    # Slow, with little between, there is none: the outlet goes straight to what the monitor holds.
    held, _ = day_and_night(lesson_05)
    assert spike(20.0, 1 / 3) == pytest.approx(held, rel=1e-3)
    assert usual > held + 1 * IN_WC
