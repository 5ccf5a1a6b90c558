"""What a drawing of a device is told, and the words that say it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from toolkit.figures.parts import share

CAPTION: Final = "Travel is exaggerated."


@dataclass(frozen=True)
class DebrisView:
    """A piece on the seat: its height as a share of the disk's travel, and whether it is hard."""

    height: float
    hard: bool


@dataclass(frozen=True)
class RegulatorView:
    """State of the drawing. Shares are 0 to 1 and are clipped; texts are pressures with their units, ready to show.

    `lift` share of the disk's travel; `relief_lift` share of the relief's; `spring_setting` and `relief_spring` how far
    the screw and the relief's nut are turned in; `vent_blocked`, `filter_blocked` share that is closed; `vent_flow`,
    `demand` share of the largest flow; the levels move the needle and the depth of the tints.
    """

    lift: float
    inlet_text: str
    outlet_text: str
    case_text: str
    outlet_level: float
    demand: float
    relief_lift: float = 0.0
    spring_setting: float = 0.5
    relief_spring: float = 0.5
    debris: DebrisView | None = None
    seat_nicked: bool = False
    torn: bool = False
    vent_blocked: float = 0.0
    vent_flow: float = 0.0
    stem_stuck: bool = False
    spring_weak: bool = False
    inlet_open: bool = True
    filter_blocked: float = 0.0
    inlet_level: float = 0.8
    case_level: float = 0.0


def regulator_sentence(view: RegulatorView) -> str:
    """Say in words what the drawing of `view` shows."""
    debris = view.debris
    said = [
        "Service regulator, cut open.",
        f"Inlet {view.inlet_text}, outlet {view.outlet_text}, case {view.case_text}.",
        f"Inlet valve {valve_words(view)}.",
        f"Disk {disk_words(view)}.",
        f"Relief {relief_words(view)}.",
        f"Vent {vent_words(view)}.",
        "Gas comes out of the vent." if share(view.vent_flow) > 0 else "",
        f"Appliances {demand_words(view)}.",
        f"{'Hard' if debris.hard else 'Soft'} debris on the seat." if debris else "",
        "Seat nicked." if view.seat_nicked else "",
        "Diaphragm torn." if view.torn else "",
        "Stem stuck." if view.stem_stuck else "",
        "Main spring weak." if view.spring_weak else "",
        f"Filter {filter_words(view)}." if share(view.filter_blocked) > 0 else "",
        CAPTION,
    ]
    return " ".join(filter(None, said))


def percent(value: float) -> str:
    """A share as the drawing writes it: '12 %'; what is more than nothing is never written as 0 %."""
    part = share(value)
    return f"{max(round(100 * part), 1 if part > 0 else 0)} %"


def valve_words(view: RegulatorView) -> str:
    """State of the inlet valve."""
    return "open" if view.inlet_open else "shut"


def disk_words(view: RegulatorView) -> str:
    """How far the disk stands off its seat."""
    return f"{percent(view.lift)} open" if share(view.lift) > 0 else "shut"


def relief_words(view: RegulatorView) -> str:
    """State of the internal relief."""
    return f"open {percent(view.relief_lift)}" if share(view.relief_lift) > 0 else "shut"


def vent_words(view: RegulatorView) -> str:
    """How free the vent is."""
    blocked = share(view.vent_blocked)
    return "blocked" if blocked > 0.99 else f"{percent(blocked)} blocked" if blocked > 0 else "clear"


def filter_words(view: RegulatorView) -> str:
    """How free the filter is."""
    blocked = share(view.filter_blocked)
    return "blocked" if blocked > 0.99 else f"{percent(blocked)} blocked" if blocked > 0 else "clear"


def demand_words(view: RegulatorView) -> str:
    """What the appliances take."""
    return f"take {percent(view.demand)}" if share(view.demand) > 0 else "off"


def seat_words(view: RegulatorView) -> str:
    """What is wrong at the seat; empty when nothing is."""
    debris = f"{'hard' if view.debris.hard else 'soft'} debris" if view.debris else ""
    return ", ".join(filter(None, ("nicked" if view.seat_nicked else "", debris)))
