"""Every statement that a lesson teaches stands in its text, and what is said to bear it out exists."""

from __future__ import annotations

import pytest
import teaches_table
from lesson_text import prose
from teaches_table import PATH, markdown, statements, unknown

from toolkit.course import LESSONS

NUMBERS = [lesson.number for lesson in LESSONS]
FEWEST = 8


@pytest.mark.parametrize("lesson", NUMBERS)
def test_what_is_taught_stands_in_the_text_word_for_word(lesson: str) -> None:
    taught = [said for said, _ in statements(lesson)]
    assert len(taught) >= FEWEST
    assert len(set(taught)) == len(taught)
    assert [said for said in taught if said not in prose(lesson)] == []


@pytest.mark.parametrize("lesson", NUMBERS)
def test_what_bears_it_out_is_there(lesson: str) -> None:
    assert [wrong for _, evidence in statements(lesson) if (wrong := unknown(evidence))] == []


@pytest.mark.parametrize("lesson", NUMBERS)
def test_not_all_is_left_to_sources(lesson: str) -> None:
    kinds = [evidence.split()[0] for _, evidence in statements(lesson)]
    assert kinds.count("source") < len(kinds) / 2


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
