"""The instructor's pages of a served class in a real browser: a session prepared by keyboard, a case voted on."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser import WAIT, screenshot
from playwright.sync_api import Browser, Page, expect
from reading import Room, running_room
from test_browser_access import serious
from test_browser_class import comes_in, ready

from toolkit.classroom import hand_in
from toolkit.classroom.room import Room as Folder
from toolkit.classroom.session import session_of, session_toml
from toolkit.classroom.session_words import preview
from toolkit.course import BOARD, IN_CLASS, PREPARE
from toolkit.front.launch import START_LESSON

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Room]:
    with running_room(tmp_path_factory.mktemp("class")) as running:
        yield running


def to(page: Page, name: str, role: str = "textbox") -> None:
    """Go on by Tab until the control of that name has the keyboard."""
    wanted = page.locator(".gp-prepare").get_by_role(role, name=name)  # type: ignore[arg-type]
    for _ in range(60):
        page.keyboard.press("Tab")
        if wanted.evaluate("one => one === document.activeElement || one.contains(document.activeElement)"):
            return
    raise AssertionError(f"Tab never came to {name!r}")


def test_a_session_is_prepared_by_keyboard_and_saved(page: Page, room: Room) -> None:
    page.goto(room.instructor)
    page.get_by_role("link", name="Prepare a session").click()
    ready(page)
    form = page.locator(".gp-prepare")
    expect(form).to_contain_text("session.title")  # what is missing is said at once
    screenshot(page, "prepare-empty")
    assert serious(page, [".gp-prepare"]) == []
    page.locator("body").focus()
    to(page, "Title")
    page.keyboard.type('Second "evening"')
    to(page, "02 The regulator", "checkbox")
    page.keyboard.press("Space")
    to(page, "Covered tasks")
    page.keyboard.type("CT-07 Inspect a service regulator")
    to(page, "Instructor")
    page.keyboard.type("Instructor of the evening class")
    to(page, "Learners")
    page.keyboard.type("Ann Example\nBo Example")
    to(page, "Seed")
    page.keyboard.press("Control+a")
    page.keyboard.type("77")
    shown = form.get_by_role("region", name="The session file")
    expect(shown).to_contain_text("number = 77")
    text = shown.inner_text()
    session = session_of(text)
    assert (session.title, session.lessons, session.seed) == ('Second "evening"', ("02",), 77)
    assert session.learners == ("Ann Example", "Bo Example")
    assert form.get_by_role("region", name="What the session means").inner_text().strip() == preview(session).strip()
    assert serious(page, [".gp-prepare"]) == []
    for width, height in ((1280, 720), (1024, 768)):
        page.evaluate("scrollTo(0, 0)")
        screenshot(page, "prepare", width, height)
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    link = form.get_by_role("link", name=re.compile("Save session_"))
    link.focus()
    with page.expect_download() as caught:
        page.keyboard.press("Enter")
    assert Path(caught.value.path()).read_text("utf-8") == session_toml(session) == text + "\n" * (text[-1:] != "\n")


def test_an_example_is_loaded_its_exam_saved_and_the_class_is_given_it(page: Page, room: Room) -> None:
    page.goto(room.instructor)
    page.goto(f"{room.root}/{PREPARE}")
    ready(page)
    page.get_by_role("button", name="Load the course's example").click()
    expect(page.get_by_role("textbox", name="Title")).to_have_value(re.compile("First evening"))
    expect(page.locator(".gp-prepare input[type=date]").nth(1)).to_have_value("")
    page.get_by_role("button", name="Make the exam and its key").click()
    for name in ("exam.html", "exam_key.html"):
        link = page.get_by_role("link", name=f"Save {name}")
        link.wait_for(timeout=WAIT)
        with page.expect_download() as caught:
            link.click()
        written = Path(caught.value.path()).read_text("utf-8")
        assert caught.value.suggested_filename == name
        assert "First evening" in written
        assert "seed 20261201" in written
    link.evaluate("one => one.scrollIntoView({block: 'center'})")
    for width, height in ((1280, 720), (1024, 768)):
        screenshot(page, "prepare-exam", width, height)
    page.get_by_role("button", name="Give it to this class").click()
    expect(page.locator(".gp-prepare")).to_contain_text("From now on the class is asked")
    held = Folder(room.folder).session()
    assert held is not None
    assert held.title.startswith("First evening")


def test_a_class_votes_on_a_case_and_the_list_unfolds(page: Page, chromium_browser: Browser, room: Room) -> None:
    page.goto(room.instructor)
    page.goto(f"{room.root}/{BOARD}")
    ready(page)
    phone = chromium_browser.new_context(viewport={"width": 400, "height": 740}).new_page()
    comes_in(phone, room, "Ann Example", IN_CLASS)
    page.get_by_role("combobox", name="Lesson").select_option(label="21 The visit: a case for all")
    page.get_by_role("combobox", name="Station").select_option(label="service")
    page.get_by_role("combobox", name="Question").select_option(index=1)
    page.get_by_role("spinbutton", name="Seed").fill("3")
    page.keyboard.press("Tab")
    page.get_by_role("button", name="Show the question").click()
    board, pocket = page.locator(".gp-class"), phone.locator(".gp-class")
    expect(board).to_contain_text("vote for what is done first", timeout=WAIT)
    page.get_by_role("button", name="Open the first vote").click()
    vote = phone.get_by_role("button", name="Vote", exact=True)
    vote.wait_for(timeout=WAIT)
    expect(pocket).to_contain_text("vote for what is done first")
    assert serious(phone, [".gp-class"]) == []
    assert serious(page, [".gp-class"]) == []
    pocket.get_by_role("radio").first.check()
    vote.click()
    expect(board).to_contain_text("1 have voted of 1 who have come in")
    for width, height in ((1280, 720), (1024, 768)):
        page.evaluate("scrollTo(0, 0)")
        screenshot(page, "board-case", width, height)
    for name in ("Close it: talk it over", "Open the second vote", "Close it and show the votes", "Reveal the answer"):
        page.get_by_role("button", name=name).click()
    expect(pocket).to_contain_text("\u2713 right", timeout=WAIT)
    screenshot(phone, "case-phone", 400, 740)
    assert phone.evaluate("document.documentElement.scrollWidth <= innerWidth")
    expect(board).not_to_contain_text("Ann Example")
    page.get_by_role("button", name="Who is in").click()
    expect(board.get_by_role("table", name="Who is in")).to_contain_text("Ann Example")
    page.get_by_role("button", name="Give a new own code").click()
    expect(board).to_contain_text("comes in with the own code")
    assert serious(page, [".gp-class"]) == []
    for width, height in ((1280, 720), (1024, 768)):
        page.get_by_role("button", name="Give a new own code").scroll_into_view_if_needed()
        screenshot(page, "board-list", width, height)
    phone.context.close()


def test_what_a_visitor_answers_stands_in_the_record_and_can_be_handed_in(page: Page, room: Room) -> None:
    comes_in(page, room, "Bob Example", "02_the_regulator.ipynb")
    page.locator(".gp-quiz input").first.fill("7 in wc")
    page.get_by_role("button", name="Check my answer").click()
    expect(page.get_by_role("button", name="Next question")).to_be_visible(timeout=WAIT)
    folder = Folder(room.folder)
    bob = next(one for one in folder.visitors() if one.name == "Bob Example")
    assert [one.attempt.learner for one in folder.record(bob).attempts()] == ["Bob Example"]
    page.goto(f"{room.root}/{START_LESSON}")
    ready(page)
    expect(page.locator("body")).to_contain_text("1 of 6")
    page.get_by_role("button", name="Hand in").click()
    with page.expect_download() as caught:
        page.get_by_role("link", name="Save hand-in_bob-example").click()
    handed = hand_in.unpacked(Path(caught.value.path()).read_bytes(), "file")
    assert handed.attempts == folder.record(bob).attempts()
    assert hand_in.verdict(handed).holds
