"""The sensing line of a regulator, cut open: tap, tube, isolating valve, and the diaphragm that feels what it brings.

No gas flows in a whole line, so the diaphragm feels the pressure of the tap. That the line falls towards the tap, so
that liquid runs out of it, is common practice.
"""

from __future__ import annotations

from typing import Final

from toolkit.figures import devices_parts, parts
from toolkit.figures.devices_card import AIR, AIR_FILL, HELD, RAISED, SUPPLY, WIDTH, Label, Said, card, fills, said
from toolkit.figures.devices_parts import BORE
from toolkit.figures.devices_regulators import PORT, Stage, stage
from toolkit.figures.parts import WARN, Point, num
from toolkit.figures.style import CARD

X, AXIS = 200.0, 306.0  # of the regulator
TAP: Final = 480.0
FALL: Final = 12.0  # of the line on its way to the tap
VALVE: Final = 248.0  # height of the isolating valve
BREAK: Final = (352.0, 9.0)  # x of the middle of the gap and half its width

SENSING_LINE: Final = {
    "open": Said(
        "Sensing line: open",
        "Sensing line from a tap on the outlet to a regulator's diaphragm, cut open: its isolating valve is open, the "
        "diaphragm feels the outlet's pressure, and the disk throttles and holds it.",
    ),
    "shut off": Said(
        "Sensing line: shut off",
        "Sensing line from a tap on the outlet to a regulator's diaphragm, cut open: its isolating valve is shut, the "
        "diaphragm feels trapped gas, the disk stays where it stood, and the outlet has risen as demand fell.",
    ),
    "torn": Said(
        "Sensing line: torn",
        "Sensing line from a tap on the outlet to a regulator's diaphragm, cut open: the line is torn, the diaphragm "
        "feels the air, its spring pushes the disk wide open, and the outlet rises while gas escapes.",
    ),
}


def sensing_line_svg(state: str = "open") -> str:
    """The sensing line, `state` "open", "shut off" or "torn".

    Raises:
        ScenarioError: another state.
    """
    words = said(SENSING_LINE, state, "sensing_line_svg.state")
    name = f"device-sensing-line-{state.replace(' ', '-')}"
    torn, shut = state == "torn", state == "shut off"
    levels = {"inlet": SUPPLY, "outlet": HELD if state == "open" else RAISED, "sensed": AIR if torn else HELD}
    gas = fills(name, levels)
    felt = AIR_FILL if torn else gas["sensed"]
    regulator = Stage(
        *(X, AXIS, 1.0 if torn else 0.35, 0.4, gas["inlet"], gas["outlet"], felt), hump=-5.0 if torn else 9.0
    )
    top, port = AXIS - BORE / 2 - 5, AXIS + PORT
    line: list[Point] = [(X + 55, port), (TAP, port + FALL), (TAP, top)]
    body = (
        parts.pipe([(-4, AXIS), (X, AXIS)], BORE, gas["inlet"], "inlet-pipe"),
        parts.pipe([(584, AXIS - 10), (584, AXIS - 40)], 6, gas["outlet"], "gauge-pipe"),
        parts.pipe([(X, AXIS), (WIDTH + 4, AXIS)], BORE, gas["outlet"], "outlet-pipe"),
        parts.gauge(584, AXIS - 62, 22, levels["outlet"], "outlet-gauge"),
        stage(regulator, "regulator"),
        devices_parts.tube(line, felt, "sensing-line"),
        devices_parts.tube([(TAP, VALVE), (TAP, top)], gas["outlet"], "sensing-line-below"),
        _break(gas["outlet"], line) if torn else "",
        devices_parts.tap(TAP, top),
        devices_parts.cock(TAP, VALVE, 11, not shut, gas["outlet"], "line-valve"),
        *(parts.arrow([(x, AXIS), (x + 20, AXIS)], 0.1 if shut else 0.5, "flow") for x in (60.0, 340.0)),
    )
    outlet = {"open": "held", "shut off": "rises unseen", "torn": "rises"}[state]
    feels = {"open": "feels\nthe outlet", "shut off": "feels\ntrapped gas", "torn": "feels\nthe air"}[state]
    labels = (
        Label("main spring", 10, 112, ((120, 107), (X - 16, 130))),
        Label("vent", 10, 168, ((X - 72, 163),)),
        Label("diaphragm", 10, 222, ((108, 210), (X - 44, regulator.plate)), feels, acts=state != "open"),
        Label("sensing line", 330, 150, ((404, port + FALL * 0.66),), "torn" if torn else "", acts=torn),
        Label("isolating valve", 516, 180, ((TAP + 7, VALVE - 9),), "shut" if shut else "open", acts=shut),
        Label("tap", 400, 256, ((TAP - 9, top - 3),)),
        Label("seat", 10, 372, ((84, 348), (X - 18, AXIS + 2))),
        Label(
            "disk",
            10,
            404,
            ((84, 380), (X - 13, regulator.face + 8)),
            {"open": "throttles", "shut off": "stays put", "torn": "wide open"}[state],
        ),
        Label("regulator", X + 10, 378, (), "blind" if state != "open" else "holds", "middle", state != "open"),
        Label("outlet", 560, 348, (), outlet, "middle", state != "open"),
    )
    return card(name, words, 452, levels, body, labels)


def _break(fill: str, line: list[Point]) -> str:
    """A gap in the line: air on the regulator's side, gas that escapes on the tap's side."""
    x, half = BREAK
    slope = FALL / (line[1][0] - line[0][0])
    height = line[0][1] + slope * (x - line[0][0])
    rags = "".join(
        f'<polyline points="{parts.pairs(_rag(x + side * half, height, side))}" fill="none" stroke="{WARN}" '
        'stroke-width="2.4"/>'
        for side in (-1, 1)
    )
    return (
        f'<rect data-part="line-break" x="{num(x - half)}" y="{num(height - 9)}" width="{num(2 * half)}" '
        f'height="18" fill="{CARD}"/>'
        + devices_parts.tube([(x + half, height + slope * half), *line[1:]], fill, "sensing-line-below")
        + rags
        + parts.cloud(x + 3, height + 6, 0.0, "line-cloud")
    )


def _rag(x: float, y: float, side: int) -> list[Point]:
    """The ragged end of a tube."""
    return [(x, y - 8), (x + side * 3, y - 3), (x, y + 2), (x + side * 3, y + 8)]
