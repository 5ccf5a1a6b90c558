"""The instructor prepares a session: a field for each key of its file, what it means, the file, the exam and its key.

What stands in the fields is written as a session file and read again as any other is, so that there is one reader
and its words are the ones that stand beside the field.
"""

from __future__ import annotations

import re
from base64 import b64encode
from collections.abc import Callable, Mapping
from html import escape
from typing import Any

import ipywidgets

from toolkit.classroom.record import Record
from toolkit.classroom.review import Day
from toolkit.classroom.room import Room, room_here
from toolkit.classroom.session import (
    TABLES,
    SeedKind,
    Session,
    document_of,
    session_of,
    shipped_session,
    shipped_sessions,
    toml_of,
)
from toolkit.classroom.session_words import other_day, preview, sittings
from toolkit.errors import CourseError, ScenarioError
from toolkit.panels.class_votes import button
from toolkit.panels.exam_pages import exam_pages
from toolkit.panels.handout import PAPERS
from toolkit.panels.page_style import STYLE as PAGE_STYLE
from toolkit.panels.progress import LINK
from toolkit.quiz import html
from toolkit.quiz.cases import LESSONS
from toolkit.quiz.items import SECTIONS
from toolkit.station_file import MOST_CHARACTERS, shipped_station, shipped_stations

# Short enough for the field; what it means says it in full.
KINDS: Mapping[SeedKind, str] = {
    "same": "same: one seed for all",
    "each": "each: other numbers for each",
    "own": "own: whatever the course draws",
}
# What a page begins with where nothing else is known: the course's own mark, in per cent, for each section.
MARK = "80"
# In the order of the file; each key of the file has its label.
LABELS: Mapping[str, str] = {
    "session.title": "Title",
    "session.about": "About",
    "session.station": "Station",
    "session.lessons": "Lessons",
    "session.covered_tasks": "Covered tasks",
    "session.instructor": "Instructor",
    "session.opens": "First day",
    "session.closes": "Last day",
    "session.learners": "Learners",
    "seed.kind": "Numbers",
    "seed.number": "Seed",
    **{
        f"pass_marks.{key}": f"Enough in {section}, %"
        for section, key in zip(SECTIONS, TABLES["pass_marks"], strict=True)
    },
}
HINTS: Mapping[str, str] = {
    "session.about": "May be left out.",
    "session.opens": "May be left out: then no day is too early.",
    "session.closes": "May be left out: then no day is too late.",
    "session.covered_tasks": "One a line, by number and name, from your operator's own list.",
    "session.learners": "One name a line. May be left out.",
    "session.lessons": "Whose questions are asked.",
}
KEEP_APART = "The key is a file of its own. Keep it where no learner comes."
OTHER_SESSION = (
    "The class has another session already. What was answered in its numbers stays in the records, and does not count "
    "by this one. Press again to give this one in its place."
)
STYLE = """<style>
.gp-prepare{max-width:1240px!important}
.gp-prepare .gp-two{flex-flow:row wrap;gap:6px 28px;align-items:flex-start;overflow:hidden}
.gp-prepare .gp-two>*{flex:1 1 420px;min-width:min(400px,100%);overflow:hidden}
.gp-prepare pre{white-space:pre-wrap;overflow-wrap:anywhere;font-size:13px;line-height:1.4;color:#000;background:#fff;
  border:1px solid #8c8c8c;border-radius:4px;padding:8px 10px;margin:2px 0;max-height:340px;overflow:auto}
.gp-prepare pre:focus-visible{outline:3px solid #0072B2;outline-offset:1px}
.gp-prepare .gp-lessons{flex-flow:row wrap}
.gp-prepare .gp-lessons .widget-checkbox{flex:1 1 205px;width:auto;margin:0;height:auto;min-height:26px}
.gp-prepare .gp-lessons .widget-label-basic{height:auto;line-height:1.25;align-items:flex-start}
.gp-prepare .widget-label,.gp-prepare .widget-label-basic span{white-space:normal;line-height:1.25;overflow:visible;
  height:auto}
.gp-prepare .widget-textarea{height:auto}
</style>"""


def prepare() -> ipywidgets.VBox:
    """The page: on it the session of the class that is served here, if there is one, else the form with today's day."""
    record, folder = Record(), room_here()
    room = Room(folder) if folder else None
    try:
        units = record.units()
    except CourseError:
        units = "us"
    made = Prepare(record.local_day(), units, room)
    try:
        held = room.session() if room else None
    except CourseError as error:
        made.loaded.value = html.note(str(error), "alert")
        held = None
    if held:
        made.fill(held)
    return made.box


class Prepare:
    """The form. `look` shows what its fields mean; `load`, `make_exam` and `give` are what its buttons do.

    `session` is what stands in the fields, None as long as they make none; `text` is its file.
    """

    def __init__(self, today: Day, units: str = "us", room: Room | None = None) -> None:
        self.units, self.room = units, room
        self.session: Session | None = None
        self.text = ""
        self._order: tuple[str, ...] = ()
        self._filling = False
        self._sure = False  # that the class's session is to be replaced
        self.fields = _fields(today)
        self.lessons = {
            number: ipywidgets.Checkbox(description=f"{number} {title}", indent=False)
            for number, title in LESSONS.items()
        }
        self.told = {key: ipywidgets.HTML() for key in LABELS}
        self.preview, self.file, self.exams, self.loaded, self.given = (ipywidgets.HTML() for _ in range(5))
        self.pasted = ipywidgets.Textarea(
            placeholder="[session] ...", rows=4, description="Pasted file", tooltip="Pasted file"
        )
        self.upload = ipywidgets.FileUpload(
            accept=".toml", description="Choose a session file", tooltip="Choose a session file"
        )
        self.sitting = ipywidgets.Dropdown(options=[], description="Exam for", tooltip="Exam for")
        self.paper = ipywidgets.Dropdown(
            options=[(name, key) for key, name in PAPERS.items()], description="Paper", tooltip="Paper"
        )
        self.exam_button = button("Make the exam and its key", self.make_exam)
        self.give_button = button("Give it to this class", self.give)
        for field in (self.pasted, self.sitting, self.paper, *self.fields.values()):
            field.style, field.layout = {"description_width": "140px"}, {"width": "auto", "max_width": "560px"}
        self.upload.layout = {"width": "auto", "align_self": "flex-start"}
        self.upload.observe(lambda _: self.take_upload(), "value")
        for field in (*self.fields.values(), *self.lessons.values()):
            field.observe(lambda _: self.look(), "value")
        self.box = self._laid_out()
        self.look()

    def document(self) -> dict[str, dict[str, Any]]:
        """What stands in the fields, as tables and keys of the file; a number that is none stays as it was typed."""
        values: dict[str, Any] = {key: _typed(key, field.value) for key, field in self.fields.items()}
        # A file that was loaded keeps its order; what is ticked beside it comes after, in the course's.
        ticked = [number for number, box in self.lessons.items() if box.value]
        last = len(self._order)
        values["session.lessons"] = tuple(
            sorted(ticked, key=lambda one: self._order.index(one) if one in self._order else last)
        )
        found: dict[str, dict[str, Any]] = {table: {} for table in TABLES}
        for name in LABELS:
            table, key = name.split(".")
            found[table][key] = values[name]
        return found

    def look(self) -> None:
        """Show what the fields mean, or beside one of them what is wrong with it."""
        if self._filling:
            return
        self.fields["seed.number"].disabled = self.fields["seed.kind"].value == "own"
        self.text = toml_of(self.document())
        said: dict[str, str] = {}
        try:
            self.session = session_of(self.text)
        except ScenarioError as error:
            self.session = None
            said[_where(error.field, self.text)] = html.note(str(error))
        for key, told in self.told.items():
            told.value = said.get(key, "")
        self._show()

    def load(self, text: str) -> None:
        """Put a session file into the fields; one that will not do changes nothing, and is told."""
        try:
            self.fill(session_of(text))
            self.loaded.value = html.note("Loaded. Change what is other in your class.")
        except ScenarioError as error:
            self.loaded.value = html.note(str(error), "alert")

    def take_upload(self) -> None:
        """Load the file that was chosen."""
        if not self.upload.value:
            return
        data = bytes(self.upload.value[0].content)
        try:
            # What is too long is told by the reader; a sign takes at most four bytes.
            self.load(data[: 4 * MOST_CHARACTERS + 4].decode("utf-8-sig"))
        except UnicodeDecodeError:
            self.loaded.value = html.note("It is no text in UTF-8, a session file was expected. Save it so.", "alert")

    def fill(self, session: Session) -> None:
        """Put a session into the fields."""
        document = document_of(session)
        self._filling = True
        self._order = session.lessons
        for name, field in self.fields.items():
            table, key = name.split(".")
            field.value = _shown(field, document[table].get(key))
        for number, box in self.lessons.items():
            box.value = number in session.lessons
        self._filling = False
        self.look()

    def make_exam(self) -> None:
        """Make the exam and its key, each as a file to save, from one seed."""
        if self.session is None or self.sitting.value is None:
            return
        place = self.sitting.value
        everybody = sittings(self.session)
        learner, seed = everybody[place]
        self.exams.value = html.note("One moment: the questions are made.")
        try:
            exam, key = exam_pages(self.session, learner, seed, self.units, self.paper.value)
        except CourseError as error:
            self.exams.value = html.note(str(error), "alert")
            return
        stem = "exam" if len(everybody) == 1 else f"exam_{place + 1:02}"
        links = _link(f"{stem}.html", "text/html", exam) + _link(f"{stem}_key.html", "text/html", key)
        words = html.paragraph(f"{learner or 'Everybody'}: seed {seed}. {KEEP_APART}")
        self.exams.value = f'<div class="gp-note" role="status">{links}{words}</div>'

    def give(self) -> None:
        """Let the class that is served here be asked by this session from now on."""
        if self.session is None or self.room is None:
            return
        try:
            if not self._sure and self._other_session():
                self._sure = True
                self.given.value = html.note(OTHER_SESSION, "alert")
                return
            self.room.take_session(self.text)
        except CourseError as error:
            self.given.value = html.note(str(error), "alert")
            return
        self._sure = False
        self.given.value = html.note(
            "Given. From now on the class is asked in these numbers; a quiz that is open takes them up when its page "
            "is opened anew."
        )
        if warning := other_day(self.session, Record().now()):
            self.given.value += html.note(warning, "alert")

    def _other_session(self) -> bool:
        """Whether the class has another session than the one in the fields; a spoilt one counts as none."""
        assert self.room is not None
        try:
            held = self.room.session()
        except CourseError:
            return False
        return held is not None and held != self.session

    def _show(self) -> None:
        found = self.session
        self.given.value, self._sure = "", False
        self.exams.value = ""  # one of other questions must not be saved for this one's
        self.exam_button.disabled = self.give_button.disabled = found is None
        people: list[tuple[str, int]] = []
        if found is None:
            self.preview.value = html.paragraph("What it means stands here as soon as nothing is missing.")
            self.file.value = html.paragraph("So does the file.")
        else:
            self.preview.value = _words(preview(found), "What the session means")
            name = f"session_{found.opens}.toml" if found.opens else "session.toml"
            self.file.value = _link(name, "application/toml", self.text) + _words(self.text, "The session file")
            try:
                people = [(name or "everybody", place) for place, (name, _) in enumerate(sittings(found))]
            except CourseError as error:
                self.exams.value = html.note(str(error))
                self.exam_button.disabled = True
        if tuple(people) != self.sitting.options:
            # In one message: told of new options alone, the page takes none of them.
            with self.sitting.hold_sync():
                self.sitting.options = people
                self.sitting.index = None
                self.sitting.index = 0 if people else None

    def _laid_out(self) -> ipywidgets.VBox:
        rows: list[Any] = []
        for key in LABELS:
            if key == "session.lessons":
                ticks = ipywidgets.HBox(tuple(self.lessons.values()))
                ticks.add_class("gp-lessons")
                rows += [ipywidgets.HTML(html.paragraph(f"Lessons. {HINTS[key]}")), ticks]
            else:
                rows += [self.fields[key]]
            rows.append(self.told[key])
        loading = [
            ipywidgets.HTML(html.paragraph("Or load a file", "h3")),
            self.upload,
            self.pasted,
            button("Load what is pasted", lambda: self.load(self.pasted.value)),
            button("Load the course's example", lambda: self.load(shipped_session(shipped_sessions()[0]))),
            self.loaded,
        ]
        out = [
            ipywidgets.HTML(html.paragraph("What it means", "h3")),
            self.preview,
            ipywidgets.HTML(html.paragraph("The file", "h3")),
            self.file,
            *([self.give_button, self.given] if self.room else []),
            ipywidgets.HTML(html.paragraph("The exam on paper", "h3")),
            self.sitting,
            self.paper,
            self.exam_button,
            self.exams,
            *loading,
        ]
        two = ipywidgets.HBox([ipywidgets.VBox(rows), ipywidgets.VBox(out)])
        two.add_class("gp-two")
        box = ipywidgets.VBox([ipywidgets.HTML(html.STYLE + PAGE_STYLE + STYLE), two])
        for name in ("gp-quiz", "gp-prepare"):
            box.add_class(name)
        return box


def _fields(today: Day) -> dict[str, Any]:
    """A field for each key of the file but the lessons, which have a box to tick each."""
    stations = [(f"{shipped_station(name).title} ({name})", name) for name in shipped_stations()]
    made: dict[str, Any] = {
        "session.title": ipywidgets.Text(),
        "session.about": ipywidgets.Text(),
        "session.station": ipywidgets.Dropdown(options=stations),
        "session.covered_tasks": ipywidgets.Textarea(rows=3),
        "session.instructor": ipywidgets.Text(),
        "session.opens": ipywidgets.DatePicker(value=today),
        "session.closes": ipywidgets.DatePicker(value=today),
        "session.learners": ipywidgets.Textarea(rows=4),
        "seed.kind": ipywidgets.Dropdown(options=[(words, kind) for kind, words in KINDS.items()]),
        "seed.number": ipywidgets.Text(value=f"{today:%Y%m%d}"),
        **{key: ipywidgets.Text(value=MARK) for key in LABELS if key.startswith("pass_marks.")},
    }
    for key, field in made.items():
        field.description, field.tooltip = LABELS[key], f"{LABELS[key]}. {HINTS.get(key, '')}".strip()
        if hasattr(field, "placeholder"):
            field.placeholder = HINTS.get(key, "")
    return made


def _typed(key: str, value: Any) -> Any:
    """A field's value as it goes into the file."""
    if key in ("session.covered_tasks", "session.learners"):
        return tuple(line.strip() for line in value.splitlines() if line.strip())
    if key == "seed.number" or key.startswith("pass_marks."):
        kind: Callable[[str], Any] = int if key == "seed.number" else float
        try:
            number = kind(value)
        except ValueError:
            return value.strip()
        return int(number) if number == number and abs(number) < 1e15 and number == int(number) else number
    return value


def _where(field: str, text: str) -> str:
    """The key of LABELS that an error is about: the one it names, or the one that its line belongs to."""
    line = re.fullmatch(r"line (\d+)", field)
    if line:
        above = [one.partition(" = ")[0] for one in text.splitlines()[: int(line[1])] if " = " in one]
        return next((key for key in LABELS if above and key.endswith(f".{above[-1]}")), "session.title")
    return next((key for key in LABELS if field.startswith(key)), "session.title")


def _shown(field: Any, value: Any) -> Any:
    """A value of the file as its field takes it."""
    if isinstance(value, tuple):
        return "\n".join(value)
    if isinstance(field, ipywidgets.Text):
        return "" if value is None else str(value)
    return value


def _words(text: str, name: str) -> str:
    """A text in its own lines, which the keyboard reaches so that it can be scrolled and copied."""
    return f'<pre tabindex="0" role="region" aria-label="{escape(name)}">{escape(text)}</pre>'


def _link(name: str, kind: str, text: str) -> str:
    """A link that saves a text as a file."""
    data = b64encode(text.encode("utf-8", "replace")).decode("ascii")
    shown = escape(name)
    return f'<p><a style="{LINK}" download="{shown}" href="data:{kind};base64,{data}">Save {shown}</a></p>'
