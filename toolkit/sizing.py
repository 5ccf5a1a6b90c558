"""Relief sizing by two published standards, for comparison with the nozzle law of the course.

For teaching only: a real relief device is sized from its certified data, by the code in force and licensed practice.
"""

from __future__ import annotations

from math import sqrt

from toolkit import checks
from toolkit.errors import ScenarioError
from toolkit.flow import critical_flow_factor, critical_ratio
from toolkit.units import HOUR, INCH

# Constants of the SI forms (kg/h, kPa, mm2, kg/kmol). Source: `api-520-1`.
_API_CRITICAL, _API_SUBCRITICAL = 0.03948, 17.9
# Constant of the SI form (kg/h, bar, mm2, kg/kmol). Source: `iso-4126-1`.
_ISO_CRITICAL = 3.948

# Effective area [m2] of each standard orifice, by its letter, smallest first. Source: `api-526`.
API_526_LETTERS: dict[str, float] = {
    letter: square_inches * INCH**2
    for letter, square_inches in (
        ("D", 0.110),
        ("E", 0.196),
        ("F", 0.307),
        ("G", 0.503),
        ("H", 0.785),
        ("J", 1.287),
        ("K", 1.838),
        ("L", 2.853),
        ("M", 3.60),
        ("N", 4.34),
        ("P", 6.38),
        ("Q", 11.05),
        ("R", 16.00),
        ("T", 26.00),
    )
}


def api_520_area(
    mass_flow: float,
    relieving_absolute: float,
    back_absolute: float,
    temperature: float,
    molar_mass: float,
    heat_ratio: float,
    *,
    compressibility: float = 1.0,
    discharge: float = 0.975,
    back_pressure_factor: float = 1.0,
    disk_factor: float = 1.0,
) -> float:
    """Effective discharge area [m2] of a relief valve in gas service, critical or subcritical.

    Mass flow [kg/s], relieving and back pressure [Pa absolute], temperature [K], molar mass [kg/mol]; Kd, Kb and Kc
    dimensionless (Kb counts in critical flow only). Raises ScenarioError where there is no flow to size for.

    Formula: area of a relief valve, API 520
        A = W √(T Z / M) / (C Kd p1 Kb Kc)    if p2 / p1 ≤ r
        A = 17.9 W √(T Z / (M p1 (p1 - p2))) / (F2 Kd Kc)    else
        C = 0.03948 √(k) (2 / (k + 1))^((k + 1) / (2 (k - 1)))
    Where:
        A: effective discharge area [mm²]
        W (mass_flow): flow that the valve must pass [kg/h]
        T (temperature): relieving temperature [K]
        Z (compressibility): compressibility factor; 1 where it is left out
        M (molar_mass): molar mass [kg/kmol]
        C: constant of the gas
        p1 (relieving_absolute): relieving pressure, absolute [kPa]
        p2 (back_absolute): back pressure, absolute [kPa]
        r: ratio at which flow chokes
        k (heat_ratio): heat ratio of the gas, cp/cv
        F2: factor of subcritical flow
        Kd (discharge): effective discharge coefficient, 0.975 where it is left out
        Kb (back_pressure_factor): back pressure factor, 1 where it is left out
        Kc (disk_factor): factor of a rupture disk, 1 where it is left out
    Holds: gas and vapour; for comparison only: a real valve is sized from its certified data
    Source: `api-520-1`.
    Example:
        US: W = 500 lb/h, p1 = 74.7 psia, p2 = 14.7 psia,
            T = 60 °F, M = 17.4 g/mol, k = 1.30 gives A = 0.108 in²
        metric: W = 200 kg/h, p1 = 1.200 bar abs, p2 = 1.013 bar abs,
            T = 15 °C, M = 17.4 g/mol, k = 1.30 gives A = 348.0 mm²
    """
    kilograms = checks.number("mass_flow", mass_flow, 0, 1e4, "kg/s") * HOUR
    kilopascals = checks.number("relieving_absolute", relieving_absolute, 1e4, 1e8, "Pa") / 1000
    back = checks.number("back_absolute", back_absolute, 0, 1e8, "Pa") / 1000
    if back >= kilopascals:
        raise ScenarioError("back_absolute", back_absolute, "less than the relieving pressure", "Lower it.")
    molar = checks.number("molar_mass", molar_mass, 0.001, 1, "kg/mol") * 1000
    warmth = checks.number("temperature", temperature, 50, 2000, "K") * compressibility
    checks.number("heat_ratio", heat_ratio, 1.001, 2, "")
    ratio = back / kilopascals
    if ratio <= critical_ratio(heat_ratio):
        capacity = _API_CRITICAL * critical_flow_factor(heat_ratio) * discharge * kilopascals
        area = kilograms / (capacity * back_pressure_factor * disk_factor) * sqrt(warmth / molar)
    else:
        root = sqrt(warmth / (molar * kilopascals * (kilopascals - back)))
        factor = api_520_subcritical_factor(heat_ratio, ratio)
        area = _API_SUBCRITICAL * kilograms / (factor * discharge * disk_factor) * root
    return area * 1e-6


def api_520_subcritical_factor(heat_ratio: float, pressure_ratio: float) -> float:
    """F2 of the subcritical equation, dimensionless, for back over relieving pressure.

    Formula: factor of subcritical flow, API 520
        F2 = √((k / (k - 1)) x^(2 / k) (1 - x^((k - 1) / k)) / (1 - x))
    Where:
        F2: factor of subcritical flow
        k (heat_ratio): heat ratio of the gas, cp/cv
        x (pressure_ratio): back over relieving pressure, both absolute
    Holds: subcritical flow, x above the ratio at which flow chokes
    Source: `api-520-1`.
    Example:
        both: k = 1.30, x = 0.84 gives F2 = 0.90
    """
    k = checks.number("heat_ratio", heat_ratio, 1.001, 2, "")
    r = checks.number("pressure_ratio", pressure_ratio, 0.01, 0.999999, "")
    return sqrt(k / (k - 1) * r ** (2 / k) * (1 - r ** ((k - 1) / k)) / (1 - r))


def api_526_letter(area: float) -> str:
    """Letter of the smallest standard orifice whose effective area is at least `area` [m2].

    For an area by `api_520_area` with its default discharge: the standard's areas are effective ones and go with that
    equation only. Raises ScenarioError where no orifice is large enough. Source: `api-526`.
    """
    checks.number(
        "area",
        area,
        0,
        max(API_526_LETTERS.values()),
        "m2, the largest orifice (T)",
        mend="Share the flow among several relief valves.",
    )
    return next(letter for letter, offered in API_526_LETTERS.items() if offered >= area)


def iso_4126_area(
    mass_flow: float,
    relieving_absolute: float,
    back_absolute: float,
    temperature: float,
    molar_mass: float,
    heat_ratio: float,
    *,
    compressibility: float = 1.0,
    discharge: float = 1.0,
) -> float:
    """Flow area [m2] of a safety valve that passes a mass flow [kg/s]; `iso_4126_capacity` inverted.

    Raises ScenarioError as that does, and on a discharge coefficient that is not above nothing.
    """
    checks.number("mass_flow", mass_flow, 0, 1e4, "kg/s")
    checks.number("discharge", discharge, 0, 1, "", above=True)
    per_area = iso_4126_capacity(
        1.0,
        relieving_absolute,
        back_absolute,
        temperature,
        molar_mass,
        heat_ratio,
        compressibility=compressibility,
        discharge=discharge,
    )
    return mass_flow / per_area


def iso_4126_capacity(
    flow_area: float,
    relieving_absolute: float,
    back_absolute: float,
    temperature: float,
    molar_mass: float,
    heat_ratio: float,
    *,
    compressibility: float = 1.0,
    discharge: float = 1.0,
) -> float:
    """Mass flow [kg/s] of a safety valve's flow area [m2], in critical flow or below it.

    Relieving and back pressure [Pa absolute], temperature [K], molar mass [kg/mol]; the discharge coefficient is the
    certified, derated one, at that back pressure.

    Formula: capacity of a safety valve, ISO 4126
        W = p C A K Kb √(M / (Z T))
        C = 3.948 √(k) (2 / (k + 1))^((k + 1) / (2 (k - 1)))
        Kb = 1    if pb / p ≤ r
    Where:
        W: mass flow that it passes [kg/h]
        p (relieving_absolute): relieving pressure, absolute [bar]
        C: constant of the gas
        Kb: factor of subcritical flow
        pb (back_absolute): back pressure, absolute [bar]
        r: ratio at which flow chokes
        k (heat_ratio): heat ratio of the gas, cp/cv
        A (flow_area): flow area of the valve [mm²]
        K (discharge): certified, derated discharge coefficient, 1 where it is left out
        M (molar_mass): molar mass [kg/kmol]
        Z (compressibility): compressibility factor; 1 where it is left out
        T (temperature): relieving temperature [K]
    Holds: for comparison: a real valve is sized from its certified data
    Source: `iso-4126-1`.
    Example:
        US: A = 0.500 in², p = 74.7 psia, pb = 14.7 psia,
            T = 60 °F, M = 17.4 g/mol, k = 1.30, K = 0.70 gives W = 1,658 lb/h
        metric: A = 300.0 mm², p = 5.000 bar abs, pb = 1.013 bar abs,
            T = 15 °C, M = 17.4 g/mol, k = 1.30, K = 0.70 gives W = 680 kg/h
    """
    square_mm = checks.number("flow_area", flow_area, 0, 1, "m2") * 1e6
    bars = checks.number("relieving_absolute", relieving_absolute, 1e4, 1e8, "Pa") / 1e5
    back = checks.number("back_absolute", back_absolute, 0, relieving_absolute, "Pa")
    molar = checks.number("molar_mass", molar_mass, 0.001, 1, "kg/mol") * 1000
    warmth = checks.number("temperature", temperature, 50, 2000, "K") * compressibility
    checks.number("heat_ratio", heat_ratio, 1.001, 2, "")
    capacity = _ISO_CRITICAL * critical_flow_factor(heat_ratio)
    if (ratio := back / relieving_absolute) > critical_ratio(heat_ratio):
        capacity *= iso_4126_subcritical_factor(heat_ratio, ratio)
    return bars * capacity * square_mm * discharge * sqrt(molar / warmth) / HOUR


def iso_4126_subcritical_factor(heat_ratio: float, pressure_ratio: float) -> float:
    """Kb of the capacity in subcritical flow, dimensionless, for back over relieving pressure; 1 where it chokes.

    Formula: factor of subcritical flow, ISO 4126
        Kb = √(2 k / (k - 1)) √(x^(2 / k) - x^((k + 1) / k)) / (√(k) (2 / (k + 1))^((k + 1) / (2 (k - 1))))
    Where:
        Kb: factor of subcritical flow
        k (heat_ratio): heat ratio of the gas, cp/cv
        x (pressure_ratio): back over relieving pressure, both absolute
    Holds: subcritical flow, x above the ratio at which flow chokes
    Source: `iso-4126-1`.
    Example:
        both: k = 1.30, x = 0.84 gives Kb = 0.77
    """
    k = checks.number("heat_ratio", heat_ratio, 1.001, 2, "")
    r = checks.number("pressure_ratio", pressure_ratio, 0.01, 1, "")
    return sqrt(2 * k / (k - 1)) * sqrt(r ** (2 / k) - r ** ((k + 1) / k)) / critical_flow_factor(k)
