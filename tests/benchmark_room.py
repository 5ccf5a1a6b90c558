"""A class on this machine: how long pages take, how fast buttons answer, what memory goes. Not a test.

    uv run python tests/benchmark_room.py [--visitors 1 10 30] [--page 14_set_break_defend.ipynb]

Each visitor comes in by the door, opens the page of cases, and takes one case to its summary, all over the real
protocol, all at once; with --page each opens that page and does nothing on it. Latency is from the press of a button
to the kernel's rest. Ratios are of one run.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import tempfile
import time
from pathlib import Path

import numpy as np
import psutil
from reading import Room, running_room
from visitors import Visitor, takes_a_case

from toolkit import compiled
from toolkit.classroom.room import Room as Folder
from toolkit.course import VISIT
from toolkit.front import engine


def memory(room: Room) -> tuple[float, float]:
    """What the server and all its kernels take, bytes: shared memory counted once."""
    server = psutil.Process(room.pid)
    kernels = [one.memory_full_info().pss for one in server.children(recursive=True)]
    return float(server.memory_full_info().pss), float(sum(kernels))


async def looks_at(visitor: Visitor, lesson: str) -> tuple[float, int]:
    """Come in and open a page; the seconds until it stood, and no question."""
    await visitor.comes_in()
    opened = await visitor.opens(lesson)
    await visitor.leaves()
    return opened, 0


async def together(room: Room, number: int, page: str) -> tuple[list[Visitor], list[tuple[float, int]]]:
    everybody = [Visitor(room, f"Visitor {place}") for place in range(number)]
    does = [looks_at(one, page) if page else takes_a_case(one, VISIT.file) for one in everybody]
    return everybody, list(await asyncio.gather(*does))


def kept(room: Room) -> list[int]:
    """Answers in the record of each visitor."""
    folder = Folder(room.folder)
    return [len(folder.record(one).attempts()) for one in folder.visitors()]


def main() -> None:
    parser = argparse.ArgumentParser(description="A class on this machine.")
    parser.add_argument("--visitors", type=int, nargs="+", default=[1, 10, 30])
    parser.add_argument("--page", default="")
    asked = parser.parse_args()
    # As it is for the tests: made once, and not anew for each room, whose home is another.
    path = compiled.code_path()
    if path is not None:
        os.environ[compiled.FOLDER] = str(path.parent)
    engine.make()
    print(f"{psutil.cpu_count()} cores, {psutil.virtual_memory().total / 1e9:.0f} GB")
    for number in asked.visitors:
        with tempfile.TemporaryDirectory() as home, running_room(Path(home) / "class") as room:
            alone, _ = memory(room)
            began = time.perf_counter()
            everybody, done = asyncio.run(together(room, number, asked.page))
            seconds = time.perf_counter() - began
            server, kernels = memory(room)
            waits = np.array([wait for one in everybody for wait in one.waits] or [np.nan]) * 1e3
            opened = np.array([opened for opened, _ in done])
            answers, found = [questions for _, questions in done], kept(room)
            lost = sum(answers) - sum(found)
            print(
                f"{number:3d} visitors: page stands after median {np.median(opened):.1f} s, last {opened.max():.1f} s; "
                f"a button answers after median {np.median(waits):.0f} ms, "
                f"95 % under {np.percentile(waits, 95):.0f} ms "
                f"({len(waits)} presses); all done in {seconds:.0f} s; server {alone / 1e6:.0f} MB, then "
                f"{server / 1e6:.0f} MB; {kernels / number / 1e6:.0f} MB a visitor; "
                f"{sum(found)} answers kept, {lost} lost",
                flush=True,
            )


if __name__ == "__main__":
    main()
