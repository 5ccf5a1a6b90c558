"""Lesson 08, the slam-shut."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from random import Random

from toolkit.actions import Purge, TurnValve
from toolkit.devices.regulator import Regulator, lock_up_gauge_pressure
from toolkit.devices.slam_shut import SlamShut
from toolkit.faults import Debris, Fault, NickedSeat, TripShift, Warmed
from toolkit.flow import nozzle
from toolkit.quiz.items import Item, pick, rounded
from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion, safe_steps
from toolkit.quiz.pictures import OUTLET, outlet_picture
from toolkit.quiz.questions import NumericQuestion, Slip, TraceQuestion
from toolkit.scenario import Demand, Scenario, Station, Volume
from toolkit.simulation import simulate
from toolkit.trace import Trace
from toolkit.units import format_pressure, format_quantity, from_display, to_display

WORKER, SHUTOFF = "worker", "slam_shut"
# Rooms before the slam-shut, between it and the worker, in one body, and behind [m3].
BEFORE, BETWEEN, BEHIND = 1e-3, 5e-6, 5e-2
# A time read from a picture may be off by this share of the run.
READ_OFF = 0.03
# The night begins here [s]: the burners go off with nothing wrong.
OFF = 20.0


def guarded(worker_set: float, above: float, inlet: float, low: float | None = None) -> Station:
    """A slam-shut before its worker, which has no internal relief; the slam-shut senses the outlet.

    Gauge pressures [Pa]: the worker's set point, the high trip `above` that, the inlet, the low trip.
    """
    plain = Station()
    shut = SlamShut(name=SHUTOFF, high_gauge_pressure=worker_set + above, low_gauge_pressure=low)
    # Adjusted at the inlet pressure that it will have.
    worker = Regulator(name=WORKER, relief=None, set_gauge_pressure=worker_set, adjusted_at_inlet_gauge_pressure=inlet)
    return replace(
        plain,
        supply=replace(plain.supply, gauge_pressure=inlet, into=shut.inlet),
        slam_shuts=(shut,),
        regulators=(worker,),
        volumes=(Volume(shut.inlet, BEFORE), Volume("inlet", BETWEEN), Volume("outlet", BEHIND)),
    )


def _drawn(chance: Random, units: str) -> tuple[float, float, float]:
    """Worker's set point, how far the trip stands above it, inlet: gauge Pa, round in the display unit."""
    return (
        pick(chance, "low_gauge_pressure", units, (6, 8, 0.5), (15, 20, 1)),
        pick(chance, "low_gauge_pressure", units, (4, 6, 0.5), (10, 15, 1)),
        pick(chance, "gauge_pressure", units, (40, 60, 5), (2.75, 4, 0.25)),
    )


def locks_up(station: Station) -> float:
    """Where the station's sound worker locks up, gauge Pa."""
    (worker,) = station.regulators
    return lock_up_gauge_pressure(worker.condition(), station.supply.gauge_pressure)


def trip_of(station: Station) -> float:
    """The high trip as set, gauge Pa."""
    return station.slam_shuts[0].high_gauge_pressure or 0.0


def _told(station: Station, units: str) -> str:
    """The station in a sentence."""
    pressures = (station.regulators[0].set_gauge_pressure, trip_of(station), station.supply.gauge_pressure)
    worker, trip, inlet = (format_pressure(one, units) for one in pressures)
    return (
        f"A slam-shut stands before the worker and senses the outlet. The worker is set to {worker}, the slam-shut "
        f"trips at {trip}; the inlet holds {inlet}."
    )


def night(station: Station, faults: tuple[Fault, ...], duration: float, off: float = OFF) -> Scenario:
    """All burners on, then all off."""
    return Scenario(station, (Demand(0.0, 1.0), Demand(off, 0.0)), faults, duration)


def leak_area(station: Station, rate: float) -> float:
    """Flow area [m2] past the worker's seat that lets the shut-in outlet rise by `rate` [Pa/s] at the trip.

    Closed form: V dp/dt = R T m, with m of the nozzle law.
    """
    air = station.atmosphere
    passes = nozzle(station.gas.heat_ratio, station.rt)
    per_area = passes(1.0, air + station.supply.gauge_pressure, air + trip_of(station))
    return rate * BEHIND / (station.rt * per_area)


# The items


def _band(key: str, chance: Random, units: str) -> NumericQuestion:
    worker_set, above, inlet = _drawn(chance, units)
    accuracy = chance.choice((0.05, 0.1, 0.15))
    margin = pick(chance, "low_gauge_pressure", units, (0.5, 1.5, 0.5), (1, 4, 1))
    lock_up = rounded(locks_up(guarded(worker_set, above, inlet)), "low_gauge_pressure", units)
    edge = lock_up + margin
    return NumericQuestion(
        key,
        f"A worker is set to {format_pressure(worker_set, units)} and locks up at {format_pressure(lock_up, units)}. "
        f"Its slam-shut trips within {accuracy:.0%} of its setting, to either side. Even where it trips soonest, that "
        f"shall be {format_pressure(margin, units)} above the lock-up. What is its lowest setting?",
        "low_gauge_pressure",
        edge / (1 - accuracy),
        f"It must not trip below {format_pressure(edge, units)}. At its soonest it trips at {1 - accuracy:.2f} of the "
        "setting, so divide by that. Set nearer, it shuts a house off on a quiet night with nothing wrong.",
        (
            Slip("the band was left out", edge, "A slam-shut may trip below its setting; the band says how far."),
            Slip(
                "the worker's set point was taken for its lock-up",
                (worker_set + margin) / (1 - accuracy),
                "With nothing flowing the outlet stands at lock-up, above the set point.",
            ),
            Slip("the margin was left out", lock_up / (1 - accuracy), "Without it lock-up alone may trip it."),
        ),
        relative_tolerance=0.01,
        units=units,
    )


def _overrun(key: str, chance: Random, units: str) -> NumericQuestion:
    station = guarded(*_drawn(chance, units))
    # No less: with half a second the rise may be lost in the answer's tolerance.
    response = chance.choice((1.0, 1.5, 2.0))
    rate = pick(chance, "low_gauge_pressure", units, (0.8, 2.4, 0.1), (2, 6, 0.5))
    trip = trip_of(station)
    each = format_quantity(rate, "pressure_difference", units)
    return NumericQuestion(
        key,
        f"{_told(station, units)} At night the seat leaks, and the outlet rises by {each} each second. After its trip "
        f"the slam-shut waits {response:.1f} s, then drops shut at once. How high does the outlet stand by then?",
        "low_gauge_pressure",
        trip + rate * response,
        f"It trips at {format_pressure(trip, units)}. While it waits, the rise goes on: {response:.1f} s at {each} "
        "each second come on top. The trip is where the stopping starts, not where the pressure ends.",
        (
            Slip("the wait was left out", trip, "Gas goes on coming until the valve is shut."),
            Slip("only the rise was given", rate * response, "The rise comes on top of the trip."),
            Slip("one second was counted", trip + rate, f"It waits {response:.1f} s."),
        ),
        relative_tolerance=0.02,
        units=units,
    )


def _sun(key: str, chance: Random, units: str) -> NumericQuestion:
    station = guarded(*_drawn(chance, units))
    lock_up, trip = (rounded(p, "low_gauge_pressure", units) for p in (locks_up(station), trip_of(station)))
    cold, air = station.temperature, station.atmosphere
    share = (trip - lock_up) / (lock_up + air)
    plain = from_display(to_display(cold, "temperature", units), "temperature_difference", units)
    pipe, outside = format_quantity(cold, "temperature", units), format_quantity(air, "absolute_pressure", units)
    return NumericQuestion(
        key,
        f"{_told(station, units)} At dawn the worker has locked up at {format_pressure(lock_up, units)}; nothing "
        f"flows, the pipe stands at {pipe}, and the air at {outside}. Then the sun comes. By how many degrees must the "
        "gas warm until the slam-shut trips?",
        "temperature_difference",
        cold * share,
        "The pressure of gas that is locked in rises as its absolute temperature. Add the air to both gauge pressures, "
        "take the rise as a share of the lower one, and take the same share of the absolute temperature. A few degrees "
        "are enough, and nothing is broken: one more reason to set a trip well clear.",
        (
            Slip("gauge pressures were used", cold * (trip - lock_up) / lock_up, "Absolute pressures count."),
            Slip("degrees were not counted from absolute zero", plain * share, "Absolute temperatures count."),
        ),
        relative_tolerance=0.03,
        units=units,
    )


def tripping(chance: Random, units: str) -> tuple[Trace, float]:
    """A run in which the outlet creeps until the slam-shut trips, and when it trips [s]: somewhere in its band."""
    station = guarded(*_drawn(chance, units))
    (shut,), trip = station.slam_shuts, trip_of(station)
    off = chance.uniform(25.0, 60.0)
    shift = TripShift(devices=SHUTOFF, high_by=chance.uniform(-shut.accuracy, shut.accuracy) * trip, onset=-5.0)
    (worker,) = station.regulators
    # What the burners left is crept up from in about so long.
    rate = (trip - worker.set_gauge_pressure) / chance.uniform(25.0, 60.0)
    leak = NickedSeat(devices=WORKER, leak_area=leak_area(station, rate), onset=5.0, ramp=1.0)
    duration = 10.0 * round((off + 110.0) / 10.0)
    trace = simulate(night(station, (shift, leak), duration, off))
    return trace, trace.happened("trips_high")[0].time


def _tripped(key: str, chance: Random, units: str) -> TraceQuestion:
    trace, time = tripping(chance, units)
    station, half = trace.scenario.station, READ_OFF * trace.scenario.duration
    (worker,) = station.regulators
    (off,) = (demand.time for demand in trace.scenario.demands if demand.time)
    marks = (("worker set", worker.set_gauge_pressure), ("trip set", trip_of(station)))
    return TraceQuestion(
        key,
        f"{_told(station, units)} It trips within {station.slam_shuts[0].accuracy:.0%} of its setting. The burners go "
        "off during the run, and a grain lies on the worker's seat. When does the slam-shut trip?",
        outlet_picture(trace, units, marks=marks),
        (time - half, time + half),
        trace.scenario.duration,
        f"The burners went off at {off:.0f} s. From then on the outlet creeps up steadily, past the worker's lock-up; "
        f"at {time:.0f} s the creep ends at once, and the outlet stands still. It does not fall: a slam-shut stops gas "
        "and lets nothing off. Where it trips is near the line, not on it.",
    )


# What is done after a trip, in order; and pairs that must not be turned round, with the reason.
STEPS = (
    "Read the gauges and the latch, and write them down",
    "Shut the inlet valve, lock it and tag it",
    "Let the line down outdoors and prove it on the gauge",
    "Find out why it tripped, and mend that",
    "Equalise slowly through the equalising valve",
    "Reset the latch by hand",
    "See the worker lock up with nothing flowing",
    "Purge, look for leaks, and relight, every appliance accounted for",
)
SAFETY: Mapping[tuple[int, int], str] = {
    (1, 3): "Nothing is opened or mended before it is isolated.",
    (2, 3): "Nothing is opened before its pressure is let down and proved.",
    (3, 4): "Gas let in before the cause is mended goes where it went before, past the shut slam-shut.",
    (3, 5): "Reset with the cause still there, it trips again, or worse.",
    (4, 5): "With the inlet's pressure across it the valve cannot be reset, or it slams open.",
    (6, 7): "A worker that creeps would show it only with the burners lit and people at home.",
}


def _steps(key: str, chance: Random, units: str) -> OrderQuestion:
    station = guarded(*_drawn(chance, units))
    return safe_steps(
        key,
        f"{_told(station, units)} It was found tripped on high pressure. The place is safe, the operator knows, and "
        "every appliance valve is shut. Put what a qualified person does next in order.",
        STEPS,
        SAFETY,
        "The reset comes after the cause is found.",
        chance,
    )


def holds(shut: SlamShut, outlet: float, across: float) -> bool:
    """Whether a reset holds: the outlet between the trips [Pa gauge], the valve equalised [Pa across it]."""
    low, high = shut.low_gauge_pressure or 0.0, shut.high_gauge_pressure or float("inf")
    return low <= outlet <= high and abs(across) <= shut.reset_difference


def tries(station: Station, chance: Random, units: str) -> list[tuple[float, float, str]]:
    """Tries to reset (outlet [Pa gauge], across the valve [Pa], what is told): one holds, three lack one thing."""
    (shut,) = station.slam_shuts
    low, high = shut.low_gauge_pressure or 0.0, trip_of(station)
    inside = low + (high - low) * chance.uniform(0.1, 0.9)
    above, below = high * chance.uniform(1.08, 1.25), low * chance.uniform(0.0, 0.7)
    equal = chance.uniform(0.1, 0.5) * shut.reset_difference
    much = chance.uniform(0.4, 0.98) * station.supply.gauge_pressure
    tried = [
        (inside, equal, "Between the trips and equalised: this one holds."),
        (above, equal, "The outlet is still above the trip: the cause stands, or the gas was not let down."),
        (below, equal, "The outlet is below the low trip: it would trip again at once. Fill it slowly first."),
        (inside, much, "Too much stands across the valve: equalise it first."),
    ]
    return [(rounded(outlet, "low_gauge_pressure", units), across, told) for outlet, across, told in tried]


def _reset(key: str, chance: Random, units: str) -> ChoiceQuestion:
    worker_set, above, inlet = _drawn(chance, units)
    low = rounded(0.5 * worker_set, "low_gauge_pressure", units)
    station = guarded(worker_set, above, inlet, low)
    (shut,) = station.slam_shuts
    tried = chance.sample(tries(station, chance, units), 4)

    def difference(value: float) -> str:
        return format_quantity(value, "gauge_pressure", units).replace("psig", "psi")

    options = tuple(f"outlet {format_pressure(one, units)}, across it {difference(two)}" for one, two, _ in tried)
    (right,) = (place for place, (outlet, across, _) in enumerate(tried) if holds(shut, outlet, across))
    return ChoiceQuestion(
        key,
        f"{_told(station, units)} It also trips at {format_pressure(low, units)} on low pressure, and it can be reset "
        f"with no more than {difference(shut.reset_difference)} across it. The cause has been mended. With which "
        "readings does the reset hold?",
        options,
        right,
        tuple(told for _, _, told in tried),
        "A reset wants two things: the outlet between the trips, and hardly any pressure across the valve. A latch "
        "that will not hold is telling you something; never force it.",
        units=units,
    )


# Causes of a trip, what they are called, and how the readings tell them.
CAUSES: Mapping[str, tuple[str, str]] = {
    "grit": ("dirt on the worker's seat", "With the gas let in again the outlet climbs past lock-up and on."),
    "drift": ("the trip has drifted down", "Tested with test gas it trips far below its tag, at usual pressure."),
    "sun": ("sun on the locked-in pipe", "The pipe is warm, the trip is true to its tag, the worker locks up well."),
    "main": ("the main was without gas for a while", "The latch shows a low trip; all else is sound."),
}
# After such a night [s]: the line is let down, the purge shut, gas let in past the slam-shut; read at once and later.
PURGED, TIGHT, LET_IN, AT_ONCE, LATER = 170.0, 195.0, 200.0, 210.0, 250.0
# The main is cut and comes back while the burners draw [s], and only then does the night begin.
CUT, BACK, LATE = 30.0, 60.0, 80.0


def caused(cause: str, station: Station, chance: Random) -> Scenario:
    """A night in which the slam-shut trips for a cause; then the line is let down and gas is let in past it."""
    lock_up, trip = locks_up(station), trip_of(station)
    # The drift comes to below lock-up; the sun warms to a little more than the trip.
    drift = chance.uniform(0.9, 0.97) * lock_up - trip
    warmer = 1.0 + chance.uniform(1.3, 1.8) * (trip - lock_up) / (lock_up + station.atmosphere)
    edge = chance.uniform(0.015, 0.03)
    faults: dict[str, Fault] = {
        "grit": Debris(devices=WORKER, height=1e-4, stiffness=1e8, edge=edge, onset=5.0),
        "drift": TripShift(devices=SHUTOFF, high_by=drift),
        "sun": Warmed(devices="outlet", times=warmer, ramp=30.0),
    }
    main = cause == "main"
    cut = [TurnValve(device="supply", time=t, share=share) for t, share in ((CUT, 0.0), (BACK, 1.0)) if main]
    return Scenario(
        station,
        (Demand(0.0, 1.0), Demand(LATE if main else OFF, 0.0)),
        () if main else (faults[cause],),
        LATER,
        (
            *cut,
            Purge(device="outlet", time=PURGED, flow_area=1e-5),
            Purge(device="outlet", time=TIGHT, flow_area=0.0),
            TurnValve(device=SHUTOFF, time=LET_IN, share=1.0, stroke=5.0),
        ),
    )


def found(trace: Trace, units: str) -> tuple[tuple[str, str], ...]:
    """What is read after a trip, as rows (what, reading)."""
    station, faults = trace.scenario.station, trace.scenario.faults
    tripped = next(event for event in trace.events if event.kind.startswith("trips_"))
    shift = sum(fault.high_by for fault in faults if isinstance(fault, TripShift))
    warm = max((fault.times - 1.0 for fault in faults if isinstance(fault, Warmed)), default=0.0)
    first, later = (format_pressure(trace.at(OUTLET, time), units) for time in (AT_ONCE, LATER))
    return (
        ("latch shows", "high" if tripped.kind == "trips_high" else "low"),
        ("outlet at the trip, by the recorder", format_pressure(tripped.value, units)),
        ("pipe warmer than at night by", format_quantity(warm * station.temperature, "temperature_difference", units)),
        ("high trip, tested with test gas", format_pressure(trip_of(station) + shift, units)),
        ("line let down, a little gas let in, nothing flowing: outlet at first", first),
        (f"the same, {LATER - AT_ONCE:.0f} s later", later),
    )


def _cause(key: str, chance: Random, units: str) -> ChoiceQuestion:
    worker_set, above, inlet = _drawn(chance, units)
    low = rounded(0.5 * worker_set, "low_gauge_pressure", units)
    station = guarded(worker_set, above, inlet, low)
    options = chance.sample(list(CAUSES), len(CAUSES))
    truth = chance.choice(options)
    traces = {cause: simulate(caused(cause, station, chance)) for cause in options}

    def told(cause: str) -> str:
        words = CAUSES[cause][1]
        return words if cause == truth else f"Then this would be read: {words[0].lower()}{words[1:]}"

    low_trip, lock_up = (format_pressure(one, units) for one in (low, locks_up(station)))
    return ChoiceQuestion(
        key,
        f"{_told(station, units)} Its low trip is {low_trip}; the worker's papers give a lock-up of {lock_up}. It was "
        "found tripped. Qualified people took these readings. As their procedure says, with the burners shut off they "
        "also let a little gas in and stopped it again, with an eye on the outlet. What made it trip?",
        tuple(CAUSES[cause][0] for cause in options),
        options.index(truth),
        tuple(told(cause) for cause in options),
        "A trip has a cause, and one reading each tells the causes apart: take them all before the reset.",
        table=(("What was looked at", "Reading"), *found(traces[truth], units)),
        traces=tuple(traces.values()),
        units=units,
    )


ITEMS = (
    Item("08.band", "08", "Set a slam-shut's band clear above the worker's lock-up.", _band),
    Item("08.overrun", "08", "Reckon how far the outlet rises after the trip.", _overrun),
    Item("08.sun", "08", "Reckon how little warming trips a slam-shut on a locked-in pipe.", _sun),
    Item("08.tripped", "08", "Read from the outlet's trace when a slam-shut tripped.", _tripped),
    Item("08.steps", "08", "Put the steps after a trip in order, the reset after the cause.", _steps),
    Item("08.reset", "08", "Tell with which readings the reset of a slam-shut holds.", _reset),
    Item("08.cause", "08", "Tell from readings why a slam-shut tripped.", _cause),
)
