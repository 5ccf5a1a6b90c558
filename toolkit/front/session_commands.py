"""`course session FILE`: what becomes of a session file, its questions on paper with a separate key, and as QTI."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from html import escape
from pathlib import Path

from toolkit import checks
from toolkit.classroom.session import SEED_KINDS, Session, session_of, shipped_session, shipped_sessions
from toolkit.errors import CourseError, LaunchError
from toolkit.front.station_commands import say
from toolkit.quiz.cases import LESSONS, items_of
from toolkit.quiz.items import SECTIONS
from toolkit.station_file import MOST_CHARACTERS, shipped_station


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
        if file in shipped_sessions():
            return shipped_session(file)
        path = Path(file)
        if not path.is_file():
            meant = checks.near(file, shipped_sessions(), "With the course come: " + ", ".join(shipped_sessions()))
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


def preview(session: Session) -> str:
    """What a session file means, in words."""
    station = shipped_station(session.station)
    days = f"{session.opens}" if session.opens == session.closes else f"{session.opens} to {session.closes}"
    lines = [session.title, *([session.about] if session.about else []), ""]
    facts = [
        ("Days", days),
        ("Instructor", session.instructor),
        ("Covered tasks", "; ".join(session.covered_tasks)),
        ("Station", f"{station.title}: {station.about}"),
        ("Numbers", SEED_KINDS[session.seed_kind] + ("" if session.seed is None else f" (seed {session.seed})")),
    ]
    lines += [f"{label + ':':<15}{text}" for label, text in facts]
    lines += ["", "Questions"]
    lines += [f"  {lesson} {LESSONS[lesson]}: {len(items_of(lesson))}" for lesson in session.lessons]
    for section in SECTIONS:
        number = sum(item.section == section for item in session.items)
        if number:
            lines.append(f"  {section}: {number}, enough from {session.pass_marks[section]:.0%} of the marks")
    lines += ["", "At the screen, in place of the lesson's own quiz line"]
    if session.seed_kind == "own":
        lines.append("  nothing to change: the quiz draws its own numbers")
    elif session.seed_kind == "each" and not session.learners:
        lines.append("  each learner's own seed: add learners = [...] to [session] to see them here")
    else:
        for learner, seed in sittings(session):
            calls = ", ".join(f'quiz("{lesson}", seed={seed})' for lesson in session.lessons)
            lines.append(f"  {learner}: {calls}" if learner else f"  {calls}")
    return "\n".join(lines) + "\n"


def sittings(session: Session) -> tuple[tuple[str, int], ...]:
    """Whose numbers are wanted, and their seed: one for all (named "") or one a learner. LaunchError where unknown."""
    if session.seed_kind == "own" or session.seed is None:
        raise LaunchError(
            'This session has no seed (its kind is "own"), and what is written needs one. Choose the kind "same" or '
            '"each" in [seed], and give a number.'
        )
    if session.seed_kind == "same":
        return (("", session.seed),)
    if not session.learners:
        raise LaunchError(
            "Each learner gets numbers of their own here, made from the name, and no names are given. Add learners = "
            '["..."] to [session].'
        )
    return tuple((learner, session.seed_of(learner) or 0) for learner in session.learners)


# On paper


def _write_exams(session: Session, asked: argparse.Namespace) -> None:
    """Exams, and their keys in files of their own, so that neither is handed out with the other."""
    from toolkit.front.report_pages import write_pages

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


def exam_pages(session: Session, learner: str, seed: int, units: str, paper: str) -> tuple[str, str]:
    """The exam of a learner ("" for a line to write the name on) and its key, as pages."""
    from toolkit.front.report_pages import document
    from toolkit.panels.handout import CAUTION, Sheet, exam

    pieces = [exam(lesson, Sheet(units, paper, seed, key=True)) for lesson in session.lessons]
    name = f"<bdi>{escape(learner)}</bdi>" if learner else "<span class='blank'></span>"
    asked_head = (
        f"<p class='answer'>Name {name} Date <span class='blank short'></span></p>\n"
        f"<p>{escape(session.about)}</p>\n<p class='note'>{escape(CAUTION)}</p>\n"
    )
    key_head = f"<p>Answers to the exam of <bdi>{escape(learner)}</bdi>.</p>\n" if learner else ""

    def page(title: str, head: str, bodies: list[str]) -> str:
        parts = (
            f"<h2>{escape(lesson)} {escape(LESSONS[lesson])}</h2>\n{body}\n"
            for lesson, body in zip(session.lessons, bodies, strict=True)
        )
        body = f"<h1>{escape(title)}</h1>\n{head}{''.join(parts)}"
        return document(title, body, paper, f"{title[:60]}, seed {seed}")

    return (
        page(session.title, asked_head, [piece.body for piece in pieces]),
        page(f"Key: {session.title}", key_head, [piece.key for piece in pieces]),
    )
