"""A station read from the text of a file that a person wrote, and the stations that come with the course.

What a file may hold follows from the dataclasses (`station_schema`). Every error names the table and key at fault.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from importlib import resources
from typing import Any

from toolkit import checks
from toolkit.devices.line import Supply
from toolkit.errors import ScenarioError
from toolkit.gas import compressibility
from toolkit.scenario import Demand, Scenario, Station
from toolkit.station_schema import (
    HAPPENINGS,
    KINDS,
    PARTS,
    SINGLE,
    StationFile,
    StationLimits,
    schema_markdown,
    single_keys,
)
from toolkit.station_values import Entry, Site, build, read_entry, read_values, refusal, retold

__all__ = [
    "LONGEST_LINE",
    "MOST_CHARACTERS",
    "MOST_TABLES",
    "StationFile",
    "StationLimits",
    "read_station",
    "schema_markdown",
    "shipped_station",
    "shipped_stations",
]

# No station that a person writes comes near these; without them a file could keep the reader busy for hours.
MOST_CHARACTERS, LONGEST_LINE = 200_000, 2_000
# A run's work grows with the cube of the volumes, a reading's with the square of what happens.
MOST_TABLES = 40
MOST_HAPPENINGS = 200


def read_station(text: str, *, name: str) -> StationFile:
    """A station, and what happens to it, from TOML text; `name` is what the file is called.

    Raises ScenarioError, and nothing else; its `field` names line, or table and key.
    """
    document = _parsed(text)
    for table in document:
        if table not in (*SINGLE, *PARTS, *HAPPENINGS):
            raise refusal(table, document[table], "a table of a station", checks.near(table, _tables()))
    about = _once(document, "station", must=True)
    facts = read_values(single_keys("station"), about, "station", Site())
    title, words = facts.pop("title"), facts.pop("about")
    bare = build(Station, facts, "station", about)  # with parts of its own: only to check what is the site's
    site = Site(bare.atmosphere, bare.gas)
    supply = read_entry(Supply, _once(document, "supply", must=True), "supply", site)
    parts = {table: _many(document, table, kind, site) for table, (_, kind) in PARTS.items()}
    if sum(len(entries) for entries in parts.values()) > MOST_TABLES:
        raise ScenarioError(
            "station", "more", f"at most {MOST_TABLES} parts", "Leave out what the question is not about."
        )
    station = _station(facts, supply, parts)
    scenario = _scenario(document, station, site)
    return StationFile(name, title, words, scenario, _limits(document, station, site))


@lru_cache(maxsize=1)
def shipped_stations() -> tuple[str, ...]:
    """The names of the stations that come with the course."""
    names = (file.name for file in (resources.files("toolkit") / "stations").iterdir())
    return tuple(sorted(name.removesuffix(".toml") for name in names if name.endswith(".toml")))


@lru_cache(maxsize=32)
def shipped_station(name: str) -> StationFile:
    """A station that comes with the course, by its name; a ScenarioError where there is none of that name."""
    if name not in shipped_stations():
        raise ScenarioError(
            "station", name, "one of " + ", ".join(shipped_stations()), checks.near(name, shipped_stations())
        )
    file = resources.files("toolkit") / "stations" / f"{name}.toml"
    return read_station(file.read_bytes().decode("utf-8"), name=name)


# The text


def _parsed(text: str) -> dict[str, Any]:
    if len(text) > MOST_CHARACTERS:
        raise ScenarioError(
            "file", f"{len(text):,} characters", f"at most {MOST_CHARACTERS:,}", "Split what it describes into several."
        )
    lines = text.splitlines()
    for number, line in enumerate(lines, start=1):
        if len(line) > LONGEST_LINE:
            raise ScenarioError(
                f"line {number}", f"{len(line):,} characters", f"at most {LONGEST_LINE:,}", "Break the line."
            )
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _syntax(str(error), lines) from None
    except (RecursionError, ValueError, OverflowError):
        raise ScenarioError("file", "a value", "values that can be read", "Check long numbers and brackets.") from None
    if not document:
        raise ScenarioError("file", "nothing", "a station in TOML", "Begin with [station], [supply] and [[volume]].")
    return document


def _syntax(error: str, lines: Sequence[str]) -> ScenarioError:
    """What is wrong with a text that is no TOML."""
    place = re.search(r"\(at line (\d+)", error)
    number = int(place[1]) if place else len(lines)
    line = lines[number - 1].strip() if 0 < number <= len(lines) else ""
    words = re.sub(r" \(at .*", "", error)
    _, equals, value = line.partition("=")
    if words.startswith("Cannot"):
        mend = "Each table and key may stand once; a table that stands several times has [[double brackets]]."
    elif equals and value.strip()[:1] not in ('"', "'", "[", "{"):
        mend = 'Put the value in quotes, as in set_pressure = "7 in. w.c."'
    else:
        mend = "Check the quotes and brackets of this line and of the one before."
    return refusal(f"line {number}", line, "a line of TOML", f"{words[:80]}. {mend}")


# Tables


def _tables() -> tuple[str, ...]:
    return (*SINGLE, *PARTS, *HAPPENINGS)


def _once(document: Mapping[str, Any], table: str, *, must: bool = False) -> Mapping[str, object]:
    """A table that stands once; empty where it does not stand and need not."""
    if must and table not in document:
        raise ScenarioError(table, "nothing", f"a table [{table}]", f"Add [{table}] with its keys.")
    found = document.get(table, {})
    if not isinstance(found, dict):
        raise refusal(table, found, f"one table [{table}]", f"Write [{table}] in single brackets, once.")
    return found


def _many(document: Mapping[str, Any], table: str, kind: type, site: Site) -> list[Entry]:
    """The entries of a table that may stand several times."""
    found = document.get(table, [])
    if not isinstance(found, list) or not all(isinstance(one, dict) for one in found):
        raise refusal(table, found, f"tables [[{table}]]", f"Write [[{table}]] in double brackets.")
    if len(found) > MOST_HAPPENINGS:
        raise ScenarioError(table, f"{len(found):,}", f"at most {MOST_HAPPENINGS}", "Leave some out.")
    entries = []
    for number, written in enumerate(found, start=1):
        called = written.get("kind" if table in KINDS else "name")
        known = f" ({called})" if isinstance(called, str) and called.isidentifier() and len(called) <= 40 else ""
        label, mine = f"{table} {number}{known}", dict(written)
        if table in KINDS:
            kind = _kind(table, mine.pop("kind", None), label)
        entries.append(read_entry(kind, mine, label, site))
    return entries


def _kind(table: str, given: object, label: str) -> type:
    kinds = KINDS[table]
    if not isinstance(given, str) or given not in kinds:
        raise refusal(f"{label}.kind", given, "one of " + ", ".join(kinds), checks.near(given, kinds))
    return kinds[given]


# The whole


def _station(facts: Mapping[str, Any], supply: Entry, parts: Mapping[str, list[Entry]]) -> Station:
    entries = [supply, *(entry for found in parts.values() for entry in found)]
    rows = {PARTS[table][0]: tuple(entry.made for entry in found) for table, found in parts.items()}
    values: dict[str, Any] = {"supply": supply.made, **facts, **rows}
    try:
        station = Station(**values)
    except ScenarioError as error:
        if error.field == "station":  # a name that stands twice
            labels = " and ".join(entry.label for entry in entries if entry.made.name == error.given)
            raise ScenarioError(f"{labels}: name", error.given, error.expected, error.mend) from None
        owner = next(entry for entry in entries if entry.made.name == error.field.partition(".")[0])
        raise retold(error, type(owner.made), owner.label, owner.written) from None
    try:
        # Where the gas would condense in the main there is no run.
        compressibility(station.gas, station.atmosphere + station.supply.gauge_pressure, station.temperature)
    except ScenarioError as error:
        raise refusal("supply.pressure", supply.written.get("pressure"), error.expected, error.mend) from None
    return station


def _scenario(document: Mapping[str, Any], station: Station, site: Site) -> Scenario:
    run = _once(document, "run")
    scenario: Scenario = build(
        Scenario, {"station": station, "demands": (), **read_values(single_keys("run"), run, "run", site)}, "run", run
    )
    for table, (field, kind) in HAPPENINGS.items():
        entries = _many(document, table, kind, site)
        made = tuple(entry.made for entry in entries)
        if table == "demand" and not made:
            made = tuple(Demand(0.0, 1.0, load.name) for load in station.loads)
        try:
            scenario = _with(scenario, field, made)
        except ScenarioError:
            raise _first_that_fails(scenario, field, entries) from None
    return scenario


def _with(scenario: Scenario, field: str, made: tuple[Any, ...]) -> Scenario:
    changed: dict[str, Any] = {field: made}
    return replace(scenario, **changed)


def _first_that_fails(scenario: Scenario, field: str, entries: Sequence[Entry]) -> ScenarioError:
    """The error of the first entry that does not fit what stands before it."""
    for count, last in enumerate(entries, start=1):
        try:
            _with(scenario, field, tuple(entry.made for entry in entries[:count]))
        except ScenarioError as error:
            return retold(error, type(last.made), last.label, last.written)
    raise AssertionError("One of the entries does not fit.")


def _limits(document: Mapping[str, Any], station: Station, site: Site) -> StationLimits | None:
    if "limits" not in document:
        return None
    written = _once(document, "limits")
    limits: StationLimits = read_entry(StationLimits, written, "limits", site).made
    volumes = [volume.name for volume in station.volumes]
    if limits.at not in volumes:
        raise ScenarioError(
            "limits.at", limits.at, "one of the volumes " + ", ".join(volumes), checks.near(limits.at, volumes)
        )
    devices = [device.name for device in station.devices]
    for name in limits.inlet_maxima:
        if name not in devices:
            raise ScenarioError(
                "limits.inlet_maxima", name, "one of the devices " + ", ".join(devices), checks.near(name, devices)
            )
    return limits
