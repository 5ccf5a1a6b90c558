"""Lab 19, torn or stuck open: the outlet high, gas beside the vent, and one check that clears the air first."""

from __future__ import annotations

from toolkit.diagnosis.pair_station import END, NAME, OUTLET
from toolkit.diagnosis.pair_stuck import HELD_LOW, PAIR, RELIEF_ABOVE, VALVE
from toolkit.diagnosis.pairs import FIRST, SECOND
from toolkit.diagnosis.visits import HELD_FOR
from toolkit.panels import lab
from toolkit.panels.bench import Settings, run
from toolkit.panels.predict import Prediction
from toolkit.panels.station_bench import Watch
from toolkit.scenario import Scenario
from toolkit.units import IN_WC, format_pressure, format_quantity, tidy

WATCH = Watch("Regulator and relief valve", duration=END + HELD_FOR, top=16 * IN_WC, markers=lab.VISIT_MARKERS)
# The title seeds the draw of the later visits: with this one both causes come up among them.
LAB = lab.Lab("Torn or stuck open", PAIR, WATCH, opens_at=lab.ALL_ON)


def scenario(settings: Settings) -> Scenario:
    """The bench's run: the check chosen, made at the visit chosen."""
    return lab.scenario_of(LAB, settings)


def explain(units: str) -> str:
    """What holding the outlet low shows with either cause, in numbers from the simulation."""
    start = BENCH.start(units) | {"check": HELD_LOW.key}
    torn, stuck = (run(lab.scenario_of(LAB, start, which)) for which in (FIRST, SECOND))
    opens, high, low = (
        format_pressure(gauge, units)
        for gauge in (start["set_point"] + RELIEF_ABOVE, torn.at(OUTLET, END - 1), stuck.settled(OUTLET))
    )
    blows, leaves = (
        format_quantity(flow, "standard_flow", units)
        for flow in (torn.at(f"{VALVE}_flow", END - 1), torn.settled(f"{NAME}_vent_flow"))
    )
    return tidy(
        f"The relief valve opens at {opens}. With all off the outlet stands at {high} with a torn diaphragm, and about "
        f"as high with a stuck stem; {blows} or more blow out of the stack, and the vent beside it smells of that. "
        f"Hold the outlet low, at {low} over the stuck stem: the relief valve is shut, the air is clean, and nothing "
        f"comes from its vent. From the vent of the torn one still come {leaves}."
    )


PREDICTION = Prediction(
    "The outlet stands high, and the relief valve blows. Its stack ends beside the regulator's vent, and this "
    "regulator has no relief of its own. The meter stands before the regulator. Either its diaphragm is torn, or its "
    "stem is stuck open. Which check tells the two apart?",
    (
        "Smell at the vent with all burners on: only a tear brings gas there.",
        "Read the outlet gauge with all off: a stuck stem lets it climb on and on.",
        "Hold the outlet low until the relief valve is shut, and look for gas at the vent then.",
        "Watch the meter with all off: only a stuck stem makes it run.",
    ),
    2,
    explain,
)
BENCH = lab.bench_of(LAB)
