"""The pictures of README and lessons: what the benches show when they open, the stations that come along, the devices.

Made by a command, never drawn by hand.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from toolkit.classroom import files
from toolkit.figures.chart import TimeChart
from toolkit.figures.device_drawings import DRAWINGS
from toolkit.figures.station import station_svg
from toolkit.panels import lesson_02, lesson_04
from toolkit.panels.bench import Bench, Shown
from toolkit.panels.station_view import station_view
from toolkit.simulation import simulate
from toolkit.station_file import shipped_station, shipped_stations


def opening(bench: Bench) -> Shown:
    """What a bench shows when it opens, in US units."""
    return bench.show(bench.start("us") | {"units": "us"})


def run(asked: argparse.Namespace) -> None:
    """Draw all images into `asked.folder`."""
    main(asked.folder)


def main(folder: Path) -> None:
    """Write regulator.svg, fouled_seat.svg with its chart, station_<name>.svg and device_<name>.svg into `folder`.

    A healthy regulator is that of lesson 02, a fouled one that of lesson 04, each at its bench's moment; a station is
    drawn at the start of its own run, up to the volume that its limits protect. The folder is made where it is missing.
    """
    healthy, fouled = opening(lesson_02.BENCH), opening(lesson_04.BENCH)
    for name, shown in (("regulator", healthy), ("fouled_seat", fouled)):
        _write(folder / f"{name}.svg", shown.drawing)
    _write(folder / "fouled_seat_chart.svg", TimeChart(fouled.spec).draw(fouled.chart))
    for station in map(shipped_station, shipped_stations()):
        if station.limits:
            view = station_view(simulate(station.scenario), 0.0, station.limits.at, "us", station.title)
            _write(folder / f"station_{station.name}.svg", station_svg(view, prefix=station.name))
    for name, drawn in DRAWINGS.items():
        _write(folder / f"device_{name}.svg", drawn.svg)


def _write(path: Path, svg: str) -> None:
    files.write(path, f"{svg}\n".encode())
