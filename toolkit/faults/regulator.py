"""What can go wrong inside a regulator."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from toolkit.devices.balance import RegulatorCondition
from toolkit.errors import ScenarioError
from toolkit.faults.base import Fault, toward

# A piece of pipe plastic yields, grit and weld slag do not. Stiffness of the piece between disk and seat, N/m.
SOFT_DEBRIS, HARD_DEBRIS = (1e5, 2e6), 1e8


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
        return condition._replace(preload=condition.preload * toward(1.0, self.left_share, severity))


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
            relief_preload=condition.relief_preload * toward(1.0, self.left_share, severity),
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
            highest_lift=travel * toward(1.0, self.highest, severity),
        )


@dataclass(frozen=True, kw_only=True)
class WrongOrifice(Fault):
    """A regulator fitted with an orifice of `times` the right diameter."""

    times: float

    @classmethod
    def ranges(cls) -> Mapping[str, tuple[float, float, str]]:
        """See Fault."""
        return {"times": (0.1, 4, "of the right diameter")}

    def worsen(self, condition: RegulatorCondition, severity: float) -> RegulatorCondition:
        """See Fault."""
        # the areas in a straight line, as all numbers; on the way they are those of no one diameter
        area = toward(1.0, self.times**2, severity)
        return condition._replace(
            curtain=condition.curtain * toward(1.0, self.times, severity),
            orifice=condition.orifice * area,
            unbalanced=condition.unbalanced * area,
        )


@dataclass(frozen=True, kw_only=True)
class Ice(Fault):
    """Hydrate or ice in a regulator: it plugs a share of the orifice, or holds the disk open, or shuts the vent."""

    plugged_share: float = 0.0
    held_open_share: float = 0.0
    vent_share: float = 0.0

    @classmethod
    def ranges(cls) -> Mapping[str, tuple[float, float, str]]:
        """See Fault."""
        return {"plugged_share": (0, 0.9999, ""), "held_open_share": (0, 1, ""), "vent_share": (0, 1, "")}

    def worsen(self, condition: RegulatorCondition, severity: float) -> RegulatorCondition:
        """See Fault."""
        free, top = 1 - self.plugged_share * severity, condition.highest_lift
        return condition._replace(
            curtain=condition.curtain * free,
            orifice=condition.orifice * free,
            lowest_lift=max(condition.lowest_lift, top * self.held_open_share * severity),
            vent=condition.vent * (1 - self.vent_share * severity),
        )


@dataclass(frozen=True, kw_only=True)
class FouledSecondSeat(Fault):
    """Dirt that keeps the second seat of an integral device open: `leak_area` [m2]."""

    leak_area: float

    @classmethod
    def ranges(cls) -> Mapping[str, tuple[float, float, str]]:
        """See Fault."""
        return {"leak_area": (1e-12, 1e-3, "m2")}

    def worsen(self, condition: RegulatorCondition, severity: float) -> RegulatorCondition:
        """See Fault."""
        return condition._replace(second_nick=self.leak_area * severity)
