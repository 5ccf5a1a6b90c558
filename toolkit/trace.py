"""What a run gives: named 1-D signals over time, and what happened when."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from toolkit import checks
from toolkit.errors import ScenarioError

if TYPE_CHECKING:
    from toolkit.scenario import Scenario

Signal = NDArray[np.float64]


@dataclass(frozen=True)
class Event:
    """Something that happened: time [s], kind (see EVENT_KINDS), the device or load, and a number where one belongs."""

    time: float
    kind: str
    subject: str
    value: float = 0.0


EVENT_KINDS = {
    "demand_changes": "a load is switched; value: its new share of the rating",
    "fault_begins": "a fault starts to grow; subject: the fault's name",
    "fault_complete": "a fault is fully there; subject: the fault's name",
    "seat_shuts": "the disk reaches the seat and seals",
    "seat_opens": "the disk leaves the seat",
    "wide_open": "the disk reaches its upper stop",
    "relief_opens": "the internal relief begins to discharge; value: outlet gauge pressure, Pa",
    "relief_shuts": "the internal relief is shut again; value: outlet gauge pressure, Pa",
    "second_seat_acts": "the second seat in the same body begins to shut; value: outlet gauge pressure, Pa",
    "second_seat_rests": "the second seat stands open again; value: outlet gauge pressure, Pa",
    "valve_opens": "a relief valve begins to lift; value: gauge pressure at it, Pa",
    "valve_full": "a relief valve is at full lift; value: gauge pressure at it, Pa",
    "valve_reseats": "a relief valve is shut again; value: gauge pressure at it, Pa",
    "relief_pops": "a relief valve with a seat that weeps after a pop has popped",
    "trips_high": "a slam-shut trips on high pressure; value: sensed gauge pressure, Pa",
    "trips_low": "a slam-shut trips on low pressure; value: sensed gauge pressure, Pa",
    "trips_by_switch": "a pressure switch trips a slam-shut; value: gauge pressure at the switch, Pa",
    "valve_shut": "a slam-shut is shut",
    "valve_begins_to_open": "a slam-shut begins to open after its reset",
    "switch_high": "a switch makes on high pressure; value: sensed gauge pressure, Pa",
    "switch_low": "a switch makes on low pressure; value: sensed gauge pressure, Pa",
    "switch_rest": "a switch lets go by itself; value: sensed gauge pressure, Pa",
    "hunts": "the pressure sensed at the subject swings without dying out, and the run shows the middle of it; "
    "value: swings a second, Hz",
    "chatters": "a switch has moved so often that from here on only some of its moves are followed",
    "action": "a technician acts; subject: the action's name",
    "reset": "a device is reset by hand",
    "reset_refused": "a reset is refused, the cause stands; value: sensed gauge pressure, Pa",
    "reset_not_equalised": "a reset is refused, pressure stands across the valve; value: that difference, Pa",
    "above_rating": "the pressure at a load passes the rating of its controls; value: the rating, gauge Pa",
    "below_rating": "the pressure at a load is within the rating again; value: the rating, gauge Pa",
}


@dataclass(frozen=True)
class Trace:
    """The result of simulate(scenario).

    `times` is (n,) in s, rising; each signal is (n,) on the same times: the engine's own steps, close where things
    move and wide where they rest, exact at every switching. Names: `<volume>_gauge_pressure`, also of sensing lines
    [Pa]; `<regulator>_lift`, `<regulator>_relief_lift` [m] (with a second seat: the overtravel that shuts it);
    `<regulator>_case_gauge_pressure` [Pa]; `<relief valve>_lift_share`, `<slam-shut>_open_share`, `<switch>_made` [-];
    `<device>_flow`, `<regulator>_relief_flow`, `<regulator>_vent_flow`, `<pipe>_inlet_air_flow`,
    `<pipe>_outlet_air_flow`, `<volume>_leak_flow` [standard m3/s].

    `totals` [kg]: `supplied`, `delivered`, `vented` (all that gets out to the air), `stored` (change of what the
    volumes and cases hold); supplied - delivered - vented = stored.
    """

    scenario: Scenario
    times: Signal
    signals: Mapping[str, Signal]
    events: tuple[Event, ...]
    totals: Mapping[str, float]
    steps: int

    def __post_init__(self) -> None:
        for values in (self.times, *self.signals.values()):
            values.setflags(write=False)
        object.__setattr__(self, "signals", MappingProxyType(dict(self.signals)))
        object.__setattr__(self, "totals", MappingProxyType(dict(self.totals)))

    def __reduce__(self) -> tuple[type[Trace], tuple[object, ...]]:
        """A view that cannot be written to does not pickle: it is made anew at the other end."""
        return Trace, (self.scenario, self.times, dict(self.signals), self.events, dict(self.totals), self.steps)

    def __getitem__(self, name: str) -> Signal:
        try:
            return self.signals[name]
        except KeyError:
            raise ScenarioError("signal", name, "one of " + ", ".join(self.signals), "Check the spelling.") from None

    def at(self, name: str, time: float) -> float:
        """A signal's value at a time [s], straight between the engine's steps."""
        return float(np.interp(time, self.times, self[name]))

    def on(self, times: Signal) -> dict[str, Signal]:
        """All signals on other times [s], straight between the engine's steps."""
        return {name: np.interp(times, self.times, values) for name, values in self.signals.items()}

    def settled(self, name: str) -> float:
        """A signal's last value."""
        return float(self[name][-1])

    def peak(self, name: str, start: float = 0.0, end: float = float("inf")) -> tuple[float, float]:
        """Time and value of a signal's highest point in a window [s]."""
        inside = np.flatnonzero((self.times >= start) & (self.times <= end))
        if not len(inside):
            raise ScenarioError("window", (start, end), "a window that overlaps the run", "Move it into the run.")
        best = inside[int(np.argmax(self[name][inside]))]
        return float(self.times[best]), float(self[name][best])

    def happened(self, kind: str, subject: str | None = None) -> tuple[Event, ...]:
        """The events of one kind, in order of time."""
        if kind not in EVENT_KINDS:
            raise ScenarioError("event kind", kind, "one of " + ", ".join(EVENT_KINDS), "Check the spelling.")
        return tuple(e for e in self.events if e.kind == kind and subject in (None, e.subject))


def time_above(times: Sequence[float] | Signal, values: Sequence[float] | Signal, level: float) -> float:
    """How long a signal, straight between its points, stands above a level [s]. Raises ScenarioError for no signal."""
    t, v = np.asarray(times, dtype=float), np.asarray(values, dtype=float) - level
    checks.number("values", len(v), 2, 1e9, "points")
    first, last, long = v[:-1], v[1:], np.diff(t)
    across = np.where(last != first, last - first, 1.0)
    crossing = np.clip(-first / across, 0.0, 1.0)
    share = np.where(first > 0, np.where(last > 0, 1.0, crossing), np.where(last > 0, 1.0 - crossing, 0.0))
    return float((share * long).sum())
