"""The page of cases: its form, its links, its sources and its cautions, as those of a lesson."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator

import nbformat
import pytest
from lesson_text import FOLDER

from toolkit.course import LESSONS, START, VISIT, lesson
from toolkit.front.lesson_rules import Book, Wrong, clean, lines, links, minutes, read_book, reading, sources
from toolkit.quiz.trouble_case import LEVELS
from toolkit.quiz.widgets_visit import VisitPage
from toolkit.references import SOURCES, cite

# What a page without bench and quiz can keep of the rules for lessons.
RULES = (clean, minutes, links, sources, reading, lines)
FORM = (
    "What you will be able to do",
    "Before you start",
    "How a case goes",
    "The case",
    "What the answer shows",
    "In the field",
    "Sources",
)
BOOK = nbformat.read(FOLDER / VISIT.file, as_version=4)  # type: ignore[no-untyped-call]
PROSE = "\n\n".join(cell.source for cell in BOOK.cells if cell.cell_type == "markdown")
PARTS = re.split(r"^## (.+)$", PROSE, flags=re.MULTILINE)
SECTIONS = dict(zip(PARTS[1::2], PARTS[2::2], strict=True))


def test_its_form() -> None:
    nbformat.validate(BOOK)
    assert lesson("21") == VISIT
    assert PROSE.startswith(f"# {VISIT.name}\n\nAbout {VISIT.minutes} minutes.")
    assert tuple(SECTIONS) == FORM
    assert BOOK.metadata.guarded_pressure == {"lesson": VISIT.number}
    code = [cell for cell in BOOK.cells if cell.cell_type == "code"]
    assert [cell.source for cell in code] == ["from toolkit.quiz.widgets_visit import visit\n\nvisit()"]
    assert all(not cell.outputs and cell.execution_count is None for cell in code)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.__name__)
def test_it_keeps_the_rules_of_every_lesson(rule: Callable[[Book], Iterator[Wrong]]) -> None:
    assert list(rule(read_book(FOLDER / VISIT.file))) == []


def test_the_last_lab_leads_here_and_this_page_back_to_it() -> None:
    last = read_book(FOLDER / LESSONS[-1].file).prose.rstrip().splitlines()[-1]
    assert last.endswith(f"| Next: [{VISIT.name}]({VISIT.file})")
    before, start = (f"[{one.name}]({one.file})" for one in (LESSONS[-1], START))
    assert PROSE.rstrip().splitlines()[-1] == f"Previous: {before} | Back to {start}"


def test_its_sources_and_cautions() -> None:
    listed = re.findall(r"^- (.+)$", SECTIONS["Sources"], re.MULTILINE)
    assert listed
    assert set(listed) <= {cite(key) for key in SOURCES}
    before, field = SECTIONS["Before you start"], SECTIONS["In the field"]
    assert "(00_start_here.ipynb#Safety-card)" in before
    assert len(re.findall(r"^- Never ", before, re.MULTILINE)) >= 3
    assert "written procedure" in before
    assert "local code" in before
    _, found, never = field.partition("**What never to do.**")
    assert found
    assert len(re.findall(r"^Never ", never, re.MULTILINE)) >= 3


@pytest.mark.parametrize("level", LEVELS)
def test_each_level_stands_in_the_text(level: int) -> None:
    assert re.search(rf"^\| {level} \| .+ \|$", SECTIONS["How a case goes"], re.MULTILINE)


def test_the_text_names_the_buttons_as_they_are() -> None:
    page = VisitPage()
    there = {one.description for one in (page.open_button, page.other_button, page.stand_button)}
    assert set(re.findall(r"(?<!\*)\*([^*]+)\*(?!\*)", PROSE)) <= there
