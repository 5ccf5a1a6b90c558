"""`course new-lesson NN "Title"`: the files of a new lesson, with what is still to be written marked, and what to add.

The files open and run as they are, so that an author sees each change. `course author-check --lesson NN` lists each
mark that is left. The templates lie in `lesson_template/`.
"""

from __future__ import annotations

import json
import re
from argparse import Namespace
from importlib import resources
from pathlib import Path
from string import Template
from typing import Any

from toolkit.classroom import files
from toolkit.course import LESSONS, START, VISIT
from toolkit.errors import LaunchError
from toolkit.front.author_lessons import MARK
from toolkit.front.lesson_rules import LONGEST, SHORTEST
from toolkit.front.terminal import say

_CODE = re.compile(r"^```python\n(.*?)\n```$", re.MULTILINE | re.DOTALL)
LONGEST_TITLE = 40


def run(asked: Namespace) -> None:
    """Write the files of a lesson, and tell the lines to add. LaunchError where something is there already or unfit."""
    for path, text in made(asked.folder, asked.number, asked.title, asked.minutes).items():
        files.write(path, text.encode("utf-8"))
        say(f"Wrote {path.relative_to(asked.folder).as_posix()}.\n")
    say("\n" + lines_to_add(asked.number, asked.title, asked.minutes))


def made(folder: Path, number: str, title: str, minutes: int) -> dict[Path, str]:
    """The files of a new lesson and their texts. LaunchError where something is there already or unfit."""
    if not (folder / "toolkit" / "course.py").is_file():
        raise LaunchError(f"{folder.resolve()} is no source folder of the course: go there, or give it with --folder.")
    if not re.fullmatch(r"[0-9]{2}", number) or number in {one.number for one in (START, *LESSONS, VISIT)}:
        free = next(f"{one:02}" for one in range(1, 100) if f"{one:02}" not in {o.number for o in (*LESSONS, VISIT)})
        raise LaunchError(f"number: {number!r} was given, two digits not yet taken were expected. {free} is free.")
    if not re.fullmatch(rf"[A-Z][A-Za-z0-9 ,'-]{{2,{LONGEST_TITLE - 1}}}", title):
        raise LaunchError(
            f"title: {title!r} was given, 3 to {LONGEST_TITLE} letters, digits, spaces, commas, hyphens and "
            "apostrophes, the first a capital, were expected. Shorten or mend it."
        )
    if not SHORTEST <= minutes <= LONGEST:
        raise LaunchError(f"--minutes: {minutes} was given, {SHORTEST} to {LONGEST} were expected. Split the lesson.")
    words = _words(number, title, minutes)
    texts = {
        folder / "toolkit" / "panels" / f"lesson_{number}.py": _filled("panel.py.txt", words),
        folder / "toolkit" / "quiz" / f"lesson_{number}.py": _filled("quiz.py.txt", words),
        folder / "tests" / f"facts_{number}.py": _filled("facts.py.txt", words),
        folder / "lessons" / file_of(number, title): notebook(number, _filled("lesson.md", words)),
    }
    taken = [path for path in [*texts, *sorted((folder / "lessons").glob(f"{number}_*.ipynb"))] if path.exists()]
    if taken:
        raise LaunchError(f"{taken[0].name} is there already: take another number, or move that file away first.")
    return texts


def file_of(number: str, title: str) -> str:
    """The notebook's name: number and title in small letters."""
    return f"{number}_{'_'.join(re.findall(r'[a-z0-9]+', title.lower()))}.ipynb"


def notebook(number: str, text: str) -> str:
    """A notebook of a Markdown text: a cell for the title and for each heading, one for each piece of code."""
    cells: list[dict[str, Any]] = []
    for part in re.split(r"^(?=## )", text, flags=re.MULTILINE):
        heading = re.sub(r"[^a-z0-9]+", "-", part.splitlines()[0].lower()).strip("-")
        prose, *codes = _CODE.split(part)
        cells.append(_cell("markdown", f"lesson-{number}-{heading}", prose))
        for place, source in enumerate(codes[::2]):
            cells.append(_cell("code", f"lesson-{number}-{heading}-{place}", source))
    about = {
        "guarded_pressure": {"lesson": number},
        "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
        "language_info": {"name": "python"},
    }
    whole = {"cells": cells, "metadata": about, "nbformat": 4, "nbformat_minor": 5}
    return json.dumps(whole, ensure_ascii=False, indent=1) + "\n"


def lines_to_add(number: str, title: str, minutes: int) -> str:
    """What an author adds to the lists of the course, file by file."""
    file, before = file_of(number, title), LESSONS[-1]
    return f"""\
Add these lines:

toolkit/course.py, at the end of LESSONS:
    Lesson("{number}", "{title}", "{file}", {minutes}, "{MARK}: what it is about"),
toolkit/panels/__init__.py, in the import and in LESSONS:
    lesson_{number},
    "{number}": lesson_{number},
toolkit/quiz/cases.py, in the import and at the end of _GIVEN:
    lesson_{number},
    *lesson_{number}.ITEMS,
README.md, at the end of the table of lessons:
    | [{number} {title}](lessons/{file}) | {minutes} | {MARK}: what is new | {MARK}: what one can do |
lessons/{before.file}, in its last line:
    Next: [{number} {title}]({file})

Then: uv run course author-check --lesson {number}
"""


def _words(number: str, title: str, minutes: int) -> dict[str, str]:
    before = LESSONS[-1]
    return {
        "number": number,
        "title": title,
        "minutes": str(minutes),
        "before_name": before.name,
        "before_file": before.file,
        "after_name": VISIT.name,
        "after_file": VISIT.file,
    }


def _filled(name: str, words: dict[str, str]) -> str:
    file = resources.files("toolkit") / "front" / "lesson_template" / name
    return Template(file.read_bytes().decode("utf-8")).substitute(words)


def _cell(kind: str, name: str, source: str) -> dict[str, Any]:
    cell: dict[str, Any] = {"cell_type": kind, "id": name, "metadata": {}}
    if kind == "code":
        cell |= {"execution_count": None, "outputs": []}
    return cell | {"source": source.strip().splitlines(keepends=True)}
