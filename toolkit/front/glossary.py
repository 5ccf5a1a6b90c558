"""The glossary as Markdown: the learners' page, and the table in DEVELOPERS.md."""

from __future__ import annotations

from collections.abc import Mapping

from toolkit.errors import CourseError
from toolkit.front.terms import TERMS, Term
from toolkit.units import display_unit


def developers_table() -> str:
    """The table of DEVELOPERS.md."""
    rows = [f"| {one.term} | {one.code} | {one.unit} | {one.meaning} |" for one in TERMS]
    return "\n".join(["| term | in the code | unit | meaning |", "|---|---|---|---|", *rows]) + "\n"


_HEAD = """\
<!-- Made by `uv run course sheets` from the code of the course; never edit it by hand. -->
# Glossary

The words of the trade as this course uses them, and the lesson that brings each up.
Where the local code or the operator's written procedure gives a word another meaning, theirs counts.

What is reckoned with them: [Formula sheet](formulas.md).
Back to [00 Start here](00_start_here.ipynb).

| term | meaning | shown in | lesson |
|:---|:---|:---|:---|
"""


def glossary(lessons: Mapping[str, str]) -> str:
    """The learners' glossary as Markdown, by the alphabet, from the texts of the lessons by their file names.

    Raises CourseError where a lesson does not say the term that it is to explain.
    """
    found = sorted((one for one in TERMS if one.learners), key=lambda one: one.term.casefold())
    return _HEAD + "".join(_row(one, lessons) for one in found)


def lesson_of(term: Term, lessons: Mapping[str, str]) -> str:
    """File name of the lesson to send a learner to, "" if no lesson says the term; errors as for `glossary`."""
    saying = [name for name, text in sorted(lessons.items()) if term.stands_in(text)]
    if not term.lesson:
        return saying[0] if saying else ""
    for name in saying:
        if name.startswith(term.lesson):
            return name
    raise CourseError(
        f"Lesson {term.lesson} is to explain {term.term!r}, but does not say it. "
        "Name another lesson in toolkit/front/terms.py, or the words that the lesson uses."
    )


def _row(term: Term, lessons: Mapping[str, str]) -> str:
    shown = " or ".join(display_unit(term.shown, system).label for system in ("us", "metric")) if term.shown else ""
    name = lesson_of(term, lessons)
    return f"| **{term.term}** | {term.plain or term.meaning} | {shown} | {f'[{name[:2]}]({name})' if name else ''} |\n"
