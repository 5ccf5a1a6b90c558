"""What the symbols of the station drawing are told, and the words that say it.

Numbers and ready-made strings only. Shares, levels and flows are 0 to 1 and are clipped when drawn; a reading is a
pressure with its unit, ready to show; `fault` is a word or two for what is wrong, empty where nothing is. A device that
is `closed` is drawn from outside, with nothing said of what is within.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from toolkit.figures.parts import share
from toolkit.figures.views import percent
from toolkit.units import tidy

SlamShutState = Literal["open", "tripped high", "tripped low", "tripped by switch", "waiting for reset"]
LineState = Literal["whole", "broken", "blocked"]
# From this share on a disk counts as wide open, a flow area as fully blocked.
NEARLY_ALL: Final = 0.99
NOT_OPENED: Final = "not opened"
# Burners that take more than this share of their rating are overfed. Engineering judgement.
OVERFED: Final = 1.1


@dataclass(frozen=True)
class SupplyView:
    """The main that gas comes from; `level` is the depth of its tint."""

    name: str
    reading: str
    level: float = 0.9


@dataclass(frozen=True)
class FilterView:
    """A strainer; `blocked` is the share that is closed."""

    name: str
    blocked: float = 0.0
    fault: str = ""
    closed: bool = False


@dataclass(frozen=True)
class ValveView:
    """An isolating valve; `open_share` 0 is shut."""

    name: str
    open_share: float = 1.0
    fault: str = ""


@dataclass(frozen=True)
class WorkerView:
    """The regulator that holds the pressure: lift of its disk and of its internal relief, flow out of its vent."""

    name: str
    lift: float
    relief_lift: float = 0.0
    vent_flow: float = 0.0
    case_level: float = 0.0
    fault: str = ""
    closed: bool = False


@dataclass(frozen=True)
class MonitorView:
    """The regulator that takes over; wide open while it stands by."""

    name: str
    lift: float = 1.0
    relief_lift: float = 0.0
    vent_flow: float = 0.0
    case_level: float = 0.0
    fault: str = ""
    closed: bool = False


@dataclass(frozen=True)
class SecondSeatView:
    """A regulator with an integral second seat on the same stem; `second_seat` is that seat's opening, 0 is shut."""

    name: str
    lift: float
    second_seat: float = 1.0
    relief_lift: float = 0.0
    vent_flow: float = 0.0
    case_level: float = 0.0
    fault: str = ""
    closed: bool = False


@dataclass(frozen=True)
class SlamShutView:
    """A slam-shut; `open_share` is where its disk stands, None is where the state says it should."""

    name: str
    state: SlamShutState = "open"
    open_share: float | None = None
    fault: str = ""

    @property
    def opening(self) -> float:
        """Share of the disk's travel, 0 is shut."""
        return (1.0 if self.state == "open" else 0.0) if self.open_share is None else share(self.open_share)


@dataclass(frozen=True)
class VolumeView:
    """A volume of pipe with a gauge; `level` moves the needle and the depth of the tint.

    A gauge that is not `read` shows no needle.
    """

    name: str
    reading: str
    level: float
    read: bool = True


@dataclass(frozen=True)
class ReliefValveView:
    """An external relief valve on the volume `at`, with its isolating valve and its stack.

    One that is `closed` is open or shut, and nothing is said of how far.
    """

    name: str
    at: str
    lift: float = 0.0
    stack_flow: float = 0.0
    isolated: bool = False
    weeping: bool = False
    fault: str = ""
    closed: bool = False


@dataclass(frozen=True)
class SwitchView:
    """A pressure switch on the volume `at`; `drives` says what it acts on: an alarm, a lockout, a trip."""

    name: str
    at: str
    made: bool = False
    drives: str = "alarm"
    fault: str = ""


@dataclass(frozen=True)
class ApplianceView:
    """An appliance fed from the volume `at`; `flame` is a share of its largest."""

    name: str
    at: str
    flame: float = 0.0
    locked_out: bool = False
    fault: str = ""


@dataclass(frozen=True)
class LeakView:
    """A hole from the volume `at` to the air, or with `purge` a purge valve that somebody opens and shuts."""

    name: str
    at: str
    flow: float
    purge: bool = False


@dataclass(frozen=True)
class SensingLineView:
    """A line from a tap on the volume `tap` to one device or more.

    `level` is the tint at the device's end; None is the tap's own level, or none at all where the line is broken.
    """

    name: str
    tap: str
    devices: tuple[str, ...]
    state: LineState = "whole"
    level: float | None = None


RegulatorStage = WorkerView | MonitorView | SecondSeatView
MainView = SupplyView | FilterView | ValveView | RegulatorStage | SlamShutView | VolumeView
UpperView = ReliefValveView | SwitchView
LowerView = ApplianceView | LeakView
BranchView = UpperView | LowerView
ElementView = MainView | BranchView

KINDS: Final[dict[type[ElementView], str]] = {
    SupplyView: "Supply",
    FilterView: "Filter",
    ValveView: "Isolating valve",
    WorkerView: "Worker regulator",
    MonitorView: "Monitor regulator",
    SecondSeatView: "Regulator with second seat",
    SlamShutView: "Slam-shut",
    VolumeView: "Volume",
    ReliefValveView: "Relief valve",
    SwitchView: "Pressure switch",
    ApplianceView: "Appliance",
    LeakView: "Leak to the air",
}


def state_words(view: ElementView) -> str:
    """How `view` stands, in the words that are written under or over its symbol."""
    match view:
        case FilterView(closed=True) | WorkerView(closed=True) | MonitorView(closed=True) | SecondSeatView(closed=True):
            return NOT_OPENED
        case SupplyView() | VolumeView():
            return view.reading
        case FilterView():
            return _blocked(view.blocked)
        case ValveView():
            return _open(view.open_share, whole="open")
        case WorkerView() | MonitorView():
            return _open(view.lift)
        case SecondSeatView():
            return f"{_open(view.lift)}, second seat {_open(view.second_seat, whole='open')}"
        case SlamShutView():
            return _slam_shut(view)
        case ReliefValveView():
            return ", ".join(
                filter(
                    None,
                    (
                        ("open" if view.closed else f"open {percent(view.lift)}") if share(view.lift) > 0 else "shut",
                        "isolated" if view.isolated else "",
                        "weeps" if view.weeping and not share(view.lift) > 0 else "",
                        "gas at stack" if share(view.stack_flow) > 0 else "",
                    ),
                )
            )
        case SwitchView():
            return f"{'made' if view.made else 'normal'}: {view.drives}"
        case ApplianceView():
            return "locked out" if view.locked_out else _burns(view)
        case LeakView():
            flows = share(view.flow) > 0
            if view.purge:
                return "lets gas off" if flows else "shut"
            return f"leaks {percent(view.flow)}" if flows else "no leak"


def acting_words(view: ElementView) -> tuple[str, ...]:
    """What happens at `view` besides, one phrase each: a fault, a relief that passes gas, a vent that lets it out."""
    said = ["" if isinstance(view, SupplyView | VolumeView | LeakView) else view.fault]
    if isinstance(view, RegulatorStage):
        seen = share(view.relief_lift) > 0 and not view.closed
        said.append(f"relief open {percent(view.relief_lift)}" if seen else "")
        said.append("gas at vent" if share(view.vent_flow) > 0 else "")
    return tuple(filter(None, said))


def element_sentence(view: ElementView) -> str:
    """`view` in a sentence: what it is, its name, how it stands, what happens at it."""
    return tidy(f"{KINDS[type(view)]} {view.name}: {', '.join((state_words(view), *acting_words(view)))}.")


def line_sentence(view: SensingLineView) -> str:
    """The sensing line in a sentence."""
    return f"Sensing line {view.name}, from {view.tap} to {' and '.join(view.devices)}: {view.state}."


def _open(value: float, whole: str = "wide open") -> str:
    opening = share(value)
    return whole if opening >= NEARLY_ALL else f"{percent(opening)} open" if opening > 0 else "shut"


def _blocked(value: float) -> str:
    closed = share(value)
    return "blocked" if closed >= NEARLY_ALL else f"{percent(closed)} blocked" if closed > 0 else "clear"


def _slam_shut(view: SlamShutView) -> str:
    standing = _open(view.opening, whole="open")
    if view.state == "open":
        return standing
    return view.state if standing == "shut" else f"{view.state}, {standing}"


def _burns(view: ApplianceView) -> str:
    if view.flame > OVERFED:
        return f"overfed, {view.flame:.0%}".replace("%", " %")
    return f"burns {percent(view.flame)}" if share(view.flame) > 0 else "off"
