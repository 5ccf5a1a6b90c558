"""The table of 21 faults and 15 symptoms: what is expected of each, and what the simulation shows.

Expected: 3 usual, 2 often, 1 it can happen, a dot no path in the physics. The rule here: of the runs of a row's family
in which the station has the device that would show the symptom, 3 shows in half or more, 2 in 15 % or more, a dot in
none; 1 is free. The expectation is the course's own judgement, not field statistics.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from random import Random

from toolkit.diagnosis import causes
from toolkit.diagnosis.causes import Case, Draw
from toolkit.diagnosis.sites import site
from toolkit.diagnosis.symptoms import SYMPTOMS, symptoms_of
from toolkit.scenario import Scenario, Station
from toolkit.simulation import simulate
from toolkit.trace import Trace

USUAL, OFTEN = 0.5, 0.15
# Members of a family take turns on so many sites of each kind, so that sound runs are shared.
SITES = 4
# Steps of the golden section go through 0 to 1 evenly, however many are taken.
GOLDEN = (5**0.5 - 1) / 2
COLD = "cold "


@dataclass(frozen=True)
class Row:
    """A cause: its number and name, how it is drawn, on which kinds of site by turns, a mark for each symptom."""

    number: int
    name: str
    draw: Draw
    kinds: tuple[str, ...]
    marks: str

    def mark(self, symptom: str) -> str:
        """The expectation: 3, 2, 1 or a dot."""
        return self.marks[list(SYMPTOMS).index(symptom)]

    def case(self, number: int, seed: int) -> Case:
        """One member of the family."""
        chance = Random(f"{seed} {self.number} {number}")
        kind = self.kinds[number % len(self.kinds)]
        cold, kind = kind.startswith(COLD), kind.removeprefix(COLD)
        turn = (Random(seed).random() + number * GOLDEN) % 1.0
        return self.draw(chance, site(kind, (number // len(self.kinds) + number) % SITES, seed, cold), turn)


_PLAIN = ("service", "monitored", "shutoff first", "line sensed", "service", "shutoff first", "monitored")
_LINED = ("line sensed", "monitored")
_TORN = ("service", "line sensed", "monitored", "shutoff first", "line sensed")
_BLOCKED = ("line sensed", "monitored", "damped", "monitored", "monitored", "damped", "cold monitored")
_ALONE = ("line sensed", "line sensed", "monitored")
_ROWS = (
    Row(1, "dirt or nick on worker seat", causes.dirty_seat, _PLAIN, "23...1.1222..21"),
    Row(2, "diaphragm torn", causes.torn, _TORN, "323..1..222..2."),
    Row(
        3,
        "vent blocked (nest, ice, paint, water)",
        causes.vent_blocked,
        ("service", "monitored", "line sensed", "monitored", "monitored", "cold service"),
        ".112..1.11122.3",
    ),
    Row(4, "internal relief weak, dirty, set low", causes.weak_relief, ("service",), "3...1......1..1"),
    Row(5, "main spring broken, weak, backed off", causes.weak_spring, _PLAIN, "...232....1...."),
    Row(6, "sensing line broken, open to air", causes.line_broken, _ALONE, ".23..1..333..2."),
    Row(
        7,
        "sensing line blocked, valve shut",
        causes.line_blocked,
        _BLOCKED,
        ".2221.2.112.113",
    ),
    Row(8, "too small, or inlet low", causes.too_small, _PLAIN, "...31..1..1...."),
    Row(9, "filter plugged", causes.filter_plugged, _PLAIN, "...311....1...."),
    Row(
        10, "hydrate or ice", causes.hydrate, ("cold service", "cold monitored", "cold line sensed"), "1112221.111.31."
    ),
    Row(11, "worker stuck open", causes.stuck_open, _PLAIN, "223..1..222.13."),
    Row(12, "monitor set too near worker", causes.monitor_near, ("damped, monitored",), "...2..32..1..11"),
    Row(13, "monitor failed shut", causes.monitor_shut, ("monitored",), "...222....1...."),
    Row(14, "slam-shut tripped on true overpressure", causes.true_trip, ("shutoff first",), ".....3..132...."),
    Row(15, "slam-shut set too near, latch worn", causes.shutoff_near, _PLAIN, ".....3...3.1..2"),
    Row(16, "relief seat dirty after a pop", causes.relief_dirty, _LINED, ".......13......"),
    Row(17, "relief blocked, isolated, set high", causes.relief_blocked, _LINED, ".........11...."),
    Row(18, "switch deadband small, set inside droop", causes.switch_near, _PLAIN, ".....1....3...1"),
    Row(19, "locked-in gas warmed (no fault)", causes.sun, _PLAIN, "1.......2223..."),
    Row(20, "oversize at low load, stem friction", causes.oversize, ("damped",), ".1....33.11...2"),
    Row(21, "downstream leak, excess demand", causes.leak, _PLAIN, "...22.....1...."),
)


def rows() -> tuple[Row, ...]:
    """The rows, in the order of their numbers."""
    return _ROWS


@lru_cache(maxsize=256)
def _sound(scenario: Scenario) -> Trace:
    return simulate(scenario)


def symptoms_of_case(case: Case) -> frozenset[str]:
    """The symptoms that one day shows."""
    return symptoms_of(simulate(case.scenario), _sound(case.sound), case.arrives)


def can_show(station: Station, symptom: str) -> bool:
    """Whether a station carries the device that a symptom is met at."""
    if symptom == "i":
        return bool(station.relief_valves) or any(one.relief for one in station.regulators)
    if symptom == "n":
        return len(station.regulators) > 1
    return bool({"j": station.slam_shuts, "k": station.switches}.get(symptom, True))


@lru_cache(maxsize=64)
def _family(row: Row, n: int, seed: int) -> tuple[tuple[Case, frozenset[str]], ...]:
    cases = [row.case(number, seed) for number in range(n)]
    return tuple((case, symptoms_of_case(case)) for case in cases)


def observed(row: Row, n: int, seed: int) -> Mapping[str, float]:
    """For each symptom the share of a row's family of `n` runs that shows it, of those whose station can."""
    family = _family(row, n, seed)
    shares = {}
    for symptom in SYMPTOMS:
        able = [found for case, found in family if can_show(case.scenario.station, symptom)]
        shares[symptom] = sum(symptom in found for found in able) / len(able) if able else 0.0
    return shares


def as_expected(mark: str, share: float) -> bool:
    """Whether a share fits its mark."""
    if mark == ".":
        return share == 0.0
    return share >= {"3": USUAL, "2": OFTEN, "1": 0.0}[mark]


def mark_of(share: float) -> str:
    """The mark that a share would earn."""
    if share == 0.0:
        return "."
    return "3" if share >= USUAL else "2" if share >= OFTEN else "1"


STAYS_SHUT = (
    "A slam-shut that has tripped stays shut until somebody resets it: where {} trips it, the next burner finds no gas."
)
KICKS_BEFORE_MONITOR = (
    "At full load the worker's place is right and the monitor stands wide open. When the burners shut, the pressure "
    "runs up until the monitor has come down from there, and falls back to the monitor's set."
)
# Where the simulation departs from the expectation, and why.
DEVIATIONS: dict[tuple[int, str], str] = {
    (3, "f"): STAYS_SHUT.format("the kick at a cut-off"),
    (4, "i"): (
        "An internal relief with a weak spring is itself the relief that stands open; the gas at the vent comes "
        "through it. Only a dirty pad shows gas at the vent with the relief's spring at rest."
    ),
    (7, "f"): STAYS_SHUT.format("the pressure that nobody senses"),
    (10, "o"): KICKS_BEFORE_MONITOR,
    (11, "o"): KICKS_BEFORE_MONITOR,
    (15, "k"): "Once the slam-shut has shut for nothing, the line empties and the contact for low gas makes.",
    (19, "f"): STAYS_SHUT.format("the warmed gas"),
    (20, "o"): (
        "A disk without friction follows the burners, and a bigger bore shuts on a shorter stroke: no kick. The kick "
        "of the field comes from a stem that sticks before it moves, and friction is not in the model."
    ),
}


def markdown(n: int, seed: int) -> str:
    """The table as the simulation shows it, in markdown; where it departs, the expectation stands in brackets."""
    keys = list(SYMPTOMS)
    lines = [
        "| cause | " + " | ".join(keys) + " |",
        "|---" * (len(keys) + 1) + "|",
        *("| " + " | ".join([f"{row.number} {row.name}", *_cells(row, n, seed)]) + " |" for row in rows()),
    ]
    return "\n".join(lines)


def _cells(row: Row, n: int, seed: int) -> list[str]:
    """Marks of a row: the expectation where the shares fit it, and 1 or a dot where it leaves both open."""
    cells = []
    for symptom, share in observed(row, n, seed).items():
        mark, shown = row.mark(symptom), mark_of(share)
        if mark == "1":
            cells.append("1" if share else "(1)")
        else:
            cells.append(mark if as_expected(mark, share) else f"**{shown}** ({mark})")
    return cells
