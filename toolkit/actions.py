"""What a technician does during a run, as data: turn a valve, purge, reset, turn a set point.

Real work on gas follows the operator's written procedure and is for qualified persons; here it can be tried safely.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields
from typing import Any, ClassVar

from toolkit import checks
from toolkit.errors import ScenarioError


@dataclass(frozen=True, kw_only=True)
class Action:
    """Base: on which device, at what time [s], over how many seconds."""

    device: str
    time: float
    stroke: float = 2.0
    acts_on: ClassVar[tuple[str, ...]] = ()

    def __post_init__(self) -> None:
        here = type(self).__name__
        checks.name(f"{here}.device", self.device)
        checks.number(f"{here}.time", self.time, 0, 1e6, "s")
        checks.number(f"{here}.stroke", self.stroke, 0.01, 1e5, "s")

    def moments(self) -> tuple[float, float]:
        """The times at which the action begins and ends, s."""
        return self.time, self.time + self.stroke

    @property
    def goal(self) -> float:
        """The number that the action brings its device to."""
        raise NotImplementedError


@dataclass(frozen=True, kw_only=True)
class TurnValve(Action):
    """Turn a valve to `share` open: of the supply, a pipe, a sensing line, a relief valve's isolating valve.

    On a slam-shut it is the equalising valve in its bypass, which is shut to begin with.
    """

    share: float
    acts_on: ClassVar[tuple[str, ...]] = ("supply", "pipe", "sensing_line", "relief_valve", "slam_shut")

    def __post_init__(self) -> None:
        super().__post_init__()
        checks.number("TurnValve.share", self.share, 0, 1, "")

    @property
    def goal(self) -> float:
        """See Action."""
        return self.share


@dataclass(frozen=True, kw_only=True)
class Purge(Action):
    """Let a volume's gas off to a safe place outdoors through `flow_area` [m2]; 0 shuts the purge again."""

    flow_area: float
    acts_on: ClassVar[tuple[str, ...]] = ("volume",)

    def __post_init__(self) -> None:
        super().__post_init__()
        checks.number("Purge.flow_area", self.flow_area, 0, 1e-2, "m2")

    @property
    def goal(self) -> float:
        """See Action."""
        return self.flow_area


@dataclass(frozen=True, kw_only=True)
class AdjustSetPoint(Action):
    """Turn a regulator's adjusting screw until its set point has moved `by` [Pa] from where it began."""

    by: float
    stroke: float = 10.0
    acts_on: ClassVar[tuple[str, ...]] = ("regulator",)

    def __post_init__(self) -> None:
        super().__post_init__()
        checks.number("AdjustSetPoint.by", self.by, -1e7, 1e7, "Pa")

    @property
    def goal(self) -> float:
        """See Action."""
        return self.by


@dataclass(frozen=True, kw_only=True)
class Reset(Action):
    """Reset a slam-shut or a switch by hand. It is refused while the cause stands or the valve is not equalised."""

    acts_on: ClassVar[tuple[str, ...]] = ("slam_shut", "pressure_switch")


ACTIONS: dict[str, type[Action]] = {
    "turn_valve": TurnValve,
    "purge": Purge,
    "adjust_set_point": AdjustSetPoint,
    "reset": Reset,
}


def ramped(changes: Iterable[Action], start: float, time: float) -> float:
    """What a row of actions on one device, in order of time, has brought it to at a time [s]."""
    now = start
    for change in changes:
        if change.time <= time:
            now += (change.goal - now) * min(1.0, (time - change.time) / change.stroke)
    return now


def action(kind: str, **values: Any) -> Action:
    """An action by its name, as a file or a form gives it."""
    return named(ACTIONS, "action", kind, values)  # type: ignore[no-any-return]


def named(known: dict[str, Any], what: str, kind: str, values: dict[str, Any]) -> Any:
    """An object of a table by its name and numbers; a ScenarioError names what is unknown or missing."""
    if kind not in known:
        raise ScenarioError(f"{what}.kind", kind, "one of " + ", ".join(known), "Check the spelling.")
    names = {item.name for item in fields(known[kind])}
    for key in values:
        if key not in names:
            raise ScenarioError(
                f"{kind}.{key}", values[key], "one of " + ", ".join(sorted(names)), "Check the spelling."
            )
    try:
        return known[kind](**values)
    except TypeError as error:
        raise ScenarioError(
            kind, sorted(values), f"every number the {what} needs", f"Add what is missing: {error}."
        ) from None
