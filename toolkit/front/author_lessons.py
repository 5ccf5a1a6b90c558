"""All that is wrong with a lesson at once: its notebook, its panel and questions, its facts, its lines in the lists."""

from __future__ import annotations

import importlib
import re
import sys
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from types import ModuleType

from toolkit import panels
from toolkit.course import LESSONS, START, VISIT, Lesson
from toolkit.front.lesson_facts import figures, items, taught, told
from toolkit.front.lesson_rules import RULES, Book, Wrong, read_book
from toolkit.quiz.cases import ITEMS

# What stands in a new lesson wherever its author has still to write.
MARK = "FILL IN"


def numbers(folder: Path) -> tuple[str, ...]:
    """The lessons of a source folder, listed in the course or not; not the page of cases, which has a form of its own.

    `folder` is where `lessons`, `toolkit` and `tests` lie.
    """
    there = {path.name[:2] for path in (folder / "lessons").glob("[0-9][0-9]_*.ipynb")}
    return tuple(sorted(({one.number for one in (START, *LESSONS)} | there) - {VISIT.number}))


def lesson_wrong(folder: Path, number: str) -> Iterator[Wrong]:
    """All that is wrong with a lesson of a source folder."""
    yield from placeholders(folder, number)
    yield from lists(folder, number)
    paths = sorted((folder / "lessons").glob(f"{number}_*.ipynb"))
    if len(paths) != 1:
        yield Wrong(
            "lessons/", number, f"{len(paths)} notebooks", f"one {number}_title.ipynb", "See course new-lesson."
        )
        return
    try:
        book = read_book(paths[0])
        for rule in RULES:
            yield from rule(book)
    except (OSError, ValueError, KeyError, TypeError) as error:
        yield Wrong(f"lessons/{paths[0].name}", "file", repr(error), "a notebook", "Compare it with another lesson.")
        return
    if number != START.number:
        yield from items(number)
        yield from facts_wrong(folder, book)


def lists(folder: Path, number: str) -> Iterator[Wrong]:
    """A lesson's lines in the lists of the course."""
    known: dict[str, Lesson] = {one.number: one for one in (START, *LESSONS)}
    if number not in known:
        yield Wrong("toolkit/course.py", "LESSONS", f"no {number}", "a line of its own", "Add Lesson(...).")
    else:
        row = f"| [{known[number].name}](lessons/{known[number].file}) | {known[number].minutes} |"
        readme = folder / "README.md"
        if not readme.is_file() or row not in readme.read_text(encoding="utf-8"):
            yield Wrong("README.md", "Lessons", f"no row of {number}", repr(row), "Add it to the table.")
    if number == START.number:
        return
    if number not in panels.LESSONS:
        yield Wrong("toolkit/panels/__init__.py", "LESSONS", f"no {number}", "its module", "Add two lines.")
    if not any(item.lesson == number for item in ITEMS):
        yield Wrong("toolkit/quiz/cases.py", "_GIVEN", f"no {number}", "its ITEMS", "Add two lines.")
    for file in files(number):
        if not (folder / file).is_file():
            yield Wrong(file, "file", "not there", "a module", "See course new-lesson.")


def files(number: str) -> tuple[str, ...]:
    """The modules that a lesson has, below the source folder."""
    return (f"toolkit/panels/lesson_{number}.py", f"toolkit/quiz/lesson_{number}.py", f"tests/facts_{number}.py")


def placeholders(folder: Path, number: str) -> Iterator[Wrong]:
    """What `course new-lesson` left for the author to write and nobody has written yet."""
    for file in files(number):
        if (folder / file).is_file():
            text = (folder / file).read_text(encoding="utf-8")
            for place, line in enumerate(text.splitlines(), 1):
                yield from _left(file, f"line {place}", line)
    for path in sorted((folder / "lessons").glob(f"{number}_*.ipynb")):
        with suppress(OSError, ValueError, KeyError, TypeError):  # told as a whole
            for heading, text in read_book(path).sections.items():
                yield from _left(f"lessons/{path.name}", heading, text)
    for one in LESSONS:
        if one.number == number:
            yield from _left("toolkit/course.py", number, one.about)
    readme = folder / "README.md"
    if readme.is_file():
        for line in readme.read_text(encoding="utf-8").splitlines():
            if f"(lessons/{number}_" in line:
                yield from _left("README.md", number, line.replace("|", "\n"))


def _left(file: str, place: str, text: str) -> Iterator[Wrong]:
    """Each mark in a text, with the words behind it."""
    for words in re.findall(rf"{MARK}:? ?(.*?)(?=[\"\n]|{MARK}|$)", text):
        yield Wrong(file, place, f"{MARK}: {words}".strip(" :"), "your own words", "Write them in place of this.")


def facts_wrong(folder: Path, book: Book) -> Iterator[Wrong]:
    """What the facts module says that the notebook does not, and the other way round."""
    file = f"tests/facts_{book.number}.py"
    if not (folder / file).is_file():
        return
    try:
        facts, teaches = (_of_tests(folder, name) for name in (f"facts_{book.number}", "teaches_table"))
        yield from figures(book, facts)
        for words, key in getattr(facts, "TOLD", ()):
            yield from told(book, words, key)
        unknown: Callable[[str], str] = teaches.unknown
        yield from taught(book, facts, unknown)
    except Exception as error:  # an author's own module may fail in any way
        yield Wrong(file, "module", f"{type(error).__name__} {error}", "NUMBERS, TOLD and TEACHES", "Mend it.")


def _of_tests(folder: Path, name: str) -> ModuleType:
    """A module of the tests of a source folder."""
    place = str((folder / "tests").resolve())
    if place not in sys.path:
        sys.path.insert(0, place)
    return importlib.import_module(name)
