"""Lesson 03, how regulators fail."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import numpy as np

from toolkit.devices.regulator import Regulator, lock_up_gauge_pressure, relief_start_gauge_pressure
from toolkit.faults import Debris, NickedSeat
from toolkit.gas import standard_density
from toolkit.quiz.cause import CauseQuestion
from toolkit.quiz.items import Item, pick, rounded
from toolkit.quiz.lesson_02 import station_of
from toolkit.quiz.pictures import OUTLET, outlet_picture
from toolkit.quiz.questions import NumericQuestion, Slip, TraceQuestion
from toolkit.quiz.spread import ONE_REGULATOR, VISIT, amounts_to, cause_question
from toolkit.scenario import Demand, Scenario, Station
from toolkit.simulation import simulate
from toolkit.units import IN_WC, PSI, display_unit, format_pressure, format_quantity

# A rise above lock-up is seen on the gauge from here on.
SEEN_ABOVE_LOCK_UP = 0.3 * IN_WC


def _fault_shows(key: str, chance: Random, units: str) -> TraceQuestion:
    station = station_of(chance, units, (2e-3, 5e-3))
    # Burners go off twice and on twice; the piece arrives during the second burner-on spell, where nothing shows it.
    lengths = [chance.uniform(30.0, 60.0) for _ in range(4)]
    ends = np.cumsum(lengths)
    piece = Debris(
        devices=station.regulators[0].name,
        height=chance.uniform(0.6e-4, 1.6e-4),
        stiffness=1e8,
        edge=chance.uniform(0.02, 0.1),
        onset=float(ends[1]) + chance.uniform(0.2, 0.6) * lengths[2],
    )
    demands = [Demand(0.0, 1.0)]
    demands += [Demand(float(time), share, stroke=0.5) for time, share in zip(ends, (0.0, 1.0, 0.0), strict=False)]
    trace = simulate(Scenario(station, tuple(demands), (piece,), 10.0 * round(sum(lengths) / 10.0)))
    lock_up = lock_up_gauge_pressure(station.regulators[0].condition(), station.supply.gauge_pressure)
    above = np.flatnonzero(trace[OUTLET] > lock_up + SEEN_ABOVE_LOCK_UP)
    time = float(trace.times[above[0]])
    half = 0.025 * trace.scenario.duration
    return TraceQuestion(
        key,
        "During this run a hard piece came to lie on the seat. The picture shows the outlet pressure and, dashed, "
        "where the sound regulator locks up. From when on does the outlet stand higher than a sound regulator lets it?",
        outlet_picture(trace, units, marks=(("lock-up when sound", lock_up),)),
        (time - half, time + half),
        trace.scenario.duration,
        f"The piece arrived at {piece.onset:.0f} s, but while the burners ran the disk stood off its seat and next "
        f"to nothing showed. Only when they went off, at {time:.0f} s, could the disk not seal, and the outlet climbed "
        "past lock-up.",
    )


def _leak(key: str, chance: Random, units: str) -> NumericQuestion:
    plain = Station()
    size = pick(chance, "volume", units, (0.2, 0.8, 0.1), (6, 20, 2))
    station = replace(plain, volumes=(plain.volumes[0], replace(plain.volumes[1], size=size)))
    nick = NickedSeat(devices="regulator", leak_area=chance.uniform(2e-9, 8e-9), onset=-10.0, ramp=1.0)
    off = 10.0
    trace = simulate(Scenario(station, (Demand(0.0, 1.0), Demand(off, 0.0)), (nick,), 600.0))
    regulator = station.regulators[0].condition()
    lock_up = lock_up_gauge_pressure(regulator, station.supply.gauge_pressure)
    climb = relief_start_gauge_pressure(regulator) - lock_up
    start, end = (np.interp(lock_up + share * climb, trace[OUTLET], trace.times) for share in (0.2, 0.8))
    seconds = max(5.0, 5.0 * round((end - start) / 5.0))
    first, last = (trace.at(OUTLET, time) for time in (start, start + seconds))
    before, after = (rounded(gauge, "low_gauge_pressure", units) for gauge in (first, last))
    truth = size * (after - before) / station.rt / seconds / standard_density(station.gas)
    low, high = format_pressure(before, units), format_pressure(after, units)
    psi = (after - before) / (IN_WC if units == "us" else 100.0) * (PSI if units == "us" else 1e5)
    pair = ("in. w.c.", "psi") if units == "us" else ("mbar", "bar")
    return NumericQuestion(
        key,
        "All burners and the pilot are off. The piping after the regulator holds "
        f"{format_quantity(size, 'volume', units)}. In {seconds:.0f} seconds the outlet gauge climbs from {low} to "
        f"{high}. The air stands at {format_quantity(station.atmosphere, 'absolute_pressure', units)}. "
        "How much gas leaks through the seat? Give two digits that count.",
        "standard_flow",
        truth,
        "The gas that came in is the volume times the rise over the air's absolute pressure, "
        f"{(after - before) / station.atmosphere:.4f} of the volume, in {seconds:.0f} s; scale it to an hour.",
        (
            Slip("seconds were taken for minutes", truth / 60.0, "The time is in seconds; an hour has 3,600 of them."),
            Slip("minutes were taken for seconds", truth * 60.0, "The time is in seconds; an hour has 3,600 of them."),
            Slip(
                "the whole volume was counted",
                size / seconds,
                "The piping was full before; only the rise in pressure is gas that came in.",
            ),
            Slip(
                f"{pair[0]} were taken for {pair[1]}",
                truth * psi / (after - before),
                "Bring the rise and the air's pressure to one unit.",
            ),
        ),
        relative_tolerance=0.05,
        units=units,
    )


def _soft_piece(key: str, chance: Random, units: str) -> NumericQuestion:
    regulator = Regulator()
    inlet = regulator.adjusted_at_inlet_gauge_pressure
    height = pick(chance, "small_length", units, (0.006, 0.012, 0.001), (0.15, 0.3, 0.05))
    stiffness = pick(chance, "spring_rate", units, (600, 2000, 200), (100, 350, 50))
    sound = rounded(lock_up_gauge_pressure(regulator.condition(), inlet), "low_gauge_pressure", units)
    per_lift = regulator.lever_ratio * regulator.diaphragm_area + regulator.unbalanced_area
    truth = sound + stiffness * height / per_lift
    area = regulator.diaphragm_area
    return NumericQuestion(
        key,
        f"A regulator locks up at {format_pressure(sound, units)} when sound. A soft piece "
        f"{format_quantity(height, 'small_length', units)} high now lies on its seat; its stiffness is "
        f"{format_quantity(stiffness, 'spring_rate', units)}. The diaphragm has "
        f"{format_quantity(area, 'area', units)}, its lever multiplies its force on the disk by "
        f"{regulator.lever_ratio:g}. At what pressure does the regulator lock up now, the piece pressed flat?",
        "low_gauge_pressure",
        truth,
        f"Pressing the piece flat takes {format_quantity(stiffness * height, 'force', units)} at the disk. Divided by "
        f"the lever's {regulator.lever_ratio:g} and by the diaphragm's area this is "
        f"{format_pressure(truth - sound, units)} more.",
        (
            Slip(
                "the lever was left out",
                sound + regulator.lever_ratio * (truth - sound),
                "The lever multiplies the diaphragm's force on the disk.",
            ),
            Slip("the piece was overlooked", sound, "The disk seals only when the piece is pressed flat."),
            Slip("only the rise was given", truth - sound, "The rise comes on top of the sound lock-up."),
        ),
        relative_tolerance=0.02,
        absolute_tolerance=0.05 * display_unit("low_gauge_pressure", units).scale,
        units=units,
    )


def _any(key: str, chance: Random, units: str) -> CauseQuestion:
    suspects = ("nothing", "dirty_seat", "torn", "weak_spring", "stuck_open", "too_small", "vent_blocked")
    told = f"A yearly visit to a house's service regulator. {ONE_REGULATOR}"
    return cause_question(key, chance, units, told, suspects)


def _high(key: str, chance: Random, units: str) -> CauseQuestion:
    suspects = ("dirty_seat", "torn", "stuck_open", "vent_blocked")
    told = f"A visit to a house because burners flare up at times. {ONE_REGULATOR}"
    # creep or a high lock-up, high under flow, or a kick as the burners shut
    return cause_question(key, chance, units, told, suspects, amounts_to("b", "c", "o"))


def _low(key: str, chance: Random, units: str) -> CauseQuestion:
    suspects = ("weak_spring", "too_small", "filter_plugged", "hydrate")
    told = f"A visit to a house because the furnace burns weakly. {ONE_REGULATOR}"
    # low at high load, low always, or no gas
    return cause_question(key, chance, units, told, suspects, amounts_to("d", "e", "f"), looked_at=(*VISIT, "frost"))


ITEMS = (
    Item("03.fault_shows", "03", "Tell when a fouled seat shows itself: at no flow, not under flow.", _fault_shows),
    Item("03.leak", "03", "Reckon how much a seat leaks from how fast the outlet creeps.", _leak),
    Item("03.soft_piece", "03", "Tell how far a soft piece on the seat raises lock-up.", _soft_piece),
    Item("03.high", "03", "Weigh the suspects when the outlet pressure is high.", _high),
    Item("03.low", "03", "Weigh the suspects when burners starve.", _low),
    Item("03.any", "03", "Weigh the suspects from readings at full flow, at pilot and at rest.", _any),
)
