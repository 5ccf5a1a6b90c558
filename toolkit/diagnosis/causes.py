"""How each row of the symptom table comes about: a site by chance, and what goes wrong on its day.

Each cause finds its device on the site, whatever that is called, and counts settings in the site's own set point.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import pi, sqrt
from random import Random
from typing import NamedTuple, TypeVar

from toolkit.devices.line import SensingLine
from toolkit.devices.pressure_switch import PressureSwitch
from toolkit.devices.regulator import Regulator
from toolkit.devices.slam_shut import SlamShut
from toolkit.diagnosis.proofs import monitors
from toolkit.diagnosis.sites import (
    ALL_OFF,
    COOL,
    FULL_AGAIN,
    HALF,
    MORNING,
    SUNRISE,
    WARM,
    Site,
    damped,
    log_uniform,
    sun_and_shade,
)
from toolkit.errors import ScenarioError
from toolkit.faults import (
    BlockedRelief,
    BlockedSensingLine,
    BlockedVent,
    BrokenSensingLine,
    Debris,
    DirtyReliefSeat,
    Fault,
    Ice,
    Leak,
    NickedSeat,
    PluggedFilter,
    StuckStem,
    SupplyChange,
    TornDiaphragm,
    TripShift,
    WeakMainSpring,
    WeakRelief,
    WrongDeadband,
    WrongOrifice,
    WrongSetting,
)
from toolkit.layers import layers_at
from toolkit.scenario import Scenario

Device = TypeVar("Device")


class Case(NamedTuple):
    """A day with something wrong, the same day in good order, and when the technician comes [s]."""

    scenario: Scenario
    sound: Scenario
    arrives: float = 0.0


# Of a row's kinds of cause one is taken by the turn, a number from 0 to 1 that goes evenly through a family.
Draw = Callable[[Random, Site, float], Case]


def _day(at: Site, *faults: Fault, arrives: float = 0.0) -> Case:
    return Case(at.day(*faults), at.day(), arrives)


def _soon(chance: Random) -> dict[str, float]:
    """Onset and ramp in the first evening."""
    return {"onset": chance.uniform(5, 15), "ramp": chance.uniform(5, 20)}


def _pick(turn: float, *weights: float) -> int:
    """Which of several the turn falls on; they share it by their weights."""
    left = turn * sum(weights)
    for number, weight in enumerate(weights):
        left -= weight
        if left < 0.0:
            return number
    return len(weights) - 1


def _any(chance: Random, devices: tuple[Device, ...]) -> Device:
    """One of several devices; where there is one only, chance is not asked."""
    return devices[0] if len(devices) == 1 else chance.choice(devices)


def _monitor(at: Site) -> Regulator:
    """The monitor of what holds the pressure, or another where that has none."""
    pairs = monitors(at.station)
    return next((first for first, second in pairs if second.name == at.regulator), pairs[0][0])


def _held_at(at: Site, room: str) -> float:
    """The gauge pressure [Pa] that is held where a device looks."""
    if room in at.station.at_one_pressure(at.room):
        return at.set_gauge_pressure
    try:
        return layers_at(at.station, _volume(at, room)).worker.set_gauge_pressure
    except ScenarioError:  # before all regulators
        return at.set_gauge_pressure


def _inch(held: float) -> float:
    """What is an inch of water where seven are held: faults of settings are counted in it, Pa."""
    return held / 7


def _volume(at: Site, room: str) -> str:
    """The volume that a device looks at, be it through a sensing line."""
    return next((one.tap for one in at.station.sensing_lines if one.name == room), room)


def dirty_seat(chance: Random, at: Site, turn: float) -> Case:
    """A piece on the seat, soft or hard, or a nick: of the load it leaks less than a third, or so little that it creeps
    all night."""
    when = _soon(chance)
    if turn < 0.4:
        share = log_uniform(chance, *((5e-5, 8e-4) if turn < 0.15 else (3e-3, 0.2)))
        return _day(at, NickedSeat(devices=at.regulator, leak_area=share * at.load_area, **when))
    hard = chance.random() < 0.6
    return _day(
        at,
        Debris(
            devices=at.regulator,
            height=log_uniform(chance, 2e-5, 1.2e-4),
            stiffness=1e8 if hard else log_uniform(chance, 3e5, 2e6),
            edge=chance.uniform(0.1, 0.5),
            **when,
        ),
    )


def torn(chance: Random, at: Site, turn: float) -> Case:
    """A tear that passes gas to the case and carries less of the pressure; a small one smells and hardly lifts it."""
    holes, shares = (
        ((4e-8, 5e-7), (0.0, 0.06)),
        ((1e-6, 2e-5), (0.1, 0.4)),
        ((1e-6, 2e-5), (0.4, 0.85)),
    )[_pick(turn, 3, 5, 12)]
    hole, lost = log_uniform(chance, *holes), chance.uniform(*shares)
    return _day(at, TornDiaphragm(devices=at.regulator, hole_area=hole, lost_share=lost, **_soon(chance)))


def vent_blocked(chance: Random, at: Site, turn: float) -> Case:
    """Nearly blocked by a nest, paint or ice; or sealed by water at night and then warmed by the sun."""
    when, iced = _soon(chance), at.station.temperature < 280.0
    sealed = not iced and turn < 0.26
    if iced:
        return _day(at, Ice(devices=at.regulator, vent_share=1.0 - log_uniform(chance, 1e-3, 1e-2), **when))
    if not sealed:
        share = 1.0 - log_uniform(chance, 1e-3, 1e-2)
        return _day(at, BlockedVent(devices=at.regulator, blocked_share=share, **when))
    when = {"onset": ALL_OFF + chance.uniform(20, 60), "ramp": 10.0}
    return _day(
        at,
        BlockedVent(devices=at.regulator, blocked_share=1.0, **when),
        *_sun(f"{at.regulator}_case", chance.uniform(1.006, 1.02)),
    )


def _sun(room: str, times: float) -> tuple[Fault, ...]:
    return sun_and_shade(room, times, SUNRISE, WARM, WARM, COOL)


def weak_relief(chance: Random, at: Site, turn: float) -> Case:
    """The internal relief's spring weak, or its pad dirty, or both."""
    kind = _pick(turn, 3, 3, 2)
    left = chance.uniform(0.002, 0.1) if kind != 1 else 1.0
    weep = log_uniform(chance, 1e-7, 3e-6) if kind != 0 else 0.0
    fitted = tuple(one.name for one in at.station.regulators if one.relief)
    name = at.regulator if at.regulator in fitted else _any(chance, fitted)
    return _day(at, WeakRelief(devices=name, left_share=left, weep_area=weep, **_soon(chance)))


def weak_spring(chance: Random, at: Site, turn: float) -> Case:
    """Broken, relaxed by a third, or backed off by little."""
    left = (
        lambda: chance.uniform(0.01, 0.1),
        lambda: chance.uniform(0.45, 0.75),
        lambda: chance.uniform(0.87, 0.91),
    )[_pick(turn, 2.5, 6, 3)]()
    return _day(at, WeakMainSpring(devices=at.regulator, left_share=left, **_soon(chance)))


def line_broken(chance: Random, at: Site, _turn: float) -> Case:
    """The sensing line torn off or cracked: its device reads the air, or near it."""
    return _day(
        at,
        BrokenSensingLine(
            devices=at.line, open_share=chance.choice((1.0, 1.0, chance.uniform(0.6, 1.0))), **_soon(chance)
        ),
    )


def line_blocked(chance: Random, at: Site, turn: float) -> Case:
    """Throttled by dirt, or shut off while all burners are on, or while half are."""
    kind = _pick(turn, 3, 4, 5)
    if damped(at.station):
        share, when = chance.uniform(0.88, 0.95), _soon(chance)
    elif kind == 0:
        share, when = 1.0 - log_uniform(chance, 2e-5, 5e-4) * _sluggish(at), _soon(chance)
    else:
        share, when = 1.0, {"onset": HALF - 20.0 if kind == 1 else FULL_AGAIN - 20.0, "ramp": 10.0}
    return _day(at, BlockedSensingLine(devices=at.line, blocked_share=share, **when))


def _sluggish(at: Site) -> float:
    """How much more of its bore a sensing line needs than one of the usual size, so as to follow as fast."""
    usual, fitted = SensingLine(at.line), next(one for one in at.station.sensing_lines if one.name == at.line)
    return fitted.size / fitted.flow_area / (usual.size / usual.flow_area)


def too_small(chance: Random, at: Site, turn: float) -> Case:
    """An orifice too small for the load, or a main that has sagged."""
    if turn < 0.5:
        return _day(
            at,
            WrongOrifice(devices=at.regulator, times=chance.uniform(0.45, 0.68) / sqrt(at.oversized), **_soon(chance)),
        )
    sagged = at.starved(chance.uniform(0.6, 0.98))
    return _day(at, SupplyChange(devices=at.station.supply.name, gauge_pressure=sagged, **_soon(chance)))


def filter_plugged(chance: Random, at: Site, _turn: float) -> Case:
    """A filter that passes less than the full load needs."""
    left = chance.uniform(0.35, 0.97) * at.supply_area
    blocked = 1.0 - left / at.station.supply.flow_area
    return _day(at, PluggedFilter(devices=at.station.supply.name, blocked_share=blocked, **_soon(chance)))


def hydrate(chance: Random, at: Site, turn: float) -> Case:
    """Ice or hydrate plugs the orifice more or less, or holds the disk open."""
    kind, when = _pick(turn, 3.5, 2.6, 1.8, 3), _soon(chance)
    load = at.load_area / at.capacity
    if kind == 3:
        return _day(at, Ice(devices=at.regulator, held_open_share=chance.uniform(0.04, 0.4), **when))
    # passes part of the full load; less than a low load; as good as nothing
    passes = (chance.uniform(0.4, 0.8), _pilots(chance, at), chance.uniform(3e-4, 1e-3))[kind]
    return _day(at, Ice(devices=at.regulator, plugged_share=1.0 - passes * load, **when))


def stuck_open(chance: Random, at: Site, turn: float) -> Case:
    """The stem does not come down any more below where it often stood, or from further up."""
    lowest = chance.uniform(0.15, 0.45) if turn < 0.5 else chance.uniform(0.45, 1.0)
    return _day(at, StuckStem(devices=at.regulator, lowest=lowest, highest=1.0, **_soon(chance)))


def monitor_near(chance: Random, at: Site, turn: float) -> Case:
    """The monitor set a little above the worker, or even below it."""
    monitor = _monitor(at)
    above = monitor.set_gauge_pressure - at.set_gauge_pressure
    left = chance.uniform(-0.4, 0.3) if turn < 0.65 else chance.uniform(-1.7, -1.2)
    return _day(at, WrongSetting(devices=monitor.name, by=left * _inch(at.set_gauge_pressure) - above, **_soon(chance)))


def monitor_shut(chance: Random, at: Site, turn: float) -> Case:
    """The monitor shut, or nearly, or so far that only the full load misses its gas."""
    monitor = _monitor(at)
    per_lift = monitor.discharge_coefficient * pi * monitor.orifice_diameter
    open_for_pilots = _pilots(chance, at) * at.load_area / (per_lift * monitor.travel)
    highest = (0.0, open_for_pilots, chance.uniform(0.04, 0.12) / at.oversized)[_pick(turn, 1, 1, 1)]
    return _day(at, StuckStem(devices=monitor.name, lowest=0.0, highest=highest, **_soon(chance)))


def _pilots(chance: Random, at: Site) -> float:
    """A share of the full load that even the pilots miss something of."""
    return chance.uniform(0.55, 0.88) * min(one.share for one in at.demands if one.share)


def true_trip(chance: Random, at: Site, _turn: float) -> Case:
    """Dirt on the seat at night, with nothing drawing: the shutoff trips as it should; found in the morning."""
    when = {"onset": ALL_OFF + chance.uniform(15, 40), "ramp": chance.uniform(2, 20)}
    piece = Debris(devices=at.regulator, height=log_uniform(chance, 6e-5, 2.5e-4), stiffness=1e8, **when)
    return _day(at, piece, arrives=MORNING)


def shutoff_near(chance: Random, at: Site, turn: float) -> Case:
    """The shutoff set, or its latch worn, to where lock-up or the kick at a cut-off reaches it."""
    shutoff = _any(chance, at.station.slam_shuts)
    by = _into_reach(chance, at, shutoff)
    fault = TripShift(devices=shutoff.name, **by, **_soon(chance))
    return _day(at, fault, *(_sun(at.room, 1.01) if turn < 0.25 else ()))


def _into_reach(chance: Random, at: Site, device: SlamShut | PressureSwitch) -> dict[str, float]:
    """By how much a device that trips high comes to where lock-up reaches it, or one that trips low only into droop."""
    held = _held_at(at, device.senses)
    if device.high_gauge_pressure is not None:
        return {"high_by": chance.uniform(0.98, 1.10) * held - device.high_gauge_pressure}
    return {"low_by": chance.uniform(0.95, 1.04) * held - (device.low_gauge_pressure or 0.0)}


def relief_dirty(chance: Random, at: Site, _turn: float) -> Case:
    """The relief valve's seat weeps."""
    area = log_uniform(chance, 3e-8, 3e-6)
    valve = _any(chance, at.station.relief_valves)
    return _day(at, DirtyReliefSeat(devices=valve.name, leak_area=area, **_soon(chance)))


def relief_blocked(chance: Random, at: Site, turn: float) -> Case:
    """Isolated, stack plugged, or set too high."""
    valve = _any(chance, at.station.relief_valves)
    if turn < 0.5:
        by = chance.uniform(3, 20) * _inch(_held_at(at, valve.at))
        return _day(at, WrongSetting(devices=valve.name, by=by, **_soon(chance)))
    return _day(at, BlockedRelief(devices=valve.name, blocked_share=chance.uniform(0.9, 1.0), **_soon(chance)))


def switch_near(chance: Random, at: Site, turn: float) -> Case:
    """The low-gas contact set inside the droop, with a small deadband; it may lock the burners out."""
    if turn < 0.3 and at.drawn:
        locked = tuple(replace(one, locks_out=("appliances",), manual_reset=True) for one in at.station.switches)
        at = replace(at, station=replace(at.station, switches=locked))
    switch = _any(chance, at.station.switches)
    when, held = _soon(chance), _held_at(at, switch.senses)
    if switch.low_gauge_pressure is None:
        by = _into_reach(chance, at, switch)
    else:
        by = {"low_by": chance.uniform(0.95, 1.04) * held - switch.low_gauge_pressure}
    return _day(
        at,
        TripShift(devices=switch.name, **by, **when),
        WrongDeadband(devices=switch.name, deadband=chance.uniform(0.02, 0.3) * _inch(held), **when),
    )


def sun(chance: Random, at: Site, _turn: float) -> Case:
    """The sun on the pipe behind a shut regulator."""
    return _day(at, *_sun(at.room, 1.0 + log_uniform(chance, 0.01, 0.06)))


def oversize(chance: Random, at: Site, _turn: float) -> Case:
    """A regulator of several times the right bore for its load; the sound station has the right one."""
    times = chance.uniform(3.6, 4.6)
    big = tuple(
        replace(one, orifice_diameter=times * one.orifice_diameter, travel=0.25 * times * one.orifice_diameter)
        if one.name == at.regulator
        else one
        for one in at.station.regulators
    )
    return Case(replace(at.day(), station=replace(at.station, regulators=big)), at.day())


def leak(chance: Random, at: Site, turn: float) -> Case:
    """Gas leaves through a break downstream, or more is burnt than the station was built for."""
    if turn < 0.5:
        # At the set point a burner's area is what its flow takes; the break is a share of what the regulator can pass.
        passes = chance.uniform(0.7, 1.8) * at.capacity / at.load_area / at.oversized
        area = passes * _burners(at)
        return _day(at, Leak(devices=at.room, leak_area=area, **_soon(chance)))
    more = chance.uniform(1.6, 2.4) * at.capacity / at.load_area / 1.5 / at.oversized
    busy = tuple(replace(one, share=one.share * more) for one in at.demands)
    return Case(Scenario(at.station, busy, (), at.day().duration), at.day())


def _burners(at: Site) -> float:
    """Flow area of all burners, m2."""
    names = [device.name for device in at.station.devices]
    now = dict(zip(names, at.day().conditions(0.0), strict=False))
    areas = (float(now[one.load][0]) / one.share for one in at.demands if one.time == 0.0)
    return sum(areas)
