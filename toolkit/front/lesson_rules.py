"""What a lesson's notebook must keep: its form, its links, its language, its figures. One rule, one function.

Each rule takes a `Book` and says all that is wrong with it, each with file, place, expectation and mend. The tests of
the lessons go by the same rules, and `course author-check` says them to an author.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import nbformat

from toolkit import panels
from toolkit.course import LESSONS, START, VISIT
from toolkit.figures.device_drawings import DRAWINGS
from toolkit.front.lesson_words import reading_grade, sentences
from toolkit.panels.bench import UNITS
from toolkit.panels.controls import GROUPS, Choice
from toolkit.references import SOURCES, cite

MOST_CODE_CELLS, MOST_CODE_LINES = 8, 25
SHORTEST, LONGEST = 15, 25
# A lab is one pair and its check: short, in the same form.
SHORTEST_LAB = 8
HIGHEST_GRADE, LONGEST_SENTENCE = 9.0, 30
FORM = (
    "What you will be able to do",
    "Before you start",
    "Predict and try",
    "What happened",
    "Worked example",
    "Check yourself",
    "In the field",
    "Sources",
)
START_FORM = (
    "What this course is",
    "Does everything work?",
    "How a lesson goes",
    "Moving the controls",
    "Safety card",
    "The lessons",
    "Your name and your results",
    "What the bench leaves out",
    "What this course is not",
    "To print, to stop, to come back",
    "Sources",
)
START_CELLS = {
    "Does everything work?": "from toolkit.panels.start import self_check\n\nself_check()",
    "The lessons": "from toolkit.panels.course_map import course_map\n\ncourse_map()",
    "Your name and your results": "from toolkit.panels.progress import progress\n\nprogress()",
}
CUT_OPEN = re.compile(r'from toolkit\.panels\.cut_open import cut_open\n\ncut_open\((?:"\w+"(?:, )?)+\)')
LINK = re.compile(r"\]\(([^)]+)\)")


@dataclass(frozen=True)
class Wrong:
    """One thing that is wrong: the file, the place in it, what was found, what was expected, how to mend it."""

    file: str
    place: str
    found: str
    expected: str
    mend: str

    def __str__(self) -> str:
        """The line that an author reads."""
        return f"{self.file}, {self.place}: {self.found}; expected: {self.expected}. {self.mend}"


@dataclass(frozen=True)
class Book:
    """A lesson's notebook: its file and its content as JSON gives it."""

    path: Path
    content: Mapping[str, Any]

    @property
    def number(self) -> str:
        """The two digits at the head of the file's name."""
        return self.path.name[:2]

    @property
    def file(self) -> str:
        """Folder and name, as an author knows it."""
        return f"{self.path.parent.name}/{self.path.name}"

    def cells(self, kind: str) -> list[str]:
        """The sources of all cells of a kind, "markdown" or "code"."""
        return ["".join(cell["source"]) for cell in self.content["cells"] if cell["cell_type"] == kind]

    @cached_property
    def prose(self) -> str:
        """All markdown."""
        return "\n\n".join(self.cells("markdown"))

    @cached_property
    def sections(self) -> dict[str, str]:
        """The text under each heading of the second order."""
        parts = re.split(r"^## (.+)$", self.prose, flags=re.MULTILINE)
        return dict(zip(parts[1::2], parts[2::2], strict=True))

    def wrong(self, place: str, found: object, expected: str, mend: str) -> Wrong:
        """Something wrong with this notebook."""
        return Wrong(self.file, place, str(found), expected, mend)


def read_book(path: Path) -> Book:
    """The notebook of a path. Raises OSError or ValueError where it cannot be read."""
    return Book(path, json.loads(path.read_text(encoding="utf-8")))


# Form


def headings(book: Book) -> Iterator[Wrong]:
    """The title is the course's, the headings are those of the form in order, and something stands under each."""
    titles = {one.number: one.name for one in (START, *LESSONS)}
    first = book.prose.splitlines()[0] if book.prose else ""
    if book.number in titles and first != f"# {titles[book.number]}":
        yield book.wrong(
            "title", repr(first), f"# {titles[book.number]}", "Make it the same here and in toolkit/course.py."
        )
    form = START_FORM if book.number == START.number else FORM
    if tuple(book.sections) != form:
        missing = ", ".join(one for one in form if one not in book.sections) or "none"
        more = ", ".join(one for one in book.sections if one not in form) or "none"
        yield book.wrong(
            "headings", f"missing {missing}; not of the form {more}", ", ".join(form), "Put these, in this order."
        )
    for heading, text in book.sections.items():
        if not text.strip() and heading != "Check yourself":
            yield book.wrong(heading, "nothing", "text under each heading", "Write it.")


def cells(book: Book) -> Iterator[Wrong]:
    """Panel, question and drawings stand under their headings, each one call."""
    above: dict[str, str] = {}
    heading = ""
    for cell in book.content["cells"]:
        source = "".join(cell["source"])
        if cell["cell_type"] == "markdown":
            (heading,) = re.findall(r"^## (.+)$", source, re.MULTILINE)[-1:] or [heading]
        else:
            above[heading] = source
    expected = {
        "Predict and try": f'from toolkit.panels import bench\n\nbench("{book.number}")',
        "Check yourself": f'from toolkit.quiz.widgets import quiz\n\nquiz("{book.number}")',
    }
    if book.number == START.number:
        expected = START_CELLS
    else:
        drawn = above.pop("Before you start", "")
        if drawn and not CUT_OPEN.fullmatch(drawn):
            yield book.wrong("Before you start, code", repr(drawn), "one call of cut_open", 'As in cut_open("vent").')
        for name in re.findall(r'"(\w+)"', drawn):
            if name not in DRAWINGS:
                yield book.wrong(
                    "Before you start, code", name, "a drawing of figures/device_drawings.py", "Name another."
                )
    for place in expected.keys() | above.keys():
        if above.get(place) != expected.get(place):
            yield book.wrong(
                f"{place}, code",
                repr(above.get(place, "no cell")),
                repr(expected.get(place, "no cell")),
                "A lesson has one call for its bench and one for its questions, and no code else.",
            )


def clean(book: Book) -> Iterator[Wrong]:
    """A valid notebook of this course, small, without outputs."""
    names = [cell.get("id") for cell in book.content["cells"]]
    twice = sorted({str(name) for name in names if names.count(name) > 1})
    for name in twice:
        yield book.wrong("cells", f"id {name} twice", "an id of its own for each cell", "Change one.")
    if twice:
        return
    try:
        nbformat.validate(dict(book.content))
    except nbformat.ValidationError as error:
        yield book.wrong("file", str(error).splitlines()[0], "a valid notebook", "Compare it with another lesson.")
        return
    here, code = book.content, book.cells("code")
    about = here["metadata"]
    found = (
        (here["nbformat"], here["nbformat_minor"], about.get("guarded_pressure"), about["kernelspec"]["name"])
        if "kernelspec" in about
        else "no kernel"
    )
    if found != (4, 5, {"lesson": book.number}, "python3"):
        yield book.wrong("metadata", found, "nbformat 4.5, this lesson's number, python3", "Copy it from another.")
    lines = sum(len(source.splitlines()) for source in code)
    if len(code) > MOST_CODE_CELLS or lines > MOST_CODE_LINES:
        yield book.wrong(
            *("code", f"{len(code)} cells, {lines} lines", f"at most {MOST_CODE_CELLS} and {MOST_CODE_LINES}"),
            "Move the work into toolkit/panels.",
        )
    for cell in here["cells"]:
        left = cell["metadata"] or cell.get("outputs") or cell.get("execution_count")
        if left:
            yield book.wrong(
                f"cell {cell['id']}", "output, count or metadata", "none", "Clear all outputs before you save."
            )


def minutes(book: Book) -> Iterator[Wrong]:
    """The minutes stand at its head, a quarter of an hour or a little more, the same as in the course's list."""
    found = re.findall(r"^About (\d+) minutes\.$", book.prose, re.MULTILINE)
    if len(found) != 1:
        yield book.wrong(
            "minutes", f"{len(found)} of them", 'one line "About 20 minutes."', "Write it under the title."
        )
        return
    for one in (START, *LESSONS):
        if one.number != book.number:
            continue
        if int(found[0]) != one.minutes:
            yield book.wrong("minutes", found[0], f"{one.minutes}, as in toolkit/course.py", "Make the two the same.")
        least = SHORTEST_LAB if one.lab else SHORTEST
        if one != START and not least <= int(found[0]) <= LONGEST:
            yield book.wrong("minutes", found[0], f"{least} to {LONGEST}", "Shorten or split the lesson.")


def links(book: Book) -> Iterator[Wrong]:
    """Each link and image leads to a file that is there, and to a heading that is there."""
    found = LINK.findall(book.prose)
    if not found:
        yield book.wrong("links", "none", "links to the lessons before and after", "Add the last line.")
    for link in found:
        name, _, anchor = unquote(link).partition("#")
        path = book.path.parent / name
        if not path.is_file():
            yield book.wrong(f"link {link}", "no such file", f"a file in {book.path.parent.name}/", "Mend the name.")
        elif anchor and anchor not in {heading.replace(" ", "-") for heading in read_book(path).sections}:
            yield book.wrong(f"link {link}", "no such heading", f"a heading of {name}", "Mend what stands after #.")


def last_line(book: Book) -> Iterator[Wrong]:
    """The last line leads back and onward, in the order of the course's list."""
    names = [one.file for one in (START, *LESSONS)]
    if book.path.name not in names:
        return
    place = names.index(book.path.name)
    # After the last lesson there are the cases without end, or the start again.
    before, after = names[max(0, place - 1) : place], names[place + 1 :][:1] or [VISIT.file, START.file]
    found = LINK.findall(book.prose.rstrip().splitlines()[-1])
    if found not in [[*before, one] for one in after]:
        yield book.wrong("last line", f"links to {found}", f"links to {before} and {after[0]}", "Lead back and onward.")


def sources(book: Book) -> Iterator[Wrong]:
    """Sources are cited as the course cites them, each once."""
    listed = re.findall(r"^- (.+)$", book.sections.get("Sources", ""), re.MULTILINE)
    if not listed:
        yield book.wrong("Sources", "none", "one or more lines of toolkit.references.cite", "Cite what is told.")
    known = {cite(key) for key in SOURCES}
    for line in dict.fromkeys(listed):
        if line not in known:
            yield book.wrong("Sources", repr(line), "a line that cite(key) gives", "See toolkit/references.py.")
        if listed.count(line) > 1:
            yield book.wrong("Sources", repr(line), "each source once", "Leave one out.")


def cautions(book: Book) -> Iterator[Wrong]:
    """Cautions come first, and what never to do stands in the field's part."""
    if book.number == START.number:
        return
    before, field = (book.sections.get(heading, "") for heading in ("Before you start", "In the field"))
    for words in ("(00_start_here.ipynb#Safety-card)", "written procedure", "local code"):
        if words not in before:
            yield book.wrong("Before you start", "missing", repr(words), "Say it before the bench opens.")
    count = len(re.findall(r"^- Never ", before, re.MULTILINE))
    if count < 2:
        yield book.wrong("Before you start", f'{count} of "- Never"', "two or more", "Say what could hurt somebody.")
    does, found, never = field.partition("**What never to do.**")
    if not found or "**What to do" not in does:
        yield book.wrong(
            "In the field", "missing", '"**What to do.**", then "**What never to do.**"', "Put both, in this order."
        )
    count = len(re.findall(r"^Never ", never, re.MULTILINE))
    if count < 3:
        yield book.wrong("In the field, what never to do", f'{count} of "Never"', "three or more", "Add them.")


def controls(book: Book) -> Iterator[Wrong]:
    """The text names controls and choices as the bench does."""
    if book.number not in panels.LESSONS:
        return
    text, here = book.sections.get("Predict and try", ""), (*panels.LESSONS[book.number].BENCH.controls, UNITS)
    named = re.findall(r"\*\*(.+?)\*\*", text)
    labels = {control.label for control in here}
    options = {words for control in here if isinstance(control, Choice) for words, _ in control.options}
    if not named:
        yield book.wrong("Predict and try", "no control named", "one or more in **bold**", "Say what to move.")
    for words in named:
        if words not in labels:
            yield book.wrong("Predict and try", f"**{words}**", "one of " + ", ".join(labels), "Name it as the bench.")
    for words in re.findall(r"(?<!\*)\*([^*]+)\*(?!\*)", text):
        if words not in options:
            yield book.wrong("Predict and try", f"*{words}*", "one of " + ", ".join(options), "Name it as the bench.")
    for control in here:
        if control.group not in GROUPS:
            yield Wrong(
                *(f"toolkit/panels/lesson_{book.number}.py", control.label, control.group),
                *("a group of panels.controls.GROUPS", "Choose one."),
            )


# Language


def reading(book: Book) -> Iterator[Wrong]:
    """It reads easily: grade level and length of sentences."""
    text = "".join(body for heading, body in book.sections.items() if heading != "Sources")
    grade = reading_grade(text)
    if grade > HIGHEST_GRADE:
        yield book.wrong("text", f"grade {grade:.1f}", f"at most {HIGHEST_GRADE:g}", "Shorter sentences and words.")
    for words in sentences(text):
        if len(words) > LONGEST_SENTENCE:
            yield book.wrong(
                f'"{" ".join(words[:6])} ..."', f"{len(words)} words", f"at most {LONGEST_SENTENCE}", "Make two of it."
            )


def lines(book: Book) -> Iterator[Wrong]:
    """The source holds one sentence a line."""
    cited = book.sections.get("Sources", "")
    for line in book.prose.replace("in. w.c.", "inches").splitlines():
        plain = re.sub(r"^(\s*[-|]|\s*\d+\.) ?|\*\*[^*]+[.:?]\*\* ?", "", line)
        if not line.startswith(("|", "- Title")) and line not in cited and re.search(r"[.?!] [A-Z]", plain):
            yield book.wrong(f'"{line[:40]} ..."', "two sentences", "one sentence a line", "Break the line.")


RULES: tuple[Callable[[Book], Iterator[Wrong]], ...] = (
    *(headings, cells, clean, minutes, links, last_line, sources, cautions, controls, reading, lines),
)
