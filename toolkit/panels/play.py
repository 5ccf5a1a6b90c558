"""Play a run in time: the moment moves on by itself, at the speed chosen, and the pictures and gauges follow.

The page's own clock drives it: the kernel sleeps between two moments, and one that comes late is left out.
"""

from __future__ import annotations

from collections.abc import Callable

import ipywidgets

from toolkit.panels.controls import SliderRow

# A step of the clock [s]. Each shows a drawing and a chart, which takes a tenth of a second on a slow machine.
TICK = 0.2
SPEEDS = (1, 2, 5, 10, 20, 60, 300)
USUAL = 20


class Player(ipywidgets.HBox):  # type: ignore[misc]
    """Play and pause, the speed, and the slider of the moment, which can be dragged all the while."""

    def __init__(self, moment: SliderRow) -> None:
        self.moment = moment
        low, high = moment.control.low, moment.control.high
        self.clock = ipywidgets.Play(
            min=0, max=round((high - low) / TICK), step=USUAL, interval=round(1000 * TICK), show_repeat=False
        )
        self.clock.add_class("gp-clock")
        self.play_button = button("Play", "Play the run in time", self.toggle)
        self.speed = ipywidgets.Dropdown(
            options=[(f"{speed} x", speed) for speed in SPEEDS],
            value=USUAL,
            tooltip="Speed of playing",
            layout=ipywidgets.Layout(width="76px"),
        )
        self._last = moment.value
        self.clock.observe(self._ticked, "value")
        self.clock.observe(self._says, "playing")
        self.speed.observe(self._sped, "value")
        moment.layout.flex = "1 1 320px"
        super().__init__([self.play_button, self.speed, moment, self.clock])
        self.add_class("gp-player")

    def toggle(self) -> None:
        """Play from the moment shown, from the start if that is the end; or pause."""
        if self.clock.playing:
            self.clock.playing = False
            return
        low, high = self.moment.control.low, self.moment.control.high
        at = self.moment.value if self.moment.value < high else low
        self._start_at(at)
        self.moment.value = at
        self.clock.playing = True

    def _ticked(self, change: dict[str, int]) -> None:
        """The clock has gone on; where the slider was dragged meanwhile, go on from there."""
        if not self.clock.playing:
            return
        if self.moment.value != self._last:
            self._start_at(self.moment.value)
            return
        self.moment.value = self.moment.control.low + change["new"] * TICK
        self._last = self.moment.value

    def _start_at(self, moment: float) -> None:
        self._last = moment
        self.clock.value = round((moment - self.moment.control.low) / TICK)

    def _says(self, _change: object) -> None:
        self.play_button.description = "Pause" if self.clock.playing else "Play"

    def _sped(self, change: dict[str, int]) -> None:
        self.clock.step = change["new"]


def button(words: str, tooltip: str, act: Callable[[], None]) -> ipywidgets.Button:
    """A button as wide as its words."""
    made = ipywidgets.Button(description=words, tooltip=tooltip, layout=ipywidgets.Layout(width="auto"))
    made.on_click(lambda _: act())
    return made
