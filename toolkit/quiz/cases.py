"""All items, by lesson."""

from __future__ import annotations

from toolkit import course
from toolkit.errors import ScenarioError
from toolkit.quiz import (
    lesson_01,
    lesson_02,
    lesson_03,
    lesson_04,
    lesson_05,
    lesson_06,
    lesson_07,
    lesson_08,
    lesson_09,
    lesson_10,
    lesson_11,
    lesson_12,
    lesson_13,
    lesson_14,
)
from toolkit.quiz.items import Item, offer
from toolkit.quiz.questions import grade, item_hash

__all__ = ["ITEMS", "LESSONS", "Item", "grade", "item_hash", "items_of", "offer"]

ITEMS: tuple[Item, ...] = (
    *lesson_01.ITEMS,
    *lesson_02.ITEMS,
    *lesson_03.ITEMS,
    *lesson_04.ITEMS,
    *lesson_05.ITEMS,
    *lesson_06.ITEMS,
    *lesson_07.ITEMS,
    *lesson_08.ITEMS,
    *lesson_09.ITEMS,
    *lesson_10.ITEMS,
    *lesson_11.ITEMS,
    *lesson_12.ITEMS,
    *lesson_13.ITEMS,
    *lesson_14.ITEMS,
)

LESSONS: dict[str, str] = {lesson.number: lesson.title for lesson in course.LESSONS}


def items_of(lesson: str) -> tuple[Item, ...]:
    """Return the items of a lesson, in the order in which they are asked; ScenarioError if it has none."""
    found = tuple(item for item in ITEMS if item.lesson == lesson)
    if not found:
        raise ScenarioError("lesson", lesson, "one of " + ", ".join(LESSONS), "Give the lesson's two digits.")
    return found
