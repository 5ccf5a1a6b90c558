"""The course's own errors, one family.

CourseError                 anything the course itself refuses, in words meant for the person who typed
├── QuantityError           a typed quantity could not be read ("9 bananas"), or has the wrong dimension
├── ScenarioError           a station, fault or timetable that cannot be built
├── SimulationError         a run that could not be finished; nothing of it is returned
├── AnswerError             a quiz answer that cannot be graded as it stands
├── RecordError             the record of attempts cannot be read or written
├── RoomError               somebody cannot be let into a class, or its folder cannot be used
└── LaunchError             the course cannot be started as asked

Every message says what was given, what was expected, and how to mend it.
"""

from __future__ import annotations


class CourseError(Exception):
    """Base of all errors that the course raises on purpose."""


class QuantityError(CourseError, ValueError):
    """A typed quantity could not be read or has the wrong dimension."""


class ScenarioError(CourseError, ValueError):
    """A scenario value is out of its range or does not fit the rest.

    `field` is the dotted name of the value at fault, `given` what stood there, `expected` what may stand there,
    `mend` what to do about it.
    """

    def __init__(self, field: str, given: object, expected: str, mend: str) -> None:
        super().__init__(f"{field}: {given!r} was given, {expected} was expected. {mend}")
        self.field, self.given, self.expected, self.mend = field, given, expected, mend

    def __reduce__(self) -> tuple[type[ScenarioError], tuple[str, object, str, str]]:
        return type(self), (self.field, self.given, self.expected, self.mend)


class SimulationError(CourseError, RuntimeError):
    """A run could not be finished."""


class AnswerError(CourseError, ValueError):
    """A quiz answer cannot be graded as it stands."""


class RecordError(CourseError, RuntimeError):
    """The record of attempts cannot be read or written."""


class RoomError(CourseError, RuntimeError):
    """Somebody cannot be let into a class, or its folder cannot be used."""


class LaunchError(CourseError, RuntimeError):
    """The course cannot be started as asked."""
