"""Cases to be found out: a station on a day with something wrong, or with nothing, drawn by seed, level and place.

A case is a day of the same families that the diagnosis goes by (toolkit.diagnosis.signatures), with other seeds than
its tables. What a level asks for is checked on the case itself; where each limit lies is the course's own judgement.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from random import Random

from toolkit.diagnosis.next_check import CHECKS, Check, allowed
from toolkit.diagnosis.posterior import PRIORS, Belief, belief, priors_for
from toolkit.diagnosis.proofs import monitors
from toolkit.diagnosis.signatures import (
    NOTHING,
    OTHER,
    TWO,
    case_on,
    kind_of,
    suspects_on,
)
from toolkit.diagnosis.signs import Signs
from toolkit.diagnosis.sites import KINDS, site
from toolkit.diagnosis.visits import HELD_DRAW, signs_of
from toolkit.errors import ScenarioError, SimulationError
from toolkit.faults import FAULTS, Fault
from toolkit.scenario import Scenario, Station
from toolkit.simulation import simulate
from toolkit.station_file import shipped_stations
from toolkit.trace import Trace

LEVELS: dict[int, str] = {
    1: "one fault, clear readings",
    2: "a layer acts and hides the cause",
    3: "two faults at once",
    4: "no layer at fault: all in order, the sun, or a shutoff that did its work",
}
# What is known before the first check: from the call, and from a first look at the station.
CALL, ARRIVAL = ("burners", "trip"), ("outlet_on", "slam_shut", "switch", "relief")
# Readings are clear where those of a visit alone give the true suspect this share; they hide it where what is known on
# arrival gives it no more than this; and they let it be found where all that can be looked at gives it this. Of two
# faults one mostly hides the other: there it is enough that the readings raise the doubt.
CLEAR, HIDDEN, FOUND, DOUBTED = 0.8, 0.35, 0.5, 0.15
# What is no fault, and what is a layer's own: at the second level the layer is sound and the cause lies elsewhere.
NO_FAULT = (NOTHING, "sun", "true_trip")
_LAYERS_OWN = (
    "shutoff_near",
    "switch_near",
    "relief_dirty",
    "relief_blocked",
    "weak_relief",
    "monitor_near",
    "monitor_shut",
)
# So many days are drawn to find one that is of its level.
MOST_DRAWS = 40
# The seeds of cases begin above those of the tables.
_SEEDS = 10_000_000

INTERNAL, MONITOR = "the internal relief", "the monitor"
LAYERS: dict[str, str] = {
    "trips_high": "the slam-shut",
    "trips_low": "the slam-shut",
    "trips_by_switch": "the slam-shut",
    "valve_opens": "the relief valve",
    "relief_opens": INTERNAL,
    "switch_high": "the pressure switch",
    "switch_low": "the pressure switch",
}
# A monitor has taken over once its disk has come down to this share of its travel.
TAKES_OVER = 0.5


@dataclass(frozen=True)
class TroubleCase:
    """A case: its name, level and place, the true suspect, the day, when the technician arrives [s], all its signs.

    `name` says what makes the same case again, `day` is the seed of its day, `suspects` what can be wrong at the place.
    `scenario` ends with the check that holds the outlet low.
    """

    name: str
    level: int
    place: str
    suspect: str
    day: int
    suspects: tuple[str, ...]
    scenario: Scenario
    arrives: float
    signs: Signs

    def opening(self) -> Signs:
        """What is known on arrival."""
        return self.signs.only((*CALL, *ARRIVAL))

    def thinks(self, signs: Signs) -> Belief:
        """What to think of this place after some signs."""
        return thought(self.place, self.suspects, signs)


def thought(place: str, suspects: tuple[str, ...], signs: Signs) -> Belief:
    """What to think after some signs, by the place's own table, where only these suspects can be."""
    return belief(signs, place, {key: PRIORS[key] for key in suspects})


def places() -> tuple[str, ...]:
    """Where cases can be: every kind of station, and every station that comes along."""
    return (*KINDS, *shipped_stations())


@lru_cache(maxsize=64)
def can_be(place: str) -> tuple[str, ...]:
    """The suspects that can be on a place, in the order of SUSPECTS."""
    return suspects_on(kind_of(place))


@lru_cache(maxsize=64)
def day_station(place: str) -> Station:
    """A station of a place as it is built; of a kind, one of its many."""
    of = kind_of(place)
    return site(of, 0, 0).station if isinstance(of, str) else of.station


def fitted_layers(station: Station) -> tuple[str, ...]:
    """The layers that stand on a station and can be seen to act, in the words of LAYERS, and the monitor."""
    there = {
        "the slam-shut": bool(station.slam_shuts),
        "the relief valve": bool(station.relief_valves),
        INTERNAL: any(one.relief for one in station.regulators),
        "the pressure switch": bool(station.switches),
        MONITOR: bool(monitors(station)),
    }
    return tuple(layer for layer, is_there in there.items() if is_there)


def drawable(level: int, place: str) -> tuple[str, ...]:
    """The suspects of a level that can be on a place, in the order of SUSPECTS."""
    if level not in LEVELS:
        raise ScenarioError("level", level, "one of " + ", ".join(map(str, LEVELS)), "Choose one of these.")
    if level == 3:
        return (TWO,)
    if level == 2 and not fitted_layers(day_station(place)):
        return ()
    if level == 4:
        return tuple(key for key in NO_FAULT if key in can_be(place))
    barred = (*NO_FAULT, TWO, OTHER, *(_LAYERS_OWN if level == 2 else ()))
    return tuple(key for key in can_be(place) if key not in barred)


@lru_cache(maxsize=64)
def draw_case(seed: int, level: int, place: str | None = None, suspect: str | None = None) -> TroubleCase:
    """The case of a seed and level; the same anywhere.

    At any place if none is given, and with a suspect that is drawn, by the weights that the diagnosis starts from, if
    none is asked for. Raises ScenarioError for a level, place or suspect that there is not, and where no day of that
    level was found.
    """
    if place is not None and place not in places():
        raise ScenarioError("station", place, "one of " + ", ".join(places()), "Choose one of these.")
    name = f"level {level}, {place or 'any station'}, seed {seed}" + (f", {suspect}" if suspect else "")
    chance = Random(name)
    for _ in range(MOST_DRAWS):
        at = place or chance.choice(places())
        keys = drawable(level, at)
        if suspect is not None:
            keys = tuple(key for key in keys if key == suspect)
        elif keys:
            keys = tuple(chance.choices(keys, [PRIORS[key] for key in keys]))
        day = _SEEDS + chance.randrange(_SEEDS)
        if not keys:
            if place is None:
                continue
            field, given = ("suspect", suspect) if suspect else ("level", level)
            raise ScenarioError(
                field, given, f"one that can be at {place!r}", "Choose another one, or another station."
            )
        found = case_at(name, level, at, keys[0], day)
        if found is not None and is_of_level(found):
            return found
    raise ScenarioError("seed", seed, "one with a day of this level", "Take another.")


def case_at(name: str, level: int, place: str, suspect: str, day: int) -> TroubleCase | None:
    """The case of one day, whatever level it turns out to be; None where its run could not be finished."""
    try:
        found = case_on(place, suspect, day)
        trace = trace_of(found.scenario)
    except SimulationError:
        return None
    signs = signs_of(trace, Random(f"gauges {place} {suspect} {day}"), found.arrives)
    there = priors_for(found.scenario.station)
    suspects = tuple(key for key in can_be(place) if key in there)
    return TroubleCase(name, level, place, suspect, day, suspects, found.scenario, found.arrives, signs)


@lru_cache(maxsize=64)
def trace_of(scenario: Scenario) -> Trace:
    """The run of a case, kept for its questions."""
    return simulate(scenario)


def is_of_level(case: TroubleCase) -> bool:
    """Whether a case is what its level says."""
    if case.suspect not in drawable(case.level, case.place):
        return False
    if case.level == 1:
        return case.thinks(case.signs.only(read_signs())).shares()[case.suspect] >= CLEAR
    if case.level == 2:
        hidden = case.thinks(case.opening()).shares()[case.suspect] <= HIDDEN
        return hidden and bool(acted(case)) and case.thinks(case.signs).shares()[case.suspect] >= FOUND
    return case.level == 4 or case.thinks(case.signs).shares()[TWO] >= DOUBTED


def read_signs() -> tuple[str, ...]:
    """The signs that a visit reads without proving anything."""
    return tuple(key for one in CHECKS.values() if allowed(one, qualified=False) for key in one.signs)


def checks_at(case: TroubleCase) -> tuple[Check, ...]:
    """The allowed checks that can show something at a place, and what nobody may do with a device that stands there."""
    station = case.scenario.station
    fitted = {
        "plug_vent": True,
        "raise_set_point": True,
        "jump_switch": bool(station.switches),
        "pin_shutoff": bool(station.slam_shuts),
        "lift_lever": bool(station.relief_valves),
    }
    # Reading a gauge that is not there is no choice; a reading that the day does not give is one, and shows nothing.
    known = case.opening().met()
    absent = {
        "slam_shut": not station.slam_shuts,
        "slam_shut_point": not station.slam_shuts,
        "trip": known.get("slam_shut") != "tripped",
        "switch": not station.switches,
        "switch_point": not station.switches,
        "relief_start": not any(one.relief for one in station.regulators),
        "relief": not station.relief_valves,
        "relief_point": not station.relief_valves,
        "between": not monitors(station),
        "monitor_point": not monitors(station),
        "line": not station.sensing_lines,
    }

    def offered(one: Check) -> bool:
        if one.forbidden:
            return fitted[one.key]
        return any(not absent.get(key, False) and key not in known for key in one.signs)

    # By their names: an order of their own would tell which are unsafe.
    return tuple(sorted((one for one in CHECKS.values() if offered(one)), key=lambda one: one.name))


def day_end(case: TroubleCase) -> float:
    """When the day ends and the outlet begins to be held low [s]."""
    held = [one.time for one in case.scenario.demands if one.share == HELD_DRAW]
    return min(held, default=case.scenario.duration)


def acted(case: TroubleCase) -> list[tuple[float, str]]:
    """The layers that acted in the course of the day, each with its first time [s], the earliest first."""
    trace, end = trace_of(case.scenario), day_end(case)
    first: dict[str, float] = {}
    for event in trace.events:
        if event.kind in LAYERS and event.time <= end:
            first.setdefault(LAYERS[event.kind], event.time)
    for monitor, _ in monitors(case.scenario.station):
        below = trace[f"{monitor.name}_lift"] < TAKES_OVER * monitor.travel
        # Not the start, at which every disk still finds its place, and not a worker that passes nothing.
        low = [float(t) for t, is_low in zip(trace.times, below, strict=True) if is_low and t <= end]
        if low:
            first.setdefault(MONITOR, low[0])
    return sorted((time, layer) for layer, time in first.items())


def fault_names(case: TroubleCase) -> tuple[str, ...]:
    """What was built into the day, by the faults' own names in words; empty where nothing is broken."""
    return tuple(dict.fromkeys(map(fault_name, case.scenario.faults)))


def fault_name(fault: Fault) -> str:
    """A fault's own name in words."""
    return next(kind for kind, made in FAULTS.items() if isinstance(fault, made)).replace("_", " ")
