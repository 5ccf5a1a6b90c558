"""`course serve`: the lessons as pages for a class, from one machine, without internet."""

from __future__ import annotations

import argparse
import contextlib
import os
import secrets
import socket
import tempfile
from datetime import date
from functools import partial
from pathlib import Path

import psutil

from toolkit.classroom.record import FOLDER_VARIABLE, data_folder, utc_now
from toolkit.classroom.room import Room
from toolkit.classroom.session_words import other_day
from toolkit.front.launch import HOST, lessons_folder, settle_process, usable_port
from toolkit.front.session_file import session_text
from toolkit.front.terminal import say

EVERY_ADDRESS = "0.0.0.0"
# What a page's kernel does where its learner opens a bench, a question and a case, and sees all of the case.
_A_LESSON = """from toolkit.panels import bench
from toolkit.quiz.items import offer
from toolkit.quiz.trouble_case import draw_case
from toolkit.quiz.trouble_items import case_items
from toolkit.quiz.widgets import quiz
from toolkit.quiz.widgets_visit import visit
kept = bench("14"), quiz("05", 1), visit(), [offer(one, 1, "us") for one in case_items(draw_case(1, 1))]"""
# The machine's other work, and pages that take more than the one measured, want room as well.
SHARE_OF_MEMORY = 0.8
# What opening a page with a bench costs, processor seconds (tests/benchmark_room.py, two cores of 2026): where its
# kernel is forked, and where it starts from nothing.
FORKED_SECONDS, STARTED_SECONDS, CLASS = 0.3, 2.7, 30
# And how long a press takes to its answer while all of a class press, seconds, median, there.
PRESSED_SECONDS, PRESSED_CORES = 0.13, 2
# A machine short of memory still serves its instructor and somebody.
LEAST_VISITORS = 2
MEASURING_SECONDS = 300  # a slow start is no reason not to serve


def run(asked: argparse.Namespace) -> None:
    """Serve a class as asked: `lessons`, `port`, `folder`, `code`, `session`, `network`."""
    open_room(
        asked.lessons,
        asked.port,
        folder=asked.folder,
        code=asked.code,
        session=asked.session,
        network=asked.network,
    )


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
    # What was typed is read before anything is made: a refusal leaves no folder.
    held = None if session is None else session_text(session)
    room = Room(folder or data_folder() / "classes" / date.today().isoformat(), code)
    if held is not None:
        room.take_session(held)
    settle_process()
    key = secrets.token_urlsafe(16)
    with tempfile.TemporaryDirectory(prefix="course-") as scratch, contextlib.suppress(KeyboardInterrupt):
        tempfile.tempdir = scratch
        # Only now: the lines above change what these import.
        from toolkit.front.prepared import kernels_prepared
        from toolkit.front.room_server import serve

        with kernels_prepared():
            each = memory_of_a_page(room.folder)
            most = holds(psutil.virtual_memory().available, each)
            said = announcement(addresses(network), number, room, key, each, most, network)
            ip = EVERY_ADDRESS if network else HOST
            announce = partial(say, f"{said}\n")
            serve(pages, room, ip=ip, port=number, most=most, instructor_key=key, announce=announce)


def memory_of_a_page(folder: Path) -> int:
    """Bytes that one more open page takes, measured on a kernel that has run a lesson's cells."""
    from jupyter_client.kernelspec import KernelSpecManager
    from jupyter_client.manager import KernelManager

    # As the server's own kernels: only the Python that runs the course.
    manager = KernelManager(
        kernel_name="python3",
        kernel_spec_manager=KernelSpecManager(kernel_dirs=[]),
        connection_file=f"{tempfile.gettempdir()}/measured.json",
        transport_encryption="auto",
    )
    manager.start_kernel(env=os.environ | {FOLDER_VARIABLE: str(folder / "measured")})
    client = manager.client()
    try:
        client.start_channels()
        client.wait_for_ready(timeout=MEASURING_SECONDS)
        client.execute(_A_LESSON, reply=True, timeout=MEASURING_SECONDS)
        # What it shares with its like is counted once, with the first.
        return int(psutil.Process(manager.provisioner.pid).memory_full_info().uss)  # type: ignore[union-attr]
    finally:
        client.stop_channels()
        manager.shutdown_kernel(now=True)


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
    from toolkit.front.prepared import HERE  # late, as in `open_room`

    opening = CLASS * (FORKED_SECONDS if HERE else STARTED_SECONDS) / (psutil.cpu_count() or 1)
    doors = " or ".join(f"http://{host}:{port}/" for host in hosts)
    held = room.session()
    lines = [
        f"The class is open at {doors}",
        *([f"  session: {held.title}"] if held else []),
        *([f"  {warning}"] if held and (warning := other_day(held, utc_now())) else []),
        f"  class code: {room.code}",
        f"  the instructor's own way in, for nobody else: http://{hosts[0]}:{port}/instructor?key={key}",
        f"  names and answers are kept in {room.folder}",
        *(f"  {one}" for one in room.damaged()),
        f"  an open page takes {each / 1e6:.0f} MB: this machine holds about {most} at once, by its memory; "
        f"{CLASS} pages opened in one moment are all there after about {opening:.0f} s",
        f"  measured with {CLASS} on {PRESSED_CORES} cores: a press is answered after {PRESSED_SECONDS:g} s, at worst "
        f"some seconds; this machine has {psutil.cpu_count() or 1}",
    ]
    if network:
        lines.append(
            "  Open to the room's network (--network): every device in it can reach the door, and what is typed and "
            "answered goes over it unencrypted. Use a network of the class's own, and end this when the class ends."
        )
    else:
        lines.append("  Only this machine can come in; --network opens the door to the room's network.")
    return "\n".join([*lines, "Press Ctrl-C here to end it."])
