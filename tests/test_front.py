"""The command `course` and JupyterLab's settings, without a browser."""

from __future__ import annotations

import argparse
import ast
import asyncio
import inspect
import json
import os
import re
import signal
import socket
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import pytest
from browser import Course, children, running_course
from jupyter_core.paths import jupyter_path
from jupyterlab.commands import get_app_dir
from tornado.web import HTTPError

from toolkit.classroom.room import SESSION_VARIABLE
from toolkit.classroom.session import shipped_session
from toolkit.errors import LaunchError
from toolkit.front import command, launch
from toolkit.front.lessons import ReadOnlyLessons

LAB = launch.FRONT / "lab"
EXTENSION = launch.FRONT / "labextension" / "guarded-pressure"


@pytest.fixture
def lessons(tmp_path: Path) -> Path:
    folder = tmp_path / "lessons"
    folder.mkdir()
    empty = {"cells": [], "metadata": {}, "nbformat": 4, "nbformat_minor": 5}
    (folder / launch.START_LESSON).write_text(json.dumps(empty))
    return folder


def refused(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    """The one sentence that a start with these words ends with."""
    assert command.main(words) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1, said.err
    return said.err


@pytest.mark.parametrize("port", ["0", "65536", "-1", "abc", "80.5", "", "٣"])
def test_a_port_that_is_none_is_refused(capsys: pytest.CaptureFixture[str], lessons: Path, port: str) -> None:
    said = refused(capsys, "--lessons", str(lessons), f"--port={port}")
    assert repr(port) in said
    assert "from 1 to 65535" in said


def test_a_busy_port_is_refused_and_named(capsys: pytest.CaptureFixture[str], lessons: Path) -> None:
    with socket.socket() as taken:
        taken.bind((launch.HOST, 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        assert f"port {port} cannot be used" in refused(capsys, "--lessons", str(lessons), "--port", port)
    assert launch.usable_port(port) == int(port)


def test_without_a_port_a_free_one_is_found() -> None:
    with socket.socket() as probe:
        probe.bind((launch.HOST, launch.usable_port(None)))


def test_a_folder_without_the_start_lesson_is_refused(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    said = refused(capsys, "--lessons", str(tmp_path / "nowhere"))
    assert launch.START_LESSON in said
    assert "nowhere" in said


def test_unknown_words_are_refused_in_one_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    assert "--nonsense" in refused(capsys, "--nonsense")
    assert "TASK: invalid choice: 'dance'" in refused(capsys, "dance")


def test_every_task_that_is_offered_has_a_module_that_runs_it() -> None:
    parser = command._parser(argparse.ArgumentParser)
    (offered,) = (set(one.choices) for one in parser._actions if isinstance(one, argparse._SubParsersAction))
    assert set(command.TASKS) == offered | {None}
    for name in set(command.TASKS.values()):
        assert list(inspect.signature(import_module(f"toolkit.{name}").run).parameters) in (["asked"], ["_asked"])


def test_ctrl_c_ends_any_command_with_one_line(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def pressed(_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("toolkit.front.bank_command.run", pressed)
    assert command.main(["bank"]) == 130
    assert capsys.readouterr() == ("", "Ended by Ctrl-C.\n")


def test_the_lessons_of_the_current_folder_come_before_the_checkouts(
    lessons: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert launch.lessons_folder(None, lessons.parent) == lessons.resolve()
    monkeypatch.setattr(launch, "CHECKOUT_LESSONS", lessons)
    assert launch.lessons_folder(None, tmp_path / "elsewhere") == lessons.resolve()
    monkeypatch.setattr(launch, "CHECKOUT_LESSONS", tmp_path / "gone")
    with pytest.raises(LaunchError, match="--lessons FOLDER"):
        launch.lessons_folder(None, tmp_path / "elsewhere")


def test_a_python_that_is_too_old_is_told_so(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "version_info", (3, 10, 4, "final", 0))
    said = refused(capsys)
    assert "needs Python 3.11" in said
    assert "this is Python 3.10" in said


def test_an_old_python_can_read_as_far_as_the_check() -> None:
    for file in (command.__file__, launch.FRONT / "__init__.py", launch.FRONT.parent / "__init__.py"):
        ast.parse(Path(file).read_text(), feature_version=(3, 7))
    tree = ast.parse(Path(command.__file__).read_text())
    imported = {
        name.name if isinstance(node, ast.Import) else node.module
        for node in tree.body
        if isinstance(node, ast.Import | ast.ImportFrom)
        for name in node.names
    }
    assert imported == {"argparse", "importlib", "pathlib", "sys", "typing"}


def test_images_are_drawn_into_the_folder_asked_for(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    drawn: list[Path] = []
    module = type(sys)("toolkit.panels.images")
    module.run = lambda asked: drawn.append(asked.folder)  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "toolkit.panels.images", module)
    assert command.main(["images", "--folder", str(tmp_path)]) == 0
    assert command.main(["images"]) == 0
    assert drawn == [tmp_path, Path("images")]


def test_the_settings_keep_everything_on_this_machine(lessons: Path, tmp_path: Path) -> None:
    settings = launch.lab_settings(lessons, port=8123, token="secret", open_browser=False, layouts=tmp_path)
    server, lab = settings["ServerApp"], settings["LabApp"]
    assert server["ip"] == "127.0.0.1"
    assert settings["IdentityProvider"]["token"] == "secret"
    assert lab["news_url"] is None
    assert lab["check_for_updates_class"] == "jupyterlab.NeverCheckForUpdate"
    assert lab["extension_manager"] == "readonly"
    assert server["terminals_enabled"] is False
    assert lab["default_url"] == "/lab/tree/00_start_here.ipynb"


def test_what_is_overridden_exists_in_jupyterlab() -> None:
    # JupyterLab ignores a misspelt setting without a word; its own schemas tell which ones there are.
    schemas = Path(get_app_dir()) / "schemas"
    for name, values in json.loads((LAB / "overrides.json").read_text()).items():
        plugin = name.replace(":", "/") + ".json"
        known = json.loads((schemas / plugin).read_text())["properties"]
        assert values.keys() <= known.keys(), plugin


def test_what_is_switched_off_exists_in_jupyterlab() -> None:
    built = "".join(path.read_text() for path in (Path(get_app_dir()) / "static").glob("*.js"))
    for name in json.loads((LAB / "page_config.json").read_text())["disabledExtensions"]:
        added = [Path(folder) / name for folder in jupyter_path("labextensions")]  # what comes with another part
        assert f'"{name}' in built or any(folder.is_dir() for folder in added), name


def test_the_extension_ships_all_that_it_names() -> None:
    about = json.loads((EXTENSION / "package.json").read_text())
    assert (EXTENSION / about["jupyterlab"]["_build"]["load"]).is_file()
    static = EXTENSION / "static"
    for script in static.glob("*.js"):
        for named in re.findall(r"(?:from '\./|new URL\(')([\w.]+\.(?:js|css))'", script.read_text()):
            assert (static / named).is_file(), f"{script.name} names {named}"


def test_lessons_are_shown_and_never_changed(lessons: Path) -> None:
    book = ReadOnlyLessons(root_dir=str(lessons))
    model = asyncio.run(book.get(launch.START_LESSON))
    assert model["content"]["cells"] == []
    assert model["writable"] is False
    before = (lessons / launch.START_LESSON).read_bytes()
    for attempt in (
        book.save({"type": "file", "format": "text", "content": "x"}, launch.START_LESSON),
        book.delete(launch.START_LESSON),
        book.rename(launch.START_LESSON, "other.ipynb"),
        book.new_untitled(type="notebook"),
        book.create_checkpoint(launch.START_LESSON),
        book.restore_checkpoint("checkpoint", launch.START_LESSON),
    ):
        with pytest.raises(HTTPError, match="read only"):
            asyncio.run(attempt)
    assert asyncio.run(book.list_checkpoints(launch.START_LESSON)) == []
    assert [path.name for path in lessons.iterdir()] == [launch.START_LESSON]
    assert (lessons / launch.START_LESSON).read_bytes() == before


def test_a_running_course_answers_only_who_knows_its_token(lessons: Path, tmp_path: Path) -> None:
    with running_course(tmp_path / "home", lessons) as course:
        assert course.ask("/api/contents")["content"][0]["name"] == launch.START_LESSON
        assert list(course.ask("/api/kernelspecs")["kernelspecs"]) == ["python3"]
        with pytest.raises(OSError, match="403"):
            Course(course.start + "x", course.pid, course.data).ask("/api/contents")


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="the environment of a process cannot be read here")
def test_a_session_is_said_and_handed_to_the_kernels(tmp_path: Path, lessons: Path) -> None:
    with running_course(tmp_path / "home", lessons, ("--session", "first_evening")) as course:
        assert course.said[0].startswith("The session First evening: ")
        course.ask("/api/kernels", "POST")
        told = {
            entry.partition("=")[2]
            for pid in children(course.pid)
            for entry in Path(f"/proc/{pid}/environ").read_text().split("\0")
            if entry.startswith(f"{SESSION_VARIABLE}=")
        }
        (kept,) = map(Path, told)
        assert kept.read_text(encoding="utf-8") == shipped_session("first_evening")
    assert not kept.exists()


@pytest.mark.parametrize("task", [(), ("read",)])
def test_a_session_that_is_none_is_refused(tmp_path: Path, task: tuple[str, ...]) -> None:
    words = [sys.executable, "-m", "toolkit.front.command", *task, "--session", "no_such", "--no-browser"]
    done = subprocess.run(words, capture_output=True, text=True, env=os.environ | {"HOME": str(tmp_path)}, check=False)
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    assert "There is no file no_such" in done.stderr


def test_ctrl_c_ends_the_course_without_a_question(lessons: Path, tmp_path: Path) -> None:
    pty = pytest.importorskip("pty", reason="there is no terminal to press Ctrl-C in")
    # At a terminal, and only there, the server would ask whether it is meant.
    keyboard, terminal = pty.openpty()
    with subprocess.Popen(
        [sys.executable, "-m", "toolkit.front.command", "--no-browser", "--lessons", str(lessons)],
        env=os.environ | {"HOME": str(tmp_path), "TMPDIR": str(tmp_path)},
        stdin=terminal,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    ) as server:
        try:
            assert server.stdout is not None
            line = server.stdout.readline()
            assert "press Ctrl-C here to end it" in line
            Course(line.split()[5], server.pid, tmp_path).ask("/api/status")
            server.send_signal(signal.SIGINT)
            said, _ = server.communicate(timeout=30)
        finally:
            server.kill()
            os.close(keyboard)
            os.close(terminal)
    assert server.returncode == 0
    assert "?" not in said
    assert "Traceback" not in said
    assert not list(tmp_path.glob("course-*")), "something was left behind"
