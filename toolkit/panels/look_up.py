"""The two-minute look-up page: stop conditions, layers, what was met and read, then the suspects and the next check.

Each press makes the whole of what is asked anew and shows the answer to it; nothing is kept but what the controls say
and which checks were made.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import ipywidgets

from toolkit.classroom.record import Record as Learner
from toolkit.classroom.tables import table_of
from toolkit.diagnosis.look_up import MOST_OUTCOMES, MOST_SUSPECTS, Answer, Asked, answer, met
from toolkit.diagnosis.next_check import stops_of
from toolkit.errors import CourseError
from toolkit.panels import look_up_html as html
from toolkit.panels.look_up_ask import Ask, TableOf
from toolkit.panels.look_up_entry import away, classed, head, refused
from toolkit.panels.look_up_style import STYLE as LOOK
from toolkit.panels.look_up_trace import day_html
from toolkit.panels.page_style import STYLE
from toolkit.panels.play import button


def look_up(table_of_own: TableOf = table_of) -> LookUp:
    """The page, in the units last chosen; `table_of_own` finds the signatures of a station's own days, if any."""
    try:
        units = Learner().units()
    except CourseError:
        units = "us"  # the start page says what is wrong with the record; this page needs none
    return LookUp(units, table_of_own)


class LookUp(ipywidgets.VBox):  # type: ignore[misc]
    """The widgets of the page: `ask` is what is entered, `answer` what stands on the page."""

    def __init__(self, units: str = "us", table_of_own: TableOf = table_of) -> None:
        self.units, self.ask = units, Ask(units, self.update, table_of_own)
        self.answer: Answer | None = None
        self._traced = ""
        self._stopped, self._suspects, self._advice, self._others = (ipywidgets.HTML() for _ in range(4))
        self._trace, self._summary, self._sheet = (ipywidgets.HTML() for _ in range(3))
        self._outcomes = [pressed(self.enter, place) for place in range(MOST_OUTCOMES)]
        self._no_outcome = button(
            "Made, but it told nothing, or it could not be made", "Go on without it", lambda: self.enter(MOST_OUTCOMES)
        )
        self._days = [pressed(self.show_day, place) for place in range(MOST_SUSPECTS)]
        super().__init__(
            [
                ipywidgets.HTML(STYLE + LOOK),
                self._stop_card(),
                self._body(),
                classed(self._summary, "gp-summary"),
                classed(self._sheet, "gp-paper"),
            ]
        )
        self.add_class("gp-panel")
        self.add_class("gp-look")
        self.ask.take(self.ask.station)

    def update(self) -> None:
        """Answer what stands in the controls."""
        asked = self.ask.asked()
        self.ask.fit(asked)
        try:
            self.answer = answer(asked)
        except CourseError:
            self.ask.weights_said.value = refused("No suspect is left with a weight above 0: give one at least.")
            return
        self.ask.weights_said.value = ""
        self._show(asked, self.answer)

    def enter(self, place: int) -> None:
        """Enter what the advised check has shown: the outcome at this place, none where there is none."""
        if self.answer is None or self.answer.advice.check is None:
            return
        shown = self.answer.meanings[place].values if place < len(self.answer.meanings) else {}
        self.ask.enter(self.answer.advice.check.key, shown)
        self._advice_box.focus()

    def start_over(self) -> None:
        """Forget all that was entered."""
        self._trace.value = self._traced = ""
        self.ask.start_over()

    def show_day(self, place: int) -> None:
        """Show, or put away, the day that shows the suspect at this place best."""
        suspect = self.answer.suspects[place] if self.answer else None
        if suspect is None or suspect.run is None:
            return
        if self._traced == suspect.key:
            self._trace.value = self._traced = ""
            return
        try:
            self._trace.value, self._traced = day_html(suspect.run, self.units), suspect.key
        except CourseError as error:
            self._trace.value = refused(f"This day cannot be shown. {error}")

    def _stop_card(self) -> Any:
        mistake = button("That was entered by mistake", "Take back what calls for a stop", self.ask.take_back)
        self._undo = classed(ipywidgets.HBox([self.ask.safe, mistake]), "gp-chips")
        parts = ipywidgets.HBox([self.ask.stop_boxes, ipywidgets.HTML(html.cautions_html())])
        head = ipywidgets.HTML("<p class='gp-stop-head'>Stop first. Press what holds:</p>")
        card = ipywidgets.VBox([self._stopped, self._undo, head, classed(parts, "gp-stop-parts")])
        return classed(card, "gp-stop")

    def _body(self) -> Any:
        over = classed(button("Start over", "Forget all that was entered", self.start_over), "gp-over")
        ask = ipywidgets.VBox([self.ask.column, over])
        self._advice_box = classed(ipywidgets.VBox([self._advice]), "gp-top")
        outcomes = classed(ipywidgets.VBox([*self._outcomes, self._no_outcome]), "gp-outcomes")
        self._outcomes_part = ipywidgets.VBox([head("What did it show? Press it.", "h3"), outcomes, self._others])
        traces = classed(ipywidgets.HBox(self._days), "gp-traces")
        printed = "<button type='button' class='gp-print-button'>Print this answer on one page</button>"
        found = ipywidgets.VBox(
            [
                ipywidgets.HTML(f"<h2 id='{html.ANSWER}'>Suspects</h2>"),
                self._suspects,
                head("What to do next"),
                self._advice_box,
                self._outcomes_part,
                head("The day that shows it best", "h3"),
                traces,
                self._trace,
                ipywidgets.HTML(printed),
            ]
        )
        self._rest = ipywidgets.HBox([ask, classed(found, "gp-look-answer")])
        return classed(self._rest, "gp-look-body")

    def _show(self, asked: Asked, told: Answer) -> None:
        """Put the answer on the page."""
        stopped = bool(told.stops)
        whose, theirs = self.ask.whose()
        self._stopped.value = html.stopped_html(told)
        away(self._undo, not (stops_of(met(asked)[0])))
        away(self._rest, stopped)
        said = self.ask.said
        self._suspects.value = said(html.suspects_html(told))
        self._advice.value = said(html.advice_html(told))
        self._others.value = said(html.others_html(told))
        self._summary.value = said(html.summary_html(told))
        self._sheet.value = said(html.sheet_html(asked, told, self.units, whose))
        self.ask.record_said.value = html.record_html(asked, self.units, whose, theirs=theirs)
        away(self._outcomes_part, told.advice.check is None)
        for place, one in enumerate(self._outcomes):
            there = place < len(told.meanings)
            away(one, not there)
            if there:
                one.description = said(html.outcome_words(told.meanings[place]))
        for place, one in enumerate(self._days):
            suspect = told.suspects[place] if place < len(told.suspects) else None
            away(one, suspect is None or suspect.run is None)
            if suspect:
                one.description = f"Trace: {suspect.name}"
        if self._traced not in {one.key for one in told.suspects[:MOST_SUSPECTS]}:
            self._trace.value = self._traced = ""


def pressed(act: Callable[[int], None], place: int) -> Any:
    """A button of a row, whose words come later; it acts for its place in the row."""
    return button("", "", lambda: act(place))
