"""A regulator too small for its load, or a plugged filter before it: the outlet is low when all burners are on.

Sizes are invented to be watched, engineering judgement.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from math import sqrt

from toolkit.devices.balance import valve_area
from toolkit.diagnosis.next_check import CHECKS, Check
from toolkit.diagnosis.pair_station import END, LONG_AGO, NAME, OUTLET, PILOTS_AT, VISIT_DAY, built_for
from toolkit.diagnosis.pairs import FIRST, Pair, PairCheck, Values, usual
from toolkit.diagnosis.visits import FLOW_LESS, FLOW_MORE
from toolkit.faults import Fault, PluggedFilter
from toolkit.flow import mass_flow
from toolkit.gas import standard_density
from toolkit.scenario import Scenario, Station
from toolkit.simulation import simulate

# Wide open, a regulator of the right size passes so many times what its burners take at the set point; one that is too
# small passes this share of it: at no severity, and less at the full one.
RIGHT, MOST, LESS = 1.25, 0.88, 0.28
# A clean filter is open so many times as wide as the regulator of the right size.
CLEAN = 4.0


def capacity(values: Values) -> float:
    """What comes through, as a share of what the burners take at the set point."""
    return MOST - LESS * float(values["severity"])


def station(values: Values, spare: float) -> Station:
    """A regulator behind a filter; wide open it passes `spare` times what the burners take at its set point."""
    at_rated = built_for(values["set_point"], values["demand"])
    (load,), set_point = at_rated.loads, values["set_point"]
    # a burner passes as the root of its pressure
    wanted = sqrt(set_point / load.rated_gauge_pressure)
    right, here = (built_for(set_point, values["demand"], spare=wanted * times) for times in (RIGHT, spare))
    return replace(here, supply=replace(here.supply, flow_area=CLEAN * wide_open(right)))


def wide_open(here: Station) -> float:
    """Flow area of the wide-open regulator [m2]."""
    (regulator,) = here.regulators
    return valve_area(regulator.condition(), regulator.travel)


@lru_cache(maxsize=64)
def plugged_alike(small: Station, right: Station) -> Fault:
    """A filter so far plugged that a regulator of the right size gets what the small one passes through a clean one.

    Both valves are choked, so what comes through is as the absolute pressure before the regulator (closed form).
    """
    like = simulate(Scenario(small, VISIT_DAY, (), END))
    flow = like.at(f"{NAME}_flow", PILOTS_AT - 1) * standard_density(small.gas)
    supply, outlet = (right.atmosphere + gauge for gauge in (right.supply.gauge_pressure, like.at(OUTLET, 1.0)))
    per_pascal = mass_flow(wide_open(right), supply, outlet, right.gas, right.temperature) / supply
    before = flow / per_pascal
    left = flow / mass_flow(1.0, supply, before, right.gas, right.temperature)
    return PluggedFilter(devices=right.supply.name, blocked_share=1.0 - left / right.supply.flow_area, **LONG_AGO)


def visit(values: Values, which: int) -> Scenario:
    """The visit with either cause; `values`: "set_point" [Pa gauge], "demand" [standard m3/s], "severity" 0 to 1."""
    small = station(values, capacity(values))
    if which == FIRST:
        return Scenario(small, VISIT_DAY, (), END)
    right = station(values, RIGHT)
    return Scenario(right, VISIT_DAY, (plugged_alike(small, right),), END)


# "Inlet gauge" would leave open on which side of the filter it stands.
BEFORE_FILTER = Check(
    "before_filter", "read the gauge before the filter with all burners on", CHECKS["inlet"].minutes, ("inlet",)
)
BEFORE_FILTER_CALLED = "gauge before the filter, all on"
# "As the rating" would be said of burners that get four fifths of it: where they starve, how near is said with it.
METER_WORDS = (
    ("less than the rating", f"less than {100 * FLOW_LESS:.0f} % of the rating"),
    ("as the rating", f"{100 * FLOW_LESS:.0f} to {100 * FLOW_MORE:.0f} % of the rating"),
)
PAIR = Pair(
    noticed="The outlet is low when all burners are on, and right with pilots only.",
    suspects=("a regulator too small", "a plugged filter"),
    visit=visit,
    checks=(
        *usual("gauge_on", "gauge_pilots", "gauge_off"),
        PairCheck(BEFORE_FILTER, called=BEFORE_FILTER_CALLED),
        PairCheck(CHECKS["meter_on"], words=METER_WORDS),
        *usual("smell_on", "frost", "listen"),
        PairCheck(CHECKS["filter"], gauges=("inlet",), tells=True),
        *usual("vent_end", "raise_set_point"),
    ),
    because="While gas flows, a plugged filter takes its share of the pressure; before a regulator that is too small "
    "all of it is still there.",
)
