"""`course handout`: lessons as HTML to print, and as PDF through an installed browser."""

from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from toolkit.classroom import files
from toolkit.errors import LaunchError
from toolkit.front.launch import lessons_folder
from toolkit.front.terminal import say
from toolkit.panels.handout import Cell, Sheet, handout
from toolkit.quiz.trouble_case import LEVELS, places

# Browsers that print to PDF without a window, under the names that they have on the systems that carry them.
BROWSERS = (
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "chrome",
    "microsoft-edge",
    "microsoft-edge-stable",
    "msedge",
)
PRINTING = (
    "--headless",
    "--disable-gpu",
    "--no-first-run",
    "--no-default-browser-check",
    "--disable-extensions",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    # The page asks for nothing; whatever the browser itself may ask for finds no name to ask.
    "--host-resolver-rules=MAP * ~NOTFOUND",
    # The page brings its own foot.
    "--no-pdf-header-footer",
)
# A browser that has printed nothing by then hangs [s]; a lesson takes a few seconds.
LONGEST_PRINT = 120


def run(asked: argparse.Namespace) -> None:
    """Write the handouts as asked: `chosen` lessons, `folder`, `units`, `paper`, `pdf`, `seed`, `key`, `lessons`.

    Of the case in the visit its `level` and its `place`, None for any.
    What is written is said on stdout, a path a line; a handout that is there already is written anew.
    Raises CourseError where a lesson is unknown, a file cannot be written, or no browser prints.
    """
    books = chosen_books(lessons_folder(asked.lessons, Path.cwd()), asked.chosen)
    if asked.level not in LEVELS:
        raise LaunchError(f"There is no level {asked.level} of cases: give one of {', '.join(map(str, LEVELS))}.")
    if asked.place is not None and asked.place not in places():
        raise LaunchError(f"There is no station {asked.place!r} for cases: give one of {', '.join(places())}.")
    sheet = Sheet(asked.units, asked.paper, asked.seed, asked.key, asked.level, asked.place)
    browser = find_browser() if asked.pdf else None
    for book in books:
        page = handout(read_cells(book), sheet)
        # A name of its own for the sheet with the answers, so that it is not handed out by mistake.
        path = asked.folder / f"{book.stem}{'_key' if sheet.key else ''}.html"
        write(path, page.encode("utf-8"))
        if browser:
            write(path.with_suffix(".pdf"), printed(browser, page))
    if asked.pdf and not browser:
        raise LaunchError(
            "No PDF was made, since no Chromium, Chrome or Edge is on the PATH: open the HTML file in any browser and "
            "print it from there."
        )


def chosen_books(folder: Path, chosen: list[str]) -> list[Path]:
    """The notebooks of the lessons chosen by their two digits, all if none is; in their order, each once."""
    books = {path.name[:2]: path for path in sorted(folder.glob("[0-9][0-9]_*.ipynb"))}
    for lesson in chosen:
        if lesson not in books:
            raise LaunchError(f"There is no lesson {lesson!r}: give two digits, one of {', '.join(books)}.")
    return [path for lesson, path in books.items() if lesson in chosen or not chosen]


def read_cells(book: Path) -> list[Cell]:
    """The cells of a notebook file."""
    try:
        cells = json.loads(book.read_text("utf-8"))["cells"]
        return [Cell(str(cell["cell_type"]), "".join(cell["source"])) for cell in cells]
    except (OSError, ValueError, TypeError, KeyError) as error:
        raise LaunchError(
            f"The lesson {book} cannot be read as a notebook ({type(error).__name__}): mend it."
        ) from None


def write(path: Path, content: bytes, flag: str = "--folder") -> None:
    """Write a file, in a folder that is made where it is missing, and say so; another is given with `flag`."""
    files.write(path, content, flag)
    say(f"{path}\n")


def find_browser() -> str | None:
    """The first installed browser that can print."""
    return next(filter(None, map(shutil.which, BROWSERS)), None)


def printed(browser: str, page: str) -> bytes:
    """A page as PDF, printed by a browser with a profile of its own that is thrown away afterwards."""
    # The browser may still be tidying up its profile when it has printed.
    with tempfile.TemporaryDirectory(prefix="handout-", ignore_cleanup_errors=True) as scratch:
        source, target = Path(scratch, "handout.html"), Path(scratch, "handout.pdf")
        source.write_bytes(page.encode("utf-8"))
        # The system's administrator gets no sandbox from it, and it would refuse to start.
        alone = ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
        command = [browser, *PRINTING, *alone, f"--user-data-dir={scratch}/profile", f"--print-to-pdf={target}"]
        # What it keeps beside its profile would stay in the user's folders.
        folders = os.environ | {"XDG_CONFIG_HOME": scratch, "XDG_CACHE_HOME": scratch}
        words = [*command, source.as_uri()]
        try:
            subprocess.run(words, env=folders, capture_output=True, timeout=LONGEST_PRINT, check=True)
            return target.read_bytes()
        except (OSError, subprocess.SubprocessError) as error:
            raise LaunchError(
                f"{browser} printed no PDF ({type(error).__name__}): open the HTML file in a browser and print it from "
                "there."
            ) from None
