"""What lab 18 states: its numbers worked out anew, what shows each statement, and the source of each rule."""

from __future__ import annotations

from lesson_text import both, pressure

from toolkit.diagnosis.pair_monitor import ABOVE, PAIR, WIDE, WORKER
from toolkit.diagnosis.pair_station import END, OUTLET, PILOTS_AT
from toolkit.diagnosis.pairs import FIRST, SECOND
from toolkit.gas_by_hand import flow_share
from toolkit.layers import MONITOR
from toolkit.panels import lab, lesson_18
from toolkit.panels.bench import run
from toolkit.panels.lesson_18 import BETWEEN
from toolkit.trace import Trace
from toolkit.units import IN_WC, PSI

START = lesson_18.BENCH.start("us")
ON = PILOTS_AT - 1
# The rows of the table: checks, and the sign of each that is told.
IN_TABLE = (
    *(("gauge_on", 0), ("gauge_pilots", 0), ("gauge_off", 1), ("inlet", 0), ("meter_on", 0)),
    *(("between", 0), ("monitor_point", 0)),
)


def ran(which: int) -> Trace:
    """A run of the bench as it opens, with one of the causes."""
    return run(lab.scenario_of(lesson_18.LAB, START, which))


def table() -> dict[str, str]:
    rows = {}
    for key, place in IN_TABLE:
        check = PAIR.by_key[key].check
        weak, shut = (PAIR.shows(START, key, which)[place][1] for which in (FIRST, SECOND))
        rows[key] = f"| {check.name} | {check.minutes:g} | {weak} | {shut} |"
    return rows


def happened() -> dict[str, str]:
    weak, shut = ran(FIRST), ran(SECOND)
    for trace, wide, holds in ((weak, MONITOR, WORKER), (shut, WORKER, MONITOR)):
        travel = trace.scenario.station.regulators[0].travel
        for time in (ON, END):  # "wide open" at the one, "holds the gas back" at the other
            assert trace.at(f"{wide}_lift", time) > 0.999 * travel
            assert trace.at(f"{holds}_lift", time) < 0.2 * travel
    (taken, other) = (trace.at("appliances_flow", ON) / START["demand"] for trace in (weak, shut))
    assert abs(taken - other) < 0.005
    return {
        "set": f"The worker is set to {pressure(START['set_point'])} and the monitor to "
        f"{pressure(START['set_point'] + ABOVE)}",
        "on": f"{pressure(weak.at(OUTLET, ON))} at the one visit and {pressure(shut.at(OUTLET, ON))} at the other",
        "off": f"With all off it shows {pressure(weak.at(OUTLET, END))} and {pressure(shut.at(OUTLET, END))}",
        **table(),
        "meter": f"At both visits the meter shows {100 * taken:.0f} % of the rating",
        "full": f"there stand {pressure(weak.at(BETWEEN, ON))}",
        "empty": f"there stand {pressure(shut.at(BETWEEN, ON))}",
        "rests": f"With all off it is {pressure(shut.at(BETWEEN, END))}",
        "cost": f"It takes {PAIR.by_key['between'].check.minutes:g} minutes",
        "proof": f"takes {PAIR.by_key['monitor_point'].check.minutes:g} minutes",
    }


def worked() -> dict[str, str]:
    shut = ran(SECOND)
    here = shut.scenario.station
    (load,), inlet, outlet = here.loads, here.supply.gauge_pressure, shut.at(OUTLET, ON)
    middle = shut.at(BETWEEN, ON)
    share = (middle - outlet) / (inlet - outlet)
    taken = flow_share(outlet, load.rated_gauge_pressure)
    assert abs(taken - shut.at(f"{load.name}_flow", ON) / load.rated_flow) < 0.01
    # "gas moves through the wide-open worker": what it passes choked at the inlet pressure is so many times the load
    return {
        "gauges": f"{pressure(middle)} between, and {pressure(outlet)} at the outlet",
        "before": f"before the two it shows {pressure(inlet)}",
        "one unit": f"{middle / PSI:.2f} psi and {outlet / PSI:.2f} psi",
        "inch": f"{PSI / IN_WC:.1f} in. w.c. make 1 psi",
        "off": f"{middle / PSI - outlet / PSI:.2f} of {inlet / PSI - outlet / PSI:.1f} psi",
        "share": f"{100 * share:.1f} % of the way",
        "rated": f"rated at {pressure(load.rated_gauge_pressure)}",
        "square": f"stands at {100 * outlet / load.rated_gauge_pressure:.0f} % of that",
        "root": f"{100 * taken:.0f} % of their flow",
        "takes": f"That is {both(taken * load.rated_flow, 'standard_flow')}",
        "of": f"of {both(load.rated_flow, 'standard_flow')}",
        "wide": f"passes {WIDE:g} times the load",
    }


NUMBERS = {"Worked example": worked, "What happened": happened}

# What "In the field" tells of rules and reports, with the source that has it.
TOLD = [
    ("whether each regulator is set to hold or to relieve at the right pressure", "cfr-192-739"),  # (a)(3)
]

# What the lab teaches, each sentence as it stands there, and what shows it.
TEACHES = [
    ("Low at every load: two causes make that.", "bench"),
    (
        "The two regulators are built alike, so what the one holds with a weak spring the other holds too.",
        "test tests/test_panel_lesson_18.py::test_with_one_preload_left_either_holds_alike",
    ),
    (
        "No gauge at either end of the two tells which of them it is.",
        "test tests/test_lab.py::test_a_check_shows_the_same_with_both_unless_it_tells",
    ),
    ("The pressure is lost where the gas is held back.", "item 18.way"),
    ("Near the inlet: the second of the two holds it back, the worker.", "item 18.check"),
    ("Near the outlet: the first has done so already, the monitor.", "item 18.cause"),
    (
        "A monitor that sticks nearly shut is right again with pilots only.",
        "test tests/test_panel_lesson_18.py::test_a_monitor_that_sticks_is_right_with_pilots_only",
    ),
    ("With a weak spring the outlet stays low with pilots only.", "bench"),
    ("Both set points are proven before a burner is lit.", "item 18.steps"),
]
