"""A visit as a question: checks are chosen one after the other, each costs minutes and shows its signs.

Credit is the mean, over what was done, of the information a minute of the choice beside that of the best choice open
at that moment; an unsafe act ends the visit and earns nothing. To make safe earns all where a stop condition holds, and
first of all where gas has left a stack on arrival; elsewhere it earns nothing. Information, and the minutes of making
ready that count with a check's own: `toolkit.diagnosis.next_check`.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from toolkit.diagnosis.check_list import CHECKS, Check, Permit, allowed, checks_of, out_of_reach
from toolkit.diagnosis.load_words import at_place, feeds_network
from toolkit.diagnosis.next_check import STOPS, entropy, information, next_check, rate, stops_of, worth_making
from toolkit.diagnosis.posterior import PRIORS, Belief, belief
from toolkit.diagnosis.signs import SIGNS, STACK, Signs
from toolkit.errors import AnswerError
from toolkit.quiz.grades import Grade

# What is done while a stop condition holds, and how long it takes; common practice, no source.
MAKE_SAFE, SAFE_MINUTES = "make_safe", 10.0
MAKE_SAFE_NAME = "stop, keep people away, call, and have it made safe by the written procedure"
# What ends a visit at a station whose run nothing else stands in for.
ALONE = (
    "This run alone feeds its mains: who isolates it takes the gas from all its customers. It waits until another run "
    "or a bypass carries the load."
)
NOTHING_SHOWN, MADE_SAFE = "nothing to be had as things stand", "made safe"
# The checks by what one does, so that they are found on a page. What nobody may do stands where it would be done: a
# group of its own would tell.
GROUPS: Mapping[str, tuple[str, ...]] = {
    "Look, listen and ask": ("ask", "flags", "frost", "stack", "listen", "vent_end", "smell_on"),
    "Read gauges and the meter": ("gauge_on", "inlet", "filter", "between", "meter_on", "vent_gauge", "sun"),
    "Work valves and vents": (
        *("gauge_pilots", "cut_off", "gauge_off", "smell_off", "meter_off", "held_low"),
        *("plug_vent", "lift_lever"),
    ),
    "Work on a device": (
        *("line", "monitor_point", "slam_shut_point", "switch_point", "relief_point"),
        *("raise_set_point", "jump_switch", "pin_shutoff"),
    ),
    "Stop": (MAKE_SAFE,),
}
# The advised visit ends after so many acts at the latest.
MOST_ACTS = 30


@dataclass(frozen=True)
class VisitQuestion:
    """A visit to make.

    `opening` is what is known on arrival, `shows` all that can be looked at; `place` names the station whose table
    speaks, `suspects` what can be wrong there, `truth` what is. `checks` are the keys of what may be chosen, unsafe
    acts among them; MAKE_SAFE may always be chosen. `carried`: another run or a bypass carries the load of the mains
    that the station feeds; without it a check that isolates the run is an unsafe act there. An answer is the keys of
    what was done, in order.
    """

    key: str
    prompt: str
    opening: Signs
    shows: Signs
    place: str
    suspects: tuple[str, ...]
    truth: str
    checks: tuple[str, ...]
    case: str = ""
    carried: bool = False

    def may(self) -> Permit:
        """What the hard safety filter asks for: at a visit a qualified person is at work."""
        return Permit(qualified=True, network=feeds_network(self.place), carried=self.carried)

    def graded(self, answer: Any) -> Grade:
        """The grade of what was done, in order. Raises AnswerError for what cannot be graded."""
        acts = read_acts(self, answer)
        done = walk(self, acts)
        advised = walk(self, advised_acts(self))
        kept = {"case": self.case, "truth": self.truth, "acts": list(acts), "minutes": done.minutes}
        if done.stopped:
            return Grade(0.0, 1.0, "Stopped: an unsafe act.", (done.stopped, STOP_CARD), kept)
        score = sum(step.credit for step in done.steps) / len(done.steps)
        verdict = "Right." if score == 1.0 else f"{score:.2f} of 1: information a minute, beside that of the best."
        return Grade(score, 1.0, verdict, _told(self, done, advised), kept, _table(done, advised), caption=_CAPTION)


STOP_CARD = (
    "Stop card. At a real station the visit ends here: leave things as they are, keep people away, call, and let the "
    "operator's written procedure and qualified persons decide. No reading is worth a layer."
)
_CAPTION = "Your visit beside the advised one"


@dataclass(frozen=True)
class Step:
    """Something done: its key and name, its minutes, what it showed in words, its credit from 0 to 1."""

    act: str
    name: str
    minutes: float
    showed: tuple[tuple[str, str], ...]
    credit: float


@dataclass(frozen=True)
class Walk:
    """A visit so far: its steps, all signs met, the stop condition that holds ("" for none), why it was stopped."""

    steps: tuple[Step, ...]
    signs: Signs
    holding: str
    stopped: str
    bits: float

    @property
    def minutes(self) -> float:
        """What it has cost."""
        return sum(step.minutes for step in self.steps)


def named(act: str, place: str = "") -> str:
    """Something that can be done, in words; at a place, as it is said there."""
    return MAKE_SAFE_NAME if act == MAKE_SAFE else at_place(CHECKS[act].name, place)


def worded(act: str, place: str = "") -> str:
    """Something that can be done, with its minutes, in words; at a place, as it is said there."""
    minutes = SAFE_MINUTES if act == MAKE_SAFE else CHECKS[act].minutes
    return f"{named(act, place)} ({minutes:g}\u00a0min)"  # no line ends between number and unit


def choices(question: VisitQuestion) -> dict[str, tuple[str, ...]]:
    """What may be done at a visit, group by group, each group by its names; a group with nothing is left out."""
    offered = (*question.checks, MAKE_SAFE)
    found = {
        title: tuple(sorted((key for key in group if key in offered), key=lambda key: worded(key, question.place)))
        for title, group in GROUPS.items()
    }
    return {title: group for title, group in found.items() if group}


def walk(question: VisitQuestion, acts: Sequence[str]) -> Walk:
    """Go through a visit; nothing comes after an unsafe act."""
    signs, steps, safe, stopped = question.opening, list[Step](), list[str](), ""
    before = _unsure(_thinks(question, signs))
    for number, act in enumerate(acts):
        holding = [one for one in stops_of(signs) if one not in safe]
        if act == MAKE_SAFE:
            safe += holding
            # To stop first where gas has left a stack is never wrong, though nobody has to.
            first = not steps and question.opening.relief in STACK[1:]
            steps.append(Step(act, MAKE_SAFE_NAME, SAFE_MINUTES, (), float(bool(holding) or first)))
            continue
        check, name = checks_of(question.may()["network"])[act], named(act, question.place)
        stopped = _unsafe(question, check, holding)
        if stopped:
            steps.append(Step(act, name, 0.0, (), 0.0))
            break
        if act in out_of_reach(signs):
            steps.append(Step(act, name, check.minutes, (), 0.0))
            continue
        credit = _credit(question, signs, check, _closed(question, acts[:number], signs), safe)
        new = {key: value for key in check.signs if (value := getattr(question.shows, key)) is not None}
        signs = question.shows.only({*signs.met(), *new})
        shown = tuple((at_place(SIGNS[k].name, question.place), at_place(v, question.place)) for k, v in new.items())
        steps.append(Step(act, name, check.minutes, shown, credit))
    left = [one for one in stops_of(signs) if one not in safe]
    bits = before - _unsure(_thinks(question, signs))
    return Walk(tuple(steps), signs, left[0] if left and not stopped else "", stopped, bits)


def advised_acts(question: VisitQuestion) -> tuple[str, ...]:
    """What the course's own advice would do from the same start, a qualified person at work."""
    acts: list[str] = []
    while len(acts) < MOST_ACTS:
        so_far = walk(question, acts)
        if so_far.holding:
            acts.append(MAKE_SAFE)
            continue
        advice = next_check(
            _thinks(question, so_far.signs),
            _closed(question, acts, so_far.signs),
            made_safe=stops_of(so_far.signs),
            **question.may(),
        )
        if advice.check is None:
            break
        acts.append(advice.check.key)
    return tuple(acts)


def read_acts(question: VisitQuestion, answer: Any) -> tuple[str, ...]:
    """What was done, in order; AnswerError if it is nothing, or nothing that this station offers, or a check twice."""
    acts = tuple(answer) if isinstance(answer, Sequence) and not isinstance(answer, str) else ()
    if not acts:
        raise AnswerError("No check was made, at least one was expected. Make one.")
    for act in acts:
        if act not in (*question.checks, MAKE_SAFE):
            raise AnswerError(f"{str(act)[:40]!r} was given, one of this visit's checks was expected. Choose one.")
    checks = _checks(acts)
    if len(set(checks)) < len(checks):
        raise AnswerError("A check was made twice, each was expected once. Leave the second out.")
    return acts


def _checks(acts: Sequence[str]) -> list[str]:
    return [act for act in acts if act != MAKE_SAFE]


def _closed(question: VisitQuestion, acts: Sequence[str], signs: Signs) -> set[str]:
    """The checks that are made already, those that this station does not offer, and those that no gas is there for."""
    return {*_checks(acts), *(key for key in CHECKS if key not in question.checks), *out_of_reach(signs)}


def _unsafe(question: VisitQuestion, check: Check, holding: Sequence[str]) -> str:
    """Why a check ends the visit as things stand; empty where it does not."""
    if check.forbidden:
        return check.forbidden
    if holding:
        return f"{_sentence(STOPS[holding[0]])} Nothing is read before that."
    return "" if allowed(check, qualified=True, carried=question.carried) else ALONE


def _credit(question: VisitQuestion, signs: Signs, check: Check, closed: Collection[str], safe: Sequence[str]) -> float:
    """What a check tells a minute beside what the best does; what the advice names is as good as the best."""
    now = _thinks(question, signs)
    advice = next_check(now, closed, made_safe=tuple(safe), **question.may())
    if advice.check is not None and advice.check.key == check.key:
        return 1.0
    ways = worth_making(now, closed, **question.may())
    best = max((rate(*way) for way in ways), default=0.0)
    return min(1.0, rate(check, information(now, check)) / best) if best else 0.0


def _thinks(question: VisitQuestion, signs: Signs) -> Belief:
    return belief(signs, question.place, {key: PRIORS[key] for key in question.suspects})


def _unsure(now: Belief) -> float:
    return entropy(np.array(list(now.shares().values())))


def _told(question: VisitQuestion, done: Walk, advised: Walk) -> tuple[str, ...]:
    shares = [_thinks(question, one.signs).shares()[question.truth] for one in (done, advised)]
    said = [
        # Not by its name: the next question asks for it.
        f"You took {done.minutes:g} minutes and came out {_surer(done)}; what you found gives {shares[0]:.0%} to the "
        "true cause. A bit is what the answer to one even question tells.",
        f"The advised visit takes {advised.minutes:g} minutes from the same start, comes out {_surer(advised)} and "
        f"gives it {shares[1]:.0%}.",
    ]
    if done.holding:
        said.append(f"You left while a stop condition held. {_sentence(STOPS[done.holding])}")
    least = min(done.steps, key=lambda one: one.credit)
    if least.credit < 0.5:
        said.append(f"Of your choices this told least for its minutes: {least.name}.")
    return tuple(said)


def _surer(one: Walk) -> str:
    return f"{abs(one.bits):.1f} bit {'surer' if one.bits >= 0.0 else 'less sure'}"


def _table(done: Walk, advised: Walk) -> tuple[tuple[str, ...], ...]:
    def cell(one: Walk, row: int) -> tuple[str, str]:
        if row >= len(one.steps):
            return "", ""
        step = one.steps[row]
        shown = "; ".join(value for _, value in step.showed) or (MADE_SAFE if step.act == MAKE_SAFE else NOTHING_SHOWN)
        return f"{step.name}, {step.minutes:g}\u00a0min", shown

    rows = [("", "Yours", "showed", "credit", "Advised", "showed")]
    for row in range(max(len(done.steps), len(advised.steps))):
        credit = f"{done.steps[row].credit:.2f}" if row < len(done.steps) else ""
        rows.append((str(row + 1), *cell(done, row), credit, *cell(advised, row)))
    return tuple(rows)


def _sentence(words: str) -> str:
    return f"{words[0].upper()}{words[1:]}."
