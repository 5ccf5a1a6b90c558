"""`course tables`: the signature tables that the diagnosis goes by, made anew from simulated days."""

from __future__ import annotations

import argparse
import contextlib
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from pathlib import Path

from toolkit.diagnosis.posterior import PRIORS_DATED
from toolkit.diagnosis.signatures import RUNS, SEED, codes_of_run, file_name, packed, runs_of, signatures
from toolkit.diagnosis.sites import KINDS
from toolkit.ensemble import ensemble
from toolkit.errors import LaunchError

# A run's number has two bytes in a table; more runs than this of one suspect would add little and take hours.
MOST_RUNS, MOST_WORKERS = 5000, 64
# The progress line is written anew after so many runs.
TELLS_EVERY = 50


def run(asked: argparse.Namespace) -> None:
    """Write a file a kind of station into `asked.folder`, on `asked.workers` processes.

    `asked.runs` is the days a suspect; None is as many as the course ships. Raises LaunchError for a number out of
    range, or where the folder cannot be written.
    """
    per_suspect = RUNS if asked.runs is None else asked.runs
    _whole("--runs", per_suspect, MOST_RUNS)
    _whole("--workers", asked.workers, MOST_WORKERS)
    folder: Path = asked.folder
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with _workers(asked.workers) as executor:
            for kind in KINDS:
                path = folder / file_name(kind)
                path.write_bytes(made(kind, per_suspect, executor, _line(kind)))
                print(f"Wrote {path}.")
    except OSError as refused:
        raise LaunchError(
            f"The tables cannot be written into {folder} ({refused.strerror}): give another folder with --folder."
        ) from None


def made(
    kind: str,
    per_suspect: int,
    executor: Executor | None = None,
    tell: Callable[[int, int], object] = lambda _done, _all: None,
) -> bytes:
    """The file of a kind: so many days a suspect simulated, here or on an executor's workers."""
    runs = runs_of(kind, per_suspect, SEED)
    codes = ensemble(runs, executor, codes_of_run, progress=tell)
    return packed(signatures(runs, codes, dated=PRIORS_DATED, per_suspect=per_suspect))


@contextlib.contextmanager
def _workers(number: int) -> Iterator[Executor | None]:
    if number == 1:
        yield None
        return
    with ProcessPoolExecutor(number) as executor:
        yield executor


def _line(kind: str) -> Callable[[int, int], object]:
    def tell(done: int, every: int) -> None:
        if done == every or done % TELLS_EVERY == 0:
            sys.stderr.write(f"\r{kind}: {done} of {every} days" + ("\n" if done == every else ""))
            sys.stderr.flush()

    return tell


def _whole(flag: str, number: int, most: int) -> None:
    if not 1 <= number <= most:
        raise LaunchError(f"{flag}: {number} was given, a whole number from 1 to {most} was expected. Give another.")
