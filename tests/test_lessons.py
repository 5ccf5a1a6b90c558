"""The lessons' texts: their form, their links, and every number in them, worked out anew by the toolkit."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import ipywidgets
import nbformat
import pytest

from toolkit.classroom.record import Record
from toolkit.devices.balance import valve_area
from toolkit.devices.regulator import (
    InternalRelief,
    inlet_effect,
    lock_up_gauge_pressure,
    relief_start_gauge_pressure,
)
from toolkit.faults import SOFT_DEBRIS
from toolkit.flow import critical_ratio, mass_flow, standard_flow
from toolkit.gas import NATURAL_GAS, rt, standard_density
from toolkit.ladder import take_over_gauge_pressure
from toolkit.panels import LESSONS as BENCHES
from toolkit.panels import lesson_01, lesson_02, lesson_03, lesson_04, lesson_05, monitor_station, start
from toolkit.panels.bench import UNITS, run
from toolkit.panels.controls import GROUPS, Choice
from toolkit.panels.predict import PredictThenTry
from toolkit.panels.regulator_view import DUSK, MORNING, NIGHT
from toolkit.panels.words import vented_words
from toolkit.quiz.cases import LESSONS as QUIZZES
from toolkit.quiz.widgets import Progress, Quiz
from toolkit.references import SOURCES, cite
from toolkit.scenario import Station
from toolkit.trace import Trace
from toolkit.units import (
    BTU,
    FOOT,
    HOUR,
    IN_WC,
    INCH,
    MINUTE,
    PSI,
    SCF,
    STANDARD_ATMOSPHERE,
    atmosphere,
    format_pressure,
    format_quantity,
)

FOLDER = Path(__file__).parents[1] / "lessons"
PATHS = {path.name[:2]: path for path in sorted(FOLDER.glob("*.ipynb"))}
TAUGHT = tuple(QUIZZES)
MOST_CODE_CELLS, MOST_CODE_LINES = 8, 25
SHORTEST, LONGEST = 15, 25
HIGHEST_GRADE, LONGEST_SENTENCE = 9.0, 30

FORM = (
    "What you will be able to do",
    "Before you start",
    "Predict and try",
    "What happened",
    "Worked example",
    "Check yourself",
    "In the field",
    "Sources",
)
START_FORM = (
    "What this course is",
    "Does everything work?",
    "How a lesson goes",
    "Moving the controls",
    "Safety card",
    "The lessons",
    "Your name and your results",
    "What the bench leaves out",
    "What this course is not",
    "To print, to stop, to come back",
    "Sources",
)


@cache
def notebook(lesson: str) -> Any:
    return nbformat.read(PATHS[lesson], as_version=4)  # type: ignore[no-untyped-call]


@cache
def prose(lesson: str) -> str:
    """All markdown of a lesson."""
    return "\n\n".join(cell.source for cell in notebook(lesson).cells if cell.cell_type == "markdown")


def code(lesson: str) -> list[str]:
    return [cell.source for cell in notebook(lesson).cells if cell.cell_type == "code"]


@cache
def sections(lesson: str) -> dict[str, str]:
    """The text under each heading of the second order."""
    parts = re.split(r"^## (.+)$", prose(lesson), flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


# Numbers ------------------------------------------------------------------------------------------------------------
# What stands in the text must be what the toolkit works out; the names are those of the steps.

OUTLET = "outlet_gauge_pressure"
HERE = Station()
REGULATOR = HERE.regulators[0]
CONDITION = REGULATOR.condition()
INLET_GAUGE = HERE.supply.gauge_pressure
DAY_AT, PILOT_AT, NIGHT_AT = DUSK - 1, NIGHT - 1, MORNING - 1


def both(value: float, kind: str) -> str:
    """A quantity in US units with metric beside it."""
    us, metric = (format_quantity(value, kind, units) for units in ("us", "metric"))
    return f"{us} ({metric})"


def pressure(gauge: float) -> str:
    """A gauge pressure as the bench shows it, in both."""
    return f"{format_pressure(gauge, 'us')} ({format_pressure(gauge, 'metric')})"


def area_of(area: float) -> str:
    """An area with as many digits as the steps need."""
    return f"{area / INCH**2:.{4 if area < 1e-3 else 2}f} in² ({area * 1e6:,.{1 if area < 1e-3 else 0}f} mm²)"


def flow_through(flow_area: float, gauge: float) -> float:
    """Standard flow [m3/s] of natural gas into the open air at sea level."""
    upstream = gauge + STANDARD_ATMOSPHERE
    return standard_flow(
        mass_flow(flow_area, upstream, STANDARD_ATMOSPHERE, NATURAL_GAS, HERE.temperature), NATURAL_GAS
    )


def bench_trace(module: Any, **chosen: Any) -> Trace:
    """The run of a lesson's bench with some controls moved; a choice by its words."""
    settings = module.BENCH.start("us")
    for control in module.BENCH.controls:
        if control.key in chosen:
            value = chosen.pop(control.key)
            settings[control.key] = dict(control.options)[value] if isinstance(control, Choice) else value
    assert not chosen, f"no such controls: {chosen}"
    return run(module.scenario(settings))


def worked_01() -> dict[str, str]:
    line, lower = 60 * PSI, 30 * PSI
    ratio = critical_ratio(NATURAL_GAS.heat_ratio)
    line_abs, lower_abs = line + STANDARD_ATMOSPHERE, lower + STANDARD_ATMOSPHERE
    limit = ratio * line_abs
    leak = 500 * SCF / HOUR
    input_ = 100_000 * BTU / HOUR
    burner, raised = 3.5 * IN_WC, 14 * IN_WC
    return {
        "line": pressure(line),
        "air": both(STANDARD_ATMOSPHERE, "absolute_pressure"),
        "line absolute": both(line_abs, "absolute_pressure"),
        "choked at": f"{ratio:.3f}",
        "limit absolute": both(limit, "absolute_pressure"),
        "limit gauge": pressure(limit - STANDARD_ATMOSPHERE),
        "leak": both(leak, "standard_flow"),
        "lower": pressure(lower),
        "lower absolute": both(lower_abs, "absolute_pressure"),
        "share": f"{lower_abs / line_abs:.2f}",
        "leak then": both(leak * flow_through(1e-6, lower) / flow_through(1e-6, line), "standard_flow"),
        "two psi": both(2 * PSI, "gauge_pressure"),
        "psi": f"{PSI / IN_WC:.1f} in. w.c.",
        "two psi in. w.c.": both(2 * PSI, "low_gauge_pressure"),
        "delivered": pressure(7 * IN_WC),
        "taken off": both(2 * PSI - 7 * IN_WC, "pressure_difference"),
        "burner": pressure(burner),
        "raised": pressure(raised),
        "times": f"{raised / burner:.0f} times",
        "times flow": f"{flow_through(1e-6, raised) / flow_through(1e-6, burner):.0f} times",
        "furnace": both(input_, "heat_input"),
        "heat content": f"{NATURAL_GAS.heating_value * SCF / BTU:,.0f} Btu",
        "heat content metric": f"{NATURAL_GAS.heating_value / 1e6:.1f} MJ",
        "furnace flow": both(input_ / NATURAL_GAS.heating_value, "standard_flow"),
    }


def happened_01() -> dict[str, str]:
    settings = lesson_01.BENCH.start("us")

    def plate(**changed: Any) -> Any:
        return lesson_01.plate(settings | changed)

    here = plate()
    hills = 5000 * FOOT
    return {
        "air": both(STANDARD_ATMOSPHERE, "absolute_pressure"),
        "hills": both(hills, "altitude"),
        "air in the hills": both(atmosphere(hills), "absolute_pressure"),
        "psi": f"{PSI / IN_WC:.1f} in. w.c. ({PSI / 100:.1f} mbar)",
        "before": pressure(here.upstream_gauge),
        "behind": pressure(here.downstream_gauge),
        "flow": both(here.flow, "standard_flow"),
        "same into the air": both(plate(downstream=0.0).flow, "standard_flow"),
        "choked at": f"{critical_ratio(here.gas.heat_ratio):.3f}",
        "limit": pressure(here.critical_gauge),
        "quarter": both(0.25 * INCH, "small_length"),
        "eighth": both(0.125 * INCH, "small_length"),
        "times": f"{plate(hole=0.25 * INCH).flow / here.flow:.0f} times",
        "choked into the air from": pressure(
            STANDARD_ATMOSPHERE / critical_ratio(here.gas.heat_ratio) - STANDARD_ATMOSPHERE
        ),
    }


def worked_02() -> dict[str, str]:
    demand = 1400 * SCF / HOUR
    trace = bench_trace(lesson_02, demand=demand)
    set_point, flowing, locked = REGULATOR.set_gauge_pressure, trace.at(OUTLET, DAY_AT), trace.at(OUTLET, NIGHT_AT)
    seat, area, lever = REGULATOR.unbalanced_area, REGULATOR.diaphragm_area, REGULATOR.lever_ratio
    fall = 40 * PSI
    lower = bench_trace(lesson_02, inlet=20 * PSI)
    got = flow_through(1e-6, flowing) / flow_through(1e-6, set_point)
    assert lower.at(OUTLET, NIGHT_AT) == pytest.approx(locked - fall * inlet_effect(CONDITION), abs=0.02 * IN_WC)
    return {
        "set point": pressure(set_point),
        "demand": both(demand, "standard_flow"),
        "flowing": pressure(flowing),
        "droop": both(set_point - flowing, "pressure_difference"),
        "locked": pressure(locked),
        "above": both(locked - set_point, "pressure_difference"),
        "orifice": both(REGULATOR.orifice_diameter, "small_length"),
        "seat": area_of(seat),
        "diaphragm": area_of(area),
        "lever": f"{lever:.0f}",
        "inlet": pressure(INLET_GAUGE),
        "lower inlet": pressure(20 * PSI),
        "fall": f"{fall / PSI:.0f} psi",
        "fall in. w.c.": both(fall, "pressure_difference"),
        "sum": f"{(lever * area + seat) / INCH**2:.1f} in²",
        "effect": f"{inlet_effect(CONDITION):.6f}",
        "falls by": both(fall * inlet_effect(CONDITION), "pressure_difference"),
        "locked then": pressure(lower.at(OUTLET, NIGHT_AT)),
        "share of pressure": f"{flowing / set_point:.2f}",
        "root": f"{got:.2f}",
        "share of input": f"{got:.0%}".replace("%", " %"),
    }


def happened_02() -> dict[str, str]:
    trace = bench_trace(lesson_02)
    least, most = (bench_trace(lesson_02, demand=cfh * SCF / HOUR).at(OUTLET, DAY_AT) for cfh in (100, 1500))
    weak = bench_trace(lesson_02, inlet=5 * PSI).at(OUTLET, DAY_AT)
    lost = bench_trace(lesson_02, inlet=5 * PSI, demand=1500 * SCF / HOUR)
    assert lost.at("regulator_lift", DAY_AT) == pytest.approx(REGULATOR.travel)  # "no travel left"
    return {
        "set point": pressure(REGULATOR.set_gauge_pressure),
        "demand": both(trace.scenario.station.loads[0].rated_flow, "standard_flow"),
        "flowing": pressure(trace.at(OUTLET, DAY_AT)),
        "locked": pressure(trace.at(OUTLET, NIGHT_AT)),
        "small flow": both(100 * SCF / HOUR, "standard_flow"),
        "at small flow": pressure(least),
        "large flow": both(1500 * SCF / HOUR, "standard_flow"),
        "at large flow": pressure(most),
        "weak inlet": pressure(5 * PSI),
        "at weak inlet": pressure(weak),
        "lost": pressure(lost.at(OUTLET, DAY_AT)),
    }


def worked_03() -> dict[str, str]:
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


def happened_03() -> dict[str, str]:
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


def worked_04() -> dict[str, str]:
    set_point, above, rating = 7 * IN_WC, InternalRelief().start_above_set, HERE.loads[0].maximum_gauge_pressure
    start_ = relief_start_gauge_pressure(CONDITION)
    turned = replace(REGULATOR, set_gauge_pressure=10 * IN_WC).condition()
    raised = relief_start_gauge_pressure(turned._replace(relief_preload=CONDITION.relief_preload))
    lift, lever, rate = REGULATOR.travel, REGULATOR.lever_ratio, REGULATOR.spring_rate
    less, area = rate * lever * lift, REGULATOR.diaphragm_area
    return {
        "set point": pressure(set_point),
        "above": both(above, "pressure_difference"),
        "start": pressure(start_),
        "rating": pressure(rating),
        "over the rating": both(start_ - rating, "pressure_difference"),
        "new set point": pressure(10 * IN_WC),
        "new start": pressure(raised),
        "lift": both(lift, "small_length"),
        "lever": f"{lever:.0f}",
        "drop": both(lever * lift, "small_length"),
        "rate": both(rate, "spring_rate"),
        "less": both(less, "force"),
        "area": area_of(area),
        "less pressure": both(less / area, "pressure_difference"),
        "left": pressure(start_ - less / area),
        "growth": f"{REGULATOR.area_growth:.0%}".replace("%", " %"),
        "jammed": pressure(relief_start_gauge_pressure(CONDITION, lift)),
    }


def happened_04() -> dict[str, str]:
    def night(**chosen: Any) -> str:
        return pressure(bench_trace(lesson_04, **chosen).at(OUTLET, NIGHT_AT))

    torn = bench_trace(lesson_04, debris=0.0, also="diaphragm torn")
    assert not torn.happened("relief_opens")
    assert torn.at("regulator_vent_flow", DAY_AT) > 0
    assert bench_trace(lesson_04).at("regulator_vent_flow", DAY_AT) == pytest.approx(0, abs=1e-9)
    shut = bench_trace(lesson_04, blocked=1.0)
    assert vented_words(shut, "us") == "none"
    failed_open = bench_trace(lesson_04, debris=0.0, also="stem stuck wide open")
    # "The relief is open all the way"
    assert failed_open.at("regulator_relief_lift", NIGHT_AT) == pytest.approx(InternalRelief().travel)
    wide = failed_open.at(OUTLET, NIGHT_AT)
    return {
        "by day": pressure(bench_trace(lesson_04).at(OUTLET, DAY_AT)),
        "grit": night(),
        "start": pressure(relief_start_gauge_pressure(CONDITION)),
        "rating": pressure(HERE.loads[0].maximum_gauge_pressure),
        "wide": pressure(wide),
        "times": f"{wide / HERE.loads[0].maximum_gauge_pressure:.0f} times",
        "inlet": pressure(INLET_GAUGE),
        "lower inlet": pressure(20 * PSI),
        "wide, lower inlet": night(debris=0.0, also="stem stuck wide open", inlet=20 * PSI),
        **{f"blocked {share}": f"{share} %" for share in (50, 80, 95, 100)},
        **{f"at {share}": night(blocked=share / 100) for share in (50, 80, 95, 100)},
        "vent only": night(debris=0.0, blocked=1.0),
        "torn": night(debris=0.0, also="diaphragm torn"),
    }


INTERSTAGE = "interstage_gauge_pressure"
PASSES = "appliances_flow"


def worked_05() -> dict[str, str]:
    well, failed = bench_trace(lesson_05, failure="nothing else"), bench_trace(lesson_05)
    monitor, worker = failed.scenario.station.regulators
    set_point = monitor.set_gauge_pressure
    starts, rating = take_over_gauge_pressure(monitor.condition()), HERE.loads[0].maximum_gauge_pressure
    lock_up = lock_up_gauge_pressure(worker.condition(), INLET_GAUGE)
    held = lock_up_gauge_pressure(monitor.condition(), INLET_GAUGE)
    allowance = set_point - starts
    # The closed forms are what the bench does; "the monitor must still be wide open".
    assert well.at(OUTLET, NIGHT_AT) == pytest.approx(lock_up, rel=2e-3)
    assert failed.at(OUTLET, NIGHT_AT) == pytest.approx(held, rel=2e-3)
    assert well.at("monitor_lift", NIGHT_AT) == pytest.approx(monitor.travel)
    between, behind = monitor_station.INTERSTAGE, monitor_station.OUTLET
    (fault,) = failed.scenario.faults
    return {
        "lock-up": pressure(lock_up),
        "set point": pressure(set_point),
        "starts": pressure(starts),
        "allowance": both(allowance, "pressure_difference"),
        "lowest": pressure(lock_up + allowance),
        "to spare": both(starts - lock_up, "pressure_difference"),
        "held": pressure(held),
        "rating": pressure(rating),
        "left": both(rating - held, "pressure_difference"),
        "between": both(between, "volume"),
        "inlet": pressure(INLET_GAUGE),
        "behind": both(behind, "volume"),
        "spike": pressure((between * INLET_GAUGE + behind * lock_up) / (between + behind)),
        "ramp": f"{fault.ramp:.0f} seconds",
        "bench spike": pressure(failed.peak(OUTLET)[1]),
    }


def happened_05() -> dict[str, str]:
    well, failed = bench_trace(lesson_05, failure="nothing else"), bench_trace(lesson_05)
    worker, monitor, rating = monitor_station.settings_of(failed.scenario)
    # "The burners keep burning, and nothing is vented"
    assert failed[PASSES][failed.times < DUSK].min() >= well.at(PASSES, DAY_AT)
    assert vented_words(failed, "us") == "none"
    assert failed.peak(OUTLET)[1] < rating
    # "stands wide open and waits"; set too near it is "never wide open", and the bench shows no hunting
    travel = well.scenario.station.regulators[0].travel
    assert well["monitor_lift"].min() == pytest.approx(travel)
    near = bench_trace(lesson_05, failure="nothing else", above=0.5 * IN_WC)
    assert near["monitor_lift"].max() < travel
    assert not near.happened("hunts")
    rows = {}
    for inches in (0.5, 2, 4, 14):
        above = inches * IN_WC
        healthy = bench_trace(lesson_05, failure="nothing else", above=above).at(INTERSTAGE, DAY_AT)
        open_ = bench_trace(lesson_05, above=above).at(OUTLET, DAY_AT)
        rows[f"row {inches}"] = f"{both(above, 'pressure_difference')} | {pressure(healthy)} | {pressure(open_)} |"
    assert open_ > rating  # "The last row is above the rating"
    line = bench_trace(lesson_05, failure="worker's sensing line broken")
    assert vented_words(line, "us") != "none"
    one_line = bench_trace(lesson_05, failure="both on one line, broken")
    for regulator in one_line.scenario.station.regulators:
        assert one_line.at(f"{regulator.name}_lift", NIGHT_AT) == pytest.approx(regulator.travel)
    slug = bench_trace(lesson_05, failure="one slug of grit through both seats")
    return {
        "worker": pressure(worker),
        "monitor": pressure(monitor),
        "well, day": pressure(well.at(OUTLET, DAY_AT)),
        "well, night": pressure(well.at(OUTLET, NIGHT_AT)),
        "between": pressure(well.at(INTERSTAGE, DAY_AT)),
        "open, day": pressure(failed.at(OUTLET, DAY_AT)),
        "open, night": pressure(failed.at(OUTLET, NIGHT_AT)),
        "rating": pressure(rating),
        "between then": pressure(failed.at(INTERSTAGE, DAY_AT)),
        "spike": pressure(failed.peak(OUTLET)[1]),
        **rows,
        "line": pressure(line.at(OUTLET, DAY_AT)),
        "one line": pressure(one_line.at(OUTLET, NIGHT_AT)),
        "slug": pressure(slug.at(OUTLET, NIGHT_AT)),
    }


NUMBERS: dict[tuple[str, str], Callable[[], dict[str, str]]] = {
    ("01", "Worked example"): worked_01,
    ("01", "What happened"): happened_01,
    ("02", "Worked example"): worked_02,
    ("02", "What happened"): happened_02,
    ("03", "Worked example"): worked_03,
    ("03", "What happened"): happened_03,
    ("04", "Worked example"): worked_04,
    ("04", "What happened"): happened_04,
    ("05", "Worked example"): worked_05,
    ("05", "What happened"): happened_05,
}

NUMBER = re.compile(r"\d+(?:,\d{3})*(?:\.\d+)?")


def unnumbered(text: str) -> str:
    """A text without the numbers that its lists count with."""
    return re.sub(r"^\s*\d+\. ", "", text, flags=re.MULTILINE)


@pytest.mark.parametrize("place", NUMBERS, ids=" ".join)
def test_each_number_is_what_the_toolkit_works_out(place: tuple[str, str]) -> None:
    lesson, heading = place
    text = unnumbered(sections(lesson)[heading])
    expected = NUMBERS[place]()
    missing = {step: said for step, said in expected.items() if said not in text}
    assert not missing, "these do not stand in the text"
    known = {number for said in (*expected.values(), *SAID_IN_WORDS.get(place, ())) for number in NUMBER.findall(said)}
    assert {number for number in NUMBER.findall(text) if number not in known} == set(), "these stand there unchecked"


# Trade figures in the text that no calculation gives.
SAID_IN_WORDS = {
    # Common practice, no source: `practice-internal-relief`.
    ("04", "What happened"): ("9 in. w.c.",),
}


# What "In the field" tells of rules and reports, with the source that has it.
TOLD = [
    ("02", "little build-up from a service regulator when nothing flows", "cfr-192-197"),  # 192.197(a)
    ("02", "between 2 and 14 in. w.c.", "pa-59-29"),  # 52 Pa. Code 59.29
    ("02", "by at most half of its set pressure", "wis-psc-135-197"),  # Wis. PSC 135.197
    ("03", "jammed a regulator and its backup at once", "fairport-harbor-2011"),
    ("03", "each calendar year, at most 15 months apart", "cfr-192-739"),  # 192.739
    ("04", "sized for the regulator failed wide open", "ifgc-416-2-5"),  # fuel gas code 416.2.5
    ("04", "outdoors, proof against rain and insects, away from openings", "cfr-192-355"),  # 192.355(b)
    ("04", "ice over vents", "phmsa-73-fr-12796"),
    ("04", "an indoor regulator whose vent line was not connected", "ntsb-par-19-01"),
    ("05", "each calendar year, at most 15 months apart", "cfr-192-739"),  # 192.739
    ("05", "their set points must differ", "phmsa-pi-71-082"),
    ("05", "damage to one control line does not take out both", "cfr-192-203"),  # 192.203(b)(9)
    ("05", "both left on a main that was taken out of use", "ntsb-par-19-02"),
    ("05", "jammed a worker and its backup at once", "fairport-harbor-2011"),
]


@pytest.mark.parametrize(("lesson", "words", "key"), TOLD)
def test_a_rule_told_in_the_field_has_its_source_below(lesson: str, words: str, key: str) -> None:
    assert words in sections(lesson)["In the field"]
    assert cite(key) in sections(lesson)["Sources"]


# Form ---------------------------------------------------------------------------------------------------------------


def test_there_is_a_lesson_for_each_bench_and_quiz() -> None:
    assert list(PATHS) == ["00", *TAUGHT]
    assert list(BENCHES) == list(TAUGHT)


@pytest.mark.parametrize("lesson", PATHS)
def test_the_headings_are_those_of_the_form_in_order(lesson: str) -> None:
    first = prose(lesson).splitlines()[0]
    titles = {"00": "Start here"} | QUIZZES
    assert first == f"# {lesson} {titles[lesson]}"
    assert tuple(sections(lesson)) == (START_FORM if lesson == "00" else FORM)
    assert all(text.strip() or heading == "Check yourself" for heading, text in sections(lesson).items())


@pytest.mark.parametrize("lesson", PATHS)
def test_the_cells_stand_where_the_form_has_them(lesson: str) -> None:
    cells = notebook(lesson).cells
    above: dict[str, str] = {}
    heading = ""
    for cell in cells:
        if cell.cell_type == "markdown":
            (heading,) = re.findall(r"^## (.+)$", cell.source, re.MULTILINE)[-1:] or [heading]
        else:
            above[heading] = cell.source
    if lesson == "00":
        assert above == {
            "Does everything work?": "from toolkit.panels.start import self_check\n\nself_check()",
            "Your name and your results": "from toolkit.quiz.widgets import progress\n\nprogress()",
        }
    else:
        assert above == {
            "Predict and try": f'from toolkit.panels import bench\n\nbench("{lesson}")',
            "Check yourself": f'from toolkit.quiz.widgets import quiz\n\nquiz("{lesson}")',
        }


@pytest.mark.parametrize("lesson", PATHS)
def test_the_file_is_a_clean_notebook_of_this_course(lesson: str) -> None:
    here = notebook(lesson)
    nbformat.validate(here)
    assert (here.nbformat, here.nbformat_minor) == (4, 5)
    assert here.metadata.guarded_pressure == {"lesson": lesson}
    assert here.metadata.kernelspec.name == "python3"
    assert len(code(lesson)) <= MOST_CODE_CELLS
    assert sum(len(source.splitlines()) for source in code(lesson)) <= MOST_CODE_LINES
    assert len({cell.id for cell in here.cells}) == len(here.cells)
    for cell in here.cells:
        assert cell.metadata == {}
        if cell.cell_type == "code":
            assert cell.outputs == []
            assert cell.execution_count is None


def minutes(lesson: str) -> int:
    (found,) = re.findall(r"^About (\d+) minutes\.$", prose(lesson), re.MULTILINE)
    return int(found)


@pytest.mark.parametrize("lesson", TAUGHT)
def test_a_lesson_takes_a_quarter_of_an_hour_or_a_little_more(lesson: str) -> None:
    assert SHORTEST <= minutes(lesson) <= LONGEST


def test_the_list_of_lessons_is_complete_and_tells_the_same_minutes() -> None:
    rows = re.findall(r"^\| \[(.+?)\]\((.+?)\) \| (\d+) \|", sections("00")["The lessons"], re.MULTILINE)
    assert rows == [
        (f"{lesson} {title}", PATHS[lesson].name, str(minutes(lesson))) for lesson, title in QUIZZES.items()
    ]


def anchors(lesson: str) -> set[str]:
    return {heading.replace(" ", "-") for heading in sections(lesson)}


@pytest.mark.parametrize("lesson", PATHS)
def test_each_link_leads_to_a_lesson_that_is_there(lesson: str) -> None:
    links = re.findall(r"\]\(([^)]+)\)", prose(lesson))
    assert links
    for link in links:
        name, _, anchor = unquote(link).partition("#")
        assert (FOLDER / name).is_file(), link
        assert not anchor or anchor in anchors(name[:2]), link


@pytest.mark.parametrize("lesson", PATHS)
def test_the_last_line_leads_back_and_onward(lesson: str) -> None:
    links = re.findall(r"\]\(([^)]+)\)", prose(lesson).rstrip().splitlines()[-1])
    names = [path.name for path in PATHS.values()]
    place = names.index(PATHS[lesson].name)
    before, after = names[:place][-1:], names[place + 1 :][:1]
    assert links == [*before, *(after or names[:1])]


@pytest.mark.parametrize("lesson", PATHS)
def test_sources_are_cited_as_the_course_cites_them(lesson: str) -> None:
    listed = re.findall(r"^- (.+)$", sections(lesson)["Sources"], re.MULTILINE)
    assert listed
    assert set(listed) <= {cite(key) for key in SOURCES}
    assert len(set(listed)) == len(listed)


# Cautions -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("lesson", TAUGHT)
def test_cautions_come_first_and_name_what_never_to_do(lesson: str) -> None:
    before, field = sections(lesson)["Before you start"], sections(lesson)["In the field"]
    assert "(00_start_here.ipynb#Safety-card)" in before
    assert len(re.findall(r"^- Never ", before, re.MULTILINE)) >= 2
    assert "written procedure" in before
    assert "local code" in before
    _, found, never = field.partition("**What never to do.**")
    assert found
    assert len(re.findall(r"^Never ", never, re.MULTILINE)) >= 3
    assert field.index("**What to do") < field.index("**What never to do.**")


CARD = (
    ("phones", "doorbells", "outside", "hunt"),
    ("outdoors", "ice", "insects", "water"),
    ("Propane sinks", "natural gas rises"),
    ("Carbon monoxide", "fresh air"),
    ("Isolate, lock, tag, vent down, prove zero",),
    ("Never defeat a layer", "plug a vent", "set point"),
    ("Reset after the cause", "qualified"),
    ("Relight only if you are qualified", "every outlet"),
    ("sensing taps", "abandons"),
    ("Local code", "written procedure", "licensed persons"),
)


def test_the_safety_card_has_all_its_points() -> None:
    points = re.split(r"^\d+\. ", sections("00")["Safety card"], flags=re.MULTILINE)[1:]
    assert len(points) == len(CARD)
    for point, words in zip(points, CARD, strict=True):
        assert [word for word in words if word not in point] == []


def test_the_course_says_that_it_qualifies_nobody_and_what_the_bench_leaves_out() -> None:
    assert "do not qualify anyone" in sections("00")["What this course is not"]
    for word in ("friction", "velocity boost", "sound waves", "judgement"):
        assert word in sections("00")["What the bench leaves out"]


# Controls and buttons that the text names ---------------------------------------------------------------------------


@pytest.mark.parametrize("lesson", TAUGHT)
def test_the_text_names_controls_and_choices_as_the_bench_does(lesson: str) -> None:
    text = sections(lesson)["Predict and try"]
    controls = (*BENCHES[lesson].BENCH.controls, UNITS)
    named = re.findall(r"\*\*(.+?)\*\*", text)
    assert named
    assert set(named) <= {control.label for control in controls}
    choices = {words for control in controls if isinstance(control, Choice) for words, _ in control.options}
    assert set(re.findall(r"(?<!\*)\*([^*]+)\*(?!\*)", text)) <= choices
    groups = {control.group for control in controls}
    assert groups <= set(GROUPS)


def buttons(widget: Any) -> set[str]:
    """The words on the buttons inside a widget."""
    own = {widget.description} if isinstance(widget, ipywidgets.Button) else set()
    return own.union(*map(buttons, getattr(widget, "children", ())))


def test_the_start_page_names_buttons_as_they_are(tmp_path: Path) -> None:
    record = Record(tmp_path)
    ask = PredictThenTry(lesson_02.PREDICTION, lesson_02.BENCH)
    ask.choose(0)
    ask.open_bench()
    there = buttons(ask) | buttons(Quiz("02", 1, record).box) | buttons(Progress(record).box)
    package = FOLDER.parent / "toolkit"
    scripts = "".join(path.read_text(encoding="utf-8") for path in (package / "front/labextension").rglob("*.js"))
    later = {"Start again": scripts, "Show or hide the code": scripts}
    # The words of the button after the last question.
    later["Show the summary"] = (package / "quiz/widgets.py").read_text(encoding="utf-8")
    assert [words for words, source in later.items() if words not in source] == []
    named = set(re.findall(r"(?<!\*)\*([^*]+)\*(?!\*)", prose("00")))
    jupyter_menus = {"File", "View", "Print"}
    assert named <= there | set(later) | jupyter_menus | {UNITS.label}
    assert {"Open the bench", "Was I right?", "Check my answer", "Keep name and units"} <= named & there


# Language -----------------------------------------------------------------------------------------------------------


def sentences(lesson: str) -> Iterator[list[str]]:
    """The words of each sentence of a lesson's prose: no headings, tables, sources or pure figures."""
    text = "".join(body for heading, body in sections(lesson).items() if heading != "Sources")
    text = re.sub(r"^\|.*$", "", text, flags=re.MULTILINE)
    text = re.sub(r"\[([^\]]+)\]\([^)]+\)", r"\1", text).replace("in. w.c.", "inches")
    text = re.sub(r"\([^()]*\d[^()]*\)", "", text)
    for sentence in re.split(r"[.!?]\s|\n", text + "\n"):
        words = re.findall(r"[A-Za-z][A-Za-z'-]*", sentence)
        if words:
            yield words


def syllables(word: str) -> int:
    """Groups of vowels, a silent e at the end left out."""
    plain = re.sub(r"[^a-z]", "", word.lower())
    groups = len(re.findall(r"[aeiouy]+", plain))
    silent = re.search(r"([^le]e|[^td]ed)$", plain) is not None
    return max(1, groups - silent)


def reading_grade(lesson: str) -> float:
    """Flesch-Kincaid grade level. Source: Kincaid and others 1975, from memory."""
    found = list(sentences(lesson))
    words = [word for sentence in found for word in sentence]
    return 0.39 * len(words) / len(found) + 11.8 * sum(map(syllables, words)) / len(words) - 15.59


@pytest.mark.parametrize(("word", "count"), [("pressure", 2), ("regulator", 4), ("gas", 1), ("opened", 2), ("the", 1)])
def test_syllables_are_counted_as_spoken(word: str, count: int) -> None:
    assert syllables(word) == count


@pytest.mark.parametrize("lesson", PATHS)
def test_a_lesson_reads_easily(lesson: str) -> None:
    assert reading_grade(lesson) <= HIGHEST_GRADE
    assert [" ".join(words) for words in sentences(lesson) if len(words) > LONGEST_SENTENCE] == []


@pytest.mark.parametrize("lesson", PATHS)
def test_the_source_holds_one_sentence_a_line(lesson: str) -> None:
    for line in prose(lesson).replace("in. w.c.", "inches").splitlines():
        plain = re.sub(r"^(\s*[-|]|\s*\d+\.) ?|\*\*[^*]+[.:?]\*\* ?", "", line)
        if not line.startswith(("|", "- Title")) and line not in sections(lesson)["Sources"]:
            assert not re.search(r"[.?!] [A-Z]", plain), line


# The start page's panel ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("units", ["us", "metric"])
def test_a_sound_course_finds_everything_working(tmp_path: Path, units: str) -> None:
    record = Record(tmp_path)
    found = start.findings(record, units)
    assert [one.what for one in found if not one.works] == []
    assert len(found) == len(start.CHECKS)
    assert str(record.path) in found[-1].said
    (bench,) = [one.said for one in found if one.what == "The bench"]
    assert format_pressure(lock_up_gauge_pressure(CONDITION, INLET_GAUGE), units) in bench
    assert "Everything works." in start.findings_html(found)


def test_the_check_of_the_record_adds_nothing_to_it(tmp_path: Path) -> None:
    record = Record(tmp_path)
    start.findings(record, "us")
    assert record.path.exists()
    assert record.attempts() == ()
    assert record.learner() == ""


def test_a_record_that_cannot_be_written_is_told_with_what_it_means(tmp_path: Path) -> None:
    blocked = tmp_path / "a file, not a folder"
    blocked.write_text("")
    found = start.findings(Record(blocked), "us")
    assert [one.what for one in found if not one.works] == ["Your record"]
    assert "your answers will not be kept" in found[-1].said
    page = start.findings_html(found)
    assert "1 of 5 do not work" in page
    assert "\u2717 does not work" in page


def test_a_bench_that_locks_up_wrongly_is_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # The bench's day with a nick in the seat: it creeps where it should stand still.
    nicked = bench_trace(lesson_03, debris=0.0, failure="seat nicked")
    monkeypatch.setattr(start, "run", lambda _scenario: nicked)
    found = {one.what: one for one in start.findings(Record(tmp_path), "us")}
    assert not found["The bench"].works
    assert "should" in found["The bench"].said


def test_a_missing_part_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(start, "requires", lambda _name: ["ipywidgets>=8", "no-such-part>=1"])
    (found,) = [one for one in start.findings(Record(tmp_path), "us") if one.what == "The course's parts"]
    assert not found.works
    assert "no-such-part" in found.said
    assert "ipywidgets" not in found.said


def test_findings_are_written_without_markup_from_outside() -> None:
    page = start.findings_html((start.Finding("<b>", False, "<script>"),))
    assert "<script>" not in page
    assert "&lt;script&gt;" in page


@pytest.mark.parametrize("units", ["us", "metric"])
def test_the_practice_slider_is_followed_by_its_sentence(tmp_path: Path, units: str) -> None:
    record = Record(tmp_path)
    record.set_units(units)
    _, _, slider, told = start.self_check(record).children
    before = told.value
    assert format_pressure(slider.value, units).rstrip(".") in before
    slider.press(1)
    assert told.value != before
    assert format_pressure(slider.value, units).rstrip(".") in told.value
