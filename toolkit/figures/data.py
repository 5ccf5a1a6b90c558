"""What a chart is told: its still parts, the traces and marks of one redraw, and what comes out of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from numpy.typing import ArrayLike

from toolkit.figures.style import ColourKey, DashKey, ViewMode
from toolkit.figures.surface import Box


@dataclass(frozen=True)
class Line:
    """A trace: `values` against `times` (1-D, same length), both in the units of the axes; NaN leaves a gap."""

    label: str
    times: ArrayLike
    values: ArrayLike
    colour: ColourKey = "black"
    dash: DashKey = "solid"


@dataclass(frozen=True)
class Mark:
    """A horizontal line at `value` (unit of the y axis): a set point, a lock-up, a relief's opening, a limit."""

    label: str
    value: float
    colour: ColourKey = "vermilion"
    dash: DashKey = "dashed"


@dataclass(frozen=True)
class EventMarker:
    """Something that happened at `time` (unit of the x axis); a `minor` one gives way to others where room is short."""

    time: float
    label: str
    minor: bool = False


@dataclass(frozen=True)
class Point:
    """A single place on the chart, as the present operating point on a flow curve."""

    label: str
    x: float
    y: float
    colour: ColourKey = "black"


@dataclass(frozen=True)
class ChartData:
    """What changes from one redraw to the next. `moment` is the x of the vertical cursor line, `moment_text` its flag.

    Without a `moment_text` the flag says the x in the axis's unit.
    """

    lines: tuple[Line, ...]
    marks: tuple[Mark, ...] = ()
    events: tuple[EventMarker, ...] = ()
    points: tuple[Point, ...] = ()
    moment: float | None = None
    moment_text: str = ""


@dataclass(frozen=True)
class ChartSpec:
    """What stands still: ranges, scale and names of the axes, size [px], view.

    `y_ticks` are (value, text) pairs; give them for a log scale, so that the texts can be in the trade's units.
    `fine_grid` adds a grid fine enough to read a time from. `event_rows` are the rows kept above for events' labels.
    Without a `size` the view's own stands.
    With `unit_in_ticks` the texts of the ticks carry units, the axis only its name. A log range is above 0.
    """

    x_range: tuple[float, float]
    y_range: tuple[float, float]
    x_name: str = "Time"
    x_unit: str = "s"
    y_name: str = "Outlet pressure"
    y_unit: str = "in. w.c."
    y_scale: Literal["linear", "log"] = "linear"
    y_ticks: tuple[tuple[float, str], ...] = ()
    size: tuple[int, int] | None = None
    view: ViewMode = "desk"
    fine_grid: bool = False
    event_rows: int = 2
    unit_in_ticks: bool = False


@dataclass(frozen=True)
class Picture:
    """A finished picture: SVG, the sentence for those who do not see it (it holds it, too), and its size [px]."""

    svg: str
    alt: str
    size: tuple[int, int]


@dataclass(frozen=True)
class PlacedLabel:
    """Where a label of the last redraw stands: left, bottom, right, top [px from the lower left corner]."""

    text: str
    box: Box
