"""The instructor's board: puts one seeded question before the class, takes two votes on it, and reveals the answer.

It works with pages (a class that is served) and with hands alone (a projector and no network).
"""

from __future__ import annotations

import asyncio
from contextlib import suppress
from typing import Any

import ipywidgets

from toolkit import course
from toolkit.classroom.ballot import BALLOTS, CLOSED, FIRST, REVEALED, SECOND, SHOWN, TALK, Ballots, Round
from toolkit.classroom.record import Record
from toolkit.classroom.room import Room, folder_for_hands, room_here
from toolkit.classroom.session import LARGEST_SEED, Session
from toolkit.errors import CourseError, RoomError
from toolkit.panels.class_list import ClassList
from toolkit.panels.class_votes import (
    LARGE,
    NAMES,
    STYLE,
    answer_html,
    asked_html,
    button,
    letter,
    question_of,
    tally_html,
)
from toolkit.panels.page_style import STYLE as PAGE_STYLE
from toolkit.quiz import html
from toolkit.quiz.cases import items_of
from toolkit.quiz.items import offer
from toolkit.quiz.trouble_case import LEVELS, places
from toolkit.quiz.voting import CASE_ASKS, Vote, can_be_voted_on, case_key, item_of, vote_of

LOOK_SECONDS = 1.0
# What the one button does next, by the phase that stands.
NEXT = {
    SHOWN: "Open the first vote",
    FIRST: "Close it: talk it over",
    TALK: "Open the second vote",
    SECOND: "Close it and show the votes",
    CLOSED: "Reveal the answer",
    REVEALED: "",
}


def board() -> ipywidgets.VBox:
    """The board of the class that is served here, or of a class that votes by hands."""
    room = room_here()
    made = Board(Ballots(room or folder_for_hands()), Room(room) if room else None)
    made.follow()
    return made.box


class Board:
    """What the instructor steers. `show`, `go_on` and `count_hands` are what the buttons and fields do."""

    def __init__(self, ballots: Ballots, room: Room | None = None) -> None:
        self.ballots, self.room = ballots, room
        self.units = _units()
        self.session, told = _session(room)
        self.held = ipywidgets.HTML(told)
        first = self.session.lessons if self.session else ()
        # The session's own lessons come first; a case for all comes last.
        lessons = sorted(course.LESSONS, key=lambda one: first.index(one.number) if one.number in first else len(first))
        self.lesson = ipywidgets.Dropdown(
            options=[(one.name + (" (session)" if one.number in first else ""), one.number) for one in lessons]
            + [(f"{course.VISIT.name}: a case for all", course.VISIT.number)],
            description="Lesson",
            tooltip="Lesson",
        )
        self.level = ipywidgets.Dropdown(
            options=[(f"{level}: {words}", level) for level, words in LEVELS.items()],
            description="Level",
            tooltip="Level",
        )
        self.place = ipywidgets.Dropdown(
            options=[("any station", None), *((one.replace("_", " "), one) for one in places())],
            description="Station",
            tooltip="Station",
        )
        self.item = ipywidgets.Dropdown(options=[], description="Question", tooltip="Question")
        self.seed = ipywidgets.BoundedIntText(
            value=1,
            min=0,
            max=LARGEST_SEED,
            description="Seed",
            tooltip="Seed: the same seed gives the same numbers",
        )
        if self.session and self.session.seed is not None:
            self.seed.value = self.session.seed
        for field in (self.lesson, self.level, self.place, self.item, self.seed):
            field.layout, field.style = {"width": "auto", "max_width": "640px"}, {"description_width": "initial"}
        self.show_button = button("Show the question", self.show)
        self.next_button = button("", self.go_on)
        self._large = ipywidgets.HTML()
        self.projector = ipywidgets.ToggleButton(description="Projector view", tooltip="Larger, for a projector")
        self.projector.add_class("gp-switch")
        self.projector.observe(lambda _: self._dress(), "value")
        self.other_button = button("Choose another question", self.choose_another)
        self.said, self.body, self.tally = ipywidgets.HTML(), ipywidgets.HTML(), ipywidgets.HTML()
        self.hands = ipywidgets.VBox()
        self.choose = ipywidgets.VBox(
            [self.lesson, self.level, self.place, self.item, self.seed, self.show_button],
        )
        self.class_list = ClassList(room, first) if room else None
        self.box = ipywidgets.VBox(
            [
                ipywidgets.HTML(html.STYLE + PAGE_STYLE + STYLE),
                self._large,
                self.projector,
                self.held,
                self.choose,
                self.body,
                self.tally,
                self.next_button,
                self.hands,
                self.said,
                self.other_button,
                *([self.class_list.box] if self.class_list else []),
            ]
        )
        for name in ("gp-quiz", "gp-class"):
            self.box.add_class(name)
        self.lesson.observe(lambda _: self._list_items(), "value")
        self._list_items()
        self._counted: list[int] = []
        self.round: Round | None = None
        self.look(anew=True)

    def follow(self) -> None:
        """Count again and again, as long as the page's kernel lives."""
        self._task = asyncio.get_running_loop().create_task(self._follow())

    async def _follow(self) -> None:
        while True:
            self.look()
            await asyncio.sleep(LOOK_SECONDS)

    def show(self) -> None:
        """Put the chosen question before the class."""
        if self.item.value is None:
            self.said.value = html.note("This lesson has no question to vote on. Choose another lesson.", "alert")
            return
        self.said.value = html.note("One moment: the question is made.")
        self._do(self._ask)

    def choose_another(self) -> None:
        """Bring the choice of a question back."""
        self.choose.layout.display, self.other_button.layout.display = "", "none"
        self.lesson.focus()

    def go_on(self) -> None:
        """Take the next phase."""
        self._do(self.ballots.go_on)

    def count_hands(self, choice: int, hands: int) -> None:
        """Note how many hands went up for an option."""
        if self.round is not None and self.round.open:
            self.ballots.raise_hands(self.round.number, self.round.phase, choice, hands)
            self.look(anew=True)

    def look(self, *, anew: bool = False) -> None:
        """Show what stands now, where it has changed."""
        with suppress(CourseError):
            now = self.ballots.now()
            if anew or now != self.round:
                self._show(now)
            elif now is not None:
                self._tell_how_many(now)

    def _ask(self) -> None:
        key, seed = self.item.value, self.seed.value
        if self.lesson.value == course.VISIT.number:
            key = case_key(key, self.level.value, self.place.value)
        item = item_of(key, seed)
        # Of another day or in other numbers the options may be too few.
        if item is None or vote_of(offer(item, seed, self.units)) is None:
            raise RoomError(f"With seed {seed} this question has too few answers to vote on. Take another seed.")
        self.ballots.ask(key, seed, self.units)

    def _do(self, what: Any) -> None:
        try:
            what()
            self.said.value = ""
        except CourseError as error:
            self.said.value = html.note(str(error), "alert")
        self.look()

    def _show(self, now: Round | None) -> None:
        # What cannot be read in between is tried again at the next look: `round` is set once all of it is shown.
        changed = now is None or self.round is None or (now.number, now.phase) != (self.round.number, self.round.phase)
        found = question_of(now) if now else None
        if changed:
            # On a projector the question stands alone; what else could be asked is folded away.
            self.choose.layout.display = "none" if found else ""
            self.other_button.layout.display = "" if found else "none"
        self.next_button.layout.display = "none"
        if now is None or found is None:
            self.body.value = html.paragraph("Choose a question and show it.")
            self.tally.value, self.hands.children, self.round = "", (), now
            return
        question, vote = found
        self.body.value = asked_html(now, question)
        if NEXT[now.phase]:
            self.next_button.description = self.next_button.tooltip = NEXT[now.phase]
            self.next_button.layout.display = ""
        if now.phase in (CLOSED, REVEALED):
            counts = [(NAMES[one], self.ballots.counts(now.number, one, len(vote.options))) for one in BALLOTS]
            said = answer_html(vote) if now.phase == REVEALED else ""
            self.tally.value = tally_html(vote, counts, now.phase == REVEALED) + said
        else:
            # Until the second vote is in, nobody sees what most have chosen: they would choose it too.
            self.tally.value = html.listing([f"{letter(n)}  {words}" for n, words in enumerate(vote.options)])
        if changed:
            self.hands.children = self._hands(now, vote) if now.open else ()
        self.round = now
        self._tell_how_many(now)

    def _tell_how_many(self, now: Round) -> None:
        if not now.open:
            self.said.value = ""
            return
        voted = sum(self.ballots.counts(now.number, now.phase, 26))
        inside = f" of {len(self.room.who_is_in())} who have come in" if self.room else ""
        words = html.note(f"{voted} have voted{inside}.")
        if self.said.value != words:
            self.said.value = words

    def _hands(self, now: Round, vote: Vote) -> tuple[Any, ...]:
        """A field for each option, for who votes by hand, with the hands that were counted for it."""
        fields = []
        for choice, counted in enumerate(self.ballots.hands(now.number, now.phase, len(vote.options))):
            name = f"Hands for {letter(choice)}"
            field = ipywidgets.BoundedIntText(value=counted, min=0, max=999, description=name, tooltip=name)
            field.style, field.layout = {"description_width": "initial"}, {"width": "auto", "max_width": "320px"}
            field.observe(lambda change, choice=choice: self.count_hands(choice, change["new"]), "value")
            fields.append(field)
        return tuple(fields)

    def _list_items(self) -> None:
        case = self.lesson.value == course.VISIT.number
        for field in (self.level, self.place):
            field.layout.display = "" if case else "none"
        if case:
            found = [(words, key) for key, words in CASE_ASKS.items()]
        else:
            found = [(one.objective, one.key) for one in items_of(self.lesson.value) if can_be_voted_on(one)]
        # In one message: told of new options alone, the page takes none of them, and says so.
        with self.item.hold_sync():
            self.item.options = found
            self.item.index = None
            self.item.index = 0 if found else None

    def _dress(self) -> None:
        html.on_projector(self.box, self._large, self.projector.value, LARGE)


def _session(room: Room | None) -> tuple[Session | None, str]:
    """The session that is held in a room, and what is said of it at the head of the board."""
    try:
        held = room.session() if room else None
    except CourseError as error:
        return None, html.note(str(error), "alert")
    return held, html.paragraph(f"Session: {held.title}.") if held else ""


def _units() -> str:
    try:
        return Record().units()
    except CourseError:
        return "us"
