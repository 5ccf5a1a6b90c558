"""The chance of a nuisance trip against two normal variables, and reliefs against the flow that comes."""

from dataclasses import replace
from math import sqrt

import pytest
from fluids.safety_valve import API520_C, API520_F2, API520_A_g
from layered import everything, monitored, with_relief_valve, with_second_seat
from scipy.stats import binomtest, norm

from toolkit.devices.balance import valve_area
from toolkit.errors import ScenarioError
from toolkit.flow import nozzle
from toolkit.gas import compressibility, standard_density
from toolkit.ladder import ladder, rung
from toolkit.layers import settled_run, wide_open
from toolkit.margins import nuisance, nuisance_of, relief_capacity, wilson
from toolkit.scenario import Station
from toolkit.sizing import API_526_LETTERS
from toolkit.units import IN_WC, PSI

# Nuisance trips


@pytest.mark.parametrize("apart", [0.0, 100.0, 250.0, 500.0])
def test_a_trip_on_high_pressure_against_the_closed_form(apart):
    rungs = (rung("lock_up", "worker", 2000.0, off=200.0), rung("slam_shut_high", "shut", 2000.0 + apart, off=300.0))
    (one,) = nuisance_of(rungs, draws=200_000, seed=3)
    # The difference of two normal variables is normal; a band's edge is two sigma.
    exact = norm.cdf(-apart / sqrt(100.0**2 + 150.0**2))
    assert one.low <= exact <= one.high
    assert one.chance == pytest.approx(exact, abs=4 * sqrt(exact * (1 - exact) / 200_000))
    assert one.high - one.low < 0.01
    assert (one.device, one.kind, one.meets) == ("shut", "slam_shut_high", "worker locks up")


def test_a_trip_on_low_pressure_against_the_closed_form():
    rungs = (rung("normal_full", "worker", 1800.0, off=90.0), rung("switch_low", "switch", 1700.0, off=170.0))
    (one,) = nuisance_of(rungs, draws=200_000, seed=4)
    assert one.low <= norm.cdf(-100.0 / sqrt(45.0**2 + 85.0**2)) <= one.high


def test_what_rides_in_the_worker_s_body_moves_with_its_spring():
    start = rung("relief_start", "worker", 2300.0, off=200.0)
    lock = rung("lock_up", "worker", 2000.0, off=400.0)
    (mine,) = nuisance_of((lock, start), draws=200_000)
    (other,) = nuisance_of((lock, replace(start, device="monitor")), draws=200_000)
    assert mine.low <= norm.cdf(-3.0) <= mine.high
    assert other.low <= norm.cdf(-300.0 / sqrt(100.0**2 + 200.0**2)) <= other.high


@pytest.mark.parametrize(
    ("hits", "draws"),
    [(0, 1), (1, 1), (0, 20), (20, 20), (3, 7), (19, 20), (81, 263), (37, 1000), (500, 1000)],
)
def test_the_interval_is_scipy_s(hits, draws):
    library = binomtest(hits, draws).proportion_ci(0.95, method="wilson")
    assert wilson(hits, draws) == pytest.approx((library.low, library.high), abs=1e-12)


def test_draws_are_seeded():
    station = everything()
    assert nuisance(station, "outlet") == nuisance(station, "outlet")
    rungs = (rung("lock_up", "worker", 2000.0, off=200.0), rung("valve_set", "valve", 2100.0, off=300.0))
    assert nuisance_of(rungs, seed=1) != nuisance_of(rungs, seed=2)
    assert {one.kind for one in nuisance(station, "outlet")} >= {"slam_shut_high", "slam_shut_low", "valve_set"}
    with pytest.raises(ScenarioError, match="draws"):
        nuisance_of(rungs, draws=3)


def test_a_trip_set_near_is_a_nuisance_and_one_set_far_is_not():
    station = everything()
    shut = station.slam_shuts[0]
    near = replace(station, slam_shuts=(replace(shut, high_gauge_pressure=8 * IN_WC),))
    chances = [
        next(one.chance for one in nuisance(found, "outlet", draws=5000) if one.kind == "slam_shut_high")
        for found in (near, station)
    ]
    assert chances[0] > 0.1
    assert chances[1] == 0.0


# Capacity


def test_the_worker_s_full_flow_is_that_of_its_choked_orifice():
    station = with_relief_valve()
    (one,) = relief_capacity(station, "outlet", 1 * PSI)
    regulator, pa = station.regulators[0], station.atmosphere
    law = nozzle(station.gas.heat_ratio, station.rt)
    # Choked, so that the pressure behind it does not matter; the inlet pipe costs it 1 or 2 %.
    most = law(valve_area(regulator.condition(), regulator.travel), pa + 60 * PSI, pa + 1 * PSI)
    most /= standard_density(station.gas)
    assert 0.95 * most < one.worker_flow < most


def test_two_regulators_wide_open_one_behind_the_other_pass_less_than_one():
    one, two = (
        relief_capacity(replace(found, relief_valves=with_relief_valve().relief_valves), "outlet", 1 * PSI)[0]
        for found in (with_relief_valve(), monitored())
    )
    # Two openings in series at one choked flow: pm = p1 CA1 / CA2 leaves the second less than the inlet pressure.
    assert 0.5 * one.worker_flow < two.worker_flow < 0.95 * one.worker_flow


def test_an_internal_relief_passes_the_full_flow_at_the_pressure_where_a_run_ends():
    # A larger vent and port than the default's, so that the end lies far below the supply.
    regulator = Station().regulators[0]
    station = replace(
        Station(),
        regulators=(replace(regulator, relief=replace(regulator.relief, start_above_set=4 * IN_WC)),),
    )
    trace = settled_run(station, 0.0, (wide_open(station.regulators[0], ramp=60.0),))
    end = trace.settled("outlet_gauge_pressure")
    (one,) = relief_capacity(station, "outlet", end)
    assert one.relief_flow == pytest.approx(one.worker_flow, rel=0.01)
    assert one.relief_flow == pytest.approx(trace.settled("regulator_vent_flow"), rel=0.01)


def test_a_relief_valve_is_enough_just_where_its_run_ends_below_the_limit():
    station = with_relief_valve()
    held = next(one.gauge_pressure for one in ladder(station, "outlet") if one.kind == "valve_held")
    below, above = (relief_capacity(station, "outlet", held * share)[0] for share in (0.98, 1.02))
    assert not below.enough
    assert above.enough
    assert below.relief_flow < below.worker_flow
    # Shut below its set pressure.
    assert relief_capacity(station, "outlet", 20 * IN_WC)[0].relief_flow == 0.0


@pytest.mark.parametrize(("share", "enough"), [(0.95, False), (1.05, True)])
def test_a_relief_is_enough_from_the_full_flow_on(share, enough):
    # Closed form: a nozzle's flow goes by the square of its bore; the stack is too wide to count.
    usual = with_relief_valve(stack_bore=1.0)
    (one,) = relief_capacity(usual, "outlet", 1 * PSI)
    bore = usual.relief_valves[0].orifice_diameter * sqrt(share * one.worker_flow / one.relief_flow)
    (two,) = relief_capacity(with_relief_valve(stack_bore=1.0, orifice_diameter=bore), "outlet", 1 * PSI)
    assert two.relief_flow == pytest.approx(share * two.worker_flow, rel=1e-3)
    assert two.enough is enough


def test_a_stack_as_wide_as_the_orifice_costs_a_relief_valve_its_share():
    # Closed form: two equal openings, one behind the other, are one smaller by the square root of 2.
    narrow, wide = (
        relief_capacity(with_relief_valve(orifice_diameter=0.02, stack_bore=bore), "outlet", 1 * PSI)[0].relief_flow
        for bore in (0.02, 1.0)
    )
    assert narrow == pytest.approx(wide / sqrt(2), rel=1e-3)


def test_the_worker_s_own_relief_is_judged_with_its_stem_held_wide_open():
    # Against a run: a small orifice, so that the relief ends far from its full lift, where the stem's place tells.
    regulator = replace(Station().regulators[0], orifice_diameter=0.003)
    station = Station(regulators=(regulator,))
    trace = settled_run(station, 0.0, (wide_open(regulator, ramp=60.0),))
    (one,) = relief_capacity(station, "outlet", trace.settled("outlet_gauge_pressure"))
    assert one.relief_flow == pytest.approx(trace.settled("regulator_vent_flow"), rel=0.01)


@pytest.mark.parametrize("limit", [1 * PSI, 20 * PSI])
def test_areas_are_those_of_the_standards(limit):
    # Reference library: fluids.safety_valve, API 520-1.
    station = with_relief_valve(set_gauge_pressure=0.9 * limit)
    (one,) = relief_capacity(station, "outlet", limit)
    gas, p1 = station.gas, station.atmosphere + limit
    mass = one.worker_flow * standard_density(gas) * 3600
    z = compressibility(gas, p1, station.temperature)
    if limit == 20 * PSI:
        more = {"Kd": 0.975, "Kb": 1, "Kc": 1}
        expected = API520_A_g(
            m=mass / 3600, T=station.temperature, Z=z, MW=gas.molar_mass * 1000, k=gas.heat_ratio, P1=p1, **more
        )
        assert API520_C(gas.heat_ratio) > 0
    else:
        pa, kpa = station.atmosphere, p1 / 1000
        f2 = API520_F2(gas.heat_ratio, p1, pa)
        root = sqrt(z * station.temperature / (gas.molar_mass * 1000 * kpa * (kpa - pa / 1000)))
        expected = 17.9 * mass / (f2 * 0.975) * root * 1e-6
    assert one.iso_area == pytest.approx(one.api_area * 0.975, rel=2e-3)  # Kd 0.975 against 1
    assert one.api_area == pytest.approx(expected, rel=2e-3)
    assert API_526_LETTERS[one.letter] >= one.api_area
    smaller = [area for area in API_526_LETTERS.values() if area < API_526_LETTERS[one.letter]]
    assert all(area < one.api_area for area in smaller)


def test_reliefs_are_judged_in_a_station_with_every_layer():
    # Switches name the loads that they lock out; the flow is sought without either.
    (one,) = relief_capacity(everything(), "outlet", 1 * PSI)
    assert one.device == "relief_valve"
    assert one.enough


def test_a_station_without_relief_has_none_to_size():
    assert relief_capacity(with_second_seat(), "outlet", 1 * PSI) == ()
    with pytest.raises(ScenarioError, match="less than the supply"):
        relief_capacity(with_relief_valve(), "outlet", 60 * PSI)
