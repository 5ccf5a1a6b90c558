"""Gas flow through openings: one law, the isentropic nozzle, everywhere."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial, reduce
from math import sqrt
from typing import NamedTuple

from toolkit import checks
from toolkit.compiled import compiled
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
    """Downstream/upstream absolute pressure at and below which the flow is choked.

    Formula: where flow chokes
        r = (2 / (k + 1))^(k / (k - 1))
    Where:
        r: pressure behind over pressure before the opening, both absolute
        k (heat_ratio): heat ratio of the gas, cp/cv
    Holds: smooth openings; at r and below it only the pressure before the opening counts
    Source: `white-fluid-mechanics`.
    Example:
        both: k = 1.30 gives r = 0.546
    """
    return float((2.0 / (heat_ratio + 1.0)) ** (heat_ratio / (heat_ratio - 1.0)))


def critical_flow_factor(heat_ratio: float) -> float:
    """C* of the choked nozzle, dimensionless: mass flow = flow area x upstream pressure x C* / sqrt(RT).

    Formula: critical flow factor
        C* = √(k) (2 / (k + 1))^((k + 1) / (2 (k - 1)))
    Where:
        C*: critical flow factor
        k (heat_ratio): heat ratio of the gas, cp/cv
    Holds: choked flow through smooth openings
    Source: `white-fluid-mechanics`.
    Example:
        both: k = 1.30 gives C* = 0.667
    """
    k = heat_ratio
    return float(sqrt(k) * (2.0 / (k + 1.0)) ** ((k + 1.0) / (2.0 * (k - 1.0))))


class NozzleLaw(NamedTuple):
    """The numbers of the nozzle law for one gas at one temperature."""

    critical: float  # ratio of the pressures at and below which it chokes
    choked: float  # choked flow by area and pressure, s/m
    front: float  # the same before the root of the ratios
    two: float  # 2/k
    more: float  # (k - 1)/k
    straight: float  # ratio above which it is taken as a straight line
    slope: float  # flow by area and difference of pressure on that line, s/m


def nozzle_law(heat_ratio: float, rt: float) -> NozzleLaw:
    """The nozzle law of a gas by its heat ratio and `rt`, Z R T [J/kg]."""
    k = heat_ratio
    front = sqrt(2.0 * k / (k - 1.0) / rt)
    two, more = 2.0 / k, (k - 1.0) / k
    straight = 1.0 - LINEAR_BELOW
    slope = front * sqrt(straight**two - straight ** (two + more)) / LINEAR_BELOW
    return NozzleLaw(critical_ratio(k), critical_flow_factor(k) / sqrt(rt), front, two, more, straight, slope)


@compiled
def through(law: NozzleLaw, area: float, first: float, second: float) -> float:
    """Mass flow [kg/s] through a flow area [m2] from one absolute pressure [Pa] to another, negative against it."""
    if area == 0.0:
        return 0.0
    if second <= first:
        upstream, downstream, sign = first, second, 1.0
    else:
        upstream, downstream, sign = second, first, -1.0
    r = downstream / upstream
    if r <= law.critical:
        return sign * area * upstream * law.choked
    if r > law.straight:
        return area * (first - second) * law.slope
    a = r**law.two
    return sign * area * upstream * law.front * sqrt(a - a * r**law.more)


def nozzle(heat_ratio: float, rt: float) -> Callable[[float, float, float], float]:
    """The nozzle law for one gas at one temperature, as a function of plain floats.

    `rt` is Z R T in J/kg. The function returned takes (flow area [m2], absolute pressure on one side [Pa], on the
    other [Pa]) and gives the mass flow [kg/s] from the first to the second, negative when it runs the other way.
    """
    return partial(through, nozzle_law(heat_ratio, rt))


def mass_flow(
    flow_area: float, upstream_absolute: float, downstream_absolute: float, gas: Gas, temperature: float
) -> float:
    """Mass flow [kg/s] through a flow area [m2] between two pressures [Pa absolute] at a temperature [K].

    Negative when the second pressure is the higher one. Z is taken at the higher pressure. Raises ScenarioError on a
    negative area or pressure, or where the gas would condense.

    Formula: flow through an opening, choked and not
        m = CA p1 C* / √(Z R T)    if p2 / p1 ≤ r
        m = CA p1 √(2 k / ((k - 1) Z R T)) √((p2 / p1)^(2 / k) - (p2 / p1)^((k + 1) / k))    else
    Where:
        m: mass flow [kg/s]
        CA (flow_area): flow area, discharge coefficient times area [m²]
        p1 (upstream_absolute): pressure before the opening, absolute [Pa]
        p2 (downstream_absolute): pressure behind it, absolute [Pa]
        C*: critical flow factor
        r: ratio at which flow chokes
        k (gas.heat_ratio): heat ratio of the gas, cp/cv
        Z: compressibility factor at the higher pressure
        R (gas.specific_gas_constant): gas constant of this gas [J/(kg K)]
        T (temperature): temperature before the opening [K]
    Holds: no friction in the pipe before it; within 0.02 % of equal pressures it is taken as a straight line
    Source: `white-fluid-mechanics`.
    Example:
        US: natural gas, CA = 0.0100 in², p1 = 74.7 psia, p2 = 14.7 psia, T = 60 °F gives m = 47.6 lb/h
        metric: natural gas, CA = 10.0 mm², p1 = 1.030 bar abs, p2 = 1.013 bar abs, T = 15 °C gives m = 1.80 kg/h
    """
    checks.number("flow_area", flow_area, 0, 100, "m2")
    for field, pressure in (("upstream_absolute", upstream_absolute), ("downstream_absolute", downstream_absolute)):
        checks.number(field, pressure, 0, 1e8, "Pa")
    higher = max(upstream_absolute, downstream_absolute)
    if higher == 0:
        return 0.0
    return nozzle(gas.heat_ratio, rt(gas, temperature, higher))(flow_area, upstream_absolute, downstream_absolute)


def standard_flow(mass_flow: float, gas: Gas) -> float:
    """Standard volume flow [m3/s at 15 degC, 101.325 kPa] of a mass flow [kg/s].

    Formula: standard volume flow
        Q = m / ρs
    Where:
        Q: standard volume flow [m³/s]
        m (mass_flow): mass flow [kg/s]
        ρs: density of the gas at 15 °C and 101.325 kPa [kg/m³]
    Holds: always; the volume is that of the standard state, not of the pipe
    Source: `iso-13443`.
    Example:
        US: natural gas, m = 10.0 lb/h gives Q = 217 scfh
        metric: natural gas, m = 10.0 kg/h gives Q = 13.58 m³/h
    """
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

    Formula: opening that passes a flow into the open air
        CA = Q ρs / m(p + pa, pa, T)
    Where:
        CA: flow area, discharge coefficient times area [m²]
        Q (standard_flow): standard volume flow [m³/s]
        ρs: density of the gas at 15 °C and 101.325 kPa [kg/m³]
        m: mass flow by the law of an opening through 1 m², from the one pressure to the other [kg/s]
        p (gauge_pressure): pressure inside, gauge [Pa]
        pa (site_atmosphere): pressure of the air, absolute; 101 325 Pa where it is left out [Pa]
        T (temperature): temperature of the gas [K]
    Holds: as the law of the opening does
    Source: `white-fluid-mechanics`.
    Example:
        US: natural gas, Q = 100 scfh, p = 7.0 in. w.c., T = 60 °F gives CA = 0.0178 in²
        metric: natural gas, Q = 3.00 m³/h, p = 20.0 mbar, T = 15 °C gives CA = 11.3 mm²
    """
    checks.number("standard_flow", standard_flow, 0, 1e4, "m3/s")
    checks.number("gauge_pressure", gauge_pressure, 0, 1e8, "Pa", above=True)
    checks.number("site_atmosphere", site_atmosphere, 1e4, 2e5, "Pa")
    per_area = mass_flow(1.0, site_atmosphere + gauge_pressure, site_atmosphere, gas, temperature)
    return standard_flow * standard_density(gas) / per_area


@compiled
def series(first: float, second: float) -> float:
    """One flow area [m2] for two, one behind the other; 0 where either is shut. Unchecked, for the engine.

    Formula: two openings, one behind the other
        CA = CA1 CA2 / √(CA1^2 + CA2^2)
    Where:
        CA: flow area that stands for both [m²]
        CA1 (first): the one flow area [m²]
        CA2 (second): the other [m²]
    Holds: small pressure differences; for large ones a first estimate, since the gas thins on its way
    Source: worked out here from the gas law
    Example:
        US: CA1 = 0.300 in², CA2 = 0.400 in² gives CA = 0.240 in²
        metric: CA1 = 30.0 mm², CA2 = 40.0 mm² gives CA = 24.0 mm²
    """
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
    """Flow area [m2] of a Kv [m3/h of water at 1 bar].

    Formula: flow area of a Kv
        CA = 31.6 Kv / (3600 √(200000))
    Where:
        CA: flow area, discharge coefficient times area [m²]
        Kv (kv): flow of water that a pressure difference of 1 bar drives through the valve [m³/h]
    Holds: valves without fittings, small pressure differences; 1 mm² is a Kv of 0.050948 m³/h
    Source: `iec-60534-2-1`.
    Example:
        US: Kv = 4.0 gives CA = 0.1217 in²
        metric: Kv = 4.0 gives CA = 78.5 mm²
    """
    return kv * IEC_N6 / (HOUR * sqrt(2 * BAR))


def kv_from_cv(cv: float) -> float:
    """Kv of a Cv [US gallons a minute of water at 1 psi].

    Formula: Kv of a Cv
        Kv = 0.865 Cv
    Where:
        Kv: flow of water at a pressure difference of 1 bar [m³/h]
        Cv (cv): flow of water at a pressure difference of 1 psi [US gal/min]
    Holds: always; the one is the other in other units
    Source: `nist-sp-811`.
    Example:
        both: Cv = 10.0 gives Kv = 8.65
    """
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
    laws are different curves.

    Formula: flow of gas through a valve by its Kv
        m = 31.6 (Kv / 3600) Y √(x (p1 / 100000) (p1 / ZRT))
        x = min(1 - p2 / p1, F xT)
        Y = 1 - x / (3 F xT)
        F = k / 1.4
    Where:
        m: mass flow [kg/s]
        Kv (kv): flow of water at a pressure difference of 1 bar [m³/h]
        p1 (upstream_absolute): pressure before the valve, absolute [Pa]
        p2 (downstream_absolute): pressure behind it, absolute [Pa]
        ZRT (rt): Z R T at the inlet [J/kg]
        x: pressure difference over inlet pressure, at most where the valve chokes
        xT (choked_ratio): the x at which the valve chokes with air
        Y: expansion factor
        F: heat ratio over that of air
        k (heat_ratio): heat ratio of the gas, cp/cv
    Holds: a valve without fittings
    Source: `iec-60534-2-1`.
    Example:
        US: Kv = 4.0, xT = 0.70, p1 = 74.7 psia,
            p2 = 64.7 psia, k = 1.30, ZRT = 136.0 kJ/kg gives m = 419.4 lb/h
        metric: Kv = 4.0, xT = 0.70, p1 = 5.000 bar abs,
            p2 = 4.500 bar abs, k = 1.30, ZRT = 136.0 kJ/kg gives m = 162.6 kg/h
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
