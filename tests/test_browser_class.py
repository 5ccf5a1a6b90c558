"""A class in real browsers: the door, a lesson, a vote from a phone and from the board, the hidden fault."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser import WAIT, screenshot
from playwright.sync_api import Browser, Page, expect
from reading import Room, book, running_room, small_lessons
from test_browser_access import serious
from test_browser_read import told

from toolkit.course import BOARD, IN_CLASS
from toolkit.front.launch import START_LESSON
from toolkit.front.room_server import MOST_PAGES
from toolkit.quiz.cases import items_of
from toolkit.quiz.voting import can_be_voted_on

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Room]:
    with running_room(tmp_path_factory.mktemp("class")) as running:
        yield running


def comes_in(page: Page, room: Room, name: str, to: str) -> None:
    """Through the door by keyboard alone, and on to a page."""
    page.goto(f"{room.root}/{to}")
    page.get_by_label("Class code").focus()
    page.keyboard.type(room.code.lower())
    page.keyboard.press("Tab")
    page.keyboard.type(name)
    page.keyboard.press("Enter")
    expect(page.locator(".gp-own")).to_be_visible(timeout=WAIT)
    page.get_by_role("link", name="Go to the lessons").click()
    ready(page)


def ready(page: Page) -> None:
    page.locator("[data-gp-state=ready]").wait_for(timeout=WAIT)


def test_the_door_is_plain_and_says_what_is_wrong(page: Page, room: Room) -> None:
    page.goto(room.root)
    assert serious(page, [".gp-read"]) == []
    for width, height in ((1280, 720), (360, 740)):
        screenshot(page, "class-door", width, height)
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    page.get_by_label("Class code").fill("WRONG1")
    page.get_by_label("Your name, as it").fill("Ann")
    page.get_by_role("button", name="Come in").click()
    expect(page.get_by_role("alert")).to_contain_text("another one")
    # what was typed is not lost
    expect(page.get_by_label("Your name, as it")).to_have_value("Ann")


def test_a_class_votes_talks_and_votes_again(page: Page, chromium_browser: Browser, room: Room) -> None:
    item = next(one for one in items_of("09") if can_be_voted_on(one))
    page.goto(room.instructor)
    page.goto(f"{room.root}/{BOARD}")
    ready(page)
    assert serious(page, [".gp-class"]) == []
    phone = chromium_browser.new_context(viewport={"width": 400, "height": 740}).new_page()
    comes_in(phone, room, "Ann Example", IN_CLASS)
    board, pocket = page.locator(".gp-class"), phone.locator(".gp-class")
    expect(pocket).to_contain_text("Nothing is asked yet")
    page.get_by_role("combobox", name="Lesson").select_option(label="09 The pressure switch")
    expect(page.get_by_role("combobox", name="Question").locator("option:checked")).to_have_text(item.objective)
    page.get_by_role("button", name="Show the question").click()
    page.get_by_role("button", name="Open the first vote").click()
    vote = phone.get_by_role("button", name="Vote", exact=True)
    vote.wait_for(timeout=WAIT)
    assert serious(phone, [".gp-class"]) == []
    pocket.get_by_role("radio").nth(1).focus()
    phone.keyboard.press("Space")
    vote.focus()
    phone.keyboard.press("Enter")
    expect(pocket).to_contain_text("Your vote is B")
    expect(board).to_contain_text("1 have voted of 1 who have come in")
    for name in ("Close it: talk it over", "Open the second vote", "Close it and show the votes"):
        expect(pocket).not_to_contain_text("\u2713")
        page.get_by_role("button", name=name).click()
    expect(board.get_by_role("table")).to_contain_text("1 of 1")
    page.get_by_role("button", name="Reveal the answer").click()
    expect(pocket).to_contain_text("\u2713 right", timeout=WAIT)
    screenshot(phone, "class-phone", 400, 740)
    assert phone.evaluate("document.documentElement.scrollWidth <= innerWidth")
    page.get_by_role("button", name="Projector view", exact=True).click()
    screenshot(page, "class-board", 1920, 1080)
    phone.context.close()


def test_a_hidden_fault_stays_hidden_until_it_is_shown(page: Page, room: Room) -> None:
    page.goto(room.instructor)
    page.goto(f"{room.root}/{BOARD}")
    ready(page)
    bench = page.locator(".gp-panel")
    bench.get_by_role("combobox", name="Hidden fault").select_option(label="number 13")
    expect(bench).not_to_contain_text("dirt or nick")
    bench.get_by_role("combobox", name="The truth").select_option(index=1)
    expect(bench).to_contain_text("dirt or nick on worker seat")
    page.get_by_role("button", name="Projector view of this bench").click()
    screenshot(page, "class-hidden-fault", 1920, 1080)


def test_a_lesson_of_a_class_works_and_is_the_visitors_own(page: Page, room: Room) -> None:
    comes_in(page, room, "Bob Example", "01_pressure_and_flow.ipynb")
    expect(page.get_by_role("link", name="Leave (Bob Example)")).to_be_visible()
    page.get_by_role("radio").first.check()
    page.get_by_role("button", name="Open the bench").click()
    expect(page.locator(".gp-panel .gp-sentence")).not_to_be_empty(timeout=WAIT)
    page.get_by_role("link", name="Leave").click()
    expect(page.get_by_label("Class code")).to_be_visible()


# A page without its kernel looks as alive as before, and what is answered there is lost.
STOPPED = "The bench has stopped: it stood unused for 20 minutes, or more than 2 pages"


def test_a_page_that_had_to_make_way_for_another_says_so(page: Page, room: Room) -> None:
    comes_in(page, room, "Cas Example", START_LESSON)
    others = [page.context.new_page() for _ in range(MOST_PAGES)]
    for other in others:
        other.goto(f"{room.root}/{START_LESSON}")
        ready(other)
    expect(told(page)).to_contain_text(STOPPED)
    page.get_by_role("button", name="Start again").click()
    ready(page)
    expect(told(others[0])).to_contain_text(STOPPED)
    expect(told(others[1])).to_be_hidden()


def test_an_idle_lesson_says_that_it_has_ended_and_the_pages_of_a_vote_stay(
    page: Page, chromium_browser: Browser, tmp_path: Path
) -> None:
    lessons = small_lessons(tmp_path / "lessons")
    slider = ("code", "import ipywidgets; ipywidgets.FloatSlider(description='Inlet')")
    for name, audience in ((START_LESSON, None), (IN_CLASS, None), (BOARD, "instructor")):
        lesson = json.loads(book(slider))
        lesson["metadata"]["guarded_pressure"] |= {"audience": audience} if audience else {}
        (lessons / name).write_text(json.dumps(lesson))
    program = (
        "import sys; from toolkit.front import command, reader, room_server;"
        "room_server.IDLE_SECONDS, reader.KERNEL_LOOK_SECONDS = 6, 1;"
        f"sys.exit(command.main(['serve', '--folder', {str(tmp_path / 'room')!r}, *sys.argv[1:]]))"
    )
    with running_room(tmp_path / "home", lessons, program=program) as room:
        page.goto(room.instructor)
        page.goto(f"{room.root}/{BOARD}")
        ready(page)
        phone = chromium_browser.new_context().new_page()
        comes_in(phone, room, "Dee Example", IN_CLASS)
        lesson = phone.context.new_page()
        lesson.goto(f"{room.root}/{START_LESSON}")
        ready(lesson)
        expect(told(lesson)).to_contain_text(STOPPED)
        # they were opened before it, and nobody has pressed anything there either
        for still in (page, phone):
            still.get_by_role("slider", name="Inlet").press("ArrowRight")
            expect(told(still)).to_be_hidden()
        phone.context.close()


def test_the_longest_name_and_the_tally_fit_a_small_screen(page: Page, chromium_browser: Browser, room: Room) -> None:
    fits = "document.documentElement.scrollWidth <= innerWidth"
    phone = chromium_browser.new_context(viewport={"width": 390, "height": 740}).new_page()
    comes_in(phone, room, "W" * 200, IN_CLASS)
    assert phone.evaluate(fits)
    item = next(one for one in items_of("09") if can_be_voted_on(one))
    page.set_viewport_size({"width": 1024, "height": 768})
    page.goto(room.instructor)
    page.goto(f"{room.root}/{BOARD}")
    ready(page)
    if (another := page.get_by_role("button", name="Choose another question")).is_visible():
        another.click()
    page.get_by_role("combobox", name="Lesson").select_option(label="09 The pressure switch")
    expect(page.get_by_role("combobox", name="Question").locator("option:checked")).to_have_text(item.objective)
    page.get_by_role("button", name="Show the question").click()
    for words in (
        "Open the first vote",
        "Close it: talk it over",
        "Open the second vote",
        "Close it and show the votes",
    ):
        page.get_by_role("button", name=words).click()
    expect(phone.locator(".gp-tally")).to_be_visible(timeout=WAIT)
    assert phone.evaluate(fits)
    cells = phone.locator(".gp-tally :is(th,td)").evaluate_all(
        "all => all.map(one => one.scrollWidth - one.clientWidth)"
    )
    assert max(cells) <= 0, cells
    phone.locator(".gp-tally").scroll_into_view_if_needed()
    screenshot(phone, "tally-phone", 390, 740)
    page.get_by_role("button", name="Who is in").click()
    expect(page.locator(".gp-class table").last).to_contain_text("WWWW")
    assert page.evaluate(fits)
    screenshot(page, "class-list-long-name", 1024, 768)
    phone.context.close()
