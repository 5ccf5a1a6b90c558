"""Pictures of the questions and of the feedback, out of traces. Pure: the same trace gives the same picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from toolkit.diagnosis.symptoms import ALL_ON, LITTLE_ON
from toolkit.diagnosis.visits import HELD_DRAW
from toolkit.trace import Trace
from toolkit.units import IN_WC, display_unit, format_pressure, tidy, to_display

if TYPE_CHECKING:
    from toolkit.figures.chart import Line, Picture
    from toolkit.quiz.grades import Replay

OUTLET = "outlet_gauge_pressure"
INLET = "inlet_gauge_pressure"
# What goes beyond this is marked as off the picture, so that what is low can still be read.
HIGHEST_SHOWN = 100 * IN_WC
SIZE = (760, 340)
TALL = (760, 400)


def outlet_picture(
    trace: Trace,
    units: str,
    *,
    marks: Sequence[tuple[str, float]] = (),
    low: float = 0.0,
    signal: str = OUTLET,
    kind: str = "low_gauge_pressure",
    name: str = "Outlet pressure",
) -> Picture:
    """A pressure [Pa gauge] of a trace against time with a grid to read it by, and marks (label, gauge Pa).

    `low` is the least pressure shown. The sentence for those who do not see the picture is a table of readings, so
    that they have the same task and not the answer.
    """
    from toolkit.figures.chart import ChartSpec, Mark, trace_picture

    unit, duration = display_unit(kind, units), trace.scenario.duration
    highest = max(trace.peak(signal)[1], *(value for _, value in marks)) if marks else trace.peak(signal)[1]
    if kind == "low_gauge_pressure":
        highest = min(highest, HIGHEST_SHOWN)
    top = low + 1.1 * (highest - low)
    spec = ChartSpec(
        (0.0, duration),
        (to_display(low, kind, units), to_display(top, kind, units)),
        y_name=name,
        y_unit=unit.label,
        size=TALL,
    )
    line = _line(trace, signal, name.removesuffix(" pressure"), kind, units)
    lines = tuple(Mark(label, to_display(value, kind, units), "blue", "dashed") for label, value in marks)
    return replace(trace_picture((line,), spec, lines), alt=_read_out(trace, signal, kind, units, name, marks))


def replay_picture(replay: Replay, units: str) -> Picture:
    """The pressure that was, and the one that the other suspect would have made."""
    from toolkit.figures.chart import ChartSpec, EventMarker, compare_chart

    signal, name = replay.signal, replay.signal.removesuffix("_gauge_pressure").replace("_", " ")
    highest = max(trace.peak(signal)[1] for trace in (replay.truth, replay.other))
    # what runs off the picture at the outlet is worth no other scale; between two regulators it is the rule
    kind = "low_gauge_pressure" if highest <= HIGHEST_SHOWN or signal == OUTLET else "gauge_pressure"
    top = min(highest, HIGHEST_SHOWN) if kind == "low_gauge_pressure" else highest
    duration = min(trace.scenario.duration for trace in (replay.truth, replay.other))
    spec = ChartSpec(
        (0.0, duration),
        (0.0, to_display(1.15 * top, kind, units)),
        y_name=f"{name} pressure".capitalize(),
        y_unit=display_unit(kind, units).label,
        size=SIZE,
    )
    changes = {one.time: one.share for one in replay.truth.scenario.demands if one.time > 0}
    events = tuple(EventMarker(time, _share_words(share)) for time, share in changes.items())
    return compare_chart(
        _line(replay.truth, signal, f"True: {replay.truth_label}", kind, units),
        _line(replay.other, signal, replay.other_label, kind, units),
        spec,
        events=events,
    )


def _share_words(share: float) -> str:
    """What is called for, in a word or two."""
    if share == 0.0:
        return "all off"
    if share <= LITTLE_ON:
        return "pilot only"
    return "held low" if share >= HELD_DRAW else "all on" if share >= ALL_ON else "part on"


def _line(trace: Trace, signal: str, label: str, kind: str, units: str) -> Line:
    from toolkit.figures.chart import Line

    unit = display_unit(kind, units)
    return Line(label, trace.times, (trace[signal] - unit.offset) / unit.scale)


def _read_out(trace: Trace, signal: str, kind: str, units: str, name: str, marks: Sequence[tuple[str, float]]) -> str:
    unit, step = display_unit(kind, units), max(1, round(trace.scenario.duration / 30))
    times = np.arange(0.0, trace.scenario.duration + 0.5, step)
    values = (np.interp(times, trace.times, trace[signal]) - unit.offset) / unit.scale
    read = "; ".join(f"{time:.0f} s {value:.{unit.decimals}f}" for time, value in zip(times, values, strict=True))
    drawn = "".join(f" A line marks {label} at {format_pressure(value, units)}." for label, value in marks)
    return tidy(f"{name} in {unit.label} read off every {step} s: {read}.{drawn}")
