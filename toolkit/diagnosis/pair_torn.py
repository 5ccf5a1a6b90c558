"""Torn diaphragm, or the internal relief at work over a disk that cannot shut: gas at the vent, and the outlet high.

Sizes are invented to be watched, engineering judgement.
"""

from __future__ import annotations

from functools import lru_cache

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
from toolkit.diagnosis.pairs import FIRST, Pair, PairCheck, Values, usual
from toolkit.diagnosis.visits import held_low
from toolkit.faults import Fault, StuckStem, TornDiaphragm
from toolkit.scenario import Scenario, Station
from toolkit.simulation import simulate
from toolkit.units import IN_WC

# How far above the set point the internal relief begins to open [Pa].
RELIEF_ABOVE = 4 * IN_WC
# A disk that is held open passes so many times the load: at no severity, and more at the full one.
LEAST, MORE = 1.4, 0.3
# A tear is fitted to the readings in so many rounds; each brings it some ten times nearer.
ROUNDS = 4


def held_open(here: Station, severity: float) -> Fault:
    """A stem that does not come down below where the regulator passes more than the burners take."""
    (regulator,), demand = here.regulators, here.loads[0].rated_flow
    condition, passes = regulator.condition(), (LEAST + MORE * severity) * demand
    area = area_for(passes, here.supply.gauge_pressure, regulator.set_gauge_pressure)
    # gap and hole in series, solved for the gap
    gap = area * condition.orifice / (condition.orifice**2 - area**2) ** 0.5
    return StuckStem(devices=NAME, lowest=gap / condition.curtain / regulator.travel, highest=1.0, **LONG_AGO)


@lru_cache(maxsize=64)
def torn_alike(here: Station, severity: float) -> Fault:
    """A tear that reads like the disk held open: as high with all off, and as much gas at the vent with all on.

    The share of the diaphragm that is lost lifts the outlet, the hole lets gas to the vent; both are fitted by runs.
    """
    (regulator,) = here.regulators
    like = simulate(Scenario(here, VISIT_DAY, (held_open(here, severity),), END))
    high, vented = like.at(OUTLET, END), like.at(f"{NAME}_vent_flow", PILOTS_AT - 1)
    kept = regulator.set_gauge_pressure / high
    hole = area_for(vented, like.at(OUTLET, PILOTS_AT - 1), 0.0)
    for _ in range(ROUNDS):
        tear = TornDiaphragm(devices=NAME, hole_area=hole, lost_share=1.0 - kept, **LONG_AGO)
        tried = simulate(Scenario(here, VISIT_DAY, (tear,), END))
        kept *= tried.at(OUTLET, END) / high
        hole *= vented / tried.at(f"{NAME}_vent_flow", PILOTS_AT - 1)
    return TornDiaphragm(devices=NAME, hole_area=hole, lost_share=1.0 - kept, **LONG_AGO)


def visit(values: Values, which: int) -> Scenario:
    """The visit with either cause; `values`: "set_point" [Pa gauge], "demand" [standard m3/s], "severity" 0 to 1."""
    here, severity = built_for(values["set_point"], values["demand"], RELIEF_ABOVE), values["severity"]
    fault = torn_alike(here, severity) if which == FIRST else held_open(here, severity)
    return Scenario(here, VISIT_DAY, (fault,), END)


PAIR = Pair(
    noticed="Gas comes out of the vent, and the outlet stands high.",
    suspects=("a torn diaphragm", "the relief at work"),
    visit=visit,
    checks=(
        *usual("gauge_on", "gauge_pilots", "gauge_off", "smell_on", "smell_off", "meter_on", "meter_off"),
        PairCheck(CHECKS["held_low"], held_low, steps=((END, "outlet held low"),), tells=True),
        *usual("vent_end", "plug_vent"),
    ),
    because="Held well below the point at which it opens, a relief shuts; a tear has nothing to shut with.",
)
