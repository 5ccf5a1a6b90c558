"""Pieces that several cut-open devices share: dome and diaphragm, a body with its web, a disk, a tube, a cock.

Each function gives a piece of SVG at the place it is told, like those of parts.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from toolkit.figures import parts
from toolkit.figures.parts import EDGE, RUBBER, STEEL, WALL, WALL_WIDTH, WARN, Point, num
from toolkit.figures.style import CARD, INK

BORE: Final = 32.0  # of the main pipe
TUBE: Final = 9.0  # outer width of a sensing line
DISK: Final = 11.0  # thickness of a disk with its rubber
RUBBER_FACE: Final = 5.0


@dataclass(frozen=True)
class Dome:
    """A dome in two rooms, parted by the diaphragm: heights of its parts, and half their widths about `x`."""

    x: float
    top: float  # of the tower for the spring
    shoulder: float
    flange: float
    low: float
    half: float
    tower: float
    plate: float  # half width of the diaphragm's plate

    @property
    def ring(self) -> float:
        """Width of the diaphragm's flexible ring."""
        return self.half - self.plate


def dome(d: Dome, plate: float, under: str, over: str, hump: float = 9.0) -> str:
    """Walls and gas of a dome whose diaphragm's middle stands at the height `plate`; `under` and `over` are fills."""
    left, right = d.x - d.half, d.x + d.half
    lower = (
        f"M{num(left)} {num(d.flange)}V{num(d.low - 10)}Q{num(left)} {num(d.low)} {num(left + 10)} {num(d.low)}"
        f"H{num(right - 10)}Q{num(right)} {num(d.low)} {num(right)} {num(d.low - 10)}V{num(d.flange)}"
    )
    upper = (
        f"M{num(left)} {num(d.flange)}V{num(d.shoulder + 12)}Q{num(left)} {num(d.shoulder)} {num(left + 12)} "
        f"{num(d.shoulder)}H{num(d.x - d.tower)}V{num(d.top)}H{num(d.x + d.tower)}V{num(d.shoulder)}"
        f"H{num(right - 12)}Q{num(right)} {num(d.shoulder)} {num(right)} {num(d.shoulder + 12)}V{num(d.flange)}"
    )
    skin = _ring(d, plate, hump, 1) + f"H{num(d.x - d.plate)}" + _ring(d, plate, hump, -1, outwards=True) + "Z"
    return (
        parts.vessel(lower, lower + skin, under)
        + parts.vessel(upper, upper + skin, over)
        + "".join(bolt(x, d.flange) for x in (left - 9, right + 9))
        + parts.block(d.x - d.tower - 8, d.top - 9, 2 * d.tower + 16, 12, WALL, 4)
    )


def vent(start: Point, end: Point, bore: float) -> str:
    """A short vent from `start` in a dome's wall, turned down to `end`, with a screen that keeps insects out."""
    (x, y), reach = end, bore / 2 + 2.5
    screen = f'<path d="M{num(x - reach)} {num(y)}h{num(2 * reach)}" stroke="{EDGE}" stroke-width="3" '
    return (
        parts.pipe([start, (x, start[1]), end], bore, parts.tint(0.0), "vent") + screen + 'stroke-dasharray="2.4 1.6"/>'
    )


def bolt(x: float, y: float) -> str:
    """The flange that clamps a diaphragm, with its bolt."""
    return parts.block(x - 9, y - 6, 18, 12, WALL, 2) + f'<path d="M{num(x)} {num(y - 9)}v18" stroke="{EDGE}"/>'


def diaphragm(d: Dome, plate: float, hump: float = 9.0, torn: bool = False) -> str:
    """The diaphragm from flange to flange, clamped between its plates in the middle; its left ring may be torn."""
    gap = ' pathLength="10" stroke-dasharray="3.6 2.8"'  # the ring's middle is missing
    rings = "".join(
        f'<path d="M{num(d.x + side * d.half)} {num(d.flange)}{_ring(d, plate, hump, side)}" fill="none" '
        f'stroke="{RUBBER}" stroke-width="3.6"{gap if torn and side < 0 else ""}/>'
        for side in (-1, 1)
    )
    return (
        f'<g data-part="diaphragm" data-y="{num(plate)}" data-torn="{int(torn)}">{rings}'
        f"{parts.block(d.x - d.plate, plate - 2, 2 * d.plate, 4, RUBBER, 1)}"
        f"{parts.block(d.x - d.plate + 2, plate - 6, 2 * d.plate - 4, 4.5, STEEL, 1)}"
        f"{parts.block(d.x - d.plate + 6, plate + 2, 2 * d.plate - 12, 3.5, STEEL, 1)}</g>"
    )


def _ring(d: Dome, plate: float, hump: float, side: int, outwards: bool = False) -> str:
    """The flexible ring at `side` as path data without its first point; it bulges away from the higher pressure."""
    ends = [
        (d.half, d.flange),
        (d.half - 0.35 * d.ring, d.flange - hump),
        (d.plate + 0.35 * d.ring, plate - hump),
        (d.plate, plate),
    ]
    points = ends[::-1] if outwards else ends
    return "C" + " ".join(f"{num(d.x + side * x)} {num(y)}" for x, y in points[1:])


def web(path: str) -> str:
    """Walls inside a body, along `path`."""
    line = f'd="{path}" fill="none" stroke-linejoin="miter"'
    return f'<path {line} stroke="{EDGE}" stroke-width="8"/><path {line} stroke="{WALL}" stroke-width="5.6"/>'


def body(left: float, top: float, right: float, low: float, fill: str) -> str:
    """A body with walls, filled with gas."""
    path = f"M{num(left)} {num(top)}H{num(right)}V{num(low)}H{num(left)}Z"
    return parts.vessel(path, path, fill)


def way(x: float, y: float, bore: float, fill: str) -> str:
    """An opening of `bore` through an upright wall whose inner face is at `x` on either side."""
    half, reach = bore / 2, WALL_WIDTH + 3
    return (
        f'<rect x="{num(x - reach)}" y="{num(y - half)}" width="{num(2 * reach)}" height="{num(bore)}" fill="{fill}"/>'
    )


def disk(x: float, face: float, half: float, part: str, gap: float, up: bool = True) -> str:
    """A disk whose rubber looks up (or down), its face at the height `face`, `gap` off its seat."""
    rubber, metal = (face, face + RUBBER_FACE) if up else (face - RUBBER_FACE, face - DISK)
    return (
        f'<g data-part="{part}" data-gap="{num(gap)}">'
        f"{parts.block(x - half - 2, metal, 2 * half + 4, DISK - RUBBER_FACE, STEEL, 1.5)}"
        f"{parts.block(x - half, rubber, 2 * half, RUBBER_FACE, RUBBER, 1)}</g>"
    )


def tube(points: Sequence[Point], fill: str, part: str) -> str:
    """A thin tube cut open along `points`, with a light rim where it passes in front of something."""
    line = f'points="{parts.pairs(points)}" fill="none" stroke-linejoin="round"'
    return (
        f'<g data-part="{part}"><polyline {line} stroke="{CARD}" stroke-width="{num(TUBE + 4)}"/>'
        f'<polyline {line} stroke="{EDGE}" stroke-width="{num(TUBE)}"/>'
        f'<polyline {line} stroke="{fill}" stroke-width="{num(TUBE - 3.4)}"/></g>'
    )


def tap(x: float, y: float) -> str:
    """The fitting by which a tube leaves the top of a pipe, whose outer face is at `y`."""
    return parts.block(x - 9, y - 7, 18, 10, STEEL, 2)


def cock(x: float, y: float, bore: float, is_open: bool, fill: str, part: str) -> str:
    """A quarter-turn valve in an upright pipe: bore and handle lie along the pipe when open, across it when shut."""
    radius, turn = 0.75 * bore, 0 if is_open else 90
    return (
        f'<g data-part="{part}" data-open="{int(is_open)}">'
        f'<circle cx="{num(x)}" cy="{num(y)}" r="{num(radius + 4)}" fill="{WALL}" stroke="{EDGE}" stroke-width="1.2"/>'
        f'<circle cx="{num(x)}" cy="{num(y)}" r="{num(radius)}" fill="{STEEL}" stroke="{EDGE}" stroke-width="1.2"/>'
        f'<rect x="{num(x - 0.35 * bore)}" y="{num(y - radius)}" width="{num(0.7 * bore)}" height="{num(2 * radius)}" '
        f'fill="{fill}" stroke="{EDGE}" stroke-width="1" transform="rotate({turn} {num(x)} {num(y)})"/>'
        f"{parts.block(x + radius + 2, y - 3, 12, 6, STEEL, 1)}"
        f'<g transform="rotate({turn} {num(x + radius + 16)} {num(y)})">'
        f"{parts.block(x + radius + 13, y - 19, 7, 38, WARN, 3)}</g></g>"
    )


def grit(x: float, y: float, height: float) -> str:
    """An angular piece that lies between a seat at the height `y` and the disk `height` below it."""
    points = [(x - 5, y), (x + 4, y), (x + 6, y + 0.5 * height), (x + 3, y + height), (x - 4, y + height)]
    return (
        f'<polygon data-part="grit" points="{parts.pairs(points)}" fill="{WARN}" stroke="{INK}" stroke-width="1.2" '
        'stroke-linejoin="round"/>'
    )
