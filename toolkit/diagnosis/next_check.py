"""Which check to make next: the one that tells most a minute, of those that are safe; and when to stop looking.

What a check tells is the information it is expected to give about the suspect, in bits: how much less unsure one will
be, averaged over what it may show; source: `de-kleer-williams-1987`, `heckerman-1995`.
Safety comes first and is no matter of bits: what the hard safety filter bars (check_list.py) is never proposed,
whatever it would tell, and while a stop condition holds nothing is proposed at all. The local code, the operator's
written procedure and licensed persons decide.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

# Whoever asks for the next check finds the checks here too.
from toolkit.diagnosis.check_list import CHECKS as CHECKS
from toolkit.diagnosis.check_list import OUT_OF_REACH as OUT_OF_REACH
from toolkit.diagnosis.check_list import Check as Check
from toolkit.diagnosis.check_list import allowed as allowed
from toolkit.diagnosis.check_list import checks_of
from toolkit.diagnosis.check_list import out_of_reach as out_of_reach
from toolkit.diagnosis.posterior import Belief, Numbers, chances
from toolkit.diagnosis.signatures import NOTHING, OTHER, SUSPECTS, UNSEEN
from toolkit.diagnosis.signs import SIGNS, STACK, Signs
from toolkit.errors import ScenarioError

# A suspect is found from this probability on, once its own check has borne it out. With 0.9 a seventh of the cases more
# ends without an answer, and of those found hardly more are right; see DEVELOPERS.md, Evidence.
SURE = 0.8
# To get to a check and make ready costs this [min] besides its own minutes; without it glances that tell little come
# before readings that tell much.
MAKING_READY = 2.0
# A check that is expected to tell less than this [bit] is not worth the walk.
LEAST_BITS = 0.01
# What bears a suspect out and takes longer than this [min] comes after all shorter checks that are worth it: nobody
# waits two hours for the sun beside gauges that are not read yet.
LONG = 60.0
# An outcome less likely than this is not worth a line.
LEAST_CHANCE = 0.005

# What ends all checks at once. Each is the caller's to say; those in _SEEN are also seen by the signs.
STOPS: dict[str, str] = {
    "gas_indoors": "gas is smelt or metered indoors: people out, no switches or phones, call from outside",
    "monoxide": "carbon monoxide is suspected: people out into the air, call",
    "fire": "fire or a source of ignition near escaping gas: people away, call",
    "above_rating": "the pressure is above the rating of the appliances: make it safe by the procedure, call",
    "beyond_me": "the work is beyond the person's qualification or the written procedure: call",
}
_SEEN: Mapping[str, tuple[tuple[str, str], ...]] = {
    "above_rating": tuple((key, "far high") for key in ("outlet_on", "outlet_pilots", "outlet_off")),
}

# The check that bears a suspect out, and what it must show. "Two faults" and "none of these" have none: they are never
# found, only looked into further. "Nothing wrong" is found only if no sign was met that no sound day shows.
CONFIRMED_BY: Mapping[str, tuple[str, str, tuple[str, ...]]] = {
    NOTHING: ("gauge_off", "lock_up", ("as on record",)),
    "dirty_seat": ("gauge_off", "lock_up", ("higher",)),
    "torn": ("held_low", "vent_held", ("a whiff", "strong")),
    "vent_blocked": ("vent_end", "vent_end", ("blocked",)),
    # Gas at the vent alone may be a small tear: with the outlet held low a relief that only opens too soon is shut.
    "weak_relief": ("held_low", "vent_held", ("none",)),
    "weak_spring": ("gauge_off", "lock_up", ("lower",)),
    "line_broken": ("line", "line", ("open to the air",)),
    "line_blocked": ("line", "line", ("blocked",)),
    "too_small": ("filter", "filter_drop", ("small",)),
    "filter_plugged": ("filter", "filter_drop", ("marked", "large")),
    "hydrate": ("frost", "frost", ("frost",)),
    "stuck_open": ("gauge_on", "outlet_on", ("high", "far high")),
    "monitor_near": ("monitor_point", "monitor_point", ("off",)),
    "monitor_shut": ("between", "between", ("near the outlet",)),
    "true_trip": ("slam_shut_point", "slam_shut_point", ("as on record",)),
    "shutoff_near": ("slam_shut_point", "slam_shut_point", ("off",)),
    "relief_dirty": ("stack", "relief", STACK[1:]),
    "relief_blocked": ("relief_point", "relief_point", ("off",)),
    "switch_near": ("switch_point", "switch_point", ("off",)),
    "sun": ("sun", "sun", ("rises and falls back",)),
    "oversize": ("listen", "swing", ("hunts",)),
    "leak": ("meter_on", "meter_on", ("more than the rating",)),
}


@dataclass(frozen=True)
class Outcome:
    """What a check may show: its signs' values, how likely that is, and the probability of each suspect then."""

    values: tuple[str, ...]
    chance: float
    shares: dict[str, float]


@dataclass(frozen=True)
class Advice:
    """What to do: `state`, the check to make if there is one, what it is expected to tell [bit], and why in words."""

    state: Literal["check", "found", "call for help", "not enough to tell"]
    check: Check | None
    bits: float
    why: str


def entropy(shares: Numbers) -> float:
    """How unsure probabilities leave one: the sum of -p log2 p [bit]."""
    sure = shares[shares > 0.0]
    return float(-(sure * np.log2(sure)).sum())


def outcomes(belief: Belief, check: Check) -> list[Outcome]:
    """All that a check may show, the likeliest first, less what is hardly possible.

    Signs that were looked at before are taken as known and not shown again.
    """
    keys, joint = _joint(belief, check)
    by_suspect = _by_suspect(belief, joint)
    sums = by_suspect.sum(axis=0)
    known = belief.table.keys()
    found = []
    for place in np.argsort(-sums):
        if sums[place] < LEAST_CHANCE:
            break
        then = by_suspect[:, place] / sums[place]
        where = np.unravel_index(place, [len(SIGNS[key].values) for key in keys])
        shares = {key: float(then[row]) for row, key in enumerate(SUSPECTS) if key in known}
        values = tuple(SIGNS[key].values[int(at)] for key, at in zip(keys, where, strict=True))
        found.append(Outcome(values, float(sums[place]), shares))
    return found


def information(belief: Belief, check: Check) -> float:
    """What a check is expected to tell about the suspect [bit]: at least 0, at most how unsure one is.

    Where:
        I = sum over outcomes o and suspects s of P(s, o) log2(P(s, o) / (P(s) P(o)))
    """
    _, joint = _joint(belief, check)
    both = _by_suspect(belief, joint)
    apart = np.outer(both.sum(axis=1), both.sum(axis=0))
    there = both > 0.0
    return max(0.0, float((both[there] * np.log2(both[there] / apart[there])).sum()))


def _joint(belief: Belief, check: Check) -> tuple[list[str], Numbers]:
    """The signs of a check that are new and to be had on this kind, and for each run the chances of all they show."""
    met = belief.signs.met()
    keys = [key for key in check.signs if key not in met and _to_be_had(belief, key)]
    joint = np.ones((len(belief.weights), 1))
    for key in keys:
        joint = (joint[:, :, None] * chances(belief.table.signs, key)[:, None, :]).reshape(len(joint), -1)
    return keys, joint


def _to_be_had(belief: Belief, key: str) -> bool:
    return bool((belief.table.signs[:, list(SIGNS).index(key)] != UNSEEN).any())


def _by_suspect(belief: Belief, joint: Numbers) -> Numbers:
    """Probability of each suspect and outcome together, (suspects, outcomes)."""
    weighed = belief.weights[:, None] * joint
    return np.stack(
        [np.bincount(belief.table.suspect, column, minlength=len(SUSPECTS)) for column in weighed.T], axis=1
    )


def stops_of(signs: Signs) -> tuple[str, ...]:
    """The stop conditions that the signs themselves show."""
    return tuple(stop for stop, seen in _SEEN.items() if any(getattr(signs, key) == value for key, value in seen))


def off_record(belief: Belief) -> tuple[str, ...]:
    """The signs met, by their keys, whose value no sound day of the table shows: where one stands, something is wrong.

    A sign that is not to be had on this kind tells nothing.
    """
    sound = belief.table.signs[belief.table.suspect == list(SUSPECTS).index(NOTHING)]
    codes = dict(zip(SIGNS, sound.T, strict=True))
    return tuple(
        key
        for key, value in belief.signs.met().items()
        if _to_be_had(belief, key) and not (codes[key] == SIGNS[key].values.index(value)).any()
    )


def rate(check: Check, bits: float) -> float:
    """What a check tells a minute [bit/min], the minutes of making ready with its own."""
    return bits / (check.minutes + MAKING_READY)


def worth_making(
    belief: Belief,
    done: Collection[str] = (),
    *,
    qualified: bool = False,
    network: bool = False,
    carried: bool = False,
) -> list[tuple[Check, float]]:
    """The allowed checks that are not done yet and what each is expected to tell [bit], the highest rate first."""
    for key in done:
        if key not in CHECKS:
            raise ScenarioError("done", key, "one of " + ", ".join(CHECKS), "Check the spelling.")
    left = [one for one in checks_of(network).values() if one.key not in done and allowed(one, qualified, carried)]
    told = [(check, information(belief, check)) for check in left]
    return sorted((one for one in told if one[1] >= LEAST_BITS), key=lambda one: -rate(*one))


def next_check(
    belief: Belief,
    done: Collection[str] = (),
    *,
    stops: Collection[str] = (),
    made_safe: Collection[str] = (),
    qualified: bool = False,
    network: bool = False,
    carried: bool = False,
) -> Advice:
    """What to do next, after some signs.

    `done`: checks that have been made, whatever they showed. `stops`: stop conditions that hold; those that the signs
    show count by themselves, until they stand in `made_safe`: a qualified person has seen to them by the procedure.
    `network`: the station feeds mains; `carried`: another run or a bypass carries the load while its run is shut.
    """
    for stop in (*stops, *made_safe):
        if stop not in STOPS:
            raise ScenarioError("stops", stop, "one of " + ", ".join(STOPS), "Check the spelling.")
    holding = [one for one in (*stops, *stops_of(belief.signs)) if one not in made_safe]
    if holding:
        return Advice("call for help", None, 0.0, f"Stop: {STOPS[holding[0]]}.")
    best, share = belief.ranked()[0]
    checks = checks_of(network)
    ways = worth_making(belief, done, qualified=qualified, network=network, carried=carried)
    strange = off_record(belief) if best == NOTHING else ()
    if share >= SURE and best in CONFIRMED_BY and not strange:
        key, sign, must = CONFIRMED_BY[best]
        shown = getattr(belief.signs, sign)
        if shown in must:
            return Advice("found", None, 0.0, f"{SUSPECTS[best]}, borne out by this: {SIGNS[sign].name} is {shown}.")
        own = checks[key]
        may_wait = own.minutes > LONG and any(check.minutes <= LONG for check, _ in ways)
        if shown is None and key not in done and allowed(own, qualified, carried) and not may_wait:
            return Advice("check", own, information(belief, own), f"It would bear out {SUSPECTS[best]}.")
    if not ways:
        if best == OTHER:
            return Advice("not enough to tell", None, 0.0, "What was met fits none of the suspects: ask for help.")
        if strange:
            told = "; ".join(f"{SIGNS[key].name} is {getattr(belief.signs, key)}" for key in strange)
            return Advice("not enough to tell", None, 0.0, f"Something is wrong that was not found: {told}.")
        return Advice("not enough to tell", None, 0.0, "No allowed check that is left tells the suspects apart.")
    check, bits = ways[0]
    return Advice("check", check, bits, "Of all allowed checks it tells most for its minutes.")
