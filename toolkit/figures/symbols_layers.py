"""The symbols that protect: regulators, slam-shut, relief valve, pressure switch; symbols.py says how they are meant.

Travel is drawn larger than it is; small lifts, where a regulator lives, are stretched.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from toolkit.figures import parts
from toolkit.figures.cutaway import drawn_lift
from toolkit.figures.parts import EDGE, GAS, RUBBER, STEEL, WALL, WARN, Point, num, share
from toolkit.figures.style import CARD, INK
from toolkit.figures.symbols_views import (
    MonitorView,
    RegulatorStage,
    ReliefValveView,
    SecondSeatView,
    SlamShutView,
    SwitchView,
    WorkerView,
)

BORE: Final = 20.0  # of the pipe between devices
DISK_TRAVEL: Final = 12.0
RELIEF_TRAVEL: Final = 7.0
SECOND_TRAVEL: Final = 9.0
SHUT_TRAVEL: Final = 14.0  # of a slam-shut's disk
POP_TRAVEL: Final = 9.0  # of a relief valve's disk
SPACE: Final = 4.0  # thickness of a body's wall


@dataclass(frozen=True)
class Fills:
    """Fills of the gas before and behind a device, and of the gas that its diaphragm feels.

    `external`: a sensing line brings it; otherwise the diaphragm is open to the outlet inside the body.
    """

    inlet: str
    outlet: str
    sensed: str
    hatch: str
    external: bool = False


def regulator_port(x: float, y: float) -> tuple[float, Point]:
    """Where a sensing line comes down beside a regulator, and where it enters the dome."""
    return x + 41, (x + 31, y - 45)


def slam_shut_port(x: float, y: float) -> tuple[float, Point]:
    """Where a sensing line comes down on a slam-shut, and where it enters its trip."""
    return x + 28, (x + 28, y - 77)


def worker(view: WorkerView, x: float, y: float, fills: Fills) -> str:
    """A spring-loaded regulator with an internal relief in its diaphragm."""
    return _regulator(view, x, y, fills, "worker")


def monitor(view: MonitorView, x: float, y: float, fills: Fills) -> str:
    """The same machine, set higher, so that it stands wide open until it has to act."""
    return _regulator(view, x, y, fills, "monitor")


def second_seat(view: SecondSeatView, x: float, y: float, fills: Fills) -> str:
    """A regulator with a second disk on its stem, below a second seat that it reaches when the stem travels too far."""
    return _regulator(view, x, y, fills, "second-seat")


def _regulator(view: RegulatorStage, x: float, y: float, fills: Fills, part: str) -> str:
    lift, relief = drawn_lift(view.lift), share(view.relief_lift)
    seat = y - 6.0
    stem = y - 62 + DISK_TRAVEL * lift  # the pad on the stem's top; the diaphragm lies on it unless its relief is open
    plate = stem - RELIEF_TRAVEL * relief
    disk = seat + DISK_TRAVEL * lift
    second = view if isinstance(view, SecondSeatView) else None
    low = y + (38 if second else 26)
    if view.closed:
        cloud = puff(x - 38, y - 92, view.vent_flow, "vent-cloud") if share(view.vent_flow) > 0 else ""
        return f'<g data-part="{part}" data-closed="1">{_closed_up(x, y, low, fills)}{cloud}</g>'
    inner = [
        _body(x, y, seat, low, fills, two_seats=second is not None),
        _dome(x, y, plate, fills, view.case_level),
        parts.block(x - 2, stem, 4, disk - stem + 4, STEEL, 0),
        _disk(x, disk, "disk", disk - seat),
        _second_disk(x, y, disk, second) if second else "",
        _diaphragm(x, y, plate, stem),
        parts.spring(x, y - 110, plate - 4, 8, 5, 1.7, "main-spring"),
        parts.block(x - 12, y - 114, 24, 5, STEEL),
    ]
    if relief > 0:
        inner.append(parts.arrow([(x + 22, stem + 7), (x + 9, stem + 2), (x + 7, plate - 6)], 0.0, "relief-flow"))
    if share(view.vent_flow) > 0:
        inner.append(puff(x - 38, y - 92, view.vent_flow, "vent-cloud"))
    if view.fault:
        inner.append(warning(x - 34, y - 36))
    return f'<g data-part="{part}" data-lift="{num(share(view.lift))}">{"".join(inner)}</g>'


def _body(x: float, y: float, seat: float, low: float, fills: Fills, two_seats: bool) -> str:
    """The body in two gas spaces, parted by a web whose hole is the seat; with a second web below where asked.

    The inlet's gas stands over the seat: as in the model it pushes the disk open.
    """
    top, left, right = y - 24, x - 30, x + 30
    web = f"M{num(x + 17)} {num(top)}V{num(seat)}H{num(x + 7)}M{num(x - 7)} {num(seat)}H{num(x - 17)}V{num(low)}"
    before = f"M{num(left)} {num(top)}H{num(x + 17)}V{num(seat)}H{num(x - 17)}V{num(low)}H{num(left)}Z"
    if two_seats:
        lower = y + 16
        web += f"M{num(x + 17)} {num(seat)}V{num(lower)}H{num(x + 7)}M{num(x - 7)} {num(lower)}H{num(x - 17)}"
    return (
        shell(left, top, right, low, fills.outlet, (BORE, BORE), y)
        + f'<path d="{before}" fill="{fills.inlet}"/>'
        + f'<rect x="{num(left - SPACE - 2)}" y="{num(y - BORE / 2)}" width="{num(SPACE + 3)}" height="{num(BORE)}" '
        f'fill="{fills.inlet}"/>' + _web(web)
    )


def _closed_up(x: float, y: float, low: float, fills: Fills) -> str:
    """A regulator from outside: its body, its dome with the spring's tower, its vent; nothing of what is within."""
    top, flange, shoulder = y - 24, y - 58, y - 80
    return (
        shell(x - 30, top, x + 30, low, WALL, (BORE, BORE), y)
        + "".join(
            f'<rect x="{num(at)}" y="{num(y - BORE / 2)}" width="9" height="{num(BORE)}" fill="{gas}"/>'
            for at, gas in ((x - 36, fills.inlet), (x + 27, fills.outlet))
        )
        + parts.pipe([(x - 26, y - 68), (x - 38, y - 68), (x - 38, y - 84)], 6, CARD, "vent")
        + parts.block(x - 9, y - 39, 18, 16, WALL)
        + parts.block(x - 15, y - 124, 30, 50, WALL, 2)
        + parts.block(x - 34, shoulder, 68, y - 34 - shoulder, WALL, 7)
        + parts.block(x - 38, flange - 4, 76, 8, WALL, 1)
        + parts.unknown(x, y)
    )


def _web(path: str) -> str:
    line = f'd="{path}" fill="none" stroke-linejoin="miter" stroke-linecap="butt"'
    return f'<path {line} stroke="{EDGE}" stroke-width="5.4"/><path {line} stroke="{STEEL}" stroke-width="3.4"/>'


def _disk(x: float, face: float, part: str, gap: float, up: bool = True) -> str:
    """A disk with its rubber facing up (or down) at the height `face`."""
    rubber, metal = (face, face + 3) if up else (face - 3, face - 6.5)
    return (
        f'<g data-part="{part}" data-gap="{num(gap)}">{parts.block(x - 10, rubber, 20, 3, RUBBER, 0.5)}'
        f"{parts.block(x - 10, metal, 20, 3.5, STEEL, 1)}</g>"
    )


def _second_disk(x: float, y: float, disk: float, view: SecondSeatView) -> str:
    gap = SECOND_TRAVEL * share(view.second_seat)
    face = y + 18 + gap
    return parts.block(x - 2, disk + 4, 4, face - disk - 2, STEEL, 0) + _disk(x, face, "second-disk", gap)


def _dome(x: float, y: float, plate: float, fills: Fills, case_level: float) -> str:
    """The dome in two rooms that end at the diaphragm, its tower for the spring, and its vent."""
    low, flange, shoulder, cap = y - 38, y - 58, y - 76, y - 118
    under = f"M{num(x - 30)} {num(flange)}V{num(low - 4)}Q{num(x - 30)} {num(low)} {num(x - 26)} {num(low)}"
    under += f"H{num(x + 26)}Q{num(x + 30)} {num(low)} {num(x + 30)} {num(low - 4)}V{num(flange)}"
    over = (
        f"M{num(x - 30)} {num(flange)}V{num(shoulder + 6)}Q{num(x - 30)} {num(shoulder)} {num(x - 24)} {num(shoulder)}"
    )
    over += f"H{num(x - 12)}V{num(cap)}H{num(x + 12)}V{num(shoulder)}H{num(x + 24)}"
    over += f"Q{num(x + 30)} {num(shoulder)} {num(x + 30)} {num(shoulder + 6)}V{num(flange)}"
    skin = f"L{num(x + 18)} {num(plate)}H{num(x - 18)}Z"
    air = parts.tint(case_level)
    neck = (
        parts.block(x - 9, low - 1, 18, 16, WALL)
        if fills.external
        else parts.block(x - 9, low - 1, 18, 16, WALL)
        + f'<rect x="{num(x - 6)}" y="{num(low - 3)}" width="12" height="21" fill="{fills.outlet}"/>'
    )
    return (
        parts.pipe([(x - 26, y - 68), (x - 38, y - 68), (x - 38, y - 84)], 6, air, "vent")
        + _wall(under, under + skin, fills.sensed)
        + _wall(over, over + skin, air)
        + neck
        + "".join(parts.block(at, flange - 4, 9, 8, WALL, 1) for at in (x - 38, x + 29))
        + parts.block(x - 15, cap - 6, 30, 7, WALL, 2)
    )


def _wall(wall: str, gas: str, fill: str) -> str:
    line = f'd="{wall}" fill="none" stroke-linejoin="round"'
    return (
        f'<path {line} stroke="{EDGE}" stroke-width="{num(2 * SPACE + 2)}"/>'
        f'<path {line} stroke="{WALL}" stroke-width="{num(2 * SPACE)}"/>'
        f'<path d="{gas}" fill="{fill}"/><path {line} stroke="{EDGE}" stroke-width="0.8"/>'
    )


def _diaphragm(x: float, y: float, plate: float, pad: float) -> str:
    """The diaphragm from flange to flange with its plates, the opening in its middle, and the pad below on the stem."""
    flange = y - 58
    skins = "".join(
        f'<path d="M{num(x + side * 30)} {num(flange)}Q{num(x + side * 25)} {num(min(flange, plate) - 6)} '
        f'{num(x + side * 19)} {num(plate)}" fill="none" stroke="{RUBBER}" stroke-width="2.8"/>'
        for side in (-1, 1)
    )
    plates = "".join(
        parts.block(at, plate - 4, 16, 3, STEEL, 0.5) + parts.block(at, plate - 1, 16, 2.4, RUBBER, 0.5)
        for at in (x - 20, x + 4)
    )
    return (
        f'<g data-part="diaphragm" data-y="{num(plate)}">{skins}{plates}</g>'
        f'<g data-part="relief-pad" data-gap="{num(pad - plate)}">'
        f"{parts.block(x - 8, pad + 1.4, 16, 3, RUBBER, 0.5)}</g>"
    )


def slam_shut(view: SlamShutView, x: float, y: float, fills: Fills) -> str:
    """A disk that a spring throws on its seat, held up by a catch until the trip beside it draws that away.

    The knob on the stem stands high when open and low when shut. A flag says whether it was high or low pressure.
    """
    seat = y + 4.0
    gap = SHUT_TRAVEL * view.opening
    disk = seat - 3 - gap
    knob, latched = disk - 90, view.state == "open"
    web = f"M{num(x - 17)} {num(y + 24)}V{num(seat)}H{num(x - 7)}M{num(x + 7)} {num(seat)}H{num(x + 17)}V{num(y - 24)}"
    behind = f"M{num(x - 17)} {num(y + 24)}V{num(seat)}H{num(x + 17)}V{num(y - 24)}H{num(x + 30)}V{num(y + 24)}Z"
    catch = x + (3 if latched else 12)
    inner = [
        parts.block(x - 13, y - 84, 26, 62, WALL, 3),
        f'<rect x="{num(x - 9)}" y="{num(y - 80)}" width="18" height="58" fill="{fills.inlet}"/>',
        shell(x - 30, y - 24, x + 30, y + 24, fills.inlet, (BORE, BORE), y),
        f'<path d="{behind}" fill="{fills.outlet}"/>',
        f'<rect x="{num(x + 28)}" y="{num(y - BORE / 2)}" width="{num(SPACE + 3)}" height="{num(BORE)}" '
        f'fill="{fills.outlet}"/><rect x="{num(x - 9)}" y="{num(y - 29)}" width="18" height="9" fill="{fills.inlet}"/>',
        _web(web),
        parts.spring(x, y - 79, disk - 8, 6, 5, 1.5, "closing-spring"),
        parts.block(x - 2, knob, 4, disk - knob, STEEL, 0),
        parts.block(x - 6, disk - 62, 12, 4, STEEL, 1),
        _disk(x, disk + 3, "shut-disk", gap, up=False),
        parts.block(x - 8, knob - 7, 16, 8, WARN, 3),
        _trip(view, x, y, catch, disk - 58, fills.sensed),
    ]
    if view.state.startswith("tripped"):
        inner.append(_flag(x - 26, y - 58, up=view.state != "tripped low"))
    if view.state == "waiting for reset":
        inner.append(parts.padlock(x - 26, y - 52, "waiting"))
    if view.fault:
        inner.append(warning(x - 26, y - 84))
    return f'<g data-part="slam-shut" data-state="{view.state}" data-knob="{num(knob)}">{"".join(inner)}</g>'


def _trip(view: SlamShutView, x: float, y: float, catch: float, height: float, sensed: str) -> str:
    """The trip: a small diaphragm that draws the catch from under the collar on the stem."""
    held = y - 52.0 - 5
    place = held if view.state != "open" else height
    skin = x + (24 if view.state == "open" else 33)
    return (
        f'<g data-part="catch" data-out="{int(view.state != "open")}">'
        f"{parts.block(x + 14, y - 74, 30, 34, WALL, 3)}"
        f'<rect x="{num(x + 18)}" y="{num(y - 70)}" width="22" height="26" fill="{sensed}" stroke="{EDGE}" '
        'stroke-width="0.8"/>'
        f'<path d="M{num(x + 24)} {num(y - 70)}Q{num(skin + 4)} {num(place)} {num(x + 24)} {num(y - 44)}" fill="none" '
        f'stroke="{RUBBER}" stroke-width="2.4"/>{parts.block(catch, place, 26, 4, STEEL, 1)}</g>'
    )


def _flag(x: float, y: float, up: bool) -> str:
    """An arrow on a pole: up for high pressure, down for low."""
    tip, foot = (y - 12, y + 6) if up else (y + 12, y - 6)
    mid = (tip + foot) / 2
    return (
        f'<g data-part="flag" data-side="{"high" if up else "low"}">'
        f'<path d="M{num(x)} {num(foot)}V{num(mid)}" stroke="{INK}" stroke-width="5"/>'
        f'<polygon points="{parts.pairs([(x, tip), (x - 8, mid), (x + 8, mid)])}" fill="{WARN}" stroke="{INK}"/></g>'
    )


def relief_valve(view: ReliefValveView, x: float, y: float, fills: Fills) -> str:
    """A disk that a spring holds on its seat over the pipe; what lifts it goes up the stack beside."""
    gap = POP_TRAVEL * share(view.lift)
    seat, stack = y - 66.0, x + 27
    flow = share(view.stack_flow)
    riser = fills.outlet if view.isolated else fills.inlet
    inner = [
        parts.pipe([(x, y - 15), (x, y - 34)], 9, fills.inlet, "riser"),
        parts.pipe([(x, y - 34), (x, seat + 4)], 9, riser, "riser-above"),
        cock(x, y - 36, 9, not view.isolated, fills.inlet, "relief-cock"),
        parts.pipe([(x + 10, seat - 6), (stack, seat - 6), (stack, y - 114)], 9, fills.outlet, "stack"),
        shell(x - 15, seat - 14, x + 15, seat + 5, fills.outlet, (0, 9), seat - 6),
        parts.block(x - 8, seat, 16, 9, STEEL, 0.5),
        f'<rect x="{num(x - 4)}" y="{num(seat)}" width="8" height="11" fill="{riser}"/>',
        parts.block(x - 11, seat - 52, 22, 38, CARD, 3),
        parts.spring(x, seat - 49, seat - 9 - gap, 6, 4, 1.6, "relief-spring"),
        _disk(x, seat - gap, "relief-disk", gap, up=False),
        parts.block(x - 13, seat - 56, 26, 6, WALL, 2),
    ]
    if flow > 0:
        inner.append(puff(stack, y - 119, flow, "stack-cloud"))
    elif view.weeping:
        inner.append(_wisp(stack, y - 119))
    if view.fault:
        inner.append(warning(x - 22, y - 50))
    return f'<g data-part="relief-valve" data-isolated="{int(view.isolated)}">{"".join(inner)}</g>'


def switch(view: SwitchView, x: float, y: float, fills: Fills) -> str:
    """A small diaphragm that pushes a contact; made, the contact touches and the wire carries a signal."""
    left, top, low = x - 22.0, y - 104.0, y - 58.0
    rise = 5.0 if view.made else 0.0
    tip = top + (15 if view.made else 25)
    touch = top + 20 + 0.48 * (tip - top - 20) + 1.5  # under the middle of the lever
    signal = "".join(
        f'<path d="M{num(x + 14 - r)} {num(top - 7)}a{r} {r} 0 0 1 {2 * r} 0" fill="none" stroke="{WARN}" '
        'stroke-width="2.2"/>'
        for r in (6, 11)
    )
    return (
        f'<g data-part="switch" data-made="{int(view.made)}">'
        f"{parts.pipe([(x, y - 15), (x, low)], 4, fills.inlet, 'switch-tube')}"
        f"{parts.block(left, top, 44, 46, CARD, 4)}"
        f'<path d="M{num(left + 2)} {num(low - 2)}V{num(low - 9)}Q{num(x)} {num(low - 11 - 2 * rise)} {num(left + 42)} '
        f'{num(low - 9)}V{num(low - 2)}Z" fill="{fills.inlet}" stroke="{RUBBER}" stroke-width="2.2"/>'
        f"{parts.block(x - 2, touch, 4, low - 10 - rise - touch, STEEL, 0)}"
        f'<circle cx="{num(left + 8)}" cy="{num(top + 20)}" r="3" fill="{EDGE}"/>'
        f'<path data-part="switch-lever" data-tip="{num(tip)}" d="M{num(left + 8)} {num(top + 20)}L{num(x + 15)} '
        f'{num(tip)}" stroke="{INK}" stroke-width="3" stroke-linecap="round"/>'
        f'<path d="M{num(x + 14)} {num(top + 12)}V{num(top - 6)}" stroke="{EDGE}" stroke-width="2"/>'
        f'<circle cx="{num(x + 14)}" cy="{num(top + 11)}" r="3.4" fill="{STEEL}" stroke="{EDGE}"/>'
        + (f'<g data-part="signal">{signal}</g>' if view.made else "")
        + (warning(x - 26, y - 46) if view.fault else "")
        + "</g>"
    )


def shell(
    left: float, top: float, right: float, low: float, fill: str, openings: tuple[float, float], axis: float
) -> str:
    """A body with walls of its own, filled with gas; `openings` are the bores left and right, at the height `axis`."""
    ways = "".join(
        f'<rect x="{num(at)}" y="{num(axis - bore / 2)}" width="{num(SPACE + 3)}" height="{num(bore)}" fill="{fill}"/>'
        for at, bore in ((left - SPACE - 2, openings[0]), (right - 1, openings[1]))
        if bore > 0
    )
    return (
        parts.block(left - SPACE, top - SPACE, right - left + 2 * SPACE, low - top + 2 * SPACE, WALL, 5)
        + f'<rect x="{num(left)}" y="{num(top)}" width="{num(right - left)}" height="{num(low - top)}" rx="2" '
        f'fill="{fill}" stroke="{EDGE}" stroke-width="0.8"/>' + ways
    )


def cock(x: float, y: float, bore: float, is_open: bool, fill: str, part: str) -> str:
    """A cock in an upright pipe: bore and handle lie along the pipe when open, across it when shut."""
    turn = 0 if is_open else 90
    radius = bore * 0.5 + 4.5
    return (
        f'<g data-part="{part}" data-open="{int(is_open)}">'
        f'<circle cx="{num(x)}" cy="{num(y)}" r="{num(radius)}" fill="{STEEL}" stroke="{EDGE}" stroke-width="1.2"/>'
        f'<g transform="rotate({turn} {num(x)} {num(y)})">'
        f'<rect x="{num(x - bore * 0.3)}" y="{num(y - radius)}" width="{num(bore * 0.6)}" height="{num(2 * radius)}" '
        f'fill="{fill}" stroke="{EDGE}" stroke-width="0.8"/>'
        f"{parts.block(x + radius - 1, y - 2, 5, 4, STEEL, 0)}"
        f"{parts.block(x + radius + 3, y - radius - 1, 4, 2 * radius + 2, WARN, 2)}</g></g>"
    )


def puff(x: float, low: float, strength: float, part: str) -> str:
    """Gas that rises from an opening at `x`, `low`; larger the more comes."""
    size = 0.45 + 0.3 * share(strength)
    y = low - 7 - 13 * size
    circles = "".join(
        f'<circle cx="{num(x + dx * size)}" cy="{num(y + dy * size)}" r="{num(r * size)}"/>'
        for dx, dy, r in ((-9, 3, 8), (0, -5, 10), (9, 3, 8), (0, 6, 8))
    )
    return (
        f'<g data-part="{part}" data-strength="{num(share(strength))}">'
        f'<g fill="{GAS}" stroke="{GAS}" stroke-width="2.2">{circles}</g><g fill="#DCEBF6">{circles}</g>'
        f"{parts.arrow([(x, low + 3), (x, low - 6)], 0.0, part + '-flow')}</g>"
    )


def warning(x: float, y: float) -> str:
    """A warning triangle with its middle at `x`, `y`."""
    corners = [(x, y - 9), (x + 9.5, y + 7), (x - 9.5, y + 7)]
    return (
        f'<g data-part="warning"><polygon points="{parts.pairs(corners)}" fill="{WARN}" stroke="{INK}" '
        f'stroke-width="1.4" stroke-linejoin="round"/><path d="M{num(x)} {num(y - 4)}v5" stroke="{CARD}" '
        f'stroke-width="2.4"/><circle cx="{num(x)}" cy="{num(y + 4)}" r="1.4" fill="{CARD}"/></g>'
    )


def _wisp(x: float, low: float) -> str:
    """The little that a leaking seat lets out of a stack."""
    return (
        f'<path data-part="wisp" d="M{num(x)} {num(low)}q-5 -5 0 -9t0 -9M{num(x + 5)} {num(low)}q-5 -4 0 -7" '
        f'fill="none" stroke="{GAS}" stroke-width="2"/>'
    )
