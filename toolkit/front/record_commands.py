"""`course backup [FILE]`, `course restore FILE`, `course salvage [FILE]`: the record kept twice, put back, read out."""

from __future__ import annotations

import argparse
from datetime import datetime
from pathlib import Path

from toolkit.classroom import salvage
from toolkit.classroom.chain import PROVES, counted
from toolkit.classroom.record import Record
from toolkit.classroom.salvage import Done
from toolkit.front.terminal import say


def add_parsers(tasks: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add what may be said after each of the three words."""
    backup = tasks.add_parser("backup", help="copy your record to another place")
    backup.add_argument("file", metavar="FILE", nargs="?", type=Path, help="a file or folder (default: this folder)")
    restore = tasks.add_parser("restore", help="put a backup in your record's place")
    restore.add_argument("file", metavar="FILE", type=Path, help="the backup")
    restore.add_argument("--to", metavar="FILE", type=Path, help="another record, as a visitor's (default: yours)")
    out = tasks.add_parser("salvage", help="read out of a damaged record what can still be read")
    out.add_argument("file", metavar="FILE", nargs="?", type=Path, help="the damaged file (default: your record)")
    out.add_argument("--to", metavar="FILE", type=Path, help="the new file (default: in this folder)")
    for task in (backup, restore):
        task.add_argument("--replace", action="store_true", help="over one that is there; that one is kept beside it")


def run(asked: argparse.Namespace) -> None:
    """Do one of the three as asked and print what came of it. Raises RecordError where it cannot."""
    record = Record()
    if asked.task == "backup":
        target = _place(asked.file or Path(), "backup", record)
        done = salvage.back_up(record.path, target, record.now, over=asked.replace)
        lines = [f"Copied to {done.path.resolve()}: {counted(done.attempts, 'answer')}."]
    elif asked.task == "restore":
        done = salvage.restore(asked.file, asked.to or record.path, record.now, over=asked.replace)
        lines = [f"The record {done.path} now holds what {asked.file} held: {counted(done.attempts, 'answer')}."]
    else:
        source = asked.file or salvage.begun(record.path, "read out")
        target = _place(asked.to or Path(), "salvaged", record)
        done = salvage.salvage(source, target, record.now)
        lines = [f"Read out of {source} into {done.path.resolve()}: {counted(done.attempts, 'answer')}."]
        lines += ["The damaged file is as it was. To go on with what was read out:"]
        whose = "" if source.resolve() == record.path.resolve() else f' --to "{source}"'
        lines += [f'    course restore "{done.path}"{whose} --replace']
    say("\n".join([*lines, *_kept(done), done.verdict.words, PROVES]) + "\n")


def _place(given: Path, what: str, record: Record) -> Path:
    """The file to write: as given, or a name of its own in a folder."""
    if not given.is_dir():
        return given
    return given / f"guarded-pressure-{what}-{datetime.fromisoformat(record.now()):%Y%m%d-%H%M%S}.sqlite3"


def _kept(done: Done) -> list[str]:
    return [f"What was there before is kept as {done.kept}."] if done.kept else []
