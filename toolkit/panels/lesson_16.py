"""Lab 16, a seat that leaks or the sun on the pipe: the gauge climbs with all off, and the inlet valve tells why."""

from __future__ import annotations

from toolkit.diagnosis.pair_creep import COOL_AT, OFF_AT, PAIR, PILOTS_AT, SHUT_AT, WARM_AT
from toolkit.diagnosis.pair_station import OUTLET
from toolkit.diagnosis.pairs import FIRST, SECOND
from toolkit.figures.data import EventMarker
from toolkit.panels import lab
from toolkit.panels.bench import Settings, run
from toolkit.panels.predict import Prediction
from toolkit.panels.station_bench import Watch
from toolkit.scenario import Scenario
from toolkit.units import IN_WC, format_pressure, tidy

DAY = (EventMarker(PILOTS_AT / 60, "pilots only"), EventMarker(OFF_AT / 60, "all off, sun"))
WATCH = Watch("Regulator on a long line", duration=COOL_AT, top=16 * IN_WC, markers=DAY)
LAB = lab.Lab("A leaking seat, or the sun", PAIR, WATCH, ungauged=("inlet",))


def scenario(settings: Settings) -> Scenario:
    """The bench's run: the check chosen, made at the visit chosen."""
    return lab.scenario_of(LAB, settings)


def explain(units: str) -> str:
    """What shutting the inlet valve shows with either cause, in numbers from the simulation."""
    start = BENCH.start(units) | {"check": "inlet_shut"}
    leaks, warms = (run(lab.scenario_of(LAB, start, which)) for which in (FIRST, SECOND))
    shut, leaking, warmed = (
        format_pressure(gauge, units)
        for gauge in (leaks.at(OUTLET, SHUT_AT), leaks.at(OUTLET, WARM_AT), warms.at(OUTLET, WARM_AT))
    )
    return tidy(
        f"With all off both gauges climb at one rate. The inlet valve is shut with the gauge at {shut}. Over a seat "
        f"that leaks it climbs on a little, on what stands between valve and seat, and stops: at the end it shows "
        f"{leaking}. In the sun it climbs on as if nothing had been done, to {warmed}: no gas has to come for that."
    )


PREDICTION = Prediction(
    "On a sunny morning, with all burners off, the outlet gauge climbs. Either the seat leaks, or the sun warms the "
    "gas that is locked in. Which check tells the two apart?",
    (
        "Watch the outlet gauge for ten minutes: a leak climbs faster.",
        "Watch the meter with all off: only a leak makes it run.",
        "Shut the inlet valve, and watch the outlet gauge.",
        "Smell at the vent: only a leak brings gas there.",
    ),
    2,
    explain,
)
BENCH = lab.bench_of(LAB)
