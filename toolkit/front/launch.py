"""Open the lessons in JupyterLab: on this machine only, offline, without a question before the first lesson."""

from __future__ import annotations

import argparse
import os
import secrets
import socket
import sys
import tempfile
import threading
from pathlib import Path
from typing import Any

import platformdirs
from jupyter_core.paths import jupyter_path
from traitlets.config import Config

from toolkit.errors import LaunchError
from toolkit.front.terminal import say, say_open

HOST = "127.0.0.1"
START_LESSON = "00_start_here.ipynb"
PORTS = range(1, 65536)
FRONT = Path(__file__).parent
CHECKOUT_LESSONS = FRONT.parents[1] / "lessons"
CONTROLS_EXTENSION = Path("@jupyter-widgets") / "jupyterlab-manager"


def run(asked: argparse.Namespace) -> None:
    """Open the lessons as asked: `lessons`, `port`, `browser`, `session`."""
    open_course(asked.lessons, asked.port, asked.browser, asked.session)


def open_course(lessons: Path | None, port: str | None, open_browser: bool, session: str | None = None) -> None:
    """Serve the lessons until Ctrl-C or a SIGTERM.

    Args:
        lessons: folder with the lessons; found by `lessons_folder` if None.
        port: the port as typed; a free one if None.
        open_browser: whether to open the start lesson in the user's browser.
        session: a session file, or the name of a shipped one, in whose numbers the questions are asked.

    Raises:
        LaunchError: a folder, port or part that the course needs is not to be had.
    """
    folder = lessons_folder(lessons, Path.cwd())
    number = usable_port(port)
    settle_process()
    with tempfile.TemporaryDirectory(prefix="course-") as scratch:
        hold_session(session, Path(scratch))
        # The empty settings folder that the line above asks for goes here too, and with it at the end.
        tempfile.tempdir = scratch
        # Only now: the lines above change what this imports.
        from jupyterlab.labapp import LabApp  # type: ignore[import-untyped]

        token = secrets.token_hex(16)
        settings = lab_settings(folder, port=number, token=token, open_browser=open_browser, layouts=Path(scratch))
        server = LabApp.initialize_server(argv=[], config=Config(settings))
        # The server has put its own "listen" before this, so that the address works when it is read.
        server.io_loop.add_callback(_announce, address(number, token))
        server.start()


def settle_process() -> None:
    """Settle what this process and its kernels go by; before anything of Jupyter is imported."""
    # Building this module's grammar takes 2 s of every start, for checks of addresses that the course never asks for;
    # what would import it does without it where it is not installed.
    sys.modules.setdefault("rfc3987_syntax", None)  # type: ignore[arg-type]
    # Nobody's settings for other notebooks may change how the course starts.
    os.environ["JUPYTER_NO_CONFIG"] = "1"
    # A page need not hear again what it has just said: a message less at each move of a slider.
    os.environ["JUPYTER_WIDGETS_ECHO"] = "0"


def hold_session(session: str | None, scratch: Path) -> None:
    """Tell the kernels of the session that is held, by a copy in a folder that lasts as long as they do, and say it.

    `session` is a session file, or the name of a shipped one. Raises LaunchError where it will not do.
    """
    if session is None:
        return
    # Late: they load the questions, and nothing else of a start does.
    from toolkit.classroom.record import utc_now
    from toolkit.classroom.room import SESSION_VARIABLE
    from toolkit.classroom.session import session_of
    from toolkit.classroom.session_words import told_at_start
    from toolkit.front.session_file import session_text

    kept, text = scratch / "session.toml", session_text(session)
    kept.write_text(text, encoding="utf-8")
    os.environ[SESSION_VARIABLE] = str(kept)
    say(f"{told_at_start(session_of(text), utc_now())}\n")


def _announce(where: str) -> None:
    """Say that the course is open, and use the time until the browser asks for the lesson."""
    say_open(where)
    threading.Thread(target=_prepare_first_answers, daemon=True).start()


def _prepare_first_answers() -> None:
    """Load what the first lesson will need from the server, while the browser is still loading its page: saves 1 s."""
    import ipykernel.kernelspec  # noqa: F401
    import nbformat

    nbformat.validate(nbformat.v4.new_notebook())  # type: ignore[no-untyped-call]


def lessons_folder(asked: Path | None, current: Path) -> Path:
    """The folder that holds the start lesson: the one asked for, else `current`/lessons, else the checkout's.

    Raises:
        LaunchError: none of them holds the start lesson.
    """
    tried = [asked] if asked else list(dict.fromkeys([current / "lessons", CHECKOUT_LESSONS]))
    for folder in tried:
        if (folder / START_LESSON).is_file():
            return folder.resolve()
    mend = (
        "give the folder that holds the lessons" if asked else "start in the course's folder, or give --lessons FOLDER"
    )
    raise LaunchError(f"There is no lesson {START_LESSON} in {' or '.join(str(folder) for folder in tried)}: {mend}.")


def usable_port(asked: str | None) -> int:
    """A port to listen on: the one asked for if it is free, else any free one.

    Raises:
        LaunchError: not a whole number from 1 to 65535, or the port is taken or not allowed.
    """
    with socket.socket() as probe:
        if asked is None:
            probe.bind((HOST, 0))
            return int(probe.getsockname()[1])
        if not (asked.isascii() and asked.isdigit() and int(asked) in PORTS):
            raise LaunchError(
                f"The port {asked!r} will not do: give a whole number from {PORTS[0]} to {PORTS[-1]}, "
                "or leave --port out and a free one is taken."
            )
        if os.name == "posix":  # as the server does, so that a port it used a moment ago counts as free
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, int(asked)))
        except OSError as busy:
            raise LaunchError(
                f"The port {asked} cannot be used ({busy.strerror}): end what uses it, give another one, "
                "or leave --port out and a free one is taken."
            ) from busy
    return int(asked)


def address(port: int, token: str) -> str:
    """The address to open in a browser on this machine."""
    return f"http://{HOST}:{port}/lab/tree/{START_LESSON}?token={token}"


def lab_settings(
    lessons: Path, *, port: int, token: str, open_browser: bool, layouts: Path
) -> dict[str, dict[str, Any]]:
    """JupyterLab's settings for the course, by class and name.

    Args:
        lessons: folder to serve.
        port: free port.
        token: what a page must know to talk to the server.
        open_browser: whether JupyterLab opens the page.
        layouts: folder to keep the arrangement of windows in; a fresh one makes every start a calm one.

    Raises:
        LaunchError: the part of JupyterLab that shows the controls is not installed.
    """
    start = f"/lab/tree/{START_LESSON}"
    return {
        "ServerApp": {
            "ip": HOST,
            "port": port,
            "port_retries": 0,
            "root_dir": str(lessons),
            "open_browser": open_browser,
            "default_url": start,
            "terminals_enabled": False,
            "allow_root": True,
            "answer_yes": True,  # Ctrl-C ends it without a question: there is nothing to save
            "contents_manager_class": "toolkit.front.lessons.ReadOnlyLessons",
        },
        "Application": {"log_level": "ERROR"},
        "IdentityProvider": {"token": token},
        # Only the Python that runs the course: a kernel of the same name elsewhere may lack the course.
        "KernelSpecManager": {"kernel_dirs": [], "allowed_kernelspecs": {"python3"}},
        "KernelManager": {"transport_encryption": "auto"},
        "LabApp": {
            "default_url": start,
            "extension_manager": "readonly",
            "news_url": None,
            "check_for_updates_class": "jupyterlab.NeverCheckForUpdate",
            "app_settings_dir": str(FRONT / "lab"),
            "user_settings_dir": str(platformdirs.user_config_path("guarded-pressure") / "lab"),
            "workspaces_dir": str(layouts / "layouts"),
            "labextensions_path": [str(_controls_folder())],
            "extra_labextensions_path": [str(FRONT / "labextension")],
        },
    }


def _controls_folder() -> Path:
    """The folder of extensions that holds the controls (sliders, menus, boxes) of the page.

    Only this one is searched: other people's extensions may ask questions or call home.
    """
    for folder in map(Path, jupyter_path("labextensions")):
        if (folder / CONTROLS_EXTENSION / "package.json").is_file():
            return folder
    raise LaunchError(
        f"JupyterLab's part for sliders and menus ({CONTROLS_EXTENSION.as_posix()}) is not installed: "
        "set the course up again as the README says."
    )
