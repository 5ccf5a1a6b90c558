"""How well each suspect explains what was read, by running it many times over what is not known.

For each suspect a cloud of runs is made, with the fault's severity, the load, the inlet pressure, the outlet's volume
and the gauge's error drawn by chance (seeded). The likelihood of a visit's readings is the mean over the runs of a
kernel around each run's readings, taken jointly: readings that go together in the physics go together here. Each
kernel is a probability over the discrete readings, so the likelihood is one too. Sums are taken in logs.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from math import exp, log, log1p
from random import Random

from toolkit.diagnosis.symptoms import STAGES, VENT_LEVELS, Readings, read_visit, visit
from toolkit.errors import ScenarioError
from toolkit.faults import (
    BlockedVent,
    Debris,
    Fault,
    NickedSeat,
    StuckStem,
    SupplyChange,
    TornDiaphragm,
    WeakMainSpring,
    WeakRelief,
)
from toolkit.scenario import Station
from toolkit.units import PSI, format_pressure, format_quantity

# Runs of a cloud; with nothing left to vary but load, supply and gauge, fewer cover a healthy station.
RUNS, HEALTHY_RUNS = 24, 12
CLOUD_SEED = 1905

# Width of a pressure bin on its stretched scale, and how fast a kernel falls off from bin to bin: a reading two bins
# off (about 0.8 in. w.c. at a set point of 7) is a fifth as likely. Engineering judgement.
BIN, FALL_OFF = 0.05, 0.45
VENT_KERNEL = ((0.92, 0.06, 0.02), (0.06, 0.88, 0.06), (0.02, 0.06, 0.92))

Draw = Callable[[Random], tuple[Fault, ...]]


@dataclass(frozen=True)
class Suspect:
    """Something that may be wrong: its name, its weight before any reading, its faults by chance, its own check.

    Weights are teaching values, not field statistics.
    """

    name: str
    weight: float
    faults: Draw
    check: str


@dataclass(frozen=True)
class Run:
    """One run of a suspect's cloud: the station, the faults drawn, and what was read."""

    station: Station
    faults: tuple[Fault, ...]
    readings: Readings


def _log_uniform(chance: Random, low: float, high: float) -> float:
    return exp(chance.uniform(log(low), log(high)))


def _fouled(chance: Random) -> tuple[Fault, ...]:
    if chance.random() < 0.3:
        return (NickedSeat(devices="regulator", leak_area=_log_uniform(chance, 3e-9, 5e-7)),)
    height, stiffness = _log_uniform(chance, 3e-5, 6e-4), _log_uniform(chance, 2e5, 1e8)
    return (Debris(devices="regulator", height=height, stiffness=stiffness, edge=chance.uniform(0.1, 0.9)),)


def _torn(chance: Random) -> tuple[Fault, ...]:
    hole, lost = _log_uniform(chance, 4e-7, 2.5e-5), chance.uniform(0.01, 0.25)
    return (TornDiaphragm(devices="regulator", hole_area=hole, lost_share=lost),)


def _worn(chance: Random) -> tuple[Fault, ...]:
    return (WeakMainSpring(devices="regulator", left_share=chance.uniform(0.35, 0.85)),)


def _stuck(chance: Random) -> tuple[Fault, ...]:
    held = chance.uniform(0.1, 1.0)
    return (StuckStem(devices="regulator", lowest=held, highest=held),)


def _low_inlet(chance: Random) -> tuple[Fault, ...]:
    return (SupplyChange(devices="supply", gauge_pressure=_log_uniform(chance, 0.5 * PSI, 6 * PSI)),)


def _blocked(chance: Random) -> tuple[Fault, ...]:
    return (BlockedVent(devices="regulator", blocked_share=1 - _log_uniform(chance, 1e-5, 3e-3)),)


def _weak_relief(chance: Random) -> tuple[Fault, ...]:
    left, weep = chance.uniform(0.001, 0.25), _log_uniform(chance, 1e-7, 3e-6)
    return (WeakRelief(devices="regulator", left_share=left, weep_area=weep if chance.random() < 0.5 else 0.0),)


SUSPECTS: dict[str, Suspect] = {
    "healthy": Suspect(
        "nothing wrong",
        2.0,
        lambda _: (),
        "pressure holds between set point and lock-up in every state, with no gas at the vent",
    ),
    "fouled_seat": Suspect(
        "fouled or nicked seat",
        3.0,
        _fouled,
        "with all burners off the outlet creeps up; shut the inlet valve and the rise stops",
    ),
    "torn_diaphragm": Suspect(
        "torn diaphragm",
        1.5,
        _torn,
        "gas at the vent also while the outlet stands well below the relief's start",
    ),
    "worn_main_spring": Suspect(
        "weak or backed-off main spring",
        1.0,
        _worn,
        "pressure is low at every load, pilot and lock-up included, while the inlet gauge is right",
    ),
    "stuck_open": Suspect(
        "disk stuck open",
        1.0,
        _stuck,
        "pressure follows the load the wrong way: high with burners on already, higher still with less flow",
    ),
    "low_inlet": Suspect(
        "inlet pressure too low",
        1.0,
        _low_inlet,
        "the inlet gauge, read while the burners run",
    ),
    "blocked_vent": Suspect(
        "blocked vent",
        1.0,
        _blocked,
        "pressure swings when the load changes and takes long to come back; look at the vent's end outdoors",
    ),
    "weak_relief": Suspect(
        "internal relief weak or dirty",
        1.0,
        _weak_relief,
        "gas at the vent starts at an outlet pressure well below the relief's start and is gone with less pressure",
    ),
}

# What tells two suspects apart where their own checks leave it open.
TOLD_APART: dict[frozenset[str], str] = {
    frozenset({"fouled_seat", "torn_diaphragm"}): (
        "hold the outlet below the relief's start by letting the pilot burn: if gas still comes from the vent the "
        "diaphragm is torn; if it stops, the relief was at work over a seat that leaks"
    ),
    frozenset({"weak_relief", "torn_diaphragm"}): (
        "lower the outlet pressure step by step: a weak relief shuts at some pressure, a tear does not"
    ),
    frozenset({"stuck_open", "fouled_seat"}): (
        "read the outlet with the burners on: a fouled seat lets it stay at the set point there, a stuck disk does not"
    ),
    frozenset({"stuck_open", "torn_diaphragm"}): (
        "look at the vent while the outlet is low: a tear passes gas at any pressure, a stuck disk only once the "
        "relief has opened"
    ),
    frozenset({"worn_main_spring", "low_inlet"}): (
        "read the inlet gauge at full flow, then the lock-up: a low inlet still locks up near the set point"
    ),
    frozenset({"low_inlet", "healthy"}): "read the inlet gauge at full flow and compare it with the station's record",
    frozenset({"blocked_vent", "healthy"}): "watch the outlet gauge as the burners shut, and look at the vent's end",
}


FOR_THE_QUALIFIED = "Such checks are for qualified persons, by the operator's own procedure and the local code."

INLET_GAUGE_RANGE = (25 * PSI, 60 * PSI)


def draw_station(chance: Random) -> Station:
    """Draw a station from the family that the clouds cover: load, outlet volume and supply pressure by chance."""
    plain = Station()
    load, outlet = plain.loads[0], plain.volumes[1]
    return replace(
        plain,
        supply=replace(plain.supply, gauge_pressure=chance.uniform(*INLET_GAUGE_RANGE)),
        loads=(replace(load, rated_flow=load.rated_flow * _log_uniform(chance, 0.4, 1.6)),),
        volumes=(plain.volumes[0], replace(outlet, size=_log_uniform(chance, 2e-3, 2e-2))),
    )


def draw_gauge_factor(chance: Random) -> float:
    """Draw what the outlet gauge shows of the true pressure: right to about 1.5 %."""
    return 1.0 + 0.015 * max(-2.0, min(2.0, chance.gauss(0.0, 1.0)))


def draw_run(key: str, chance: Random) -> Run:
    """Draw one run of a suspect: station, faults and the readings of a visit."""
    station, faults = draw_station(chance), _known(key).faults(chance)
    return Run(station, faults, read_visit(visit(station, faults), draw_gauge_factor(chance)))


@lru_cache(maxsize=len(SUSPECTS))
def cloud(key: str) -> tuple[Run, ...]:
    """Return the runs of a suspect, the same in every process."""
    chance = Random(f"{CLOUD_SEED} {key}")
    return tuple(draw_run(key, chance) for _ in range(RUNS if key != "healthy" else HEALTHY_RUNS))


def log_likelihood(readings: Readings, key: str) -> float:
    """Natural log of the probability of a visit's readings if the suspect is the one."""
    seen = _bins(readings)
    terms = [sum(_log_kernel(seen, _bins(run.readings))) for run in cloud(key)]
    return _log_sum(terms) - log(len(terms))


def posterior(readings: Readings, suspects: Sequence[str] = tuple(SUSPECTS)) -> tuple[float, ...]:
    """Probability of each suspect after the readings, in the order given; sums to 1."""
    logs = [log(_known(key).weight) + log_likelihood(readings, key) for key in suspects]
    total = _log_sum(logs)
    return tuple(exp(one - total) for one in logs)


def nearest_run(readings: Readings, key: str) -> Run:
    """Return the run of a suspect that comes nearest to the readings."""
    seen = _bins(readings)
    return max(cloud(key), key=lambda run: sum(_log_kernel(seen, _bins(run.readings))))


def telling(readings: Readings, truth: str, rival: str, units: str) -> tuple[str, ...]:
    """Sentences: what the readings say of two suspects, and what would tell the two apart."""
    seen = _bins(readings)
    gains = []
    for place in range(len(seen)):
        chances = [_marginal(seen, key, place) for key in (truth, rival)]
        gains.append(log(chances[0] / chances[1]))
    names = [SUSPECTS[key].name for key in (truth, rival)]
    order = sorted(range(len(gains)), key=lambda place: -abs(gains[place]))
    sentences = [
        _compared(readings, place, names, truth, rival, units) for place in order[:2] if abs(gains[place]) > log(1.5)
    ]
    if not sentences:
        sentences = [f"These readings hardly tell {names[0]} from {names[1]}."]
    check = TOLD_APART.get(frozenset({truth, rival}))
    if check is None:
        check = f"for {names[0]}: {SUSPECTS[truth].check}; for {names[1]}: {SUSPECTS[rival].check}"
    return (*sentences, f"What would tell the two apart: {check}.", FOR_THE_QUALIFIED)


PLACES = (
    *(f"outlet, {stage}" for stage in STAGES),
    "outlet's highest swing as the burners shut",
    "inlet, burners on",
    *(f"gas at the vent, {stage}" for stage in STAGES),
)
INLET_PLACE, FIRST_VENT = 4, 5


def _values(readings: Readings) -> tuple[float, ...]:
    outlet, vents = readings.outlet_gauge_pressures, readings.vents
    return (*outlet, readings.swing_gauge_pressure, readings.inlet_gauge_pressure, *vents)


def _bins(readings: Readings) -> tuple[int, ...]:
    """The readings as whole numbers, in the order of PLACES: bins of stretched pressure, then vent levels."""
    low = [
        round(log1p(4 * max(0.0, p) / readings.set_gauge_pressure) / BIN)
        for p in (*readings.outlet_gauge_pressures, readings.swing_gauge_pressure)
    ]
    return (*low, round(log1p(max(0.0, readings.inlet_gauge_pressure) / PSI) / (2 * BIN)), *readings.vents)


def _log_kernel(seen: Sequence[int], run: Sequence[int]) -> list[float]:
    """Log probability of each reading given one run's: two-sided geometric for pressures, a table for the vent."""
    centre, step = log((1 - FALL_OFF) / (1 + FALL_OFF)), log(FALL_OFF)
    return [
        *(centre + step * abs(a - b) for a, b in zip(seen[:FIRST_VENT], run[:FIRST_VENT], strict=True)),
        *(log(VENT_KERNEL[b][a]) for a, b in zip(seen[FIRST_VENT:], run[FIRST_VENT:], strict=True)),
    ]


def _marginal(seen: Sequence[int], key: str, place: int) -> float:
    runs = cloud(key)
    return sum(exp(_log_kernel(seen, _bins(run.readings))[place]) for run in runs) / len(runs)


def _compared(readings: Readings, place: int, names: Sequence[str], truth: str, rival: str, units: str) -> str:
    value = _values(readings)[place]
    shows = []
    for name, key in zip(names, (truth, rival), strict=True):
        values = sorted(_values(run.readings)[place] for run in cloud(key))
        if place >= FIRST_VENT:
            share = sum(one == value for one in values) / len(values)
            shows.append(f"{name} shows {_shown(value, place, units)} in {share:.0%} of runs")
        else:
            low, high = (_shown(values[round(q * (len(values) - 1))], place, units) for q in (0.1, 0.9))
            shows.append(f"{name} mostly shows {low}" + (f" to {high}" if high != low else ""))
    what = PLACES[place][0].upper() + PLACES[place][1:]
    return f"{what}: you read {_shown(value, place, units)}; {shows[0]}, {shows[1]}."


def _shown(value: float, place: int, units: str) -> str:
    if place >= FIRST_VENT:
        return VENT_LEVELS[int(value)]
    return format_quantity(value, "gauge_pressure", units) if place == INLET_PLACE else format_pressure(value, units)


def _log_sum(logs: Sequence[float]) -> float:
    top = max(logs)
    return top + log(sum(exp(one - top) for one in logs))


def _known(key: str) -> Suspect:
    if key not in SUSPECTS:
        raise ScenarioError("suspect", key, "one of " + ", ".join(SUSPECTS), "Check the spelling.")
    return SUSPECTS[key]
