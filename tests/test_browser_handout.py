"""Handouts through a real browser: every picture is seen whole on its page, and the PDF has the pages it should."""

from __future__ import annotations

import re
import shutil
import subprocess
from functools import cache
from pathlib import Path

import pytest
from playwright.sync_api import Page

from toolkit.front import command
from toolkit.front.handouts import read_cells
from toolkit.front.launch import CHECKOUT_LESSONS
from toolkit.panels.handout import Sheet, handout, title_of

pytestmark = pytest.mark.browser

BOOKS = {path.name[:2]: path for path in sorted(CHECKOUT_LESSONS.glob("*.ipynb"))}
# What the style sheet leaves of each paper within its margins, in CSS pixels of 1/96 in.: width, height.
MM = 96 / 25.4
ROOM = {"a4": ((210 - 34) * MM, (297 - 31) * MM), "letter": ((215.9 - 34) * MM, (279.4 - 31) * MM)}
POINTS = {"a4": (595, 842), "letter": (612, 792)}
KEPT_WHOLE = "figure, .whole, .question, .predict, .readouts, table, .beside"


@cache
def printed(lesson: str, paper: str) -> str:
    return handout(read_cells(BOOKS[lesson]), Sheet(paper=paper, key=True))


def words(pdf: bytes, folder: Path) -> str:
    """All words of a PDF; skips where nothing on this machine can read it."""
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not installed: no words to look at")
    path = folder / "handout.pdf"
    path.write_bytes(pdf)
    done = subprocess.run(["pdftotext", "-layout", str(path), "-"], capture_output=True, text=True, check=True)
    return done.stdout


def pages(pdf: bytes) -> int:
    """How many pages a PDF of this browser has: it leaves the list of its pages readable."""
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf))


@pytest.mark.parametrize("paper", ROOM)
@pytest.mark.parametrize("lesson", BOOKS)
def test_nothing_is_cut_on_paper(page: Page, lesson: str, paper: str) -> None:
    width, height = ROOM[paper]
    page.set_viewport_size({"width": int(width), "height": int(height)})
    page.emulate_media(media="print")
    page.set_content(printed(lesson, paper))
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert page.evaluate("[...document.images].every(one => one.complete && one.naturalWidth > 0)")
    # what the style keeps whole must go on one page at all
    tall = page.locator(KEPT_WHOLE).evaluate_all(
        "(es, most) => es.filter(e => e.getBoundingClientRect().height > most).map(e => e.outerHTML.slice(0, 80))",
        height,
    )
    assert not tall
    assert page.locator("figure svg, figure img").evaluate_all(
        "es => es.every(e => e.getBoundingClientRect().width > 200)"
    ), "a picture too small to read"


@pytest.mark.parametrize("paper", ROOM)
@pytest.mark.parametrize("lesson", ["00", "02", "05"])
def test_the_pdf_has_its_paper_and_its_pages(page: Page, lesson: str, paper: str) -> None:
    page.set_content(printed(lesson, paper))
    pdf = page.pdf(prefer_css_page_size=True)
    assert pdf.startswith(b"%PDF-")
    assert pages(pdf) > 2
    assert title_of(read_cells(BOOKS[lesson])).encode() in pdf  # its title, which is not packed
    (box,) = {tuple(map(float, one.split())) for one in re.findall(rb"/MediaBox\s*\[([^\]]+)\]", pdf)}
    assert box[2:] == pytest.approx(POINTS[paper], abs=1)


def test_every_page_has_its_foot(page: Page, tmp_path: Path) -> None:
    lesson = "05"
    page.set_content(printed(lesson, "letter"))
    sheets = words(page.pdf(prefer_css_page_size=True), tmp_path).split("\f")[:-1]
    title = title_of(read_cells(BOOKS[lesson]))
    assert title in sheets[0]
    for at, sheet in enumerate(sheets, 1):
        foot = sheet.rstrip().splitlines()[-1]
        assert re.fullmatch(
            rf"\s*Guarded pressure, lesson {title}, version \S+, seed 1\s+page {at} of {len(sheets)}", foot
        )


def test_what_gives_the_prediction_away_is_not_on_its_page(page: Page, tmp_path: Path) -> None:
    page.set_content(printed("02", "a4"))
    sheets = words(page.pdf(prefer_css_page_size=True), tmp_path).split("\f")
    (asked,) = [at for at, sheet in enumerate(sheets) if "Tick one before you turn over" in sheet]
    (shown,) = [at for at, sheet in enumerate(sheets) if "Picture 1 of" in sheet]
    (right,) = [at for at, sheet in enumerate(sheets) if "is right." in sheet]
    assert asked < shown < right == len(sheets) - 2


@pytest.mark.usefixtures("chromium_path")
def test_the_command_prints_a_pdf(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert command.main(["handout", "02", "--pdf", "--folder", str(tmp_path)]) == 0
    said = capsys.readouterr()
    assert said.err == ""
    assert said.out.splitlines() == [str(tmp_path / f"02_the_regulator.{end}") for end in ("html", "pdf")]
    pdf = (tmp_path / "02_the_regulator.pdf").read_bytes()
    assert pdf.startswith(b"%PDF-")
    assert pages(pdf) > 2
    assert sorted(path.name for path in tmp_path.iterdir()) == ["02_the_regulator.html", "02_the_regulator.pdf"]
