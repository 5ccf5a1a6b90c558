"""The gases of the course: density, heat content, flammable range, and how far they are from ideal.

Where the compressibility factor Z matters: natural gas at a service regulator hardly notices it (Z = 0.998 at the
standard base, 0.99 at 5 bar), so a flow is wrong by 0.5 % at 5 bar if Z is left out. It counts for propane (0.982 at
the base, 0.91 at 5 bar) and for natural gas above about 20 bar (0.96).
"""

from __future__ import annotations

from dataclasses import dataclass

from toolkit import checks
from toolkit.errors import ScenarioError
from toolkit.units import BTU, SCF, STANDARD_ATMOSPHERE, STANDARD_TEMPERATURE

# J/(mol K), exact since 2019. Source: `si-brochure`.
MOLAR_GAS_CONSTANT = 8.31446261815324
# kg/mol, dry air. Source: `iso-6976`.
AIR_MOLAR_MASS = 0.0289626
PROPANE_MOLAR_MASS = 0.0440956


@dataclass(frozen=True)
class Gas:
    """A fuel gas.

    `relative_density` is the ratio of molar masses to air (specific gravity); `heat_ratio` is cp/cv;
    `heating_value` is the gross one in J per standard m3; the flammable limits are volume fractions in air;
    `critical_temperature` [K], `critical_pressure` [Pa absolute] and `acentric_factor` serve Z and condensation;
    `pipe_factor` and `pipe_expansibility` are Cr and Y of the fuel gas code's pipe equations.
    Raises ScenarioError on a value out of its range.
    """

    key: str
    name: str
    relative_density: float
    heat_ratio: float
    heating_value: float
    lower_flammable: float
    upper_flammable: float
    critical_temperature: float
    critical_pressure: float
    acentric_factor: float
    pipe_factor: float
    pipe_expansibility: float

    def __post_init__(self) -> None:
        checks.name("gas.key", self.key)
        for field, low, high, unit in (
            ("relative_density", 0.05, 10, ""),
            ("heat_ratio", 1.01, 1.7, ""),
            ("heating_value", 1e6, 1e9, "J per standard m3"),
            ("lower_flammable", 1e-4, 1, ""),
            ("upper_flammable", 1e-4, 1, ""),
            ("critical_temperature", 10, 1000, "K"),
            ("critical_pressure", 1e5, 1e8, "Pa"),
            ("acentric_factor", -0.5, 1, ""),
            ("pipe_factor", 0.1, 10, ""),
            ("pipe_expansibility", 0.5, 1.5, ""),
        ):
            checks.number(f"gas.{field}", getattr(self, field), low, high, unit)
        if self.upper_flammable <= self.lower_flammable:
            raise ScenarioError(
                "gas.upper_flammable", self.upper_flammable, "more than the lower limit", "Exchange the two limits."
            )

    @property
    def molar_mass(self) -> float:
        """Molar mass [kg/mol]."""
        return self.relative_density * AIR_MOLAR_MASS

    @property
    def specific_gas_constant(self) -> float:
        """R of this gas [J/(kg K)]."""
        return MOLAR_GAS_CONSTANT / self.molar_mass


# Heat content `eia-heat-content`, limits `flammable-limits`, critical constants of methane `smith-van-ness-abbott`,
# which serve a natural gas of relative density 0.60; Cr and Y `ifgc-equations`.
NATURAL_GAS = Gas(
    key="natural_gas",
    name="natural gas",
    relative_density=0.60,
    heat_ratio=1.30,
    heating_value=1036 * BTU / SCF,
    lower_flammable=0.05,
    upper_flammable=0.15,
    critical_temperature=190.6,
    critical_pressure=45.99e5,
    acentric_factor=0.012,
    pipe_factor=0.6094,
    pipe_expansibility=0.9992,
)
# Heat content `propane-heat-content`: the trade's figure a cubic foot, which takes propane as an ideal gas. A standard
# cubic foot of the real gas holds about 2 % more.
PROPANE = Gas(
    key="propane",
    name="propane",
    relative_density=PROPANE_MOLAR_MASS / AIR_MOLAR_MASS,
    heat_ratio=1.14,
    heating_value=2516 * BTU / SCF,
    lower_flammable=0.021,
    upper_flammable=0.095,
    critical_temperature=369.8,
    critical_pressure=42.48e5,
    acentric_factor=0.152,
    pipe_factor=1.2462,
    pipe_expansibility=0.9910,
)
GASES = {gas.key: gas for gas in (NATURAL_GAS, PROPANE)}


def vapour_pressure(gas: Gas, temperature: float) -> float:
    """Pressure at which the gas condenses [Pa absolute] at a temperature [K] below its critical one.

    The line through the critical point and the point that defines the acentric factor.

    Formula: pressure at which a gas condenses
        p = pc 10^(7/3 (1 + ω) (1 - Tc / T))
    Where:
        p: vapour pressure, absolute [Pa]
        pc (gas.critical_pressure): critical pressure of the gas, absolute [Pa]
        ω (gas.acentric_factor): its acentric factor
        Tc (gas.critical_temperature): its critical temperature [K]
        T (temperature): temperature [K]
    Holds: below the critical temperature; a line through two points, near enough to warn of condensation
    Source: `pitzer-acentric`.
    Example:
        US: propane, T = 60 °F gives p = 108.3 psia
        metric: propane, T = 15 °C gives p = 7.354 bar abs
    """
    reduced = checks.number("temperature", temperature, 100, 1000, "K") / gas.critical_temperature
    return float(gas.critical_pressure * 10 ** (7 / 3 * (1 + gas.acentric_factor) * (1 - 1 / reduced)))


def compressibility(gas: Gas, absolute_pressure: float, temperature: float) -> float:
    """Z of the gas, dimensionless, at a pressure [Pa absolute] and a temperature [K].

    Second virial coefficient by Abbott's equations. From -10 to 37 degC natural gas is within 0.5 % of the reference
    equations of state up to 10 bar and 2.5 % up to 40 bar, propane at 15 degC within 1 % up to 5 bar. Raises
    ScenarioError where the gas would condense or the equation no longer holds.

    Formula: compressibility factor
        Z = 1 + (B0 + ω B1) (p / pc) / (T / Tc)
        B0 = 0.083 - 0.422 / (T / Tc)^1.6
        B1 = 0.139 - 0.172 / (T / Tc)^4.2
    Where:
        Z: compressibility factor: 1 for an ideal gas
        p (absolute_pressure): pressure, absolute [Pa]
        pc (gas.critical_pressure): critical pressure of the gas, absolute [Pa]
        T (temperature): temperature [K]
        Tc (gas.critical_temperature): critical temperature of the gas [K]
        ω (gas.acentric_factor): its acentric factor
        B0: first part of the second virial coefficient
        B1: second part of it
    Holds: away from condensation; natural gas within 0.5 % to 10 bar, propane at 15 °C within 1 % to 5 bar
    Source: `smith-van-ness-abbott`.
    Example:
        US: natural gas, p = 74.7 psia, T = 60 °F gives Z = 0.990
        metric: propane, p = 5.000 bar abs, T = 15 °C gives Z = 0.909
    """
    checks.number("absolute_pressure", absolute_pressure, 0, 1e8, "Pa")
    reduced = checks.number("temperature", temperature, 100, 1000, "K") / gas.critical_temperature
    if reduced < 1 and absolute_pressure > (most := vapour_pressure(gas, temperature)):
        raise ScenarioError(
            "absolute_pressure",
            absolute_pressure,
            f"at most {most:.3g} Pa, where {gas.name} condenses at {temperature:.1f} K",
            "Lower the pressure or raise the temperature.",
        )
    b0 = 0.083 - 0.422 / reduced**1.6
    b1 = 0.139 - 0.172 / reduced**4.2
    z = float(1 + (b0 + gas.acentric_factor * b1) * absolute_pressure / gas.critical_pressure / reduced)
    if not 0.7 <= z <= 1.3:
        raise ScenarioError(
            "absolute_pressure",
            absolute_pressure,
            f"a pressure at which Z of {gas.name} is near 1",
            "Lower the pressure.",
        )
    return z


def rt(gas: Gas, temperature: float, absolute_pressure: float = STANDARD_ATMOSPHERE) -> float:
    """Z R T [J/kg] at a temperature [K] and a pressure [Pa absolute]: pressure over density. Errors as for Z."""
    return compressibility(gas, absolute_pressure, temperature) * gas.specific_gas_constant * temperature


def density(gas: Gas, absolute_pressure: float, temperature: float) -> float:
    """Density [kg/m3] at a pressure [Pa absolute] and a temperature [K]. Errors as for Z.

    Formula: density of a gas
        ρ = p / (Z R T)
        R = 8.3145 / M
    Where:
        ρ: density [kg/m³]
        p (absolute_pressure): pressure, absolute [Pa]
        Z: compressibility factor at that pressure and temperature
        R (gas.specific_gas_constant): gas constant of this gas [J/(kg K)]
        T (temperature): temperature [K]
        M (gas.molar_mass): molar mass [kg/mol]
    Holds: wherever Z does
    Source: `si-brochure`.
    Example:
        US: natural gas, p = 74.7 psia, T = 60 °F gives ρ = 0.235 lb/ft³
        metric: natural gas, p = 5.000 bar abs, T = 15 °C gives ρ = 3.66 kg/m³
    """
    return absolute_pressure / rt(gas, temperature, absolute_pressure)


def standard_density(gas: Gas) -> float:
    """Density [kg/m3] at 101.325 kPa and 15 degC. Source: `iso-13443`."""
    return density(gas, STANDARD_ATMOSPHERE, STANDARD_TEMPERATURE)
