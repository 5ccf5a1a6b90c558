"""`course read`: the lessons as pages to read, without code; on this machine only, offline."""

from __future__ import annotations

import argparse
import contextlib
import os
import tempfile
import threading
import webbrowser
from html import escape
from pathlib import Path

from toolkit.course import LOOK_UP
from toolkit.front.launch import HOST, START_LESSON, hold_session, lessons_folder, settle_process, usable_port
from toolkit.front.terminal import say_open


def run(asked: argparse.Namespace) -> None:
    """Open the lessons as pages, or at once the look-up page where `asked.task` is that."""
    first = LOOK_UP if asked.task == "look-up" else START_LESSON
    open_pages(lessons=asked.lessons, port=asked.port, open_browser=asked.browser, first=first, session=asked.session)


def open_pages(
    lessons: Path | None,
    port: str | None,
    open_browser: bool,
    first: str = START_LESSON,
    session: str | None = None,
) -> None:
    """Serve the lessons as pages until Ctrl-C or a SIGTERM.

    Args:
        lessons: folder with the lessons; found by `lessons_folder` if None.
        port: the port as typed; a free one if None.
        open_browser: whether to open the first page in the user's browser.
        first: the page to begin with.
        session: a session file, or the name of a shipped one, in whose numbers the questions are asked.

    Raises:
        LaunchError: a folder, port or part that the course needs is not to be had.
    """
    folder = lessons_folder(lessons, Path.cwd())
    number = usable_port(port)
    settle_process()
    with tempfile.TemporaryDirectory(prefix="course-") as scratch, contextlib.suppress(KeyboardInterrupt):
        hold_session(session, Path(scratch))
        tempfile.tempdir = scratch
        # Only now: the lines above change what this imports.
        from toolkit.front.reader import serve

        token = os.urandom(16).hex()
        where = address(number, token, first)

        def announce() -> None:
            say_open(where)
            if open_browser:
                # Some browsers hold up whoever starts them.
                threading.Thread(target=_open_in_browser, args=(where, Path(scratch)), daemon=True).start()

        serve(folder, number, token, announce)


def address(port: int, token: str, page: str = START_LESSON) -> str:
    """The address of a page, to open in a browser on this machine."""
    return f"http://{HOST}:{port}/{page}?token={token}"


def _open_in_browser(where: str, scratch: Path) -> None:
    """Open an address by way of a file that only this user can read: a command line, token and all, is seen by all."""
    page = scratch / "open.html"
    page.write_text(
        f'<!DOCTYPE html><title>Guarded pressure</title><meta http-equiv="refresh" content="0;url={escape(where)}">',
        encoding="utf-8",
    )
    webbrowser.open(page.as_uri())
