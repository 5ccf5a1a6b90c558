"""`course session FILE`: what becomes of a session file, its questions on paper with a separate key, and as QTI."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

from toolkit import checks
from toolkit.classroom.session import Session, session_of, shipped_session, shipped_sessions
from toolkit.classroom.session_words import preview, sittings
from toolkit.errors import CourseError, LaunchError
from toolkit.front.terminal import say
from toolkit.station_file import MOST_CHARACTERS


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


def load_session(file: str) -> Session:
    """The session of a path, or of a shipped session's name; a LaunchError says in a sentence what is wrong."""
    return session_of(session_text(file))


def session_text(file: str) -> str:
    """The text of a session file, of a path or of a shipped session's name, refused as by `load_session`."""
    shown = file if file.strip() and file.isprintable() else repr(file)
    try:
        known = shipped_sessions()
        if file in known:
            return shipped_session(file)
        path = Path(file)
        if not file.strip():
            raise LaunchError(f"The session file's name is empty: give a file (.toml), or one of {', '.join(known)}.")
        if path.is_dir():
            raise LaunchError(f"{shown} is a folder: name a session file in it.")
        if path.exists() and not path.is_file():
            raise LaunchError(f"{shown} is not a plain file: give a session file (.toml).")
        if not path.is_file():
            meant = checks.near(file, known, "With the course come: " + ", ".join(known))
            raise LaunchError(f"There is no file {shown}, and no session of the course has that name. {meant}")
        if path.stat().st_size > 4 * MOST_CHARACTERS:  # a character takes at most four bytes
            raise LaunchError(f"{shown} is too large for a session file: at most {MOST_CHARACTERS:,} characters.")
        text = path.read_bytes().decode("utf-8-sig")
        session_of(text)
        return text
    except UnicodeDecodeError:
        raise LaunchError(f"{shown} is not a text in UTF-8: save it so, or give a session file.") from None
    except (OSError, ValueError) as error:
        if isinstance(error, CourseError):
            raise LaunchError(f"{shown}: {error}") from None
        why = getattr(error, "strerror", None) or "its name cannot be used"
        raise LaunchError(f"{shown} cannot be read ({why}): check its name and that you may read it.") from None


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
