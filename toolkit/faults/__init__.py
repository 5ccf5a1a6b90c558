"""What can go wrong with a device, by name.

A fault names the devices it strikes, so that one cause can take two of them. `worsen` gives the condition with the
fault fully there (severity 1) or partly; between the moments at which something starts or stops changing, the engine
takes every number of a condition as linear in time.
"""

from __future__ import annotations

from typing import Any

from toolkit.actions import named
from toolkit.faults.base import SHORTEST_RAMP, Fault
from toolkit.faults.regulator import (
    HARD_DEBRIS,
    SOFT_DEBRIS,
    BlockedVent,
    Debris,
    FouledSecondSeat,
    Ice,
    NickedSeat,
    StuckStem,
    TornDiaphragm,
    WeakMainSpring,
    WeakRelief,
    WrongOrifice,
)
from toolkit.faults.station import (
    BlockedRelief,
    BlockedSensingLine,
    BrokenSensingLine,
    DirtyReliefSeat,
    Leak,
    PluggedFilter,
    StuckShutoff,
    SupplyChange,
    TripShift,
    Warmed,
    WrongDeadband,
    WrongSetting,
)

__all__ = [
    "FAULTS",
    "HARD_DEBRIS",
    "SHORTEST_RAMP",
    "SOFT_DEBRIS",
    "BlockedRelief",
    "BlockedSensingLine",
    "BlockedVent",
    "BrokenSensingLine",
    "Debris",
    "DirtyReliefSeat",
    "Fault",
    "FouledSecondSeat",
    "Ice",
    "Leak",
    "NickedSeat",
    "PluggedFilter",
    "StuckShutoff",
    "StuckStem",
    "SupplyChange",
    "TornDiaphragm",
    "TripShift",
    "Warmed",
    "WeakMainSpring",
    "WeakRelief",
    "WrongDeadband",
    "WrongOrifice",
    "WrongSetting",
    "fault",
]

FAULTS: dict[str, type[Fault]] = {
    "debris": Debris,
    "nicked_seat": NickedSeat,
    "torn_diaphragm": TornDiaphragm,
    "blocked_vent": BlockedVent,
    "weak_main_spring": WeakMainSpring,
    "weak_relief": WeakRelief,
    "stuck_stem": StuckStem,
    "wrong_setting": WrongSetting,
    "wrong_orifice": WrongOrifice,
    "ice": Ice,
    "fouled_second_seat": FouledSecondSeat,
    "supply_change": SupplyChange,
    "plugged_filter": PluggedFilter,
    "broken_sensing_line": BrokenSensingLine,
    "blocked_sensing_line": BlockedSensingLine,
    "dirty_relief_seat": DirtyReliefSeat,
    "blocked_relief": BlockedRelief,
    "trip_shift": TripShift,
    "stuck_shutoff": StuckShutoff,
    "wrong_deadband": WrongDeadband,
    "leak": Leak,
    "warmed": Warmed,
}


def fault(kind: str, **values: Any) -> Fault:
    """A fault by its name, as a file or a form gives it."""
    return named(FAULTS, "fault", kind, values)  # type: ignore[no-any-return]
