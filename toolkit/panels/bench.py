"""The bench: a panel on which controls make a scenario, the scenario is run, and pictures and words show the run.

A lesson gives a `Bench` (what can be set, and one plain function from the settings to what is shown) and gets a
`Panel`, whose `update` puts what is shown on the screen. Pictures are kept and updated; nothing is drawn from a failed
run, the words of the error stand in the sentence's place and the last good pictures are dimmed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import lru_cache
from html import escape
from typing import Any

import ipywidgets

from toolkit.errors import CourseError
from toolkit.figures.chart import TimeChart
from toolkit.figures.data import ChartSpec
from toolkit.figures.style import ViewMode
from toolkit.panels.compare import Compare, alone, with_other
from toolkit.panels.controls import GROUPS, Choice, ChoiceRow, Control, Slider, SliderRow
from toolkit.panels.play import Player
from toolkit.panels.shown import Settings, Shown
from toolkit.simulation import simulate

__all__ = ["MOMENT", "UNITS", "Bench", "Panel", "Settings", "Shown", "gauges_html", "run", "words_html"]

UNITS = Choice("units", "Units", "view", (("US (in. w.c., psi, scfh)", "us"), ("metric (mbar, bar, m³/h)", "metric")))
MOMENT = "moment"  # the key of the slider that can be played in time


@dataclass(frozen=True)
class Bench:
    """What a lesson puts on its panel. `show` is a plain function of the settings (SI values by key).

    A `wide` drawing stands over its chart, not beside it. `without` are the words for the bench without the lesson's
    layer ("without the monitor") and the changes of settings that take it away. `handout` are the changes of the
    starting settings at which the panel stands frozen on a printed page, a picture each. With `words_first` words and
    gauges stand over a wide drawing, where what is read counts for more than what is seen.
    """

    title: str
    controls: tuple[Control, ...]
    show: Callable[[Settings], Shown]
    wide: bool = False
    without: tuple[str, Settings] | None = None
    handout: tuple[Settings, ...] = field(default=({},))
    words_first: bool = False

    def start(self, units: str) -> dict[str, Any]:
        """The settings with which the panel opens in a display set: what an explanation computes with."""
        starts = {c.key: c.start if isinstance(c, Slider) else c.options[0][1] for c in self.controls}
        return starts | {"units": units}


# A run is a plain value of its scenario, so going back to a setting, or moving the moment, costs no new run.
run = lru_cache(maxsize=64)(simulate)


class Panel(ipywidgets.VBox):  # type: ignore[misc]
    """The widgets of a Bench. `shown` is what stands on it, `error` the words of a refusal or ''."""

    def __init__(self, bench: Bench, units: str = "us", screen: ViewMode = "desk") -> None:
        self.bench, self.error, self.screen = bench, "", screen
        self.shown: Shown | None = None
        self._charts: dict[ChartSpec, TimeChart] = {}
        controls = (*bench.controls, UNITS)
        self.rows: dict[str, SliderRow | ChoiceRow] = {
            c.key: SliderRow(c, units, self.update) if isinstance(c, Slider) else ChoiceRow(c, self.update)
            for c in controls
        }
        self._drawing, self._chart, self._ladder, self._gauges, self._words = (ipywidgets.HTML() for _ in range(5))
        self._ladder.add_class("gp-ladder")
        moment = self.rows.get(MOMENT)
        self.player = Player(moment) if isinstance(moment, SliderRow) else None
        self.compare = Compare(lambda: self.settings, bench.without, self.update)
        bank = self._bank(controls)
        self._fold = ipywidgets.ToggleButton(description="Controls", tooltip="Show or fold the controls")
        self._reveal = ipywidgets.ToggleButton(description="Reveal", tooltip="Show or hide what happened in words")
        for toggle, names in ((self._fold, "gp-folded"), (self._reveal, "gp-hidden")):
            self._toggles(toggle, names)
        stage = ipywidgets.HBox([self._fold, self._reveal])
        stage.add_class("gp-stage")
        pictures = ipywidgets.HBox([self._drawing, self._chart])
        pictures.add_class("gp-pictures")
        play = [self.player] if self.player else []
        if bench.wide:
            # beside a wide drawing stand the controls, so that both are in sight; under it chart and ladder
            pictures.children = [*pictures.children, self._ladder]
            pictures.add_class("gp-wide")
            seen, said = [pictures, *play], [self._gauges, self._words]
            column = ipywidgets.VBox([*said[::-1], *seen] if bench.words_first else [*seen, *said])
            column.add_class("gp-column")
            body = [ipywidgets.HBox([column, bank])]
            body[0].add_class("gp-body")
            if bench.words_first:
                body[0].add_class("gp-words-first")
        else:
            # what is moved and what moves stay in one sight; the story stands under both
            body = [pictures, *play, self._gauges, bank, self._words]
        super().__init__([stage, *body])
        self.add_class("gp-panel")
        self.rows["units"].value = units
        self.show_on(screen)

    @property
    def settings(self) -> dict[str, Any]:
        """The values of all controls, SI."""
        return {key: row.value for key, row in self.rows.items()}

    def show_on(self, screen: ViewMode) -> None:
        """Show it for the desk, or with larger letters, thicker lines and folded controls for a projector."""
        self.screen = screen
        (self.add_class if screen == "projector" else self.remove_class)("gp-projector")
        self.update()

    def update(self) -> None:
        """Show the settings; a refusal shows its words and dims the pictures."""
        units = self.settings["units"]
        for row in self.rows.values():
            row.show_in(units)  # first, since a quantity at the end of its range may move a little
        settings = self.settings
        try:
            shown = self._show(settings)
            other = self.compare.other(settings)
            if other == settings:
                shown = alone(shown, self.compare.words)
            elif other is not None:
                shown = with_other(shown, self._show(other), self.compare.words)
            chart = self._charts.get(shown.spec)
            if chart is None:
                chart = self._charts[shown.spec] = TimeChart(shown.spec)
            picture = chart.draw(shown.chart)
        except CourseError as error:
            self.error = str(error)
            self._words.value = f"<div class='gp-refused' role='alert'><b>Not run.</b> {escape(self.error)}</div>"
            self._gauges.value = ""
            self.add_class("gp-stale")
            return
        if self.error:
            self.error = ""
            self.remove_class("gp-stale")
        self.shown = shown
        self._chart.value = picture
        self._drawing.value = shown.drawing
        self._ladder.value = shown.ladder
        self._gauges.value = gauges_html(shown)
        # apart from the gauges: a screen reader says the sentence anew only where it is another one
        self._words.value = words_html(shown)

    def _show(self, settings: Settings) -> Shown:
        """What the bench shows, in the sizes of the screen."""
        shown = self.bench.show({**settings, "screen": self.screen})
        if self.screen == "desk":
            return shown
        return replace(shown, spec=replace(shown.spec, view=self.screen, size=None))

    def _bank(self, controls: tuple[Control, ...]) -> ipywidgets.HBox:
        """The controls in their groups; the moment is played under the pictures."""
        groups = []
        for group, title in GROUPS.items():
            members = [self.rows[c.key] for c in controls if c.group == group and not (self.player and c.key == MOMENT)]
            if group == "view":
                members.append(self.compare)
            if members:
                box = ipywidgets.VBox([ipywidgets.HTML(f"<h3 class='gp-group'>{title}</h3>"), *members])
                box.add_class("gp-group-box")
                groups.append(box)
        bank = ipywidgets.HBox(groups)
        bank.add_class("gp-bank")
        return bank

    def _toggles(self, toggle: ipywidgets.ToggleButton, name: str) -> None:
        """A button that takes a class from the panel and gives it back; the class counts on a projector only."""
        self.add_class(name)
        toggle.observe(lambda change: (self.remove_class if change["new"] else self.add_class)(name), "value")


def gauges_html(shown: Shown) -> str:
    """The readouts as HTML, all text escaped."""
    cells = "".join(
        f"<div class='gp-readout'><span>{escape(name)}</span><b>{escape(text)}</b></div>"
        for name, text in shown.readouts
    )
    return f"<div class='gp-readouts'>{cells}</div>"


def words_html(shown: Shown) -> str:
    """Sentence and the list of events as HTML, all text escaped."""
    events = "".join(f"<li><b>{escape(time)}</b> {escape(said)}</li>" for time, said in shown.events)
    listed = f"<details class='gp-events'><summary>What happened, in order</summary><ul>{events}</ul></details>"
    said = escape(shown.sentence).replace("\n", "<br>")
    return f"<p class='gp-sentence' aria-live='polite'>{said}</p>" + (listed if events else "")
