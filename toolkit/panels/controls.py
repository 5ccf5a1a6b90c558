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
    such an echo is no move. Given a new range, it answers with its old number forced into that range, and when that
    comes in cannot be known; so other units get a slider and a box of their own, and nobody listens to the old ones.
    """

    def __init__(self, control: Slider, units: str, changed: Callable[[], None]) -> None:
        self.control, self.units, self._changed, self._kept = control, units, changed, control.start
        self._label = ipywidgets.HTML(layout=ipywidgets.Layout(width="100%"))
        self._row = ipywidgets.HBox(layout=ipywidgets.Layout(align_items="center"))
        super().__init__([ipywidgets.VBox([self._label, self._row], layout=ipywidgets.Layout(width="100%"))])
        self.add_class("gp-control")
        self._build()

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
            self._slider.unobserve_all()
            self._box.unobserve_all()
            self._build()

    def press(self, steps: int) -> None:
        """Move by whole steps, as the arrow keys do."""
        wanted = round(self._at + steps * self._slider.step, DIGITS)
        self._slider.value = min(max(wanted, self._slider.min), self._slider.max)

    def _moved(self, _change: object) -> None:
        self._take(self._slider.value, self._at)

    def _entered(self, _change: object) -> None:
        self._take(self._box.value, self._typed)

    def _take(self, number: float, standing: float) -> None:
        """Take a number from the page, unless it is the one that stands there already."""
        if round(number, DIGITS) != standing:
            self.value = from_display(round(number, DIGITS), self.control.kind, self.units)

    def _keep(self, si: float) -> None:
        self._kept = min(max(si, self.control.low), self.control.high)

    def _build(self) -> None:
        """Slider and box for the display units."""
        control = self.control
        unit = display_unit(control.kind, self.units)
        step = control.steps[0 if self.units == "us" else 1]
        # a hair of slack: 4 in. w.c. must not become 4.5 because of the last bit
        low = round(ceil(to_display(control.low, control.kind, self.units) / step - 1e-6) * step, DIGITS)
        high = round(floor(to_display(control.high, control.kind, self.units) / step + 1e-6) * step, DIGITS)
        self._place(low, high, step)
        name = f"{control.label}, {unit.label}"
        self._slider = ipywidgets.FloatSlider(
            self._at,
            min=low,
            max=high,
            step=step,
            readout=False,
            tooltip=name,
            layout=ipywidgets.Layout(flex="1 1 auto", width="auto"),
        )
        self._box = ipywidgets.BoundedFloatText(
            self._typed, min=low, max=high, step=step, tooltip=name, layout=ipywidgets.Layout(width="72px")
        )
        self._slider.observe(self._moved, "value")
        self._box.observe(self._entered, "value")
        self._row.children = [self._slider, self._box]
        self._label.value = f"<span class='gp-label'>{control.label}</span> <span class='gp-unit'>{unit.label}</span>"

    def _place(self, low: float, high: float, step: float) -> None:
        """Find the number to show and the slider's nearest step for the quantity kept."""
        kind, decimals = self.control.kind, display_unit(self.control.kind, self.units).decimals
        digits = max(decimals, len(f"{step:.{DIGITS}f}".rstrip("0").partition(".")[2]))
        self._typed = round(to_display(self._kept, kind, self.units), digits)
        if not low <= self._typed <= high:  # beyond the last whole step of these units
            self._typed = min(max(self._typed, low), high)
            self._keep(from_display(self._typed, kind, self.units))
        self._at = min(max(round(low + round((self._typed - low) / step) * step, DIGITS), low), high)

    def _show(self) -> None:
        self._place(self._slider.min, self._slider.max, self._slider.step)
        for widget, number in ((self._slider, self._at), (self._box, self._typed)):
            # nothing is written back that the page has already: that would tear the handle from a hand that drags it
            if round(widget.value, DIGITS) != number:
                widget.value = number


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
