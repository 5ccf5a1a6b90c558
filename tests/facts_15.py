"""What lab 15 states: its numbers worked out anew, what shows each statement, and the source of each rule."""

from __future__ import annotations

from typing import Any

from lesson_text import both, pressure

from toolkit.devices.regulator import lock_up_gauge_pressure, relief_start_gauge_pressure
from toolkit.diagnosis.pair_station import END, NAME, OUTLET, PILOTS_AT, SPARE
from toolkit.diagnosis.pair_torn import PAIR, RELIEF_ABOVE, torn_alike
from toolkit.diagnosis.pairs import FIRST, SECOND
from toolkit.diagnosis.visits import HELD_DRAW
from toolkit.faults import TornDiaphragm
from toolkit.panels import lab, lesson_15
from toolkit.panels.bench import run
from toolkit.trace import Trace
from toolkit.units import IN_WC

START = lesson_15.BENCH.start("us")
# The rows of the table: checks whose one sign is shown.
IN_TABLE = ("gauge_on", "smell_on", "smell_off", "meter_on", "held_low")


def ran(which: int, check: str = "gauge_on") -> Trace:
    """A run of the bench as it opens, with one of the causes."""
    return run(lab.scenario_of(lesson_15.LAB, START | {"check": check}, which))


def table() -> dict[str, str]:
    rows = {}
    for key in IN_TABLE:
        check = PAIR.by_key[key].check
        ((_, torn),), ((_, works),) = (PAIR.shows(START, key, which) for which in (FIRST, SECOND))
        rows[key] = f"| {check.name} | {check.minutes:g} | {torn} | {works} |"
    return rows


def happened() -> dict[str, str]:
    torn, works = ran(FIRST), ran(SECOND)
    for time in (PILOTS_AT - 1, END - 1):  # "tenths"
        assert abs(torn.at(OUTLET, time) - works.at(OUTLET, time)) < 0.02 * works.at(OUTLET, time)
    held = ran(SECOND, "held_low")
    assert held.at(f"{NAME}_relief_lift", held.scenario.duration) == 0.0  # "shut"
    assert works.at(f"{NAME}_relief_lift", PILOTS_AT - 1) > 0.0
    assert torn.at(f"{NAME}_relief_lift", END - 1) == 0.0  # "never opened"
    (regulator,), (tear,) = works.scenario.station.regulators, torn.scenario.faults
    assert isinstance(tear, TornDiaphragm)
    condition, on, off = regulator.condition(), works.at(OUTLET, PILOTS_AT - 1), torn.at(OUTLET, END - 1)
    sooner = relief_start_gauge_pressure(condition, works.at(f"{NAME}_lift", PILOTS_AT - 1))
    later = relief_start_gauge_pressure(condition._replace(kept=1.0 - tear.lost_share))
    # "below the point at which the relief should open", "above that point"
    assert sooner < on < START["set_point"] + RELIEF_ABOVE < off < later
    assert f"{pressure(on)}" == f"{pressure(torn.at(OUTLET, PILOTS_AT - 1))}"  # "with either"
    return {
        "set": f"set to {pressure(START['set_point'])}",
        "opens": f"opens at {pressure(START['set_point'] + RELIEF_ABOVE)}",
        "on": f"stands at {pressure(on)} with either",
        "sooner": f"opens from {pressure(sooner)} on",
        "later": f"would open at {pressure(later)}",
        "off": f"{pressure(torn.at(OUTLET, END - 1))} with the one and {pressure(works.at(OUTLET, END - 1))} with the",
        **table(),
        "held": f"the outlet falls to {pressure(held.settled(OUTLET))}",
        "cost": f"It takes {PAIR.by_key['held_low'].check.minutes:g} minutes",
    }


def worked() -> dict[str, Any]:
    scenario = ran(FIRST).scenario
    here = scenario.station
    (regulator,), inlet, demand = here.regulators, here.supply.gauge_pressure, here.loads[0].rated_flow
    tear = torn_alike(here, START["severity"])
    assert isinstance(tear, TornDiaphragm)
    whole, left = lock_up_gauge_pressure(regulator.condition(), inlet), 1.0 - tear.lost_share
    condition = regulator.condition()._replace(kept=left)
    assert abs(whole / left / lock_up_gauge_pressure(condition, inlet) - 1.0) < 5e-3  # "divide"
    held = ran(SECOND, "held_low").settled(OUTLET)
    # Burners pass as the root of the pressure: what the regulator can give is drawn at this outlet.
    assert abs(held / (here.loads[0].rated_gauge_pressure * (SPARE / HELD_DRAW) ** 2) - 1.0) < 0.02
    return {
        "set": f"set to {pressure(START['set_point'])}",
        "above": both(RELIEF_ABOVE, "pressure_difference"),
        "opens": f"opens at {pressure(START['set_point'] + RELIEF_ABOVE)}",
        "whole": f"locks up at {whole / IN_WC:.2f} in. w.c. ({whole / 100:.2f} mbar)",
        "left": f"leaves {100 * left:.1f} % of",
        "high": f"That makes {pressure(whole / left)}",
        "shows": f"stands at {pressure(ran(FIRST).at(OUTLET, END - 1))}",
        "demand": f"take {both(demand, 'standard_flow')}",
        "wide": f"passes {SPARE:g} times that, {both(SPARE * demand, 'standard_flow')}",
        "draw": f"Call for {HELD_DRAW:g} times",
        "share": f"{SPARE:g} of {HELD_DRAW:g}, or {100 * SPARE / HELD_DRAW:.0f} %",
        "square": f"{100 * (SPARE / HELD_DRAW) ** 2:.0f} % of the {pressure(here.loads[0].rated_gauge_pressure)}",
        "held": f"is {pressure(held)}",
    }


NUMBERS = {"Worked example": worked, "What happened": happened}

# What "In the field" tells of rules and reports, with the source that has it.
TOLD = [
    ("Federal rules want the vent of a service regulator outdoors", "cfr-192-355"),
]

# What the lab teaches, each sentence as it stands there, and what shows it.
TEACHES = [
    ("Gas at the vent, and an outlet that stands high: two causes make both.", "bench"),
    (
        "With less area to push with, it takes more pressure to hold the same spring.",
        "item 15.torn_high",
    ),
    (
        "Every check but one shows the same with both.",
        "test tests/test_lab.py::test_a_check_shows_the_same_with_both_unless_it_tells",
    ),
    ("A relief shuts below the point at which it opens; a tear has nothing to shut with.", "item 15.check"),
    ("If gas still comes from the vent, the diaphragm is torn.", "item 15.cause"),
    ("If nothing leaves the vent now, the relief was at work: find what drove the outlet up.", "item 15.cause"),
    (
        "Federal rules want the vent of a service regulator outdoors, and clear of insects and water.",
        "source cfr-192-355",
    ),
    ("Look only once the outlet is well below the point at which the relief opens.", "item 15.steps"),
]
