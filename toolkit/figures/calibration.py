"""The calibration picture: the points that were given against how often they were on the true suspect."""

from __future__ import annotations

from collections.abc import Sequence

from toolkit.figures.chart import ChartData, ChartSpec, Line, Picture, Point, TimeChart

SIZE = (620, 360)


def calibration_picture(bins: Sequence[tuple[float, int, int]]) -> Picture:
    """Draw bins of (mean points 0 to 100, how many statements, how many of them true), each with its n.

    The dashed line is where points and truth agree.
    """
    spec = ChartSpec(
        (0.0, 100.0),
        (0.0, 105.0),
        x_name="Points given",
        x_unit="of 100",
        y_name="True",
        y_unit="%",
        size=SIZE,
        event_rows=0,
    )
    data = ChartData(
        (Line("as often as said", (0.0, 100.0), (0.0, 100.0), dash="dashed"),),
        points=tuple(Point(f"n = {count}", said, 100.0 * true / count, "blue") for said, count, true in bins),
    )
    chart = TimeChart(spec)
    return Picture(chart.draw(data), chart.alt(data), chart.size)
