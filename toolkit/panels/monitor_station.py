"""Worker and monitor on the bench: two regulators in series that sense the same outlet, and what is shown of them."""

from __future__ import annotations

from dataclasses import replace

from toolkit.devices.line import SensingLine
from toolkit.devices.regulator import Regulator
from toolkit.figures.data import ChartData, ChartSpec, EventMarker, Line, Mark
from toolkit.figures.station import station_svg
from toolkit.layers import MONITOR, with_monitor
from toolkit.panels.bench import Settings, Shown
from toolkit.panels.regulator_view import DAY_MARKERS, DUSK, MORNING, spec
from toolkit.panels.station_view import station_view
from toolkit.panels.words import clock, event_list, lasting
from toolkit.scenario import Scenario, Station, Volume
from toolkit.trace import Trace, time_above
from toolkit.units import display_unit, format_pressure, format_quantity, tidy, to_display

WORKER = "worker"
# Room between the two regulators, and downstream [m3]: little against much, as it should be.
INTERSTAGE, OUTLET = 3e-4, 2e-2
# A monitor counts as holding once it stands this far off its upper stop (share of travel).
HOLDS_BELOW = 0.9


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


def settings_of(scenario: Scenario) -> tuple[float, float, float]:
    """Set points of worker and monitor, and the rating of the appliances [Pa gauge]."""
    sets = {r.name: r.set_gauge_pressure for r in scenario.station.regulators}
    return sets[WORKER], sets[MONITOR], scenario.station.loads[0].maximum_gauge_pressure


def marks(scenario: Scenario, units: str) -> tuple[Mark, ...]:
    """The two set points and the rating as lines on the chart."""
    worker, monitor, rating = (to_display(p, "low_gauge_pressure", units) for p in settings_of(scenario))
    return (
        Mark("worker set", worker, "green", "dashed"),
        Mark("monitor set", monitor, "purple", "dashdot"),
        Mark("appliance rating", rating, "vermilion", "dashed"),
    )


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

    worker, monitor, rating = settings_of(trace.scenario)
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
    over = time_above(trace.times, trace["outlet_gauge_pressure"], rating)
    if over > 0:
        said.append(f"The appliances are rated {shown(rating)}: the outlet is above that for {lasting(over)}.")
    else:
        said.append(f"The outlet never passes the appliances' rating of {shown(rating)}.")
    return tidy(" ".join(said))


def readouts(trace: Trace, time: float, units: str) -> tuple[tuple[str, str], ...]:
    """What the gauges say at a time [s], and over the whole run."""

    def at(volume: str) -> str:
        return format_pressure(trace.at(f"{volume}_gauge_pressure", time), units)

    load = trace.scenario.station.loads[0].name
    _, monitor, _ = settings_of(trace.scenario)
    return (
        ("outlet now", at("outlet")),
        ("between them now", at("interstage")),
        ("flow now", format_quantity(max(0.0, trace.at(f"{load}_flow", time)), "standard_flow", units)),
        ("highest outlet", format_pressure(trace.peak("outlet_gauge_pressure")[1], units)),
        ("monitor set", format_pressure(monitor, units)),
    )


def event_markers(trace: Trace) -> tuple[EventMarker, ...]:
    """What is done to the station, and when the monitor takes over."""
    began = takes_over(trace)
    return DAY_MARKERS if began is None else (*DAY_MARKERS, EventMarker(began / 60, "monitor takes over"))


def over_the_day(settings: Settings, trace: Trace) -> Shown:
    """The station at the moment chosen, the outlet over the bench's day, the story in words."""
    units, moment = settings["units"], settings["moment"]
    chart_spec: ChartSpec = spec(units, settings["zoom"])
    scale = display_unit("low_gauge_pressure", units).scale
    chart = ChartData(
        (Line("outlet", trace.times / 60, trace["outlet_gauge_pressure"] / scale, "blue"),),
        marks(trace.scenario, units),
        event_markers(trace),
        moment=moment / 60,
        moment_text=clock(moment),
    )
    return Shown(
        station_svg(station_view(trace, moment, "outlet", units, "Worker and monitor")),
        chart_spec,
        chart,
        readouts(trace, moment, units),
        story(trace, units),
        tuple(event_list(trace, units)),
    )
