"""Sheets as files: one HTML page each, as PDF too where that is wanted and a browser is there, and questions as QTI."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from pathlib import Path

from toolkit import __version__
from toolkit.classroom.qti import assessment_item, identifier
from toolkit.errors import CourseError, LaunchError
from toolkit.front.handouts import find_browser, printed, write
from toolkit.panels.handout import PAPERS, STYLE, page_style
from toolkit.quiz.items import Item, offer

# (item, seed, display set)
Ask = tuple[Item, int, str]

# What sheets need beside what handouts have: tables as wide as the page that go over its end row by row, numbers in
# columns, lines to sign on, names of any length. No meaning in a tint.
SHEETS = """
table{break-inside:auto} table.small,table.facts{break-inside:avoid} tr{break-inside:avoid}
thead{display:table-header-group}
.sheet table{width:calc(100% - 1mm);font-size:9.5pt}
.sheet th,.sheet td{overflow-wrap:anywhere;padding:0.5mm 1.5mm}
.sheet tbody th{font-weight:bold;min-width:34mm}
.sheet .facts th{width:44mm;font-weight:normal} .sheet .facts td{font-weight:bold}
.sheet table .hint{font-weight:normal;font-size:9pt}
.sheet td.number,.sheet td.short{white-space:nowrap;overflow-wrap:normal}
.sheet td.number,.sheet th.number{text-align:right} .sheet thead th{overflow-wrap:normal}
.sheet td.plain{min-width:24mm}
.sheet td.room{height:9mm;min-width:24mm}
.sheet h1,.sheet h2,.sheet p,.sheet li{overflow-wrap:anywhere}
.sheet code{font-size:8pt;overflow-wrap:anywhere;font-weight:normal}
.evidence{border:0.5mm solid #000;padding:1.5mm 3mm;margin-right:1mm;font-weight:bold;break-inside:avoid}
.sign{break-inside:avoid} .sign td{height:9mm} .sign th{width:44mm}
"""


def document(title: str, body: str, paper: str, foot: str) -> str:
    """A page that needs nothing from elsewhere; `body` is HTML, `title` and `foot` text, `paper` a key of PAPERS."""
    said = f"Guarded pressure, {foot}, version {__version__}"
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f"<title>{escape(title)}</title>\n<style>{page_style(PAPERS[paper], said)}{STYLE}{SHEETS}</style>\n"
        f"</head>\n<body>\n<main>\n{body}\n</main>\n</body>\n</html>\n"
    )


def write_pages(pages: Iterable[tuple[Path, str]], *, pdf: bool) -> None:
    """Write pages to their paths (.html), and beside each its PDF where wanted; what is written is said.

    Raises LaunchError where a file cannot be written, and, once all pages are, where no browser is there to print.
    """
    browser = find_browser() if pdf else None
    for path, page in pages:
        write(path, page.encode("utf-8", "replace"))
        if browser:
            write(path.with_suffix(".pdf"), printed(browser, page))
    if pdf and not browser:
        raise LaunchError(
            "No PDF was made, since no Chromium, Chrome or Edge is on the PATH: open the HTML files in any browser and "
            "print them from there."
        )


def write_qti(folder: Path, asks: Iterable[Ask]) -> tuple[str, ...]:
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
        write(folder / f"{identifier(item.key, seed)}_{units}.xml", text.encode("utf-8"))
    return tuple(left)
