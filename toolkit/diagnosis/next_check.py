"""Which check to make next: the one that tells most a minute, of those that are safe; and when to stop looking.

What a check tells is the information it is expected to give about the suspect, in bits: how much less unsure one will
be, averaged over what it may show; source: `de-kleer-williams-1987`, `heckerman-1995`.
Safety comes first and is no matter of bits: what defeats a layer is never proposed, whatever it would tell; while a
stop condition holds nothing is proposed at all; work inside a device is proposed to qualified persons only. The local
code, the operator's written procedure and licensed persons decide; minutes and effort are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

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


@dataclass(frozen=True)
class Check:
    """Something a technician can do: `minutes` it takes, its `effort` and `risk` in words, the `signs` it shows.

    `qualified`: for qualified persons by the written procedure only. `forbidden`: why nobody may do it; empty for the
    rest. None is allowed while a stop condition holds.
    """

    key: str
    name: str
    minutes: float
    signs: tuple[str, ...]
    effort: str = "look and read"
    risk: str = "little; keep flames and sparks away from vents and stacks"
    qualified: bool = False
    forbidden: str = ""


_PROOF = "prove it by the written procedure"
_PROOF_RISK = "the layer is out of service meanwhile: somebody stays, another layer stands"
# Nobody walks into gas to find a sign.
_VENT_RISK = "gas may come out there: stay upwind, go no nearer once you smell it, keep flames and sparks away"
_TURN = "work the valves downstream"
_TURN_RISK = (
    "burners go out, at a station of many customers all of theirs: by the operator's plan only; every one is accounted "
    "for before a relight by a qualified person"
)

CHECKS: dict[str, Check] = {
    one.key: one
    for one in (
        Check("ask", "ask what was noticed, and since when", 3, ("burners", "trip"), "ask", "none"),
        Check("flags", "look at the flags of slam-shut and switch; reset nothing", 1, ("slam_shut", "switch")),
        Check("frost", "look for frost", 1, ("frost",)),
        Check("stack", "listen and smell at the relief's stack, from upwind", 2, ("relief",), risk=_VENT_RISK),
        Check("listen", "watch the needle and listen to the regulators", 3, ("swing", "noise")),
        Check("vent_end", "look at the end of the vent", 3, ("vent_end",), risk=_VENT_RISK),
        Check("smell_on", "smell at the vent from upwind, all burners on", 3, ("vent_on",), risk=_VENT_RISK),
        Check("gauge_on", "read the outlet gauge with all burners on", 4, ("outlet_on",)),
        Check("inlet", "read the inlet gauge with all burners on", 3, ("inlet",)),
        Check("filter", "read the pressure drop across the filter with all burners on", 4, ("filter_drop",)),
        Check("between", "read the gauge between the regulators with all burners on", 4, ("between",)),
        Check("meter_on", "read the meter with all burners on, beside their rating", 5, ("meter_on",)),
        Check("gauge_pilots", "read the outlet gauge with pilots only", 4, ("outlet_pilots",), _TURN, _TURN_RISK),
        Check("cut_off", "watch the outlet gauge as the burners shut", 3, ("spike",), _TURN, _TURN_RISK),
        Check(
            "gauge_off",
            "shut the outlet valve, read the outlet gauge and watch it",
            8,
            ("outlet_off", "lock_up", "creep"),
            _TURN,
            _TURN_RISK,
        ),
        Check(
            "smell_off",
            "smell at the vent from upwind, all off",
            3,
            ("vent_off",),
            _TURN,
            f"{_VENT_RISK}; {_TURN_RISK}",
        ),
        Check("meter_off", "watch the meter with all off", 5, ("meter_off",), _TURN, _TURN_RISK),
        Check(
            "held_low",
            "hold the outlet low, then look for gas at the vent",
            10,
            ("vent_held",),
            _TURN,
            "all burners are off before gas is drawn, and it goes to a safe place outdoors; look from upwind with a "
            f"gas detector, for a nose soon gets used to the smell; {_TURN_RISK}",
            True,
        ),
        Check(
            "sun",
            "read the outlet gauge with all off before the sun is on it, in the sun, and in the shade again",
            120,
            ("sun",),
            f"{_TURN}, and stay by the gauge",
            f"a leak goes on filling the line: make it safe before the gauge nears the rating; {_TURN_RISK}",
        ),
        Check("line", "follow the sensing line and prove it clear", 20, ("line",), _PROOF, _PROOF_RISK, True),
        Check("monitor_point", "prove the monitor's set point", 30, ("monitor_point",), _PROOF, _PROOF_RISK, True),
        Check(
            "slam_shut_point",
            "prove the slam-shut's trip point",
            30,
            ("slam_shut_point",),
            _PROOF,
            _PROOF_RISK,
            True,
        ),
        Check(
            "switch_point",
            "prove the switch's set point and deadband",
            20,
            ("switch_point",),
            _PROOF,
            _PROOF_RISK,
            True,
        ),
        Check(
            "relief_point",
            "prove the relief valve's opening and its way out",
            30,
            ("relief_point",),
            _PROOF,
            _PROOF_RISK,
            True,
        ),
        Check(
            "plug_vent",
            "plug the vent",
            1,
            ("vent_on", "vent_off"),
            risk="the regulator no longer holds its pressure, and its relief is blocked",
            forbidden="A vent is never plugged: gas that cannot leave there raises the outlet pressure.",
        ),
        Check(
            "jump_switch",
            "jump the switch",
            1,
            ("switch",),
            risk="a layer is defeated",
            forbidden="A switch is never jumped: it is the layer that would have acted.",
        ),
        Check(
            "raise_set_point",
            "raise the set point",
            2,
            ("outlet_on",),
            risk="the pressure at the appliances passes their rating",
            forbidden="A set point is never raised to hide a symptom: the cause stays, and every layer stands nearer.",
        ),
        Check(
            "pin_shutoff",
            "pin the slam-shut open",
            2,
            ("slam_shut",),
            risk="a layer is defeated",
            forbidden="A shutoff is never pinned: it is reset by hand once the cause is found.",
        ),
        Check(
            "lift_lever",
            "lift the relief's test lever",
            2,
            ("relief",),
            risk="gas by the valve's full bore; dirt on the seat, and it weeps from then on",
            forbidden="A relief is not lifted by hand to find a cause: its opening is proven by the written procedure.",
        ),
    )
}

# The checks that want burners alight, by the sign with which none can be.
OUT_OF_REACH: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("burners", "no gas", ("smell_on", "meter_on", "gauge_pilots", "cut_off")),
    (
        "slam_shut",
        "tripped",
        ("gauge_on", "inlet", "filter", "between", "listen", "smell_on", "meter_on", "gauge_pilots", "cut_off"),
    ),
)

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


def allowed(check: Check, qualified: bool) -> bool:
    """The hard safety filter: nothing forbidden, and work inside a device for the qualified only."""
    return not check.forbidden and (qualified or not check.qualified)


def out_of_reach(signs: Signs) -> frozenset[str]:
    """The checks that want burners alight where none can be: to make them somebody would have to reset or relight."""
    return frozenset(check for key, value, checks in OUT_OF_REACH if getattr(signs, key) == value for check in checks)


def rate(check: Check, bits: float) -> float:
    """What a check tells a minute [bit/min], the minutes of making ready with its own."""
    return bits / (check.minutes + MAKING_READY)


def worth_making(belief: Belief, done: Collection[str] = (), *, qualified: bool = False) -> list[tuple[Check, float]]:
    """The allowed checks that are not done yet and what each is expected to tell [bit], the highest rate first."""
    for key in done:
        if key not in CHECKS:
            raise ScenarioError("done", key, "one of " + ", ".join(CHECKS), "Check the spelling.")
    left = [one for one in CHECKS.values() if one.key not in done and allowed(one, qualified)]
    told = [(check, information(belief, check)) for check in left]
    return sorted((one for one in told if one[1] >= LEAST_BITS), key=lambda one: -rate(*one))


def next_check(
    belief: Belief,
    done: Collection[str] = (),
    *,
    stops: Collection[str] = (),
    made_safe: Collection[str] = (),
    qualified: bool = False,
) -> Advice:
    """What to do next, after some signs.

    `done`: checks that have been made, whatever they showed. `stops`: stop conditions that hold; those that the signs
    show count by themselves, until they stand in `made_safe`: a qualified person has seen to them by the procedure.
    """
    for stop in (*stops, *made_safe):
        if stop not in STOPS:
            raise ScenarioError("stops", stop, "one of " + ", ".join(STOPS), "Check the spelling.")
    holding = [one for one in (*stops, *stops_of(belief.signs)) if one not in made_safe]
    if holding:
        return Advice("call for help", None, 0.0, f"Stop: {STOPS[holding[0]]}.")
    best, share = belief.ranked()[0]
    ways = worth_making(belief, done, qualified=qualified)
    strange = off_record(belief) if best == NOTHING else ()
    if share >= SURE and best in CONFIRMED_BY and not strange:
        key, sign, must = CONFIRMED_BY[best]
        shown = getattr(belief.signs, sign)
        if shown in must:
            return Advice("found", None, 0.0, f"{SUSPECTS[best]}, borne out by this: {SIGNS[sign].name} is {shown}.")
        may_wait = CHECKS[key].minutes > LONG and any(check.minutes <= LONG for check, _ in ways)
        if shown is None and key not in done and allowed(CHECKS[key], qualified) and not may_wait:
            why = f"It would bear out {SUSPECTS[best]}."
            return Advice("check", CHECKS[key], information(belief, CHECKS[key]), why)
    if not ways:
        if best == OTHER:
            return Advice("not enough to tell", None, 0.0, "What was met fits none of the suspects: ask for help.")
        if strange:
            told = "; ".join(f"{SIGNS[key].name} is {getattr(belief.signs, key)}" for key in strange)
            return Advice("not enough to tell", None, 0.0, f"Something is wrong that was not found: {told}.")
        return Advice("not enough to tell", None, 0.0, "No allowed check that is left tells the suspects apart.")
    check, bits = ways[0]
    return Advice("check", check, bits, "Of all allowed checks it tells most for its minutes.")
