"""The learner's own page of the record: name, units, how each lesson stands, and the file to hand in."""

from __future__ import annotations

from base64 import b64encode
from html import escape

import ipywidgets as widgets

from toolkit import __version__
from toolkit.classroom import hand_in
from toolkit.classroom.chain import PROVES, counted
from toolkit.classroom.mastery import Stated, calibration_words, stated
from toolkit.classroom.record import LessonStanding, Record, lesson_standings
from toolkit.classroom.room import room_here, session_here, told_here
from toolkit.course import VISIT
from toolkit.errors import CourseError, RecordError
from toolkit.panels.play import button
from toolkit.quiz import html
from toolkit.quiz.cases import LESSONS, items_of
from toolkit.units import tidy

HAND_IN = (
    "If your instructor asks for your results, hand in one file. In it are your name, your answers, their scores and "
    "their times, and nothing of anybody else who uses this machine."
)
AFTERWARDS = (
    "Press Save: your browser puts the file where its downloads go. Give it to your instructor the way you were told, "
    "and leave it as it is. It is plain text: you may look into it."
)
AT_THE_DOOR = "You came in under this name; your answers count under it. Is it wrong? Tell your instructor."
# JupyterLab shows links as plain text.
LINK = "color:#0072B2;text-decoration:underline;font-weight:bold"
UNIT_NAMES = {"us": "in. w.c., psig, scfh", "metric": "mbar, bar, m³/h"}


def progress() -> widgets.VBox:
    """Return the learner's record as a widget: name, units, and how each lesson stands."""
    return Progress().box


class Progress:
    """The record shown back to the learner, with the name and the units to show."""

    def __init__(self, record: Record | None = None) -> None:
        self.record = record or Record()
        self.place, self.table, self.message = widgets.HTML(), widgets.HTML(), widgets.HTML()
        self.name = widgets.Text(description="Your name", placeholder="as it should stand in the record")
        self.units = widgets.Dropdown(options=[(name, key) for key, name in UNIT_NAMES.items()], description="Units")
        for field in (self.name, self.units):
            field.style, field.layout = {"description_width": "100px"}, {"width": "420px", "max_width": "100%"}
        # A class's list goes by the name at the door.
        self.name.disabled = room_here() is not None
        self.keep_button = button("Keep name and units", "Keep name and units", self.keep)
        self.keep_button.add_class("gp-enter")
        self.show_button = button("Show the latest results", "Show the latest results", self.show)
        self.hand_in_button = button("Hand in", "Make the file to hand in", self.hand_in)
        self.handed = widgets.HTML()
        self.box = widgets.VBox(
            [
                widgets.HTML(html.STYLE),
                widgets.HTML(html.paragraph("Your record", "h3")),
                self.name,
                *([widgets.HTML(html.paragraph(AT_THE_DOOR))] if self.name.disabled else []),
                self.units,
                widgets.HBox([self.keep_button, self.show_button]),
                self.message,
                self.table,
                self.place,
                widgets.HTML(html.paragraph("Hand in", "h3") + html.paragraph(HAND_IN)),
                widgets.HBox([self.hand_in_button]),
                self.handed,
            ]
        )
        self.box.add_class("gp-quiz")
        self.show()

    def show(self) -> None:
        """Read the record and show it."""
        self.message.value = self.handed.value = ""
        # In a served class the path is one on another machine, and no business of a visitor's.
        where = (
            f"this file on your own machine: {self.record.path}" if room_here() is None else "kept by your instructor"
        )
        self.place.value = html.paragraph(f"The record is {where}.")
        try:
            learner, units, attempts = self.record.learner(), self.record.units(), self.record.attempts()
        except RecordError as error:
            self.table.value, self.message.value = "", html.note(told_here(error), "alert")
            return
        self.name.value, self.units.value = learner, units
        self.place.value += session_html(learner)
        mine = tuple(one for one in attempts if one.attempt.learner == learner)
        if not mine:
            who = f"under the name {learner}" if learner else "yet"
            self.table.value = html.paragraph(
                f"Nothing is recorded {who}. Each answer that you check at the end of a lesson is added here."
            )
            return
        rows = lesson_rows(lesson_standings(mine))
        self.table.value = html.table(rows, "Your results, lesson by lesson") + cases_html(stated(mine))

    def keep(self) -> None:
        """Write name and units into the record."""
        try:
            if not self.name.disabled:
                self.record.set_learner(self.name.value)
            self.record.set_units(self.units.value)
        except RecordError as error:
            self.message.value = html.note(told_here(error), "alert")
            return
        self.show()
        self.message.value = html.note("Kept. Open quizzes take up the units at their next start.")

    def hand_in(self) -> None:
        """Make the file to hand in from what the record holds now, and show the link that saves it."""
        try:
            learner = self.record.learner()
            everything = self.record.attempts()
            handed = hand_in.hand_in(learner, __version__, self.record.now(), everything, self.record.events())
            if not learner:
                said = html.note("The file carries your name: type it above and press Keep name and units.", "alert")
            elif not handed.attempts:
                said = html.note(f"Nothing is recorded under the name {learner} yet: there is nothing to hand in.")
            else:
                nameless = sum(not one.attempt.learner for one in everything)
                said = handed_in_html(handed, hand_in.packed(handed), nameless)
        except RecordError as error:
            said = html.note(told_here(error), "alert")
        self.handed.value = said


def handed_in_html(handed: hand_in.HandIn, data: bytes, nameless: int) -> str:
    """The link that saves the file, what is in it, what its chain says; `nameless` answers stand under no name."""
    name = escape(hand_in.file_name(handed.learner, handed.made))
    days = sorted({handed.attempts[0].time[:10], handed.attempts[-1].time[:10]})
    link = (
        f'<p><a style="{LINK}" download="{name}" '
        f'href="data:application/json;base64,{b64encode(data).decode("ascii")}">Save {name}</a></p>'
    )
    lines = [f"{counted(len(handed.attempts), 'answer')} of {handed.learner}, {' to '.join(days)}. {AFTERWARDS}"]
    if nameless:
        verb = "is" if nameless == 1 else "are"
        lines.append(f"{counted(nameless, 'answer')} given before a name was kept {verb} not in it.")
    lines += [f"Each answer is chained to the one before it. {hand_in.verdict(handed).words}", PROVES]
    return f'<div class="gp-note" role="status">{link}{"".join(map(html.paragraph, lines))}</div>'


def session_html(learner: str) -> str:
    """What session is held here, in a sentence; nothing where none is."""
    try:
        session = session_here()
    except CourseError as error:
        return html.note(told_here(error), "alert")
    if session is None:
        return ""
    said = f"Session: {session.title}. Its lessons ({', '.join(session.lessons)}) ask in its numbers."
    if session.seed_kind == "each" and not learner:
        said += " Keep your name first: your numbers are made from it."
    return html.paragraph(said)


def cases_html(answers: tuple[Stated, ...]) -> str:
    """How the cases of the visit went, in a sentence with a link; nothing if none was taken."""
    if not answers:
        return ""
    link = f'<a href="{VISIT.file}">{VISIT.name}</a>'
    return f"<p>Cases, {link}: {escape(tidy(calibration_words(answers)))}</p>"


def lesson_rows(standings: tuple[LessonStanding, ...]) -> list[tuple[str, ...]]:
    """The rows of the progress table: every lesson, tried or not; scores are means over the items tried."""
    by_lesson = {one.lesson: one for one in standings}
    rows: list[tuple[str, ...]] = [("Lesson", "Items tried", "Answers", "Best score", "Last score", "First", "Last")]
    for lesson, title in LESSONS.items():
        name, one = f"{lesson} {title}", by_lesson.get(lesson)
        if one is None:
            rows.append((name, f"0 of {len(items_of(lesson))}", "0", "not tried yet", "", "", ""))
            continue
        share = f"{one.items} of {len(items_of(lesson))}"
        dates = (one.first_time[:10], one.last_time[:10])
        rows.append((name, share, str(one.attempts), f"{one.best:.0%}", f"{one.last:.0%}", *dates))
    return rows
