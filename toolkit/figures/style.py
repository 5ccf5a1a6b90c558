"""One look for all pictures: colours, dashes, sizes for the desk and for the projector.

Colour is never alone: every line also has a dash pattern and its name at its end.
Pictures bring their own white card, so they stay legible on a dark page.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

ColourKey = Literal["black", "blue", "vermilion", "green", "purple"]
DashKey = Literal["solid", "dashed", "dotted", "dashdot"]
ViewMode = Literal["desk", "projector"]

# Okabe and Ito (2008), Color Universal Design. Only those of the set that reach 3:1 against white as lines.
COLOURS: Final[dict[ColourKey, str]] = {
    "black": "#000000",
    "blue": "#0072B2",
    "vermilion": "#D55E00",
    "green": "#009E73",
    "purple": "#CC79A7",
}

# Lengths on and off, in line widths.
DASHES: Final[dict[DashKey, tuple[float, ...]]] = {
    "solid": (),
    "dashed": (5.0, 2.4),
    "dotted": (1.2, 1.8),
    "dashdot": (6.0, 1.8, 1.2, 1.8),
}

CARD: Final = "#FFFFFF"
INK: Final = "#000000"
GRID: Final = "#D4D9DF"
FINE_GRID: Final = "#ECEFF2"
AXIS: Final = "#5A626B"
FONT: Final = "DejaVu Sans"  # comes with matplotlib, so a chart is the same on every machine


@dataclass(frozen=True)
class Sizes:
    """Sizes of one view: text in points, line widths in points, a chart's size and margins in pixels at 96 an inch."""

    text: float
    trace: float
    mark: float
    thin: float
    chart: tuple[int, int]
    left: int
    right: int
    bottom: int
    top: int


SIZES: Final[dict[ViewMode, Sizes]] = {
    "desk": Sizes(text=9.5, trace=2.0, mark=1.3, thin=0.9, chart=(760, 340), left=66, right=178, bottom=50, top=14),
    "projector": Sizes(
        text=24.0, trace=4.5, mark=3.0, thin=2.0, chart=(1280, 640), left=148, right=370, bottom=124, top=24
    ),
}
