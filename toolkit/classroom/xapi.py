"""Answers as statements of the Experience API (xAPI) 1.0.3, a line of JSON each: for a store of learning records.

Every answer handed in becomes a statement, whether it counts or not. The same answer gives the same statement with the
same id whenever it is made, so that a store that has it already takes it once. Learners stand in it by an account of
the course's own, not by a mail address. `xapi_statement.schema.json` says what a statement of ours may hold.
Sources: `xapi-1-0-3`, `adl-vocabulary`.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from datetime import UTC
from importlib import resources
from typing import Any
from urllib.parse import quote
from uuid import NAMESPACE_URL, uuid5

from toolkit.classroom.attempts import Recorded
from toolkit.classroom.gather import Person, clean_name, moment, share
from toolkit.classroom.statistics import RIGHT
from toolkit.quiz.cases import section_of

# A domain that is kept for examples: these are names, nothing is to be found there.
HOME = "https://example.org/guarded-pressure"
# The vocabulary has newer addresses too, and says that the terms that had these keep them. Source: `adl-vocabulary`.
ANSWERED = "http://adlnet.gov/expapi/verbs/answered"
QUESTION = "http://adlnet.gov/expapi/activities/question"
LESSON = "http://adlnet.gov/expapi/activities/lesson"
LANGUAGE = "en"
# Digits after the point of a share of the marks and of seconds.
_DIGITS = 4


def statements(people: Sequence[Person]) -> bytes:
    """All answers of all people, a statement a line, UTF-8."""
    lines = (json.dumps(statement(person, one), ensure_ascii=True) for person in people for one in person.attempts)
    return "".join(f"{line}\n" for line in lines).encode("ascii")


def statement(person: Person, one: Recorded) -> dict[str, Any]:
    """One answer: who answered which question when, with what marks, in how long."""
    attempt = one.attempt
    answered = json.dumps(attempt.answer, sort_keys=True, ensure_ascii=True)
    done = "\n".join((person.name, one.time, attempt.item_key, attempt.item_hash, str(attempt.seed), answered))
    return {
        "id": str(uuid5(NAMESPACE_URL, f"{HOME}/answers/{done}".encode("utf-8", "replace").decode())),
        "timestamp": timestamp(one.time),
        "actor": {
            "objectType": "Agent",
            "name": person.shown,
            "account": {"homePage": f"{HOME}/learners", "name": clean_name(person.name)},
        },
        "verb": {"id": ANSWERED, "display": {LANGUAGE: "answered"}},
        "object": {
            "objectType": "Activity",
            "id": f"{HOME}/questions/{_segment(attempt.item_key)}",
            "definition": {
                "type": QUESTION,
                "name": {LANGUAGE: attempt.item_key},
                "description": {LANGUAGE: attempt.objective},
            },
        },
        "result": {
            "score": {
                "scaled": round(share(one), _DIGITS),
                # rounding may have put the marks a hair past either end
                "raw": min(max(attempt.score, 0.0), attempt.maximum),
                "min": 0,
                "max": attempt.maximum,
            },
            "success": share(one) >= RIGHT,
            "response": attempt.answer if isinstance(attempt.answer, str) else answered,
            "duration": f"PT{_plain(max(0.0, attempt.seconds))}S",
        },
        "context": {
            "platform": "Guarded pressure",
            "language": LANGUAGE,
            "contextActivities": {
                "parent": [
                    {
                        "objectType": "Activity",
                        "id": f"{HOME}/lessons/{_segment(attempt.lesson)}",
                        "definition": {"type": LESSON, "name": {LANGUAGE: attempt.lesson}},
                    }
                ]
            },
            "extensions": {
                f"{HOME}/extensions/seed": attempt.seed,
                f"{HOME}/extensions/item-hash": attempt.item_hash,
                f"{HOME}/extensions/section": section_of(attempt.item_key),
                f"{HOME}/extensions/course-version": attempt.course_version,
                f"{HOME}/extensions/row-hash": one.hash,
            },
        },
    }


def schema() -> dict[str, Any]:
    """What a statement of ours may hold, as JSON Schema (draft 2020-12)."""
    file = resources.files("toolkit") / "classroom" / "xapi_statement.schema.json"
    found: dict[str, Any] = json.loads(file.read_bytes().decode("utf-8"))
    return found


def timestamp(time: str) -> str:
    """A time of the record in UTC, in the form of RFC 3339 with thousandths."""
    found = moment(time)
    try:
        found = found.astimezone(UTC)
    except OverflowError:  # the first or last day that there is
        found = found.replace(tzinfo=UTC)
    return found.strftime("%Y-%m-%dT%H:%M:%S").rjust(19, "0") + f".{found.microsecond // 1000:03}Z"


def _segment(text: str) -> str:
    """A text as one part of an address."""
    return quote(text.encode("utf-8", "replace"), safe="") or "none"


def _plain(number: float) -> str:
    """A number without an exponent, which a duration has not."""
    return re.sub(r"\.?0+$", "", f"{number:.{_DIGITS}f}") or "0"
