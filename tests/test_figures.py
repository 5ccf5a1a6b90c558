"""Charts: what is painted, in what order, where the labels stand, and the sentence that says the same."""

from io import BytesIO
from itertools import combinations, pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.image import imread

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

TIMES = np.linspace(0.0, 60.0, 600)
SPEC = ChartSpec((0.0, 60.0), (0.0, 28.0))
STEADY = Line("outlet", TIMES, np.full_like(TIMES, 7.0))
RUNAWAY = Line("outlet", TIMES, np.where(TIMES > 20, 7 + 35 * (1 - np.exp(-(TIMES - 20) / 4)), 7.0))


@pytest.fixture(scope="module")
def chart() -> TimeChart:
    return TimeChart(SPEC)


def pixels(png: bytes) -> np.ndarray:
    """Decoded by an independent reader; rows from the top, RGB 0 to 255."""
    return np.round(imread(BytesIO(png), format="png")[:, :, :3] * 255).astype(int)


def rgb(key: str) -> list[int]:
    code = COLOURS[key]
    return [int(code[i : i + 2], 16) for i in (1, 3, 5)]


def has_colour(picture: np.ndarray, key: str) -> bool:
    return bool((picture == rgb(key)).all(axis=2).any())


def overlapping(labels: list[PlacedLabel]) -> list[tuple[str, str]]:
    def meet(a: PlacedLabel, b: PlacedLabel) -> bool:
        return a.box[0] < b.box[2] and b.box[0] < a.box[2] and a.box[1] < b.box[3] and b.box[1] < a.box[3]

    return [(a.text, b.text) for a, b in combinations(labels, 2) if meet(a, b)]


def texts(chart: TimeChart) -> list[str]:
    return [label.text for label in chart.labels]


def test_a_picture_has_the_asked_size_and_is_the_same_each_time(chart: TimeChart) -> None:
    first = chart.draw(ChartData((STEADY,)))
    assert pixels(first).shape == (340, 760, 3)
    chart.draw(ChartData((RUNAWAY,), (Mark("relief opens", 16.0),), moment=30.0))
    assert chart.draw(ChartData((STEADY,))) == first, "something of the earlier picture was left"


def test_a_changed_trace_changes_the_plot_and_nothing_left_of_it(chart: TimeChart) -> None:
    a = pixels(chart.draw(ChartData((STEADY,))))
    b = pixels(chart.draw(ChartData((Line("outlet", TIMES, 7 + np.sin(TIMES)),))))
    changed = (a != b).any(axis=2)
    assert changed.sum() > 500
    assert not changed[:, : int(chart.plot[0]) - 2].any(), "the axis must not move"


def test_marks_are_painted_above_traces(chart: TimeChart) -> None:
    left, low, right, high = chart.plot
    row = 340 - (low + 7.0 / 28.0 * (high - low))
    column = int((left + right) / 2)
    middle = slice(int(row) - 2, int(row) + 3)
    bare = pixels(chart.draw(ChartData((STEADY,))))[middle, column]
    marked = pixels(chart.draw(ChartData((STEADY,), (Mark("set point", 7.0, "vermilion", "solid"),))))[middle, column]
    assert np.abs(bare - rgb("black")).sum(axis=1).min() < 30
    assert np.abs(marked - rgb("vermilion")).sum(axis=1).min() < 60


def test_traces_stand_at_their_values(chart: TimeChart) -> None:
    left, low, right, high = chart.plot
    ramp = Line("", [0.0, 60.0], [0.0, 28.0])
    picture = pixels(chart.draw(ChartData((ramp,))))
    for share in (0.25, 0.5, 0.75):
        x, y = left + share * (right - left), 340 - (low + share * (high - low))
        assert picture[int(y) - 2 : int(y) + 3, int(x)].min() < 60


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
    left, _, right, _ = chart.plot
    data = ChartData((Line("outlet", TIMES, np.full_like(TIMES, 14.0), "green"),), moment=45.0)
    plain = pixels(chart.draw(ChartData(data.lines)))
    changed = (pixels(chart.draw(data)) != plain).any(axis=2)
    columns = np.flatnonzero(changed[40:280].any(axis=0))
    assert abs(columns.mean() - (left + 0.75 * (right - left))) < 2
    assert "45 s" in texts(chart)


def test_a_trace_on_the_edge_has_not_left_the_picture() -> None:
    spec = ChartSpec((0, 10), (0, 30))
    for lowest, leaves in ((-0.001, False), (-0.5, True)):
        data = ChartData((Line("outlet", [0.0, 5.0, 10.0], [7.0, lowest, lowest]),))
        assert ("leaves the picture" in TimeChart(spec).alt(data)) == leaves


def test_a_log_scale_shows_the_callers_ticks_and_survives_zero() -> None:
    ticks = ((249.0, "1 in. w.c."), (6895.0, "1 psi"), (689476.0, "100 psi"))
    spec = ChartSpec((0.0, 60.0), (200.0, 7e5), y_scale="log", y_name="Pressure", y_unit="Pa", y_ticks=ticks)
    chart = TimeChart(spec)
    _, low, _, high = chart.plot
    geometric_mean = float(np.sqrt(200.0 * 7e5))
    picture = pixels(chart.draw(ChartData((Line("outlet", TIMES, np.full_like(TIMES, geometric_mean)),))))
    row = int(340 - (low + high) / 2)
    assert picture[row - 2 : row + 3, 300].min() < 60, "the geometric mean stands half-way up"
    chart.draw(ChartData((Line("outlet", TIMES, np.zeros_like(TIMES)),)))
    assert "off the picture: 0 Pa" in texts(chart)


def test_gaps_and_empty_traces_are_drawn_as_such(chart: TimeChart) -> None:
    left, low, right, high = chart.plot
    values = np.where((TIMES > 20) & (TIMES < 40), np.nan, 14.0)
    picture = pixels(chart.draw(ChartData((Line("outlet", TIMES, values), Line("none", [], [])))))
    row = int(340 - (low + high) / 2)
    at = {share: int(left + share * (right - left)) for share in (0.2, 0.45)}
    assert picture[row - 2 : row + 3, at[0.2]].min() < 60
    assert picture[row - 2 : row + 3, at[0.45]].min() > 150
    assert "none: nothing to show." in chart.alt(ChartData((Line("none", [], []),)))


def test_whatever_a_label_holds_is_text(chart: TimeChart) -> None:
    chart.draw(ChartData((Line("$\\frac{1}$ <b>", TIMES, np.full_like(TIMES, 7.0)),), (Mark("50 % & $x", 9.0),)))
    assert "$\\frac{1}$ <b>" in texts(chart)


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
    assert has_colour(pixels(chart.draw(data)), "black")
    assert "now" in texts(chart)
    assert "against flow, 0 to 1000 scfh." in chart.alt(data)


def test_comparison_shows_the_truth_solid_black_and_the_choice_dashed_vermilion() -> None:
    choice = Line("your choice", TIMES, np.full_like(TIMES, 14.0), "green", "dotted")
    picture = compare_chart(Line("what happened", TIMES, np.full_like(TIMES, 7.0), "blue"), choice, SPEC)
    shown = pixels(picture.png)
    assert picture.size == (760, 340)
    assert has_colour(shown, "black")
    assert has_colour(shown, "vermilion")
    assert not has_colour(shown, "green")
    assert "what happened: steady at 7." in picture.alt
    assert "your choice: steady at 14." in picture.alt


def test_a_trace_to_be_read_has_a_finer_grid() -> None:
    plain = TimeChart(ChartSpec((0.0, 60.0), (0.0, 28.0), event_rows=0))
    bare = pixels(plain.draw(ChartData((STEADY,))))
    fine = pixels(trace_picture((STEADY,), SPEC).png)
    row = int(340 - plain.plot[3]) + 20
    columns = slice(int(plain.plot[0]) + 2, int(plain.plot[2]) - 2)

    def grid_lines(picture: np.ndarray) -> int:
        ink = picture[row - 3 : row + 4, columns].mean(axis=(0, 2)) < 250
        return int((np.diff(ink.astype(int)) == 1).sum())

    assert grid_lines(fine) >= 50, "a grid line a second or finer over a minute"
    assert grid_lines(bare) < 15


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
