"""Set the course up beside this file, the first time, and start it with the words given. No internet is needed.

An older Python has to be able to read this file as well, so that it can say which Python is needed.
"""

import hashlib
import json
import os
import platform
import shutil
import subprocess
import sys
import venv
from pathlib import Path
from typing import Dict, List  # noqa: UP035  (an older Python)

HERE = Path(__file__).resolve().parent
SUMS, MADE_FOR = HERE / "SHA256SUMS", HERE / "made_for.json"
INSTALLED = HERE / "installed"
# Written last, so that a setting up that was broken off is begun anew.
DONE = INSTALLED / "complete.txt"
# What was set up with one Python runs with no other.
THIS_PYTHON = sys.version + sys.base_prefix


def main(words: List[str]) -> int:  # noqa: UP006
    """Run `course` with `words`; gives its exit code, or 2 where a sentence says why it could not be started."""
    try:
        refusal = unfit(json.loads(MADE_FOR.read_text(encoding="utf-8")))
        if not refusal and not (DONE.is_file() and DONE.read_text(encoding="utf-8") == THIS_PYTHON):
            refusal = damaged(SUMS.read_text(encoding="utf-8")) or set_up()
    except OSError as error:
        refusal = f"{error}. Copy the whole kit to a folder on this machine in which you may write, and start it there."
    if refusal:
        print(refusal, file=sys.stderr)
        return 2
    os.chdir(HERE)  # the lessons are here
    return course([str(python()), "-P", "-m", "toolkit.front.command", *words])


def unfit(made_for: Dict[str, str]) -> str:  # noqa: UP006
    """Why the kit's wheels do not fit this Python and machine; empty if they do."""
    here = {"python": "{}.{}".format(*sys.version_info), "system": platform.system(), "machine": platform.machine()}
    needed, given = ("Python {python} on {system} ({machine})".format(**one) for one in (made_for, here))
    if needed == given:
        return ""
    return f"This kit is for {needed}; this is {given}: use that Python, or build a kit on a machine like this one."


def damaged(sums: str) -> str:
    """Which file is not as it was when the kit was built; empty if all are."""
    for line in sums.splitlines():
        kept, _, name = line.partition("  ")
        path = HERE / name
        if not path.is_file() or hashlib.sha256(path.read_bytes()).hexdigest() != kept:
            return f"{name} is missing or damaged: copy the kit again, all of it."
    return ""


def set_up() -> str:
    """Install the course from the wheels; why that failed, or nothing."""
    print("Setting the course up, this once. It takes a minute or two.", file=sys.stderr, flush=True)
    if INSTALLED.exists():
        shutil.rmtree(str(INSTALLED))
    try:
        venv.create(str(INSTALLED), with_pip=True)
    except subprocess.CalledProcessError:
        return (
            "This Python cannot make a place for the course (its parts venv and ensurepip are not there): install "
            "them. On Debian and Ubuntu the package is python3-venv."
        )
    # Nobody's settings of pip: they may name places elsewhere.
    known = {name: value for name, value in os.environ.items() if not name.startswith("PIP_")}
    known["PIP_CONFIG_FILE"] = os.devnull
    # Compiling all of it now would double the work; what is used is compiled when it is first used.
    words = ["install", "--no-index", "--no-compile", "--quiet", "--find-links", str(HERE / "wheels")]
    done = subprocess.run([str(python()), "-m", "pip", *words, "guarded-pressure"], env=known, check=False)
    if done.returncode:
        return "The course could not be set up from the kit's wheels; what pip said stands above."
    DONE.write_text(THIS_PYTHON, encoding="utf-8")
    return ""


def python() -> Path:
    """The Python that the course is installed in."""
    return INSTALLED / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def course(command: List[str]) -> int:  # noqa: UP006
    """Become the course; where that is not to be had, wait for it, whoever presses Ctrl-C: it hears that as well."""
    if os.name == "posix":
        os.execv(command[0], command)
    with subprocess.Popen(command) as running:
        while True:
            try:
                return running.wait()
            except KeyboardInterrupt:
                continue


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
