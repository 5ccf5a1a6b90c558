"""What lab 17 states: its numbers worked out anew, what shows each statement, and the source of each rule."""

from __future__ import annotations

from lesson_text import both, pressure

from toolkit.diagnosis.pair_small import PAIR, RIGHT, capacity
from toolkit.diagnosis.pair_station import END, NAME, OUTLET, PILOTS_AT
from toolkit.diagnosis.pairs import FIRST, SECOND
from toolkit.diagnosis.readings import DROP_LARGE, DROP_MARKED
from toolkit.gas_by_hand import flow_share
from toolkit.panels import lab, lesson_17
from toolkit.panels.bench import run
from toolkit.trace import Trace

START = lesson_17.BENCH.start("us")
BEHIND = lesson_17.AFTER
ON = PILOTS_AT - 1
# The rows of the table: checks, and the sign of each that is told.
IN_TABLE = (
    *(("gauge_on", 0), ("gauge_pilots", 0), ("gauge_off", 1)),
    *(("before_filter", 0), ("meter_on", 0), ("filter", 0)),
)


def ran(which: int) -> Trace:
    """A run of the bench as it opens, with one of the causes."""
    return run(lab.scenario_of(lesson_17.LAB, START, which))


def table() -> dict[str, str]:
    rows = {}
    for key, place in IN_TABLE:
        check = PAIR.by_key[key].check
        small, plugged = (PAIR.shows(START, key, which)[place][1] for which in (FIRST, SECOND))
        rows[key] = f"| {check.name} | {check.minutes:g} | {small} | {plugged} |"
    return rows


def happened() -> dict[str, str]:
    small, plugged = ran(FIRST), ran(SECOND)
    for trace in (small, plugged):  # "wide open"
        (regulator,) = trace.scenario.station.regulators
        assert trace.at(f"{NAME}_lift", ON) > 0.999 * regulator.travel
    supply = small.scenario.station.supply.gauge_pressure
    return {
        "set": f"set to {pressure(START['set_point'])}",
        "on": f"{pressure(small.at(OUTLET, ON))} at the one visit and {pressure(plugged.at(OUTLET, ON))} at the other",
        **table(),
        "before": f"Before the filter stand {pressure(supply)}",
        "clean": f"{pressure(small.at(BEHIND, ON))} where the regulator is too small",
        "dirty": f"{pressure(plugged.at(BEHIND, ON))} where the filter is plugged",
        "cost": f"It takes {PAIR.by_key['filter'].check.minutes:g} minutes",
        "pilots": f"With pilots only it shows {pressure(plugged.at(BEHIND, PILOTS_AT + 110))}",
        "small": f"small below {100 * DROP_MARKED:.0f} %",
        "large": f"large from {100 * DROP_LARGE:.0f} % on",
        "off": f"with all off {pressure(plugged.at(BEHIND, END))}",
    }


def worked() -> dict[str, str]:
    small, plugged = ran(FIRST), ran(SECOND)
    here = plugged.scenario.station
    (load,), air, supply = here.loads, here.atmosphere, here.supply.gauge_pressure
    behind, set_point = plugged.at(BEHIND, ON), START["set_point"]
    share = (behind + air) / (supply + air)
    wanted = load.rated_flow * flow_share(set_point, load.rated_gauge_pressure)
    comes = RIGHT * share
    assert abs(comes - plugged.at(f"{NAME}_flow", ON) / wanted) < 0.02
    # the small one's clean filter costs a little besides
    assert abs(comes - capacity(START)) < 0.02
    outlet = comes**2 * set_point
    assert abs(outlet / small.at(OUTLET, ON) - 1.0) < 0.03
    return {
        "behind": f"show {pressure(supply)} and {pressure(behind)}",
        "air": f"air's {both(air, 'absolute_pressure')}",
        "both": f"{both(supply + air, 'absolute_pressure')} and {both(behind + air, 'absolute_pressure')}",
        "share": f"{100 * share:.1f} % of",
        "right": f"passes {RIGHT:g} times",
        "wanted": f"take {both(wanted, 'standard_flow')}",
        "comes": f"{RIGHT:g} times {100 * share:.1f} % is {100 * comes:.1f} %",
        "square": f"{100 * comes:.1f} % of the flow needs {100 * comes**2:.0f} % of the pressure",
        "outlet": f"{100 * comes**2:.0f} % of {pressure(set_point)} is {pressure(outlet)}",
        "bench": f"shows {pressure(plugged.at(OUTLET, ON))}",
    }


NUMBERS = {"Worked example": worked, "What happened": happened}

# What "In the field" tells of rules and reports, with the source that has it.
TOLD = [
    ("whether its capacity is enough, and whether it is guarded from dirt and liquids", "cfr-192-739"),  # (a)(2), (4)
]

# What the lab teaches, each sentence as it stands there, and what shows it.
TEACHES = [
    ("Low with all burners on, and right with pilots only: two causes make that.", "bench"),
    ("At both visits the regulator stands wide open and cannot give more.", "bench"),
    (
        "The gauge before the filter tells nothing: it stands before the trouble.",
        "test tests/test_lab.py::test_a_check_shows_the_same_with_both_unless_it_tells",
    ),
    (
        "The meter tells nothing either: the burners get the same at both visits.",
        "test tests/test_panel_lesson_17.py::test_the_burners_get_their_share_and_the_outlet_its_square",
    ),
    ("A plugged filter takes its share of the pressure, but only while gas flows.", "item 17.check"),
    (
        "With all off the filter's two gauges stand alike, however dirty it is.",
        "test tests/test_panel_lesson_17.py::test_a_plugged_filter_shows_nothing_with_all_off",
    ),
    ("Choked flow goes with the absolute pressure before the hole.", "item 17.left"),
    ("If the drop is large, the filter is plugged.", "item 17.cause"),
    ("Nothing is opened before zero is proven.", "item 17.steps"),
]
