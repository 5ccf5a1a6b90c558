"""The whole gas station in a row, in the direction of flow, as an SVG picture that moves with the state it is given.

The main run stands along one pipe; relief valves and switches hang above a volume, appliances and leaks below it;
sensing lines go from their tap up to a lane over the devices and down to each. A long row widens the picture.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from toolkit.errors import ScenarioError
from toolkit.figures import parts
from toolkit.figures.parts import num, share
from toolkit.figures.style import CARD, ViewMode
from toolkit.figures.symbols import VOLUME_BORE, sensing_line, symbol, volume
from toolkit.figures.symbols_layers import BORE, Fills, regulator_port, slam_shut_port
from toolkit.figures.symbols_views import (
    ApplianceView,
    BranchView,
    ElementView,
    FilterView,
    LeakView,
    LowerView,
    MainView,
    MonitorView,
    RegulatorStage,
    ReliefValveView,
    SecondSeatView,
    SensingLineView,
    SlamShutView,
    SupplyView,
    SwitchView,
    UpperView,
    ValveView,
    VolumeView,
    WorkerView,
    acting_words,
    element_sentence,
    line_sentence,
    state_words,
)
from toolkit.figures.symbols_words import rows
from toolkit.figures.views import CAPTION
from toolkit.units import spoken

WIDTH: Final = 1100.0  # at least
HEIGHT: Final = 436.0
MARGIN: Final = 8.0
AXIS: Final = 236.0  # y of the main run
LANE, LANE_STEP = 104.0, 9.0  # y of the lowest lane of the sensing lines, and up to the next
LABEL_TOP: Final = 284.0  # of the words under the main run
LOWER_LABEL_TOP: Final = AXIS + 102
UPPER_LABEL_LOW: Final = 84.0  # foot of the words over a branch, over the gas that leaves a stack
ACTING_LOW: Final = 110.0  # foot of the words over a regulator where no lane passes
MAIN_ROWS, LOWER_ROWS = 6, 4
WIDEST_LABEL: Final = 176.0
SPREAD: Final[dict[ViewMode, float]] = {"desk": 1.0, "projector": 1.1}  # on the least room, for larger letters
TEXT_SHARE: Final = 0.88  # of a drawing's letters: the picture is wider than that of a single device
TAP_STEP: Final = 14.0
ASIDE: Final = 35.0  # how far the words over a regulator may reach over its neighbours

# The least room along the run that a symbol and its words take.
ROOM: Final[dict[type[ElementView], float]] = {
    SupplyView: 72.0,
    FilterView: 72.0,
    ValveView: 66.0,
    WorkerView: 104.0,
    MonitorView: 104.0,
    SecondSeatView: 104.0,
    SlamShutView: 92.0,
    VolumeView: 76.0,
    ReliefValveView: 76.0,
    SwitchView: 78.0,
    ApplianceView: 74.0,
    LeakView: 60.0,
}


@dataclass(frozen=True)
class StationView:
    """State of the drawing: the `main` run in the direction of flow, what hangs at its volumes, and sensing lines.

    `flow` is the share of the largest flow, for the arrows in the pipe. Raises ScenarioError where two parts share a
    name, a branch or a tap is at no volume of the run, or a line leads to no regulator or slam-shut of the run.
    """

    name: str
    main: tuple[MainView, ...]
    branches: tuple[BranchView, ...] = ()
    lines: tuple[SensingLineView, ...] = ()
    flow: float = 0.0

    def __post_init__(self) -> None:
        if not self.main:
            raise ScenarioError("main", self.main, "at least one element", "Give the run in the direction of flow.")
        names = Counter(part.name for part in (*self.main, *self.branches, *self.lines))
        for name, times in names.items():
            if times > 1:
                raise ScenarioError("name", name, f"one part of that name, not {times}", "Name each part once.")
        volumes = [part.name for part in self.main if isinstance(part, VolumeView)]
        for field, place in (*(("at", b.at) for b in self.branches), *(("tap", line.tap) for line in self.lines)):
            if place not in volumes:
                raise ScenarioError(field, place, f"a volume of the run ({', '.join(volumes)})", "Name one of them.")
        led = [name for line in self.lines for name in line.devices or ("",)]
        devices = [part.name for part in self.main if isinstance(part, RegulatorStage | SlamShutView)]
        for name in led:
            if name not in devices or led.count(name) > 1:
                expected = f"a regulator or slam-shut of the run ({', '.join(devices)}), each by one line"
                raise ScenarioError("devices", name, expected, "Lead each line to devices of its own.")


@dataclass(frozen=True)
class _Slot:
    """The room that a part has along the run, and where in it the symbol stands."""

    left: float
    right: float
    x: float


@dataclass(frozen=True)
class _Layout:
    """Where everything stands: slots by name, the ends of each volume's pipe, taps and heights of the lines' lanes."""

    width: float
    slots: dict[str, _Slot]
    volumes: dict[str, tuple[float, float]]
    taps: dict[str, float]
    lanes: dict[str, float]


def station_sentence(view: StationView) -> str:
    """Say in words what the drawing of `view` shows."""
    said = [f"{view.name}: a gas station, cut open, from the supply to the appliances."]
    for part in view.main:
        said.append(element_sentence(part))
        said += [f"At {part.name}: {element_sentence(branch)}" for branch in view.branches if branch.at == part.name]
    said += [line_sentence(line) for line in view.lines]
    return " ".join((*said, CAPTION))


def station_svg(view: StationView, *, view_mode: ViewMode = "desk", prefix: str = "station") -> str:
    """Draw the station in the state `view`; give an SVG element that needs nothing from outside.

    It is 1100 by 436 units, wider for a row that is longer than that. Names that are too long for their place end in
    an ellipsis and stand in full in the part's title. `prefix` keeps the ids of several drawings on one page apart.
    """
    name = re.sub(r"[^A-Za-z0-9_-]", "-", prefix) or "station"
    size = parts.LOOKS[view_mode].text * TEXT_SHARE
    plan, levels, sentence = _layout(view, SPREAD[view_mode]), _levels(view.main), station_sentence(view)
    gas = [f"url(#{name}-gas-{i})" for i in range(len(levels))]
    air, hatch = f"url(#{name}-air)", f"url(#{name}-hatch)"
    line_of = {device: line for line in view.lines for device in line.devices}
    level_of = {part.name: part.level for part in view.main if isinstance(part, VolumeView)}
    fill_of = {part.name: gas[i + 1] for i, part in enumerate(view.main)}
    felt = {line.name: _felt(line, level_of[line.tap]) for line in view.lines}
    drawn = []
    for i, part in enumerate(view.main):
        line = line_of.get(part.name)
        sensed = parts.tint(felt[line.name] if line else levels[i + 1])
        before = gas[i + 1] if isinstance(part, SupplyView | VolumeView) else gas[i]
        fills = Fills(before, gas[i + 1], sensed, hatch, external=line is not None)
        drawn.append(symbol(part, plan.slots[part.name].x, AXIS, fills))
    for branch in view.branches:
        fills = Fills(fill_of[branch.at], air, air, hatch)
        drawn.append(symbol(branch, plan.slots[branch.name].x, AXIS, fills))
    return "".join(
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {num(plan.width)} {num(HEIGHT)}" role="img" '
            f'aria-label={parts.attribute(sentence)} font-family="DejaVu Sans, Verdana, Arial, sans-serif">'
            f"<title>{parts.safe(view.name)}</title><desc>{parts.safe(sentence)}</desc><defs>",
            *(parts.gas_pattern(f"{name}-gas-{i}", level) for i, level in enumerate(levels)),
            parts.gas_pattern(f"{name}-air", 0.0),
            parts.hatch_pattern(f"{name}-hatch"),
            f'</defs><rect width="{num(plan.width)}" height="{num(HEIGHT)}" rx="8" fill="{CARD}"/>',
            _pipes(view, plan, gas),
            *(_line(view, plan, line, level_of[line.tap], felt[line.name]) for line in view.lines),
            *drawn,
            _arrows(view, plan),
            *(_main_words(view, plan, part, line_of.get(part.name), size) for part in view.main),
            *(_branch_words(plan, branch, size) for branch in view.branches),
            parts.words(MARGIN, HEIGHT - 8, f"Gas flows from left to right. {CAPTION}", size * 0.9),
            "</svg>",
        )
    )


def _levels(main: Sequence[MainView]) -> list[float]:
    """Level of the gas before each element of the run, and behind the last."""
    own = [part.level if isinstance(part, SupplyView | VolumeView) else None for part in main]
    levels = [next((level for level in own if level is not None), 0.0)]
    for i, level in enumerate(own):
        ahead = own[i + 1] if i + 1 < len(own) and isinstance(main[i + 1], VolumeView) else None
        levels.append(level if level is not None else ahead if ahead is not None else levels[-1])
    return levels


def _felt(line: SensingLineView, tap: float) -> float:
    """Level at the devices' end of a sensing line."""
    return line.level if line.level is not None else 0.0 if line.state == "broken" else tap


def _layout(view: StationView, spread: float) -> _Layout:
    upper = {
        part.name: [b for b in view.branches if b.at == part.name and isinstance(b, UpperView)] for part in view.main
    }
    lower = {
        part.name: [b for b in view.branches if b.at == part.name and isinstance(b, LowerView)] for part in view.main
    }
    taps = {part.name: [line for line in view.lines if line.tap == part.name] for part in view.main}
    own = {part.name: ROOM[type(part)] + TAP_STEP * len(taps[part.name]) for part in view.main}
    hung = {
        part.name: max(sum(ROOM[type(b)] for b in row) for row in (upper[part.name], lower[part.name]))
        for part in view.main
    }
    least = sum(own.values()) + sum(hung.values())
    width = max(WIDTH, least * spread + 2 * MARGIN)
    stretch = (width - 2 * MARGIN) / least
    slots: dict[str, _Slot] = {}
    volumes: dict[str, tuple[float, float]] = {}
    edge = MARGIN
    for part in view.main:
        here, count = own[part.name] * stretch, len(taps[part.name])
        slots[part.name] = _Slot(edge, edge + here, edge + here / 2 + TAP_STEP / 2 * count)
        right = edge + here + hung[part.name] * stretch
        for row in (upper[part.name], lower[part.name]):
            slots.update(_shared(row, edge + here, right))
        if isinstance(part, VolumeView):
            volumes[part.name] = (edge + 8, right - 8)
        edge = right
    return _Layout(width, slots, volumes, *_routes(view, slots, taps))


def _shared(row: Sequence[BranchView], left: float, right: float) -> Iterable[tuple[str, _Slot]]:
    """Slots of the branches of one `row`, which share the room in proportion to what they need."""
    least = sum(ROOM[type(branch)] for branch in row)
    for branch in row:
        end = left + (right - left) * ROOM[type(branch)] / least
        least -= ROOM[type(branch)]
        yield branch.name, _Slot(left, end, (left + end) / 2)
        left = end


def _routes(
    view: StationView, slots: dict[str, _Slot], taps: dict[str, list[SensingLineView]]
) -> tuple[dict[str, float], dict[str, float]]:
    """Places of the taps and heights of the lanes.

    The line to the nearest device has the leftmost tap and the lowest lane, so that lines to the left never cross.
    """
    places: dict[str, float] = {}
    for at, lines in taps.items():
        ordered = sorted(lines, key=lambda line: -min(slots[name].x for name in line.devices))
        ordered.sort(key=lambda line: min(slots[name].x for name in line.devices) > slots[at].x)
        for i, line in enumerate(ordered):
            places[line.name] = slots[at].x - 34 - TAP_STEP * (len(lines) - 1 - i)
    spans = {line.name: _span(view, line, slots, places[line.name]) for line in view.lines}
    lanes: dict[str, float] = {}
    for name, (left, right) in sorted(spans.items(), key=lambda item: item[1][1] - item[1][0]):
        taken = {
            lanes[other] for other in lanes if spans[other][0] < right + MARGIN and left - MARGIN < spans[other][1]
        }
        lane = LANE
        while lane in taken:
            lane -= LANE_STEP
        lanes[name] = lane
    return places, lanes


def _span(view: StationView, line: SensingLineView, slots: dict[str, _Slot], tap: float) -> tuple[float, float]:
    ends = [tap, *(drop for drop, _ in _ports(view, line, slots))]
    return min(ends), max(ends)


def _ports(view: StationView, line: SensingLineView, slots: dict[str, _Slot]) -> list[tuple[float, parts.Point]]:
    return [
        (slam_shut_port if isinstance(part, SlamShutView) else regulator_port)(slots[part.name].x, AXIS)
        for part in view.main
        if part.name in line.devices
    ]


def _line(view: StationView, plan: _Layout, line: SensingLineView, tap: float, felt: float) -> str:
    start = (plan.taps[line.name], AXIS - VOLUME_BORE / 2 - 3)
    tints = parts.tint(tap), parts.tint(felt)
    return sensing_line(line, start, plan.lanes[line.name], _ports(view, line, plan.slots), tints)


def _pipes(view: StationView, plan: _Layout, gas: Sequence[str]) -> str:
    """The main run's pipe from each element to the next, and the wider pipe of the volumes."""
    drawn = []
    ends = [plan.slots[part.name].x for part in view.main]
    for i, (left, right) in enumerate(zip(ends, [*ends[1:], plan.width - MARGIN], strict=True)):
        if i + 1 < len(ends) or not isinstance(view.main[i], VolumeView):
            drawn.append(parts.pipe([(left, AXIS), (right, AXIS)], BORE, gas[i + 1], "pipe"))
    for i, part in enumerate(view.main):
        if isinstance(part, VolumeView):
            bores = (BORE if i else 0.0, BORE if i + 1 < len(ends) else 0.0)
            drawn.append(volume(*plan.volumes[part.name], AXIS, gas[i + 1], bores))
    return "".join(drawn)


def _arrows(view: StationView, plan: _Layout) -> str:
    """Arrows in the pipe where gas flows: one on the way into each element of the run."""
    if share(view.flow) <= 0:
        return ""
    edges = [plan.slots[part.name].left for part in view.main[1:]]
    return "".join(parts.arrow([(x - 9, AXIS), (x + 1, AXIS)], view.flow * 0.6, "main-flow") for x in edges)


def _main_words(view: StationView, plan: _Layout, part: MainView, line: SensingLineView | None, size: float) -> str:
    """Name and state under an element of the run; over a regulator what happens at it."""
    slot = plan.slots[part.name]
    sensing = f"sensing line {line.state}" if line and line.state != "whole" else ""
    beside = () if isinstance(part, RegulatorStage) else acting_words(part)
    state = ", ".join(filter(None, (state_words(part), *beside, sensing)))
    below = _block(part.name, (state,), slot, size, MAIN_ROWS, top=LABEL_TOP)
    if not isinstance(part, RegulatorStage):
        return below
    over = _over(view, part, slot)
    passing = [
        plan.lanes[other.name] - 8
        for other in view.lines
        if (span := _span(view, other, plan.slots, plan.taps[other.name]))[0] < over.right and over.left < span[1]
    ]
    return below + _block("", acting_words(part), over, size, MAIN_ROWS, low=min([ACTING_LOW, *passing]))


def _over(view: StationView, part: MainView, slot: _Slot) -> _Slot:
    """The room over a regulator, wider than its own where nothing else is written on either side."""
    i = view.main.index(part)
    before, behind = view.main[max(i - 1, 0)], view.main[min(i + 1, len(view.main) - 1)]
    used = {branch.at for branch in view.branches if isinstance(branch, UpperView)}
    if any(isinstance(beside, RegulatorStage) for beside in (before, behind)) or before.name in used:
        return slot
    return _Slot(slot.left - ASIDE, slot.right + ASIDE, slot.x)


def _branch_words(plan: _Layout, branch: BranchView, size: float) -> str:
    slot, said = plan.slots[branch.name], (", ".join((state_words(branch), *acting_words(branch))),)
    if isinstance(branch, LowerView):
        return _block(branch.name, said, slot, size, LOWER_ROWS, top=LOWER_LABEL_TOP)
    return _block(branch.name, said, slot, size, MAIN_ROWS, low=UPPER_LABEL_LOW)


def _block(
    name: str,
    said: Sequence[str],
    slot: _Slot,
    size: float,
    most: int,
    *,
    top: float | None = None,
    low: float = 0.0,
) -> str:
    """Rows of words in the middle of a slot, down from `top` or up from `low`: the name, then in bold what is `said`.

    What is said comes first where there is no room for all of it; of a name at least one row stays.
    """
    name = spoken(name)
    step, room = size * 1.2, min(slot.right - slot.left - 8, WIDEST_LABEL)
    if top is None:
        most = min(most, int((low - 4) / step))
    for_said = most - bool(name)
    bold = [row for phrase in said for row in rows(phrase, room, size, most, bold=True)]
    if len(bold) > for_said:
        bold = list(rows(", ".join(said), room, size, for_said, bold=True))
    named = rows(name, room, size, min(most - len(bold), 3))
    written = [(row, False) for row in named] + [(row, True) for row in bold]
    first = (top if top is not None else low - step * len(written)) + 0.8 * size
    middle = (slot.left + slot.right) / 2
    return (
        f"<g><title>{parts.safe(', '.join(filter(None, (name, *said))))}</title>"
        + "".join(
            parts.words(middle, first + i * step, row, size, "middle", is_bold)
            for i, (row, is_bold) in enumerate(written)
        )
        + "</g>"
    )
