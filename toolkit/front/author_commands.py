"""What authors may say after `course`: `author-check`, `new-lesson`. Their work is loaded only when asked for."""

from __future__ import annotations

import argparse
from pathlib import Path


def add_parsers(tasks: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add what may be said after each of the two words."""
    check = tasks.add_parser("author-check", help="say all that is wrong with stations, sessions, cases and lessons")
    for flag, metavar, what in (
        ("--station", "FILE", "a station file, or the name of a shipped one"),
        ("--session", "FILE", "a session file, or the name of a shipped one"),
        ("--bank", "FILE", "a file of reviewed cases"),
        ("--lesson", "NN", "a lesson's two digits"),
    ):
        check.add_argument(flag, metavar=metavar, action="append", default=[], help=f"{what}; may stand several times")
    new = tasks.add_parser("new-lesson", help="write the files of a new lesson, with what is left to write marked")
    new.add_argument("number", metavar="NN", help="its two digits, not yet taken")
    new.add_argument("title", metavar="TITLE", help="its title, in quotes")
    new.add_argument("--minutes", type=int, default=20, metavar="N", help="how long it takes (default: 20)")
    for task in (check, new):
        task.add_argument(
            "--folder", type=Path, default=Path(), help="where toolkit, lessons, tests lie (default: here)"
        )


def run(asked: argparse.Namespace) -> None:
    """Do one of the two as asked. Raises CourseError where it cannot, or where something is to mend."""
    if asked.task == "author-check":
        from toolkit.front import author_check

        author_check.run(asked)
    else:
        from toolkit.front import new_lesson

        new_lesson.run(asked)
