"""The pressure switch: makes on high or low pressure and drives an alarm, a burner lockout or a slam-shut."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, NamedTuple

from toolkit import checks
from toolkit.compiled import reader
from toolkit.devices.fit import PRESSURE_SWITCH, Fit
from toolkit.devices.slam_shut import NEVER_HIGH, NEVER_LOW
from toolkit.errors import ScenarioError
from toolkit.units import IN_WC


class PressureSwitchCondition(NamedTuple):
    """A switch's effective numbers at one moment, Pa absolute; `made` 1 while it acts."""

    high: float
    high_reset: float
    low: float
    low_reset: float
    made: float


@dataclass(frozen=True)
class PressureSwitch:
    """A switch that senses a volume; gauge pressures [Pa], None is no contact on that side.

    It lets go `deadband` [Pa] back inside its setting: by itself, or with `manual_reset` only by hand. `response` [s]
    is the least time between two of its moves. `locks_out` names the loads whose burners it shuts while made,
    `trips` the slam-shuts it trips; with neither it is an alarm.
    """

    name: str = "pressure_switch"
    senses: str = "outlet"
    high_gauge_pressure: float | None = 16 * IN_WC
    low_gauge_pressure: float | None = None
    deadband: float = 1 * IN_WC
    accuracy: float = 0.05
    manual_reset: bool = False
    response: float = 0.5
    locks_out: tuple[str, ...] = ()
    trips: tuple[str, ...] = ()

    SHOWS: ClassVar = ("made",)

    def __post_init__(self) -> None:
        checks.name("pressure_switch.name", self.name)
        here = self.name
        checks.name(f"{here}.senses", self.senses)
        if self.high_gauge_pressure is None and self.low_gauge_pressure is None:
            raise ScenarioError(f"{here}.high_gauge_pressure", None, "a high or a low setting", "Give at least one.")
        for field in ("high_gauge_pressure", "low_gauge_pressure"):
            if getattr(self, field) is not None:
                checks.number(f"{here}.{field}", getattr(self, field), 10, 2e7, "Pa")
        if None not in (low := self.low_gauge_pressure, high := self.high_gauge_pressure) and low >= high:  # type: ignore[operator]
            raise ScenarioError(
                f"{here}.low_gauge_pressure", low, f"less than the high one ({high:g} Pa)", "Lower it, or swap the two."
            )
        checks.number(f"{here}.deadband", self.deadband, 0, 1e6, "Pa")
        checks.number(f"{here}.accuracy", self.accuracy, 0, 0.3, "of the setting")
        checks.number(f"{here}.response", self.response, 0.05, 60, "s")
        if not isinstance(self.manual_reset, bool):
            raise ScenarioError(f"{here}.manual_reset", self.manual_reset, "true or false", "Write one of the two.")
        for field in ("locks_out", "trips"):
            names = getattr(self, field)
            if isinstance(names, str):
                object.__setattr__(self, field, (names,))
            for name in getattr(self, field):
                checks.name(f"{here}.{field}", name)

    def condition(self, atmosphere: float) -> PressureSwitchCondition:
        """The healthy switch, at rest, at a site's atmosphere [Pa]."""
        high, low, back = self.high_gauge_pressure, self.low_gauge_pressure, self.deadband
        return PressureSwitchCondition(
            high=NEVER_HIGH if high is None else atmosphere + high,
            high_reset=NEVER_HIGH if high is None else atmosphere + high - back,
            low=NEVER_LOW if low is None else atmosphere + low,
            low_reset=NEVER_LOW if low is None else atmosphere + low + back,
            made=0.0,
        )

    def ends(self) -> dict[str, str]:
        """The volumes it meets."""
        return {"senses": self.senses}


read_pressure_switch = reader(PressureSwitchCondition)


def pressure_switch_fit() -> Fit:
    """A switch in its place: it passes no gas, and shows whether it is made."""
    return Fit(PRESSURE_SWITCH, PressureSwitchCondition, (), 1, ())
