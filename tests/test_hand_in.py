"""The file a learner hands in: small, readable, checkable by itself, and refused in clear words when it is not one."""

from __future__ import annotations

import copy
import json
import re
from base64 import b64decode
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from test_chain import attempt, filled, form_1

from toolkit.classroom import hand_in as module
from toolkit.classroom.attempts import Recorded
from toolkit.classroom.chain import START, chained
from toolkit.classroom.hand_in import MOST_BYTES, HandIn, file_name, hand_in, packed, unpacked, verdict
from toolkit.classroom.record import Record
from toolkit.errors import RecordError
from toolkit.panels.progress import Progress

MADE = "2026-03-09T10:00:00.000+00:00"


def handed(learner: str = "Robin", count: int = 3) -> HandIn:
    """A hand-in out of a record in which another one's answers stand between."""
    rows = (
        Recorded(number, f"2026-03-0{number % 9 + 1}T08:00:00.000+00:00", attempt((learner, "Kim")[number % 2], number))
        for number in range(2 * count)
    )
    return hand_in(learner, "0.1.0", MADE, chained(replace(one, id=one.id + 1) for one in rows))


# What comes back


def test_it_comes_back_as_it_went_and_its_chain_can_be_checked_alone() -> None:
    one = handed()
    assert [row.id for row in one.attempts] == [1, 3, 5]
    again = unpacked(packed(one), "file")
    assert again == one
    found = verdict(again)
    assert (found.holds, found.rows, again.head) == (True, 3, one.attempts[-1].hash)
    assert b"Kim" not in packed(one)


def test_a_record_without_answers_of_that_name_gives_an_empty_one() -> None:
    one = hand_in("Robin", "0.1.0", MADE, ())
    assert (one.attempts, one.head) == ((), START)
    assert unpacked(packed(one), "file") == one
    assert verdict(one).holds


def test_out_of_a_record_of_the_older_form(tmp_path: Path) -> None:
    record = form_1(tmp_path)
    one = hand_in("Kim", "0.1.0", MADE, record.attempts(), record.events())
    found = verdict(unpacked(packed(one), "file"))
    assert (found.holds, found.chained_later, found.rows) == (True, 6, 3)
    assert not verdict(replace(one, events=())).holds  # that they were chained later cannot be left out


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=8,
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    learner=st.text(max_size=60),
    answers=st.lists(json_values, max_size=4),
    numbers=st.tuples(st.floats(0, 1), st.floats(1, 1e300), st.floats(allow_nan=False, allow_infinity=False)),
)
@example("=cmd|' /C calc'!A0", ['}, {"id": 1', {"id": 1}], (0.1, 0.3, -0.0))
@example("\ud800\0<script>", [[{"id": [{"id": 2}]}], "\ud83d\ude00"], (1 / 3, 1.0, 5e-324))  # fmt: skip
def test_any_name_and_answer_comes_back_through_the_record(
    tmp_path_factory: pytest.TempPathFactory, learner: str, answers: list[object], numbers: tuple[float, float, float]
) -> None:
    record = Record(tmp_path_factory.mktemp("any"))
    kept = learner
    for answer in answers:
        score, maximum, seconds = numbers
        record.append(attempt(learner, answer=answer, score=min(score, maximum), maximum=maximum, seconds=seconds))
        kept = record.attempts()[-1].attempt.learner
    one = hand_in(kept, "0.1.0", MADE, record.attempts(), record.events())
    if not answers and kept != kept.encode("utf-8", "replace").decode():
        return  # a name that no record holds
    again = unpacked(packed(one), "file")
    assert again == one
    assert verdict(again).holds
    assert len(again.attempts) == len(answers)


# What shows


@settings(max_examples=300, deadline=None)
@given(data=st.data())
def test_whatever_is_changed_in_the_file_is_refused_or_shows(data: st.DataObject) -> None:
    """One value anywhere is replaced, or one entry or row taken out: no other error, and no file that still holds."""
    whole = json.loads(packed(handed()))
    spoiled = copy.deepcopy(whole)
    place: Any = spoiled
    while True:
        keys = list(place) if isinstance(place, dict) else list(range(len(place)))
        key = data.draw(st.sampled_from(keys))
        if not (isinstance(place[key], dict | list) and place[key] and data.draw(st.booleans())):
            break
        place = place[key]
    if data.draw(st.booleans()):
        place[key] = data.draw(json_values)
    else:
        del place[key]
    try:
        found = unpacked(json.dumps(spoiled).encode(), "file")
    except RecordError:
        return
    same = json.loads(packed(found)) == whole
    assert verdict(found).holds == same


@settings(max_examples=150, deadline=None)
@given(place=st.integers(0, 10_000), byte=st.integers(0, 255))
def test_a_changed_byte_is_refused_or_shows(place: int, byte: int) -> None:
    data = bytearray(packed(handed()))
    data[place % len(data)] = byte
    try:
        found = unpacked(bytes(data), "file")
    except RecordError:
        return
    assert verdict(found).holds == (found == handed())


@given(st.binary(max_size=400))
def test_any_bytes_are_refused_in_words(data: bytes) -> None:
    with pytest.raises(RecordError, match=r"^file: "):
        unpacked(data, "file")


def test_rows_of_another_name_and_a_cut_end_show() -> None:
    one = handed()
    assert not verdict(replace(one, learner="Kim")).holds
    assert not verdict(replace(one, attempts=one.attempts[:-1])).holds  # unless its head and seal are made anew
    assert not verdict(replace(one, made="2026-03-08T10:00:00.000+00:00")).holds
    renamed = json.loads(packed(one)) | {"learner": "Kim"}
    assert verdict(unpacked(json.dumps(renamed).encode(), "file")).unfit == (1, 3, 5)


# What is refused, and in which words

GOOD = json.loads(packed(handed()))


def changed(**changes: object) -> bytes:
    return json.dumps(GOOD | changes).encode()


def row(**changes: object) -> bytes:
    return changed(attempts=[GOOD["attempts"][0] | changes])


REFUSED = {
    "no text": (b"\xff\xfe\x00", "no text in UTF-8"),
    "no json": (b'{"what": "guarded-pressure hand-in",\n oops', "stops making sense in line 2"),
    "cut off": (packed(handed())[:-40], "stops making sense"),
    "empty": (b"", "stops making sense in line 1"),
    "foreign": (b'{"roses": "red"}', "something else than a file made by Hand in"),
    "a list": (b"[]", "something else"),
    "newer": (changed(form=2, moods=[]), "newer version of the course"),
    "missing": (json.dumps({k: v for k, v in GOOD.items() if k != "made"}).encode(), "made is missing"),
    "besides": (changed(extra=1), "'extra' was given"),
    "NaN": (packed(handed()).replace(b'"score": 0.5', b'"score": NaN', 1), "NaN is no number"),
    "endless": (packed(handed()).replace(b'"score": 0.5', b'"score": 1e999', 1), "no number that can be reckoned with"),
    "deep": (packed(handed()).replace(b'"20 psia"', b"[" * 100_000 + b"]" * 100_000, 1), "cannot be used"),
    "deep enough": (row(answer=json.loads("[" * 21 + "]" * 21)), "the answer is too long"),
    "long whole number": (packed(handed()).replace(b'"seed": 0', b'"seed": ' + b"9" * 5000, 1), "cannot be used"),
    "large whole number": (row(seed=2**63), "seed: 9223372036854775808 was given, a whole number was expected"),
    "wrong kind": (row(score="full"), r"attempts, the 1\. of 1: score: 'full' was given, a number was expected"),
    "true for one": (row(id=True), "id: True was given, a whole number was expected"),
    "order": (changed(attempts=GOOD["attempts"][::-1]), "one above 5 was expected"),
    "too good": (row(score=2.0), "from 0 to the maximum"),
    "out of nothing": (row(maximum=0.0), "a maximum above 0"),
    "time": (row(time="noon"), "a time in ISO 8601 was expected"),
    "made": (changed(made="yesterday"), "made: 'yesterday' was given, a time in ISO 8601"),
    "a row that is none": (changed(attempts=[7]), "a group of named entries was expected"),
    "rows that are none": (changed(attempts={}), "attempts: a group of named entries was given, a list was expected"),
}


@pytest.mark.parametrize("wrong", REFUSED)
def test_what_is_wrong_is_named(wrong: str) -> None:
    data, words = REFUSED[wrong]
    with pytest.raises(RecordError, match=words) as caught:
        unpacked(data, "robin.json")
    assert str(caught.value).startswith("robin.json: ")
    assert len(str(caught.value)) < 400


def test_too_large_is_refused_before_it_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(RecordError, match=r"20,000,001 bytes were given, at most 20,000,000"):
        unpacked(b" " * (MOST_BYTES + 1), "file")
    monkeypatch.setattr(module, "MOST_BYTES", 1000)
    with pytest.raises(RecordError, match="course backup"):
        packed(handed())


@pytest.mark.parametrize("name", ["a\nb\x1b[2J.json", "", "x" * 500])
def test_the_name_of_a_file_cannot_break_the_words(name: str) -> None:
    with pytest.raises(RecordError) as caught:
        unpacked(b"", name)
    assert str(caught.value).isprintable()
    assert len(str(caught.value)) < 300


def test_a_byte_order_mark_does_no_harm() -> None:
    assert unpacked(b"\xef\xbb\xbf" + packed(handed()), "file") == handed()


# The name of the file


@given(st.text())
@example("../../etc/passwd")
@example("CON")
@example("a" * 5000)
@example("\u202egnp.exe")
@example("nul.txt. ")
def test_every_system_takes_the_name(learner: str) -> None:
    name = file_name(learner, MADE)
    assert re.fullmatch(r"hand-in_([a-z0-9][a-z0-9-]*_)?[0-9a-f]{6}_2026-03-09\.json", name)
    assert len(name) <= 80


def test_names_read_as_names_and_stay_apart() -> None:
    assert file_name("Robin Ålund", MADE).startswith("hand-in_robin-alund_")
    assert len({file_name(name, MADE) for name in ("Robin", "robin", "Robin ", "李", "王", "")}) == 6
    with pytest.raises(RecordError, match="ISO 8601"):
        file_name("Robin", "yesterday")


# The button


def offered(page: Progress) -> tuple[ElementTree.Element, str]:
    page.hand_in_button.click()
    box = ElementTree.fromstring(page.handed.value)
    link = box.find("./p/a")
    assert link is not None
    return link, "".join(box.itertext())


def test_the_button_makes_the_file_that_the_link_saves(tmp_path: Path) -> None:
    record = filled(tmp_path)
    record.append(attempt(""))
    record.set_learner("Kim")
    page = Progress(record)
    assert page.handed.value == ""
    link, words = offered(page)
    kind, data = link.attrib["href"].split(",", 1)
    assert kind == "data:application/json;base64"
    one = unpacked(b64decode(data), link.attrib["download"])
    assert (one.learner, one.attempts) == ("Kim", record.attempts("Kim"))
    assert link.text == f"Save {link.attrib['download']}"
    assert "4 answers of Kim" in words
    assert "1 answer given before a name was kept is not in it" in words
    assert "The chain holds over 4 answers." in words
    assert "What does not show" in words


def test_the_button_takes_what_was_answered_since(tmp_path: Path) -> None:
    record = filled(tmp_path)
    record.set_learner("Kim")
    page = Progress(record)
    offered(page)
    record.append(attempt("Kim"))
    assert "5 answers of Kim" in offered(page)[1]


def test_the_button_says_what_is_missing(tmp_path: Path) -> None:
    record = Record(tmp_path)
    page = Progress(record)
    page.hand_in()
    assert "type it above and press Keep name and units" in page.handed.value
    record.set_learner("<b>Robin</b>")
    page.hand_in()
    assert "Nothing is recorded under the name &lt;b&gt;Robin&lt;/b&gt; yet" in page.handed.value
    record.path.write_bytes(b"no database" * 100)
    page.hand_in()
    assert 'role="alert"' in page.handed.value
    assert "is damaged" in page.handed.value


def test_a_name_that_would_be_markup_is_shown_as_a_name(tmp_path: Path) -> None:
    record = Record(tmp_path)
    name = '"><script>alert(1)</script>'
    record.set_learner(name)
    record.append(attempt(name))
    link, words = offered(Progress(record))
    assert name in words
    assert link.attrib["download"].startswith("hand-in_script-alert-1-script_")
