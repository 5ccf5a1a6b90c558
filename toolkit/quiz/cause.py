"""What is wrong at a station of any kind: 100 points are spread over suspects, from what a visit found.

The signs and suspects are those of the diagnosis.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from random import Random
from typing import Any

import numpy as np

from toolkit.diagnosis.load_words import at_place, sign_words
from toolkit.diagnosis.next_check import CHECKS, Check, allowed, information, rate
from toolkit.diagnosis.posterior import Belief, belief
from toolkit.diagnosis.signatures import OTHER, SUSPECTS, UNSEEN, shipped, trace_of_run
from toolkit.diagnosis.signs import SIGNS, Signs
from toolkit.quiz.grades import Grade, Replay, quadratic_credit, read_points
from toolkit.scenario import Scenario, Station
from toolkit.simulation import simulate
from toolkit.trace import Trace

# So many suspects are offered, the truth among them.
OFFERED = 7
# A check that is expected to tell less than this of two suspects [bit], each as likely, hardly tells them apart.
TELLS = 0.3
# A noise is a weak sign: a regulator may hum with nothing wrong. It is never what is said to tell two suspects apart.
WEAK = ("noise",)
# Two lines that differ by this share of the higher one are seen to differ; looked at are so many moments of a run.
SEEN = 0.1
MOMENTS = np.linspace(0.0, 1.0, 400)
_NOTHING = Signs()
QUALIFIED = "Such checks are for qualified persons, by the operator's own procedure and the local code."


@dataclass(frozen=True)
class CauseQuestion:
    """Points are spread over `suspects` (keys of toolkit.diagnosis.signatures) from the signs that a visit met.

    `posterior` is what the signs say of each, one of them taken for granted; `shows` all that could have been looked
    at, `place` the station whose table speaks. An answer is the points in the suspects' order; what the record
    keeps of it names the case, the truth and the points of each suspect.
    """

    key: str
    prompt: str
    signs: Signs
    shows: Signs
    place: str
    suspects: tuple[str, ...]
    truth: str
    posterior: tuple[float, ...]
    scenario: Scenario
    case: str = ""
    also: str = ""

    def names(self) -> tuple[str, ...]:
        """The suspects' names, in order."""
        return tuple(SUSPECTS[key] for key in self.suspects)

    def table(self) -> tuple[tuple[str, ...], ...]:
        """What was met as rows of words, the first row the heading."""
        return (("What was looked at", "It showed"), *sign_words(self.signs, self.place))

    def graded(self, answer: Any) -> Grade:
        """The grade of points as they were spread. Raises AnswerError for what is no spread."""
        points = read_points(self.suspects, answer)
        true = self.suspects.index(self.truth)
        score = quadratic_credit([one / 100.0 for one in points], true)
        others = [place for place in range(len(points)) if place != true]
        rival = self.suspects[max(others, key=lambda place: (points[place], self.posterior[place]))]
        rows = (
            (name + (" (true)" if place == true else ""), f"{points[place]:g}", f"{100 * self.posterior[place]:.0f}")
            for place, name in enumerate(self.names())
        )
        kept = {"case": self.case, "truth": self.truth, "points": dict(zip(self.suspects, points, strict=True))}
        return Grade(
            score,
            1.0,
            "Right." if points[true] == 100 else f"{score:.2f} of 1: {points[true]:g} points on the true suspect.",
            self._told(rival),
            kept,
            (("Suspect", "Your points", "What the signs say"), *rows),
            self._replay(rival),
            "Your points beside what the signs say",
        )

    def _told(self, rival: str) -> tuple[str, ...]:
        likeliest = max(range(len(self.suspects)), key=lambda place: self.posterior[place])
        says = f"It was: {SUSPECTS[self.truth]}." + (f" {self.also}" if self.also else "")
        if self.suspects[likeliest] != self.truth:
            says += (
                f" The signs speak more for {self.names()[likeliest]} ({self.posterior[likeliest]:.0%}): this was one "
                "of the rarer cases."
            )
        return (says, told_apart(self.place, self.truth, rival, self.shows, self.signs), QUALIFIED)

    def _replay(self, rival: str) -> Replay:
        """The true day beside the rival's at its most telling, the one that comes nearest to the signs."""
        run = belief(self.signs, self.place).most_telling(rival)
        assert run is not None  # "none of these" is never offered
        true, other = simulate(self.scenario), trace_of_run(run)
        return Replay(
            true, other, SUSPECTS[self.truth], SUSPECTS[rival], most_apart(self.scenario.station, true, other)
        )


def most_apart(station: Station, true: Trace, other: Trace) -> str:
    """The signal by which two runs are seen to differ: the outlet's, or another volume's where that shows nothing.

    A monitor that holds makes the outlet nearly the same whatever ails the worker before it.
    """

    def apart(signal: str) -> float:
        lines = [np.interp(MOMENTS, one.times / one.times[-1], one[signal]) for one in (true, other)]
        return float(np.max(np.abs(lines[0] - lines[1])) / max(1.0, *(np.max(line) for line in lines)))

    outlet = f"{station.loads[0].at}_gauge_pressure"
    signals = (outlet, *(f"{volume.name}_gauge_pressure" for volume in station.volumes))
    return outlet if apart(outlet) >= SEEN else max(signals, key=apart)


# Behind a shutoff that did its work there is dirt on the worker's seat: of the two neither is wrong beside the other.
_BOTH_TRUE = {"true_trip": "dirty_seat", "dirty_seat": "true_trip"}


def offered(now: Belief, truth: str, chance: Random) -> tuple[str, ...]:
    """Suspects to spread points over: the truth and those that come nearest, in an order by chance."""
    rivals = [key for key, _ in now.ranked() if key not in (truth, OTHER, _BOTH_TRUE.get(truth))]
    keys = [truth, *rivals[: OFFERED - 1]]
    chance.shuffle(keys)
    return tuple(keys)


def telling_check(place: str, truth: str, rival: str, shows: Signs, known: Signs = _NOTHING) -> Check | None:
    """The allowed check that tells two suspects apart best a minute, of those that show something that is not known.

    Weak signs do not count. None if none of them is expected to tell TELLS.
    """
    # What is known leans to one of the two already; what a check is worth is asked as if both were as likely.
    even = belief(Signs(), place, {truth: 1.0, rival: 1.0})
    new = shows.met().keys() - known.met().keys() - set(WEAK)
    open_ones = [one for one in CHECKS.values() if allowed(one, True) and new & set(one.signs)]
    told = [(one, information(even, replace(one, signs=_provable(one)))) for one in open_ones]
    ways = [(rate(one, bits), one) for one, bits in told if bits >= TELLS]
    return max(ways, key=lambda way: way[0])[1] if ways else None


def _provable(check: Check) -> tuple[str, ...]:
    """The signs of a check less the weak ones."""
    return tuple(key for key in check.signs if key not in WEAK)


def told_apart(place: str, truth: str, rival: str, shows: Signs, known: Signs) -> str:
    """A sentence: which check would have told two suspects apart, and what it shows with either and here."""
    new = telling_check(place, truth, rival, shows, known)
    check = new or telling_check(place, truth, rival, shows)
    names = (SUSPECTS[truth], SUSPECTS[rival])
    if check is None:
        return f"No single check tells {names[0]} from {names[1]} for sure: other days look too much alike."
    said, spoke = [], []
    for key in _provable(check):
        usual = [_usual(place, one, key) for one in (truth, rival)]
        if usual[0] != usual[1] and None not in usual:
            here = getattr(shows, key)
            spoke += [here == usual[0]] if here else []
            said.append(
                f"{SIGNS[key].name}: mostly \u201c{usual[0]}\u201d with {names[0]}, \u201c{usual[1]}\u201d with "
                f"{names[1]}" + (f"; here \u201c{here}\u201d" if here else "")
            )
    shown = f"It shows {'; '.join(said)}." if said else "Its signs come in other shares with the two."
    pair = f"{names[0]} from {names[1]}"
    tells = f"What would tell {pair}:" if new else f"What mostly tells {pair} was met already:"
    # A day need not look like most days of its cause.
    odd = " On this day it did not speak for the true cause." if spoke and not any(spoke) else ""
    return at_place(f"{tells} {check.name} ({check.minutes:g}\u00a0min). {shown}{odd}", place)


def _usual(place: str, suspect: str, key: str) -> str | None:
    """What a sign shows most often in a suspect's runs."""
    table = shipped(place)
    column = table.signs[table.suspect == list(SUSPECTS).index(suspect), list(SIGNS).index(key)]
    seen = Counter(int(one) for one in column if one != UNSEEN)
    return SIGNS[key].values[seen.most_common(1)[0][0]] if seen else None
