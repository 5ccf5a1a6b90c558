"""The page of troubleshooting cases: choose or draw one, work through its questions, see how one stands over faults.

Like the quiz it is built on, it keeps callbacks to one line that calls a method.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from functools import partial
from typing import Any

import ipywidgets as widgets

from toolkit.classroom.mastery import (
    Stated,
    calibration,
    calibration_words,
    comes_back,
    fault_standings,
    mixed_up,
    stated,
)
from toolkit.classroom.record import Record, stopwatch
from toolkit.classroom.review import PASS_MARKS
from toolkit.classroom.room import told_here
from toolkit.diagnosis.load_words import at_place
from toolkit.diagnosis.look_up import meanwhile
from toolkit.diagnosis.signatures import SUSPECTS
from toolkit.diagnosis.signs import Signs
from toolkit.errors import CourseError, RecordError
from toolkit.quiz import html
from toolkit.quiz.bank import bank, case_of_key, reviewed
from toolkit.quiz.items import ABNORMAL
from toolkit.quiz.ordering import OrderQuestion
from toolkit.quiz.questions import CauseQuestion, Grade, Question
from toolkit.quiz.trouble_case import LEVELS, TroubleCase, draw_case, drawable, places
from toolkit.quiz.trouble_items import LESSON, case_items
from toolkit.quiz.trouble_words import ANY, station_words, tag_rows
from toolkit.quiz.visit import MADE_SAFE, MAKE_SAFE, NOTHING_SHOWN, VisitQuestion, Walk, choices, walk, worded
from toolkit.quiz.widgets import Quiz, button, fresh_seed
from toolkit.units import tidy

# Seeds that are easy to call out in a class.
LARGEST_SEED = 99_999
# A reading has been on the page for so long [s] before it can have been seen.
SEEN = 2.0
_GRID = {"grid_template_columns": "repeat(auto-fit, minmax(min(330px, 100%), 1fr))", "grid_gap": "6px 12px"}
# Wide pages show a step whole in its menu; a screen reader speaks it there at any width.
_NARROW = "<style>.gp-in-full{display:none}@media(max-width:760px){.gp-in-full{display:block}}</style>"
_FIELD, _NAMED = {"width": "620px", "max_width": "100%"}, {"description_width": "130px"}
# On a narrow page a menu stands below its name: beside it there would be no room for what is chosen.
_ROOM = (
    "<style>@media(max-width:760px){.gp-choice{flex-wrap:wrap;height:auto!important}"
    ".gp-choice .widget-label{width:100%!important;text-align:left}"
    ".gp-choice select{flex:1 1 100%!important;min-height:36px}}</style>"
)


def visit() -> Any:
    """Return the page of cases as a widget."""
    return VisitPage().box


class CaseQuiz(Quiz):
    """The questions of one case; the visit is walked on the page, and an unsafe act ends the case."""

    def __init__(self, case: TroubleCase, seed: int, record: Record, another: Callable[[], None]) -> None:
        self.acts: list[str] = []
        self.buttons: dict[str, Any] = {}
        self.stopped = False
        self.another = another
        super().__init__(LESSON, seed, record, case_items(case))
        self.again_button.description = self.again_button.tooltip = "Another case"

    def again(self) -> None:
        """Go on to another case."""
        self.another()

    def show(self) -> None:
        """Show the item at `index`, unanswered."""
        super().show()
        leaves = isinstance(self.question, VisitQuestion)
        words = "I know enough: end the visit" if leaves else "Check my answer"
        self.check_button.description = self.check_button.tooltip = words

    def _fields(self, question: Question) -> tuple[Any, ...]:
        if not isinstance(question, VisitQuestion):
            fields = super()._fields(question)
            if isinstance(question, CauseQuestion):
                for field in fields:
                    field.style, field.layout = {"description_width": "310px"}, {"width": "410px", "max_width": "100%"}
            return fields
        self.acts, self.buttons, self.since = [], {}, stopwatch()
        self.sum.value = html.note("No check is made yet. Minutes gone: 0.") + care_html(question, question.opening)
        parts: list[Any] = [widgets.HTML(html.paragraph("A press makes the check, and its minutes are gone."))]
        for title, group in choices(question).items():
            made = {act: button(worded(act, question.place), partial(self.make, act)) for act in group}
            for one in made.values():
                one.layout.align_self = "stretch"
            self.buttons |= made
            box = widgets.GridBox(list(made.values()), layout=_GRID)
            box.add_class("gp-checks")
            parts += [widgets.HTML(html.paragraph(title, "h4")), box]
        return tuple(parts)

    def tell_open(self, question: OrderQuestion) -> None:
        """Show what is open, and on a narrow page, where menus cut their words, the order so far in whole words."""
        super().tell_open(question)
        chosen = [field.value for field in self.inputs.children]
        rows = [("Place", "Your order so far")]
        rows += [
            (place, question.entries[entry])
            for place, entry in zip(question.places(), chosen, strict=True)
            if entry is not None
        ]
        if len(rows) > 1:
            self.sum.value += f'{_NARROW}<div class="gp-in-full">{html.table(rows, "Your order so far")}</div>'

    def field(self) -> Any:
        """The first field of the answer; at a visit the first check that is not made."""
        if isinstance(self.question, VisitQuestion):
            return next(button for button in self.buttons.values() if not button.disabled)
        return super().field()

    def answer(self) -> Any:
        """What stands in the fields now, or what was done at the visit."""
        return tuple(self.acts) if isinstance(self.question, VisitQuestion) else super().answer()

    def make(self, act: str) -> None:
        """Make a check, and show what it showed; an unsafe one ends the case. What is pressed twice is made once."""
        question = self.question
        if not isinstance(question, VisitQuestion) or self.buttons[act].disabled or self.acts[-1:] == [act]:
            return
        if act != MAKE_SAFE and walk(question, self.acts).holding and self.since() < SEEN:
            # A press from before the last reading stood on the page must not end the case.
            self.message.value = html.note("Your press came too soon. Read what was shown last, then press.", "alert")
            return
        self.message.value = ""
        self.acts.append(act)
        so_far = walk(question, self.acts)
        if act != MAKE_SAFE:
            # What it showed stands where it was pressed; the keyboard keeps its place, and Tab goes on from there.
            self.buttons[act].disabled = True
            self.buttons[act].description = f"{worded(act, question.place)}: {_came_of(so_far, -1)}"
        self.sum.value = walk_html(so_far) + ("" if so_far.stopped else care_html(question, so_far.signs))
        self.since = stopwatch()
        if so_far.stopped:
            self.stopped = True
            self.check()

    def next(self) -> None:
        """Go on to the next item; after an unsafe act to the summary."""
        if self.stopped:
            self.grades += [None] * (len(self.items) - len(self.grades))
            self.index = len(self.items)
            self.summarise()
        else:
            super().next()

    def check(self) -> None:
        """Grade what stands in the fields; after an unsafe act only the summary is left."""
        super().check()
        if self.buttons and self.question is None:
            self.buttons, self.inputs.children = {}, ()  # the visit is over: what it came to moves up
        if self.stopped:
            self.next_button.description = "Show the summary"

    def summarise(self) -> None:
        """Show how the case went, each section with its own mark."""
        super().summarise()
        rows = [("Section", "Marks", "Passes from", "This case")]
        for section, mark in PASS_MARKS.items():
            asked = [grade for item, grade in zip(self.items, self.grades, strict=True) if item.section == section]
            share = sum(one.score for one in asked if one) / len(asked)
            passed = share >= mark and not (section == ABNORMAL and self.stopped)
            unsafe = ": an unsafe act" if section == ABNORMAL and self.stopped else ""
            words = "passed" if passed else f"not passed{unsafe}"
            rows.append((section[0].upper() + section[1:], f"{share:.0%}", f"{mark:.0%}", words))
        self.body.value += html.table(rows, "Marks for each section")

    def _explained(self, graded: Grade) -> str:
        told = super()._explained(graded)
        return html.card("Stop", told) if isinstance(self.question, VisitQuestion) and self.stopped else told


def walk_html(so_far: Walk) -> str:
    """A visit so far: what the last act showed, spoken, and all of it as a table."""
    gone = f"Minutes gone: {so_far.minutes:g}."
    if so_far.stopped:
        said = f"The visit is stopped. {gone}"
    elif so_far.steps[-1].act == MAKE_SAFE:
        said = f"It is made safe; what was read before stands. {gone}"
    else:
        said = f"{_came_of(so_far, -1)}. {gone}"
    rows = [("Done", "Minutes", "It showed")]
    rows += [(step.name, f"{step.minutes:g}", _came_of(so_far, at)) for at, step in enumerate(so_far.steps)]
    return html.note(said[0].upper() + said[1:]) + html.table(rows, "Your visit so far")


def care_html(question: VisitQuestion, signs: Signs) -> str:
    """What must be kept to while signs stand that call for care: the look-up page's own words."""
    told = "".join(html.paragraph(at_place(words, question.place), "li") for words in meanwhile(signs))
    return f"{html.paragraph('Meanwhile', 'h4')}<ul>{told}</ul>" if told else ""


def _came_of(so_far: Walk, at: int) -> str:
    """What came of an act of a visit, in words."""
    step = so_far.steps[at]
    if so_far.stopped and step is so_far.steps[-1]:
        return "stopped here"
    shown = "; ".join(f"{name}: {value}" for name, value in step.showed)
    return shown or (MADE_SAFE if step.act == MAKE_SAFE else NOTHING_SHOWN)


class VisitPage:
    """The whole page: what to draw, the case, and the standing over faults. The methods are what its buttons do."""

    def __init__(self, record: Record | None = None) -> None:
        self.record = record or Record()
        # Short, since a closed menu does not break its line; what was chosen stands below in whole words.
        levels = [(f"{level}: {words.partition(':')[0]}", level) for level, words in LEVELS.items()]
        stations = [(ANY, None), *((place.replace("_", " "), place) for place in places())]
        self.level = widgets.Dropdown(options=levels, index=0, description="Level", tooltip="Level")
        self.place = widgets.Dropdown(options=stations, index=0, description="Station", tooltip="Station")
        self.seed = widgets.BoundedIntText(min=1, max=LARGEST_SEED, description="Seed", tooltip="Seed")
        self.seed.value = 1 + fresh_seed(LARGEST_SEED)
        # The keys tell nothing of the cause; a reviewed case stands for level, station and seed.
        kept = [(f"{one.key}, {one.station.replace('_', ' ')}", one.key) for one in bank()]
        name = "Reviewed case"
        self.kept = widgets.Dropdown(options=[("none of them", None), *kept], index=0, description=name, tooltip=name)
        for field in (self.level, self.place, self.seed, self.kept):
            field.layout, field.style = dict(_FIELD), dict(_NAMED)
            field.add_class("gp-choice")
            field.observe(lambda _: self.tell_chosen(), "value")
        self.seed.layout = {"width": "260px"}
        self.open_button = button("Open this case", self.open_case)
        self.other_button = button("Draw another seed and open it", self.another)
        self.stand_button = button("Show how I stand", self.show_standing)
        self.message, self.card, self.standing = widgets.HTML(), widgets.HTML(), widgets.HTML()
        self.chosen = widgets.HTML()
        self.tell_chosen()
        self._large = widgets.HTML()
        self.projector = widgets.ToggleButton(
            value=self._screen() == "projector",
            description="Projector view",
            tooltip="Larger letters, and answers hidden until they are revealed",
        )
        self.projector.layout = {"width": "auto", "align_self": "flex-end"}
        self.projector.observe(lambda _: self.show_on(), "value")
        self.case_box = widgets.VBox()
        self.quiz: CaseQuiz | None = None
        hint = "The same level, station and seed give the same case: call them out, and a class works on one case."
        chooser = widgets.VBox(
            [
                widgets.HTML(html.STYLE + _ROOM),
                self._large,
                self.projector,
                widgets.HTML(html.paragraph("A case to find out", "h3") + html.paragraph(hint)),
                self.level,
                self.place,
                self.seed,
                self.kept,
                self.chosen,
                widgets.HBox([self.open_button, self.other_button], layout={"flex_flow": "row wrap"}),
                self.message,
                self.card,
            ]
        )
        stand = widgets.VBox([widgets.HTML(html.paragraph("Where you stand", "h3")), self.stand_button, self.standing])
        for part in (chooser, stand):
            part.add_class("gp-quiz")
        self.box = widgets.VBox([chooser, self.case_box, stand])
        self.show_on()

    def tell_chosen(self) -> None:
        """Show what is chosen in whole words: a menu on a narrow page cuts them."""
        place = self.place.value
        station = ANY if place is None else place.replace("_", " ") + _about(place)
        words = f"Level {self.level.value}: {LEVELS[self.level.value]}. Station: {station}. Seed: {self.seed.value}."
        if self.kept.value is not None:
            words = f"Reviewed case {self.kept.value}: it has its own level, station and day."
        self.chosen.value = html.paragraph(words)

    def show_on(self) -> None:
        """Show the page for the desk or for a projector, as the switch says, and keep that for the next page."""
        screen = "projector" if self.projector.value else "desk"
        html.on_projector(self.box, self._large, self.projector.value)
        # The page goes on where nothing can be written.
        with suppress(RecordError):
            if self.record.screen() != screen:
                self.record.set_screen(screen)

    def _screen(self) -> str:
        try:
            return self.record.screen()
        except RecordError:
            return "desk"

    def open_case(self) -> None:
        """Open the case of the level, station and seed that are chosen, or the reviewed one."""
        key = self.kept.value
        if key is None:
            self._open(None)
        else:
            self._start(lambda: case_of_key(key), reviewed(key).day, f"reviewed case {key}")

    def another(self) -> None:
        """Draw another case; every third comes back to a pair of suspects that was mixed up."""
        self.seed.value, self.kept.index = 1 + fresh_seed(LARGEST_SEED), 0
        place = self.place.value
        at = [place] if place else places()
        try:
            suspect = comes_back(self._answers(), {key for one in at for key in drawable(self.level.value, one)})
        except RecordError:  # lesson 00 says what is wrong with the record; a case needs none
            suspect = None
        self._open(suspect)

    def show_standing(self) -> None:
        """Show mastery over faults, the pairs mixed up, and the calibration picture."""
        try:
            self.standing.value = standing_html(self._answers())
        except CourseError as error:
            self.standing.value = html.note(told_here(error), "alert")

    def _answers(self) -> tuple[Stated, ...]:
        return stated(self.record.attempts(self.record.learner()))

    def _open(self, suspect: str | None) -> None:
        seed, level, place = self.seed.value, self.level.value, self.place.value
        told = f"seed {seed}"
        if suspect is not None:
            told += ", drawn for you: the seed alone does not make it again"
        self._start(lambda: draw_case(seed, level, place, suspect), seed, told)

    def _start(self, draw: Callable[[], TroubleCase], seed: int, told: str) -> None:
        """Begin a case, or say why it cannot be drawn."""
        self.message.value = html.note("One moment: the day is simulated.")
        try:
            case = draw()
        except CourseError as error:
            self.message.value = html.note(str(error), "alert")
            return
        self.quiz = CaseQuiz(case, seed, self.record, self.another)
        self.message.value = html.note(f"Open: {LEVELS[case.level]}; {told}.")
        self.card.value = html.paragraph(f"The station: {station_words(case.place)}.") + html.table(
            tag_rows(case, self.quiz.units), "By the station's tags and record"
        )
        self.case_box.children = (self.quiz.box,)
        self.quiz.top.focus()


def standing_html(answers: tuple[Stated, ...]) -> str:
    """How one stands over faults: each suspect, the pairs mixed up, and stated points beside what was true."""
    from toolkit.figures.calibration import calibration_picture

    said = html.paragraph(tidy(calibration_words(answers)))
    if not answers:
        return said
    faults = [("It was", "Cases", "Right", "Your points on it, mean")]
    faults += [
        (SUSPECTS.get(one.suspect, one.suspect), str(one.cases), str(one.right), f"{one.points:.0f}")
        for one in fault_standings(answers)
    ]
    pairs = [("Mixed up", "Times")]
    pairs += [(" and ".join(SUSPECTS.get(key, key) for key in sorted(pair)), str(n)) for pair, n in mixed_up(answers)]
    bins = [(one.stated, one.count, one.true) for one in calibration(answers)]
    mixed = html.table(pairs, "Pairs that were mixed up") if len(pairs) > 1 else html.paragraph("No pair is mixed up.")
    return (
        html.table(faults, "How you told each fault")
        + mixed
        + said
        + calibration_picture(bins).svg
        + html.paragraph("How sure you are is coaching only: no mark depends on it.")
    )


def _about(place: str) -> str:
    """What stands at a kind of station, behind its name; nothing for a station that comes along."""
    words = station_words(place)
    return "" if place.replace("_", " ") in words else f", {words}"
