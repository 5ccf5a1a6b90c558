"""The start page's panel: does everything work here, and a slider to practise on, in words without jargon."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from html import escape
from importlib.metadata import PackageNotFoundError, requires, version
from platform import python_version

import ipywidgets

from toolkit.classroom.record import Record
from toolkit.classroom.room import room_here, told_here
from toolkit.errors import CourseError, SimulationError
from toolkit.figures.chart import TimeChart
from toolkit.figures.data import ChartData
from toolkit.panels.bench import run
from toolkit.panels.controls import SliderRow
from toolkit.panels.page_style import STYLE
from toolkit.panels.regulator_view import DAY, MORNING, drawing, levels, outlet_line, spec
from toolkit.panels.sliders import SET_POINT
from toolkit.scenario import Scenario, Station
from toolkit.units import IN_WC, display_unit, format_pressure, format_quantity, parse_quantity, tidy

COURSE = "guarded-pressure"
# The bench has to lock up where the closed form says; a gauge cannot be read any finer.
LOCK_UP_WITHIN = 0.05 * IN_WC
MARKS = {True: "\u2713 works", False: "\u2717 does not work"}
CELL = "text-align:left;vertical-align:top;padding:2px 18px 2px 0;font-size:14px;line-height:1.4"
PRACTICE = replace(SET_POINT, key="practice", label="Practice slider")


@dataclass(frozen=True)
class Finding:
    """One thing looked at: what, whether it works, and the sentence about it."""

    what: str
    works: bool
    said: str


def findings(record: Record, units: str) -> tuple[Finding, ...]:
    """Look at all that the lessons need, in order; what fails becomes a finding with what to do, not an error."""
    return tuple(_looked_at(*check, record, units) for check in CHECKS)


def findings_html(found: tuple[Finding, ...]) -> str:
    """The findings as a table, a mark and a word each, and the verdict above it."""
    rows = "".join(
        f"<tr><td style='{CELL};white-space:nowrap'><b>{MARKS[one.works]}</b></td>"
        f"<th scope='row' style='{CELL};white-space:nowrap;font-weight:normal'>{escape(one.what)}</th>"
        f"<td style='{CELL}'>{escape(one.said)}</td></tr>"
        for one in found
    )
    broken = sum(not one.works for one in found)
    verdict = "Everything works." if not broken else f"{broken} of {len(found)} do not work. Do what is said beside it."
    return f"<p class='gp-sentence' role='status'><b>{verdict}</b></p><table aria-label='What works'>{rows}</table>"


def self_check(record: Record | None = None) -> ipywidgets.VBox:
    """The findings and the practice slider as a widget."""
    kept = record or Record()
    try:
        units = kept.units()
    except CourseError:
        units = "us"  # the findings say what is wrong with the record
    told = ipywidgets.HTML()

    def tell() -> None:
        said = tidy(f"The slider stands at {format_pressure(slider.value, units)}.")
        told.value = f"<p class='gp-sentence' aria-live='polite'>{said}</p>"

    slider = SliderRow(PRACTICE, units, tell)
    tell()
    box = ipywidgets.VBox(
        [
            ipywidgets.HTML(STYLE),
            ipywidgets.HTML(findings_html(findings(kept, units))),
            slider,
            told,
        ]
    )
    box.add_class("gp-panel")
    return box


def _looked_at(what: str, look: Callable[[Record, str], str], mend: str, record: Record, units: str) -> Finding:
    try:
        return Finding(what, True, look(record, units))
    except Exception as error:  # whatever it is, the learner must read a sentence and not a traceback
        return Finding(what, False, f"{told_here(error)} {mend}")


def _parts(_record: Record, _units: str) -> str:
    missing = []
    for line in requires(COURSE) or ():
        name = re.split(r"[^A-Za-z0-9._-]", line, maxsplit=1)[0]
        try:
            version(name)
        except PackageNotFoundError:
            missing.append(name)
    if missing:
        raise CourseError(f"Not installed: {', '.join(missing)}.")
    return f"Python {python_version()} and every part that the course needs are here."


def _numbers(_record: Record, units: str) -> str:
    typed = format_quantity(7 * IN_WC, "low_gauge_pressure", units)
    read = parse_quantity(typed, "low_gauge_pressure")
    if abs(read - 7 * IN_WC) > display_unit("low_gauge_pressure", units).scale:
        raise CourseError(f"{typed!r} was typed and {read:.0f} Pa was understood.")
    return f"A typed answer such as {typed} is understood."


def _bench(_record: Record, units: str) -> str:
    trace = run(Scenario(Station(), DAY))
    night, lock_up = trace.at("outlet_gauge_pressure", MORNING - 1), levels(trace.scenario).lock_up
    if abs(night - lock_up) > LOCK_UP_WITHIN:
        raise SimulationError(
            f"The bench locks up at {format_pressure(night, units)}, it should at {format_pressure(lock_up, units)}"
        )
    return f"With all burners off it locks up at {format_pressure(night, units)}, where it should."


def _pictures(_record: Record, units: str) -> str:
    trace = run(Scenario(Station(), DAY))
    svg = drawing(trace, MORNING - 1, units)
    chart = TimeChart(spec(units, "near")).draw(ChartData((outlet_line(trace, units),)))
    if "<svg" not in svg or "<svg" not in chart:
        raise CourseError("A picture was asked for and something else came.")
    return "The drawing and the chart can be made."


def _kept(record: Record, _units: str) -> str:
    record.check()
    record.check_writable()
    if room_here() is not None:
        return "Your answers are kept by your instructor, on the machine that serves the class."
    return f"Your answers are kept in this file on your own machine: {record.path}"


_AGAIN = "Set the course up again as its README says, then start it again."
CHECKS: tuple[tuple[str, Callable[[Record, str], str], str], ...] = (
    ("The course's parts", _parts, _AGAIN),
    ("Typed numbers", _numbers, _AGAIN),
    ("The bench", _bench, _AGAIN),
    ("The pictures", _pictures, _AGAIN),
    ("Your record", _kept, "The lessons work without it, but your answers will not be kept."),
)
