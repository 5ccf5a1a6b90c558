"""What lesson 07 states: its numbers worked out anew, and the source of each rule it tells."""

from __future__ import annotations

from typing import Any

import pytest
from lesson_text import (
    DAY_AT,
    HERE,
    INLET_GAUGE,
    NIGHT_AT,
    OUTLET,
    PASSES,
    area_of,
    bench_trace,
    both,
    flow_through,
    hundredths,
    pressure,
)

from toolkit.devices.balance import valve_area
from toolkit.devices.regulator import lock_up_gauge_pressure
from toolkit.flow import standard_flow
from toolkit.gas import compressibility
from toolkit.margins import relief_capacity
from toolkit.panels import lesson_07
from toolkit.panels.lesson_07 import LIFT, STACK_FLOW, VALVE
from toolkit.panels.regulator_view import NOON
from toolkit.panels.words import vented_words
from toolkit.sizing import API_526_LETTERS, api_520_area, api_526_letter
from toolkit.units import IN_WC, INCH, MBAR, PSI

RATING = HERE.loads[0].maximum_gauge_pressure
HIGH_INLET = 100 * PSI
GRIT = 0.012 * INCH
SIZES = {letter: words for words, letter in lesson_07.SIZE.options}
HARD, NO_FAILURE = "hard: grit, weld slag", "nothing else"


def percent(share: float) -> str:
    return f"{share:.0%}".replace("%", " %")


def night(**chosen: Any) -> str:
    return pressure(bench_trace(lesson_07, **chosen).at(OUTLET, NIGHT_AT))


def worked() -> dict[str, str]:
    trace = bench_trace(lesson_07)
    station = trace.scenario.station
    worker, valve = station.regulators[0], station.relief_valves[0]
    opening = valve_area(worker.condition(), worker.travel)
    inlet = trace.at("inlet_gauge_pressure", NIGHT_AT)
    comes = flow_through(opening, inlet)
    # The closed form is what the bench passes.
    assert comes == pytest.approx(trace.at(STACK_FLOW, NIGHT_AT), rel=2e-3)
    rise = valve.build_up * valve.set_gauge_pressure
    full = valve.set_gauge_pressure + rise
    assert full < RATING
    (sized,) = relief_capacity(station, "outlet", full)
    area, offered = sized.api_area, API_526_LETTERS["G"]
    # The equation with what the text puts in.
    air, gas, warm = station.atmosphere, station.gas, station.temperature
    weight = sized.worker_flow / standard_flow(1.0, gas)
    z = compressibility(gas, air + full, warm)
    by_hand = api_520_area(weight, air + full, air, warm, gas.molar_mass, gas.heat_ratio, compressibility=z)
    assert by_hand == pytest.approx(area, rel=1e-6)
    # "far more than twice the outlet's", so choked
    outlet = trace.at(OUTLET, NIGHT_AT)
    assert inlet + air > 4 * (outlet + air)
    (shut,) = bench_trace(lesson_07, failure=NO_FAILURE, debris=GRIT, hardness=HARD).happened("valve_reseats")
    # "F is too small, G is the smallest that is enough"
    assert api_526_letter(area) == "G" == sized.letter
    assert API_526_LETTERS["F"] < area
    share = area / offered
    absolute = [gauge + HERE.atmosphere for gauge in (INLET_GAUGE, HIGH_INLET)]
    more = absolute[1] / absolute[0]
    assert api_526_letter(area * more) == "H"
    (high,) = relief_capacity(station, "outlet", full, highest_supply_gauge_pressure=HIGH_INLET)
    assert high.api_area == pytest.approx(area * more, rel=0.01)
    blowdown = valve.blowdown * valve.set_gauge_pressure
    reseat = valve.set_gauge_pressure - blowdown
    lock_up = bench_trace(lesson_07, failure=NO_FAILURE).at(OUTLET, NIGHT_AT)
    assert lock_up == pytest.approx(lock_up_gauge_pressure(worker.condition(), INLET_GAUGE), rel=1e-3)
    # What stands there adds up.
    for unit in (IN_WC, MBAR):
        at, up, down, locks = (round(one / unit, 2) for one in (valve.set_gauge_pressure, rise, blowdown, lock_up))
        assert round(at + up, 2) == round(full / unit, 2)
        assert round(at - down, 2) == round(reseat / unit, 2)
        assert round(at - down - locks, 2) == round((reseat - lock_up) / unit, 2)
    return {
        "opening": area_of(opening),
        "inlet": pressure(inlet),
        "inlet, absolute": both(inlet + air, "absolute_pressure"),
        "outlet, absolute": both(outlet + air, "absolute_pressure"),
        "W": both(weight, "mass_flow"),
        "p1, p2": f"{(air + full) / 1e3:.2f} kPa and {air / 1e3:.2f} kPa",
        "T": f"{warm:.1f} K",
        "M, k, Z": f"{1e3 * gas.molar_mass:.1f} as M, {gas.heat_ratio:.2f} as k and {z:.3f} as Z",
        "comes": both(comes, "standard_flow"),
        "build-up": percent(valve.build_up),
        "set": pressure(valve.set_gauge_pressure),
        "rise": hundredths(rise),
        "full lift": hundredths(full),
        "rating": pressure(RATING),
        "area": both(area, "area"),
        "F": both(API_526_LETTERS["F"], "area"),
        "G": both(offered, "area"),
        "share": percent(share),
        "part": both(share * rise, "pressure_difference"),
        "settles": pressure(valve.set_gauge_pressure + share * rise),
        "bench": f"the bench shows {pressure(trace.at(OUTLET, NIGHT_AT))}",
        "high inlet": pressure(HIGH_INLET),
        "usual inlet": pressure(INLET_GAUGE),
        "absolute": both(absolute[0], "absolute_pressure"),
        "high absolute": both(absolute[1], "absolute_pressure"),
        "more": f"{more:.2f} times",
        "high area": both(area * more, "area"),
        "H": both(API_526_LETTERS["H"], "area"),
        "blowdown share": percent(valve.blowdown),
        "blowdown": hundredths(blowdown),
        "reseat": hundredths(reseat),
        "reseat, bench": f"The bench, which shows one digit less, says {pressure(shut.value)}",
        "lock-up": hundredths(lock_up),
        "to spare": hundredths(reseat - lock_up),
    }


def happened() -> dict[str, str]:
    well, failed = bench_trace(lesson_07, failure=NO_FAILURE), bench_trace(lesson_07)
    worker, valve = failed.scenario.station.regulators[0], failed.scenario.station.relief_valves[0]
    (load,) = failed.scenario.station.loads
    # "with the same burners on", and further open than it was going up to the same pressure
    morning = failed.at(OUTLET, NOON - 1)
    going_up = (morning / valve.set_gauge_pressure - 1) / valve.build_up
    assert failed.at(LIFT, NOON - 1) > going_up + 0.3
    # "stays shut", "never passes the rating", "blows to the end"
    assert well[LIFT].max() == 0.0
    assert failed.peak(OUTLET)[1] < RATING
    assert failed[LIFT][-1] > 0.5
    rows = {}
    for letter in sorted(SIZES):
        trace = bench_trace(lesson_07, letter=SIZES[letter])
        rows[letter] = (
            f"| {letter} | {both(API_526_LETTERS[letter], 'area')} | {percent(trace.at(LIFT, NIGHT_AT))} | "
            f"{pressure(trace.at(OUTLET, NIGHT_AT))} |"
        )
    # "A larger one holds lower"; E and F do not keep the rating
    ends = [bench_trace(lesson_07, letter=SIZES[letter]).at(OUTLET, NIGHT_AT) for letter in sorted(SIZES)]
    assert ends == sorted(ends, reverse=True)
    assert [end > RATING for end in ends] == [True, True, False, False, False]
    high = bench_trace(lesson_07, inlet=HIGH_INLET)
    assert high.at(OUTLET, NIGHT_AT) > RATING
    shut = bench_trace(lesson_07, relief="isolating valve left shut")
    assert vented_words(shut, "us") == "none"
    quiet = bench_trace(lesson_07, relief="isolating valve left shut", failure=NO_FAILURE)
    # "With the worker well nothing shows it"
    assert quiet.at(OUTLET, NIGHT_AT) == pytest.approx(well.at(OUTLET, NIGHT_AT), rel=1e-4)
    near = bench_trace(lesson_07, failure=NO_FAILURE, above=0.5 * IN_WC)
    (nearly,) = near.scenario.station.relief_valves
    # "opens as soon as the burners go off", "and does not shut by day"
    assert not near.happened("valve_reseats")
    assert near.at(LIFT, NOON - 1) > 0
    assert nearly.set_gauge_pressure < lock_up_gauge_pressure(worker.condition(), INLET_GAUGE)
    assert nearly.set_gauge_pressure * (1 - nearly.blowdown) < near.at(OUTLET, NOON - 1)
    grit = {"failure": NO_FAILURE, "debris": GRIT, "hardness": HARD}
    pops = bench_trace(lesson_07, **grit)
    (reseats,) = pops.happened("valve_reseats")
    weeps = bench_trace(lesson_07, **grit, relief="dirty seat: weeps after a pop")
    # "By day nothing shows"; "it seals again"; "it no longer seals"
    assert pops.at(STACK_FLOW, DAY_AT) == pytest.approx(0.0, abs=1e-9)
    assert pops.at(STACK_FLOW, NOON - 1) == pytest.approx(0.0, abs=1e-9)
    assert weeps.happened("relief_pops", VALVE)
    return {
        "worker": pressure(worker.set_gauge_pressure),
        "set": pressure(valve.set_gauge_pressure),
        "well, day": pressure(well.at(OUTLET, DAY_AT)),
        "well, night": pressure(well.at(OUTLET, NIGHT_AT)),
        "day": pressure(failed.at(OUTLET, DAY_AT)),
        "night": pressure(failed.at(OUTLET, NIGHT_AT)),
        "morning": pressure(morning),
        "burners take": both(failed.at(PASSES, DAY_AT), "standard_flow"),
        "made for": both(load.rated_flow, "standard_flow"),
        "rating": pressure(RATING),
        "leaves": both(failed.at(STACK_FLOW, NIGHT_AT), "standard_flow"),
        "let off": f"{vented_words(failed, 'us')} ({vented_words(failed, 'metric')})",
        "without": night(fitted="not fitted"),
        **rows,
        "high inlet": pressure(HIGH_INLET),
        "at the high inlet": night(inlet=HIGH_INLET),
        "shut": pressure(shut.at(OUTLET, NIGHT_AT)),
        "blocked": percent(lesson_07.ICED),
        "iced": night(relief="stack iced up, all but blocked"),
        "near": pressure(nearly.set_gauge_pressure),
        "near, reseats": pressure(nearly.set_gauge_pressure * (1 - nearly.blowdown)),
        "near, let off": f"{vented_words(near, 'us')} ({vented_words(near, 'metric')})",
        "grit": both(GRIT, "small_length"),
        "grit, day": pressure(pops.at(OUTLET, DAY_AT)),
        "grit, night": pressure(pops.at(OUTLET, NIGHT_AT)),
        "grit, reseats": pressure(reseats.value),
        "weeps": both(weeps.at(STACK_FLOW, NOON - 1), "standard_flow"),
    }


NUMBERS = {"Worked example": worked, "What happened": happened}

# Trade figures in the text that no calculation gives.
SAID_IN_WORDS = {
    # The numbers of the standards' own names, and the least pressure of the equipment they are written for: API 520
    # part I, its scope as told in a seller's abstract, `api-520-1`.
    "Worked example": ("API 520", "API 526", "15 psig (1.03 bar)", "p1", "p2"),
    # The bench's ten minutes.
    "What happened": ("API 526",),
}

# What "In the field" tells of rules and reports, with the source that has it.
TOLD = [
    ("water, ice or snow cannot gather", "cfr-192-199"),  # 192.199(e)
    ("a stop valve that nobody can shut without leave", "cfr-192-199"),  # 192.199(h)
    ("set and sized so that no appliance is made unsafe", "cfr-192-201"),  # 192.201(a)(1) and (c)
    ("must hold with the regulator failed wide open", "ifgc-416-2-5"),  # fuel gas code 416.2.5
    ("each calendar year, at most 15 months apart", "cfr-192-743"),  # 192.743(a)
    ("by a test in place or by reckoning", "cfr-192-743"),  # 192.743(a)
]

# What the lesson teaches: a sentence of its text, and what bears it out.
TEACHES = [
    ("A relief valve holds nothing back: it lets off what is too much.", "bench"),
    ("At its set pressure a relief valve only begins to open.", "item 07.settles"),
    ("But by day the burners take 672 scfh (19.04 m³/h) and not 500 scfh (14.16 m³/h).", "bench"),
    ("Coming down, the disk stays further open than it was going up.", "bench"),
    ("It shuts nothing off, so it blows until somebody stops the gas.", "bench"),
    ("The larger the orifice, the lower it holds.", "bench"),
    ("One that is too small goes to full lift, and the pressure climbs on.", "item 07.state"),
    ("The worker's worst case is wide open, at the highest inlet, with no burner on.", "item 07.letter"),
    ("An isolating valve left shut makes a relief valve nothing, and no gauge shows it.", "item 07.state"),
    (
        "A stack that is all but blocked is nearly as bad, though gas still comes out.",
        "test tests/test_layers.py::test_a_blocked_or_isolated_relief_valve_shows_nothing_until_it_is_needed",
    ),
    ("Set below lock-up, it opens every night with nothing wrong.", "item 07.ladder"),
    ("It must reseat above the worker's lock-up, or it blows on.", "item 07.reseat"),
    (
        "Dirt that came through with the gas can keep the seat from sealing.",
        "test tests/test_layers.py::test_a_valve_that_weeps_after_its_pop_does_so_only_after_it",
    ),
    ("An outlet in order and gas at the stack say: the relief valve weeps.", "item 07.state"),
    (
        "Choked flow goes with the absolute inlet pressure, so the area does too.",
        "test tests/test_margins.py::test_the_worker_s_full_flow_is_that_of_its_choked_orifice",
    ),
    (
        "Take the next standard orifice up, never the nearest.",
        "test tests/test_margins.py::test_areas_are_those_of_the_standards",
    ),
    ("Its stack must end outdoors, where gas can leave without harm.", "source cfr-192-199"),
    ("Its capacity is looked at anew each year.", "source cfr-192-743"),
]
