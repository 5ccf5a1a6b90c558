"""The walk-throughs of DEVELOPERS.md, carried out as they stand there, each in a copy of the course.

"Write `FILE`:", "At the end of `FILE`, add:" and "In `FILE`, below `LINE`, add:" stand before what is written; in a
console block each line after "$" is run, and what stands below it must be in what it says.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from argparse import ArgumentParser
from collections.abc import Iterator
from pathlib import Path

import pytest

from toolkit.front.command import _parser, main

ROOT = Path(__file__).parents[1]
TEXT = (ROOT / "DEVELOPERS.md").read_text("utf-8")
WALKS = ("Your first station", "Your first case", "Your first lesson", "Your first fault")
COPIED = ("toolkit", "lessons", "tests", "README.md", "DEVELOPERS.md", "pyproject.toml")
PROGRAMS = {
    "uv run course": f'"{sys.executable}" -m toolkit.front.command',
    "uv run pytest": f'"{sys.executable}" -m pytest -p no:cacheprovider',
    "uv run python": f'"{sys.executable}"',
}
WRITE = re.compile(r"^(?:.*\. )?Write `(?P<file>[^`]+)`:$")
END = re.compile(r"^(?:.*\. )?At the end of `(?P<file>[^`]+)`, add:$")
BELOW = re.compile(r"^(?:.*\. )?In `(?P<file>[^`]+)`, below `(?P<line>[^`]+)`, add:$")
TOLD = "Add the lines that it tells, each where it says."


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """A copy of the course to change."""
    for name in COPIED:
        if (ROOT / name).is_dir():
            shutil.copytree(ROOT / name, tmp_path / name, ignore=shutil.ignore_patterns("__pycache__", ".ipynb_*"))
        else:
            shutil.copy(ROOT / name, tmp_path / name)
    return tmp_path


def section(heading: str) -> str:
    found = re.search(rf"^## {heading}\n(.*?)(?=^## )", TEXT, re.MULTILINE | re.DOTALL)
    assert found, heading
    return found[1]


def pieces(text: str) -> Iterator[tuple[str, str]]:
    """(line of prose, "") and (kind of block, its text), in order."""
    parts = re.split(r"^```(\w+)\n(.*?)^```$", text, flags=re.MULTILINE | re.DOTALL)
    for place in range(0, len(parts), 3):
        yield from ((line, "") for line in parts[place].splitlines() if line)
        if place + 1 < len(parts):
            yield parts[place + 1], parts[place + 2]


def put(path: Path, line: str, text: str, *, above: bool = False) -> None:
    """Put a text below, or above, the first line that has these words."""
    lines = path.read_text("utf-8").splitlines(keepends=True)
    place = next((number for number, one in enumerate(lines) if line in one), None)
    assert place is not None, f"{path.name} has no line {line!r}"
    lines.insert(place + (not above), text)
    path.write_text("".join(lines), "utf-8")


def close(path: Path, begins: str, ends: str, text: str) -> None:
    """Put a text at the end of what begins with one line and ends with the next that is another."""
    lines = path.read_text("utf-8").splitlines(keepends=True)
    first = next(number for number, one in enumerate(lines) if one.startswith(begins))
    last = next(number for number in range(first, len(lines)) if lines[number].rstrip() == ends)
    lines.insert(last, text)
    path.write_text("".join(lines), "utf-8")


def add_told(folder: Path, said: str) -> None:
    """What `new-lesson` tells an author to add, added where it says."""
    told = dict(re.findall(r"^(\S+), [^\n]*:\n((?:    .+\n)+)", said, re.MULTILINE))
    (course,) = told.pop("toolkit/course.py").splitlines(keepends=True)
    close(folder / "toolkit/course.py", "LESSONS = (", ")", course)
    imported, listed = told.pop("toolkit/panels/__init__.py").splitlines(keepends=True)
    close(folder / "toolkit/panels/__init__.py", "from toolkit.panels import (", ")", imported)
    close(folder / "toolkit/panels/__init__.py", "LESSONS = {", "}", listed)
    imported, listed = told.pop("toolkit/quiz/cases.py").splitlines(keepends=True)
    close(folder / "toolkit/quiz/cases.py", "from toolkit.quiz import (", ")", imported)
    close(folder / "toolkit/quiz/cases.py", "_GIVEN", ")", listed)
    close(folder / "README.md", "| [00 Start here]", "", told.pop("README.md").strip() + "\n")
    ((before, onward),) = told.items()
    found = re.fullmatch(r"Next: \[(.+)\]\((.+)\)", onward.strip())
    assert found
    text = (folder / before).read_text("utf-8")
    (folder / before).write_text(re.sub(r"Next: \[.+?\]\(.+?\)", f"Next: [{found[1]}]({found[2]})", text), "utf-8")


def ran(folder: Path, command: str) -> str:
    """What a command says, both ways; it may end with 2 only where it has told what is to mend."""
    for words, program in PROGRAMS.items():
        command = command.replace(words, program)
    own = {"GUARDED_PRESSURE_DATA": str(folder / "data"), "PYTHONPATH": str(folder), "PYTHONDONTWRITEBYTECODE": "1"}
    # A person at a desk asks for no browser and shares nothing out, whatever this run does.
    around = {key: value for key, value in os.environ.items() if not key.startswith(("COURSE_", "PYTEST_"))}
    done = subprocess.run(
        command, shell=True, cwd=folder, env=around | own, capture_output=True, text=True, check=False
    )
    said = done.stdout + done.stderr
    assert done.returncode == (2 if " to mend.\n" in said else 0), f"{command}\n{said}"
    return said


def walked(folder: Path, text: str) -> None:
    where: tuple[str, str, str] | None = None
    said = ""
    for kind, block in pieces(text):
        if kind == "console":
            for line in block.splitlines():
                if line.startswith("$ "):
                    said = ran(folder, line[2:])
                else:
                    assert line in said, f"{line!r} is not in\n{said}"
        elif block:
            assert where, f"nothing says what becomes of\n{block}"
            how, file, anchor = where
            path, where = folder / file, None
            if how == "write":
                path.write_text(block, "utf-8")
            elif how == "end":
                gap = "\n\n" if path.suffix == ".py" else "\n"
                path.write_text(path.read_text("utf-8").rstrip("\n") + "\n" + gap + block, "utf-8")
            else:
                put(path, anchor, block)
        elif kind == TOLD:
            add_told(folder, said)
        elif found := WRITE.match(kind):
            where = ("write", found["file"], "")
        elif found := END.match(kind):
            where = ("end", found["file"], "")
        elif found := BELOW.match(kind):
            where = ("below", found["file"], found["line"])


@pytest.mark.parametrize("heading", WALKS)
def test_a_walk_through_is_as_it_says(copy: Path, heading: str) -> None:
    walked(copy, section(heading))


def test_a_walk_that_no_longer_holds_is_found(copy: Path) -> None:
    """Each kind of step can fail: a line that is not said, an anchor that is gone, a block that goes nowhere."""
    for text, words in (
        ("```console\n$ uv run course stations\nno such station\n```\n", "no such station"),
        ("In `README.md`, below `no such line`, add:\n\n```toml\nx = 1\n```\n", "no such line"),
        ("Some prose.\n\n```toml\nx = 1\n```\n", "nothing says"),
        ("```console\n$ uv run course check nowhere.toml\n```\n", "nowhere"),
    ):
        with pytest.raises(AssertionError, match=words):
            walked(copy, text)


def test_the_commands_are_all_in_the_table() -> None:
    tasks = next(action for action in _parser(ArgumentParser)._actions if action.dest == "task")
    assert isinstance(tasks.choices, dict)
    assert [name for name in tasks.choices if not re.search(rf"\b{name}\b", section("Commands"))] == []


def test_the_map_names_all_at_the_top_of_the_toolkit() -> None:
    there = [path for path in (ROOT / "toolkit").iterdir() if path.name[0] not in "._"]
    names = [f"{path.name}/" if path.is_dir() else path.name for path in there if path.is_dir() or path.suffix == ".py"]
    assert [name for name in names if name not in section("The house")] == []


def test_new_lesson_refuses_what_cannot_be(copy: Path) -> None:
    folder = ["--folder", str(copy)]
    assert main(["new-lesson", "99", "A tap", *folder]) == 0
    for words in (["99", "Another"], ["08", "Taken"], ["9", "One digit"], ["98", "../up"], ["98", ""]):
        assert main(["new-lesson", *words, *folder]) == 2, words
    assert main(["new-lesson", "98", "Long", "--minutes", "90", *folder]) == 2
    assert main(["new-lesson", "98", "Nowhere", "--folder", str(copy / "lessons")]) == 2
    assert {path.name for path in copy.rglob("*98*") if path.is_file() and "lesson" in path.name} == set()
