"""Worker and monitor in series, cut open: two straight-stem regulators whose sensing lines go to one point.

The stem goes straight from the diaphragm to the disk, where the service regulator of the bench has a lever between
them; what pushes on what is the same. The spring pushes the disk off its seat, outlet pressure under the diaphragm
pushes it on, and inlet pressure in the seat's hole helps the spring.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from toolkit.figures import devices_parts, parts
from toolkit.figures.devices_card import AIR_FILL, HELD, RAISED, SUPPLY, WIDTH, Label, Said, card, fills, said
from toolkit.figures.devices_parts import BORE, Dome
from toolkit.figures.parts import STEEL, WALL, num

TRAVEL: Final = 12.0  # of the disk
HOLE, DISK_HALF = 11.0, 16.0  # half of the seat's hole, of the disk
SEAT: Final = 6.5  # underside of the seat below the axis
BODY: Final = 54.0  # half width of the body
TOP, LOW = -40.0, 40.0  # of the body's inside, from the axis
PORT: Final = -100.0  # where a sensing line enters the dome, from the axis

MONITOR: Final = {
    "at rest": Said(
        "Worker and monitor: the worker holds",
        "Worker and monitor in series, cut open: both sense the outlet; the worker throttles and holds it, and the "
        "monitor, whose spring is set higher, stands wide open, so that interstage pressure is near inlet pressure.",
    ),
    "at work": Said(
        "Worker and monitor: the monitor holds",
        "Worker and monitor in series, cut open: grit holds the worker's disk off its seat, the outlet has risen to "
        "the monitor's set point, and the monitor throttles and holds it there, so that interstage pressure has "
        "fallen.",
    ),
}


@dataclass(frozen=True)
class Stage:
    """A straight-stem regulator at `x` on the axis `y`: the disk's lift in shares of its travel, and fills.

    `screw` 0 to 1 is how far the spring's screw is turned in.
    """

    x: float
    y: float
    lift: float
    screw: float
    inlet: str
    outlet: str
    sensed: str
    grit: bool = False
    hump: float = 9.0

    @property
    def dome(self) -> Dome:
        """Its dome."""
        y = self.y
        return Dome(self.x, y - 222, y - 152, y - 120, y - 82, half=56, tower=25, plate=34)

    @property
    def plate(self) -> float:
        """Height of the diaphragm's middle."""
        return self.y - 125 + TRAVEL * self.lift

    @property
    def face(self) -> float:
        """Height of the disk's face."""
        return self.y + SEAT + TRAVEL * self.lift


def stage(s: Stage, part: str) -> str:
    """The regulator, cut open; pipes are drawn by whoever joins it."""
    x, y, left, right = s.x, s.y, s.x - BODY, s.x + BODY
    inside = f"M{num(left)} {num(y + TOP)}H{num(x + 25)}V{num(y + SEAT - 4)}H{num(x - 25)}V{num(y + LOW)}H{num(left)}Z"
    walls = (
        f"M{num(x - 25)} {num(y + LOW)}V{num(y + SEAT - 4)}H{num(x - HOLE)}"
        f"M{num(x + HOLE)} {num(y + SEAT - 4)}H{num(x + 25)}V{num(y + TOP)}"
    )
    screw = y - 214 + 18 * s.screw
    return "".join(
        (
            f'<g data-part="{part}" data-lift="{num(s.lift)}">',
            devices_parts.vent((x - 50, y - 140), (x - 78, y - 112), 7),
            devices_parts.body(left, y + TOP, right, y + LOW, s.outlet),
            f'<path d="{inside}" fill="{s.inlet}"/>',
            devices_parts.way(left, y, BORE, s.inlet),
            devices_parts.way(right, y, BORE, s.outlet),
            devices_parts.web(walls),
            devices_parts.dome(s.dome, s.plate, s.sensed, AIR_FILL, s.hump),
            parts.block(x - 11, y - 82, 22, 46, WALL, 2),  # the guide, in which the stem is sealed
            parts.block(x - 3, s.plate, 6, s.face - s.plate + 4, STEEL),
            devices_parts.disk(x, s.face, DISK_HALF, "disk", s.face - y - SEAT),
            devices_parts.grit(x + HOLE + 2, y + SEAT, s.face - y - SEAT) if s.grit else "",
            devices_parts.diaphragm(s.dome, s.plate, s.hump),
            parts.spring(x, screw, s.plate - 6, 17, 5, 3.0, "main-spring"),
            parts.block(x - 24, screw - 9, 48, 9, STEEL, 2),
            "</g>",
        )
    )


def monitor_svg(state: str = "at rest") -> str:
    """Worker and monitor, `state` "at rest" (the worker holds) or "at work" (the monitor does).

    Raises:
        ScenarioError: another state.
    """
    words, name = said(MONITOR, state, "monitor_svg.state"), f"device-monitor-{state.replace(' ', '-')}"
    work = state == "at work"
    levels = {"inlet": SUPPLY, "between": RAISED if work else SUPPLY, "outlet": HELD + (0.1 if work else 0)}
    gas = fills(name, levels)
    y, lane = 300.0, 46.0
    watching = Stage(180, y, 0.3 if work else 1.0, 0.8, gas["inlet"], gas["between"], gas["outlet"])
    working = Stage(396, y, 0.6 if work else 0.3, 0.3, gas["between"], gas["outlet"], gas["outlet"], grit=work)
    taps, port, top = (494.0, 512.0), y + PORT, y - BORE / 2 - 5
    drop = watching.x + 82
    body = (
        parts.pipe([(-4, y), (watching.x, y)], BORE, gas["inlet"], "inlet-pipe"),
        parts.pipe([(288, y - 10), (288, y - 40)], 6, gas["between"], "gauge-pipe"),
        parts.pipe([(590, y - 10), (590, y - 40)], 6, gas["outlet"], "gauge-pipe"),
        parts.pipe([(watching.x, y), (working.x, y)], BORE, gas["between"], "interstage"),
        parts.pipe([(working.x, y), (WIDTH + 4, y)], BORE, gas["outlet"], "outlet-pipe"),
        parts.gauge(288, y - 62, 22, levels["between"], "interstage-gauge"),
        parts.gauge(590, y - 62, 22, levels["outlet"], "outlet-gauge"),
        stage(watching, "monitor"),
        stage(working, "worker"),
        devices_parts.tube([(working.x + 55, port), (taps[0], port), (taps[0], top)], gas["outlet"], "sensing-line"),
        devices_parts.tube(
            [(watching.x + 55, port), (drop, port), (drop, lane), (taps[1], lane), (taps[1], top)],
            gas["outlet"],
            "sensing-line",
        ),
        *(devices_parts.tap(x, top) for x in taps),
        *(parts.arrow([(x, y), (x + 20, y)], 0.4, "flow") for x in (60.0, 552.0)),
    )
    labels = (
        Label("main spring", 10, 98, ((112, 96), (watching.x - 16, 122)), "set higher"),
        Label("vent", 10, 160, ((watching.x - 72, 157),)),
        Label("diaphragm", 10, 226, ((104, 214), (watching.x - 44, watching.plate))),
        Label("seat", 10, 366, ((84, 342), (watching.x - 18, y + SEAT - 4))),
        Label("disk", 10, 394, ((84, 370), (watching.x - 13, watching.face + 8))),
        Label("monitor", watching.x, 372, (), "takes over" if work else "wide open", "middle", work),
        Label("interstage", 288, 372, (), "lower" if work else "near inlet", "middle"),
        Label("worker", working.x, 372, (), "grit on\nthe seat" if work else "holds", "middle", work),
        Label("outlet", 580, 340, (), "at monitor's\nset point" if work else "at worker's\nset point", "middle"),
        Label("sensing lines\nto one point", 534, 132, ((taps[1], 140),)),
    )
    return card(name, words, 432, levels, body, labels)
