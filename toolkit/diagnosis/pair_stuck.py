"""A torn diaphragm, or a stem stuck open: the outlet is high, and a relief valve blows beside the regulator's vent.

The regulator has no internal relief, so its vent smells of gas only if the diaphragm is torn. A nose beside the vent
cannot tell that as long as the relief valve blows: its stack ends beside the vent. Held low, the relief valve is shut.
Sizes are invented to be watched, engineering judgement.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from math import sqrt

from toolkit.devices.relief_valve import ReliefValve
from toolkit.diagnosis.next_check import CHECKS
from toolkit.diagnosis.pair_station import (
    END,
    LONG_AGO,
    NAME,
    OUTLET,
    PILOTS_AT,
    VISIT_DAY,
    area_for,
    built_for,
)
from toolkit.diagnosis.pairs import FIRST, Pair, PairCheck, Values, as_it_is, as_met, usual
from toolkit.diagnosis.signs import GAS, Signs
from toolkit.diagnosis.symptoms import vent_level
from toolkit.diagnosis.visits import HELD_FOR, held_low
from toolkit.faults import Fault, StuckStem, TornDiaphragm
from toolkit.scenario import Scenario, Station
from toolkit.simulation import simulate
from toolkit.trace import Trace
from toolkit.units import IN_WC

VALVE = "relief_valve"
# How far above the set point the relief valve opens [Pa], and by which shares of that it is full open and shuts again.
RELIEF_ABOVE, BUILD_UP, BLOWDOWN = 3 * IN_WC, 0.1, 0.02
# Full open the relief valve lets off so many times the load.
LETS_OFF = 2.5
# A stuck disk passes so many times the load: at no severity, and more at the full one.
LEAST, MORE = 1.5, 0.3
# A tear's hole passes this share of the load at the relief valve's set point.
TEAR = 0.15
# A tear's lost share is fitted to the readings in so many rounds; the relief valve holds back half of each step.
ROUNDS = 4


def station(values: Values) -> Station:
    """A regulator without internal relief, and a relief valve on the outlet that can take all that it passes."""
    plain = built_for(values["set_point"], values["demand"])
    opens = values["set_point"] + RELIEF_ABOVE
    area = area_for(LETS_OFF * values["demand"], opens * (1 + BUILD_UP), 0.0)
    valve = ReliefValve(name=VALVE, set_gauge_pressure=opens, build_up=BUILD_UP, blowdown=BLOWDOWN)
    bore = valve.orifice_diameter * sqrt(area / valve.flow_area)
    return replace(plain, relief_valves=(replace(valve, orifice_diameter=bore, stack_bore=4 * bore),))


def stuck(here: Station, severity: float) -> StuckStem:
    """A stem that does not move, where the regulator passes more than the burners take."""
    (regulator,), (load,) = here.regulators, here.loads
    condition, passes = regulator.condition(), (LEAST + MORE * severity) * load.rated_flow
    area = area_for(passes, here.supply.gauge_pressure, regulator.set_gauge_pressure)
    # gap and hole in series, solved for the gap
    gap = area * condition.orifice / (condition.orifice**2 - area**2) ** 0.5
    share = gap / condition.curtain / regulator.travel
    return StuckStem(devices=NAME, lowest=share, highest=share, **LONG_AGO)


@lru_cache(maxsize=64)
def torn_alike(here: Station, severity: float) -> Fault:
    """A tear that reads like the stuck stem: as high in the mean of all on and all off, fitted by runs."""
    (regulator,), (load,) = here.regulators, here.loads
    like = simulate(Scenario(here, VISIT_DAY, (stuck(here, severity),), END))
    high = _on_times_off(like)
    kept = regulator.set_gauge_pressure / sqrt(high)
    hole = area_for(TEAR * load.rated_flow, here.relief_valves[0].set_gauge_pressure, 0.0)
    for _ in range(ROUNDS):
        tear = TornDiaphragm(devices=NAME, hole_area=hole, lost_share=1.0 - kept, **LONG_AGO)
        kept *= _on_times_off(simulate(Scenario(here, VISIT_DAY, (tear,), END))) / high
    return TornDiaphragm(devices=NAME, hole_area=hole, lost_share=1.0 - kept, **LONG_AGO)


def _on_times_off(trace: Trace) -> float:
    """The outlet with all on times the outlet with all off [Pa2]: what a tear is fitted to; neither is far off then."""
    return trace.at(OUTLET, PILOTS_AT - 1) * trace.at(OUTLET, END)


def visit(values: Values, which: int) -> Scenario:
    """The visit with either cause; `values`: "set_point" [Pa gauge], "demand" [standard m3/s], "severity" 0 to 1."""
    here, severity = station(values), values["severity"]
    fault = torn_alike(here, severity) if which == FIRST else stuck(here, severity)
    return Scenario(here, VISIT_DAY, (fault,), END)


def beside_the_stack(trace: Trace) -> Signs:
    """The signs of a run where a nose at the vent smells what the relief valve's stack lets off beside it."""
    signs = as_met(trace)
    times = {"vent_on": PILOTS_AT, "vent_off": END, "vent_held": END + HELD_FOR}

    def smelt(vent: str, time: float) -> str:
        return GAS[max(GAS.index(vent), vent_level(trace.at(f"{VALVE}_flow", time)))]

    return replace(signs, **{key: smelt(vent, times[key]) for key, vent in signs.met().items() if key in times})


# Elsewhere these checks risk little. Here gas blows out where one would stand, so each says how it is made then.
BLOWS = "gas blows out there: stay upwind, go no nearer once you smell it, keep flames and sparks away"
STACK = replace(CHECKS["stack"], key="stack_upwind", name="listen to the relief's stack from upwind", risk=BLOWS)
SMELL_ON, SMELL_OFF = (
    replace(CHECKS[key], key=f"{key}_upwind", name=f"smell at the vent from upwind, {when}", risk=risk)
    for key, when, risk in (
        ("smell_on", "all burners on", BLOWS),
        ("smell_off", "all off", f"{BLOWS}; {CHECKS['gauge_off'].risk}"),
    )
)
HELD_LOW = replace(
    CHECKS["held_low"],
    key="held_low_still",
    name="hold the outlet low until the stack is still, then look for gas at the vent",
)
PAIR = Pair(
    noticed="The outlet stands high, and gas blows out beside the regulator's vent.",
    suspects=("a torn diaphragm", "a stem stuck open"),
    visit=visit,
    checks=(
        *usual("gauge_on", "gauge_pilots", "gauge_off"),
        PairCheck(STACK),
        *(PairCheck(check, as_it_is, beside_the_stack) for check in (SMELL_ON, SMELL_OFF)),
        *usual("meter_on", "meter_off", "listen"),
        PairCheck(HELD_LOW, held_low, beside_the_stack, steps=((END, "outlet held low"),), tells=True),
        *usual("plug_vent", "lift_lever"),
    ),
    because="Held low, the relief valve is shut and the air at the vent is clean; what comes out of the vent then has "
    "come through a tear.",
)
