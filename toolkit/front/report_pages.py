"""Sheets as files: one HTML page each, as PDF too where that is wanted and a browser is there, and questions as QTI."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from toolkit.classroom.qti import assessment_item, identifier
from toolkit.errors import CourseError, LaunchError
from toolkit.front.handouts import find_browser, printed, write
from toolkit.quiz.items import Item, offer

# (item, seed, display set)
Ask = tuple[Item, int, str]


def write_pages(pages: Iterable[tuple[Path, str]], *, pdf: bool, flag: str = "--folder") -> None:
    """Write pages to their paths (.html), and beside each its PDF where wanted; what is written is said.

    `flag` is what another folder is given with.

    Raises LaunchError where a file cannot be written, and, once all pages are, where no browser is there to print.
    """
    browser = find_browser() if pdf else None
    for path, page in pages:
        write(path, page.encode("utf-8", "replace"), flag)
        if browser:
            write(path.with_suffix(".pdf"), printed(browser, page), flag)
    if pdf and not browser:
        raise LaunchError(
            "No PDF was made, since no Chromium, Chrome or Edge is on the PATH: open the HTML files in any browser and "
            "print them from there."
        )


def write_qti(folder: Path, asks: Iterable[Ask], flag: str = "--folder") -> tuple[str, ...]:
    """Write each question that QTI can carry as a file of its own; returns the keys of those that it cannot."""
    left = []
    for item, seed, units in asks:
        try:
            text = assessment_item(item, offer(item, seed, units), seed)
        except CourseError:
            text = None
        if text is None:
            left.append(item.key)
            continue
        write(folder / f"{identifier(item.key, seed)}_{units}.xml", text.encode("utf-8"), flag)
    return tuple(left)
