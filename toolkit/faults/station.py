"""What can go wrong around the regulators: supply, lines, settings, relief valves, slam-shuts, switches, the gas."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from toolkit.devices.balance import RegulatorCondition, preload_for
from toolkit.devices.line import PipeCondition, RoomCondition
from toolkit.devices.pressure_switch import PressureSwitchCondition
from toolkit.devices.relief_valve import ReliefValveCondition
from toolkit.devices.slam_shut import SlamShutCondition
from toolkit.faults.base import Fault, toward


@dataclass(frozen=True, kw_only=True)
class SupplyChange(Fault):
    """The main's pressure goes to `gauge_pressure` [Pa]: sagging in the cold, or raised by a failure upstream."""

    gauge_pressure: float
    strikes: ClassVar[tuple[str, ...]] = ("supply",)

    @classmethod
    def ranges(cls) -> Mapping[str, tuple[float, float, str]]:
        """See Fault."""
        return {"gauge_pressure": (0, 2e7, "Pa")}

    def worsen(self, condition: Any, severity: float) -> Any:
        """See Fault."""
        return condition._replace(gauge_pressure=toward(condition.gauge_pressure, self.gauge_pressure, severity))


@dataclass(frozen=True, kw_only=True)
class PluggedFilter(Fault):
    """Dirt in the filter: `blocked_share` of the flow area of the supply, or of a pipe, is gone."""

    blocked_share: float
    strikes: ClassVar[tuple[str, ...]] = ("supply", "pipe")

    @classmethod
    def ranges(cls) -> Mapping[str, tuple[float, float, str]]:
        """See Fault."""
        return {"blocked_share": (0, 0.99999, "")}

    def worsen(self, condition: Any, severity: float) -> Any:
        """See Fault."""
        return condition._replace(flow_area=condition.flow_area * (1 - self.blocked_share * severity))


@dataclass(frozen=True, kw_only=True)
class Warmed(Fault):
    """Gas warmed by the sun in a volume or a case (`<regulator>_case`): to `times` the station's temperature in kelvin.

    No fault of any device: locked-in gas rises with its absolute temperature.
    """

    times: float
    strikes: ClassVar[tuple[str, ...]] = ("room",)

    @classmethod
    def ranges(cls) -> Mapping[str, tuple[float, float, str]]:
        """See Fault."""
        return {"times": (0.7, 1.5, "of the absolute temperature")}

    def worsen(self, condition: RoomCondition, severity: float) -> RoomCondition:
        """See Fault."""
        return condition._replace(warmth=condition.warmth * toward(1.0, self.times, severity))


@dataclass(frozen=True, kw_only=True)
class Leak(Fault):
    """A leak from a volume to the air: `leak_area` [m2]."""

    leak_area: float
    strikes: ClassVar[tuple[str, ...]] = ("volume",)

    @classmethod
    def ranges(cls) -> Mapping[str, tuple[float, float, str]]:
        """See Fault."""
        return {"leak_area": (1e-12, 1e-2, "m2")}

    def worsen(self, condition: RoomCondition, severity: float) -> RoomCondition:
        """See Fault."""
        return condition._replace(leak=condition.leak + self.leak_area * severity)


@dataclass(frozen=True, kw_only=True)
class WrongSetting(Fault):
    """A regulator or relief valve set `by` [Pa] off what the station's sheet says: a monitor too near its worker."""

    by: float
    strikes: ClassVar[tuple[str, ...]] = ("regulator", "relief_valve")

    @classmethod
    def ranges(cls) -> Mapping[str, tuple[float, float, str]]:
        """See Fault."""
        return {"by": (-1e7, 1e7, "Pa")}

    def worsen(self, condition: Any, severity: float) -> Any:
        """See Fault."""
        if isinstance(condition, RegulatorCondition):
            return condition._replace(preload=max(1e-3, preload_for(condition, self.by * severity)))
        return condition._replace(set_pressure=condition.set_pressure + self.by * severity)


@dataclass(frozen=True, kw_only=True)
class BrokenSensingLine(Fault):
    """A sensing line torn off: both ends open to the air by `open_share` of its bore, so that its device reads air."""

    open_share: float = 1.0
    strikes: ClassVar[tuple[str, ...]] = ("sensing_line",)

    @classmethod
    def ranges(cls) -> Mapping[str, tuple[float, float, str]]:
        """See Fault."""
        return {"open_share": (0.01, 1, "of its bore")}

    def worsen(self, condition: PipeCondition, severity: float) -> PipeCondition:
        """See Fault."""
        torn = self.open_share * severity
        escapes = torn * condition.flow_area
        return PipeCondition(condition.flow_area * (1 - torn), escapes, escapes)


@dataclass(frozen=True, kw_only=True)
class BlockedSensingLine(Fault):
    """A sensing line plugged or its valve shut: `blocked_share` of its bore; 1 freezes what its device reads."""

    blocked_share: float = 1.0
    strikes: ClassVar[tuple[str, ...]] = ("sensing_line",)

    @classmethod
    def ranges(cls) -> Mapping[str, tuple[float, float, str]]:
        """See Fault."""
        return {"blocked_share": (0, 1, "of its bore")}

    def worsen(self, condition: PipeCondition, severity: float) -> PipeCondition:
        """See Fault."""
        return condition._replace(flow_area=condition.flow_area * (1 - self.blocked_share * severity))


@dataclass(frozen=True, kw_only=True)
class DirtyReliefSeat(Fault):
    """A relief valve whose seat weeps, as after a pop: `leak_area` [m2]."""

    leak_area: float
    strikes: ClassVar[tuple[str, ...]] = ("relief_valve",)

    @classmethod
    def ranges(cls) -> Mapping[str, tuple[float, float, str]]:
        """See Fault."""
        return {"leak_area": (1e-12, 1e-3, "m2")}

    def worsen(self, condition: ReliefValveCondition, severity: float) -> ReliefValveCondition:
        """See Fault."""
        return condition._replace(weep=condition.weep + self.leak_area * severity)


@dataclass(frozen=True, kw_only=True)
class BlockedRelief(Fault):
    """A relief valve that cannot discharge: stack or isolating valve shut by `blocked_share`, disk stuck at a lift."""

    blocked_share: float = 1.0
    highest_lift: float = 1.0
    strikes: ClassVar[tuple[str, ...]] = ("relief_valve",)

    @classmethod
    def ranges(cls) -> Mapping[str, tuple[float, float, str]]:
        """See Fault."""
        return {"blocked_share": (0, 1, ""), "highest_lift": (0, 1, "of full lift")}

    def worsen(self, condition: ReliefValveCondition, severity: float) -> ReliefValveCondition:
        """See Fault."""
        return condition._replace(
            outlet_area=condition.outlet_area * (1 - self.blocked_share * severity),
            highest_lift=toward(1.0, self.highest_lift, severity),
        )


@dataclass(frozen=True, kw_only=True)
class TripShift(Fault):
    """A slam-shut or switch whose settings stand `high_by` and `low_by` [Pa] off: set too near, or a worn latch."""

    high_by: float = 0.0
    low_by: float = 0.0
    strikes: ClassVar[tuple[str, ...]] = ("slam_shut", "pressure_switch")

    @classmethod
    def ranges(cls) -> Mapping[str, tuple[float, float, str]]:
        """See Fault."""
        return {"high_by": (-1e7, 1e7, "Pa"), "low_by": (-1e7, 1e7, "Pa")}

    def worsen(self, condition: Any, severity: float) -> Any:
        """See Fault."""
        high, low = self.high_by * severity, self.low_by * severity
        moved = {"high": condition.high + high, "low": condition.low + low}
        if isinstance(condition, PressureSwitchCondition):
            moved |= {"high_reset": condition.high_reset + high, "low_reset": condition.low_reset + low}
        return condition._replace(**moved)


@dataclass(frozen=True, kw_only=True)
class StuckShutoff(Fault):
    """A slam-shut that trips but closes only by `moves` of its travel: 0 is stuck open."""

    moves: float = 0.0
    strikes: ClassVar[tuple[str, ...]] = ("slam_shut",)

    @classmethod
    def ranges(cls) -> Mapping[str, tuple[float, float, str]]:
        """See Fault."""
        return {"moves": (0, 1, "of its closing")}

    def worsen(self, condition: SlamShutCondition, severity: float) -> SlamShutCondition:
        """See Fault."""
        return condition._replace(moves=toward(1.0, self.moves, severity))


@dataclass(frozen=True, kw_only=True)
class WrongDeadband(Fault):
    """A switch whose deadband is `deadband` [Pa]: too small, it chatters."""

    deadband: float = 0.0
    strikes: ClassVar[tuple[str, ...]] = ("pressure_switch",)

    @classmethod
    def ranges(cls) -> Mapping[str, tuple[float, float, str]]:
        """See Fault."""
        return {"deadband": (0, 1e6, "Pa")}

    def worsen(self, condition: PressureSwitchCondition, severity: float) -> PressureSwitchCondition:
        """See Fault."""
        return condition._replace(
            high_reset=toward(condition.high_reset, condition.high - self.deadband, severity),
            low_reset=toward(condition.low_reset, condition.low + self.deadband, severity),
        )
