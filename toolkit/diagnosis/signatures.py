"""What each suspect looks like on each kind of station, and on a station of one's own: signs of many simulated days.

A run is named by its kind or station, suspect, number and the tables' seed, so that any of them can be simulated again
and shown. Of a suspect every kind gets as many runs, drawn as in the table of symptoms; some days are cold. The shipped
tables are made by `uv run course tables`, that of a station file by `uv run course tables --station FILE`.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib import metadata, resources
from random import Random
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from toolkit.actions import Purge
from toolkit.diagnosis.causes import Case
from toolkit.diagnosis.own_station import OwnStation, own_site, own_station
from toolkit.diagnosis.proofs import monitors
from toolkit.diagnosis.signs import SIGNS, Signs
from toolkit.diagnosis.sites import KINDS, Site, damped, site
from toolkit.diagnosis.table import GOLDEN, Row, rows
from toolkit.diagnosis.visits import held_low, signs_of
from toolkit.errors import ScenarioError, SimulationError
from toolkit.scenario import Station
from toolkit.simulation import simulate
from toolkit.station_file import StationFile, shipped_station, shipped_stations
from toolkit.trace import Trace

Codes = NDArray[np.uint8]
# What a table is about: a kind of drawn stations by its name, or one station.
Kind = str | OwnStation

NOTHING, TWO, OTHER = "nothing", "two_faults", "none_of_these"
_BY_KEY: dict[str, Row] = {row.draw.__name__: row for row in rows()}
# Every suspect by its key; a cause's key is the name of the function that draws it.
SUSPECTS: dict[str, str] = {
    NOTHING: "nothing wrong",
    **{key: row.name for key, row in _BY_KEY.items()},
    TWO: "two faults at once",
    OTHER: "none of these",
}
# The share of cold days, gas near freezing behind a high inlet pressure; a hydrate forms on no other.
COLD_DAYS = 0.15
# Seed and runs of a suspect on a kind in the shipped tables.
SEED, RUNS = 1211, 48
# The version of the course that makes the tables.
VERSION = metadata.version("guarded-pressure")
# Stands in the tables for a sign that was not to be had.
UNSEEN = 255
# So many sites are drawn to find one that suits, and so many pairs to find two faults that can stand together.
MOST_DRAWS = 200
# A table's file is named by so many letters of its station's name.
LONGEST_NAME = 40


@dataclass(frozen=True)
class Signatures:
    """The signs of the runs of a kind, or of a station of one's own.

    `signs` (runs, signs): places in the values of each of SIGNS, UNSEEN where a sign was not to be had; `suspect`
    (runs,): places in the keys of SUSPECTS; `number` (runs,): which run of its suspect it is. `version` of the course,
    `seed`, `runs` a suspect and the `dated` priors that stood when it was made. "None of these" has one run without
    any sign: it finds every value of every sign equally likely. `own`: the station, where it is about one; `kind` is
    then its name and mark.
    """

    kind: str
    signs: Codes
    suspect: Codes
    number: NDArray[np.uint16]
    version: str
    seed: int
    runs: int
    dated: str
    own: OwnStation | None = None

    @property
    def of(self) -> Kind:
        """What its runs are of."""
        return self.own or self.kind

    def keys(self) -> tuple[str, ...]:
        """The suspects that can be on this kind, in the order of SUSPECTS."""
        names = tuple(SUSPECTS)
        return tuple(names[place] for place in np.unique(self.suspect))


class Run(NamedTuple):
    """Which run: a kind of station or one's own station, a suspect, its number and the seed."""

    kind: Kind
    suspect: str
    number: int
    seed: int


def _trips_before_relief(station: Station) -> bool:
    highs = [one.high_gauge_pressure for one in station.slam_shuts if one.high_gauge_pressure is not None]
    starts = [one.set_gauge_pressure for one in station.relief_valves]
    starts += [one.set_gauge_pressure + one.relief.start_above_set for one in station.regulators if one.relief]
    return len(station.regulators) == 1 and bool(highs) and all(min(highs) < start for start in starts)


def _monitored(station: Station) -> bool:
    return bool(monitors(station))


# What a station must be like for a cause to be possible on it; any will do for the rest.
_NEEDS: Mapping[str, Callable[[Station], bool]] = {
    "weak_relief": lambda station: any(one.relief for one in station.regulators),
    "line_broken": lambda station: bool(station.sensing_lines),
    "line_blocked": lambda station: bool(station.sensing_lines),
    "monitor_near": _monitored,
    "monitor_shut": _monitored,
    "true_trip": _trips_before_relief,
    "shutoff_near": lambda station: bool(station.slam_shuts),
    "relief_dirty": lambda station: bool(station.relief_valves),
    "relief_blocked": lambda station: bool(station.relief_valves),
    "switch_near": lambda station: bool(station.switches),
    # The model has no friction: an oversize disk shows only where limiter and needle valve slow its loop.
    "oversize": lambda station: damped(station) and not _monitored(station),
}
# Causes that are a whole day of their own, no fault that could come on top of another.
_ALONE = ("true_trip", "sun", "oversize", "switch_near")


def possible(key: str, station: Station) -> bool:
    """Whether a suspect can be on a station at all: whether it has the device. Raises ScenarioError for a wrong key."""
    if key not in SUSPECTS:
        raise ScenarioError("suspect", key, "one of " + ", ".join(SUSPECTS), "Check the spelling.")
    return key not in _NEEDS or _NEEDS[key](station)


def suits(key: str, kind: Kind) -> bool:
    """Whether a suspect can be on a kind of station, or on a station. Raises ScenarioError for unknown names."""
    if isinstance(kind, OwnStation):
        return possible(key, kind.station)
    # Sites of a kind differ by their numbers: even ones may have what odd ones have not.
    return any(possible(key, site(kind, number, SEED).station) for number in (0, 1))


def nearest_kind(station: Station) -> str:
    """The kind whose tables speak for a station that has none of its own: signs go by a station's own record.

    What it has not is left out by posterior.priors_for. Sizes matter all the same: on unseen days of the shipped
    stations a kind's table is right less often than the station's own (DEVELOPERS.md, Evidence).
    """
    if _monitored(station):
        return "damped, monitored" if damped(station) else "monitored"
    if station.relief_valves or station.sensing_lines:
        return "damped" if damped(station) else "line sensed"
    return "shutoff first" if _trips_before_relief(station) else "service"


def suspects_on(kind: Kind) -> tuple[str, ...]:
    """The suspects that can be on a kind of station."""
    return tuple(key for key in SUSPECTS if suits(key, kind))


def case_of(run: Run) -> Case:
    """The day of a run, with the outlet held low at its end. Raises ScenarioError for "none of these"."""
    if run.suspect == OTHER or not suits(run.suspect, run.kind):
        raise ScenarioError("run.suspect", run.suspect, "one that is simulated on this kind", "Take another suspect.")
    seeded = _seeded(run)
    chance = Random(f"{run.seed} {seeded.kind} {run.suspect} {run.number}")
    turn = (Random(run.seed).random() + run.number * GOLDEN) % 1.0
    if run.suspect == NOTHING:
        at = _site(run.kind, chance)
        case = Case(at.day(), at.day())
    elif run.suspect == TWO:
        at, case = _two(run.kind, chance)
    else:
        at, case = _one(run.kind, run.suspect, chance, turn)
    scenario = held_low(case.scenario)
    if at.purge:
        opened = Purge(time=case.scenario.duration, device=at.room, flow_area=at.purge)
        scenario = replace(scenario, actions=(*scenario.actions, opened))
    return case._replace(scenario=scenario)


def case_on(of: Kind | Station | StationFile, suspect: str, seed: int) -> Case:
    """A day with a suspect on a kind of station, a shipped station by its name, or any other; the same by its seed.

    With the same day in good order, and when the technician arrives [s]. Raises ScenarioError for unknown names, for
    "none of these", and for what cannot be on the station.
    """
    return case_of(Run(kind_of(of), suspect, 0, seed))


def kind_of(of: Kind | Station | StationFile) -> Kind:
    """What a table or run is about: a kind by its name, or one station, by its name among the shipped, or as it is."""
    if not isinstance(of, str):
        return own_station(of)
    if of in KINDS:
        return of
    if of in shipped_stations():
        return own_station(shipped_station(of))
    known = ", ".join((*map(repr, KINDS), *shipped_stations()))
    raise ScenarioError("kind", of, "one of " + known, "Check the spelling.")


def _seeded(run: Run) -> Run:
    """A run as its chance is seeded by: a station's file may be renamed."""
    return run if isinstance(run.kind, str) else run._replace(kind=run.kind.mark)


def _site(kind: Kind, chance: Random, cold: bool = False) -> Site:
    """A site for a day; where a cause asks for the cold, that is for its ice."""
    if isinstance(kind, OwnStation):
        return own_site(kind, chance, cold or chance.random() < COLD_DAYS, ice=cold)
    seed = chance.randrange(10**9)
    return site(kind, chance.randrange(10**6), seed, cold or chance.random() < COLD_DAYS)


def _one(kind: Kind, key: str, chance: Random, turn: float) -> tuple[Site, Case]:
    for _ in range(MOST_DRAWS):
        at = _site(kind, chance, cold=key == "hydrate")
        if not possible(key, at.station):
            continue
        try:
            return at, _BY_KEY[key].draw(chance, at, turn)
        except ScenarioError:  # a size out of range on this site, such as a demand of many times the rating
            turn = chance.random()
    raise ScenarioError("run.suspect", key, f"one that can be on a site of the kind {kind!r}", "Take another suspect.")


def _two(kind: Kind, chance: Random) -> tuple[Site, Case]:
    """Two causes on one day; one of them may be more burners than the station was built for."""
    keys = [key for key in _BY_KEY if suits(key, kind) and key not in _ALONE]
    for _ in range(MOST_DRAWS):
        one, other = chance.sample(keys, 2)
        at = _site(kind, chance, cold="hydrate" in (one, other))
        try:
            first, second = (_BY_KEY[key].draw(chance, at, chance.random()) for key in (one, other))
            if second.scenario.demands != first.sound.demands:
                first, second = second, first
            faults = (*first.scenario.faults, *second.scenario.faults)
            return at, first._replace(scenario=replace(first.scenario, faults=faults))
        except ScenarioError:  # a size out of range, or the same fault on the same device
            continue
    raise ScenarioError("run.kind", kind, "a kind on which two faults can stand together", "Take another kind.")


def trace_of_run(run: Run) -> Trace:
    """A run simulated again, to be shown."""
    return simulate(case_of(run).scenario)


def signs_of_run(run: Run) -> Signs:
    """The signs of a run; what the gauges err by is the run's own."""
    case = case_of(run)
    return signs_of(simulate(case.scenario), Random(f"gauges {_seeded(run)}"), case.arrives)


def encoded(signs: Signs) -> tuple[int, ...]:
    """The places of the values, in the order of SIGNS; UNSEEN for None."""
    met = signs.met()
    return tuple(one.values.index(met[key]) if key in met else UNSEEN for key, one in SIGNS.items())


def codes_of_run(run: Run) -> tuple[int, ...] | None:
    """A run's signs as numbers, or None where the run could not be finished."""
    try:
        return encoded(signs_of_run(run))
    except SimulationError:
        return None


def runs_of(kind: Kind, runs: int, seed: int) -> list[Run]:
    """All runs of a kind's or station's table, suspect by suspect."""
    return [Run(kind, key, number, seed) for key in suspects_on(kind) if key != OTHER for number in range(runs)]


def signatures(
    runs: Iterable[Run], codes: Iterable[tuple[int, ...] | None], *, dated: str, per_suspect: int
) -> Signatures:
    """The table of the runs of a kind or station, given their signs in the same order; None for one left unfinished."""
    found = [(run, code) for run, code in zip(runs, codes, strict=True) if code is not None]
    of = found[0][0].kind
    places = {key: place for place, key in enumerate(SUSPECTS)}
    return Signatures(
        kind=str(of),
        signs=np.array([*(code for _, code in found), (UNSEEN,) * len(SIGNS)], dtype=np.uint8),
        suspect=np.array([*(places[run.suspect] for run, _ in found), places[OTHER]], dtype=np.uint8),
        number=np.array([*(run.number for run, _ in found), 0], dtype=np.uint16),
        version=VERSION,
        seed=found[0][0].seed,
        runs=per_suspect,
        dated=dated,
        own=None if isinstance(of, str) else of,
    )


_ARRAYS = ("signs", "suspect", "number")
_TEXTS = ("kind", "version", "dated")
_NUMBERS = ("seed", "runs")


def written_signs() -> tuple[str, ...]:
    """Each sign with its values, as a table's file has them: its numbers are places in these."""
    return tuple(f"{key}: {', '.join(one.values)}" for key, one in SIGNS.items())


def packed(table: Signatures) -> bytes:
    """A table as the bytes of its file: arrays only, nothing that could run."""
    file = io.BytesIO()
    arrays: dict[str, Any] = {name: np.array(getattr(table, name)) for name in (*_ARRAYS, *_TEXTS, *_NUMBERS)}
    arrays |= {"columns": np.array(written_signs()), "suspects": np.array(tuple(SUSPECTS))}
    np.savez_compressed(file, **arrays)
    return file.getvalue()


def unpacked(data: bytes, own: OwnStation | None = None) -> Signatures:
    """A table from the bytes of its file; one of a station needs that station.

    Raises ScenarioError where it was made for other signs, suspects or another station.
    """
    with np.load(io.BytesIO(data), allow_pickle=False) as file:
        if tuple(file["columns"]) != written_signs() or tuple(file["suspects"]) != tuple(SUSPECTS):
            raise ScenarioError(
                "tables", str(file["version"]), "the signs and suspects of this course", "Make them: course tables."
            )
        signs, suspect, number = (file[name] for name in _ARRAYS)
        kind, version, dated = (str(file[name]) for name in _TEXTS)
        seed, runs = (int(file[name]) for name in _NUMBERS)
    for values in (signs, suspect, number):
        values.setflags(write=False)
    if own is not None and kind.rpartition(" ")[2] != own.mark:
        raise ScenarioError("tables", kind, f"the table of {own}", "Make it: course tables --station FILE.")
    return Signatures(kind, signs, suspect, number, version, seed, runs, dated, own)


def file_name(kind: Kind) -> str:
    """The file of a kind's or station's table; of a name only letters, digits and strokes are kept."""
    if isinstance(kind, str):
        return kind.replace(",", "").replace(" ", "_") + ".npz"
    name = re.sub(r"[^A-Za-z0-9]+", "_", kind.name)[:LONGEST_NAME].strip("_") or "station"
    return name + file_end(kind)


def file_end(own: OwnStation) -> str:
    """What the file of a station's table ends in, whatever the station was called when it was made."""
    return f"_{own.mark}.npz"


@lru_cache(maxsize=32)
def shipped(kind: Kind) -> Signatures:
    """The table of a kind, or of a shipped station by its name, that comes with the course.

    Raises ScenarioError for an unknown name, and for a station that none of the tables was made for.
    """
    of, folder = kind_of(kind), resources.files("toolkit") / "diagnosis" / "tables"
    if isinstance(of, str):
        return unpacked((folder / file_name(of)).read_bytes())
    for file in folder.iterdir():
        if file.name.endswith(file_end(of)):
            return unpacked(file.read_bytes(), of)
    raise ScenarioError(
        "kind", str(of), "a station that the course ships a table for", "Make one: course tables --station FILE."
    )
