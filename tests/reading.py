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
import urllib.parse
import urllib.request
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import psutil
from browser import WAIT, Course, made_engine

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
    """Pages for one reader, as `served` runs them."""
    with served(home, lessons, words=words, by=by, **more) as (said, pid):
        found = re.fullmatch(r"The course is open at (http://\S+) - press Ctrl-C here to end it\.\n", said)
        assert found, f"the course did not start: {said!r}"
        yield Course(found[1], pid, home / "record")


@dataclass(frozen=True)
class Room:
    """A class that is served: its door's address, its code, the instructor's address, its process and its folder."""

    root: str
    code: str
    instructor: str
    pid: int
    folder: Path

    def comes_in(self, name: str, own: str = "", to: str = "") -> tuple[urllib.request.OpenerDirector, str]:
        """Somebody who comes in by the form: a browser without a window, and the page that follows."""
        known = visitor()
        return known, self.knocks(known, code=self.code, name=name, own=own, to=to)

    def knocks(self, known: urllib.request.OpenerDirector, **typed: str) -> str:
        """The page that follows when a form is sent; HTTPError where it is refused."""
        form = known.open(self.root + "/come-in").read().decode()
        token = re.search(r'name="_xsrf" value="([^"]+)"', form)
        assert token
        sent = urllib.parse.urlencode({"_xsrf": token[1], **typed}).encode()
        page: str = known.open(self.root + "/come-in", sent).read().decode()
        return page


@contextlib.contextmanager
def running_room(
    home: Path,
    lessons: Path | None = None,
    *words: str,
    by: signal.Signals = signal.SIGTERM,
    program: str = "",
    **more: str,
) -> Iterator[Room]:
    """A class served by its own command, as `served` runs it; `words` follow `course serve`, or a `program` of it."""
    folder = home / "room"
    start = ("-c", program) if program else ("-m", "toolkit.front.command", "serve", "--folder", str(folder))
    command = (*start, *words)
    with served(home, lessons, words=command, by=by, **more) as (said, pid):
        found = re.search(r"open at (http://[\d.:]+)/.*class code: (\w+).*(http://\S+/instructor\S+)", said, re.DOTALL)
        assert found, f"the class did not start: {said!r}"
        yield Room(found[1], found[2], found[3], pid, folder)


@contextlib.contextmanager
def served(
    home: Path,
    lessons: Path | None,
    *,
    words: tuple[str, ...],
    by: signal.Signals,
    **more: str,
) -> Iterator[tuple[str, int]]:
    """What a server says once it is open, and its process; in a home of its own, ended by a signal.

    Args:
        home: a folder for all that the course and its kernels would keep in a user's home.
        lessons: lessons to serve; the course's own if None.
        words: what follows "python" on the command line.
        by: the signal that ends it.
        more: environment variables.
    """
    home.mkdir(exist_ok=True)
    scratch = home / "tmp"
    scratch.mkdir(exist_ok=True)
    before = set(scratch.glob("course-*"))  # a server that was killed could not tidy up
    said = home / "stderr.txt"
    environment = os.environ | {
        **made_engine(),
        "HOME": str(home),
        "TMPDIR": str(scratch),
        "JUPYTER_DATA_DIR": str(home / "jupyter"),
        "IPYTHONDIR": str(home / "ipython"),
        "GUARDED_PRESSURE_DATA": str(home / "record"),
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
            lines = list(until_open(server.stdout or []))
            alarm.cancel()
            assert lines, f"it did not start:\n{said.read_text()}"
            yield "".join(lines), server.pid
        finally:
            alarm.cancel()
            kernels = below(server.pid)
            server.send_signal(by)
            try:
                rest, _ = server.communicate(timeout=30)
            except subprocess.TimeoutExpired:
                server.kill()
                raise
    if by == signal.SIGKILL:
        for pid in kernels:  # nobody was left to end them; they find that out by themselves, later
            with contextlib.suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
        return
    assert server.returncode == 0, f"the course ended with {server.returncode}\n{said.read_text()}"
    assert rest == ""
    assert not outlived(kernels), "kernels outlived the course"
    assert set(scratch.glob("course-*")) == before, "something was left behind"


def outlived(pids: list[int]) -> list[int]:
    """Those that are still at work, some seconds on: a kernel that was asked to end may take a moment for it."""
    known = []
    for pid in pids:
        with contextlib.suppress(psutil.NoSuchProcess):
            known.append(psutil.Process(pid))
    _, left = psutil.wait_procs(known, timeout=10)
    return [one.pid for one in left if one.is_running() and one.status() != psutil.STATUS_ZOMBIE]


def below(pid: int) -> list[int]:
    """The processes that a process started, and those that they started."""
    try:
        return [one.pid for one in psutil.Process(pid).children(recursive=True)]
    except psutil.NoSuchProcess:
        return []


def until_open(lines: Iterable[str]) -> Iterator[str]:
    """The lines up to the one that says how to end it."""
    for line in lines:
        yield line
        if "Ctrl-C" in line:
            return


def visitor() -> urllib.request.OpenerDirector:
    """A browser without a window: it keeps cookies and follows where it is sent."""
    return urllib.request.build_opener(urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar()))
