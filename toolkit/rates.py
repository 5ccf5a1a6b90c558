"""The right side of the equations, on flat numbers: what each device shows, the rates of the state, and their slopes.

`plan` (whole numbers) and `fixed` (floats) lay out a station, `numbers` its conditions at one moment; network.py writes
all three and says what the state is. What a state shows is `shown`: first each place's gas as it is held, at the
pressure it has by its own warmth, then each device's values, one after the other.
"""

from __future__ import annotations

from typing import NamedTuple

from toolkit.compiled import Floats, Ints, compiled, reader
from toolkit.devices.balance import read_regulator
from toolkit.devices.fit import (
    MOST_PORTS,
    MOST_READ,
    MOST_VALUES,
    OPENING,
    PIPE,
    PRESSURE_SWITCH,
    REGULATOR,
    RELIEF_VALVE,
    SLAM_SHUT,
    SUPPLY,
)
from toolkit.devices.line import pipe_values, read_pipe, read_supply, supply_values
from toolkit.devices.pressure_switch import read_pressure_switch
from toolkit.devices.regulator import regulator_values
from toolkit.devices.relief_valve import read_relief_valve, relief_valve_values
from toolkit.devices.slam_shut import read_slam_shut, slam_shut_values
from toolkit.flow import NozzleLaw, through

# A plan begins with these, then comes a block for each device.
SIZE, DYNAMIC, GAS, DEVICES, WIDTH, NUMBERS, HEAD = range(7)
# In a block: the law, where its condition begins in the numbers and its values in what is shown, how many they are, the
# places that the law is given, then how many different ones, and these; then how many ports, and each one's value and
# place.
LAW, CONDITION, SHOWN, VALUES, PLACES = range(5)
READS = PLACES + MOST_READ
PORTS = READS + 1 + MOST_READ
BLOCK = PORTS + 1 + 2 * MOST_PORTS
# The fixed numbers: the nozzle law, air and tolerance; then rest and smallest error of each dynamic place; then for
# each device its disk's travel (a regulator's, else 0) and the weights of its ports.
NOZZLE = 0
AIR = len(NozzleLaw._fields)
TOLERANCE = AIR + 1
RESTS = TOLERANCE + 1
# So many slopes of flows has a device: of each value by each place that it reads, then by time.
BY_TIME = MOST_READ * MOST_VALUES
BENDS = BY_TIME + MOST_VALUES

_read_nozzle = reader(NozzleLaw)


class Layout(NamedTuple):
    """A station laid out, as the compiled functions pass it on.

    Places of its state, dynamic ones, those that hold gas; its devices (leaks count as such); how many numbers a state
    shows, and how many its conditions are; the air's pressure [Pa absolute].
    """

    size: int
    dynamic: int
    gas: int
    devices: int
    width: int
    numbers: int
    air: float
    plan: Ints
    fixed: Floats


@compiled
def layout_of(plan: Ints, fixed: Floats) -> Layout:
    """What stands at the head of a plan, with the plan."""
    return Layout(
        plan[SIZE], plan[DYNAMIC], plan[GAS], plan[DEVICES], plan[WIDTH], plan[NUMBERS], fixed[AIR], plan, fixed
    )


@compiled
def travel_at(net: Layout, device: int) -> int:
    """Where in the fixed numbers a device's travel stands; the weights of its ports follow."""
    return RESTS + 2 * net.dynamic + device * (1 + MOST_PORTS)


@compiled
def show(net: Layout, numbers: Floats, device: int, held: Floats, values: Floats, at: int) -> None:
    """Write what a device shows, where the gas of each place is `held`, into `values` from `at` on."""
    plan, air, law = net.plan, net.air, _read_nozzle(net.fixed, NOZZLE)
    block = HEAD + device * BLOCK
    kind, condition, places = plan[block + LAW], plan[block + CONDITION], block + PLACES
    if kind == REGULATOR:
        lift, relief_lift, case, main, relief, vent = regulator_values(
            law,
            air,
            read_regulator(numbers, condition),
            held[plan[places]],
            held[plan[places + 1]],
            held[plan[places + 2]],
            held[plan[places + 3]],
        )
        values[at] = lift
        values[at + 1] = relief_lift
        values[at + 2] = case
        values[at + 3] = main
        values[at + 4] = relief
        values[at + 5] = vent
    elif kind == PIPE:
        through_it, at_inlet, at_outlet = pipe_values(
            law, air, read_pipe(numbers, condition), held[plan[places]], held[plan[places + 1]]
        )
        values[at] = through_it
        values[at + 1] = at_inlet
        values[at + 2] = at_outlet
    elif kind == RELIEF_VALVE:
        lift, flow, rate = relief_valve_values(
            law, air, read_relief_valve(numbers, condition), held[plan[places]], held[plan[places + 1]]
        )
        values[at] = lift
        values[at + 1] = flow
        values[at + 2] = rate
    elif kind == SLAM_SHUT:
        share, flow = slam_shut_values(
            law, read_slam_shut(numbers, condition), held[plan[places]], held[plan[places + 1]]
        )
        values[at] = share
        values[at + 1] = flow
    elif kind == SUPPLY:
        values[at] = supply_values(law, air, read_supply(numbers, condition), held[plan[places]])
    elif kind == OPENING:
        values[at] = through(law, numbers[condition], held[plan[places]], air)
    elif kind == PRESSURE_SWITCH:
        values[at] = read_pressure_switch(numbers, condition).made


@compiled
def rates_of(net: Layout, numbers: Floats, state: Floats, shown: Floats, rates: Floats) -> None:
    """Write the rates of a state, and what the devices show there."""
    plan = net.plan
    for i in range(net.size):
        shown[i] = state[i] * numbers[i]
        rates[i] = 0.0
    for device in range(net.devices):
        block = HEAD + device * BLOCK
        at, weights = plan[block + SHOWN], travel_at(net, device) + 1
        show(net, numbers, device, shown, shown, at)
        for port in range(plan[block + PORTS]):
            here = block + PORTS + 1 + 2 * port
            rates[plan[here + 1]] += net.fixed[weights + port] * shown[at + plan[here]]


@compiled
def slopes_of(net: Layout, numbers: Floats, shown: Floats, slopes: Floats, bends: Floats, moved: Floats) -> None:
    """Write the slopes of the rates where this is shown: a row of `dynamic` numbers for each place of the state.

    Each device is moved only by what it reads. `bends` has the slopes of each device's flows by themselves, BENDS of
    them; those by time are not written here. `moved` has room for one device's values.
    """
    plan, n = net.plan, net.dynamic
    for i in range(net.size * n):
        slopes[i] = 0.0
    for device in range(net.devices):
        block = HEAD + device * BLOCK
        at, weights = plan[block + SHOWN], travel_at(net, device) + 1
        for look in range(plan[block + READS]):
            j = plan[block + READS + 1 + look]
            here = shown[j]
            nudge = 1e-7 * here if here > 1e-3 else 1e-9
            shown[j] = here + nudge
            show(net, numbers, device, shown, moved, 0)
            shown[j] = here
            per, mine = numbers[j] / nudge, device * BENDS + look * MOST_VALUES
            for port in range(plan[block + PORTS]):
                into = block + PORTS + 1 + 2 * port
                value = plan[into]
                risen = moved[value] - shown[at + value]
                slopes[plan[into + 1] * n + j] += net.fixed[weights + port] * per * risen
                bends[mine + value] = per * risen


@compiled
def add_bent(net: Layout, bends: Floats, x: Floats, later: float, times: float, rates: Floats) -> None:
    """Add to `rates` what `times` a move `x` of the state and `later` [s] change them by, by the `bends` of the flows.

    Each flow is summed up by itself and goes to its ports as one number: what it is rounded by, one place gains and
    another loses.
    """
    plan = net.plan
    for device in range(net.devices):
        block, weights = HEAD + device * BLOCK, travel_at(net, device) + 1
        for port in range(plan[block + PORTS]):
            into = block + PORTS + 1 + 2 * port
            mine = device * BENDS + plan[into]
            change = later * bends[mine + BY_TIME]
            for look in range(plan[block + READS]):
                change += bends[mine + look * MOST_VALUES] * x[plan[block + READS + 1 + look]]
            rates[plan[into + 1]] += net.fixed[weights + port] * (times * change)
