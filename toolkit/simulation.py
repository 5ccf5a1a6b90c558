"""simulate(scenario) -> Trace: the only time loop.

The equations are stiff (rates from milliseconds to minutes, an exact standstill at lock-up), so the step is linearly
implicit (toolkit/solver.py). Steps end exactly where something planned starts or stops changing, and where a latching
device trips: that moment is found by taking the step again, shorter.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import lru_cache, partial
from typing import NamedTuple

from toolkit.actions import Reset
from toolkit.devices import latch as latches_of
from toolkit.devices.latch import BY_SWITCH, REST, Latch, Latching, Watch
from toolkit.devices.line import RoomCondition
from toolkit.devices.pressure_switch import PressureSwitch
from toolkit.devices.regulator import Regulator
from toolkit.devices.relief_valve import ReliefValve
from toolkit.devices.slam_shut import SlamShut
from toolkit.errors import SimulationError
from toolkit.hunting import Hunting, Swings, slowest_to_die
from toolkit.network import Network, network, settling, start_guess
from toolkit.readout import trace_of
from toolkit.scenario import Condition, Scenario, Station
from toolkit.solver import Rows, Shown, State, step
from toolkit.trace import Event, Trace

# Steps of a run. Of 16 500 random runs 12 would have taken more, and the longest that did not 7 121.
STEP_BUDGET = 8_000
# A stretch begins with a step this long [s], or with this share of it where it is short.
FIRST_STEP, FIRST_SHARE, SMALLEST_STEP = 0.2, 0.25, 1e-10
# The start is found by letting the station stand this long [s]; the way there may be rough.
SETTLING_TIME, SETTLING_TOLERANCE = 1e6, 50.0
# From where a station hunts on, the error allowed is this many times as large until something changes: steps longer
# than a swing damp it out, and the run shows the middle of it.
HUNTING_TOLERANCE = 300.0
# A stretch that takes so many steps, to and fro, counts as hunting however irregular it is.
PATIENCE = 2_500
# A stretch at least this long [s] has settled at its end, and is asked there whether it is stable.
SETTLED_AFTER = 5.0
# A disk may leave a stop by more than this share of its travel only in a step as short as this [s].
OFF_A_STOP, LONGEST_OFF_A_STOP = 0.02, 0.02
# A relief valve's disk may turn round by more than this share of its lift only in such a step.
TURNED = 5e-3
# A trip is located to within this time [s].
TRIP_WITHIN = 1e-4
# A lift is watched on the scale of pressures: its full travel counts as this many pascals.
LIFT_AS_PRESSURE = 1e4


class Point(NamedTuple):
    """The station at the end of a step: time [s], state, its rates, and what each device shows."""

    time: float
    state: State
    rates: list[float]
    shown: Shown


# How far beyond a setting the station stands at a point, on the way from one moment to the next; above 0 it trips.
Beyond = Callable[[float, Sequence[float]], float]


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
    points: list[Point] = []
    happened: list[Event] = []
    kept: list[Mapping[str, Latch]] = [latches.copy()]  # the latches under which each point was reached
    now, budget = 0.0, STEP_BUDGET
    while now < scenario.duration:
        held = points[-1].shown[0] if points else net.right_side(conditions).rates(state)[1][0]
        changed = _reset(net, [r for r in resets if r.time == now], held, conditions, latches, happened)
        changed |= _trip(net, now, held, conditions, latches, happened)
        resets = [r for r in resets if r.time > now]
        if changed:
            conditions = scenario.conditions(now, latches)
        then = _next_moment(scenario, planned, latches, now)
        after = scenario.conditions(then, latches)
        watching = _watching(net, latches, now)
        beyond = _beyond(watching, now, then, conditions, after) if watching else None
        hunts: list[Hunting] = []
        under = latches.copy()
        for point in integrate(net, state, now, then, conditions, after, beyond=beyond, hunts=hunts, budget=budget):
            if not points or point.time > points[-1].time:
                points.append(point)
                kept.append(under)
                budget -= 1
        happened += [Event(h.time, "hunts", _name_of(net, h.place), h.frequency) for h in hunts]
        if not hunts and points[-1].time - now >= SETTLED_AFTER:
            happened += _hunts_where_it_settled(net, points[-1], after)
        state, now = points[-1].state, points[-1].time
        conditions = after if now == then else scenario.conditions(now, latches)
    return trace_of(net, points, kept[1:], happened)


def _hunts_where_it_settled(net: Network, point: Point, conditions: Sequence[Condition]) -> list[Event]:
    """The steps of the run may have damped what the station does of itself."""
    mode = slowest_to_die(net.right_side(conditions).slopes(point.shown), net.dynamic)
    if not mode.hunts:
        return []
    return [Event(point.time, "hunts", net.scenario.station.regulators[-1].ends()["senses"], mode.frequency)]


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


def _watching(net: Network, latches: Mapping[str, Latch], now: float) -> list[tuple[int, Latching, int, Watch]]:
    """Every setting that is watched from now on: number of the device, the device, the place it looks at, the watch."""
    found = []
    for number, device in enumerate(net.scenario.station.devices):
        if isinstance(device, Latching) and latches_of.rests_until(device, latches[device.name]) <= now:
            place = net.places[f"{device.name}_lift" if isinstance(device, ReliefValve) else device.senses]
            found += [(number, device, place, watch) for watch in latches_of.watches(device, latches[device.name])]
    return found


def _past(place: int, watch: Watch, condition: Condition, held: Sequence[float]) -> float:
    """How far beyond a setting a device stands [Pa]; above 0 it trips."""
    past = watch.sign * (held[place] - latches_of.setting(condition, watch))  # type: ignore[arg-type]
    return past * LIFT_AS_PRESSURE if watch.setting == "lift" else past


def _beyond(
    watching: list[tuple[int, Latching, int, Watch]],
    start: float,
    end: float,
    before: Sequence[Condition],
    after: Sequence[Condition],
) -> Beyond:
    """The farthest that any watching device stands beyond its setting, between two moments."""

    def beyond(time: float, held: Sequence[float]) -> float:
        share = (time - start) / (end - start)
        return max(
            (1.0 - share) * _past(place, watch, before[i], held) + share * _past(place, watch, after[i], held)
            for i, _, place, watch in watching
        )

    return beyond


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
    for i, device, place, watch in _watching(net, latches, now):
        latch = latches[device.name]
        if (latch.since == now and latch.mode != REST) or _past(place, watch, conditions[i], held) <= 0.0:
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
    state: State,
    start: float,
    end: float,
    before: Sequence[Condition],
    after: Sequence[Condition],
    tolerance: float = 1.0,
    beyond: Beyond | None = None,
    hunts: list[Hunting] | None = None,
    damps: bool = True,
    budget: int = STEP_BUDGET,
) -> Iterator[Point]:
    """The points of a run from `start` to `end` [s] while the conditions go in a straight line from one to the other.

    The first point is the start itself; `tolerance` multiplies the error allowed. Where `beyond` passes 0 the last
    point is the one just after. Hunting is added to `hunts`; from there on the points show the middle of it,
    unless it `damps` not. Raises SimulationError when the step budget is used up or no step is small enough.
    """
    n, gas, relative, long = net.dynamic, net.gas, net.tolerance, end - start
    under = net.stretch(before, after)
    moves = list(before) != list(after)
    # per place: atmosphere and smallest error allowed, in the place's own unit
    pa = net.scenario.station.atmosphere
    rests = [(pa * s if i < gas else 0.0, f * s) for i, (s, f) in enumerate(zip(net.scales, net.floors, strict=True))]

    t, y, h, previous = start, state, min(FIRST_STEP, FIRST_SHARE * long), state
    here = under(0.0)
    f, shown = here.rates(y)
    yield Point(t, y, f, shown)
    drift = [0.0] * len(y)

    def ended(t: float, y: State, f: list[float], slopes: Rows, drift: list[float], to: float) -> Point:
        """The end of a step from `t` to `to` [s]."""
        there = under((to - start) / long)
        new, _ = step(there, y, f, slopes, drift, to - t, n, gas)
        return Point(to, new, *there.rates(new))

    regulators = net.scenario.station.regulators
    devices = enumerate(net.scenario.station.devices, start=1)
    disks = [(i, device.travel) for i, device in devices if isinstance(device, Regulator)]
    swings = Swings(tuple({net.places[end] for r in regulators for end in r.ends().values()}))
    for count in range(budget):
        slopes = here.slopes(shown)
        if moves:
            share = (t - start) / long
            nudge = 1e-4 if share < 0.5 else -1e-4
            drift = [(b - a) / (nudge * long) for a, b in zip(f, under(share + nudge).rates(y)[0], strict=True)]
        while True:
            last = t + h >= end - 1e-12 * max(1.0, abs(end))
            later = end if last else t + h
            h = later - t
            there = under((later - start) / long)
            new, error = step(there, y, f, slopes, drift, h, n, gas)
            worst, at = 1e3, 0
            if min(new[:gas]) > 0.0:
                worst = 0.0
                for i, (a, b, e, (rest, floor)) in enumerate(zip(y, new, error, rests, strict=False)):
                    allowed = floor + relative * max(abs(a - rest), abs(b - rest))
                    if (share := abs(e) / allowed) > worst:
                        worst, at = share, i
                worst /= tolerance
            if worst <= 1.0:
                now_f, now_shown = there.rates(new)
                if h <= LONGEST_OFF_A_STOP or not (
                    _thrown_off_a_stop(disks, shown, now_shown) or _turned_round(range(gas, n), y, f, new)
                ):
                    break
                worst = 16.0
            h *= max(0.1, 0.85 * worst**-0.5)
            if h < SMALLEST_STEP:
                raise SimulationError(
                    f"The run stopped at {t:.6g} s: no step is small enough there. Ramp the change over more time."
                )
        # Where a disk comes to its stop between the stages, the second can take back all that the first went ahead: the
        # step is within its error and gets nowhere, and so on for ever. The first-order solution is as near and moves.
        ahead = new[at] - error[at] - y[at]
        if (new[at] - y[at]) * ahead < 0.25 * ahead * ahead:
            new = [a - e for a, e in zip(new, error, strict=True)]
            now_f, now_shown = there.rates(new)
        # Nor may it swing about that stop from step to step: what really swings does so over many steps.
        dithers = worst > 0.01 and tolerance < HUNTING_TOLERANCE and (new[at] - y[at]) * (y[at] - previous[at]) < 0.0
        if beyond and beyond(later, now_shown[0]) > 0.0:
            whole = Point(later, new, now_f, now_shown)
            yield _where_it_trips(t, whole, partial(ended, t, y, f, slopes, drift), beyond)
            return
        t, y, here, previous, f, shown = later, new, there, y, now_f, now_shown
        yield Point(t, y, f, shown)
        if last:
            return
        found = swings.see(t, shown[0]) if damps and tolerance < HUNTING_TOLERANCE else None
        if found or (damps and count == PATIENCE and (found := swings.so_far())):
            tolerance = HUNTING_TOLERANCE
            if hunts is not None:
                hunts.append(found)
        h *= 0.5 if dithers else min(6.0, 0.85 * max(worst, 1e-6) ** -0.5)
    raise SimulationError(
        f"The run used up its {STEP_BUDGET} steps at {t:.6g} s: something there goes to and fro without end. "
        "Give the smallest volume more room, lower the supply pressure, or set regulators and switches further apart."
    )


def _where_it_trips(early: float, late: Point, ended: Callable[[float], Point], beyond: Beyond) -> Point:
    """The first point beyond a setting, in a step from `early` [s] that ends beyond it; `ended` ends it sooner."""
    while late.time - early > TRIP_WITHIN:
        middle = ended(0.5 * (early + late.time))
        if beyond(middle.time, middle.shown[0]) > 0.0:
            late = middle
        else:
            early = middle.time
    return late


def _thrown_off_a_stop(disks: Sequence[tuple[int, float]], before: Shown, after: Shown) -> bool:
    """Whether a disk that stood at a stop, wide open or on its seat, is well off it.

    While it stands there the slopes know nothing of the case that must breathe for it to move, and the case's error is
    underrated: a long step on a slowly rising outlet would pass lock-up.
    """
    for i, travel in disks:
        was, now = before[i][0], after[i][0]
        if abs(now - was) > OFF_A_STOP * travel and (was == 0.0 or was >= travel):
            return True
    return False


def _turned_round(lifts: range, before: State, rates: Sequence[float], after: State) -> bool:
    """Whether a relief valve's disk that was on its way up has come down, or the other way round.

    Between its opening and its closing line it stands still, but the slopes know only the line that it was on: a long
    step in which the pressure turns would drag it along, past its blowdown.
    """
    return any(abs(after[i] - before[i]) > TURNED and (after[i] - before[i]) * rates[i] < 0.0 for i in lifts)


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
        for point in integrate(net, state, 0.0, SETTLING_TIME, conditions, conditions, SETTLING_TOLERANCE):
            state = point.state
    except SimulationError as error:
        raise SimulationError(f"The station finds no rest to start from. Left to stand: {error}") from None
    return tuple(state[: net.dynamic])
