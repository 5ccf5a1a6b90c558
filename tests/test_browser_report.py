"""The sheets of a class through a real browser: whole on their paper, in so many pages, and no name does anything."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import pytest
from browser import SCREENSHOTS
from handed_in import HOSTILE, class_files, first_evening, learner
from playwright.sync_api import Page
from test_browser_handout import POINTS, ROOM, pages, words

from toolkit import __version__
from toolkit.classroom.gather import gather
from toolkit.classroom.gather_results import result
from toolkit.classroom.hand_in import packed
from toolkit.classroom.sheets import EVIDENCE
from toolkit.front import command, report
from toolkit.panels.exam_pages import document

pytestmark = pytest.mark.browser

SESSION = first_evening()
# Of a class of twenty, with the twelve questions of its session: so many pages each, on A4 and on Letter.
# So many at most: what fits on the last one hangs on the machine's fonts.
PAGES = {
    "roster": (2, 2),
    "class_summary": (2, 2),
    "item_analysis": (2, 2),
    "result_01": (2, 2),
    "result_06": (2, 2),
    "review_06": (1, 1),
}
KEPT_WHOLE = ".evidence, .facts, .sign, .small, tr"


@cache
def the_class(paper: str) -> dict[str, str]:
    return written([(name, data) for name, data in class_files().items()], paper, hostile=False)


@cache
def the_hostile(paper: str) -> dict[str, str]:
    files = [(f"{name[:40]}{n}", packed(learner(n, SESSION, name or "\0"))) for n, name in enumerate(HOSTILE)]
    return written([*files, ("<img src=x onerror=alert(1)>", b"{")], paper, hostile=True)


def written(files: list[tuple[str, bytes]], paper: str, *, hostile: bool) -> dict[str, str]:
    found = gather(files)
    session = None if hostile else SESSION
    results = [result(person, session) for person in found.people]
    """By the name of the file, without the learner's in it."""
    return {
        re.sub(r"(_\d\d).*", r"\1", one.name): document(one.title, one.body, paper, one.foot)
        for one in report.sheets(found, results, session)
    }


def laid_out(page: Page, text: str, paper: str) -> None:
    """A sheet as wide as its paper leaves room, as it is printed."""
    width, height = ROOM[paper]
    page.set_viewport_size({"width": int(width), "height": int(height)})
    page.emulate_media(media="print")
    page.set_content(text)


def fits(page: Page, paper: str) -> None:
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    tall = page.locator(KEPT_WHOLE).evaluate_all(
        "(es, most) => es.filter(e => e.getBoundingClientRect().height > most).map(e => e.outerHTML.slice(0, 80))",
        ROOM[paper][1],
    )
    assert not tall
    assert page.locator("table").evaluate_all(
        "es => es.every(e => e.getBoundingClientRect().right <= document.documentElement.clientWidth)"
    ), "a table is cut off at the right"


@pytest.mark.parametrize("paper", ROOM)
@pytest.mark.parametrize("name", PAGES)
def test_each_kind_of_sheet_is_whole_and_has_few_pages(page: Page, tmp_path: Path, name: str, paper: str) -> None:
    laid_out(page, the_class(paper)[name], paper)
    fits(page, paper)
    SCREENSHOTS.mkdir(exist_ok=True)
    page.screenshot(path=SCREENSHOTS / f"sheet-{name}-{paper}.png", full_page=True)
    pdf = page.pdf(prefer_css_page_size=True)
    assert pages(pdf) <= PAGES[name][list(ROOM).index(paper)]
    assert f"/MediaBox [0 0 {POINTS[paper][0]}".encode() in pdf.replace(b"[0 0 594", b"[0 0 595")
    leaves = words(pdf, tmp_path).split("\f")[:-1]
    for at, leaf in enumerate(leaves, 1):
        foot = leaf.rstrip().splitlines()[-1]
        assert f"version {__version__}" in foot
        assert foot.endswith(f"page {at} of {len(leaves)}")


@pytest.mark.parametrize("paper", ROOM)
def test_the_lines_to_sign_on_stand_together_and_the_sentence_on_the_first_page(
    page: Page, tmp_path: Path, paper: str
) -> None:
    page.set_content(the_class(paper)["result_06"])
    leaves = words(page.pdf(prefer_css_page_size=True), tmp_path).split("\f")
    assert EVIDENCE in leaves[0]
    assert "does not hold" in leaves[0]
    (signed,) = [leaf for leaf in leaves if "Signature" in leaf]
    assert "Evaluator's name" in signed


@pytest.mark.parametrize("paper", ROOM)
def test_no_name_does_anything(page: Page, paper: str) -> None:
    sheets = the_hostile(paper)
    asked: list[str] = []
    page.on("dialog", lambda dialog: (asked.append(dialog.message), dialog.dismiss()))
    page.on("request", lambda request: asked.append(request.url))
    for name in ("roster", "class_summary", "item_analysis", *(one for one in sheets if one.startswith("result"))):
        laid_out(page, sheets[name], paper)
        fits(page, paper)
    assert asked == []
    laid_out(page, sheets["roster"], paper)
    page.screenshot(path=SCREENSHOTS / f"sheet-hostile-roster-{paper}.png", full_page=True)


def test_a_sheet_is_legible_without_colour(page: Page) -> None:
    for name in PAGES:
        laid_out(page, the_class("a4")[name], "a4")
        tones = page.locator("main *").evaluate_all(
            "es => [...new Set(es.flatMap(e => [getComputedStyle(e).color, getComputedStyle(e).backgroundColor]))]"
        )
        assert set(tones) <= {"rgb(0, 0, 0)", "rgba(0, 0, 0, 0)", "rgb(255, 255, 255)"}
        smallest = page.locator("main *").evaluate_all(
            "es => Math.min(...es.filter(e => e.textContent.trim()).map(e => parseFloat(getComputedStyle(e).fontSize)))"
        )
        assert smallest >= 8 * 96 / 72 - 0.01  # points


@pytest.mark.usefixtures("chromium_path")
def test_the_command_prints_pdfs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "class").mkdir()
    (tmp_path / "class" / "a.json").write_bytes(packed(learner(1, SESSION)))
    words_typed = ["report", str(tmp_path / "class"), "--session", "first_evening", "--pdf", "--out"]
    assert command.main([*words_typed, str(tmp_path / "out")]) == 0
    assert capsys.readouterr().err == ""
    made = sorted(path.name for path in (tmp_path / "out").glob("*.pdf"))
    mine = [f"{kind}_01_learner-at-bench-1" for kind in ("result", "review")]
    assert made == [f"{one}.pdf" for one in ("class_summary", "item_analysis", *mine, "roster")]
    assert all((tmp_path / "out" / name).read_bytes().startswith(b"%PDF-") for name in made)
