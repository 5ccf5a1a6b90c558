"""The slam-shut, cut open: a disk that a spring throws on its seat, and the latch and trip that let it go.

A hook hangs beside the stem; the pawl on it carries the stem's collar, and the stem's load would swing the hook away.
A ring on the trip rod stands against the hook's roller and forbids that. The rod rides on a diaphragm. The low spring
always presses on it; the high spring's washer lies on a ledge and is met only from the middle on. So sensed pressure in
range holds the rod in the middle; too much lifts it against both springs, too little lets the low spring press it down,
and either way the ring leaves the roller, the hook swings, and the disk shuts.
For a reset the pressures are equalised through the by-pass, as inlet pressure holds the disk down; then the handle
draws the collar up past the pawl, which folds upwards only.
"""

from __future__ import annotations

import math
from typing import Final

from toolkit.figures import devices_parts, parts
from toolkit.figures.devices_card import AIR_FILL, HELD, LOW, RAISED, SUPPLY, WIDTH, Label, Said, card, fills, said
from toolkit.figures.devices_parts import BORE, DISK, Dome
from toolkit.figures.parts import EDGE, STEEL, WALL, WARN, num
from toolkit.figures.style import CARD

X, AXIS = 180.0, 412.0
BODY, TOP, FLOOR = 62.0, 364.0, 456.0  # half width of the body, heights of its inside
LOOP: Final = 506.0  # height of the by-pass under the body
LEGS: Final = ((64.0, "inlet"), (306.0, "behind"))  # its two legs, and the gas in each
SEAT: Final = 420.0
HOLE, DISK_HALF = 18.0, 23.0
FALL: Final = 34.0  # of the disk, open to shut
BONNET: Final = (284.0, 28.0)  # top and half width of the closing spring's room
COLLAR: Final = (178.0, 16.0)  # underside when held, half width
HANDLE: Final = 50.0  # height of the reset handle when open
PIVOT: Final = (242.0, 110.0)
ROLLER: Final = (260.0, 204.0, 7.0)  # place when armed, and radius
SWING: Final = 10.0  # degrees: carries the pawl's tip clear of the collar
TIP: Final = X + 6.0  # of the pawl
ROD_X: Final = 290.0
RING: Final = (23.0, 5.0)  # half width and half height of the ring on the trip rod
STROKE: Final = 17.0  # of the trip rod from the middle, more than half the ring and the roller take
MIDDLE: Final = 326.0  # height of the trip diaphragm in range
HUB, LEDGE = 30.0, 296.0  # height of the diaphragm's hub; height of the ledge and, in range, of the hub's top

SLAM_SHUT: Final = {
    "armed": Said(
        "Slam-shut: armed",
        "Slam-shut ahead of the regulators, cut open: outlet pressure is in range and holds the trip rod in the "
        "middle, where its ring keeps the latch under the stem's collar and the disk off its seat.",
    ),
    "tripped high": Said(
        "Slam-shut: tripped on high pressure",
        "Slam-shut ahead of the regulators, cut open: outlet pressure has risen and lifted the trip rod against both "
        "springs, the latch has swung away, and the closing spring has thrown the disk on its seat.",
    ),
    "tripped low": Said(
        "Slam-shut: tripped on low pressure",
        "Slam-shut ahead of the regulators, cut open: outlet pressure is lost, the low spring has pressed the trip rod "
        "down, the latch has swung away, and the closing spring has thrown the disk on its seat.",
    ),
}


def slam_shut_svg(state: str = "armed") -> str:
    """The slam-shut, `state` "armed", "tripped high" or "tripped low".

    Raises:
        ScenarioError: another state.
    """
    words, name = said(SLAM_SHUT, state, "slam_shut_svg.state"), f"device-slam-shut-{state.replace(' ', '-')}"
    armed, high = state == "armed", state == "tripped high"
    sensed = HELD if armed else RAISED if high else LOW
    levels = {"inlet": SUPPLY, "behind": SUPPLY if armed else sensed, "outlet": sensed}
    gas = fills(name, levels)
    shift = 0.0 if armed else -STROKE if high else STROKE
    fall = 0.0 if armed else FALL
    line = [(ROD_X + 50, 337.0), (576.0, 337.0), (576.0, AXIS - BORE / 2 - 5)]
    body = (
        *(parts.pipe([(x, AXIS + 8), (x, LOOP)], 11, gas[fill], "by-pass") for x, fill in LEGS),
        *(parts.pipe([(x, LOOP - 6), (x, LOOP), (X, LOOP)], 11, gas[fill], "by-pass") for x, fill in LEGS),
        parts.pipe([(-4, AXIS), (X, AXIS)], BORE, gas["inlet"], "inlet-pipe"),
        parts.pipe([(X, AXIS), (440, AXIS)], BORE, gas["behind"], "pipe"),
        parts.pipe([(440, AXIS), (WIDTH + 4, AXIS)], BORE, gas["outlet"], "outlet-pipe"),
        *(
            f'<rect x="{num(x - 5.5)}" y="{num(AXIS + 10)}" width="11" height="16" fill="{gas[fill]}"/>'
            for x, fill in LEGS
        ),
        f'<g transform="rotate(90 {num(X)} {num(LOOP)})">',
        devices_parts.cock(X, LOOP, 13, False, gas["inlet"], "by-pass-valve"),
        "</g>",
        parts.block(398, AXIS - 32, 84, 64, WALL, 6),
        devices_parts.body(X - 28, 98, ROD_X + 60, 236, AIR_FILL),  # the housing of latch and trip
        _valve(gas, fall),
        devices_parts.tube(line, gas["outlet"], "sensing-line"),
        devices_parts.tap(576, AXIS - BORE / 2 - 5),
        _trip(gas["outlet"], shift),
        _latch(armed),
        *(parts.arrow([(x, AXIS), (x + 20, AXIS)], 0.5, "flow") for x in (78.0, 330.0, 520.0) if armed),
    )
    inside = "in range" if armed else "too high" if high else "too low"
    labels = (
        Label("reset handle", 10, HANDLE + 5 + fall, ((X - 26, HANDLE + fall),)),
        Label("collar", 10, 176 + fall, ((X - 14, 171 + fall),)),
        Label("closing spring", 10, 308, ((X - 17, 320),)),
        Label(
            "disk",
            10,
            344,
            ((104, 339), (X - 22, SEAT - FALL + fall - 8)),
            "held open" if armed else "shut",
            acts=not armed,
        ),
        Label("latch", 400, 116, ((PIVOT[0] + 4, 130),), "" if armed else "swung away", acts=not armed),
        Label("trip rod", 400, 164, ((ROD_X + 3, 176 + shift / 2),)),
        Label("high spring", 400, 222, ((ROD_X + 26, 255),)),
        Label("low spring", 400, 254, ((ROD_X + 9, LEDGE + shift - 8),)),
        Label("trip diaphragm", 400, 290, ((ROD_X + 38, MIDDLE + shift / 2 - 3),)),
        Label("sensing line", 530, 316, ((560, 337),)),
        Label("inlet", 10, 452),
        Label("regulators", 440, 468, (), "", "middle"),
        Label("outlet", 576, 452, (), inside, "middle", not armed),
        Label("equalising by-pass", 340, 514, ((312, 500),), "shut"),
    )
    return card(name, words, 572, levels, body, labels)


def _valve(gas: dict[str, str], fall: float) -> str:
    """Body and bonnet, and what moves in them: disk, closing spring, stem with its collar, handle."""
    left, right, (top, half) = X - BODY, X + BODY, BONNET
    seat = SEAT + 4  # middle of the web
    inlet = (
        f"M{num(left)} {num(TOP)}H{num(X + 34)}V{num(seat)}H{num(X - 34)}V{num(FLOOR)}H{num(left)}Z"
        f"M{num(X - half)} {num(TOP - 8)}h{num(2 * half)}v10h{num(-2 * half)}Z"
    )
    walls = (
        f"M{num(X - 34)} {num(FLOOR)}V{num(seat)}H{num(X - HOLE)}M{num(X + HOLE)} {num(seat)}H{num(X + 34)}V{num(TOP)}"
    )
    face, handle = SEAT - FALL + fall, HANDLE + fall
    collar, wide = COLLAR[0] + fall, COLLAR[1]
    return "".join(
        (
            devices_parts.body(X - half, top, X + half, TOP, gas["inlet"]),
            devices_parts.body(left, TOP, right, FLOOR, gas["behind"]),
            f'<path d="{inlet}" fill="{gas["inlet"]}"/>',
            devices_parts.way(left, AXIS, BORE, gas["inlet"]),
            devices_parts.way(right, AXIS, BORE, gas["behind"]),
            devices_parts.web(walls),
            parts.spring(X, top + 1, face - DISK, 17, 5, 3.2, "closing-spring"),
            parts.block(X - 13, top - 16, 26, 17, WALL, 2),  # the packing
            parts.block(X - 3.5, handle, 7, face - DISK - handle + 2, STEEL),
            devices_parts.disk(X, face, DISK_HALF, "shut-disk", SEAT - face, up=False),
            f'<g data-part="collar" data-y="{num(collar)}">'
            f"{parts.block(X - wide, collar - 9, 2 * wide, 9, STEEL, 2)}</g>",
            parts.block(X - 28, handle - 7, 56, 13, WARN, 6),
        )
    )


def _trip(sensed: str, shift: float) -> str:
    """The trip: diaphragm, two springs, and the rod with its ring; `shift` is how far the rod is off the middle."""
    dome = Dome(ROD_X, 240, 308, MIDDLE, 348, half=52, tower=44, plate=28)
    plate, hub = MIDDLE + shift, LEDGE + shift
    washer = min(LEDGE, hub)
    wide, high = RING
    middle = ROLLER[1] + shift
    ring = [
        (ROD_X - wide, middle - high + 3),
        (ROD_X - wide + 4, middle - high),
        (ROD_X + wide - 4, middle - high),
        (ROD_X + wide, middle - high + 3),
        (ROD_X + wide, middle + high - 3),
        (ROD_X + wide - 4, middle + high),
        (ROD_X - wide + 4, middle + high),
        (ROD_X - wide, middle + high - 3),
    ]
    return "".join(
        (
            f'<g data-part="trip" data-shift="{num(shift)}">',
            devices_parts.dome(dome, plate, sensed, AIR_FILL, 5.0),
            devices_parts.diaphragm(dome, plate, 5.0),
            *(parts.block(ROD_X + x, LEDGE, 10, 6, WALL, 1) for x in (-44, 34)),
            parts.spring(ROD_X, 250, washer - 5, 26, 4, 2.6, "high-spring"),
            parts.spring(ROD_X, 250, hub, 9, 4, 1.7, "low-spring"),
            *(parts.block(ROD_X + x, washer - 5, 26, 5, STEEL, 1) for x in (-40, 14)),
            parts.block(ROD_X - 26, hub, 52, plate - hub - 5, STEEL, 2),
            *(parts.block(ROD_X + x, 243, 27, 7, STEEL, 1) for x in (-41, 14)),
            parts.block(ROD_X - 13, 243, 26, 7, STEEL, 1),
            parts.block(ROD_X - 4, 160 + shift, 8, hub - 160 - shift + 1, STEEL, 1),
            f'<polygon points="{parts.pairs(ring)}" fill="{STEEL}" stroke="{EDGE}" stroke-width="1.2"/></g>',
        )
    )


def _latch(armed: bool) -> str:
    """The hook on its pivot, with the pawl lying on its arm and the roller at its foot; swung away unless armed."""
    (px, py), (rx, ry, radius), under = PIVOT, ROLLER, COLLAR[0]
    hook = [
        (px - 6, py),
        (px + 6, py),
        (px + 6, ry - 4),
        (rx, ry - 4),
        (rx, ry + 4),
        (px - 6, ry + 4),
        (px - 6, under + 18),
        (TIP + 22, under + 18),
        (TIP + 22, under + 9),
        (px - 6, under + 9),
    ]
    pin = f'stroke="{EDGE}" stroke-width="1.5" fill="{CARD}"'
    turn = 0.0 if armed else -SWING
    return "".join(
        (
            parts.block(px - 11, py - 13, 22, 13, WALL, 1),
            f'<g data-part="latch" data-turn="{num(turn)}" transform="rotate({num(turn)} {num(px)} {num(py)})">',
            f'<polygon points="{parts.pairs(hook)}" fill="{STEEL}" stroke="{EDGE}" stroke-width="1.4" '
            'stroke-linejoin="round"/>',
            parts.block(TIP, under + 0.6, px + 3 - TIP, 8, WALL, 2),
            f'<circle cx="{num(px - 2)}" cy="{num(under + 4.6)}" r="2.6" {pin}/>',
            f'<circle cx="{num(rx)}" cy="{num(ry)}" r="{num(radius)}" {pin}/></g>',
            f'<circle cx="{num(px)}" cy="{num(py)}" r="4" {pin}/>',
        )
    )


def swung(x: float, y: float, armed: bool) -> parts.Point:
    """Where a point of the armed hook stands; tripped, it has turned about its pivot, the foot away from the stem."""
    (px, py), turn = PIVOT, math.radians(0.0 if armed else SWING)
    dx, dy = x - px, y - py
    return px + dx * math.cos(turn) + dy * math.sin(turn), py - dx * math.sin(turn) + dy * math.cos(turn)
