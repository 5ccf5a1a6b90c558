"""Charts: traces against time (or against flow) with the marks that matter, as SVG.

One chart is kept per panel. What stands still (axes, grid, names of the axes) is painted once and kept; a redraw paints
the traces over it, then the marks, then all labels: what comes later covers what came before.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
from matplotlib.ticker import MaxNLocator
from numpy.typing import ArrayLike

from toolkit.figures.data import ChartData, ChartSpec, EventMarker, Line, Mark, Picture, PlacedLabel, Point
from toolkit.figures.style import AXIS, FINE_GRID, GRID, INK, SIZES, DashKey
from toolkit.figures.surface import PX_PER_PT, Box, Floats, Surface, extent

__all__ = [
    "ChartData",
    "ChartSpec",
    "EventMarker",
    "Line",
    "Mark",
    "Picture",
    "PlacedLabel",
    "Point",
    "TimeChart",
    "compare_chart",
    "readable",
    "spread",
    "trace_picture",
]

Ticks = list[tuple[float, str]]
MOST_DECIMALS = 6  # of a tick's text
# A trace that lies on the edge of the picture has not left it, whatever its last digits (share of the range).
EDGE_SLACK = 1e-3


class TimeChart:
    """A chart that is kept and redrawn: `draw` gives the SVG, `alt` the sentence that says the same.

    It also serves for flow curves (x is then a flow). `size` is its size [px].
    `labels` tells where the last redraw put its labels, `plot` the box that the axes enclose.
    """

    def __init__(self, spec: ChartSpec) -> None:
        self.spec = spec
        self.sizes = SIZES[spec.view]
        self.size = spec.size or self.sizes.chart
        self.labels: list[PlacedLabel] = []
        width, height = self.size
        self._row = extent("row", self.sizes.text)[1] + 1
        top = height - self.sizes.top - spec.event_rows * self._row
        ticks = [extent(text, self.sizes.text)[0] for _, text in spec.y_ticks]
        left = max(float(self.sizes.left), max(ticks, default=0.0) + 2 * self._row)
        self.plot: Box = (left, float(self.sizes.bottom), float(width - self.sizes.right), top)
        self._surface = Surface(width, height)
        self._x_texts: list[tuple[float, float]] = []  # middle and width of each number along the foot
        self._dress_axes()
        self._surface.keep()

    def draw(self, data: ChartData) -> str:
        """Paint `data` over what stands still and give the SVG, with its sentence."""
        left, low, right, high = self.plot
        surface, s = self._surface, self.sizes
        surface.restore()
        self.labels = []
        for event in data.events:
            self._vertical(event.time, AXIS, "dotted", s.thin)
        for line in data.lines:
            x, y = self._x_px(_floats(line.times)), self._y_px(_floats(line.values))
            surface.stroke(x, y, line.colour, line.dash, s.trace, clip=(left, low - 2, right, high + 1))
        for mark in data.marks:
            if self._inside(mark.value):
                y_mark = float(self._y_px(mark.value))
                surface.rule((left, y_mark), (right, y_mark), mark.colour, mark.dash, s.mark)
        if data.moment is not None:
            self._moment(data.moment, data.lines, self._moment_text(data))
        self._end_labels(data)
        self._event_labels(data.events)
        self._off_picture(data.lines)
        for point in data.points:
            self._point(point)
        return surface.svg(self.alt(data))

    def alt(self, data: ChartData) -> str:
        """Say in words what `draw` shows of the same `data`."""
        spec = self.spec
        parts = [
            f"{spec.y_name} ({spec.y_unit}) against {spec.x_name.lower()}, "
            f"{readable(spec.x_range[0])} to {readable(spec.x_range[1])} {spec.x_unit}."
        ]
        parts += [self._say_line(line) for line in data.lines]
        if data.marks:
            parts.append("Marks: " + ", ".join(f"{m.label} at {readable(m.value)}" for m in data.marks) + ".")
        if data.events:
            events = ", ".join(f"{e.label} at {readable(e.time)} {spec.x_unit}" for e in data.events)
            parts.append(f"Events: {events}.")
        parts += [f"{p.label}: {readable(p.y)} {spec.y_unit} at {readable(p.x)} {spec.x_unit}." for p in data.points]
        if data.moment is not None:
            parts.append(f"The cursor stands at {self._moment_text(data)}.")
        return " ".join(parts)

    # -- what stands still

    def _dress_axes(self) -> None:
        """Grid, axes, ticks with their texts, names of the axes."""
        spec, s, surface = self.spec, self.sizes, self._surface
        left, low, right, high = self.plot
        xs, ys = self.ticks()
        if spec.fine_grid:
            surface.grid(self._x_px(_between(xs, spec.x_range)), self.plot, True, FINE_GRID, s.thin)
            if not spec.y_ticks:
                surface.grid(self._y_px(_between(ys, spec.y_range)), self.plot, False, FINE_GRID, s.thin)
        across, up = self._x_px(np.array([x for x, _ in xs])), self._y_px(np.array([y for y, _ in ys]))
        surface.grid(across, self.plot, True, GRID, s.thin)
        surface.grid(up, self.plot, False, GRID, s.thin)
        surface.stroke([left, left, right], [high, low, low], AXIS, "solid", s.thin)
        tick, letter = s.text * 0.4 * PX_PER_PT, s.text * PX_PER_PT
        surface.grid(across, (left, low - tick, right, low), True, AXIS, s.thin)
        surface.grid(up, (left - tick, low, left, high), False, AXIS, s.thin)
        foot, edge = low - tick - 1.15 * letter, left - tick - 0.4 * letter
        for px, (_, text) in zip(across.tolist(), xs, strict=True):
            surface.words(px, foot, text, s.text, "middle")
            self._x_texts.append((px, extent(text, s.text)[0]))
        for px, (_, text) in zip(up.tolist(), ys, strict=True):
            surface.words(edge, px - 0.36 * letter, text, s.text, "end")
        # the name of the axis stands clear of the cursor's flag
        middle = (left + right) / 2
        surface.words(middle, foot - 1.75 * letter, f"{spec.x_name} ({spec.x_unit})", s.text, "middle")
        title = spec.y_name if spec.unit_in_ticks else f"{spec.y_name} ({spec.y_unit})"
        widest = max((extent(text, s.text)[0] for _, text in ys), default=0.0)
        surface.words(max(edge - widest, letter), (low + high) / 2, title, s.text, "middle", upwards=True)

    def ticks(self) -> tuple[Ticks, Ticks]:
        """What stands along either axis: the x and the y of its ticks, and their texts."""
        spec = self.spec
        far = spec.view == "projector"
        xs = _ticks(spec.x_range, MaxNLocator(12 if spec.fine_grid else 6 if far else 8, steps=[1, 2, 5, 10]))
        if spec.y_ticks:
            return xs, [(y, text) for y, text in spec.y_ticks if self._inside(y)]
        return xs, _ticks(spec.y_range, MaxNLocator(5 if far else 7, steps=[1, 2, 2.5, 5, 10]))

    # -- places in pixels

    def _x_px(self, x: float | Floats) -> Floats:
        a, b = self.spec.x_range
        left, _, right, _ = self.plot
        return np.asarray(left + (np.asarray(x) - a) / (b - a) * (right - left))

    def _y_px(self, y: float | Floats) -> Floats:
        bottom, top = self.spec.y_range
        _, low, _, high = self.plot
        if self.spec.y_scale == "log":
            # Zero has no place on a log scale: it goes below the picture, and the note at the edge says so.
            share = np.log(np.maximum(y, bottom * 1e-3) / bottom) / np.log(top / bottom)
        else:
            share = (np.asarray(y) - bottom) / (top - bottom)
        # far beyond the picture every value is as far: a runaway one need not fill the page with digits
        return np.asarray(low + np.clip(share, -20.0, 20.0) * (high - low))

    def _inside(self, y: float) -> bool:
        return self.spec.y_range[0] <= y <= self.spec.y_range[1]

    def _edge_px(self, y: float) -> float:
        """Height of `y`, held inside the plot."""
        return float(np.clip(self._y_px(y), self.plot[1], self.plot[3]))

    # -- what moves

    def _label(self, left: float, middle: float, text: str, bold: bool = False, flag: bool = False) -> None:
        self._note(text, self._surface.text(left, middle, text, self.sizes.text, bold, flag))

    def _note(self, text: str, box: Box) -> None:
        self.labels.append(PlacedLabel(text, box))

    def _vertical(self, x: float, colour: str, dash: DashKey, width: float) -> None:
        if self.spec.x_range[0] <= x <= self.spec.x_range[1]:
            px = float(self._x_px(x))
            self._surface.rule((px, self.plot[1]), (px, self.plot[3]), colour, dash, width)

    def _moment_text(self, data: ChartData) -> str:
        return data.moment_text or f"{readable(data.moment or 0.0)} {self.spec.x_unit}"

    def _moment(self, moment: float, lines: Sequence[Line], text: str) -> None:
        """The cursor: a line, a dot on each trace, and its time on a flag over the axis."""
        self._vertical(moment, INK, "solid", self.sizes.thin * 1.2)
        px = float(self._x_px(moment))
        for line in lines:
            y = _value_at(line, moment)
            if self._inside(y):
                self._surface.dot(px, float(self._y_px(y)), self.sizes.trace * 3.5, line.colour)
        width, height = extent(text, self.sizes.text)
        middle = self.plot[1] - self.sizes.text * 0.5 - height / 2
        for at, wide in self._x_texts:
            # a number half under the flag would be read as another one
            if abs(at - px) < (wide + width) / 2:
                self._surface.blank((at - wide / 2, middle - height, at + wide / 2, middle + height / 2))
        self._label(px - width / 2, middle, text, flag=True)

    def _point(self, point: Point) -> None:
        x, y = float(self._x_px(point.x)), self._edge_px(point.y)
        self._surface.dot(x, y, self.sizes.trace * 4, point.colour)
        width, _ = extent(point.label, self.sizes.text)
        gap = self.sizes.text * 0.8
        up = self._row if y < self.plot[3] - 2 * self._row else -self._row
        self._label(x + gap if x + gap + width < self.plot[2] else x - gap - width, y + up, point.label)

    def _end_labels(self, data: ChartData) -> None:
        """Names of traces and marks in the right margin, spread; each with a leader in its own colour and dash."""
        right, size = self.plot[2], self.sizes.text
        items = [(line.label, *_end_of(line), line.colour, line.dash, True) for line in data.lines]
        items += [(self._mark_text(m), self.spec.x_range[1], m.value, m.colour, m.dash, False) for m in data.marks]
        items = [item for item in items if item[0] and np.isfinite(item[2])]
        leader = size * 2.4
        # Events' labels may run on into the margin: then the names stay below them.
        high = self.plot[3] + 0.2 * self._row if data.events else self.size[1] - 2.0
        room = self.size[0] - right - leader - 4
        texts = [_wrapped(item[0], room, size, item[5]) for item in items]
        for size in (self.sizes.text, self.sizes.text * 0.85, self.sizes.text * 0.7):
            texts = [_wrapped(item[0], room, size, item[5]) for item in items]
            heights = [extent(text, size, item[5])[1] for text, item in zip(texts, items, strict=True)]
            if sum(heights) <= high - 2.0:
                break
        wanted = [self._edge_px(item[2]) for item in items]
        centres = spread(wanted, heights, 2.0, high) if items else []
        for (_, x, _, colour, dash, bold), text, at, y in zip(items, texts, wanted, centres, strict=True):
            px = min(float(self._x_px(x)), right)
            self._surface.rule((px, at), (right, at), AXIS, "dotted", self.sizes.thin)
            self._surface.rule((right, at), (right + leader - 4, y), colour, dash, self.sizes.mark)
            self._note(text, self._surface.text(right + leader, y, text, size, bold))

    def _mark_text(self, mark: Mark) -> str:
        low, high = self.spec.y_range
        return f"{mark.label} ▲" if mark.value > high else f"{mark.label} ▼" if mark.value < low else mark.label

    def _event_labels(self, events: Sequence[EventMarker]) -> None:
        """Labels above the plot in rows, minor ones last; what finds no free row is left to the sentence."""
        (first, last), high = self.spec.x_range, self.plot[3]
        taken: list[list[tuple[float, float]]] = [[] for _ in range(self.spec.event_rows)]
        places: list[tuple[float, float, str]] = []
        ordered = sorted((event for event in events if first <= event.time <= last), key=lambda e: e.time)
        behind = dict(pairwise(ordered))
        for event in sorted(ordered, key=lambda e: (e.minor, e.time)):
            x, (width, _) = float(self._x_px(event.time)), extent(event.label, self.sizes.text)
            left = min(x, self.size[0] - width)
            if event in behind:
                # A little to the left, where else the next event's line would strike out the last letters.
                over = left + width + 4 - float(self._x_px(behind[event].time))
                left -= over if 0 < over <= width / 4 else 0.0
            free = (r for r, one in enumerate(taken) if all(left + width + 6 <= a or b <= left - 6 for a, b in one))
            if (row := next(free, None)) is None:
                continue
            y = high + self._row * (row + 0.75)
            self._surface.rule((x, high), (x, y - self._row * 0.4), AXIS, "dotted", self.sizes.thin)
            places.append((left, y, event.label))
            taken[row].append((left, left + width))
        # all words over all lines, or the line up to a higher row strikes out those below it
        for left, y, text in places:
            self._label(left, y, text)

    def _off_picture(self, lines: Sequence[Line]) -> None:
        """Say at the edge how far a trace goes that leaves the fixed range, so that nobody takes the edge for it."""
        found = [(line, *excursion) for line in lines for excursion in self._excursions(line)]
        rows = {True: 0, False: 0}
        for line, top, x, value in found:
            px, edge, inward = float(self._x_px(x)), self.plot[3] if top else self.plot[1], -1 if top else 1
            several = sum(other[1] == top for other in found) > 1
            name = f"{line.label} " if several else ""
            text = f"{name}off the picture: {readable(value)} {self.spec.y_unit}"
            width, _ = extent(text, self.sizes.text)
            gap = self.sizes.text
            left = px + gap if px + gap + width < self.plot[2] else max(px - gap - width, self.plot[0])
            self._surface.arrow(px, edge, self.sizes.text * 0.9, line.colour, top)
            self._label(left, edge + inward * self._row * (0.6 + rows[top]), text)
            rows[top] += 1

    def _excursions(self, line: Line) -> list[tuple[bool, float, float]]:
        """(above?, x where it leaves, extreme value) of the worst excursions of `line` beyond the y range."""
        times, values = _shown(line, self.spec.x_range)
        low, high = self.spec.y_range
        found: list[tuple[bool, float, float]] = []
        slack = EDGE_SLACK * (high - low) if self.spec.y_scale == "linear" else 0.0
        for above, outside in ((True, values > high + slack), (False, values < low - slack)):
            if outside.any():
                worst = int(values.argmax() if above else values.argmin())
                inside_before = np.flatnonzero(~outside[:worst])
                leaves = int(inside_before[-1]) + 1 if inside_before.size else 0
                found.append((above, float(times[leaves]), float(values[worst])))
        return found

    def _say_line(self, line: Line) -> str:
        times, values = _shown(line, self.spec.x_range)
        if not values.size:
            return f"{line.label}: nothing to show."
        start, end = readable(float(values[0])), readable(float(values[-1]))
        top, bottom = readable(float(values.max())), readable(float(values.min()))
        x = self.spec.x_unit
        if top == bottom:
            text = f"{line.label}: steady at {start}"
        else:
            text = (
                f"{line.label}: {start} at the start, highest {top} at {readable(float(times[values.argmax()]))} {x}, "
                f"lowest {bottom} at {readable(float(times[values.argmin()]))} {x}, {end} at the end"
            )
        for above, at, _ in self._excursions(line):
            text += f"; it leaves the picture at the {'top' if above else 'bottom'} from {readable(at)} {x}"
        return text + "."


def compare_chart(
    truth: Line, choice: Line, spec: ChartSpec, marks: tuple[Mark, ...] = (), events: tuple[EventMarker, ...] = ()
) -> Picture:
    """The trace that happened and the trace of the answer that was chosen, on the same axes.

    The truth is black and solid, the choice vermilion and dashed, whatever the lines brought; marks are thin and blue.
    """
    lines = (replace(truth, colour="black", dash="solid"), replace(choice, colour="vermilion", dash="dashed"))
    quiet = tuple(replace(mark, colour="blue", dash="dotted") for mark in marks)
    return _once(spec, ChartData(lines, quiet, events))


def trace_picture(lines: tuple[Line, ...], spec: ChartSpec, marks: tuple[Mark, ...] = ()) -> Picture:
    """A trace to be read: a grid fine enough to read a time from, no events, no cursor."""
    return _once(replace(spec, fine_grid=True, event_rows=0), ChartData(lines, marks))


def readable(value: float) -> str:
    """Write `value` with the digits a gauge would show: 16 as '16', 7.25 as '7.25', 1204.3 as '1204'."""
    size = abs(value)
    text = f"{value:.{0 if size >= 100 else 1 if size >= 10 else 2}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def spread(wanted: Sequence[float], heights: Sequence[float], low: float, high: float) -> list[float]:
    """Centres as near as can be to `wanted`, so that boxes of `heights` do not overlap and stay in low..high [all px].

    Boxes that would overlap are stacked and the stack is centred on their wish (pool adjacent violators).
    Where all boxes together are higher than the room, they stand above `low` without overlap and leave it at the top.
    """
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    stacks: list[tuple[float, int]] = []  # (bottom the stack wants when everything below it is taken out, boxes in it)
    below = 0.0
    for i in order:
        wish, count = wanted[i] - heights[i] / 2 - below, 1
        below += heights[i]
        while stacks and stacks[-1][0] > wish:
            other, others = stacks.pop()
            wish, count = (wish * count + other * others) / (count + others), count + others
        stacks.append((wish, count))
    bottoms = [wish for wish, count in stacks for _ in range(count)]
    placed = [0.0] * len(wanted)
    below = 0.0
    for i, bottom in zip(order, bottoms, strict=True):
        placed[i] = max(min(bottom, high - sum(heights)), low) + below + heights[i] / 2
        below += heights[i]
    return placed


def _ticks(ends: tuple[float, float], locator: MaxNLocator) -> Ticks:
    """Round places between the ends of an axis, and their texts."""
    places = _inside(locator.tick_values(*ends), ends).tolist()
    step = round(places[1] - places[0], MOST_DECIMALS)
    decimals = len(f"{step:.{MOST_DECIMALS}f}".rstrip("0").partition(".")[2])
    return [(place, f"{place + 0.0:.{decimals}f}".replace("-", "\u2212")) for place in places]


def _between(ticks: Ticks, ends: tuple[float, float]) -> Floats:
    """Places of a finer grid: four parts from tick to tick where a tick is twice a power of ten, else five."""
    step = ticks[1][0] - ticks[0][0]
    fine = step / (4 if f"{step:e}"[0:3] == "2.0" else 5)
    return _inside(ticks[0][0] + fine * np.arange(-5, 5 * len(ticks) + 1), ends)


def _inside(places: ArrayLike, ends: tuple[float, float]) -> Floats:
    found, slack = _floats(places), 1e-9 * (ends[1] - ends[0])
    return found[(found >= ends[0] - slack) & (found <= ends[1] + slack)]


def _once(spec: ChartSpec, data: ChartData) -> Picture:
    chart = TimeChart(spec)
    return Picture(chart.draw(data), chart.alt(data), chart.size)


def _wrapped(text: str, room: float, size: float, bold: bool) -> str:
    """`text` broken at spaces into rows not wider than `room` [px], as far as its words allow."""
    rows: list[str] = []
    for word in text.split():
        longer = f"{rows[-1]} {word}" if rows else word
        if rows and extent(longer, size, bold)[0] <= room:
            rows[-1] = longer
        else:
            rows.append(word)
    return "\n".join(rows)


def _floats(values: ArrayLike) -> Floats:
    return np.asarray(values, dtype=np.float64)


def _shown(line: Line, x_range: tuple[float, float]) -> tuple[Floats, Floats]:
    times, values = _floats(line.times), _floats(line.values)
    keep = np.isfinite(values) & (times >= x_range[0]) & (times <= x_range[1])
    return times[keep], values[keep]


def _value_at(line: Line, x: float) -> float:
    times, values = _floats(line.times), _floats(line.values)
    return float(np.interp(x, times, values, left=np.nan, right=np.nan)) if times.size else float("nan")


def _end_of(line: Line) -> tuple[float, float]:
    times, values = _floats(line.times), _floats(line.values)
    good = np.flatnonzero(np.isfinite(values))
    return (float(times[good[-1]]), float(values[good[-1]])) if good.size else (float("nan"), float("nan"))
