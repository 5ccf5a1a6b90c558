"""Kernels that are forked: each knows its own visitor alone, ends with its server, and starts without a fork too."""

from __future__ import annotations

import contextlib
import json
import os
import re
import signal
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import psutil
import pytest
from jupyter_client.kernelspec import KernelSpecManager
from jupyter_client.manager import KernelManager
from reading import below, running_room, small_lessons
from test_read import PATIENCE
from test_serve import opened

from toolkit.front import prepared
from toolkit.front.launch import CHECKOUT_LESSONS as LESSONS

pytestmark = pytest.mark.skipif(not prepared.HERE, reason="kernels are forked on Linux only")


@pytest.fixture(scope="module", autouse=True)
def source() -> Iterator[prepared.Prepared]:
    with prepared.kernels_prepared():
        yield prepared.PreparedKernels.instance().prepared


@contextlib.contextmanager
def kernel(folder: Path, **told: str) -> Iterator[tuple[int, Any]]:
    """A kernel with an environment of its own: its process, and what runs code in it and gives what was printed."""
    folder.mkdir()
    manager = KernelManager(
        kernel_name="python3",
        kernel_spec_manager=KernelSpecManager(kernel_dirs=[]),
        connection_file=str(folder / "kernel.json"),
        transport_encryption="auto",
    )
    manager.start_kernel(env=dict(os.environ) | told, cwd=str(folder))
    client = manager.client()
    client.start_channels()

    def run(code: str) -> str:
        printed = []
        done = client.execute_interactive(
            code, timeout=PATIENCE, output_hook=lambda one: printed.append(one["content"].get("text", ""))
        )
        assert done["content"]["status"] == "ok", done["content"]
        return "".join(printed).strip()

    try:
        client.wait_for_ready(timeout=PATIENCE)
        yield manager.provisioner.pid, run  # type: ignore[union-attr]
    finally:
        client.stop_channels()
        manager.shutdown_kernel(now=True)


def holds(pid: int, word: bytes) -> bool:
    """Whether a process has a word anywhere in what it can write to."""
    with Path(f"/proc/{pid}/mem").open("rb", buffering=0) as memory:
        for line in Path(f"/proc/{pid}/maps").read_text().splitlines():
            found = re.match(r"([0-9a-f]+)-([0-9a-f]+) rw", line)
            if found:
                begin, end = (int(one, 16) for one in found.groups())
                memory.seek(begin)
                with contextlib.suppress(OSError):  # reserved, and not there yet
                    if word in memory.read(end - begin):
                        return True
    return False


def test_a_kernel_knows_nothing_of_one_before_it_nor_does_what_it_is_forked_from(
    source: prepared.Prepared, tmp_path: Path
) -> None:
    ann, bob = "folder-of-ann-7f3e", "folder-of-bob-91c2"
    with kernel(tmp_path / "a", RECORD=ann) as (first, ask_ann), kernel(tmp_path / "b", RECORD=bob) as (second, ask):
        assert ask_ann("import os; print(os.environ['RECORD'])") == ann
        assert ask("import os; print(os.environ['RECORD'], os.getcwd())") == f"{bob} {tmp_path / 'b'}"
        try:
            assert holds(first, ann.encode())
            assert holds(second, bob.encode())
        except PermissionError:
            pytest.skip("the memory of processes may not be read here")
        assert not holds(second, ann.encode())
        for word in (ann, bob):
            assert not holds(source.process.pid, word.encode())


def test_a_kernel_has_the_environment_that_it_was_given_and_no_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told = "import os, json; print(json.dumps(sorted(os.environ)))"
    with kernel(tmp_path / "a", OWN="1") as (_, run):
        with_own = run(told)
    monkeypatch.delenv("HOME")
    with kernel(tmp_path / "b") as (_, run):
        without = run(told)
    assert '"OWN"' in with_own
    assert '"HOME"' in with_own
    assert '"OWN"' not in without
    assert '"HOME"' not in without


def test_chance_is_each_kernel_s_own(tmp_path: Path) -> None:
    drawn = "import random, uuid; print(random.random(), uuid.uuid4())"
    with kernel(tmp_path / "a") as (_, run), kernel(tmp_path / "b") as (_, other):
        assert not set(run(drawn).split()) & set(other(drawn).split())


def test_a_kernel_can_have_no_further_kernel_made(tmp_path: Path) -> None:
    with kernel(tmp_path / "a") as (pid, run):
        assert run("import os; print(os.readlink('/proc/self/fd/0'))") == "/dev/null"
        assert os.getsid(pid) == pid


def test_what_kernels_are_forked_from_has_one_thread_and_one_line(source: prepared.Prepared, tmp_path: Path) -> None:
    with kernel(tmp_path / "a"):
        asked = psutil.Process(source.process.pid)
        assert asked.num_threads() == 1
        opened = [str(one.readlink()) for one in Path(f"/proc/{asked.pid}/fd").iterdir() if int(one.name) > 2]
        # fonts; its input is the line to the server, and those of the kernels are shut
        assert [one for one in opened if not one.endswith(".ttf")] == []


def test_a_kernel_starts_no_threads_for_its_sums(tmp_path: Path) -> None:
    sums = """
import os, numpy
before = len(os.listdir("/proc/self/task"))
numpy.ones((400, 400)) @ numpy.ones((400, 400))
print(len(os.listdir("/proc/self/task")) - before)
"""
    with kernel(tmp_path / "a") as (_, run):
        assert run(sums) == "0"


def test_no_kernel_moves_the_place_at_which_another_reads_a_file(source: prepared.Prepared, tmp_path: Path) -> None:
    moves = """
import os, stat
moved = 0
for name in os.listdir("/proc/self/fd"):
    try:
        if int(name) > 2 and stat.S_ISREG(os.fstat(int(name)).st_mode):
            os.lseek(int(name), 7, os.SEEK_SET)
            moved += 1
    except OSError:
        pass
print(moved)
"""

    def places() -> dict[str, str]:
        opened = Path(f"/proc/{source.process.pid}/fdinfo").iterdir()
        return {one.name: one.read_text().splitlines()[0] for one in opened if int(one.name) > 2}

    with kernel(tmp_path / "a") as (_, run):
        before = places()
        assert int(run(moves)) > 0
        assert places() == before
        assert "pos:\t7" not in before.values()


def test_nothing_that_a_lesson_imports_or_a_typed_unit_needs_is_left_to_load(tmp_path: Path) -> None:
    cells = [cell for book in LESSONS.glob("*.ipynb") for cell in json.loads(book.read_text(encoding="utf-8"))["cells"]]
    code = "".join("".join(cell["source"]) + "\n" for cell in cells if cell["cell_type"] == "code")
    imports = sorted({line for line in code.splitlines() if line.startswith(("from toolkit", "import toolkit"))})
    assert len(imports) > 10
    first = "import sys; before = set(sys.modules)\n"
    unit = "\nfrom toolkit.units import parse_quantity; parse_quantity('5 scfh', 'standard_flow')"
    engine = "\nfrom toolkit.compiled import machine; machine()"
    new = (
        "\nprint([one for one in sys.modules if one not in before and one.startswith(('toolkit', 'pint', 'llvmlite'))])"
    )
    with kernel(tmp_path / "a") as (_, run):
        assert run(first + "\n".join(imports) + unit + engine + new) == "[]"


def test_a_kernel_has_no_debugger(tmp_path: Path) -> None:
    with kernel(tmp_path / "a") as (_, run):
        assert run("print(hasattr(get_ipython().kernel, 'debugger'))") == "False"


def test_a_kernel_that_is_killed_is_seen_to_have_ended(source: prepared.Prepared, tmp_path: Path) -> None:
    with kernel(tmp_path / "a") as (other, _):
        forked = source.fork(["-f", str(tmp_path / "other.json")], dict(os.environ), str(tmp_path))
        asked = psutil.Process(forked.pid)
        assert forked.poll() is None
        forked.kill()
        asked.wait(PATIENCE)
        assert forked.poll() == 0
        forked.send_signal(signal.SIGKILL)  # nobody is struck any more
        assert forked.wait() == 0
        assert forked.poll() == 0
        assert psutil.pid_exists(other)


def test_a_kernel_ends_when_its_line_is_let_go(source: prepared.Prepared, tmp_path: Path) -> None:
    forked = source.fork(["-f", str(tmp_path / "kernel.json")], dict(os.environ), str(tmp_path))
    asked = psutil.Process(forked.pid)
    assert forked.poll() is None
    forked.wait()
    asked.wait(PATIENCE)


def test_where_no_fork_is_to_be_had_a_kernel_starts_from_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    gone = prepared.Prepared()
    gone.end()
    monkeypatch.setattr(prepared.PreparedKernels.instance(), "prepared", gone)
    with kernel(tmp_path / "a", OWN="1") as (pid, run):
        assert run("import os; print(os.environ['OWN'])") == "1"
        assert psutil.Process(pid).ppid() == os.getpid()


# In a class


def kernels(server: int) -> list[psutil.Process]:
    """What is forked from the one process that a server starts."""
    (one,) = psutil.Process(server).children()
    return one.children()


def test_a_page_of_a_class_is_forked_and_ends_when_it_is_idle(tmp_path: Path) -> None:
    program = (
        "import sys; from toolkit.front import command, reader, room_server;"
        "room_server.IDLE_SECONDS = reader.KERNEL_LOOK_SECONDS = 1;"
        f"sys.exit(command.main(['serve', '--folder', {str(tmp_path / 'room')!r}, *sys.argv[1:]]))"
    )
    with running_room(tmp_path / "home", small_lessons(tmp_path / "lessons"), program=program) as room:
        ann, _ = room.comes_in("Ann")
        assert kernels(room.pid) == []
        opened(ann, room)
        (one,) = kernels(room.pid) or [None]
        if one is not None:  # it may have ended already
            one.wait(PATIENCE)
        assert kernels(room.pid) == []


def test_nothing_outlives_a_server_that_is_killed(tmp_path: Path) -> None:
    lessons = small_lessons(tmp_path / "lessons")
    with running_room(tmp_path / "home", lessons, by=signal.SIGKILL) as room:
        ann, _ = room.comes_in("Ann")
        opened(ann, room)
        started = [psutil.Process(pid) for pid in below(room.pid)]
        assert len(started) == 2
        os.kill(room.pid, signal.SIGKILL)
        for one in started:
            one.wait(PATIENCE)
