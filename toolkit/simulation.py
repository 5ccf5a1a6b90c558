"""simulate(scenario) -> Trace: what happens from moment to moment.

Between two moments at which something planned starts or stops changing, or a latching device trips, stretch.py takes
the steps; here stands what follows from each of those moments.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from toolkit.actions import Reset
from toolkit.devices import latch as latches_of
from toolkit.devices.latch import BY_SWITCH, REST, Latch, Latching, Watch
from toolkit.devices.line import RoomCondition
from toolkit.devices.pressure_switch import PressureSwitch
from toolkit.devices.relief_valve import ReliefValve
from toolkit.devices.slam_shut import SlamShut
from toolkit.errors import SimulationError
from toolkit.hunting import SWINGS, Hunting, slowest_to_die
from toolkit.network import Network, State, network, settling, start_guess
from toolkit.rates import BENDS
from toolkit.readout import Stretch, trace_of
from toolkit.scenario import Condition, Scenario, Station
from toolkit.solver import Work
from toolkit.stretch import (
    BUDGET,
    DAMPS,
    END,
    FULL,
    HUNTS,
    HUNTS_AT,
    HUNTS_BY,
    LARGER,
    MOVES,
    NO_STEP_SMALL_ENOUGH,
    NOW,
    OUT_OF_STEPS,
    START,
    stretch,
)
from toolkit.trace import Event, Trace

# Steps of a run: of random runs one in a thousand would have taken more (DEVELOPERS.md, Evidence).
STEP_BUDGET = 8_000
# The start is found by letting the station stand this long [s]; the way there may be rough.
SETTLING_TIME, SETTLING_TOLERANCE = 1e6, 50.0
# A stretch at least this long [s] has settled at its end, and is asked there whether it is stable.
SETTLED_AFTER = 5.0
# A lift is watched on the scale of pressures: its full travel counts as this many pascals.
LIFT_AS_PRESSURE = 1e4
# Points that there is room for at a time.
ROOM = 256


class Watching(NamedTuple):
    """A setting that is watched: number of the device, the device, the place it looks at, the watch."""

    number: int
    device: Latching
    place: int
    watch: Watch


def simulate(scenario: Scenario) -> Trace:
    """Run a scenario from its settled start.

    Raises SimulationError where a run cannot be finished; nothing of it is returned. A scenario that cannot be built
    raises ScenarioError before it gets here.

    >>> from toolkit.scenario import Demand, Scenario
    >>> from toolkit.units import IN_WC
    >>> trace = simulate(Scenario(demands=(Demand(0, 1.0), Demand(60, 0.0)), duration=300))
    >>> round(trace.settled("outlet_gauge_pressure") / IN_WC, 2)
    7.81
    """
    net = network(scenario)
    planned = scenario.moments()
    resets = [action for action in scenario.actions if isinstance(action, Reset)]
    latches = {device.name: Latch() for device in scenario.station.latching}
    conditions = scenario.conditions(0.0)
    state: State = [*settled_state(scenario.station, conditions), *[0.0] * (net.size - net.dynamic)]
    held: Sequence[float] = net.right_side(conditions).rates(state)[1]
    stretches: list[Stretch] = []
    happened: list[Event] = []
    now, budget = 0.0, STEP_BUDGET
    while now < scenario.duration:
        changed = _reset(net, [r for r in resets if r.time == now], held, conditions, latches, happened)
        changed |= _trip(net, now, held, conditions, latches, happened)
        resets = [r for r in resets if r.time > now]
        if changed:
            conditions = scenario.conditions(now, latches)
        then = _next_moment(scenario, planned, latches, now)
        after = scenario.conditions(then, latches)
        watching = _watching(net, latches, now)
        done = integrate(net, state, now, then, conditions, after, watching=watching, budget=budget)
        stretches.append(done)
        budget -= len(done.times)
        if done.hunting:
            happened.append(
                Event(done.hunting.time, "hunts", _name_of(net, done.hunting.place), done.hunting.frequency)
            )
        elif done.times[-1] - now >= SETTLED_AFTER:
            happened += _hunts_where_it_settled(net, done)
        state, now = done.states[-1].tolist(), float(done.times[-1])
        held = done.shown[-1].tolist()
        conditions = after if now == then else scenario.conditions(now, latches)
    return trace_of(net, stretches, happened)


def _hunts_where_it_settled(net: Network, done: Stretch) -> list[Event]:
    """The steps of the run may have damped what the station does of itself."""
    mode = slowest_to_die(net.right_side_by(done.numbers[1]).slopes(done.shown[-1].tolist()), net.dynamic)
    if not mode.hunts:
        return []
    place = net.scenario.station.regulators[-1].ends()["senses"]
    return [Event(float(done.times[-1]), "hunts", place, mode.frequency)]


def _name_of(net: Network, place: int) -> str:
    return next(name for name, number in net.places.items() if number == place)


def _next_moment(scenario: Scenario, planned: list[float], latches: Mapping[str, Latch], now: float) -> float:
    """The next time at which something starts or stops changing, as planned or as followed from a trip."""
    ahead = [time for time in planned if time > now]
    for device in scenario.station.latching:
        latch = latches[device.name]
        if latch.since >= 0.0:
            ahead += [time for time in latches_of.moments(device, latch) if time > now]
    return min(ahead)


def _watching(net: Network, latches: Mapping[str, Latch], now: float) -> list[Watching]:
    """Every setting that is watched from now on."""
    found = []
    for number, device in enumerate(net.scenario.station.devices):
        if isinstance(device, Latching) and latches_of.rests_until(device, latches[device.name]) <= now:
            place = net.places[f"{device.name}_lift" if isinstance(device, ReliefValve) else device.senses]
            found += [
                Watching(number, device, place, watch) for watch in latches_of.watches(device, latches[device.name])
            ]
    return found


def _past(one: Watching, condition: Condition, held: Sequence[float]) -> float:
    """How far beyond a setting a device stands, as a pressure [Pa]; above 0 it trips."""
    past = one.watch.sign * (held[one.place] - latches_of.setting(condition, one.watch))  # type: ignore[arg-type]
    return past * LIFT_AS_PRESSURE if one.watch.setting == "lift" else past


def _trip(
    net: Network,
    now: float,
    held: Sequence[float],
    conditions: Sequence[Condition],
    latches: dict[str, Latch],
    happened: list[Event],
) -> bool:
    """Change the latch of each device that stands beyond its setting; whether any did."""
    pa, changed = net.scenario.station.atmosphere, False
    for one in _watching(net, latches, now):
        i, device, place, watch = one
        latch = latches[device.name]
        if (latch.since == now and latch.mode != REST) or _past(one, conditions[i], held) <= 0.0:
            continue
        changed = True
        latches[device.name] = latches_of.changed(device, latch, watch.mode, now, conditions[i])
        if isinstance(device, ReliefValve):
            happened.append(Event(now, "relief_pops", device.name))
            continue
        kind = ("trips_" if isinstance(device, SlamShut) else "switch_") + watch.mode
        happened.append(Event(now, kind, device.name, held[place] - pa))
        if latches[device.name].changes == latches_of.CHATTERS:
            happened.append(Event(now, "chatters", device.name))
        if isinstance(device, PressureSwitch) and watch.mode != REST:
            for name in device.trips:
                if latches[name].mode == REST:
                    number, shut = _device(net, name)
                    latches[name] = latches_of.changed(shut, latches[name], BY_SWITCH, now, conditions[number])
                    happened.append(Event(now, "trips_by_switch", name, held[place] - pa))
    return changed


def _device(net: Network, name: str) -> tuple[int, SlamShut | PressureSwitch]:
    """Number and device of a name that an action or a switch gives."""
    devices = net.scenario.station.devices
    return next((i, d) for i, d in enumerate(devices) if d.name == name and isinstance(d, SlamShut | PressureSwitch))


def _reset(
    net: Network,
    resets: Sequence[Reset],
    held: Sequence[float],
    conditions: Sequence[Condition],
    latches: dict[str, Latch],
    happened: list[Event],
) -> bool:
    """Reset by hand what may be reset; refuse it while the cause stands or a slam-shut is not equalised."""
    station, changed = net.scenario.station, False
    for action in resets:
        number, device = _device(net, action.device)
        latch, condition = latches[device.name], conditions[number]
        if latch.mode == REST:
            continue
        sensed = held[net.places[device.senses]]
        across = held[net.places[device.inlet]] - held[net.places[device.outlet]] if isinstance(device, SlamShut) else 0
        high, low = ("high", "low") if isinstance(device, SlamShut) else ("high_reset", "low_reset")
        if not getattr(condition, low) <= sensed <= getattr(condition, high):
            happened.append(Event(action.time, "reset_refused", device.name, sensed - station.atmosphere))
        elif isinstance(device, SlamShut) and abs(across) > device.reset_difference:
            happened.append(Event(action.time, "reset_not_equalised", device.name, across))
        else:
            changed = True
            latches[device.name] = latches_of.changed(device, latch, REST, action.time, condition)
            happened.append(Event(action.time, "reset", device.name))
    return changed


def integrate(
    net: Network,
    state: Sequence[float],
    start: float,
    end: float,
    before: Sequence[Condition],
    after: Sequence[Condition],
    tolerance: float = 1.0,
    watching: Sequence[Watching] = (),
    damps: bool = True,
    budget: int = STEP_BUDGET,
    books: bool = True,
) -> Stretch:
    """The run from `start` to `end` [s] while the conditions go in a straight line from one to the other.

    Its first point is the start itself; `tolerance` multiplies the error allowed. Where a watched setting is passed the
    last point is the one just after. From where it hunts on the points show the middle of it, unless it `damps` not.
    Unless it `books` not, no step may lose mass by rounding.
    Raises SimulationError when the step budget is used up or no step is small enough.
    """
    machine = net.machine
    first, last = net.numbers(before), net.numbers(after)
    numbers = machine.floats(first), machine.floats(last)
    run = machine.room(HUNTS_BY + 1)
    run[START], run[END], run[NOW], run[LARGER] = start, end, start, tolerance
    run[BUDGET], run[DAMPS], run[MOVES] = budget, damps, first != last
    settings = [number for one in watching for number in _watch_numbers(one, before, after)]
    watched = len(watching), machine.ints([one.place for one in watching]), machine.floats(settings)
    places = net.around_regulators
    swinging = len(places), machine.ints(places), machine.room(SWINGS * len(places))
    rows, work = machine.ints([0]), _work(net, state, books)
    width, blocks, status = 1 + 2 * net.size + net.width, [], FULL
    while status == FULL:
        points = machine.room(ROOM * width)
        status = machine.call(
            stretch, net.plan, net.fixed, *numbers, run, *watched, *swinging, points, ROOM, rows, *work
        )
        blocks.append(machine.array(points, rows[0] * width).reshape(rows[0], width))
    if status == NO_STEP_SMALL_ENOUGH:
        raise SimulationError(
            f"The run stopped at {run[NOW]:.6g} s: no step is small enough there. Ramp the change over more time."
        )
    if status == OUT_OF_STEPS:
        raise SimulationError(
            f"The run used up its {STEP_BUDGET} steps at {run[NOW]:.6g} s: something there goes to and fro without "
            "end. Give the smallest volume more room, lower the supply pressure, or set regulators and switches "
            "further apart."
        )
    hunting = Hunting(run[HUNTS_AT], places[int(run[HUNTS])], run[HUNTS_BY]) if run[HUNTS] >= 0.0 else None
    whole = np.concatenate(blocks) if len(blocks) > 1 else blocks[0]
    return Stretch(whole, net.size, start, end, numbers, hunting)


def _watch_numbers(
    one: Watching, before: Sequence[Condition], after: Sequence[Condition]
) -> tuple[float, float, float]:
    """How much a value beyond a watched setting counts, and that setting at both ends of a stretch."""
    factor = one.watch.sign * (LIFT_AS_PRESSURE if one.watch.setting == "lift" else 1.0)
    low, high = (latches_of.setting(c[one.number], one.watch) for c in (before, after))  # type: ignore[arg-type]
    return factor, low, high


def _work(net: Network, state: Sequence[float], books: bool = False) -> Work:
    """The buffers of a stretch that begins at a state; the masses are 0 where none is booked."""
    size, n, shown, room = net.size, net.dynamic, net.width, net.machine.room
    return Work(
        state=net.machine.floats(state),
        rates=room(size),
        shown=room(shown),
        slopes=room(size * n),
        bends=room(BENDS * len(net.fits)),
        drift=room(size),
        masses=net.machine.floats(net.masses) if books else room(size),
        before=room(size),
        here=room(net.count),
        there=room(net.count),
        new=room(size),
        error=room(size),
        new_rates=room(size),
        new_shown=room(shown),
        matrix=room(n * n),
        order=net.machine.ints([0] * n),
        first=room(size),
        second=room(size),
        side=room(size),
        left=room(size),
        more=room(n),
    )


@lru_cache(maxsize=256)
def settled_state(station: Station, conditions: tuple[Condition, ...]) -> tuple[float, ...]:
    """The gas in each volume and case, and the lift of each relief valve, after standing under these conditions.

    Kept, since runs that differ only in what happens later start alike.
    """
    net = settling(network(Scenario(station, ())))
    rooms = [c for c in conditions if isinstance(c, RoomCondition)]
    # start_guess gives pressures; a warm room holds less gas at them
    guess = start_guess(net)
    state = [p / room.warmth for p, room in zip(guess, rooms, strict=False)] + guess[len(rooms) :]
    try:
        rest = integrate(net, state, 0.0, SETTLING_TIME, conditions, conditions, SETTLING_TOLERANCE, books=False)
        state = rest.states[-1].tolist()
    except SimulationError as error:
        raise SimulationError(f"The station finds no rest to start from. Left to stand: {error}") from None
    return tuple(state[: net.dynamic])
