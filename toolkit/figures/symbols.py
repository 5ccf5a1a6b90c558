"""Symbols of the station drawing: each device cut open, drawn at a place, moving with the state it is given.

The symbols are of our own drawing. They are plain cut-open pictures of what an apprentice meets in the field: a body,
a disk over its seat, a dome with its diaphragm, a spring; they follow no drawing standard and no other program.
Regulators shut upwards, as the pressure lifts the diaphragm; slam-shuts and relief valves downwards, as their spring
pushes.

Each function gives SVG about a place `x`, `y`: for what stands in the run, the middle of the pipe; for what hangs at a
volume, the middle of the pipe where it is joined. State is told by shape; words stand beside (symbols_views); colour
only helps. Elements carry data-part, and numbers of their state as data attributes.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from toolkit.figures import parts, symbols_layers
from toolkit.figures.parts import EDGE, STEEL, WALL, WARN, Point, num, share
from toolkit.figures.style import CARD, INK
from toolkit.figures.symbols_layers import BORE, Fills
from toolkit.figures.symbols_views import (
    ApplianceView,
    ElementView,
    FilterView,
    LeakView,
    LineState,
    MonitorView,
    ReliefValveView,
    SecondSeatView,
    SensingLineView,
    SlamShutView,
    SupplyView,
    SwitchView,
    ValveView,
    VolumeView,
    WorkerView,
    acting_words,
    line_sentence,
    state_words,
)

BURNER_DROP: Final = 80.0  # from the middle of the pipe down to a burner
VOLUME_BORE: Final = 34.0
TUBE: Final = 5.0  # outer width of a sensing line
MARK_RISE: Final = 62.0  # from a tap up to where a break or a plug is drawn


def symbol(view: ElementView, x: float, y: float, fills: Fills) -> str:
    """The symbol of any `view` in a group that names it; a fault puts a warning sign on it."""
    named = f"{view.name}: {', '.join((state_words(view), *acting_words(view)))}"
    return (
        f"<g data-device={parts.attribute(view.name)}><title>{parts.safe(named)}</title>{_drawn(view, x, y, fills)}</g>"
    )


def _drawn(view: ElementView, x: float, y: float, fills: Fills) -> str:
    match view:
        case SupplyView():
            return supply(view, x, y, fills)
        case FilterView():
            return strainer(view, x, y, fills)
        case ValveView():
            return isolating_valve(view, x, y, fills)
        case WorkerView():
            return symbols_layers.worker(view, x, y, fills)
        case MonitorView():
            return symbols_layers.monitor(view, x, y, fills)
        case SecondSeatView():
            return symbols_layers.second_seat(view, x, y, fills)
        case SlamShutView():
            return symbols_layers.slam_shut(view, x, y, fills)
        case VolumeView():
            return volume_gauge(view, x, y, fills)
        case ReliefValveView():
            return symbols_layers.relief_valve(view, x, y, fills)
        case SwitchView():
            return symbols_layers.switch(view, x, y, fills)
        case ApplianceView():
            return appliance(view, x, y, fills)
        case LeakView():
            return leak(view, x, y, fills)


def supply(view: SupplyView, x: float, y: float, fills: Fills) -> str:
    """The main in the street, cut across, with the service pipe leaving it to the right."""
    return (
        f'<g data-part="supply" data-level="{num(share(view.level))}">'
        f'<circle cx="{num(x)}" cy="{num(y)}" r="22" fill="{WALL}" stroke="{EDGE}" stroke-width="1.4"/>'
        f'<circle cx="{num(x)}" cy="{num(y)}" r="17" fill="{fills.inlet}" stroke="{EDGE}"/>'
        f'<rect x="{num(x + 12)}" y="{num(y - BORE / 2)}" width="16" height="{num(BORE)}" fill="{fills.inlet}"/></g>'
    )


def strainer(view: FilterView, x: float, y: float, fills: Fills) -> str:
    """A filter: mesh across the pipe; what blocks it fills it from below."""
    if view.closed:
        bowl = parts.block(x - 16, y - 16, 32, 46, WALL, 4) + parts.unknown(x, y + 6)
        return f'<g data-part="filter" data-closed="1">{bowl}</g>'
    body = parts.filter_bowl(x, y, BORE, view.blocked, fills.inlet, fills.hatch, "filter-bowl")
    return (
        f'<g data-part="filter" data-blocked="{num(share(view.blocked))}">{body}'
        f"{symbols_layers.warning(x, y - 36) if view.fault else ''}</g>"
    )


def isolating_valve(view: ValveView, x: float, y: float, fills: Fills) -> str:
    """A quarter-turn valve; bore and handle lie along the pipe when open and across it when shut."""
    turn = 90 * (1 - share(view.open_share))
    top = y - 32
    return (
        f'<g data-part="isolating-valve" data-turn="{num(turn)}">'
        f"{parts.block(x - 3, top, 6, 18, STEEL)}"
        f'<circle cx="{num(x)}" cy="{num(y)}" r="20" fill="{WALL}" stroke="{EDGE}" stroke-width="1.2"/>'
        f'<circle cx="{num(x)}" cy="{num(y)}" r="15.5" fill="{STEEL}" stroke="{EDGE}" stroke-width="1.2"/>'
        f'<rect x="{num(x - 15.5)}" y="{num(y - 7)}" width="31" height="14" fill="{fills.inlet}" stroke="{EDGE}" '
        f'transform="rotate({num(turn)} {num(x)} {num(y)})"/>'
        f'<g transform="rotate({num(-turn)} {num(x)} {num(top)})">{parts.block(x - 4, top - 3, 32, 6, WARN, 3)}</g>'
        f"{symbols_layers.warning(x - 14, y - 40) if view.fault else ''}</g>"
    )


def volume(left: float, right: float, y: float, fill: str, bores: tuple[float, float]) -> str:
    """A stretch of wider pipe from `left` to `right` that holds a pressure; `bores` of its ends, 0 is closed."""
    half = VOLUME_BORE / 2
    return f'<g data-part="volume">{symbols_layers.shell(left, y - half, right, y + half, fill, bores, y)}</g>'


def volume_gauge(view: VolumeView, x: float, y: float, fills: Fills) -> str:
    """The gauge of a volume on its pipe."""
    low = y - VOLUME_BORE / 2 + 2
    face = (
        parts.gauge(x, y - 54, 19, view.level, "gauge")
        if view.read
        else f'<circle cx="{num(x)}" cy="{num(y - 54)}" r="19" fill="{CARD}" stroke="{EDGE}" stroke-width="3"/>'
        + parts.unknown(x, y - 54)
    )
    return parts.pipe([(x, low), (x, y - 40)], 4, fills.inlet, "gauge-pipe") + face


def appliance(view: ApplianceView, x: float, y: float, fills: Fills) -> str:
    """A burner below the pipe with its flame; where it is locked out, its cock lies across and a lock hangs on it."""
    base, leg = y + BURNER_DROP, x - 24
    pipe = parts.pipe(
        [(leg, y + VOLUME_BORE / 2 - 2), (leg, base + 11), (x, base + 11), (x, base)], 6, fills.inlet, "leg"
    )
    lock = symbols_layers.cock(leg, y + 34, 6, not view.locked_out, fills.inlet, "appliance-cock")
    return (
        f'<g data-part="appliance" data-locked="{int(view.locked_out)}">{pipe}{lock}'
        f"{parts.burner(x, base, 0.0 if view.locked_out else view.flame, 'flame')}"
        f"{parts.padlock(leg, y + 70, 'lock') if view.locked_out else ''}"
        f"{symbols_layers.warning(x + 22, base - 4) if view.fault else ''}</g>"
    )


def leak(view: LeakView, x: float, y: float, fills: Fills) -> str:
    """A crack through the lower wall of the pipe, and the gas that comes out."""
    wall = y + VOLUME_BORE / 2 - 1
    crack = [
        (x - 4, wall),
        (x + 4, wall),
        (x + 1, wall + 4),
        (x + 5, wall + 7.5),
        (x - 3, wall + 7.5),
        (x - 1, wall + 4),
    ]
    escaping = parts.cloud(x, wall + 12, view.flow, "leak-cloud") if share(view.flow) > 0 else ""
    return (
        f'<g data-part="leak" data-flow="{num(share(view.flow))}">'
        f'<polygon points="{parts.pairs(crack)}" fill="{fills.inlet}" stroke="{WARN}" stroke-width="1.8"/>'
        f"{escaping}</g>"
    )


def sensing_line(
    view: SensingLineView, tap: Point, lane: float, ports: Sequence[tuple[float, Point]], tints: tuple[str, str]
) -> str:
    """A thin tube from `tap` up to the height `lane`, along it, and down to each of `ports` (x of the drop, its end).

    `tints` are those at the tap and at the devices. What is wrong is seen on the way up from the tap.
    """
    x, mark = tap[0], tap[1] - MARK_RISE
    gap = 6.0 if view.state == "broken" else 0.0
    ends = [drop for drop, _ in ports] + [x]
    # The cap of a stroke reaches half its width further: the tube ends in the nut of its tap.
    near = f"M{num(x)} {num(tap[1] - 4)}V{num(mark + gap)}" if view.state != "whole" else ""
    far = (
        f"M{num(x)} {num(mark - gap if near else tap[1] - 4)}V{num(lane)}M{num(min(ends))} {num(lane)}H{num(max(ends))}"
        + "".join(f"M{num(drop)} {num(lane)}V{num(port[1])}H{num(port[0])}" for drop, port in ports)
    )
    return (
        f'<g data-part="sensing-line" data-state="{view.state}" data-line={parts.attribute(view.name)}>'
        f"<title>{parts.safe(line_sentence(view))}</title>"
        f"{_tube([(far, tints[1]), (near, tints[0])])}{parts.block(x - 5, tap[1] - 5, 10, 6, STEEL)}"
        f"{_trouble(view.state, x, mark)}</g>"
    )


def _tube(pieces: Sequence[tuple[str, str]]) -> str:
    """Tubes along paths, each with its tint; all rims lie below all insides, so that pieces run into each other."""
    line = 'fill="none" stroke-linejoin="round" stroke-linecap="square"'
    return "".join(
        f'<path d="{path}" {line} stroke="{colour or tint}" stroke-width="{num(width)}"/>'
        for colour, width in ((CARD, TUBE + 3), (EDGE, TUBE), ("", TUBE - 2.4))
        for path, tint in pieces
    )


def _trouble(state: LineState, x: float, y: float) -> str:
    """Two ragged ends with a gap between, or a plug."""
    if state == "whole":
        return ""
    if state == "blocked":
        cross = f'<path d="M{num(x - 4)} {num(y - 4)}l8 8m0 -8l-8 8" stroke="{INK}" stroke-width="2"/>'
        return f'<g data-part="line-blocked">{parts.block(x - 6, y - 6, 12, 12, WARN, 2)}{cross}</g>'
    rags = "".join(
        f"M{num(x - 6)} {num(y + side * 7)}l3 {num(-side * 4)}l3 {num(side * 4)}l3 {num(-side * 4)}l3 {num(side * 4)}"
        for side in (-1, 1)
    )
    return f'<path data-part="line-broken" d="{rags}" fill="none" stroke="{WARN}" stroke-width="2"/>'
