"""The external relief valve on its pipe, cut open: isolating valve, nozzle, disk, spring, stack.

Gas stands under the disk and pushes it up; the spring pushes it down. Above the set pressure the disk lifts and gas
goes up the stack. The bores of nozzle and stack are in the proportions of the simulated valve.
"""

from __future__ import annotations

from typing import Final

from toolkit.devices.relief_valve import ReliefValve
from toolkit.figures import devices_parts, parts
from toolkit.figures.devices_card import AIR_FILL, HELD, LOW, RAISED, WIDTH, Label, Said, card, fills, said
from toolkit.figures.devices_parts import BORE
from toolkit.figures.parts import EDGE, STEEL, WALL, num

_VALVE = ReliefValve()
PER_METRE: Final = 720.0  # units of the drawing for a metre of bore
HOLE: Final = PER_METRE * _VALVE.orifice_diameter
STACK: Final = PER_METRE * _VALVE.stack_bore
LIFT: Final = 15.0

X, AXIS = 250.0, 452.0  # of the valve, of the pipe
SEAT: Final = 276.0
LEFT, RIGHT, TOP, BOTTOM = 204.0, 296.0, 226.0, 318.0  # of the body's inside
BONNET: Final = (72.0, 30.0)  # top of the spring's room and half its width
STACK_X, STACK_TOP = 392.0, 74.0

RELIEF_VALVE: Final = {
    "shut": Said(
        "Relief valve: shut",
        "Relief valve on the outlet pipe, cut open: it is shut, as the spring presses the disk on the nozzle harder "
        "than the gas beneath pushes it up, and the stack is empty.",
    ),
    "open": Said(
        "Relief valve: open",
        "Relief valve on the outlet pipe, cut open: it is open, as the pressure has risen past the setting and lifts "
        "the disk against the spring; gas goes up the stack to a safe place outdoors.",
    ),
}


def relief_valve_svg(state: str = "shut") -> str:
    """The relief valve, `state` "shut" or "open".

    Raises:
        ScenarioError: another state.
    """
    words, name = said(RELIEF_VALVE, state, "relief_valve_svg.state"), f"device-relief-valve-{state}"
    lifted = state == "open"
    levels = {"pipe": RAISED if lifted else HELD, "stack": LOW if lifted else 0.0}
    gas = fills(name, levels)
    blown = gas["stack"] if lifted else AIR_FILL
    face, screw = SEAT - (LIFT if lifted else 0), BONNET[0] + 34
    body = (
        parts.pipe([(X, AXIS - 8), (X, BOTTOM + 20)], STACK, gas["pipe"], "riser"),
        parts.pipe([(-4, AXIS), (WIDTH + 4, AXIS)], BORE, gas["pipe"], "outlet-pipe"),
        f'<rect x="{num(X - STACK / 2)}" y="{num(AXIS - BORE / 2 - 7)}" width="{num(STACK)}" height="12" '
        f'fill="{gas["pipe"]}"/>',
        parts.pipe([(RIGHT - 2, 272), (STACK_X, 272), (STACK_X, STACK_TOP)], STACK, blown, "stack"),
        _drain(),
        _rain_cap(lifted),
        devices_parts.body(LEFT, TOP, RIGHT, BOTTOM, blown),
        devices_parts.way(RIGHT, 272, STACK, blown),
        _nozzle(gas["pipe"]),
        devices_parts.cock(X, 384, STACK, True, gas["pipe"], "isolating-valve"),
        parts.padlock(X + STACK * 0.75 + 17, 384, "lock"),
        devices_parts.body(X - BONNET[1], BONNET[0], X + BONNET[1], TOP - 10, AIR_FILL),
        parts.block(X - BONNET[1] - 6, TOP - 13, 2 * BONNET[1] + 12, 12, WALL, 1),  # the guide between the two rooms
        parts.spring(X, screw, face - 96, 19, 5, 3.4, "spring"),
        parts.block(X - 24, face - 96, 48, 6, STEEL, 1),
        parts.block(X - 3.5, face - 96, 7, 88, STEEL),
        devices_parts.disk(X, face, HOLE / 2 + 8, "relief-disk", SEAT - face, up=False),
        parts.block(X - 26, screw - 7, 52, 7, STEEL, 1),
        parts.block(X - 6, BONNET[0] - 18, 12, screw - BONNET[0] + 12, STEEL, 1),
        parts.block(X - 13, BONNET[0] - 9, 26, 8, STEEL, 1),
        *_flows(lifted, face),
    )
    where = "to a safe place\noutdoors"
    labels = (
        Label("adjusting screw", 10, 66, ((X - 6, 62),)),
        Label("spring", 10, 122, ((X - 19, (screw + face - 96) / 2),)),
        Label("disk", 10, 232, ((120, 227), (X - 15, face - 8)), "lifted" if lifted else "on the nozzle", acts=lifted),
        Label("nozzle", 10, 290, ((120, 285), (X - HOLE / 2 - 4, SEAT + 14))),
        Label("isolating valve", 10, 380, ((X - STACK * 0.75, 384),), "locked open"),
        Label("outlet pipe", 10, 496, (), "above the setting" if lifted else "below the setting", acts=lifted),
        Label("rain cap", 460, 70, ((STACK_X + 14, STACK_TOP - 16 if lifted else STACK_TOP - 8),)),
        Label("stack", 460, 120, ((STACK_X, 150),), where),
        Label("drain", 460, 336, ((STACK_X, 297),)),
    )
    return card(name, words, 552, levels, body, labels)


def _nozzle(fill: str) -> str:
    """The nozzle in the body's floor; it narrows from the riser's bore to its own."""
    half, wide = HOLE / 2, STACK / 2
    jaws = "".join(
        f"M{num(X + side * half)} {num(SEAT)}H{num(X + side * (half + 5))}"
        f"L{num(X + side * (half + 9))} {num(SEAT + 12)}"
        f"V{num(BOTTOM + 1)}H{num(X + side * (wide + 5))}V{num(BOTTOM + 22)}H{num(X + side * wide)}"
        f"L{num(X + side * half)} {num(BOTTOM - 8)}Z"
        for side in (-1, 1)
    )
    way = (
        f"M{num(X - half)} {num(SEAT)}H{num(X + half)}V{num(BOTTOM - 8)}L{num(X + wide)} {num(BOTTOM + 24)}"
        f"H{num(X - wide)}L{num(X - half)} {num(BOTTOM - 8)}Z"
    )
    return (
        f'<path d="{way}" fill="{fill}"/>'
        f'<path data-part="nozzle" d="{jaws}" fill="{STEEL}" stroke="{EDGE}" stroke-width="1.2"/>'
    )


def _drain() -> str:
    """A hole at the lowest place of the stack, so that no water stands on the disk."""
    y = 272 + STACK / 2
    return (
        f'<path data-part="drain" d="M{num(STACK_X)} {num(y - 1)}v9" stroke="{EDGE}" stroke-width="8"/>'
        f'<path d="M{num(STACK_X)} {num(y - 2)}v11" stroke="{AIR_FILL}" stroke-width="5.6"/>'
    )


def _rain_cap(lifted: bool) -> str:
    """A loose cap that lies on the stack and that gas throws open."""
    half, turn = STACK / 2 + 9, -58 if lifted else 0
    hinge = STACK_X + half, STACK_TOP - 3
    return (
        f'<g data-part="rain-cap" transform="rotate({-turn} {num(hinge[0])} {num(hinge[1])})">'
        f"{parts.block(STACK_X - half, STACK_TOP - 7, 2 * half, 7, STEEL, 2)}</g>"
        f'<circle cx="{num(hinge[0])}" cy="{num(hinge[1])}" r="3.4" fill="{WALL}" stroke="{EDGE}"/>'
    )


def _flows(lifted: bool, face: float) -> tuple[str, ...]:
    if not lifted:
        return (parts.arrow([(470, AXIS), (490, AXIS)], 0.3, "flow"),)
    return (
        parts.arrow([(470, AXIS), (490, AXIS)], 0.3, "flow"),
        parts.arrow([(X, SEAT + 44), (X, SEAT + 16)], 0.7, "relief-flow"),
        parts.arrow([(X + HOLE / 2 + 4, face + 9), (X + 38, face + 9)], 0.2, "relief-flow"),
        parts.arrow([(STACK_X, 210), (STACK_X, 176)], 0.8, "relief-flow"),
        parts.arrow([(STACK_X - 4, STACK_TOP + 20), (STACK_X - 4, STACK_TOP - 22)], 0.8, "relief-flow"),
    )
