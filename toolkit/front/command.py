"""The console command `course`.

This file must be readable by a Python older than the course needs, down to 3.7, so that such a Python can say what is
wrong instead of failing on syntax: nothing newer than that here, and no import from the package at the top.
"""

import argparse
import sys
from importlib import import_module
from pathlib import Path
from typing import NoReturn, Optional, Sequence  # noqa: UP035  (an old Python has to get past this line)

OLDEST_PYTHON = (3, 11)
# The module whose `run` does a task; no word at all opens the lessons.
TASKS = {
    None: "front.launch",
    "author-check": "front.author_commands",
    "backup": "front.record_commands",
    "bank": "front.bank_command",
    "check": "front.station_commands",
    "demonstrations": "front.demonstrations",
    "handout": "front.handouts",
    "hub-config": "front.hub",
    "images": "panels.images",
    "kit": "front.kit",
    "layers": "front.station_commands",
    "look-up": "front.read",
    "new-lesson": "front.author_commands",
    "phone": "front.phone",
    "read": "front.read",
    "report": "front.report",
    "restore": "front.record_commands",
    "salvage": "front.record_commands",
    "serve": "front.serve",
    "session": "front.session_commands",
    "sheets": "front.sheets",
    "simulate": "front.station_commands",
    "stations": "front.station_commands",
    "tables": "front.tables",
}
EXIT_REFUSED = 2
EXIT_INTERRUPTED = 130  # as a shell says it: 128 and the number of the signal


def main(argv: Optional[Sequence[str]] = None) -> int:  # noqa: UP045
    """Run `course` or one of its subcommands.

    Args:
        argv: the words after `course`; those of the process if None.

    Returns:
        The exit code: 0 when it ended as asked, 2 when it could not (one sentence on stderr says why), 130 on Ctrl-C.
    """
    refusal = _old_python(sys.version_info[:2])
    if refusal:
        print(refusal, file=sys.stderr)
        return EXIT_REFUSED

    try:
        return _done(argv)
    except KeyboardInterrupt:
        print("Ended by Ctrl-C.", file=sys.stderr)
        return EXIT_INTERRUPTED


def _done(argv: Optional[Sequence[str]]) -> int:  # noqa: UP045
    """Do what the words ask for; returns the exit code."""
    from toolkit.errors import CourseError, LaunchError
    from toolkit.front import engine
    from toolkit.front.terminal import say

    class Parser(argparse.ArgumentParser):
        """Refuses wrong words with one sentence, without the list of all flags before it."""

        def print_help(self, _file: object = None) -> None:
            say(self.format_help())

        def error(self, message: str) -> NoReturn:
            raise LaunchError(
                f"The course does not know what to do with this: {message}. `course --help` lists it all."
            )

    try:
        asked = _parser(Parser).parse_args(argv)
        engine.start()
        # Late: a start loads what its own task needs, and nothing of the others.
        import_module(f"toolkit.{TASKS[asked.task]}").run(asked)
    except CourseError as refused:
        print(refused, file=sys.stderr)
        return EXIT_REFUSED
    return 0


def _old_python(version: Sequence[int]) -> str:
    """The sentence to say to a Python (major, minor) that is too old; empty if it will do."""
    if tuple(version) >= OLDEST_PYTHON:
        return ""
    needed, given = ".".join(map(str, OLDEST_PYTHON)), ".".join(map(str, version))
    return (
        f"The course needs Python {needed} or newer, this is Python {given}: "
        f"install a newer Python and set the course up with that one."
    )


def _parser(kind: type) -> argparse.ArgumentParser:
    """The words that `course` understands; without a subcommand it opens the lessons."""
    from toolkit.front import author_commands, record_commands

    parser: argparse.ArgumentParser = kind(
        prog="course", description="Open the lessons in your browser. Works without internet; Ctrl-C ends it."
    )
    tasks = parser.add_subparsers(dest="task", title="other tasks", metavar="TASK")
    # What is not said after "read" leaves standing what was said before it.
    pages = tasks.add_parser(
        "read", help="open the lessons as pages to read, without code", argument_default=argparse.SUPPRESS
    )
    look_up = tasks.add_parser(
        "look-up", help="open the page that looks a fault up, without code", argument_default=argparse.SUPPRESS
    )
    for opens in (parser, pages, look_up):
        opens.add_argument("--lessons", metavar="FOLDER", type=Path, help="a folder other than the course's own")
        opens.add_argument("--port", metavar="N", help="the port to serve on; a free one if left out")
        opens.add_argument("--no-browser", dest="browser", action="store_false", help="print the address, open no page")
    for opens in (parser, pages):
        opens.add_argument("--session", metavar="FILE", help="a session file: the numbers that its lessons ask in")
    tasks.add_parser("demonstrations", help="print what each hidden fault of the instructor's board is")
    room = tasks.add_parser("serve", help="serve the lessons to a class, each visitor with a record alone")
    room.add_argument("--lessons", metavar="FOLDER", type=Path, help="a folder other than the course's own")
    room.add_argument("--port", metavar="N", help="the port to serve on; a free one if left out")
    room.add_argument("--folder", type=Path, help="the class's folder; one that is there goes on (default: today's)")
    room.add_argument("--code", metavar="CODE", help="the class code (default: the folder's last, or a new one)")
    room.add_argument("--session", metavar="FILE", help="a session file: in which numbers each visitor is asked")
    room.add_argument("--network", action="store_true", help="let other devices in the room's network come in")
    images = tasks.add_parser("images", help="draw the README's images anew")
    images.add_argument("--folder", type=Path, default=Path("images"), help="where the images go (default: images)")
    handout = tasks.add_parser("handout", help="write lessons as pages to print")
    handout.add_argument("chosen", metavar="LESSON", nargs="*", help="a lesson's two digits; all lessons if left out")
    handout.add_argument("--folder", type=Path, default=Path("handouts"), help="where they go (default: handouts)")
    handout.add_argument("--paper", choices=("a4", "letter"), default="a4", help="the paper's size (default: a4)")
    handout.add_argument("--pdf", action="store_true", help="as PDF too, by an installed Chromium, Chrome or Edge")
    handout.add_argument("--seed", type=int, default=1, metavar="N", help="numbers of the questions (default: 1)")
    handout.add_argument("--key", action="store_true", help="with the answers to the questions, on a page of their own")
    level = "how hard the case in lesson 21 is, from 1 on (default: 1)"
    handout.add_argument("--level", type=int, default=1, help=level)
    handout.add_argument("--station", dest="place", metavar="NAME", help="the station of that case; any if left out")
    phone = tasks.add_parser("phone", help="write the look-up page as one file for phones")
    phone.add_argument("--folder", type=Path, default=Path("handouts"), help="where it goes (default: handouts)")
    kit = tasks.add_parser("kit", help="build a folder that sets the course up where there is no internet")
    new_kit = Path("dist") / "guarded-pressure-kit"
    kit.add_argument("--folder", type=Path, default=new_kit, help=f"a new folder for it (default: {new_kit})")
    kit.add_argument("--zip", action="store_true", help="as one file too, beside the folder")
    tasks.add_parser("hub-config", help="print where the configuration for a JupyterHub is")
    session = tasks.add_parser("session", help="check a session file; write its questions on paper")
    session.add_argument("file", metavar="FILE", help="a session file (.toml), or the name of a shipped session")
    session.add_argument("--exam", action="store_true", help="write the paper exam")
    session.add_argument("--key", action="store_true", help="write its key, in a file of its own")
    session.add_argument("--qti", action="store_true", help="write the plain questions as QTI 3 items")
    session.add_argument("--folder", type=Path, default=Path("exams"), help="where they go (default: exams)")
    report = tasks.add_parser("report", help="gather what learners handed in, and write the class's sheets")
    report.add_argument("gathered", metavar="FOLDER", type=Path, help="the folder with the files handed in")
    report.add_argument("--session", metavar="FILE", help="the session file: what counts, and what is enough")
    report.add_argument("--qti", action="store_true", help="the plain questions that were asked as QTI 3 items too")
    report.add_argument("--out", type=Path, default=Path("report"), metavar="F", help="where it goes (default: report)")
    report.add_argument("--replace", action="store_true", help="where a report is; the older one is kept beside it")
    for printed in (session, report):
        printed.add_argument("--paper", choices=("a4", "letter"), default="a4", help="the paper's size (default: a4)")
        printed.add_argument("--pdf", action="store_true", help="as PDF too, by an installed browser")
    sheets = tasks.add_parser("sheets", help="write the formula sheet and the glossary anew")
    sheets.add_argument("--folder", type=Path, default=Path("lessons"), help="the lessons' folder (default: lessons)")
    tables = tasks.add_parser("tables", help="simulate the days that the diagnosis goes by anew (some minutes)")
    tables.add_argument(
        "--runs", type=int, metavar="N", help="days a suspect and kind (default: as many as come along)"
    )
    tables.add_argument("--workers", type=int, default=1, metavar="N", help="processes to work with (default: 1)")
    tables.add_argument(
        "--folder",
        type=Path,
        help="where they go (default: toolkit/diagnosis/tables; with --station your data folder)",
    )
    tables.add_argument(
        "--station",
        metavar="FILE",
        help="only that of a station file (.toml), or of a shipped station by its name: 22 s of work for a house",
    )
    record_commands.add_parsers(tasks)
    author_commands.add_parsers(tasks)
    bank = tasks.add_parser("bank", help="list the reviewed troubleshooting cases and make each again")
    bank.add_argument("--write", metavar="FOLDER", type=Path, help="write their files anew, for a new review")
    tasks.add_parser("stations", help="list the stations that come with the course")
    simulate = tasks.add_parser("simulate", help="run a station file and say what happened")
    check = tasks.add_parser("check", help="judge a station file by the published limits")
    layers = tasks.add_parser("layers", help="compare the layers of protection against the same failures")
    for task in (simulate, check, layers, handout, session):
        if task in (simulate, check):
            task.add_argument("file", metavar="FILE", help="a station file (.toml), or the name of a shipped station")
        units = task.add_mutually_exclusive_group()
        units.add_argument("--us", dest="units", action="store_const", const="us", help="in. w.c., psig (default)")
        units.add_argument("--metric", dest="units", action="store_const", const="metric", help="mbar, bar")
        task.set_defaults(units="us")
    form = simulate.add_mutually_exclusive_group()
    form.add_argument("--json", dest="form", action="store_const", const="json", help="the same as data, in SI")
    form.add_argument("--csv", dest="form", action="store_const", const="csv", help="every signal over time")
    return parser


if __name__ == "__main__":
    sys.exit(main())
