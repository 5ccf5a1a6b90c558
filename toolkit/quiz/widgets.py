"""The quiz on the page: one question at a time, an explained answer, and each attempt in the learner's record.

Callbacks are one line that calls a method: what goes wrong inside a callback is easily lost, a method can be tested.
"""

from __future__ import annotations

from collections.abc import Callable
from secrets import randbelow
from typing import Any

import ipywidgets as widgets

from toolkit import __version__
from toolkit.classroom.record import Attempt, Record, stopwatch
from toolkit.classroom.review import standing
from toolkit.classroom.room import seed_here, told_here
from toolkit.errors import AnswerError, CourseError, RecordError
from toolkit.quiz import html
from toolkit.quiz.cases import items_of
from toolkit.quiz.items import Item, offer
from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion, still_open
from toolkit.quiz.pictures import replay_picture
from toolkit.quiz.questions import (
    CauseQuestion,
    Grade,
    NumericQuestion,
    Question,
    TraceQuestion,
    grade,
    item_hash,
)
from toolkit.units import format_quantity, from_display

LARGEST_SEED = 2**31
_NAMED, _ANSWER = {"description_width": "250px"}, {"description_width": "130px"}
# As wide as the card: a box stretches what has no width of its own, and 100 % would leave its margins out.
_WIDE = {"width": "auto"}


def quiz(lesson: str, seed: int | None = None) -> Any:
    """Return the quiz of a lesson ("01" to "05") as a widget; the same `seed` gives the same numbers."""
    return Quiz(lesson, seed).box


def fresh_seed(below: int = LARGEST_SEED) -> int:
    """Return a seed that nobody has chosen, from 0 on."""
    return randbelow(below)


def unit_hint(kind: str) -> str:
    """Say how an answer of a kind may be typed, in the words of both display sets."""
    examples = [format_quantity(from_display(5.0, kind, units), kind, units) for units in ("us", "metric")]
    return "number and unit, such as " + " or ".join(dict.fromkeys(examples))


class Quiz:
    """One run through a lesson's items. `box` is the widget; the methods are what its buttons do."""

    def __init__(
        self,
        lesson: str,
        seed: int | None = None,
        record: Record | None = None,
        items: tuple[Item, ...] | None = None,
    ) -> None:
        self.items = items or items_of(lesson)
        self.record = record or Record()
        self.head, self.body, self.message = widgets.HTML(), widgets.HTML(), widgets.HTML()
        self.sum, self.feedback, self.foot = widgets.HTML(), widgets.HTML(), widgets.HTML()
        self.inputs, self.top = widgets.VBox(), widgets.VBox([self.head])
        self.check_button = button("Check my answer", self.check)
        self.next_button = button("Next question", self.next)
        self.again_button = button("Try again with new numbers", self.again)
        # On a projector the feedback waits for this; at the desk the style sheet leaves the button out.
        self.reveal_button = button("Reveal", self.reveal)
        self.reveal_button.add_class("gp-reveal")
        self.answered = widgets.VBox([self.reveal_button, self.feedback])
        self.answered.add_class("gp-answered")
        self.box = widgets.VBox(
            [
                widgets.HTML(html.STYLE),
                self.top,
                self.body,
                self.inputs,
                self.sum,
                self.check_button,
                self.message,
                self.answered,
                self.next_button,
                self.again_button,
                self.foot,
            ]
        )
        self.box.add_class("gp-quiz")
        self.check_button.add_class("gp-enter")
        self.top.add_class("gp-top")  # the page's script lets it take the focus
        given = self._given_seed() if seed is None else int(seed)
        if seed is None and self.resume(given):
            return
        self.start(fresh_seed() if given is None else given)

    @property
    def item(self) -> Item:
        """The item that is asked now."""
        return self.items[self.index]

    def _given_seed(self) -> int | None:
        """The seed of the session that is held here, so that all can talk about the same numbers; None where any will
        do."""
        try:
            return seed_here(self.items[0].lesson, self.record.learner())
        except CourseError:
            return None  # a spoilt session file is told where the class is served

    def start(self, seed: int, index: int = 0) -> None:
        """Begin at an item, the first if none is given, with the numbers of a seed."""
        self.seed, self.index = seed, index
        self.grades: list[Grade | None] = [None] * index
        self.unwritten = 0
        self.foot.value = ""
        try:
            self.units = self.record.units()
        except RecordError as error:
            self.units = "us"
            self.foot.value = html.note(told_here(error))
        self.show()

    def resume(self, given: int | None) -> bool:
        """Go on with a run that was left, in its own numbers; False if there is none, or none in the numbers given."""
        keys = [item.key for item in self.items]
        try:
            learner = self.record.learner()
            mine = [one for one in self.record.attempts() if one.attempt.learner == learner]
        except RecordError:
            return False  # `start` tells why
        stand = standing(mine, self.items[0].lesson, keys)
        if stand.seed is None or given not in (None, stand.seed):
            return False
        self.start(stand.seed, stand.asked)
        self.message.value = html.note(
            f"You left at question {stand.asked + 1}. What you answered before stands in your record."
        )
        _show(self.again_button, on=True)
        return True

    def reveal(self) -> None:
        """Show the answer that a projector's view keeps hidden."""
        self.answered.add_class("gp-revealed")

    def again(self) -> None:
        """Begin anew with other numbers."""
        self.start(fresh_seed())
        self.focus()

    def show(self) -> None:
        """Show the item at `index`, unanswered."""
        said, self.question = "", None
        try:
            # First, since it may take a second or two: until then what was read stays, and the keyboard's place too.
            self.question = offer(self.item, self.seed, self.units)
        except CourseError as error:
            # One question that cannot be made must not end the quiz.
            said = html.note(f"This question could not be made: {error} Go on to the next one.", "alert")
        made = self.question is not None
        self.feedback.value = self.sum.value = ""
        self.answered.remove_class("gp-revealed")
        _show(self.answered, on=False)
        self.message.value = said
        self.head.value = html.paragraph(f"Question {self.index + 1} of {len(self.items)}", "h3") + html.paragraph(
            self.item.objective
        )
        self.body.value = _body(self.question) if self.question else ""
        self.inputs.children = self._fields(self.question) if self.question else ()
        _show(self.check_button, on=made)
        _show(self.next_button, on=not made)
        _show(self.again_button, on=False)
        self.watch = stopwatch()

    def field(self) -> Any:
        """The first field of the answer, or the button that leads on where there is none."""
        return self.inputs.children[0] if self.inputs.children else self.next_button

    def focus(self) -> None:
        """Put the keyboard in the field, or at the question's head where a picture or table is to be read first."""
        question = self.question
        if question is None or (isinstance(question, NumericQuestion) and question.picture is None):
            self.field().focus()
        else:
            self.top.focus()

    def answer(self) -> Any:
        """What stands in the fields now."""
        values = [field.value for field in self.inputs.children]
        return values if isinstance(self.question, CauseQuestion | OrderQuestion) else values[0]

    def check(self) -> None:
        """Grade what stands in the fields, explain it, and write it into the record."""
        if self.question is None:
            return
        seconds = self.watch()
        # Weighing many runs may take a second or two: nobody shall press twice.
        self.message.value = html.note("One moment.")
        try:
            graded = grade(self.question, self.answer())
        except AnswerError as error:
            self.message.value = html.note(str(error), "alert")
            self.field().focus()
            return
        self.grades.append(graded)
        self.message.value = self._write(graded, seconds)
        self.feedback.value = self._explained(graded)
        _show(self.answered, on=True)
        for field in self.inputs.children:
            field.disabled = True
        self.question = None
        _show(self.check_button, on=False)
        _show(self.next_button, on=True)
        self.next_button.description = "Next question" if self.index + 1 < len(self.items) else "Show the summary"
        self.next_button.focus()

    def next(self) -> None:
        """Go on to the next item, or to the summary after the last."""
        if len(self.grades) <= self.index:
            self.grades.append(None)
        self.index += 1
        if self.index < len(self.items):
            self.show()
            self.focus()
        else:
            self.summarise()

    def summarise(self) -> None:
        """Show how the run went."""
        self.message.value = self.feedback.value = self.sum.value = ""
        self.inputs.children = ()
        _show(self.check_button, self.next_button, on=False)
        _show(self.again_button, on=True)
        asked = [one for one in self.grades if one is not None]
        total, maximum = sum(one.score for one in asked), sum(one.maximum for one in asked)
        rows = [("What was asked", "Marks")]
        rows += [
            (item.objective, f"{one.score:.2f} of {one.maximum:g}" if one else "not asked")
            for item, one in zip(self.items, self.grades, strict=True)
        ]
        self.head.value = html.paragraph("Summary", "h3")
        kept = (
            f"{self.unwritten} of these answers could not be written into your record."
            if self.unwritten
            else "Your answers are in your record; lesson 00 shows it."
        )
        self.body.value = (
            html.paragraph(f"{total:.2f} of {maximum:g} marks.")
            + html.table(rows, "Marks for each objective")
            + html.paragraph(kept)
        )
        self.again_button.focus()

    def add_up(self) -> None:
        """Show how many of the 100 points are given."""
        given = sum(int(field.value) for field in self.inputs.children)
        left = 100 - given
        rest = "all are given" if left == 0 else f"{left} left to give" if left > 0 else f"{-left} too many"
        self.sum.value = html.note(f"{given} of 100 points given, {rest}.")

    def tell_open(self, question: OrderQuestion) -> None:
        """Show which places are empty, and what is named twice or not at all."""
        left = still_open(question, [field.value for field in self.inputs.children])
        self.sum.value = html.note(left or "Every entry has a place of its own.")

    def _fields(self, question: Question) -> tuple[Any, ...]:
        if isinstance(question, NumericQuestion):
            return (_text("Your answer", unit_hint(question.kind)),)
        if isinstance(question, TraceQuestion):
            return (_text("Your answer, in s", f"time in s, from 0 to {question.duration:g}"),)
        if isinstance(question, ChoiceQuestion):
            options = [(words, index) for index, words in enumerate(question.options)]
            return (widgets.RadioButtons(options=options, value=None, layout=_WIDE, tooltip="Your answer"),)
        if isinstance(question, OrderQuestion):
            return self._places(question)
        assert isinstance(question, CauseQuestion)
        fields = tuple(widgets.BoundedIntText(min=0, max=100, step=5, description=name) for name in question.names())
        for field in fields:
            field.style, field.layout = _NAMED, {"width": "350px"}
            field.observe(lambda _: self.add_up(), "value")
        self.sum.value = html.note("0 of 100 points given, 100 left to give.")
        return fields

    def _places(self, question: OrderQuestion) -> tuple[Any, ...]:
        """A drop-down for each place, all of them empty."""
        # Chosen by its index: a value of None would leave the box blank, and the first press of a key would go to it.
        options = [("choose", None), *((question.entries[entry], entry) for entry in question.shown)]
        names = [f"Place {place}" for place in question.places()]
        fields = tuple(
            widgets.Dropdown(options=options, index=0, description=name, tooltip=name, layout=_WIDE) for name in names
        )
        for field in fields:
            field.style = _ANSWER
            field.observe(lambda _: self.tell_open(question), "value")
        self.sum.value = html.note(still_open(question, [None] * len(fields)))
        return fields

    def _write(self, graded: Grade, seconds: float) -> str:
        """Write a graded answer into the record; the message if that failed, else nothing."""
        assert self.question is not None
        try:
            attempt = Attempt(
                self.record.learner(),
                __version__,
                self.item.lesson,
                self.item.key,
                item_hash(self.question),
                self.item.objective,
                self.seed,
                graded.answer,
                graded.score,
                graded.maximum,
                seconds,
            )
            self.record.append(attempt)
        except RecordError as error:
            self.unwritten += 1
            return html.note(f"Your answer was graded, but it is not in your record. {told_here(error)}", "alert")
        return ""

    def _explained(self, graded: Grade) -> str:
        parts = [html.note(graded.verdict), *map(html.paragraph, graded.explanation)]
        if graded.table:
            parts.append(html.table(graded.table, graded.caption))
        if graded.replay:
            parts.append(replay_picture(graded.replay, self.units).svg)
        return "".join(parts)


def _body(question: Question) -> str:
    parts = [html.paragraph(question.prompt)]
    if isinstance(question, NumericQuestion | TraceQuestion | ChoiceQuestion) and question.picture is not None:
        parts.append(question.picture.svg)
    if isinstance(question, ChoiceQuestion) and question.table is not None:
        parts.append(html.table(question.table, "Readings"))
    if isinstance(question, CauseQuestion):
        parts.append(html.table(question.table(), "What was read at the visit"))
    if isinstance(question, OrderQuestion):
        parts.append(html.listing([question.entries[entry] for entry in question.shown]))
    return "".join(parts)


def _text(name: str, hint: str) -> Any:
    field = widgets.Text(description=name, placeholder=hint, tooltip=hint)
    # Sent whole as the field is left: a text sent letter by letter may arrive after the press of the button.
    field.continuous_update = False
    field.style, field.layout = _ANSWER, {"width": "620px", "max_width": "100%"}
    return field


def button(text: str, act: Callable[[], None]) -> Any:
    """A button as wide as its words, at the left."""
    made = widgets.Button(description=text, tooltip=text)
    made.layout = {"width": "auto", "align_self": "flex-start"}
    made.on_click(lambda _: act())
    return made


def _show(*parts: Any, on: bool) -> None:
    for part in parts:
        part.layout.display = "" if on else "none"
