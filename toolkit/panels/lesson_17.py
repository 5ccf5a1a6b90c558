"""Lab 17, a regulator too small or a plugged filter: low with all on, and two gauges at the filter that tell."""

from __future__ import annotations

from toolkit.diagnosis.pair_small import PAIR
from toolkit.diagnosis.pair_station import END, OUTLET, PILOTS_AT
from toolkit.diagnosis.pairs import FIRST, SECOND
from toolkit.panels import lab
from toolkit.panels.bench import Settings, run
from toolkit.panels.predict import Prediction
from toolkit.panels.station_bench import Watch
from toolkit.scenario import Scenario
from toolkit.units import IN_WC, format_pressure, tidy

WATCH = Watch("Regulator behind a filter", duration=END, top=16 * IN_WC, markers=lab.VISIT_MARKERS)
LAB = lab.Lab("Too small, or plugged", PAIR, WATCH, filtered=True, opens_at=lab.ALL_ON)
AFTER = "inlet_gauge_pressure"


def scenario(settings: Settings) -> Scenario:
    """The bench's run: the check chosen, made at the visit chosen."""
    return lab.scenario_of(LAB, settings)


def explain(units: str) -> str:
    """What stands behind the filter with either cause, in numbers from the simulation."""
    start, time = BENCH.start(units), PILOTS_AT - 1
    small, plugged = (run(lab.scenario_of(LAB, start, which)) for which in (FIRST, SECOND))
    supply, low, clean, dirty, rests = (
        format_pressure(gauge, units)
        for gauge in (
            small.scenario.station.supply.gauge_pressure,
            small.at(OUTLET, time),
            small.at(AFTER, time),
            plugged.at(AFTER, time),
            plugged.at(AFTER, END),
        )
    )
    return tidy(
        f"With all burners on the outlet stands at {low} with either cause, and before the filter at {supply}. Behind "
        f"the filter stand {clean} where the regulator is too small, and {dirty} where the filter is plugged. With "
        f"all off the plugged filter too shows {rests}: look while gas flows."
    )


PREDICTION = Prediction(
    "With all burners on the outlet is low; with pilots only it is right. Either the regulator is too small for its "
    "load, or the filter before it is plugged. Which reading tells the two apart?",
    (
        "The outlet gauge with all off: a plugged filter leaves it lower.",
        "The gauge before the filter with all on: it falls if the filter is plugged.",
        "The meter: a regulator that is too small passes more of the rating.",
        "The drop across the filter with all burners on.",
    ),
    3,
    explain,
)
BENCH = lab.bench_of(LAB)
