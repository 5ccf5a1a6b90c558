"""A file put in its place whole: a full disk or a Ctrl-C on the way leaves what was there before, and no more."""

from __future__ import annotations

import os
import uuid
from pathlib import Path

from toolkit.errors import LaunchError


def place(path: Path, content: bytes, mode: int = 0o666) -> None:
    """Write a file beside its place and put it there in one move. Raises OSError.

    `mode` is who may read and write it, less what the system forbids. A link stays, and the file that it leads to is
    the one that is written.
    """
    path = path.resolve()
    beside = path.with_name(f".{uuid.uuid4().hex}")
    try:
        with os.fdopen(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode), "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)


def write(path: Path, content: bytes, flag: str = "--folder") -> None:
    """Place a file in a folder that is made where it is missing; `flag` is what another folder is given with.

    Raises LaunchError where that cannot be done.
    """
    make_folder(path.parent, flag)
    try:
        place(path, content)
    except OSError as refused:
        raise LaunchError(
            f"{path} cannot be written ({refused.strerror}): give another folder with {flag}, or make room there."
        ) from None


def make_folder(folder: Path, flag: str = "--folder") -> None:
    """Make a folder where it is missing. LaunchError says what stands in its way."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as refused:
        here = next((one for one in (folder, *folder.parents) if os.path.lexists(one)), folder)
        why = refused.strerror if here.is_dir() else f"{here} is a file, and no folder"
        raise LaunchError(f"{folder} cannot be written into ({why}): give another folder with {flag}.") from None
