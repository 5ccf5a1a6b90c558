"""The pictures of the README. Made by a command, never drawn by hand; the same bytes at each run."""

from __future__ import annotations

from pathlib import Path

from toolkit.figures.schematic import DebrisView, RegulatorView, regulator_svg

# Values to look at, not results of a run: a house regulator at its set point, and one with a chip on its seat.
HEALTHY = RegulatorView(
    lift=0.3,
    inlet_text="60 psig",
    outlet_text="7.0 in. w.c.",
    case_text="0.0 in. w.c.",
    outlet_level=0.3,
    demand=0.5,
)
FOULED = RegulatorView(
    lift=0.12,
    inlet_text="60 psig",
    outlet_text="17.3 in. w.c.",
    case_text="0.8 in. w.c.",
    outlet_level=0.75,
    case_level=0.1,
    demand=0.0,
    relief_lift=0.5,
    vent_flow=0.6,
    debris=DebrisView(height=0.2, hard=True),
)


def main(folder: Path) -> None:
    """Write `regulator.svg` and `fouled_seat.svg` into `folder`, which is made where it is missing."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, view in (("regulator", HEALTHY), ("fouled_seat", FOULED)):
        (folder / f"{name}.svg").write_text(regulator_svg(view, prefix=name) + "\n", encoding="utf-8", newline="\n")
