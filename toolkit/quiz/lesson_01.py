"""Lesson 01, pressure and flow."""

from __future__ import annotations

from dataclasses import replace
from math import log, sqrt
from random import Random

import numpy as np

from toolkit.flow import critical_flow_factor, critical_ratio, mass_flow, standard_flow
from toolkit.gas import NATURAL_GAS, PROPANE
from toolkit.quiz.items import Item, pick
from toolkit.quiz.pictures import INLET, outlet_picture
from toolkit.quiz.questions import NumericQuestion, Slip, TraceQuestion
from toolkit.scenario import Demand, Scenario, Station, Volume
from toolkit.simulation import simulate
from toolkit.units import STANDARD_ATMOSPHERE, atmosphere, display_unit, format_pressure, format_quantity, to_display

TEMPERATURE = Station().temperature


def _absolute(key: str, chance: Random, units: str) -> NumericQuestion:
    altitude = pick(chance, "altitude", units, (3000, 8000, 500), (1000, 2500, 100))
    gauge = pick(chance, "gauge_pressure", units, (5, 60, 5), (0.4, 4.0, 0.2))
    air = atmosphere(altitude)
    site, here = format_quantity(altitude, "altitude", units), format_quantity(air, "absolute_pressure", units)
    line = format_quantity(gauge, "gauge_pressure", units)
    return NumericQuestion(
        key,
        f"A gauge on a line shows {line}. The site lies at {site}, where the standard atmosphere is {here}. "
        "What is the absolute pressure in the line?",
        "absolute_pressure",
        gauge + air,
        f"Absolute is gauge plus the air's pressure at the site: {line} and {here} together.",
        (
            Slip("the gauge pressure was given as absolute", gauge, "The air's pressure has to be added."),
            Slip(
                "the atmosphere of sea level was added",
                gauge + STANDARD_ATMOSPHERE,
                f"At {site} the air presses less: {here}.",
            ),
            Slip("the atmosphere was taken off", gauge - air, "From gauge to absolute it is added."),
        ),
        relative_tolerance=0.01,
        site_atmosphere=air,
        units=units,
        reference="absolute",
    )


def _gauge(key: str, chance: Random, units: str) -> NumericQuestion:
    altitude = pick(chance, "altitude", units, (3000, 8000, 500), (1000, 2500, 100))
    air = atmosphere(altitude)
    absolute = pick(chance, "absolute_pressure", units, (18, 40, 1), (1.2, 2.8, 0.1))
    site, here = format_quantity(altitude, "altitude", units), format_quantity(air, "absolute_pressure", units)
    shown = format_quantity(absolute, "absolute_pressure", units)
    return NumericQuestion(
        key,
        f"A recorder with an absolute sensor shows {shown}. The site lies at {site}, where the standard atmosphere is "
        f"{here}. What does a gauge on the same tap show?",
        "gauge_pressure",
        absolute - air,
        f"A gauge shows what is above the air at the site: {shown} less {here}.",
        (
            Slip("the absolute pressure was given as gauge", absolute, "The air's pressure has to be taken off."),
            Slip(
                "the atmosphere of sea level was taken off",
                absolute - STANDARD_ATMOSPHERE,
                f"At {site} the air presses less: {here}.",
            ),
        ),
        absolute_tolerance=0.004 * absolute,
        relative_tolerance=0.01,
        site_atmosphere=air,
        units=units,
        reference="gauge",
    )


def _taken_off(key: str, chance: Random, units: str) -> NumericQuestion:
    inlet = pick(chance, "gauge_pressure", units, (1.5, 5, 0.5), (0.1, 0.4, 0.02))
    outlet = pick(chance, "low_gauge_pressure", units, (6, 11, 0.5), (15, 28, 1))
    before, after = format_quantity(inlet, "gauge_pressure", units), format_pressure(outlet, units)
    big, small = (display_unit(kind, units) for kind in ("gauge_pressure", "low_gauge_pressure"))
    psi, per = big.label.removesuffix("g"), big.scale / small.scale
    figures = abs(inlet / big.scale - outlet / small.scale)
    one_unit = "The two gauges count in different units; bring both to one unit first."
    slips = [
        Slip("the outlet was not taken off", inlet, "What is left at the outlet has not been taken off."),
        Slip("the outlet was added", inlet + outlet, "What is taken off is inlet less outlet."),
        Slip("the two figures were subtracted as they stand", figures * big.scale, one_unit),
        Slip("the two figures were subtracted as they stand", figures * small.scale, one_unit),
    ]
    if units == "metric":
        slips.append(Slip("a factor of ten was lost", 0.1 * inlet - outlet, f"One {psi} is {per:.4g} {small.label}."))
    return NumericQuestion(
        key,
        f"A house line holds {before}. The regulator delivers {after}. How much pressure does the regulator take off?",
        "pressure_difference",
        inlet - outlet,
        f"One {psi} is {per:.4g} {small.label}, so the inlet is "
        f"{to_display(inlet, 'low_gauge_pressure', units):.1f} {small.label}; take {after} off.",
        tuple(slips),
        relative_tolerance=0.015,
        units=units,
    )


def _orifice(key: str, chance: Random, units: str) -> NumericQuestion:
    rated = pick(chance, "low_gauge_pressure", units, (3.5, 7, 0.5), (8, 18, 1))
    flow = pick(chance, "standard_flow", units, (40, 120, 10), (1, 4, 0.5))
    times = chance.choice((1.5, 2.0, 2.5, 3.0))
    raised = times * rated
    ratio = _through(raised) / _through(rated)
    return NumericQuestion(
        key,
        f"A burner's orifice passes {format_quantity(flow, 'standard_flow', units)} at "
        f"{format_pressure(rated, units)}. "
        f"Its regulator fails and the pressure at the orifice rises to {format_pressure(raised, units)}. "
        "What does the orifice pass now?",
        "standard_flow",
        flow * ratio,
        "At such low pressures flow goes with the square root of the pressure difference: "
        f"{times:g} times the pressure gives {ratio:.2f} times the flow.",
        (
            Slip(
                "flow was taken as proportional to pressure",
                flow * times,
                "Twice the flow needs four times the pressure difference: flow goes with its square root.",
            ),
            Slip("flow was taken as unchanged", flow, "More pressure always drives more through the same orifice."),
            Slip(
                "flow was taken with the square of pressure", flow * times**2, "It is the square root, not the square."
            ),
        ),
        relative_tolerance=0.03,
        units=units,
    )


def _through(gauge: float) -> float:
    return mass_flow(1e-6, STANDARD_ATMOSPHERE + gauge, STANDARD_ATMOSPHERE, NATURAL_GAS, TEMPERATURE)


def _choked(key: str, chance: Random, units: str) -> NumericQuestion:
    first = pick(chance, "gauge_pressure", units, (15, 30, 5), (1.0, 2.0, 0.25))
    second = first * chance.choice((2, 3))
    flow = pick(chance, "standard_flow", units, (200, 900, 50), (6, 25, 1))
    air = STANDARD_ATMOSPHERE
    ratio = _through(second) / _through(first)
    one, two = (format_quantity(value, "gauge_pressure", units) for value in (first, second))
    return NumericQuestion(
        key,
        f"At sea level ({format_quantity(air, 'absolute_pressure', units)}) gas escapes from a line through an opening "
        f"into the open air: {format_quantity(flow, 'standard_flow', units)} while the line holds {one}. "
        f"The line is raised to {two}. What escapes now?",
        "standard_flow",
        flow * ratio,
        "Both flows are choked, since the line's absolute pressure is more than about 1.8 times the air's. Choked flow "
        f"goes with the absolute pressure upstream: ({two} + air) over ({one} + air) is {ratio:.2f}.",
        (
            Slip(
                "gauge pressures were compared",
                flow * second / first,
                "Choked flow goes with absolute pressure: add the air's pressure to both.",
            ),
            Slip(
                "the square root was taken",
                flow * sqrt(second / first),
                "The square root holds for small pressure differences; choked flow goes straight with the absolute "
                "pressure.",
            ),
            Slip(
                "choked was taken for constant",
                flow,
                "Choked means that the pressure downstream no longer matters. The pressure upstream still does.",
            ),
        ),
        relative_tolerance=0.02,
        units=units,
    )


def _input(key: str, chance: Random, units: str) -> NumericQuestion:
    ranges = {
        "furnace": ((60_000, 120_000, 10_000), (18, 35, 1)),
        "water heater": ((30_000, 50_000, 2_000), (9, 14, 1)),
        "range": ((40_000, 65_000, 5_000), (10, 19, 1)),
    }
    inputs = {name: pick(chance, "heat_input", units, us, metric) for name, (us, metric) in ranges.items()}
    total = sum(inputs.values())
    heat = NATURAL_GAS.heating_value
    listed = ", ".join(f"{name} {format_quantity(value, 'heat_input', units)}" for name, value in inputs.items())
    flow_unit, heat_unit = display_unit("standard_flow", units), display_unit("heat_input", units)
    # Heat per volume in the words of each display set: Btu in a standard cubic foot, MJ in a standard m3.
    content = (
        f"{heat * flow_unit.scale / heat_unit.scale:,.0f} Btu in a standard cubic foot"
        if units == "us"
        else f"{heat / 1e6:.1f} MJ in a standard m³"
    )
    slips = [
        Slip("the heat content of propane was used", total / PROPANE.heating_value, "The gas is natural gas."),
        Slip("only the largest appliance was counted", max(inputs.values()) / heat, "They may all burn at once."),
    ]
    if units == "metric":
        slips.append(
            Slip("kW was taken for MJ in an hour", total / heat / 3.6, "One kW for an hour is 3.6 MJ, not 1 MJ.")
        )
    return NumericQuestion(
        key,
        f"A house has these appliances, each with its rated input: {listed}. The natural gas holds {content}. "
        "What flow of gas do they take with all burners on?",
        "standard_flow",
        total / heat,
        f"The inputs add up to {format_quantity(total, 'heat_input', units)}; divide by the heat content.",
        tuple(slips),
        relative_tolerance=0.02,
        units=units,
    )


def blow_down(gauge: float, size: float, time_constant: float) -> Scenario:
    """Return the scenario of a section of pipe [m3] that is blown down from a gauge pressure [Pa] through a vent.

    `time_constant` [s] is that of the choked flow, size / (flow area C* sqrt(RT)).
    """
    plain = Station()
    area = size / (time_constant * critical_flow_factor(plain.gas.heat_ratio) * sqrt(plain.rt))
    load = replace(plain.loads[0], name="vent_valve", at="inlet", rated_gauge_pressure=1e4)
    flow = mass_flow(area, plain.atmosphere + 1e4, plain.atmosphere, plain.gas, plain.temperature)
    station = replace(
        plain,
        # A supply that is as good as shut: what it lets through is a ten-thousandth of the vent's flow.
        supply=replace(plain.supply, gauge_pressure=gauge, flow_area=1e-8),
        regulators=(),
        loads=(replace(load, rated_flow=standard_flow(flow, plain.gas)),),
        volumes=(Volume("inlet", size),),
    )
    choked_ratio = (plain.atmosphere + gauge) * critical_ratio(plain.gas.heat_ratio) / plain.atmosphere
    duration = 10.0 * round((5.0 + time_constant * (log(choked_ratio) + 1.0)) / 10.0)
    # The valve opens at 5 s. An entry at which nothing changes still ends a step of the run: the curve gets its bends.
    opened = tuple(Demand(5.0 + 2.0 * n, 1.0, "vent_valve", stroke=0.5) for n in range(round((duration - 5.0) / 2.0)))
    return Scenario(station, (Demand(0.0, 0.0, "vent_valve"), *opened), (), duration)


def _choked_until(key: str, chance: Random, units: str) -> TraceQuestion:
    gauge = pick(chance, "gauge_pressure", units, (40, 90, 10), (3, 6, 0.5))
    trace = simulate(blow_down(gauge, chance.uniform(1.0, 4.0), chance.uniform(30.0, 60.0)))
    station = trace.scenario.station
    ratio = critical_ratio(station.gas.heat_ratio)
    limit = station.atmosphere * (1 / ratio - 1)
    pressures = trace[INLET]
    time = float(np.interp(-limit, -pressures, trace.times))
    half = max(2.0, 0.03 * trace.scenario.duration)
    air = format_quantity(station.atmosphere, "absolute_pressure", units)
    return TraceQuestion(
        key,
        f"A section of pipe is isolated and vented down to the open air ({air}) through a short opening, from 5 s on. "
        f"The gas chokes in the opening while the air's pressure is below {ratio:.3f} of the pipe's absolute pressure. "
        "At what time does the flow stop being choked?",
        outlet_picture(trace, units, signal=INLET, kind="gauge_pressure", name="Pipe pressure"),
        (time - half, time + half),
        trace.scenario.duration,
        f"The pipe's absolute pressure must be {1 / ratio:.2f} times the air's, which is a gauge pressure of "
        f"{format_quantity(limit, 'gauge_pressure', units)}. The pipe passes it at {time:.0f} s.",
    )


ITEMS = (
    Item("01.absolute", "01", "Turn a gauge reading into absolute pressure at the site's altitude.", _absolute),
    Item("01.gauge", "01", "Turn an absolute pressure into what a gauge shows at the site.", _gauge),
    Item("01.taken_off", "01", "Bring two pressures to one unit before they are compared.", _taken_off),
    Item("01.orifice", "01", "Tell what an orifice passes when a low pressure at it rises.", _orifice),
    Item("01.choked", "01", "Tell what escapes through an opening when a high pressure behind it rises.", _choked),
    Item("01.input", "01", "Turn the inputs of appliances into a flow of gas.", _input),
    Item("01.choked_until", "01", "Tell choked from unchoked flow by absolute pressures.", _choked_until),
)
