"""What lesson 03 states: its numbers worked out anew, and the source of each rule it tells."""

from __future__ import annotations

from typing import Any

from lesson_text import (
    CONDITION,
    DAY_AT,
    HERE,
    INLET_GAUGE,
    NIGHT_AT,
    OUTLET,
    PILOT_AT,
    REGULATOR,
    area_of,
    bench_trace,
    both,
    pressure,
)

from toolkit.devices.balance import valve_area
from toolkit.devices.regulator import lock_up_gauge_pressure, relief_start_gauge_pressure
from toolkit.faults import SOFT_DEBRIS
from toolkit.flow import mass_flow
from toolkit.gas import NATURAL_GAS, rt, standard_density
from toolkit.panels import lesson_03
from toolkit.units import FOOT, HOUR, IN_WC, INCH, MINUTE, STANDARD_ATMOSPHERE


def worked() -> dict[str, str]:
    height, stiffness = 0.010 * INCH, 3 * SOFT_DEBRIS[0]
    force = height * stiffness
    sound = lock_up_gauge_pressure(CONDITION, INLET_GAUGE)
    fouled = lock_up_gauge_pressure(CONDITION._replace(debris_height=height, debris_stiffness=stiffness), INLET_GAUGE)
    size, first, last, seconds = 0.5 * FOOT**3, 8 * IN_WC, 10 * IN_WC, 60.0
    leak = size * (last - first) / rt(NATURAL_GAS, HERE.temperature) / seconds / standard_density(NATURAL_GAS)
    return {
        "height": both(height, "small_length"),
        "stiffness": both(stiffness, "spring_rate"),
        "force at the disk": both(force, "force"),
        "lever": f"{REGULATOR.lever_ratio:.0f}",
        "force at the diaphragm": both(force / REGULATOR.lever_ratio, "force"),
        "area": area_of(REGULATOR.diaphragm_area),
        "more": both(fouled - sound, "pressure_difference"),
        "sound": pressure(sound),
        "fouled": pressure(fouled),
        "size": both(size, "volume"),
        "first": pressure(first),
        "last": pressure(last),
        "seconds": f"{seconds:.0f} seconds",
        "air": both(STANDARD_ATMOSPHERE, "low_gauge_pressure"),
        "rise": both(last - first, "pressure_difference"),
        "share": f"{(last - first) / STANDARD_ATMOSPHERE:.2%}".replace("%", " %"),
        "minutes": f"{HOUR / MINUTE:.0f} minutes",
        "leak": both(leak, "standard_flow"),
    }


def happened() -> dict[str, str]:
    def at(time: float, **chosen: Any) -> str:
        return pressure(bench_trace(lesson_03, **chosen).at(OUTLET, time))

    def row(**chosen: Any) -> tuple[str, str]:
        return at(DAY_AT, **chosen), at(NIGHT_AT, **chosen)

    table = {
        "sound": row(debris=0.0),
        "soft": row(),
        "hard": row(hardness="hard: grit, weld slag"),
        "nick": row(debris=0.0, failure="seat nicked"),
        "open": row(debris=0.0, failure="stem stuck wide open"),
        "between": row(debris=0.0, failure="stem stuck nearly shut"),
        "spring": row(debris=0.0, failure="main spring broken"),
        "turned down": row(set_point=4 * IN_WC),
    }
    wide = valve_area(CONDITION, REGULATOR.travel)
    into = mass_flow(wide, INLET_GAUGE + STANDARD_ATMOSPHERE, STANDARD_ATMOSPHERE, NATURAL_GAS, HERE.temperature)
    (size,) = (volume.size for volume in HERE.volumes if volume.name == "outlet")
    set_point, rating = REGULATOR.set_gauge_pressure, HERE.loads[0].maximum_gauge_pressure
    fill = size * (rating - set_point) / rt(NATURAL_GAS, HERE.temperature) / into
    assert fill < 0.01  # "under a hundredth of a second"
    return (
        {
            f"{name}, {when}": text
            for name, pair in table.items()
            for when, text in zip(("on", "off"), pair, strict=True)
        }
        | {
            "turned down": pressure(4 * IN_WC),
            "shut, on": at(DAY_AT, debris=0.0, failure="stem stuck shut"),
            "pilot": at(PILOT_AT),
        }
        | {
            "orifice": both(REGULATOR.orifice_diameter, "small_length"),
            "size": both(size, "volume"),
            "set point": pressure(set_point),
            "rating": pressure(rating),
            "start": pressure(relief_start_gauge_pressure(CONDITION)),
        }
    )


NUMBERS = {"Worked example": worked, "What happened": happened}

# What "In the field" tells of rules and reports, with the source that has it.
TOLD = [
    ("jammed a regulator and its backup at once", "fairport-harbor-2011"),
    ("each calendar year, at most 15 months apart", "cfr-192-739"),  # 192.739
]

# What the lesson teaches: a sentence of its text, and what bears it out.
TEACHES = [
    ("**By day the disk stands clear of the seat.**", "bench"),
    (
        "A soft piece can be pressed flat, but that takes more push, so the outlet climbs to 10.8 in. w.c. "
        "(27.0 mbar).",
        "bench",
    ),
    (
        "A hard piece cannot be pressed flat.",
        "test tests/test_regulator.py::test_debris_too_stiff_for_the_relief_spring_keeps_leaking",
    ),
    (
        "Then the seat leaks, and the outlet climbs until something lets gas out: here the internal relief, "
        "near 16.0 in. w.c. (39.9 mbar).",
        "test tests/test_taught.py::test_a_hard_piece_shows_at_night_only_and_ends_at_the_relief",
    ),
    (
        "Gas at the vent outdoors, mostly at night or in summer, when nothing burns.",
        "test tests/test_taught.py::test_a_hard_piece_shows_at_night_only_and_ends_at_the_relief",
    ),
    ("**Creep** is an outlet that keeps rising with all burners off.", "item 03.leak"),
    ("A nick in the seat does it too.", "test tests/test_dynamics.py::test_time_for_a_leak_to_fill_a_shut_outlet"),
    (
        "A pilot burns a small leak away, so even a pilot can hide it.",
        "test tests/test_taught.py::test_a_pilot_burns_a_small_leak_away_and_hides_it",
    ),
    (
        "**Fails open:** high with burners on, far higher with them off.",
        "test tests/test_taught.py::test_day_and_night_tell_open_shut_and_in_between",
    ),
    (
        "**Fails shut:** burners starve or go out.",
        "test tests/test_taught.py::test_day_and_night_tell_open_shut_and_in_between",
    ),
    (
        "**Stuck in between is the sly one:** it starves the house by day and drives the pressure up at night.",
        "test tests/test_taught.py::test_day_and_night_tell_open_shut_and_in_between",
    ),
    (
        "But by day the burners get 3.7 in. w.c. (9.2 mbar), and the piece is still there.",
        "test tests/test_taught.py::test_the_screw_hides_a_piece_on_the_seat_and_starves_the_burners",
    ),
    ("If the outlet is low and the inlet is low too, look upstream: supply, filter, inlet valve.", "item 03.low"),
    ("Kick: how far the outlet jumps when all burners shut at once.", "item 03.high"),
    ("Hydrate: ice-like plugs of gas and water.", "item 03.low"),
    (
        "A seat of 0.250 in. (6.35 mm) stuck wide open fills the bench's 0.177 ft³ (5.0 L) of pipe from 7.0 "
        "in. w.c. (17.4 mbar) to 14.0 in. w.c. (34.9 mbar) in under a hundredth of a second.",
        "test tests/test_taught.py::test_a_seat_gone_wide_open_fills_the_pipe_at_once_and_more_pipe_gives_little_time",
    ),
    (
        "More pipe gives more time, but still not much.",
        "test tests/test_taught.py::test_a_seat_gone_wide_open_fills_the_pipe_at_once_and_more_pipe_gives_little_time",
    ),
    ("So 0.49 % of the pipe's room came in as new gas in one minute.", "item 03.leak"),
    ("Never go home on the day's readings alone.", "item 03.fault_shows"),
    (
        "Never bleed the pressure off and call it cured.",
        "test tests/test_taught.py::test_pressure_that_was_bled_off_comes_back_through_a_nicked_seat",
    ),
    (
        "At Fairport Harbor debris, liquid and ice jammed a regulator and its backup at once.",
        "source fairport-harbor-2011",
    ),
    (
        "Under the federal rules regulator stations are inspected and tested at least once each calendar "
        "year, at most 15 months apart.",
        "source cfr-192-739",
    ),
]
