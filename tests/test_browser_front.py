"""The front door through a real browser, with two small lessons of its own."""

from __future__ import annotations

import json
import os
import re
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser import Course, await_lesson, children, lesson, running_course, screenshot
from playwright.sync_api import Page, Route, expect

from toolkit.front.launch import START_LESSON

pytestmark = pytest.mark.browser

NEXT_LESSON = "01_next.ipynb"
CHAIN = ("02_two.ipynb", "03_three.ipynb", "04_four.ipynb")
PANEL = """
import ipywidgets
inlet = ipywidgets.FloatSlider(description="Inlet pressure, psig", value=60, max=100, step=1)
unnamed = ipywidgets.FloatSlider(value=7, min=5, max=14, step=0.5)
box = ipywidgets.BoundedFloatText(value=7, min=5, max=14)
unit = ipywidgets.HTML("<span class='gp-unit'>in. w.c.</span>")
control = ipywidgets.HBox([ipywidgets.Label("Spring (set point)"), unnamed, box, unit])
control.add_class("gp-control")
fault = ipywidgets.Dropdown(options=["none", "debris"], tooltip="Fault")
told = ipywidgets.HTML()
def tell(*_):
    told.value = f"<p>The kernel has {inlet.value:.0f} psig.</p>"
inlet.observe(tell, "value")
tell()
ipywidgets.VBox([inlet, control, fault, told])
"""
WORDS = "The spring pushes the disk open, the outlet pressure pushes it shut. " * 6
START = [
    ("markdown", f"# Start here\n\n15 minutes. {WORDS}\n\n[Next lesson]({NEXT_LESSON})\n\n[The chain]({CHAIN[0]})"),
    ("code", "answer = 6 * 7"),
    ("code", PANEL),
    ("markdown", f"## What happened\n\n{WORDS * 4}"),
]
BROKEN = [
    ("markdown", f"# Next\n\n[Previous lesson]({START_LESSON})"),
    ("code", "raise RuntimeError('seen by authors only')"),
    ("code", "print('never printed')"),
]


def notebook(number: str, cells: list[tuple[str, str]]) -> str:
    code_only = {"outputs": [], "execution_count": None}
    return json.dumps(
        {
            "cells": [
                {"cell_type": kind, "id": f"cell-{place}", "metadata": {}, "source": source}
                | (code_only if kind == "code" else {})
                for place, (kind, source) in enumerate(cells)
            ],
            "metadata": {
                "guarded_pressure": {"lesson": number},
                "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
                "language_info": {"name": "python"},
            },
            "nbformat": 4,
            "nbformat_minor": 5,
        }
    )


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    lessons = tmp_path_factory.mktemp("lessons")
    (lessons / START_LESSON).write_text(notebook("00", START))
    (lessons / NEXT_LESSON).write_text(notebook("01", BROKEN))
    for place, name in enumerate(CHAIN):
        onward = CHAIN[(place + 1) % len(CHAIN)]
        cells = [("markdown", f"# {name}\n\n[Onward]({onward})"), ("code", "print('done')")]
        (lessons / name).write_text(notebook(name[:2], cells))
    return lessons


@pytest.fixture(scope="module")
def front(
    chromium_path: str,  # noqa: ARG001  (without a browser there is no need for a server)
    tmp_path_factory: pytest.TempPathFactory,
    folder: Path,
) -> Iterator[Course]:
    with running_course(tmp_path_factory.mktemp("front"), lessons=folder) as running:
        yield running


def contents(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() if path.is_file() else b"" for path in folder.rglob("*")}


def test_the_printed_address_opens_the_start_lesson_with_all_of_it_done(front: Course, page: Page) -> None:
    page.goto(front.start)
    await_lesson(page)
    expect(page.get_by_role("heading", name="Start here")).to_be_visible()
    expect(page.get_by_text("The kernel has 60 psig.")).to_be_visible()
    assert page.url.endswith(START_LESSON)
    expect(page.locator(".jp-Dialog, .Toastify__toast")).to_have_count(0)
    expect(page.locator(".gp-status")).to_be_hidden()
    expect(
        page.locator("#jp-left-stack, #jp-right-stack, .jp-Launcher, #jp-main-statusbar").filter(visible=True)
    ).to_have_count(0)
    for width, height in ((1280, 720), (1024, 768)):
        screenshot(page, "front-start", width, height)
        wide = page.evaluate("[...document.querySelectorAll('.jp-Cell')].map(e => e.scrollWidth - e.clientWidth)")
        assert max(wide) <= 0, "a cell is cut at its right edge"


def test_code_is_out_of_sight_until_asked_for(front: Course, page: Page) -> None:
    lesson(page, front, START_LESSON)
    code = page.locator(".jp-CodeCell .jp-InputArea-editor").filter(visible=True)
    marks = page.locator(":is(.jp-InputPrompt, .jp-OutputPrompt, .jp-Collapser, .jp-NotebookPanel-toolbar)")
    expect(code).to_have_count(0)
    expect(marks.filter(visible=True)).to_have_count(0)
    toggle(page)
    expect(code).to_have_count(2)
    screenshot(page, "front-code")
    toggle(page)
    expect(code).to_have_count(0)


def toggle(page: Page) -> None:
    page.get_by_role("menuitem", name="View", exact=True).click()
    page.locator(".lm-Menu").get_by_text("Show or hide the code").click()


def test_a_slider_is_named_and_moved_by_the_keyboard(front: Course, page: Page) -> None:
    lesson(page, front, START_LESSON)
    handle = page.get_by_role("slider", name="Inlet pressure, psig", exact=True)
    page.locator(".jp-Notebook").get_by_role("link", name="Next lesson").focus()
    for _ in range(20):
        page.keyboard.press("Tab")
        if handle.evaluate("handle => handle === document.activeElement"):
            break
    expect(handle).to_be_focused()
    page.keyboard.press("ArrowRight")
    expect(page.get_by_text("The kernel has 61 psig.")).to_be_visible()
    expect(handle).to_have_attribute("aria-valuetext", re.compile(r"^61(\.0+)? psig$"))


def test_controls_without_a_label_get_the_name_of_their_row_or_tooltip(front: Course, page: Page) -> None:
    lesson(page, front, START_LESSON)
    slider = page.get_by_role("slider", name="Spring (set point)", exact=True)
    expect(slider).to_have_attribute("aria-valuetext", re.compile(r"^7(\.0+)? in\. w\.c\.$"))
    expect(page.get_by_role("spinbutton", name="Spring (set point)", exact=True)).to_be_visible()
    expect(page.get_by_role("combobox", name="Fault", exact=True)).to_be_visible()


def test_the_lesson_on_disk_stays_as_it_was_and_nothing_is_asked(front: Course, page: Page, folder: Path) -> None:
    before = contents(folder)
    asked: list[str] = []
    page.on("dialog", lambda dialog: (asked.append(dialog.type), dialog.accept()))
    lesson(page, front, START_LESSON)
    cells = page.locator(".jp-Cell")
    count = cells.count()
    words = page.get_by_text("15 minutes.").filter(visible=True)
    words.dblclick()
    for key in ("d", "d", "x", "a", "m", "Enter"):  # would cut, insert, retype and open cells
        page.keyboard.press(key)
    expect(page.locator(".jp-MarkdownCell .jp-InputArea-editor").filter(visible=True)).to_have_count(0)
    assert cells.count() == count
    page.keyboard.press("Control+s")
    expect(page.locator(".jp-Dialog")).to_have_count(0)
    page.reload()  # a changed document would make the browser ask
    await_lesson(page)
    assert asked == []
    assert contents(folder) == before


@pytest.mark.parametrize(
    ("method", "path"),
    [("PUT", f"/api/contents/{START_LESSON}"), ("DELETE", f"/api/contents/{START_LESSON}"), ("POST", "/api/contents")],
)
def test_the_server_refuses_to_change_a_lesson(front: Course, page: Page, folder: Path, method: str, path: str) -> None:
    before = contents(folder)
    body = {"type": "notebook", "format": "json", "content": json.loads(notebook("00", []))}
    answer = page.request.fetch(
        front.root + path, method=method, data=body, headers={"Authorization": f"token {front.token}"}
    )
    assert answer.status == 403
    assert "read only" in answer.json()["message"]
    assert contents(folder) == before


def test_the_link_to_the_next_lesson_opens_it_in_the_same_window(front: Course, page: Page) -> None:
    lesson(page, front, START_LESSON)
    page.get_by_role("link", name="Next lesson").click()
    expect(page.get_by_role("heading", name="Next")).to_be_visible()
    assert page.url.endswith(NEXT_LESSON)
    assert page.context.pages == [page]
    page.get_by_role("link", name="Previous lesson").click()
    await_lesson(page)
    expect(page.get_by_role("heading", name="Start here")).to_be_visible()


def test_a_lesson_that_fails_says_what_to_do_and_shows_no_traceback(front: Course, page: Page) -> None:
    page.goto(front.address(NEXT_LESSON))
    page.locator("[data-gp-state=failed]").wait_for()
    expect(page.get_by_role("status").filter(visible=True)).to_contain_text('Press "Start again"')
    expect(page.get_by_text("seen by authors only").filter(visible=True)).to_have_count(0)
    expect(page.get_by_text("never printed").filter(visible=True)).to_have_count(0)
    screenshot(page, "front-failed")
    page.get_by_role("button", name="Start again").click()
    page.locator("[data-gp-state=preparing]").wait_for()
    page.locator("[data-gp-state=failed]").wait_for()


def test_a_kernel_that_falls_over_is_replaced_and_the_lesson_runs_again(front: Course, page: Page) -> None:
    lesson(page, front, START_LESSON)
    handle = page.get_by_role("slider", name="Inlet pressure, psig")
    handle.focus()
    page.keyboard.press("ArrowRight")
    expect(page.get_by_text("The kernel has 61 psig.")).to_be_visible()
    for pid in children(front.pid):
        os.kill(pid, signal.SIGKILL)
    expect(page.get_by_text("The kernel has 60 psig.")).to_be_visible()
    page.locator("[data-gp-state=ready]").wait_for()


@pytest.mark.parametrize("choice", ["No Kernel", "Select Kernel"])
def test_a_kernel_that_does_not_start_is_told_in_plain_words_and_can_be_started_later(
    front: Course, page: Page, script_errors: list[str], choice: str
) -> None:
    def no_kernel(route: Route) -> None:
        if route.request.method == "POST":
            route.fulfill(status=500, json={"message": "no kernel today", "traceback": ""})
        else:
            route.fallback()

    for session in front.ask("/api/sessions"):
        front.ask(f"/api/sessions/{session['id']}", "DELETE")
    page.route("**/api/sessions?*", no_kernel)
    page.goto(front.address(START_LESSON))
    page.locator(".jp-Dialog").get_by_role("button", name="Ok").click()
    expect(page.get_by_role("status").filter(visible=True)).to_contain_text("The bench could not start.")
    script_errors.clear()  # the controls' own script stumbles where there is no kernel
    page.unroute("**/api/sessions?*")
    page.locator(".jp-Dialog").get_by_role("button", name=choice).click()
    if choice == "No Kernel":
        page.get_by_role("button", name="Start again").click()
    page.locator("[data-gp-state=ready]").wait_for()
    await_lesson(page)
    expect(page.get_by_text("The kernel has 60 psig.")).to_be_visible()


def test_lessons_left_behind_are_closed_with_their_kernels(front: Course, page: Page) -> None:
    lesson(page, front, START_LESSON)
    page.get_by_role("link", name="The chain").click()
    for name in CHAIN:
        expect(page.get_by_role("heading", name=name)).to_be_visible()
        await_lesson(page)
        if name != CHAIN[-1]:
            page.get_by_role("link", name="Onward").filter(visible=True).click()
    page.wait_for_function("async () => (await (await fetch('/api/sessions')).json()).length === 3")
    assert {session["path"] for session in front.ask("/api/sessions")} == set(CHAIN)
    expect(page.locator(".jp-Dialog")).to_have_count(0)
