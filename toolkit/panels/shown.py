"""What a bench gives for its settings: pictures and words, ready to be put on a page."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from toolkit.figures.data import ChartData, ChartSpec

# SI values by the key of their control.
Settings = Mapping[str, Any]


@dataclass(frozen=True)
class Shown:
    """What a panel shows of a run at a moment.

    `drawing` is an SVG string; `chart` what changes on the chart and `spec` what stands still; `readouts` are
    (name, text) pairs; `sentence` says the run in words; `events` are (time, sentence) pairs; `ladder` is the SVG
    string of the set points, or nothing.
    """

    drawing: str
    spec: ChartSpec
    chart: ChartData
    readouts: tuple[tuple[str, str], ...]
    sentence: str
    events: tuple[tuple[str, str], ...] = ()
    ladder: str = ""
