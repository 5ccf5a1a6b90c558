"""The engine's time loop, every layer and fault, against scipy's stiff solver (LSODA, rtol 1e-9) on the same scenarios.

Reference library: scipy.integrate.solve_ivp. Both use the same right-hand side, so this checks the time loop; the
right-hand side itself is checked by the closed forms in test_regulator.py and test_dynamics.py.
"""

from itertools import pairwise

import numpy as np
import pytest
from layered import CYCLES, HUNTS, KEEPS, SCENARIOS
from stiff import crossed, reference

from toolkit.devices.line import Load
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
from toolkit.readout import OFF_ITS_SEAT, OFF_THE_PAD
from toolkit.scenario import Demand, Scenario
from toolkit.simulation import simulate

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
