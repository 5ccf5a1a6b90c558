"""What can go wrong with a device. A fault worsens a device's condition; it ramps in over seconds from its onset.

A fault names the devices it strikes, so that one cause can take two of them. `worsen` gives the condition with the
fault fully there (severity 1) or partly; between the moments at which something starts or stops changing, the engine
takes every number of a condition as linear in time.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, ClassVar

from toolkit import checks
from toolkit.devices.balance import RegulatorCondition
from toolkit.devices.line import SupplyCondition
from toolkit.errors import ScenarioError

# A piece of pipe plastic yields, grit and weld slag do not. Stiffness of the piece between disk and seat, N/m.
SOFT_DEBRIS, HARD_DEBRIS = (1e5, 2e6), 1e8
# Faults ramp in: nothing in the field is instant, and a jump would be faster than any layer can answer.
SHORTEST_RAMP = 1e-3


@dataclass(frozen=True, kw_only=True)
class Fault:
    """Base: devices struck, onset [s] and ramp [s]. With onset + ramp <= 0 the fault is there from the start."""

    devices: tuple[str, ...] | str
    onset: float = 60.0
    ramp: float = 5.0
    strikes: ClassVar[str] = "regulator"

    def __post_init__(self) -> None:
        if isinstance(self.devices, str):
            object.__setattr__(self, "devices", (self.devices,))
        here = type(self).__name__
        if not self.devices:
            raise ScenarioError(f"{here}.devices", self.devices, "at least one device's name", "Name what it strikes.")
        for device in self.devices:
            checks.name(f"{here}.devices", device)
        checks.number(f"{here}.onset", self.onset, -1e6, 1e6, "s")
        checks.number(f"{here}.ramp", self.ramp, SHORTEST_RAMP, 1e6, "s")
        for key, (low, high, unit) in self.ranges().items():
            checks.number(f"{here}.{key}", getattr(self, key), low, high, unit)

    @classmethod
    def ranges(cls) -> Mapping[str, tuple[float, float, str]]:
        """Lowest and highest value and unit of each of the fault's own numbers."""
        return {}

    def severity(self, time: float) -> float:
        """How far the fault has come at a time [s], 0 to 1."""
        return min(1.0, max(0.0, (time - self.onset) / self.ramp))

    def moments(self) -> tuple[float, float]:
        """The times at which the fault starts and stops growing, s."""
        return self.onset, self.onset + self.ramp

    def worsen(self, condition: Any, severity: float) -> Any:
        """The device's condition with the fault at a severity."""
        raise NotImplementedError


def _toward(now: float, then: float, severity: float) -> float:
    return now + (then - now) * severity


@dataclass(frozen=True, kw_only=True)
class Debris(Fault):
    """A piece on the seat: `height` [m], `stiffness` [N/m], `edge` share of the seat's edge it holds open."""

    height: float
    stiffness: float = 1e6
    edge: float = 0.5

    @classmethod
    def ranges(cls) -> Mapping[str, tuple[float, float, str]]:
        """See Fault."""
        return {"height": (1e-6, 0.05, "m"), "stiffness": (1e4, 1e9, "N/m"), "edge": (0.01, 1, "")}

    def worsen(self, condition: RegulatorCondition, severity: float) -> RegulatorCondition:
        """See Fault. A piece higher than the disk can lift is taken as that high."""
        return condition._replace(
            debris_height=min(self.height, condition.highest_lift) * severity,
            debris_stiffness=self.stiffness,
            debris_edge=self.edge,
        )


@dataclass(frozen=True, kw_only=True)
class NickedSeat(Fault):
    """A cut in the seat or disk that leaks even when pressed shut: `leak_area` [m2]."""

    leak_area: float

    @classmethod
    def ranges(cls) -> Mapping[str, tuple[float, float, str]]:
        """See Fault."""
        return {"leak_area": (1e-12, 1e-3, "m2")}

    def worsen(self, condition: RegulatorCondition, severity: float) -> RegulatorCondition:
        """See Fault."""
        return condition._replace(nick=self.leak_area * severity)


@dataclass(frozen=True, kw_only=True)
class TornDiaphragm(Fault):
    """A tear: `hole_area` [m2] from below to above, `lost_share` of the diaphragm that no longer carries pressure."""

    hole_area: float
    lost_share: float = 0.05

    @classmethod
    def ranges(cls) -> Mapping[str, tuple[float, float, str]]:
        """See Fault."""
        return {"hole_area": (1e-9, 1e-2, "m2"), "lost_share": (0, 0.95, "")}

    def worsen(self, condition: RegulatorCondition, severity: float) -> RegulatorCondition:
        """See Fault."""
        return condition._replace(hole=self.hole_area * severity, kept=1 - self.lost_share * severity)


@dataclass(frozen=True, kw_only=True)
class BlockedVent(Fault):
    """A nest, ice, paint or water in the vent: `blocked_share` of its area, 1 is shut."""

    blocked_share: float = 1.0

    @classmethod
    def ranges(cls) -> Mapping[str, tuple[float, float, str]]:
        """See Fault."""
        return {"blocked_share": (0, 1, "")}

    def worsen(self, condition: RegulatorCondition, severity: float) -> RegulatorCondition:
        """See Fault."""
        return condition._replace(vent=condition.vent * (1 - self.blocked_share * severity))


@dataclass(frozen=True, kw_only=True)
class WeakMainSpring(Fault):
    """A main spring broken, relaxed or backed off: `left_share` of its force remains."""

    left_share: float = 0.5

    @classmethod
    def ranges(cls) -> Mapping[str, tuple[float, float, str]]:
        """See Fault."""
        return {"left_share": (0.01, 1, "")}

    def worsen(self, condition: RegulatorCondition, severity: float) -> RegulatorCondition:
        """See Fault. The relief spring is a spring of its own and keeps its force."""
        return condition._replace(preload=condition.preload * _toward(1.0, self.left_share, severity))


@dataclass(frozen=True, kw_only=True)
class WeakRelief(Fault):
    """An internal relief that opens too low: `left_share` of its spring's force; dirt leaves `weep_area` [m2] open."""

    left_share: float = 0.1
    weep_area: float = 0.0

    @classmethod
    def ranges(cls) -> Mapping[str, tuple[float, float, str]]:
        """See Fault."""
        return {"left_share": (0.001, 1, ""), "weep_area": (0, 1e-3, "m2")}

    def worsen(self, condition: RegulatorCondition, severity: float) -> RegulatorCondition:
        """See Fault."""
        return condition._replace(
            relief_preload=condition.relief_preload * _toward(1.0, self.left_share, severity),
            hole=condition.hole + self.weep_area * severity,
        )


@dataclass(frozen=True, kw_only=True)
class StuckStem(Fault):
    """A stem that no longer moves freely: it is held between `lowest` and `highest` share of its travel.

    Open: lowest 1. Closed: highest 0. In between: lowest = highest.
    """

    lowest: float = 1.0
    highest: float = 1.0

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.lowest > self.highest:
            raise ScenarioError(
                "StuckStem.lowest", self.lowest, f"at most highest ({self.highest:g})", "Swap or equal the two."
            )

    @classmethod
    def ranges(cls) -> Mapping[str, tuple[float, float, str]]:
        """See Fault."""
        return {"lowest": (0, 1, ""), "highest": (0, 1, "")}

    def worsen(self, condition: RegulatorCondition, severity: float) -> RegulatorCondition:
        """See Fault."""
        travel = condition.highest_lift
        return condition._replace(
            lowest_lift=travel * self.lowest * severity,
            highest_lift=travel * _toward(1.0, self.highest, severity),
        )


@dataclass(frozen=True, kw_only=True)
class SupplyChange(Fault):
    """The main's pressure goes to `gauge_pressure` [Pa]: sagging in the cold, or raised by a failure upstream."""

    gauge_pressure: float
    strikes: ClassVar[str] = "supply"

    @classmethod
    def ranges(cls) -> Mapping[str, tuple[float, float, str]]:
        """See Fault."""
        return {"gauge_pressure": (0, 2e7, "Pa")}

    def worsen(self, condition: SupplyCondition, severity: float) -> SupplyCondition:
        """See Fault."""
        return condition._replace(gauge_pressure=_toward(condition.gauge_pressure, self.gauge_pressure, severity))


@dataclass(frozen=True, kw_only=True)
class PluggedFilter(Fault):
    """Dirt in the filter: `blocked_share` of the supply's flow area is gone."""

    blocked_share: float
    strikes: ClassVar[str] = "supply"

    @classmethod
    def ranges(cls) -> Mapping[str, tuple[float, float, str]]:
        """See Fault."""
        return {"blocked_share": (0, 0.99999, "")}

    def worsen(self, condition: SupplyCondition, severity: float) -> SupplyCondition:
        """See Fault."""
        return condition._replace(flow_area=condition.flow_area * (1 - self.blocked_share * severity))


@dataclass(frozen=True, kw_only=True)
class Warmed(Fault):
    """Gas warmed by the sun in a volume or a case (`<regulator>_case`): to `times` the station's temperature in kelvin.

    No fault of any device: locked-in gas rises with its absolute temperature.
    """

    times: float
    strikes: ClassVar[str] = "room"

    @classmethod
    def ranges(cls) -> Mapping[str, tuple[float, float, str]]:
        """See Fault."""
        return {"times": (0.7, 1.5, "of the absolute temperature")}

    def worsen(self, condition: Any, severity: float) -> Any:
        """See Fault."""
        return condition._replace(warmth=condition.warmth * _toward(1.0, self.times, severity))


FAULTS: dict[str, type[Fault]] = {
    "debris": Debris,
    "nicked_seat": NickedSeat,
    "torn_diaphragm": TornDiaphragm,
    "blocked_vent": BlockedVent,
    "weak_main_spring": WeakMainSpring,
    "weak_relief": WeakRelief,
    "stuck_stem": StuckStem,
    "supply_change": SupplyChange,
    "plugged_filter": PluggedFilter,
    "warmed": Warmed,
}


def fault(kind: str, **values: Any) -> Fault:
    """A fault by its name, as a file or a form gives it."""
    if kind not in FAULTS:
        raise ScenarioError("fault.kind", kind, "one of " + ", ".join(FAULTS), "Check the spelling.")
    known = {item.name for item in fields(FAULTS[kind])}
    for key in values:
        if key not in known:
            raise ScenarioError(
                f"{kind}.{key}", values[key], "one of " + ", ".join(sorted(known)), "Check the spelling."
            )
    try:
        return FAULTS[kind](**values)
    except TypeError as error:
        raise ScenarioError(
            kind, sorted(values), "every number the fault needs", f"Add what is missing: {error}."
        ) from None
