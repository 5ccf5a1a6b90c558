"""`course serve`: the lessons as pages for a class, from one machine, without internet."""

from __future__ import annotations

import contextlib
import os
import secrets
import socket
import subprocess
import sys
import tempfile
from datetime import date
from pathlib import Path

import psutil

from toolkit.classroom.record import FOLDER_VARIABLE, data_folder
from toolkit.classroom.room import Room
from toolkit.front.launch import HOST, lessons_folder, usable_port
from toolkit.front.session_commands import session_text

EVERY_ADDRESS = "0.0.0.0"
# What a page's kernel has loaded once its bench has been moved and its question asked.
_AS_A_KERNEL = (
    "import ipykernel.kernelapp, sys; from toolkit.panels import bench; from toolkit.quiz.widgets import quiz; "
    "kept = bench('14'), quiz('05', 1); print('ready', flush=True); sys.stdin.read()"
)
# The machine's other work, and pages that take more than the one measured, want room as well.
SHARE_OF_MEMORY = 0.8
# What opening a page costs, processor seconds, where thirty open at once (tests/benchmark_room.py, two cores of 2026).
OPENING_SECONDS, CLASS = 1.7, 30
# A machine short of memory still serves its instructor and somebody.
LEAST_VISITORS = 2


def open_room(
    lessons: Path | None,
    port: str | None,
    *,
    folder: Path | None,
    code: str | None,
    session: str | None,
    network: bool,
) -> None:
    """Serve a class until Ctrl-C or a SIGTERM.

    Args:
        lessons: folder with the lessons; found by `lessons_folder` if None.
        port: the port as typed; a free one if None.
        folder: the class's folder; one of today in the user's data folder if None. An old one goes on where it was.
        code: the class code; the folder's last one, or a new one, if None.
        session: a session file, or the name of a shipped one: in which numbers each is asked.
        network: whether other machines can come in.

    Raises:
        LaunchError: a folder, port or part that the course needs is not to be had.
        RoomError: the class's folder cannot be used.
    """
    pages = lessons_folder(lessons, Path.cwd())
    number = usable_port(port)
    room = Room(folder or data_folder() / "classes" / date.today().isoformat(), code)
    if session is not None:
        room.take_session(session_text(session))
    # As in `launch.open_course`: a second less at every start, and nobody's settings for other notebooks.
    sys.modules.setdefault("rfc3987_syntax", None)  # type: ignore[arg-type]
    os.environ["JUPYTER_NO_CONFIG"] = "1"
    each = memory_of_a_page(room.folder)
    most = holds(psutil.virtual_memory().available, each)
    key = secrets.token_urlsafe(16)
    with tempfile.TemporaryDirectory(prefix="course-") as scratch, contextlib.suppress(KeyboardInterrupt):
        tempfile.tempdir = scratch
        # Only now: the lines above change what this imports.
        from toolkit.front.room_server import serve

        said = announcement(addresses(network), number, room, key, each, most, network)
        ip = EVERY_ADDRESS if network else HOST
        serve(pages, room, ip=ip, port=number, most=most, instructor_key=key, announce=lambda: print(said, flush=True))


def memory_of_a_page(folder: Path) -> int:
    """Bytes that one more open page takes, measured on a process that has loaded what a page's kernel loads."""
    command = [sys.executable, "-c", _AS_A_KERNEL]
    environment = os.environ | {FOLDER_VARIABLE: str(folder / "measured")}
    with subprocess.Popen(
        command, env=environment, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        process.stdout.readline()
        # What it shares with its like is counted once, with the first.
        taken = int(psutil.Process(process.pid).memory_full_info().uss)
        process.terminate()
    return taken


def holds(available: int, each: int) -> int:
    """How many pages a machine holds at once that has so many bytes left, where a page takes `each`."""
    return max(LEAST_VISITORS, int(SHARE_OF_MEMORY * available / each))


def addresses(network: bool) -> list[str]:
    """The addresses at which this machine is reached: its own, or those in its networks."""
    if not network:
        return [HOST]
    found = [
        one.address
        for name in psutil.net_if_addrs().values()
        for one in name
        if one.family == socket.AF_INET and not one.address.startswith("127.")
    ]
    return sorted(found) or [HOST]


def announcement(hosts: list[str], port: int, room: Room, key: str, each: int, most: int, network: bool) -> str:
    """What the instructor reads once the room is open."""
    cores = psutil.cpu_count() or 1
    doors = " or ".join(f"http://{host}:{port}/" for host in hosts)
    held = room.session()
    lines = [
        f"The class is open at {doors}",
        *([f"  session: {held.title}"] if held else []),
        f"  class code: {room.code}",
        f"  the instructor's own way in, for nobody else: http://{hosts[0]}:{port}/instructor?key={key}",
        f"  names and answers are kept in {room.folder}",
        f"  an open page takes {each / 1e6:.0f} MB: this machine holds about {most} at once; "
        f"{CLASS} pages opened in one moment are all there after about {CLASS * OPENING_SECONDS / cores:.0f} s",
    ]
    if network:
        lines.append(
            "  Open to the room's network (--network): every device in it can reach the door, and what is typed and "
            "answered goes over it unencrypted. Use a network of the class's own, and end this when the class ends."
        )
    else:
        lines.append("  Only this machine can come in; --network opens the door to the room's network.")
    return "\n".join([*lines, "Press Ctrl-C here to end it."])
