"""The controls of a panel: sliders with a number box beside them, and choices. Values are SI, whatever is shown.

Controls stand in groups in one fixed order, on every panel: supply, settings, faults, demand, view.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import ceil, floor
from typing import Any, Literal

import ipywidgets

from toolkit.units import display_unit, from_display, to_display

# A shown number has at most so many digits after its point: 0.3 is not 0.30000000000000004.
DIGITS = 6

Group = Literal["supply", "settings", "faults", "demand", "view"]
GROUPS: dict[Group, str] = {
    "supply": "Supply",
    "settings": "Device settings",
    "faults": "Faults",
    "demand": "Demand",
    "view": "View",
}


@dataclass(frozen=True)
class Slider:
    """A quantity to set: SI `low`, `high` and `start`, shown in the display unit of `kind`.

    `steps` is how far one press of an arrow key goes, in the display unit of US and of metric.
    """

    key: str
    label: str
    group: Group
    kind: str
    low: float
    high: float
    start: float
    steps: tuple[float, float]


@dataclass(frozen=True)
class Choice:
    """One of a few things to choose: (words, value) pairs; the first is the start."""

    key: str
    label: str
    group: Group
    options: tuple[tuple[str, Any], ...]


Control = Slider | Choice


class SliderRow(ipywidgets.HBox):  # type: ignore[misc]
    """Label with unit, slider and number box of a Slider. `value` is in SI.

    The quantity is kept as it is while only the units change: the box shows it, the slider stands at the nearest step.
    The page's slider answers each number it is given with its own, off by a last bit or by the way to its next step;
    such an echo is no move.
    """

    def __init__(self, control: Slider, units: str, changed: Callable[[], None]) -> None:
        self.control, self.units, self._changed, self._kept = control, units, changed, control.start
        self._label = ipywidgets.HTML(layout=ipywidgets.Layout(width="100%"))
        self._slider = ipywidgets.FloatSlider(readout=False, layout=ipywidgets.Layout(width="auto", flex="1 1 auto"))
        self._box = ipywidgets.BoundedFloatText(layout=ipywidgets.Layout(width="72px"))
        row = ipywidgets.HBox([self._slider, self._box], layout=ipywidgets.Layout(align_items="center"))
        super().__init__([ipywidgets.VBox([self._label, row], layout=ipywidgets.Layout(width="100%"))])
        self.add_class("gp-control")
        self._at = self._typed = 0.0
        self._quiet = False
        self._slider.observe(self._moved, "value")
        self._box.observe(self._entered, "value")
        self._show()

    @property
    def value(self) -> float:
        """The quantity set, SI, inside the control's range."""
        return self._kept

    @value.setter
    def value(self, si: float) -> None:
        self._keep(si)
        self._show()
        self._changed()

    def show_in(self, units: str) -> None:
        """Change the display units; the quantity stays."""
        if units != self.units:
            self.units = units
            self._show()

    def press(self, steps: int) -> None:
        """Move by whole steps, as the arrow keys do."""
        wanted = round(self._at + steps * self._slider.step, DIGITS)
        self._slider.value = min(max(wanted, self._slider.min), self._slider.max)

    def _moved(self, _change: object) -> None:
        number = round(self._slider.value, DIGITS)
        if not self._quiet and number != self._at:
            self.value = from_display(number, self.control.kind, self.units)

    def _entered(self, _change: object) -> None:
        number = round(self._box.value, DIGITS)
        if not self._quiet and number != self._typed:
            self.value = from_display(number, self.control.kind, self.units)

    def _keep(self, si: float) -> None:
        self._kept = min(max(si, self.control.low), self.control.high)

    def _show(self) -> None:
        control = self.control
        unit = display_unit(control.kind, self.units)
        step = control.steps[0 if self.units == "us" else 1]
        # a hair of slack: 4 in. w.c. must not become 4.5 because of the last bit
        low = round(ceil(to_display(control.low, control.kind, self.units) / step - 1e-6) * step, DIGITS)
        high = round(floor(to_display(control.high, control.kind, self.units) / step + 1e-6) * step, DIGITS)
        digits = max(unit.decimals, len(f"{step:.{DIGITS}f}".rstrip("0").partition(".")[2]))
        shown = round(to_display(self._kept, control.kind, self.units), digits)
        if not low <= shown <= high:  # beyond the last whole step of these units
            shown = min(max(shown, low), high)
            self._keep(from_display(shown, control.kind, self.units))
        self._typed = shown
        self._at = min(max(round(low + round((shown - low) / step) * step, DIGITS), low), high)
        self._quiet = True
        for widget, number in ((self._slider, self._at), (self._box, self._typed)):
            # nothing is written back that the page has already: that would tear the handle from a hand that drags it
            if (widget.min, widget.max, widget.step, round(widget.value, DIGITS)) != (low, high, step, number):
                # and in one message: one of range alone would find the number of the old units out of it, and answer
                with widget.hold_sync(), widget.hold_trait_notifications():
                    widget.min, widget.max, widget.step, widget.value = low, high, step, number
        self._quiet = False
        name = f"{control.label}, {unit.label}"
        label = f"<span class='gp-label'>{control.label}</span> <span class='gp-unit'>{unit.label}</span>"
        if self._label.value != label:
            self._label.value = label
            self._slider.tooltip = self._box.tooltip = name


class ChoiceRow(ipywidgets.VBox):  # type: ignore[misc]
    """Label and drop-down of a Choice."""

    def __init__(self, control: Choice, changed: Callable[[], None]) -> None:
        self.control, self._changed = control, changed
        label = ipywidgets.HTML(f"<span class='gp-label'>{control.label}</span>")
        self._menu = ipywidgets.Dropdown(options=control.options, layout=ipywidgets.Layout(width="100%"))
        self._menu.tooltip = control.label
        super().__init__([label, self._menu], layout=ipywidgets.Layout(width="100%"))
        self.add_class("gp-control")
        self._menu.observe(self._moved, "value")

    @property
    def value(self) -> Any:
        """What is chosen."""
        return self._menu.value

    @value.setter
    def value(self, chosen: Any) -> None:
        self._menu.value = chosen

    def show_in(self, units: str) -> None:
        """A choice has no unit."""

    def _moved(self, _change: object) -> None:
        self._changed()
