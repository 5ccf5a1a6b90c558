"""Two causes with one symptom, and the checks that may tell them apart: what a lab is made of.

A pair is told by plain functions: the run of a visit with either cause, sized so that what is read at the visit is the
same, and checks that are put into that run. What a check shows are signs (`signs.SIGNS`), taken off the run alone.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from toolkit.diagnosis.next_check import CHECKS, Check
from toolkit.diagnosis.signs import SIGNS, Signs
from toolkit.diagnosis.visits import signs_of
from toolkit.scenario import Scenario
from toolkit.simulation import simulate
from toolkit.trace import Trace

# A sign's name and its value, as they are shown.
Reading = tuple[str, str]
# What a pair's visit is made with, SI by key.
Values = Mapping[str, Any]
FIRST, SECOND = 0, 1
# Most checks are looked at on one and the same run.
_run = lru_cache(maxsize=32)(simulate)


def as_met(trace: Trace) -> Signs:
    """The signs of a run as a technician meets them: from what it shows alone, not from what is built into it."""
    return signs_of(replace(trace, scenario=replace(trace.scenario, faults=())))


def as_it_is(visit: Scenario) -> Scenario:
    """A visit at which nothing more is done than the burners' timetable says."""
    return visit


@dataclass(frozen=True)
class PairCheck:
    """A check to choose: `made` puts it into a visit's run, `reads` takes the signs off that run.

    `check` is one of next_check.CHECKS, or the pair's own where none of them is it; of the signs only those it names
    are shown. `called` and `words` put other words on its one sign and its values where another check shows the same
    sign, or where the usual words do not say what is seen. `gauges` are volumes whose gauge is read for it besides
    those at the loads. `steps` say when [s] what is done. `tells`: it tells the two causes apart.
    """

    check: Check
    made: Callable[[Scenario], Scenario] = as_it_is
    reads: Callable[[Trace], Signs] = as_met
    called: str = ""
    words: tuple[tuple[str, str], ...] = ()
    gauges: tuple[str, ...] = ()
    steps: tuple[tuple[float, str], ...] = ()
    tells: bool = False


def usual(*keys: str) -> tuple[PairCheck, ...]:
    """Checks of next_check.CHECKS that are made on the visit as it is, or that nobody may make."""
    return tuple(PairCheck(CHECKS[key]) for key in keys)


@dataclass(frozen=True)
class Pair:
    """Two causes that look alike.

    `noticed` says the symptom in a sentence; `suspects` name the causes, with their article. `visit(values, which)` is
    the run of a visit with the FIRST or the SECOND of them; all but the checks that tell show the same with both.
    `because` says in a sentence why the right check tells them apart.
    """

    noticed: str
    suspects: tuple[str, str]
    visit: Callable[[Values, int], Scenario]
    checks: tuple[PairCheck, ...]
    because: str

    @property
    def by_key(self) -> dict[str, PairCheck]:
        """The checks by their keys, in the order in which they are offered."""
        return {one.check.key: one for one in self.checks}

    def scenario(self, values: Values, key: str, which: int) -> Scenario:
        """The run of a check with one of the causes; what nobody may do is not done: then the visit as it is."""
        one, visit = self.by_key[key], self.visit(values, which)
        return visit if one.check.forbidden else one.made(visit)

    def shows(self, values: Values, key: str, which: int) -> tuple[Reading, ...]:
        """What a check shows with one of the causes."""
        return readings(self.by_key[key], _run(self.scenario(values, key, which)))


def readings(one: PairCheck, trace: Trace) -> tuple[Reading, ...]:
    """What a check shows on its run: names and values of its signs; none for what nobody may do."""
    if one.check.forbidden:
        return ()
    met, words = one.reads(trace).only(one.check.signs).met(), dict(one.words)
    return tuple((one.called or SIGNS[key].name, words.get(value, value)) for key, value in met.items())


def told(found: tuple[Reading, ...]) -> str:
    """Readings in a line of words."""
    return "; ".join(f"{name}: {value}" for name, value in found)


def stop_card(check: Check) -> str:
    """Why a check is refused, in sentences."""
    return f"Stop. {check.forbidden} The risk: {check.risk}. It is not done, and nothing is read."


def cost(check: Check) -> str:
    """What a check takes and risks, in sentences."""
    who = " For qualified persons only, by the written procedure." if check.qualified else ""
    minutes = "1 minute" if check.minutes == 1 else f"{check.minutes:g} minutes"
    return f"It takes {minutes} ({check.effort}).{who} Risk: {check.risk}."
