"""`course kit`: a folder that sets the course up on a machine without internet.

It holds wheels of the course and of all it needs for this Python and this kind of machine, the lessons, the page for
phones, and start scripts. Only the building asks the package index, the one that this user's pip is set up with.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import platform
import shutil
import subprocess
import sys
import tempfile
import venv
import zipfile
from pathlib import Path

from toolkit.errors import LaunchError
from toolkit.front import phone
from toolkit.front.launch import CHECKOUT_LESSONS, FRONT
from toolkit.front.terminal import say

CHECKOUT = CHECKOUT_LESSONS.parent
SOURCES = FRONT / "kit"
STARTS = {"posix": ("start.sh", "start-class.sh"), "nt": ("start.bat", "start-class.bat")}
# How the README of the kit says to start it, and a class.
SAID = {
    "posix": ("In a terminal in the copied folder:  sh start.sh", "sh start-class.sh"),
    "nt": ("Double-click start.bat in the copied folder.", "start-class.bat"),
}
SUMS = "SHA256SUMS"
NOT_FETCHED = "The parts of the course could not be fetched or built"


def run(asked: argparse.Namespace) -> None:
    """Build the kit at `asked.folder`, as a zip file beside it too if `asked.zip`, and say where and how large.

    Raises:
        LaunchError: the folder is in use, the course is not here as a checkout, or its parts cannot be fetched.
    """
    folder: Path = asked.folder.absolute()
    archive = folder.with_name(folder.name + ".zip")
    if (folder.exists() and not (folder.is_dir() and not any(folder.iterdir()))) or (asked.zip and archive.exists()):
        raise LaunchError(f"{folder} is there already, or its .zip: give a new folder with --folder, or move it away.")
    if not (CHECKOUT / "pyproject.toml").is_file():
        raise LaunchError("A kit is built from the course's own folder, and this is an installed copy: start it there.")
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        # Beside its place, and put there in one move: what was broken off leaves nothing behind.
        with tempfile.TemporaryDirectory(prefix=".kit-", dir=folder.parent) as scratch:
            built = Path(scratch) / folder.name
            build(built)
            if folder.exists():
                folder.rmdir()
            if asked.zip:
                packed = Path(scratch) / archive.name
                pack(built, packed)
                packed.rename(archive)
            built.rename(folder)
    except OSError as refused:
        raise LaunchError(
            f"The kit cannot be written to {folder} ({refused.strerror or refused}): give another folder with --folder."
        ) from refused
    say(f"{folder}  ({sum(one.stat().st_size for one in files(folder)) / 1e6:.0f} MB)\n")
    if asked.zip:
        say(f"{archive}\n")


def build(folder: Path) -> None:
    """Make the kit as a new folder. Raises LaunchError where its parts cannot be fetched, OSError of the disk."""
    folder.mkdir()
    fetch(folder / "wheels")
    shutil.copytree(CHECKOUT_LESSONS, folder / "lessons", ignore=shutil.ignore_patterns(".*"))
    shutil.copy(CHECKOUT / "LICENSE", folder)
    (folder / "phone").mkdir()
    (folder / "phone" / phone.NAME).write_bytes(phone.page().encode("utf-8"))
    made_for = {
        "python": "{}.{}".format(*sys.version_info),
        "system": platform.system(),
        "machine": platform.machine(),
    }
    (folder / "made_for.json").write_text(json.dumps(made_for, indent=1), encoding="utf-8")
    for name in ("start.py", "README.txt", *STARTS[os.name]):
        text = (SOURCES / name).read_text(encoding="utf-8")
        for word, value in {**made_for, **dict(zip(("start", "class"), SAID[os.name], strict=True))}.items():
            text = text.replace(f"@{word.upper()}@", value)
        (folder / name).write_text(text, encoding="utf-8", newline="\r\n" if os.name == "nt" else "\n")
        if name.endswith(".sh"):
            (folder / name).chmod(0o755)
    (folder / SUMS).write_text(sums(folder), encoding="utf-8", newline="\n")


def fetch(wheels: Path) -> None:
    """Wheels of the course and all that it needs, by a pip of its own with this user's settings.

    Raises:
        LaunchError: pip could not; its last words are told.
    """
    with tempfile.TemporaryDirectory(prefix="course-kit-") as scratch:
        try:
            venv.create(scratch, with_pip=True)
        except subprocess.CalledProcessError as error:
            raise LaunchError(
                "This Python has no pip to give (its parts venv and ensurepip): install them, on Debian python3-venv."
            ) from error
        python = Path(scratch) / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
        words = ["wheel", "--quiet", "--wheel-dir", str(wheels), str(CHECKOUT)]
        done = subprocess.run([str(python), "-m", "pip", *words], capture_output=True, text=True, check=False)
    if done.returncode:
        said = [line.strip() for line in done.stderr.splitlines() if line.strip().startswith("ERROR")]
        raise LaunchError(
            f"{NOT_FETCHED}: building a kit needs the package index this once. See that pip reaches it, then try "
            f"again. pip said: {said[0] if said else 'nothing'}"
        )


def files(folder: Path) -> list[Path]:
    """All files of a folder, in order."""
    return sorted(one for one in folder.rglob("*") if one.is_file())


def sums(folder: Path) -> str:
    """The lines of SHA256SUMS, as `sha256sum` writes and reads them."""
    return "".join(
        f"{hashlib.sha256(one.read_bytes()).hexdigest()}  {one.relative_to(folder).as_posix()}\n"
        for one in files(folder)
        if one.name != SUMS
    )


def pack(folder: Path, archive: Path) -> None:
    """The folder as one zip file; not made smaller, as wheels are that already."""
    with zipfile.ZipFile(archive, "w") as packed:
        for one in files(folder):
            packed.write(one, one.relative_to(folder.parent))
