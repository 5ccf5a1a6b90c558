"""Random stations by the thousand: `uv run python tests/fuzz.py 100000 [--seed 1] [--workers 2] [--keep FILE]`.

Every seed must end in a Trace that is sound or in an error of the course's own, and in good time. What is asked of a
trace: finite values, absolute pressures above 0, mass that balances, times that rise, parts that stay within their
stops, and latches that go back only when reset by hand or, where that is how they are made, by themselves.

The seeds run from SEED x 10^9 on. With --keep, each chunk's verdicts are added to the file as it is done, and seeds
that stand there are not run again.
"""

from __future__ import annotations

import argparse
import json
import signal
import sys
import time
import traceback
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

import numpy as np
from random_stations import random_scenario, spoiled

from toolkit.devices.pressure_switch import PressureSwitch
from toolkit.devices.slam_shut import SlamShut
from toolkit.ensemble import ensemble
from toolkit.errors import ScenarioError, SimulationError
from toolkit.scenario import Station
from toolkit.simulation import simulate
from toolkit.trace import Trace

CHUNK, APART = 500, 10**9
# Processor time [s]: more than SLOW is too slow; at HANGS the run is broken off.
SLOW, HANGS = 20.0, 120.0
BALANCE = 1e-9
# A sum of the gas held is exact to its rounding only: this share of the gas in the station counts as nothing.
ROUNDING = 1e-14
STOPS = 1e-9


@dataclass(frozen=True)
class Verdict:
    """What became of a seed.

    `end` is trace, refused (ScenarioError while built), stopped (SimulationError), crash or hang; `wrong` says what
    must not be, `balance` the part of the throughput that is missing, `seconds` the processor time, `said` the error.
    """

    seed: int
    end: str
    seconds: float
    wrong: list[str] = field(default_factory=list)
    steps: int = 0
    balance: float = 0.0
    said: str = ""


class Hang(BaseException):
    """Broken off by the clock; no error that anything on the way may catch."""


def judged(seed: int) -> Verdict:
    """Build and run a seed's scenario, and say what is wrong with the outcome."""
    start = time.process_time()

    def verdict(end: str, wrong: list[str], steps: int = 0, balance: float = 0.0, said: str = "") -> Verdict:
        taken = time.process_time() - start
        late = [f"slow: more than {SLOW:g} s of processor time"] if taken > SLOW and end != "hang" else []
        return Verdict(seed, end, round(taken, 4), wrong + late, steps, balance, said)

    try:
        with _clock():
            scenario = random_scenario(seed)
            if isinstance(scenario, ScenarioError):
                return verdict("refused", [] if spoiled(seed) else ["refused: a sound scenario"], said=str(scenario))
            if spoiled(seed):
                return verdict("trace", ["accepted: a bad value"])
            trace = simulate(scenario)
            balance, wrong = faults_of(trace)
            return verdict("trace", wrong, trace.steps, balance)
    except SimulationError as error:
        return verdict("stopped", [], said=str(error))
    except Hang:
        return verdict("hang", [f"hang: no end after {HANGS:g} s of processor time"], said=_place())
    except Exception as error:  # whatever else comes out is what is looked for
        return verdict("crash", [f"crash: {type(error).__name__}"], said=f"{error} at {_place()}")


class _clock:
    """Breaks off what is inside after HANGS seconds of processor time, where the system has such a clock."""

    def __enter__(self) -> None:
        if hasattr(signal, "setitimer"):
            self.before = signal.signal(signal.SIGPROF, self._ring)
            signal.setitimer(signal.ITIMER_PROF, HANGS)

    def __exit__(self, *_: object) -> None:
        if hasattr(signal, "setitimer"):
            signal.setitimer(signal.ITIMER_PROF, 0.0)
            signal.signal(signal.SIGPROF, self.before)

    @staticmethod
    def _ring(*_: object) -> None:
        raise Hang


def _place() -> str:
    frames = traceback.extract_tb(sys.exc_info()[2])
    return " < ".join(f"{Path(f.filename).name}:{f.lineno} {f.name}" for f in frames[:-4:-1])


# What a trace must keep


def faults_of(trace: Trace) -> tuple[float, list[str]]:
    """The part of the throughput that does not balance, and everything that is wrong with a trace."""
    balance = imbalance(trace)
    wrong = [] if balance <= BALANCE else [f"balance: {balance:.2e} of the throughput is missing"]
    return balance, [*wrong, *_bad_times(trace), *_bad_values(trace), *_bad_latches(trace)]


def imbalance(trace: Trace) -> float:
    """What is missing of the mass, as a part of the throughput, after what rounding of the gas held can hide."""
    t, station = trace.totals, trace.scenario.station
    off = abs(t["supplied"] - t["delivered"] - t["vented"] - t["stored"])
    held = sum(
        size * float(trace[f"{name}_gauge_pressure"].max() + station.atmosphere) for name, size in _rooms(station)
    )
    through = sum(abs(t[name]) for name in ("supplied", "delivered", "vented", "stored"))
    over = max(0.0, off - ROUNDING * held / station.rt)
    return float("inf") if not np.isfinite(off) else over / through if through else over


def _rooms(station: Station) -> Iterator[tuple[str, float]]:
    for room in (*station.volumes, *station.sensing_lines):
        yield room.name, room.size
    for regulator in station.regulators:
        yield f"{regulator.name}_case", regulator.case_volume


def _bad_times(trace: Trace) -> Iterator[str]:
    times, duration = trace.times, trace.scenario.duration
    if times[0] != 0.0 or times[-1] != duration or not (np.diff(times) > 0.0).all():
        yield "times: do not rise from 0 to the duration"
    happened = [event.time for event in trace.events]
    if any(b < a for a, b in pairwise(happened)) or not all(0.0 <= t <= duration for t in happened):
        yield "events: out of order or out of the run"
    if not all(np.isfinite([event.value for event in trace.events])):
        yield "events: a value that is no number"


def _bad_values(trace: Trace) -> Iterator[str]:
    station = trace.scenario.station
    tops = {f"{r.name}_lift": r.travel for r in station.regulators}
    tops |= {f"{r.name}_relief_lift": r.overtravel for r in station.regulators}
    tops |= {f"{v.name}_lift_share": 1.0 for v in station.relief_valves}
    tops |= {f"{s.name}_open_share": 1.0 for s in station.slam_shuts}
    tops |= {f"{s.name}_made": 1.0 for s in station.switches}
    for name, values in trace.signals.items():
        if values.shape != trace.times.shape or not np.isfinite(values).all():
            yield f"values: {_kind(name)} is no number"
        elif name.endswith("gauge_pressure") and not (values + station.atmosphere > 0.0).all():
            yield f"vacuum: {_kind(name)} at or below 0 absolute"
        elif name in tops and not ((values >= -STOPS) & (values <= tops[name] * (1 + 1e-6) + STOPS)).all():
            yield f"stops: {_kind(name)} beyond its stop"
    if not all(np.isfinite(list(trace.totals.values()))):
        yield "values: a total is no number"


def _kind(signal_name: str) -> str:
    """A signal's name without the numbers of random parts, so that like findings count together."""
    return "".join(letter for letter in signal_name if not letter.isdigit())


def _bad_latches(trace: Trace) -> Iterator[str]:
    """A latch goes back only by a reset that somebody made then, or by itself where it is made to."""
    for device in (*trace.scenario.station.slam_shuts, *trace.scenario.station.switches):
        tripped, since = False, 0.0
        resets = {a.time for a in trace.scenario.actions if type(a).__name__ == "Reset" and a.device == device.name}
        spans: list[tuple[float, float]] = []
        for event in trace.events:
            if event.subject != device.name:
                continue
            if event.kind.startswith("trips_") or event.kind in ("switch_high", "switch_low"):
                if tripped:
                    yield f"latch: {type(device).__name__} trips twice without a reset"
                tripped, since = True, event.time
            elif event.kind in ("reset", "switch_rest"):
                if not tripped:
                    yield f"latch: {type(device).__name__} resets without a trip"
                if event.kind == "switch_rest" and getattr(device, "manual_reset", True):
                    yield f"latch: {type(device).__name__} lets go by itself"
                if event.kind == "reset" and event.time not in resets:
                    yield f"latch: {type(device).__name__} reset by nobody"
                tripped = False
                spans.append((since, event.time))
        if tripped:
            spans.append((since, trace.scenario.duration))
        yield from _bad_spans(trace, device, spans)


def _bad_spans(trace: Trace, device: SlamShut | PressureSwitch, spans: list[tuple[float, float]]) -> Iterator[str]:
    """What a latch shows while tripped: a switch is made, a slam-shut moves towards shut and never back."""
    for start, end in spans:
        inside = (trace.times > start) & (trace.times < end)
        if isinstance(device, SlamShut):
            if (np.diff(trace[f"{device.name}_open_share"][inside]) > STOPS).any():
                yield "latch: SlamShut opens while tripped"
        elif not (trace[f"{device.name}_made"][inside] == 1.0).all():
            yield "latch: PressureSwitch not made while tripped"
    if isinstance(device, PressureSwitch):
        outside = np.ones(len(trace.times), dtype=bool)
        for start, end in spans:
            outside &= (trace.times < start) | (trace.times > end)
        if trace[f"{device.name}_made"][outside].any():
            yield "latch: PressureSwitch made without a trip"


# The command


def summary(verdicts: list[Verdict], seed: int) -> str:
    """Date, seed, counts, worst balance, slowest, and every seed at which something is wrong."""
    ends = Counter(v.end for v in verdicts)
    seconds = sorted((v.seconds for v in verdicts if v.end in ("trace", "stopped")), reverse=True)
    lines = [
        f"{datetime.now(UTC):%Y-%m-%d %H:%M} UTC, seed {seed}: {len(verdicts)} scenarios, "
        + ", ".join(f"{ends[end]} {end}" for end in ("trace", "refused", "stopped", "crash", "hang")),
    ]
    if seconds:
        worst = max(verdicts, key=lambda v: v.balance)
        longest = max(verdicts, key=lambda v: v.steps)
        lines += [
            f"processor time: {sum(seconds):.0f} s in all, median {seconds[len(seconds) // 2] * 1e3:.0f} ms, "
            f"99 % under {seconds[len(seconds) // 100] * 1e3:.0f} ms",
            f"worst balance {worst.balance:.1e} of the throughput (seed {worst.seed}); "
            f"most steps {longest.steps} (seed {longest.seed})",
            "slowest: "
            + ", ".join(
                f"{v.seed} ({v.seconds:.1f} s, {v.end})"
                for v in sorted(verdicts, key=lambda v: v.seconds, reverse=True)[:10]
            ),
        ]
    for kind, found in _gathered((what, v) for v in verdicts for what in v.wrong):
        lines.append(f"WRONG {kind}: {_seeds(found)} {found[0].said}".rstrip())
    for kind, found in _gathered((_said(v.said), v) for v in verdicts if v.end == "stopped"):
        lines.append(f"stopped, {kind}: {_seeds(found)}")
    return "\n".join(lines)


def _gathered(found: Iterator[tuple[str, Verdict]]) -> list[tuple[str, list[Verdict]]]:
    by_kind: dict[str, list[Verdict]] = {}
    for what, verdict in found:
        by_kind.setdefault(what.split(":")[0] if what.startswith("balance") else what, []).append(verdict)
    return sorted(by_kind.items(), key=lambda item: -len(item[1]))


def _said(words: str) -> str:
    return "budget used up" if "used up" in words else "no step small enough" if "no step" in words else words


def _seeds(found: list[Verdict]) -> str:
    return f"{len(found)} x, seeds " + " ".join(str(v.seed) for v in found)


def main(arguments: list[str]) -> int:
    """Run them; 1 where anything is wrong."""
    parser = argparse.ArgumentParser(description="Random stations against what any run must keep.")
    parser.add_argument("count", type=int)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="file of verdicts, one a line; what stands there is not run again")
    given = parser.parse_args(arguments)
    seeds = range(given.seed * APART, given.seed * APART + given.count)
    known: dict[int, Verdict] = {}
    if given.keep and given.keep.exists():
        for line in given.keep.read_text("utf-8").splitlines():
            verdict = Verdict(**json.loads(line))
            known[verdict.seed] = verdict
    left = [seed for seed in seeds if seed not in known]
    with ProcessPoolExecutor(given.workers) as pool:
        for start in range(0, len(left), CHUNK):
            done = ensemble(left[start : start + CHUNK], pool, judged)
            known |= {verdict.seed: verdict for verdict in done}
            if given.keep:
                with given.keep.open("a", encoding="utf-8") as file:
                    file.writelines(json.dumps(asdict(verdict)) + "\n" for verdict in done)
    verdicts = [known[seed] for seed in seeds]
    print(summary(verdicts, given.seed))
    return int(any(verdict.wrong for verdict in verdicts))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
