"""The engine's time loop against scipy's stiff solver (LSODA, rtol 1e-9) on the same scenarios.

Reference library: scipy.integrate.solve_ivp. Both use the same right-hand side, so this checks the time loop; the
right-hand side itself is checked by the closed forms in test_regulator.py and test_dynamics.py.
"""

import numpy as np
import pytest
from stiff import reference

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
from toolkit.scenario import Demand, Scenario
from toolkit.simulation import OFF_THE_PAD, simulate

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


@pytest.mark.parametrize("name", FAULTS)
def test_settled_peak_and_event_times_are_the_stiff_solver_s(name):
    scenario = Scenario(demands=DAY, faults=FAULTS[name])
    trace = simulate(scenario)
    times, states, net = reference(scenario)
    pa = scenario.station.atmosphere
    shown = [net.right_side(scenario.conditions(t))(list(y))[1] for t, y in zip(times, states, strict=True)]
    outlet = np.array([s[0][1] for s in shown]) - pa
    relief = np.array([s[2][1] for s in shown])

    # settled: at the end of each stretch of the timetable, within 0.1 %
    for moment in (119.9, 239.9, 419.9, 539.9, 600.0):
        assert trace.at("outlet_gauge_pressure", moment) == pytest.approx(np.interp(moment, times, outlet), rel=1e-3)
    # peak: within 2 %
    assert trace.peak("outlet_gauge_pressure")[1] == pytest.approx(outlet.max(), rel=0.02)
    # events: within 0.1 s or 1 %
    rating = scenario.station.loads[0].maximum_gauge_pressure
    for kind, level in (("above_rating", outlet - rating), ("relief_opens", relief - OFF_THE_PAD)):
        upward = np.flatnonzero((level[:-1] <= 0) & (level[1:] > 0))
        expected = [float(np.interp(0, level[i : i + 2], times[i : i + 2])) for i in upward]
        found = [event.time for event in trace.happened(kind)]
        assert bool(found) == bool(expected)
        if expected:
            assert found[0] == pytest.approx(expected[0], abs=max(0.1, 0.01 * expected[0]))


def test_halving_the_tolerance_moves_nothing_that_is_told(monkeypatch):
    scenario = Scenario(demands=DAY, faults=FAULTS["hard debris"])
    rough = simulate(scenario)
    monkeypatch.setattr("toolkit.simulation.RELATIVE_TOLERANCE", 4e-4)
    monkeypatch.setattr("toolkit.simulation.ABSOLUTE_TOLERANCE", 0.1)
    fine = simulate(scenario)
    assert fine.steps > 2 * rough.steps
    assert rough.settled("outlet_gauge_pressure") == pytest.approx(fine.settled("outlet_gauge_pressure"), rel=1e-5)
    assert rough.peak("outlet_gauge_pressure")[1] == pytest.approx(fine.peak("outlet_gauge_pressure")[1], rel=2e-3)
    assert rough.totals["vented"] == pytest.approx(fine.totals["vented"], rel=2e-3)
    assert [e.kind for e in rough.events] == [e.kind for e in fine.events]
