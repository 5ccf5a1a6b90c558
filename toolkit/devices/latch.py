"""What latching devices remember during a run: whether they have tripped, since when, and how far open they were then.

A device at rest watches its settings; where one is passed, the run's step ends there and its latch changes. A latch
never goes back by itself: a slam-shut and a switch with manual reset wait for somebody to reset them.
"""

from __future__ import annotations

from typing import NamedTuple

from toolkit.devices.pressure_switch import PressureSwitch, PressureSwitchCondition
from toolkit.devices.relief_valve import POPPED, ReliefValve, ReliefValveCondition
from toolkit.devices.slam_shut import SlamShut, SlamShutCondition

REST, HIGH, LOW, BY_SWITCH, POP = "rest", "high", "low", "by switch", "popped"
# Burners shut and light again within this time [s]; a relief's dirty seat shows within it, too.
STROKE = 1.0

# A switch that has moved so often in a run chatters.
CHATTERS = 40

Latching = SlamShut | PressureSwitch | ReliefValve


class Latch(NamedTuple):
    """Mode since a time [s], and the share to which it (or what it drives) was open when it changed.

    `moves` is the part of its closing that a slam-shut does since then: one that sticks, sticks where it is. `changes`
    says how often the device has changed in the run.
    """

    mode: str = REST
    since: float = float("-inf")
    share: float = 1.0
    moves: float = 1.0
    changes: int = 0


class Watch(NamedTuple):
    """A setting to watch: `sign` * (value - `setting`) above 0 changes the latch to `mode`.

    The value is the pressure a device senses, or the lift of a relief valve; `setting` names a number of its condition.
    """

    mode: str
    sign: float
    setting: str


def watches(device: Latching, latch: Latch) -> tuple[Watch, ...]:
    """What a device in this mode watches."""
    trips = (Watch(HIGH, 1.0, "high"), Watch(LOW, -1.0, "low"))
    if isinstance(device, SlamShut):
        return trips if latch.mode == REST else ()
    if isinstance(device, ReliefValve):
        return (Watch(POP, 1.0, "lift"),) if latch.mode == REST and device.weeps_after_pop else ()
    if latch.mode == REST:
        return trips
    if device.manual_reset:
        return ()
    return (Watch(REST, -1.0, "high_reset"),) if latch.mode == HIGH else (Watch(REST, 1.0, "low_reset"),)


def rests_until(device: Latching, latch: Latch) -> float:
    """The time before which a device that has just changed does not change again, s.

    One that chatters would use up the run: of its moves only one in ten is followed, then one in a hundred.
    """
    if not isinstance(device, PressureSwitch):
        return latch.since
    slower = (1.0, 10.0, 100.0)[min(2, latch.changes // CHATTERS)]
    return latch.since + device.response * slower


def setting(condition: SlamShutCondition | PressureSwitchCondition | ReliefValveCondition, watch: Watch) -> float:
    """The value that a watch compares with, Pa absolute, or a share of lift."""
    return POPPED if watch.setting == "lift" else float(getattr(condition, watch.setting))


def open_share(device: SlamShut | PressureSwitch, latch: Latch, time: float) -> float:
    """The share to which a slam-shut, or the burners that a switch locks out, stand open at a time [s]."""
    passed = time - latch.since
    if isinstance(device, SlamShut):
        if latch.mode == REST:
            return min(1.0, latch.share + passed / device.opening)
        return latch.share * (1.0 - latch.moves * min(1.0, max(0.0, (passed - device.response) / device.closing)))
    if latch.mode == REST:
        return min(1.0, latch.share + passed / STROKE)
    return max(0.0, latch.share - max(0.0, passed) / STROKE)


def moments(device: Latching, latch: Latch) -> tuple[float, ...]:
    """The times at which what follows from a change starts or stops, or a device watches again, s."""
    if isinstance(device, SlamShut):
        if latch.mode == REST:
            return (latch.since + device.opening * (1.0 - latch.share),)
        return latch.since + device.response, latch.since + device.response + device.closing
    if isinstance(device, PressureSwitch):
        left = 1.0 - latch.share if latch.mode == REST else latch.share
        return rests_until(device, latch), latch.since + STROKE * left
    return (latch.since + STROKE,)


def changed(device: Latching, latch: Latch, mode: str, time: float, condition: object) -> Latch:
    """The latch after a change at a time [s]; of the device's condition only how far it still moves counts."""
    share = 1.0 if isinstance(device, ReliefValve) else open_share(device, latch, time)
    moves = condition.moves if isinstance(condition, SlamShutCondition) and mode != REST else 1.0
    return Latch(mode, time, share, moves, latch.changes + 1)
