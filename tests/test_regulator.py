"""Closed forms of the regulator against what the simulation settles at.

The closed forms follow from the force balance written out by hand in each test; they share no code with the engine's
balance. Where a figure is common practice and has no source, the test says so.
"""

from dataclasses import replace
from math import pi

import pytest

from toolkit.devices.regulator import (
    InternalRelief,
    Regulator,
    gauge_at_lift,
    inlet_effect,
    lock_up_gauge_pressure,
    relief_start_gauge_pressure,
)
from toolkit.errors import ScenarioError
from toolkit.faults import Debris, NickedSeat, StuckStem, TornDiaphragm, WeakMainSpring
from toolkit.scenario import Demand, Scenario, Station
from toolkit.simulation import simulate
from toolkit.units import IN_WC, PSI

NIGHT = (Demand(0, 0.0),)
HERE = -100.0  # an onset before the start: there from the beginning
R = Regulator()
AU = pi / 4 * 0.00635**2


def outlet(scenario):
    return simulate(scenario).settled("outlet_gauge_pressure")


def with_supply(psig, **changes):
    station = Station()
    return replace(station, supply=replace(station.supply, gauge_pressure=psig * PSI), **changes)


def test_set_point_is_held_at_a_tenth_of_the_travel():
    assert gauge_at_lift(R.condition(), 0.1 * R.travel, R.adjusted_at_inlet_gauge_pressure) == pytest.approx(
        7 * IN_WC, rel=1e-12
    )


@pytest.mark.parametrize("psig", [20, 60, 100])
def test_lock_up(psig):
    """p2 = (L F0 + p1 Au + kseat xc) / (L A0 + Au)."""
    force = 5 * R.spring_preload + psig * PSI * AU + 1.4e5 * 1e-4
    by_hand = force / (5 * 0.020106 + AU)
    assert lock_up_gauge_pressure(R.condition(), psig * PSI) == pytest.approx(by_hand, rel=1e-9)
    assert outlet(Scenario(with_supply(psig), NIGHT)) == pytest.approx(by_hand, rel=1e-3)


def test_inlet_effect():
    """dp2/dp1 = Au / (L A0 + Au): a quarter-inch seat under a five-to-one lever lets through 0.03 %."""
    by_hand = AU / (5 * 0.020106 + AU)
    assert inlet_effect(R.condition()) == pytest.approx(by_hand, rel=1e-12)
    rise = outlet(Scenario(with_supply(100), NIGHT)) - outlet(Scenario(with_supply(20), NIGHT))
    assert rise / (80 * PSI) == pytest.approx(by_hand, rel=0.01)


@pytest.mark.parametrize("share", [0.2, 1.0, 3.0, 8.0])
def test_balance_under_flow(share):
    """p2 = (L F0 - Ks L^2 x + p1 Au + contact) / (L Ae(x) + Au) at the lift the flow asks for: droop."""
    trace = simulate(Scenario(demands=(Demand(0, share),), duration=1))
    x, p1 = trace.settled("regulator_lift"), trace.settled("inlet_gauge_pressure")
    contact = 1.4e5 * max(0, 1e-4 - x)
    area = 0.020106 * (1 + 0.08 * x / 0.0015875)
    by_hand = (5 * R.spring_preload - 1200 * 25 * x + p1 * AU + contact) / (5 * area + AU)
    assert trace.settled("outlet_gauge_pressure") == pytest.approx(by_hand, rel=1e-6)
    assert gauge_at_lift(R.condition(), x, p1) == pytest.approx(by_hand, rel=1e-9)


def test_droop_grows_with_flow():
    settled = [outlet(Scenario(demands=(Demand(0, s),))) for s in (0.0, 0.05, 0.5, 1, 2, 4, 8)]
    assert settled == sorted(settled, reverse=True)
    assert settled[0] > 7 * IN_WC > settled[-1]


@pytest.mark.parametrize(("height", "stiffness"), [(1e-4, 1e5), (3e-4, 3e5), (2e-4, 5e5)])
def test_soft_debris_locks_up_high_but_still_seals(height, stiffness):
    """p2 = (L F0 + p1 Au + kseat xc + kd hd) / (L A0 + Au), while kd hd < L Fr0 - Au (p1 - p2) - kseat xc."""
    force = 5 * R.spring_preload + 60 * PSI * AU + 14 + stiffness * height
    by_hand = force / (5 * 0.020106 + AU)
    assert stiffness * height < 5 * R.relief_preload - AU * (60 * PSI - by_hand) - 14
    trace = simulate(
        Scenario(demands=NIGHT, faults=(Debris(devices="regulator", height=height, stiffness=stiffness, onset=HERE),))
    )
    assert trace.settled("outlet_gauge_pressure") == pytest.approx(by_hand, rel=1e-3)
    assert trace.settled("regulator_flow") == pytest.approx(0, abs=1e-9)
    assert trace.settled("regulator_vent_flow") == pytest.approx(0, abs=1e-9)


def test_debris_too_stiff_for_the_relief_spring_keeps_leaking():
    """Just past the bound of the closed form the relief spring gives way before the seat is pressed shut."""
    bound = 5 * R.relief_preload - AU * (60 * PSI - 16 * IN_WC) - 14
    for share, leaks in ((0.97, False), (1.03, True)):
        debris = Debris(devices="regulator", height=2e-4, stiffness=share * bound / 2e-4, onset=HERE)
        trace = simulate(Scenario(demands=NIGHT, faults=(debris,)))
        assert (trace.settled("regulator_vent_flow") > 1e-7) is leaks


@pytest.mark.parametrize("above", [3, 9, 15])
def test_relief_starts_at_its_setting(above):
    """(F0 + Fr0) / A0. 9 in. w.c. above set point: common practice, no source."""
    regulator = replace(R, relief=InternalRelief(start_above_set=above * IN_WC))
    by_hand = (7 + above) * IN_WC
    assert relief_start_gauge_pressure(regulator.condition()) == pytest.approx(by_hand, rel=1e-9)
    leak = NickedSeat(devices="regulator", leak_area=1e-8, onset=1.0, ramp=1.0)
    trace = simulate(Scenario(Station(regulators=(regulator,)), NIGHT, (leak,)))
    (event,) = trace.happened("relief_opens")
    assert event.value == pytest.approx(by_hand, rel=5e-3)


def test_relief_starts_lower_with_the_disk_stuck_open():
    """(F0 - Ks L xmax + Fr0) / Ae(xmax)."""
    c = R.condition()
    by_hand = (R.spring_preload - 1200 * 5 * 0.0015875 + R.relief_preload) / (0.020106 * 1.08)
    assert relief_start_gauge_pressure(c, R.travel) == pytest.approx(by_hand, rel=1e-9)
    assert by_hand < relief_start_gauge_pressure(c)
    trace = simulate(
        Scenario(
            with_supply(60), (Demand(0, 1.0),), (StuckStem(devices="regulator", onset=10, ramp=300),), duration=320
        )
    )
    opened = trace.happened("relief_opens")[0]
    lift = trace.at("regulator_lift", opened.time)
    case = trace.at("regulator_case_gauge_pressure", opened.time)
    assert opened.value - case == pytest.approx(relief_start_gauge_pressure(c, lift), rel=0.01)


@pytest.mark.parametrize("hole", [2e-6, 2e-5])
def test_torn_diaphragm_case_pressure(hole):
    """Two openings in series at small pressure: pv = p2 CAh^2 / (CAh^2 + CAv^2), both against the outside air."""
    torn = TornDiaphragm(devices="regulator", hole_area=hole, lost_share=0.0, onset=HERE)
    narrow = replace(R, vent=replace(R.vent, bore=0.006))
    trace = simulate(Scenario(Station(regulators=(narrow,)), (Demand(0, 1.0),), (torn,)))
    vent = 0.65 * pi / 4 * 0.006**2
    p2 = trace.settled("outlet_gauge_pressure")
    assert trace.settled("regulator_case_gauge_pressure") == pytest.approx(p2 * hole**2 / (hole**2 + vent**2), rel=0.02)


def test_broken_main_spring_locks_up_lower_by_its_lost_force():
    weak = WeakMainSpring(devices="regulator", left_share=0.6, onset=HERE)
    lost = 5 * 0.4 * R.spring_preload / (5 * 0.020106 + AU)
    # the burners must draw the pressure down first: with no flow a shut regulator holds whatever it has
    evening = (Demand(0, 1.0), Demand(10, 0.0))
    drop = outlet(Scenario(demands=evening)) - outlet(Scenario(demands=evening, faults=(weak,)))
    assert drop == pytest.approx(lost, rel=5e-3)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"orifice_diameter": -0.006}, "regulator.orifice_diameter"),
        ({"diaphragm_area": float("nan")}, "regulator.diaphragm_area"),
        ({"spring_rate": "stiff"}, "regulator.spring_rate"),
        ({"set_gauge_pressure": 5e5}, "regulator.set_gauge_pressure"),
        ({"set_gauge_pressure": 40.0}, "regulator.set_gauge_pressure"),
        ({"name": "my regulator"}, "regulator.name"),
        ({"seat_depth": 1e-3}, "regulator.seat_depth"),
        ({"outlet": "inlet"}, "regulator.outlet"),
        ({"case_volume": 1e-4}, "regulator.case_volume"),
        ({"relief": 3}, "regulator.relief"),
    ],
)
def test_bad_values_name_the_field_what_was_expected_and_the_mend(change, field):
    with pytest.raises(ScenarioError) as caught:
        replace(R, **change)
    error = caught.value
    assert error.field == field
    assert error.expected
    assert error.mend.endswith(".")
    assert field in str(error)
