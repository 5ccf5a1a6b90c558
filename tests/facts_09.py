"""What lesson 09 states: its numbers worked out anew, what shows each statement, and the source of each rule."""

from __future__ import annotations

from typing import Any

import pytest
from lesson_text import DAY_AT, HERE, INLET_GAUGE, NIGHT_AT, OUTLET, bench_trace, both, pressure

from toolkit.devices.regulator import lock_up_gauge_pressure
from toolkit.panels import lesson_09
from toolkit.panels.lesson_09 import VISIT, made, often
from toolkit.panels.regulator_view import DUSK, END, MORNING
from toolkit.panels.words import clock
from toolkit.trace import Trace, time_above
from toolkit.units import HOUR, IN_WC, SCF

RATING = HERE.loads[0].maximum_gauge_pressure
# The largest demand that the bench has.
FULL = 1500 * SCF / HOUR
# How far the switch at its worst shall stay below full load, and above lock-up, in the worked example [Pa].
BELOW, ABOVE = 0.5 * IN_WC, 1 * IN_WC
LOCKOUT, TRIP = "the burners' lockout", "the slam-shut"
WELL = {"debris": 0.0}
NEAR = {"high": 0.5 * IN_WC, **WELL}
INSIDE = {"low": 0.5 * IN_WC, "demand": FULL, "drives": LOCKOUT, **WELL}


def ran(**chosen: Any) -> Trace:
    """A run of the bench."""
    return bench_trace(lesson_09, **chosen)


def served(trace: Trace) -> bool:
    """Whether the burners have their gas in the morning."""
    return trace.at("appliances_flow", VISIT) > 0.5 * trace.scenario.station.loads[0].rated_flow


def worked() -> dict[str, str]:
    full, trip = ran(demand=FULL, low=2.5 * IN_WC, **WELL), ran(drives=TRIP)
    (switch,), (worker,) = trip.scenario.station.switches, trip.scenario.station.regulators
    high, low = switch.high_gauge_pressure or 0.0, switch.low_gauge_pressure or 0.0
    assert not made(full)
    held = full.at(OUTLET, DAY_AT)
    lock_up = lock_up_gauge_pressure(worker.condition(), INLET_GAUGE)
    ran_on = trip.peak(OUTLET)[1] - high
    early, late = 1 + switch.accuracy, 1 - switch.accuracy
    highest_low, lowest_high = (held - BELOW) / early, (lock_up + ABOVE) / late
    highest_high = (RATING - ran_on) / early
    soonest, latest = high * late, low * early
    bands = soonest - lock_up - ABOVE, held - BELOW - latest
    # "the bench has", "lies between the two", "is less", "the smaller of the two counts"
    assert low < highest_low
    assert lowest_high < high < highest_high
    assert switch.deadband < bands[1] < bands[0]
    return {
        "full load": pressure(held),
        "below": both(BELOW, "pressure_difference"),
        "low edge": pressure(held - BELOW),
        "band": f"{switch.accuracy:.0%}".replace("%", " %"),
        "early": f"divide by {early:.2f}",
        "highest low": f"low side no higher than {pressure(highest_low)}",
        "low": pressure(low),
        "lock-up": pressure(lock_up),
        "above": both(ABOVE, "pressure_difference"),
        "high edge": pressure(lock_up + ABOVE),
        "late": f"Divide by {late:.2f}",
        "lowest high": f"high side no lower than {pressure(lowest_high)}",
        "rating": pressure(RATING),
        "ran on": both(ran_on, "pressure_difference"),
        "left": pressure(RATING - ran_on),
        "highest high": f"high side no higher than {pressure(highest_high)}",
        "high": pressure(high),
        "high, with its band": f"{pressure(soonest)}, which is {late:.2f} of {high / IN_WC:.1f}",
        "low, with its band": f"{pressure(latest)}, which is {early:.2f} of {low / IN_WC:.1f}",
        "high band": both(bands[0], "pressure_difference"),
        "low band": both(bands[1], "pressure_difference"),
        "deadband": both(switch.deadband, "pressure_difference"),
    }


def rows() -> dict[str, str]:
    """A row for each thing that the switch may drive: the night, and the morning."""
    found = {}
    for words, drives in lesson_09.DRIVES.options:
        run = ran(drives=words)
        behind = f"locked out, with {pressure(run.settled(OUTLET))} behind them by the end"
        gas = "gas" if served(run) else behind if drives == "lockout" else "no gas"
        found[drives] = f"| {words} | {pressure(run.at(OUTLET, NIGHT_AT))} | {gas} |"
    return found


def happened() -> dict[str, str]:
    well, grit = ran(**WELL), ran()
    (worker,), (switch,) = grit.scenario.station.regulators, grit.scenario.station.switches
    first, until = made(grit)[0]
    assert not made(well)
    (by_hand,) = made(ran(manual="only by hand"))
    assert by_hand == (first, END)
    locked, trip = ran(drives=LOCKOUT), ran(drives=TRIP)
    assert trip.peak(OUTLET)[1] < RATING
    assert MORNING < trip.happened("switch_low")[0].time < VISIT  # "in the morning", "the low side makes as well"
    stuck = {
        words: ran(failure="worker stuck wide open", drives=words, **WELL) for words in ("an alarm", LOCKOUT, TRIP)
    }
    assert stuck["an alarm"].peak(OUTLET)[1] == pytest.approx(stuck[LOCKOUT].peak(OUTLET)[1], rel=1e-3)
    assert time_above(stuck[TRIP].times, stuck[TRIP][OUTLET], RATING) < 1.0
    assert stuck[TRIP].settled(OUTLET) == pytest.approx(0.0, abs=1.0)  # "then the gas is off"
    wide, narrow = ran(**NEAR), ran(deadband=0.5 * IN_WC, **NEAR)
    assert [(round(a - DUSK), b) for a, b in made(wide)] == [(1, END)]  # "at every dusk", "never lets go"
    assert len(made(narrow)) == 2  # "lets go each morning", and makes the next night
    cycling = ran(deadband=0.5 * IN_WC, failure="burners go on and off", **NEAR)
    chatters, waits = ran(**INSIDE), ran(manual="only by hand", **INSIDE)
    assert often(waits) == "once"
    assert not served(waits)
    held = ran(demand=FULL, **WELL).at(OUTLET, DAY_AT)
    sags = ran(failure="main sags", **WELL)
    sag_chatters = ran(failure="main sags", drives=LOCKOUT, **WELL)
    sag_waits = ran(failure="main sags", drives=LOCKOUT, manual="only by hand", **WELL)
    assert len(made(sag_chatters)) > 20  # "chatters"
    assert made(sag_waits) == ((made(sags)[0][0], END),)  # "once, and they stay shut"
    jumped = ran(failure="switch jumped", drives=TRIP)
    assert not made(jumped)
    assert jumped.settled("slam_shut_open_share") == 1.0
    high, low = switch.high_gauge_pressure or 0.0, switch.low_gauge_pressure or 0.0
    near, inside = (run.scenario.station.switches[0] for run in (wide, chatters))
    return {
        "worker": pressure(worker.set_gauge_pressure),
        "high": pressure(high),
        "low": pressure(low),
        "deadband": both(switch.deadband, "pressure_difference"),
        "well, day": pressure(well.at(OUTLET, DAY_AT)),
        "well, night": pressure(well.at(OUTLET, NIGHT_AT)),
        "makes": clock(first),
        "night": pressure(grit.at(OUTLET, NIGHT_AT)),
        "lets go": clock(until),
        "lets go at": pressure(high - switch.deadband),
        "visit": clock(VISIT),
        "gauge": pressure(grit.at(OUTLET, VISIT)),
        **rows(),
        "locked, end": pressure(locked.settled(OUTLET)),
        "rating": pressure(RATING),
        "ran on": both(trip.peak(OUTLET)[1] - high, "pressure_difference"),
        "stuck": pressure(stuck["an alarm"].at(OUTLET, NIGHT_AT)),
        "stuck, trip": pressure(stuck[TRIP].peak(OUTLET)[1]),
        "near": pressure(near.high_gauge_pressure or 0.0),
        "near lets go": pressure((near.high_gauge_pressure or 0.0) - near.deadband),
        "narrow": both(0.5 * IN_WC, "pressure_difference"),
        "cycling": often(cycling),
        "droop": pressure(held),
        "inside": pressure(inside.low_gauge_pressure or 0.0),
        "chatter": f"{sum(start < 30.0 for start, _ in made(chatters))} times in the first 30 s",
        "sag": pressure(lesson_09.SAG),
        "sag makes": clock(made(sags)[0][0]),
        "sag, day": pressure(sags.at(OUTLET, DAY_AT)),
        "jumped": pressure(jumped.at(OUTLET, NIGHT_AT)),
    }


NUMBERS = {"Worked example": worked, "What happened": happened}

# What "In the field" tells of rules and reports, with the source that has it.
TOLD = [
    ("devices that relieve or limit the pressure wherever a failed regulator could drive it", "cfr-192-195"),  # (a)
    ("no stop valve that anybody can shut and so take such a device out of use", "cfr-192-199"),  # 192.199(h)
    ("each calendar year, at most 15 months apart", "cfr-192-739"),
    ("Damage to one control line must not take out both", "cfr-192-203"),  # 192.203(b)(9)
    ("Where there are signs of abnormally high or low pressure, they want the regulator inspected", "cfr-192-741"),
]

# What the lesson teaches, each sentence as it stands there, and what shows it.
TEACHES = [
    (
        "On the way back it lets go only some way inside its setting.",
        "test tests/test_layers.py::test_a_switch_makes_at_its_setting_and_lets_go_by_its_deadband",
    ),
    ("At 7 min 01 s the switch lets go, at 10.0 in. w.c. (24.9 mbar).", "item 09.lets_go"),
    ("A switch that lets go by itself hides a fault that comes at night and is gone by day.", "bench"),
    ("One that must be reset by hand still stands made, and somebody has to ask why.", "bench"),
    ("An alarm calls people, and stops nothing.", "item 09.drives"),
    (
        "A lockout shuts the burners, and leaves the pipe as it is.",
        "test tests/test_layers.py::test_a_lockout_shuts_the_burners_within_a_second",
    ),
    ("A lockout protects the flame, not the pipe.", "item 09.goes_on"),
    (
        "Only what trips a shutoff keeps the pressure down: here it stays below the appliances' 14.0 in. w.c. "
        "(34.9 mbar).",
        "bench",
    ),
    (
        "With the worker stuck wide open, an alarm or a lockout lets the outlet go to 60.0 psig (4.14 bar).",
        "test tests/test_choosing.py::test_burners_locked_out_do_not_lower_the_pressure",
    ),
    ("Then it makes at every dusk, with nothing wrong.", "item 09.reason"),
    ("The outlet never falls so low, so it never lets go.", "item 09.ladder"),
    (
        "A setting or a deadband inside what happens every day makes a switch move all the time, or not let go at all.",
        "bench",
    ),
    (
        "Set the low side to 6.5 in. w.c. (16.2 mbar), and it locks the burners out at full load with nothing wrong.",
        "item 09.low",
    ),
    (
        "With the burners out the outlet rises, the switch lets go, and the burners come on again.",
        "test tests/test_layers.py::test_a_switch_chatters_when_its_deadband_is_inside_the_ripple",
    ),
    ("One that waits for a hand shuts the burners once, and they stay shut.", "bench"),
    ("A jumped switch is blind, and it looks like a sound one.", "item 09.drives"),
    (
        "Federal rules want devices that relieve or limit the pressure wherever a failed regulator could drive it too "
        "high.",
        "source cfr-192-195",
    ),
    ("They want it tested each calendar year, at most 15 months apart.", "source cfr-192-739"),
]
