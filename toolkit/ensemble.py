"""Many scenarios: ensemble(scenarios) -> traces, in the order given, here or on the workers of an executor."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Executor, as_completed
from typing import Any, Literal, TypeVar, overload

from toolkit.errors import ScenarioError, SimulationError
from toolkit.scenario import Scenario
from toolkit.simulation import simulate
from toolkit.trace import Trace

S = TypeVar("S")
R = TypeVar("R")
# Called with how many are done and how many there are.
Progress = bool | Callable[[int, int], object]

# A run takes about as long as handing one to a worker does, or some ten times that: so a worker gets a few at a time,
# up to LARGEST, but the work is cut into about PIECES at the least, so that no worker is left with a long end.
PIECES, LARGEST = 64, 16
_BAR = 40


@overload
def ensemble(
    scenarios: Iterable[Scenario],
    executor: Executor | None = ...,
    *,
    progress: Progress = ...,
    errors: Literal["raise"] = ...,
) -> list[Trace]: ...
@overload
def ensemble(
    scenarios: Iterable[Scenario],
    executor: Executor | None = ...,
    *,
    progress: Progress = ...,
    errors: Literal["keep"],
) -> list[Trace | SimulationError]: ...
@overload
def ensemble(
    scenarios: Iterable[S],
    executor: Executor | None = ...,
    work: Callable[[S], R] = ...,
    *,
    progress: Progress = ...,
    errors: Literal["raise"] = ...,
) -> list[R]: ...
@overload
def ensemble(
    scenarios: Iterable[S],
    executor: Executor | None = ...,
    work: Callable[[S], R] = ...,
    *,
    progress: Progress = ...,
    errors: Literal["keep"],
) -> list[R | SimulationError]: ...
def ensemble(
    scenarios: Iterable[Any],
    executor: Executor | None = None,
    work: Callable[[Any], Any] = simulate,
    *,
    progress: Progress = True,
    errors: Literal["raise", "keep"] = "raise",
) -> list[Any]:
    """The results of `work` on each scenario, in the order given.

    `executor` is any of concurrent.futures, such as a ProcessPoolExecutor, or another library's of the same kind, such
    as the one a cluster's client gives; without one the work is done here. It is left open. `work` must be a function
    of a module, so that it can be sent. What it returns can be less than a trace, where a trace is more than is needed.

    `progress`: True draws a bar on stderr where that is a terminal; a function is called with (done, all), in the
    calling thread; False says nothing.

    `errors`: with "raise" a SimulationError ends the ensemble; what has not begun is called off, and of the errors
    that have come in the first in the order given is raised, with a note of which scenario it was. With "keep" it
    stands in that scenario's place among the results. Any other error is raised in either case, as is the executor's
    own when it loses a worker that it cannot replace.

    >>> from toolkit.scenario import Demand
    >>> loads = (0.0, 0.5, 1.0)
    >>> traces = ensemble(Scenario(demands=(Demand(0, load),), duration=10) for load in loads)
    >>> [round(trace.settled("outlet_gauge_pressure")) for trace in traces]
    [1945, 1855, 1770]
    """
    if errors not in ("raise", "keep"):
        raise ScenarioError("errors", errors, "'raise' or 'keep'", "Write one of the two.")
    given = list(scenarios)
    found: list[Any] = [None] * len(given)
    tell = _teller(progress)
    tell(0, len(given))
    done = 0
    for start, results in _here(work, given) if executor is None else _there(executor, work, given):
        found[start : start + len(results)] = results
        done += len(results)
        tell(done, len(given))
        if errors == "raise" and any(isinstance(one, _Failed) for one in results):
            break
    for number, one in enumerate(found):
        if isinstance(one, _Failed):
            if errors == "raise":
                one.error.add_note(f"It was scenario {number} of {len(given)}, counted from 0.")
                raise one.error
            found[number] = one.error
    return found


class _Failed:
    """A SimulationError on its way back: a result of `work` may be an error, too."""

    def __init__(self, error: SimulationError) -> None:
        self.error = error


def _each(work: Callable[[Any], Any], items: Sequence[Any]) -> list[Any]:
    """What a worker does with its share."""
    results: list[Any] = []
    for item in items:
        try:
            results.append(work(item))
        except SimulationError as error:
            results.append(_Failed(error))
    return results


def _here(work: Callable[[Any], Any], given: Sequence[Any]) -> Iterator[tuple[int, list[Any]]]:
    for start, item in enumerate(given):
        yield start, _each(work, [item])


def _there(executor: Executor, work: Callable[[Any], Any], given: Sequence[Any]) -> Iterator[tuple[int, list[Any]]]:
    """Places and results as they come in; what has not begun when the caller leaves is called off."""
    share = max(1, min(LARGEST, len(given) // PIECES))
    starts = {
        executor.submit(_each, work, given[start : start + share]): start for start in range(0, len(given), share)
    }
    try:
        for future in as_completed(starts):
            yield starts[future], future.result()
    finally:
        for future in starts:
            future.cancel()


def _teller(progress: Progress) -> Callable[[int, int], object]:
    if callable(progress):
        return progress
    return _bar if progress and sys.stderr.isatty() else lambda _done, _all: None


def _bar(done: int, every: int) -> None:
    full = _BAR * done // max(1, every)
    end = "\n" if done == every else ""
    sys.stderr.write(f"\r[{'#' * full}{'.' * (_BAR - full)}] {done} of {every}{end}")
    sys.stderr.flush()
