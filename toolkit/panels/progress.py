"""The learner's own page of the record: name, units, and how each lesson stands."""

from __future__ import annotations

import ipywidgets as widgets

from toolkit.classroom.record import LessonStanding, Record, lesson_standings
from toolkit.errors import RecordError
from toolkit.panels.play import button
from toolkit.quiz import html
from toolkit.quiz.cases import LESSONS, items_of

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
        self.keep_button = button("Keep name and units", "Keep name and units", self.keep)
        self.keep_button.add_class("gp-enter")
        self.show_button = button("Show the latest results", "Show the latest results", self.show)
        self.box = widgets.VBox(
            [
                widgets.HTML(html.STYLE),
                widgets.HTML(html.paragraph("Your record", "h3")),
                self.name,
                self.units,
                widgets.HBox([self.keep_button, self.show_button]),
                self.message,
                self.table,
                self.place,
            ]
        )
        self.box.add_class("gp-quiz")
        self.show()

    def show(self) -> None:
        """Read the record and show it."""
        self.message.value = ""
        self.place.value = html.paragraph(f"The record is this file on your own machine: {self.record.path}.")
        try:
            learner, units, attempts = self.record.learner(), self.record.units(), self.record.attempts()
        except RecordError as error:
            self.table.value, self.message.value = "", html.note(str(error), "alert")
            return
        self.name.value, self.units.value = learner, units
        mine = tuple(one for one in attempts if one.attempt.learner == learner)
        if not mine:
            who = f"under the name {learner}" if learner else "yet"
            self.table.value = html.paragraph(
                f"Nothing is recorded {who}. Each answer that you check at the end of a lesson is added here."
            )
            return
        self.table.value = html.table(lesson_rows(lesson_standings(mine)), "Your results, lesson by lesson")

    def keep(self) -> None:
        """Write name and units into the record."""
        try:
            self.record.set_learner(self.name.value)
            self.record.set_units(self.units.value)
        except RecordError as error:
            self.message.value = html.note(str(error), "alert")
            return
        self.show()
        self.message.value = html.note("Kept. Open quizzes take up the units at their next start.")


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
