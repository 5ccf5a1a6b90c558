"""`course report FOLDER`: what learners handed in, or a served class's own folder, brought together into its sheets."""

from __future__ import annotations

import argparse
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import datetime
from itertools import chain
from pathlib import Path
from tempfile import TemporaryDirectory

from toolkit import __version__
from toolkit.classroom import files
from toolkit.classroom.gather import Gathered, Left, clean_name, gather, shown_name
from toolkit.classroom.gather_results import Result, result
from toolkit.classroom.hand_in import MOST_BYTES, hand_in, packed
from toolkit.classroom.record import Record
from toolkit.classroom.room import Room, is_room
from toolkit.classroom.salvage import is_record
from toolkit.classroom.session import Session
from toolkit.classroom.sheets import Page, class_summary, not_counted, result_sheet, review_sheet, roster
from toolkit.classroom.sheets_items import answers_csv, item_analysis
from toolkit.classroom.xapi import statements
from toolkit.errors import CourseError, LaunchError, RecordError
from toolkit.front.handouts import write
from toolkit.front.report_pages import Ask, write_pages, write_qti
from toolkit.front.session_file import load_session
from toolkit.front.terminal import say
from toolkit.panels.exam_pages import document
from toolkit.quiz.cases import ITEMS, item_hash, offer

OUT = "--out"
ANSWERS, STATEMENTS, QTI = "answers.csv", "statements.jsonl", "qti"
# What a report writes into its folder.
_OURS = re.compile(
    rf"{ANSWERS}|{STATEMENTS}|{QTI}|"
    r"(roster|class_summary|item_analysis|(result|review)_\d{2,}(_[a-z0-9-]+)?)\.(html|pdf)"
)
# Files and folders of the system and of hidden things are no hand-in.
_HIDDEN = "."
MOST_FILES = 2_000


def run(asked: argparse.Namespace) -> None:
    """Gather a folder and write its sheets as asked: `gathered`, `session`, `paper`, `pdf`, `qti`, `out`.

    Raises CourseError where the folder or the session cannot be read or a file cannot be written.
    """
    session = load_session(asked.session) if asked.session else None
    if asked.gathered.is_dir() and is_room(asked.gathered):
        room = Room(asked.gathered)
        session = session or room.session()
        gathered = gather_room(room)
        if not gathered.people and not gathered.left:
            raise LaunchError(f"Nobody has come into the class in {asked.gathered}: give another class's folder.")
    else:
        gathered = gather_files(files_in(asked.gathered, asked.out))
    if not gathered.people and not gathered.left:
        raise LaunchError(f"There is no file in {asked.gathered}: put there what the learners handed in.")
    results = tuple(result(person, session) for person in gathered.people)
    pages = sheets(gathered, results, session)
    files.make_folder(asked.out, OUT)
    set_aside(asked.out, replace=asked.replace)
    write(asked.out / ANSWERS, answers_csv(results), OUT)
    write(asked.out / STATEMENTS, statements(gathered.people), OUT)
    said = told(gathered, results)
    if asked.qti:
        said += _written_as_qti(asked.out / QTI, results)
    written = ((asked.out / f"{one.name}.html", document(one.title, one.body, asked.paper, one.foot)) for one in pages)
    try:
        write_pages(written, pdf=asked.pdf, flag=OUT)
    finally:
        say(said)


def set_aside(out: Path, *, replace: bool) -> None:
    """Where a report was written before, keep its files in a folder of their own there; refused without `replace`.

    A sheet of somebody who is not in the new report must not lie among those who are.
    """
    older = [path for path in sorted(out.iterdir()) if _OURS.fullmatch(path.name)]
    if not older:
        return
    if not replace:
        raise LaunchError(
            f"{out} holds a report already. Give another folder with {OUT}, or say --replace: the files of the older "
            "one are then kept in a folder there."
        )
    kept = out / f"older-{datetime.now():%Y%m%d-%H%M%S-%f}"
    try:
        kept.mkdir()
        for path in older:
            path.rename(kept / path.name)
    except OSError as error:
        raise LaunchError(
            f"The older report in {out} cannot be moved ({error.strerror}): give another with {OUT}."
        ) from None
    say(f"The older report is kept in {kept}\n")


def _written_as_qti(folder: Path, results: Sequence[Result]) -> str:
    """Write the questions and say what could not be written, and why; every question that counts is in one group."""
    asked = list(questions(results))
    left = write_qti(folder, asked, OUT)
    met = {one.first.attempt.item_key for each in results for one in each.counted}
    other = sorted(met - {item.key for item, _, _ in asked})
    lines = [f"As QTI 3: {len(asked) - len(left)} questions."]
    if left:
        lines.append(f"Not among them (QTI has no such kind of question): {', '.join(dict.fromkeys(left))}")
    if other:
        lines.append(f"Not among them (this version of the course asks them otherwise): {', '.join(other)}")
    return "\n".join(lines) + "\n"


def gather_room(room: Room) -> Gathered:
    """What the visitors of a served class have answered, read off their records, so that nobody has to hand in.

    Whose they are is the name at the door, under whatever name they were recorded. A record that cannot be read, and
    one without an answer, are in `left`. The instructor's own is not looked at.
    """
    files: list[tuple[str, bytes]] = []
    whose: dict[str, str] = {}
    left: list[Left] = []
    for visitor in room.visitors():
        record = room.record(visitor)
        file = record.path.relative_to(room.folder).as_posix()
        try:
            mine = _handed(record, file)
        except RecordError as error:
            left.append(Left(file, "damaged", f"{shown_name(visitor.name)}: {error}"))
            continue
        if not mine:
            left.append(Left(file, "empty", f"{shown_name(visitor.name)} has answered nothing yet"))
        whose |= dict.fromkeys((name for name, _ in mine), visitor.name)
        files += mine
    gathered = gather(files, whose)
    return replace(gathered, left=_sorted(gathered.left, left), notes=(*room.damaged(), *gathered.notes))


def gather_files(files: Iterable[tuple[str, bytes]]) -> Gathered:
    """What stands in files, each a name to show and its bytes: made by Hand in, or a whole record (a backup, one read
    out of a damaged file), of which each name's answers are taken as if handed in."""
    plain: list[tuple[str, bytes]] = []
    left: list[Left] = []
    for name, data in files:
        if not is_record(data) or len(data) > MOST_BYTES:
            plain.append((name, data))
            continue
        with TemporaryDirectory() as folder:
            record = Record(Path(folder))
            record.path.write_bytes(data)  # what was handed in is not touched
            try:
                mine = _handed(record, name)
            except RecordError as error:
                why = f"{clean_name(name)}: {str(error).replace(str(record.path), 'in this file')}"
                left.append(Left(clean_name(name), "damaged", why))
                continue
        if not mine:
            left.append(Left(clean_name(name), "empty", "a record without an answer in it"))
        plain += mine
    gathered = gather(plain)
    return replace(gathered, left=_sorted(gathered.left, left))


def _handed(record: Record, file: str) -> list[tuple[str, bytes]]:
    """What each learner in a record would have handed in: a record has a chain under each name that was kept in it."""
    everything, events, made = record.attempts(), record.events(), record.now()
    names = list(dict.fromkeys(one.attempt.learner for one in everything))
    found = [packed(hand_in(name, __version__, made, everything, events)) for name in names]
    return [(file if len(found) == 1 else f"{file}, name {n}", data) for n, data in enumerate(found, 1)]


def _sorted(*left: Iterable[Left]) -> tuple[Left, ...]:
    return tuple(sorted(chain(*left), key=lambda one: one.file))


def files_in(folder: Path, out: Path) -> Iterator[tuple[str, bytes]]:
    """The files of a folder and of the folders in it, by their path from there; nothing of what the report writes.

    Raises LaunchError where the folder cannot be read. A file that cannot be read, or is too large, comes without its
    bytes, so that it is listed. Links are not followed: what they lead to was not handed in.
    """
    try:
        if not folder.is_dir():
            raise LaunchError(f"There is no folder {folder}: give the one with the files that were handed in.")
        own = out.resolve()
        found = [path for path in sorted(folder.rglob("*")) if path.is_file() and not path.is_symlink()]
        found = [
            path
            for path in found
            if own not in path.resolve().parents
            and not any(part.startswith(_HIDDEN) for part in path.relative_to(folder).parts)
        ]
    except OSError as error:
        raise LaunchError(f"{folder} cannot be read ({error.strerror}): check that you may read it.") from None
    if len(found) > MOST_FILES:
        raise LaunchError(f"{folder} holds {len(found):,} files, at most {MOST_FILES:,} were expected: give another.")
    for path in found:
        name = path.relative_to(folder).as_posix()
        try:
            # A byte more than is allowed is enough to be refused for its size.
            with path.open("rb") as file:
                yield name, file.read(MOST_BYTES + 1)
        except OSError:
            yield name, b""


def sheets(gathered: Gathered, results: Sequence[Result], session: Session | None) -> tuple[Page, ...]:
    """All sheets of a class: for everybody, then for each person."""
    return (
        roster(gathered, session),
        *((class_summary(results, session), item_analysis(results, session)) if results else ()),
        *(result_sheet(number, one, session) for number, one in enumerate(results, 1)),
        *(review_sheet(number, one) for number, one in enumerate(results, 1)),
    )


def questions(results: Sequence[Result]) -> Iterator[Ask]:
    """Each question that counts as it was asked; one that this version of the course asks otherwise is left out."""
    items = {item.key: item for item in ITEMS}
    asked = dict.fromkeys(
        (answer.item_key, answer.seed, answer.item_hash)
        for one in results
        for answer in (counted.first.attempt for counted in one.counted)
        if answer.item_key in items
    )
    for key, seed, hashed in asked:
        for units in ("us", "metric"):
            try:
                same = item_hash(offer(items[key], seed, units)) == hashed
            except CourseError:
                continue
            if same:
                yield items[key], seed, units
                break


def told(gathered: Gathered, results: Sequence[Result]) -> str:
    """What was found, in a few lines."""
    counted = sum(len(one.counted) for one in results)
    lines = [f"{len(gathered.people)} people, {counted} answers counted."]
    lines += [f"Not taken ({one.kind}): {one.why}" for one in gathered.left]
    lines += [f"Not counted: {one}" for one in not_counted(results)]
    lines += [f"To look into: {note}" for note in gathered.notes]
    lines += [f"The chain does not hold: {one.shown}" for one in gathered.people if not one.holds]
    return "\n".join(lines) + "\n"
