"""The questions of a case in their order: what comes first, the visit, the cause, the record, the layers, the restart.

Every key is computed from the case's own run. Reacting to an abnormal operating condition is a section of its own: it
is not made up for by good guesses later (source: `cfr-192-803`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from random import Random
from typing import NamedTuple

from toolkit.diagnosis.load_words import at_place, feeds_network
from toolkit.diagnosis.posterior import Belief
from toolkit.diagnosis.signatures import SUSPECTS, TWO
from toolkit.diagnosis.signs import STACK, Signs
from toolkit.quiz.cause import CauseQuestion, offered
from toolkit.quiz.items import ABNORMAL, KNOWLEDGE, Item
from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion, safe_steps
from toolkit.quiz.questions import Question
from toolkit.quiz.trouble_case import TroubleCase, checks_at, fault_names
from toolkit.quiz.trouble_layers import defeated_question, is_asked
from toolkit.quiz.trouble_record import layer_question, number_question, time_question
from toolkit.quiz.trouble_words import call_words
from toolkit.quiz.visit import VisitQuestion, advised_acts, walk

LESSON = "21"
# The case's items that count as reacting to an abnormal operating condition; the rest is knowledge.
SECTIONS: Mapping[str, str] = {f"{LESSON}.first": ABNORMAL}

OBJECTIVES: Mapping[str, str] = {
    "first": "See an abnormal operating condition, and say what comes first.",
    "visit": "Choose the checks that tell most for their minutes, and none that is unsafe.",
    "cause": "Say from the signs how sure you are of each suspect.",
    "time": "Read from a day's record when the outlet passed a mark.",
    "number": "Work out from a gauge what the station gave or held.",
    "layer": "Say which layer acted first, or that none did.",
    "defeated": "Say which layer would not act, or is taken by the cause that was found.",
    "restore": "Put the steps back to service in a safe order.",
}


# Asked only where the simulation gives a definite answer.
_SOMETIMES = "defeated"
IN_EVERY_CASE = tuple(f"{LESSON}.{end}" for end in OBJECTIVES if end != _SOMETIMES)


def case_items(case: TroubleCase) -> tuple[Item, ...]:
    """The items of a case, in the order in which they are asked."""
    return tuple(
        Item(key, LESSON, OBJECTIVES[end], partial(make, case), SECTIONS.get(key, KNOWLEDGE))
        for end, make in _MAKE.items()
        if end != _SOMETIMES or is_asked(case)
        for key in [f"{LESSON}.{end}"]
    )


# What comes first


class _First(NamedTuple):
    """A way to begin: what it says, and why it is wrong where it is."""

    said: str
    wrong: str


_WAYS: Mapping[str, _First] = {
    "make_safe": _First(
        "Abnormal: stop. Keep people and flames away, call, and have it made safe by the written procedure first.",
        "In doubt, to stop is never unsafe. Here nothing asks for it yet: no pressure above a rating, no gas where "
        "people or flames are. Stopping costs the customers their gas.",
    ),
    "leave": _First(
        "Abnormal, and the slam-shut has stopped the gas: leave it shut, tell the operator, and look for the cause.",
        "The slam-shut is open: it has stopped nothing.",
    ),
    "look": _First(
        "Abnormal, but nothing to stop at once: tell the operator, keep people and flames away from vents and stacks, "
        "keep watch, and look for the cause.",
        "What was met on arrival asks for another first act: look again at all of it.",
    ),
    "as_record": _First(
        "Nothing abnormal so far: go on with the visit, and look on.",
        "Something here is off its normal state, and that is what an abnormal operating condition is.",
    ),
}
_UNSAFE = (
    ("Reset what has tripped and see whether it holds.", "A reset before the cause is found sends gas where it went."),
    (
        "Turn the set point until the gauge shows what it should.",
        "A set point is never turned to hide a symptom: the cause stays, and every layer stands nearer.",
    ),
)
DEFINITION = (
    "An abnormal operating condition is one that may point to a part that fails or to a departure from normal "
    "operation, and that may go beyond design limits or endanger people, property or the environment (49 CFR 192.803)."
)


def first_way(opening: Signs) -> str:
    """What comes first after what is known on arrival: a key of the ways to begin."""
    if opening.outlet_on == "far high":
        return "make_safe"
    if opening.slam_shut == "tripped":
        return "leave"
    off = (opening.outlet_on or "normal") != "normal" or (opening.burners or "gas") != "gas"
    told = opening.switch in ("made", "chatters") or opening.relief in STACK[1:]
    return "look" if off or told else "as_record"


# It has tripped, and there is more to be seen to than that.
_TRIPPED_AND_MORE = "It has tripped, and yet the outlet stands above the rating: that is made safe first."
# It tells of what has been, and what it lets off can burn.
_HAS_BLOWN = (
    " What leaves the stack can burn: nobody and no flame near it. A relief that has blown says that the outlet has "
    "reached its mark, or that it leaks: look on the tags whether that mark lies above the rating."
)
# It may be stopped for, and the visit counts that; the least that is right goes before.
_STACK_OUTDOORS = (
    "In doubt, to stop is never unsafe, and at the visit it counts to make safe first. But a stack lets gas off "
    "outdoors, where a relief is meant to send it: kept clear, it asks for no stop. Stopping costs the customers their "
    "gas."
)
# What was met is as it should be, and was taken for abnormal.
_NOT_YET = (
    "What was met is as it should be: nothing abnormal shows so far. To look on is right, to call it abnormal is not."
)
_WHY = {
    "make_safe": "The outlet stands above the rating of the appliances: that comes before any search.",
    "leave": "A layer has acted and holds. What it has shut stays shut until the cause is found.",
    "look": "It is off its normal state, and nothing says yet that people are in danger. Keep watch: that may change.",
    "as_record": "What was met is as it should be. That is no proof that all is: the visit goes on.",
}


def _first(case: TroubleCase, key: str, chance: Random, units: str) -> ChoiceQuestion:
    opening = case.opening()
    right, flag = first_way(opening), opening.slam_shut
    why = _WHY[right] + (_HAS_BLOWN if right == "look" and opening.relief in STACK[1:] else "")
    wrong = {name: way.wrong for name, way in _WAYS.items()}
    wrong |= {"look": _NOT_YET} if right == "as_record" else {}
    wrong |= {"make_safe": _STACK_OUTDOORS} if opening.relief in STACK[1:] else {}
    wrong |= {"leave": _TRIPPED_AND_MORE} if flag == "tripped" else {}
    options = [
        (way.said, why if name == right else wrong[name], name == right)
        for name, way in _WAYS.items()
        if name != "leave" or flag is not None  # none is fitted
    ]
    options.append((*_UNSAFE[0 if flag == "tripped" else 1], False))
    chance.shuffle(options)
    return ChoiceQuestion(
        key,
        f"{call_words(case)} Nobody smells gas indoors, and nobody feels unwell. Is this an "
        "abnormal operating condition, and what comes first?",
        tuple(said for said, _, _ in options),
        [is_right for _, _, is_right in options].index(True),
        tuple(told for _, told, _ in options),
        DEFINITION,
        units=units,
    )


# The visit, and the cause


# Said where a station feeds mains: without it nobody isolates the run.
_CARRIED = (
    "Another run stands ready beside this one: by the operator's plan it carries the load whenever this one is shut. "
)


def _visit(case: TroubleCase, key: str, chance: Random, units: str) -> VisitQuestion:  # noqa: ARG001  (nothing drawn)
    mains = feeds_network(case.place)
    return VisitQuestion(
        key,
        f"{call_words(case)} You are qualified for work on this station, and the written "
        "procedure is in your hand. Nobody smells gas indoors; people and flames are kept away from vents and stacks, "
        "and the operator knows. The meter stands before the regulators. "
        f"{_CARRIED if mains else ''}Choose one check after the other, each for "
        "what it tells a minute, and leave when you know enough. If a stop condition shows, that comes first.",
        case.opening(),
        case.signs,
        case.place,
        case.suspects,
        case.suspect,
        tuple(one.key for one in checks_at(case)),
        case.name,
        carried=mains,
    )


def _cause(case: TroubleCase, key: str, chance: Random, units: str) -> CauseQuestion:
    visit = _visit(case, f"{LESSON}.visit", chance, units)
    # Of two faults one mostly hides the other from a short visit: there all that can be looked at is shown.
    signs = case.signs if case.level == 3 else walk(visit, advised_acts(visit)).signs
    now = case.thinks(signs)
    suspects = offered(now, case.suspect, chance)
    faults = ", ".join(fault_names(case))
    whose = "looked at all there is to look at" if case.level == 3 else "made the advised visit to it"
    return CauseQuestion(
        key,
        f"So that all go by the same readings: somebody else {whose}, and this is what was found. "
        "The meter stands before the regulators. It is one of these. Spread 100 points over them, as sure as you are "
        "of each.",
        signs,
        case.signs,
        case.place,
        suspects,
        case.suspect,
        _shares(now, suspects),
        case.scenario,
        case.name,
        f"Built in were: {faults}." if case.suspect == TWO else "",
    )


def _shares(now: Belief, suspects: tuple[str, ...]) -> tuple[float, ...]:
    """What is thought of each of some suspects, one of them taken for granted."""
    shares = [now.shares()[key] for key in suspects]
    return tuple(share / sum(shares) for share in shares)


# Back to service

# Steps by the written procedure, in order; and pairs that must not be turned round, with the reason.
_STEPS = (
    "Read gauges, flags and latches, and write them down as found",
    "Isolate what is to be worked on; lock it and tag it",
    "Vent it down outdoors and prove it on the gauge",
    "Mend the cause that was found",
    "{back}",
    "Purge what was opened, and look for leaks there",
    "See the station lock up with nothing flowing",
    "Prove each layer that acted or was worked on, and write it down as left",
    "A qualified person relights, every burner accounted for",
)
_BACK = {
    True: "Equalise slowly, then reset the slam-shut by hand",
    False: "Open the inlet slowly, with an eye on the outlet gauge",
}
_LEAKS_FIRST = "Leaks are looked for as soon as gas is let in: until then nobody knows where it goes."
_BEFORE: Mapping[tuple[int, int], str] = {
    (1, 3): "Nothing is opened or mended before it is isolated.",
    (2, 3): "Nothing is opened before its pressure is let down and proved.",
    (3, 4): "Gas that is let back, or a layer that is reset, before the cause is mended meets the same fault again.",
    (4, 5): "A leak shows only once gas is let in.",
    (5, 6): _LEAKS_FIRST,
    (5, 7): _LEAKS_FIRST,
    (5, 8): "Nothing is lit while air is in the pipe, or before what was opened is known to be tight.",
    (6, 8): "A station that creeps would show it only with the burners lit and people at home.",
    (7, 8): "A layer that nobody has proven after it acted is a hope.",
}
_SOUND_STEPS = (
    "Read gauges, flags and latches, and write them down as found",
    "Make sure that no other check speaks for a fault",
    "Find out what drove the pressure, and that it is past",
    "{back}",
    "See the station lock up with nothing flowing",
    "Account for every burner; a qualified person relights what is out",
    "Write down what acted, what was found, and the state as left",
)
_SOUND_BEFORE: Mapping[tuple[int, int], str] = {
    (1, 3): "A station is not put back while another sign is open.",
    (2, 3): "What acts is reset only after it is known why it acted.",
    (4, 5): "A station that creeps would show it only with the burners lit and people at home.",
}


def _restore(case: TroubleCase, key: str, chance: Random, units: str) -> OrderQuestion:  # noqa: ARG001
    sound = case.suspect in ("nothing", "sun")
    steps, before = (_SOUND_STEPS, _SOUND_BEFORE) if sound else (_STEPS, _BEFORE)
    back = _BACK[case.signs.slam_shut == "tripped"]
    entries = tuple(at_place(step.format(back=back), case.place) for step in steps)
    behind = "; dirt on the worker's seat raised it" if case.suspect == "true_trip" else ""
    found = SUSPECTS[case.suspect] if sound else f"{SUSPECTS[case.suspect]}{behind}, found and borne out"
    return safe_steps(
        key,
        at_place(
            f"It was: {found}. The place is safe, the operator knows, and every appliance valve is shut. Put what a "
            "qualified person does next in order.",
            case.place,
        ),
        entries,
        before,
        "The cause comes before the reset, leaks are looked for as soon as gas is in, and the layers are proven before "
        "a burner is lit.",
        chance,
    )


_MAKE: Mapping[str, Callable[[TroubleCase, str, Random, str], Question]] = {
    "first": _first,
    "visit": _visit,
    "cause": _cause,
    "time": time_question,
    "number": number_question,
    "layer": layer_question,
    "defeated": defeated_question,
    "restore": _restore,
}
