"""Two settings beside each other: the one on the bench, and one that was kept, or the same without the layer."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import ipywidgets

from toolkit.figures.parts import apart
from toolkit.panels.controls import Choice, ChoiceRow
from toolkit.panels.play import button
from toolkit.panels.shown import Settings, Shown

NOTHING, KEPT, WITHOUT = "nothing", "kept", "without"
KEPT_WORDS = "as kept"
# What the two share whatever was kept: how they are looked at.
LOOKED_AT = ("units", "moment", "zoom", "screen")


class Compare(ipywidgets.VBox):  # type: ignore[misc]
    """The button that keeps a setting, and the menu of what the bench is compared with."""

    def __init__(
        self,
        settings: Callable[[], Settings],
        without: tuple[str, Settings] | None,
        changed: Callable[[], None],
    ) -> None:
        self._settings, self._without, self._changed = settings, without, changed
        self.kept: dict[str, Any] | None = None
        options = [("nothing", NOTHING), ("the setting kept", KEPT)]
        if without:
            options.append((f"the same {without[0]}", WITHOUT))
        self._menu = ChoiceRow(Choice("compare", "Compare with", "view", tuple(options)), changed)
        self.keep_button = button("Keep this setting", "Keep this setting to compare with", self.keep)
        super().__init__([self._menu, self.keep_button])

    @property
    def chosen(self) -> str:
        """What the bench is compared with: NOTHING, KEPT or WITHOUT."""
        return str(self._menu.value)

    @chosen.setter
    def chosen(self, what: str) -> None:
        self._menu.value = what

    @property
    def words(self) -> str:
        """The other setting in words."""
        return self._without[0] if self._without and self.chosen == WITHOUT else KEPT_WORDS

    def keep(self) -> None:
        """Keep the setting that stands on the bench, and compare with it from now on."""
        self.kept = dict(self._settings())
        if self.chosen == KEPT:
            self._changed()
        else:
            self.chosen = KEPT

    def other(self, settings: Settings) -> dict[str, Any] | None:
        """The settings to compare with, looked at as those on the bench are; None for nothing."""
        if self.chosen == WITHOUT and self._without:
            return {**settings, **self._without[1]}
        if self.chosen == KEPT and self.kept is None:
            self.kept = dict(settings)
        if self.chosen == KEPT and self.kept is not None:
            return {**self.kept, **{key: settings[key] for key in LOOKED_AT if key in settings}}
        return None


def alone(shown: Shown, words: str) -> Shown:
    """A setting whose other one is the same, as it is once it has been kept."""
    note = f"Both are set alike: move a control, and this one stays beside it {words}."
    return replace(shown, sentence=f"{shown.sentence}\n{note}")


def with_other(shown: Shown, other: Shown, words: str, own: str = "as set") -> Shown:
    """One setting with another beside it: two drawings, both lines on one chart, each gauge and sentence twice.

    `words` name the other, `own` the first.
    """
    lines = tuple(
        replace(line, label=f"{line.label}, {words}", colour="black", dash="dashed") for line in other.chart.lines
    )
    points = tuple(replace(point, label=f"{point.label}, {words}") for point in other.chart.points)
    theirs = dict(other.readouts)
    names = [name for name, _ in shown.readouts] + [name for name in theirs if name not in dict(shown.readouts)]
    ours = dict(shown.readouts)
    return replace(
        shown,
        drawing=_pair(own.capitalize(), shown.drawing, words.capitalize(), other.drawing),
        chart=replace(shown.chart, lines=(*shown.chart.lines, *lines), points=(*shown.chart.points, *points)),
        readouts=tuple((name, f"{ours.get(name, '-')} | {theirs.get(name, '-')}") for name in names),
        sentence=f"{own.capitalize()}: {shown.sentence}\n{words.capitalize()}: {other.sentence}",
        events=(
            *(("", f"{own.capitalize()}:"),) * bool(shown.events),
            *shown.events,
            *(("", f"{words.capitalize()}:"),) * bool(other.events),
            *other.events,
        ),
    )


def _pair(first: str, drawing: str, second: str, other: str) -> str:
    """Two drawings with their captions; the second's fills get names of their own."""
    return (
        f"<div class='gp-pair'><figure><figcaption>{first}</figcaption>{drawing}</figure>"
        f"<figure><figcaption>{second}</figcaption>{apart(other, 'other')}</figure></div>"
    )
