"""The visit on paper: the same case as on its page, room to make it, and a key that can be read out."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from html import unescape
from pathlib import Path

import pytest

from toolkit.course import VISIT
from toolkit.diagnosis.next_check import CHECKS, STOPS
from toolkit.diagnosis.signatures import SUSPECTS
from toolkit.diagnosis.signs import SIGNS
from toolkit.errors import ScenarioError
from toolkit.front import handouts
from toolkit.front.command import main
from toolkit.front.launch import CHECKOUT_LESSONS
from toolkit.panels.handout import TURN_AFTER, Sheet, handout
from toolkit.quiz import html, paper
from toolkit.quiz.items import ABNORMAL, KNOWLEDGE, offer
from toolkit.quiz.trouble_case import LEVELS, draw_case
from toolkit.quiz.trouble_items import case_items
from toolkit.quiz.visit import GROUPS, MAKE_SAFE, NOTHING_SHOWN, VisitQuestion, advised_acts, walk, worded

CELLS = handouts.read_cells(CHECKOUT_LESSONS / VISIT.file)
CASES = [(1, "service", 3), (2, None, 6), (3, "monitored", 4), (4, None, 2)]


@cache
def printed(level: int, place: str | None, seed: int, key: bool = False, units: str = "us") -> str:
    return handout(CELLS, Sheet(units, "a4", seed, key, level, place))


def words(markup: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", markup)).split())


def visit_of(level: int, place: str | None, seed: int) -> VisitQuestion:
    question = offer(case_items(draw_case(seed, level, place))[1], seed)
    assert isinstance(question, VisitQuestion)
    return question


def rows(markup: str, caption: str) -> list[list[str]]:
    """The cells of the body of the table of a caption."""
    table = re.search(rf'<table aria-label="{re.escape(html.escape(caption))}">.*?</table>', markup)
    assert table, caption
    body = table[0].partition("<tbody>")[2]
    return [[words(one) for one in re.findall(r"<t[hd].*?</t[hd]>", row)] for row in body.split("</tr>")[:-1]]


@pytest.mark.parametrize(("level", "place", "seed"), CASES)
def test_it_is_the_case_of_the_page(level: int, place: str | None, seed: int) -> None:
    from toolkit.quiz.widgets_visit import VisitPage

    page = VisitPage()
    page.level.value, page.place.value, page.seed.value = level, place, seed
    page.open_case()
    assert page.quiz is not None
    text = printed(level, place, seed, units=page.quiz.units)
    for item in page.quiz.items:
        assert paper.asked(offer(item, seed, page.quiz.units)) in text, item.key
    assert text.count("<h3>Question ") == len(page.quiz.items)
    assert re.findall(r"<table.*?</table>", page.card.value)[0].partition("<thead>")[2] in text
    assert words(text).count(f"Level {level} ({LEVELS[level]})") == 1


@pytest.mark.parametrize(("level", "place", "seed"), CASES)
def test_the_sheet_lists_the_checks_and_does_not_tell(level: int, place: str | None, seed: int) -> None:
    question, text = visit_of(level, place, seed), printed(level, place, seed)
    listed = [row for title in GROUPS if f'"{title}"' in text for row in rows(text, title)]
    assert len(listed) == len(question.checks) + 1
    assert {f"{name} ({minutes}\u00a0min)" for name, minutes, _, _ in listed} == {
        worded(act) for act in (*question.checks, MAKE_SAFE)
    }
    assert {row[2] for row in listed} == set(paper.CLASSES)
    assert not any(row[3] for row in listed), "somebody has numbered them"
    assert len(rows(text, "My visit")) == paper.LOG_ROWS
    # the cause is named overleaf only, and no answer stands on the sheet
    before, turned, after = text.partition(html.escape(TURN_AFTER["layer"]))
    assert turned
    assert f"It was: {SUSPECTS[question.truth]}" not in words(before)
    assert f"It was: {SUSPECTS[question.truth]}" in words(after)
    assert "What each check shows" not in text
    assert not any(one.forbidden and html.escape(one.forbidden) in text for one in CHECKS.values())
    # what another visit found stands overleaf of one's own
    assert text.index("My visit") < text.index(html.escape(TURN_AFTER["visit"])) < text.index("somebody else")


def test_no_class_tells_what_nobody_may_do() -> None:
    for group in GROUPS.values():
        allowed = {paper.work_class(act) for act in group if act == MAKE_SAFE or not CHECKS[act].forbidden}
        assert {paper.work_class(act) for act in group} == allowed
    for key, check in CHECKS.items():
        if check.qualified:
            assert paper.work_class(key) == paper.PROOF
        # whatever can put burners out is more than looking
        if "burners go out" in check.risk:
            assert paper.work_class(key) != paper.LOOK


@pytest.mark.parametrize(("level", "place", "seed"), CASES)
def test_the_key_tells_all_that_is_read_out(level: int, place: str | None, seed: int) -> None:
    question = visit_of(level, place, seed)
    key = printed(level, place, seed, key=True).partition(f"<h2>Answers, seed {seed}</h2>")[2]
    assert f"It is: {SUSPECTS[question.truth]}." in words(key)
    best = walk(question, advised_acts(question))
    order = rows(key, "Best order")
    assert [row[1] for row in order] == [step.name for step in best.steps]
    assert f"Best order, {best.minutes:g} minutes" in words(key)
    gone = 0.0
    for row, step in zip(order, best.steps, strict=True):
        gone += step.minutes
        assert row[2:4] == [f"{step.minutes:g}", f"{gone:g}"]
    never = {act for act in question.checks if CHECKS[act].forbidden}
    assert never
    assert rows(key, "What ends the case") == [
        [CHECKS[act].name, CHECKS[act].forbidden] for act in question.checks if act in never
    ]
    shown = {row[0]: row[3] for row in rows(key, "What each check shows")}
    assert shown.keys() == {CHECKS[act].name for act in question.checks if act not in never}
    met = question.shows.met()
    for act in question.checks:
        for sign in CHECKS[act].signs if act not in never else ():
            if sign in met:
                assert f"{SIGNS[sign].name}: {met[sign]}" in shown[CHECKS[act].name]
        if act not in never and not met.keys() & set(CHECKS[act].signs):
            assert shown[CHECKS[act].name].startswith(NOTHING_SHOWN)


def test_the_key_says_where_to_stop() -> None:
    question = visit_of(1, "service", 3)
    high = replace(question, shows=replace(question.shows, outlet_pilots="far high"))
    told = {row[0]: row[3] for row in rows(paper.key(high), "What each check shows")}
    assert told[CHECKS["gauge_pilots"].name].endswith(f"STOP: {STOPS['above_rating']}.")
    assert "STOP" not in told[CHECKS["frost"].name]
    on_arrival = replace(high, opening=replace(question.opening, outlet_on="far high"))
    assert "It holds on arrival" in words(paper.key(on_arrival))
    assert "It holds on arrival" not in words(paper.key(high))


def test_what_comes_first_is_a_section_of_its_own() -> None:
    for key in (False, True):
        text = words(printed(1, "service", 3, key))
        first = f"{ABNORMAL.capitalize()}: passes from 100 % of its marks Question 1 of"
        rest = f"{KNOWLEDGE.capitalize()}: passes from 80 % of its marks Question 2 of"
        assert text.count(first) == text.count(rest) == 1 + key
        assert text.index(first) < text.index(rest)


def test_another_level_or_station_is_another_case() -> None:
    pages = {printed(1, "service", 3), printed(4, "service", 3), printed(1, "monitored", 3), printed(1, "service", 4)}
    assert len(pages) == 4
    with pytest.raises(ScenarioError, match="level: 9 was given"):
        printed(9, None, 1)


def test_the_command_takes_level_and_station(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / f"{Path(VISIT.file).stem}.html"
    words = ["handout", "21", "--folder", str(tmp_path), "--seed", "3"]
    assert main(words) == 0
    assert path.read_text("utf-8") == printed(1, None, 3)
    assert main([*words, "--level", "4", "--station", "service"]) == 0
    assert path.read_text("utf-8") == printed(4, "service", 3)
    capsys.readouterr()
    assert main([*words, "--level", "5"]) == 2
    assert "There is no level 5 of cases: give one of 1, 2, 3, 4." in capsys.readouterr().err
    assert main([*words, "--station", "elsewhere"]) == 2
    assert "There is no station 'elsewhere' for cases: give one of service, " in capsys.readouterr().err
