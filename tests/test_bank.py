"""The reviewed cases: each day is what it was when it was reviewed, and each wrong suspect differs from it visibly."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from toolkit.diagnosis.signatures import OTHER, SUSPECTS, UNSEEN, encoded, shipped
from toolkit.errors import ScenarioError
from toolkit.front.command import main
from toolkit.quiz import bank as banks
from toolkit.quiz.bank import (
    Reviewed,
    bank,
    case_of_key,
    made_anew,
    problems,
    read_bank,
    reviewed,
    signs_shown,
    written,
)
from toolkit.quiz.trouble_case import LEVELS, is_of_level, places
from toolkit.references import SOURCES

KEYS = [one.key for one in bank()]


def test_the_set_covers_levels_suspects_and_stations() -> None:
    assert len(bank()) >= 24
    assert {one.level for one in bank()} == set(LEVELS)
    assert len({one.suspect for one in bank()}) >= 18
    assert len({one.station for one in bank()}) >= 9
    assert len({one.objective for one in bank()}) == len(bank())
    assert all(one.sources and set(one.sources) <= set(SOURCES) for one in bank())
    assert all(one.station in places() for one in bank())
    # a key tells nothing of the cause
    assert all(one.key.startswith(f"{one.level}-") and one.key[2:].isdigit() for one in bank())


@pytest.mark.parametrize("key", KEYS)
def test_the_true_fault_reproduces_the_readings(key: str) -> None:
    one, case = reviewed(key), case_of_key(key)
    assert case.signs == signs_shown(one)
    assert case.suspect == one.suspect
    assert is_of_level(case)


@pytest.mark.parametrize("key", KEYS)
def test_each_wrong_suspect_differs_visibly_but_for_those_listed(key: str) -> None:
    """Of a wrong suspect the day that comes nearest is taken: some sign that can be looked at shows another value.

    Signs that one of the two days does not give are no difference that could be looked at.
    """
    one, case = reviewed(key), case_of_key(key)
    table, mine = shipped(case.place), np.array(encoded(case.signs))
    for suspect in case.suspects:
        if suspect in (case.suspect, OTHER):
            continue
        days = table.signs[table.suspect == list(SUSPECTS).index(suspect)].astype(int)
        differs = ((days != mine) & (days != UNSEEN) & (mine != UNSEEN)).sum(axis=1).min()
        assert (differs == 0) == (suspect in one.cannot_be_told_from), suspect


@pytest.mark.parametrize("key", KEYS)
def test_hash_and_review_stand(key: str) -> None:
    assert problems(reviewed(key)) == []


def test_a_case_that_has_changed_is_found() -> None:
    one = bank()[0]
    assert "its hash is" in problems(replace(one, hash="0" * 64))[0]
    turned = dict(one.shows) | {"frost": "frost" if one.shows["frost"] == "none" else "none"}
    assert problems(replace(one, shows=turned))[0].startswith(f"{one.key}: frost shows")
    assert "not of level 3" in " ".join(problems(replace(one, level=3)))
    assert "cannot be told from" in problems(replace(one, cannot_be_told_from=("leak",)))[0]
    assert made_anew(one) == one
    anew = made_anew(replace(one, hash="0" * 64))
    assert anew == replace(one, version=one.version + 1)


def test_what_is_written_reads_as_the_same() -> None:
    assert read_bank(written(bank()), "all") == bank()


def changed(change: Callable[[str], str]) -> str:
    return change(written(bank()[:2]))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda text: text.replace("level = 1", "level = 7", 1), r"x, case 1 \(1-01\).level: 7 was given"),
        (lambda text: text.replace('suspect = "', 'suspect = "un', 1), r"\(1-01\).suspect: 'un"),
        (lambda text: text.replace("day = ", "days = ", 1), r"\(1-01\).days"),
        (lambda text: text.replace("version = ", "version = true # ", 1), r"\(1-01\).version: True was given"),
        (lambda text: text.replace('frost = "none"', 'frost = "some"', 1), r"\(1-01\).shows.frost: 'some' was given"),
        (lambda text: text.replace("sources = [", 'sources = ["hearsay", ', 1), r"\(1-01\).sources: 'hearsay'"),
        (lambda text: text.replace('"1-02"', '"1-01"', 1), "x, key: '1-01' was given"),
        (lambda text: "[more]\n" + text, r"\[\[case\]\] tables"),
        (lambda text: text + "oops", "TOML"),
        (
            lambda text: "".join(line for line in text.splitlines(True) if not line.startswith("hash")),
            "hash: 'nothing'",
        ),
    ],
)
def test_a_file_that_does_not_read_is_refused_by_its_key(change: Callable[[str], str], words: str) -> None:
    with pytest.raises(ScenarioError, match=words):
        read_bank(changed(change), "x")


def test_the_command_lists_and_writes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    few: tuple[Reviewed, ...] = bank()[:2]
    monkeypatch.setattr("toolkit.front.bank_command.bank", lambda: few)
    assert main(["bank"]) == 0
    said = capsys.readouterr().out
    assert "2 cases, 0 not as they were reviewed." in said
    assert few[0].key in said
    monkeypatch.setattr("toolkit.front.bank_command.bank", lambda: (replace(few[0], hash="0"),))
    assert main(["bank"]) == 2
    assert "have changed" in capsys.readouterr().err
    monkeypatch.setattr("toolkit.front.bank_command.bank", lambda: few)
    assert main(["bank", "--write", str(tmp_path)]) == 0
    assert banks.read_bank((tmp_path / "level_1.toml").read_text("utf-8"), "level_1.toml") == few
