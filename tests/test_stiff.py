"""The engine's time loop, every layer and fault, against scipy's stiff solver (LSODA, rtol 1e-9) on the same scenarios.

Reference library: scipy.integrate.solve_ivp. Both use the same right-hand side, so this checks the time loop; the
right-hand side itself is checked by the closed forms in test_regulator.py and test_dynamics.py.
"""

from itertools import pairwise

import numpy as np
import pytest
from layered import CYCLES, HUNTS, KEEPS, SCENARIOS
from stiff import crossed, reference

from toolkit import compiled
from toolkit.devices.balance import RegulatorCondition
from toolkit.devices.line import Load, SupplyCondition
from toolkit.devices.regulator import Regulator
from toolkit.devices.relief_valve import ReliefValve
from toolkit.faults import (
    BlockedVent,
    Debris,
    NickedSeat,
    PluggedFilter,
    StuckStem,
    SupplyChange,
    TornDiaphragm,
    Warmed,
    WeakMainSpring,
    WeakRelief,
)
from toolkit.network import network
from toolkit.rates import layout_of, rates_of
from toolkit.readout import OFF_ITS_SEAT, OFF_THE_PAD
from toolkit.scenario import Demand, Scenario, Station
from toolkit.simulation import _work, settled_state, simulate
from toolkit.solver import step
from toolkit.stretch import TRIP_WITHIN, Watched, Way, _thrown, _trip_point

DAY = (Demand(0, 1.0), Demand(120, 0.05), Demand(240, 0.0), Demand(420, 1.0), Demand(540, 0.0))
R = "regulator"
FAULTS = {
    "healthy": (),
    "soft debris": (Debris(devices=R, height=3e-4, stiffness=3e5),),
    "hard debris": (Debris(devices=R, height=2e-4, stiffness=1e8),),
    "nick": (NickedSeat(devices=R, leak_area=2e-8),),
    "stuck open": (StuckStem(devices=R),),
    "stuck half": (StuckStem(devices=R, lowest=0.3, highest=0.3),),
    "torn": (TornDiaphragm(devices=R, hole_area=2e-5, lost_share=0.1),),
    "vent blocked": (BlockedVent(devices=R),),
    "vent iced over debris": (
        BlockedVent(devices=R, blocked_share=0.98),
        Debris(devices=R, height=2e-4, stiffness=1e8),
    ),
    "spring broken": (WeakMainSpring(devices=R, left_share=0.4),),
    "relief weak": (WeakRelief(devices=R, left_share=0.05),),
    "filter plugged": (PluggedFilter(devices="supply", blocked_share=0.99),),
    "supply sags": (SupplyChange(devices="supply", gauge_pressure=2e4),),
    "sun on the pipe": (Warmed(devices="outlet", times=1.03, onset=260, ramp=100),),
}


SETTLES = 15.0  # s
ALL = {name: Scenario(demands=DAY, faults=faults) for name, faults in FAULTS.items()} | {
    name: scenario for name, scenario in SCENARIOS.items() if name not in HUNTS
}


@pytest.mark.parametrize("name", ALL)
def test_settled_peak_and_event_times_are_the_stiff_solver_s(name):
    scenario = ALL[name]
    station, trace, exact = scenario.station, simulate(scenario), reference(scenario)
    pa = station.atmosphere
    # a stretch shorter than this is itself the change; what it leads to is settled at the end of the next
    ends = [b - 1e-6 for a, b in pairwise(scenario.moments()) if b - a > SETTLES]
    for volume in station.volumes:
        gauge = exact.held[:, exact.net.places[volume.name]] - pa
        signal = f"{volume.name}_gauge_pressure"
        # settled: at the end of each stretch, within 0.1 % and a pascal; where shut-in gas keeps a peak, within 1 %
        for end in ends if name not in CYCLES else ():
            within = 1e-2 if name in KEEPS else 1e-3
            expected = pytest.approx(float(np.interp(end, exact.times, gauge)), rel=within, abs=1.0)
            assert trace.at(signal, end) == expected, (signal, end)
        # peak: within 2 %
        assert trace.peak(signal)[1] == pytest.approx(float(gauge.max()), rel=0.02, abs=1.0), signal
    # trips: the same, within 0.1 s or 1 %
    known = {(event.kind, event.subject) for event in exact.events}
    tripped = [event for event in trace.events if (event.kind, event.subject) in known]
    assert [(e.kind, e.subject) for e in tripped] == [(e.kind, e.subject) for e in exact.events]
    for mine, theirs in zip(tripped, exact.events, strict=True):
        assert mine.time == pytest.approx(theirs.time, abs=max(0.1, 0.01 * theirs.time)), theirs
    # where a level is first passed: within 0.1 s or 1 %
    for at, device in zip(exact.net.shown_at, station.devices, strict=False):
        levels = {}
        if isinstance(device, Load):
            gauge = exact.held[:, exact.net.places[device.at]] - pa
            levels["above_rating"] = gauge - device.maximum_gauge_pressure
        elif isinstance(device, Regulator) and device.relief:
            levels["relief_opens"] = np.array([s[at + 1] for s in exact.shown]) - OFF_THE_PAD
        elif isinstance(device, Regulator) and device.second_seat:
            levels["second_seat_acts"] = np.array([s[at + 1] for s in exact.shown]) - OFF_THE_PAD
        elif isinstance(device, ReliefValve):
            levels["valve_opens"] = np.array([s[at] for s in exact.shown]) - OFF_ITS_SEAT
        for kind, level in levels.items():
            expected, found = crossed(exact.times, level), [e.time for e in trace.happened(kind, device.name)]
            assert bool(found) == bool(expected), kind
            if expected:
                assert found[0] == pytest.approx(expected[0], abs=max(0.1, 0.01 * expected[0])), kind


def test_halving_the_tolerance_moves_nothing_that_is_told(monkeypatch):
    scenario = Scenario(demands=DAY, faults=FAULTS["hard debris"])
    rough = simulate(scenario)
    monkeypatch.setattr("toolkit.network.RELATIVE_TOLERANCE", 4e-4)
    monkeypatch.setattr("toolkit.network.ABSOLUTE_TOLERANCE", 0.1)
    fine = simulate(scenario)
    assert fine.steps > 2 * rough.steps
    assert rough.settled("outlet_gauge_pressure") == pytest.approx(fine.settled("outlet_gauge_pressure"), rel=1e-5)
    assert rough.peak("outlet_gauge_pressure")[1] == pytest.approx(fine.peak("outlet_gauge_pressure")[1], rel=2e-3)
    assert rough.totals["vented"] == pytest.approx(fine.totals["vented"], rel=2e-3)
    assert [e.kind for e in rough.events] == [e.kind for e in fine.events]


# One step by itself, in plain Python


def a_step(monkeypatch):
    """A settled station laid out in plain Python, and the buffers of a step that begins there with no slopes."""
    monkeypatch.setattr("toolkit.network.machine", compiled.plain)
    scenario = Scenario(Station(regulators=(Regulator(relief=None),)), (Demand(0, 1.0),))
    net, conditions = network(scenario), scenario.conditions(0.0)
    work = _work(net, [*settled_state(scenario.station, conditions), 0.0, 0.0, 0.0])
    work.here[:] = work.there[:] = net.numbers(conditions)
    return layout_of(net.plan, net.fixed), work


def test_a_step_refuses_a_pressure_below_zero_on_its_way_and_at_its_end(monkeypatch):
    net, work = a_step(monkeypatch)
    # so short that the laws add nothing: the first stage goes the whole way, the end half of it
    for share, fine in ((0.5, True), (1.5, False)):
        work.rates[0] = -share * work.state[0] / 1e-7
        assert step(net, work, 1e-7) == fine
    # nothing moves at the start, and what the first stage finds there empties the line
    work.rates[0] = 0.0
    burners = net.size + len(SupplyCondition._fields) + len(RegulatorCondition._fields)
    work.there[burners] = 1.0  # of a square metre
    assert not step(net, work, 1.0)
    assert work.new[1] < 0.0


def test_a_step_is_the_two_stages_of_the_method_and_solves_what_wants_another_order_of_rows(monkeypatch):
    """(1 - g h J) k1 = f + g h d; (1 - g h J) k2 = f(y + h k1) - 2 k1 - g h d; y + 1.5 h k1 + 0.5 h k2 (Verwer 1999).

    By numpy's solver, with slopes drawn at random: a first pivot of 0 and small ones on the diagonal.
    """
    net, work = a_step(monkeypatch)
    n, h, gamma = net.dynamic, 1e-3, 1.0 + 1.0 / np.sqrt(2.0)
    draw = np.random.default_rng(7)
    for _ in range(5):
        slopes = draw.uniform(-1.0, 1.0, (net.size, n)) / (gamma * h)
        slopes[0, 0] = 1.0 / (gamma * h)
        work.slopes[:] = [float(one) for one in slopes.ravel()]
        work.drift[:] = [float(one) for one in draw.uniform(-1.0, 1.0, net.size)]
        work.rates[:] = [float(one) for one in draw.uniform(-1.0, 1.0, net.size)]
        assert step(net, work, h)
        whole = np.eye(net.size)
        whole[:, :n] -= gamma * h * slopes
        state, rates, drift = (np.array(one) for one in (work.state, work.rates, work.drift))
        first = np.linalg.solve(whole, rates + gamma * h * drift)
        found, shown = [0.0] * net.size, [0.0] * net.width
        rates_of(net, work.there, list(state + h * first), shown, found)
        second = np.linalg.solve(whole, np.array(found) - 2.0 * first - gamma * h * drift)
        assert work.new == pytest.approx(state + 1.5 * h * first + 0.5 * h * second, rel=1e-9, abs=1e-9)
        assert work.error == pytest.approx(0.5 * h * (first + second), rel=1e-6, abs=1e-9)


def test_a_long_step_may_take_no_disk_off_a_stop_nor_turn_a_relief_round(monkeypatch):
    monkeypatch.setattr("toolkit.network.machine", compiled.plain)
    scenario = Scenario(Station(relief_valves=(ReliefValve(),)))
    net = network(scenario)
    work = _work(net, [*settled_state(scenario.station, scenario.conditions(0.0)), 0.0, 0.0, 0.0])
    layout, travel = layout_of(net.plan, net.fixed), scenario.station.regulators[0].travel
    at = net.shown_at[1]  # after the supply
    for was, now, thrown in (
        *((0.0, 0.03, True), (0.0, 0.01, False), (1.0, 0.97, True), (1.0, 0.99, False)),
        *((0.5, 0.9, False), (1e-6, 0.03, False)),  # on its way the slopes know its case
    ):
        work.shown[at], work.new_shown[at] = was * travel, now * travel
        assert _thrown(layout, work) == thrown, (was, now)
    lift = net.places["relief_valve_lift"]
    work.state[lift] = 0.5
    for new, rate, thrown in ((0.49, 1.0, True), (0.51, -1.0, True), (0.496, 1.0, False), (0.4, -1.0, False)):
        work.new[lift], work.rates[lift] = new, rate
        assert _thrown(layout, work) == thrown, (new, rate)


def test_a_trip_is_not_moved_to_where_no_step_leads(monkeypatch):
    """A shorter step that fails shows nothing of its end: the trip stays where the whole step found it."""
    net, work = a_step(monkeypatch)
    work.new[:] = work.state
    work.new_shown[0] = work.state[0]
    monkeypatch.setattr("toolkit.stretch.step", lambda *_: False)
    way = Way(work.here, work.here, 0.0, 10.0, False)
    watched = Watched(1, [0], [1.0, 0.0, 0.0])  # any pressure is beyond it
    points = [0.0] * (1 + 2 * net.size + net.width)
    _trip_point(net, work, way, watched, 2.0, 3.0, points, 0)
    assert points[0] == 3.0
    monkeypatch.setattr("toolkit.stretch.step", lambda *_: True)
    _trip_point(net, work, way, watched, 2.0, 3.0, points, 0)
    assert points[0] == pytest.approx(2.0, abs=TRIP_WITHIN)
