"""The surface that charts paint on, as SVG text: kept strokes and words, what is painted over them, extents of texts.

All places are pixels from the lower left corner; the picture's own run down from the upper left. Strokes come to the
page as numbers and are drawn there: sharp at any size, and a redraw packs and unpacks no pixels.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from toolkit.figures.parts import attribute, num, safe
from toolkit.figures.style import CARD, COLOURS, DASHES, FONT, INK, ColourKey, DashKey
from toolkit.figures.symbols_words import width as letters_wide

DPI: Final = 96  # CSS pixels: 24 pt on the projector are 32 px
PX_PER_PT: Final = DPI / 72.0
ROW: Final = 1.22  # height of a row of text, and its base line below the row's top, in letter sizes
BASE: Final = 0.78 * ROW
EDGE: Final = 4.0  # a text's card goes so far beyond its letters, left and right [px]

Floats = NDArray[np.float64]
Box = tuple[float, float, float, float]  # left, bottom, right, top [px]


class Surface:
    """A picture of `width` by `height` [px] whose still part is kept while the rest is painted anew."""

    def __init__(self, width: int, height: int) -> None:
        self.width, self.height = width, height
        self._still = ""
        self._parts: list[str] = []

    def keep(self) -> None:
        """Keep what is painted by now as the still part of all redraws."""
        self._still, self._parts = "".join(self._parts), []

    def restore(self) -> None:
        """Take away everything that was painted since `keep`."""
        self._parts = []

    def stroke(
        self, xs: ArrayLike, ys: ArrayLike, colour: str, dash: DashKey, width: float, clip: Box | None = None
    ) -> None:
        """Draw a line through `xs`, `ys` [px], `width` in points, cut off at `clip`; NaN leaves a gap."""
        places = np.column_stack([np.asarray(xs, dtype=float), np.asarray(ys, dtype=float)])
        if clip is not None:
            left, low, right, high = clip
            places = _within(_within(places, 1, low, high), 0, left, right)
        places[:, 1] = self.height - places[:, 1]
        self._draw(_way(places), colour, dash, width)

    def rule(
        self, start: tuple[float, float], end: tuple[float, float], colour: str, dash: DashKey, width: float
    ) -> None:
        """Draw a straight line from `start` to `end` [px], `width` in points."""
        (x, y), (to_x, to_y) = start, end
        self._draw(f"M{num(x)} {num(self._down(y))}L{num(to_x)} {num(self._down(to_y))}", colour, dash, width)

    def grid(self, places: ArrayLike, box: Box, upright: bool, colour: str, width: float) -> None:
        """Draw lines from edge to edge of `box` at `places` [px], upright or level, `width` in points."""
        left, low, right, high = (num(self._down(edge) if i % 2 else edge) for i, edge in enumerate(box))
        at = [num(place if upright else self._down(place)) for place in np.asarray(places, dtype=float).tolist()]
        way = "".join(f"M{place} {low}V{high}" if upright else f"M{left} {place}H{right}" for place in at)
        self._draw(way, colour, "solid", width)

    def dot(self, x: float, y: float, size: float, colour: str) -> None:
        """A filled round dot of `size` [pt] across, with a rim of the card's colour."""
        self._parts.append(
            f'<circle cx="{num(x)}" cy="{num(self._down(y))}" r="{num(size * PX_PER_PT / 2)}" '
            f'fill="{paint(colour)}" stroke="{CARD}"/>'
        )

    def arrow(self, x: float, y: float, size: float, colour: str, up: bool) -> None:
        """A filled triangle of `size` [pt] that points up or down; its tip is at `x`, `y`."""
        radius, back = size * PX_PER_PT / 2, 1.8 if up else -1.8
        self._parts.append(
            f'<path d="M{num(x)} {num(self._down(y))}l{num(-radius)} {num(back * radius)}h{num(2 * radius)}z" '
            f'fill="{paint(colour)}" stroke="{CARD}"/>'
        )

    def blank(self, box: Box) -> None:
        """Leave nothing to be seen in `box`."""
        left, low, right, high = box
        self._parts.append(
            f'<rect x="{num(left)}" y="{num(self._down(high))}" width="{num(right - left)}" '
            f'height="{num(high - low)}" fill="{CARD}"/>'
        )

    def text(self, left: float, middle: float, text: str, size: float, bold: bool = False, flag: bool = False) -> Box:
        """Write `text` (rows parted by newlines) of `size` [pt] from `left`, centred at the height `middle`.

        A nearly opaque card lies under it; a `flag` is white on black. Gives the box it takes.
        """
        width, height = extent(text, size, bold)
        # Rounded the same way everywhere, or stacked labels would overlap by a pixel.
        # Never beyond the picture: a label that is cut off is worse than one a few pixels from its place.
        x = float(min(max(math.floor(left + 0.5), 0), max(self.width - width, 0)))
        y = float(min(max(math.floor(self.height - middle - height / 2 + 0.5), 0), max(self.height - height, 0)))
        card, opaque, ink = (INK, "1", CARD) if flag else (CARD, "0.88", INK)
        self._parts.append(
            f'<rect x="{num(x)}" y="{num(y)}" width="{num(width)}" height="{num(height)}" fill="{card}" '
            f'fill-opacity="{opaque}"/>'
        )
        for row, line in enumerate(text.split("\n")):
            self._write(x + EDGE, y + 1 + (row * ROW + BASE) * size * PX_PER_PT, line, size, "start", bold, ink)
        return x, self.height - y - height, x + width, self.height - y

    def words(self, x: float, base: float, text: str, size: float, anchor: str, upwards: bool = False) -> None:
        """Write `text` of `size` [pt] on no card, from, around or up to `x` ("start", "middle", "end").

        It stands on the height `base`, or runs `upwards` with its base line at `x`, around the height `base`.
        """
        turn = f' transform="rotate(-90 {num(x)} {num(self._down(base))})"' if upwards else ""
        self._write(x, self._down(base), text, size, anchor, turn=turn)

    def svg(self, said: str) -> str:
        """The surface as it stands, with the sentence for those who do not see it."""
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="gp-chart" viewBox="0 0 {self.width} {self.height}" '
            f'width="{self.width}" height="{self.height}" role="img" '
            f'aria-label={attribute(said)} font-family="{FONT}, Verdana, sans-serif">'
            f'<rect width="{self.width}" height="{self.height}" fill="{CARD}"/>'
            f"{self._still}{''.join(self._parts)}</svg>"
        )

    def _down(self, y: float) -> float:
        return self.height - y

    def _draw(self, way: str, colour: str, dash: DashKey, width: float) -> None:
        px = width * PX_PER_PT
        dashes = f' stroke-dasharray="{" ".join(num(step * px) for step in DASHES[dash])}"' if DASHES[dash] else ""
        cap = "butt" if dashes else "round"
        self._parts.append(
            f'<path d="{way}" fill="none" stroke="{paint(colour)}" stroke-width="{num(px)}"{dashes} '
            f'stroke-linecap="{cap}" stroke-linejoin="round"/>'
        )

    def _write(
        self,
        x: float,
        base: float,
        text: str,
        size: float,
        anchor: str,
        bold: bool = False,
        ink: str = INK,
        turn: str = "",
    ) -> None:
        weight = ' font-weight="700"' if bold else ""
        self._parts.append(
            f'<text x="{num(x)}" y="{num(base)}" font-size="{num(size * PX_PER_PT)}" text-anchor="{anchor}"{weight} '
            f'fill="{ink}"{turn}>{safe(text)}</text>'
        )


def paint(colour: ColourKey | str) -> str:
    """The colour of a key of the style; a colour that is no key stands for itself."""
    return COLOURS.get(colour, colour)  # type: ignore[arg-type]


@lru_cache(maxsize=4096)
def extent(text: str, size: float, bold: bool = False) -> tuple[float, float]:
    """Width and height [px] that `text` of `size` [pt] takes with its card."""
    rows, letter = text.split("\n"), size * PX_PER_PT
    wide = max(letters_wide(row, letter, bold) for row in rows)
    return float(math.ceil(wide + 2 * EDGE)), float(math.ceil(len(rows) * letter * ROW + 2))


def _within(places: Floats, axis: int, low: float, high: float) -> Floats:
    """The line through `places` (points, 2) cut off where its coordinate `axis` leaves low..high: a gap beyond."""
    for bound in (low, high):
        before, behind = places[:-1], places[1:]
        a, b = before[:, axis] - bound, behind[:, axis] - bound
        crosses = np.flatnonzero(a * b < 0)
        if not crosses.size:
            continue
        share = (a[crosses] / (a[crosses] - b[crosses]))[:, None]
        edge = before[crosses] + share * (behind[crosses] - before[crosses])
        edge[:, axis] = bound
        places = np.insert(places, crosses + 1, edge, axis=0)
    beyond = (places[:, axis] < low) | (places[:, axis] > high)
    return np.where(beyond[:, None], np.nan, places)


def _way(places: Floats) -> str:
    """The path through `places` (points, 2) [px, down] to a tenth of a pixel; one that is no number leaves a gap."""
    good = np.isfinite(places).all(axis=1)
    shown = np.round(places[good], 1)
    begins = np.ones(len(shown), dtype=bool)  # of a stroke: at first, and after a gap
    begins[1:] = np.diff(np.flatnonzero(good)) > 1
    # a place that rounds to the one before it adds nothing that can be seen
    moved = begins.copy()
    moved[1:] |= (shown[1:] != shown[:-1]).any(axis=1)
    points = zip(begins[moved].tolist(), shown[moved].tolist(), strict=True)
    return "".join([f"{'M' if begin else 'L'}{x:.6g} {y:.6g}" for begin, (x, y) in points])
