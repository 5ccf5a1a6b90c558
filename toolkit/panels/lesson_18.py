"""Lab 18, a weak spring or the monitor shut too soon: low at every load, and the gauge between the two that tells."""

from __future__ import annotations

from toolkit.diagnosis.pair_monitor import PAIR
from toolkit.diagnosis.pair_station import END, OUTLET, PILOTS_AT
from toolkit.diagnosis.pairs import FIRST, SECOND
from toolkit.panels import lab
from toolkit.panels.bench import Settings, run
from toolkit.panels.predict import Prediction
from toolkit.panels.station_bench import Watch
from toolkit.scenario import Scenario
from toolkit.units import IN_WC, format_pressure, tidy

WATCH = Watch("Monitor and worker", duration=END, top=16 * IN_WC, markers=lab.VISIT_MARKERS)
LAB = lab.Lab("Weak spring, or the monitor shut", PAIR, WATCH, opens_at=lab.ALL_ON)
BETWEEN = "interstage_gauge_pressure"


def scenario(settings: Settings) -> Scenario:
    """The bench's run: the check chosen, made at the visit chosen."""
    return lab.scenario_of(LAB, settings)


def explain(units: str) -> str:
    """What stands between the regulators with either cause, in numbers from the simulation."""
    start, time = BENCH.start(units), PILOTS_AT - 1
    weak, shut = (run(lab.scenario_of(LAB, start, which)) for which in (FIRST, SECOND))
    low, full, empty, rests = (
        format_pressure(gauge, units)
        for gauge in (weak.at(OUTLET, time), weak.at(BETWEEN, time), shut.at(BETWEEN, time), shut.at(BETWEEN, END))
    )
    return tidy(
        f"With all burners on the outlet stands at {low} with either cause. Between the two regulators stand {full} "
        f"where the spring of the worker is weak: the monitor is wide open, and the worker holds the gas back. There "
        f"stand {empty} where the monitor shuts too soon: it holds the gas back, and the worker behind it is wide "
        f"open. With all off it is {rests} there, as at the outlet."
    )


PREDICTION = Prediction(
    "A monitor stands before a worker, and the outlet is low at every load. Either the spring of the worker has gone "
    "weak, or the monitor shuts too soon. Which reading tells the two apart?",
    (
        "The outlet gauge with all off: a monitor that shuts leaves it lower.",
        "The gauge between the two regulators, with all burners on.",
        "The inlet gauge: it falls if the monitor shuts.",
        "The meter: a weak spring passes less of the rating.",
    ),
    1,
    explain,
)
BENCH = lab.bench_of(LAB)
