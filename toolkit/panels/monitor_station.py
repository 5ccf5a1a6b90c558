"""Worker and monitor on the bench: two regulators in series that sense the same outlet, and what is shown of them."""

from __future__ import annotations

from dataclasses import replace

from toolkit.devices.line import SensingLine
from toolkit.devices.regulator import Regulator
from toolkit.figures.data import EventMarker
from toolkit.layers import MONITOR, with_monitor
from toolkit.panels.bench import Settings, Shown
from toolkit.panels.regulator_view import DUSK, MORNING, NOON
from toolkit.panels.station_bench import Watch, above_rating, watched
from toolkit.panels.words import clock
from toolkit.scenario import Scenario, Station, Volume
from toolkit.trace import Trace
from toolkit.units import format_pressure, format_quantity, tidy

WORKER = "worker"
# Room between the two regulators, and downstream [m3]: little against much, as it should be.
INTERSTAGE, OUTLET = 3e-4, 2e-2
# A monitor counts as holding once it stands this far off its upper stop (share of travel).
HOLDS_BELOW = 0.9
# Burners that pass this share of their rating still have gas; above that one they are fed too much. A worker that is
# well feeds them within 2 % of it.
SERVED, OVERFED = 0.5, 1.05
WATCH = Watch("Worker and monitor")


def station(
    *, inlet: float, worker_set: float, monitor_above: float | None, demand: float, shared_line: bool = False
) -> Station:
    """A wide-open monitor before its worker; gauge pressures [Pa], `demand` [standard m3/s at 7 in. w.c.].

    Each senses the outlet through a line of its own, or both through one. With None above there is no monitor.
    """
    lines = ("one_line",) if shared_line else ("monitor_line", "worker_line")
    if monitor_above is None:
        lines = lines[-1:]
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
    if monitor_above is None:
        return alone
    return with_monitor(alone, monitor_above, INTERSTAGE, senses=lines[0])


def settings_of(scenario: Scenario) -> tuple[float, float | None]:
    """Set points of worker and monitor [Pa gauge]; None where there is no monitor."""
    sets = {r.name: r.set_gauge_pressure for r in scenario.station.regulators}
    return sets[WORKER], sets.get(MONITOR)


def takes_over(trace: Trace) -> float | None:
    """When the monitor first leaves its upper stop and holds the pressure [s]; None where it never does."""
    if settings_of(trace.scenario)[1] is None:
        return None
    travel = trace.scenario.station.regulators[0].travel
    below = trace[f"{MONITOR}_lift"] < HOLDS_BELOW * travel
    worker_shut = trace[f"{WORKER}_lift"] < 1e-6
    found = [t for t, b, s in zip(trace.times, below, worker_shut, strict=True) if b and not s]
    return float(found[0]) if found else None


def burners_words(trace: Trace, units: str) -> str:
    """Whether the burners have gas while they are on, and how far above their rating they are fed, in words."""
    (load,) = trace.scenario.station.loads
    flows = [trace.at(f"{load.name}_flow", time - 1) for time in (DUSK, NOON)]
    if min(flows) < SERVED * load.rated_flow:
        return "The burners get less than half of what they want."
    said = "The burners have gas"
    if trace.peak(f"{load.at}_gauge_pressure")[1] > load.maximum_gauge_pressure:
        said += ", and more pressure than they are made for"
    if max(flows) <= OVERFED * load.rated_flow:
        return f"{said}."
    takes = format_quantity(max(flows), "standard_flow", units)
    return (
        f"{said}: they take {takes}, {max(flows) / load.rated_flow:.0%} of their rating. "
        "Burners fed like that can make carbon monoxide."
    )


def story(trace: Trace, units: str) -> str:
    """The run in a few sentences: who holds by day and by night, the spike, the rating, what the burners get."""

    def shown(gauge: float) -> str:
        return format_pressure(gauge, units)

    worker, monitor = settings_of(trace.scenario)
    day, night = (trace.at("outlet_gauge_pressure", t - 1) for t in (DUSK, MORNING))
    top_at, top = trace.peak("outlet_gauge_pressure")
    began = takes_over(trace)
    between = ""
    if monitor is not None:
        between = f", with {shown(trace.at('interstage_gauge_pressure', DUSK - 1))} between the two regulators"
    said = [
        f"By day the outlet stands at {shown(day)}{between}.",
        f"At the end of the night it stands at {shown(night)}.",
    ]
    lifts = [trace.at(f"{r.name}_lift", DUSK - 1) / r.travel for r in trace.scenario.station.regulators]
    if monitor is None:
        said.append("The worker is alone: when it lets go, nothing else holds gas back.")
    elif min(lifts) > HOLDS_BELOW:
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
    said += [above_rating(WATCH, trace, units), burners_words(trace, units)]
    return tidy(" ".join(said))


def over_the_day(settings: Settings, trace: Trace) -> Shown:
    """The station at the moment chosen, the outlet over the bench's day, the story in words."""
    units, moment = settings["units"], settings["moment"]
    began = takes_over(trace)
    markers = () if began is None else (EventMarker(began / 60, "monitor takes over"),)
    gauge: tuple[tuple[str, str], ...] = ()
    if settings_of(trace.scenario)[1] is not None:
        between = format_pressure(trace.at("interstage_gauge_pressure", moment), units)
        gauge = (("interstage now", between),)
    return watched(WATCH, settings, trace, story(trace, units), gauge, markers)
