"""Accessibility and time in a real browser: axe on every lesson, a lesson by keyboard alone, play, compare, projector.

axe-core's rules are those of WCAG 2 as its makers read them; it finds some of what can be wrong, not all.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from browser import Course, lesson, running_course, screenshot
from playwright.sync_api import Locator, Page, expect
from test_browser_lessons import open_bench

from toolkit.course import LESSONS, START

pytestmark = pytest.mark.browser

# What we made: the lesson itself, not JupyterLab's frame around it.
OURS = [".jp-Notebook"]
NOT_OURS = {"aria-required-children"}  # JupyterLab calls its cells a feed, whose children must be articles


def serious(page: Page, ours: list[str] = OURS) -> list[str]:
    """What axe calls serious or critical in what we made: the rule, and the first places."""
    found = Axe().run(page, context={"include": [ours]}).response["violations"]
    return [
        f"{one['id']}: {one['help']}: {[node['html'][:160] for node in one['nodes'][:3]]}"
        for one in found
        if one["impact"] in ("serious", "critical") and one["id"] not in NOT_OURS
    ]


@pytest.mark.parametrize("name", [START.file, *(one.file for one in LESSONS)])
def test_axe_finds_nothing_serious(page: Page, course: Course, name: str) -> None:
    lesson(page, course, name)
    assert serious(page) == []
    if name != START.file:
        panel = open_bench(page, 1)
        panel.get_by_role("button", name="Keep this setting").click()
        page.get_by_role("button", name="Was I right?").click()
        expect(page.locator(".gp-predict .gp-sentence")).not_to_be_empty()
        assert serious(page) == []


def test_the_dark_theme_is_legible(page: Page, tmp_path: Path) -> None:
    theme = tmp_path / "config/guarded-pressure/lab/@jupyterlab/apputils-extension/themes.jupyterlab-settings"
    theme.parent.mkdir(parents=True)
    theme.write_text(json.dumps({"theme": "JupyterLab Dark"}), encoding="utf-8")
    with running_course(tmp_path) as course:
        for name in (START.file, "08_the_slam_shut.ipynb"):
            lesson(page, course, name)
            assert page.evaluate("document.body.dataset.jpThemeLight") == "false"
            assert serious(page) == []
        panel = open_bench(page, 1)
        assert serious(page) == []
        screenshot(page, "dark", 1280, 720)
        # the card keeps its own light ground, on which the drawings and charts are made
        assert panel.evaluate("e => getComputedStyle(e).backgroundColor") == "rgb(255, 255, 255)"


def named(panel: Locator) -> list[dict[str, Any]]:
    """Every control of a panel that has no name a screen reader could speak."""
    controls = panel.locator("button:visible, select:visible, input:visible, [role=slider]:visible").all()
    return [control.evaluate("e => e.outerHTML.slice(0, 200)") for control in controls if not _name(control)]


def _name(control: Locator) -> str:
    said: str = control.evaluate(
        """e => e.getAttribute("aria-label") || [...(e.labels || [])].map(l => l.textContent).join(" ")
            || e.textContent || e.title || "" """
    )
    return said.strip()


@pytest.mark.parametrize("name", [one.file for one in LESSONS])
def test_every_control_of_a_bench_has_a_name(page: Page, course: Course, name: str) -> None:
    lesson(page, course, name)
    assert named(open_bench(page, 0)) == []


def readout(panel: Locator, name: str) -> str:
    return number(panel, name).inner_text()


def number(panel: Locator, name: str) -> Locator:
    return panel.locator(".gp-readout", has_text=name).locator("b")


def test_a_run_plays_in_time_by_keyboard(page: Page, course: Course) -> None:
    lesson(page, course, "05_the_monitor.ipynb")
    panel = open_bench(page, 1)
    box = panel.locator(".gp-player input[type=number]")
    box.fill("20")
    box.press("Enter")
    expect(panel.locator(".gp-readout", has_text="outlet now")).to_contain_text("7.1")
    panel.get_by_role("combobox", name="Speed of playing").select_option(label="60 x")
    play = panel.get_by_role("button", name="Play")
    play.focus()
    page.keyboard.press("Space")
    # gauges and drawing go with it: at 2 min the worker has failed, and the monitor holds
    expect(panel.locator(".gp-readout", has_text="outlet now")).to_contain_text("11.1")
    expect(panel.get_by_role("img", name=re.compile("worker: wide open"))).to_be_visible()
    panel.get_by_role("button", name="Pause").focus()
    page.keyboard.press("Space")
    expect(panel.get_by_role("button", name="Play")).to_be_visible()
    stopped = box.input_value()
    panel.get_by_role("slider", name=re.compile("Moment")).focus()
    page.keyboard.press("ArrowLeft")
    expect(box).not_to_have_value(stopped)


def test_with_and_without_the_layer_stand_beside_each_other(page: Page, course: Course) -> None:
    lesson(page, course, "05_the_monitor.ipynb")
    panel = open_bench(page, 1)
    panel.get_by_role("combobox", name="Compare with").select_option(label="the same without the monitor")
    expect(panel.locator("figcaption")).to_have_text(["As set", "Without the monitor"])
    expect(number(panel, "highest outlet")).to_contain_text(" | ")  # the captions may come a message before it
    with_it, without = readout(panel, "highest outlet").split(" | ")
    assert "in. w.c." in with_it
    assert "psig" in without
    screenshot(page, "compare", 1280, 720)


def test_the_projector_view_is_one_switch_for_the_whole_page(page: Page, course: Course) -> None:
    lesson(page, course, "05_the_monitor.ipynb")
    panel = open_bench(page, 1)
    text = page.locator(".jp-MarkdownOutput p").first

    def size_of(what: Locator) -> float:
        return float(what.evaluate("e => parseFloat(getComputedStyle(e).fontSize)"))

    before = size_of(text)
    page.set_viewport_size({"width": 1920, "height": 1080})
    switch = page.get_by_role("button", name="Projector view")
    switch.focus()
    page.keyboard.press("Space")
    expect(panel.locator(".gp-bank")).to_be_hidden()
    expect(panel.locator(".gp-sentence")).to_be_hidden()
    assert size_of(text) > 1.5 * before
    panel.get_by_role("button", name="Reveal").click()
    expect(panel.locator(".gp-sentence")).to_be_visible()
    panel.get_by_role("button", name="Controls").click()
    expect(panel.locator(".gp-bank")).to_be_visible()
    screenshot(page, "projector", 1920, 1080)
    # the next lesson opens the same way, and the switch goes back
    lesson(page, course, "02_the_regulator.ipynb")
    assert size_of(page.locator(".jp-MarkdownOutput p").first) > 1.5 * before
    page.get_by_role("button", name="Projector view").click()
    expect(page.locator(".gp-on-projector")).to_have_count(0)


def test_the_map_opens_a_lesson_in_this_window_and_its_questions_wait(page: Page, course: Course) -> None:
    lesson(page, course, START.file)
    page.locator(".gp-map tbody a", has_text="02 The regulator").click()
    quiz = page.locator(".jp-NotebookPanel:not(.lm-mod-hidden) .gp-quiz")
    expect(quiz).to_contain_text("Question 1 of")
    assert len(page.context.pages) == 1
    quiz.get_by_label(re.compile("Your answer")).fill("7 in wc")
    quiz.get_by_role("button", name="Check my answer").click()
    expect(quiz.get_by_role("button", name="Next question")).to_be_visible()
    lesson(page, course, START.file)
    expect(page.locator(".gp-map")).to_contain_text("You left this lesson at question 2")
    lesson(page, course, "02_the_regulator.ipynb")
    expect(page.locator(".gp-quiz")).to_contain_text("Question 2 of")


def test_an_answer_is_chosen_with_the_arrow_keys_in_one_group(page: Page, course: Course) -> None:
    lesson(page, course, "05_the_monitor.ipynb")
    group = page.get_by_role("radiogroup", name=re.compile("Two regulators stand in a row"))
    radios = group.get_by_role("radio")
    radios.first.focus()
    page.keyboard.press("ArrowDown")
    expect(radios.nth(1)).to_be_checked()
    page.keyboard.press("ArrowDown")
    expect(radios.nth(2)).to_be_checked()
    expect(radios.nth(1)).not_to_be_checked()
    opens = page.get_by_role("button", name="Open the bench")
    expect(opens).to_be_enabled()  # by the kernel, once an answer is chosen: the Tab key passes what is disabled
    page.keyboard.press("Tab")
    expect(opens).to_be_focused()


def test_on_a_projector_the_answer_to_a_question_waits(page: Page, course: Course) -> None:
    lesson(page, course, "02_the_regulator.ipynb")
    page.get_by_role("button", name="Projector view").click()
    quiz = page.locator(".gp-quiz")
    quiz.get_by_label(re.compile("Your answer")).fill("7 in wc")
    quiz.get_by_role("button", name="Check my answer").click()
    reveal, feedback = quiz.get_by_role("button", name="Reveal"), quiz.locator(".gp-answered > .widget-html")
    expect(reveal).to_be_visible()
    expect(feedback).to_be_hidden()
    reveal.click()
    expect(feedback).to_be_visible()
    expect(reveal).to_be_hidden()
    # at the desk it never waits
    page.get_by_role("button", name="Projector view").click()
    before = quiz.locator("h3").inner_text()
    quiz.get_by_role("button", name="Next question").click()
    expect(quiz.locator("h3")).not_to_have_text(before)


# What the Tab key may pass before it comes to the end of a lesson.
STOPS = 120


def tab_to(page: Page, words: str) -> None:
    """Press Tab until the keyboard stands on the control of that name."""
    for _ in range(STOPS):
        page.keyboard.press("Tab")
        name: str = page.evaluate(
            """() => { const e = document.activeElement;
                return e.getAttribute("aria-label") || [...(e.labels || [])].map(l => l.textContent).join(" ")
                    || e.textContent || ""; }"""
        )
        if re.search(words, name):
            return
    raise AssertionError(f"the Tab key does not come to {words!r}")


def test_a_whole_lesson_by_keyboard_alone(page: Page, course: Course) -> None:
    lesson(page, course, "05_the_monitor.ipynb")
    page.locator(".jp-Notebook").focus()
    tab_to(page, "It stays at 7|Two regulators stand")
    page.keyboard.press("ArrowDown")
    expect(page.get_by_role("button", name="Open the bench")).to_be_enabled()
    tab_to(page, "^Open the bench$")
    page.keyboard.press("Enter")
    panel = page.locator(".gp-panel")
    expect(panel.locator("svg.gp-chart")).to_be_visible()
    # the keyboard goes on at the button that has come in the other's place
    expect(page.get_by_role("button", name="Was I right?")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator(".gp-predict .gp-sentence")).to_contain_text("Right.")
    gauges = panel.locator(".gp-readouts")
    for control, key in (
        ("^Play", "Space"),
        ("^Pause", "Space"),
        ("Moment shown", "ArrowLeft"),
        ("Inlet pressure", "ArrowRight"),
        ("Monitor set above", "ArrowRight"),
        ("from 1 min on", "ArrowDown"),
        ("Compare with", "ArrowDown"),
    ):
        before = gauges.inner_text()
        tab_to(page, control)
        page.keyboard.press(key)
        if control not in ("^Play", "^Pause"):
            expect(gauges).not_to_have_text(before)
    tab_to(page, "Your answer")
    page.keyboard.type("10 in wc")
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="Next question")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator(".gp-quiz h3")).to_contain_text("Question 2 of")
    tab_to(page, "06 The integral device")
