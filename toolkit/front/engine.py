"""The engine's machine code (toolkit/compiled.py): made once for each version of the source, beside what is going on.

`python -m toolkit.front.engine` makes it and waits. Compiling and a first try are processes of their own: where code
that this machine does not bear ends a process, it is that one, and the course goes on in plain Python.
"""

from __future__ import annotations

import os
import subprocess
import sys
from contextlib import suppress
from pathlib import Path

from toolkit import compiled

# The newest so many versions are kept; what lies there else is of no more use.
KEPT = 4
# No machine has taken this long [s].
LONGEST = 600
# Spelled out, since run by `-m` the module has another.
_NAME = "toolkit.front.engine"
# What this process has begun: it may end before that does.
_making: list[subprocess.Popen[bytes]] = []


def ready() -> bool:
    """Whether there is nothing to make: the code lies there, or nothing here could make it, or it is not wanted."""
    path = None if os.environ.get(compiled.PLAIN) else compiled.code_path()
    try:
        return path is None or path.exists()
    except OSError:  # a folder that this account may not look into: nothing can be made there
        return True


def start() -> None:
    """Begin to make it, in the background and without a word, unless it is ready."""
    if _making or ready():
        return
    quiet = subprocess.DEVNULL
    words = [sys.executable, "-m", _NAME]
    _making.append(subprocess.Popen(words, stdin=quiet, stdout=quiet, stderr=quiet))


def make() -> bool:
    """Make it and wait; whether it is ready."""
    path = compiled.code_path()
    if path is None or ready():
        return ready()
    new = path.with_name(f"{path.stem}-{os.getpid()}.new")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        for task in ("compile", "try"):
            subprocess.run([sys.executable, "-m", _NAME, task, new], check=True, timeout=LONGEST)
        new.replace(path)
    except (subprocess.SubprocessError, OSError):
        return False
    finally:
        with suppress(OSError):
            new.unlink(missing_ok=True)
    with suppress(OSError):  # somebody else may be clearing away, too
        for old in sorted(path.parent.glob("engine-*"), key=lambda one: one.stat().st_mtime)[:-KEPT]:
            old.unlink()
    return True


def _try(code: bytes) -> bool:
    """Whether the code gives what plain Python gives."""
    import numpy as np

    from toolkit.faults import NickedSeat
    from toolkit.scenario import Demand, Scenario
    from toolkit.simulation import simulate

    nick = NickedSeat(devices="regulator", leak_area=1e-8, onset=100.0)
    scenario = Scenario(demands=(Demand(0, 1.0), Demand(60, 0.0)), faults=(nick,), duration=300)
    found = []
    for one in (compiled.plain(), compiled.Native(code)):
        compiled.use(one)
        trace = simulate(scenario)
        found.append(np.array([trace.times, *trace.signals.values()]))
    plain, native = found
    return plain.shape == native.shape and np.allclose(plain, native, rtol=1e-9, atol=1e-12)


def main(words: list[str]) -> int:
    """`compile FILE` writes the code, `try FILE` runs it, nothing does both and keeps it."""
    match words:
        case ["compile", file]:
            compiled.prepare()
            import toolkit.stretch  # noqa: F401  (all that is compiled is reached from it)

            Path(file).write_bytes(compiled.sealed(compiled.emit()))
            return 0
        case ["try", file]:
            return 0 if _try(compiled.opened(Path(file).read_bytes())) else 1
        case _:
            return 0 if make() else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
