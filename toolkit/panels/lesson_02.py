"""Lesson 02, the regulator: set point, droop, lock-up, and what the inlet pressure does to them."""

from __future__ import annotations

import numpy as np

from toolkit.devices.balance import valve_area
from toolkit.devices.regulator import gauge_at_lift
from toolkit.figures.data import ChartData, ChartSpec, Line, Point
from toolkit.flow import nozzle
from toolkit.gas import standard_density
from toolkit.panels.bench import Bench, Settings, Shown, run
from toolkit.panels.controls import Choice
from toolkit.panels.predict import Prediction
from toolkit.panels.regulator_view import (
    CHART,
    DAY,
    DUSK,
    LARGEST_DEMAND,
    MORNING,
    NEAR_TOP,
    beside,
    levels,
    marks,
    over_the_day,
    station,
)
from toolkit.panels.sliders import DEMAND, INLET, MOMENT, SET_POINT, ZOOM, starting
from toolkit.scenario import Scenario
from toolkit.units import display_unit, format_pressure, tidy, to_display

OVER = Choice("over", "Chart is drawn over", "view", (("time", "time"), ("flow", "flow")))


def scenario(settings: Settings) -> Scenario:
    """The bench's day with a healthy regulator."""
    return Scenario(station(inlet=settings["inlet"], set_point=settings["set_point"], demand=settings["demand"]), DAY)


def flow_curve(scenario: Scenario, points: int = 160) -> tuple[np.ndarray, np.ndarray]:
    """Flow [standard m3/s] and outlet gauge pressure [Pa] of the healthy regulator from lock-up to wide open; (n,)."""
    (regulator,) = scenario.station.regulators
    here = scenario.station
    condition, inlet = regulator.condition(), here.supply.gauge_pressure
    law, density = nozzle(here.gas.heat_ratio, here.rt), standard_density(here.gas)
    lifts = np.linspace(0, 1, points) ** 2 * regulator.travel
    gauge = np.array([gauge_at_lift(condition, x, inlet) for x in lifts])
    flow = [
        law(valve_area(condition, x), inlet + here.atmosphere, p + here.atmosphere) / density
        for x, p in zip(lifts, gauge, strict=True)
    ]
    return np.array(flow), gauge


def show(settings: Settings) -> Shown:
    """Outlet over the day, or over the flow with the present flow marked."""
    trace = run(scenario(settings))
    if settings["over"] == "time":
        return over_the_day(settings, trace)
    units, moment = settings["units"], settings["moment"]
    flow_unit = display_unit("standard_flow", units)
    pressure_unit = display_unit("low_gauge_pressure", units)
    flow, gauge = flow_curve(trace.scenario)
    load = trace.scenario.station.loads[0].name
    now = Point(
        "at the moment shown",
        max(0.0, trace.at(f"{load}_flow", moment)) / flow_unit.scale,
        trace.at("outlet_gauge_pressure", moment) / pressure_unit.scale,
        "vermilion",
    )
    spec = ChartSpec(
        (0, 1.2 * LARGEST_DEMAND / flow_unit.scale),
        (0, to_display(NEAR_TOP * 2 / 3, "low_gauge_pressure", units)),
        "Flow",
        flow_unit.label,
        "Outlet",
        pressure_unit.label,
        size=CHART,
        event_rows=0,
    )
    inside = flow <= 1.2 * LARGEST_DEMAND
    chart = ChartData(
        (Line("held", flow[inside] / flow_unit.scale, gauge[inside] / pressure_unit.scale, "blue"),),
        marks(levels(trace.scenario), units)[:2],
        points=(now,),
    )
    return beside(settings, trace, spec, chart)


def explain(units: str) -> str:
    """Why the outlet stops a little above the set point, in numbers from the simulation."""
    trace = run(scenario(BENCH.start(units)))
    by_day = trace.at("outlet_gauge_pressure", DUSK - 1)
    night = trace.at("outlet_gauge_pressure", MORNING - 1)
    return tidy(
        f"With the burners on the bench holds {format_pressure(by_day, units)}. When the flow stops, the outlet has to "
        f"rise until the diaphragm can press the disk onto its soft seat: here to {format_pressure(night, units)}. "
        f"That is lock-up, {format_pressure(night - levels(trace.scenario).set_point, units)} above the set point."
    )


PREDICTION = Prediction(
    "The regulator is set to 7 in. w.c. (17.4 mbar). All burners go off. What does the outlet pressure do?",
    (
        "It falls to nothing.",
        "It stays exactly at the set point.",
        "It rises a little above the set point and stops there.",
        "It rises slowly to the inlet pressure.",
    ),
    2,
    explain,
)
DEMAND_HERE = starting(DEMAND, 600 * display_unit("standard_flow", "us").scale)
BENCH = Bench("The regulator", (INLET, SET_POINT, DEMAND_HERE, OVER, ZOOM, MOMENT), show)
