"""What a session file means, in words; and whose numbers its questions are asked in."""

from __future__ import annotations

from toolkit.classroom.session import SEED_KINDS, Session
from toolkit.errors import LaunchError
from toolkit.quiz.cases import LESSONS, items_of
from toolkit.quiz.items import SECTIONS
from toolkit.station_file import shipped_station


def preview(session: Session) -> str:
    """What a session file means, in words."""
    station = shipped_station(session.station)
    lines = [session.title, *([session.about] if session.about else []), ""]
    facts = [
        ("Days", session.days),
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


def told_at_start(session: Session, now: str) -> str:
    """What is said of a session that is about to be held, at a time (ISO 8601, UTC)."""
    said = f"The session {session.title}: its lessons ({', '.join(session.lessons)}) ask in its numbers."
    return " ".join(filter(None, (said, other_day(session, now))))


def other_day(session: Session, now: str) -> str:
    """A warning where a time (ISO 8601, UTC) is on no day of the session; else ""."""
    if session.holds_at(now):
        return ""
    return (
        f"Today is no day of this session (days: {session.days}): what is answered today is kept, and not counted. "
        "Mend opens and closes in its file, or leave them out."
    )


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
