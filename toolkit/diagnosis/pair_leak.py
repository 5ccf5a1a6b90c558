"""A plugged filter before the regulator, or a leak in the buried pipe behind it: the outlet is low with all burners on.

The station stands at the street, a pipe in the ground leads to the house, and the outlet valve and the meter are at the
house: what leaks is between, and the meter does not see it. There is no gauge behind the filter.
Sizes are invented to be watched, engineering judgement.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

from toolkit.devices.balance import valve_area
from toolkit.diagnosis.next_check import CHECKS
from toolkit.diagnosis.pair_small import BEFORE_FILTER, BEFORE_FILTER_CALLED, METER_WORDS
from toolkit.diagnosis.pair_station import LONG_AGO, OUTLET, PILOTS, PILOTS_AT, area_for, built_for
from toolkit.diagnosis.pairs import FIRST, Pair, PairCheck, Values, as_it_is, as_met, usual
from toolkit.diagnosis.readings import step
from toolkit.diagnosis.signs import SIGNS, Signs
from toolkit.diagnosis.visits import FLOW_LESS, FLOW_MORE
from toolkit.faults import Fault, Leak, PluggedFilter
from toolkit.flow import mass_flow
from toolkit.gas import standard_density
from toolkit.scenario import Demand, Scenario, Station, Volume
from toolkit.simulation import simulate
from toolkit.trace import Trace

# A visit: pilots only, all burners on, pilots only [s]; a run's start knows of no leak, so it begins with little flow.
# The outlet valve at the house is shut only for a check, at the end.
ON_AT, END, SHUT_FOR = 30.0, 300.0, 300.0
DAY = (Demand(0.0, PILOTS), Demand(ON_AT, 1.0), Demand(PILOTS_AT, PILOTS))
# Wide open the regulator passes so many times what its burners take; a clean filter is open so many times as wide.
SPARE, CLEAN = 1.25, 4.0
# It is a soft one with a sharp seat, that holds nearly one pressure whatever it passes, and locks up well above it.
SPRING_RATE, AREA_GROWTH, SEAT_STIFFNESS, SEAT_DEPTH = 300.0, 0.02, 1.6e6, 1e-5
# The buried pipe, and next to nothing between filter and regulator, so that the outlet falls as fast with both [m3].
PIPE, BEFORE = 0.05, 1e-4
# The leak takes this share of what the burners take: at no severity, and more at the full one.
LEAST, MORE = 0.45, 0.2


def station(values: Values) -> Station:
    """A soft regulator behind a clean filter, before a buried pipe; its burners are built for its set point."""
    plain = built_for(values["set_point"], values["demand"], spare=SPARE)
    (regulator,), (load,), (inlet, outlet) = plain.regulators, plain.loads, plain.volumes
    soft = replace(
        regulator,
        spring_rate=SPRING_RATE,
        area_growth=AREA_GROWTH,
        seat_stiffness=SEAT_STIFFNESS,
        seat_depth=SEAT_DEPTH,
    )
    return replace(
        plain,
        supply=replace(plain.supply, flow_area=CLEAN * valve_area(regulator.condition(), regulator.travel)),
        regulators=(soft,),
        loads=(replace(load, rated_gauge_pressure=values["set_point"]),),
        volumes=(Volume(inlet.name, BEFORE), Volume(outlet.name, PIPE)),
    )


def leaking(here: Station, severity: float) -> Leak:
    """A nick that takes its share of the burners' flow at the set point (closed form)."""
    (load,) = here.loads
    area = area_for((LEAST + MORE * severity) * load.rated_flow, here.regulators[0].set_gauge_pressure, 0.0)
    return Leak(devices="outlet", leak_area=area, **LONG_AGO)


@lru_cache(maxsize=64)
def plugged_alike(here: Station, severity: float) -> Fault:
    """A filter so far plugged that the burners are left with what the leak leaves them.

    The regulator is wide open and choked with both, so what comes is as the absolute pressure before it (closed form).
    """
    like = simulate(Scenario(here, DAY, (leaking(here, severity),), END))
    (regulator,), (load,) = here.regulators, here.loads
    flow = like.at(f"{load.name}_flow", PILOTS_AT - 1) * standard_density(here.gas)
    gauges = (here.supply.gauge_pressure, like.at(OUTLET, PILOTS_AT - 1))
    supply, outlet = (here.atmosphere + gauge for gauge in gauges)
    wide = valve_area(regulator.condition(), regulator.travel)
    before = flow / (mass_flow(wide, supply, outlet, here.gas, here.temperature) / supply)
    left = flow / mass_flow(here.supply.flow_area, supply, before, here.gas, here.temperature)
    return PluggedFilter(devices=here.supply.name, blocked_share=1.0 - left, **LONG_AGO)


def visit(values: Values, which: int) -> Scenario:
    """The visit with either cause; `values`: "set_point" [Pa gauge], "demand" [standard m3/s], "severity" 0 to 1."""
    here, severity = station(values), values["severity"]
    fault = plugged_alike(here, severity) if which == FIRST else leaking(here, severity)
    return Scenario(here, DAY, (fault,), END)


def valve_shut(visit: Scenario) -> Scenario:
    """The same visit with the burners off and the outlet valve at the house shut at its end."""
    return replace(visit, demands=(*visit.demands, Demand(END, 0.0)), duration=END + SHUT_FOR)


def by_the_house_meter(trace: Trace) -> Signs:
    """The signs of a run where the meter is at the house: it counts what the burners take, and no leak before it."""
    (load,) = trace.scenario.station.loads
    share = trace.at(f"{load.name}_flow", PILOTS_AT - 1) / load.rated_flow
    meter_on = step(SIGNS["meter_on"].values, share, FLOW_LESS, FLOW_MORE)
    signs = replace(as_met(trace), meter_on=meter_on)
    return signs if signs.meter_off is None else replace(signs, meter_off="stands")


PAIR = Pair(
    noticed="The outlet is low when all burners are on, and right with pilots only.",
    suspects=("a plugged filter", "a leak in the buried pipe"),
    visit=visit,
    checks=(
        *usual("gauge_on", "gauge_pilots"),
        PairCheck(BEFORE_FILTER, called=BEFORE_FILTER_CALLED),
        PairCheck(CHECKS["meter_on"], as_it_is, by_the_house_meter, words=METER_WORDS),
        *usual("smell_on", "frost", "listen"),
        PairCheck(CHECKS["meter_off"], valve_shut, by_the_house_meter, steps=((END, "outlet valve shut"),)),
        PairCheck(CHECKS["gauge_off"], valve_shut, steps=((END, "outlet valve shut"),), tells=True),
        *usual("vent_end", "raise_set_point"),
    ),
    because="Behind a plugged filter nothing flows once the valve at the house is shut, and the gauge comes back to "
    "lock-up; a leak before that valve goes on drawing, and the gauge stays below.",
)
