"""Gas flow through openings: one law, the isentropic nozzle, everywhere."""

from __future__ import annotations

from collections.abc import Callable
from functools import reduce
from math import sqrt

from toolkit import checks
from toolkit.gas import Gas, rt, standard_density
from toolkit.units import BAR, GALLON, HOUR, MINUTE, PSI, STANDARD_ATMOSPHERE

# Below this |1 - downstream/upstream| the law is taken as a straight line: its slope at zero pressure difference is
# infinite, which no implicit solver survives.
LINEAR_BELOW = 2e-4
# kg/h of a gas by Kv, bar and kg/m3; the heat ratio of air, to which xT is referred. Source: `iec-60534-2-1`.
IEC_N6 = 31.6
AIR_HEAT_RATIO = 1.4
# A US gallon a minute at 1 psi, in m3/h at 1 bar.
KV_OF_CV = GALLON * HOUR / MINUTE / sqrt(PSI / BAR)


def critical_ratio(heat_ratio: float) -> float:
    """Downstream/upstream absolute pressure at and below which the flow is choked."""
    return float((2.0 / (heat_ratio + 1.0)) ** (heat_ratio / (heat_ratio - 1.0)))


def critical_flow_factor(heat_ratio: float) -> float:
    """C* of the choked nozzle, dimensionless: mass flow = flow area x upstream pressure x C* / sqrt(RT)."""
    k = heat_ratio
    return float(sqrt(k) * (2.0 / (k + 1.0)) ** ((k + 1.0) / (2.0 * (k - 1.0))))


def nozzle(heat_ratio: float, rt: float) -> Callable[[float, float, float], float]:
    """The nozzle law for one gas at one temperature, as a function of plain floats.

    `rt` is Z R T in J/kg. The function returned takes (flow area [m2], absolute pressure on one side [Pa], on the
    other [Pa]) and gives the mass flow [kg/s] from the first to the second, negative when it runs the other way.
    """
    k = heat_ratio
    rc = critical_ratio(k)
    choked = critical_flow_factor(k) / sqrt(rt)
    front = sqrt(2.0 * k / (k - 1.0) / rt)
    two, more = 2.0 / k, (k - 1.0) / k
    r0 = 1.0 - LINEAR_BELOW
    slope = front * sqrt(r0**two - r0 ** (two + more)) / LINEAR_BELOW

    def flow(area: float, first: float, second: float) -> float:
        if second <= first:
            r = second / first
            if r <= rc:
                return area * first * choked
            if r > r0:
                return area * (first - second) * slope
            a = r**two
            return area * first * front * sqrt(a - a * r**more)
        r = first / second
        if r <= rc:
            return -area * second * choked
        if r > r0:
            return area * (first - second) * slope
        a = r**two
        return -area * second * front * sqrt(a - a * r**more)

    return flow


def mass_flow(
    flow_area: float, upstream_absolute: float, downstream_absolute: float, gas: Gas, temperature: float
) -> float:
    """Mass flow [kg/s] through a flow area [m2] between two pressures [Pa absolute] at a temperature [K].

    Negative when the second pressure is the higher one. Z is taken at the higher pressure. Raises ScenarioError on a
    negative area or pressure, or where the gas would condense. Source: `white-fluid-mechanics`.
    """
    checks.number("flow_area", flow_area, 0, 100, "m2")
    for field, pressure in (("upstream_absolute", upstream_absolute), ("downstream_absolute", downstream_absolute)):
        checks.number(field, pressure, 0, 1e8, "Pa")
    higher = max(upstream_absolute, downstream_absolute)
    if higher == 0:
        return 0.0
    return nozzle(gas.heat_ratio, rt(gas, temperature, higher))(flow_area, upstream_absolute, downstream_absolute)


def standard_flow(mass_flow: float, gas: Gas) -> float:
    """Standard volume flow [m3/s at 15 degC, 101.325 kPa] of a mass flow [kg/s]."""
    return mass_flow / standard_density(gas)


def flow_area_for(
    standard_flow: float,
    gauge_pressure: float,
    gas: Gas,
    temperature: float,
    site_atmosphere: float = STANDARD_ATMOSPHERE,
) -> float:
    """Flow area [m2] that passes a standard volume flow [m3/s] from a gauge pressure [Pa] to the open air.

    The orifice of an appliance from its rating, or the relief opening that a flow asks for. Raises ScenarioError
    unless flow and pressure are above nothing.
    """
    checks.number("standard_flow", standard_flow, 0, 1e4, "m3/s")
    checks.number("gauge_pressure", gauge_pressure, 0, 1e8, "Pa", above=True)
    checks.number("site_atmosphere", site_atmosphere, 1e4, 2e5, "Pa")
    per_area = mass_flow(1.0, site_atmosphere + gauge_pressure, site_atmosphere, gas, temperature)
    return standard_flow * standard_density(gas) / per_area


def series(first: float, second: float) -> float:
    """One flow area [m2] for two, one behind the other; 0 where either is shut. Unchecked, for the engine."""
    if first <= 0.0 or second <= 0.0:
        return 0.0
    return first * second / sqrt(first * first + second * second)


def series_flow_area(*flow_areas: float) -> float:
    """One flow area [m2] that stands for several, one behind the other.

    Exact for a small pressure difference; for a large one it is a first estimate, since the gas thins on its way.
    """
    for area in flow_areas:
        checks.number("flow_area", area, 0, 100, "m2")
    return reduce(series, flow_areas) if flow_areas else 0.0


def kv_from_flow_area(flow_area: float) -> float:
    """Kv [m3/h of water at 1 bar] of a flow area [m2]: 1 mm2 is 0.050948 m3/h. Source: `iec-60534-2-1`."""
    return flow_area / flow_area_from_kv(1.0)


def flow_area_from_kv(kv: float) -> float:
    """Flow area [m2] of a Kv [m3/h of water at 1 bar]. Source: `iec-60534-2-1`."""
    return kv * IEC_N6 / (HOUR * sqrt(2 * BAR))


def kv_from_cv(cv: float) -> float:
    """Kv of a Cv [US gallons a minute of water at 1 psi]."""
    return cv * KV_OF_CV


def cv_from_kv(kv: float) -> float:
    """Cv of a Kv."""
    return kv / KV_OF_CV


def valve_mass_flow(
    kv: float, choked_ratio: float, upstream_absolute: float, downstream_absolute: float, heat_ratio: float, rt: float
) -> float:
    """Mass flow [kg/s] of a gas through a valve without fittings, by its Kv [m3/h] and its xT (`choked_ratio`).

    `rt` is Z R T [J/kg] at the inlet; pressures in Pa absolute, the upstream one the higher. Raises ScenarioError
    otherwise. With `choked_ratio` = `nozzle_choked_ratio(k)` the choked flow is that of the nozzle; below it the two
    laws are different curves. Source: `iec-60534-2-1`.
    """
    checks.number("kv", kv, 0, 1e6, "m3/h")
    checks.number("choked_ratio", choked_ratio, 0, 2, "", above=True)
    checks.number("upstream_absolute", upstream_absolute, 0, 1e8, "Pa", above=True)
    checks.number("downstream_absolute", downstream_absolute, 0, upstream_absolute, "Pa")
    most = heat_ratio / AIR_HEAT_RATIO * choked_ratio
    ratio = min(1 - downstream_absolute / upstream_absolute, most)
    expansion = 1 - ratio / (3 * most)
    density = upstream_absolute / rt
    return kv / HOUR * IEC_N6 * expansion * sqrt(ratio * upstream_absolute / BAR * density)


def nozzle_choked_ratio(heat_ratio: float) -> float:
    """The xT with which `valve_mass_flow` chokes at the flow of the nozzle: 0.539 at a heat ratio of 1.30."""
    return 1.125 * critical_flow_factor(heat_ratio) ** 2 / (heat_ratio / AIR_HEAT_RATIO)
