"""The ladder: set points, trips and limits of one place as rungs at their heights, and the pressure now beside them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from toolkit.figures.chart import spread
from toolkit.figures.parts import EDGE, LOOKS, attribute, num, share, tint, words
from toolkit.figures.style import CARD, COLOURS, DASHES, INK, ColourKey, DashKey, ViewMode
from toolkit.figures.symbols_words import rows as text_rows

Role = Literal["holds", "locks up", "acts", "stops", "limit"]

WIDTH, HEIGHT = 340.0, 372.0
# The scale stands here, with room above for the title and below for its foot.
LEFT, RIGHT, TOP, FOOT = 64.0, 112.0, 34.0, 348.0
LABEL, MOST_ROWS = 136.0, 3

# How a rung looks by what it does: holds the pressure, passes or stops gas, is not to be passed.
LOOK_OF: Final[dict[Role, tuple[ColourKey, DashKey]]] = {
    "holds": ("green", "dashed"),
    "locks up": ("black", "dotted"),
    "acts": ("purple", "dashdot"),
    "stops": ("blue", "solid"),
    "limit": ("vermilion", "dashed"),
}


@dataclass(frozen=True)
class RungView:
    """One rung: its words, its reading with unit, its height and the edges of its band (any one unit), its role."""

    words: str
    reading: str
    height: float
    low: float
    high: float
    role: Role


@dataclass(frozen=True)
class LadderView:
    """The rungs, the height at the top of the scale (0 is its foot), and the pressure now with its reading."""

    title: str
    rungs: tuple[RungView, ...]
    top: float
    now: float
    now_reading: str
    view: ViewMode = "desk"


def ladder_svg(view: LadderView) -> str:
    """The ladder as an SVG picture with a sentence for those who do not see it. Rungs beyond the top stand at it."""
    look = LOOKS[view.view]
    size = look.text * 0.86

    def y(height: float) -> float:
        return FOOT - share(height / view.top) * (FOOT - TOP)

    ordered = sorted(view.rungs, key=lambda rung: rung.height)
    rows = [text_rows(f"{rung.words} {rung.reading}", WIDTH - LABEL - 4, size, MOST_ROWS) for rung in ordered]
    heights = [len(lines) * size * 1.2 + 3 for lines in rows]
    # y runs downwards and the spreading upwards
    places = [-p for p in spread([-y(rung.height) for rung in ordered], heights, -HEIGHT + 4, -TOP + 12)]
    parts = [
        f'<rect width="{num(WIDTH)}" height="{num(HEIGHT)}" rx="6" fill="{CARD}"/>',
        words(8, 18, view.title, look.text, bold=True),
        f'<path d="M{LEFT} {TOP}V{FOOT}M{RIGHT} {TOP}V{FOOT}" stroke="{EDGE}" stroke-width="{num(3 * look.line)}"/>',
        f'<rect x="{LEFT}" y="{num(y(view.now))}" width="{RIGHT - LEFT}" height="{num(FOOT - y(view.now))}" '
        f'fill="{tint(0.8)}" data-part="gas"/>',
    ]
    for rung, lines, middle in zip(ordered, rows, places, strict=True):
        colour, dash = LOOK_OF[rung.role]
        dashes = f' stroke-dasharray="{" ".join(num(2 * d) for d in DASHES[dash])}"' if DASHES[dash] else ""
        stroke = f'fill="none" stroke="{COLOURS[colour]}"'
        at, high, low = y(rung.height), y(rung.high), y(rung.low)
        if low - high > 1:
            parts.append(
                f'<rect x="{LEFT}" y="{num(high)}" width="{RIGHT - LEFT}" height="{num(low - high)}" '
                f'fill="{COLOURS[colour]}" fill-opacity="0.18"/>'
            )
        parts.append(
            f'<path d="M{LEFT} {num(at)}H{RIGHT}" {stroke} stroke-width="{num(2.6 * look.line)}"{dashes} '
            f"data-part={attribute(rung.words)}/>"
            f'<path d="M{RIGHT} {num(at)}L{num(LABEL - 5)} {num(middle)}" {stroke} stroke-width="{num(look.line)}"/>'
        )
        first = middle - (len(lines) - 1) * size * 0.6 + size * 0.35
        beyond = " \u25b2" if rung.height > view.top else ""
        for row, line in enumerate(lines):
            end = beyond if row == len(lines) - 1 else ""
            parts.append(words(LABEL, first + row * size * 1.2, line + end, size))
    pointer = y(view.now)
    parts.append(
        f'<path d="M{LEFT - 2} {num(pointer)}l-12 -7v14z" fill="{INK}"/>'
        f'<path d="M{LEFT} {num(pointer)}H{RIGHT}" stroke="{INK}" stroke-width="{num(2 * look.line)}"/>'
    )
    number, _, unit = view.now_reading.partition(" ")
    parts.append(words(LEFT - 17, pointer + 1, number, look.text, "end", bold=True))
    parts.append(words(LEFT - 17, pointer + size * 1.1, unit, size * 0.85, "end"))
    said = ladder_words(view)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {num(WIDTH)} {num(HEIGHT)}" role="img" '
        f'aria-label={attribute(said)} font-family="DejaVu Sans, Verdana, sans-serif">{"".join(parts)}</svg>'
    )


def ladder_words(view: LadderView) -> str:
    """What the ladder shows, in words, lowest rung first."""
    rungs = "; ".join(f"{r.words} {r.reading}" for r in sorted(view.rungs, key=lambda rung: rung.height))
    return f"{view.title}: the pressure stands at {view.now_reading}. From the lowest up: {rungs}."
