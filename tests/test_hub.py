"""The JupyterHub configuration, over its real addresses: the door, and a server for each name that no other reaches."""

from __future__ import annotations

import asyncio
import contextlib
import importlib.util
import json
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from urllib.request import OpenerDirector

import psutil
import pytest
from browser import made_engine
from reading import visitor
from test_read import PATIENCE, message
from tornado.httpclient import HTTPRequest
from tornado.websocket import websocket_connect

from toolkit.classroom.record import Record
from toolkit.errors import LaunchError
from toolkit.front import command, hub, hub_server
from toolkit.front.launch import CHECKOUT_LESSONS, HOST, START_LESSON, lab_settings, usable_port

REQUIRED = os.environ.get("COURSE_HUB") == "required"
PROXY = "configurable-http-proxy"
CODE = "green valve 42"
IDLE = 900
LAB = f"/lab/tree/{START_LESSON}"


@dataclass(frozen=True)
class Hub:
    """A running hub: its address, its process, and its folder."""

    root: str
    process: psutil.Process
    folder: Path


@dataclass(frozen=True)
class Learner:
    """Somebody who came in: a browser without a window, and the root of their own server."""

    known: OpenerDirector
    server: str

    @property
    def cookies(self) -> Any:
        return next(one.cookiejar for one in self.known.handlers if hasattr(one, "cookiejar"))

    def ask(self, where: str, sent: bytes | None = None) -> Any:
        """What the server's own interface answers."""
        path = urllib.parse.urlsplit(self.server).path
        token = next(one.value for one in self.cookies if one.name == "_xsrf" and one.path == path)
        request = urllib.request.Request(self.server + where, sent, {"X-XSRFToken": token})
        with self.known.open(request, timeout=PATIENCE) as answer:
            return json.loads(answer.read())


def fetched(known: OpenerDirector, address: str, sent: bytes | None = None) -> tuple[int, str, str]:
    """Status, address and text of the page that follows."""
    try:
        with known.open(address, sent, timeout=PATIENCE) as page:
            return page.status, page.url, page.read().decode("utf-8", "replace")
    except urllib.error.HTTPError as refusal:
        with refusal:
            return refusal.code, refusal.url, refusal.read().decode("utf-8", "replace")


def knocks(hub_: Hub, name: str, code: str) -> tuple[OpenerDirector, int]:
    """Send the door's form: a browser without a window, and what was answered."""
    known = visitor()
    token = re.search(r'name="_xsrf" value="([^"]+)"', fetched(known, hub_.root + "/hub/login")[2])
    assert token
    typed = urllib.parse.urlencode({"_xsrf": token[1], "username": name, "password": code}).encode()
    return known, fetched(known, hub_.root + "/hub/login", typed)[0]


def came_in(hub_: Hub, name: str) -> Learner:
    """Come in by the code, and wait for the start lesson of the learner's own server."""
    known, status = knocks(hub_, name, CODE)
    assert status == 200
    name = urllib.parse.quote(name.lower())
    fetched(known, f"{hub_.root}/hub/spawn/{name}")
    lesson, deadline = f"{hub_.root}/user/{name}{LAB}", time.monotonic() + PATIENCE
    while True:
        status, address, page = fetched(known, lesson)
        if (status, address) == (200, lesson):
            assert "Guarded pressure" in page
            return Learner(known, f"{hub_.root}/user/{name}/")
        assert time.monotonic() < deadline, f"the server did not come: {status} {address}"
        time.sleep(0.3)  # between two questions; the deadline above decides


@pytest.fixture(scope="module")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Hub]:
    for missing in [
        *(name for name in ("jupyterhub", "jupyterhub_idle_culler") if importlib.util.find_spec(name) is None),
        *([] if shutil.which(PROXY) else [f"{PROXY} (npm)"]),
    ]:
        (pytest.fail if REQUIRED else pytest.skip)(f"{missing} is not installed: the hub cannot be started")
    home = tmp_path_factory.mktemp("hub home")
    folder, port, said = home / "hub {of} ours", usable_port(None), home / "said.txt"
    code = home / "code.txt"
    code.write_text(CODE + "\n")
    environment = {name: value for name, value in os.environ.items() if name not in hub.VARIABLES} | {
        **made_engine(),
        "HOME": str(home),
        hub.CODE_FILE: str(code),
        hub.PORT: str(port),
        hub.FOLDER: str(folder),
        hub.IDLE: str(IDLE),
    }
    words = [sys.executable, "-m", "jupyterhub", "--config", str(hub.CONFIG_FILE)]
    with (
        said.open("w") as out,
        subprocess.Popen(
            words, cwd=CHECKOUT_LESSONS.parent, env=environment, stdout=out, stderr=subprocess.STDOUT
        ) as started,
    ):
        try:
            process = psutil.Process(started.pid)
            deadline = time.monotonic() + PATIENCE
            while "JupyterHub is now running" not in said.read_text():
                assert started.poll() is None, said.read_text()
                assert time.monotonic() < deadline, said.read_text()
                time.sleep(0.2)
            yield Hub(f"http://{HOST}:{port}", process, folder)
        finally:
            started_by_it = psutil.Process(started.pid).children(recursive=True) if started.poll() is None else []
            started.send_signal(signal.SIGTERM)
            try:
                started.wait(PATIENCE)
            finally:
                _, left = psutil.wait_procs(started_by_it, timeout=10)
                for one in left:
                    one.kill()
                started.kill()
    assert started.returncode == 0, said.read_text()
    assert len(started_by_it) >= 2, "the proxy and the culler were not there to be ended"
    assert not left, "processes outlived the hub"
    assert "Traceback" not in said.read_text()


@pytest.fixture(scope="module")
def both(running: Hub) -> tuple[Learner, Learner]:
    return came_in(running, "Ann B."), came_in(running, "bob")


@pytest.mark.parametrize(
    ("name", "code"), [("Eve", "green valve 43"), ("Eve", ""), ("../eve", CODE), ("e/ve", CODE), ("-", CODE)]
)
def test_a_wrong_code_and_a_name_that_is_a_path_are_refused(running: Hub, name: str, code: str) -> None:
    assert knocks(running, name, code)[1] == 403


def test_who_has_not_come_in_stands_before_the_door(running: Hub) -> None:
    _, address, door = fetched(visitor(), running.root + "/")
    assert "/hub/login" in address
    assert "the class code on the board" in door


def test_each_has_a_kernel_and_a_record_of_their_own(running: Hub, both: tuple[Learner, Learner]) -> None:
    asked = "import os; from toolkit.classroom.record import Record as R; R().check_writable(); print(os.environ['{}'])"
    folders = [Path(run(one, asked.format("GUARDED_PRESSURE_DATA"))) for one in both]
    assert folders == [running.folder / "learners" / name / "record" for name in ("ann b.", "bob")]
    assert [Record(folder).learner() for folder in folders] == ["ann b.", "bob"]
    for one in both:
        assert list(one.ask("api/kernelspecs")["kernelspecs"]) == ["python3"]
        assert one.ask(f"api/contents/{START_LESSON}?content=0")["writable"] is False
        assert fetched(one.known, one.server + "api/terminals")[0] == 404


def test_none_reaches_the_server_of_another(both: tuple[Learner, Learner]) -> None:
    ann, bob = both
    kernel = ann.ask("api/kernels")[0]["id"]
    for address in (ann.server.rstrip("/") + LAB, f"{ann.server}api/kernels/{kernel}", f"{ann.server}api/contents"):
        assert fetched(bob.known, address)[0] == 403
    assert fetched(visitor(), f"{ann.server}api/kernels/{kernel}")[0] == 403


@pytest.mark.usefixtures("both")
def test_only_this_machine_is_listened_on(running: Hub) -> None:
    own = [running.process, *running.process.children(recursive=True)]
    if not Path("/proc/net/tcp").exists():
        pytest.skip("this system has no list of what is listened on")
    inodes = set()
    for process in own:
        for handle in Path(f"/proc/{process.pid}/fd").iterdir():
            with contextlib.suppress(OSError):
                inodes.update(re.findall(r"socket:\[(\d+)\]", str(handle.readlink())))
    tables = [Path(f"/proc/net/{table}").read_text() for table in ("tcp", "tcp6")]
    rows = [line.split() for table in tables for line in table.splitlines()[1:]]
    listening = {row[1].partition(":")[0] for row in rows if row[3] == "0A" and row[9] in inodes}
    assert listening == {"0100007F"}


def test_a_server_that_is_not_used_is_ended(running: Hub, both: tuple[Learner, Learner]) -> None:
    below = running.process.children(recursive=True)
    culler = next(one for one in below if "jupyterhub_idle_culler" in one.cmdline())
    assert f"--timeout={IDLE}" in culler.cmdline()
    servers = [one for one in below if "toolkit.front.hub_server" in one.cmdline()]
    assert len(servers) == len(both)
    # The same service with the same rights, only less patient.
    hurried = ["--timeout=2" if word.startswith("--timeout=") else word for word in culler.cmdline()]
    with subprocess.Popen(hurried, env=culler.environ(), stderr=subprocess.DEVNULL) as sooner:
        try:
            _, left = psutil.wait_procs(servers, timeout=PATIENCE)
        finally:
            sooner.kill()
    assert not left


def run(learner: Learner, code: str) -> str:
    """What a fresh kernel of a learner's prints."""
    kernel = learner.ask("api/kernels", b"{}")["id"]
    address = f"{learner.server}api/kernels/{kernel}/channels"
    cookies = "; ".join(f"{one.name}={one.value}" for one in learner.cookies if address.find(one.path) > 0)
    sent = message("execute_request", {"code": code, "silent": False, "store_history": False})

    async def spoken() -> str:
        origin = urllib.parse.urlsplit(learner.server)
        head = {"Cookie": cookies, "Origin": f"http://{origin.netloc}"}
        connection = await websocket_connect(HTTPRequest(address.replace("http", "ws", 1), headers=head))
        await connection.write_message(json.dumps(sent))
        printed = ""
        while not printed:
            told = json.loads(await asyncio.wait_for(connection.read_message(), PATIENCE))
            assert told["msg_type"] != "error", told["content"]
            printed = str(told["content"]["text"]).strip() if told["msg_type"] == "stream" else ""
        connection.close()
        while await asyncio.wait_for(connection.read_message(), PATIENCE) is not None:
            pass  # what was under way; None when it is shut
        return printed

    return asyncio.run(spoken())


# What is refused before anything starts


def good(tmp_path: Path, **more: str) -> dict[str, str]:
    return {hub.CODE: CODE, hub.FOLDER: str(tmp_path / "hub"), hub.PORT: str(usable_port(None)), **more}


@pytest.mark.parametrize("code", ["", "short", "        ", "aaaaaaaaaa", "a\nbcdefgh", "x1y2" * 30])
def test_without_a_good_class_code_it_does_not_start(tmp_path: Path, code: str) -> None:
    with pytest.raises(LaunchError, match=hub.CODE):
        hub.settings(good(tmp_path, **{hub.CODE: code}), CHECKOUT_LESSONS.parent)
    with pytest.raises(LaunchError, match=hub.CODE_FILE):
        hub.settings(good(tmp_path, **{hub.CODE_FILE: str(tmp_path / "gone")}), CHECKOUT_LESSONS.parent)


@pytest.mark.parametrize("address", ["0.0.0.0", "192.0.2.7", "::"])
def test_one_account_for_all_is_refused_on_the_network(tmp_path: Path, address: str) -> None:
    known = good(tmp_path, **{hub.ADDRESS: address})
    for spawner in hub.SIMPLE:
        with pytest.raises(LaunchError, match="one account"):
            hub.settings(known | {hub.SPAWNER: spawner}, CHECKOUT_LESSONS.parent)
    for more in ({hub.UNSAFE: hub.ONE_ACCOUNT}, {hub.SPAWNER: "docker"}):
        set_ = hub.settings(known | more, CHECKOUT_LESSONS.parent)
        assert set_["JupyterHub"]["bind_url"].startswith(f"http://{address}:")
        assert "open to the network" in hub.announcement(set_)
    assert "open to the network" not in hub.announcement(hub.settings(good(tmp_path), CHECKOUT_LESSONS.parent))


def test_with_system_accounts_only_those_of_the_group_come_in(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    grp, pwd = pytest.importorskip("grp"), pytest.importorskip("pwd")
    members = {"class": ["ann", "bob"], "wheel": ["ann", "root"], "empty": []}
    monkeypatch.setattr(grp, "getgrnam", lambda name: SimpleNamespace(gr_mem=members[name]))
    accounts = {"ann": 1001, "bob": 1002, "root": 0}
    monkeypatch.setattr(pwd, "getpwnam", lambda name: SimpleNamespace(pw_uid=accounts[name]))
    known = good(tmp_path, **{hub.SPAWNER: "localprocess"})
    door = hub.settings(known | {hub.GROUP: "class"}, CHECKOUT_LESSONS.parent)["SharedPasswordAuthenticator"]
    assert door["allowed_users"] == {"ann", "bob"}
    assert "allow_all" not in door
    for group in ("wheel", "empty", "none", ""):
        with pytest.raises(LaunchError, match="group"):
            hub.settings(known | {hub.GROUP: group}, CHECKOUT_LESSONS.parent)


@pytest.mark.parametrize("seconds", ["0", "59", "-60", "ten", "60.5", "٦٠٠", ""])
def test_an_idle_time_that_is_none_is_refused(tmp_path: Path, seconds: str) -> None:
    with pytest.raises(LaunchError, match=hub.IDLE):
        hub.settings(good(tmp_path, **{hub.IDLE: seconds}), CHECKOUT_LESSONS.parent)


def test_a_port_that_is_taken_is_refused(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind((HOST, 0))
        taken.listen()
        for port in (str(taken.getsockname()[1]), "door"):
            with pytest.raises(LaunchError, match=hub.PORT):
                hub.settings(good(tmp_path, **{hub.PORT: port}), CHECKOUT_LESSONS.parent)


def test_a_learners_settings_are_the_courses(tmp_path: Path) -> None:
    theirs = hub_server.settings(CHECKOUT_LESSONS, tmp_path)
    course = lab_settings(CHECKOUT_LESSONS, port=1, token="x", open_browser=False, layouts=tmp_path)
    assert theirs["LabApp"] == course["LabApp"]
    assert theirs["ServerApp"].items() < course["ServerApp"].items()
    assert theirs["ServerApp"]["terminals_enabled"] is False


def test_the_configuration_file_is_found_and_refuses_in_one_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    assert command.main(["hub-config"]) == 0
    path = Path(capsys.readouterr().out.strip())
    assert path.is_file()
    environment = {name: value for name, value in os.environ.items() if name not in hub.VARIABLES}
    done = subprocess.run(
        [sys.executable, str(path)], env=environment, cwd=CHECKOUT_LESSONS.parent, capture_output=True, text=True
    )
    assert done.returncode == 1
    assert hub.CODE in done.stderr
    assert "Traceback" not in done.stderr
