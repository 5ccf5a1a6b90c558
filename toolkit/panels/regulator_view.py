"""One service regulator on the bench: the scenario that the lessons run, and what they show of it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from toolkit.devices.balance import RegulatorCondition
from toolkit.devices.line import SupplyCondition
from toolkit.devices.regulator import (
    InternalRelief,
    Regulator,
    lock_up_gauge_pressure,
    relief_start_gauge_pressure,
)
from toolkit.faults import HARD_DEBRIS, Debris
from toolkit.figures.data import ChartData, ChartSpec, EventMarker, Line, Mark
from toolkit.figures.schematic import DebrisView, RegulatorView, regulator_svg
from toolkit.figures.style import ViewMode
from toolkit.panels.shown import Settings, Shown
from toolkit.panels.words import NO_GAS, clock, event_list, lasting, vented_words
from toolkit.scenario import Demand, Scenario, Station
from toolkit.trace import Trace, time_above
from toolkit.units import HOUR, IN_WC, PSI, SCF, display_unit, format_pressure, format_quantity, tidy, to_display

NAME = "regulator"
# The bench's day, ten minutes long: burners, then pilots only, then nothing (the night), then burners, then nothing.
DUSK, NIGHT, MORNING, NOON, END = 120.0, 240.0, 420.0, 540.0, 600.0
PILOTS = 0.05
# What can be set on the bench: the sliders' ends, and the ends of travel of screw, nut and flames in the drawing.
LARGEST_DEMAND = 1500 * SCF / HOUR
SET_POINTS, RELIEF_SETTINGS = (4 * IN_WC, 14 * IN_WC), (2 * IN_WC, 20 * IN_WC)

# Ranges of the chart in Pa: near the set point, and the whole of it up to a high-pressure inlet.
NEAR_TOP = 30 * IN_WC
# Over the chart: with two rows, a relief that opens at dusk leaves the night without its name.
EVENT_ROWS = 3
CHART = (600, 360)
WHOLE = (1 * IN_WC, 100 * PSI)
WHOLE_TICKS = {
    "us": (
        (1 * IN_WC, "1 in. w.c."),
        (10 * IN_WC, "10 in. w.c."),
        (1 * PSI, "1 psi"),
        (10 * PSI, "10 psi"),
        (100 * PSI, "100 psi"),
    ),
    "metric": ((1e3, "10 mbar"), (1e4, "100 mbar"), (1e5, "1 bar")),
}

DAY = (Demand(0, 1.0), Demand(DUSK, PILOTS), Demand(NIGHT, 0.0), Demand(MORNING, 1.0), Demand(NOON, 0.0))

# The day's changes over a chart in minutes.
DAY_MARKERS = (
    EventMarker(DUSK / 60, "pilots only"),
    EventMarker(NIGHT / 60, "all off"),
    EventMarker(MORNING / 60, "burners on"),
    EventMarker(NOON / 60, "all off"),
)


def station(
    *,
    inlet: float,
    set_point: float,
    demand: float,
    relief_above_set: float | None = InternalRelief.start_above_set,
) -> Station:
    """The bench's station; the set point is what the spring holds at the bench's nominal 60 psi inlet.

    `demand` [standard m3/s] is what the burners take at 7 in. w.c.; None for a regulator without an internal relief.
    """
    relief = None if relief_above_set is None else InternalRelief(start_above_set=relief_above_set)
    regulator = replace(Regulator(), set_gauge_pressure=set_point, relief=relief)
    plain = Station()
    return replace(
        plain,
        regulators=(regulator,),
        supply=replace(plain.supply, gauge_pressure=inlet),
        loads=(replace(plain.loads[0], rated_flow=demand),),
    )


def debris(height: float, stiffness: float, onset: float = 60.0) -> tuple[Debris, ...]:
    """Debris of a height [m] on the seat, or none."""
    return (Debris(devices=NAME, height=height, stiffness=stiffness, onset=onset),) if height > 1e-6 else ()


@dataclass(frozen=True)
class Levels:
    """Gauge pressures that matter on the bench [Pa]: healthy ones, from the closed forms."""

    set_point: float
    lock_up: float
    relief_start: float | None  # none without a relief
    rating: float


def levels(scenario: Scenario) -> Levels:
    """The marks of a scenario's regulator, healthy, at the supply's pressure, and its appliances' rating."""
    (regulator,) = scenario.station.regulators
    healthy = regulator.condition()
    return Levels(
        regulator.set_gauge_pressure,
        lock_up_gauge_pressure(healthy, scenario.station.supply.gauge_pressure),
        relief_start_gauge_pressure(healthy) if regulator.relief else None,
        scenario.station.loads[0].maximum_gauge_pressure,
    )


def marks(at: Levels, units: str) -> tuple[Mark, ...]:
    """The marks as lines on the chart."""

    def shown(value: float) -> float:
        return to_display(value, "low_gauge_pressure", units)

    relief = () if at.relief_start is None else (Mark("relief starts", shown(at.relief_start), "purple", "dashdot"),)
    return (
        Mark("set point", shown(at.set_point), "green", "dashed"),
        Mark("lock-up", shown(at.lock_up), "black", "dotted"),
        *relief,
        Mark("appliance rating", shown(at.rating), "vermilion", "dashed"),
    )


def spec(units: str, zoom: str) -> ChartSpec:
    """Outlet pressure over the bench's day: `zoom` "near" the set point or the "whole" range."""
    unit = display_unit("low_gauge_pressure", units)
    near = ChartSpec(
        (0, END / 60),
        (0, NEAR_TOP / unit.scale),
        x_unit="min",
        y_name="Outlet",
        y_unit=unit.label,
        size=CHART,
        event_rows=EVENT_ROWS,
    )
    if zoom == "near":
        return near
    ticks = tuple((value / unit.scale, text) for value, text in WHOLE_TICKS[units])
    low, high = (value / unit.scale for value in WHOLE)
    return replace(near, y_range=(low, high), y_scale="log", y_ticks=ticks, unit_in_ticks=True)


def outlet_line(trace: Trace, units: str) -> Line:
    """The outlet's pressure, in minutes and display units."""
    return Line(
        "outlet",
        trace.times / 60,
        trace["outlet_gauge_pressure"] / display_unit("low_gauge_pressure", units).scale,
        "blue",
    )


def event_markers(trace: Trace) -> tuple[EventMarker, ...]:
    """The few events that fit over a chart: what is done to the station, and the first acting of the relief."""
    opened = trace.happened("relief_opens")
    return (*DAY_MARKERS, *(EventMarker(event.time / 60, "relief opens") for event in opened[:1]))


def share_of(value: float, ends: tuple[float, float]) -> float:
    """How far a value stands from the first end to the second, 0 to 1 inside."""
    return (value - ends[0]) / (ends[1] - ends[0])


def view(trace: Trace, time: float, units: str) -> RegulatorView:
    """The drawing's state at a time [s]."""
    scenario = trace.scenario
    (regulator,) = scenario.station.regulators
    conditions = scenario.conditions(time)
    (condition,) = (c for c in conditions if isinstance(c, RegulatorCondition))
    (supply,) = (c for c in conditions if isinstance(c, SupplyCondition))
    healthy = regulator.condition()
    relief_travel = regulator.relief.travel if regulator.relief else 1.0
    outlet = trace.at("outlet_gauge_pressure", time)
    height = condition.debris_height
    blocked = 1 - condition.vent / healthy.vent
    return RegulatorView(
        lift=trace.at(f"{NAME}_lift", time) / regulator.travel if trace.at(f"{NAME}_lift", time) > 1e-6 else 0.0,
        relief_lift=max(0.0, trace.at(f"{NAME}_relief_lift", time) / relief_travel),
        inlet_text=format_pressure(trace.at("inlet_gauge_pressure", time), units),
        outlet_text=format_pressure(outlet, units),
        case_text=format_pressure(trace.at(f"{NAME}_case_gauge_pressure", time), units),
        outlet_level=outlet / NEAR_TOP,
        demand=trace.at(f"{scenario.station.loads[0].name}_flow", time) / LARGEST_DEMAND,
        spring_setting=share_of(regulator.set_gauge_pressure, SET_POINTS),
        relief_spring=share_of(regulator.relief.start_above_set, RELIEF_SETTINGS) if regulator.relief else 0.0,
        debris=DebrisView(height / regulator.travel, condition.debris_stiffness >= HARD_DEBRIS)
        if height > 1e-6
        else None,
        seat_nicked=condition.nick > 0,
        torn=condition.hole > 0 and condition.kept < 1,
        vent_blocked=blocked,
        vent_flow=max(0.0, trace.at(f"{NAME}_vent_flow", time)) / 5e-3,
        stem_stuck=condition.lowest_lift > 0 or condition.highest_lift < regulator.travel,
        spring_weak=condition.preload < 0.999 * healthy.preload,
        filter_blocked=1 - supply.flow_area / scenario.station.supply.flow_area,
        inlet_level=min(1.0, trace.at("inlet_gauge_pressure", time) / WHOLE[1] + 0.3),
        case_level=trace.at(f"{NAME}_case_gauge_pressure", time) / NEAR_TOP,
    )


def drawing(trace: Trace, time: float, units: str, screen: ViewMode = "desk") -> str:
    """The cut-open regulator at a time [s], as SVG."""
    return regulator_svg(view(trace, time, units), view_mode=screen)


def readouts(trace: Trace, time: float, units: str) -> tuple[tuple[str, str], ...]:
    """What the gauges say at a time [s], and over the whole run."""
    scenario, at = trace.scenario, levels(trace.scenario)
    load = scenario.station.loads[0].name
    starts = "no relief" if at.relief_start is None else format_pressure(at.relief_start, units)
    return (
        ("outlet now", format_pressure(trace.at("outlet_gauge_pressure", time), units)),
        ("burners take now", format_quantity(max(0.0, trace.at(f"{load}_flow", time)), "standard_flow", units)),
        ("highest outlet", format_pressure(trace.peak("outlet_gauge_pressure")[1], units)),
        ("lock-up, healthy", format_pressure(at.lock_up, units)),
        ("relief starts, healthy", starts),
        ("gas vented", vented_words(trace, units)),
    )


def story(trace: Trace, units: str) -> str:
    """The run in a few sentences: by day, by night, what the relief did, whether the appliances' rating was passed."""
    at = levels(trace.scenario)

    def shown(gauge: float) -> str:
        return format_pressure(gauge, units)

    by_day = trace.at("outlet_gauge_pressure", DUSK - 1)
    by_night = trace.at("outlet_gauge_pressure", MORNING - 1)
    said = [
        f"With the burners on, the outlet stands at {shown(by_day)}.",
        f"At the end of the night it stands at {shown(by_night)}; a healthy lock-up is {shown(at.lock_up)}.",
    ]
    gas = vented_words(trace, units)
    if opened := trace.happened("relief_opens"):
        first = opened[0]
        said.append(f"The internal relief first opens at {clock(first.time)}, with the outlet at {shown(first.value)}.")
        said.append(f"Gas out of the vent: {gas}.")
    elif at.relief_start is None:
        said.append("There is no internal relief: what the seat passes stays in the pipe.")
    elif gas != NO_GAS:
        said.append(f"The internal relief stays shut, yet gas comes out of the vent: {gas}.")
    else:
        said.append("The internal relief stays shut.")
    over = time_above(trace.times, trace["outlet_gauge_pressure"], at.rating)
    if over > 0:
        said.append(f"The appliances are rated {shown(at.rating)}: the outlet is above that for {lasting(over)}.")
    else:
        said.append(f"The outlet never passes the appliances' rating of {shown(at.rating)}.")
    return tidy(" ".join(said))


def over_the_day(settings: Settings, trace: Trace) -> Shown:
    """Outlet over the bench's day, the regulator at the moment chosen, the story in words."""
    units, moment = settings["units"], settings["moment"]
    chart = ChartData(
        (outlet_line(trace, units),),
        marks(levels(trace.scenario), units),
        event_markers(trace),
        moment=moment / 60,
        moment_text=clock(moment),
    )
    return beside(settings, trace, spec(units, settings["zoom"]), chart)


def beside(settings: Settings, trace: Trace, spec: ChartSpec, chart: ChartData) -> Shown:
    """The regulator at the moment chosen and the run in words, beside a chart."""
    units, moment = settings["units"], settings["moment"]
    return Shown(
        drawing(trace, moment, units, settings.get("screen", "desk")),
        spec,
        chart,
        readouts(trace, moment, units),
        story(trace, units),
        tuple(event_list(trace, units)),
    )
