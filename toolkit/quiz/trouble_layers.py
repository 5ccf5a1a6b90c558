"""Which layer of a case would not act: each is called on alone, in a run with what is wrong and in one without.

A call: nothing draws, and all that holds the pressure before the layer stands wide open. A layer is defeated where the
pressure that it guards goes past its mark and it does not act, or where it acts and its capacity is gone.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from random import Random
from typing import Literal, NamedTuple

from toolkit.diagnosis.proofs import monitors
from toolkit.errors import ScenarioError, SimulationError
from toolkit.faults import Fault, Ice, StuckStem, TripShift, Warmed, WrongSetting
from toolkit.layers import alone, layers_at, loads_at, wide_open
from toolkit.quiz.ordering import ChoiceQuestion
from toolkit.quiz.trouble_case import INTERNAL, LAYERS, MONITOR, TAKES_OVER, TroubleCase, fault_name, fitted_layers
from toolkit.scenario import Scenario, Station
from toolkit.simulation import simulate
from toolkit.trace import Signal, Trace
from toolkit.units import format_pressure, spoken

# How long a call is watched [s]; pressures that are held are held by then.
WATCHED = 300.0
# What is wrong comes at this time and within so many seconds, well before the call and out of a sound start, so that a
# layer that is driven by it alone is seen to act.
WRONG_AT, RAMP = 20.0, 5.0
# A layer acts that does so within NEAR times its mark and lets the pressure no further than NEAR times what it lets it
# when sound; from FAR times on it is defeated, and between the two there is no answer that could be graded. Where the
# two lie is the course's own judgement.
NEAR, FAR = 1.25, 1.75
# Of the cases that take no layer so many are asked about, so that "none" is neither always right nor never.
NONE_ASKED = 0.2
NONE = "none of them"

State = Literal["acts", "defeated", "unclear"]


class Guard(NamedTuple):
    """A device that guards a volume from above: its layer, its name, the volume, its mark by the record [Pa gauge]."""

    layer: str
    device: str
    at: str
    mark: float


class Shown(NamedTuple):
    """What a call shows: the gauge pressure at which the guard first acts (None: not at all), and the highest [Pa]."""

    acts_at: float | None
    highest: float


@dataclass(frozen=True)
class Answer:
    """How a guard answers a call with what is wrong, and how it does when all is sound."""

    guard: Guard
    now: Shown
    sound: Shown

    @property
    def state(self) -> State:
        """Whether it acts, is defeated, or neither for sure."""
        mark = self.guard.mark
        if self.sound.acts_at is None:
            return "unclear"
        late = (self.now.highest if self.now.acts_at is None else self.now.acts_at) / max(mark, self.sound.acts_at)
        more = self.now.highest / max(mark, self.sound.highest)
        if late >= FAR or more >= FAR:
            return "defeated"
        return "acts" if self.now.acts_at is not None and late <= NEAR and more <= NEAR else "unclear"


def guards(station: Station) -> tuple[Guard, ...]:
    """What guards a pressure from above on a station, each layer in the words of `fitted_layers`."""

    def volume(room: str) -> str:
        return next((one.tap for one in station.sensing_lines if one.name == room), room)

    found = [
        Guard(layer, one.name, volume(one.senses), one.high_gauge_pressure)
        for layer, devices in (("the slam-shut", station.slam_shuts), ("the pressure switch", station.switches))
        for one in devices
        if one.high_gauge_pressure is not None
    ]
    found += [Guard("the relief valve", one.name, one.at, one.set_gauge_pressure) for one in station.relief_valves]
    found += [
        Guard(INTERNAL, one.name, one.outlet, one.set_gauge_pressure + one.relief.start_above_set)
        for one in station.regulators
        if one.relief
    ]
    found += [Guard(MONITOR, one.name, worker.outlet, one.set_gauge_pressure) for one, worker in monitors(station)]
    return tuple(found)


def call(station: Station, guard: Guard, faults: tuple[Fault, ...] = ()) -> Trace:
    """The run in which a guard alone answers regulators that stand wide open, with some faults there before that."""
    holders = layers_at(station, guard.at).holders
    # A monitor is to hold what its worker lets by; a relief in a regulator's body is none of what holds.
    opened = tuple(one for one in holders if guard.layer != MONITOR or one.name != guard.device)
    bare = alone(station, guard.at, {guard.device})
    there = _there(faults, bare, {one.name for one in opened})
    return simulate(Scenario(bare, loads_at(bare, 0.0), (*there, wide_open(*opened)), WATCHED))


def _there(faults: tuple[Fault, ...], bare: Station, opened: set[str]) -> Iterator[Fault]:
    """Faults that come before the call, on what is left of a station; no stem is stuck twice."""
    for one in faults:
        left = {name for kind in one.strikes for name in bare.named(kind)}
        struck = tuple(name for name in one.devices if name in left - (opened if isinstance(one, StuckStem) else set()))
        if struck:
            yield replace(one, devices=struck, onset=WRONG_AT, ramp=RAMP)


def answer(scenario: Scenario, guard: Guard) -> Answer:
    """How a guard answers a call with what is wrong in a scenario."""
    return Answer(guard, *(_shown(call(scenario.station, guard, wrong), guard) for wrong in (scenario.faults, ())))


def _shown(trace: Trace, guard: Guard) -> Shown:
    values = trace[f"{guard.at}_gauge_pressure"]
    return Shown(_acts_at(trace, guard, values), float(values.max()))


def _acts_at(trace: Trace, guard: Guard, values: Signal) -> float | None:
    if guard.layer == MONITOR:
        travel = next(one.travel for one in trace.scenario.station.regulators if one.name == guard.device)
        low = (trace[f"{guard.device}_lift"] < TAKES_OVER * travel) & (trace.times >= WRONG_AT)
        return float(values[low.argmax()]) if low[-1] else None
    kinds = {kind for kind, layer in LAYERS.items() if layer == guard.layer and not kind.endswith("_low")}
    acts = [one.value for one in trace.events if one.subject == guard.device and one.kind in kinds]
    return acts[0] if acts else None


@lru_cache(maxsize=64)
def answers(scenario: Scenario) -> tuple[Answer, ...]:
    """How each guard of a case's station answers a call; none where one of the calls cannot be run to its end."""
    try:
        return tuple(answer(scenario, one) for one in guards(scenario.station))
    except SimulationError:
        return ()


def defeated(case: TroubleCase) -> str | None:
    """The one layer that would not act, or NONE; None where the calls give no such answer."""
    found = answers(case.scenario)
    if not found or any(one.state == "unclear" for one in found):
        return None
    out = {one.guard.layer for one in found if one.state == "defeated"}
    # Of two devices of a layer one may be out and the other not.
    mixed = out & {one.guard.layer for one in found if one.state == "acts"}
    if mixed or len(out) > 1:
        return None
    return out.pop() if out else NONE


# The question


def is_asked(case: TroubleCase) -> bool:
    """Whether a case is asked about: something is wrong there, the calls give an answer, and not all are "none"."""
    if all(isinstance(one, Warmed) for one in case.scenario.faults):
        return False
    out = defeated(case)
    asked = Random(f"none is asked {case.place} {case.day}").random() < NONE_ASKED
    return out is not None and (out != NONE or asked)


def defeated_question(case: TroubleCase, key: str, chance: Random, units: str) -> ChoiceQuestion:
    """Which layer would not act for what is wrong. Raises ScenarioError where the calls give no answer."""
    right, found = defeated(case), answers(case.scenario)
    if right is None:
        raise ScenarioError("case", case.name, "one whose layers answer for sure", "Ask something else about it.")
    fitted = list(fitted_layers(case.scenario.station))
    chance.shuffle(fitted)
    told = {layer: _told([one for one in found if one.guard.layer == layer], layer, units) for layer in fitted}
    told[NONE] = "Each acts as it does when nothing is wrong." if right == NONE else f"One of them is out: {right}."
    wrong = "; ".join(_found(one, units) for one in case.scenario.faults)
    rows = [(_spoken(one.guard), format_pressure(one.guard.mark, units)) for one in found]
    return ChoiceQuestion(
        key,
        f"Found, and not mended yet: {wrong}. Now take each layer alone: nothing draws, and every regulator before it "
        "sticks wide open. Which layer would not act, or could not do its work any more, because of what was found?",
        tuple(told),
        list(told).index(right),
        tuple(told.values()),
        "A layer stands apart from a cause only if it has its own tap, its own vent and its own way out. What shares a "
        "body with the regulator can fail with it. What acts too early does not fail to act.",
        table=(("Guards from above", "Acts at, by the record"), *rows),
        units=units,
    )


def _found(fault: Fault, units: str) -> str:
    """A fault in words: what it is, on what, and which way."""
    where = [", ".join(map(spoken, fault.devices))]
    by = fault.by if isinstance(fault, WrongSetting) else fault.high_by if isinstance(fault, TripShift) else 0.0
    if by:
        where.append(f"{format_pressure(abs(by), units)} too {'high' if by > 0.0 else 'low'}")
    if isinstance(fault, StuckStem):
        where += [f"it does not shut further than {fault.lowest:.0%}"] if fault.lowest > 0.0 else []
        where += [f"it does not open further than {fault.highest:.0%}"] if fault.highest < 1.0 else []
    if isinstance(fault, Ice):
        plugs = {"in the orifice": fault.plugged_share, "under the disk": fault.held_open_share}
        where += [words for words, share in {**plugs, "in the vent": fault.vent_share}.items() if share > 0.0]
    return f"{fault_name(fault)} ({', '.join(where)})"


def _spoken(guard: Guard) -> str:
    """A guard as it is spoken of; a relief in a body by both."""
    name = spoken(guard.device)
    return f"internal relief of the {name}" if guard.layer == INTERNAL else name


def _told(found: Sequence[Answer], layer: str, units: str) -> str:
    """How a layer answers, in words."""
    name = f"{layer[0].upper()}{layer[1:]}"
    if not found:
        return f"{name} has no mark for a pressure that is too high: it does not guard from above."
    one = next((one for one in found if one.state == "defeated"), found[0])
    mark, highest, sound = (
        format_pressure(value, units) for value in (one.guard.mark, one.now.highest, one.sound.highest)
    )
    if one.now.acts_at is None:
        return f"{name} does not act at all: its mark is {mark}, and the pressure goes to {highest}."
    acts = format_pressure(one.now.acts_at, units)
    if one.state == "acts":
        early = NEAR * one.now.acts_at < one.guard.mark
        return f"{name} acts at {acts}: " + ("too early, but it acts." if early else "as it should.")
    if one.now.acts_at >= FAR * one.guard.mark:
        return f"{name} acts at {acts} only; its mark is {mark}."
    return f"{name} acts at {acts}, and it is no use: the pressure goes to {highest}, when sound to {sound}."
