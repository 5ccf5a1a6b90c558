"""`course author-check`: all that is wrong with stations, sessions, cases and lessons, at once.

Other commands stop at the first thing that is wrong, as somebody at work wants it. An author wants the whole list.
"""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Iterable, Iterator, Sequence
from importlib import resources
from itertools import chain
from pathlib import Path

from toolkit.classroom.session import shipped_session, shipped_sessions
from toolkit.errors import LaunchError
from toolkit.front.author_files import bank_errors, session_errors, station_errors
from toolkit.front.terminal import say
from toolkit.station_file import MOST_CHARACTERS, shipped_stations


def run(asked: Namespace) -> None:
    """Check what is named, or all that comes along; say all that is wrong.

    Raises LaunchError with the number of things where there are any.
    """
    named = asked.station or asked.session or asked.bank or asked.lesson
    lost = _lost(asked.folder) if asked.lesson or not named else ()
    lessons = () if lost else asked.lesson if named else _lessons(asked.folder)
    stations = asked.station if named else shipped_stations()
    sessions = asked.session if named else shipped_sessions()
    banks = asked.bank if named else _banks()
    count = 0
    for said in chain(lost, _all(asked.folder, stations, sessions, banks, lessons)):
        count += 1
        say(f"{said}\n")
    if count:
        raise LaunchError(f"{count} {'thing is' if count == 1 else 'things are'} to mend.")
    sizes = ((stations, "station"), (sessions, "session"), (banks, "file of cases"), (lessons, "lesson"))
    say("Nothing to mend: " + ", ".join(f"{len(some)} x {what}" for some, what in sizes if some) + ".\n")


def _all(
    folder: Path, stations: Iterable[str], sessions: Iterable[str], banks: Iterable[str], lessons: Sequence[str]
) -> Iterator[str]:
    """Every line, file by file."""
    for check, some in ((_station_wrong, stations), (_session_wrong, sessions), (_bank_wrong, banks)):
        for file in some:
            try:
                yield from check(file)
            except LaunchError as unread:  # the other files are still to be looked at
                yield str(unread)
    if lessons:
        from toolkit.front.author_lessons import lesson_wrong  # late: it loads every lesson

        for lesson in lessons:
            yield from map(str, lesson_wrong(folder, lesson))


def _station_wrong(file: str) -> Iterator[str]:
    shipped = file in shipped_stations()
    here = resources.files("toolkit") / "stations"
    text = (here / f"{file}.toml").read_bytes().decode("utf-8") if shipped else _text(file)
    name = f"toolkit/stations/{file}.toml" if shipped else file
    yield from (f"{name}, {said}" for said in station_errors(text, Path(name).name))


def _session_wrong(file: str) -> Iterator[str]:
    shipped = file in shipped_sessions()
    name = f"toolkit/classroom/sessions/{file}.toml" if shipped else file
    yield from (f"{name}, {said}" for said in session_errors(shipped_session(file) if shipped else _text(file)))


def _bank_wrong(file: str) -> Iterable[str]:
    return bank_errors(_text(file), f"toolkit/quiz/bank/{Path(file).name}" if file in _banks() else file)


def _lost(folder: Path) -> tuple[str, ...]:
    """What is said where lessons are to be checked and this is no source folder."""
    if (folder / "toolkit" / "course.py").is_file():
        return ()
    return (f"{folder.resolve()} is no source folder of the course: go there, or give it with --folder.",)


def _lessons(folder: Path) -> tuple[str, ...]:
    """The lessons of a source folder."""
    from toolkit.front.author_lessons import numbers  # late: it loads every lesson

    return numbers(folder)


def _banks() -> tuple[str, ...]:
    """The files of reviewed cases that come along."""
    folder = Path(str(resources.files("toolkit"))) / "quiz" / "bank"
    return tuple(str(path) for path in sorted(folder.glob("*.toml")))


def _text(file: str) -> str:
    """The text of a file that somebody named. Raises LaunchError where it cannot be read."""
    try:
        path = Path(file)
        if path.stat().st_size > 4 * MOST_CHARACTERS:  # a character takes at most four bytes
            raise LaunchError(f"{file} is too large: at most {MOST_CHARACTERS:,} characters.")
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        raise LaunchError(f"{file} is not a text in UTF-8: save it so.") from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or "its name cannot be used"
        raise LaunchError(f"{file} cannot be read ({why}): check its name, and that you may read it.") from None
