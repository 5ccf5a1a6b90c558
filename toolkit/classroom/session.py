"""A class evening as a file that a person wrote: what is asked, in which numbers, when, and what counts as enough.

A session file is TOML; `sessions/first_evening.toml` is one, with each key explained.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from hashlib import sha256
from importlib import resources
from typing import Any, Literal
from unicodedata import normalize

from toolkit import checks
from toolkit.errors import ScenarioError
from toolkit.quiz.cases import LESSONS, items_of
from toolkit.quiz.items import SECTIONS, Item
from toolkit.station_file import LONGEST_LINE, MOST_CHARACTERS, shipped_stations
from toolkit.station_values import LONGEST_TEXT, refusal

SeedKind = Literal["same", "each", "own"]
SEED_KINDS: dict[SeedKind, str] = {
    "same": "everybody gets the same numbers, those of the seed",
    "each": "each learner gets numbers of their own, from a seed worked out of the session's seed and the name",
    "own": "everybody takes the numbers that the course draws; any counts",
}
LARGEST_SEED = 2**31 - 1
MOST_LEARNERS, MOST_TASKS = 200, 20
# A day of the class goes on as long as it is that day anywhere: the record's times are UTC, the class's are its own.
_BEFORE, _AFTER = timedelta(hours=14), timedelta(hours=12)
TABLES: dict[str, tuple[str, ...]] = {
    "session": (
        *("title", "about", "station", "lessons", "covered_tasks", "instructor", "opens", "closes", "learners"),
    ),
    "seed": ("kind", "number"),
    "pass_marks": tuple(section.replace(" ", "_") for section in SECTIONS),
}


@dataclass(frozen=True)
class Session:
    """A class evening.

    `lessons` are two digits each; `pass_marks` gives the share of the marks, 0 to 1, that is enough in each section;
    `seed` is None where `seed_kind` is "own". `covered_tasks` are numbers and names from the operator's own list.
    A day counts from `opens` to `closes`, ends included; None sets no end. `learners` may be empty.
    """

    title: str
    about: str
    station: str
    lessons: tuple[str, ...]
    covered_tasks: tuple[str, ...]
    instructor: str
    opens: date | None
    closes: date | None
    learners: tuple[str, ...]
    seed_kind: SeedKind
    seed: int | None
    pass_marks: Mapping[str, float]

    @property
    def items(self) -> tuple[Item, ...]:
        """What is asked, lesson by lesson."""
        return tuple(item for lesson in self.lessons for item in items_of(lesson))

    @property
    def days(self) -> str:
        """The days that count, in words."""
        if self.opens == self.closes:
            return f"{self.opens}" if self.opens else "any"
        if self.opens and self.closes:
            return f"{self.opens} to {self.closes}"
        return f"from {self.opens} on" if self.opens else f"to {self.closes}"

    def seed_of(self, learner: str) -> int | None:
        """The seed of a learner's numbers; None where any will do.

        For "each" it is made of the first four bytes of SHA-256 over the session's seed, a line's end and the name in
        `folded` form, as a number, halved to fit 31 bits: the same name gives the same seed on any machine.
        """
        if self.seed_kind != "each":
            return self.seed
        return int.from_bytes(sha256(f"{self.seed}\n{folded(learner)}".encode()).digest()[:4], "big") >> 1

    def holds_at(self, time: str) -> bool:
        """Whether an answer of that time (ISO 8601, UTC) fell on a day of the session."""
        moment = datetime.fromisoformat(time)
        if moment.tzinfo is None:
            moment = moment.replace(tzinfo=UTC)
        begun = self.opens is None or moment >= _midnight(self.opens) - _BEFORE
        return begun and (self.closes is None or moment < _midnight(self.closes) + timedelta(days=1) + _AFTER)


def _midnight(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, tzinfo=UTC)


def folded(name: str) -> str:
    """A name without what two typings of it differ in: capitals, spaces, forms of the same letter."""
    return " ".join(normalize("NFKC", name.encode("utf-8", "replace").decode()).casefold().split())


def session_of(text: str) -> Session:
    """The session that a TOML text describes. Raises ScenarioError, and nothing else; its `field` is table and key."""
    document = _parsed(text)
    for table, written in document.items():
        if table not in TABLES:
            raise refusal(table, written, "a table of a session", checks.near(table, TABLES))
        if not isinstance(written, dict):
            raise refusal(table, written, f"a table [{table}]", f"Write [{table}] in single brackets, once.")
        for key in written:
            if key not in TABLES[table]:
                raise refusal(f"{table}.{key}", written[key], "a key of this table", checks.near(key, TABLES[table]))
    about, seed, marks = (document.get(table, {}) for table in TABLES)
    title, words, station = _text(about, "title"), _text(about, "about", must=False), _station(about)
    lessons = _lessons(about)
    tasks = _texts(about, "covered_tasks", MOST_TASKS, 'such as ["CT-07 Inspect a service regulator"]')
    instructor, opens, closes = _text(about, "instructor"), _day(about, "opens"), _day(about, "closes")
    if opens and closes and closes < opens:
        raise refusal("session.closes", str(closes), f"{opens} or a later day", "Exchange the two, or mend the year.")
    learners = _learners(about)
    kind, number = _seed(seed)
    pass_marks = _marks(marks, lessons)
    return Session(title, words, station, lessons, tasks, instructor, opens, closes, learners, kind, number, pass_marks)


def session_toml(session: Session) -> str:
    """The text of a session's file: `session_of` makes the same session of it again."""
    return toml_of(document_of(session))


def document_of(session: Session) -> dict[str, dict[str, Any]]:
    """A session as its file's tables, keys and values; pass marks in per cent."""
    return {
        "session": {key: getattr(session, key) for key in TABLES["session"]},
        "seed": {"kind": session.seed_kind, "number": session.seed},
        "pass_marks": {
            key: _per_cent(session.pass_marks[section])
            for section, key in zip(SECTIONS, TABLES["pass_marks"], strict=True)
            if section in session.pass_marks
        },
    }


def toml_of(document: Mapping[str, Mapping[str, object]]) -> str:
    """Tables as TOML, whether or not they make a session. Values are texts, numbers, days and sequences of texts.

    What is None or has nothing in it is left out.
    """
    tables = []
    for table, values in document.items():
        lines = [f"{key} = {_written(value)}" for key, value in values.items() if value not in (None, "", ())]
        tables.append("\n".join([f"[{table}]", *lines]) + "\n")
    return "\n".join(tables)


@lru_cache(maxsize=1)
def shipped_sessions() -> tuple[str, ...]:
    """The names of the sessions that come with the course."""
    names = (file.name for file in (resources.files("toolkit") / "classroom" / "sessions").iterdir())
    return tuple(sorted(name.removesuffix(".toml") for name in names if name.endswith(".toml")))


def shipped_session(name: str) -> str:
    """The text of a session that comes with the course, by one of the names of `shipped_sessions`."""
    return (resources.files("toolkit") / "classroom" / "sessions" / f"{name}.toml").read_bytes().decode("utf-8")


# The text


def _written(value: object) -> str:
    if isinstance(value, str):
        # Half a pair is no sign at all.
        return '"' + "".join(map(_sign, value.encode("utf-8", "replace").decode("utf-8"))) + '"'
    if isinstance(value, Sequence):
        # A line each, since a line may not be too long.
        return "[\n" + "".join(f"  {_written(one)},\n" for one in value) + "]"
    return str(value)


def _sign(sign: str) -> str:
    """A sign inside quotes; one that is not seen goes by its number."""
    if sign in '"\\':
        return "\\" + sign
    return sign if sign.isprintable() else f"\\U{ord(sign):08X}"


def _per_cent(share: float) -> float:
    """The number that was written for a share: a hundred times it, and the round one where that gives it back too."""
    times = 100.0 * share
    found = round(times, 6) if round(times, 6) / 100.0 == share else times
    return int(found) if found.is_integer() else found


def _parsed(text: str) -> dict[str, Any]:
    if len(text) > MOST_CHARACTERS:
        raise refusal("file", f"{len(text):,} characters", f"at most {MOST_CHARACTERS:,}", "Give a session file.")
    for number, line in enumerate(text.splitlines(), start=1):
        if len(line) > LONGEST_LINE:
            raise refusal(f"line {number}", f"{len(line):,} characters", f"at most {LONGEST_LINE:,}", "Break the line.")
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        place = re.search(r"\(at line (\d+)", str(error))
        words = re.sub(r" \(at .*", "", str(error))[:80]
        where = f"line {place[1]}" if place else "file"
        mend = "Check the quotes and brackets of this line and of the one before; a date is written 2026-12-01."
        raise refusal(where, words, "a line of TOML", mend) from None
    except (RecursionError, ValueError, OverflowError):
        raise refusal("file", "a value", "values that can be read", "Check long numbers, dates and brackets.") from None
    if not document:
        raise refusal("file", None, "a session in TOML", "Begin with [session], [seed] and [pass_marks].")
    return document


# Keys


def _text(table: Mapping[str, Any], key: str, *, must: bool = True) -> str:
    if key not in table and not must:
        return ""
    return _checked(f"session.{key}", table.get(key))


def _checked(field: str, given: object) -> str:
    """A line of text that can be printed."""
    fits = isinstance(given, str) and given.strip() and len(given) <= LONGEST_TEXT and given.isprintable()
    if not fits:
        expected = f"a line of text of 1 to {LONGEST_TEXT} signs"
        raise refusal(field, given, expected, 'Write it in quotes, on one line, as in title = "First evening".')
    return str(given).strip()


def _texts(table: Mapping[str, Any], key: str, most: int, example: str) -> tuple[str, ...]:
    """A list of one or more texts, no two alike."""
    given = table.get(key)
    field = f"session.{key}"
    if not isinstance(given, list) or not given:
        raise refusal(field, given, "a list of texts", f"Write it in square brackets, {example}.")
    if len(given) > most:
        raise refusal(field, f"{len(given):,} of them", f"at most {most}", "Leave some out, or make two sessions.")
    found = tuple(_checked(f"{field}, number {number}", one) for number, one in enumerate(given, 1))
    twice = next((one for one in found if [folded(other) for other in found].count(folded(one)) > 1), None)
    if twice is not None:
        raise refusal(field, twice, "each once", "Leave one of the two out, or tell them apart.")
    return found


def _learners(table: Mapping[str, Any]) -> tuple[str, ...]:
    if "learners" not in table:
        return ()
    return _texts(table, "learners", MOST_LEARNERS, 'such as ["first name", "second name"], or leave the key out')


def _lessons(table: Mapping[str, Any]) -> tuple[str, ...]:
    found = _texts(table, "lessons", len(LESSONS), 'such as ["02", "03"]')
    for lesson in found:
        try:
            items_of(lesson)
        except ScenarioError as error:
            raise refusal("session.lessons", lesson, error.expected, "Give two digits in quotes.") from None
    return found


def _station(table: Mapping[str, Any]) -> str:
    given = table.get("station")
    if not isinstance(given, str) or given not in shipped_stations():
        expected = "one of " + ", ".join(shipped_stations())
        raise refusal("session.station", given, expected, checks.near(given, shipped_stations()))
    return given


def _day(table: Mapping[str, Any], key: str) -> date | None:
    given = table.get(key)
    if given is None:
        return None
    # a time of day is a date too, for Python
    if not isinstance(given, date) or isinstance(given, datetime) or not 2000 <= given.year <= 2999:
        mend = "Write year, month, day, without quotes, or leave it out."
        raise refusal(f"session.{key}", str(given), "a day such as 2026-12-01", mend)
    return given


def _seed(table: Mapping[str, Any]) -> tuple[SeedKind, int | None]:
    given = table.get("kind")
    kinds = [kind for kind in SEED_KINDS if kind == given]
    if not kinds:
        told = "; ".join(f'"{kind}": {words}' for kind, words in SEED_KINDS.items())
        raise refusal("seed.kind", given, "one of " + ", ".join(SEED_KINDS), f"Choose one ({told}).")
    number = table.get("number")
    if kinds[0] == "own":
        if number is not None:
            raise refusal("seed.number", number, "nothing where the kind is own", "Leave the number out.")
        return kinds[0], None
    if not isinstance(number, int) or isinstance(number, bool) or not 0 <= number <= LARGEST_SEED:
        expected = f"a whole number from 0 to {LARGEST_SEED}"
        raise refusal("seed.number", number, expected, "Give one without quotes, such as the date, 20261201.")
    return kinds[0], number


def _marks(table: Mapping[str, Any], lessons: Sequence[str]) -> dict[str, float]:
    asked = {item.section for lesson in lessons for item in items_of(lesson)}
    marks = {}
    for section, key in zip(SECTIONS, TABLES["pass_marks"], strict=True):
        if section not in asked and key not in table:
            continue
        field, mend = f"pass_marks.{key}", "Give the per cent of the marks that are enough, such as 80."
        given = table.get(key)
        if given is None:
            raise refusal(field, given, "a number from 0 to 100, since these lessons ask for it", mend)
        try:
            percent = checks.number(field, given, 0.0, 100.0, "per cent", mend=mend)
        except (ScenarioError, OverflowError):
            raise refusal(field, given, "a number from 0 to 100", mend) from None
        if 0 < percent <= 1:
            # Nobody means one per cent of the marks; a share of them, many do.
            raise refusal(field, given, "per cent, a number from 0 to 100", f"Write {_per_cent(percent):g}.")
        marks[section] = percent / 100.0
    return marks
