"""Lab 20, plugged or leaking: low with all on, and a gauge that comes back or not once the outlet valve is shut."""

from __future__ import annotations

from toolkit.diagnosis.pair_leak import END, ON_AT, PAIR, SHUT_FOR
from toolkit.diagnosis.pair_station import OUTLET, PILOTS_AT
from toolkit.diagnosis.pairs import FIRST, SECOND
from toolkit.figures.data import EventMarker
from toolkit.panels import lab
from toolkit.panels.bench import Settings, run
from toolkit.panels.predict import Prediction
from toolkit.panels.station_bench import Watch
from toolkit.scenario import Scenario
from toolkit.units import IN_WC, format_pressure, format_quantity, tidy

WATCH = Watch(
    "Station at the street, pipe to the house",
    duration=END + SHUT_FOR,
    top=16 * IN_WC,
    markers=(EventMarker(ON_AT / 60, "all on"), EventMarker(PILOTS_AT / 60, "pilots only")),
)
# The title seeds the draw of the later visits: with this one both causes come up among them.
LAB = lab.Lab("Plugged or leaking", PAIR, WATCH, filtered=True, opens_at=lab.ALL_ON, ungauged=("inlet",))
LEAKS = "outlet_leak_flow"


def scenario(settings: Settings) -> Scenario:
    """The bench's run: the check chosen, made at the visit chosen."""
    return lab.scenario_of(LAB, settings)


def explain(units: str) -> str:
    """What comes back with the outlet valve shut, with either cause, in numbers from the simulation."""
    start = BENCH.start(units) | {"check": "gauge_off"}
    plugged, leaks = (run(lab.scenario_of(LAB, start, which)) for which in (FIRST, SECOND))
    low, pilots, back, stays = (
        format_pressure(gauge, units)
        for gauge in (
            plugged.at(OUTLET, PILOTS_AT - 1),
            plugged.at(OUTLET, END - 1),
            plugged.settled(OUTLET),
            leaks.settled(OUTLET),
        )
    )
    lost = format_quantity(leaks.settled(LEAKS), "standard_flow", units)
    return tidy(
        f"With all burners on the outlet stands at {low} with either cause; with pilots only it is back, at about "
        f"{pilots}. Shut the outlet valve at the house. Behind the plugged filter nothing flows any more, and the "
        f"gauge comes up to lock-up, {back}. Where the pipe leaks it stays at {stays}: the regulator goes on feeding "
        f"{lost} into the ground. The meter at the house stands with both."
    )


PREDICTION = Prediction(
    "A station at the street feeds a house through a buried pipe; the outlet valve and the meter are at the house. "
    "With all burners on the outlet is low; with pilots only it is right. Either the filter before the regulator is "
    "plugged, or the buried pipe leaks. Which check tells the two apart?",
    (
        "Watch the meter at the house with all off: a leak makes it run.",
        "Read the inlet gauge before the filter: it falls if the filter is plugged.",
        "Read the meter at the house with all burners on: a leak makes it show more than their rating.",
        "Shut the outlet valve at the house, and see whether the outlet gauge comes back to lock-up.",
    ),
    3,
    explain,
)
BENCH = lab.bench_of(LAB)
