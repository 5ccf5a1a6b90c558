"""The file to hand in, saved by keyboard through a real browser: in JupyterLab and in the pages without code."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from browser import Course, lesson, screenshot
from playwright.sync_api import Locator, Page, expect
from reading import running_pages
from test_chain import attempt

from toolkit.classroom import hand_in
from toolkit.classroom.record import Record
from toolkit.front.launch import START_LESSON

pytestmark = pytest.mark.browser

LEARNER = "Robin Ålund"


@pytest.fixture(scope="module")
def pages(
    chromium_path: str,  # noqa: ARG001  (without a browser there is no need for a server)
    tmp_path_factory: pytest.TempPathFactory,
) -> Iterator[Course]:
    with running_pages(tmp_path_factory.mktemp("read") / "home") as running:
        yield running


def answered(folder: Path) -> Record:
    record = Record(folder)
    record.set_learner(LEARNER)
    for seed in range(4):
        record.append(attempt(LEARNER, seed))
        record.append(attempt("Kim", seed))
    return record


def hands_in(page: Page, record: Record, picture: str) -> None:
    """Press the button, go to the link and press Enter: the file saved must be the learner's rows."""
    button = page.get_by_role("button", name="Hand in")
    button.focus()
    page.keyboard.press("Enter")
    link = page.get_by_role("link", name="Save hand-in_robin-alund")
    expect(link).to_be_visible()
    page.keyboard.press("Tab")
    expect(link).to_be_focused()
    look_at(page, button, picture)
    with page.expect_download() as caught:
        page.keyboard.press("Enter")
    saved = caught.value
    assert saved.suggested_filename == link.get_attribute("download")
    handed = hand_in.unpacked(Path(saved.path()).read_bytes(), saved.suggested_filename)
    assert handed.attempts == record.attempts(LEARNER)
    assert hand_in.verdict(handed).holds


def look_at(page: Page, button: Locator, picture: str) -> None:
    for width, height in ((1024, 768), (1280, 720)):
        page.set_viewport_size({"width": width, "height": height})
        button.evaluate("one => one.scrollIntoView({block: 'center'})")
        screenshot(page, picture, width, height)


def test_in_jupyterlab(page: Page, course: Course) -> None:
    record = answered(course.data)
    lesson(page, course, START_LESSON)
    address = page.url
    hands_in(page, record, "hand-in-lab")
    assert page.url == address  # the lesson stays open


def test_in_the_pages_without_code(page: Page, pages: Course) -> None:
    record = answered(pages.data)
    page.goto(f"{pages.root}/{START_LESSON}?token={pages.token}")
    page.locator("[data-gp-state=ready]").wait_for()
    address = page.url
    hands_in(page, record, "hand-in-read")
    assert page.url == address
