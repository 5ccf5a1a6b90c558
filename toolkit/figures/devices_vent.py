"""The vent of a regulator's case, cut open: vent pipe to outdoors with its screen, and the vent limiter beside it.

The case breathes through its vent while the diaphragm moves. The limiter, which a case may have in place of a pipe,
lets air in freely round its ball; gas that streams out lifts the ball on its seat and only a small bore passes on. It
would hold back the discharge of an internal relief just so, which is why the two do not go together.
"""

from __future__ import annotations

from math import sqrt
from typing import Final

from toolkit.figures import devices_parts, parts
from toolkit.figures.devices_card import AIR_FILL, HELD, LOW, WIDTH, Label, Said, card, fills, said
from toolkit.figures.devices_parts import BORE, Dome
from toolkit.figures.parts import EDGE, STEEL, WALL, Point, num
from toolkit.figures.style import CARD

DOME: Final = Dome(190, 172, 246, 282, 332, half=84, tower=30, plate=52)
AXIS: Final = 440.0  # of the outlet pipe
PIPE: Final[tuple[Point, ...]] = ((268.0, 259.0), (330.0, 259.0), (330.0, 78.0), (470.0, 78.0), (470.0, 112.0))
VENT_BORE: Final = 15.0
INSET: Final = (462.0, 286.0, 80.0)  # the limiter's picture: middle and radius
BALL: Final = 12.0
SEAT_HALF: Final = 9.0  # of the hole that the lifted ball closes
FINGER, FINGER_AT = 14.0, 10.5  # height of the fingers on which the ball rests, and their distance from its middle

VENT: Final = {
    "breathing": Said(
        "Vent: breathing",
        "Vent of a regulator's case, cut open: demand has risen, the diaphragm sinks, and the case draws air in "
        "through the screen and the vent pipe, or round the ball of a vent limiter.",
    ),
    "torn": Said(
        "Vent: the diaphragm is torn",
        "Vent of a regulator's case, cut open: the diaphragm is torn and gas goes out through the vent pipe to "
        "outdoors; in a vent limiter it would lift the ball on its seat, and only a small bore would pass.",
    ),
}


def vent_svg(state: str = "breathing") -> str:
    """The vent, `state` "breathing" or "torn" (the diaphragm is).

    Raises:
        ScenarioError: another state.
    """
    words, name = said(VENT, state, "vent_svg.state"), f"device-vent-{state}"
    torn = state == "torn"
    levels = {"outlet": HELD, "case": LOW}
    gas = fills(name, levels)
    case = gas["case"] if torn else AIR_FILL
    plate = DOME.flange + 8
    x, (end_x, end_y) = DOME.x, PIPE[-1]
    screen = f'<path data-part="screen" d="M{num(end_x - 11)} {num(end_y)}h22" stroke="{EDGE}" stroke-width="3.4" '
    ring = x - 0.5 * (DOME.half + DOME.plate), DOME.flange - 6  # middle of the left ring
    body = (
        parts.pipe([(x, DOME.low - 4), (x, AXIS - 8)], 18, gas["outlet"], "neck"),
        parts.pipe([(-4, AXIS), (WIDTH + 4, AXIS)], BORE, gas["outlet"], "outlet-pipe"),
        f'<rect x="{num(x - 9)}" y="{num(AXIS - 24)}" width="18" height="12" fill="{gas["outlet"]}"/>',
        f'<rect x="392" y="48" width="16" height="128" fill="url(#{name}-hatch)" stroke="{EDGE}"/>',
        devices_parts.dome(DOME, plate, gas["outlet"], case),
        f'<rect x="{num(x - 9)}" y="{num(DOME.low - 8)}" width="18" height="18" fill="{gas["outlet"]}"/>',
        parts.pipe(PIPE, VENT_BORE, case, "vent-pipe"),
        screen + 'stroke-dasharray="3 2"/>',
        devices_parts.diaphragm(DOME, plate, torn=torn),
        parts.spring(x, 196, plate - 6, 20, 4, 3.4, "main-spring"),
        parts.block(x - 29, 186, 58, 10, STEEL, 2),
        *_flows(torn, ring),
        _limiter(torn, gas["case"]),
        parts.arrow([(90, AXIS), (110, AXIS)], 0.5, "flow"),
    )
    labels = (
        Label("main spring", 10, 178, ((120, 173), (x - 20, 216))),
        Label("case", 10, 230, ((84, 225), (x - 64, 258))),
        Label(
            "diaphragm", 10, 322, ((100, 310), (ring[0] - 14, DOME.flange - 4)), "torn" if torn else "sinks", acts=torn
        ),
        Label("vent pipe\nto outdoors", 196, 96, ((PIPE[1][0] - 4, 122),)),
        Label("wall", 350, 164, ((394, 152),)),
        Label("screen", 506, 116, ((end_x + 8, end_y),), "gas comes out" if torn else "air goes in", acts=torn),
        Label("small\nbore", 560, 234, ((INSET[0] + 14, INSET[1] - 22),)),
        Label("ball", 560, 292, ((INSET[0] + 9, _ball(torn)),), "lifted" if torn else "down", acts=torn),
        Label("vent limiter, in place of the pipe", INSET[0], 388, (), "not with an internal relief", "middle"),
        Label("outlet", 10, 482),
    )
    return card(name, words, 516, levels, body, labels)


def _flows(torn: bool, ring: Point) -> tuple[str, ...]:
    riser, (x, y) = PIPE[1][0], PIPE[-1]
    if torn:
        return (
            parts.arrow([(ring[0], ring[1] + 30), (ring[0], ring[1] - 8)], 0.3, "tear-flow"),
            parts.arrow([(riser, 200), (riser, 170)], 0.4, "vent-flow"),
            parts.cloud(x, y + 6, 0.2, "vent-cloud"),
        )
    return (
        parts.arrow([(x, y + 34), (x, y + 12)], 0.1, "air-flow"),
        parts.arrow([(riser, 170), (riser, 200)], 0.1, "air-flow"),
        parts.arrow([(DOME.x + 68, DOME.flange - 46 + 20), (DOME.x + 50, DOME.flange - 20)], 0.0, "air-flow"),
    )


def _ball(lifted: bool) -> float:
    """Height of the ball's middle: against the edge of its seat, or on the fingers below."""
    return (
        INSET[1] - 22 + sqrt(BALL**2 - SEAT_HALF**2)
        if lifted
        else INSET[1] + 34 - FINGER - sqrt(BALL**2 - FINGER_AT**2)
    )


def _limiter(lifted: bool, gas: str) -> str:
    """The limiter upright on the case's wall, larger than it is beside the pipe."""
    x, y, radius = INSET
    fill = gas if lifted else AIR_FILL
    ball = _ball(lifted)
    room = (
        f"M{num(x - 9)} {num(y + 62)}V{num(y + 34)}H{num(x - 19)}V{num(y - 22)}H{num(x - SEAT_HALF)}V{num(y - 54)}"
        f"H{num(x + SEAT_HALF)}V{num(y - 22)}H{num(x + 19)}V{num(y + 34)}H{num(x + 9)}V{num(y + 62)}Z"
    )
    bore = f"M{num(x + 14)} {num(y - 21)}V{num(y - 46)}"
    flows = (
        parts.arrow([(x + 16, y + 20), (x + 16, y - 6)], 0.0, "limited-flow")
        + parts.arrow([(x + 14, y - 48), (x + 14, y - 52)], 0.0, "limited-flow")
        if lifted
        else "".join(
            parts.arrow([(x + side * 16, y - 4), (x + side * 16, y + 18)], 0.0, "air-flow") for side in (-1, 1)
        )
    )
    return "".join(
        (
            f'<g data-part="limiter" data-ball="{num(ball)}">',
            f'<circle cx="{num(x)}" cy="{num(y)}" r="{num(radius)}" fill="{CARD}" stroke="{EDGE}" stroke-width="1.6"/>',
            parts.block(x - 60, y + 44, 120, 14, WALL, 1),
            parts.block(x - 28, y - 46, 56, 104, STEEL, 3),
            f'<path d="{room}" fill="{fill}" stroke="{EDGE}" stroke-width="1"/>',
            f'<path d="{bore}" stroke="{EDGE}" stroke-width="5"/><path d="{bore}" stroke="{fill}" stroke-width="3"/>',
            *(parts.block(x + side - 1.2, y + 34 - FINGER, 2.4, FINGER, EDGE, 0) for side in (-FINGER_AT, FINGER_AT)),
            f'<circle cx="{num(x)}" cy="{num(ball)}" r="{num(BALL)}" fill="{WALL}" stroke="{EDGE}" '
            'stroke-width="1.6"/>',
            flows,
            "</g>",
        )
    )
