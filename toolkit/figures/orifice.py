"""A plate with a drilled hole in a pipe, between two gauges, as an SVG picture that moves with the state it is given.

Words say what happens; colour and size only help. The picture brings its own card, its sentence, and needs nothing from
outside.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from toolkit.figures import parts
from toolkit.figures.parts import EDGE, STEEL, Look, num, share
from toolkit.figures.style import CARD, ViewMode
from toolkit.units import tidy

WIDTH: Final = 640
HEIGHT: Final = 420
CENTRE: Final = WIDTH / 2
AXIS: Final = 282.0  # y of the pipe
BORE: Final = 96.0
PLATE: Final = 26.0  # thickness of the plate
LARGEST_HOLE: Final = 66.0
GAUGES: Final = (124.0, 516.0)  # x of the two gauges
DIAL: Final = 118.0  # y of the gauges
CAPTION: Final = "The hole is drawn larger than it is."


@dataclass(frozen=True)
class OrificeView:
    """State of the drawing. Shares are 0 to 1 and are clipped; texts bring their units, ready to show.

    `hole` diameter as a share of the largest; `flow` -1 to 1, below 0 when the gas runs from the second gauge to the
    first; the levels move the needles and the depth of the tints. Gauge and absolute texts are of the same pressure.
    """

    upstream_text: str
    upstream_absolute_text: str
    downstream_text: str
    downstream_absolute_text: str
    air_text: str
    hole_text: str
    flow_text: str
    upstream_level: float
    downstream_level: float
    hole: float
    flow: float
    choked: bool


def way_words(view: OrificeView) -> str:
    """Which way the gas goes; empty where it goes as it should."""
    return "nothing flows" if view.flow == 0 else "runs backwards" if view.flow < 0 else ""


def choked_words(view: OrificeView) -> str:
    """Whether the hole passes all that its upstream pressure can drive."""
    return "choked" if view.choked else "not choked"


def orifice_sentence(view: OrificeView) -> str:
    """Say in words what the drawing of `view` shows."""
    way = way_words(view)
    said = [
        "A plate with a drilled hole in a pipe, between two gauges.",
        f"Upstream {view.upstream_text}, {view.upstream_absolute_text}.",
        f"Downstream {view.downstream_text}, {view.downstream_absolute_text}.",
        f"Air outside {view.air_text}.",
        f"Hole {view.hole_text}, {choked_words(view)}.",
        f"Flow {view.flow_text}{', ' + way if way else ''}.",
        CAPTION,
    ]
    return tidy(" ".join(said))


def orifice_svg(view: OrificeView, *, view_mode: ViewMode = "desk", prefix: str = "orifice") -> str:
    """Draw the plate in the state `view`; give an SVG element of 640 by 420 units that needs nothing from outside.

    `prefix` keeps the ids of several drawings on one page apart.
    """
    look = parts.LOOKS[view_mode]
    name = re.sub(r"[^A-Za-z0-9_-]", "-", prefix) or "orifice"
    before, after = f"{name}-upstream", f"{name}-downstream"
    sentence = orifice_sentence(view)
    return "".join(
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" '
            f'aria-label={parts.attribute(sentence)} font-family="DejaVu Sans, Verdana, Arial, sans-serif">'
            f"<title>Plate with a hole between two gauges</title><desc>{parts.safe(sentence)}</desc><defs>",
            parts.gas_pattern(before, view.upstream_level),
            parts.gas_pattern(after, view.downstream_level),
            f'</defs><rect width="{WIDTH}" height="{HEIGHT}" rx="8" fill="{CARD}"/>',
            _pipes(f"url(#{before})", f"url(#{after})"),
            _plate(view),
            _flows(view),
            parts.gauge(GAUGES[0], DIAL, 46, view.upstream_level, "upstream-gauge"),
            parts.gauge(GAUGES[1], DIAL, 46, view.downstream_level, "downstream-gauge"),
            _written(view, look),
            "</svg>",
        )
    )


def _pipes(before: str, after: str) -> str:
    """The pipe cut open, each side in the tint of its pressure, and the two pipes up to the gauges."""
    risers = "".join(
        parts.pipe([(x, AXIS - BORE / 2 + 4), (x, DIAL + 40)], 8, fill, "gauge-pipe")
        for x, fill in zip(GAUGES, (before, after), strict=True)
    )
    return "".join(
        (
            risers,
            parts.pipe([(-4, AXIS), (CENTRE, AXIS)], BORE, before, "upstream-pipe"),
            parts.pipe([(CENTRE, AXIS), (WIDTH + 4, AXIS)], BORE, after, "downstream-pipe"),
        )
    )


def _plate(view: OrificeView) -> str:
    """The plate between its flanges; the hole's gas changes from one pressure to the other within it."""
    half = LARGEST_HOLE * share(view.hole) / 2
    top, bottom = AXIS - BORE / 2 - 16, AXIS + BORE / 2 + 16
    left = CENTRE - PLATE / 2
    flanges = "".join(
        parts.block(x, y, 14, 30, parts.WALL, 3) for x in (left - 15, left + PLATE + 1) for y in (top - 7, bottom - 23)
    )
    return "".join(
        (
            flanges,
            f'<g data-part="plate" data-hole="{num(2 * half)}">',
            parts.block(left, top, PLATE, AXIS - half - top, STEEL),
            parts.block(left, AXIS + half, PLATE, bottom - AXIS - half, STEEL),
            "</g>",
            f'<path d="M{num(left)} {num(AXIS - half)}h{num(PLATE)}M{num(left)} {num(AXIS + half)}h{num(PLATE)}" '
            f'stroke="{EDGE}" stroke-width="1.6"/>',
        )
    )


def _flows(view: OrificeView) -> str:
    """Arrows along the pipe, longer and thicker the more flows; turned round where the gas runs back."""
    strength = share(abs(view.flow))
    if strength == 0:
        return ""
    way = 1 if view.flow > 0 else -1
    length = 16 + 44 * strength
    spans = ((CENTRE - 150, "upstream-flow"), (CENTRE + 150, "downstream-flow"))
    drawn = [
        parts.arrow([(x - way * length / 2, AXIS), (x + way * length / 2, AXIS)], strength, part) for x, part in spans
    ]
    drawn.append(parts.arrow([(CENTRE - way * 34, AXIS), (CENTRE + way * 26, AXIS)], strength, "hole-flow"))
    return "".join(drawn)


def _written(view: OrificeView, look: Look) -> str:
    size, row = look.text, look.text * 1.2
    first, second = GAUGES
    rows = (
        (first, 28, "upstream gauge", "middle", False),
        (first, 28 + row, view.upstream_text, "middle", True),
        (first + 18, DIAL + 66, view.upstream_absolute_text, "start", False),
        (second, 28, "downstream gauge", "middle", False),
        (second, 28 + row, view.downstream_text, "middle", True),
        (second - 18, DIAL + 66, view.downstream_absolute_text, "end", False),
        (CENTRE, 84, "air outside", "middle", False),
        (CENTRE, 84 + row, view.air_text, "middle", True),
        (CENTRE, 160, choked_words(view), "middle", True),
        (first, 378, "flow", "middle", False),
        (first, 378 + row, view.flow_text, "middle", True),
        (CENTRE, 378, "hole", "middle", False),
        (CENTRE, 378 + row, view.hole_text, "middle", True),
        (second, 378, way_words(view), "middle", True),
        (WIDTH - 8, HEIGHT - 6, CAPTION, "end", False),
    )
    half = LARGEST_HOLE * share(view.hole) / 2
    return parts.leader([(CENTRE, 166), (CENTRE, AXIS - half + 2)], look, view.choked) + "".join(
        parts.words(x, y, text, size * (0.8 if text == CAPTION else 1), anchor, bold)
        for x, y, text, anchor, bold in rows
        if text
    )
