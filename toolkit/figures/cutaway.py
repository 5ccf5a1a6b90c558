"""The pieces of the cut-open service regulator, each drawn where the moving parts stand.

A spring-loaded, lever-type, low-pressure regulator seen from the side. Gas comes from the left through the orifice and
against the disk. Outlet pressure under the diaphragm lifts it against the main spring; the lever turns, and the disk
goes to the orifice. When the diaphragm sinks, the disk moves away. The post that carries the lever's end goes up
through the diaphragm's centre: a pad on it closes the relief opening from below, and the relief spring between the
diaphragm's plate and the nut on the post holds the diaphragm down on the pad. Once the disk is stopped (by the seat, or
by what lies on it) and the pressure still rises, the diaphragm goes up alone, off the pad: the relief is open.

Travel is drawn larger than it is, and so is debris.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from toolkit.figures import parts
from toolkit.figures.parts import EDGE, RUBBER, STEEL, WALL, WARN, num, share
from toolkit.figures.style import CARD, INK
from toolkit.figures.views import DebrisView, RegulatorView

CENTRE: Final = 300.0  # x of the spring, the diaphragm and the post
AXIS: Final = 312.0  # y of the pipes, the orifice and the stem
BORE: Final = 32.0
LIP: Final = 240.0  # x of the orifice's edge, where the disk seals
ORIFICE: Final = 8.0  # half of the orifice's bore
DISK_TRAVEL: Final = 20.0
PIVOT: Final = (372.0, 276.0)
SHORT_ARM: Final = 36.0
LONG_ARM: Final = 72.0
PLATE_SHUT: Final = 178.0  # y of the diaphragm's middle with the disk on its seat
RELIEF_TRAVEL: Final = 13.0
CLAMP: Final = (115.0, 196.0)  # half width and y of the diaphragm's edge
PLATE: Final = 62.0  # half width of the plates
HOLE: Final = 10.0  # half width of the relief opening
VENT_END: Final = (490.0, 70.0)


@dataclass(frozen=True)
class Pose:
    """Where the moving parts stand, in units of the drawing."""

    disk: float  # x of the disk's face
    plate: float  # y of the diaphragm's middle
    pad: float  # y of the relief pad's face, on the post
    arm_end: tuple[float, float]
    stem_end: tuple[float, float]
    screw: float  # y of the spring's upper seat
    nut: float  # y of the underside of the relief's nut


def drawn_lift(lift: float) -> float:
    """Share of the drawn travel for a share of the true one: small lifts, where a regulator lives, are stretched."""
    return float(share(lift) ** 0.6)


def pose(view: RegulatorView) -> Pose:
    """Where the moving parts stand in the state `view`."""
    lift = drawn_lift(view.lift)
    # The bell crank turns from -swing to +swing over the travel; the disk moves by 2 * SHORT_ARM * sin(swing).
    sine = DISK_TRAVEL / (2 * SHORT_ARM) * (2 * lift - 1)
    cosine = math.sqrt(1 - sine * sine)
    px, py = PIVOT
    arm_end = (px - LONG_ARM * cosine, py + LONG_ARM * sine)
    shut = PLATE_SHUT + LONG_ARM / SHORT_ARM * DISK_TRAVEL * lift
    pad = shut + 2.5
    return Pose(
        disk=LIP + DISK_TRAVEL * lift,
        plate=shut - RELIEF_TRAVEL * share(view.relief_lift),
        pad=pad,
        arm_end=arm_end,
        stem_end=(px + SHORT_ARM * sine, AXIS),
        screw=56 + 30 * share(view.spring_setting),
        nut=pad - 44 + 8 * share(view.relief_spring),
    )


def pipes(view: RegulatorView, inlet: str, outlet: str, hatch: str) -> str:
    """Supply pipe with valve and filter, outlet pipe with gauge and burners; the last three are fills."""
    burning = share(view.demand) if share(view.outlet_level) > 0 else 0.0
    risers = "".join(
        parts.pipe([(x, AXIS - 10), (x, 270)], 8, outlet, "riser") + parts.burner(x, 270, burning, "flame")
        for x in (574.0, 608.0)
    )
    return "".join(
        (
            parts.pipe([(-4, AXIS), (224, AXIS)], BORE, inlet, "inlet-pipe"),
            parts.ball_valve(44, AXIS, BORE, view.inlet_open, inlet, "inlet-valve"),
            parts.filter_bowl(134, AXIS, BORE, view.filter_blocked, inlet, hatch, "filter"),
            risers,
            parts.pipe([(506, AXIS - 12), (506, 270)], 6, outlet, "gauge-pipe"),
            parts.pipe([(410, AXIS), (626, AXIS)], BORE, outlet, "outlet-pipe"),
            parts.block(624, AXIS - BORE / 2 - 7, 8, BORE + 14, WALL, 2),
            parts.gauge(506, 246, 27, view.outlet_level, "outlet-gauge"),
        )
    )


def _ring(pose: Pose, side: int) -> list[parts.Point]:
    """Bezier points of the diaphragm's flexible ring at `side` (-1 left, 1 right), from the clamp to the plate."""
    half, y = CLAMP
    hump = 13.0  # the ring bulges up, because the pressure is below it
    ends = [(half, y), (half - 22, y - hump), (PLATE + 20, pose.plate - hump), (PLATE, pose.plate)]
    return [(CENTRE + side * x, height) for x, height in ends]


def _curve(points: list[parts.Point]) -> str:
    """The curve through `points` as path data, without its first point."""
    return "C" + " ".join(f"{num(x)} {num(y)}" for x, y in points[1:])


def left_ring_point(pose: Pose, t: float) -> parts.Point:
    """A point of the left ring: `t` 0 is the clamp, 1 the plate's edge."""
    weights = ((1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t * t * (1 - t), t**3)
    points = _ring(pose, -1)
    x, y = (sum(w * point[axis] for w, point in zip(weights, points, strict=True)) for axis in (0, 1))
    return x, y


def body(pose: Pose, outlet: str, case: str) -> str:
    """Walls and gas of the case above the diaphragm and of the body below it."""
    half, y = CLAMP
    left, right, tower = CENTRE - half, CENTRE + half, 44.0
    start, end = f"M{num(left)} {num(y)}", f"{num(right)} {num(y)}"
    over = (
        f"C{left} 160 {left + 4} 152 {left + 30} 147L{CENTRE - tower - 14} 142"
        f"Q{CENTRE - tower} 140 {CENTRE - tower} 128V26H{CENTRE + tower}V128"
        f"Q{CENTRE + tower} 140 {CENTRE + tower + 14} 142L{right - 30} 147C{right - 4} 152 {right} 160 {end}"
    )
    under = (
        f"C{left} 232 {left + 8} 240 {left + 26} 246Q228 251 228 266V338Q228 350 240 350H406"
        f"Q418 350 418 338V272C418 246 {right} 236 {end}"
    )
    # Both gas spaces end at the diaphragm, wherever that stands.
    skin = _curve(_ring(pose, 1)) + f"H{num(CENTRE - PLATE)}" + _curve(_ring(pose, -1)[::-1]) + "Z"
    flange = "".join(
        parts.block(x, y - 8, 24, 16, WALL, 3) + f'<path d="M{x} {y}h24M{x + 12} {y - 12}v24" stroke="{EDGE}"/>'
        for x in (left - 27, right + 3)
    )
    way_out = f'<rect x="410" y="{num(AXIS - BORE / 2)}" width="16" height="{num(BORE)}" fill="{outlet}"/>'
    cap = parts.block(CENTRE - tower - 9, 13, 2 * tower + 18, 14, WALL, 5)
    return (
        parts.vessel(start + under, start + under + skin, outlet)
        + parts.vessel(start + over, start + over + skin, case)
        + flange
        + cap
        + way_out
    )


def seat(view: RegulatorView, inlet: str) -> str:
    """The orifice with its seat's edge, and a nick in it."""
    half = BORE / 2
    jaws = []
    for side in (-1, 1):
        mouth, rim, outer = AXIS + side * ORIFICE, AXIS + side * (ORIFICE + 3), AXIS + side * (half + 7)
        jaws.append(f"M200 {num(outer)}H230L{num(LIP)} {num(rim)}V{num(mouth)}H214L200 {num(AXIS + side * half)}Z")
    bore = f'<rect x="198" y="{num(AXIS - half)}" width="{num(LIP - 198)}" height="{num(BORE)}" fill="{inlet}"/>'
    nozzle = f'<path data-part="orifice" d="{"".join(jaws)}" fill="{STEEL}" stroke="{EDGE}" stroke-width="1.2"/>'
    nick = (
        f'<path data-part="nick" d="M{num(LIP + 1)} {num(AXIS - ORIFICE - 5)}l-8 5l8 4.5Z" fill="{CARD}" '
        f'stroke="{WARN}" stroke-width="1.6"/>'
        if view.seat_nicked
        else ""
    )
    return bore + nozzle + nick


def debris_piece(debris: DebrisView, pose: Pose) -> str:
    """A piece at the lower edge of the seat: hard ones are angular, soft ones round and squeezed by the disk."""
    height = max(DISK_TRAVEL * drawn_lift(debris.height), 4.0)
    gap = pose.disk - LIP
    x, y = LIP, AXIS + ORIFICE + 2
    if debris.hard:
        shape = (
            f'd="M{num(x)} {num(y - 6)}l{num(height * 0.7)} -2L{num(x + height)} {num(y + 1)}l{num(-height * 0.3)} 6'
            f'L{num(x)} {num(y + 6)}Z"'
        )
    else:
        squeezed = max(min(height, gap + 2.5), 3.0)
        tall = 6.5 * (height / squeezed) ** 0.5
        shape = (
            f'd="M{num(x)} {num(y - tall)}q{num(squeezed)} 0 {num(squeezed)} {num(tall)}t{num(-squeezed)} {num(tall)}Z"'
        )
    return f'<path data-part="debris" {shape} fill="{WARN}" stroke="{INK}" stroke-width="1.2" stroke-linejoin="round"/>'


def linkage(view: RegulatorView, pose: Pose) -> str:
    """Disk, stem, bell crank and the post up to the diaphragm."""
    (px, py), (ex, ey), (sx, sy), x = PIVOT, pose.arm_end, pose.stem_end, pose.disk
    crank = f'points="{num(ex)},{num(ey)} {px},{py} {num(sx)},{num(sy)}" fill="none" stroke-linejoin="round"'
    pin = f'r="3.4" fill="{CARD}" stroke="{EDGE}" stroke-width="1.6"'
    return "".join(
        (
            parts.block(312, AXIS - 9, 16, 47, WALL),  # the stem's guide, standing on the floor of the body
            parts.block(px, py - 7, 46, 14, WALL, 6),  # the pivot's bracket
            parts.block(x + 15, AXIS - 3.5, sx - x - 15, 7, STEEL),
            f'<g data-part="disk" data-x="{num(x)}">{parts.block(x + 6, AXIS - 17, 10, 34, STEEL, 2)}'
            f"{parts.block(x, AXIS - 15, 7, 30, RUBBER, 1)}</g>",
            parts.block(CENTRE - 3, pose.nut - 6, 6, ey - pose.nut + 6, STEEL),
            f'<g data-part="lever"><polyline {crank} stroke="{EDGE}" stroke-width="10" stroke-linecap="round"/>'
            f'<polyline {crank} stroke="{STEEL}" stroke-width="7.4" stroke-linecap="round"/></g>',
            "".join(f'<circle cx="{num(a)}" cy="{num(b)}" {pin}/>' for a, b in ((px, py), (ex, ey), (sx, sy))),
            parts.padlock(320, AXIS, "stuck") if view.stem_stuck else "",
        )
    )


def diaphragm(view: RegulatorView, pose: Pose) -> str:
    """The diaphragm with its plates and the relief opening in the middle, and the pad that closes it from below."""
    skin = f'fill="none" stroke="{RUBBER}" stroke-width="4.4" stroke-linejoin="round"'
    plates = "".join(
        parts.block(x, pose.plate - 7, PLATE - HOLE, 5, STEEL)
        + parts.block(x, pose.plate - 2, PLATE - HOLE, 4, RUBBER, 1)
        for x in (CENTRE - PLATE, CENTRE + HOLE)
    )
    return "".join(
        (
            f'<g data-part="diaphragm" data-y="{num(pose.plate)}" data-torn="{int(view.torn)}">',
            _torn_ring(pose, skin) if view.torn else _whole_ring(_ring(pose, -1), skin),
            _whole_ring(_ring(pose, 1), skin),
            plates,
            "</g>",
            f'<g data-part="relief-pad" data-gap="{num(pose.pad - pose.plate - 2.5)}">',
            parts.block(CENTRE - 17, pose.pad, 34, 4, RUBBER, 1),
            parts.block(CENTRE - 12, pose.pad + 4, 24, 4, STEEL),
            "</g>",
        )
    )


def _whole_ring(points: list[parts.Point], skin: str) -> str:
    x, y = points[0]
    return f'<path d="M{num(x)} {num(y)}{_curve(points)}" {skin}/>'


def _torn_ring(pose: Pose, skin: str) -> str:
    """The left ring in two pieces with ragged ends that hang apart."""
    drawn = []
    for ends, droop in (((0.0, 0.1, 0.2, 0.3), 5.0), ((1.0, 0.9, 0.8, 0.7), 7.0)):
        points = [left_ring_point(pose, t) for t in ends]
        x, y = points[-1]
        toward = 1.0 if ends[0] == 0 else -1.0
        rag = [(x + 4 * toward, y + droop), (x + 1 * toward, y + droop - 2), (x + 3 * toward, y + droop + 5)]
        drawn.append(f'<polyline points="{parts.pairs(points + rag[:1])}" {skin}/>')
        drawn.append(f'<polyline points="{parts.pairs(rag)}" fill="none" stroke="{WARN}" stroke-width="2"/>')
    return "".join(drawn)


def springs(view: RegulatorView, pose: Pose) -> str:
    """Main spring under its screw, relief spring under the nut on the post."""
    plate, screw = pose.plate - 7, pose.screw
    thread = "".join(f"M{num(CENTRE + x)} {num(screw - y)}l5 -3" for x in (-43, 38) for y in (2, 6, 10))
    coils, wire = (4, 2.4) if view.spring_weak else (6, 3.8)
    return "".join(
        (
            parts.spring(CENTRE, screw, plate, 33, coils, wire, "main-spring"),
            parts.spring(CENTRE, pose.nut, plate, 11, 4, 1.7, "relief-spring"),
            parts.block(CENTRE - 13, pose.nut - 6, 26, 6, STEEL),
            f'<g data-part="screw" data-y="{num(screw)}">',
            parts.block(CENTRE - 8, screw - 26, 16, 14, STEEL),
            parts.block(CENTRE - 43, screw - 14, 86, 14, STEEL, 2),
            f'<path d="{thread}" stroke="{EDGE}" stroke-width="1.2"/></g>',
        )
    )


def vent(view: RegulatorView, case: str, hatch: str) -> str:
    """The vent's pipe to outdoors, its end turned down, with a screen."""
    x, y = VENT_END
    bore = 14.0
    blocked = share(view.vent_blocked)
    plug = (
        f'<g data-part="vent-plug">{parts.block(x - bore / 2, y - 22, bore * blocked, 20, hatch, 1)}</g>'
        if blocked > 0
        else ""
    )
    screen = f'<path d="M{num(x - 11)} {num(y)}h22" stroke="{EDGE}" stroke-width="3" stroke-dasharray="3 2"/>'
    return (
        parts.pipe([(409, 160), (440, 160), (440, 42), (x, 42), (x, y)], bore, case, "vent-pipe")
        + plug
        + screen
        + (parts.cloud(x, y + 8, view.vent_flow, "vent-cloud") if share(view.vent_flow) > 0 else "")
    )


def flows(view: RegulatorView, pose: Pose) -> str:
    """Arrows where gas flows."""
    demand, vented, relief = share(view.demand), share(view.vent_flow), share(view.relief_lift)
    through = max(demand, vented)
    drawn: list[str] = []
    if through > 0 and view.inlet_open:
        drawn.append(parts.arrow([(72, AXIS), (92, AXIS)], through, "inlet-flow"))
        drawn.append(parts.arrow([(172, AXIS), (190, AXIS)], through, "inlet-flow"))
    if demand > 0:
        drawn.append(parts.arrow([(440, AXIS), (464, AXIS)], demand, "outlet-flow"))
        drawn.append(parts.arrow([(530, AXIS), (550, AXIS)], demand, "outlet-flow"))
    if relief > 0:
        for side in (-1, 1):
            way = [(30.0, 22.0), (22.0, 2.0 - RELIEF_TRAVEL * relief / 2), (6.5, 0.0 - RELIEF_TRAVEL * relief / 2)]
            points = [(CENTRE + side * x, pose.pad + dy) for x, dy in way] + [(CENTRE + side * 6.5, pose.plate - 14)]
            drawn.append(parts.arrow(points, relief * 0.3, "relief-flow"))
    if view.torn:
        x, y = left_ring_point(pose, 0.5)
        drawn.append(parts.arrow([(x, y + 24), (x, y - 8)], 0.3, "tear-flow"))
    if vented > 0:
        drawn.append(parts.arrow([(440, 128), (440, 100)], vented, "vent-flow"))
    return "".join(drawn)
