"""Looking a fault up: from the layers fitted, what was met and read, to the suspects and the next check.

`answer(asked)` is one plain function; the pages that ask are its only difference. Stop conditions come first: while
one holds there are no suspects and no check. The local code, the operator's written procedure and licensed persons
decide.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache

from toolkit.diagnosis.check_list import CHECKS, Check, Permit, out_of_reach
from toolkit.diagnosis.look_up_words import AFTER, ENDS, STANDS, STATES, per_cent
from toolkit.diagnosis.next_check import STOPS, Advice, next_check, outcomes, rate, stops_of, worth_making
from toolkit.diagnosis.posterior import PRIORS, Belief, belief
from toolkit.diagnosis.readings import GaugeReadings, Record, signs_beside_start, signs_of_readings
from toolkit.diagnosis.signatures import NOTHING, SUSPECTS, UNSEEN, Run, Signatures, nearest_kind, possible, shipped
from toolkit.diagnosis.signs import SIGNS, Signs
from toolkit.errors import ScenarioError
from toolkit.scenario import Station

# What may be fitted, and two things about it that change what can go wrong.
LAYERS: dict[str, str] = {
    "relief": "internal relief",
    "relief_valve": "relief valve",
    "monitor": "monitor",
    "slam_shut": "slam-shut",
    "shutoff_first": "slam-shut acts before any relief",
    "switch": "pressure switch",
    "line": "sensing line",
    "damped": "needle valve in the sensing line, limiter in the vent",
    "filter": "filter",
}
# The layer that a sign is of; the rest is to be met at any station.
LAYER_OF: Mapping[str, str] = {
    "between": "monitor",
    "monitor_point": "monitor",
    "filter_drop": "filter",
    "relief_start": "relief",
    "relief": "relief_valve",
    "relief_point": "relief_valve",
    "slam_shut": "slam_shut",
    "trip": "slam_shut",
    "slam_shut_point": "slam_shut",
    "switch": "switch",
    "switch_point": "switch",
    "line": "line",
}
# The layers without which a suspect is none.
NEEDED: Mapping[str, tuple[str, ...]] = {
    "weak_relief": ("relief",),
    "line_broken": ("line",),
    "line_blocked": ("line",),
    "filter_plugged": ("filter",),
    "monitor_near": ("monitor",),
    "monitor_shut": ("monitor",),
    "true_trip": ("slam_shut", "shutoff_first"),
    "shutoff_near": ("slam_shut",),
    "relief_dirty": ("relief_valve",),
    "relief_blocked": ("relief_valve",),
    "switch_near": ("switch",),
    "oversize": ("line", "damped"),
}
# Nor with these.
RULED_OUT: Mapping[str, tuple[str, ...]] = {"true_trip": ("monitor",), "oversize": ("monitor",)}

# Each sign as it is asked for, in groups, the most usual first.
QUESTIONS: dict[str, dict[str, str]] = {
    "Smell, hear, see": {
        "vent_on": "Gas at the vent, all burners on?",
        "vent_off": "Gas at the vent, all off?",
        "burners": "Do the burners have gas?",
        "noise": "Does a regulator hum?",
        "frost": "Is there frost on a regulator?",
        "vent_end": "How is the end of the vent?",
    },
    "Gauges and meter": {
        "outlet_on": "Outlet gauge, all burners on?",
        "outlet_pilots": "Outlet gauge, pilots only?",
        "outlet_off": "Outlet gauge, all off?",
        "lock_up": "Lock-up, beside its record?",
        "creep": "All off: does the outlet gauge creep up over minutes?",
        "spike": "How far did the gauge kick as the burners shut?",
        "relief_start": "Gas at the vent: is the outlet gauge as high as the internal relief's start?",
        "swing": "Steady demand: does the needle hunt?",
        "inlet": "Inlet gauge, all on?",
        "filter_drop": "Pressure drop across the filter, all on?",
        "between": "Gauge between the regulators, all on?",
        "meter_on": "Meter, all on, beside the burners' rating?",
        "meter_off": "Meter, all off?",
        "sun": "All off: does the gauge rise in the sun, and fall back to lock-up in the shade?",
    },
    "What the layers did": {
        "relief": "How is the relief's stack, and has it blown today?",
        "slam_shut": "How is the slam-shut?",
        "trip": "When did the slam-shut trip?",
        "switch": "What did the pressure switch do?",
    },
    "Proven by a qualified person": {
        "vent_held": "Outlet held low: gas at the vent?",
        "line": "Sensing line, followed and proven?",
        "monitor_point": "Monitor's set point, proven?",
        "slam_shut_point": "Slam-shut's trip point, proven?",
        "switch_point": "Switch's set point and deadband, proven?",
        "relief_point": "Relief valve's opening, proven?",
    },
}
# A sign speaks for a suspect where, alone, it makes it so many times as likely; against it at the inverse.
SPEAKS = 1.25
# Suspects that are named in an answer, and for each outcome of a check; outcomes and other checks that are listed.
MOST_SUSPECTS, MOST_THEN, MOST_OUTCOMES, MOST_OTHERS = 5, 2, 6, 4


@dataclass(frozen=True)
class Asked:
    """What a person has entered.

    `layers`: keys of LAYERS. `signs`: what was met; `readings`: what the gauges showed, weighed beside the `record`.
    `stops`: stop conditions that hold; `made_safe`: those that a qualified person has seen to by the procedure.
    `done`: checks that were made, whatever they showed. `network`: the station feeds mains; `carried`: another run or a
    bypass carries the load while its run is shut. `priors`: weights of the suspects. `table`: signatures of the
    person's own station, where there are any; else those of the nearest kind speak for it.
    Raises ScenarioError for an unknown layer, stop condition or check.
    """

    layers: frozenset[str]
    record: Record
    signs: Signs = field(default_factory=Signs)
    readings: GaugeReadings = field(default_factory=GaugeReadings)
    stops: frozenset[str] = frozenset()
    made_safe: frozenset[str] = frozenset()
    done: frozenset[str] = frozenset()
    qualified: bool = False
    network: bool = False
    carried: bool = False
    priors: Mapping[str, float] = field(default_factory=lambda: PRIORS)
    table: Signatures | None = None

    def __post_init__(self) -> None:
        known: tuple[tuple[str, Mapping[str, object]], ...] = (
            ("layers", LAYERS),
            ("stops", STOPS),
            ("made_safe", STOPS),
            ("done", CHECKS),
        )
        for name, names in known:
            for one in sorted(getattr(self, name)):
                if one not in names:
                    raise ScenarioError(f"asked.{name}", one, "one of " + ", ".join(names), "Check the spelling.")


@dataclass(frozen=True)
class Suspect:
    """A suspect: its probability, the signs met that speak for it and against it, the run that shows it best."""

    key: str
    name: str
    share: float
    speaks: tuple[str, ...]
    against: tuple[str, ...]
    run: Run | None


@dataclass(frozen=True)
class Meaning:
    """What a check may show: the signs' values by key, how likely that is, and the likeliest suspects then."""

    values: dict[str, str]
    chance: float
    then: tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class Answer:
    """What to think and do.

    `stops`: the stop conditions that hold, as words by key; then all that follows is empty but the advice to call.
    `signs`: all that counted; `said`: where a reading and a sign entered contradict, by sign; `kind`: whose days speak.
    `suspects`: all, the likeliest first; `meanings`: of the check advised; `others`: other checks that are worth it,
    with what they tell a minute [bit/min].
    """

    stops: dict[str, str]
    signs: Signs
    said: dict[str, str]
    kind: str
    suspects: tuple[Suspect, ...]
    advice: Advice
    meanings: tuple[Meaning, ...]
    others: tuple[tuple[Check, float], ...]


def layers_of(station: Station) -> frozenset[str]:
    """The layers of a station; a filter stands before every one."""
    kind = nearest_kind(station)
    fitted = {
        "relief": any(one.relief for one in station.regulators),
        "relief_valve": bool(station.relief_valves),
        "monitor": possible("monitor_shut", station),
        "slam_shut": bool(station.slam_shuts),
        "shutoff_first": possible("true_trip", station),
        "switch": bool(station.switches),
        "line": bool(station.sensing_lines),
        "damped": kind.startswith("damped"),
        "filter": True,
    }
    return frozenset(key for key, there in fitted.items() if there)


def settled(layers: frozenset[str]) -> frozenset[str]:
    """The layers with what follows from them: a slam-shut without any relief acts first."""
    if "slam_shut" in layers and not layers & {"relief", "relief_valve", "monitor"}:
        return layers | {"shutoff_first"}
    return layers


def kind_of(layers: frozenset[str]) -> str:
    """The kind whose days speak for a station with these layers, as signatures.nearest_kind has it of a station."""
    layers = settled(layers)
    damped = {"line", "damped"} <= layers
    if "monitor" in layers:
        return "damped, monitored" if damped else "monitored"
    if layers & {"relief_valve", "line"}:
        return "damped" if damped else "line sensed"
    return "shutoff first" if {"slam_shut", "shutoff_first"} <= layers else "service"


def suspects_of(layers: frozenset[str]) -> tuple[str, ...]:
    """The suspects that can be at a station with these layers: what is not fitted cannot have failed."""
    layers = settled(layers)
    return tuple(
        key for key in SUSPECTS if layers.issuperset(NEEDED.get(key, ())) and layers.isdisjoint(RULED_OUT.get(key, ()))
    )


def signs_with(layers: frozenset[str]) -> tuple[str, ...]:
    """The signs that can be met at a station with these layers, by their keys."""
    return tuple(key for key in SIGNS if LAYER_OF.get(key) in (None, *layers))


@lru_cache(maxsize=64)
def table_of(layers: frozenset[str]) -> Signatures:
    """The table that speaks for these layers: signs of a layer that is not fitted are not to be had."""
    table = shipped(kind_of(layers))
    signs = table.signs.copy()
    signs[:, [place for place, key in enumerate(SIGNS) if key not in signs_with(layers)]] = UNSEEN
    signs.setflags(write=False)
    return replace(table, signs=signs)


def met(asked: Asked) -> tuple[Signs, dict[str, str]]:
    """All signs that count, and by sign, in words, where a reading overrules what was entered."""
    read, entered = signs_of_readings(asked.readings, asked.record).met(), asked.signs.met()
    read |= signs_beside_start(Signs(**(entered | read)), asked.readings, asked.record).met()
    said = {
        key: f"{first_up(SIGNS[key].name)}: your reading amounts to “{value}”, “{entered[key]}” was entered. "
        "The reading counts."
        for key, value in read.items()
        if entered.get(key, value) != value
    }
    return Signs(**(entered | read)).only(signs_with(asked.layers)), said


def answer(asked: Asked) -> Answer:
    """What to think and do after what was entered. Raises ScenarioError where no suspect has a weight above 0."""
    signs, said = met(asked)
    table = asked.table or table_of(asked.layers)
    stops = {
        key: STOPS[key]
        for key in STOPS
        if key not in asked.made_safe and (key in asked.stops or key in stops_of(signs))
    }
    if stops:  # before all that could fail
        advice = Advice("call for help", None, 0.0, f"Stop: {next(iter(stops.values()))}.")
        return Answer(stops, signs, said, table.kind, (), advice, (), ())
    priors = {key: asked.priors[key] for key in suspects_of(asked.layers) if key in asked.priors}
    now = belief(signs, table, priors)
    done = asked.done | {key for key, check in CHECKS.items() if not shown_by(now, check)} | out_of_reach(signs)
    may = Permit(qualified=asked.qualified, network=asked.network, carried=asked.carried)
    advice = next_check(now, done, made_safe=asked.made_safe, **may)
    meanings = tuple(_meanings(now, advice.check)) if advice.check else ()
    others: tuple[tuple[Check, float], ...] = ()
    if advice.state == "check":
        ways = worth_making(now, done, **may)
        others = tuple((check, rate(check, bits)) for check, bits in ways if check is not advice.check)[:MOST_OTHERS]
    return Answer({}, signs, said, table.kind, _suspects(now, priors), advice, meanings, others)


def shown_by(now: Belief, check: Check) -> tuple[str, ...]:
    """The signs that a check can still show here: not met before, and to be had at this station."""
    known, places = now.signs.met(), list(SIGNS)
    return tuple(
        key for key in check.signs if key not in known and bool((now.table.signs[:, places.index(key)] != UNSEEN).any())
    )


def meanwhile(signs: Signs) -> tuple[str, ...]:
    """What must be kept to while signs stand that call for care, in words."""
    return tuple(
        words for words, calls in STANDS.items() if any(getattr(signs, key) in values for key, values in calls.items())
    )


def state_words(answer: Answer) -> str:
    """What stands over the advice."""
    state = answer.advice.state
    return STATES[NOTHING if state == "found" and answer.suspects[0].key == NOTHING else state]


def end_words(answer: Answer) -> str:
    """What the end of the search asks for, in words: of a finding how likely it is, then what is safe to do."""
    if answer.advice.state != "found":
        return ENDS[answer.advice.state]
    best = answer.suspects[0]
    return f"{ENDS['found'].format(share=per_cent(best.share))} {AFTER.get(best.key, AFTER[''])}"


def in_words(key: str, value: str) -> str:
    """A sign and its value, as a line of an answer."""
    return f"{SIGNS[key].name}: {value}"


def _suspects(now: Belief, priors: Mapping[str, float]) -> tuple[Suspect, ...]:
    before = belief(Signs(), now.table, priors).shares()
    alone = {key: belief(Signs(**{key: value}), now.table, priors).shares() for key, value in now.signs.met().items()}

    def lines(suspect: str, speaks: Callable[[float], bool]) -> tuple[str, ...]:
        ratios = {key: shares[suspect] / before[suspect] for key, shares in alone.items() if before[suspect] > 0.0}
        told = sorted((key for key in ratios if speaks(ratios[key])), key=lambda key: -abs(ratios[key] - 1.0))
        return tuple(in_words(key, getattr(now.signs, key)) for key in told)

    return tuple(
        Suspect(
            key,
            SUSPECTS[key],
            share,
            lines(key, lambda ratio: ratio >= SPEAKS),
            lines(key, lambda ratio: ratio <= 1.0 / SPEAKS),
            now.most_telling(key),
        )
        for key, share in now.ranked()
        if priors.get(key, 0.0) > 0.0
    )


def _meanings(now: Belief, check: Check) -> list[Meaning]:
    keys = shown_by(now, check)
    return [
        Meaning(
            dict(zip(keys, one.values, strict=True)),
            one.chance,
            tuple(sorted(one.shares.items(), key=lambda share: -share[1])[:MOST_THEN]),
        )
        for one in outcomes(now, check)
    ]


def first_up(text: str) -> str:
    """A text that begins with a capital letter."""
    return text[:1].upper() + text[1:]
