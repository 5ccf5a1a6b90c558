"""What a learner hands in: the attempts under one name out of one record, as a small file that can be read and checked.

The file is JSON, UTF-8, for a person to look into and for the instructor's course to read. It holds the rows as the
record has them, each with its hash and that of the row before it, so that the chain can be walked without the record.
The name stands once: it is under the hash of every row, so that a file given another name does not fit its chain.
"""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from hashlib import sha256
from math import isfinite
from typing import Any, NoReturn

from toolkit.classroom import chain
from toolkit.classroom.attempts import LARGEST_WHOLE, Attempt, Recorded, checked, checked_time, clean_text
from toolkit.errors import RecordError

WHAT = "guarded-pressure hand-in"
FORM = 1
MOST_BYTES = 20_000_000
LONGEST_SLUG = 40

_TOP: dict[str, type] = {
    "what": str,
    "form": int,
    "learner": str,
    "course_version": str,
    "made": datetime,
    "head": str,
    "seal": str,
    "events": list,
    "attempts": list,
}
_ROW: dict[str, type] = {
    "id": int,
    "time": datetime,
    "course_version": str,
    "lesson": str,
    "item_key": str,
    "item_hash": str,
    "objective": str,
    "seed": int,
    "answer": object,
    "score": float,
    "maximum": float,
    "seconds": float,
    "previous": str,
    "hash": str,
}
_EVENT: dict[str, type] = {
    "id": int,
    "time": datetime,
    "kind": str,
    "last": int,
    "lost": list,
    "previous": str,
    "hash": str,
}
_KINDS: dict[type, str] = {
    str: "text",
    int: "a whole number",
    float: "a number",
    datetime: "a time in ISO 8601",
    list: "a list",
    dict: "a group of named entries",
}
# Entries of a row that the record adds to an attempt.
_OWN = ("id", "time", "previous", "hash")


@dataclass(frozen=True)
class HandIn:
    """One learner's attempts, ready to be handed in.

    `course_version` and `made` (UTC, ISO 8601) are those of the making; `head` is the last row's hash; `events` tell
    what happened to the record as a whole; `seal` is a hash over all but the rows, which have theirs.
    """

    learner: str
    course_version: str
    made: str
    attempts: tuple[Recorded, ...]
    head: str
    form: int = FORM
    events: tuple[chain.Event, ...] = ()
    seal: str = ""


def hand_in(
    learner: str,
    course_version: str,
    made: str,
    recorded: Sequence[Recorded],
    events: Sequence[chain.Event] = (),
) -> HandIn:
    """The rows of `recorded` that stand under this name, as a hand-in."""
    mine = tuple(one for one in recorded if one.attempt.learner == learner)
    made_up = HandIn(learner, course_version, made, mine, mine[-1].hash if mine else chain.START, FORM, tuple(events))
    return replace(made_up, seal=_seal(made_up))


def verdict(handed: HandIn) -> chain.Verdict:
    """Check the chain over the rows and what stands around them; `chain.PROVES` says what that is worth."""
    found = chain.verdict(handed.attempts, handed.events, whole=False)
    head = handed.attempts[-1].hash if handed.attempts else chain.START
    if handed.seal != _seal(handed) or handed.head != head:
        changed = "What stands in the file around the rows was changed, or rows at its end were."
        found = replace(found, spoiled=f"{changed} {found.spoiled}".strip())
    if any(one.attempt.learner != handed.learner for one in handed.attempts):
        found = replace(found, spoiled=f"Rows of another name are in it. {found.spoiled}".strip())
    return found


def packed(handed: HandIn) -> bytes:
    """The hand-in as the bytes of its file; RecordError if that would be too large to be read back."""
    data = {
        "what": WHAT,
        "form": handed.form,
        "learner": handed.learner,
        "course_version": handed.course_version,
        "made": handed.made,
        "head": handed.head,
        "seal": handed.seal,
        "events": [{name: getattr(event, name) for name in _EVENT} for event in handed.events],
    }
    # A line a row, so that a person finds the way.
    rows = ",\n".join(json.dumps(_row(one), allow_nan=False) for one in handed.attempts)
    text = json.dumps(data, allow_nan=False)[:-1] + f', "attempts": [\n{rows}\n]}}\n'
    made = text.encode("utf-8")
    if len(made) > MOST_BYTES:
        raise RecordError(
            f"The file to hand in would have {len(made):,} bytes, at most {MOST_BYTES:,} were expected. "
            "Hand in a backup of the record instead: `course backup`."
        )
    return made


def unpacked(data: bytes, name: str) -> HandIn:
    """Read the bytes of a handed-in file; `name` is the file's, for the errors.

    Only the form is checked here: whether the rows fit their chain is told by `verdict`. Raises a RecordError that says
    what is wrong with the file and what to do.
    """
    shown = name if name.isprintable() and 0 < len(name) <= 120 else ascii(name)[:120]

    def refuse(what: str, mend: str = "Ask the learner for the file again.") -> NoReturn:
        raise RecordError(f"{shown}: {what} {mend}")

    if len(data) > MOST_BYTES:
        refuse(f"{len(data):,} bytes were given, at most {MOST_BYTES:,} were expected.")
    try:
        top = json.loads(data.decode("utf-8-sig"), parse_constant=_no_number, parse_float=_finite)
    except UnicodeDecodeError:
        refuse("it is no text in UTF-8, a file made by Hand in was expected.")
    except json.JSONDecodeError as error:
        refuse(f"it stops making sense in line {error.lineno}, a file made by Hand in was expected, as it was saved.")
    except (ValueError, RecursionError) as error:
        refuse(f"a value in it cannot be used ({str(error)[:100]}).")
    if not isinstance(top, dict) or top.get("what") != WHAT:
        refuse("it is something else than a file made by Hand in.", "Look whether the right file was chosen.")
    form = top.get("form")
    if type(form) is int and form > FORM:
        refuse(f"it was made by a newer version of the course (form {form}).", "Read it with the newer version.")
    try:
        return _read(top)
    except RecordError as error:
        refuse(str(error))


def file_name(learner: str, made: str) -> str:
    """A name for the file that every system takes: `hand-in_robin-alund_5f1c0a_2026-03-02.json`.

    Letters that ASCII lacks are replaced or left out; six signs made from the whole name keep two learners apart.
    """
    own = sha256(learner.encode("utf-8", "replace")).hexdigest()[:6]
    return "_".join(filter(None, ("hand-in", slug(learner), own, f"{_moment(made):%Y-%m-%d}"))) + ".json"


def slug(name: str) -> str:
    """What a path may have of a name: small letters, digits and hyphens of ASCII; "" where nothing is left."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode("ascii").lower()
    return "-".join("".join(sign if sign.isalnum() else " " for sign in plain).split())[:LONGEST_SLUG].strip("-")


def _seal(handed: HandIn) -> str:
    around = (handed.form, handed.learner, handed.course_version, handed.made, [one.hash for one in handed.events])
    return chain.link(handed.head, (WHAT, *around))


def _row(one: Recorded) -> dict[str, object]:
    return {name: getattr(one if hasattr(one, name) else one.attempt, name) for name in _ROW}


def _read(top: dict[str, Any]) -> HandIn:
    values = _values(top, _TOP, "")
    attempts, before = [], 0
    for number, given in enumerate(values["attempts"], 1):
        place = f"attempts, the {number}. of {len(values['attempts'])}: "
        row = _values(given, _ROW, place)
        if row["id"] <= before:
            raise RecordError(f"{place}id {row['id']} was given, one above {before} was expected.")
        before = row["id"]
        try:
            attempt = checked(Attempt(values["learner"], **{name: row[name] for name in _ROW if name not in _OWN}))
        except RecordError as error:
            raise RecordError(f"{place}{error}") from None
        attempts.append(Recorded(row["id"], row["time"], attempt, row["previous"], row["hash"]))
    return HandIn(
        learner=values["learner"],
        course_version=values["course_version"],
        made=values["made"],
        attempts=tuple(attempts),
        head=values["head"],
        form=values["form"],
        events=tuple(_event(given, f"events, the {number}.: ") for number, given in enumerate(values["events"], 1)),
        seal=values["seal"],
    )


def _event(given: object, place: str) -> chain.Event:
    values = _values(given, _EVENT, place)
    for ends in values["lost"]:
        if not (isinstance(ends, list) and len(ends) == 2):
            raise RecordError(f"{place}lost: pairs of whole numbers were expected.")
        for end in ends:
            _value(end, int, f"{place}lost")
    return chain.Event(**values | {"lost": tuple((first, end) for first, end in values["lost"])})


def _values(given: object, wanted: dict[str, type], place: str) -> dict[str, Any]:
    """The entries of one group, all of them there, none besides, each of its kind."""
    if not isinstance(given, dict):
        raise RecordError(f"{place}{_KINDS[dict]} was expected.")
    if missing := [name for name in wanted if name not in given]:
        raise RecordError(f"{place}{missing[0]} is missing.")
    if strange := [name for name in given if name not in wanted]:
        raise RecordError(f"{place}{strange[0][:40]!r} was given, which no hand-in has.")
    return {name: _value(given[name], kind, f"{place}{name}") for name, kind in wanted.items()}


def _value(value: Any, kind: type, place: str) -> Any:
    if kind is object:
        return value
    if kind is datetime and isinstance(value, str):
        _moment(value, place)
        return value
    if kind is str and isinstance(value, str):
        return clean_text(value)
    small = type(value) is not int or abs(value) <= LARGEST_WHOLE
    if kind is float and type(value) is int and small:
        return float(value)
    if type(value) is not kind or not small:
        given = _KINDS[type(value)] if isinstance(value, list | dict) else ascii(value)[:60]
        raise RecordError(f"{place}: {given} was given, {_KINDS[kind]} was expected.")
    return value


def _moment(time: str, place: str = "made") -> datetime:
    try:
        return datetime.fromisoformat(checked_time(time))
    except ValueError:
        raise RecordError(f"{place}: {ascii(time)[:60]} was given, a time in ISO 8601 was expected.") from None


def _finite(digits: str) -> float:
    value = float(digits)
    if not isfinite(value):
        raise ValueError(f"{digits[:20]} is no number that can be reckoned with")
    return value


def _no_number(word: str) -> NoReturn:
    raise ValueError(f"{word} is no number")
