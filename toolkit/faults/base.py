"""A fault worsens a device's condition; it ramps in over seconds from its onset."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from toolkit import checks
from toolkit.errors import ScenarioError

# Faults ramp in: nothing in the field is instant, and a jump would be faster than any layer can answer.
SHORTEST_RAMP = 1e-3


@dataclass(frozen=True, kw_only=True)
class Fault:
    """Base: devices struck, onset [s] and ramp [s]. With onset + ramp <= 0 the fault is there from the start."""

    devices: tuple[str, ...] | str
    onset: float = 60.0
    ramp: float = 5.0
    strikes: ClassVar[tuple[str, ...]] = ("regulator",)

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

    @property
    def strikes_rooms(self) -> bool:
        """Whether it strikes the gas in a volume or case, not a device."""
        return "room" in self.strikes or "volume" in self.strikes

    def severity(self, time: float) -> float:
        """How far the fault has come at a time [s], 0 to 1."""
        return min(1.0, max(0.0, (time - self.onset) / self.ramp))

    def moments(self) -> tuple[float, float]:
        """The times at which the fault starts and stops growing, s."""
        return self.onset, self.onset + self.ramp

    def worsen(self, condition: Any, severity: float) -> Any:
        """The device's condition with the fault at a severity."""
        raise NotImplementedError


def toward(now: float, then: float, severity: float) -> float:
    """A number on its way from one value to another."""
    return now + (then - now) * severity
