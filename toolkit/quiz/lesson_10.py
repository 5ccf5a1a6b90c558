"""Lesson 10, setting the layers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import pi, sqrt
from random import Random

from toolkit.devices.regulator import Regulator
from toolkit.devices.relief_valve import ReliefValve
from toolkit.devices.slam_shut import SlamShut
from toolkit.faults import BlockedRelief, Fault, StuckStem
from toolkit.ladder import Finding, Rung, findings, ladder, rung
from toolkit.layers import MONITOR, with_monitor
from toolkit.quiz.items import Item, pick, rounded
from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion, shown_order
from toolkit.quiz.pictures import OUTLET
from toolkit.quiz.questions import NumericQuestion, Slip
from toolkit.scenario import Demand, Scenario, Station, Volume
from toolkit.simulation import simulate
from toolkit.sizing import API_526_LETTERS
from toolkit.trace import Trace
from toolkit.units import format_pressure, format_quantity, from_display

WORKER, VALVE, SHUTOFF, HOUSES = "worker", "relief_valve", "slam_shut", "houses"
# Room before the slam-shut, behind it, between the two regulators, and in the main behind them [m3]. The main is so
# large that what comes after a trip is little.
BEFORE, BOLTED, BETWEEN, MAIN = 1e-3, 2e-5, 3e-4, 4.0
# Coefficient that goes with the effective areas of the standard's letters. Source: `api-520-1`.
DISCHARGE = 0.975
# Orifices that pass what comes through two regulators wide open at the inlets drawn, and one that does not.
ENOUGH, TOO_SMALL = "G", "D"
# What the house regulators take at their inlet, in the display unit: the limit.
LIMITS = {"us": 28.0, "metric": 70.0}
# The outlet rises by no more than this after a trip, however fast all else fails; and no trip drawn stands higher than
# that, so that the latest trip and its run-on stay below the limit. In the display unit.
RUN_ON, HIGHEST_TRIP = {"us": 1.5, "metric": 3.5}, {"us": 25.0, "metric": 63.0}


@dataclass(frozen=True)
class Setting:
    """Four layers as set: gauge pressures [Pa], the monitor's above its worker's; without a trip no slam-shut."""

    worker_set: float
    above: float
    relief: float
    trip: float | None
    inlet: float
    limit: float
    letter: str = ENOUGH

    @property
    def station(self) -> Station:
        """Slam-shut, monitor and worker in a row, the relief valve behind them."""
        plain = Station()
        worker = Regulator(
            name=WORKER, relief=None, set_gauge_pressure=self.worker_set, adjusted_at_inlet_gauge_pressure=self.inlet
        )
        valve = ReliefValve(
            name=VALVE,
            set_gauge_pressure=self.relief,
            orifice_diameter=2 * sqrt(API_526_LETTERS[self.letter] / pi),
            discharge_coefficient=DISCHARGE,
        )
        houses = replace(
            plain.loads[0], name=HOUSES, rated_gauge_pressure=self.worker_set, maximum_gauge_pressure=self.limit
        )
        shut = () if self.trip is None else (SlamShut(name=SHUTOFF, high_gauge_pressure=self.trip),)
        alone = replace(
            plain,
            supply=replace(plain.supply, gauge_pressure=self.inlet, into="upstream" if shut else "inlet"),
            regulators=(worker,),
            volumes=(*((Volume("upstream", BEFORE),) if shut else ()), Volume("inlet", BOLTED), Volume("outlet", MAIN)),
            relief_valves=(valve,),
            slam_shuts=shut,
            loads=(houses,),
        )
        return with_monitor(alone, self.above, BETWEEN)

    @property
    def rungs(self) -> tuple[Rung, ...]:
        """The ladder, by runs of the station."""
        return ladder(self.station, "outlet", limit_gauge_pressure=self.limit)

    @property
    def monitor_set(self) -> float:
        """The monitor's own set point, gauge Pa."""
        return self.worker_set + self.above


def drawn(chance: Random, units: str) -> Setting:
    """A ladder in order, round in the display unit."""
    worker_set = pick(chance, "low_gauge_pressure", units, (9, 10, 0.5), (22, 25, 1))
    above = pick(chance, "low_gauge_pressure", units, (4, 4.5, 0.5), (10, 11, 1))
    relief = worker_set + above + pick(chance, "low_gauge_pressure", units, (3.5, 4, 0.5), (9, 10, 1))
    trip = worker_set + above + pick(chance, "low_gauge_pressure", units, (10.5, 11, 0.5), (26, 28, 1))
    return Setting(
        worker_set=worker_set,
        above=above,
        relief=relief,
        trip=min(trip, from_display(HIGHEST_TRIP[units], "low_gauge_pressure", units)),
        inlet=pick(chance, "gauge_pressure", units, (40, 60, 5), (2.75, 4, 0.25)),
        limit=from_display(LIMITS[units], "low_gauge_pressure", units),
    )


def run_on(units: str) -> str:
    """What comes after a trip, in words."""
    most = from_display(RUN_ON[units], "pressure_difference", units)
    return f"After a trip the outlet may still rise by {format_quantity(most, 'pressure_difference', units)}."


def told(setting: Setting, units: str) -> str:
    """The station in a few sentences."""
    said = f"A worker is set to {format_pressure(setting.worker_set, units)}, the monitor before it to "
    said += f"{format_pressure(setting.monitor_set, units)}. The relief valve behind them begins to open at "
    said += f"{format_pressure(setting.relief, units)}."
    said += f" A slam-shut trips at {format_pressure(setting.trip, units)}. {run_on(units)}" if setting.trip else ""
    return said + f" The house regulators take {format_pressure(setting.limit, units)} at most."


# What a rung is called in a question, by its kind; the rest of a ladder is not asked for.
WORDS: Mapping[str, str] = {
    "lock_up": "The worker locks up",
    "monitor_held": "The monitor holds, worker wide open",
    "valve_set": "The relief valve begins to open",
    "valve_held": "The relief valve passes all that comes",
    "slam_shut_high": "The slam-shut trips",
    "limit": "The house regulators' limit",
}
# What must not stand the other way round: (lower kind, upper kind), and why.
CRITICAL: Mapping[tuple[str, str], str] = {
    ("lock_up", "monitor_held"): "A monitor that holds no more than the worker's lock-up fights it.",
    ("lock_up", "valve_set"): "A relief valve that opens below lock-up blows every night with nothing wrong.",
    ("lock_up", "slam_shut_high"): "A slam-shut that trips below lock-up puts the houses out with nothing wrong.",
    ("monitor_held", "valve_set"): "A relief valve set below what the monitor holds blows while the monitor works.",
    ("monitor_held", "slam_shut_high"): "Set below what the monitor holds, the slam-shut puts all houses out for one "
    "failure that the monitor had in hand.",
    ("valve_held", "limit"): "A relief valve that passes all only above the limit is no guard.",
}


def _order(key: str, chance: Random, units: str) -> OrderQuestion:
    setting = drawn(chance, units)
    # In some the relief valve is the last layer.
    setting = replace(setting, trip=None) if chance.random() < 0.3 else setting
    rungs = [one for one in setting.rungs if one.kind in WORDS]
    kinds = [one.kind for one in rungs]
    critical = {pair: why for pair, why in CRITICAL.items() if set(pair) <= set(kinds)}
    station = "worker, monitor and relief valve" + (", and a slam-shut as the last layer" if setting.trip else "")
    said = "; ".join(f"{WORDS[one.kind]}: {format_pressure(one.gauge_pressure, units)}" for one in rungs)
    return OrderQuestion(
        key,
        f"A station has {station}. The worker is set to {format_pressure(setting.worker_set, units)}; the house "
        f"regulators behind take {format_pressure(setting.limit, units)} at most. Each layer shall act only when the "
        "ones below it have failed. In which order must these pressures stand?",
        tuple(WORDS[kind] for kind in kinds),
        shown_order(len(kinds), chance),
        critical=tuple((kinds.index(lower), kinds.index(upper)) for lower, upper in critical),
        cap=0.4,
        scoring="tau",
        explanation=f"Set so, the bench gives this. {said}. Not only set points stand on the ladder: lock-up, "
        "what a layer holds and the whole of its build-up do too.",
        reasons=tuple(critical.values()),
    )


def _above(key: str, chance: Random, units: str) -> NumericQuestion:
    setting = replace(drawn(chance, units), trip=None)
    rungs = {one.kind: one for one in setting.rungs}
    held, lock_up = (
        rounded(rungs[kind].gauge_pressure, "low_gauge_pressure", units) for kind in ("monitor_held", "lock_up")
    )
    first, second = (pick(chance, "fraction", units, (low, 6, 1), (low, 6, 1)) for low in (4, 3))
    shares = [format_quantity(one, "fraction", units) for one in (first, second)]
    return NumericQuestion(
        key,
        f"A worker is set to {format_pressure(setting.worker_set, units)} and locks up at "
        f"{format_pressure(lock_up, units)}. Its monitor is set to {format_pressure(setting.monitor_set, units)}; with "
        f"the worker wide open it holds {format_pressure(held, units)}, within {shares[0]} to either side. The relief "
        f"valve behind opens within {shares[1]} of its set pressure. It shall never open while the monitor holds. What "
        "is the lowest set pressure for it?",
        "low_gauge_pressure",
        held * (1 + first) / (1 - second),
        f"At its highest the monitor holds {format_pressure(held * (1 + first), units)}. The soonest that the relief "
        f"valve opens is {1 - second:.2f} of its set pressure, so divide by that.",
        (
            Slip("the bands were left out", held, "Then each of them may stand on the wrong side of the other."),
            Slip(
                "only the monitor's band was counted",
                held * (1 + first),
                "The relief valve has a band of its own: it may open sooner than its set pressure.",
            ),
            Slip(
                "the relief valve's band was counted the wrong way",
                held * (1 + first) * (1 - second),
                "It opens below its set pressure at the soonest, so the set pressure stands above: divide.",
            ),
            Slip(
                "the worker's lock-up was taken for what the monitor holds",
                lock_up * (1 + first) / (1 - second),
                "Clear of the lock-up is not enough: the relief valve must be clear of the layer below it.",
            ),
        ),
        relative_tolerance=0.01,
        units=units,
    )


def table_of(rungs: Sequence[Rung], units: str) -> tuple[tuple[str, ...], ...]:
    """The rungs asked for as a table, lowest first, each with its band."""

    def band(one: Rung) -> str:
        return (
            "-" if one.low == one.high else f"{format_pressure(one.low, units)} to {format_pressure(one.high, units)}"
        )

    rows = [
        (WORDS[one.kind], format_pressure(one.gauge_pressure, units), band(one)) for one in rungs if one.kind in WORDS
    ]
    return (("", "Stands at", "Band"), *rows)


def tripping_at(rungs: Sequence[Rung], trip: float, limit: float) -> tuple[Finding, ...]:
    """What is wrong with a ladder if its slam-shut is set to a trip [Pa gauge]."""
    others = [one for one in rungs if one.kind != "slam_shut_high"]
    return findings((*others, rung("slam_shut_high", SHUTOFF, trip, SlamShut.accuracy)), limit)


# What a trip at the wrong place does, by the kind of finding; the first that applies is told.
WRONG_TRIP: Mapping[str, str] = {
    "nuisance": "It lies at the worker's lock-up: any quiet night can trip it with nothing wrong.",
    "slam_shut_below_monitor": "It lies no higher than what the monitor holds: the houses go out for nothing.",
    "slam_shut_in_build_up": "It lies within the relief valve's build-up: the houses go out while the valve does "
    "its work.",
    "above_limit": "It lies above the limit: the house regulators get too much before anything stops the gas.",
    "near_limit": "Within its band it may trip above the limit.",
}


def trips(setting: Setting, rungs: Sequence[Rung], units: str) -> dict[float, str]:
    """Trips to choose from [Pa gauge], each with the kind of what is wrong, or "" if none.

    Below what the monitor holds, within the build-up, with room on both sides, above the limit.
    """
    lock, held, opens, full = (
        one for one in rungs if one.kind in ("lock_up", "monitor_held", "valve_set", "valve_held")
    )
    wanted = (
        0.5 * (lock.high + held.gauge_pressure),
        0.5 * (opens.gauge_pressure + full.gauge_pressure),
        0.5 * (full.high / (1 - SlamShut.accuracy) + setting.limit / (1 + SlamShut.accuracy)),
        1.06 * setting.limit,
    )
    offered = [rounded(one, "low_gauge_pressure", units) for one in wanted]
    kinds = {trip: [one.kind for one in tripping_at(rungs, trip, setting.limit)] for trip in offered}
    return {trip: next((kind for kind in WRONG_TRIP if kind in found), "") for trip, found in kinds.items()}


def _trip(key: str, chance: Random, units: str) -> ChoiceQuestion:
    setting = replace(drawn(chance, units), trip=None)
    offered = trips(setting, rungs := setting.rungs, units)
    order = chance.sample(list(offered), len(offered))
    (right,) = (index for index, trip in enumerate(order) if not offered[trip])
    share = format_quantity(SlamShut.accuracy, "fraction", units)
    return ChoiceQuestion(
        key,
        f"{told(setting, units)} The table has what the sheet gives. A slam-shut comes in addition, as the last layer. "
        f"It trips within {share} of its setting. {run_on(units)} Where shall it be set?",
        tuple(format_pressure(trip, units) for trip in order),
        right,
        tuple(WRONG_TRIP.get(offered[trip], "Its whole band has room on both sides.") for trip in order),
        "It must stand clear above all that the layers below it hold, the relief valve's build-up included, and below "
        "the limit with the whole of its band and with what comes after the trip.",
        table=table_of(rungs, units),
        units=units,
    )


STATES: Mapping[str, str] = {
    "order": "The ladder is in order.",
    "near": "The monitor is set too near the worker.",
    "low": "The relief valve opens while the monitor still holds.",
    "build": "The slam-shut trips while the relief valve is still building up.",
    "small": "The relief valve is too small: it ends above the limit.",
}
# Which state the findings of a ladder speak for.
STATE_OF: Mapping[str, str] = {
    "monitor_at_worker": "near",
    "monitor_throttles": "near",
    "monitor_moves_early": "near",
    "relief_below_monitor": "low",
    "slam_shut_in_build_up": "build",
    "relief_too_small": "small",
}
# What else the table would have to show.
LACKS: Mapping[str, str] = {
    "order": "Look again: two rungs stand the wrong way round, or one above the limit.",
    "near": "The monitor begins and holds well clear of what the worker does.",
    "low": "The relief valve begins to open clear above what the monitor holds.",
    "build": "No trip stands between where the relief valve begins to open and where it passes all that comes.",
    "small": "The relief valve passes all that comes below the limit.",
}
RIGHT: Mapping[str, str] = {
    "order": "Each stands clear of what the one below it holds, and below the limit, bands and run-on counted.",
    "near": "The monitor holds hardly more than the worker's lock-up: the two fight over one pressure.",
    "low": "It blows gas off although the layer below it has the pressure in hand.",
    "build": "The houses go out although the relief valve would have held.",
    "small": "The pressure at which it passes all that comes stands above the limit: capacity counts too.",
}


def in_state(setting: Setting, state: str) -> Setting:
    """A ladder in order, changed into one of STATES."""
    if state == "near":
        return replace(setting, above=0.1 * setting.above)
    if state == "low":
        return replace(setting, relief=setting.monitor_set)
    if state == "build":
        return replace(setting, trip=setting.relief * 1.05)  # a little of its build-up, not yet all
    # On its way above the limit a relief valve that is too small would meet any trip.
    return replace(setting, letter=TOO_SMALL, trip=None) if state == "small" else setting


def states_of(found: Sequence[Finding]) -> set[str]:
    """The states that findings speak for."""
    return {STATE_OF[one.kind] for one in found} or {"order"}


def _verdict(key: str, chance: Random, units: str) -> ChoiceQuestion:
    wanted = chance.choice(list(STATES))
    setting = in_state(drawn(chance, units), wanted)
    rungs = setting.rungs
    (state,) = states_of(findings(rungs, setting.limit))
    options = chance.sample(list(STATES), len(STATES))
    return ChoiceQuestion(
        key,
        f"{told(setting, units)} The table has what the sheet gives for the station as it stands. Which verdict holds?",
        tuple(STATES[one] for one in options),
        options.index(state),
        tuple(RIGHT[one] if one == state else LACKS[one] for one in options),
        "Go up the ladder rung by rung: lock-up, what the monitor holds, where the relief valve opens, where it passes "
        "all that comes, the trip, the limit.",
        table=table_of(rungs, units),
        units=units,
    )


HOLDS: Mapping[str, str] = {
    "well": "Nothing: the worker holds.",
    "worker": "The worker has failed; the monitor holds.",
    "both": "Worker and monitor have failed; the relief valve lets off what comes.",
    "three": "Worker, monitor and relief valve have failed; the slam-shut has tripped.",
}
BOTH_OPEN = StuckStem(devices=(WORKER, MONITOR), onset=5.0, ramp=60.0)
FAILED: Mapping[str, tuple[Fault, ...]] = {
    "well": (),
    "worker": (replace(BOTH_OPEN, devices=WORKER),),
    "both": (BOTH_OPEN,),
    "three": (BOTH_OPEN, BlockedRelief(devices=VALVE, highest_lift=0.0, onset=-10.0)),
}


def standing(setting: Setting, failed: str) -> Trace:
    """A run that ends with the outlet as one of FAILED leaves it, with no gas taken."""
    # Behind a slam-shut that trips by day the burners would empty the main.
    off = 2.0 if failed == "three" else 65.0
    demands = (Demand(0.0, 0.3, HOUSES), Demand(off, 0.0, HOUSES))
    return simulate(Scenario(setting.station, demands, FAILED[failed], 90.0))


def _stands(key: str, chance: Random, units: str) -> ChoiceQuestion:
    setting = drawn(chance, units)
    options = chance.sample(list(HOLDS), len(HOLDS))
    truth = chance.choice(options)
    traces = {one: standing(setting, one) for one in options}
    reading = {one: format_pressure(trace.settled(OUTLET), units) for one, trace in traces.items()}
    here, not_here = "An outlet of {} stands at just that rung.", "With that the outlet would stand at {} and not here."
    return ChoiceQuestion(
        key,
        f"{told(setting, units)} No burner is on, and the outlet stands steady at {reading[truth]}. What has failed?",
        tuple(HOLDS[one] for one in options),
        options.index(truth),
        tuple((here if one == truth else not_here).format(reading[one]) for one in options),
        "An outlet that stands still stands at some rung. The rung tells which layer is at work, and with that which "
        "ones below it have failed.",
        traces=tuple(traces.values()),
        units=units,
    )


ITEMS = (
    Item("10.order", "10", "Put set points, lock-up, build-up and limit of a station in order.", _order),
    Item("10.above", "10", "Reckon the lowest setting that is clear of the layer below, bands counted.", _above),
    Item("10.trip", "10", "Choose a trip with room on both sides of its band.", _trip),
    Item("10.verdict", "10", "Judge a ladder rung by rung, capacity included.", _verdict),
    Item("10.stands", "10", "Tell from the rung at which the outlet stands what has failed.", _stands),
)
