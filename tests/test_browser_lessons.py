"""What an apprentice does, through a real browser: open a lesson, predict, move sliders, be graded, find the result."""

from __future__ import annotations

import io
import re

import matplotlib.image
import numpy as np
import pytest
from browser import Course, lesson, screenshot
from playwright.sync_api import Locator, Page, expect

from toolkit.course import LESSONS

pytestmark = pytest.mark.browser

SIZES = ((1280, 720), (1024, 768))


def pixels(picture: Locator) -> np.ndarray:
    """What a person sees of a picture; (height, width, 4) from 0 to 1."""
    return matplotlib.image.imread(io.BytesIO(picture.screenshot()), format="png")


def open_bench(page: Page, option: int = 2) -> Locator:
    """Predict and open the bench, by keyboard; the panel once its chart is drawn."""
    page.get_by_role("radio").nth(option).focus()
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


def settled(panel: Locator, before: str) -> str:
    """The sentence under the pictures once it differs from what it was."""
    sentence = panel.locator(".gp-sentence")
    expect(sentence).not_to_have_text(before)
    return sentence.inner_text()


@pytest.mark.parametrize("name", [one.file for one in LESSONS])
def test_a_lesson_opens_runs_and_fits_the_screen(page: Page, course: Course, name: str):
    lesson(page, course, name)
    assert page.locator(".jp-CodeCell .jp-InputArea-editor:visible").count() == 0, "code is in the learner's way"
    panel = open_bench(page)
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        panel.evaluate("e => e.scrollIntoView()")
        expect(panel.locator("svg.gp-chart")).to_be_visible()
        # nothing cut: no part of the panel is wider than the room it has
        cut = panel.evaluate(
            """e => [...e.querySelectorAll("*")].filter(c => {
                const box = c.getBoundingClientRect(), room = e.getBoundingClientRect();
                return box.width && !c.closest("svg") && (box.right > room.right + 1 || box.left < room.left - 1);
            }).map(c => c.className)"""
        )
        assert not cut
        # nothing overlapping: the controls' groups stand clear of each other
        boxes = panel.locator(".gp-group-box").evaluate_all(
            "es => es.map(e => { const b = e.getBoundingClientRect(); return [b.left, b.top, b.right, b.bottom]; })"
        )
        for i, a in enumerate(boxes):
            for b in boxes[i + 1 :]:
                assert a[2] <= b[0] + 1 or b[2] <= a[0] + 1 or a[3] <= b[1] + 1 or b[3] <= a[1] + 1
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth + 1")
        screenshot(page, name.removesuffix(".ipynb"), width, height)
    for control in panel.get_by_role("slider").all():
        assert control.get_attribute("aria-label"), "a slider without a name"


def test_debris_by_keyboard_and_by_mouse_moves_picture_and_words(page: Page, course: Course):
    lesson(page, course, "03_how_regulators_fail.ipynb")
    panel = open_bench(page)
    chart, drawing = panel.locator("svg.gp-chart"), panel.locator("svg:not(.gp-chart)").first
    said, before, drawn = panel.locator(".gp-sentence").inner_text(), pixels(chart), pixels(drawing)

    slider = panel.get_by_role("slider", name=re.compile("Debris on the seat"))
    slider.focus()
    source = chart.inner_html()
    for _ in range(4):
        page.keyboard.press("ArrowRight")
    settled(panel, said)
    assert chart.inner_html() != source
    panel.get_by_role("combobox", name="Debris is").select_option(label="hard: grit, weld slag")
    expect(panel.locator(".gp-sentence")).to_contain_text("The internal relief first opens")
    expect(drawing).to_contain_text("hard debris")
    assert np.abs(pixels(chart) - before).max() > 0.3, "the chart did not change before the eye"
    assert np.abs(pixels(drawing) - drawn).max() > 0.3, "the drawing did not change before the eye"

    # by mouse, to the left end: no debris, and the night is a healthy one again
    handle = slider.bounding_box()
    track = slider.locator("xpath=ancestor::*[contains(@class, 'noUi-target')]").bounding_box()
    assert handle
    assert track
    middle = handle["y"] + handle["height"] / 2
    page.mouse.move(handle["x"] + handle["width"] / 2, middle)
    page.mouse.down()
    page.mouse.move(track["x"] - 30, middle, steps=12)
    page.mouse.up()
    expect(panel.locator(".gp-sentence")).to_contain_text("The internal relief stays shut")
    expect(slider).to_have_attribute("aria-valuenow", re.compile(r"^0(\.0)?$"))


def test_spring_setting_moves_the_outlet_and_units_change(page: Page, course: Course):
    lesson(page, course, "02_the_regulator.ipynb")
    panel = open_bench(page)
    panel.get_by_role("slider", name=re.compile("Spring setting")).focus()
    for _ in range(6):
        page.keyboard.press("ArrowRight")
    # 7 in. w.c. and six steps of a half
    expect(panel.get_by_role("slider", name=re.compile("Spring setting"))).to_have_attribute(
        "aria-valuetext", re.compile("10")
    )
    expect(panel.locator(".gp-sentence")).to_contain_text("a healthy lock-up is 10.8 in. w.c.")
    numbers = panel.locator("input[type=number]")
    set_before = numbers.evaluate_all("boxes => boxes.map(box => box.value)")
    units = panel.get_by_role("combobox", name="Units")
    units.select_option(label="metric (mbar, bar, m³/h)")
    expect(panel.locator(".gp-sentence")).to_contain_text("mbar")
    assert "in. w.c." not in panel.locator(".gp-readouts").inner_text()
    # and back: the page's sliders clamp to each new range on their own, and what was set must outlive that
    units.select_option(label="US (in. w.c., psi, scfh)")
    expect(panel.locator(".gp-sentence")).to_contain_text("a healthy lock-up is 10.8 in. w.c.")
    assert numbers.evaluate_all("boxes => boxes.map(box => box.value)") == set_before


def test_a_graded_answer_is_found_again_after_a_reload(page: Page, course: Course):
    lesson(page, course, "04_the_internal_relief.ipynb")
    quiz = page.locator(".gp-quiz")
    quiz.scroll_into_view_if_needed()
    answer = quiz.get_by_label(re.compile("Your answer"))
    answer.fill("nonsense")
    quiz.get_by_role("button", name="Check my answer").click()
    expect(quiz).to_contain_text("nonsense")  # refused in words, not graded
    answer.fill("16 in. w.c.")
    quiz.get_by_role("button", name="Check my answer").focus()
    page.keyboard.press("Enter")
    expect(quiz.get_by_role("button", name="Next question")).to_be_enabled()
    screenshot(page, "quiz-feedback", 1024, 768)

    lesson(page, course, "00_start_here.ipynb")
    expect(page.locator(".gp-quiz")).to_contain_text("The internal relief")
    expect(page.locator(".gp-quiz")).to_contain_text(str(course.data))
    screenshot(page, "start-with-record", 1280, 720)
    page.reload()
    expect(page.locator(".gp-quiz")).to_contain_text("The internal relief")


# The bench's top edge, once it has stood still for twenty frames.
AT_REST = """() => new Promise(resolve => {
  const top = () => document.querySelector('.gp-panel').getBoundingClientRect().top;
  let last = top(), still = 0;
  const look = () => {
    still = Math.abs(top() - last) < 1 ? still + 1 : 0;
    last = top();
    still < 20 ? requestAnimationFrame(look) : resolve(last);
  };
  look();
})"""


def test_the_bench_stays_in_sight_when_the_page_is_made_fit_for_a_projector(page: Page, course: Course):
    page.set_viewport_size({"width": 1024, "height": 768})
    lesson(page, course, "03_how_regulators_fail.ipynb")
    panel = open_bench(page)
    switch = page.get_by_role("button", name="Projector view")
    for large in (True, False):
        switch.click()
        page.locator(".gp-panel.gp-projector" if large else ".gp-panel:not(.gp-projector)").wait_for()
        assert 0 <= page.evaluate(AT_REST) < 100
        screenshot(page, f"projector-{large}", 1024, 768)
    expect(panel).to_be_visible()
