"""Every statement that a lesson teaches stands in its text, and what is said to bear it out exists."""

from __future__ import annotations

from importlib import import_module

import pytest
import teaches_table
from lesson_text import PATHS
from teaches_table import PATH, markdown, unknown

from toolkit.course import LESSONS
from toolkit.front.lesson_facts import taught
from toolkit.front.lesson_rules import read_book

NUMBERS = [lesson.number for lesson in LESSONS]


@pytest.mark.parametrize("lesson", NUMBERS)
def test_what_is_taught_stands_in_the_text_and_is_borne_out(lesson: str) -> None:
    facts = import_module(f"facts_{lesson}")
    assert [str(wrong) for wrong in taught(read_book(PATHS[lesson]), facts, unknown)] == []


def test_evidence_that_is_not_there_is_found() -> None:
    assert unknown("item 99.none")
    assert unknown("source nobody")
    assert unknown("test tests/test_teaches.py::test_that_is_not_there")
    assert unknown("test tests/test_nowhere.py::test_x")
    assert unknown("hearsay")
    assert not unknown("test tests/test_teaches.py::test_evidence_that_is_not_there_is_found")


def test_the_list_is_that_of_today() -> None:
    assert PATH.read_text("utf-8") == markdown(), "run `python tests/teaches_table.py`"
    assert PATH.parent == teaches_table.HERE
