"""Closed forms in time, through the engine: filling, blow-down, warming, dumping, breathing, and who holds what.

Each closed form is the gas law, the nozzle law or a balance of forces (`white-fluid-mechanics`), written out by hand
from the station's own numbers; none of it calls the engine's flow or balance. Where a number is common practice, the
test says so.
"""

from dataclasses import replace
from math import exp, pi, sqrt

import numpy as np
import pytest

from toolkit.devices.line import Load, LoadCondition, Supply
from toolkit.devices.regulator import Regulator, Vent
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
from toolkit.scenario import Demand, Scenario, Station, Volume
from toolkit.simulation import integrate, simulate
from toolkit.units import IN_WC, PSI

NIGHT = (Demand(0, 0.0),)
HERE = -100.0  # an onset before the start: there from the beginning
R = Regulator()
A0, LEVER, RATE = 0.020106, 5.0, 1200.0
AU = pi / 4 * 0.00635**2
VENT = 0.65 * pi / 4 * 0.019**2
PA = 101_325.0
K = 1.30
CHOKED = sqrt(K) * (2 / (K + 1)) ** ((K + 1) / (2 * (K - 1)))
CRITICAL = (2 / (K + 1)) ** (K / (K - 1))


def standard_atmosphere(altitude):
    """ISO 2533, troposphere: sea level 288.15 K, 6.5 K/km."""
    return PA * (1 - 0.0065 * altitude / 288.15) ** 5.25588


def choked(area, absolute, rt):
    """Mass flow of a choked nozzle, kg/s."""
    return area * absolute * CHOKED / sqrt(rt)


def in_series(outlet=5e-3, interstage=3e-4, monitor_above=4.0, **station):
    """Two regulators, one after the other, both sensing the outlet: the first the monitor, the second the worker."""
    monitor = replace(
        R,
        name="monitor",
        outlet="interstage",
        senses="outlet",
        set_gauge_pressure=(7 + monitor_above) * IN_WC,
        relief=None,
    )
    worker = replace(R, name="worker", inlet="interstage", relief=None)
    volumes = (Volume("inlet", 2e-3), Volume("interstage", interstage), Volume("outlet", outlet))
    return Station(regulators=(monitor, worker), volumes=volumes, **station)


def end_of(net, state, conditions, seconds):
    """The last state of a stretch with conditions made by hand, and the whole of it."""
    run = integrate(net, state, 0.0, seconds, conditions, conditions)
    return run.states[-1], run


def when(trace, signal, level):
    """The first time at which a rising signal is at a level, s."""
    values = trace[signal]
    i = int(np.flatnonzero(values >= level)[0])
    return float(np.interp(level, values[i - 1 : i + 1], trace.times[i - 1 : i + 1]))


# Filling and emptying


@pytest.mark.parametrize("altitude", [0, 1600, 3000])
@pytest.mark.parametrize("volume", [5e-3, 2e-2])
def test_time_for_a_leak_to_fill_a_shut_outlet(volume, altitude):
    """V dp / (RT m), m of a choked nozzle: the time from lock-up to a pressure below the relief's start."""
    station = Station(volumes=(Volume("inlet", 2e-3), Volume("outlet", volume)), altitude=altitude)
    leak = NickedSeat(devices="regulator", leak_area=1e-8, onset=10, ramp=1e-3)
    trace = simulate(Scenario(station, NIGHT, (leak,), 700))
    mass_flow = choked(1e-8, standard_atmosphere(altitude) + 60 * PSI, station.rt)
    start, level = trace.at("outlet_gauge_pressure", 9.9), 15 * IN_WC
    taken = volume * (level - start) / (station.rt * mass_flow)
    assert when(trace, "outlet_gauge_pressure", level) - 10 == pytest.approx(taken, rel=2e-3)


@pytest.mark.parametrize("seconds", [5.0, 20.0])
def test_choked_blow_down_of_a_volume(seconds):
    """p = p0 exp(-CA C* sqrt(RT) t / V): a shut-in pipe let off through a burner, the regulator locked up beside it."""
    station = Station(loads=(Load(at="inlet"),), volumes=(Volume("inlet", 0.05), Volume("outlet", 5e-3)))
    net = network(Scenario(station, NIGHT))
    supply, regulator, _, *rooms = net.scenario.conditions(0.0)
    conditions = (supply._replace(flow_area=0.0), regulator, LoadCondition(3e-6), *rooms)
    p0 = PA + 6e5
    state = [p0, PA + 3000.0, PA * R.case_volume, 0.0, 0.0, 0.0]
    end, _ = end_of(net, state, conditions, seconds)
    by_hand = p0 * exp(-3e-6 * CHOKED * sqrt(station.rt) * seconds / 0.05)
    assert PA / by_hand < CRITICAL  # choked to the end
    assert end[0] == pytest.approx(by_hand, rel=2e-3)
    assert end[net.places["delivered"]] == pytest.approx((p0 - end[0]) * 0.05 / station.rt, rel=1e-9)


def test_two_choked_openings_in_series():
    """pm = p1 CA1 / CA2, each opening choked: a supply that feeds a burner through a volume."""
    station = Station(supply=Supply(gauge_pressure=1e6, flow_area=2e-6), loads=(Load(at="inlet"),))
    net = network(Scenario(station, NIGHT))
    supply, regulator, _, *rooms = net.scenario.conditions(0.0)
    state = [PA + 5e4, PA + 3000.0, PA * R.case_volume, 0.0, 0.0, 0.0]
    end, _ = end_of(net, state, (supply, regulator, LoadCondition(6e-6), *rooms), 600.0)
    by_hand = (PA + 1e6) / 3
    assert by_hand / (PA + 1e6) < CRITICAL
    assert PA / by_hand < CRITICAL
    assert end[0] == pytest.approx(by_hand, rel=1e-5)


@pytest.mark.parametrize("blocked", [0.99, 0.995])
def test_a_plugged_filter_caps_the_flow(blocked):
    """What is left of the supply's opening, choked, is all that a large demand gets."""
    plugged = PluggedFilter(devices="supply", blocked_share=blocked, onset=HERE)
    trace = simulate(Scenario(demands=(Demand(0, 10.0),), faults=(plugged,), duration=10))
    station = trace.scenario.station
    assert trace.settled("inlet_gauge_pressure") + PA < CRITICAL * (60 * PSI + PA)
    most = choked(2e-4 * (1 - blocked), 60 * PSI + PA, station.rt)
    assert trace.totals["supplied"] / 10 == pytest.approx(most, rel=1e-4)


@pytest.mark.parametrize(("height", "edge", "share"), [(0.0, 1.0, 0.3), (3e-4, 0.4, 0.1), (3e-4, 0.4, 0.5)])
def test_choked_flow_past_a_seat_held_open(height, edge, share):
    """Curtain pi d x in series with the orifice; below a piece's height only its share of the edge is free."""
    faults = [StuckStem(devices="regulator", lowest=share, highest=share, onset=HERE)]
    if height:
        faults.append(Debris(devices="regulator", height=height, edge=edge, stiffness=1e8, onset=HERE))
    trace = simulate(Scenario(demands=(Demand(0, 10.0),), faults=tuple(faults), duration=10))
    x = share * 0.0015875
    free = edge * x if x < height else x - height * (1 - edge)
    curtain, orifice = 0.82 * pi * 0.00635 * free, 0.82 * AU
    p1 = trace.settled("inlet_gauge_pressure") + PA
    assert (trace.settled("outlet_gauge_pressure") + PA) / p1 < CRITICAL
    by_hand = choked(curtain * orifice / sqrt(curtain**2 + orifice**2), p1, trace.scenario.station.rt)
    assert trace.totals["supplied"] / 10 == pytest.approx(by_hand, rel=1e-3)


@pytest.mark.parametrize("temperature", [260.0, 288.7056, 320.0])
def test_z_r_t_of_the_station(temperature):
    """R T of a gas of 0.60 times the molar mass of air, less the 1 to 2 % that it is not ideal at 5 bar."""
    ideal = 8.314462618 / (0.60 * 0.0289626) * temperature
    station = Station(temperature=temperature)
    assert 0.98 * ideal < station.rt < 0.995 * ideal
    assert Station(temperature=temperature, supply=Supply(gauge_pressure=5 * PSI)).rt == pytest.approx(ideal, rel=5e-3)


def test_a_changing_supply_carries_the_inlet_with_it_in_a_straight_line():
    change = SupplyChange(devices="supply", gauge_pressure=20 * PSI, onset=50, ramp=40)
    trace = simulate(Scenario(demands=(Demand(0, 0.2),), faults=(change,), duration=120))
    for time, psig in ((49, 60), (60, 50), (70, 40), (80, 30), (119, 20)):
        assert trace.at("inlet_gauge_pressure", time) == pytest.approx(psig * PSI, rel=2e-3)


# Warming


def test_a_sealed_case_that_warms():
    """dp = pa dT / T, 1.41 in. w.c. a kelvin at 288.7 K: vent shut, stem held so that the case keeps its size."""
    faults = (
        BlockedVent(devices="regulator", onset=HERE),
        StuckStem(devices="regulator", lowest=0.0, highest=0.0, onset=HERE),
        Warmed(devices="regulator_case", times=1 + 10 / 288.7056, onset=10, ramp=100),
    )
    trace = simulate(Scenario(demands=NIGHT, faults=faults, duration=200))
    assert trace.at("regulator_case_gauge_pressure", 60) == pytest.approx(5 * 1.41 * IN_WC, rel=3e-3)
    assert trace.settled("regulator_case_gauge_pressure") == pytest.approx(PA * 10 / 288.7056, rel=1e-4)


@pytest.mark.parametrize("altitude", [0, 2000])
def test_a_locked_in_pipe_that_warms(altitude):
    """dp = p dT / T: 7 in. w.c. at 20 degC and 20 K more are 28.2 in. w.c. more at sea level."""
    station = Station(regulators=(replace(R, relief=None),), temperature=293.15, altitude=altitude)
    faults = (
        StuckStem(devices="regulator", lowest=0.0, highest=0.0, onset=HERE),
        Warmed(devices="outlet", times=1 + 20 / 293.15, onset=100, ramp=300),
    )
    trace = simulate(Scenario(station, NIGHT, faults))
    rise = trace.settled("outlet_gauge_pressure") - trace["outlet_gauge_pressure"][0]
    before = standard_atmosphere(altitude) + 7 * IN_WC
    assert trace["outlet_gauge_pressure"][0] == pytest.approx(7 * IN_WC, rel=1e-9)
    assert rise == pytest.approx(before * 20 / 293.15, rel=1e-4)
    if altitude == 0:
        assert rise / IN_WC == pytest.approx(28.2, abs=0.05)


def test_an_internal_relief_lets_the_warmed_gas_off():
    warmed = Warmed(devices="outlet", times=1 + 20 / 288.7056, onset=100, ramp=300)
    trace = simulate(Scenario(demands=NIGHT, faults=(warmed,)))
    assert trace.peak("outlet_gauge_pressure")[1] == pytest.approx(16 * IN_WC, rel=0.01)
    assert trace.totals["vented"] > 0


# Two regulators in series


def test_what_the_interstage_holds_is_dumped_downstream():
    """(Vm pm + V2 p2) / (Vm + V2): the worker opens wide while the monitor before it is shut."""
    net = network(Scenario(in_series(), NIGHT))
    supply, monitor, worker, load, *rooms = net.scenario.conditions(0.0)
    shut = monitor._replace(highest_lift=0.0)
    wide = worker._replace(lowest_lift=worker.highest_lift)
    pm, p2, case = PA + 60 * PSI, PA + 8 * IN_WC, PA * R.case_volume
    end, points = end_of(net, [pm, pm, p2, case, case, 0.0, 0.0, 0.0], (supply, shut, wide, load, *rooms), 20.0)
    by_hand = (3e-4 * pm + 5e-3 * p2) / (3e-4 + 5e-3)
    assert end[1] == pytest.approx(by_hand, rel=1e-5)
    assert end[2] == pytest.approx(by_hand, rel=1e-5)
    # more than the appliances' controls take, before any layer can answer: what counts is what is stored
    assert by_hand - PA > 14 * IN_WC
    assert points.times[-1] == 20.0


def test_worker_holds_and_the_monitor_stands_wide_open():
    trace = simulate(Scenario(in_series(), (Demand(0, 1.0), Demand(60, 0.0)), duration=300))
    assert trace.at("monitor_lift", 59) == pytest.approx(R.travel, rel=1e-6)
    assert trace.at("outlet_gauge_pressure", 59) == pytest.approx(7 * IN_WC, rel=0.1)
    lock_up = (LEVER * R.spring_preload + 60 * PSI * AU + 14) / (LEVER * A0 + AU)
    assert trace.settled("outlet_gauge_pressure") == pytest.approx(lock_up, rel=2e-3)


@pytest.mark.parametrize("above", [3.0, 6.0])
def test_monitor_takes_over_at_its_own_lock_up(above):
    """p2 = (L F0 + p1 Au + kseat xc) / (L A0 + Au) of the monitor, which senses the outlet through the worker."""
    station = in_series(outlet=1.0, monitor_above=above)
    stuck = StuckStem(devices="worker", onset=60, ramp=5)
    trace = simulate(Scenario(station, NIGHT, (stuck,), 1200))
    monitor = station.regulators[0]
    lock_up = (LEVER * monitor.spring_preload + 60 * PSI * AU + 14) / (LEVER * A0 + AU)
    assert trace.settled("outlet_gauge_pressure") == pytest.approx(lock_up, rel=0.01)
    assert trace.settled("interstage_gauge_pressure") == pytest.approx(lock_up, rel=0.01)


def test_a_monitor_near_its_stop_starts_settled():
    """No standing still where a disk comes to its stop: forces and flows of the start balance."""
    trace = simulate(Scenario(in_series(interstage=1.2e-4, outlet=2e-2), (Demand(0, 1.0),), duration=10))
    assert trace["monitor_lift"][0] == pytest.approx(R.travel, rel=1e-9)
    for device in ("monitor", "worker"):
        assert trace[f"{device}_vent_flow"][0] == pytest.approx(0.0, abs=1e-9)
        assert trace[f"{device}_flow"][0] == pytest.approx(trace["appliances_flow"][0], rel=1e-6)
    assert trace.steps < 100


def test_a_disk_that_rests_at_its_stop_costs_few_steps(monkeypatch):
    """Cases in which steps within their error stood still or swung about a stop for ever."""
    monkeypatch.setattr("toolkit.simulation.STEP_BUDGET", 1500)
    high, worker_vent = Supply(gauge_pressure=100 * PSI), BlockedVent(devices="worker", onset=HERE)
    two = in_series(outlet=6.715173448963103e-3, interstage=5.262922735342115e-4, monitor_above=3.727, supply=high)
    two = replace(two, regulators=(two.regulators[0], replace(two.regulators[1], relief=R.relief)), altitude=1600)
    low = Demand(21.84269596927583, 0.05, stroke=0.012407355979790138)
    wide = replace(R, vent=Vent(bore=0.006))
    volumes = (Volume("inlet", 2e-3), Volume("outlet", 5.477686572613526e-3))
    one = Station(Supply(gauge_pressure=413685.42), (wide,), volumes=volumes, altitude=1600)
    burst = (
        SupplyChange(devices="supply", gauge_pressure=15658447.300843444, onset=HERE, ramp=10),
        WeakRelief(
            devices="regulator",
            left_share=0.028839678794170445,
            weep_area=3.826631093802719e-4,
            onset=370.8379705394297,
            ramp=0.3499617762526806,
        ),
    )
    for scenario in (
        Scenario(two, (Demand(0, 0.0), low), (worker_vent,), 100),
        Scenario(one, faults=burst),
    ):
        assert simulate(scenario).steps < 500


def test_one_cause_that_takes_two_layers():
    """The same stuck stem on either regulator is held by the other; on both the outlet goes to the inlet's pressure."""
    station = in_series(outlet=0.5)
    ends = {}
    for devices in (("worker",), ("monitor",), ("monitor", "worker")):
        stuck = StuckStem(devices=devices, onset=60, ramp=5)
        ends[devices] = simulate(Scenario(station, NIGHT, (stuck,), 1200)).settled("outlet_gauge_pressure")
    assert ends["worker",] < 13 * IN_WC
    assert ends["monitor",] < 9 * IN_WC
    assert ends["monitor", "worker"] == pytest.approx(60 * PSI, rel=1e-3)


def test_a_fault_moves_only_the_regulator_it_strikes():
    """Half the worker's spring: p2 = (L F0 / 2 - Ks L^2 x + pm Au + contact) / (L Ae + Au), the monitor wide open."""
    weak = WeakMainSpring(devices="worker", left_share=0.5, onset=HERE)
    trace = simulate(Scenario(in_series(), (Demand(0, 1.0),), (weak,), 10))
    x, pm = trace.settled("worker_lift"), trace.settled("interstage_gauge_pressure")
    area = A0 * (1 + 0.08 * x / 0.0015875)
    opening = LEVER * 0.5 * R.spring_preload - RATE * LEVER**2 * x + pm * AU + 1.4e5 * max(0.0, 1e-4 - x)
    assert trace.settled("outlet_gauge_pressure") == pytest.approx(opening / (LEVER * area + AU), rel=1e-3)
    assert trace.settled("monitor_lift") == pytest.approx(R.travel, rel=1e-6)


def test_a_stem_stuck_shut_passes_nothing():
    shut = StuckStem(devices="regulator", lowest=0.0, highest=0.0, onset=20, ramp=5)
    trace = simulate(Scenario(faults=(shut,), duration=120))
    assert trace.settled("regulator_lift") == 0.0
    assert trace.settled("regulator_flow") == 0.0
    assert trace.settled("outlet_gauge_pressure") == pytest.approx(0.0, abs=1.0)
    assert trace.at("appliances_flow", 19) > 1e-3


def test_a_torn_monitor_draws_on_the_place_it_senses():
    """Its control line is what leaks: the outlet empties through the monitor's vent, the interstage keeps its gas."""
    faults = (
        StuckStem(devices="worker", lowest=0.0, highest=0.0, onset=10, ramp=1),
        TornDiaphragm(devices="monitor", hole_area=1e-6, lost_share=0.0, onset=20, ramp=1),
    )
    trace = simulate(Scenario(in_series(), NIGHT, faults, 300))
    assert trace.at("outlet_gauge_pressure", 19) > 7 * IN_WC
    assert trace.settled("outlet_gauge_pressure") == pytest.approx(0.0, abs=1.0)
    assert trace.settled("interstage_gauge_pressure") == pytest.approx(60 * PSI, rel=1e-3)
    lost = (trace.at("outlet_gauge_pressure", 19) - trace.settled("outlet_gauge_pressure")) * 5e-3
    assert trace.totals["vented"] == pytest.approx(lost / trace.scenario.station.rt, rel=0.02)


# Diaphragm, case and vent


def test_a_torn_diaphragm_loses_gas_through_the_vent_all_the_time():
    """Small pressures: m = CA sqrt(2 rho dp) through the tear and the vent in series, and the load gets the rest."""
    torn = TornDiaphragm(devices="regulator", hole_area=1e-5, lost_share=0.0, onset=HERE)
    trace = simulate(Scenario(demands=(Demand(0, 0.5),), faults=(torn,), duration=100))
    station = trace.scenario.station
    p2 = trace.settled("outlet_gauge_pressure")
    both = 1e-5 * VENT / sqrt(1e-10 + VENT**2)
    by_hand = both * sqrt(2 * p2 * (PA + p2) / station.rt)
    assert trace.totals["vented"] / 100 == pytest.approx(by_hand, rel=0.015)  # the gas expands by 1 %
    assert trace.settled("regulator_relief_flow") == pytest.approx(trace.settled("regulator_vent_flow"), rel=1e-6)
    sum_of_all = trace.settled("appliances_flow") + trace.settled("regulator_vent_flow")
    assert trace.settled("regulator_flow") == pytest.approx(sum_of_all, rel=1e-6)


def test_lost_diaphragm_raises_what_is_held():
    """With a fifth of the diaphragm gone the same spring holds the outlet higher by a quarter, less the seat's part."""
    torn = TornDiaphragm(devices="regulator", hole_area=1e-9, lost_share=0.2, onset=HERE)
    trace = simulate(Scenario(demands=(Demand(0, 1.0),), faults=(torn,), duration=10))
    x, p1 = trace.settled("regulator_lift"), trace.settled("inlet_gauge_pressure")
    area = 0.8 * A0 * (1 + 0.08 * x / 0.0015875)
    opening = LEVER * R.spring_preload - RATE * LEVER**2 * x + p1 * AU + 1.4e5 * max(0.0, 1e-4 - x)
    assert trace.settled("outlet_gauge_pressure") == pytest.approx(opening / (LEVER * area + AU), rel=1e-4)


@pytest.mark.parametrize("share", [0.3, 1.0, 2.0])
def test_a_shut_vent_makes_the_case_an_air_spring(share):
    """pv = pa V / (V + A L x), and L [(p2 - pv) Ae - F0 + Ks L x] = (p1 - p2) Au + contact."""
    blocked = BlockedVent(devices="regulator", onset=HERE)
    trace = simulate(Scenario(demands=(Demand(0, share),), faults=(blocked,), duration=10))
    x, p1 = trace.settled("regulator_lift"), trace.settled("inlet_gauge_pressure")
    case = PA * (5e-4 / (5e-4 + A0 * LEVER * x) - 1)
    area = A0 * (1 + 0.08 * x / 0.0015875)
    contact = 1.4e5 * max(0.0, 1e-4 - x)
    opening = LEVER * (case * area + R.spring_preload - RATE * LEVER * x) + p1 * AU + contact
    assert trace.settled("regulator_case_gauge_pressure") == pytest.approx(case, rel=1e-3)
    assert trace.settled("outlet_gauge_pressure") == pytest.approx(opening / (LEVER * area + AU), rel=2e-3)


def test_a_small_vent_slows_the_regulator_and_the_pressure_shoots_over_at_cut_off():
    """Less bore, more overshoot at the same cut-off; with the usual bore next to none above lock-up."""
    off = (Demand(0, 2.0), Demand(30, 0.0, stroke=0.02))
    peaks = []
    for bore in (0.019, 0.004, 0.002, 0.001):
        station = Station(regulators=(replace(R, vent=Vent(bore=bore), relief=None),))
        trace = simulate(Scenario(station, off, duration=60))
        peaks.append(trace.peak("outlet_gauge_pressure", start=29)[1])
    assert peaks == sorted(peaks)
    assert peaks[0] < 9 * IN_WC
    assert peaks[-1] > 2 * peaks[0]


def test_breathing_takes_the_time_that_the_vent_gives():
    """V dq by hand: the case draws in A L x of air through a 1 mm vent, at most with the suction there is."""
    station = Station(regulators=(replace(R, vent=Vent(bore=0.001), relief=None),))
    trace = simulate(Scenario(station, (Demand(0, 0.05), Demand(10, 3.0, stroke=0.05)), duration=60))
    x = trace.settled("regulator_lift") - trace["regulator_lift"][0]
    drawn = PA * A0 * LEVER * x / station.rt
    assert -trace.totals["vented"] == pytest.approx(drawn, rel=0.02)
    suction = -trace["regulator_case_gauge_pressure"].min()
    fastest = 0.65 * pi / 4 * 1e-6 * sqrt(2 * suction * PA / station.rt)
    dip = trace.times[int(np.argmin(trace["outlet_gauge_pressure"]))]
    slow = trace.times[np.flatnonzero(trace["regulator_lift"] > trace["regulator_lift"][0] + 0.95 * x)[0]] - 10
    assert slow > 0.9 * drawn / fastest
    assert 10 < dip < 60


@pytest.mark.parametrize("leak", [2e-7, 3e-6])
def test_what_a_lifted_relief_passes(leak):
    """Curtain pi d y in series with the port, m = CA sqrt(2 rho dp) from below the diaphragm to the case."""
    nick = NickedSeat(devices="regulator", leak_area=leak, onset=HERE)
    trace = simulate(Scenario(demands=NIGHT, faults=(nick,), duration=5))
    y, p2 = trace.settled("regulator_relief_lift"), trace.settled("outlet_gauge_pressure")
    pv, rt = trace.settled("regulator_case_gauge_pressure"), trace.scenario.station.rt
    curtain, port = 0.65 * pi * 0.0127 * y, 0.65 * pi / 4 * 0.0127**2
    area = curtain * port / sqrt(curtain**2 + port**2)
    mean = PA + 0.5 * (p2 + pv)
    assert trace.totals["vented"] / 5 == pytest.approx(area * sqrt(2 * (p2 - pv) * mean / rt), rel=0.02)
    assert trace.totals["vented"] / 5 == pytest.approx(choked(leak, 60 * PSI + PA, rt), rel=0.01)
    # the relief spring holds what is across: (p2 - pv) A0 = F0 + Fr0 + Kr y, with the main spring let out by y
    held = (R.spring_preload + R.relief_preload + (1500 + RATE) * y) / A0
    assert p2 - pv == pytest.approx(held, rel=0.02)


def test_a_weak_relief_spring_starts_lower():
    """(F0 + share Fr0) / A0."""
    weak = WeakRelief(devices="regulator", left_share=0.5, onset=HERE)
    leak = NickedSeat(devices="regulator", leak_area=1e-8, onset=1, ramp=1)
    (opened, *_) = simulate(Scenario(demands=NIGHT, faults=(weak, leak))).happened("relief_opens")
    assert opened.value == pytest.approx((R.spring_preload + 0.5 * R.relief_preload) / A0, rel=5e-3)


def test_dirt_on_the_relief_weeps_as_a_tear_of_that_area():
    day = (Demand(0, 0.5),)
    dirt = WeakRelief(devices="regulator", left_share=1.0, weep_area=5e-7, onset=HERE)
    tear = TornDiaphragm(devices="regulator", hole_area=5e-7, lost_share=0.0, onset=HERE)
    a, b = (simulate(Scenario(demands=day, faults=(f,), duration=50)).totals["vented"] for f in (dirt, tear))
    assert a > 0
    assert a == pytest.approx(b, rel=1e-9)


# Loads, altitude, and the balance of mass


@pytest.mark.parametrize("altitude", [0, 1600])
def test_a_burner_s_flow_goes_with_the_root_of_the_pressure(altitude):
    """At its rated pressure it passes its rating; sqrt(p) holds at these pressures within half a per cent."""
    for set_point in (3.5, 7.0, 10.0):
        station = Station(regulators=(replace(R, set_gauge_pressure=set_point * IN_WC),), altitude=altitude)
        trace = simulate(Scenario(station, (Demand(0, 1.0),), duration=10))
        pressure = trace.settled("outlet_gauge_pressure")
        by_hand = 2e-3 * sqrt(pressure / (7 * IN_WC))
        assert trace.settled("appliances_flow") == pytest.approx(by_hand, rel=5e-3)


def test_a_demand_comes_on_in_a_straight_line():
    trace = simulate(Scenario(demands=(Demand(0, 0.2), Demand(20, 1.0, stroke=10)), duration=60))
    for time, share in ((19, 0.2), (22.5, 0.4), (25, 0.6), (27.5, 0.8), (40, 1.0)):
        pressure = trace.at("outlet_gauge_pressure", time)
        by_hand = share * 2e-3 * sqrt(pressure / (7 * IN_WC))
        assert trace.at("appliances_flow", time) == pytest.approx(by_hand, rel=0.01)


@pytest.mark.parametrize("altitude", [0, 1600, 3000])
def test_lock_up_is_a_gauge_pressure_whatever_the_altitude(altitude):
    station = Station(altitude=altitude)
    assert station.atmosphere == pytest.approx(standard_atmosphere(altitude), rel=1e-4)
    lock_up = (LEVER * R.spring_preload + 60 * PSI * AU + 14) / (LEVER * A0 + AU)
    outlet = simulate(Scenario(station, NIGHT)).settled("outlet_gauge_pressure")
    assert outlet == pytest.approx(lock_up, rel=1e-3)


ONE = "regulator"
EACH = {
    "healthy": (),
    "debris": (Debris(devices=ONE, height=2e-4, stiffness=1e8),),
    "nicked seat": (NickedSeat(devices=ONE, leak_area=1e-7),),
    "torn diaphragm": (TornDiaphragm(devices=ONE, hole_area=2e-5),),
    "blocked vent": (BlockedVent(devices=ONE),),
    "weak main spring": (WeakMainSpring(devices=ONE),),
    "weak relief": (WeakRelief(devices=ONE, weep_area=1e-7),),
    "stuck stem": (StuckStem(devices=ONE),),
    "supply change": (SupplyChange(devices="supply", gauge_pressure=20 * PSI),),
    "plugged filter": (PluggedFilter(devices="supply", blocked_share=0.99),),
    "all at once": (
        Debris(devices=ONE, height=2e-4),
        TornDiaphragm(devices=ONE, hole_area=2e-6),
        BlockedVent(devices=ONE, blocked_share=0.9),
        PluggedFilter(devices="supply", blocked_share=0.9),
    ),
}


@pytest.mark.parametrize("name", EACH)
def test_mass_balances(name):
    """Supplied = delivered + vented + stored to rounding, and what is stored is p V / RT of what the gauges show."""
    demands = (Demand(0, 1.0), Demand(120, 0.0), Demand(300, 0.5))
    trace = simulate(Scenario(demands=demands, faults=EACH[name], duration=400))
    totals, rt = trace.totals, trace.scenario.station.rt
    off = totals["supplied"] - totals["delivered"] - totals["vented"] - totals["stored"]
    assert abs(off) < 1e-9 * totals["supplied"]

    def held(i):
        lift, relief = trace["regulator_lift"][i], trace["regulator_relief_lift"][i]
        case = (PA + trace["regulator_case_gauge_pressure"][i]) * (5e-4 + A0 * (LEVER * lift - relief))
        volumes = (PA + trace["inlet_gauge_pressure"][i]) * 2e-3 + (PA + trace["outlet_gauge_pressure"][i]) * 5e-3
        return (case + volumes) / rt

    assert totals["stored"] == pytest.approx(held(-1) - held(0), rel=1e-5, abs=1e-7)
    # the flows that are shown are the flows that are counted
    density = PA * 0.60 * 0.0289626 / (8.314463 * 288.15 * 0.998)
    for signal, total in (("supply_flow", "supplied"), ("appliances_flow", "delivered")):
        summed = np.trapezoid(trace[signal], trace.times) * density
        assert summed == pytest.approx(totals[total], rel=0.03)
