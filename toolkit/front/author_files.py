"""All that is wrong with a station, session or case file at once, not only the first thing.

The readers of these files refuse with one error, the first. Here what an error names is taken out of the document, or
put right from a file that comes along, and the rest is read again, until it reads. What only follows from an earlier
error is not told.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from functools import lru_cache
from importlib import resources
from typing import Any

from toolkit.classroom.session import session_of, shipped_session, shipped_sessions
from toolkit.errors import CourseError, ScenarioError
from toolkit.quiz.bank import bank, problems, read_bank, written
from toolkit.simulation import simulate
from toolkit.station_file import read_station, shipped_stations

# More than anybody wants to read at once.
MOST = 200
_FIELD = re.compile(r"(?P<table>\w+)(?: (?P<number>\d+)(?: \([^)]*\))?)?(?:[.:] ?(?P<path>[\w.]+).*)?", re.DOTALL)
_CASE = re.compile(r".*, case (?P<number>\d+) \(.*\)\.(?P<path>[\w.]+)", re.DOTALL)
# What ties one part to another.
_TIES = ("name", "inlet", "outlet", "at", "into", "senses", "tap", "load", "devices", "device")


def station_errors(text: str, name: str) -> list[str]:
    """Sentences, none if the file reads, its run can be finished and nothing in it must be mended."""
    found = _all(text, lambda given: read_station(given, name=name), _Station)
    if found:
        return found
    station = read_station(text, name=name)
    try:
        simulate(station.scenario)
    except CourseError as error:
        return [f"run: {error}"]
    if station.limits is None:
        return []
    from toolkit.judgement import judge  # late: only a sound file is judged

    try:
        return [f"{one.sentence} {one.mend}" for one in judge(station).findings if one.severity == "must"]
    except CourseError as error:
        return [f"judgement: {error}"]


def session_errors(text: str) -> list[str]:
    """Sentences, none if the file reads."""
    return _all(text, session_of, _Session)


def bank_errors(text: str, name: str) -> list[str]:
    """Sentences, none if the file reads and each case is as it was reviewed."""
    found = _all(text, lambda given: read_bank(given, name), _Bank)
    if found:
        return found
    said: list[str] = []
    for one in read_bank(text, name):
        try:
            said += [f"{name}, {wrong}" for wrong in problems(one)]
        except CourseError as error:
            said.append(f"{name}, {error}")
    return said


def toml(value: object) -> str:
    """A value as TOML, tables inline; every entry of a list has a line of its own."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{toml(str(key))} = {toml(one)}" for key, one in value.items()) + "}"
    if isinstance(value, list):
        return "[" + "".join(f"\n{toml(one)}," for one in value) + "\n]"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return str(value)


class _Document:
    """A document from which what is wrong is taken out, thing by thing."""

    def __init__(self, content: dict[str, Any]) -> None:
        self.content = content
        self.seen: set[tuple[str, ...]] = set()

    def text(self) -> str:
        return "".join(f"{toml(table)} = {toml(one)}\n" for table, one in self.content.items())

    def take(self, error: ScenarioError) -> tuple[bool, bool, str]:
        """Take out what an error names: whether it is news, whether reading can go on, its field as first written."""
        raise NotImplementedError


def _all(text: str, read: Callable[[str], object], kind: type[_Document]) -> list[str]:
    """Every error of a text, as sentences."""
    try:
        read(text)
        return []
    except ScenarioError as error:
        first = error
    try:
        document = kind(tomllib.loads(text))
    except (tomllib.TOMLDecodeError, RecursionError, ValueError):
        return [f"{first} The rest is read once this is mended."]
    said: list[str] = []
    goes_on = True
    for _ in range(MOST):
        try:
            read(document.text())
            break
        except ScenarioError as error:
            news, goes_on, field = document.take(error)
            if news:
                said.append(str(ScenarioError(field, error.given, error.expected, error.mend)))
        if not goes_on:
            said.append("The rest is read once this is mended.")
            break
    return said or [str(first)]


class _Station(_Document):
    """Parts are numbered as the file has them, also where one before was taken out."""

    def __init__(self, content: dict[str, Any]) -> None:
        super().__init__(content)
        self.numbers = {
            table: list(range(1, len(found) + 1)) for table, found in content.items() if isinstance(found, list)
        }
        self.gone: set[str] = set()
        # Keys that a misspelt one was meant to be.
        self.meant: set[tuple[str, ...]] = set()

    def take(self, error: ScenarioError) -> tuple[bool, bool, str]:
        field = error.field
        if " and " in field:  # a name that stands twice: the second goes
            first, _, second = field.partition(" and ")
            found = _FIELD.fullmatch(second)
            if found is None or not self._drop(found["table"], int(found["number"] or 0)):
                return True, False, field
            return True, True, f"{self._named(first)} and {self._named(second)}"
        found = _FIELD.fullmatch(field)
        if found is None or found["table"] not in self.content:
            return self._lacks_table(field)
        table, number, path = found["table"], int(found["number"] or 0), found["path"] or ""
        keys = path.split(".") if path else []
        if number:
            entries, numbers = self.content[table], self.numbers[table]
            entry, place = entries[number - 1], str(numbers[number - 1])
        else:
            entry, place = self.content[table], ""
        news = not ({*_names(_at(entry, keys))} & self.gone) and (table, place, path) not in self.seen
        before = (table, place, path) in self.seen
        news = news and not (error.given == "nothing" and (table, place, path) in self.meant)
        if meant := re.search(r"Did you mean '(\w+)'", error.mend):
            self.meant.add((table, place, ".".join([*keys[:-1], meant[1]])))
        self.seen.add((table, place, path))
        shown = self._named(field)
        if not isinstance(entry, dict) or not keys:
            return news, self._drop(table, number), shown
        if not before and path == "name" and isinstance(entry.get("name"), str):
            # What the others most likely call it.
            entry["name"] = re.sub(r"[^A-Za-z0-9]+", "_", entry["name"])
            return news, True, shown
        if not before and _delete(entry, keys):
            return news, True, shown
        good = _good().get((table, *keys))
        if (
            good is not None
            and _at(entry, keys) != good
            and not self._ties(keys[-1], number)
            and _put(entry, keys, good)
        ):
            return news, True, shown
        return news, self._drop(table, number), shown

    def _lacks_table(self, field: str) -> tuple[bool, bool, str]:
        """A table that is not there although it must be: one that comes along stands in for it."""
        news = (field,) not in self.seen
        self.seen.add((field,))
        if news and field in ("station", "supply"):
            whole = {key: one for (table, key, *more), one in _good().items() if table == field and not more}
            self.content[field] = whole
            self.gone.update(one for key in _TIES for one in _names(whole.get(key)))
            return True, True, field
        return news, False, field

    def _ties(self, key: str, number: int) -> bool:
        """Whether a key ties its part to others, so that no other file's value can stand in for it."""
        return key in _TIES or (key == "kind" and number > 0)

    def _named(self, field: str) -> str:
        """A field with the number that the part has in the file."""
        found = re.match(r"(\w+) (\d+)", field)
        if found is None or found[1] not in self.numbers or int(found[2]) > len(self.numbers[found[1]]):
            return field
        return f"{found[1]} {self.numbers[found[1]][int(found[2]) - 1]}{field[found.end() :]}"

    def _drop(self, table: str, number: int) -> bool:
        """Leave a part or table out; what names it is then no news."""
        if not number:
            return table not in ("station", "supply") and self.content.pop(table, None) is not None
        entry = self.content[table].pop(number - 1)
        self.numbers[table].pop(number - 1)
        if isinstance(entry, dict) and isinstance(entry.get("name"), str):
            self.gone.add(entry["name"])
        return True


class _Session(_Document):
    def take(self, error: ScenarioError) -> tuple[bool, bool, str]:
        table, _, key = error.field.partition(".")
        key = key.partition(",")[0]
        good = tomllib.loads(shipped_session(shipped_sessions()[0]))
        if table not in good:
            return True, self.content.pop(table, None) is not None, error.field
        if not isinstance(self.content.get(table, {}), dict) or not key:
            self.content[table] = good[table]
        elif key not in good[table] and key in self.content[table]:
            del self.content[table][key]
        else:
            if (table, key) in self.seen or key not in good[table]:
                return (table, key) not in self.seen, False, error.field
            self.content.setdefault(table, {})[key] = good[table][key]
        self.seen.add((table, key))
        return True, True, error.field


class _Bank(_Document):
    def take(self, error: ScenarioError) -> tuple[bool, bool, str]:
        found = _CASE.fullmatch(error.field)
        cases = self.content.get("case")
        if found is None or not isinstance(cases, list):
            twice = [one for one in cases or () if isinstance(one, dict) and one.get("key") == error.given]
            if error.field.endswith(", key") and twice:
                twice[-1]["key"] = f"{error.given}, once more {len(self.seen)}"
                self.seen.add((str(error.given),))
                return True, True, error.field
            return True, False, error.field
        case, keys = cases[int(found["number"]) - 1], found["path"].split(".")
        (good,) = tomllib.loads(written(bank()[:1]))["case"]
        here = (found["number"], *keys)
        if here in self.seen:
            return False, False, error.field
        self.seen.add(here)
        if len(keys) > 1 or keys[0] not in good:
            return True, _delete(case, keys), error.field
        case[keys[0]] = f"{case.get('key', 'a case')} {found['number']}" if keys[0] == "key" else good[keys[0]]
        return True, True, error.field


@lru_cache(maxsize=1)
def _good() -> Mapping[tuple[str, ...], object]:
    """Values of the shipped stations by table and key."""
    found: dict[tuple[str, ...], object] = {}
    for name in shipped_stations():
        file = resources.files("toolkit") / "stations" / f"{name}.toml"
        for table, one in tomllib.loads(file.read_bytes().decode("utf-8")).items():
            for entry in one if isinstance(one, list) else [one]:
                for keys, value in _flat(entry):
                    found.setdefault((table, *keys), value)
    return found


def _flat(entry: Mapping[str, Any]) -> Iterator[tuple[tuple[str, ...], object]]:
    for key, value in entry.items():
        if isinstance(value, dict):
            yield from (((key, *keys), one) for keys, one in _flat(value))
        else:
            yield (key,), value


def _at(entry: Any, keys: list[str]) -> object:
    """What stands at a path of keys; None if nothing does."""
    for key in keys:
        entry = entry.get(key) if isinstance(entry, dict) else None
    return entry


def _delete(entry: dict[str, Any], keys: list[str]) -> bool:
    """Take out what stands at a path of keys; whether there was something."""
    inner = _at(entry, keys[:-1])
    return isinstance(inner, dict) and inner.pop(keys[-1], None) is not None


def _put(entry: dict[str, Any], keys: list[str], value: object) -> bool:
    inner = _at(entry, keys[:-1])
    if isinstance(inner, dict):
        inner[keys[-1]] = value
    return isinstance(inner, dict)


def _names(value: object) -> Iterator[str]:
    """The names in a value: itself, or those of a list or of a table's keys."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, list | dict):
        yield from (one for one in value if isinstance(one, str))
