"""A session file that somebody named, or a session that comes along by its name: its text, or what is wrong with it."""

from __future__ import annotations

from pathlib import Path

from toolkit import checks
from toolkit.classroom.session import Session, session_of, shipped_session, shipped_sessions
from toolkit.errors import CourseError, LaunchError
from toolkit.station_file import MOST_CHARACTERS


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
