"""The steps of a run from one moment to the next, while the conditions go in a straight line, on flat numbers.

The equations are stiff (rates from milliseconds to minutes, an exact standstill at lock-up), so the step is linearly
implicit (solver.py). A stretch ends at its end, or where a watched setting is passed: that moment is found by taking
the step again, shorter.
"""

from __future__ import annotations

from typing import NamedTuple

from toolkit.compiled import Floats, Ints, compiled, entry
from toolkit.devices.fit import REGULATOR
from toolkit.devices.regulator import MAIN_FLOW
from toolkit.hunting import most_turned, swings, swings_so_far
from toolkit.rates import (
    BENDS,
    BLOCK,
    BY_TIME,
    HEAD,
    LAW,
    RESTS,
    SHOWN,
    TOLERANCE,
    VALUES,
    Layout,
    layout_of,
    rates_of,
    slopes_of,
    travel_at,
)
from toolkit.solver import Work, step

# A stretch begins with a step this long [s], or with this share of it where it is short.
FIRST_STEP, FIRST_SHARE, SMALLEST_STEP = 0.2, 0.25, 1e-10
# From where a station hunts on, the error allowed is this many times as large until something changes: steps longer
# than a swing damp it out, and the run shows the middle of it.
HUNTING_TOLERANCE = 300.0
# A stretch that takes so many steps, to and fro, counts as hunting however irregular it is.
PATIENCE = 2_500
# A disk may leave a stop by more than this share of its travel only in a step as short as this [s].
OFF_A_STOP, LONGEST_OFF_A_STOP = 0.02, 0.02
# A regulator's flow may turn back by more than this share of it, and more than so many kg/s, only in such a step.
TURNED_BACK, LEAST_BACK = 1e-2, 1e-6
# A relief valve's disk may turn round by more than this share of its lift only in such a step.
TURNED = 5e-3
# A trip is located to within this time [s].
TRIP_WITHIN = 1e-4
# A crossing is located to within this time [s], and later on to within this share of the time, in so many halvings.
CROSSED_WITHIN, HALVINGS = 1e-4, 60

# How a stretch comes back: at its end, where something trips, with all room for points used up, and two that fail.
DONE, TRIPPED, FULL, NO_STEP_SMALL_ENOUGH, OUT_OF_STEPS = range(5)
# What a stretch keeps while it comes back for room: its start, end and moment [s], its next step [s], how many times
# the error allowed is as large, steps taken and allowed, whether it damps hunting, whether conditions move; then
# whether it has begun, and where something hunts: number of the watched place (-1 is nowhere), time [s], frequency
# [Hz].
START, END, NOW, STEP, LARGER, TAKEN, BUDGET, DAMPS, MOVES, BEGUN, HUNTS, HUNTS_AT, HUNTS_BY = range(13)
# So many numbers has a watched setting: its factor (how a value beyond it counts), its value at start and end.
WATCH = 3


class Way(NamedTuple):
    """How the conditions go: their numbers `before` and `after`, in a straight line from `start` to `end` [s].

    `moves` says whether they change at all.
    """

    before: Floats
    after: Floats
    start: float
    end: float
    moves: bool


class Watched(NamedTuple):
    """So many `settings` that are watched: their `places` in what is shown, and WATCH `numbers` of each."""

    settings: int
    places: Ints
    numbers: Floats


@compiled
def _share(way: Way, time: float) -> float:
    """How much of its way a stretch has gone at a time [s]."""
    return (time - way.start) / (way.end - way.start)


@compiled
def _conditions(net: Layout, way: Way, share: float, numbers: Floats) -> None:
    """Write the conditions' numbers at a share of the way."""
    for i in range(net.numbers):
        numbers[i] = way.before[i] + (way.after[i] - way.before[i]) * share if way.moves else way.before[i]


@compiled
def _beyond(way: Way, watched: Watched, time: float, shown: Floats) -> float:
    """The farthest that any watching device stands beyond its setting; above 0 it trips."""
    share, farthest = _share(way, time), -1.0
    for i in range(watched.settings):
        value, at = shown[watched.places[i]], WATCH * i
        factor, first, last = watched.numbers[at], watched.numbers[at + 1], watched.numbers[at + 2]
        past = (1.0 - share) * (factor * (value - first)) + share * (factor * (value - last))
        if i == 0 or past > farthest:
            farthest = past
    return farthest


@compiled
def _keep(net: Layout, points: Floats, row: int, time: float, state: Floats, rates: Floats, shown: Floats) -> None:
    """Write a point: its time, state, rates, and what is shown."""
    at = row * (1 + 2 * net.size + net.width)
    points[at] = time
    for i in range(net.size):
        points[at + 1 + i] = state[i]
        points[at + 1 + net.size + i] = rates[i]
    for i in range(net.width):
        points[at + 1 + 2 * net.size + i] = shown[i]


@compiled
def _worst_error(net: Layout, w: Work) -> tuple[float, int]:
    """The largest error as a multiple of what is allowed, and the place where it is; one that is no number first."""
    worst, at = 0.0, 0
    for i in range(net.dynamic):
        rest, floor = net.fixed[RESTS + i], net.fixed[RESTS + net.dynamic + i]
        allowed = floor + net.fixed[TOLERANCE] * max(abs(w.state[i] - rest), abs(w.new[i] - rest))
        share = abs(w.error[i]) / allowed
        if share != share:
            return share, i
        if share > worst:
            worst, at = share, i
    return worst, at


@compiled
def _thrown(net: Layout, w: Work) -> bool:
    """Whether a disk that stood at a stop is well off it, a regulator's gas has turned back, or a relief's disk has.

    While a disk stands on its seat or wide open the slopes know nothing of the case that must breathe for it to move,
    and the case's error is underrated: a long step on a slowly rising outlet would pass lock-up. Between its opening
    and its closing line a relief's disk stands still, but the slopes know only the line that it was on: a long step in
    which the pressure turns would drag it along, past its blowdown. Where a wide-open regulator's flow dies away, the
    slope of its root says that twice the difference in pressure is to go: behind it would stand more than before it.
    """
    for device in range(net.devices):
        block = HEAD + device * BLOCK
        if net.plan[block + LAW] == REGULATOR:
            travel, at = net.fixed[travel_at(net, device)], net.plan[block + SHOWN]
            was, now = w.shown[at], w.new_shown[at]
            if abs(now - was) > OFF_A_STOP * travel and (was == 0.0 or was >= travel):
                return True
            passed = w.shown[at + MAIN_FLOW]
            if passed > 0.0 and w.new_shown[at + MAIN_FLOW] < -max(TURNED_BACK * passed, LEAST_BACK):
                return True
    for i in range(net.gas, net.dynamic):
        if abs(w.new[i] - w.state[i]) > TURNED and (w.new[i] - w.state[i]) * w.rates[i] < 0.0:
            return True
    return False


@compiled
def _drift(net: Layout, w: Work, way: Way, share: float) -> None:
    """Write how the rates and the flows change by themselves while the conditions move [1/s], at a share of the way."""
    nudge = 1e-4 if share < 0.5 else -1e-4
    _conditions(net, way, share + nudge, w.there)
    rates_of(net, w.there, w.state, w.new_shown, w.new_rates)
    seconds = nudge * (way.end - way.start)
    for i in range(net.size):
        w.drift[i] = (w.new_rates[i] - w.rates[i]) / seconds
    for device in range(net.devices):
        at = net.plan[HEAD + device * BLOCK + SHOWN]
        for value in range(net.plan[HEAD + device * BLOCK + VALUES]):
            w.bends[device * BENDS + BY_TIME + value] = (w.new_shown[at + value] - w.shown[at + value]) / seconds


@compiled
def _trip_point(
    net: Layout, w: Work, way: Way, watched: Watched, now: float, late: float, points: Floats, row: int
) -> None:
    """Keep the first point beyond a setting, in a step from `now` that ends `late` [s] beyond it."""
    early = now
    _keep(net, points, row, late, w.new, w.new_rates, w.new_shown)
    while late - early > TRIP_WITHIN:
        middle = 0.5 * (early + late)
        _conditions(net, way, _share(way, middle), w.there)
        whole = step(net, w, middle - now)
        if whole:
            rates_of(net, w.there, w.new, w.new_shown, w.new_rates)
        if whole and _beyond(way, watched, middle, w.new_shown) > 0.0:
            late = middle
            _keep(net, points, row, late, w.new, w.new_rates, w.new_shown)
        else:
            early = middle


@entry
@compiled
def stretch(
    plan: Ints,
    fixed: Floats,
    before: Floats,
    after: Floats,
    run: Floats,
    settings: int,
    watched_places: Ints,
    watched_numbers: Floats,
    swinging: int,
    swing_places: Ints,
    kept: Floats,
    points: Floats,
    room: int,
    rows: Ints,
    state: Floats,
    rates: Floats,
    shown: Floats,
    slopes: Floats,
    bends: Floats,
    drift: Floats,
    masses: Floats,
    previous: Floats,
    here: Floats,
    there: Floats,
    new: Floats,
    error: Floats,
    new_rates: Floats,
    new_shown: Floats,
    matrix: Floats,
    order: Ints,
    first: Floats,
    second: Floats,
    side: Floats,
    left: Floats,
    more: Floats,
) -> int:
    """Take steps from `state` until the stretch is DONE, something has TRIPPED, the points are FULL, or none helps.

    The conditions' numbers go from `before` to `after`. The points are written from the first row on, `room` of them at
    most, and `rows[0]` says how many: the first is the start itself. After FULL call it again with the same buffers.
    The buffers after `rows` are those of `Work`.
    """
    net = layout_of(plan, fixed)
    w = Work(
        state,
        rates,
        shown,
        slopes,
        bends,
        drift,
        masses,
        previous,
        here,
        there,
        new,
        error,
        new_rates,
        new_shown,
        matrix,
        order,
        first,
        second,
        side,
        left,
        more,
    )
    way = Way(before, after, run[START], run[END], run[MOVES] != 0.0)
    watched = Watched(settings, watched_places, watched_numbers)
    end, size = way.end, net.size
    t, h, larger, damps = run[NOW], run[STEP], run[LARGER], run[DAMPS] != 0.0
    row = 0
    _conditions(net, way, _share(way, t), w.here)
    if run[BEGUN] == 0.0:
        run[BEGUN] = 1.0
        run[HUNTS] = -1.0
        h = min(FIRST_STEP, FIRST_SHARE * (end - way.start))
        rates_of(net, w.here, w.state, w.shown, w.rates)
        for i in range(size):
            w.before[i] = w.state[i]
            w.drift[i] = 0.0
        _keep(net, points, row, t, w.state, w.rates, w.shown)
        row = 1
    while run[TAKEN] < run[BUDGET]:
        if row == room:
            run[NOW], run[STEP], run[LARGER], rows[0] = t, h, larger, row
            return FULL
        slopes_of(net, w.here, w.shown, w.slopes, w.bends, w.new_shown)
        if way.moves:
            _drift(net, w, way, _share(way, t))
        while True:
            later = min(t + h, end)
            h = later - t
            _conditions(net, way, _share(way, later), w.there)
            worst, at = 1e3, 0
            if step(net, w, h):
                worst, at = _worst_error(net, w)
                worst /= larger
            if worst <= 1.0:
                rates_of(net, w.there, w.new, w.new_shown, w.new_rates)
                if h <= LONGEST_OFF_A_STOP or not _thrown(net, w):
                    break
                worst = 16.0
            h *= max(0.1, 0.85 * worst**-0.5)
            if not h >= SMALLEST_STEP:
                run[NOW], rows[0] = t, row
                return NO_STEP_SMALL_ENOUGH
        # Where a disk comes to its stop between the stages, the second can take back all that the first went ahead: the
        # step is within its error and gets nowhere, and so on for ever. The first-order solution is as near and moves.
        ahead = w.new[at] - w.error[at] - w.state[at]
        if (w.new[at] - w.state[at]) * ahead < 0.25 * ahead * ahead:
            for i in range(size):
                w.new[i] -= w.error[i]
            rates_of(net, w.there, w.new, w.new_shown, w.new_rates)
        # Nor may it swing about that stop from step to step: what really swings does so over many steps.
        turns = (w.new[at] - w.state[at]) * (w.state[at] - w.before[at]) < 0.0
        dithers = worst > 0.01 and larger < HUNTING_TOLERANCE and turns
        if settings and _beyond(way, watched, later, w.new_shown) > 0.0:
            _trip_point(net, w, way, watched, t, later, points, row)
            rows[0] = row + 1
            return TRIPPED
        t = later
        for i in range(size):
            w.before[i] = w.state[i]
            w.state[i] = w.new[i]
            w.rates[i] = w.new_rates[i]
        for i in range(net.width):
            w.shown[i] = w.new_shown[i]
        for i in range(net.numbers):
            w.here[i] = w.there[i]
        _keep(net, points, row, t, w.state, w.rates, w.shown)
        row += 1
        if t == end:
            rows[0] = row
            return DONE
        if damps and larger < HUNTING_TOLERANCE:
            where, often = -1, 0.0
            for i in range(swinging):
                found = swings(kept, i, t, w.shown[swing_places[i]])
                if found > 0.0 and where < 0:
                    where, often = i, found
            if where < 0 and run[TAKEN] == PATIENCE:
                where = most_turned(kept, swinging)
                if where >= 0:
                    often = swings_so_far(kept, where)
            if where >= 0:
                larger = HUNTING_TOLERANCE
                run[HUNTS], run[HUNTS_AT], run[HUNTS_BY] = where, t, often
        h *= 0.5 if dithers else min(6.0, 0.85 * max(worst, 1e-6) ** -0.5)
        run[TAKEN] += 1.0
    run[NOW], rows[0] = t, row
    return OUT_OF_STEPS


@entry
@compiled
def rates_at(plan: Ints, fixed: Floats, numbers: Floats, state: Floats, shown: Floats, rates: Floats) -> int:
    """Write the rates of a state and what is shown there."""
    rates_of(layout_of(plan, fixed), numbers, state, shown, rates)
    return DONE


@entry
@compiled
def slopes_at(
    plan: Ints, fixed: Floats, numbers: Floats, shown: Floats, slopes: Floats, bends: Floats, moved: Floats
) -> int:
    """Write the slopes of the rates where this is shown; `bends` and `moved` are as `slopes_of` wants them."""
    slopes_of(layout_of(plan, fixed), numbers, shown, slopes, bends, moved)
    return DONE


@entry
@compiled
def locate(
    plan: Ints,
    fixed: Floats,
    before: Floats,
    after: Floats,
    start: float,
    end: float,
    a: Floats,
    b: Floats,
    column: int,
    level: float,
    numbers: Floats,
    ended: Floats,
    state: Floats,
    rates: Floats,
    shown: Floats,
) -> int:
    """Move point `b` back to where what is shown in a column crosses a level between the points `a` and `b`.

    On the straight line between the two states: what that misses is within the error of a step. The conditions go from
    `before` to `after` between `start` and `end` [s].
    """
    net, way = layout_of(plan, fixed), Way(before, after, start, end, True)
    begin, early, late, last = a[0], a[0], b[0], b[0]
    up = b[1 + 2 * net.size + column] > level
    for i in range(net.size):
        ended[i] = b[1 + i]
    for _ in range(HALVINGS):
        if late - early <= CROSSED_WITHIN * max(1.0, late):
            break
        now = 0.5 * (early + late)
        share = (now - begin) / (last - begin)
        for i in range(net.size):
            state[i] = a[1 + i] + (ended[i] - a[1 + i]) * share
        _conditions(net, way, _share(way, now), numbers)
        rates_of(net, numbers, state, shown, rates)
        if (shown[column] > level) == up:
            late = now
            _keep(net, b, 0, now, state, rates, shown)
        else:
            early = now
    return DONE
