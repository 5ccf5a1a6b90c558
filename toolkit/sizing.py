"""Relief sizing by two published standards, for comparison with the nozzle law of the course.

For teaching only: a real relief device is sized from its certified data, by the code in force and licensed practice.
"""

from __future__ import annotations

from math import sqrt

from toolkit import checks
from toolkit.errors import ScenarioError
from toolkit.flow import critical_flow_factor, critical_ratio
from toolkit.units import HOUR

# Constants of the SI forms (kg/h, kPa, mm2, kg/kmol). Source: `api-520-1`.
_API_CRITICAL, _API_SUBCRITICAL = 0.03948, 17.9
# Constant of the SI form (kg/h, bar, mm2, kg/kmol). Source: `iso-4126-1`.
_ISO_CRITICAL = 3.948


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
