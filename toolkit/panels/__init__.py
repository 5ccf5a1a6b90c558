"""The panels of the lessons: `bench("03")` is the panel of lesson 03, behind its prediction."""

from __future__ import annotations

from contextlib import suppress

from toolkit.classroom.record import Record
from toolkit.errors import CourseError, ScenarioError
from toolkit.panels import (
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
)
from toolkit.panels.predict import PredictThenTry

__all__ = ["bench"]

LESSONS = {
    "01": lesson_01,
    "02": lesson_02,
    "03": lesson_03,
    "04": lesson_04,
    "05": lesson_05,
    "06": lesson_06,
    "07": lesson_07,
    "08": lesson_08,
    "09": lesson_09,
    "10": lesson_10,
    "11": lesson_11,
    "12": lesson_12,
    "13": lesson_13,
    "14": lesson_14,
    "15": lesson_15,
    "16": lesson_16,
    "17": lesson_17,
    "18": lesson_18,
    "19": lesson_19,
    "20": lesson_20,
}


def bench(lesson: str) -> PredictThenTry:
    """The prediction and panel of a lesson, in the units and on the screen that were last chosen."""
    if lesson not in LESSONS:
        raise ScenarioError("lesson", lesson, "one of " + ", ".join(LESSONS), "Give the lesson's two digits.")
    record = Record()
    try:
        units, screen = record.units(), record.screen()
    except CourseError:
        units, screen = "us", "desk"  # lesson 00 says what is wrong with the record; the bench needs none

    def keep(chosen: str) -> None:
        # A bench goes on where nothing can be written.
        with suppress(CourseError):
            record.set_screen(chosen)

    made = LESSONS[lesson]
    return PredictThenTry(made.PREDICTION, made.BENCH, units, screen, keep)
