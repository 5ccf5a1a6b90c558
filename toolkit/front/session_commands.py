"""`course session FILE`: what becomes of a session file, its questions on paper with a separate key, and as QTI."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

from toolkit.classroom.session import Session
from toolkit.classroom.session_words import preview, sittings
from toolkit.front.session_file import load_session
from toolkit.front.terminal import say


def run(asked: argparse.Namespace) -> None:
    """Check a session file and tell what it means; write what else is asked for.

    Takes `file`, `exam`, `key`, `qti`, `units`, `paper`, `pdf`, `folder`. Raises CourseError where it cannot.
    """
    session = load_session(asked.file)
    if not (asked.exam or asked.key or asked.qti):
        say(preview(session))
        return
    if asked.exam or asked.key:
        _write_exams(session, asked)
    if asked.qti:
        from toolkit.front.report_pages import write_qti  # late: only this task needs it

        for seed in dict.fromkeys(seed for _, seed in sittings(session)):
            left = write_qti(asked.folder / "qti", ((item, seed, asked.units) for item in session.items))
            if left:
                say(f"Not among them (QTI has no such kind of question): {', '.join(left)}\n")


# On paper


def _write_exams(session: Session, asked: argparse.Namespace) -> None:
    """Exams, and their keys in files of their own, so that neither is handed out with the other."""
    from toolkit.front.report_pages import write_pages
    from toolkit.panels.exam_pages import exam_pages

    all_of_them = sittings(session)

    def pages() -> Iterator[tuple[Path, str]]:
        for number, (learner, seed) in enumerate(all_of_them, 1):
            # A name that a person typed is no name for a file.
            stem = "exam" if len(all_of_them) == 1 else f"exam_{number:02}"
            exam, key = exam_pages(session, learner, seed, asked.units, asked.paper)
            if asked.exam:
                yield asked.folder / f"{stem}.html", exam
            if asked.key:
                yield asked.folder / f"{stem}_key.html", key

    write_pages(pages(), pdf=asked.pdf)
