"""The folder of a class that is served: its code, who has come in, and where each visitor's record is.

Whoever knows the class code comes in under a name that nobody has taken. A name that is taken is let in again only
with the own code that its visitor was shown, so that nobody reads another's record by typing another's name.
Each file is written beside its place and put there in one move: a machine that stops in between leaves the old one.
"""

from __future__ import annotations

import hashlib
import json
import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from toolkit.classroom.files import make_folder, place
from toolkit.classroom.record import LONGEST_NAME, Record, data_folder
from toolkit.classroom.session import Session, session_of
from toolkit.classroom.store import PRIVATE_FOLDER
from toolkit.errors import RecordError, RoomError, ScenarioError

# Read aloud and typed by thirty people: no letter or digit that is taken for another.
LETTERS = "ACDEFGHJKLMNPQRTUVWXY34679"
CODE_LENGTH, OWN_CODE_DIGITS = 6, 6
PRIVATE = 0o600  # for this user only
INSTRUCTOR = "instructor"
# Tells a kernel where its room is.
ROOM_VARIABLE = "GUARDED_PRESSURE_ROOM"
# Tells it, where there is no room, of the session file that the course was started with.
SESSION_VARIABLE = "GUARDED_PRESSURE_SESSION"
_CODE, _SECRET, _SESSION = "class_code.txt", "cookie_secret", "session.toml"
_VISITORS, _VISITOR = "visitors", "visitor.json"
_NO_LOCK = ""  # no own code opens it


@dataclass(frozen=True)
class Visitor:
    """Somebody who has come in: a key that is no secret but says nothing, and the name as typed."""

    key: str
    name: str

    @property
    def instructs(self) -> bool:
        """Whether it is the instructor."""
        return self.key == INSTRUCTOR


class Room:
    """A class's folder, made where it is not there yet. `code` sets the class code anew; else the last one stays.

    Raises RoomError where the folder cannot be written or a file in it cannot be read.
    """

    def __init__(self, folder: Path, code: str | None = None) -> None:
        self.folder = folder
        code = None if code is None else _checked_code(code)  # before anything is made
        make_folder(folder)
        with _in_plain_words(folder):
            (folder / _VISITORS).mkdir(PRIVATE_FOLDER, exist_ok=True)
            if code is not None:
                place(folder / _CODE, code.encode(), PRIVATE)
            elif not (folder / _CODE).is_file():
                place(folder / _CODE, "".join(secrets.choice(LETTERS) for _ in range(CODE_LENGTH)).encode(), PRIVATE)
            if not (folder / _SECRET).is_file():
                place(folder / _SECRET, secrets.token_bytes(32), PRIVATE)
            self.code = (folder / _CODE).read_text(encoding="utf-8").strip()
            # Cookies that it signs hold over a restart in mid-class.
            self.secret = (folder / _SECRET).read_bytes()
            self._known = dict(_visitors(folder / _VISITORS))

    def take_session(self, text: str) -> None:
        """Keep the text of a session file: from now on it says in which numbers each visitor is asked."""
        with _in_plain_words(self.folder):
            place(self.folder / _SESSION, text.encode(), PRIVATE)

    def session(self) -> Session | None:
        """The session that is held here; None where none was given. Raises RoomError for a spoilt file."""
        path = self.folder / _SESSION
        with _in_plain_words(self.folder):
            if not path.is_file():
                return None
            try:
                return session_of(path.read_text(encoding="utf-8"))
            except (ScenarioError, UnicodeDecodeError) as error:
                raise RoomError(
                    f"{path}: {error} It is left as it is. Mend it, move it away, or give the class a session anew."
                ) from error

    def opens(self, code: str) -> bool:
        """Whether it is the class code, however it is spaced and in whichever case."""
        return secrets.compare_digest(_plain(code).encode(), _plain(self.code).encode())

    def visitors(self) -> tuple[Visitor, ...]:
        """All who have come in, by name; whose file at the door is damaged by the name in the record."""
        return tuple(sorted((one for one, _ in self._known.values()), key=lambda one: (one.name.casefold(), one.key)))

    def who_is_in(self) -> tuple[Visitor, ...]:
        """The same, as the folder says now: somebody may have come in by way of another process."""
        with _in_plain_words(self.folder):
            self._known = dict(_visitors(self.folder / _VISITORS))
        return self.visitors()

    def damaged(self) -> tuple[str, ...]:
        """Of each visitor whose file at the door cannot be read, what that means and what mends it."""
        return tuple(
            f"{_VISITORS}/{one.key}/{_VISITOR} is damaged. {one.name}, by the name in the record beside it, which is "
            'whole, can come in again with a new own code: on the board, under "Who is in".'
            for one, lock in self._known.values()
            if lock == _NO_LOCK
        )

    def visitor(self, key: str) -> Visitor | None:
        """Who has a key, if anybody."""
        if key == INSTRUCTOR:
            return Visitor(INSTRUCTOR, "Instructor")
        found = self._known.get(key)
        return found[0] if found else None

    def come_in(self, name: str, own_code: str = "") -> tuple[Visitor, str]:
        """Let somebody in; gives the visitor, and the own code if it was made now, else "".

        Raises RoomError for no name, and for a name that is taken where the own code is missing or wrong.
        """
        kept = " ".join(name.encode("utf-8", "replace").decode("utf-8").split())[:LONGEST_NAME]
        if not kept:
            raise RoomError("No name was given, yours was expected. Type your name.")
        self.who_is_in()  # the instructor's page may have given somebody another own code
        for one, lock in self._known.values():
            if one.name.casefold() == kept.casefold():
                if not own_code.strip():
                    raise RoomError(
                        f"Somebody has come in as {kept} already. If that was you, type the own code that you were "
                        "shown then. If not, add a letter to your name."
                    )
                if not secrets.compare_digest(_locked(_plain(own_code), lock[:32]), lock):
                    raise RoomError("The own code is another one. Look again, or ask your instructor.")
                return one, ""
        return self._admit(kept)

    def new_own_code(self, key: str) -> str:
        """Give a visitor another own code, for who has lost theirs; the instructor sees who stands there."""
        visitor, _ = self._known[key]
        return self._lock(visitor)

    def data_folder(self, visitor: Visitor) -> Path:
        """Where a visitor's record is."""
        return self.folder / INSTRUCTOR if visitor.instructs else self.folder / _VISITORS / visitor.key

    def record(self, visitor: Visitor) -> Record:
        """A visitor's record."""
        return Record(self.data_folder(visitor))

    def _admit(self, name: str) -> tuple[Visitor, str]:
        visitor = Visitor(secrets.token_hex(8), name)
        with _in_plain_words(self.folder):
            self.data_folder(visitor).mkdir(PRIVATE_FOLDER)
            own = self._lock(visitor)
        self.record(visitor).set_learner(name)
        return visitor, own

    def _lock(self, visitor: Visitor) -> str:
        own = f"{secrets.randbelow(10**OWN_CODE_DIGITS):0{OWN_CODE_DIGITS}d}"
        lock = _locked(own, secrets.token_hex(16))
        with _in_plain_words(self.folder):
            text = json.dumps({"name": visitor.name, "own_code": lock}, ensure_ascii=True)
            place(self.data_folder(visitor) / _VISITOR, text.encode(), PRIVATE)
        self._known[visitor.key] = (visitor, lock)
        return own


def is_room(folder: Path) -> bool:
    """Whether a folder is that of a class that was served."""
    return (folder / _CODE).is_file() and (folder / _VISITORS).is_dir()


def room_here() -> Path | None:
    """The folder of the class that this page belongs to; None where none is served."""
    folder = os.environ.get(ROOM_VARIABLE)
    return Path(folder) if folder else None


def session_here() -> Session | None:
    """The session that is held here: the class's, or that of the file which the course was started with.

    Raises CourseError for a spoilt file.
    """
    folder, file = room_here(), os.environ.get(SESSION_VARIABLE)
    if folder:
        return Room(folder).session()
    return session_of(Path(file).read_text(encoding="utf-8")) if file else None


def seed_here(lesson: str, learner: str) -> int | None:
    """The seed of a learner's questions by the session that is held here; None where any will do.

    In a class the learner is who came in, whatever name is given. Where each has numbers of their own, who has given no
    name has none.
    """
    session, name = session_here(), name_here() or learner
    if session is None or lesson not in session.lessons or (session.seed_kind == "each" and not name):
        return None
    return session.seed_of(name)


def visitor_here() -> str:
    """The key of the visitor whose page this is."""
    return data_folder().name


def name_here() -> str | None:
    """The name that the visitor whose page this is came in under; None where no class is served."""
    folder = room_here()
    visitor = Room(folder).visitor(visitor_here()) if folder else None
    return visitor.name if visitor else None


def told_here(error: Exception) -> str:
    """An error in words for who reads this page: a visitor hears of no folder on the machine that serves the class."""
    folder, said = room_here(), str(error)
    if folder is None or visitor_here() == INSTRUCTOR or str(folder) not in said:
        return said
    return "Something is wrong with the file on the machine that serves the class. Tell your instructor."


def folder_for_hands() -> Path:
    """Where the votes of a class that is not served are kept: they are hands that somebody counts."""
    return data_folder() / "board"


def _checked_code(code: str) -> str:
    if not 4 <= len(_plain(code)) <= 40:
        raise RoomError(f"The class code {code!r} was given, 4 to 40 letters or digits were expected. Give another.")
    return _plain(code)


def _plain(code: str) -> str:
    return "".join(letter for letter in code.upper() if letter.isalnum())


def _locked(own: str, salt: str) -> str:
    """The salt and what the own code becomes with it: who reads the folder cannot read the codes off it."""
    return salt + hashlib.scrypt(own.encode(), salt=salt.encode(), n=2**12, r=8, p=1).hex()


def _visitors(folder: Path) -> Iterator[tuple[str, tuple[Visitor, str]]]:
    for path in sorted(folder.glob(f"*/{_VISITOR}")):
        key = path.parent.name
        try:
            known = json.loads(path.read_text(encoding="utf-8"))
            yield key, (Visitor(key, str(known["name"])), str(known["own_code"]))
        except (ValueError, KeyError, TypeError):
            # One spoilt file must not keep the class out.
            yield key, (Visitor(key, _recorded_name(path.parent) or key), _NO_LOCK)


def _recorded_name(folder: Path) -> str:
    try:
        return Record(folder).learner()
    except RecordError:
        return ""


@contextmanager
def _in_plain_words(folder: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise RoomError(
            f"The class's folder {folder} cannot be used ({error.strerror or error}). A folder that you may write in "
            "was expected. Give another one with --folder."
        ) from error
