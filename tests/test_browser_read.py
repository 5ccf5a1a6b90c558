"""`course read` through a real browser: the lessons as pages, by keyboard, on screens wide and narrow, and on paper.

That no request leaves this machine is asserted at the end of every test, by the `page` fixture.
"""

from __future__ import annotations

import os
import re
import signal
from collections.abc import Iterator
from pathlib import Path

import psutil
import pytest
from browser import WAIT, Course, children, screenshot
from playwright.sync_api import Locator, Page, expect
from reading import book, running_pages, small_lessons

from toolkit.front.launch import START_LESSON

pytestmark = pytest.mark.browser

REGULATOR = "02_the_regulator.ipynb"
NAMED_ROLES = {"slider", "spinbutton", "textbox", "combobox", "radio", "button", "checkbox", "link", "image"}


@pytest.fixture(scope="module")
def pages(
    chromium_path: str,  # noqa: ARG001  (without a browser there is no need for a server)
    tmp_path_factory: pytest.TempPathFactory,
) -> Iterator[Course]:
    with running_pages(tmp_path_factory.mktemp("read") / "home") as running:
        yield running


@pytest.fixture
def small(
    chromium_path: str,  # noqa: ARG001
    tmp_path: Path,
) -> Iterator[Course]:
    """A start lesson that can be changed before it is opened, and a second one that fails halfway."""
    lessons = small_lessons(tmp_path / "lessons")
    cells = [
        ("markdown", "# Broken"),
        ("code", "raise RuntimeError('seen by authors only')"),
        ("code", "print('never printed')"),
        ("markdown", "Words after it."),
    ]
    (lessons / "01_broken.ipynb").write_text(book(*cells, lesson="01"))
    with running_pages(tmp_path / "home", lessons) as running:
        yield running


def opened(page: Page, course: Course, name: str, state: str = "ready") -> Locator:
    """A lesson's page in the state it is waited for; the part that the lesson stands in."""
    page.goto(f"{course.root}/{name}?token={course.token}", timeout=WAIT)
    page.locator(f"[data-gp-state={state}]").wait_for(timeout=WAIT)
    return page.get_by_role("main")


def told(page: Page) -> Locator:
    """The line at the foot of the page."""
    return page.locator(".gp-status [role=status]")


def open_bench(page: Page) -> Locator:
    """Predict and open the bench, by keyboard alone."""
    page.get_by_role("radio").nth(2).focus()
    page.keyboard.press("Space")
    button = page.get_by_role("button", name="Open the bench")
    expect(button).to_be_enabled()
    button.focus()
    page.keyboard.press("Enter")
    panel = page.locator(".gp-panel")
    expect(panel.locator("svg.gp-chart")).to_be_visible()
    # the page names each slider a moment after it has drawn it
    expect(panel.locator("[role=slider]:not([aria-label])")).to_have_count(0)
    return panel


def unnamed(page: Page) -> list[str]:
    """What the browser tells a screen reader of, and has no name for."""
    tree = page.context.new_cdp_session(page).send("Accessibility.getFullAXTree")["nodes"]
    found = [node for node in tree if not node["ignored"] and node["role"]["value"] in NAMED_ROLES]
    assert len(found) > 20, "the tree was not read"
    return [str(node) for node in found if not node.get("name", {}).get("value", "").strip()]


def test_a_prediction_and_a_slider_by_keyboard_move_picture_and_readout(page: Page, pages: Course) -> None:
    lesson = opened(page, pages, REGULATOR)
    panel = open_bench(page)
    chart, readouts = panel.locator("svg.gp-chart"), panel.locator(".gp-readouts")
    source, said = chart.get_attribute("aria-label") or "", readouts.inner_text()
    slider = panel.get_by_role("slider", name=re.compile("^Spring setting"))
    slider.focus()
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    expect(slider).to_have_attribute("aria-valuetext", "8.5 in. w.c.")  # 7 and three steps of a half
    expect(chart).not_to_have_attribute("aria-label", source)
    expect(readouts).not_to_have_text(said, use_inner_text=True)
    expect(readouts).to_contain_text("9.3 in. w.c.")  # the healthy lock-up, 0.8 above the set point
    assert "import" not in lesson.inner_text()
    assert 'bench("02")' not in page.content()
    assert page.locator(".jp-InputArea, .cm-editor").count() == 0
    assert unnamed(page) == []


def test_the_page_has_a_language_a_title_landmarks_and_a_way_past_them(page: Page, pages: Course) -> None:
    lesson = opened(page, pages, REGULATOR)
    assert page.title() == "02 The regulator - Guarded pressure"
    assert page.locator("html").get_attribute("lang") == "en"
    expect(page.get_by_role("main")).to_have_count(1)
    expect(page.get_by_role("banner").get_by_role("link")).to_have_text("All lessons")
    page.keyboard.press("Tab")
    skip = page.get_by_role("link", name="Skip to the lesson")
    expect(skip).to_be_focused()
    expect(skip).to_be_in_viewport()
    page.keyboard.press("Enter")
    expect(lesson).to_be_focused()
    expect(page.locator(".gp-status")).to_be_hidden()


def test_the_text_is_there_while_the_bench_is_made_ready(page: Page, pages: Course) -> None:
    page.goto(f"{pages.root}/{REGULATOR}?token={pages.token}", wait_until="commit")
    expect(told(page)).to_have_text("Getting the bench ready...")
    expect(page.get_by_role("heading", name="Sources")).to_be_attached()
    expect(page.locator(".gp-predict")).to_have_count(0)
    screenshot(page, "read-preparing", 400, 800)
    expect(page.locator(".gp-predict")).to_be_visible()


def test_links_lead_from_lesson_to_lesson_and_to_their_place_and_leave_no_kernel(page: Page, pages: Course) -> None:
    lesson = opened(page, pages, REGULATOR)
    name = page.evaluate("JSON.parse(document.getElementById('jupyter-config-data').textContent).kernelId")
    (kernel,) = [one for one in map(psutil.Process, children(pages.pid)) if any(name in word for word in one.cmdline())]
    lesson.get_by_role("link", name="safety card").click()
    expect(page.get_by_role("heading", name="Safety card")).to_be_in_viewport()
    assert page.url == f"{pages.root}/{START_LESSON}#Safety-card"
    kernel.wait(WAIT / 1000)
    page.locator("[data-gp-state=ready]").wait_for()
    lesson.get_by_role("link", name="01 Pressure and flow").last.click()
    page.locator("[data-gp-state=ready]").wait_for()
    expect(page.get_by_role("heading", level=1, name="01 Pressure and flow", exact=True)).to_be_visible()
    page.get_by_role("link", name="All lessons").click()
    expect(page.get_by_role("heading", name="The lessons", exact=True)).to_be_in_viewport()
    assert page.context.pages == [page]


def test_a_graded_answer_goes_into_the_record_and_is_shown_on_the_start_page(page: Page, pages: Course) -> None:
    opened(page, pages, "04_the_internal_relief.ipynb")
    quiz = page.locator(".gp-quiz")
    quiz.get_by_label(re.compile("Your answer")).fill("16 in. w.c.")
    page.keyboard.press("Enter")
    expect(quiz.get_by_role("button", name="Next question")).to_be_focused()
    opened(page, pages, START_LESSON)
    expect(page.locator(".gp-quiz")).to_contain_text("04 The internal relief")
    expect(page.locator(".gp-quiz")).to_contain_text(str(pages.data))


@pytest.mark.parametrize(("width", "height"), [(1280, 720), (400, 800)])
def test_it_fits_the_screen_and_reads_in_the_dark(page: Page, pages: Course, width: int, height: int) -> None:
    page.set_viewport_size({"width": width, "height": height})
    lesson = opened(page, pages, REGULATOR)
    panel = open_bench(page)
    # the button of an answer stands before its words, at every width
    for answer in page.locator(".widget-radio-box label:visible").all():
        button, whole = answer.locator("input").bounding_box(), answer.bounding_box()
        assert button is not None
        assert whole is not None
        assert button["x"] - whole["x"] < 12
    for scheme, background in (("light", "rgb(255, 255, 255)"), ("dark", "rgb(21, 25, 29)")):
        page.emulate_media(color_scheme=scheme)
        assert page.evaluate("getComputedStyle(document.body).backgroundColor") == background
        assert contrast(page, lesson.locator("p").first) > 7
        assert contrast(page, lesson.get_by_role("link").first) > 4.5
        assert contrast(page, panel.locator(".gp-sentence")) > 7
        page.evaluate("scrollTo(0, 0)")
        screenshot(page, f"read-{scheme}", width, height)
        panel.evaluate("e => e.scrollIntoView()")
        screenshot(page, f"read-bench-{scheme}", width, height)
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def contrast(page: Page, words: Locator) -> float:
    """Contrast ratio of words to what is behind them (WCAG 2, relative luminance)."""
    return float(
        page.evaluate(
            """element => {
                const parts = colour => colour.match(/[\\d.]+/g).map(Number);
                const light = colour => parts(colour).slice(0, 3).map(c => c / 255)
                    .map(c => c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4)
                    .reduce((sum, c, i) => sum + c * [0.2126, 0.7152, 0.0722][i], 0);
                let behind = element;
                while (parts(getComputedStyle(behind).backgroundColor)[3] === 0) behind = behind.parentElement;
                const both = [light(getComputedStyle(element).color), light(getComputedStyle(behind).backgroundColor)];
                return (Math.max(...both) + 0.05) / (Math.min(...both) + 0.05);
            }""",
            words.element_handle(),
        )
    )


def test_on_paper_there_are_the_pictures_and_no_buttons(page: Page, pages: Course) -> None:
    opened(page, pages, REGULATOR)
    panel = open_bench(page)
    page.emulate_media(media="print", color_scheme="dark")
    expect(panel.locator("svg.gp-chart")).to_be_visible()
    expect(page.get_by_role("button").filter(visible=True)).to_have_count(0)
    expect(page.locator(".gp-skip, header, .gp-status").filter(visible=True)).to_have_count(0)
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"


def test_a_lesson_that_fails_says_so_keeps_its_text_and_shows_no_traceback(page: Page, small: Course) -> None:
    lesson = opened(page, small, "01_broken.ipynb", state="failed")
    expect(told(page)).to_contain_text('A part of this lesson did not work, so the page is not complete. Press "Start')
    expect(lesson).to_have_text(re.compile(r"^\s*Broken\W*Words after it\.\s*$"))
    for secret in ("Traceback", "RuntimeError", "authors", "Voil"):
        assert secret not in page.locator("body").inner_text()
    screenshot(page, "read-failed")
    page.get_by_role("button", name="Start again").click()
    page.locator("[data-gp-state=preparing]").wait_for()
    page.locator("[data-gp-state=failed]").wait_for()


def test_without_a_kernel_the_text_is_there_with_a_sentence(page: Page, chromium_path: str, tmp_path: Path) -> None:
    assert chromium_path
    (tmp_path / "ipykernel_launcher.py").write_text("raise SystemExit(1)")
    lessons = small_lessons(tmp_path / "lessons")
    with running_pages(tmp_path / "home", lessons, PYTHONPATH=str(tmp_path)) as course:
        lesson = opened(page, course, START_LESSON, state="failed")
        expect(lesson).to_contain_text("Words.")
        expect(told(page)).to_contain_text("The bench could not start.")
        expect(page.get_by_role("button", name="Start again")).to_be_visible()


def test_a_kernel_that_falls_over_and_a_course_that_ends_are_told(page: Page, small: Course) -> None:
    cell = "import ipywidgets\nipywidgets.FloatSlider(description='Inlet')"
    (Path(small.data).parents[1] / "lessons" / START_LESSON).write_text(book(("code", cell)))
    opened(page, small, START_LESSON)
    for pid in children(small.pid):
        os.kill(pid, signal.SIGKILL)
    expect(told(page)).to_contain_text("The bench has stopped.")
    page.get_by_role("button", name="Start again").click()
    page.locator("[data-gp-state=ready]").wait_for()
    expect(page.get_by_role("slider", name="Inlet")).to_be_visible()
    os.kill(small.pid, signal.SIGTERM)
    expect(told(page)).to_contain_text('type "course read" again')
