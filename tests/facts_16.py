"""What lab 16 states: its numbers worked out anew, what shows each statement, and the source of each rule."""

from __future__ import annotations

from lesson_text import both, pressure

from toolkit.diagnosis.pair_creep import (
    BEFORE,
    COOL_AT,
    END,
    LINE,
    OFF_AT,
    PAIR,
    SHUT_AT,
    SUN,
    WARM_AT,
    locked,
    rise,
    station,
    warmth,
)
from toolkit.diagnosis.pair_station import OUTLET
from toolkit.diagnosis.pairs import FIRST, SECOND
from toolkit.gas_by_hand import leak_of_creep, warmed_pressure
from toolkit.panels import lab, lesson_16
from toolkit.panels.bench import run
from toolkit.trace import Trace

START = lesson_16.BENCH.start("us")
# The rows of the table: checks, and the sign of each that is told.
IN_TABLE = (("gauge_off", -1), ("meter_off", 0), ("smell_off", 0), ("in_the_sun", 0), ("inlet_shut", 0), ("sun", 0))


def ran(which: int, check: str = "gauge_on") -> Trace:
    """A run of the bench as it opens, with one of the causes."""
    return run(lab.scenario_of(lesson_16.LAB, START | {"check": check}, which))


def table() -> dict[str, str]:
    rows = {}
    for key, place in IN_TABLE:
        check = PAIR.by_key[key].check
        leaks, warms = (PAIR.shows(START, key, which)[place][1] for which in (FIRST, SECOND))
        rows[key] = f"| {check.name} | {check.minutes:g} | {leaks} | {warms} |"
    return rows


def happened() -> dict[str, str]:
    leaks, warms = ran(FIRST), ran(SECOND)
    for share in (0.2, 0.5, 0.9):  # "at one rate"
        time = OFF_AT + share * (WARM_AT - OFF_AT)
        assert abs(leaks.at(OUTLET, time) - warms.at(OUTLET, time)) < 0.005 * warms.at(OUTLET, time)
    shut, warm, shade, later = (
        ran(which, check)
        for which, check in ((FIRST, "inlet_shut"), (SECOND, "inlet_shut"), (SECOND, "sun"), (FIRST, "sun"))
    )
    assert shut.at(OUTLET, END) - shut.at(OUTLET, SHUT_AT + 900) < 1.0  # "and stops", within a quarter of an hour
    return {
        "lock": f"locks up at {pressure(locked(station(START)))}",
        "climbs": f"climb to {pressure(leaks.at(OUTLET, WARM_AT))}",
        "hour": f"In {SUN['ramp'] / 60:.0f} minutes",
        **table(),
        "shut": f"At {SHUT_AT / 60:.0f} min the inlet valve is shut, with the gauge at "
        f"{pressure(shut.at(OUTLET, SHUT_AT))}",
        "stops": f"goes on to {pressure(shut.at(OUTLET, END))}, and stops",
        "goes on": f"climbs to {pressure(warm.at(OUTLET, END))} as if nothing had been done",
        "falls": f"falls back to {pressure(shade.at(OUTLET, COOL_AT))}",
        "later": f"is at {pressure(later.at(OUTLET, COOL_AT))} by then",
        "costs": f"{PAIR.by_key['inlet_shut'].check.minutes:g} minutes",
        "waits": f"{PAIR.by_key['sun'].check.minutes:g} minutes",
    }


def worked() -> dict[str, str]:
    here, climbs = station(START), rise(START)
    lock, air, stood = locked(here), here.atmosphere, here.temperature
    warmer = (warmth(here, climbs) - 1.0) * stood
    assert abs(warmed_pressure(lock, stood, stood + warmer, air) - lock - climbs) < 0.1
    leak = leak_of_creep(LINE, climbs, SUN["ramp"], air)
    stays = BEFORE * (here.supply.gauge_pressure - lock) / LINE
    seen = ran(FIRST, "inlet_shut")
    assert abs(seen.at(OUTLET, END) - seen.at(OUTLET, SHUT_AT) - stays) < 0.1 * stays
    return {
        "climb": f"climbs by {both(climbs, 'pressure_difference')}",
        "whole": f"stands at {both(lock + air, 'absolute_pressure')}",
        "lock": pressure(lock),
        "air": both(air, "absolute_pressure"),
        "share": f"{100 * climbs / (lock + air):.2f} %",
        "stood": f"{both(stood, 'temperature')}",
        "warmer": f"{both(warmer, 'temperature_difference')}",
        "line": f"holds {both(LINE, 'volume')}",
        "filled": f"{both(LINE * climbs / air, 'volume')} of gas",
        "leak": f"{leak * 3600 / 0.0283168:.2f} scfh ({leak * 3600:.4f} m³/h)",
        "before": f"holds {both(BEFORE, 'volume')} at {pressure(here.supply.gauge_pressure)}",
        "more": f"{both(stays, 'pressure_difference')} more",
    }


NUMBERS = {"Worked example": worked, "What happened": happened}

# What "In the field" tells of rules and reports, with the source that has it.
TOLD = [
    ("Federal rules want regulator stations inspected and tested each calendar year", "cfr-192-739"),
]

# What the lab teaches, each sentence as it stands there, and what shows it.
TEACHES = [
    ("With all off the gauge climbs, and two causes make it climb.", "bench"),
    ("Gas that is locked in goes with its absolute temperature.", "item 16.warmed"),
    (
        "Here both climb at one rate.",
        "test tests/test_panel_lesson_16.py::test_both_climb_as_the_closed_forms_say",
    ),
    (
        "A rise in the sun does not tell: the gauge rises in the sun over a leaking seat too.",
        "test tests/test_lab.py::test_a_check_shows_the_same_with_both_unless_it_tells",
    ),
    ("A leak needs gas from the inlet; the sun needs none.", "item 16.check"),
    ("What the sun has lifted falls again in the shade.", "item 16.leaves"),
    (
        "If it falls and still stands above lock-up, it was both: the sun, and a seat that leaks.",
        "test tests/test_signs.py::test_the_shade_tells_a_leak_from_the_sun",
    ),
    (
        "What stands between the valve and the seat still comes through, and only then the climb stops.",
        "test tests/test_panel_lesson_16.py::test_what_stands_behind_the_valve_comes_through_and_no_more",
    ),
    ("If the climb stops, the seat leaks.", "item 16.cause"),
    (
        "Federal rules want regulator stations inspected and tested each calendar year, at most 15 months apart.",
        "source cfr-192-739",
    ),
]
