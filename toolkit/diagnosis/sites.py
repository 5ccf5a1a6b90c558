"""Stations of the symptom table with every layer fitted, drawn by chance, and the day they go through.

All sizes are invented; the order of the layers' settings is common practice. Wide open a regulator passes about twice
its full load; only the worker and monitor on damped lines are made for far more.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from math import exp, log
from random import Random

from toolkit.actions import Action
from toolkit.devices.balance import valve_area
from toolkit.devices.line import Load, SensingLine, Supply
from toolkit.devices.pressure_switch import PressureSwitch
from toolkit.devices.regulator import InternalRelief, Regulator, Vent
from toolkit.devices.relief_valve import ReliefValve
from toolkit.devices.slam_shut import SlamShut
from toolkit.errors import ScenarioError
from toolkit.faults import Fault, Warmed
from toolkit.flow import mass_flow, standard_flow
from toolkit.gas import NATURAL_GAS
from toolkit.scenario import Demand, Scenario, Station, Volume
from toolkit.units import CELSIUS_ZERO, IN_WC, PSI, SIXTY_FAHRENHEIT, atmosphere

SET = 7 * IN_WC
# The day: when each demand begins [s]; with all off the sun comes on the pipe, has warmed it through and leaves it, and
# it has cooled again.
FULL, HALF, FULL_AGAIN, CUT_OFF, ALL_OFF = 0.0, 60.0, 120.0, 180.0, 240.0
SUNRISE, WARM, COOL, MORNING, MORNING_FULL, LAST_CUT_OFF, END = 360.0, 410.0, 450.0, 520.0, 580.0, 640.0, 700.0
# A burner's solenoid valve shuts within this range of times [s].
STROKE = (0.1, 0.3)

KINDS = {
    "service": "service regulator with internal relief, slam-shut and switch",
    "shutoff first": "the same, its slam-shut set below the start of the relief",
    "line sensed": "service regulator with a sensing line, external relief valve, slam-shut and switch",
    "monitored": "worker and monitor with sensing lines of their own, relief valve, slam-shut and switch",
    "damped": "a line-sensed one whose sensing line is damped by a needle valve, on short piping, without a switch",
    "damped, monitored": "a monitored one whose sensing lines are damped by needle valves, on short piping, no switch",
}


@dataclass(frozen=True, kw_only=True)
class Shade(Warmed):
    """The sun leaves the pipe: the gas cools to where it was."""


@dataclass(frozen=True)
class Site:
    """A station in good order and how its burners are used; `regulator` and `line` name what holds the pressure.

    `capacity` is the flow area of the wide-open regulator [m2], `load_area` the part of it that the full load takes;
    `supply_area` what the full load takes at the main's pressure [m2]. `room` is the volume that the sun warms and
    that may leak, `set_gauge_pressure` [Pa] what its gauge is held at. `oversized`: by how many times the regulator
    passes more than the usual twice its load; drawn sites count as 1, which their tables hang on. `purge`: what is
    opened beside the burners to hold the outlet low [m2]. `drawn`: what is fitted was drawn by chance and may vary by
    the cause.
    """

    kind: str
    station: Station
    regulator: str
    line: str
    demands: tuple[Demand, ...]
    capacity: float
    load_area: float
    supply_area: float
    room: str = "outlet"
    set_gauge_pressure: float = SET
    oversized: float = 1.0
    purge: float = 0.0
    drawn: bool = True

    def starved(self, share: float) -> float:
        """The main's gauge pressure at which the wide-open regulator passes this share of the full load, Pa.

        As if the flow were choked however low that is, but at least 1 psi.
        """
        absolute = self.station.atmosphere + self.station.supply.gauge_pressure
        return max(1.0 * PSI, share * self.load_area / self.capacity * absolute - self.station.atmosphere)

    def day(self, *faults: Fault, actions: tuple[Action, ...] = ()) -> Scenario:
        """The day with faults in it."""
        return Scenario(self.station, self.demands, faults, END, actions)


def log_uniform(chance: Random, low: float, high: float) -> float:
    """A number whose logarithm is drawn evenly."""
    return exp(chance.uniform(log(low), log(high)))


def day_of(chance: Random) -> tuple[Demand, ...]:
    """Evening with all on, half and all again, cut off to pilots, a night with nothing, a morning; sharp strokes."""
    stroke = chance.uniform(*STROKE)
    full, half, little = chance.uniform(0.92, 1.0), chance.uniform(0.45, 0.6), chance.uniform(0.15, 0.3)
    pilots = chance.uniform(0.02, 0.04)
    return (
        Demand(FULL, full),
        Demand(HALF, half),
        Demand(FULL_AGAIN, full),
        Demand(CUT_OFF, pilots, stroke=stroke),
        Demand(ALL_OFF, 0.0),
        Demand(MORNING, little),
        Demand(MORNING_FULL, full),
        Demand(LAST_CUT_OFF, pilots, stroke=stroke),
    )


def sun_and_shade(room: str, times: float, comes: float, warm: float, leaves: float, cool: float) -> tuple[Fault, ...]:
    """The sun comes on a volume or case, has warmed its gas to `times`, leaves, and the gas is cool again [s]."""
    return (
        Warmed(devices=room, times=times, onset=comes, ramp=warm - comes),
        Shade(devices=room, times=1.0 / times, onset=leaves, ramp=cool - leaves),
    )


def damped(station: Station) -> bool:
    """Whether limiters and sensing lines slow the loop of every regulator."""
    return bool(station.sensing_lines) and all(one.vent.limiter_bore > 0.0 for one in station.regulators)


@lru_cache(maxsize=512)
def site(kind: str, number: int, seed: int, cold: bool = False) -> Site:
    """A station of a kind, drawn by its number; a cold one has a high inlet pressure and gas near freezing."""
    if kind not in KINDS:
        raise ScenarioError("site.kind", kind, "one of " + ", ".join(KINDS), "Check the spelling.")
    chance = Random(f"{seed} {kind} {number} {cold}")
    inlet = chance.uniform(100, 120) * PSI if cold else chance.uniform(40, 60) * PSI
    temperature = CELSIUS_ZERO + chance.uniform(1.0, 2.5) if cold else SIXTY_FAHRENHEIT
    slow = kind.startswith("damped")
    orifice, travel, spare = chance.uniform(0.0028, 0.004), 1.05e-3, chance.uniform(1.65, 2.15)
    limiter, line_area, size = 0.0, 8e-6, log_uniform(chance, 1e-2, 3e-2)
    # A limiter in the vent and a needle valve in the sensing line: steady, with little to spare.
    if kind == "damped":
        limiter, line_area, size = 0.005, chance.uniform(4.0e-7, 4.4e-7), chance.uniform(1.9e-3, 2.1e-3)
    elif kind == "damped, monitored":
        limiter, line_area, size = chance.uniform(0.006, 0.009), 2e-7, 5e-3
        orifice, travel, spare = chance.uniform(0.0060, 0.0065), 1.6e-3, chance.uniform(12.5, 14.5)
    plain = Regulator(
        set_gauge_pressure=SET,
        adjusted_at_inlet_gauge_pressure=inlet,
        orifice_diameter=orifice,
        travel=travel,
        relief=None,
        vent=Vent(limiter_bore=limiter),
    )
    wide, site_air = valve_area(plain.condition(), travel), atmosphere(0.0)
    passes = standard_flow(mass_flow(wide, site_air + inlet, site_air + SET, NATURAL_GAS, temperature), NATURAL_GAS)
    load = Load(rated_flow=passes / spare, maximum_gauge_pressure=14 * IN_WC)
    relief_start = chance.uniform(14, 16) * IN_WC
    early = kind == "shutoff first" or (kind == "line sensed" and number % 2 == 0)
    shutoff = chance.uniform(12.5, 13.5) if early else chance.uniform(16.5, 18.5)
    slam_shut = SlamShut(high_gauge_pressure=shutoff * IN_WC)
    switch = PressureSwitch(
        high_gauge_pressure=chance.uniform(10, 12) * IN_WC, low_gauge_pressure=chance.uniform(3, 4) * IN_WC
    )
    volumes = [Volume("upstream", 4e-3), Volume("inlet", 2e-3), Volume("outlet", size)]
    station = Station(
        supply=Supply(into="upstream", gauge_pressure=inlet),
        slam_shuts=(slam_shut,),
        # On a damped station a switch would chatter with every swing.
        switches=() if slow else (switch,),
        loads=(load,),
        volumes=tuple(volumes),
        temperature=temperature,
    )
    # A token relief: it passes what a seat leaks, not a regulator wide open.
    token = ReliefValve(set_gauge_pressure=relief_start, orifice_diameter=log_uniform(chance, 0.006, 0.009))
    name, line = "regulator", ""
    if kind in ("service", "shutoff first"):
        fitted = replace(plain, relief=InternalRelief(start_above_set=relief_start - SET))
        station = replace(station, regulators=(fitted,))
    elif kind in ("line sensed", "damped"):
        line = "sensing_line"
        tap = SensingLine(line, flow_area=line_area)
        station = replace(
            station, regulators=(replace(plain, senses=line),), sensing_lines=(tap,), relief_valves=(token,)
        )
    else:
        name, line = "worker", "worker_line"
        above = chance.uniform(2.5, 3.5) * IN_WC
        first = replace(
            plain, name="monitor", outlet="interstage", senses="monitor_line", set_gauge_pressure=SET + above
        )
        second = replace(plain, name="worker", inlet="interstage", senses=line)
        interstage = Volume("interstage", 5e-4)
        station = replace(
            station,
            regulators=(first, second),
            volumes=(*volumes[:2], interstage, volumes[2] if slow else Volume("outlet", 2 * size)),
            sensing_lines=tuple(SensingLine(one, flow_area=line_area) for one in ("monitor_line", line)),
            relief_valves=(token,),
        )
    return Site(kind, station, name, line, day_of(chance), wide, wide / spare, wide / spare)
