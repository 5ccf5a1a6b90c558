"""All drawings of single devices, cut open, by name: `drawing("relief_valve")`.

A device's first state has the device's name; the others have the state added: "relief_valve_open".
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

from toolkit.errors import ScenarioError
from toolkit.figures.devices_card import Said
from toolkit.figures.devices_filter import FILTER, filter_svg
from toolkit.figures.devices_pressure_switch import PRESSURE_SWITCH, pressure_switch_svg
from toolkit.figures.devices_regulators import MONITOR, monitor_svg
from toolkit.figures.devices_relief_valve import RELIEF_VALVE, relief_valve_svg
from toolkit.figures.devices_second_seat import SECOND_SEAT, second_seat_svg
from toolkit.figures.devices_sensing_line import SENSING_LINE, sensing_line_svg
from toolkit.figures.devices_slam_shut import SLAM_SHUT, slam_shut_svg
from toolkit.figures.devices_vent import VENT, vent_svg

__all__ = ["DEVICES", "DRAWINGS", "Drawing", "drawing"]


@dataclass(frozen=True)
class Drawing:
    """A device in one state: the title over it, the one sentence that stands for it, and the SVG element."""

    title: str
    alt: str
    svg: str


# Each device with the function that draws it and its states.
DEVICES: Final[dict[str, tuple[Callable[[str], str], Mapping[str, Said]]]] = {
    "monitor": (monitor_svg, MONITOR),
    "second_seat": (second_seat_svg, SECOND_SEAT),
    "relief_valve": (relief_valve_svg, RELIEF_VALVE),
    "slam_shut": (slam_shut_svg, SLAM_SHUT),
    "pressure_switch": (pressure_switch_svg, PRESSURE_SWITCH),
    "vent": (vent_svg, VENT),
    "sensing_line": (sensing_line_svg, SENSING_LINE),
    "filter": (filter_svg, FILTER),
}

DRAWINGS: Final[dict[str, Drawing]] = {
    device if i == 0 else f"{device}_{state.replace(' ', '_')}": Drawing(words.title, words.alt, svg(state))
    for device, (svg, states) in DEVICES.items()
    for i, (state, words) in enumerate(states.items())
}


def drawing(name: str) -> Drawing:
    """The drawing of that name.

    Raises:
        ScenarioError: there is none.
    """
    if name not in DRAWINGS:
        raise ScenarioError("drawing", name, "one of " + ", ".join(DRAWINGS), "Name one of these drawings.")
    return DRAWINGS[name]
