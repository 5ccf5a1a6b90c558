from math import inf, isclose, nan, pi, sqrt

import pytest
from fluids.compressible import P_critical_flow, is_critical_flow, isentropic_work_compression
from fluids.control_valve import size_control_valve_g
from hypothesis import given, settings
from hypothesis import strategies as st
from published import published

from toolkit.errors import ScenarioError
from toolkit.flow import (
    LINEAR_BELOW,
    critical_flow_factor,
    critical_ratio,
    cv_from_kv,
    flow_area_for,
    flow_area_from_kv,
    kv_from_cv,
    kv_from_flow_area,
    mass_flow,
    nozzle,
    nozzle_choked_ratio,
    series_flow_area,
    standard_flow,
    valve_mass_flow,
)
from toolkit.gas import GASES, MOLAR_GAS_CONSTANT, NATURAL_GAS, PROPANE, rt
from toolkit.units import FOOT, HOUR, IN_WC, INCH, MINUTE, POUND, PSI, STANDARD_ATMOSPHERE

RT = rt(NATURAL_GAS, 288.15)
FLOW = nozzle(1.3, RT)
steady = settings(deadline=None, derandomize=True)
# Air as an ideal gas of 287 J/(kg K).
AIR_HEAT_RATIO, AIR_CONSTANT = 1.4, 287.0
areas = st.floats(1e-8, 1e-2)
pressures = st.floats(1e4, 1e7)


def share_of_choked(heat_ratio, ratio):
    """Flow of a nozzle at a pressure ratio over its greatest flow; printed tables give the inverse as A/A*."""
    flow = nozzle(heat_ratio, RT)
    return flow(1e-4, 1e5, ratio * 1e5) / flow(1e-4, 1e5, 0.0)


def air_flow(area, stagnation, temperature, back):
    return nozzle(AIR_HEAT_RATIO, AIR_CONSTANT * temperature)(area, stagnation, back)


def stagnation_of_cengels_example():
    """Air at 1 MPa and 600 degC (873 K, as the book rounds) that enters at 150 m/s; cp is 1 005 J/(kg K)."""
    temperature = 873 + 150**2 / (2 * 1005)
    return 1e6 * (temperature / 873) ** 3.5, temperature


CENGEL = stagnation_of_cengels_example()


@pytest.mark.parametrize(
    ("key", "result"),
    [
        ("critical_ratio_1_27", critical_ratio(1.27)),
        ("critical_ratio_1_40", critical_ratio(1.40)),
        # C of the US form is 520 times the choked factor, psi, lb/h, degR.
        ("api_c_1_13", 520 * critical_flow_factor(1.13)),
        ("api_c_1_27", 520 * critical_flow_factor(1.27)),
        ("api_c_1_40", 520 * critical_flow_factor(1.40)),
        ("iec_n1", kv_from_cv(1.0)),
        ("nozzle_xt", nozzle_choked_ratio(1.30)),
        ("api_c_table", [520 * critical_flow_factor(k) for k in published("api_c_heat_ratios").value]),
        ("asme_c_hydrocarbon", 520 * critical_flow_factor(1.001)),
        ("un_c_table", [critical_flow_factor(k) for k in published("un_heat_ratios").value]),
        ("choked_pressure_ratios", [1 / critical_ratio(k) for k in published("choked_heat_ratios").value]),
        ("data_book_critical_ratio", critical_ratio(AIR_HEAT_RATIO)),
        (
            "data_book_area_ratios",
            [1 / share_of_choked(AIR_HEAT_RATIO, r) for r in published("data_book_pressure_ratios").value],
        ),
        (
            "naca_area_ratios",
            [
                1 / share_of_choked(AIR_HEAT_RATIO, (1 + 0.2 * m**2) ** -3.5)
                for m in published("naca_mach_numbers").value
            ],
        ),
        ("white_choked_flow", air_flow(1.0, 1.0, 1 / AIR_CONSTANT, 0.0)),
        ("cengel_nozzle", air_flow(50e-4, *CENGEL, 0.7e6)),
        ("cengel_nozzle_choked", air_flow(50e-4, *CENGEL, 0.4e6)),
        ("cengel_tire", air_flow(pi / 4 * 0.004**2, 314e3, 298, 94e3) * MINUTE),
    ],
)
def test_flow_against_published_values(key, result):
    published(key).check(result)


def test_valve_against_the_standards_example_three():
    # IEC 60534-2-1 example 3, without fittings: carbon dioxide, flow counted at 0 degC and 101.325 kPa.
    molar_mass, temperature = 44.01e-3, 433.0
    mass = 3800 / HOUR * STANDARD_ATMOSPHERE * molar_mass / (MOLAR_GAS_CONSTANT * 273.15)
    for_each_kv = valve_mass_flow(1.0, 0.60, 680e3, 310e3, 1.30, 0.988 * MOLAR_GAS_CONSTANT / molar_mass * temperature)
    published("iec_example_3_kv").check(mass / for_each_kv)


@pytest.mark.parametrize("ratio", [0.05, 0.3, 0.6])
def test_valve_against_the_standards_constants(ratio):
    """Table 1 of IEC 60534-2-1, for Cv: W = N6 Cv Y sqrt(x p1 rho1) and W = N8 Cv p1 Y sqrt(x M / T1)."""
    upstream, xt, heat_ratio, molar_mass, temperature = 7e5, 0.7, 1.3, 17.4e-3, 300.0
    gas_rt = MOLAR_GAS_CONSTANT / molar_mass * temperature
    flow = valve_mass_flow(kv_from_cv(1.0), xt, upstream, upstream * (1 - ratio), heat_ratio, gas_rt)
    expansion = 1 - ratio / (3 * heat_ratio / 1.4 * xt)
    bars, density = upstream / 1e5, upstream / gas_rt
    published("iec_n6").check(flow * HOUR / (expansion * sqrt(ratio * bars * density)))
    published("iec_n8").check(flow * HOUR / (bars * expansion * sqrt(ratio * molar_mass * 1000 / temperature)))
    us = sqrt(ratio * upstream / PSI * density / POUND * FOOT**3)
    published("iec_n6_us").check(flow * HOUR / POUND / (expansion * us))


@pytest.mark.parametrize("downstream", [6.5e5, 5e5, 3.1e5, 1e5])
@pytest.mark.parametrize("heat_ratio", [1.13, 1.30, 1.40])
def test_valve_against_the_reference_library(downstream, heat_ratio):
    # `fluids`, size_control_valve_g without fittings; its N9 is rounded (0.15 %).
    kv = size_control_valve_g(T=300, MW=17.4, mu=1e-5, gamma=heat_ratio, Z=1.0, P1=7e5, P2=downstream, Q=0.2, xT=0.65)
    mass = 0.2 * STANDARD_ATMOSPHERE * 17.4e-3 / (MOLAR_GAS_CONSTANT * 273.15)
    ours = valve_mass_flow(kv, 0.65, 7e5, downstream, heat_ratio, MOLAR_GAS_CONSTANT / 17.4e-3 * 300)
    assert ours == pytest.approx(mass, rel=2e-3)


@pytest.mark.parametrize("heat_ratio", [1.13, 1.27, 1.30, 1.40])
@pytest.mark.parametrize("ratio", [0.1, 0.5, 0.55, 0.6, 0.9])
def test_choking_against_the_reference_library(heat_ratio, ratio):
    choked = FLOW if heat_ratio == 1.3 else nozzle(heat_ratio, RT)
    at_most = choked(1e-4, 1e5, 0.0)
    assert isclose(choked(1e-4, 1e5, ratio * 1e5), at_most) == is_critical_flow(1e5, ratio * 1e5, heat_ratio)


@pytest.mark.parametrize("heat_ratio", [1.13, 1.30, 1.40])
@pytest.mark.parametrize("ratio", [0.999, 0.95, 0.8, 0.6])
def test_subcritical_nozzle_against_the_energy_equation(heat_ratio, ratio):
    # `fluids`, isentropic_work_compression: the work an ideal gas gives up on its way to the throat is the energy of
    # its speed there; the isentrope gives the density. Our closed form is another path to the same number.
    temperature = RT / MOLAR_GAS_CONSTANT  # of a gas of 1 kg/mol
    work = -isentropic_work_compression(temperature, heat_ratio, Z=1.0, P1=1e5, P2=ratio * 1e5, eta=1.0)
    expected = 1e5 / RT * ratio ** (1 / heat_ratio) * sqrt(2 * work)
    assert nozzle(heat_ratio, RT)(1.0, 1e5, ratio * 1e5) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("heat_ratio", [1.13, 1.27, 1.30, 1.40])
def test_critical_ratio_against_the_reference_library(heat_ratio):
    assert critical_ratio(heat_ratio) == pytest.approx(P_critical_flow(1.0, heat_ratio), rel=1e-12)


def test_small_pressure_difference_is_bernoullis_orifice():
    # Just outside the stretch that is straight, where the gas has hardly thinned.
    difference = 1.5 * LINEAR_BELOW * 1e5
    assert FLOW(1e-4, 1e5, 1e5 - difference) == pytest.approx(1e-4 * sqrt(2 * difference * 1e5 / RT), rel=1e-3)


def test_iec_valve_chokes_at_the_flow_of_the_nozzle():
    for gas in GASES.values():
        k, gas_rt = gas.heat_ratio, rt(gas, 288.15)
        kv = kv_from_flow_area(1e-4)
        assert valve_mass_flow(kv, nozzle_choked_ratio(k), 4e5, 1e5, k, gas_rt) == pytest.approx(
            nozzle(k, gas_rt)(1e-4, 4e5, 1e5), rel=1e-12
        )


def test_kv_of_a_flow_area_follows_its_definition():
    # 1 m3/h of water (1 000 kg/m3) at 1 bar; N6 is printed as 31.6 for 31.623.
    water = flow_area_from_kv(1.0) * sqrt(2e5 / 1000) * HOUR
    assert water == pytest.approx(1.0, rel=1e-3)
    assert kv_from_flow_area(1e-6) == pytest.approx(0.050948, rel=1e-4)


@steady
@given(areas)
def test_kv_and_cv_round_trips(area):
    assert flow_area_from_kv(kv_from_flow_area(area)) == pytest.approx(area)
    assert cv_from_kv(kv_from_cv(area)) == pytest.approx(area)


@steady
@given(areas, areas, pressures, pressures)
def test_flow_grows_with_the_area(one, other, first, second):
    small, large = sorted((one, other))
    assert abs(FLOW(small, first, second)) <= abs(FLOW(large, first, second))


@steady
@given(areas, pressures, pressures, pressures)
def test_flow_grows_with_upstream_and_falls_with_downstream(area, one, other, fixed):
    low, high = sorted((one, other))
    slack = 1e-12 * abs(FLOW(area, high, fixed))
    assert FLOW(area, low, fixed) <= FLOW(area, high, fixed) + slack
    assert FLOW(area, fixed, high) <= FLOW(area, fixed, low) + slack


@steady
@given(areas, pressures, pressures)
def test_flow_turns_its_sign_with_the_pressures(area, first, second):
    assert FLOW(area, first, second) == -FLOW(area, second, first)
    assert (FLOW(area, first, second) > 0) == (first > second)


@steady
@given(pressures, st.sampled_from([1.13, 1.30, 1.40]), st.sampled_from([1.0, -1.0]))
def test_flow_is_continuous_where_its_pieces_meet(pressure, heat_ratio, side):
    flow = nozzle(heat_ratio, RT)
    for place in (critical_ratio(heat_ratio), 1 - LINEAR_BELOW, 1.0):
        here = flow(1e-4, pressure, place * pressure)
        beside = flow(1e-4, pressure, (place + side * 1e-12) * pressure)
        assert beside == pytest.approx(here, rel=1e-6, abs=1e-6 * flow(1e-4, pressure, 0.0))


def test_flow_through_the_gas_is_the_nozzle_with_its_rt():
    first, second = 5e5, 2e5
    assert mass_flow(1e-4, first, second, NATURAL_GAS, 288.15) == nozzle(1.3, rt(NATURAL_GAS, 288.15, first))(
        1e-4, first, second
    )
    assert mass_flow(1e-4, second, first, NATURAL_GAS, 288.15) == -mass_flow(1e-4, first, second, NATURAL_GAS, 288.15)
    assert mass_flow(1e-4, 0, 0, NATURAL_GAS, 288.15) == 0


def test_appliance_orifice_passes_its_rating():
    area = flow_area_for(2e-3, 7 * IN_WC, NATURAL_GAS, 288.15)
    back = mass_flow(area, STANDARD_ATMOSPHERE + 7 * IN_WC, STANDARD_ATMOSPHERE, NATURAL_GAS, 288.15)
    assert standard_flow(back, NATURAL_GAS) == pytest.approx(2e-3)


def test_burner_input_goes_with_the_square_root_of_the_pressure():
    half, whole = (flow_area_for(1e-3, p * IN_WC, PROPANE, 288.15) for p in (5.5, 11))
    assert half / whole == pytest.approx(sqrt(2), rel=1e-2)


def test_thin_air_takes_less_area_at_a_choked_gauge_pressure():
    # Choked flow goes with absolute upstream pressure, so the same gauge pressure gives less flow in the mountains.
    sea, mountain = (flow_area_for(1e-2, 40 * PSI, NATURAL_GAS, 288.15, air) for air in (101325.0, 84300.0))
    assert mountain / sea == pytest.approx((40 * PSI + 101325) / (40 * PSI + 84300), rel=2e-3)


def test_series_flow_area():
    orifice, curtain = pi * (INCH / 8) ** 2, 1e-5
    assert series_flow_area(orifice, curtain) == pytest.approx(orifice * curtain / sqrt(orifice**2 + curtain**2))
    assert series_flow_area(orifice) == pytest.approx(orifice)
    assert series_flow_area(orifice, 0.0) == 0
    assert series_flow_area() == 0


@steady
@given(st.lists(areas, min_size=2, max_size=5))
def test_series_flow_area_is_less_than_its_smallest_part(parts):
    assert series_flow_area(*parts) < min(parts)


def test_two_choked_openings_part_the_pressure_by_their_areas():
    middle = 6e5 * 1e-5 / 3e-5
    assert FLOW(1e-5, 6e5, middle) == pytest.approx(FLOW(3e-5, middle, 0.5e5))


@pytest.mark.parametrize(
    "call",
    [
        lambda: mass_flow(-1e-4, 2e5, 1e5, NATURAL_GAS, 288),
        lambda: mass_flow(nan, 2e5, 1e5, NATURAL_GAS, 288),
        lambda: mass_flow(1e-4, -2e5, 1e5, NATURAL_GAS, 288),
        lambda: mass_flow(1e-4, 2e5, inf, NATURAL_GAS, 288),
        lambda: mass_flow(1e-4, 9e5, 1e5, PROPANE, 288),
        lambda: flow_area_for(1e-3, 0, NATURAL_GAS, 288),
        lambda: flow_area_for(-1e-3, 1e3, NATURAL_GAS, 288),
        lambda: flow_area_for(1e-3, 1e3, NATURAL_GAS, 288, 0),
        lambda: series_flow_area(1e-4, -1e-4),
        lambda: valve_mass_flow(1, 0.7, 1e5, 2e5, 1.3, RT),
        lambda: valve_mass_flow(1, 0, 2e5, 1e5, 1.3, RT),
        lambda: valve_mass_flow(-1, 0.7, 2e5, 1e5, 1.3, RT),
    ],
)
def test_nonsense_is_refused(call):
    with pytest.raises(ScenarioError):
        call()
