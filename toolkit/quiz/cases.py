"""All items, by lesson."""

from __future__ import annotations

from dataclasses import replace

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
    lesson_15,
    lesson_16,
    lesson_17,
    lesson_18,
    lesson_19,
    lesson_20,
    trouble_items,
)
from toolkit.quiz.items import ABNORMAL, KNOWLEDGE, Item, offer
from toolkit.quiz.questions import grade, item_hash

__all__ = ["ITEMS", "LESSONS", "Item", "grade", "item_hash", "items_of", "offer", "section_of"]

# Items that show the readings or the run of a station in trouble, and ask what is wrong or what to do about it.
_ABNORMAL = (
    *("02.lost_hold", "03.fault_shows", "03.high", "03.low", "03.any"),
    *("04.relief_opened", "04.above_rating", "04.at_the_vent"),
    *("05.took_over", "05.between", "05.worker_out", "06.creep_stops", "06.visit", "07.opens", "07.state"),
    *("08.tripped", "08.steps", "08.reset", "08.cause", "09.reason", "10.stands", "11.read", "11.acted"),
    *("12.gone", "13.hidden", "14.gone", "14.second", "14.worker_out"),
)

_GIVEN: tuple[Item, ...] = (
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
    *lesson_15.ITEMS,
    *lesson_16.ITEMS,
    *lesson_17.ITEMS,
    *lesson_18.ITEMS,
    *lesson_19.ITEMS,
    *lesson_20.ITEMS,
)

ITEMS: tuple[Item, ...] = tuple(replace(item, section=ABNORMAL) if item.key in _ABNORMAL else item for item in _GIVEN)
_SECTIONS = {item.key: item.section for item in ITEMS} | dict(trouble_items.SECTIONS)

LESSONS: dict[str, str] = {lesson.number: lesson.title for lesson in course.LESSONS}


def items_of(lesson: str) -> tuple[Item, ...]:
    """Return the items of a lesson, in the order in which they are asked; ScenarioError if it has none."""
    found = tuple(item for item in ITEMS if item.lesson == lesson)
    if not found:
        raise ScenarioError("lesson", lesson, "one of " + ", ".join(LESSONS), "Give the lesson's two digits.")
    return found


def section_of(item_key: str) -> str:
    """The section that an item counts in; one that this course does not know counts as knowledge."""
    return _SECTIONS.get(item_key, KNOWLEDGE)
