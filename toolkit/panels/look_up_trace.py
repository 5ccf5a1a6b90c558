"""The simulated day that shows a suspect best, as a picture: `day_html(run, units)`."""

from __future__ import annotations

from functools import lru_cache
from html import escape

from toolkit.diagnosis.readings import record_of
from toolkit.diagnosis.signatures import SUSPECTS, Run, trace_of_run
from toolkit.figures.chart import TimeChart
from toolkit.figures.data import ChartData, ChartSpec, EventMarker, Line, Mark
from toolkit.panels.regulator_view import NEAR_TOP
from toolkit.panels.station_bench import acted
from toolkit.panels.words import event_list
from toolkit.trace import Trace
from toolkit.units import display_unit

KIND = "low_gauge_pressure"
SIZE = (620, 320)
# The picture goes up to so many times the appliances' rating, or as high as the lessons' own.
ABOVE_RATING = 1.3
MOST_EVENTS = 8

_day = lru_cache(maxsize=16)(trace_of_run)


def day_html(run: Run, units: str) -> str:
    """The outlet gauge over the day of a run, with what happened; errors as for `simulate`."""
    trace = _day(run)
    chart = TimeChart(_axes(trace, units))
    data = _data(trace, units)
    events = "".join(
        f"<li><b>{escape(at)}</b> {escape(said)}</li>" for at, said in event_list(trace, units, MOST_EVENTS)
    )
    return (
        f"<figure style='margin:6px 0'><figcaption><b>{escape(SUSPECTS[run.suspect])}</b>, simulated on a station like "
        f"this one: the day nearest to what was met.</figcaption>"
        f"{chart.draw(data)}"
        f"<details><summary>What happened, in order</summary><ul>{events}</ul></details></figure>"
    )


def _axes(trace: Trace, units: str) -> ChartSpec:
    unit = display_unit(KIND, units)
    top = max(NEAR_TOP, ABOVE_RATING * record_of(trace.scenario.station).rating_gauge_pressure)
    return ChartSpec(
        (0.0, trace.scenario.duration / 60),
        (0.0, top / unit.scale),
        x_unit="min",
        y_unit=unit.label,
        size=SIZE,
        event_rows=3,
    )


def _data(trace: Trace, units: str) -> ChartData:
    station, scale = trace.scenario.station, display_unit(KIND, units).scale
    record = record_of(station)
    outlet = trace[f"{station.loads[0].at}_gauge_pressure"] / scale
    begins = [one.moments()[0] / 60 for one in trace.scenario.faults]
    return ChartData(
        (Line("outlet", trace.times / 60, outlet, "blue"),),
        (
            Mark("set", record.set_gauge_pressure / scale, "black", "dotted"),
            Mark("rating", record.rating_gauge_pressure / scale, "vermilion", "dashed"),
        ),
        (*(EventMarker(at, "fault begins") for at in begins[:1] if at > 0.0), *acted(trace)),
    )
