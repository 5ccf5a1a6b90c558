"""Charts: what is painted, in what order, where the labels stand, and the sentence that says the same."""

import re
from dataclasses import dataclass
from itertools import combinations, pairwise
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolkit.figures.chart import (
    ChartData,
    ChartSpec,
    EventMarker,
    Line,
    Mark,
    PlacedLabel,
    Point,
    TimeChart,
    compare_chart,
    readable,
    spread,
    trace_picture,
)
from toolkit.figures.style import COLOURS, SIZES
from toolkit.figures.surface import EDGE, Surface, extent

TIMES = np.linspace(0.0, 60.0, 600)
SPEC = ChartSpec((0.0, 60.0), (0.0, 28.0))
STEADY = Line("outlet", TIMES, np.full_like(TIMES, 7.0))
RUNAWAY = Line("outlet", TIMES, np.where(TIMES > 20, 7 + 35 * (1 - np.exp(-(TIMES - 20) / 4)), 7.0))


@pytest.fixture(scope="module")
def chart() -> TimeChart:
    return TimeChart(SPEC)


@dataclass(frozen=True)
class Stroke:
    """A path of the picture: colour, whether it is dashed, and its unbroken ways as arrays (points, 2) [px, down]."""

    colour: str
    dashed: bool
    ways: list[np.ndarray]


def strokes(svg: str, colour: str | None = None) -> list[Stroke]:
    """The lines of a picture in the order in which they are painted, read by an independent reader; of one colour."""
    found = []
    for path in ElementTree.fromstring(svg).iter("{http://www.w3.org/2000/svg}path"):
        if path.get("fill") == "none":
            ways = [np.array(re.findall(r"[-\d.]+", way), dtype=float) for way in path.get("d", "").split("M")[1:]]
            # a line of the grid gives but one number for its other end
            pairs = [way.reshape(-1, 2) for way in ways if way.size % 2 == 0]
            found.append(Stroke(path.get("stroke", ""), bool(path.get("stroke-dasharray")), pairs))
    return [one for one in found if colour is None or one.colour == COLOURS[colour]]


def across(svg: str) -> list[Stroke]:
    """The lines of a trace or a mark that go from edge to edge, in the order in which they are painted."""
    lines = [one for one in strokes(svg) if one.colour in COLOURS.values() and len(one.ways) == 1]
    return [one for one in lines if np.ptp(one.ways[0][:, 0]) > 500]


def trace(svg: str, colour: str = "black") -> list[np.ndarray]:
    """The ways of the longest line of a colour."""
    return max(strokes(svg, colour), key=lambda one: sum(map(len, one.ways))).ways


def rgb(key: str) -> list[int]:
    code = COLOURS[key]
    return [int(code[i : i + 2], 16) for i in (1, 3, 5)]


def at(chart: TimeChart, x_share: float, y_share: float) -> tuple[float, float]:
    """The place [px, down] of shares of the plot's width and height."""
    left, low, right, high = chart.plot
    return left + x_share * (right - left), chart.size[1] - (low + y_share * (high - low))


def overlapping(labels: list[PlacedLabel]) -> list[tuple[str, str]]:
    def meet(a: PlacedLabel, b: PlacedLabel) -> bool:
        return a.box[0] < b.box[2] and b.box[0] < a.box[2] and a.box[1] < b.box[3] and b.box[1] < a.box[3]

    return [(a.text, b.text) for a, b in combinations(labels, 2) if meet(a, b)]


def texts(chart: TimeChart) -> list[str]:
    return [label.text for label in chart.labels]


def test_a_picture_has_the_asked_size_and_is_the_same_each_time(chart: TimeChart) -> None:
    first = chart.draw(ChartData((STEADY,)))
    root = ElementTree.fromstring(first)
    assert (root.get("width"), root.get("height"), root.get("viewBox")) == ("760", "340", "0 0 760 340")
    assert root.get("aria-label") == chart.alt(ChartData((STEADY,)))
    chart.draw(ChartData((RUNAWAY,), (Mark("relief opens", 16.0),), moment=30.0))
    assert chart.draw(ChartData((STEADY,))) == first, "something of the earlier picture was left"


def test_a_changed_trace_changes_its_line_and_nothing_of_the_axes(chart: TimeChart) -> None:
    steady = chart.draw(ChartData((STEADY,)))
    waving = chart.draw(ChartData((Line("outlet", TIMES, 7 + np.sin(TIMES)),)))
    (a,), (b,) = trace(steady), trace(waving)
    assert len(b) > 300
    assert np.ptp(a[:, 1]) == 0 < np.ptp(b[:, 1])
    still = [one.partition("<rect")[2].partition(f'stroke="{COLOURS["black"]}"')[0] for one in (steady, waving)]
    assert len(still[0]) > 1000
    assert still[0].rpartition("<path")[0] == still[1].rpartition("<path")[0], "the axes must not move"


def test_marks_are_painted_above_traces(chart: TimeChart) -> None:
    painted = across(chart.draw(ChartData((STEADY,), (Mark("set point", 7.0, "vermilion", "solid"),))))
    assert [one.colour for one in painted] == [COLOURS["black"], COLOURS["vermilion"]]


def test_traces_stand_at_their_values(chart: TimeChart) -> None:
    (ramp,) = trace(chart.draw(ChartData((Line("", np.linspace(0, 60, 5), np.linspace(0, 28, 5)),))))
    assert ramp == pytest.approx(np.array([at(chart, share, share) for share in (0, 0.25, 0.5, 0.75, 1)]), abs=0.051)


def test_a_trace_is_cut_off_where_it_leaves_the_picture_and_comes_back_where_it_returns(chart: TimeChart) -> None:
    # straight up through the top at 30 s, and down through the foot of 0 at 50 s
    out = Line("", [20.0, 40.0, 45.0, 55.0], [14.0, 42.0, 14.0, -14.0])
    ways = trace(chart.draw(ChartData((out,))))
    _, low, _, high = chart.plot
    top, foot = 340 - (high + 1), 340 - (low - 2)  # the line's own width may be seen beyond
    assert len(ways) == 2
    assert ways[0][0] == pytest.approx(at(chart, 20 / 60, 0.5), abs=0.051)
    rise = (high - low) / 20  # px a second; twice as steep on the way down
    assert ways[0][-1] == pytest.approx((at(chart, (30 + 1 / rise) / 60, 0)[0], top), abs=0.06)
    assert ways[1][0, 1] == pytest.approx(top, abs=0.051)
    assert ways[1][-1] == pytest.approx((at(chart, (50 + 1 / rise) / 60, 0)[0], foot), abs=0.06)
    early = trace(chart.draw(ChartData((Line("", [-60.0, 60.0], [0.0, 28.0]),))))
    assert early[0][0] == pytest.approx(at(chart, 0, 0.5), abs=0.051)


def test_what_cannot_be_seen_costs_nothing(chart: TimeChart) -> None:
    many = np.linspace(0, 60, 100_000)
    (way,) = trace(chart.draw(ChartData((Line("outlet", many, np.full_like(many, 7.0)),))))
    assert len(way) <= 10 * 760, "a point for each tenth of a pixel at most"


@pytest.mark.parametrize("view", ["desk", "projector"])
def test_labels_keep_clear_of_each_other_and_stay_on_the_picture(view: str) -> None:
    chart = TimeChart(ChartSpec((0.0, 60.0), (0.0, 28.0), view=view))
    lines = tuple(
        Line(f"trace {i}", TIMES, np.full_like(TIMES, 7.0 + 0.1 * i), colour)
        for i, colour in enumerate(["black", "blue", "green", "purple"])
    )
    marks = tuple(Mark(f"mark {i}", value) for i, value in enumerate([6.9, 7.0, 7.05, 7.9, 40.0, -3.0]))
    events = tuple(EventMarker(t, f"event at {t}") for t in (1.0, 2.0, 3.0, 20.0, 58.0, 59.0))
    chart.draw(ChartData(lines, marks, events))
    assert overlapping(chart.labels) == []
    width, height = chart.size
    assert all(b[0] >= 0 and b[2] <= width and b[1] >= 0 and b[3] <= height for b in (x.box for x in chart.labels))
    assert {"trace 0", "trace 3", "mark 0", "mark 4 ▲", "mark 5 ▼"} <= set(texts(chart))


def test_a_trace_beyond_the_range_is_said_at_the_edge(chart: TimeChart) -> None:
    chart.draw(ChartData((STEADY,)))
    assert not any("off the picture" in text for text in texts(chart))
    chart.draw(ChartData((RUNAWAY,)))
    assert "off the picture: 42 in. w.c." in texts(chart)
    assert "it leaves the picture at the top from 23.7 s" in chart.alt(ChartData((RUNAWAY,)))


def test_two_traces_beyond_the_range_are_named_one_under_the_other(chart: TimeChart) -> None:
    other = Line("interstage", TIMES, np.where(TIMES > 20, 55.0, 9.0), "blue", "dashed")
    chart.draw(ChartData((RUNAWAY, other)))
    notes = [label for label in chart.labels if "off the picture" in label.text]
    assert [note.text.split(" off")[0] for note in notes] == ["outlet", "interstage"]
    assert overlapping(notes) == []


def test_a_vacuum_is_said_at_the_lower_edge(chart: TimeChart) -> None:
    chart.draw(ChartData((Line("outlet", TIMES, 5 - TIMES / 6),)))
    note = next(label for label in chart.labels if "off the picture" in label.text)
    assert note.text == "off the picture: -5 in. w.c."
    assert note.box[3] < chart.plot[1] + 40


def test_the_cursor_stands_at_its_moment_with_a_dot_on_the_trace(chart: TimeChart) -> None:
    data = ChartData((Line("outlet", TIMES, np.full_like(TIMES, 14.0), "green"),), moment=45.0)
    picture = chart.draw(data)
    x, y = at(chart, 0.75, 0.5)
    cursor = [one.ways[0] for one in strokes(picture, "black") if np.ptp(one.ways[0][:, 0]) == 0]
    assert cursor[0][:, 0] == pytest.approx(x, abs=0.051)
    (dot,) = ElementTree.fromstring(picture).iter("{http://www.w3.org/2000/svg}circle")
    assert (float(dot.get("cx", "")), float(dot.get("cy", ""))) == pytest.approx((x, y), abs=0.006)
    assert dot.get("fill") == COLOURS["green"]
    assert "45 s" in texts(chart)


@pytest.mark.parametrize("view", ["desk", "projector"])
def test_the_cursors_flag_leaves_no_number_in_part(view: str) -> None:
    chart = TimeChart(ChartSpec((0.0, 10.0), (0.0, 28.0), x_unit="min", view=view))
    root = ElementTree.fromstring(chart.draw(ChartData((STEADY,), moment=6.1, moment_text="6 min 06 s")))
    parts = list(root)
    number = next(part for part in parts if part.text == "6")
    left, top = float(number.get("x", "")), float(number.get("y", ""))
    covers = [
        part
        for part in parts[parts.index(number) :]
        if part.tag.endswith("rect") and part.get("fill") == "#FFFFFF" and not part.get("fill-opacity")
    ]
    assert any(
        float(one.get("x", "")) < left < float(one.get("x", "")) + float(one.get("width", ""))
        and float(one.get("y", "")) < top <= float(one.get("y", "")) + float(one.get("height", ""))
        for one in covers
    )
    far = next(part for part in parts if part.text == "2")
    assert not any(abs(float(one.get("x", "")) - float(far.get("x", ""))) < 20 for one in covers)


def test_a_trace_on_the_edge_has_not_left_the_picture() -> None:
    spec = ChartSpec((0, 10), (0, 30))
    for lowest, leaves in ((-0.001, False), (-0.5, True)):
        data = ChartData((Line("outlet", [0.0, 5.0, 10.0], [7.0, lowest, lowest]),))
        assert ("leaves the picture" in TimeChart(spec).alt(data)) == leaves


def test_a_log_scale_shows_the_callers_ticks_and_survives_zero() -> None:
    ticks = ((249.0, "1 in. w.c."), (6895.0, "1 psi"), (689476.0, "100 psi"))
    spec = ChartSpec((0.0, 60.0), (200.0, 7e5), y_scale="log", y_name="Pressure", y_unit="Pa", y_ticks=ticks)
    chart = TimeChart(spec)
    geometric_mean = float(np.sqrt(200.0 * 7e5))
    picture = chart.draw(ChartData((Line("outlet", TIMES, np.full_like(TIMES, geometric_mean)),)))
    assert trace(picture)[0][:, 1] == pytest.approx(at(chart, 0, 0.5)[1], abs=0.051), "half-way up"
    assert all(f">{text}</text>" in picture for _, text in ticks)
    chart.draw(ChartData((Line("outlet", TIMES, np.zeros_like(TIMES)),)))
    assert "off the picture: 0 Pa" in texts(chart)


def test_gaps_and_empty_traces_are_drawn_as_such(chart: TimeChart) -> None:
    values = np.where((TIMES > 20) & (TIMES < 40), np.nan, 14.0)
    before, behind = trace(chart.draw(ChartData((Line("outlet", TIMES, values), Line("none", [], [])))))
    assert before[-1, 0] == pytest.approx(at(chart, 20 / 60, 0)[0], abs=1.0)
    assert behind[0, 0] == pytest.approx(at(chart, 40 / 60, 0)[0], abs=1.0)
    assert "none: nothing to show." in chart.alt(ChartData((Line("none", [], []),)))


def test_whatever_a_label_holds_is_text(chart: TimeChart) -> None:
    told = '$\\frac{1}$ <b> "\x00'
    picture = chart.draw(ChartData((Line(told, TIMES, np.full_like(TIMES, 7.0)),), (Mark("50 % & $x", 9.0),)))
    assert told in texts(chart)
    written = [one.text for one in ElementTree.fromstring(picture).iter("{http://www.w3.org/2000/svg}text")]
    assert {told.replace("\x00", "\ufffd"), "50 % & $x"} <= set(written)


def test_the_sentence_says_what_the_picture_shows(chart: TimeChart) -> None:
    data = ChartData(
        (STEADY, RUNAWAY),
        (Mark("relief opens", 16.0),),
        (EventMarker(20.0, "chip on the seat"),),
        (Point("now", 30.0, 7.0),),
        moment=30.0,
    )
    said = chart.alt(data)
    assert said.startswith("Outlet pressure (in. w.c.) against time, 0 to 60 s.")
    for words in (
        "outlet: steady at 7.",
        "7 at the start, highest 42 at 60 s, lowest 7 at 0 s, 42 at the end",
        "Marks: relief opens at 16.",
        "Events: chip on the seat at 20 s.",
        "now: 7 in. w.c. at 30 s.",
        "The cursor stands at 30 s.",
    ):
        assert words in said


def test_a_flow_curve_is_the_same_chart_with_flow_along_it() -> None:
    chart = TimeChart(ChartSpec((0.0, 1000.0), (0.0, 10.0), x_name="Flow", x_unit="scfh", event_rows=0))
    flows = np.linspace(0, 800, 50)
    data = ChartData((Line("60 psig at the inlet", flows, 8 - flows / 400),), points=(Point("now", 200.0, 7.5),))
    assert trace(chart.draw(data))[0][0] == pytest.approx(at(chart, 0, 0.8), abs=0.051)
    assert "now" in texts(chart)
    assert "against flow, 0 to 1000 scfh." in chart.alt(data)


def test_comparison_shows_the_truth_solid_black_and_the_choice_dashed_vermilion() -> None:
    choice = Line("your choice", TIMES, np.full_like(TIMES, 14.0), "green", "dotted")
    picture = compare_chart(Line("what happened", TIMES, np.full_like(TIMES, 7.0), "blue"), choice, SPEC)
    assert picture.size == (760, 340)
    painted = [(one.colour, one.dashed) for one in across(picture.svg)]
    assert painted == [(COLOURS["black"], False), (COLOURS["vermilion"], True)]
    assert "what happened: steady at 7." in picture.alt
    assert "your choice: steady at 14." in picture.alt


def test_a_trace_to_be_read_has_a_finer_grid() -> None:
    def upright(picture: str) -> set[str]:
        return set(re.findall(r"M([\d.]+) [\d.]+V", picture))

    fine = trace_picture((STEADY,), SPEC).svg
    bare = TimeChart(ChartSpec((0.0, 60.0), (0.0, 28.0), event_rows=0)).draw(ChartData((STEADY,)))
    assert len(upright(fine)) >= 50, "a grid line a second or finer over a minute"
    assert len(upright(bare)) < 15


def test_the_grid_stays_within_the_plot() -> None:
    ticks = ((249.0, "1 in. w.c."), (6895.0, "1 psi"), (689476.0, "100 psi"))
    for extra in ({}, {"y_range": (200.0, 7e5), "y_scale": "log", "y_ticks": ticks}):
        chart = TimeChart(ChartSpec(**{"x_range": (3.0, 58.0), "y_range": (0.3, 28.0), "fine_grid": True} | extra))
        left, low, right, high = chart.plot
        picture = chart.draw(ChartData(()))
        xs = [float(x) for x in re.findall(r"M([\d.]+) [\d.]+V", picture)]
        ys = [340 - float(y) for y in re.findall(r"M[\d.]+ ([\d.]+)H", picture)]
        assert left - 0.01 <= min(xs) <= max(xs) <= right + 0.01
        assert low - 0.01 <= min(ys) <= max(ys) <= high + 0.01


@pytest.mark.parametrize(
    ("ends", "texts"),
    [
        ((0.0, 28.0), ["0", "5", "10", "15", "20", "25"]),
        ((-0.6, 0.6), ["\u22120.6", "\u22120.4", "\u22120.2", "0.0", "0.2", "0.4", "0.6"]),
        ((0.0, 15.0), ["0.0", "2.5", "5.0", "7.5", "10.0", "12.5", "15.0"]),
    ],
)
def test_ticks_stand_at_round_numbers_with_the_same_decimals(ends: tuple[float, float], texts: list[str]) -> None:
    up = TimeChart(ChartSpec((0.0, 60.0), ends)).ticks()[1]
    assert [text for _, text in up] == texts
    assert [float(text.replace("\u2212", "-")) for text in texts] == pytest.approx([y for y, _ in up])


def test_no_word_over_a_chart_is_struck_out_by_a_line(chart: TimeChart) -> None:
    events = tuple(EventMarker(t, f"something happens at {t:.0f}") for t in (10.0, 20.0, 30.0))
    picture = chart.draw(ChartData((STEADY,), events=events))
    last_line = picture.rindex("stroke-dasharray")
    written = [label.text for label in chart.labels if label.text in {event.label for event in events}]
    assert len(written) >= 2
    assert all(picture.index(f">{text}</text>") > last_line for text in written)


def test_what_the_day_brings_gives_way_to_what_a_layer_does(chart: TimeChart) -> None:
    day = tuple(EventMarker(t, f"burners at {t:.0f}", minor=True) for t in (10.0, 11.0, 12.0, 13.0))
    trip = EventMarker(14.0, "slam-shut trips")
    chart.draw(ChartData((STEADY,), events=(*day, trip)))
    written = [label.text for label in chart.labels]
    assert trip.label in written
    assert sum(one.label in written for one in day) == chart.spec.event_rows - 1
    # where there is room on the left of a greater one, it is used
    late = EventMarker(55.0, "slam-shut trips")
    chart.draw(ChartData((STEADY,), events=(*day[:1], late)))
    assert {day[0].label, late.label} <= {label.text for label in chart.labels}


@given(st.text(alphabet="abcdefghijklmnopqrstuvwxyz ABC.,0123456789%▲▼", min_size=1, max_size=40), st.booleans())
@settings(derandomize=True)
def test_a_text_takes_the_room_of_its_letters(text: str, bold: bool) -> None:
    # a text set twice as large is twice as wide, and two texts in a row as wide as both
    one, _ = extent(text, 10.0, bold)
    assert extent(text, 20.0, bold)[0] - 2 * EDGE == pytest.approx(2 * (one - 2 * EDGE), abs=3.0)
    both, tall = extent(f"{text}\n{text}", 10.0, bold)
    assert both == one
    assert tall == pytest.approx(2 * extent(text, 10.0, bold)[1], abs=3.0)


def test_the_pictures_font_gives_the_width_of_its_letters() -> None:
    # DejaVu Sans: 2048 units an em, "0" 1303 wide, "W" 2025 (its hmtx table, read with fontTools)
    for letters, units in (("0", 1303), ("W", 2025)):
        assert extent(letters * 40, 72.0)[0] - 2 * EDGE == pytest.approx(40 * units / 2048 * 96, rel=0.01)


def test_a_surface_keeps_what_stands_still_alone() -> None:
    surface = Surface(100, 50)
    surface.stroke([0, 10], [0, 10], "blue", "solid", 1.0)
    surface.keep()
    kept = surface.svg("still")
    surface.dot(5, 5, 3, "green")
    assert surface.svg("still") != kept
    surface.restore()
    assert surface.svg("still") == kept


boxes = st.lists(st.tuples(st.floats(-50, 400), st.floats(5, 30)), min_size=1, max_size=10)


@given(boxes)
@settings(derandomize=True)
def test_spread_boxes_never_overlap_and_keep_their_order(wishes: list[tuple[float, float]]) -> None:
    wanted, heights = [w for w, _ in wishes], [h for _, h in wishes]
    placed = spread(wanted, heights, 0.0, 340.0)
    order = sorted(range(len(wanted)), key=lambda i: placed[i])
    for a, b in pairwise(order):
        assert placed[a] + heights[a] / 2 <= placed[b] - heights[b] / 2 + 1e-9
        assert wanted[a] <= wanted[b]
    assert all(p - h / 2 >= -1e-9 and p + h / 2 <= 340 + 1e-9 for p, h in zip(placed, heights, strict=True))


def test_spread_leaves_alone_what_is_clear_and_centres_what_is_not() -> None:
    assert spread([50.0, 100.0], [10.0, 10.0], 0.0, 340.0) == [50.0, 100.0]
    assert spread([100.0, 100.0], [10.0, 10.0], 0.0, 340.0) == [95.0, 105.0]


@pytest.mark.parametrize(
    ("value", "text"), [(16.0, "16"), (7.25, "7.25"), (1204.3, "1204"), (-0.001, "0"), (100.0, "100"), (10.0, "10")]
)
def test_numbers_are_written_as_a_gauge_would_show_them(value: float, text: str) -> None:
    assert readable(value) == text


@pytest.mark.parametrize("key", COLOURS)
def test_line_colours_reach_three_to_one_on_white(key: str) -> None:
    # Contrast ratio and relative luminance: WCAG 2.1; 3:1 for graphical objects: its success criterion 1.4.11.
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in (v / 255 for v in rgb(key))]
    luminance = sum(weight * c for weight, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))
    assert 1.05 / (luminance + 0.05) >= 3.0


def test_the_projector_writes_in_24_points() -> None:
    assert SIZES["projector"].text == 24.0
