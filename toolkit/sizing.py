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
    Source: `api-520-1`.
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
    """F2 of the subcritical equation, dimensionless, for back over relieving pressure. Source: `api-520-1`."""
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
    temperature: float,
    molar_mass: float,
    heat_ratio: float,
    *,
    compressibility: float = 1.0,
    discharge: float = 1.0,
) -> float:
    """Flow area [m2] of a safety valve that passes a mass flow [kg/s] in critical flow; `iso_4126_capacity` inverted.

    Raises ScenarioError as that does, and on a discharge coefficient that is not above nothing.
    """
    checks.number("mass_flow", mass_flow, 0, 1e4, "kg/s")
    checks.number("discharge", discharge, 0, 1, "", above=True)
    per_area = iso_4126_capacity(
        1.0,
        relieving_absolute,
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
    temperature: float,
    molar_mass: float,
    heat_ratio: float,
    *,
    compressibility: float = 1.0,
    discharge: float = 1.0,
) -> float:
    """Critical mass flow [kg/s] of a safety valve's flow area [m2].

    Relieving pressure [Pa absolute], temperature [K], molar mass [kg/mol]; the discharge coefficient is the certified,
    derated one. Source: `iso-4126-1`.
    """
    square_mm = checks.number("flow_area", flow_area, 0, 1, "m2") * 1e6
    bars = checks.number("relieving_absolute", relieving_absolute, 1e4, 1e8, "Pa") / 1e5
    molar = checks.number("molar_mass", molar_mass, 0.001, 1, "kg/mol") * 1000
    warmth = checks.number("temperature", temperature, 50, 2000, "K") * compressibility
    checks.number("heat_ratio", heat_ratio, 1.001, 2, "")
    capacity = _ISO_CRITICAL * critical_flow_factor(heat_ratio)
    return bars * capacity * square_mm * discharge * sqrt(molar / warmth) / HOUR
