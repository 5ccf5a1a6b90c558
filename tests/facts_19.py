"""What lab 19 states: its numbers worked out anew, what shows each statement, and the source of each rule."""

from __future__ import annotations

from lesson_text import both, pressure

from toolkit.devices.regulator import lock_up_gauge_pressure
from toolkit.diagnosis.pair_station import END, NAME, OUTLET, PILOTS_AT
from toolkit.diagnosis.pair_stuck import (
    HELD_LOW,
    LEAST,
    MORE,
    PAIR,
    RELIEF_ABOVE,
    SMELL_OFF,
    SMELL_ON,
    STACK,
    TEAR,
    VALVE,
)
from toolkit.diagnosis.pairs import FIRST, SECOND
from toolkit.diagnosis.visits import HELD_DRAW
from toolkit.faults import TornDiaphragm
from toolkit.panels import lab, lesson_19
from toolkit.panels.bench import run
from toolkit.trace import Trace

START = lesson_19.BENCH.start("us")
ON = PILOTS_AT - 1
# The rows of the table: checks, and the sign of each that is told.
IN_TABLE = (
    *(("gauge_on", 0), ("gauge_off", 0), (STACK.key, 0), (SMELL_ON.key, 0), (SMELL_OFF.key, 0)),
    *(("meter_off", 0), (HELD_LOW.key, 0)),
)


def ran(which: int, check: str = "gauge_on") -> Trace:
    """A run of the bench as it opens, with one of the causes."""
    return run(lab.scenario_of(lesson_19.LAB, START | {"check": check}, which))


def table() -> dict[str, str]:
    rows = {}
    for key, place in IN_TABLE:
        check = PAIR.by_key[key].check
        torn, stuck = (PAIR.shows(START, key, which)[place][1] for which in (FIRST, SECOND))
        rows[key] = f"| {check.name} | {check.minutes:g} | {torn} | {stuck} |"
    return rows


def happened() -> dict[str, str]:
    torn, stuck = ran(FIRST), ran(SECOND)
    for time in (ON, END - 1):
        assert abs(torn.at(OUTLET, time) - stuck.at(OUTLET, time)) < 0.02 * stuck.at(OUTLET, time)
        for trace in (torn, stuck):  # "blows at both"
            assert trace.at(f"{VALVE}_flow", time) > 0.0
        assert stuck.at(f"{NAME}_vent_flow", time) == 0.0  # "nothing comes from its vent"
    held, low = ran(SECOND, HELD_LOW.key), ran(FIRST, HELD_LOW.key).settled(OUTLET)
    assert HELD_DRAW == 3.0  # "three times"
    return {
        "set": f"set to {pressure(START['set_point'])}",
        "opens": f"opens at {pressure(START['set_point'] + RELIEF_ABOVE)}",
        "off": f"{pressure(torn.at(OUTLET, END - 1))} with the one and {pressure(stuck.at(OUTLET, END - 1))} with the",
        **table(),
        "held": f"the outlet falls to {pressure(held.settled(OUTLET))}, over the tear to {pressure(low)}",
        "torn": f"still lets {both(ran(FIRST, HELD_LOW.key).settled(f'{NAME}_vent_flow'), 'standard_flow')} out",
        "cost": f"It takes {PAIR.by_key[HELD_LOW.key].check.minutes:g} minutes",
    }


def worked() -> dict[str, str]:
    torn, stuck = ran(FIRST, HELD_LOW.key), ran(SECOND, HELD_LOW.key)
    here = stuck.scenario.station
    (load,), (regulator,) = here.loads, here.regulators
    passes = LEAST + MORE * START["severity"]
    held = load.rated_gauge_pressure * (passes / HELD_DRAW) ** 2
    assert abs(held / stuck.settled(OUTLET) - 1.0) < 0.03
    (tear,) = torn.scenario.faults
    assert isinstance(tear, TornDiaphragm)
    whole = lock_up_gauge_pressure(regulator.condition(), here.supply.gauge_pressure)
    opens, hole = START["set_point"] + RELIEF_ABOVE, TEAR * load.rated_flow
    low = torn.settled(OUTLET)
    assert abs(hole * (low / opens) ** 0.5 / torn.settled(f"{NAME}_vent_flow") - 1.0) < 0.03
    return {
        "demand": f"take {both(load.rated_flow, 'standard_flow')}",
        "passes": f"passes {passes:g} times that, {both(passes * load.rated_flow, 'standard_flow')}",
        "draw": f"Call for {HELD_DRAW:g} times",
        "share": f"{passes:g} of {HELD_DRAW:g}, or {100 * passes / HELD_DRAW:.0f} %",
        "square": f"{100 * (passes / HELD_DRAW) ** 2:.0f} % of the {pressure(load.rated_gauge_pressure)}",
        "held": f"is {pressure(held)}",
        "bench": f"The bench shows {pressure(stuck.settled(OUTLET))}",
        "opens": f"opens at {pressure(opens)}",
        "record": f"locks up at {pressure(whole)}",
        "hole": f"At {pressure(opens)} it passes {both(hole, 'standard_flow')}",
        "low": f"stands at {pressure(low)} over the tear.\n   That is {100 * low / opens:.0f} % of where",
        "root": f"{100 * (low / opens) ** 0.5:.0f} % of the flow",
        "left": f"That leaves {both(hole * (low / opens) ** 0.5, 'standard_flow')}",
    }


NUMBERS = {"Worked example": worked, "What happened": happened}

# What "In the field" tells of rules and reports, with the source that has it.
TOLD = [
    ("Federal rules want a relief's stack where its gas does no harm", "cfr-192-199"),  # (e)
]

# What the lab teaches, each sentence as it stands there, and what shows it.
TEACHES = [
    ("High, and gas beside the vent: two causes make both.", "bench"),
    (
        "A whole diaphragm without a relief in it lets no gas to the vent, however high the outlet stands.",
        "test tests/test_panel_lesson_19.py::test_only_the_torn_one_lets_gas_to_the_vent",
    ),
    (
        "As long as the relief valve blows, a nose at the vent cannot tell.",
        "test tests/test_panel_lesson_19.py::test_the_nose_at_the_vent_smells_the_stack",
    ),
    ("A tear passes gas at any outlet pressure, a low one too.", "item 19.check"),
    ("Clean air at the vent, held low: the diaphragm is whole, and the stem is stuck.", "item 19.cause"),
    ("Burners pass as the root of their pressure, so square the share.", "item 19.held"),
    ("Smell again only once the stack is still.", "item 19.shuts"),
    (
        "Federal rules want a relief's stack where its gas does no harm, and guarded from water and ice.",
        "source cfr-192-199",
    ),
]
