"""The controls of a panel: sliders with a number box beside them, and choices. Values are SI, whatever is shown.

Controls stand in groups in one fixed order, on every panel: supply, settings, faults, demand, view.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import ceil, floor
from typing import Any, Literal

import ipywidgets
import traitlets

from toolkit.units import display_unit, from_display, to_display

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
    """Label, slider, number box and unit of a Slider. `value` is in SI."""

    def __init__(self, control: Slider, units: str, changed: Callable[[], None]) -> None:
        self.control, self.units, self._changed, self._quiet = control, units, changed, True
        self._label = ipywidgets.HTML(layout=ipywidgets.Layout(width="100%"))
        self._slider = ipywidgets.FloatSlider(readout=False, layout=ipywidgets.Layout(width="auto", flex="1 1 auto"))
        self._box = ipywidgets.BoundedFloatText(layout=ipywidgets.Layout(width="74px"))
        self._unit = ipywidgets.HTML()
        traitlets.link((self._slider, "value"), (self._box, "value"))
        row = ipywidgets.HBox([self._slider, self._box, self._unit], layout=ipywidgets.Layout(align_items="center"))
        super().__init__([ipywidgets.VBox([self._label, row], layout=ipywidgets.Layout(width="100%"))])
        self.add_class("gp-control")
        self._show(control.start)
        self._slider.observe(self._moved, "value")
        self._quiet = False

    @property
    def value(self) -> float:
        """The quantity set, SI, inside the control's range."""
        shown = from_display(self._slider.value, self.control.kind, self.units)
        return min(max(shown, self.control.low), self.control.high)

    @value.setter
    def value(self, si: float) -> None:
        self._slider.value = to_display(si, self.control.kind, self.units)

    def show_in(self, units: str) -> None:
        """Change the display units; the quantity stays, as near as the new step allows."""
        if units != self.units:
            kept = self.value
            self.units = units
            self._quiet = True
            self._show(kept)
            self._quiet = False

    def press(self, steps: int) -> None:
        """Move by whole steps, as the arrow keys do."""
        self._slider.value = min(
            max(self._slider.value + steps * self._slider.step, self._slider.min), self._slider.max
        )

    def _moved(self, _change: object) -> None:
        if not self._quiet:
            self._changed()

    def _show(self, si: float) -> None:
        control = self.control
        unit = display_unit(control.kind, self.units)
        step = control.steps[0 if self.units == "us" else 1]
        # a hair of slack: 4 in. w.c. must not become 4.5 because of the last bit
        low = ceil(to_display(control.low, control.kind, self.units) / step - 1e-6) * step
        high = floor(to_display(control.high, control.kind, self.units) / step + 1e-6) * step
        shown = min(max(round(to_display(si, control.kind, self.units) / step) * step, low), high)
        for widget in (self._slider, self._box):
            with widget.hold_trait_notifications():
                widget.min, widget.max, widget.step, widget.value = low, high, step, round(shown, 6)
        name = f"{control.label}, {unit.label}"
        self._label.value = f"<span class='gp-label' title='{name}'>{control.label}</span>"
        self._slider.tooltip = self._box.tooltip = name
        self._unit.value = f"<span class='gp-unit'>{unit.label}</span>"


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
