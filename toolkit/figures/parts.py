"""Parts of a cut-open gas device as SVG text: pipes, springs, gauges, flames, arrows, words.

Each function gives a piece of SVG at the place it is told; none knows the device it stands in.
Places and sizes are units of the drawing's viewBox, y downwards. Levels, shares and strengths are 0 to 1.
`part` names an element for tests and for whoever wants to find it again (attribute data-part).
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final
from xml.sax.saxutils import escape, quoteattr

from toolkit.figures.style import CARD, COLOURS, INK, ViewMode

WALL: Final = "#D5DAE0"
EDGE: Final = "#39414A"
STEEL: Final = "#A9B2BC"
RUBBER: Final = "#2B2B2B"
GAS: Final = COLOURS["blue"]
WARN: Final = COLOURS["vermilion"]
WALL_WIDTH: Final = 5.0

Point = tuple[float, float]

# Characters that XML 1.0 forbids; whatever text comes in must not break the picture.
_FORBIDDEN: Final = dict.fromkeys((*range(9), 11, 12, *range(14, 32), 65534, 65535), "�")
_FORBIDDEN.update(dict.fromkeys(range(55296, 57344), "�"))


# Where a drawing names its own parts or calls them.
_PARTS: Final = re.compile(r'(\bid="|url\(#|\bhref="#)')


@dataclass(frozen=True)
class Look:
    """Size of letters and a factor on the strength of thin strokes."""

    text: float
    line: float


LOOKS: Final[dict[ViewMode, Look]] = {"desk": Look(14.0, 1.0), "projector": Look(16.5, 1.4)}


def num(value: float) -> str:
    """A coordinate with two decimals at most; what is no finite number becomes 0."""
    return f"{value:.2f}".rstrip("0").rstrip(".") if math.isfinite(value) else "0"


NOTHING: Final = 1e-6  # less of a whole than this shows on no gauge and burns with no flame


def share(value: float) -> float:
    """`value` clipped to 0..1; what is no number becomes 0, and so does what the solver leaves of nothing."""
    return min(value, 1.0) if value > NOTHING else 0.0


def safe(text: str) -> str:
    """`text` escaped as XML character data."""
    return escape(text.translate(_FORBIDDEN))


def attribute(text: str) -> str:
    """`text` escaped and quoted as an XML attribute's value."""
    return quoteattr(text.translate(_FORBIDDEN))


def tint(level: float) -> str:
    """Colour of a gas space: near white at no pressure, blue at full."""
    low, high = (244, 249, 252), (120, 178, 220)
    return "#" + "".join(f"{round(a + (b - a) * share(level)):02X}" for a, b in zip(low, high, strict=True))


def apart(svg: str, prefix: str) -> str:
    """A drawing whose parts have names of their own, so that two on a page do not take each other's."""
    return _PARTS.sub(rf"\g<1>{prefix}-", svg)


def gas_pattern(name: str, level: float) -> str:
    """A fill `url(#name)`: the tint of `level` with dots that stand closer the higher the pressure is."""
    step = 17.0 - 10.0 * share(level)
    a, b = num(step / 4), num(step * 3 / 4)
    return (
        f'<pattern id="{name}" width="{num(step)}" height="{num(step)}" patternUnits="userSpaceOnUse">'
        f'<rect width="{num(step)}" height="{num(step)}" fill="{tint(level)}"/>'
        f'<g fill="{GAS}" fill-opacity="0.45"><circle cx="{a}" cy="{a}" r="1"/><circle cx="{b}" cy="{b}" r="1"/></g>'
        "</pattern>"
    )


def hatch_pattern(name: str) -> str:
    """A fill `url(#name)` of slanted strokes for what blocks a way."""
    return (
        f'<pattern id="{name}" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        f'<rect width="5" height="5" fill="#F3D9C4"/><path d="M0 0V5" stroke="{EDGE}" stroke-width="3"/></pattern>'
    )


def words(x: float, y: float, text: str, size: float, anchor: str = "start", bold: bool = False) -> str:
    """`text` with its base line at `y`, on a halo of the card's colour so that it stays legible over lines."""
    weight = ' font-weight="700"' if bold else ""
    return (
        f'<text x="{num(x)}" y="{num(y)}" font-size="{num(size)}" text-anchor="{anchor}"{weight} fill="{INK}" '
        f'stroke="{CARD}" stroke-width="3" stroke-linejoin="round" paint-order="stroke">{safe(text)}</text>'
    )


def leader(points: Sequence[Point], look: Look, warn: bool = False) -> str:
    """A thin line to the thing a label speaks of, with a dot at its end; stronger where something acts."""
    colour, width = (WARN, 1.6) if warn else (EDGE, 0.9)
    (x, y) = points[-1]
    return (
        f'<polyline points="{pairs(points)}" fill="none" stroke="{CARD}" stroke-width="{num(3.2 * look.line)}"/>'
        f'<polyline points="{pairs(points)}" fill="none" stroke="{colour}" stroke-width="{num(width * look.line)}"/>'
        f'<circle cx="{num(x)}" cy="{num(y)}" r="{num(2.4 * look.line)}" fill="{colour}" stroke="{CARD}"/>'
    )


def vessel(wall: str, gas: str, fill: str) -> str:
    """A gas space cut open: `wall` is the path of the wall's inner face, `gas` the closed path of the gas inside."""
    line = f'd="{wall}" fill="none" stroke-linejoin="round"'
    return (
        f'<path {line} stroke="{EDGE}" stroke-width="{num(2 * WALL_WIDTH + 2)}"/>'
        f'<path {line} stroke="{WALL}" stroke-width="{num(2 * WALL_WIDTH)}"/>'
        f'<path d="{gas}" fill="{fill}"/><path {line} stroke="{EDGE}" stroke-width="1"/>'
    )


def pipe(points: Sequence[Point], bore: float, fill: str, part: str) -> str:
    """A pipe cut open along `points`, open at both ends."""
    line = f'points="{pairs(points)}" fill="none" stroke-linejoin="round"'
    outer = bore + 2 * WALL_WIDTH
    return (
        f'<g data-part="{part}"><polyline {line} stroke="{EDGE}" stroke-width="{num(outer + 2)}"/>'
        f'<polyline {line} stroke="{WALL}" stroke-width="{num(outer)}"/>'
        f'<polyline {line} stroke="{EDGE}" stroke-width="{num(bore + 1.5)}"/>'
        f'<polyline {line} stroke="{fill}" stroke-width="{num(bore)}"/></g>'
    )


def block(x: float, y: float, width: float, height: float, fill: str, radius: float = 1.5, extra: str = "") -> str:
    """A solid piece with an edge."""
    return (
        f'<rect x="{num(x)}" y="{num(y)}" width="{num(width)}" height="{num(height)}" rx="{num(radius)}" '
        f'fill="{fill}" stroke="{EDGE}" stroke-width="1.2" {extra}/>'
    )


def spring(x: float, top: float, bottom: float, radius: float, coils: int, wire: float, part: str) -> str:
    """A coil spring in section: the cut wire left and right, the far half of each coil as a line between them."""
    pitch = (bottom - top - 2 * wire) / max(coils - 0.5, 0.5)
    far, near = [], []
    for i in range(coils):
        left, right = top + wire + i * pitch, top + wire + (i + 0.5) * pitch
        far.append(f"M{num(x - radius)} {num(left)}L{num(x + radius)} {num(right)}")
        near.append(f'<circle cx="{num(x - radius)}" cy="{num(left)}" r="{num(wire)}"/>')
        near.append(f'<circle cx="{num(x + radius)}" cy="{num(right)}" r="{num(wire)}"/>')
    return (
        f'<g data-part="{part}" data-length="{num(bottom - top)}">'
        f'<path d="{"".join(far)}" stroke="{EDGE}" stroke-width="{num(wire * 0.9 + 1.2)}"/>'
        f'<path d="{"".join(far)}" stroke="#CDD4DB" stroke-width="{num(wire * 0.9)}"/>'
        f'<g fill="{STEEL}" stroke="{EDGE}" stroke-width="1.2">{"".join(near)}</g></g>'
    )


def gauge(x: float, y: float, radius: float, level: float, part: str) -> str:
    """A dial whose needle sweeps 270 degrees; the number is written beside it by whoever draws it."""
    ticks = []
    for i in range(10):
        c, s = _turn(135 + 30 * i)
        inner = radius * (0.68 if i % 3 == 0 else 0.78)
        ticks.append(
            f"M{num(x + inner * c)} {num(y + inner * s)}L{num(x + radius * 0.9 * c)} {num(y + radius * 0.9 * s)}"
        )
    c, s = _turn(135 + 270 * share(level))
    reach = radius * 0.78
    return (
        f'<g data-part="{part}"><circle cx="{num(x)}" cy="{num(y)}" r="{num(radius)}" fill="{CARD}" stroke="{EDGE}" '
        f'stroke-width="3"/><path d="{"".join(ticks)}" stroke="{EDGE}" stroke-width="1.3"/>'
        f'<line data-part="{part}-needle" x1="{num(x - 7 * c)}" y1="{num(y - 7 * s)}" x2="{num(x + reach * c)}" '
        f'y2="{num(y + reach * s)}" stroke="{INK}" stroke-width="2.6" stroke-linecap="round"/>'
        f'<circle cx="{num(x)}" cy="{num(y)}" r="3.4" fill="{EDGE}"/></g>'
    )


def unknown(x: float, y: float) -> str:
    """A question mark with its middle at `x`, `y`: what is within is not known. A shape, as large on every screen."""
    return (
        f'<g data-part="unknown"><path d="M{num(x - 4.6)} {num(y - 4)}a4.8 4.8 0 1 1 7.2 4.2q-2.6 1.5 -2.6 4" '
        f'fill="none" stroke="{INK}" stroke-width="2.6"/><circle cx="{num(x)}" cy="{num(y + 8)}" r="1.8" '
        f'fill="{INK}"/></g>'
    )


def burner(x: float, base: float, size: float, part: str) -> str:
    """A burner head with its flame; `size` 0 shows no flame."""
    head = block(x - 11, base - 6, 22, 8, STEEL) + f'<path d="M{num(x - 7)} {num(base - 6)}h14" stroke="{INK}"/>'
    strength = share(size)
    if strength <= 0.0:
        return head
    height, half, foot = 12 + 32 * strength, 6 + 5 * strength, base - 7
    return (
        f'{head}<g data-part="{part}" data-height="{num(height)}">{_drop(x, foot, half, height, "#9CCBEA", 1.3)}'
        f"{_drop(x, foot, half * 0.5, height * 0.5, GAS, 0)}</g>"
    )


def arrow(points: Sequence[Point], strength: float, part: str) -> str:
    """An arrow of flowing gas along `points`; thicker the more flows, with a light rim to stand out."""
    width = 1.8 + 2.4 * share(strength)
    (x0, y0), (x1, y1) = points[-2:]
    length = math.hypot(x1 - x0, y1 - y0) or 1.0
    ux, uy = (x1 - x0) / length, (y1 - y0) / length
    head, half = 4 + 1.6 * width, 2.5 + 1.1 * width
    tip = [(x1 + ux * head, y1 + uy * head), (x1 - uy * half, y1 + ux * half), (x1 + uy * half, y1 - ux * half)]
    line = f'points="{pairs(points)}" fill="none" stroke-linejoin="round" stroke-linecap="round"'
    return (
        f'<g data-part="{part}"><polyline {line} stroke="{CARD}" stroke-width="{num(width + 2.4)}"/>'
        f'<polygon points="{pairs(tip)}" fill="{GAS}" stroke="{CARD}" stroke-width="1.2"/>'
        f'<polyline {line} stroke="{GAS}" stroke-width="{num(width)}"/></g>'
    )


def cloud(x: float, top: float, strength: float, part: str) -> str:
    """Gas that comes down out of an opening at `x`, `top`: arrows into a cloud, larger the more comes."""
    size = 0.55 + 0.45 * share(strength)
    y = top + 20 + 18 * size
    puffs = ((-17, 4, 13), (0, -5, 15), (17, 4, 13), (-8, 12, 13), (9, 12, 13))
    circles = "".join(
        f'<circle cx="{num(x + dx * size)}" cy="{num(y + dy * size)}" r="{num(r * size)}"/>' for dx, dy, r in puffs
    )
    return (
        f'<g data-part="{part}"><g fill="{GAS}" stroke="{GAS}" stroke-width="2.4">{circles}</g>'
        f'<g fill="#DCEBF6">{circles}</g>{arrow([(x, top - 2), (x, top + 14)], strength, part + "-flow")}</g>'
    )


def ball_valve(x: float, y: float, bore: float, is_open: bool, fill: str, part: str) -> str:
    """A quarter-turn valve: the bore of its ball and its handle lie along the pipe when open, across it when shut."""
    radius = bore * 0.72
    turn = "" if is_open else f' transform="rotate(90 {num(x)} {num(y)})"'
    hole = f'<rect x="{num(x - radius)}" y="{num(y - bore * 0.3)}" width="{num(2 * radius)}" height="{num(bore * 0.6)}"'
    stem_top = y - radius - 12
    handle = block(x - 4, stem_top - 4, 34, 6, WARN, 3) if is_open else block(x - 3, stem_top - 30, 6, 34, WARN, 3)
    return (
        f'<g data-part="{part}" data-open="{int(is_open)}">'
        f'<circle cx="{num(x)}" cy="{num(y)}" r="{num(radius + 5)}" fill="{WALL}" stroke="{EDGE}" stroke-width="1.2"/>'
        f'<circle cx="{num(x)}" cy="{num(y)}" r="{num(radius)}" fill="{STEEL}" stroke="{EDGE}" stroke-width="1.2"/>'
        f'{hole} fill="{fill}" stroke="{EDGE}" stroke-width="1"{turn}/>'
        f"{block(x - 3, stem_top, 6, radius * 0.6 + 8, STEEL)}{handle}</g>"
    )


def filter_bowl(x: float, y: float, bore: float, blocked: float, fill: str, hatch: str, part: str) -> str:
    """A strainer across the pipe; what blocks it fills it from below."""
    width, height = 34.0, bore + 16.0
    top = y - height / 2
    dirt = height * share(blocked)
    mesh = "".join(f"M{num(x - 8 + 8 * i)} {num(top + 2)}V{num(top + height - 2)}" for i in range(3))
    plug = block(x - 12, top + height - dirt, 24, dirt, hatch, 1) if dirt > 0 else ""
    return (
        f'<g data-part="{part}">{block(x - width / 2, top - 4, width, height + 8, WALL, 6)}'
        f'<rect x="{num(x - 13)}" y="{num(top)}" width="26" height="{num(height)}" fill="{fill}"/>{plug}'
        f'<path d="{mesh}" stroke="{EDGE}" stroke-width="1.4" stroke-dasharray="3 2"/></g>'
    )


def padlock(x: float, y: float, part: str) -> str:
    """A small lock on what no longer moves."""
    return (
        f'<g data-part="{part}"><path d="M{num(x - 5)} {num(y - 4)}v-4a5 5 0 0 1 10 0v4" fill="none" stroke="{CARD}" '
        f'stroke-width="5"/><path d="M{num(x - 5)} {num(y - 4)}v-4a5 5 0 0 1 10 0v4" fill="none" stroke="{INK}" '
        f'stroke-width="2.4"/>{block(x - 9, y - 5, 18, 13, WARN, 2)}'
        f'<circle cx="{num(x)}" cy="{num(y + 1)}" r="2.2" fill="{INK}"/></g>'
    )


def _drop(x: float, foot: float, half: float, height: float, fill: str, edge: float) -> str:
    top = foot - height
    return (
        f'<path d="M{num(x)} {num(top)}C{num(x + half * 0.4)} {num(top + height * 0.4)} {num(x + half)} '
        f"{num(foot - height * 0.45)} {num(x + half)} {num(foot - height * 0.22)}C{num(x + half)} {num(foot)} "
        f"{num(x - half)} {num(foot)} {num(x - half)} {num(foot - height * 0.22)}C{num(x - half)} "
        f'{num(foot - height * 0.45)} {num(x - half * 0.4)} {num(top + height * 0.4)} {num(x)} {num(top)}Z" '
        f'fill="{fill}" stroke="{GAS}" stroke-width="{num(edge)}"/>'
    )


def _turn(degrees: float) -> Point:
    return math.cos(math.radians(degrees)), math.sin(math.radians(degrees))


def pairs(points: Sequence[Point]) -> str:
    """`points` as the attribute of a polyline."""
    return " ".join(f"{num(x)},{num(y)}" for x, y in points)
