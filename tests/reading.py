"""Lessons that run as pages, as a reader's do, and small lessons made up for a test."""

from __future__ import annotations

import contextlib
import http.cookiejar
import json
import os
import re
import signal
import subprocess
import sys
import threading
import urllib.request
from collections.abc import Iterator
from pathlib import Path

from browser import WAIT, Course, alive, children

from toolkit.front.launch import START_LESSON

START = ("-m", "toolkit.front.command", "read", "--no-browser")


def book(*cells: tuple[str, str], lesson: str | None = "00") -> str:
    """A notebook of (kind, source) pairs; a lesson, unless its number is None."""
    code_only = {"outputs": [], "execution_count": None}
    return json.dumps(
        {
            "cells": [
                {"cell_type": kind, "id": f"cell-{place}", "metadata": {}, "source": source}
                | (code_only if kind == "code" else {})
                for place, (kind, source) in enumerate(cells)
            ],
            "metadata": {
                "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
                **({"guarded_pressure": {"lesson": lesson}} if lesson else {}),
            },
            "nbformat": 4,
            "nbformat_minor": 5,
        }
    )


def small_lessons(folder: Path) -> Path:
    """A folder with a start lesson, and beside it what is no lesson."""
    folder.mkdir()
    (folder / START_LESSON).write_text(book(("markdown", "# Start\n\nWords."), ("code", "print(6 * 7)")))
    (folder / "notes.ipynb").write_text(book(("code", "open('ran', 'w').close()"), lesson=None))
    (folder / "figures.csv").write_text("a,b\n")
    (folder / "picture.svg").write_text("<svg xmlns='http://www.w3.org/2000/svg'/>")
    return folder


@contextlib.contextmanager
def running_pages(
    home: Path,
    lessons: Path | None = None,
    *,
    words: tuple[str, ...] = START,
    by: signal.Signals = signal.SIGTERM,
    **more: str,
) -> Iterator[Course]:
    """Pages served by their own command, in a home of its own; ended by a signal to its own process.

    Args:
        home: a folder for all that the course and its kernels would keep in a user's home.
        lessons: lessons to serve; the course's own if None.
        words: what follows "python" on the command line.
        by: the signal that ends it.
        more: environment variables.
    """
    home.mkdir(exist_ok=True)
    scratch = home / "tmp"
    scratch.mkdir()
    data, said = home / "record", home / "stderr.txt"
    environment = os.environ | {
        "HOME": str(home),
        "TMPDIR": str(scratch),
        "JUPYTER_DATA_DIR": str(home / "jupyter"),
        "IPYTHONDIR": str(home / "ipython"),
        "GUARDED_PRESSURE_DATA": str(data),
        **more,
    }
    command = [sys.executable, *words, *(["--lessons", str(lessons)] if lessons else [])]
    with (
        said.open("w") as errors,
        subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, stderr=errors, text=True) as server,
    ):
        alarm = threading.Timer(WAIT / 1000, server.kill)  # a start that hangs must end as a failed test
        alarm.start()
        try:
            line = server.stdout.readline() if server.stdout else ""
            alarm.cancel()
            found = re.fullmatch(r"The course is open at (http://\S+) - press Ctrl-C here to end it\.\n", line)
            assert found, f"the course did not start: {line!r}\n{said.read_text()}"
            yield Course(found[1], server.pid, data)
        finally:
            alarm.cancel()
            kernels = children(server.pid)
            server.send_signal(by)
            try:
                rest, _ = server.communicate(timeout=30)
            except subprocess.TimeoutExpired:
                server.kill()
                raise
    assert server.returncode == 0, f"the course ended with {server.returncode}\n{said.read_text()}"
    assert rest == ""
    assert not [pid for pid in kernels if alive(pid)], "kernels outlived the course"
    assert not list(scratch.glob("course-*")), "something was left behind"


def visitor() -> urllib.request.OpenerDirector:
    """A browser without a window: it keeps cookies and follows where it is sent."""
    return urllib.request.build_opener(urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar()))
