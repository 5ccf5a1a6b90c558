"""Every statement that the lessons teach, and what bears it out: `python tests/teaches_table.py` writes TEACHES.md.

A lesson's statements stand in its facts module (`facts_NN.TEACHES`): a sentence of its text, and its evidence, one of
"bench" (the lesson's panel shows it), "item KEY" (a graded question computes it), "test PATH::NAME" and "source KEY".
"""

from __future__ import annotations

import ast
from importlib import import_module
from pathlib import Path

from toolkit.course import LESSONS
from toolkit.quiz.cases import ITEMS
from toolkit.references import SOURCES

HERE = Path(__file__).parent
PATH = HERE / "TEACHES.md"
HEADS = ("statement", "borne out by")


def statements(lesson: str) -> list[tuple[str, str]]:
    """What a lesson teaches, with its evidence, in the order of its facts module."""
    return list(import_module(f"facts_{lesson}").TEACHES)


def panel_tests(lesson: str) -> str:
    """The tests of a lesson's panel."""
    own = f"tests/test_panel_lesson_{lesson}.py"
    return own if (HERE.parent / own).exists() else "tests/test_panels.py"


def unknown(evidence: str) -> str:
    """What is wrong with an evidence: nothing if it is there."""
    kind, _, what = evidence.partition(" ")
    if kind == "item":
        return "" if what in {item.key for item in ITEMS} else f"no item {what}"
    if kind == "source":
        return "" if what in SOURCES else f"no source {what}"
    if kind == "test":
        file, _, name = what.partition("::")
        path = HERE.parent / file
        there = path.is_file() and {n.name for n in ast.parse(path.read_text("utf-8")).body if hasattr(n, "name")}
        return "" if there and name in there else f"no test {what}"
    return "" if evidence == "bench" else f"{evidence!r} is neither bench, item, test nor source"


def markdown() -> str:
    """The whole text of tests/TEACHES.md: a table a lesson."""
    count = sum(len(statements(lesson.number)) for lesson in LESSONS)
    parts = [
        "# What the lessons teach",
        "",
        f"{count} statements of {len(LESSONS)} lessons, word for word, each with the panel, question, test or source "
        "that bears it out. Generated from the facts modules by `python tests/teaches_table.py`; do not edit.",
    ]
    for lesson in LESSONS:
        rows = [
            (said, f"bench, {panel_tests(lesson.number)}" if evidence == "bench" else evidence)
            for said, evidence in statements(lesson.number)
        ]
        parts += ["", f"## {lesson.name}", ""]
        parts += ["| " + " | ".join(cells) + " |" for cells in (HEADS, ["---"] * len(HEADS), *rows)]
    return "\n".join(parts) + "\n"


if __name__ == "__main__":
    PATH.write_text(markdown(), encoding="utf-8")
