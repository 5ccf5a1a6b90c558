"""The reviewed set of cases: files that a person can read, each case with what it must show, and its recheck.

A case in a file says where it is, what is wrong and which day it is; `shows`, `hash` and `cannot_be_told_from` are
what the simulation made of that day when the case was reviewed. `problems` makes the day again and says what differs.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from importlib import resources
from typing import Any

import numpy as np

from toolkit.diagnosis.signatures import OTHER, SUSPECTS, UNSEEN, encoded, shipped
from toolkit.diagnosis.signs import SIGNS, Signs
from toolkit.errors import ScenarioError
from toolkit.quiz.questions import content_hash
from toolkit.quiz.trouble_case import LEVELS, TroubleCase, case_at, is_of_level, places
from toolkit.references import SOURCES

HEAD = "# Reviewed troubleshooting cases. After a change: `course bank --write FOLDER`, and review them again.\n"


@dataclass(frozen=True)
class Reviewed:
    """A case of the reviewed set, as its file has it.

    `key` names it and tells nothing of the cause; `day` is the seed of its day. `shows` are all its signs,
    `cannot_be_told_from` the suspects of which a day in the tables shows the very same in all that can be looked at.
    """

    key: str
    objective: str
    sources: tuple[str, ...]
    version: int
    level: int
    station: str
    suspect: str
    day: int
    shows: Mapping[str, str]
    cannot_be_told_from: tuple[str, ...]
    hash: str


# The kinds of value of each key, as they are named to whoever mends a file.
_KINDS: Mapping[str, tuple[type, str]] = {
    "key": (str, "a text"),
    "objective": (str, "a text"),
    "sources": (list, "a list of keys of sources"),
    "version": (int, "a whole number"),
    "level": (int, "a whole number"),
    "station": (str, "a text"),
    "suspect": (str, "a text"),
    "day": (int, "a whole number"),
    "shows": (dict, "a table of signs and values"),
    "cannot_be_told_from": (list, "a list of suspects"),
    "hash": (str, "a text"),
}


def read_bank(text: str, name: str) -> tuple[Reviewed, ...]:
    """The cases of a file. Raises ScenarioError, which names file, case and key, for what does not read."""
    try:
        found = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ScenarioError(name, str(error), "TOML", "Mend that line.") from error
    cases = found.get("case")
    if set(found) != {"case"} or not isinstance(cases, list):
        raise ScenarioError(name, sorted(found), "[[case]] tables and nothing else", "Take out the rest.")
    read = tuple(_read(one, f"{name}, case {number}") for number, one in enumerate(cases, 1))
    keys = [one.key for one in read]
    for key in keys:
        if keys.count(key) > 1:
            raise ScenarioError(f"{name}, key", key, "a key of its own for each case", "Give one of them another.")
    return read


def _read(given: Any, where: str) -> Reviewed:
    if not isinstance(given, dict):
        raise ScenarioError(where, given, "a table", "Write it as [[case]].")
    where = f"{where} ({given.get('key', 'no key')})"
    for key in given:
        if key not in _KINDS:
            raise ScenarioError(f"{where}.{key}", given[key], "one of " + ", ".join(_KINDS), "Check the spelling.")
    for key, (kind, words) in _KINDS.items():
        if key not in given:
            raise ScenarioError(f"{where}.{key}", "nothing", words, "Add it.")
        if not isinstance(given[key], kind) or isinstance(given[key], bool):
            raise ScenarioError(f"{where}.{key}", given[key], words, "Write it so.")
    checks: tuple[tuple[str, Sequence[Any], Sequence[Any]], ...] = (
        ("level", [given["level"]], list(LEVELS)),
        ("station", [given["station"]], places()),
        ("suspect", [given["suspect"]], [key for key in SUSPECTS if key != OTHER]),
        ("sources", given["sources"], list(SOURCES)),
        ("cannot_be_told_from", given["cannot_be_told_from"], list(SUSPECTS)),
    )
    for key, values, known in checks:
        for value in values:
            if value not in known:
                raise ScenarioError(
                    f"{where}.{key}", value, "one of " + ", ".join(map(str, known)), "Check the spelling."
                )
    for sign, value in given["shows"].items():
        if sign not in SIGNS or value not in SIGNS[sign].values:
            expected = "one of " + ", ".join(SIGNS[sign].values if sign in SIGNS else SIGNS)
            raise ScenarioError(f"{where}.shows.{sign}", value, expected, "Check the spelling.")
    lists = {key: tuple(given[key]) for key in ("sources", "cannot_be_told_from")}
    return Reviewed(**(given | lists))


@lru_cache(maxsize=1)
def bank() -> tuple[Reviewed, ...]:
    """All reviewed cases that come along, file by file."""
    folder = resources.files("toolkit") / "quiz" / "bank"
    files = sorted((one for one in folder.iterdir() if one.name.endswith(".toml")), key=lambda one: one.name)
    return tuple(case for one in files for case in read_bank(one.read_bytes().decode("utf-8"), one.name))


def reviewed(key: str) -> Reviewed:
    """The reviewed case of a key. Raises ScenarioError for another."""
    for one in bank():
        if one.key == key:
            return one
    raise ScenarioError("case", key, "one of " + ", ".join(one.key for one in bank()), "Check the spelling.")


@lru_cache(maxsize=64)
def case_of_key(key: str) -> TroubleCase:
    """The reviewed case of a key, its day simulated."""
    return made(reviewed(key))


def made(one: Reviewed) -> TroubleCase:
    """A reviewed case, its day simulated. Raises ScenarioError where the day cannot be run."""
    case = case_at(f"reviewed {one.key}", one.level, one.station, one.suspect, one.day)
    if case is None:
        raise ScenarioError(f"{one.key}.day", one.day, "a day whose run can be finished", "Take another day.")
    return case


def alike(case: TroubleCase) -> tuple[str, ...]:
    """The wrong suspects of which a day in the table shows the very same in all that can be looked at."""
    table = shipped(case.place)
    mine = np.array(encoded(case.signs), dtype=np.uint8)
    seen = (table.signs != UNSEEN) & (mine != UNSEEN)
    same = ((table.signs == mine) | ~seen).all(axis=1) & seen.any(axis=1)
    names = tuple(SUSPECTS)
    found = {names[place] for place in table.suspect[same]} - {case.suspect, OTHER}
    return tuple(key for key in case.suspects if key in found)


def problems(one: Reviewed) -> list[str]:
    """What a reviewed case no longer is: in sentences, none if all is as it was reviewed."""
    case = made(one)
    said = []
    met = case.signs.met()
    for key in sorted(met.keys() | one.shows.keys()):
        if met.get(key) != one.shows.get(key):
            said.append(f"{one.key}: {key} shows {met.get(key)!r}, reviewed was {one.shows.get(key)!r}.")
    if alike(case) != tuple(one.cannot_be_told_from):
        said.append(f"{one.key}: it cannot be told from {alike(case)}, reviewed was {one.cannot_be_told_from}.")
    if not is_of_level(case):
        said.append(f"{one.key}: it is not of level {one.level}, {LEVELS[one.level]}.")
    if content_hash(case) != one.hash:
        said.append(f"{one.key}: its hash is {content_hash(case)}, reviewed was {one.hash}.")
    return said


def made_anew(one: Reviewed) -> Reviewed:
    """A case with what its day shows now; its version rises where that is something else."""
    case = made(one)
    now = replace(one, shows=case.signs.met(), cannot_be_told_from=alike(case), hash=content_hash(case))
    return now if now == one else replace(now, version=one.version + 1)


def written(cases: Sequence[Reviewed]) -> str:
    """Cases as the text of a file that `read_bank` reads."""
    parts = [HEAD]
    for one in cases:
        lines = ["[[case]]"]
        for field in fields(one):
            value = getattr(one, field.name)
            if field.name == "shows":
                continue
            lines.append(f"{field.name} = {_toml(value)}")
        lines += ["[case.shows]", *(f"{key} = {_toml(value)}" for key, value in one.shows.items())]
        parts.append("\n".join(lines) + "\n")
    return "\n".join(parts)


def _toml(value: object) -> str:
    if isinstance(value, tuple | list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    if isinstance(value, int):
        return str(value)
    text = str(value).replace("\\", "\\\\").replace('"', '\\"')
    return f'"{text}"'


def signs_shown(one: Reviewed) -> Signs:
    """What a reviewed case must show, as signs."""
    return Signs(**one.shows)
