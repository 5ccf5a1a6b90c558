"""A regulator with a second seat on the same stem: the integral overpressure device, cut open.

Gas passes the first seat, then the second. The first disk slides on the stem and an overtravel spring under it presses
it against a collar; the second disk is fast on the stem's end, further from its seat than the first. Where something
holds the first disk off, rising pressure under the diaphragm draws the stem on against the overtravel spring until the
second disk throttles. Holes and travels are in the proportions of the simulated regulator and its second seat.
"""

from __future__ import annotations

from typing import Final

from toolkit.devices.regulator import Regulator, SecondSeat
from toolkit.figures import devices_parts, parts
from toolkit.figures.devices_card import AIR_FILL, HELD, RAISED, SUPPLY, WIDTH, Label, Said, card, fills, said
from toolkit.figures.devices_parts import BORE, DISK, Dome
from toolkit.figures.parts import STEEL, WALL, num

_SEAT, _REGULATOR = SecondSeat(), Regulator()
PER_METRE: Final = 6000.0  # units of the drawing for a metre of travel: 1.6 mm of lift are seen as 9.5 units
HOLES_PER_METRE: Final = 3600.0  # holes are drawn smaller than travels
TRAVEL: Final = PER_METRE * _REGULATOR.travel
SECOND_TRAVEL: Final = PER_METRE * _SEAT.travel
HOLE: Final = HOLES_PER_METRE * _REGULATOR.orifice_diameter / 2
SECOND_HOLE: Final = HOLES_PER_METRE * _SEAT.orifice_diameter / 2
GRIT: Final = 0.4 * TRAVEL
THROTTLED: Final = 3.0  # gap of the second disk while it holds
SPRING_ROOM: Final = 38.0  # of the overtravel spring at rest

X, AXIS = 300.0, 268.0
LEFT, RIGHT, TOP, LOW = 205.0, 395.0, 242.0, 430.0  # of the body's inside
WALL_X: Final = 346.0  # of the web between the middle room and the outlet
PASSAGE_X, VENT_X, GAUGE_X = 366.0, 160.0, 596.0
FIRST, SECOND = 293.0, 378.0  # undersides of the seats
SHAFT: Final = 6.0  # width of the stem

SECOND_SEAT: Final = {
    "at rest": Said(
        "Second seat: at rest",
        "Regulator with a second seat, cut open: the first disk throttles and holds the outlet, and the second disk "
        "on the same stem stands clear of its seat.",
    ),
    "at work": Said(
        "Second seat: it holds",
        "Regulator with a second seat, cut open: grit holds the first disk off its seat, outlet pressure has risen "
        "and draws the stem on against the overtravel spring, and the second disk throttles at that higher pressure.",
    ),
}


def second_seat_svg(state: str = "at rest") -> str:
    """The regulator with its second seat "at rest" or "at work".

    Raises:
        ScenarioError: another state.
    """
    words, name = said(SECOND_SEAT, state, "second_seat_svg.state"), f"device-second-seat-{state.replace(' ', '-')}"
    work = state == "at work"
    lift = GRIT if work else 0.5 * TRAVEL
    # How far the stem stands below where the first disk would be shut; a second disk near its seat needs it above.
    stem = THROTTLED - SECOND_TRAVEL if work else lift
    first, second = FIRST + lift, SECOND + SECOND_TRAVEL + stem
    collar = FIRST + DISK + SPRING_ROOM + stem  # at rest the disk lies on the stop above it
    levels = {
        "inlet": SUPPLY,
        "middle": SUPPLY - 0.05 if work else HELD,
        "outlet": RAISED - 0.1 if work else HELD,
    }
    gas = fills(name, levels)
    dome = Dome(X, 44, 112, 148, 192, half=88, tower=32, plate=56)
    plate = 143 + stem
    body = (
        parts.pipe([(-4, AXIS), (LEFT, AXIS)], BORE, gas["inlet"], "inlet-pipe"),
        parts.pipe([(RIGHT, AXIS), (WIDTH + 4, AXIS)], BORE, gas["outlet"], "outlet-pipe"),
        parts.pipe([(GAUGE_X, AXIS - 10), (GAUGE_X, AXIS - 40)], 6, gas["outlet"], "gauge-pipe"),
        parts.gauge(GAUGE_X, AXIS - 62, 22, levels["outlet"], "outlet-gauge"),
        devices_parts.vent((214, 124), (VENT_X, 158), 9),
        _rooms(gas),
        devices_parts.dome(dome, plate, gas["outlet"], AIR_FILL),
        parts.block(X - 13, dome.low, 26, TOP - dome.low + 4, WALL, 2),
        parts.pipe([(PASSAGE_X, 188), (PASSAGE_X, 246)], 9, gas["outlet"], "passage"),
        parts.block(X - SHAFT / 2, plate, SHAFT, second - plate + 4, STEEL),
        devices_parts.disk(X, second, SECOND_HOLE + 5, "second-disk", second - SECOND),
        parts.spring(X, first + DISK, collar, 11, 4, 1.8, "overtravel-spring"),
        parts.block(X - 15, collar, 30, 5, STEEL, 1),
        parts.block(X - 8, first - 5 + stem - lift, 16, 5, STEEL, 1),
        devices_parts.disk(X, first, HOLE + 6, "first-disk", first - FIRST),
        devices_parts.grit(X + HOLE + 2, FIRST, first - FIRST) if work else "",
        devices_parts.diaphragm(dome, plate),
        parts.spring(X, 68, plate - 6, 22, 4, 3.6, "main-spring"),
        parts.block(X - 31, 58, 62, 10, STEEL, 2),
        *(parts.arrow([(x, AXIS), (x + 20, AXIS)], 0.4, "flow") for x in (120.0, 440.0)),
        parts.arrow([(264, SECOND - 30), (278, SECOND - 20)], 0.0, "flow"),
    )
    labels = (
        Label("main spring", 10, 92, ((150, 87), (X - 22, 103))),
        Label("vent", 10, 134, ((VENT_X - 5, 129),)),
        Label("diaphragm", 10, 196, ((120, 191), (X - 72, 141 + 0.7 * stem))),
        Label("stem", 10, 232, ((120, 227), (X - SHAFT / 2, 180))),
        Label("passage from\nthe outlet", 440, 186, ((PASSAGE_X + 4, 216),)),
        Label("inlet", 10, 310, (), "at supply"),
        Label("first disk", 10, 354, ((120, 349), (X - 14, first + 8)), "held off" if work else "throttles", acts=work),
        Label("second disk", 10, 402, ((130, 397), (X - 18, second + 8)), "throttles" if work else "clear", acts=work),
        Label("outlet", 584, 310, (), "higher" if work else "at set point", "middle"),
        Label("first seat", 440, 314, ((X + HOLE + 24, FIRST - 4),)),
        Label("overtravel spring", 440, 348, ((X + 11, (first + DISK + collar) / 2),), "squeezed" if work else ""),
        Label("second seat", 440, 400, ((X + SECOND_HOLE + 12, SECOND - 4),)),
    )
    return card(name, words, 470, levels, body, labels)


def _rooms(gas: dict[str, str]) -> str:
    """The body in three rooms: before the first seat, between the seats, behind the second."""
    half = 4.0  # of a web
    first, second = FIRST - half, SECOND - half
    walls = (
        f"M{num(LEFT)} {num(first)}H{num(X - HOLE)}M{num(X + HOLE)} {num(first)}H{num(WALL_X)}"
        f"M{num(LEFT)} {num(second)}H{num(X - SECOND_HOLE)}"
        f"M{num(X + SECOND_HOLE)} {num(second)}H{num(WALL_X)}V{num(TOP)}"
    )
    rooms = "".join(
        f'<rect x="{num(LEFT)}" y="{num(top)}" width="{num(WALL_X - LEFT)}" height="{num(low - top)}" fill="{fill}"/>'
        for top, low, fill in ((TOP, first, gas["inlet"]), (first, second, gas["middle"]))
    )
    return "".join(
        (
            devices_parts.body(LEFT, TOP, RIGHT, LOW, gas["outlet"]),
            rooms,
            devices_parts.way(LEFT, AXIS, BORE, gas["inlet"]),
            devices_parts.way(RIGHT, AXIS, BORE, gas["outlet"]),
            devices_parts.web(walls),
        )
    )
