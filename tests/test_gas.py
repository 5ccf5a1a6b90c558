from dataclasses import replace
from math import inf, nan, sqrt

import pytest
from CoolProp.CoolProp import PropsSI
from published import published

from toolkit.errors import ScenarioError
from toolkit.gas import (
    GASES,
    MOLAR_GAS_CONSTANT,
    NATURAL_GAS,
    PROPANE,
    compressibility,
    density,
    rt,
    standard_density,
    vapour_pressure,
)
from toolkit.units import (
    BTU,
    FAHRENHEIT_DEGREE,
    FAHRENHEIT_ZERO,
    FOOT,
    POUND,
    PSI,
    SCF,
    SIXTY_FAHRENHEIT,
    STANDARD_ATMOSPHERE,
    STANDARD_TEMPERATURE,
)

METHANE = replace(NATURAL_GAS, key="methane", relative_density=0.5539)  # molar masses 16.043 and 28.963
# A mixture with the relative density of the course's natural gas, 0.60, for the reference library.
MIXTURE = "HEOS::Methane[0.917]&Ethane[0.055]&Propane[0.008]&Nitrogen[0.010]&CarbonDioxide[0.010]"

GPA_BASE = 14.696 * PSI, SIXTY_FAHRENHEIT


def ideal_volume(pressure, temperature):
    """Standard m3 (ideal gas) of a cubic metre at a pressure and a temperature."""
    return pressure / STANDARD_ATMOSPHERE * STANDARD_TEMPERATURE / temperature


def fahrenheit(degrees):
    return FAHRENHEIT_ZERO + degrees * FAHRENHEIT_DEGREE


@pytest.mark.parametrize(
    ("key", "result"),
    [
        ("methane_z_1_bar", compressibility(METHANE, 1e5, STANDARD_TEMPERATURE)),
        ("methane_z_10_bar", compressibility(METHANE, 10e5, STANDARD_TEMPERATURE)),
        ("methane_density_1_bar", density(METHANE, 1e5, STANDARD_TEMPERATURE)),
        ("propane_z_1_bar", compressibility(PROPANE, 1e5, STANDARD_TEMPERATURE)),
        ("propane_density_1_bar", density(PROPANE, 1e5, STANDARD_TEMPERATURE)),
        ("methane_heat_ratio", NATURAL_GAS.heat_ratio),
        ("propane_heat_ratio", PROPANE.heat_ratio),
        ("natural_gas_btu", NATURAL_GAS.heating_value / BTU * SCF),
        ("natural_gas_flammable", [NATURAL_GAS.lower_flammable, NATURAL_GAS.upper_flammable]),
        ("propane_flammable", [PROPANE.lower_flammable, PROPANE.upper_flammable]),
        ("air_density", standard_density(NATURAL_GAS) / NATURAL_GAS.relative_density),
        ("gpa_propane_molar_mass", PROPANE.molar_mass * 1000),
        ("gpa_methane_summation", sqrt(1 - compressibility(METHANE, *GPA_BASE))),
        ("gpa_propane_summation", sqrt(1 - compressibility(PROPANE, *GPA_BASE))),
        ("gpa_propane_heating_value", PROPANE.heating_value / BTU * FOOT**3 * ideal_volume(*GPA_BASE)),
        ("gpa_propane_vapour_pressure", vapour_pressure(PROPANE, fahrenheit(100)) / PSI),
        ("epa_methane_density", density(METHANE, STANDARD_ATMOSPHERE, SIXTY_FAHRENHEIT) * FOOT**3 / POUND),
        ("epa_natural_gas_heating_value", NATURAL_GAS.heating_value / BTU * SCF / 1000),
        ("epa_propane_heating_value", PROPANE.heating_value / BTU * SCF / 1000),
        ("can_propane_relative_density", PROPANE.relative_density),
        ("can_propane_heating_value", PROPANE.heating_value / 1000),
        ("lp_gas_boiling_pressure", vapour_pressure(PROPANE, fahrenheit(-44)) / PSI),
        # The trade's figure treats propane as an ideal gas.
        (
            "propane_combustion",
            PROPANE.heating_value * MOLAR_GAS_CONSTANT * STANDARD_TEMPERATURE / STANDARD_ATMOSPHERE,
        ),
    ],
)
def test_gases_against_published_values(key, result):
    published(key).check(result)


def test_virial_correlation_against_its_books_example():
    temperature, pressure, acentric = published("butane_constants").value
    butane = replace(
        PROPANE,
        key="butane",
        critical_temperature=temperature,
        critical_pressure=pressure * 1e5,
        acentric_factor=acentric,
    )
    z = compressibility(butane, 25e5, 510)
    published("butane_z").check(z)
    published("butane_molar_volume").check(z * MOLAR_GAS_CONSTANT * 510 / 25e5 * 1e6)


@pytest.mark.parametrize("temperature", [263.15, 288.15, 310.0])
@pytest.mark.parametrize(("pressure", "tolerance"), [(1e5, 5e-4), (5e5, 2.5e-3), (10e5, 5e-3), (40e5, 2.5e-2)])
def test_natural_gas_z_against_the_reference_library(temperature, pressure, tolerance):
    # CoolProp's mixture model. The tolerance grows with the pressure: the third virial coefficient is left out, and
    # methane's critical constants stand for those of the mixture.
    assert PropsSI("M", MIXTURE) / PropsSI("M", "Air") == pytest.approx(NATURAL_GAS.relative_density, rel=5e-3)
    reference = PropsSI("Z", "T", temperature, "P", pressure, MIXTURE)
    assert compressibility(NATURAL_GAS, pressure, temperature) == pytest.approx(reference, rel=tolerance)


@pytest.mark.parametrize(("pressure", "tolerance"), [(1e5, 1e-3), (2e5, 2e-3), (5e5, 1e-2)])
def test_propane_z_against_the_reference_library(pressure, tolerance):
    # CoolProp; the virial equation with one coefficient loses its hold on the way to condensation at 7.3 bar.
    reference = PropsSI("Z", "T", STANDARD_TEMPERATURE, "P", pressure, "Propane")
    assert compressibility(PROPANE, pressure, STANDARD_TEMPERATURE) == pytest.approx(reference, rel=tolerance)


@pytest.mark.parametrize("temperature", [250.0, 288.15, 310.0])
def test_vapour_pressure_against_the_reference_library(temperature):
    reference = PropsSI("P", "T", temperature, "Q", 1, "Propane")
    # CoolProp; a straight line through two points of the curve.
    assert vapour_pressure(PROPANE, temperature) == pytest.approx(reference, rel=0.02)


@pytest.mark.parametrize(("gas", "name"), [(NATURAL_GAS, "Methane"), (PROPANE, "Propane")])
def test_critical_constants_against_the_reference_library(gas, name):
    # CoolProp; the book's figures are rounded.
    assert gas.critical_temperature == pytest.approx(PropsSI("Tcrit", name), rel=1e-3)
    assert gas.critical_pressure == pytest.approx(PropsSI("Pcrit", name), rel=1e-3)
    assert gas.acentric_factor == pytest.approx(PropsSI("acentric", name), abs=1e-3)


def test_molar_mass_of_propane_against_the_reference_library():
    assert PROPANE.molar_mass == pytest.approx(PropsSI("M", "Propane"), rel=1e-5)


def test_where_z_matters():
    """The sentences at the head of the module."""
    assert compressibility(NATURAL_GAS, STANDARD_ATMOSPHERE, STANDARD_TEMPERATURE) == pytest.approx(0.998, abs=5e-4)
    assert compressibility(NATURAL_GAS, 5e5, STANDARD_TEMPERATURE) == pytest.approx(0.99, abs=5e-3)
    assert compressibility(NATURAL_GAS, 20e5, STANDARD_TEMPERATURE) == pytest.approx(0.96, abs=5e-3)
    assert compressibility(PROPANE, STANDARD_ATMOSPHERE, STANDARD_TEMPERATURE) == pytest.approx(0.982, abs=5e-4)
    assert compressibility(PROPANE, 5e5, STANDARD_TEMPERATURE) == pytest.approx(0.91, abs=5e-3)


def test_rt_is_pressure_over_density():
    for gas in GASES.values():
        assert rt(gas, 280, 3e5) == pytest.approx(3e5 / density(gas, 3e5, 280))
        assert rt(gas, 288.15) == pytest.approx(STANDARD_ATMOSPHERE / standard_density(gas))
    assert compressibility(NATURAL_GAS, 0, 288.15) == 1


def test_propane_condenses_rather_than_go_on_as_a_gas():
    with pytest.raises(ScenarioError, match="condenses"):
        compressibility(PROPANE, 8e5, STANDARD_TEMPERATURE)


def test_z_is_refused_where_the_equation_no_longer_holds():
    with pytest.raises(ScenarioError, match="near 1"):
        compressibility(NATURAL_GAS, 300e5, STANDARD_TEMPERATURE)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("key", "two words"),
        ("relative_density", 0.0),
        ("relative_density", nan),
        ("heat_ratio", 1.0),
        ("heat_ratio", inf),
        ("heating_value", -1.0),
        ("lower_flammable", 0.2),
        ("upper_flammable", 1.5),
        ("critical_temperature", "190"),
        ("critical_pressure", True),
        ("acentric_factor", 3.0),
        ("pipe_factor", 0.0),
        ("pipe_expansibility", 0.0),
    ],
)
def test_nonsense_gas_is_refused(field, value):
    with pytest.raises(ScenarioError) as error:
        replace(NATURAL_GAS, **{field: value})
    assert error.value.mend


@pytest.mark.parametrize(("pressure", "temperature"), [(-1.0, 288.0), (nan, 288.0), (1e5, 0.0), (1e5, nan)])
def test_nonsense_state_is_refused(pressure, temperature):
    with pytest.raises(ScenarioError):
        rt(NATURAL_GAS, temperature, pressure)
