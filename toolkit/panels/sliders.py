"""The controls that several panels share, so that a slider means and reaches the same everywhere."""

from __future__ import annotations

from dataclasses import replace

from toolkit.devices.line import Supply
from toolkit.devices.regulator import InternalRelief, Regulator
from toolkit.faults import HARD_DEBRIS, SOFT_DEBRIS
from toolkit.panels.controls import Choice, Slider
from toolkit.panels.regulator_view import END, LARGEST_DEMAND, RELIEF_SETTINGS, SET_POINTS
from toolkit.units import HOUR, PSI, SCF

INLET = Slider(
    "inlet", "Inlet pressure", "supply", "gauge_pressure", 5 * PSI, 100 * PSI, Supply.gauge_pressure, (5, 0.25)
)
SET_POINT = Slider(
    "set_point",
    "Spring setting (set point)",
    "settings",
    "low_gauge_pressure",
    *SET_POINTS,
    Regulator.set_gauge_pressure,
    (0.5, 1),
)
RELIEF = Slider(
    "relief",
    "Relief spring (above set point)",
    "settings",
    "low_gauge_pressure",
    *RELIEF_SETTINGS,
    InternalRelief.start_above_set,
    (0.5, 1),
)
DEBRIS = Slider("debris", "Debris on the seat, height", "faults", "small_length", 0.0, 1.2e-3, 0.0, (0.002, 0.05))
HARDNESS = Choice(
    "hardness",
    "Debris is",
    "faults",
    (
        ("soft: pipe plastic", SOFT_DEBRIS[0] * 3),
        ("firm: pipe dope, rubber crumb", SOFT_DEBRIS[1] / 4),
        ("hard: grit, weld slag", HARD_DEBRIS),
    ),
)
DEMAND = Slider(
    "demand",
    "Burners on take",
    "demand",
    "standard_flow",
    25 * SCF / HOUR,
    LARGEST_DEMAND,
    250 * SCF / HOUR,
    (25, 1),
)
ZOOM = Choice("zoom", "Chart shows", "view", (("near the set point", "near"), ("the whole range", "whole")))
MOMENT = Slider("moment", "Moment shown in the drawing", "view", "time", 0.0, END, 400.0, (10, 10))


def starting(slider: Slider, start: float) -> Slider:
    """A shared slider with a lesson's own start (SI)."""
    return replace(slider, start=start)


def fitted(layer: str) -> Choice:
    """Whether a layer is on the station at all: for the bench with it and without it."""
    return Choice("fitted", layer, "settings", (("fitted", True), ("not fitted", False)))
