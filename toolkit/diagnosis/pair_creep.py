"""A seat that leaks, or the sun on the pipe: with all off the outlet gauge climbs, and one check or two tell why.

Sizes are invented to be watched, engineering judgement.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import chain

from toolkit.actions import TurnValve
from toolkit.devices.regulator import lock_up_gauge_pressure
from toolkit.diagnosis.next_check import CHECKS, Check
from toolkit.diagnosis.pair_station import LONG_AGO, NAME, PILOTS, built_for
from toolkit.diagnosis.pairs import FIRST, Pair, PairCheck, Values, usual
from toolkit.diagnosis.signs import Signs
from toolkit.diagnosis.sites import sun_and_shade
from toolkit.diagnosis.visits import signs_of
from toolkit.faults import Fault, NickedSeat, Warmed
from toolkit.flow import mass_flow
from toolkit.scenario import Demand, Scenario, Station, Volume
from toolkit.trace import Trace
from toolkit.units import IN_WC

# A visit [s]: burners on, pilots only, all off and the sun on the pipe; warmed through; the end.
PILOTS_AT, OFF_AT, WARM_AT, END = 600.0, 1200.0, 4800.0, 4860.0
SUN = {"onset": OFF_AT, "ramp": WARM_AT - OFF_AT}
# The inlet valve is shut while the gauge climbs; or the sun leaves the pipe at the end, and it has cooled again [s].
SHUT_AT, COOL_AT = 2100.0, 6600.0
# How far the gauge climbs while the sun is there [Pa]: at no severity, and more at the full one.
LEAST, MORE = 1 * IN_WC, 2 * IN_WC
# A long line behind the regulator, and next to nothing between the inlet valve and it [m3].
LINE, BEFORE = 0.2, 2e-5


def station(values: Values) -> Station:
    """A regulator on a long line; the inlet valve stands right before it."""
    plain = built_for(values["set_point"], values["demand"])
    return replace(plain, volumes=(Volume("inlet", BEFORE), Volume("outlet", LINE)))


def rise(values: Values) -> float:
    """How far the outlet climbs while the sun is there [Pa]."""
    return LEAST + MORE * float(values["severity"])


def leak(here: Station, climbs: float) -> Fault:
    """A nick whose leak fills the line by `climbs` [Pa] in the time of the sun: dp/dt = RT m / V (closed form)."""
    inlet, outlet = here.atmosphere + here.supply.gauge_pressure, here.atmosphere + locked(here)
    per_area = mass_flow(1.0, inlet, outlet, here.gas, here.temperature)
    return NickedSeat(devices=NAME, leak_area=climbs * LINE / (here.rt * per_area * SUN["ramp"]), **LONG_AGO)


def warmth(here: Station, climbs: float) -> float:
    """How many times as warm the locked-in gas is where it climbs so far [Pa]: p / T stays (closed form)."""
    return 1.0 + climbs / (here.atmosphere + locked(here))


def locked(here: Station) -> float:
    """Lock-up of the station [Pa gauge]."""
    return lock_up_gauge_pressure(here.regulators[0].condition(), here.supply.gauge_pressure)


def visit(values: Values, which: int) -> Scenario:
    """The visit with either cause; `values`: "set_point" [Pa gauge], "demand" [standard m3/s], "severity" 0 to 1."""
    here, climbs = station(values), rise(values)
    fault = leak(here, climbs) if which == FIRST else Warmed(devices="outlet", times=warmth(here, climbs), **SUN)
    day = (Demand(0.0, 1.0), Demand(PILOTS_AT, PILOTS), Demand(OFF_AT, 0.0))
    return Scenario(here, day, (fault,), END)


def inlet_shut(visit: Scenario) -> Scenario:
    """The same visit with the inlet valve shut while the gauge climbs."""
    return replace(visit, actions=(TurnValve(device=visit.station.supply.name, time=SHUT_AT, share=0.0),))


def in_the_shade(visit: Scenario) -> Scenario:
    """The same visit, waited out until the sun has left the pipe and it is cool again."""
    split = ((sky(one.times) if isinstance(one, Warmed) else (one,)) for one in visit.faults)
    return replace(visit, faults=tuple(chain(*split)), duration=COOL_AT)


def sky(times: float) -> tuple[Fault, ...]:
    """The sun warms the gas in the line to `times`, leaves at the end of the visit, and it cools."""
    return sun_and_shade("outlet", times, OFF_AT, WARM_AT, END, COOL_AT)


def with_the_sky_seen(trace: Trace) -> Signs:
    """The signs of a run where it is known when the sun was on the pipe and when it left, and nothing else."""
    return signs_of(replace(trace, scenario=replace(trace.scenario, faults=sky(1.0))))


_VALVES = CHECKS["gauge_off"]
SHUT_IN = Check(
    *("inlet_shut", "shut the inlet valve and watch the outlet gauge, all off", 15, ("creep",)),
    *(_VALVES.effort, _VALVES.risk, True),
)
IN_THE_SUN = Check(
    *("in_the_sun", "read the outlet gauge before and after the sun has come on the pipe, all off", 60, ("creep",)),
    *(CHECKS["sun"].effort, CHECKS["sun"].risk),
)
PAIR = Pair(
    noticed="With all burners off the outlet gauge climbs, on a sunny morning.",
    suspects=("a seat that leaks", "the sun on the pipe"),
    visit=visit,
    checks=(
        *usual("gauge_off", "gauge_on", "gauge_pilots", "meter_off", "smell_off", "listen"),
        PairCheck(
            IN_THE_SUN,
            called="outlet gauge in the sun, all off",
            words=(("creeps", "rises"), ("still", "no rise")),
        ),
        PairCheck(
            *(SHUT_IN, inlet_shut),
            called="outlet gauge, inlet valve shut, all off",
            words=(("still", "comes to a stop"), ("creeps", "climbs on")),
            steps=((SHUT_AT, "inlet shut"),),
            tells=True,
        ),
        PairCheck(CHECKS["sun"], in_the_shade, with_the_sky_seen, steps=((END, "shade"),), tells=True),
        *usual("vent_end", "raise_set_point"),
    ),
    because="A leak needs gas from the inlet, the sun needs none; what the sun has warmed falls again in the shade.",
)
