"""Who is in a class that is served, and how far each has come: folded away, since a projector shows the board."""

from __future__ import annotations

from collections.abc import Sequence

import ipywidgets

from toolkit.classroom.room import Room, Visitor
from toolkit.course import LESSONS, VISIT
from toolkit.errors import CourseError
from toolkit.quiz import html
from toolkit.quiz.cases import items_of

FOLDED, UNFOLDED = "Who is in", "Fold the names away"
NOBODY = "Nobody has come in yet."
UNREAD = "the record cannot be read"
# Another version of the course may have had others.
TITLES = {one.number: one.name for one in (*LESSONS, VISIT)}


class ClassList:
    """The list, and another own code for who has lost theirs. `look` reads the records, `fold` takes the names away."""

    def __init__(self, room: Room, lessons: Sequence[str] = ()) -> None:
        self.room, self.lessons = room, tuple(lessons)
        self.fold_button = ipywidgets.ToggleButton(
            description=FOLDED, tooltip="Names, and how many questions each has answered"
        )
        self.fold_button.layout = {"width": "auto", "align_self": "flex-start"}
        self.fold_button.observe(lambda _: self.fold(), "value")
        self.table, self.said = ipywidgets.HTML(), ipywidgets.HTML()
        self.who = ipywidgets.Dropdown(options=[], description="Visitor", tooltip="Visitor")
        self.who.style, self.who.layout = {"description_width": "initial"}, {"width": "auto", "max_width": "480px"}
        self.look_button = _button("Look again")
        self.look_button.on_click(lambda _: self.look())
        self.code_button = _button("Give a new own code")
        self.code_button.on_click(lambda _: self.give_code())
        self.unfolded = ipywidgets.VBox([self.table, self.look_button, self.who, self.code_button, self.said])
        self.unfolded.layout.display = "none"
        self.box = ipywidgets.VBox([self.fold_button, self.unfolded])

    def fold(self) -> None:
        """Show the names, or take them off the page."""
        shown = self.fold_button.value
        self.fold_button.description = UNFOLDED if shown else FOLDED
        self.unfolded.layout.display = "" if shown else "none"
        if shown:
            self.look()
        else:
            self.table.value = self.said.value = ""
            self._offer(())

    def look(self) -> None:
        """Read who is in and what each has answered."""
        try:
            visitors = self.room.who_is_in()
        except CourseError as error:
            self.said.value = html.note(str(error), "alert")
            return
        self.said.value = "".join(html.note(one, "alert") for one in self.room.damaged())
        self._offer(visitors)
        self.table.value = list_html(self.room, visitors, self.lessons) if visitors else html.paragraph(NOBODY)

    def give_code(self) -> None:
        """Give the chosen visitor another own code, and show it."""
        if self.who.value is None:
            return
        try:
            own = self.room.new_own_code(self.who.value)
        except CourseError as error:
            self.said.value = html.note(str(error), "alert")
            return
        name = self.who.label
        self.said.value = html.note(
            f"{name} comes in with the own code {own} from now on; the old one opens no more. Give it to nobody else: "
            "it opens this record."
        )

    def _offer(self, visitors: Sequence[Visitor]) -> None:
        chosen = self.who.value
        options = [(one.name, one.key) for one in visitors]
        keys = [key for _, key in options]
        # In one message: told of new options alone, the page takes none of them.
        with self.who.hold_sync():
            self.who.options = options
            self.who.index = None
            self.who.index = keys.index(chosen) if chosen in keys else 0 if keys else None
        self.code_button.disabled = not visitors


def list_html(room: Room, visitors: Sequence[Visitor], lessons: Sequence[str]) -> str:
    """A row a visitor: how many questions of each lesson are answered; of all lessons begun, if none are given."""
    answered = {one.key: _answered(room, one) for one in visitors}
    met = {number for found in answered.values() if found is not None for number in found}
    columns = [*lessons, *sorted(met - set(lessons))]
    rows = [("Name", "Questions answered", *(TITLES[number] for number in columns))]
    for one in visitors:
        found = answered[one.key]
        if found is None:
            rows.append((one.name, UNREAD, *("" for _ in columns)))
        else:
            total = sum(len(keys) for keys in found.values())
            rows.append((one.name, str(total), *(_share(found, number) for number in columns)))
    return html.table(rows, "Who is in, and how many questions each has answered")


def _answered(room: Room, visitor: Visitor) -> dict[str, set[str]] | None:
    """The keys of the questions that a visitor has answered, by lesson; None where the record cannot be read."""
    found: dict[str, set[str]] = {}
    try:
        for one in room.record(visitor).attempts():
            if one.attempt.lesson in TITLES:
                found.setdefault(one.attempt.lesson, set()).add(one.attempt.item_key)
    except CourseError:
        return None
    return found


def _share(found: dict[str, set[str]], number: str) -> str:
    here = len(found.get(number, ()))
    return str(here) if number == VISIT.number else f"{here} of {len(items_of(number))}"


def _button(words: str) -> ipywidgets.Button:
    return ipywidgets.Button(description=words, tooltip=words, layout={"width": "auto", "align_self": "flex-start"})
