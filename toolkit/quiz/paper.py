"""Questions on paper: what is asked with room to write, and the key. HTML without script; all text is escaped.

A kind of question is one line in `FORMS`: how the room for its answer looks, its best answer, how its key reads.
Keys come out of `grade` itself, given the answer that earns full marks, so paper and screen cannot disagree.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from html import escape
from typing import Any

from toolkit.diagnosis.next_check import CHECKS, STOPS, Check
from toolkit.diagnosis.signatures import SUSPECTS
from toolkit.diagnosis.signs import Signs
from toolkit.quiz import html
from toolkit.quiz.marking import marking
from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion
from toolkit.quiz.questions import (
    CauseQuestion,
    Grade,
    NumericQuestion,
    Question,
    TraceQuestion,
    VisitQuestion,
    grade,
)
from toolkit.quiz.visit import (
    GROUPS,
    MAKE_SAFE,
    MAKE_SAFE_NAME,
    NOTHING_SHOWN,
    SAFE_MINUTES,
    Step,
    advised_acts,
    choices,
    named,
    walk,
)
from toolkit.units import display_unit, examples, tidy, to_display

# Room for a calculation by hand; for what is only read or judged, one line for the reason will do.
WORKING_LINES, REASON_LINES = 4, 1
# Digits of the model answer: more than any tolerance asks for.
KEY_DIGITS = 9
# Rows for what a visit found; few visits take more.
LOG_ROWS = 10
# Who does what kind of work at a visit; common practice, no source: the operator's procedure and the local code decide.
LOOK, VALVES, PROOF = "A", "B", "C"
CLASSES = {
    LOOK: "look, listen, ask and read",
    VALVES: "work valves and vents, which may put the customers' burners out",
    PROOF: "work on a device or on a layer, for qualified persons by the written procedure only",
}
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
    """The answer to a question with its explanation, as the screen gives it to who is right, and how to mark others."""
    form = FORMS[type(question)]
    marks = tidy(" ".join(("Marks:", *marking(question))))
    return form.told(question, grade(question, form.best(question))) + f"<p class='marking'>{escape(marks)}</p>"


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
    picture = question.picture.svg if question.picture else ""
    wanted = f"Your answer, number and unit (such as {examples(question.kind)}):"
    return picture + _hint("Your working:") + lines(WORKING_LINES) + _blank(wanted)


def _time(question: TraceQuestion) -> str:
    return question.picture.svg + lines(REASON_LINES) + _blank("Your answer, in s:")


def _points(question: CauseQuestion) -> str:
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
    picture = question.picture.svg if question.picture else ""
    table = html.table(question.table, "Readings") if question.table else ""
    return picture + table + boxes(question.options) + _hint("Why:") + lines(REASON_LINES)


def _visit(question: VisitQuestion) -> str:
    """The checks with minutes and class, room for their order; room for what they show, and for the learner's cause."""
    head = ("Check", "Minutes", "Class", "Order")
    checks = "".join(
        html.paragraph(title, "h4")
        + table(
            [head, *((named(act, question.place), f"{_minutes(act):g}", work_class(act), "") for act in group)],
            title,
            "checks",
        )
        for title, group in choices(question).items()
    )
    log = [("", "Check", "It showed", "Minutes so far"), *((str(at), "", "", "") for at in range(1, LOG_ROWS + 1))]
    return (
        _hint(
            "Number the checks that you make, one after the other. After each, write down what it shows: whoever holds "
            "the key reads it out, and that alone. Stop when you know enough."
        )
        + _hint("Class of the work: " + "; ".join(f"{one}, {words}" for one, words in CLASSES.items()) + ".")
        + _hint("The class says who does work of this kind. Some acts in the list nobody may do: leave them out.")
        + checks
        + html.paragraph("My visit", "h4")
        + table(log, "My visit", "log")
        + _blank("My cause, before I turn over:")
        + _blank("How sure I am of it, in %:")
    )


def table(rows: Sequence[Sequence[str]], caption: str, kind: str) -> str:
    """Rows, the first the heading, as a table of a kind that the sheet's style knows."""
    return f"<div class='{kind}'>{html.table(rows, caption)}</div>"


def work_class(act: str) -> str:
    """The class of what can be done at a visit, a key of CLASSES.

    What nobody may do has that of most others of its group: a class of its own would tell.
    """
    if act == MAKE_SAFE:
        return LOOK
    check = CHECKS[act]
    if check.forbidden:
        group = next(group for group in GROUPS.values() if act in group)
        return Counter(work_class(one) for one in group if not CHECKS[one].forbidden).most_common(1)[0][0]
    if check.qualified:
        return PROOF
    return LOOK if check.effort in (Check.effort, CHECKS["ask"].effort) else VALVES


def _minutes(act: str) -> float:
    return SAFE_MINUTES if act == MAKE_SAFE else CHECKS[act].minutes


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


def _all_on_the_true(question: CauseQuestion) -> list[float]:
    return [100.0 * (suspect == question.truth) for suspect in question.suspects]


def _told_points(question: CauseQuestion, graded: Grade) -> str:
    # The column in the middle holds the learner's points, and on paper nobody has given any yet.
    rows = [(name, says) for name, _, says in graded.table]
    return _said(question, graded) + html.table(rows, "What the readings say of each suspect, in points")


def _told_visit(question: VisitQuestion, _graded: Grade) -> str:
    """What is wrong, the best order, what ends the case, and what each check shows, to be read out."""
    best, gone = walk(question, advised_acts(question)), 0.0
    order = [("", "Check", "Minutes", "So far", "It shows")]
    for at, step in enumerate(best.steps, 1):
        gone += step.minutes
        order.append((str(at), step.name, f"{step.minutes:g}", f"{gone:g}", _showed(step)))
    shows, never = [("Check", "Minutes", "Class", "It shows")], [("Ends the case", "Why")]
    for act in question.checks:
        if why := CHECKS[act].forbidden:
            never.append((named(act, question.place), why))
            continue
        one = walk(replace(question, opening=Signs()), (act,))
        then = f" STOP: {STOPS[one.holding]}." if one.holding else ""
        shows.append((named(act, question.place), f"{_minutes(act):g}", work_class(act), _showed(one.steps[0]) + then))
    stop = walk(question, ()).holding
    met = f" It holds on arrival: {STOPS[stop]}." if stop else ""
    return (
        html.paragraph(f"It is: {SUSPECTS[question.truth]}.", "b")
        + html.paragraph(f"Best order, {best.minutes:g} minutes", "h4")
        + table(order, "Best order", "key")
        + html.paragraph("What ends the case", "h4")
        + table(never, "What ends the case", "key")
        + html.paragraph(
            f"So does any check while a stop condition holds: what comes then is to {MAKE_SAFE_NAME} "
            f"({SAFE_MINUTES:g}\u00a0min).{met}"
        )
        + html.paragraph("What each check shows", "h4")
        + table(shows, "What each check shows", "key")
    )


def _showed(step: Step) -> str:
    shown = "; ".join(f"{name}: {value}" for name, value in step.showed)
    return shown or ("made safe" if step.act == MAKE_SAFE else NOTHING_SHOWN)


def _told_order(question: OrderQuestion, graded: Grade) -> str:
    right = "".join(html.paragraph(entry, "li") for entry in question.entries)
    return f"<ol>{right}</ol>" + _said(question, graded)


def _told_choice(question: ChoiceQuestion, graded: Grade) -> str:
    return html.paragraph(question.options[question.right], "b") + _said(question, graded)


FORMS: dict[type, Form] = {
    NumericQuestion: Form(_number, model_number, _said),
    TraceQuestion: Form(_time, _middle, _said),
    OrderQuestion: Form(_order, lambda question: range(len(question.entries)), _told_order),
    CauseQuestion: Form(_points, _all_on_the_true, _told_points),
    VisitQuestion: Form(_visit, lambda question: advised_acts(question) or (MAKE_SAFE,), _told_visit),
    ChoiceQuestion: Form(_choice, lambda question: question.right, _told_choice),
}
