"""`course read` without a browser: what it refuses, what it serves, and what a visitor cannot make a kernel do."""

from __future__ import annotations

import asyncio
import json
import re
import signal
import socket
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from uuid import uuid4

import psutil
import pytest
from browser import Course, children
from reading import book, running_pages, small_lessons, visitor
from tornado.httpclient import HTTPClientError, HTTPRequest
from tornado.websocket import websocket_connect

from toolkit.errors import LaunchError
from toolkit.front import command, launch, read, reader

# A kernel ends its own life within seconds; this is for a loaded machine.
PATIENCE = 60


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return small_lessons(tmp_path_factory.mktemp("pages") / "lessons")


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory, folder: Path) -> Iterator[Course]:
    with running_pages(tmp_path_factory.mktemp("home"), folder) as running:
        yield running


@pytest.fixture(scope="module")
def lesson(pages: Course) -> str:
    """The start lesson's page."""
    return visitor().open(pages.start).read().decode()


def refused(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    """The one sentence that a start with these words ends with."""
    assert command.main(["read", *words]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1, said.err
    return said.err


def answer(pages: Course, path: str, method: str = "GET", **headers: str) -> tuple[int, str]:
    """Status and text of an answer to who knows the token, where it is asked, without going elsewhere."""
    request = urllib.request.Request(
        pages.root + path, method=method, headers={"Authorization": f"token {pages.token}", **headers}
    )
    try:
        with urllib.request.urlopen(request, timeout=PATIENCE) as answered:
            return answered.status, answered.read().decode("utf-8", "replace")
    except urllib.error.HTTPError as error:
        return error.code, error.read().decode("utf-8", "replace")


def shown(page: str) -> str:
    """What a page says, without its tags."""
    return " ".join(re.sub(r"<[^>]*>", " ", re.split(r"<body[^>]*>", page)[1]).split())


# How it starts


def test_a_busy_port_and_one_that_is_none_are_refused(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    with socket.socket() as taken:
        taken.bind((launch.HOST, 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        assert f"port {port} cannot be used" in refused(capsys, "--lessons", str(folder), "--port", port)
    assert "from 1 to 65535" in refused(capsys, "--lessons", str(folder), "--port", "abc")


def test_a_folder_without_the_start_lesson_is_refused(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert launch.START_LESSON in refused(capsys, "--lessons", str(tmp_path / "nowhere"))


@pytest.mark.parametrize(
    ("words", "lessons", "port", "browser", "session"),
    [
        (["read"], None, None, True, None),
        (["read", "--port", "5", "--no-browser"], None, "5", False, None),
        (["--port", "5", "--no-browser", "--lessons", "x", "read"], Path("x"), "5", False, None),
        (["--port", "5", "read", "--port", "6"], None, "6", True, None),
        (["read", "--session", "s"], None, None, True, "s"),
        (["--session", "s", "read"], None, None, True, "s"),
    ],
)
def test_words_before_and_after_read_are_heard(
    monkeypatch: pytest.MonkeyPatch,
    words: list[str],
    lessons: Path | None,
    port: str | None,
    browser: bool,
    session: str | None,
) -> None:
    heard: dict[str, object] = {}
    monkeypatch.setattr(read, "open_pages", lambda **asked: heard.update(asked))
    assert command.main(words) == 0
    wanted = {"lessons": lessons, "port": port, "open_browser": browser, "session": session}
    assert heard == wanted | {"first": launch.START_LESSON}


def test_a_browser_is_opened_without_the_token_on_its_command_line(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    asked: list[str] = []
    monkeypatch.setattr("webbrowser.open", asked.append)
    read._open_in_browser(read.address(8123, "secret"), tmp_path)
    assert asked == [(tmp_path / "open.html").as_uri()]
    assert "url=http://127.0.0.1:8123/00_start_here.ipynb?token=secret" in (tmp_path / "open.html").read_text()


def test_what_draws_the_controls_must_be_there(monkeypatch: pytest.MonkeyPatch, folder: Path) -> None:
    monkeypatch.setattr(reader, "EXTENSIONS", ("@nobody/nothing",))
    monkeypatch.setattr(reader.Reader, "start", lambda _: None)
    before = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        with pytest.raises(LaunchError, match="@nobody/nothing"):
            reader.serve(folder, 1, "secret", lambda: None)
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def test_the_settings_keep_it_on_this_machine(folder: Path) -> None:
    known = reader.settings(folder, port=8123, token="secret")
    assert known["Voila"]["ip"] == "127.0.0.1"
    assert known["Voila"]["token"] == "secret"
    assert known["Voila"]["config_file_paths"] == []
    assert known["VoilaConfiguration"]["show_tracebacks"] is False
    assert set(known["VoilaConfiguration"]["extension_allowlist"]) == set(reader.EXTENSIONS)


# What is served


def test_a_lesson_comes_as_a_page_without_its_code(lesson: str) -> None:
    assert "<title>Start - Guarded pressure</title>" in lesson
    assert '<html lang="en">' in lesson
    assert "<p>Words.</p>" in lesson
    assert "<pre>42\n</pre>" in lesson
    assert "6 * 7" not in lesson
    assert "data-gp-complete" in lesson


def test_the_sheets_come_as_pages_without_a_kernel(pages: Course, folder: Path) -> None:
    (folder / "glossary.md").write_text("<!-- made -->\n# Glossary\n\n| term | a |\n|---|---|\n| seat | <b>x</b> |\n")
    status, page = answer(pages, "/glossary.md")
    assert status == 200
    assert "<h1>Glossary</h1>" in page
    assert "<td>&lt;b&gt;x&lt;/b&gt;</td>" in page
    assert "made" not in page
    assert "jupyter-config-data" not in page
    assert answer(pages, "/formulas.md")[0] == 404  # this folder has none


def test_a_page_names_nothing_outside_this_machine(lesson: str) -> None:
    assert not re.findall(r"(?:https?:)?//[a-z][\w.-]*\.[a-z]{2,}", lesson)


def test_a_page_allows_nothing_from_outside(pages: Course) -> None:
    with visitor().open(pages.start) as answered:
        policy = answered.headers["Content-Security-Policy"]
        assert answered.headers["Cache-Control"] == "no-store"
        assert "token" not in answered.url
        answered.read()
    assert "default-src 'self'" in policy
    assert "script-src" not in policy  # so the default holds: no script but from a file here
    assert "unsafe-eval" not in policy
    for host in re.findall(r"[\w.]+:\d+", policy):
        assert host.startswith("127.0.0.1:")


def test_the_first_address_leads_to_the_start_lesson(pages: Course) -> None:
    with visitor().open(f"{pages.root}/?token={pages.token}") as answered:
        assert answered.url == f"{pages.root}/{launch.START_LESSON}"
        answered.read()


@pytest.mark.parametrize(
    "path",
    [
        "/notes.ipynb",  # no lesson: opening it would run it
        "/nothing.ipynb",
        "/figures.csv",
        "/picture.svg",
        "/voila/files/picture.svg",
        "/voila/files/00_start_here.ipynb",
        "/voila/render/00_start_here.ipynb",
        "/voila/tree",
        "/voila/api/contents",
        "/api/contents",
        "/api/kernels",
        "/api/sessions",
        "/api/terminals",
        "/files/figures.csv",
        "/lab",
        "/login",
        "/..%2f..%2fpyproject.toml",
    ],
)
def test_nothing_else_is_served(pages: Course, folder: Path, path: str) -> None:
    status, page = answer(pages, path)
    assert status == 404
    assert shown(page) == "Guarded pressure There is no lesson of this name. Start here"
    assert not (folder / "ran").exists()


@pytest.mark.parametrize("path", ["/voila/static/..%2f..%2findex.html.j2", "/voila/static/%2e%2e/index.html.j2"])
def test_no_file_outside_the_static_folders_is_served(pages: Course, path: str) -> None:
    status, page = answer(pages, path)
    assert status in (403, 404)
    assert "kernel_start" not in page


@pytest.mark.parametrize("method", ["PUT", "POST", "DELETE", "PATCH"])
def test_nothing_is_taken(pages: Course, folder: Path, method: str) -> None:
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    for path in (f"/{launch.START_LESSON}", "/new.ipynb", "/voila/static/new.js"):
        status, _ = answer(pages, path, method)
        assert status in (403, 405)
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


# Who is let in


def test_without_the_token_there_is_a_sentence_and_no_kernel(pages: Course) -> None:
    before = children(pages.pid)
    for path in (f"/{launch.START_LESSON}", f"/{launch.START_LESSON}?token=wrong", "/anything"):
        with pytest.raises(urllib.error.HTTPError, match="403") as refusal:
            visitor().open(pages.root + path)
        with refusal.value as error:
            page = error.read().decode()
        assert "whole address" in shown(page)
        assert "<a" not in page
    assert children(pages.pid) == before


def test_a_page_elsewhere_that_gives_itself_our_address_is_refused(pages: Course) -> None:
    assert answer(pages, f"/{launch.START_LESSON}", Host="elsewhere.example")[0] == 403


# What a kernel can be made to do


def kernel_of(page: str) -> str:
    return json.loads(re.search(r'id="jupyter-config-data"[^>]*>(.*?)</script>', page)[1])["kernelId"]


def message(kind: str, content: dict[str, object], channel: str = "shell") -> dict[str, object]:
    header = {"msg_id": uuid4().hex, "msg_type": kind, "session": "s", "username": "u", "version": "5.3", "date": ""}
    return {"header": header, "parent_header": {}, "metadata": {}, "content": content, "channel": channel}


def replies(pages: Course, kernel: str, sent: list[dict[str, object]]) -> list[str]:
    """The kinds of answers of a kernel up to that to the last of the messages sent to it."""

    async def talk() -> list[str]:
        request = HTTPRequest(
            pages.root.replace("http", "ws") + f"/api/kernels/{kernel}/channels",
            headers={"Authorization": f"token {pages.token}"},
        )
        socket_ = await websocket_connect(request)
        for one in sent:
            await socket_.write_message(json.dumps(one))
        heard = []
        last = sent[-1]["header"]["msg_id"]  # type: ignore[index]
        ours = {one["header"]["msg_id"] for one in sent}  # type: ignore[index]
        while True:
            told = json.loads(await asyncio.wait_for(socket_.read_message(), PATIENCE))
            if told["parent_header"].get("msg_id") in ours and told["channel"] != "iopub":
                heard.append(told["header"]["msg_type"])
            if told["parent_header"].get("msg_id") == last and told["channel"] == "shell":
                socket_.close()
                while await socket_.read_message() is not None:
                    pass  # to the end: a line that is only half shut is left open
                return heard

    return asyncio.run(talk())


def test_a_visitor_cannot_run_code(pages: Course, tmp_path: Path) -> None:
    mark = tmp_path / "ran"
    code = f"open({str(mark)!r}, 'w').close()"
    kernel = kernel_of(visitor().open(pages.start).read().decode())
    tried = [
        message("execute_request", {"code": code, "silent": False, "store_history": False, "allow_stdin": False}),
        message("execute_request", {"code": code, "silent": False}, channel="control"),
        message("inspect_request", {"code": "open", "cursor_pos": 4}),
        message("complete_request", {"code": "op", "cursor_pos": 2}),
        message("history_request", {"hist_access_type": "tail", "n": 9}),
        message("debug_request", {"command": "evaluate", "arguments": {"expression": code}}, channel="control"),
        message("create_subshell_request", {}, channel="control"),
        message("input_reply", {"value": code}, channel="stdin"),
    ]
    # The kernel takes them in order: what it answers last, it answers after all that got through.
    assert replies(pages, kernel, [*tried, message("kernel_info_request", {})]) == ["kernel_info_reply"]
    assert not mark.exists()


def test_a_kernel_is_talked_to_only_with_the_token(pages: Course) -> None:
    known = visitor()
    kernel = kernel_of(known.open(pages.start).read().decode())
    stranger = Course(pages.start + "x", pages.pid, pages.data)
    with pytest.raises(HTTPClientError, match="403"):
        replies(stranger, kernel, [message("kernel_info_request", {})])
    assert answer(stranger, f"/api/kernels/{kernel}")[0] == 403
    model = f"{pages.root}/api/kernels/{kernel}"
    with known.open(model) as answered:
        assert answered.status == 200
    elsewhere = urllib.request.Request(model, headers={"Origin": "http://elsewhere.example"})
    with pytest.raises(urllib.error.HTTPError, match="404") as refusal:  # in the browser that has our cookie
        known.open(elsewhere)
    refusal.value.close()


def test_a_kernel_without_a_page_is_ended(tmp_path: Path, folder: Path) -> None:
    program = (
        "import sys; from toolkit.front import command, reader;"
        "reader.KERNEL_UNSEEN_SECONDS = reader.KERNEL_LOOK_SECONDS = 1;"
        "sys.exit(command.main(['read', '--no-browser', *sys.argv[1:]]))"
    )
    with running_pages(tmp_path / "home", folder, words=("-c", program)) as course:
        visitor().open(course.start).read()  # and no word to its kernel, as from a browser that was killed
        for pid in children(course.pid):
            psutil.Process(pid).wait(PATIENCE)


# How it ends


@pytest.mark.parametrize("by", [signal.SIGINT, signal.SIGTERM])
def test_it_ends_cleanly_in_the_middle_of_a_page(tmp_path: Path, by: signal.Signals) -> None:
    lessons = small_lessons(tmp_path / "lessons")
    endless = ("code", "import time\nwhile True: time.sleep(0.1)")
    (lessons / launch.START_LESSON).write_text(book(("markdown", "# Long"), endless))
    with running_pages(tmp_path / "home", lessons, by=by) as course:
        answered = visitor().open(course.start)
        while b"jupyter-config-data" not in answered.readline():
            pass  # its kernel is at work
        assert children(course.pid)
    answered.close()
    assert (tmp_path / "home" / "stderr.txt").read_text() == ""


def test_a_page_that_is_left_early_leaves_no_kernel(tmp_path: Path) -> None:
    lessons = small_lessons(tmp_path / "lessons")
    long = [("code", "import time\ntime.sleep(0.5)")] * 8
    (lessons / launch.START_LESSON).write_text(book(("markdown", "# Long"), *long))
    with running_pages(tmp_path / "home", lessons) as course:
        answered = visitor().open(course.start)
        while b"jupyter-config-data" not in answered.readline():
            pass
        (kernel,) = children(course.pid)
        answered.close()
        psutil.Process(kernel).wait(PATIENCE)


def test_a_kernel_that_does_not_come_leaves_the_text_and_a_mark(tmp_path: Path, folder: Path) -> None:
    broken = tmp_path / "broken"
    broken.mkdir()
    (broken / "ipykernel_launcher.py").write_text("raise SystemExit(1)")
    with running_pages(tmp_path / "home", folder, PYTHONPATH=str(broken)) as course:
        page = visitor().open(course.start).read().decode()
        assert "<p>Words.</p>" in page
        assert "jupyter-config-data" not in page  # by which the page's script knows
        assert "Traceback" not in page
        assert children(course.pid) == []
