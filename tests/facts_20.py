"""What lab 20 states: its numbers worked out anew, what shows each statement, and the source of each rule."""

from __future__ import annotations

from lesson_text import both, pressure

from toolkit.devices.regulator import lock_up_gauge_pressure
from toolkit.diagnosis.pair_leak import END, PAIR, SPARE
from toolkit.diagnosis.pair_station import NAME, OUTLET, PILOTS_AT
from toolkit.diagnosis.pairs import FIRST, SECOND
from toolkit.gas_by_hand import flow_share
from toolkit.panels import lab, lesson_20
from toolkit.panels.bench import run
from toolkit.panels.lesson_20 import LEAKS
from toolkit.trace import Trace

START = lesson_20.BENCH.start("us")
ON = PILOTS_AT - 1
# The rows of the table: checks, and the sign of each that is told.
IN_TABLE = (
    *(("gauge_on", 0), ("gauge_pilots", 0), ("before_filter", 0), ("meter_on", 0), ("meter_off", 0)),
    ("gauge_off", 1),
)


def ran(which: int, check: str = "gauge_on") -> Trace:
    """A run of the bench as it opens, with one of the causes."""
    return run(lab.scenario_of(lesson_20.LAB, START | {"check": check}, which))


def table() -> dict[str, str]:
    rows = {}
    for key, place in IN_TABLE:
        check = PAIR.by_key[key].check
        plugged, leaks = (PAIR.shows(START, key, which)[place][1] for which in (FIRST, SECOND))
        rows[key] = f"| {check.name} | {check.minutes:g} | {plugged} | {leaks} |"
    return rows


def happened() -> dict[str, str]:
    plugged, leaks = ran(FIRST, "gauge_off"), ran(SECOND, "gauge_off")
    for trace in (plugged, leaks):  # "wide open"
        (regulator,) = trace.scenario.station.regulators
        assert trace.at(f"{NAME}_lift", ON) > 0.999 * regulator.travel
    (regulator,) = plugged.scenario.station.regulators
    record = lock_up_gauge_pressure(regulator.condition(), plugged.scenario.station.supply.gauge_pressure)
    return {
        "set": f"set to {pressure(START['set_point'])}, and locks up at {pressure(record)}",
        "on": f"{pressure(plugged.at(OUTLET, ON))} at the one visit and {pressure(leaks.at(OUTLET, ON))} at the other",
        "pilots": f"With pilots only it shows {pressure(plugged.at(OUTLET, END - 1))} and "
        f"{pressure(leaks.at(OUTLET, END - 1))}",
        **table(),
        "back": f"the gauge comes up to {pressure(plugged.settled(OUTLET))}",
        "stays": f"it stays at {pressure(leaks.settled(OUTLET))}",
        "lost": f"feeding {both(leaks.settled(LEAKS), 'standard_flow')} into the ground",
        "cost": f"It takes {PAIR.by_key['gauge_off'].check.minutes:g} minutes",
    }


def worked() -> dict[str, str]:
    leaks = ran(SECOND, "gauge_off")
    (load,), low, set_point = leaks.scenario.station.loads, leaks.at(OUTLET, ON), START["set_point"]
    share = flow_share(low, set_point)
    assert abs(share - leaks.at(f"{load.name}_flow", ON) / load.rated_flow) < 0.01
    passes, burnt = SPARE * load.rated_flow, share * load.rated_flow
    lost = passes - burnt
    # what the clean filter costs is left out
    assert abs(lost / leaks.at(LEAKS, ON) - 1.0) < 0.05
    later = lost / share
    assert abs(later / leaks.settled(LEAKS) - 1.0) < 0.05
    return {
        "takes": f"take {both(load.rated_flow, 'standard_flow')} at {pressure(set_point)}",
        "low": f"stands at {pressure(low)}, {100 * low / set_point:.0f} % of that",
        "root": f"take {100 * share:.0f} % of their flow, {both(burnt, 'standard_flow')}",
        "passes": f"passes {SPARE:g} times the burners' flow, {both(passes, 'standard_flow')}",
        "lost": f"The rest is {both(lost, 'standard_flow')}",
        "shut": f"nearly at {pressure(set_point)}",
        "more": f"divide by {100 * share:.0f} %",
        "later": f"makes {both(later, 'standard_flow')}",
        "bench": f"The bench shows {both(leaks.settled(LEAKS), 'standard_flow')}",
    }


NUMBERS = {"Worked example": worked, "What happened": happened}

# What "In the field" tells of rules and reports, with the source that has it.
TOLD = [
    ("Federal rules want a valve in the pipe that feeds a regulator station", "cfr-192-181"),  # (b)
]

# What the lab teaches, each sentence as it stands there, and what shows it.
TEACHES = [
    ("Low with all burners on, and right with pilots only: two causes make that here.", "bench"),
    (
        "With both the regulator stands wide open, and the burners are left with the same.",
        "test tests/test_panel_lesson_20.py::test_the_leak_and_the_filter_leave_the_burners_the_same",
    ),
    (
        "A meter behind the leak does not see what is lost before it.",
        "test tests/test_panel_lesson_20.py::test_a_meter_before_the_leak_would_run_and_the_one_behind_it_stands",
    ),
    ("Behind a plugged filter the gauge comes back to lock-up, for nothing flows any more.", "item 20.check"),
    ("Where the pipe leaks, the regulator goes on feeding it, and the gauge stays below.", "item 20.cause"),
    (
        "With no flow a gauge belongs at lock-up, as on record.",
        "test tests/test_panel_lesson_20.py::test_with_the_valve_shut_one_comes_back_to_lock_up_and_the_other_does_not",
    ),
    (
        "With the valve shut the pipe stands higher, and leaks more than with all burners on.",
        "test tests/test_panel_lesson_20.py::test_the_check_that_tells_feeds_the_leak",
    ),
    (
        "Shut a valve before the leak, and the gauge comes back with both.",
        "test tests/test_panel_lesson_20.py::test_a_valve_before_the_leak_hides_it",
    ),
    ("What the regulator passes and the burners do not take goes into the ground.", "item 20.lost"),
    ("Gas is let in again only once the pipe is proven tight.", "item 20.steps"),
]
