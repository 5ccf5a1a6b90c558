"""What a lesson must have beside its notebook: its figures worked out, its statements borne out, its questions.

A facts module (`tests/facts_NN.py`) has NUMBERS (what stands under a heading, worked out anew), SAID_IN_WORDS (trade
figures that no calculation gives), TOLD (rules told in the field, with their source) and TEACHES (statements, with what
bears them out).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from types import ModuleType

from toolkit.course import LESSONS
from toolkit.errors import CourseError
from toolkit.front.lesson_rules import Book, Wrong
from toolkit.quiz.cases import ITEMS
from toolkit.quiz.items import offer
from toolkit.references import SOURCES, cite

NUMBER = re.compile(r"\d+(?:,\d{3})*(?:\.\d+)?")
WORKED_OUT = ("Worked example", "What happened")
FEWEST_STATEMENTS = 8
FEWEST_ITEMS, FEWEST_KINDS, FEWEST_ITEMS_OF_A_LAB = 5, 3, 3
# The first lessons have fewer kinds of things to ask about, and so has a lab.
KINDS_OF_FIRST, FIRST = 2, ("01", "02", "03", "04")
LONGEST_OBJECTIVE = 89


def figures(book: Book, facts: ModuleType) -> Iterator[Wrong]:
    """All numbers under all headings of a facts module; one that cannot be worked out is told."""
    for heading in WORKED_OUT:
        if heading not in facts.NUMBERS:
            yield _of(book, "NUMBERS", f"no {heading!r}", "both " + " and ".join(WORKED_OUT), "Add its function.")
    for heading in facts.NUMBERS:
        try:
            yield from numbers(book, facts, heading)
        except Exception as error:  # whatever an author's own function raises is told beside the rest
            said = f"{type(error).__name__} {error}".strip().splitlines()[0]
            yield _of(book, f"NUMBERS, {heading}", said, "a function that works the numbers out", "Mend it.")


def numbers(book: Book, facts: ModuleType, heading: str) -> Iterator[Wrong]:
    """Each number under a heading is what the facts module works out, and each that it works out stands there."""
    text = re.sub(r"^\s*\d+\. ", "", book.sections.get(heading, ""), flags=re.MULTILINE)
    expected: Mapping[str, str] = facts.NUMBERS[heading]()
    for step, said in expected.items():
        if said not in text:
            yield book.wrong(heading, f"{step} is not there", repr(said), "Write it so, or mend what works it out.")
    in_words = getattr(facts, "SAID_IN_WORDS", {}).get(heading, ())
    known = {number for said in (*expected.values(), *in_words) for number in NUMBER.findall(said)}
    for number in sorted(set(NUMBER.findall(text)) - known):
        yield book.wrong(heading, f"{number}, unchecked", "numbers that the facts module works out", "Add it there.")


def told(book: Book, words: str, key: str) -> Iterator[Wrong]:
    """A rule told in the field stands there, and its source below."""
    if words not in book.sections.get("In the field", ""):
        yield book.wrong("In the field", "not in the text", repr(words), "Write it there, or mend TOLD.")
    if key not in SOURCES or cite(key) not in book.sections.get("Sources", ""):
        yield book.wrong("Sources", f"{key} is not listed", "the source of each rule told", "Add its line.")


def taught(book: Book, facts: ModuleType, unknown: Callable[[str], str]) -> Iterator[Wrong]:
    """Statements enough, each word for word in the text, each borne out; `unknown` says what is wrong with evidence."""
    said = [statement for statement, _ in facts.TEACHES]
    if len(said) < FEWEST_STATEMENTS:
        yield _of(book, "TEACHES", f"{len(said)} statements", f"{FEWEST_STATEMENTS} or more", "Add what it teaches.")
    for statement, evidence in facts.TEACHES:
        if statement not in book.prose:
            yield book.wrong("text", "not in the text", repr(statement), "Write it word for word, or mend TEACHES.")
        if said.count(statement) > 1:
            yield _of(book, "TEACHES", repr(statement), "each statement once", "Leave one out.")
        if wrong := unknown(evidence):
            yield _of(book, "TEACHES", wrong, "bench, item KEY, test PATH::NAME or source KEY", "Mend the evidence.")
    kinds = [evidence.split()[0] for _, evidence in facts.TEACHES]
    if kinds and kinds.count("source") >= len(kinds) / 2:
        yield _of(book, "TEACHES", "half or more by sources", "most shown by the course itself", "Show more of it.")


def items(lesson: str) -> Iterator[Wrong]:
    """Questions enough, of kinds enough, each of which can be made; their keys and objectives."""
    here, file = [item for item in ITEMS if item.lesson == lesson], f"toolkit/quiz/lesson_{lesson}.py"
    lab = any(one.lab for one in LESSONS if one.number == lesson)
    kinds = set()
    for item in here:
        for seed, units in ((0, "us"), (1, "metric")):
            try:
                kinds.add(type(offer(item, seed, units)))
            except (CourseError, ArithmeticError, LookupError, TypeError, ValueError) as error:
                yield Wrong(file, item.key, f"seed {seed}: {error}", "a question for any seed", "Mend its function.")
        if not item.key.startswith(f"{lesson}."):
            yield Wrong(file, item.key, "its key", f"{lesson}. and a word", "Begin it with the lesson's number.")
        if not item.objective.endswith(".") or len(item.objective) > LONGEST_OBJECTIVE:
            yield Wrong(
                *(file, item.key, repr(item.objective), f"one sentence of at most {LONGEST_OBJECTIVE} signs"),
                "Say what one is able to do.",
            )
    for what in ("key", "objective"):
        every = [getattr(item, what) for item in ITEMS]
        for one in sorted({getattr(item, what) for item in here if every.count(getattr(item, what)) > 1}):
            yield Wrong(file, what, repr(one), "another than that of any other question", "Change it.")
    fewest = FEWEST_ITEMS_OF_A_LAB if lab else FEWEST_ITEMS
    fewest_kinds = KINDS_OF_FIRST if lesson in FIRST else FEWEST_KINDS
    if len(here) < fewest or len(kinds) < fewest_kinds:
        yield Wrong(
            *(file, "ITEMS", f"{len(here)} questions of {len(kinds)} kinds"),
            *(f"{fewest} or more of {fewest_kinds} or more kinds", "Add questions."),
        )


def _of(book: Book, place: str, found: str, expected: str, mend: str) -> Wrong:
    """Something wrong with the facts module of a lesson."""
    return Wrong(f"tests/facts_{book.number}.py", place, found, expected, mend)
