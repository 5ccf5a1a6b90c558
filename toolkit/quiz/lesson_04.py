"""Lesson 04, the internal relief."""

from __future__ import annotations

from dataclasses import replace
from random import Random

from toolkit.devices.regulator import InternalRelief, Regulator, relief_start_gauge_pressure
from toolkit.faults import BlockedVent, Debris, NickedSeat
from toolkit.quiz.cause import CauseQuestion
from toolkit.quiz.items import Item, pick, rounded
from toolkit.quiz.pictures import OUTLET, outlet_picture
from toolkit.quiz.questions import NumericQuestion, Slip, TraceQuestion
from toolkit.quiz.spread import ONE_REGULATOR, VISIT, amounts_to, cause_question
from toolkit.scenario import Demand, Scenario, Station
from toolkit.simulation import simulate
from toolkit.trace import Trace
from toolkit.units import IN_WC, PSI, format_pressure, format_quantity


def _creeping(chance: Random, units: str, limit: float) -> Trace:
    """A run in which a nicked seat lets the outlet creep, after the burners went off, past the relief's start."""
    plain = Station()
    set_point = pick(chance, "low_gauge_pressure", units, (6, 8, 0.5), (15, 20, 1))
    above = pick(chance, "low_gauge_pressure", units, (7, 10, 1), (18, 25, 1))
    regulator = replace(plain.regulators[0], set_gauge_pressure=set_point, relief=InternalRelief(start_above_set=above))
    station = replace(
        plain,
        regulators=(regulator,),
        volumes=(plain.volumes[0], replace(plain.volumes[1], size=chance.uniform(8e-3, 2e-2))),
        loads=(replace(plain.loads[0], maximum_gauge_pressure=limit, rated_gauge_pressure=set_point),),
    )
    # Enough to lift the relief off its pad by more than the trace can tell; a smaller leak weeps past it unseen.
    nick = NickedSeat(devices="regulator", leak_area=chance.uniform(3.5e-9, 8e-9), onset=-10.0, ramp=1.0)
    off = chance.uniform(20.0, 60.0)
    whole = Scenario(station, (Demand(0.0, 1.0), Demand(off, 0.0, stroke=1.0)), (nick,), 3600.0)
    opened = simulate(whole).happened("relief_opens")[0].time
    # The picture ends a while after the relief has opened, so that its level there is seen.
    return simulate(replace(whole, duration=10.0 * round((opened + 0.35 * (opened - off) + 10.0) / 10.0)))


def _relief_opened(key: str, chance: Random, units: str) -> TraceQuestion:
    trace = _creeping(chance, units, 50 * IN_WC)
    regulator = trace.scenario.station.regulators[0]
    event = trace.happened("relief_opens")[0]
    half = 0.03 * trace.scenario.duration
    set_point = regulator.set_gauge_pressure
    above = regulator.relief.start_above_set if regulator.relief else 0.0
    return TraceQuestion(
        key,
        f"The seat leaks. The regulator is set to {format_pressure(set_point, units)}, its internal relief starts "
        f"{format_pressure(above, units)} above that. The burners go off early in the run. At what time does "
        "the relief open?",
        outlet_picture(trace, units, marks=(("set point", set_point),)),
        (event.time - half, event.time + half),
        trace.scenario.duration,
        f"Set point and {format_pressure(above, units)} make {format_pressure(set_point + above, units)}; the outlet "
        f"reaches it at {event.time:.0f} s. From there on it is nearly level: what leaks in goes out of the vent.",
    )


def _above_rating(key: str, chance: Random, units: str) -> TraceQuestion:
    rating = 0.01 * round(100 * chance.uniform(0.38, 0.45)) * PSI if units == "us" else 100.0 * chance.randint(26, 31)
    trace = _creeping(chance, units, rating)
    event = trace.happened("above_rating")[0]
    half = 0.03 * trace.scenario.duration
    said = f"{rating / PSI:.2f} psi" if units == "us" else f"{rating / 1000:.1f} kPa"
    return TraceQuestion(
        key,
        f"The controls of the appliances are rated for {said} at their inlet. The seat leaks and the burners go off "
        "early in the run. From when on do the controls stand above their rating?",
        outlet_picture(trace, units),
        (event.time - half, event.time + half),
        trace.scenario.duration,
        f"{said} is {format_pressure(rating, units)}; the outlet passes it at {event.time:.0f} s, before the relief "
        "opens. An internal relief bounds the pressure, but not at the rating of the controls.",
    )


def _relief_start(key: str, chance: Random, units: str) -> NumericQuestion:
    old = pick(chance, "low_gauge_pressure", units, (6, 8, 0.5), (15, 20, 1))
    more = pick(chance, "low_gauge_pressure", units, (1.5, 4, 0.5), (4, 10, 1))
    above = pick(chance, "low_gauge_pressure", units, (7, 10, 1), (18, 25, 1))
    before = Regulator(set_gauge_pressure=old, relief=InternalRelief(start_above_set=above))
    after = replace(before, set_gauge_pressure=old + more)
    condition = after.condition()._replace(relief_preload=before.relief_preload)
    truth = relief_start_gauge_pressure(condition)
    return NumericQuestion(
        key,
        f"A regulator is set to {format_pressure(old, units)}; its internal relief starts at "
        f"{format_pressure(old + above, units)}. The adjusting screw is turned in until the set point is "
        f"{format_pressure(old + more, units)}; the relief's own spring is not touched. At what outlet pressure does "
        "the relief start now?",
        "low_gauge_pressure",
        truth,
        "The relief opens when the outlet pressure overcomes the main spring and the relief's spring together. The "
        f"main spring now presses harder by what {format_pressure(more, units)} make on the diaphragm, so the start "
        "moves up with the set point.",
        (
            Slip(
                "the start was left where it was",
                old + above,
                "The relief's spring rests on the diaphragm that the main spring presses down: it moves along.",
            ),
            Slip("the new set point was given", old + more, "The relief starts its own spring's worth above that."),
            Slip(
                "only the rise above the set point was given", above, "The relief starts that far above the set point."
            ),
            Slip("the change was taken the wrong way", old + above - more, "More main spring means a later start."),
        ),
        relative_tolerance=0.02,
        units=units,
    )


def _jammed(key: str, chance: Random, units: str) -> NumericQuestion:
    regulator = Regulator(set_gauge_pressure=pick(chance, "low_gauge_pressure", units, (6, 8, 0.5), (15, 20, 1)))
    share = chance.choice((0.5, 0.6, 0.7, 0.8, 0.9, 1.0))
    lift = share * regulator.travel
    condition = regulator.condition()
    shut = rounded(relief_start_gauge_pressure(condition), "low_gauge_pressure", units)
    lever, rate, area = regulator.lever_ratio, regulator.spring_rate, regulator.diaphragm_area
    growth = regulator.area_growth * share
    less = rate * lever * lift / area
    truth = (shut - less) / (1 + growth)
    return NumericQuestion(
        key,
        f"With the disk on its seat an internal relief starts at {format_pressure(shut, units)}. Now the disk jams "
        f"{format_quantity(lift, 'small_length', units)} off its seat. The diaphragm then stands {lever:g} times as "
        f"far lower, where the main spring of {format_quantity(rate, 'spring_rate', units)} is longer and the "
        f"diaphragm's area, {format_quantity(area, 'area', units)} with the disk shut, is {growth:.1%} larger. "
        "At what outlet pressure does the relief start?",
        "low_gauge_pressure",
        truth,
        f"The main spring is longer by {format_quantity(lever * lift, 'small_length', units)} and presses less by "
        f"{format_quantity(rate * lever * lift, 'force', units)}, which is {format_pressure(less, units)} on the "
        f"diaphragm; the larger area makes the rest smaller by {growth:.1%}. Stuck open, the relief starts earlier.",
        (
            Slip("the larger area was left out", shut - less, "The same force needs less pressure on a larger area."),
            Slip(
                "the lever was left out",
                (shut - less / lever) / (1 + growth),
                "The diaphragm moves by the lever's ratio further than the disk.",
            ),
            Slip(
                "the jam was overlooked", shut, "Where the diaphragm stands changes how hard the main spring presses."
            ),
            Slip("the change was taken the wrong way", shut + less, "A longer spring presses less."),
        ),
        relative_tolerance=0.01,
        units=units,
    )


def _vent_blocked(key: str, chance: Random, units: str) -> NumericQuestion:
    inlet = pick(chance, "gauge_pressure", units, (20, 60, 5), (1.5, 4, 0.25))
    plain = Station()
    set_point = pick(chance, "low_gauge_pressure", units, (6, 8, 0.5), (15, 20, 1))
    station = replace(
        plain,
        supply=replace(plain.supply, gauge_pressure=inlet),
        regulators=(replace(plain.regulators[0], set_gauge_pressure=set_point),),
    )
    faults = (
        Debris(devices="regulator", height=chance.uniform(1e-4, 4e-4), stiffness=1e8, onset=-10.0, ramp=1.0),
        BlockedVent(devices="regulator", blocked_share=1.0, onset=-10.0, ramp=1.0),
    )
    trace = simulate(Scenario(station, (Demand(0.0, 1.0), Demand(10.0, 0.0)), faults, 3600.0))
    truth = trace.settled(OUTLET)
    regulator = station.regulators[0]
    start = regulator.set_gauge_pressure + (regulator.relief.start_above_set if regulator.relief else 0.0)
    shown = format_pressure(inlet, units)
    return NumericQuestion(
        key,
        f"Ice has shut the vent of a regulator with internal relief (set to "
        f"{format_pressure(regulator.set_gauge_pressure, units)}, relief from {format_pressure(start, units)}). Then a "
        f"hard piece keeps the disk off its seat, and all burners go off. The inlet holds {shown}. At what pressure "
        "does the outlet end?",
        "gauge_pressure",
        truth,
        "With the vent shut no gas can leave: the relief only fills the case, and the pressure there pushes the "
        f"diaphragm down and the disk open. The outlet ends at the inlet's {shown}.",
        (
            Slip(
                "the relief was counted on",
                start,
                "A relief that discharges into a case without a vent discharges nowhere.",
            ),
            Slip(
                "the set point was counted on",
                regulator.set_gauge_pressure,
                "The disk cannot reach its seat, and the case pressure holds it open.",
            ),
        ),
        relative_tolerance=0.01,
        units=units,
    )


def _at_the_vent(key: str, chance: Random, units: str) -> CauseQuestion:
    suspects = ("dirty_seat", "torn", "weak_relief", "stuck_open")
    told = (
        "A neighbour smelt gas near a regulator's vent outdoors. The place was made safe, and then a qualified person "
        f"read what stands in the table. {ONE_REGULATOR}"
    )
    # gas at the vent; held low, the outlet stands where a sound relief is shut
    return cause_question(key, chance, units, told, suspects, amounts_to("a"), looked_at=(*VISIT, "vent_held"))


ITEMS = (
    Item(
        "04.relief_start", "04", "Tell where an internal relief starts after the set point was changed.", _relief_start
    ),
    Item("04.relief_opened", "04", "Read from a trace when the internal relief opened.", _relief_opened),
    Item("04.above_rating", "04", "Read from a trace when the appliances' rating was passed.", _above_rating),
    Item("04.jammed", "04", "Tell where the relief starts when the disk is stuck open.", _jammed),
    Item("04.vent_blocked", "04", "Tell what an internal relief is worth with its vent shut.", _vent_blocked),
    Item("04.at_the_vent", "04", "Tell a relief at work from a torn diaphragm.", _at_the_vent),
)
