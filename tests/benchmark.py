"""How fast the course is, in figures and ratios from one run on one machine. Not a test: `uv run python tests/benchmark.py`.

Parts, each by name on the command line, all by default:

    engine    ten-minute scenarios through simulate(), against scipy's LSODA at equal accuracy
    panel     what a slider's key press costs in the kernel, for every lesson
    browser   key press to painted picture in a real browser, against the `interact` way; cold start of the course
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))


def seconds(work: Callable[[], object], repeats: int) -> float:
    """Median processor time of a piece of work, s: what others do on the machine counts least in it."""
    taken = []
    for _ in range(repeats):
        start = time.process_time()
        work()
        taken.append(time.process_time() - start)
    return statistics.median(taken)


def engine() -> None:
    """simulate() against LSODA at the loosest tolerance that is at least as near to the reference."""
    import numpy as np
    from stiff import reference
    from test_stiff import DAY, FAULTS

    from toolkit.scenario import Scenario
    from toolkit.simulation import simulate

    def told(times, outlet):
        ends = [np.interp(t, times, outlet) for t in (119.9, 239.9, 419.9, 539.9, 600.0)]
        return np.array([*ends, outlet.max()])

    def by_lsoda(scenario, rtol):
        times, states, net = reference(scenario, rtol=rtol, points=40)
        warmth = [c.warmth for c in scenario.conditions(600.0)[len(scenario.station.devices) :]]
        return told(times, states[:, net.places["outlet"]] * warmth[1] - scenario.station.atmosphere)

    print("engine: 600 s scenarios; ours, steps, LSODA at equal accuracy, ratio, error of either against rtol 1e-9")
    ratios, ours_all = [], []
    for name, faults in FAULTS.items():
        if name == "sun on the pipe":
            continue  # its outlet is read through the warmth of each moment, which told() does not follow
        scenario = Scenario(demands=DAY, faults=faults)
        exact = by_lsoda(scenario, 1e-9)
        trace = simulate(scenario)
        error = np.max(np.abs(told(trace.times, trace["outlet_gauge_pressure"]) / exact - 1))
        for rtol in (1e-3, 1e-4, 1e-5, 1e-6, 1e-7, 1e-8):
            try:
                other = np.max(np.abs(by_lsoda(scenario, rtol) / exact - 1))
            except AssertionError:
                continue
            if other <= max(error, 1e-4):
                break
        ours = seconds(lambda s=scenario: simulate(s), 15)
        theirs = seconds(lambda s=scenario, r=rtol: reference(s, rtol=r, points=2), 5)
        ratios.append(theirs / ours)
        ours_all.append(ours)
        print(
            f"  {name:22s} {ours * 1e3:6.1f} ms  {trace.steps:4d}  {theirs * 1e3:7.1f} ms (rtol {rtol:.0e})"
            f"  x{theirs / ours:5.1f}   {error:.1e} / {other:.1e}"
        )
    print(
        f"  median {statistics.median(ours_all) * 1e3:.1f} ms, worst {max(ours_all) * 1e3:.1f} ms; "
        f"ratio median x{statistics.median(ratios):.1f}, least x{min(ratios):.1f}"
    )


PARTS = {"engine": engine}

if __name__ == "__main__":
    for part in sys.argv[1:] or PARTS:
        PARTS[part]()
