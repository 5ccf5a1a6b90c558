"""What the tests of the lessons' texts share: the notebooks read in sections, and numbers written as lessons do."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from typing import Any

import nbformat

from toolkit.course import VISIT
from toolkit.flow import mass_flow, standard_flow
from toolkit.gas import NATURAL_GAS
from toolkit.panels.bench import run
from toolkit.panels.controls import Choice
from toolkit.panels.regulator_view import DUSK, MORNING, NIGHT
from toolkit.scenario import Station
from toolkit.trace import Trace
from toolkit.units import IN_WC, INCH, MBAR, STANDARD_ATMOSPHERE, format_pressure, format_quantity

FOLDER = Path(__file__).parents[1] / "lessons"
# The page of cases has a form of its own; see test_lesson_visit.
PATHS = {path.name[:2]: path for path in sorted(FOLDER.glob("[0-9]*.ipynb")) if path.name != VISIT.file}


@cache
def notebook(lesson: str) -> Any:
    return nbformat.read(PATHS[lesson], as_version=4)  # type: ignore[no-untyped-call]


@cache
def prose(lesson: str) -> str:
    """All markdown of a lesson."""
    return "\n\n".join(cell.source for cell in notebook(lesson).cells if cell.cell_type == "markdown")


@cache
def sections(lesson: str) -> dict[str, str]:
    """The text under each heading of the second order."""
    parts = re.split(r"^## (.+)$", prose(lesson), flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


# Numbers ------------------------------------------------------------------------------------------------------------

OUTLET, INTERSTAGE, PASSES = "outlet_gauge_pressure", "interstage_gauge_pressure", "appliances_flow"
HERE = Station()
REGULATOR = HERE.regulators[0]
CONDITION = REGULATOR.condition()
INLET_GAUGE = HERE.supply.gauge_pressure
DAY_AT, PILOT_AT, NIGHT_AT = DUSK - 1, NIGHT - 1, MORNING - 1


def hundredths(value: float) -> str:
    """A low pressure or a difference with one digit more than the bench shows, so that the sum in the text adds up."""
    return f"{value / IN_WC:.2f} in. w.c. ({value / MBAR:.2f} mbar)"


def both(value: float, kind: str) -> str:
    """A quantity in US units with metric beside it."""
    us, metric = (format_quantity(value, kind, units) for units in ("us", "metric"))
    return f"{us} ({metric})"


def pressure(gauge: float) -> str:
    """A gauge pressure as the bench shows it, in both."""
    return f"{format_pressure(gauge, 'us')} ({format_pressure(gauge, 'metric')})"


def area_of(area: float) -> str:
    """An area with as many digits as the steps need."""
    return f"{area / INCH**2:.{4 if area < 1e-3 else 2}f} in² ({area * 1e6:,.{1 if area < 1e-3 else 0}f} mm²)"


def flow_through(flow_area: float, gauge: float) -> float:
    """Standard flow [m3/s] of natural gas into the open air at sea level."""
    upstream = gauge + STANDARD_ATMOSPHERE
    return standard_flow(
        mass_flow(flow_area, upstream, STANDARD_ATMOSPHERE, NATURAL_GAS, HERE.temperature), NATURAL_GAS
    )


def bench_trace(module: Any, **chosen: Any) -> Trace:
    """The run of a lesson's bench with some controls moved; a choice by its words."""
    settings = module.BENCH.start("us")
    for control in module.BENCH.controls:
        if control.key in chosen:
            value = chosen.pop(control.key)
            settings[control.key] = dict(control.options)[value] if isinstance(control, Choice) else value
    assert not chosen, f"no such controls: {chosen}"
    return run(module.scenario(settings))
