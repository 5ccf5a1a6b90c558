"""A course that runs as a learner's does, and what a test needs to look at it through a real browser."""

from __future__ import annotations

import contextlib
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import threading
import urllib.request
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from playwright.sync_api import Page

from toolkit import compiled
from toolkit.front.launch import FRONT, HOST

WAIT = 60_000  # ms; for a loaded machine, not an expectation
SCREENSHOTS = FRONT.parents[1] / "screenshots"
BROWSERS = ("chromium", "chromium-browser", "google-chrome")
FLAGS = (
    "--no-sandbox",  # continuous integration runs as root
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    # Whatever a page asks for, no name but this machine's is ever looked up.
    f"--host-resolver-rules=MAP * ~NOTFOUND , EXCLUDE {HOST}",
)
LOCAL_SCHEMES = ("about", "blob", "data")
LOOPBACK = (HOST, "localhost", "::1")


@dataclass(frozen=True)
class Course:
    """A running course.

    Attributes:
        start: the address it printed.
        pid: its process.
        data: the folder of the learner's record.
        said: the lines that it printed until then.
    """

    start: str
    pid: int
    data: Path
    said: tuple[str, ...] = ()

    @property
    def root(self) -> str:
        """The server's address without a path."""
        return "http://" + urlsplit(self.start).netloc

    @property
    def token(self) -> str:
        """What the server wants to hear with every request."""
        return self.start.rpartition("token=")[2]

    def address(self, lesson: str) -> str:
        """The address of a lesson, in a window that has nothing else open."""
        return f"{self.root}/lab/tree/{lesson}?reset&token={self.token}"

    def ask(self, path: str, method: str = "GET") -> Any:
        """What the server's own interface answers."""
        request = urllib.request.Request(
            self.root + path, method=method, headers={"Authorization": f"token {self.token}"}
        )
        with urllib.request.urlopen(request, timeout=30) as answer:
            body = answer.read()
        return json.loads(body) if body else None


@contextlib.contextmanager
def running_course(home: Path, lessons: Path | None = None, words: Sequence[str] = ()) -> Iterator[Course]:
    """A course started by its own command, in a home of its own; ended by a SIGTERM to its own process.

    Args:
        home: a folder for all that the course and its kernels would keep in a user's home.
        lessons: lessons to serve; the course's own if None.
        words: what else is said after `course`.
    """
    command = [sys.executable, "-m", "toolkit.front.command", "--no-browser", *words]
    command += ["--lessons", str(lessons)] if lessons else []
    data = home / "record"
    environment = os.environ | {
        **made_engine(),
        "HOME": str(home),
        "XDG_CONFIG_HOME": str(home / "config"),
        "XDG_DATA_HOME": str(home / "share"),
        "JUPYTER_DATA_DIR": str(home / "jupyter"),
        "JUPYTER_RUNTIME_DIR": str(home / "runtime"),
        "IPYTHONDIR": str(home / "ipython"),
        "GUARDED_PRESSURE_DATA": str(data),
    }
    home.mkdir(exist_ok=True)
    said = home / "stderr.txt"
    with (
        said.open("w") as errors,
        subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, stderr=errors, text=True) as server,
    ):
        # A start that hangs must end as a failed test.
        alarm = threading.Timer(WAIT / 1000, server.kill)
        alarm.start()
        try:
            lines: list[str] = []
            for line in server.stdout or ():
                lines.append(line)
                if found := re.search(r"http://\S+", line):
                    break
            else:
                raise AssertionError(f"the course did not start: {lines!r}\n{said.read_text()}")
            alarm.cancel()
            yield Course(found[0], server.pid, data, tuple(lines))
        finally:
            alarm.cancel()
            kernels = children(server.pid)
            server.send_signal(signal.SIGTERM)
            try:
                code = server.wait(30)
            except subprocess.TimeoutExpired:
                server.kill()
                raise
    assert code == 0, f"the course ended with {code}\n{said.read_text()}"
    assert not [pid for pid in kernels if alive(pid)], "kernels outlived the course"


def made_engine() -> dict[str, str]:
    """Where this user's machine code lies: a home of a test's own would have it made anew, at each start."""
    path = compiled.code_path()
    return {compiled.FOLDER: str(path.parent)} if path else {}


def children(pid: int) -> list[int]:
    """The processes that a process started (Linux; elsewhere none are found)."""
    found = []
    for status in Path("/proc").glob("[0-9]*/status"):
        with contextlib.suppress(OSError):
            if f"\nPPid:\t{pid}\n" in status.read_text():
                found.append(int(status.parent.name))
    return found


def alive(pid: int) -> bool:
    """Whether a process is still there."""
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


def chromium() -> str | None:
    """The system's browser, if it has one that will do."""
    return next(filter(None, map(shutil.which, BROWSERS)), None)


def stays_here(address: str) -> bool:
    """Whether a request goes no further than this machine."""
    parts = urlsplit(address)
    return parts.scheme in LOCAL_SCHEMES or parts.hostname in LOOPBACK


def lesson(page: Page, course: Course, name: str) -> None:
    """Open a lesson and wait until all of it has run, as it does by itself; no cell may fail or complain.

    Args:
        page: an empty page.
        course: the course that serves it; the kernels of other lessons are ended, so that this one starts afresh.
        name: the notebook's file name.
    """
    for session in course.ask("/api/sessions"):
        course.ask(f"/api/sessions/{session['id']}", "DELETE")
    page.goto(course.address(name))
    await_lesson(page)


def await_lesson(page: Page) -> None:
    """Wait until the lesson in front has run and its controls are drawn."""
    page.locator(":is([data-gp-state=ready], [data-gp-state=failed]):visible").wait_for(timeout=WAIT)
    front = page.locator(".gp-lesson:visible")
    complaints = front.locator("[data-mime-type='application/vnd.jupyter.stderr']").all_text_contents()
    assert not complaints, "\n".join(complaints)
    assert front.get_attribute("data-gp-state") == "ready", page.get_by_role("status").all_text_contents()
    prompts = front.locator(".jp-CodeCell .jp-InputPrompt").all_text_contents()
    assert all(re.search(r"\[\d+\]", prompt) for prompt in prompts), f"cells that did not run: {prompts}"
    page.wait_for_function("!document.body.innerText.includes('Loading widget')", timeout=WAIT)


def screenshot(page: Page, name: str, width: int = 1280, height: int = 720) -> Path:
    """A picture of the page for people to look at, in `screenshots/`."""
    page.set_viewport_size({"width": width, "height": height})
    path = SCREENSHOTS / f"{name}-{width}x{height}.png"
    page.screenshot(path=path)
    return path
