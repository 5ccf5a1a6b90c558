"""The surface that charts paint on: a kept background, strokes, shapes, texts, and the PNG.

All places are pixels from the lower left corner. matplotlib's own renderer draws the strokes; texts are drawn once and
kept as small pictures, because drawing a text takes longer than all traces of a chart together.
"""

from __future__ import annotations

import math
import struct
import zlib
from functools import lru_cache
from typing import Any, Final

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.path import Path
from matplotlib.transforms import Bbox, IdentityTransform
from numpy.typing import ArrayLike, NDArray

from toolkit.figures.style import CARD, COLOURS, DASHES, FONT, INK, ColourKey, DashKey

DPI: Final = 96  # CSS pixels: 24 pt on the projector are 32 px
PX_PER_PT: Final = DPI / 72.0

Box = tuple[float, float, float, float]  # left, bottom, right, top [px]


class Surface:
    """A figure of `width` by `height` [px] whose static part is kept and restored before each redraw."""

    def __init__(self, width: int, height: int) -> None:
        self.width, self.height = width, height
        self.figure = Figure(figsize=(width / DPI, height / DPI), dpi=DPI, facecolor=CARD)
        self._canvas: Any = FigureCanvasAgg(self.figure)  # the stubs leave its methods untyped
        self._renderer: Any = None
        self._background: Any = None

    def keep(self) -> None:
        """Draw the figure's own artists and keep them as the background of all redraws."""
        self._canvas.draw()
        self._background = self._canvas.copy_from_bbox(self.figure.bbox)
        self._renderer = self._canvas.get_renderer()

    def restore(self) -> None:
        """Take away everything that was painted since `keep`."""
        self._canvas.restore_region(self._background)

    def stroke(
        self, xs: ArrayLike, ys: ArrayLike, colour: str, dash: DashKey, width: float, clip: Box | None = None
    ) -> None:
        """Draw a line through `xs`, `ys` [px], `width` in points, cut off at `clip`; NaN leaves a gap."""
        path = Path(np.column_stack([np.asarray(xs, dtype=float), np.asarray(ys, dtype=float)]))
        context = self._context(colour, width)
        if DASHES[dash]:
            context.set_dashes(0.0, [step * width for step in DASHES[dash]])
            context.set_capstyle("butt")
        if clip is not None:
            context.set_clip_rectangle(Bbox.from_extents(*clip))
        self._renderer.draw_path(context, path, IdentityTransform())
        context.restore()

    def dot(self, x: float, y: float, size: float, colour: str) -> None:
        """A filled round dot of `size` [pt] across, with a rim of the card's colour."""
        self._fill(_circle(), x, y, size * PX_PER_PT / 2, colour)

    def arrow(self, x: float, y: float, size: float, colour: str, up: bool) -> None:
        """A filled triangle of `size` [pt] that points up or down; its tip is at `x`, `y`."""
        radius = size * PX_PER_PT / 2
        self._fill(Path([(0, 0), (-1, -1.8), (1, -1.8), (0, 0)], closed=True), x, y, radius, colour, 1 if up else -1)

    def text(self, left: float, middle: float, text: str, size: float, bold: bool = False, flag: bool = False) -> Box:
        """Write `text` (rows parted by newlines) of `size` [pt] from `left`, centred at the height `middle`.

        A nearly opaque card lies under it; a `flag` is white on black. Gives the box it takes.
        """
        ink = sprite(text, size, bold)
        height, width = ink.shape
        # Rounded the same way everywhere, or stacked labels would overlap by a pixel.
        # Never beyond the picture: a label that is cut off is worse than one a few pixels from its place.
        x = min(max(math.floor(left + 0.5), 0), max(self.width - width, 0))
        y = min(max(math.floor(self.height - middle - height / 2 + 0.5), 0), max(self.height - height, 0))
        pixels = np.asarray(self._canvas.buffer_rgba())[y : y + height, x : x + width, :3]
        shown = ink[: pixels.shape[0], : pixels.shape[1], None]
        if flag:
            pixels[:] = 255 - shown
        else:
            pixels[:] = np.minimum(pixels // 8 + 224, shown)
        return float(x), float(self.height - y - height), float(x + width), float(self.height - y)

    def png(self) -> bytes:
        """The surface as it stands, as an RGB PNG (ISO/IEC 15948)."""
        pixels = np.asarray(self._canvas.buffer_rgba())[:, :, :3]
        height, width = pixels.shape[:2]
        rows = np.zeros((height, 1 + 3 * width), dtype=np.uint8)  # each row begins with its filter type, 0: none
        rows[:, 1:] = pixels.reshape(height, 3 * width)
        header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
        # Level 1: a chart goes to the page of the same machine, so time counts and size does not.
        body = zlib.compress(rows.tobytes(), 1)
        return b"\x89PNG\r\n\x1a\n" + _chunk(b"IHDR", header) + _chunk(b"IDAT", body) + _chunk(b"IEND", b"")

    def _context(self, colour: str, width: float) -> Any:
        context = self._renderer.new_gc()
        context.set_foreground(paint(colour))
        context.set_linewidth(width * PX_PER_PT)
        context.set_joinstyle("round")
        context.set_capstyle("round")
        return context

    def _fill(self, path: Path, x: float, y: float, radius: float, colour: str, sign: int = 1) -> None:
        context = self._context(CARD, 1.0)
        vertices = np.asarray(path.vertices) * (radius, radius * sign) + (x, y)
        self._renderer.draw_path(context, Path(vertices, path.codes), IdentityTransform(), to_rgb(paint(colour)))
        context.restore()


def paint(colour: ColourKey | str) -> str:
    """The colour of a key of the style; a colour that is no key stands for itself."""
    return COLOURS.get(colour, colour)  # type: ignore[arg-type]


def extent(text: str, size: float, bold: bool = False) -> tuple[float, float]:
    """Width and height [px] that `text` of `size` [pt] takes."""
    height, width = sprite(text, size, bold).shape
    return float(width), float(height)


@lru_cache(maxsize=1024)
def sprite(text: str, size: float, bold: bool) -> NDArray[np.uint8]:
    """`text` as a grey picture (rows, columns), 255 where there is no ink. Read only: it is shared."""
    rows = text.split("\n")
    row_height = size * PX_PER_PT * 1.22
    width = int(size * PX_PER_PT * (max(len(row) for row in rows) * 1.2 + 2))
    height = int(len(rows) * row_height + 2)
    figure = Figure(figsize=(width / DPI, height / DPI), dpi=DPI, facecolor="white")
    canvas: Any = FigureCanvasAgg(figure)
    font = FontProperties(family=FONT, size=size, weight="bold" if bold else "normal")
    for i, row in enumerate(rows):
        base = 1 - (1 + row_height * (i + 0.78)) / height
        # Whatever a label holds is text: a dollar sign starts no formula.
        figure.text(4 / width, base, row, fontproperties=font, color=INK, va="baseline", parse_math=False)
    canvas.draw()
    grey = np.asarray(canvas.buffer_rgba())[:, :, 0]
    used = np.flatnonzero((grey < 250).any(axis=0))
    right = int(used[-1]) + 4 if used.size else 8
    picture = grey[:, :right].copy()
    picture.setflags(write=False)
    return picture


@lru_cache(maxsize=1)
def _circle() -> Path:
    return Path.unit_circle()


def _chunk(name: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
