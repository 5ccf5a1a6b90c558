"""How well the diagnosis does on days that it has not seen. Not a test: `uv run python tests/benchmark_diagnosis.py`.

    --cases N      so many days, evenly over the kinds of station, suspects by the priors (default 600)
    --seed N       of the days; it must not be the tables' own (default 90210)
    --workers N    processes to work with (default 1)

Three sets of signs: `visit` is all that is looked at, heard, smelt and read; `proven` also what is proven by the
written procedure and the vent with the outlet held low; `part` is a random half of the visit's. A case that shows the
very same signs as a day of another suspect in the tables cannot be told from it: the rest are "separable".
Calibration: expected calibration error over ten even bins of the top suspect's probability (Naeini and others 2015,
Guo and others 2017; from memory). With n cases a share p has a standard error of sqrt(p (1 - p) / n), printed beside.
"""

from __future__ import annotations

import argparse
import contextlib
import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from math import sqrt
from random import Random

import numpy as np

from toolkit.diagnosis.next_check import CHECKS, SURE, allowed, next_check
from toolkit.diagnosis.posterior import PRIORS, belief, posterior
from toolkit.diagnosis.signatures import (
    OTHER,
    SEED,
    SUSPECTS,
    TWO,
    UNSEEN,
    Run,
    codes_of_run,
    encoded,
    shipped,
    suspects_on,
)
from toolkit.diagnosis.signs import SIGNS, Signs
from toolkit.diagnosis.sites import KINDS
from toolkit.ensemble import ensemble

PROVEN = {sign for check in CHECKS.values() if check.qualified for sign in check.signs}
VISIT = [key for key in SIGNS if key not in PROVEN]
BINS = 10


def drawn(cases: int, seed: int) -> list[Run]:
    """Kinds by turns, suspects by the priors; "none of these" has no days."""
    chance, kinds = Random(seed), tuple(KINDS)
    found = []
    for number in range(cases):
        kind = kinds[number % len(kinds)]
        keys = [key for key in suspects_on(kind) if key != OTHER]
        found.append(Run(kind, chance.choices(keys, [PRIORS[key] for key in keys])[0], number, seed))
    return found


def decoded(codes) -> Signs:
    pairs = zip(SIGNS.items(), codes, strict=True)
    return Signs(**{key: sign.values[code] for (key, sign), code in pairs if code != UNSEEN})


def separable(run: Run, signs: Signs) -> bool:
    """Whether no day of another suspect in the tables shows the same in all that was looked at."""
    table, seen = shipped(run.kind), np.array(encoded(signs))
    looked = seen != UNSEEN
    same = (table.signs[:, looked] == seen[looked]).all(axis=1)
    return not (same & (table.suspect != list(SUSPECTS).index(run.suspect))).any()


def calibration_error(sure, right) -> float:
    """Expected calibration error: mean gap of probability and hit rate, weighed by the cases of each bin."""
    sure, right = np.array(sure), np.array(right, dtype=float)
    place = np.minimum((sure * BINS).astype(int), BINS - 1)
    bins = [place == number for number in range(BINS)]
    return float(sum(abs(sure[one].sum() - right[one].sum()) for one in bins) / len(sure))


def share(hits) -> str:
    n = len(hits)
    p = sum(hits) / max(n, 1)
    return f"{p:6.1%} +- {sqrt(p * (1 - p) / max(n, 1)):.1%} of {n}"


def told(title: str, cases: list[tuple[Run, Signs]]) -> None:
    """Accuracy and calibration over some cases."""
    top, third, sure, apart, confused, lost = [], [], [], [], Counter(), 0.0
    for run, signs in cases:
        shares = posterior(signs, run.kind)
        ranked = sorted(shares, key=lambda key: -shares[key])
        top.append(ranked[0] == run.suspect)
        third.append(run.suspect in ranked[:3])
        sure.append(shares[ranked[0]])
        apart.append(separable(run, signs))
        lost -= np.log2(shares[run.suspect])
        if not top[-1]:
            confused[run.suspect, ranked[0]] += 1
    print(f"{title}")
    print(f"  top suspect right, all            {share(top)}")
    print(f"  top suspect right, separable      {share([a for a, b in zip(top, apart, strict=True) if b])}")
    single = [a for a, b, (run, _) in zip(top, apart, cases, strict=True) if b and run.suspect != TWO]
    print(f"  the same without two faults       {share(single)}")
    print(f"  among the top three, all          {share(third)}")
    print(f"  mean probability of the top       {np.mean(sure):6.1%}")
    print(f"  expected calibration error        {calibration_error(sure, top):6.3f}")
    certain = [a for a, b in zip(top, sure, strict=True) if b >= SURE]
    print(f"  right where it says {SURE:.0%} or more   {share(certain)}")
    print(f"  surprise at the truth             {lost / len(cases):6.2f} bit")
    for (truth, taken), n in confused.most_common(6):
        print(f"    {n:3d} x {SUSPECTS[truth]} taken for {SUSPECTS[taken]}")


def walked(cases: list[tuple[Run, Signs]], qualified: bool) -> None:
    """Check after check as advised, the day's signs as answers, until an end; what overpressure stops is made safe."""
    ends, right, minutes = Counter(), [], []
    for run, signs in cases:
        known, done = Signs(), []
        while (advice := next_check(
            belief(known, run.kind), done, made_safe=["above_rating"], qualified=qualified
        )).check is not None:  # fmt: skip
            done.append(advice.check.key)
            known = signs.only([*known.met(), *advice.check.signs])
        ends[advice.state] += 1
        if advice.state == "found":
            right.append(belief(known, run.kind).ranked()[0][0] == run.suspect)
            minutes.append(sum(CHECKS[key].minutes for key in done))
    every = sum(one.minutes for one in CHECKS.values() if allowed(one, qualified))
    print(f"next checks, {'with' if qualified else 'without'} those for the qualified ({every:.0f} minutes in all)")
    for state, n in ends.most_common():
        print(f"  {state:33s} {n / len(cases):6.1%}")
    print(f"  found and right                   {share(right)}; minutes, median {np.median(minutes):.0f}")


def main() -> None:
    parser = argparse.ArgumentParser(description="How well the diagnosis does on days that it has not seen.")
    parser.add_argument("--cases", type=int, default=600)
    parser.add_argument("--seed", type=int, default=90210)
    parser.add_argument("--workers", type=int, default=1)
    asked = parser.parse_args()
    if asked.seed == SEED:
        sys.exit(f"Seed {SEED} is the tables' own: take another.")
    runs = drawn(asked.cases, asked.seed)
    with contextlib.ExitStack() as stack:
        executor = stack.enter_context(ProcessPoolExecutor(asked.workers)) if asked.workers > 1 else None
        codes = ensemble(runs, executor, codes_of_run)
    cases = [(run, decoded(code)) for run, code in zip(runs, codes, strict=True) if code is not None]
    print(f"{len(cases)} of {asked.cases} days finished; seed {asked.seed}; tables: seed {SEED}, "
          f"{shipped('service').runs} days a suspect and kind")  # fmt: skip
    chance = Random(asked.seed)
    told("visit", [(run, signs.only(VISIT)) for run, signs in cases])
    told("proven", cases)
    told("part", [(run, signs.only(chance.sample(VISIT, len(VISIT) // 2))) for run, signs in cases])
    for qualified in (False, True):
        walked(cases, qualified)


if __name__ == "__main__":
    main()
