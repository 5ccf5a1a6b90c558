"""Lesson 08, the slam-shut: it stops the gas, stays shut until somebody resets it, and what a reset needs.

Sizes, settings, failures and the technician's timetable are invented to be watched, engineering judgement throughout.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, ClassVar

from toolkit.actions import Action, Purge, Reset, TurnValve
from toolkit.devices.regulator import Regulator
from toolkit.devices.slam_shut import SlamShut, SlamShutCondition
from toolkit.faults import BlockedVent, Debris, Fault, StuckStem, TripShift, Warmed
from toolkit.faults.base import toward
from toolkit.ladder import Rung
from toolkit.panels.bench import Bench, Settings, Shown, run
from toolkit.panels.controls import Choice, Slider
from toolkit.panels.predict import Prediction
from toolkit.panels.regulator_view import DAY, DUSK, MORNING, NIGHT, NOON
from toolkit.panels.sliders import DEBRIS, DEMAND, HARDNESS, INLET, MOMENT, SET_POINT, ZOOM, starting
from toolkit.panels.station_bench import Watch, above_rating, rungs_of, watched
from toolkit.panels.words import clock
from toolkit.scenario import Scenario, Station, Volume
from toolkit.trace import Event, Trace
from toolkit.units import HOUR, IN_WC, INCH, MBAR, SCF, format_pressure, format_quantity, tidy

WORKER, SHUTOFF, OUTLET = "worker", "slam_shut", "outlet_gauge_pressure"
WATCH = Watch("Slam-shut and worker")
# The slam-shut is bolted to the worker, so that little gas stands between; behind is a long run of pipe [m3].
BEFORE, BETWEEN, BEHIND = 1e-3, 2e-5, 5e-2
# One grain under the seat holds up this share of its edge: a leak that fills the pipe within a minute or so.
GRAIN = 0.02
# What lets the pressure up or down [s]: failures begin; somebody opens the main again; the sun shines, and no more.
STRUCK, BACK, SUN, SUN_FOR = 60.0, 100.0, 250.0, 40.0
# Warming by the sun, as a ratio of absolute temperatures: 1.03 is some 16 degF on a mild day.
WARMER = 1.03
# Share of the vent's opening that ice takes: so much that the worker answers late.
ICED = 0.999
# How far down the trip has drifted [Pa].
DRIFT = 4.5 * IN_WC
# The technician comes at VISIT, with all burners off; each step of the work is so long after that [s].
VISIT = 300.0
LETS_DOWN, SHUTS_PURGE, MENDS, OPENS, EQUALISES, RESETS, SHUTS_BYPASS = 5.0, 25.0, 28.0, 40.0, 45.0, 52.0, 55.0
# Flow area of the purge, led outdoors [m2]: it empties the pipe in those twenty seconds.
PURGE_AREA = 1e-5
# Below this outlet pressure the burners count as out; above that one gas comes out of them again [Pa].
FLAMES_OUT, GAS_BACK = 0.5 * IN_WC, 2 * IN_WC
# In the morning less than this share of their rating is no gas, less than that one is too little.
NO_GAS, TOO_LITTLE = 0.02, 0.5

# From so near that lock-up trips it: its lower end is the first step of the slider in either display set.
ABOVE = Slider(
    "above", "High trip above the worker's set point", "settings", "low_gauge_pressure",
    MBAR, 16 * IN_WC, 5 * IN_WC, (0.5, 1),
)  # fmt: skip
LOW = Choice("low", "Low trip", "settings", (("none", 0.0), ("at half the set point", 0.5)))
FITTED = Choice("fitted", "Slam-shut", "settings", (("fitted", True), ("not fitted", False)))
# Grit first: it is what the question is about.
GRIT_FIRST = replace(HARDNESS, options=HARDNESS.options[::-1])
FAILURES: dict[str, tuple[Fault, ...]] = {
    "none": (),
    "open": (StuckStem(devices=WORKER, onset=STRUCK),),
    "vent": (BlockedVent(devices=WORKER, blocked_share=ICED, onset=STRUCK),),
    "sun": (Warmed(devices="outlet", times=WARMER, onset=SUN, ramp=SUN_FOR),),
    "drift": (TripShift(devices=SHUTOFF, high_by=-DRIFT, onset=STRUCK),),
    "main": (),
}
FAILURE = Choice(
    "failure",
    "And in the course of the day",
    "faults",
    (
        ("nothing else", "none"),
        ("worker stuck wide open", "open"),
        ("worker's vent iced, answers late", "vent"),
        ("sun on the locked-in pipe", "sun"),
        ("trip drifted down", "drift"),
        ("main shut off, then back on", "main"),
    ),
)
VISITS = Choice(
    "visit",
    "Once it has tripped, a technician",
    "faults",
    (
        ("resets it at once", "at once"),
        ("lets the line down, resets", "let down"),
        ("lets down, equalises, resets", "equalised"),
        ("mends the cause, then does all that", "mended"),
        ("does not come", "nobody"),
    ),
)


@dataclass(frozen=True, kw_only=True)
class Repair(Fault):
    """The opposite of a fault: brings a worker's seat, stem and vent, and a slam-shut's trip, back to what they were.

    `vent` [m2] is the healthy flow area of the vent, `high` [Pa absolute] the trip as set.
    """

    vent: float
    high: float
    strikes: ClassVar[tuple[str, ...]] = ("regulator", "slam_shut")

    @classmethod
    def ranges(cls) -> Mapping[str, tuple[float, float, str]]:
        """See Fault."""
        return {"vent": (0, 1, "m2"), "high": (0, 1e13, "Pa")}

    def worsen(self, condition: Any, severity: float) -> Any:
        """See Fault."""
        if isinstance(condition, SlamShutCondition):
            return condition._replace(high=toward(condition.high, self.high, severity))
        return condition._replace(
            debris_height=toward(condition.debris_height, 0.0, severity),
            lowest_lift=toward(condition.lowest_lift, 0.0, severity),
            vent=toward(condition.vent, self.vent, severity),
        )


def station(
    *, inlet: float, worker_set: float, above: float, low: float, demand: float, fitted: bool = True
) -> Station:
    """Slam-shut, worker and pipe; gauge pressures [Pa], `low` a share of the set point or 0 for no low trip.

    `demand` [standard m3/s] is what the burners take at 7 in. w.c. The worker has no internal relief, whose spring
    would answer first.
    """
    plain = Station()
    shut = SlamShut(
        name=SHUTOFF,
        inlet="inlet",
        outlet="between",
        high_gauge_pressure=worker_set + above,
        low_gauge_pressure=low * worker_set if low else None,
    )
    before_worker = shut.outlet if fitted else "inlet"
    rooms = (Volume(before_worker, BETWEEN), Volume("outlet", BEHIND))
    return replace(
        plain,
        supply=replace(plain.supply, gauge_pressure=inlet, into="inlet"),
        slam_shuts=(shut,) if fitted else (),
        regulators=(Regulator(name=WORKER, inlet=before_worker, relief=None, set_gauge_pressure=worker_set),),
        volumes=(Volume(shut.inlet, BEFORE), *rooms) if fitted else rooms,
        loads=(replace(plain.loads[0], rated_flow=demand),),
    )


def trips(trace: Trace) -> tuple[Event, ...]:
    """Every trip of the slam-shut, in order of time."""
    return tuple(event for event in trace.events if event.kind in ("trips_high", "trips_low"))


def scenario(settings: Settings) -> Scenario:
    """The bench's day; where the slam-shut trips before the technician's hour, with what is then done."""
    alone = unattended(settings)
    tripped = trips(run(alone))
    return attended(alone, settings["visit"]) if tripped and tripped[0].time < VISIT else alone


def unattended(settings: Settings) -> Scenario:
    """The bench's day with the debris set and the failure chosen, and nobody there."""
    height, failure, fitted = settings["debris"], settings["failure"], settings["fitted"]
    grain = Debris(devices=WORKER, height=height, stiffness=settings["hardness"], edge=GRAIN) if height > 1e-6 else None
    faults = tuple(fault for fault in FAILURES[failure] if fitted or fault.devices != (SHUTOFF,))
    turned = ((STRUCK, 0.0), (BACK, 1.0)) if failure == "main" else ()
    return Scenario(
        station(
            inlet=settings["inlet"],
            worker_set=settings["set_point"],
            above=settings["above"],
            low=settings["low"],
            demand=settings["demand"],
            fitted=fitted,
        ),
        DAY,
        (*((grain,) if grain else ()), *faults),
        actions=tuple(TurnValve(device="supply", time=time, share=share) for time, share in turned),
    )


def attended(alone: Scenario, visit: str) -> Scenario:
    """The day with a visit: the steps that it takes, each at its time."""
    if visit == "nobody":
        return alone
    reset = Reset(device=SHUTOFF, time=VISIT + RESETS)
    let_down = (
        Purge(device="outlet", time=VISIT + LETS_DOWN, flow_area=PURGE_AREA),
        Purge(device="outlet", time=VISIT + SHUTS_PURGE, flow_area=0.0),
    )
    equalise = TurnValve(device=SHUTOFF, time=VISIT + EQUALISES, share=1.0, stroke=5.0)
    bypass_shut = TurnValve(device=SHUTOFF, time=VISIT + SHUTS_BYPASS, share=0.0)
    isolate = TurnValve(device="supply", time=VISIT, share=0.0)
    restore = TurnValve(device="supply", time=VISIT + OPENS, share=1.0)
    steps: dict[str, tuple[Action, ...]] = {
        "at once": (Reset(device=SHUTOFF, time=VISIT),),
        "let down": (*let_down, reset),
        "equalised": (*let_down, equalise, reset, bypass_shut),
        "mended": (isolate, *let_down, restore, equalise, reset, bypass_shut),
    }
    faults = (*alone.faults, repair(alone.station)) if visit == "mended" else alone.faults
    return replace(alone, faults=faults, actions=(*alone.actions, *steps[visit]))


def repair(of: Station) -> Repair:
    """What mends a station's worker and slam-shut at the visit."""
    (worker,), (shut,) = of.regulators, of.slam_shuts
    return Repair(
        devices=(WORKER, SHUTOFF),
        onset=VISIT + MENDS,
        vent=worker.condition().vent,
        high=shut.condition(of.atmosphere).high,
    )


def unlit(trace: Trace) -> tuple[float, float] | None:
    """When the day's burners lost their gas, and when it came back to them by itself [s]; None if it never did."""
    calling = trace.times < NIGHT
    lost = trace.times[calling & (trace[OUTLET] < FLAMES_OUT)]
    if not len(lost):
        return None
    back = trace.times[calling & (trace[OUTLET] > GAS_BACK) & (trace.times > lost[0])]
    return (float(lost[0]), float(back[0])) if len(back) else None


def high_trip(station: Station) -> Rung:
    """The rung of the slam-shut's high trip, with its band."""
    return next(rung for rung in rungs_of(station, "outlet") if rung.kind == "slam_shut_high")


def band_words(trace: Trace, units: str) -> str:
    """Whether the trip kept to its band, and whether that is clear of lock-up and of the appliances' rating."""
    rungs = {rung.kind: rung for rung in rungs_of(trace.scenario.station, "outlet")}
    trip, lock_up, rating = rungs["slam_shut_high"], rungs["lock_up"], rungs["rating"]
    low, high, at = (format_pressure(one, units) for one in (trip.low, trip.high, trip.gauge_pressure))
    if any(event.kind == "trips_high" and event.value < trip.low for event in trips(trace)):
        return f"Set to {at}, it should trip from {low} to {high}: it has drifted out of its band."
    said = f"Set to {at}, it may trip anywhere from {low} to {high}"
    if trip.low <= lock_up.high:
        return f"{said}, within reach of the worker's lock-up of {format_pressure(lock_up.gauge_pressure, units)}."
    if trip.high > rating.gauge_pressure:
        return f"{said}, which is above the appliances' rating."
    return f"{said}."


def visit_words(trace: Trace, units: str) -> list[str]:
    """What came of the resets, and of the trips after them, a sentence each."""
    said = []
    _, *again = trips(trace)
    for event in sorted((*again, *(e for e in trace.events if e.kind.startswith("reset"))), key=lambda e: e.time):
        at = clock(event.time)
        if event.kind == "reset":
            said.append(f"At {at} the reset holds, and the valve opens.")
        elif event.kind == "reset_not_equalised":
            said.append(
                f"The reset at {at} is refused: {across(event, units)} stands across the valve, not yet equalised."
            )
        elif event.kind == "reset_refused":
            said.append(f"The reset at {at} is refused: {refused_words(trace, event, units)}.")
        else:
            said.append(f"It trips again at {at}, at {format_pressure(event.value, units)}.")
    return said


def refused_words(trace: Trace, event: Event, units: str) -> str:
    """Why a reset was refused, without a full stop."""
    (shut,) = trace.scenario.station.slam_shuts
    said = f"the outlet stands at {format_pressure(event.value, units)}"
    if event.value < (shut.low_gauge_pressure or 0.0):
        return f"{said}, below the low trip"
    if event.value < high_trip(trace.scenario.station).gauge_pressure:
        return f"{said}, above where it trips now"
    bypass = any(
        isinstance(a, TurnValve) and a.device == SHUTOFF and a.time < event.time for a in trace.scenario.actions
    )
    return f"{said}, above the trip" + (", fed past the slam-shut by the equalising valve" if bypass else "")


def across(event: Event, units: str) -> str:
    """The pressure across a valve that is not equalised: a difference, so neither gauge nor absolute."""
    return format_quantity(event.value, "gauge_pressure", units).replace("psig", "psi")


def story(trace: Trace, units: str) -> str:
    """The run in a few sentences: what tripped and why not, the resets, who has gas, how high it went."""

    def shown(gauge: float) -> str:
        return format_pressure(gauge, units)

    day, night = (trace.at(OUTLET, t - 1) for t in (DUSK, MORNING))
    said = [f"At the end of the day the outlet stands at {shown(day)}, at the end of the night at {shown(night)}."]
    tripped = trips(trace)
    if not trace.scenario.station.slam_shuts:
        said.append("No slam-shut is fitted.")
    elif not tripped:
        said.append(f"The slam-shut stands open all the time. {band_words(trace, units)}")
    else:
        first = tripped[0]
        side = "high" if first.kind == "trips_high" else "low"
        said.append(f"The slam-shut trips on {side} pressure at {clock(first.time)}, at {shown(first.value)}.")
        if side == "high":
            said.append(band_words(trace, units))
        said += visit_words(trace, units)
    top_at, top = trace.peak(OUTLET)
    said.append(f"The highest is {shown(top)}, at {clock(top_at)}.")
    said.append(above_rating(WATCH, trace, units))
    if found := unlit(trace):
        out, back = (clock(time) for time in found)
        said.append(f"The burners go out at {out}; at {back} gas comes back by itself and flows unlit.")
    (load,) = trace.scenario.station.loads
    morning = trace.at(f"{load.name}_flow", NOON - 1) / load.rated_flow
    has = "no gas" if morning < NO_GAS else "too little gas" if morning < TOO_LITTLE else "gas"
    at = "" if morning < NO_GAS else f", at {shown(trace.at(OUTLET, NOON - 1))}"
    said.append(f"In the morning the burners have {has}{at}.")
    return tidy(" ".join(said))


def show(settings: Settings) -> Shown:
    """The station at the moment chosen, the outlet over the bench's day, the story in words."""
    trace, units = run(scenario(settings)), settings["units"]
    (worker,) = trace.scenario.station.regulators
    between = format_pressure(trace.at(f"{worker.inlet}_gauge_pressure", settings["moment"]), units)
    return watched(WATCH, settings, trace, story(trace, units), (("before the worker now", between),))


def explain(units: str) -> str:
    """What becomes of a reset at once, and of a reset in every other way, in numbers from the simulation."""
    start = BENCH.start(units)
    traces = {visit: run(scenario(start | {"visit": visit})) for _, visit in VISITS.options}
    (refused,) = traces["at once"].happened("reset_refused")
    (unequal,) = traces["let down"].happened("reset_not_equalised")
    again = trips(traces["equalised"])[1]
    held = format_pressure(traces["mended"].at(OUTLET, NOON - 1), units)
    stands = format_pressure(refused.value, units)
    return tidy(
        f"The reset is refused: the outlet still stands at {stands}, and a slam-shut lets nothing off. Letting the "
        f"line down is not enough either: {across(unequal, units)} stands across the valve. Let down, equalised and "
        f"reset, it opens, and with the grit still there it trips again at {clock(again.time)}. Only with the cause "
        f"mended does the gas come back to stay, at {held} in the morning."
    )


PREDICTION = Prediction(
    "Grit under the worker's seat has let the outlet climb at night. The slam-shut has tripped and shut. At 5 min "
    "somebody comes, sees nothing wrong, and resets it at once. What happens?",
    (
        "It opens, and the outlet falls back to the set point: it was a nuisance trip.",
        "It opens, and the outlet goes to the inlet pressure.",
        "The reset does not hold: the outlet still stands too high, and the valve stays shut.",
        "It need not be reset: it has let the gas off and opened again by itself.",
    ),
    2,
    explain,
)
BENCH = Bench(
    "The slam-shut",
    (
        INLET,
        replace(SET_POINT, label="Worker's spring (set point)"),
        ABOVE,
        LOW,
        FITTED,
        starting(replace(DEBRIS, label="Debris on the worker's seat, height"), 0.002 * INCH),
        GRIT_FIRST,
        FAILURE,
        VISITS,
        starting(DEMAND, 500 * SCF / HOUR),
        ZOOM,
        starting(MOMENT, VISIT + 10.0),
    ),
    show,
    wide=True,
    without=("without the slam-shut", {"fitted": False}),
    handout=(
        {"moment": VISIT - 1},
        {"visit": "equalised", "moment": MORNING - 1},
        {"fitted": False, "moment": MORNING - 1},
    ),
)
