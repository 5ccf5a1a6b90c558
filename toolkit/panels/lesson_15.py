"""Lab 15, torn diaphragm or relief at work: gas at the vent and a high outlet, and the one check that tells."""

from __future__ import annotations

from toolkit.diagnosis.pair_station import END, NAME, OUTLET
from toolkit.diagnosis.pair_torn import PAIR, RELIEF_ABOVE
from toolkit.diagnosis.pairs import FIRST, SECOND
from toolkit.diagnosis.visits import HELD_FOR
from toolkit.panels import lab
from toolkit.panels.bench import Settings, run
from toolkit.panels.predict import Prediction
from toolkit.panels.station_bench import Watch
from toolkit.scenario import Scenario
from toolkit.units import IN_WC, format_pressure, format_quantity, tidy

WATCH = Watch(
    "Service regulator with internal relief", duration=END + HELD_FOR, top=16 * IN_WC, markers=lab.VISIT_MARKERS
)
LAB = lab.Lab("Torn, or the relief at work", PAIR, WATCH, opens_at=lab.ALL_ON, ungauged=("inlet",))


def scenario(settings: Settings) -> Scenario:
    """The bench's run: the check chosen, made at the visit chosen."""
    return lab.scenario_of(LAB, settings)


def explain(units: str) -> str:
    """What holding the outlet low shows with either cause, in numbers from the simulation."""
    start = BENCH.start(units) | {"check": "held_low"}
    torn, sound = (run(lab.scenario_of(LAB, start, which)) for which in (FIRST, SECOND))
    opens, high, low = (
        format_pressure(gauge, units)
        for gauge in (start["set_point"] + RELIEF_ABOVE, torn.at(OUTLET, END - 1), sound.settled(OUTLET))
    )
    before, held = (
        format_quantity(torn.at(f"{NAME}_vent_flow", time), "standard_flow", units)
        for time in (END - 1, WATCH.duration)
    )
    return tidy(
        f"The relief opens at {opens}. With all off the outlet stands at {high} with either cause, and the vent smells "
        f"strong. Draw enough to hold the outlet low, at {low} with the whole diaphragm: its relief is shut, and "
        f"nothing leaves the vent. A torn one lets {held} out of its vent even then; it was {before} before."
    )


PREDICTION = Prediction(
    "Gas comes out of a regulator's vent, and the outlet stands high. Either the diaphragm is torn, or its relief is "
    "open and does its work over a disk that cannot shut. Which check tells the two apart?",
    (
        "Smell at the vent with all burners off: a tear smells stronger.",
        "Read the outlet gauge: a tear leaves it lower.",
        "Hold the outlet well below the point at which the relief opens, and look for gas at the vent.",
        "Watch the meter with all off: only a tear makes it run.",
    ),
    2,
    explain,
)
BENCH = lab.bench_of(LAB)
