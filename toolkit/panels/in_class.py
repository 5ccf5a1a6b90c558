"""The page of each learner in a class: what is asked now, and a vote on it."""

from __future__ import annotations

import asyncio
from contextlib import suppress
from typing import Any

import ipywidgets

from toolkit.classroom.ballot import BALLOTS, CLOSED, FIRST, REVEALED, SECOND, SHOWN, TALK, Ballots, Round
from toolkit.classroom.room import room_here, told_here, visitor_here
from toolkit.errors import CourseError, RoomError
from toolkit.panels.class_votes import NAMES, STYLE, answer_html, asked_html, letter, question_of, tally_html
from toolkit.panels.page_style import STYLE as PAGE_STYLE
from toolkit.quiz import html

LOOK_SECONDS = 1.0
NOTHING = "Nothing is asked yet. The question comes up here by itself."
ALONE = "This page belongs to a class that is served (course serve). Here is no class."


def in_class() -> ipywidgets.VBox:
    """The page of this visitor; it follows the class by itself."""
    room = room_here()
    if room is None:
        return ipywidgets.HTML(PAGE_STYLE + STYLE + f"<div class='gp-quiz gp-class'>{html.paragraph(ALONE)}</div>")
    page = InClass(Ballots(room), visitor_here())
    page.follow()
    return page.box


class InClass:
    """What a voter sees of the class. `look` brings it up to date, `vote` is what the button does."""

    def __init__(self, ballots: Ballots, voter: str) -> None:
        self.ballots, self.voter = ballots, voter
        self.round: Round | None = None
        self.body, self.answer, self.said = ipywidgets.HTML(), ipywidgets.HTML(), ipywidgets.HTML()
        self.options = ipywidgets.RadioButtons(options=[], layout={"width": "auto"}, tooltip="Your vote")
        self.button = ipywidgets.Button(description="Vote", tooltip="Vote", layout={"width": "auto"})
        self.button.on_click(lambda _: self.vote())
        self.box = ipywidgets.VBox(
            [
                ipywidgets.HTML(html.STYLE + PAGE_STYLE + STYLE),
                self.body,
                self.options,
                self.button,
                self.said,
                self.answer,
            ]
        )
        for name in ("gp-quiz", "gp-class"):
            self.box.add_class(name)
        self._show(None)

    def follow(self) -> None:
        """Look again and again, as long as the page's kernel lives."""
        self._task = asyncio.get_running_loop().create_task(self._follow())

    async def _follow(self) -> None:
        while True:
            self.look()
            await asyncio.sleep(LOOK_SECONDS)

    def look(self) -> None:
        """Show what is asked now, where it has changed."""
        with suppress(RoomError):  # a moment's trouble with the file: the next look may do
            now = self.ballots.now()
            if now != self.round:
                self._show(now)

    def vote(self) -> None:
        """Hand in what is chosen."""
        if self.round is None or self.options.value is None:
            self.said.value = html.note("Nothing is chosen yet. Choose an answer first.", "alert")
            return
        try:
            self.ballots.vote(self.voter, self.round.number, self.options.value)
        except RoomError as error:
            self.said.value = html.note(told_here(error), "alert")
            return
        self.said.value = _standing(self.options.value)

    def _show(self, now: Round | None) -> None:
        """Show a round. What cannot be read is tried again at the next look: `round` is set once all of it is shown."""
        same = now is not None and self.round is not None and now.number == self.round.number
        found, failed = None, ""
        try:
            found = question_of(now) if now else None
        except CourseError as error:
            failed = html.note(told_here(error), "alert")
        if now is None or found is None:
            self.body.value = html.note(NOTHING) if now is None else failed
            self._put(self.options, self.button, on=False)
            self.answer.value, self.said.value, self.round = "", "", now
            return
        question, vote = found
        # After a first vote it stays in sight while it is talked over; the second one begins with nothing chosen.
        ballot = FIRST if now.phase in (SHOWN, FIRST, TALK) else SECOND
        mine = self.ballots.mine(self.voter, now.number, ballot)
        answer = ""
        if now.phase in (CLOSED, REVEALED):
            counts = [(NAMES[one], self.ballots.counts(now.number, one, len(vote.options))) for one in BALLOTS]
            answer = tally_html(vote, counts, now.phase == REVEALED)
        if now.phase == REVEALED:
            answer += answer_html(vote)
        self.body.value = asked_html(now, question)
        if not same:
            self.options.options = [(f"{letter(n)}  {words}", n) for n, words in enumerate(vote.options)]
        self.options.value = mine
        self._put(self.options, on=True)
        self.options.disabled = not now.open
        self._put(self.button, on=now.open)
        self.answer.value = answer
        self.said.value = _standing(mine) if now.open and mine is not None else ""
        if now.phase == TALK:
            first = "You have not voted." if mine is None else "Your first vote stands."
            self.said.value = html.note(f"{first} What others chose is shown after the second vote.")
        self.round = now

    @staticmethod
    def _put(*parts: Any, on: bool) -> None:
        for part in parts:
            part.layout.display = "" if on else "none"


def _standing(choice: int) -> str:
    return html.note(f"Your vote is {letter(choice)}. You may change it until the vote closes.")
