"""Kinds of question and how an answer to each is graded. Everything here is pure: no clock, no disk, no chance.

An answer that cannot be graded as it stands raises AnswerError; nothing is recorded then and the learner may mend it.
A grade is always explained: what was right, which slip was made, what the readings say.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from math import ceil, floor
from typing import TYPE_CHECKING, Any

from toolkit.errors import AnswerError, QuantityError
from toolkit.quiz.cause import CauseQuestion as CauseQuestion
from toolkit.quiz.grades import Grade as Grade
from toolkit.quiz.grades import Replay as Replay
from toolkit.quiz.grades import number
from toolkit.quiz.grades import quadratic_credit as quadratic_credit
from toolkit.quiz.ordering import ChoiceQuestion as ChoiceQuestion
from toolkit.quiz.ordering import OrderQuestion as OrderQuestion
from toolkit.quiz.ordering import (
    order_credit,
    order_explained,
    order_table,
    order_verdict,
    read_choice,
    read_order,
)
from toolkit.quiz.visit import VisitQuestion as VisitQuestion
from toolkit.trace import Trace
from toolkit.units import (
    LOW_PRESSURE_LIMIT,
    STANDARD_ATMOSPHERE,
    Reading,
    display_unit,
    parse_quantity,
    read_answer,
    tidy,
    to_display,
)

if TYPE_CHECKING:
    from toolkit.figures.chart import Picture

# Significant digits of a number in an item's hash: the last bits of a computed key may differ between platforms.
HASH_DIGITS = 6
PRESSURE_KINDS = ("low_gauge_pressure", "gauge_pressure")


@dataclass(frozen=True)
class Slip:
    """A known way to go wrong: its name, the value it leads to [SI of the question's kind], and why it is wrong."""

    name: str
    value: float
    why: str


@dataclass(frozen=True)
class NumericQuestion:
    """A number with a unit is asked for.

    `kind` is a display kind of toolkit.units; `truth` and the slips' values are in its SI unit (gauge Pa for gauge
    kinds). An answer within relative_tolerance x |truth| + absolute_tolerance is right. `worked` is the worked
    solution. `units` is the display set ("us", "metric") of the feedback; any unit may be answered in, but where
    `reference` is "absolute" or "gauge" a pressure must be given as that.
    """

    key: str
    prompt: str
    kind: str
    truth: float
    worked: str
    slips: tuple[Slip, ...] = ()
    relative_tolerance: float = 0.02
    absolute_tolerance: float = 0.0
    site_atmosphere: float = STANDARD_ATMOSPHERE
    units: str = "us"
    reference: str = ""
    picture: Picture | None = None

    def tolerance(self) -> float:
        """How far from the truth an answer may be, SI."""
        return self.relative_tolerance * abs(self.truth) + self.absolute_tolerance

    def band(self, value: float) -> float:
        """How far from a slip's value an answer counts as that slip, SI; never more than the tolerance."""
        return min(self.tolerance(), self.relative_tolerance * abs(value) + self.absolute_tolerance)

    def told_apart(self) -> NumericQuestion:
        """Return the question without slips that lead to nothing, or to the truth or an earlier slip within bands."""
        kept: list[Slip] = []
        for slip in self.slips:
            others = (self.truth, *(other.value for other in kept))
            if abs(slip.value) > 1e-3 * abs(self.truth) and all(
                abs(slip.value - other) > self.band(slip.value) + self.band(other) for other in others
            ):
                kept.append(slip)
        return replace(self, slips=tuple(kept))


@dataclass(frozen=True)
class TraceQuestion:
    """A time is read from a picture: `window` [s] holds the right times, the run is `duration` [s] long."""

    key: str
    prompt: str
    picture: Picture
    window: tuple[float, float]
    duration: float
    worked: str


Question = NumericQuestion | TraceQuestion | OrderQuestion | ChoiceQuestion | CauseQuestion | VisitQuestion


def grade(question: Question, answer: Any) -> Grade:
    """Grade an answer.

    Text for a number; seconds, or text, for a time; points in the order of the suspects for suspects; the entries'
    indices in the learner's order for an order; the option's index for a choice; the keys of what was done, in order,
    for a visit.
    Raises AnswerError, in words for the learner, if the answer cannot be graded as it stands.
    """
    if isinstance(question, NumericQuestion):
        graded = _grade_number(question, answer)
    elif isinstance(question, TraceQuestion):
        graded = _grade_time(question, answer)
    elif isinstance(question, OrderQuestion):
        graded = _grade_order(question, answer)
    elif isinstance(question, ChoiceQuestion):
        graded = _grade_choice(question, answer)
    else:
        graded = question.graded(answer)
    return replace(graded, explanation=tuple(tidy(sentence) for sentence in graded.explanation))


def item_hash(question: Question) -> str:
    """SHA-256 of a question; see `content_hash`."""
    return content_hash(question)


def content_hash(value: object) -> str:
    """SHA-256 of a value in a canonical form: the same in every process, another for any change of substance.

    Pictures are left out (their bytes depend on the drawing library), their sentence stands for them; a run is told by
    its scenario.
    """
    text = json.dumps(_canonical(value), sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False)
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def _canonical(value: Any) -> Any:
    if isinstance(value, Trace):
        return _canonical(value.scenario)
    if is_dataclass(value):
        content = {f.name: _canonical(getattr(value, f.name)) for f in fields(value) if f.name != "svg"}
        return {"type": type(value).__name__, **content}
    if isinstance(value, Mapping):
        return {str(key): _canonical(one) for key, one in value.items()}
    if isinstance(value, tuple | list):
        return [_canonical(one) for one in value]
    if isinstance(value, bool | str | int) or value is None:
        return value
    return f"{float(value):.{HASH_DIGITS - 1}e}"


def _said(value: float, question: NumericQuestion) -> str:
    """A value in the question's display set, with as many digits as its tolerance asks for."""
    kind = question.kind
    if kind in PRESSURE_KINDS:
        kind = PRESSURE_KINDS[abs(value) >= LOW_PRESSURE_LIMIT]
    unit, number = display_unit(kind, question.units), to_display(value, kind, question.units)
    decimals = unit.decimals
    while decimals < 6 and abs(round(number, decimals) - number) * unit.scale > 0.25 * question.tolerance():
        decimals += 1
    return f"{number:,.{decimals}f} {unit.label}"


def _grade_number(question: NumericQuestion, answer: Any) -> Grade:
    text = str(answer)
    try:
        reading = read_answer(text, question.kind, question.site_atmosphere)
    except QuantityError as error:
        raise AnswerError(str(error)) from error
    if question.reference == "absolute" and reading.reference != "absolute":
        raise AnswerError(f"{text!r} was given, an absolute pressure was expected. Say so in the unit: psia, bar abs.")
    if question.reference == "gauge" and reading.reference == "absolute":
        raise AnswerError(f"{text!r} was given, a gauge pressure was expected. Say so in the unit: psig, bar.")
    solution = f"The answer is {_said(question.truth, question)}. {question.worked}"
    if abs(reading.value - question.truth) <= question.tolerance():
        return Grade(1.0, 1.0, "Right.", (solution,), text)
    slip = _slip(question, reading)
    if slip is not None:
        return Grade(0.5, 1.0, f"Half the marks: {slip.name}.", (*([slip.why] if slip.why else []), solution), text)
    return Grade(0.0, 1.0, "Not this time.", (f"Your answer is {_said(reading.value, question)}.", solution), text)


def _slip(question: NumericQuestion, reading: Reading) -> Slip | None:
    """The slip that leads from the truth to the answer: one of the question's own, else one of units."""
    for slip in question.slips:
        if abs(reading.value - slip.value) <= question.band(slip.value):
            return slip
    for usual in reading.slips:
        if abs(usual.value - question.truth) <= question.tolerance():
            return Slip(usual.name, reading.value, "")
    return None


def _grade_time(question: TraceQuestion, answer: Any) -> Grade:
    time = _seconds(answer, question)
    if not 0.0 <= time <= question.duration:
        raise AnswerError(
            f"{time:g} s was given, a time from 0 to {question.duration:g} s was expected. Read it from the picture."
        )
    start, end = question.window
    middle, half = (start + end) / 2, (end - start) / 2
    window = f"Any time from {ceil(start)} to {floor(end)} s counts as right."
    off = abs(time - middle)
    if off <= half:
        return Grade(1.0, 1.0, "Right.", (question.worked, window), time)
    side = "early" if time < middle else "late"
    if off <= 2 * half:
        return Grade(0.5, 1.0, f"Half the marks: a little {side}.", (question.worked, window), time)
    why = f"You answered {time:g} s, which is {off - half:.0f} s too {side}."
    return Grade(0.0, 1.0, "Not this time.", (why, question.worked, window), time)


def _seconds(answer: Any, question: TraceQuestion) -> float:
    """A time [s] as it was typed: "42", "42 s", "0.7 min". A plain number counts as seconds."""
    if not isinstance(answer, str):
        return number(answer, "a time in seconds")
    text = answer.strip()
    if not text:
        raise AnswerError(
            f"No time was given, one from 0 to {question.duration:g} s was expected. Read it from the picture."
        )
    try:
        return parse_quantity(f"{text} s" if text[-1] in "0123456789." else text, "time")
    except QuantityError as error:
        raise AnswerError(str(error)) from error


def _grade_order(question: OrderQuestion, answer: Any) -> Grade:
    order = read_order(question, answer)
    return Grade(
        order_credit(question, order),
        1.0,
        order_verdict(question, order),
        order_explained(question, order),
        list(order),
        order_table(question, order),
        caption="Your order beside the right one",
    )


def _grade_choice(question: ChoiceQuestion, answer: Any) -> Grade:
    chosen = read_choice(question, answer)
    told = question.told[chosen]
    if chosen == question.right:
        return Grade(1.0, 1.0, "Right.", (told, question.explanation), chosen)
    right = question.options[question.right]
    said = (f"You chose: {question.options[chosen]}.", told, f"Right is: {right}.", question.told[question.right])
    true, other = (question.traces[one] if question.traces else None for one in (question.right, chosen))
    # An option may be a whole sentence, too long for a label in the chart; the words above give both in full.
    replay = Replay(true, other, "the right answer", "Your answer") if true is not None and other is not None else None
    return Grade(0.0, 1.0, "Not this time.", (*said, question.explanation), chosen, replay=replay)
