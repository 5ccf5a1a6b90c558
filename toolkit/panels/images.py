"""The pictures of the README: what the benches show when they open. Made by a command, never drawn by hand."""

from __future__ import annotations

from pathlib import Path

from toolkit.figures.chart import TimeChart
from toolkit.panels import lesson_02, lesson_04
from toolkit.panels.bench import Bench, Shown


def opening(bench: Bench) -> Shown:
    """What a bench shows when it opens, in US units."""
    return bench.show(bench.start("us") | {"units": "us"})


def main(folder: Path) -> None:
    """Write `regulator.svg`, `fouled_seat.svg` and `fouled_seat_chart.png` into `folder`, made where it is missing.

    A healthy regulator is that of lesson 02, a fouled one that of lesson 04, each at its bench's moment.
    """
    folder.mkdir(parents=True, exist_ok=True)
    healthy, fouled = opening(lesson_02.BENCH), opening(lesson_04.BENCH)
    for name, shown in (("regulator", healthy), ("fouled_seat", fouled)):
        (folder / f"{name}.svg").write_text(shown.drawing + "\n", encoding="utf-8", newline="\n")
    (folder / "fouled_seat_chart.png").write_bytes(TimeChart(fouled.spec).draw(fouled.chart))
