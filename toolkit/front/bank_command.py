"""`course bank`: the reviewed cases listed and made again; what differs from the review is said."""

from __future__ import annotations

from argparse import Namespace
from pathlib import Path

from toolkit.classroom import files
from toolkit.diagnosis.signatures import SUSPECTS
from toolkit.errors import LaunchError
from toolkit.front.terminal import say
from toolkit.quiz.bank import Reviewed, bank, made_anew, problems, written
from toolkit.quiz.trouble_case import LEVELS


def run(asked: Namespace) -> None:
    """List the cases and recheck each, or write them anew. Raises LaunchError where a case is not what was reviewed."""
    if asked.write is not None:
        write(asked.write)
        return
    wrong = 0
    for one in bank():
        found = problems(one)
        wrong += bool(found)
        alike = ", ".join(SUSPECTS[key] for key in one.cannot_be_told_from)
        apart = f"; cannot be told from {alike}" if alike else ""
        say(f"{one.key}  {one.station}: {SUSPECTS[one.suspect]}{apart}\n")
        for said in found:
            say(f"      {said}\n")
    say(f"{len(bank())} cases, {wrong} not as they were reviewed.\n")
    if wrong:
        raise LaunchError(f"{wrong} reviewed cases have changed. Look at them, then: course bank --write FOLDER.")


def write(folder: Path) -> None:
    """Write the files of all levels anew into a folder, with what each case shows now."""
    for level in LEVELS:
        cases: list[Reviewed] = [made_anew(one) for one in bank() if one.level == level]
        files.write(folder / f"level_{level}.toml", written(cases).encode("utf-8"), "--write")
        say(f"level_{level}.toml: {len(cases)} cases\n")
