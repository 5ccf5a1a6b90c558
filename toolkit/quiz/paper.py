"""Questions on paper: what is asked with room to write, and the key. HTML without script; all text is escaped.

A kind of question is one line in `FORMS`: how the room for its answer looks, its best answer, how its key reads.
Keys come out of `grade` itself, given the answer that earns full marks, so paper and screen cannot disagree.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from html import escape
from typing import Any

from toolkit.diagnosis.next_check import CHECKS
from toolkit.quiz import html
from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion
from toolkit.quiz.questions import (
    CauseQuestion,
    Grade,
    NumericQuestion,
    Question,
    SuspectsQuestion,
    TraceQuestion,
    VisitQuestion,
    grade,
)
from toolkit.quiz.visit import advised_acts
from toolkit.units import display_unit, examples, to_display

# Room for a calculation by hand; for what is only read or judged, one line for the reason will do.
WORKING_LINES, REASON_LINES = 4, 1
# Digits of the model answer: more than any tolerance asks for.
KEY_DIGITS = 9
SHORT_BLANK = "<span class='blank short'></span>"


@dataclass(frozen=True)
class Form:
    """A kind of question on paper.

    `room(question)` is HTML, `best(question)` the answer that earns full marks, as `grade` takes it, and
    `told(question, graded)` HTML again, of what `grade` says to that answer.
    """

    room: Callable[[Any], str]
    best: Callable[[Any], Any]
    told: Callable[[Any, Grade], str]


def asked(question: Question) -> str:
    """A question as it is printed: its words, its picture or table, room for the answer."""
    return html.paragraph(question.prompt) + FORMS[type(question)].room(question)


def key(question: Question) -> str:
    """The answer to a question with its explanation, as the screen gives it to who is right."""
    form = FORMS[type(question)]
    return form.told(question, grade(question, form.best(question)))


def lines(count: int) -> str:
    """Empty lines to write on."""
    return "<div class='line'></div>" * count


def boxes(options: Iterable[str]) -> str:
    """Options, each behind an empty box to tick."""
    return "<ul class='boxes'>" + "".join(html.paragraph(words, "li") for words in options) + "</ul>"


def model_number(question: NumericQuestion) -> str:
    """The true value as a learner would type it, in the question's display set."""
    number = to_display(question.truth, question.kind, question.units)
    return f"{number:.{KEY_DIGITS}g} {display_unit(question.kind, question.units).label}"


# Room for an answer


def _number(question: NumericQuestion) -> str:
    picture = html.image(question.picture) if question.picture else ""
    wanted = f"Your answer, number and unit (such as {examples(question.kind)}):"
    return picture + _hint("Your working:") + lines(WORKING_LINES) + _blank(wanted)


def _time(question: TraceQuestion) -> str:
    return html.image(question.picture) + lines(REASON_LINES) + _blank("Your answer, in s:")


def _points(question: SuspectsQuestion | CauseQuestion) -> str:
    return (
        html.table(question.table(), "What was read at the visit")
        + _hint("Spread 100 points over the suspects, most to the one you are surest of.")
        + _blanks(question.names())
        + _hint("Why:")
        + lines(REASON_LINES)
    )


def _order(question: OrderQuestion) -> str:
    first, *_, last = question.places()
    return _hint(f"Number them from {first} to {last}.") + _blanks([question.entries[one] for one in question.shown])


def _choice(question: ChoiceQuestion) -> str:
    picture = html.image(question.picture) if question.picture else ""
    table = html.table(question.table, "Readings") if question.table else ""
    return picture + table + boxes(question.options) + _hint("Why:") + lines(REASON_LINES)


def _visit(question: VisitQuestion) -> str:
    checks = [f"{CHECKS[one].name}, {CHECKS[one].minutes:g} min" for one in question.checks]
    return _hint(
        "Number the checks that you would make, in order; not all of them, and none that is unsafe."
    ) + _blanks(checks)


def _hint(text: str) -> str:
    return f"<p class='hint'>{escape(text)}</p>"


def _blank(text: str) -> str:
    return f"<p class='answer'>{escape(text)} <span class='blank'></span></p>"


def _blanks(texts: Iterable[str]) -> str:
    """Texts, each behind a short line to write a number on."""
    return "<ul class='blanks'>" + "".join(f"<li>{SHORT_BLANK} {escape(text)}</li>" for text in texts) + "</ul>"


# Keys


def _said(_question: Question, graded: Grade) -> str:
    return "".join(map(html.paragraph, graded.explanation))


def _middle(question: TraceQuestion) -> float:
    return sum(question.window) / 2


def _all_on_the_true(question: SuspectsQuestion | CauseQuestion) -> list[float]:
    return [100.0 * (suspect == question.truth) for suspect in question.suspects]


def _told_points(question: SuspectsQuestion | CauseQuestion, graded: Grade) -> str:
    # The column in the middle holds the learner's points, and on paper nobody has given any yet.
    rows = [(name, says) for name, _, says in graded.table]
    return _said(question, graded) + html.table(rows, "What the readings say of each suspect, in points")


def _told_order(question: OrderQuestion, graded: Grade) -> str:
    right = "".join(html.paragraph(entry, "li") for entry in question.entries)
    return f"<ol>{right}</ol>" + _said(question, graded)


def _told_choice(question: ChoiceQuestion, graded: Grade) -> str:
    return html.paragraph(question.options[question.right], "b") + _said(question, graded)


FORMS: dict[type, Form] = {
    NumericQuestion: Form(_number, model_number, _said),
    TraceQuestion: Form(_time, _middle, _said),
    SuspectsQuestion: Form(_points, _all_on_the_true, _told_points),
    OrderQuestion: Form(_order, lambda question: range(len(question.entries)), _told_order),
    CauseQuestion: Form(_points, _all_on_the_true, _told_points),
    VisitQuestion: Form(_visit, advised_acts, lambda _, graded: html.table(graded.table, graded.caption)),
    ChoiceQuestion: Form(_choice, lambda question: question.right, _told_choice),
}
