"""The look-up page for phones as a file: complete, closed to the world, made by one command."""

from __future__ import annotations

import base64
import hashlib
import json
import re
import subprocess
import sys
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from random import Random
from typing import Any

import numpy as np
import pytest

from toolkit.diagnosis.load_words import NETWORK, PHRASE
from toolkit.diagnosis.look_up import LAYERS, QUESTIONS, kind_of, signs_with, suspects_of
from toolkit.diagnosis.look_up_words import AFTER, CAUTIONS, DEFERS, ENDS, EXPLAINED, STANDS
from toolkit.diagnosis.next_check import CHECKS, STOPS
from toolkit.diagnosis.posterior import PRIORS, PRIORS_DATED, kernel
from toolkit.diagnosis.readings import READINGS, RECORD
from toolkit.diagnosis.signatures import SUSPECTS, UNSEEN, shipped
from toolkit.diagnosis.signs import SIGNS
from toolkit.diagnosis.sites import KINDS
from toolkit.front import command, phone

MOST_BYTES = 200_000
WITHOUT_END = ("meta", "input", "br")


@cache
def page() -> str:
    return phone.page()


class Parts(HTMLParser):
    """A page's elements with their attributes, and the text in each kind of element; all must be closed in turn."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.words: dict[str, list[str]] = {}
        self._open: list[str] = []
        self.feed(text)
        self.close()
        assert not self._open

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in WITHOUT_END:
            self._open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self._open and data.strip():
            self.words.setdefault(self._open[-1], []).append(data)


def data(text: str) -> dict[str, Any]:
    (found,) = re.findall(r'<script type="application/json" id="course">(.*?)</script>', text, re.DOTALL)
    return json.loads(found)


# --- what is in it


def test_it_holds_every_word_that_the_course_has_for_it() -> None:
    held = data(page())
    assert {key: (one["name"], tuple(one["values"])) for key, one in held["signs"].items()} == {
        key: (one.name, one.values) for key, one in SIGNS.items()
    }
    assert held["suspects"] == SUSPECTS
    assert held["priors"] == PRIORS
    assert held["priors_dated"] == PRIORS_DATED
    assert (held["stops"], held["layers"], held["questions"]) == (STOPS, LAYERS, QUESTIONS)
    assert (tuple(held["cautions"]), held["defers"]) == (CAUTIONS, DEFERS)
    assert (held["ends"], held["after"], held["explained"]) == (ENDS, AFTER, EXPLAINED)
    assert held["stands"] == {words: {key: list(of) for key, of in calls.items()} for words, calls in STANDS.items()}
    assert held["checks"].keys() == CHECKS.keys()
    for key, check in CHECKS.items():
        for name, value in held["checks"][key].items():
            assert value == (list(check.signs) if name == "signs" else getattr(check, name))
    assert held["kernels"] == {key: kernel(key).tolist() for key in SIGNS}
    assert (held["readings"].keys(), held["record"].keys()) == (READINGS.keys(), RECORD.keys())
    assert held["network"] == {"words": NETWORK, "pattern": PHRASE.pattern}
    assert [one["title"] for one in held["stations"] if one["network"]] == [
        "Low-pressure district station, Tanner's Wharf"
    ]


@pytest.mark.parametrize("kind", KINDS)
def test_the_packed_rows_are_the_days_of_the_table(kind: str) -> None:
    raw = np.frombuffer(base64.b64decode(data(page())["kinds"][kind]["rows"]), dtype=np.uint8)
    rows = raw.reshape(-1, 2 + -(-len(SIGNS) // phone.PER_BYTE)).astype(int)
    digits = rows[:, 2:, None] // phone.BASE ** np.arange(phone.PER_BYTE) % phone.BASE
    signs = digits.reshape(len(rows), -1)[:, : len(SIGNS)]
    days = np.repeat(
        np.column_stack([rows[:, 0], np.where(signs == phone.BASE - 1, UNSEEN, signs)]), rows[:, 1], axis=0
    )
    table = shipped(kind)
    ours = np.column_stack([table.suspect, table.signs]).astype(int)
    assert sorted(map(tuple, days.tolist())) == sorted(map(tuple, ours.tolist()))


def test_every_choice_of_layers_has_its_kind_suspects_and_signs() -> None:
    held, chance = data(page())["by_layers"], Random(3)
    assert len(held) == 2 ** len(LAYERS)
    for number in [0, len(held) - 1, *(chance.randrange(len(held)) for _ in range(100))]:
        layers = frozenset(key for place, key in enumerate(LAYERS) if number & 1 << place)
        kind, suspects, signs = held[number]
        assert list(KINDS)[kind] == kind_of(layers)
        assert [key for place, key in enumerate(SUSPECTS) if suspects & 1 << place] == list(suspects_of(layers))
        assert [key for place, key in enumerate(SIGNS) if signs & 1 << place] == list(signs_with(layers))
        # a script counts its bits in 32
        assert max(suspects, signs) < 2**31


def test_its_reasons_and_refusals_have_their_places_open() -> None:
    held = data(page())
    for words in (*held["why"].values(), *held["units"]["refusals"].values()):
        assert words.endswith((".", "w.c."))
    for name, places in (
        ("found", {"suspect", "sign", "value"}),
        ("bears out", {"suspect"}),
        ("strange", {"sign", "value"}),
    ):
        assert set(re.findall(r"\{(\w+)\}", held["why"][name])) == places
    assert held["units"]["refusals"].keys() == phone.REFUSED.keys()


# --- that it is closed to the world


def test_no_link_leads_out_and_nothing_is_fetched() -> None:
    text = page()
    assert not re.search(r"(?i)https?:|//[a-z]|url\(|@import|fetch\(|XMLHttp|WebSocket|sendBeacon|Storage|cookie", text)
    for tag, attributes in Parts(text).elements:
        assert tag not in ("link", "img", "iframe", "object", "embed", "base", "form")
        assert not {"src", "href", "srcset", "action", "style"} & attributes.keys()


def test_its_policy_forbids_all_but_its_own_style_and_script() -> None:
    parts = Parts(page())
    (policy,) = (
        attributes["content"] or ""
        for tag, attributes in parts.elements
        if tag == "meta" and attributes.get("http-equiv") == "Content-Security-Policy"
    )
    rules = dict(rule.strip().split(" ", 1) for rule in policy.split(";"))
    assert rules["default-src"] == rules["base-uri"] == "'none'"
    (style,), (script,) = parts.words["style"], [one for one in parts.words["script"] if not one.startswith("{")]
    for kind, text in (("style", style), ("script", script)):
        digest = hashlib.sha256(text.encode()).digest()
        assert rules[f"{kind}-src"] == f"'sha256-{base64.b64encode(digest).decode()}'"
    assert rules.keys() == {"default-src", "style-src", "script-src", "base-uri"}


def test_it_is_html_in_utf_8_and_small() -> None:
    text = page()
    parts = Parts(text)
    assert text.startswith("<!DOCTYPE html>")
    assert text.encode("utf-8").decode("utf-8") == text
    assert ("html", {"lang": "en"}) in parts.elements
    assert ("meta", {"charset": "utf-8"}) in parts.elements
    assert parts.words["title"] == ["Look up a fault - Guarded pressure"]
    assert not re.search(r"<!--\w+-->", text), "a place that was left open"
    assert len(text.encode()) < MOST_BYTES


def test_no_word_of_the_course_can_end_its_element(monkeypatch: pytest.MonkeyPatch) -> None:
    hostile = "</script><script>alert(1)</script><!--<script>"
    monkeypatch.setattr(phone, "course", lambda: {"signs": hostile})
    text = phone.page()
    assert data(text) == {"signs": hostile}
    assert [tag for tag, _ in Parts(text).elements].count("script") == 2


# --- the command


def test_the_command_writes_one_file_and_says_where(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "for the van"
    assert command.main(["phone", "--folder", str(folder)]) == 0
    assert capsys.readouterr().out == f"{folder / phone.NAME}\n"
    assert [one.name for one in folder.iterdir()] == [phone.NAME]
    assert (folder / phone.NAME).read_bytes() == page().encode("utf-8")


def test_a_folder_that_cannot_be_written_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "taken").write_text("a file")
    assert command.main(["phone", "--folder", str(tmp_path / "taken")]) == 2
    said = capsys.readouterr().err
    assert str(tmp_path / "taken") in said
    assert "--folder" in said


def test_the_page_is_the_same_every_time() -> None:
    script = (
        "from hashlib import sha256; from toolkit.front import phone; print(sha256(phone.page().encode()).hexdigest())"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == hashlib.sha256(page().encode()).hexdigest()
