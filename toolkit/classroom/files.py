"""A file put in its place whole: a full disk or a Ctrl-C on the way leaves what was there before, and no more."""

from __future__ import annotations

import os
from pathlib import Path

from toolkit.errors import LaunchError


def write(path: Path, content: bytes, flag: str = "--folder") -> None:
    """Write a file, in a folder that is made where it is missing; `flag` is what another folder is given with.

    Raises LaunchError where that cannot be done.
    """
    make_folder(path.parent, flag)
    beside = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        try:
            beside.write_bytes(content)
            beside.replace(path)
        finally:
            beside.unlink(missing_ok=True)
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
