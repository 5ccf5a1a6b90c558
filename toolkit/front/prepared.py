"""Kernels from a process that has loaded the course already: a page's kernel is that process forked, in milliseconds.

That process opens no record and is told of none. A kernel's own folder and environment come over a line that is made
for this kernel alone, and are read only after the fork: no kernel is forked from one that has been somebody's.
Linux only: elsewhere a fork of loaded libraries is not safe or not to be had, and kernels start from nothing, as they
do wherever a fork fails.
"""

from __future__ import annotations

import asyncio
import contextlib
import gc
import json
import os
import select
import signal
import socket
import subprocess
import sys
import threading
import weakref
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from jupyter_client.provisioning.factory import KernelProvisionerFactory
from jupyter_client.provisioning.local_provisioner import LocalProvisioner

from toolkit.compiled import machine
from toolkit.units import parse_quantity


def _forks() -> bool:
    """Whether kernels can be forked here: some containers, and Linux before 5.3, give no handle of a process."""
    if sys.platform != "linux":
        return False
    try:
        os.close(os.pidfd_open(os.getpid()))
    except OSError:
        return False
    return True


HERE = _forks()
# What a kernel of a lesson loads, in the end.
LOADED = (
    "ipykernel.debugger",
    "ipykernel.kernelapp",
    "IPython.core.debugger",
    "IPython.extensions.storemagic",
    "ipykernel.ipkernel",
    "tornado.platform.asyncio",
    "toolkit.panels",
    "toolkit.panels.board",
    "toolkit.panels.course_map",
    "toolkit.panels.cut_open",
    "toolkit.panels.demonstration",
    "toolkit.panels.in_class",
    "toolkit.panels.look_up",
    "toolkit.panels.prepare",
    "toolkit.panels.progress",
    "toolkit.panels.start",
    "toolkit.quiz.widgets",
    "toolkit.quiz.widgets_visit",
)
# A fork is answered at once, save while the course is still being loaded.
PATIENCE = 60.0
_FORK = b"f"


class Prepared:
    """The process that kernels are forked from, as the server sees it."""

    def __init__(self) -> None:
        self._gate, theirs = socket.socketpair()
        with theirs:
            # One thread: a fork takes along only the one that forks, and locks that others hold would stay held.
            environment = os.environ | {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
            # In a session of its own a Ctrl-C that is meant for the server does not reach it.
            self.process = subprocess.Popen(
                # -P: no file that happens to lie where the server was started stands in for a library.
                [sys.executable, "-P", "-m", "toolkit.front.prepared"],
                stdin=theirs.fileno(),
                env=environment,
                start_new_session=True,
            )

    def fork(self, command: list[str], env: dict[str, str], cwd: str | None) -> Forked:
        """A kernel, by the arguments of its command. Raises OSError where there is none to be had."""
        line, theirs = socket.socketpair()
        try:
            with theirs:
                socket.send_fds(self._gate, [_FORK], [theirs.fileno()])
            told = {"arguments": command[command.index("-f") :], "env": env, "cwd": cwd}
            line.settimeout(PATIENCE)
            line.sendall(json.dumps(told).encode() + b"\n")
            number, handles, *_ = socket.recv_fds(line, 20, 1)
            if not handles:
                raise ConnectionError("it ended before it began")
        except OSError:
            line.close()
            raise
        return Forked(line, int(number), handles[0])

    def end(self) -> None:
        """End it; kernels that were forked from it go on."""
        self._gate.close()
        self.process.kill()
        self.process.wait()


class Forked:
    """A kernel that is no child of the server's: what its provisioner asks of a process. It lives while `line` does."""

    stdin = stdout = stderr = None

    def __init__(self, line: socket.socket, pid: int, handle: int) -> None:
        self.pid, self._line, self._handle = pid, line, handle
        self._close = weakref.finalize(self, os.close, handle)

    def poll(self) -> int | None:
        """None while it runs."""
        if not self._close.alive:
            return 0
        ended = select.poll()
        ended.register(self._handle, select.POLLIN)
        return 0 if ended.poll(0) else None

    def wait(self) -> int:
        """Let go of it once it has ended."""
        self._line.close()
        self._close()
        return 0

    def send_signal(self, signum: int) -> None:
        """Send it a signal; by its handle, since its number may be another's by now."""
        if self.poll() is None:
            signal.pidfd_send_signal(self._handle, signum)

    def terminate(self) -> None:
        """Ask it to end."""
        self.send_signal(signal.SIGTERM)

    def kill(self) -> None:
        """End it."""
        self.send_signal(signal.SIGKILL)


class _Provisioner(LocalProvisioner):
    """Starts a kernel by a fork, or as ever where that fails."""

    prepared: Prepared

    async def launch_kernel(self, cmd: list[str], **known: Any) -> Any:
        """Start it."""
        ask = asyncio.get_running_loop().run_in_executor
        try:
            # On a thread: until the course is loaded the answer takes its time, and pages are sent meanwhile.
            forked = await ask(None, self.prepared.fork, cmd, known["env"], known.get("cwd"))
        except OSError as error:
            self.log.warning("A kernel could not be forked (%s); it starts from nothing.", error)
            return await super().launch_kernel(cmd, **known)
        self.process, self.pid = forked, forked.pid  # type: ignore[assignment]
        return self.connection_info


class PreparedKernels(KernelProvisionerFactory):
    """Hands the kernels of this server to the process that is prepared."""

    prepared: Prepared

    def create_provisioner_instance(self, kernel_id: str, kernel_spec: Any, parent: Any) -> _Provisioner:
        """What starts one kernel."""
        made = _Provisioner(kernel_id=kernel_id, kernel_spec=kernel_spec, parent=parent)
        made.prepared = self.prepared
        return made


@contextlib.contextmanager
def kernels_prepared() -> Iterator[None]:
    """Have all kernels that are started in here forked, where this machine can."""
    if not HERE:
        yield
        return
    prepared = Prepared()
    KernelProvisionerFactory.clear_instance()  # one that has started a kernel before would stay the one asked
    try:
        PreparedKernels.instance().prepared = prepared
        yield
    finally:
        PreparedKernels.clear_instance()
        prepared.end()


def main() -> None:
    """Load the course, then fork a kernel for each line that comes in, until the server is gone."""
    # Nobody debugs a lesson, and what does it takes 20 MB of each kernel.
    sys.modules["debugpy"] = None  # type: ignore[assignment]
    for name in LOADED:
        __import__(name)
    parse_quantity("1 psi", "gauge_pressure")  # the table of units takes half a second and 20 MB, once it is asked for
    machine()
    # What is there now is never collected, so that no kernel has to copy it to look at it.
    gc.collect()
    gc.freeze()
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # nobody waits for them here
    gate = socket.socket(fileno=sys.stdin.fileno())
    while True:
        word, handles, *_ = socket.recv_fds(gate, 1, 1)
        if not word:
            os._exit(0)  # the server is gone
        try:
            child = os.fork() == 0
        except OSError:  # the machine gives no further process: who asks sees the line shut
            child = False
        if child:
            gate.detach()
            _be_a_kernel(socket.socket(fileno=handles[0]))
        os.close(handles[0])


def _be_a_kernel(line: socket.socket) -> None:
    """Take the place of a process that was started for one page; never returns."""
    nothing = os.open(os.devnull, os.O_RDONLY)
    os.dup2(nothing, 0)  # the way to further forks is shut
    os.close(nothing)
    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
    os.setsid()
    _have_files_alone()
    with line.makefile("rb") as heard:
        said = heard.readline()
    if not said:
        os._exit(0)  # the server is gone
    told = json.loads(said)
    os.environ.clear()
    os.environ.update(told["env"])
    os.chdir(told["cwd"] or ".")
    handle = os.pidfd_open(os.getpid())
    socket.send_fds(line, [str(os.getpid()).encode()], [handle])
    os.close(handle)
    threading.Thread(target=_end_with, args=(line,), daemon=True).start()

    from ipykernel.kernelapp import IPKernelApp

    # 1 stands for a parent that need not be watched: the line tells when the server is gone.
    kernel = IPKernelApp.instance(parent_handle=1)
    kernel.initialize(told["arguments"])  # type: ignore[no-untyped-call]
    # It was loaded where there was no kernel yet.
    kernel.shell.extension_manager.load_extension("ipywidgets")  # type: ignore[union-attr]
    kernel.start()  # type: ignore[no-untyped-call]
    sys.exit()


def _have_files_alone() -> None:
    """Open anew what is open for reading, fonts above all: whoever reads moves the place for all who share it."""
    for one in list(Path("/proc/self/fd").iterdir()):
        with contextlib.suppress(OSError):  # the listing's own is gone by now
            number = int(one.name)
            if number > 2 and one.is_file():
                alone = os.open(one, os.O_RDONLY | os.O_CLOEXEC)
                os.lseek(alone, os.lseek(number, 0, os.SEEK_CUR), os.SEEK_SET)
                os.dup2(alone, number, inheritable=False)
                os.close(alone)


def _end_with(line: socket.socket) -> None:
    """End this process when the server lets go of its line: no word ever comes over it."""
    line.recv(1)
    os._exit(0)


if __name__ == "__main__":
    main()
