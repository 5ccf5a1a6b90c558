"""Worker and monitor on the bench: two regulators in series that sense the same outlet, and what is shown of them."""

from __future__ import annotations

from dataclasses import replace

from toolkit.devices.line import SensingLine
from toolkit.devices.regulator import Regulator
from toolkit.figures.data import EventMarker
from toolkit.layers import MONITOR, with_monitor
from toolkit.panels.bench import Settings, Shown
from toolkit.panels.regulator_view import DUSK, MORNING
from toolkit.panels.station_bench import Watch, above_rating, watched
from toolkit.panels.words import clock
from toolkit.scenario import Scenario, Station, Volume
from toolkit.trace import Trace
from toolkit.units import format_pressure, tidy

WORKER = "worker"
# Room between the two regulators, and downstream [m3]: little against much, as it should be.
INTERSTAGE, OUTLET = 3e-4, 2e-2
# A monitor counts as holding once it stands this far off its upper stop (share of travel).
HOLDS_BELOW = 0.9
WATCH = Watch("Worker and monitor")


def station(
    *, inlet: float, worker_set: float, monitor_above: float, demand: float, shared_line: bool = False
) -> Station:
    """A wide-open monitor before its worker; gauge pressures [Pa], `demand` [standard m3/s at 7 in. w.c.].

    Each senses the outlet through a line of its own, or both through one.
    """
    lines = ("one_line",) if shared_line else ("monitor_line", "worker_line")
    plain = Station()
    # Without internal reliefs, whose springs would answer first; the case breathes as before.
    worker = Regulator(name=WORKER, relief=None, set_gauge_pressure=worker_set, senses=lines[-1])
    alone = replace(
        plain,
        supply=replace(plain.supply, gauge_pressure=inlet),
        regulators=(worker,),
        volumes=(plain.volumes[0], Volume("outlet", OUTLET)),
        sensing_lines=tuple(SensingLine(name) for name in lines),
        loads=(replace(plain.loads[0], rated_flow=demand),),
    )
    return with_monitor(alone, monitor_above, INTERSTAGE, senses=lines[0])


def settings_of(scenario: Scenario) -> tuple[float, float]:
    """Set points of worker and monitor [Pa gauge]."""
    sets = {r.name: r.set_gauge_pressure for r in scenario.station.regulators}
    return sets[WORKER], sets[MONITOR]


def takes_over(trace: Trace) -> float | None:
    """When the monitor first leaves its upper stop and holds the pressure [s]; None where it never does."""
    travel = trace.scenario.station.regulators[0].travel
    below = trace[f"{MONITOR}_lift"] < HOLDS_BELOW * travel
    worker_shut = trace[f"{WORKER}_lift"] < 1e-6
    found = [t for t, b, s in zip(trace.times, below, worker_shut, strict=True) if b and not s]
    return float(found[0]) if found else None


def story(trace: Trace, units: str) -> str:
    """The run in a few sentences: who holds by day and by night, the spike, whether the rating was passed."""

    def shown(gauge: float) -> str:
        return format_pressure(gauge, units)

    worker, monitor = settings_of(trace.scenario)
    day, night = (trace.at("outlet_gauge_pressure", t - 1) for t in (DUSK, MORNING))
    between = trace.at("interstage_gauge_pressure", DUSK - 1)
    top_at, top = trace.peak("outlet_gauge_pressure")
    began = takes_over(trace)
    said = [
        f"By day the outlet holds {shown(day)}, with {shown(between)} between the two regulators.",
        f"At the end of the night it stands at {shown(night)}.",
    ]
    lifts = [trace.at(f"{r.name}_lift", DUSK - 1) / r.travel for r in trace.scenario.station.regulators]
    if min(lifts) > HOLDS_BELOW:
        said.append("Both regulators stand wide open: neither holds anything back.")
    elif began is None:
        said.append("The monitor stands by, wide open: the worker, further down, does all the work.")
    elif began == 0.0:
        said.append("The monitor throttles from the start: set so near the worker, it cannot stand by wide open.")
    else:
        said.append(
            f"The monitor first takes over at {clock(began)}; it is set {shown(monitor)}, the worker {shown(worker)}."
        )
    said.append(f"The highest is {shown(top)}, at {clock(top_at)}.")
    if trace.happened("hunts"):
        often = trace.happened("hunts")[0].value
        said.append(f"The two hunt, {often:.2g} swings a second; the chart shows the middle of the swing.")
    said.append(above_rating(WATCH, trace, units))
    return tidy(" ".join(said))


def over_the_day(settings: Settings, trace: Trace) -> Shown:
    """The station at the moment chosen, the outlet over the bench's day, the story in words."""
    units, moment = settings["units"], settings["moment"]
    between = format_pressure(trace.at("interstage_gauge_pressure", moment), units)
    began = takes_over(trace)
    markers = () if began is None else (EventMarker(began / 60, "monitor takes over"),)
    return watched(WATCH, settings, trace, story(trace, units), (("between them now", between),), markers)
