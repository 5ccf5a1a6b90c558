"""The small controls of the look-up page: a typed pressure with its refusal beside it, and a part that folds."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from html import escape
from typing import Any

import ipywidgets

from toolkit.diagnosis.readings import Field, typed
from toolkit.errors import QuantityError
from toolkit.units import format_pressure


class Entry(ipywidgets.VBox):  # type: ignore[misc]
    """A field for a gauge pressure in any unit. `value` is what was understood [Pa], None where nothing was.

    `last` is what was last understood; of a field that is `kept` it stands until something else is.
    """

    def __init__(self, field: Field, changed: Callable[[], None], *, kept: bool = False) -> None:
        self.field, self._changed, self._kept = field, changed, kept
        self.value: float | None = None
        self.last = 0.0
        self.text = ipywidgets.Text(
            description=field.name[:1].upper() + field.name[1:],
            placeholder=f"such as {field.usual}",
            continuous_update=False,
            style={"description_width": "auto"},
            layout=ipywidgets.Layout(width="auto"),
        )
        self._said = ipywidgets.HTML()
        self.text.observe(self._typed, "value")
        super().__init__([self.text, self._said])
        self.add_class("gp-entry")

    def put(self, pressure: float | None, units: str) -> None:
        """Put in a pressure as it is shown in a display set; None empties the field."""
        self.text.value = "" if pressure is None else format_pressure(pressure, units)

    def clear(self) -> None:
        """Empty the field."""
        self.text.value = ""

    def refuse(self, words: str) -> None:
        """Say beside the field what is wrong with it."""
        self._said.value = refused(words)

    def _typed(self, _change: object) -> None:
        try:
            self.value = typed(self.field, self.text.value)
        except QuantityError as error:
            self.value = None
            self.refuse(f"{error} {'What stood there before still counts.' if self._kept else 'It does not count.'}")
        else:
            self._said.value = ""
            if self.value is None and self._kept:
                self.refuse("Nothing stands here: what stood there before still counts.")
        if self.value is not None:
            self.last = self.value
        self._changed()


class Fold(ipywidgets.VBox):  # type: ignore[misc]
    """A part of the page behind a box to tick; `opened` is called as it is ticked."""

    def __init__(self, words: str, inside: Iterable[Any], opened: Callable[[], None] = lambda: None) -> None:
        self.box = ipywidgets.Checkbox(description=words, indent=False, layout=ipywidgets.Layout(width="auto"))
        self.box.observe(lambda change: opened() if change["new"] else None, "value")
        folded = ipywidgets.VBox(list(inside))
        folded.add_class("gp-folded")
        super().__init__([self.box, folded])
        self.add_class("gp-fold")


def head(words: str, tag: str = "h2") -> Any:
    """A heading."""
    return ipywidgets.HTML(f"<{tag}>{escape(words)}</{tag}>")


def refused(words: str) -> str:
    """A refusal as HTML, said at once by a screen reader."""
    return f"<p class='gp-refused' role='alert'>{escape(words)}</p>"


def grid(entries: Iterable[Any]) -> Any:
    """Fields beside each other, as many as fit."""
    return classed(ipywidgets.VBox(list(entries)), "gp-entries")


def classed(widget: Any, names: str) -> Any:
    """The widget with classes for the style sheet."""
    for name in names.split():
        widget.add_class(name)
    return widget


def away(widget: Any, gone: bool) -> None:
    """Take a widget off the page, or bring it back."""
    (widget.add_class if gone else widget.remove_class)("gp-away")
