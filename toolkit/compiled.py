"""The engine's inner functions as machine code where this machine has it made, else as the plain Python they are.

A function marked `@compiled` reads and writes floats, integers and flat buffers of them and allocates nothing: plain
Python that numba can compile as it stands. front/engine.py has it done once, in processes of its own, and puts the code
into the user's cache folder under a name that changes with the source. `machine` hands out that code as soon as it is
there and plain Python until then; both give the same floats (tests/test_compiled.py). To run the code a kernel loads
llvmlite alone: numba itself would cost it ten times the time and memory (DEVELOPERS.md, Evidence).
"""

from __future__ import annotations

import ctypes
import hashlib
import inspect
import os
import platform
import re
import sys
from array import array
from collections.abc import Callable, Sequence
from contextlib import suppress
from functools import cache
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar

import platformdirs

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

F = TypeVar("F", bound=Callable[..., Any])
Kind = TypeVar("Kind", bound=tuple[Any, ...])
# Flat buffers that a compiled function reads and writes: lists for plain Python, arrays of ctypes for machine code.
Floats = Any
Ints = Any

# Where the machine code is kept, and the variables that move it or keep the engine from using it.
FOLDER, PLAIN = "GUARDED_PRESSURE_CACHE", "GUARDED_PRESSURE_PLAIN"
# The libraries whose other version may make other code.
_MAKERS = ("numba", "llvmlite")
# What it is made of, beside the devices.
_SOURCES = ("compiled.py", "flow.py", "hunting.py", "rates.py", "solver.py", "stretch.py")

# What makes of a marked function one that numba can call; set only where the code is made.
_marks: list[Callable[[Any], Any]] = []
_entries: dict[str, Entry] = {}


class Entry(NamedTuple):
    """A compiled function that Python calls: parameters are `Floats`, `Ints`, `int` or `float`, its result an `int`."""

    name: str
    function: Callable[..., int]
    kinds: tuple[str, ...]


def compiled(function: F) -> F:
    """Mark a function that belongs to the engine's machine code."""
    for mark in _marks:
        function = mark(function)
    return function


def entry(function: Callable[..., int]) -> Entry:
    """Mark a function of the engine's machine code that Python calls, through `Machine.call`."""
    kinds = tuple(str(parameter.annotation) for parameter in inspect.signature(function).parameters.values())
    one = Entry(function.__name__, function, kinds)
    _entries[one.name] = one
    return one


def reader(kind: type[Kind]) -> Callable[[Floats, int], Kind]:
    """The function that reads a named tuple of floats from a buffer, beginning at a place in it."""
    fields = kind._fields  # type: ignore[attr-defined]
    within: dict[str, Any] = {"kind": kind}
    # numba knows tuples by their length: each number is named
    exec(f"def read(numbers, at):\n return kind({', '.join(f'numbers[at + {i}]' for i in range(len(fields)))})", within)
    read: Callable[[Floats, int], Kind] = compiled(within["read"])
    return read


class Machine:
    """What runs the engine: here plain Python on lists."""

    compiled = False

    def floats(self, values: Sequence[float]) -> Floats:
        """A buffer that holds these numbers."""
        return list(values)

    def room(self, count: int) -> Floats:
        """A buffer of so many zeros."""
        return [0.0] * count

    def ints(self, values: Sequence[int]) -> Ints:
        """A buffer that holds these whole numbers."""
        return list(values)

    def array(self, buffer: Floats, count: int) -> NDArray[np.float64]:
        """The first `count` numbers of a buffer, (count,)."""
        import numpy as np  # late: every `course` command asks whether the code is there, and few reckon

        return np.array(buffer[:count])

    def call(self, one: Entry, *arguments: Any) -> int:
        """Run an entry on buffers of this machine."""
        return one.function(*arguments)


class Native(Machine):
    """Machine code, as `emit` gives it."""

    compiled = True

    def __init__(self, code: bytes) -> None:
        import llvmlite.binding as llvm

        engine = llvm.create_mcjit_compiler(llvm.parse_assembly(""), _target(llvm))
        library = ctypes.CDLL("ucrtbase" if sys.platform == "win32" else None)
        for name in _FROM_C:
            llvm.add_symbol(name, ctypes.cast(getattr(library, name), ctypes.c_void_p).value)
        engine.add_object_file(llvm.ObjectFileRef.from_data(code))
        engine.finalize_object()
        self._engine = engine  # the code lives as long
        self._functions = {
            one.name: ctypes.CFUNCTYPE(ctypes.c_int64, *(_CTYPES[kind] for kind in one.kinds))(
                engine.get_function_address(_symbol(one))
            )
            for one in _entries.values()
        }

    def floats(self, values: Sequence[float]) -> Floats:
        """A buffer that holds these numbers."""
        # an array takes a list up in a third of the time that ctypes would
        return (ctypes.c_double * len(values)).from_buffer(array("d", values))

    def room(self, count: int) -> Floats:
        """A buffer of so many zeros."""
        return (ctypes.c_double * count)()

    def ints(self, values: Sequence[int]) -> Ints:
        """A buffer that holds these whole numbers."""
        return (ctypes.c_int64 * len(values))(*values)

    def array(self, buffer: Floats, count: int) -> NDArray[np.float64]:
        """The first `count` numbers of a buffer, (count,), which it shares."""
        import numpy as np

        return np.frombuffer(buffer, count=count)

    def call(self, one: Entry, *arguments: Any) -> int:
        """Run an entry on buffers of this machine."""
        return int(self._functions[one.name](*arguments))


_CTYPES: dict[str, Any] = {
    "Floats": ctypes.POINTER(ctypes.c_double),
    "Ints": ctypes.POINTER(ctypes.c_int64),
    "float": ctypes.c_double,
    "int": ctypes.c_int64,
}
# What the machine code calls of the C library.
_FROM_C = ("pow", "sqrt", "memset", "memcpy", "memmove")
_PLAIN = Machine()
_in_use: list[Machine] = []


def machine() -> Machine:
    """What runs the engine now: machine code as soon as it has been made, plain Python until then."""
    if _in_use:
        return _in_use[0]
    path = None if os.environ.get(PLAIN) else code_path()
    if path is None:
        return _PLAIN
    try:
        use(Native(opened(path.read_bytes())))
    except ValueError:
        # cut short or damaged: it is made anew at the next start, and plain Python does the same meanwhile
        with suppress(OSError):
            path.unlink(missing_ok=True)
    except (OSError, ImportError):
        # not made yet, or this process may not read or load it now; another that shares the folder may
        pass
    return _in_use[0] if _in_use else _PLAIN


def sealed(code: bytes) -> bytes:
    """The code as it is kept, with its own hash before it: code that is damaged would take its process down."""
    return hashlib.sha256(code).digest() + code


def opened(kept: bytes) -> bytes:
    """The code of what is kept; raises ValueError where that is cut short or damaged."""
    length = hashlib.sha256().digest_size
    if sealed(kept[length:]) != kept:
        raise ValueError("the engine's machine code is damaged")
    return kept[length:]


def use(one: Machine) -> None:
    """From here on run the engine by this."""
    _in_use[:] = [one]


def plain() -> Machine:
    """Plain Python."""
    return _PLAIN


@cache
def code_path() -> Path | None:
    """Where the machine code of this source is or will be; None where nothing can make it here."""
    try:
        versions = [metadata.version(name) for name in _MAKERS]
    except metadata.PackageNotFoundError:
        return None
    here = Path(__file__).parent
    said = hashlib.sha256("\n".join((sys.version, sys.platform, platform.machine(), *versions)).encode())
    for name in (*_SOURCES, *sorted(path.relative_to(here).as_posix() for path in (here / "devices").glob("*.py"))):
        said.update((here / name).read_bytes())
    folder = os.environ.get(FOLDER) or platformdirs.user_cache_dir("guarded-pressure", appauthor=False)
    return Path(folder) / f"engine-{said.hexdigest()[:24]}.o"


def prepare() -> None:
    """Have numba take the functions that are marked from here on; in a process that does nothing but `emit` them."""
    import numba

    _marks.append(numba.njit(error_model="numpy"))


def emit() -> bytes:
    """Compile all entries: their object code, for any processor of this machine's kind. Takes some ten seconds."""
    import llvmlite.binding as llvm
    import numba

    pointer: Any = numba.types.CPointer
    kinds = {
        "Floats": pointer(numba.float64),
        "Ints": pointer(numba.int64),
        "float": numba.float64,
        "int": numba.int64,
    }
    whole = None
    for one in _entries.values():
        signature = numba.int64(*(kinds[kind] for kind in one.kinds))
        text = numba.cfunc(signature, error_model="numpy")(one.function).inspect_llvm()
        part = llvm.parse_assembly(_with_a_bare_wrapper(one, text))
        if whole is None:
            whole = part
        else:
            whole.link_in(part)
    code: bytes = _target(llvm).emit_object(whole)
    return code


def _with_a_bare_wrapper(one: Entry, text: str) -> str:
    """The assembly that numba has made of an entry, with a wrapper that needs nothing of Python around its core.

    Numba's own wrapper turns an exception into Python's; nothing that is marked here raises one. The core writes its
    result through its first argument and gives back how it went.
    """
    wrapper = re.compile(r'^define i64 @"?cfunc\..*?^}$', re.MULTILINE | re.DOTALL).search(text)
    core = re.search(r"call i32 (@[\w.$]+)\(", wrapper.group()) if wrapper else None
    if wrapper is None or core is None:
        raise ValueError(f"numba made {one.name} in another form than is known here")
    types = ["double" if kind == "float" else "i64" if kind == "int" else "ptr" for kind in one.kinds]
    given = ", ".join(f"{kind} %a{number}" for number, kind in enumerate(types))
    bare = f"""define i64 @{_symbol(one)}({given}) {{
  %result = alloca i64
  %raised = alloca ptr
  store i64 0, ptr %result
  %how = call i32 {core.group(1)}(ptr %result, ptr %raised, {given})
  %value = load i64, ptr %result
  ret i64 %value
}}"""
    return text[: wrapper.start()] + bare + text[wrapper.end() :]


def _symbol(one: Entry) -> str:
    return f"engine_{one.name}"


def _target(llvm: Any) -> Any:
    """What llvmlite makes and loads code for: this kind of machine, none of one processor's own instructions."""
    # newer versions do the first by themselves and say so by an error
    with suppress(RuntimeError):
        llvm.initialize()
    llvm.initialize_native_target()
    llvm.initialize_native_asmprinter()
    target = llvm.Target.from_triple(llvm.get_process_triple())
    static = target.name.startswith("x86") and sys.platform != "win32"
    return target.create_target_machine(
        opt=3, reloc="static" if static else "default", codemodel="jitdefault", jit=True
    )
