"""Lesson 02, the regulator."""

from __future__ import annotations

from dataclasses import replace
from math import pi, sqrt
from random import Random

from toolkit.devices.regulator import Regulator, gauge_at_lift, inlet_effect
from toolkit.faults import SupplyChange
from toolkit.flow import mass_flow
from toolkit.quiz.items import Item, pick
from toolkit.quiz.pictures import OUTLET, outlet_picture
from toolkit.quiz.questions import NumericQuestion, Slip, TraceQuestion
from toolkit.scenario import Demand, Scenario, Station
from toolkit.simulation import simulate
from toolkit.trace import Trace
from toolkit.units import IN_WC, PSI, display_unit, format_pressure, format_quantity, to_display

# How well a pressure can be read from the pictures.
READING = 0.07 * IN_WC


def station_of(chance: Random, units: str, flow: tuple[float, float]) -> Station:
    """A sound station with a round set point and a load drawn from a range [standard m3/s]."""
    plain = Station()
    set_point = pick(chance, "low_gauge_pressure", units, (6, 9, 0.5), (15, 22, 1))
    inlet = pick(chance, "gauge_pressure", units, (50, 60, 1), (3.5, 4.2, 0.1))
    regulator = replace(
        plain.regulators[0],
        set_gauge_pressure=set_point,
        adjusted_at_inlet_gauge_pressure=inlet,
        seat_stiffness=chance.uniform(0.6e5, 1.6e5),
    )
    load = replace(plain.loads[0], rated_flow=chance.uniform(*flow), rated_gauge_pressure=set_point)
    return replace(plain, supply=replace(plain.supply, gauge_pressure=inlet), regulators=(regulator,), loads=(load,))


def set_point_of(trace: Trace) -> tuple[str, float]:
    """Return the mark of the regulator's set point: label and gauge pressure [Pa]."""
    return ("set point", trace.scenario.station.regulators[0].set_gauge_pressure)


def _on_and_off(chance: Random, units: str) -> Trace:
    station = station_of(chance, units, (1.1e-2, 1.8e-2))
    return simulate(Scenario(station, (Demand(0.0, 1.0), Demand(40.0, 0.0, stroke=2.0)), (), 80.0))


def _droop(key: str, chance: Random, units: str) -> NumericQuestion:
    trace = _on_and_off(chance, units)
    label, set_point = set_point_of(trace)
    flowing, shut = trace.at(OUTLET, 35.0), trace.settled(OUTLET)
    return NumericQuestion(
        key,
        "The picture shows the outlet pressure; the burners are on and go off at 40 s. "
        "How large is the droop with the burners on?",
        "pressure_difference",
        set_point - flowing,
        f"Droop is set point less outlet pressure under flow: {format_pressure(set_point, units)} less "
        f"{format_pressure(flowing, units)}.",
        (
            Slip(
                "the outlet pressure itself was given", flowing, "Droop is a difference: how far below the set point."
            ),
            Slip("it was counted from lock-up", shut - flowing, "Droop counts from the set point, not from lock-up."),
            Slip(
                "the rise to lock-up was given", shut - set_point, "That is lock-up above set point; droop is below it."
            ),
        ),
        relative_tolerance=0.03,
        absolute_tolerance=READING,
        units=units,
        picture=outlet_picture(trace, units, marks=((label, set_point),), low=floor(trace, units)),
    )


def _lock_up(key: str, chance: Random, units: str) -> NumericQuestion:
    trace = _on_and_off(chance, units)
    label, set_point = set_point_of(trace)
    flowing, shut = trace.at(OUTLET, 35.0), trace.settled(OUTLET)
    return NumericQuestion(
        key,
        "The picture shows the outlet pressure; the burners are on and go off at 40 s. "
        "How far above the set point does the regulator lock up?",
        "pressure_difference",
        shut - set_point,
        f"At rest the outlet stands at {format_pressure(shut, units)}, the set point is "
        f"{format_pressure(set_point, units)}. It takes that much more to press the disk tight onto its seat.",
        (
            Slip("the lock-up pressure itself was given", shut, "Asked was how far it lies above the set point."),
            Slip("it was counted from the pressure under flow", shut - flowing, "It counts from the set point."),
            Slip("the droop was given", set_point - flowing, "Droop lies below the set point, lock-up above it."),
        ),
        relative_tolerance=0.03,
        absolute_tolerance=READING,
        units=units,
        picture=outlet_picture(trace, units, marks=((label, set_point),), low=floor(trace, units)),
    )


def floor(trace: Trace, units: str) -> float:
    """A round pressure below all of a trace, so that the picture is fine enough to read."""
    unit = display_unit("low_gauge_pressure", units)
    step = 1 if units == "us" else 2
    lowest = to_display(float(trace[OUTLET].min()), "low_gauge_pressure", units)
    return max(0.0, lowest // step * step) * unit.scale


def _inlet_effect(key: str, chance: Random, units: str) -> NumericQuestion:
    high = pick(chance, "gauge_pressure", units, (50, 60, 5), (3.4, 4.2, 0.2))
    low = pick(chance, "gauge_pressure", units, (10, 25, 5), (0.6, 1.8, 0.2))
    orifice = pick(chance, "small_length", units, (0.25, 0.375, 0.125), (6, 9, 1))
    lever = float(chance.choice((4, 5)))
    regulator = Regulator(orifice_diameter=orifice, lever_ratio=lever)
    seat, area = regulator.unbalanced_area, regulator.diaphragm_area
    truth = (high - low) * inlet_effect(regulator.condition())
    return NumericQuestion(
        key,
        f"A regulator has an orifice of {format_quantity(orifice, 'small_length', units)}, a diaphragm of "
        f"{format_quantity(area, 'area', units)} and a lever that moves the diaphragm {lever:g} times as far as the "
        f"disk. Its inlet falls from {format_pressure(high, units)} to {format_pressure(low, units)}. "
        "By how much does its lock-up pressure fall? Give two digits that count.",
        "pressure_difference",
        truth,
        "Inlet pressure pushes the disk open on the orifice's area; outlet pressure pushes it shut on the diaphragm's "
        "area, with the lever's help. So the change is the inlet's, times orifice area over (lever x diaphragm area + "
        f"orifice area), {inlet_effect(regulator.condition()):.5f}.",
        (
            Slip(
                "the lever was left out",
                (high - low) * seat / (area + seat),
                "The lever multiplies the diaphragm's force.",
            ),
            Slip(
                "diameters were compared instead of areas",
                (high - low) * orifice / (lever * 2 * sqrt(area / pi)),
                "Force is pressure times area, and area goes with the square of the diameter.",
            ),
            Slip(
                "the lever was counted twice",
                (high - low) * seat / (lever**2 * area + seat),
                "The lever multiplies the diaphragm's force once.",
            ),
        ),
        relative_tolerance=0.04,
        absolute_tolerance=0.01 * IN_WC,
        units=units,
    )


def _burner_input(key: str, chance: Random, units: str) -> NumericQuestion:
    regulator = Regulator()
    share = chance.choice((0.4, 0.5, 0.6, 0.7, 0.8))
    set_point = regulator.set_gauge_pressure
    drooped = gauge_at_lift(regulator.condition(), share * regulator.travel, regulator.adjusted_at_inlet_gauge_pressure)
    rated = pick(chance, "heat_input", units, (150_000, 400_000, 50_000), (40, 120, 10))
    plain = Station()
    air = plain.atmosphere
    flows = [mass_flow(1e-5, air + gauge, air, plain.gas, plain.temperature) for gauge in (drooped, set_point)]
    truth = rated * flows[0] / flows[1]
    return NumericQuestion(
        key,
        f"Burners are rated {format_quantity(rated, 'heat_input', units)} at {format_pressure(set_point, units)}. "
        f"Under full flow the regulator droops to {format_pressure(drooped, units)}. What input do the burners get?",
        "heat_input",
        truth,
        "Flow through an orifice goes with the square root of its pressure: the burners get "
        f"{flows[0] / flows[1]:.1%} of their rating.",
        (
            Slip(
                "input was taken as proportional to pressure",
                rated * drooped / set_point,
                "Flow goes with the square root of pressure, so the input falls by only about half that share.",
            ),
            Slip("the droop was overlooked", rated, "Less pressure at the orifices means less gas."),
        ),
        relative_tolerance=0.01,
        units=units,
    )


def _when_locked_up(key: str, chance: Random, units: str) -> TraceQuestion:
    station = station_of(chance, units, (4e-3, 8e-3))
    start, stroke = chance.uniform(15.0, 35.0), chance.uniform(20.0, 45.0)
    trace = simulate(Scenario(station, (Demand(0.0, 1.0), Demand(start, 0.0, stroke=stroke)), (), 120.0))
    time = trace.happened("seat_shuts")[-1].time
    half = 0.03 * trace.scenario.duration
    return TraceQuestion(
        key,
        "One burner after another is turned down until none takes gas. The picture shows the outlet pressure. "
        "At what time did the regulator lock up?",
        outlet_picture(trace, units, marks=(set_point_of(trace),), low=floor(trace, units)),
        (time - half, time + half),
        trace.scenario.duration,
        f"As the flow falls the pressure climbs back past the set point; it stops climbing when the disk seals, at "
        f"{time:.0f} s. From then on it is level: lock-up.",
    )


def _lost_hold(key: str, chance: Random, units: str) -> TraceQuestion:
    station = station_of(chance, units, (7e-3, 1.1e-2))
    onset, ramp = chance.uniform(20.0, 40.0), chance.uniform(150.0, 220.0)
    fall = SupplyChange(devices="supply", gauge_pressure=1.5 * PSI, onset=onset, ramp=ramp)
    trace = simulate(Scenario(station, (Demand(0.0, 1.0),), (fall,), 280.0))
    opened = trace.happened("wide_open")[0]
    half = 0.035 * trace.scenario.duration
    inlet = trace.at("inlet_gauge_pressure", opened.time)
    return TraceQuestion(
        key,
        f"The burners take a steady load while the inlet pressure falls evenly, from {onset:.0f} s to "
        f"{onset + ramp:.0f} s. At what time did the regulator lose its hold, its disk being wide open?",
        outlet_picture(trace, units, marks=(set_point_of(trace),)),
        (opened.time - half, opened.time + half),
        trace.scenario.duration,
        f"Until {opened.time:.0f} s the disk opens further and the outlet only droops. Then it is wide open, with the "
        f"inlet down to {format_pressure(inlet, units)}, and the outlet falls along with the inlet.",
    )


ITEMS = (
    Item("02.droop", "02", "Read droop from a trace.", _droop),
    Item("02.lock_up", "02", "Read how far above the set point a regulator locks up.", _lock_up),
    Item("02.inlet_effect", "02", "Tell how far a change of inlet pressure shifts the outlet.", _inlet_effect),
    Item("02.burner_input", "02", "Tell what droop costs the burners.", _burner_input),
    Item("02.when_locked_up", "02", "Read from a trace when the regulator locked up.", _when_locked_up),
    Item(
        "02.lost_hold", "02", "Read from a trace when a regulator was wide open and no longer in control.", _lost_hold
    ),
)
