"""A question before the bench opens. Predicting first is what makes the trying stick; it is not graded."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from html import escape

import ipywidgets

from toolkit.figures.style import ViewMode
from toolkit.panels.bench import Bench, Panel
from toolkit.panels.page_style import STYLE
from toolkit.quiz.html import on_projector


@dataclass(frozen=True)
class Prediction:
    """A question, what may be thought, which of it is right (0 is the first), and why.

    `explain(units)` gives the explanation; its numbers come from the simulation.
    """

    question: str
    options: tuple[str, ...]
    right: int
    explain: Callable[[str], str]


class PredictThenTry(ipywidgets.VBox):  # type: ignore[misc]
    """Question, then the panel, then the comparison with what was predicted.

    One switch shows the whole lesson for a projector; `screen_chosen` is told, so that the next lesson opens like it.
    """

    def __init__(
        self,
        prediction: Prediction,
        bench: Bench,
        units: str = "us",
        screen: ViewMode = "desk",
        screen_chosen: Callable[[ViewMode], None] = lambda _screen: None,
    ) -> None:
        self.prediction, self.bench, self.units, self._screen_chosen = prediction, bench, units, screen_chosen
        self.panel: Panel | None = None
        self.projector = ipywidgets.ToggleButton(
            value=screen == "projector",
            description="Projector view",
            tooltip="Larger letters, thicker lines, folded controls, and answers hidden until they are revealed",
            layout=ipywidgets.Layout(width="auto", align_self="flex-end"),
        )
        self.projector.add_class("gp-switch")
        self.projector.observe(self._switched, "value")
        question = ipywidgets.HTML(f"<p class='gp-question'><b>Predict.</b> {escape(prediction.question)}</p>")
        self._options = ipywidgets.RadioButtons(
            options=[(words, i) for i, words in enumerate(prediction.options)],
            value=None,
            layout=ipywidgets.Layout(width="100%"),
        )
        self._options.tooltip = prediction.question
        self._open_button = ipywidgets.Button(
            description="Open the bench", button_style="primary", disabled=True, layout=ipywidgets.Layout(width="auto")
        )
        self._ask_right = ipywidgets.Button(
            description="Was I right?", layout=ipywidgets.Layout(width="auto", display="none")
        )
        self._answer = ipywidgets.HTML()
        self._ask = ipywidgets.VBox(
            [question, self._options, self._open_button, ipywidgets.HBox([self._ask_right]), self._answer]
        )
        self._ask.add_class("gp-predict")
        self._options.observe(self._chosen, "value")
        self._open_button.on_click(self._opened)
        self._ask_right.on_click(self._compared)
        self._style, self._large = ipywidgets.HTML(STYLE), ipywidgets.HTML()
        super().__init__([self._style, self._large, self.projector, self._ask])
        self._dress()

    @property
    def screen(self) -> ViewMode:
        """What the lesson is shown on."""
        return "projector" if self.projector.value else "desk"

    def choose(self, option: int) -> None:
        """Pick an option, as a click on it does."""
        self._options.value = option

    def open_bench(self) -> None:
        """Open the bench; what was predicted stays readable above it."""
        if self.panel is not None or self._options.value is None:
            return
        self._options.disabled = True
        self._open_button.layout.display = "none"
        self.panel = Panel(self.bench, self.units, self.screen)
        self.children = [self._style, self._large, self.projector, self._ask, self.panel]
        # The button that was pressed is gone; the keyboard goes on from the one that takes its place.
        self._ask_right.layout.display = ""
        self._ask_right.focus()

    def tell_whether_right(self) -> None:
        """Say whether the prediction was right, and why."""
        if self.panel is None:
            return
        prediction = self.prediction
        right = self._options.value == prediction.right
        verdict = "Right." if right else f"Not quite. Right is: \u201c{prediction.options[prediction.right]}\u201d"
        why = prediction.explain(self.panel.settings["units"])
        self._answer.value = f"<p class='gp-sentence' aria-live='polite'><b>{escape(verdict)}</b> {escape(why)}</p>"

    def _switched(self, _change: object) -> None:
        self._dress()
        if self.panel is not None:
            self.panel.show_on(self.screen)
        self._screen_chosen(self.screen)

    def _dress(self) -> None:
        on_projector(self, self._large, self.projector.value)

    def _chosen(self, _change: object) -> None:
        self._open_button.disabled = self._options.value is None

    def _opened(self, _button: object) -> None:
        self.open_bench()

    def _compared(self, _button: object) -> None:
        self.tell_whether_right()
