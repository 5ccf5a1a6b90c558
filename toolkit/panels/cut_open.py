"""Devices cut open, for a lesson's page."""

from __future__ import annotations

import ipywidgets

from toolkit.figures.device_drawings import drawing

# Wide enough for its letters on a page whose text is of ordinary size; a narrow page makes it smaller.
WIDEST, LEAST = "640px", "480px"


def cut_open(*names: str) -> ipywidgets.HTML:
    """Devices cut open, beside each other where there is room: `cut_open("relief_valve", "relief_valve_open")`.

    Raises:
        ScenarioError: there is no drawing of a name.
    """
    drawn = "".join(
        f"<div style='flex:1 1 {LEAST};max-width:{WIDEST};min-width:min({LEAST},100%)'>{drawing(name).svg}</div>"
        for name in names
    )
    return ipywidgets.HTML(f"<div class='gp-cut-open' style='display:flex;flex-wrap:wrap;gap:12px'>{drawn}</div>")
