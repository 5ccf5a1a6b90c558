"""`course tables`: the signature tables that the diagnosis goes by, made anew from simulated days.

Those of the drawn kinds and of the shipped stations come with the course; that of a station file of one's own goes to
the data folder and is found there again as long as it fits the file.
"""

from __future__ import annotations

import argparse
import contextlib
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from pathlib import Path

from toolkit.classroom import files
from toolkit.classroom.tables import user_folder
from toolkit.diagnosis.own_station import own_station
from toolkit.diagnosis.posterior import PRIORS_DATED
from toolkit.diagnosis.signatures import (
    RUNS,
    SEED,
    Kind,
    codes_of_run,
    file_name,
    kind_of,
    packed,
    runs_of,
    signatures,
)
from toolkit.diagnosis.sites import KINDS
from toolkit.ensemble import ensemble
from toolkit.errors import LaunchError, ScenarioError
from toolkit.front.station_commands import load_station
from toolkit.front.terminal import say
from toolkit.station_file import shipped_stations

# A run's number has two bytes in a table; more runs than this of one suspect would add little and take hours.
MOST_RUNS, MOST_WORKERS = 5000, 64
# The progress line is written anew after so many runs.
TELLS_EVERY = 50
SHIPPED_FOLDER = Path("toolkit/diagnosis/tables")


def run(asked: argparse.Namespace) -> None:
    """Write a file a kind and shipped station into `asked.folder`, or only that of `asked.station`.

    `asked.workers` processes; `asked.runs` is the days a suspect, None is as many as the course ships. Without a folder
    the course's own tables are written anew, that of a station goes to the data folder. Raises LaunchError for a number
    out of range, a station of which none can be made, or where the folder cannot be written.
    """
    per_suspect = RUNS if asked.runs is None else asked.runs
    _whole("--runs", per_suspect, MOST_RUNS)
    _whole("--workers", asked.workers, MOST_WORKERS)
    kinds = [_own(asked.station)] if asked.station else [*KINDS, *map(kind_of, shipped_stations())]
    folder: Path = asked.folder or (user_folder() if asked.station else SHIPPED_FOLDER)
    files.make_folder(folder)  # or some minutes of work would come before the refusal
    with _workers(asked.workers) as executor:
        for kind in kinds:
            path = folder / file_name(kind)
            files.write(path, made(kind, per_suspect, executor, _line(kind)))
            say(f"Wrote {path}.\n")


def made(
    kind: Kind,
    per_suspect: int,
    executor: Executor | None = None,
    tell: Callable[[int, int], object] = lambda _done, _all: None,
) -> bytes:
    """The file of a kind or station: so many days a suspect simulated, here or on an executor's workers.

    Raises LaunchError where no day could be finished.
    """
    runs = runs_of(kind, per_suspect, SEED)
    codes = ensemble(runs, executor, codes_of_run, progress=tell)
    if not any(codes):
        raise LaunchError(f"{kind}: none of its {len(runs)} days could be finished: look at `course simulate FILE`.")
    return packed(signatures(runs, codes, dated=PRIORS_DATED, per_suspect=per_suspect))


def _own(file: str) -> Kind:
    station = load_station(file)
    try:
        return own_station(station)
    except ScenarioError as refused:
        raise LaunchError(f"{station.name}: no table can be made. {refused}") from None


@contextlib.contextmanager
def _workers(number: int) -> Iterator[Executor | None]:
    if number == 1:
        yield None
        return
    with ProcessPoolExecutor(number) as executor:
        yield executor


def _line(kind: Kind) -> Callable[[int, int], object]:
    def tell(done: int, every: int) -> None:
        if done == every or done % TELLS_EVERY == 0:
            sys.stderr.write(f"\r{kind}: {done} of {every} days" + ("\n" if done == every else ""))
            sys.stderr.flush()

    return tell


def _whole(flag: str, number: int, most: int) -> None:
    if not 1 <= number <= most:
        raise LaunchError(f"{flag}: {number} was given, a whole number from 1 to {most} was expected. Give another.")
