"""How likely each suspect is after what was met: Bayes' rule over the joint signs of simulated days.

The likelihood of some signs under a suspect is the mean over its runs of a product of kernels, one a sign that was
looked at, each a probability over that sign's values; so the likelihood is a probability over all that could have been
met. What goes together in the physics goes together here: creep trips a slam-shut, and a tripped slam-shut leaves no
gas. Sums are taken in logs. Kernels of this form: source `aitchison-aitken-1976`.
"None of these" is broad and flat: all values of a sign are equally likely, whatever else was met. It gains where no
suspect explains what was met, and never has a run to show.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from toolkit import checks
from toolkit.diagnosis.signatures import (
    NOTHING,
    OTHER,
    SUSPECTS,
    TWO,
    UNSEEN,
    Codes,
    Kind,
    Run,
    Signatures,
    encoded,
    possible,
    shipped,
)
from toolkit.diagnosis.signs import SIGNS, Signs
from toolkit.errors import ScenarioError
from toolkit.scenario import Station

Numbers = NDArray[np.float64]

# Weights before anything is looked at: teaching values, not field statistics; the course's own judgement of what a
# technician is called to. They need not add up to anything. Change them by handing over another table.
PRIORS_DATED = "2026-11-25"
PRIORS: Mapping[str, float] = {
    NOTHING: 4.0,
    "dirty_seat": 6.0,
    "torn": 2.0,
    "vent_blocked": 3.0,
    "weak_relief": 2.0,
    "weak_spring": 2.0,
    "line_broken": 1.0,
    "line_blocked": 2.0,
    "too_small": 3.0,
    "filter_plugged": 3.0,
    "hydrate": 1.0,
    "stuck_open": 2.0,
    "monitor_near": 1.0,
    "monitor_shut": 1.0,
    "true_trip": 2.0,
    "shutoff_near": 2.0,
    "relief_dirty": 2.0,
    "relief_blocked": 1.0,
    "switch_near": 2.0,
    "sun": 2.0,
    "oversize": 2.0,
    "leak": 2.0,
    TWO: 2.0,
    OTHER: 0.5,
}

# A kernel leaves so much of its probability on the value of the run, less for what is read off a gauge than for what
# is plain to see; the rest falls off by this much from value to value where they stand in an order, and is shared
# evenly where they do not. Of the values tried (0.85 to 0.99) these surprise least by the tables' own runs, each left
# out of the table in its turn.
READ_KEPT, SEEN_KEPT, FALLS_OFF = 0.9, 0.95, 0.3
# Where gas leaves the vent, the outlet and the relief's start lie too far apart to be mistaken for each other.
FAR_APART_KEPT, FAR_APART = 0.98, frozenset(("relief_start",))
READ = frozenset(
    (
        "outlet_on",
        "outlet_pilots",
        "outlet_off",
        "lock_up",
        "creep",
        "between",
        "inlet",
        "filter_drop",
        "meter_on",
        "spike",
    )
)


@dataclass(frozen=True)
class Belief:
    """What is thought after some signs: a table, the signs, and a weight for each of its runs; they sum to 1."""

    table: Signatures
    signs: Signs
    weights: Numbers

    def shares(self) -> dict[str, float]:
        """The probability of each suspect that can be on this kind, in the order of SUSPECTS; they sum to 1."""
        sums = np.bincount(self.table.suspect, self.weights, len(SUSPECTS))
        keys = self.table.keys()
        return {key: float(sums[place]) for place, key in enumerate(SUSPECTS) if key in keys}

    def ranked(self) -> list[tuple[str, float]]:
        """The suspects and their probabilities, the likeliest first."""
        return sorted(self.shares().items(), key=lambda one: -one[1])

    def most_telling(self, suspect: str) -> Run | None:
        """The run of a suspect whose signs come nearest to what was met; None for "none of these"."""
        known = self.table.keys()
        if suspect not in known:
            raise ScenarioError("suspect", suspect, "one of " + ", ".join(known), "Check the spelling.")
        if suspect == OTHER:
            return None
        mine = np.flatnonzero(self.table.suspect == list(SUSPECTS).index(suspect))
        best = mine[int(np.argmax(self.weights[mine]))]
        return Run(self.table.of, suspect, int(self.table.number[best]), self.table.seed)


@lru_cache(maxsize=len(SIGNS))
def kernel(key: str) -> Numbers:
    """Probabilities (values + 1, values) of each value met, a row for each value of a run.

    The last row is for a run whose sign was not to be had: every value alike.
    """
    sign = SIGNS[key]
    values = len(sign.values)
    steps = np.abs(np.subtract.outer(np.arange(values), np.arange(values)))
    apart = FALLS_OFF ** (steps - 1.0) if sign.ordered else np.ones((values, values))
    apart[steps == 0] = 0.0
    kept = READ_KEPT if key in READ else FAR_APART_KEPT if key in FAR_APART else SEEN_KEPT
    spread = (1.0 - kept) * apart / apart.sum(axis=1, keepdims=True)
    found = np.vstack([spread + kept * np.eye(values), np.full(values, 1.0 / values)])
    found.setflags(write=False)
    return found


def chances(signs: Codes, key: str) -> Numbers:
    """Probabilities (runs, values) of each value of a sign, for each run of a table's `signs` (runs, signs)."""
    column = signs[:, list(SIGNS).index(key)].astype(np.intp)
    return kernel(key)[np.where(column == UNSEEN, -1, column)]


def log_likelihoods(table: Signatures, signs: Signs) -> Numbers:
    """For each run the natural log of the probability of what was met, (runs,)."""
    total = np.zeros(len(table.suspect))
    for key, place in zip(SIGNS, encoded(signs), strict=True):
        if place != UNSEEN:
            total += np.log(chances(table.signs, key)[:, place])
    return total


def log_priors(table: Signatures, priors: Mapping[str, float]) -> Numbers:
    """For each run the log of its suspect's prior over the runs that this suspect has, (runs,).

    Raises ScenarioError for a weight of an unknown suspect, a negative one, or none above 0.
    """
    for key, weight in priors.items():
        if key not in SUSPECTS:
            raise ScenarioError("priors", key, "one of " + ", ".join(SUSPECTS), "Check the spelling.")
        checks.number(f"priors.{key}", weight, 0.0, 1e9, "")
    weights = np.array([priors.get(key, 0.0) for key in SUSPECTS])
    share = (weights / np.maximum(np.bincount(table.suspect, minlength=len(SUSPECTS)), 1))[table.suspect]
    if not share.any():
        raise ScenarioError("priors", dict(priors), "a weight above 0 for a suspect of this kind", "Give one.")
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(share / share.sum()))


def priors_for(station: Station, priors: Mapping[str, float] = PRIORS) -> dict[str, float]:
    """The priors of the suspects that can be on a station: what is not fitted cannot have failed."""
    return {key: weight for key, weight in priors.items() if possible(key, station)}


def belief(signs: Signs, table: Signatures | Kind, priors: Mapping[str, float] = PRIORS) -> Belief:
    """What to think after some signs on a kind of station or a shipped station, by its name, or by another table.

    With no sign it is the priors, of the suspects that can be on this kind. A suspect left out of `priors` is ruled
    out.
    """
    table = table if isinstance(table, Signatures) else shipped(table)
    logs = log_priors(table, priors) + log_likelihoods(table, signs)
    weights = np.exp(logs - logs.max())
    return Belief(table, signs, weights / weights.sum())


def posterior(signs: Signs, kind: Signatures | Kind, priors: Mapping[str, float] = PRIORS) -> dict[str, float]:
    """The probability of each suspect after some signs; they sum to 1."""
    return belief(signs, kind, priors).shares()
