"""`course author-check` says all that is wrong at once, each with file, place, expectation and mend.

What is wrong is put in by hand, one thing a rule, into files that are sound: so each rule is seen to find something.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from copy import deepcopy
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from handed_in import first_evening_toml
from lesson_text import PATHS

from toolkit.front import lesson_facts, lesson_rules
from toolkit.front.author_files import bank_errors, session_errors, station_errors
from toolkit.front.author_lessons import MARK, lesson_wrong, lists, numbers, placeholders
from toolkit.front.command import main
from toolkit.front.lesson_rules import Book, read_book
from toolkit.quiz.bank import bank, written
from toolkit.station_file import shipped_station, shipped_stations

ROOT = Path(__file__).parents[1]
BAKERY = (ROOT / "toolkit" / "stations" / "bakery.toml").read_text("utf-8")
SESSION = first_evening_toml()
CASES = written(bank()[:3])
SOUND = read_book(PATHS["08"])


def changed(text: str, *changes: tuple[str, str]) -> str:
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    return text


def fields(said: list[str]) -> list[str]:
    """The place of each error, as it is told."""
    return [one.partition(": ")[0] for one in said]


# Files


def test_sound_files_have_nothing_to_mend() -> None:
    assert station_errors(BAKERY, "bakery.toml") == []
    assert session_errors(SESSION) == []
    assert bank_errors(CASES, "level_1.toml") == []


def test_all_that_is_wrong_with_a_station_is_told_once_and_what_follows_from_it_is_not() -> None:
    text = changed(
        BAKERY,
        ('title = "Bakery', 'titel = "Bakery'),
        ('"50 psig"', '"50 bananas"'),
        ('size = "3 L"', 'sise = "3 L"'),
        ('name = "deck_oven_regulator"', 'name = "deck oven regulator"'),
        ('rated_flow = "75,000 Btu/h"', ""),
        ('at = "rack_oven_line"', 'at = "rack_oven_lin"'),
        ('time = "120 s"', 'time = "soon"'),
        ('duration = "10 min"', "duration = 10"),
        ('kind = "building"', 'kind = "shed"'),
        ('maop = "5 psig"', 'maop = "-5 psig"'),
    )
    text += '\n[[falut]]\nkind = "debris"\n\n[[fault]]\nkind = "debree"\n'
    text += '\n[[fault]]\nkind = "debris"\ndevices = "service_regulator"\nheight = "1 m"\n'
    assert sorted(fields(station_errors(text, "x"))) == sorted(
        [
            "station.titel",
            "supply.pressure",
            "volume 1 (service_line).sise",
            "regulator 2.name",
            "appliance 2 (water_heater).rated_flow",
            "appliance 3 (rack_oven).at",
            "demand 5.time",
            "run.duration",
            "limits.kind",
            "limits.maop",
            "falut",
            "fault 1 (debree).kind",
            "fault 2 (debris).height",
        ]
    )


def test_a_part_keeps_its_number_where_one_before_it_is_wrong() -> None:
    text = changed(BAKERY, ('at = "deck_oven_line"', 'at = "nowhere"'), ('at = "rack_oven_line"', 'at = "elsewhere"'))
    assert fields(station_errors(text, "x")) == ["appliance 1 (deck_oven).at", "appliance 3 (rack_oven).at"]


def test_two_of_one_name_are_both_told() -> None:
    text = changed(BAKERY, ('name = "rack_oven"', 'name = "deck_oven"'), ("share = 1", 'share = "much"'))
    first, second, *_ = station_errors(text, "x")
    assert "appliance 1 (deck_oven) and appliance 3 (deck_oven)" in first
    assert second.startswith("demand 1.share")


def test_what_no_longer_reads_ends_with_a_word_on_the_rest() -> None:
    (said,) = station_errors(changed(BAKERY, ('"50 psig"', '"50 psig')), "x")
    assert said.startswith("line 11: ")
    assert said.endswith("The rest is read once this is mended.")
    *first, last = station_errors("[run]\nduration = 5\n", "x")
    assert fields(first) == ["station", "supply"]
    assert last == "The rest is read once this is mended."


def test_what_a_station_must_mend_is_told_when_it_reads() -> None:
    text = changed(BAKERY, ('takes_over_above_set = "14 in. w.c."', 'takes_over_above_set = "4 psi"'))
    said = station_errors(text, "x")
    assert said
    assert all(one.endswith(".") for one in said)


def test_all_that_is_wrong_with_a_session_is_told() -> None:
    text = changed(
        SESSION,
        ('"house_service"', '"house"'),
        ('"02", "03"', '"2"'),
        ("opens = 2026-12-01", 'opens = "soon"'),
        ('kind = "same"', 'kind = "some"'),
        ("knowledge = 80", "knowledge = 800"),
    )
    assert fields(session_errors(text + "\n[more]\nx = 1\n")) == [
        *("more", "session.station", "session.lessons", "session.opens", "seed.kind", "pass_marks.knowledge")
    ]


def test_all_that_is_wrong_with_cases_is_told_and_then_what_is_not_as_reviewed() -> None:
    text = changed(
        CASES,
        (f"version = {bank()[0].version}\n", ""),
        ("level = 1", "level = 9"),
        ('suspect = "', 'suspect = "un'),
        ('frost = "none"', 'frost = "some"'),
        ('key = "1-03"', 'key = "1-02"'),
    )
    said = bank_errors(text, "x.toml")
    assert [re.sub(r"^.*\)\.", "", one) for one in fields(said)] == [
        *("version", "level", "suspect", "shows.frost", "x.toml, key")
    ]
    other = bank_errors(changed(CASES, (f'hash = "{bank()[0].hash}"', 'hash = "0"'), ("level = 1", "level = 4")), "x")
    assert len(other) >= 2
    assert all(one.startswith("x, 1-01: ") for one in other)


# Lessons: each rule finds what it is for


def cell_with(content: Any, text: str) -> Any:
    return next(cell for cell in content["cells"] if text in "".join(cell["source"]))


def said_anew(text: str, new: str) -> Callable[[Any], None]:
    def change(content: Any) -> None:
        cell = cell_with(content, text)
        cell["source"] = "".join(cell["source"]).replace(text, new, 1).splitlines(keepends=True)

    return change


def put(cell_of: str, **values: Any) -> Callable[[Any], None]:
    return lambda content: cell_with(content, cell_of).update(values)


def spoiled(change: Callable[[Any], None], sound: Book = SOUND) -> Book:
    content = deepcopy(dict(sound.content))
    change(content)
    return Book(sound.path, content)


def milder(content: Any) -> None:
    cell = cell_with(content, "## In the field")
    cell["source"] = "".join(cell["source"]).replace("\nNever ", "\nDo not ")


LONG = "When the gas " + "and the gas " * 12 + "stops, look.\n\nThis is a bench in a computer."
BROKEN: list[tuple[str, Callable[[Any], None], str]] = [
    ("headings", said_anew("# 08 The slam-shut", "# 08 A slam-shut"), "title"),
    ("headings", said_anew("## Worked example", "## An example"), "missing Worked example; not of the form An example"),
    ("headings", put("## Sources", source=["## Sources\n"]), "Sources: nothing"),
    ("cells", said_anew('bench("08")', 'bench("07")'), "Predict and try, code"),
    ("cells", said_anew('cut_open("slam_shut"', 'cut_open("no_such"'), "no_such"),
    ("cells", said_anew('cut_open("slam_shut", "slam_shut_tripped_high")', "print(1)"), "one call of cut_open"),
    (
        "clean",
        put('quiz("08")', outputs=[{"output_type": "stream", "name": "stdout", "text": []}]),
        "Clear all outputs",
    ),
    ("clean", put('quiz("08")', id="lesson-08-code-0"), "twice"),
    ("clean", put('quiz("08")', source="x = 1\n" * 26), "at most 8 and 25"),
    ("clean", lambda content: content["metadata"].update(guarded_pressure={"lesson": "07"}), "metadata"),
    ("clean", lambda content: content.pop("nbformat"), "a valid notebook"),
    ("minutes", said_anew("About 25 minutes.", "About 24 minutes."), "25, as in toolkit/course.py"),
    ("minutes", said_anew("About 25 minutes.", "Half an hour."), "minutes: 0 of them"),
    ("links", said_anew("](07_the_relief_valve.ipynb)", "](07_the_valve.ipynb)"), "no such file"),
    ("links", said_anew("#Safety-card", "#Safety"), "no such heading"),
    ("last_line", said_anew("Next: [09 The pressure switch](09_the_pressure_switch.ipynb)", "End"), "last line"),
    ("sources", said_anew("- EN 14382", "- EN 1438"), "a line that cite(key) gives"),
    ("cautions", said_anew("and the local code.", "and the code."), "'local code'"),
    ("cautions", said_anew("**What never to do.**", "**Not to do.**"), "In the field: missing"),
    ("cautions", said_anew("- Never let gas", "- Do not let gas"), '2 of "- Never"'),
    ("cautions", milder, '0 of "Never"; expected: three or more'),
    ("controls", said_anew("**Slam-shut**", "**Shutoff**"), "**Shutoff**"),
    ("controls", said_anew("*not fitted*", "*taken out*"), "*taken out*"),
    ("reading", said_anew("This is a bench in a computer.", LONG), "words; expected: at most 30"),
    ("lines", said_anew("This is a bench in a computer.\n", "This is a bench. It is one.\n"), "one sentence a line"),
]


@pytest.mark.parametrize(("rule", "change", "words"), BROKEN, ids=[f"{rule}: {words}" for rule, _, words in BROKEN])
def test_each_rule_finds_what_it_is_for(rule: str, change: Callable[[Any], None], words: str) -> None:
    check = getattr(lesson_rules, rule)
    assert list(check(SOUND)) == []
    said = [str(wrong) for wrong in check(spoiled(change))]
    if words == '2 of "- Never"':  # two are enough, one is not
        assert said == []
        said, words = (
            [str(wrong) for wrong in check(spoiled(said_anew("- Never pin", "- Do not pin"), spoiled(change)))],
            "1 of",
        )
    assert any(words in one for one in said), said
    assert all(one.startswith("lessons/08_the_slam_shut.ipynb, ") and "; expected: " in one for one in said)


def test_every_rule_of_a_notebook_is_tried_above() -> None:
    assert {rule for rule, _, _ in BROKEN} == {rule.__name__ for rule in lesson_rules.RULES}


def test_text_that_is_hard_to_read_is_found() -> None:
    hard = "Considerable familiarity with regulatory instrumentation characteristics facilitates identification.\n" * 60
    book = spoiled(said_anew("This is a bench in a computer.\n", hard))
    assert any("grade" in str(wrong) for wrong in lesson_rules.reading(book))


def facts(**changes: Any) -> Any:
    sound = {
        "NUMBERS": {"Worked example": lambda: {"a": "7 mbar"}, "What happened": lambda: {"b": "9"}},
        "TEACHES": [(f"Sentence {name}.", "bench") for name in "abcdefgh"],
    }
    return SimpleNamespace(**(sound | changes))


def told_of(check: Callable[..., Any], **changes: Any) -> list[str]:
    text = "## Worked example\nIt is 7 mbar.\n## What happened\nIt is 9.\n## In the field\n"
    text += "".join(f"Sentence {name}.\n" for name in "abcdefgh")
    content = {"cells": [{"cell_type": "markdown", "source": text}]}
    more = (lambda evidence: "" if evidence == "bench" else f"no {evidence}",) if check is lesson_facts.taught else ()
    return [str(wrong) for wrong in check(Book(Path("lessons/99_x.ipynb"), content), facts(**changes), *more)]


def test_figures_and_statements_that_do_not_stand_are_all_told() -> None:
    assert told_of(lesson_facts.figures) == told_of(lesson_facts.taught) == []
    odd = {"Worked example": lambda: {"a": "8 mbar"}, "What happened": lambda: {}["gone"]}
    said = told_of(lesson_facts.figures, NUMBERS=odd)
    assert [any(words in one for one in said) for words in ("a is not there", "7, unchecked", "KeyError 'gone'")] == [
        True
    ] * 3
    assert "no 'What happened'" in told_of(lesson_facts.figures, NUMBERS={"Worked example": lambda: {"a": "7 mbar"}})[0]
    said = told_of(lesson_facts.taught, TEACHES=[("Sentence a.", "bench"), ("Sentence z.", "hearsay")])
    assert [any(words in one for one in said) for words in ("2 statements", "'Sentence z.'", "no hearsay")] == [
        True
    ] * 3
    said = told_of(lesson_facts.taught, TEACHES=[("Sentence a.", "bench")] * 8)
    assert any("each statement once" in one for one in said)


def test_questions_too_few_or_that_cannot_be_made_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: Any) -> Any:
        raise ValueError("no such load")

    first, second = (item for item in lesson_facts.ITEMS if item.key in ("08.band", "08.sun"))
    odd = replace(second, key="8.sun", objective="x" * 95, make=fails)
    monkeypatch.setattr(lesson_facts, "ITEMS", (first, odd, replace(first, key="09.twin", lesson="09")))
    said = [str(wrong) for wrong in lesson_facts.items("08")]
    for words in (
        "no such load",
        "08. and a word",
        "one sentence of at most",
        "any other question",
        "2 questions of 1",
    ):
        assert any(words in one for one in said), words


def test_a_lesson_that_is_in_no_list_is_told_list_by_list(tmp_path: Path) -> None:
    said = [str(wrong) for wrong in lists(tmp_path, "77")]
    for words in ("course.py", "panels/__init__.py", "cases.py", "panels/lesson_77.py", "tests/facts_77.py"):
        assert any(words in one for one in said), words
    (row,) = [str(wrong) for wrong in lists(tmp_path, "08") if wrong.file == "README.md"]
    assert "08 The slam-shut" in row
    assert [str(wrong) for wrong in lists(ROOT, "08")] == []


def test_each_mark_that_is_left_is_told(tmp_path: Path) -> None:
    (tmp_path / "toolkit" / "panels").mkdir(parents=True)
    (tmp_path / "lessons").mkdir()
    (tmp_path / "toolkit/panels/lesson_77.py").write_text(f'x = "{MARK}: one"  # {MARK}: two, {MARK}\n', "utf-8")
    cell = {"cell_type": "markdown", "source": [f"## Sources\n{MARK}: three\n"]}
    (tmp_path / "lessons/77_x.ipynb").write_text(json.dumps({"cells": [cell]}), "utf-8")
    found = [(wrong.place, wrong.found) for wrong in placeholders(tmp_path, "77")]
    assert found == [
        *(("line 1", said) for said in (f"{MARK}: one", f"{MARK}: two,", MARK)),
        ("Sources", f"{MARK}: three"),
    ]


def test_a_notebook_that_is_missing_or_no_notebook_is_told(tmp_path: Path) -> None:
    (tmp_path / "lessons").mkdir()
    assert any("0 notebooks" in str(wrong) for wrong in lesson_wrong(tmp_path, "77"))
    (tmp_path / "lessons/77_x.ipynb").write_text("{", "utf-8")
    assert any("a notebook" in str(wrong) for wrong in lesson_wrong(tmp_path, "77"))
    assert "77" in numbers(tmp_path)


# The command


def test_the_command_says_all_and_ends_with_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    station, session = tmp_path / "mine.toml", tmp_path / "evening.toml"
    station.write_text(changed(BAKERY, ('"50 psig"', '"50"'), ("duration", "durations")), "utf-8")
    session.write_text(changed(SESSION, ('"02", "03"', '"99"')), "utf-8")
    assert main(["author-check", "--station", str(station), "--session", str(session)]) == 2
    said = capsys.readouterr()
    assert [line.partition(", ")[0] for line in said.out.splitlines()] == [str(station), str(station), str(session)]
    assert said.err == "3 things are to mend.\n"
    assert main(["author-check", "--station", "bakery", "--session", "first_evening"]) == 0
    assert capsys.readouterr().out == "Nothing to mend: 1 x station, 1 x session.\n"


def test_the_command_refuses_what_is_no_file_and_no_folder_of_the_course(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["author-check", "--station", str(tmp_path / "no.toml")]) == 2
    assert "cannot be read" in capsys.readouterr().out
    # a file that cannot be read keeps no other from being looked at
    (tmp_path / "bad.toml").write_bytes(b"\xff")
    (tmp_path / "wrong.toml").write_text("[session]\ntitle = 3\n")
    named = [str(tmp_path / name) for name in ("no.toml", "bad.toml", "wrong.toml")]
    assert main(["author-check", "--station", named[0], "--session", named[1], "--session", named[2]]) == 2
    out = capsys.readouterr().out
    assert all(name in out for name in named)
    # nor does a folder that is none
    words = ["author-check", "--lesson", "08", "--folder", str(tmp_path), "--session", named[2]]
    assert main(words) == 2
    out = capsys.readouterr().out
    assert "no source folder" in out
    assert named[2] in out
    assert main(["author-check", "--folder", str(tmp_path)]) == 2
    assert "no source folder" in capsys.readouterr().out


def test_shipped_stations_have_nothing_to_mend() -> None:
    for name in shipped_stations():
        text = (ROOT / "toolkit" / "stations" / f"{name}.toml").read_text("utf-8")
        assert station_errors(text, name) == [], shipped_station(name).title
