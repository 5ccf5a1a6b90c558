"""What is reckoned by hand about gas in pipes and at burners: closed forms of what the simulation works out.

No run uses them; the tests hold them against runs, the law of the opening, and pressures as they are typed.
"""

from __future__ import annotations

from math import sqrt

from toolkit import checks
from toolkit.units import STANDARD_ATMOSPHERE


def absolute_pressure(gauge_pressure: float, site_atmosphere: float = STANDARD_ATMOSPHERE) -> float:
    """Absolute pressure [Pa] of a gauge reading [Pa] at a site's atmosphere [Pa absolute].

    Raises ScenarioError on a reading below a perfect vacuum.

    Formula: gauge and absolute pressure
        p = pg + pa
    Where:
        p: absolute pressure [Pa]
        pg (gauge_pressure): what the gauge shows [Pa]
        pa (site_atmosphere): pressure of the air at the site, absolute [Pa]
    Holds: always; never put a gauge pressure where a formula asks for an absolute one
    Source: from memory
    Example:
        US: pg = 60.0 psig, pa = 14.7 psia gives p = 74.7 psia
        metric: pg = 4.00 bar, pa = 1.013 bar abs gives p = 5.013 bar abs
    """
    checks.number("site_atmosphere", site_atmosphere, 1e4, 2e5, "Pa")
    return checks.number("gauge_pressure", gauge_pressure, -site_atmosphere, 1e8, "Pa") + site_atmosphere


def flow_of_input(heat_input: float, heating_value: float) -> float:
    """Standard volume flow [m3/s] that burners of a heat input [W] take of a gas of a heating value [J/m3].

    Raises ScenarioError unless the heating value is above nothing.

    Formula: flow of gas that burners take
        Q = P / H
    Where:
        Q: standard volume flow [m³/s]
        P (heat_input): heat input of the burners [W]
        H (heating_value): gross heating value of the gas, by standard volume [J/m³]
    Holds: input and heating value both gross; all burners on at once
    Source: from memory
    Example:
        US: P = 100,000 Btu/h, H = 1,036 Btu/ft³ gives Q = 97 scfh
        metric: P = 30.0 kW, H = 38.6 MJ/m³ gives Q = 2.80 m³/h
    """
    checks.number("heat_input", heat_input, 0, 1e9, "W")
    return heat_input / checks.number("heating_value", heating_value, 0, 1e9, "J/m3", above=True)


def flow_share(gauge_pressure: float, rated_gauge_pressure: float) -> float:
    """Flow of a burner at a gauge pressure [Pa] as a share of its flow at the rated one [Pa].

    Raises ScenarioError unless the rated pressure is above nothing.

    Formula: what a burner gets at another pressure
        s = √(p / pr)
    Where:
        s: flow, and heat, as a share of what it is at the rated pressure
        p (gauge_pressure): pressure at the burner, gauge [Pa]
        pr (rated_gauge_pressure): pressure it is rated for, gauge [Pa]
    Holds: low pressures into the open air, far from choked; within 1 % from 1 to 15 in. w.c. (2.5 to 37 mbar)
    Source: worked out here from the gas law
    Example:
        US: p = 14.0 in. w.c., pr = 3.5 in. w.c. gives s = 2.00
        metric: p = 16.0 mbar, pr = 17.4 mbar gives s = 0.96
    """
    checks.number("gauge_pressure", gauge_pressure, 0, 1e6, "Pa")
    return sqrt(gauge_pressure / checks.number("rated_gauge_pressure", rated_gauge_pressure, 0, 1e6, "Pa", above=True))


def leak_of_creep(size: float, rise: float, duration: float, site_atmosphere: float = STANDARD_ATMOSPHERE) -> float:
    """Standard volume flow [m3/s] of a leak that lifts a shut-in volume [m3] by a rise [Pa] in a time [s].

    Raises ScenarioError unless volume and time are above nothing.

    Formula: size of a leak from its creep
        Q = V Δp / (pa t)
    Where:
        Q: standard volume flow of the leak [m³/s]
        V (size): room that is shut in [m³]
        Δp (rise): rise of the pressure [Pa]
        pa (site_atmosphere): pressure of the air, absolute [Pa]
        t (duration): time that the rise took [s]
    Holds: nothing else flows; gas near 60 °F (15 °C) that gets no warmer meanwhile; a site near sea level
    Source: worked out here from the gas law
    Example:
        US: V = 0.50 ft³, Δp = 2.0 in. w.c., pa = 14.7 psia, t = 60 s gives Q = 0.15 scfh
        metric: V = 15.0 L, Δp = 5.0 mbar, pa = 1.013 bar abs, t = 60 s gives Q = 0.0044 m³/h
    """
    checks.number("size", size, 0, 1e4, "m3", above=True)
    checks.number("rise", rise, 0, 1e7, "Pa")
    checks.number("duration", duration, 0, 1e7, "s", above=True)
    return size * rise / (checks.number("site_atmosphere", site_atmosphere, 1e4, 2e5, "Pa") * duration)


def spread_pressure(size: float, gauge_pressure: float, more_size: float, more_gauge_pressure: float) -> float:
    """Gauge pressure [Pa] at which two volumes [m3] end that stood at two gauge pressures [Pa] and are joined.

    Raises ScenarioError unless both volumes are above nothing.

    Formula: spike of the gas stored before a valve
        p = (V1 p1 + V2 p2) / (V1 + V2)
    Where:
        p: pressure of both rooms at the end, gauge [Pa]
        V1 (size): the one room, such as the one between monitor and worker [m³]
        p1 (gauge_pressure): its pressure before, gauge [Pa]
        V2 (more_size): the other room, such as the pipe behind the worker [m³]
        p2 (more_gauge_pressure): its pressure before, gauge [Pa]
    Holds: nothing flows in or out, and the gas is as warm at the end; the worst case of a spike
    Source: worked out here from the gas law
    Example:
        US: V1 = 0.011 ft³, p1 = 60.0 psig, V2 = 0.700 ft³, p2 = 7.8 in. w.c. gives p = 33.4 in. w.c.
        metric: V1 = 0.3 L, p1 = 4.00 bar, V2 = 20.0 L, p2 = 19.4 mbar gives p = 78.2 mbar
    """
    checks.number("size", size, 0, 1e4, "m3", above=True)
    checks.number("more_size", more_size, 0, 1e4, "m3", above=True)
    checks.number("gauge_pressure", gauge_pressure, -2e5, 1e8, "Pa")
    checks.number("more_gauge_pressure", more_gauge_pressure, -2e5, 1e8, "Pa")
    return (size * gauge_pressure + more_size * more_gauge_pressure) / (size + more_size)


def warmed_pressure(
    gauge_pressure: float,
    temperature: float,
    warmed_temperature: float,
    site_atmosphere: float = STANDARD_ATMOSPHERE,
) -> float:
    """Gauge pressure [Pa] of gas that is shut in at a gauge pressure [Pa] and a temperature [K] and then warmed [K].

    Raises ScenarioError on a pressure below a perfect vacuum or a temperature out of range.

    Formula: locked-in gas that the sun warms
        p2 = (p1 + pa) T2 / T1 - pa
    Where:
        p2: pressure when warm, gauge [Pa]
        p1 (gauge_pressure): pressure when it was shut in, gauge [Pa]
        pa (site_atmosphere): pressure of the air, absolute [Pa]
        T1 (temperature): temperature when it was shut in, absolute [K]
        T2 (warmed_temperature): temperature when warm, absolute [K]
    Holds: no gas enters or leaves, and no relief opens
    Source: worked out here from the gas law
    Example:
        US: p1 = 7.8 in. w.c., pa = 14.7 psia, T1 = 60 °F, T2 = 80 °F gives p2 = 23.8 in. w.c.
        metric: p1 = 19.4 mbar, pa = 1.013 bar abs, T1 = 15 °C, T2 = 25 °C gives p2 = 55.2 mbar
    """
    checks.number("temperature", temperature, 100, 1000, "K")
    checks.number("warmed_temperature", warmed_temperature, 100, 1000, "K")
    before = absolute_pressure(gauge_pressure, site_atmosphere)
    return before * warmed_temperature / temperature - site_atmosphere
