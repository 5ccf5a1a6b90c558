"""A whole graded case in a real browser, at the keyboard alone; axe finds nothing serious on the way."""

from __future__ import annotations

import re
from functools import cache
from typing import Any

import pytest
from browser import Course, lesson, screenshot
from playwright.sync_api import Locator, Page, expect
from test_browser_access import named, serious
from test_browser_read import opened
from test_browser_read import pages as pages

from toolkit.course import VISIT
from toolkit.quiz.items import offer
from toolkit.quiz.trouble_case import LEVELS, draw_case
from toolkit.quiz.trouble_items import case_items
from toolkit.quiz.visit import MAKE_SAFE, VisitQuestion, advised_acts, choices, worded

pytestmark = pytest.mark.browser

SIZES = ((1280, 720), (1024, 768))
LEVEL, SEED = 2, 3


@cache
def questions() -> dict[str, Any]:
    """What the page asks, by the ends of the keys, in the order in which it is asked."""
    return {item.key[3:]: offer(item, SEED) for item in case_items(draw_case(SEED, LEVEL))}


def pressed(page: Page, button: Locator, key: str = "Enter") -> None:
    expect(button).to_be_visible()
    button.focus()
    page.keyboard.press(key)


def shots(page: Page, part: Locator, name: str) -> None:
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        part.evaluate("e => e.scrollIntoView()")
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth + 1")
        screenshot(page, name, width, height)


def open_case(page: Page) -> Locator:
    """Choose level and seed by keys and open the case; its questions."""
    chooser = page.locator(".gp-quiz").first
    level = chooser.get_by_role("combobox", name="Level")
    level.focus()
    for _ in range(LEVEL - 1):
        page.keyboard.press("ArrowDown")
    seed = chooser.get_by_label("Seed")
    seed.focus()
    page.keyboard.press("Control+A")
    page.keyboard.type(str(SEED))
    page.keyboard.press("Tab")
    pressed(page, chooser.get_by_role("button", name="Open this case"))
    quiz = page.locator(".gp-quiz", has_text=f"Question 1 of {len(questions())}")
    expect(quiz).to_be_visible()
    return page.locator(".gp-quiz").nth(1)


def go_on(page: Page, quiz: Locator) -> None:
    """The keyboard stands on the button that leads on once an answer is checked."""
    expect(quiz.get_by_role("button", name=re.compile("Next question|Show the summary"))).to_be_focused()
    page.keyboard.press("Enter")


def await_question(quiz: Locator, number: int) -> None:
    """Wait until a question is there and the keyboard has its place: at its head, or in the field for a number."""
    expect(quiz.locator("h3").first).to_have_text(f"Question {number} of {len(questions())}")
    expect(quiz.locator("input[type=text]" if number == 5 else ".gp-top")).to_be_focused()


def choose(page: Page, box: Locator, label: str) -> None:
    """Bring a drop-down to an option by keys alone."""
    wanted = box.evaluate("(e, label) => [...e.options].findIndex(o => o.value === label)", label)
    now = box.evaluate("e => e.selectedIndex")
    box.focus()
    for _ in range(abs(wanted - now)):
        page.keyboard.press("ArrowDown" if wanted > now else "ArrowUp")
    # an option's text has spaces that do not break, its value has the plain words
    expect(box).to_have_value(label)


def test_a_whole_case_at_the_keyboard_alone(page: Page, course: Course) -> None:
    asked = questions()
    lesson(page, course, VISIT.file)
    quiz = open_case(page)
    assert named(page.locator(".jp-Notebook")) == []
    assert serious(page) == []
    shots(page, page.locator(".gp-quiz").first, "visit-open")

    first = asked["first"]
    quiz.get_by_role("radio").nth(first.right).focus()
    page.keyboard.press("Space")
    pressed(page, quiz.get_by_role("button", name="Check my answer"))
    expect(quiz).to_contain_text("Right.")
    shots(page, quiz, "visit-first")
    go_on(page, quiz)

    await_question(quiz, 2)
    visit = asked["visit"]
    assert isinstance(visit, VisitQuestion)
    shots(page, quiz, "visit-checks")
    order = [act for group in choices(visit).values() for act in group]
    place = -1
    for number, act in enumerate(advised_acts(visit), 1):
        # Tab alone leads from check to check, and goes on from the one that was made.
        if place < 0:
            quiz.locator(".gp-top").focus()
        step = order.index(act) - place
        made = {order.index(one) for one in advised_acts(visit)[: number - 1] if one != MAKE_SAFE}
        between = [at for at in range(min(place, place + step) + 1, max(place, place + step)) if at not in made]
        for _ in range(len(between) + 1):
            page.keyboard.press("Tab" if step > 0 else "Shift+Tab")
        expect(quiz.get_by_role("button", name=worded(act), exact=True)).to_be_focused()
        page.keyboard.press("Enter")
        expect(quiz.locator("tbody tr")).to_have_count(number)
        place = order.index(act)
    shots(page, quiz, "visit-made")
    assert serious(page) == []
    pressed(page, quiz.get_by_role("button", name="I know enough: end the visit"))
    expect(quiz).to_contain_text("The advised visit takes")
    shots(page, quiz, "visit-visit")
    go_on(page, quiz)

    await_question(quiz, 3)
    cause = asked["cause"]
    wrong = (cause.suspects.index(cause.truth) + 1) % len(cause.suspects)
    for place, points in ((cause.suspects.index(cause.truth), 60), (wrong, 40)):
        box = quiz.locator("input[type=number]").nth(place)
        box.focus()
        page.keyboard.press("Control+A")
        page.keyboard.type(str(points))
        page.keyboard.press("Tab")
    expect(quiz).to_contain_text("all are given")
    pressed(page, quiz.get_by_role("button", name="Check my answer"))
    expect(quiz).to_contain_text("What would tell")
    expect(quiz.locator("svg.gp-chart")).to_be_visible()
    assert serious(page) == []
    shots(page, quiz, "visit-cause")
    quiz.locator("svg.gp-chart").evaluate("e => e.scrollIntoView()")
    screenshot(page, "visit-replay", 1280, 720)
    go_on(page, quiz)

    await_question(quiz, 4)
    shots(page, quiz, "visit-time")
    quiz.get_by_label("Your answer").focus()
    page.keyboard.type(f"{sum(asked['time'].window) / 2:.0f}")
    page.keyboard.press("Tab")
    pressed(page, quiz.get_by_role("button", name="Check my answer"))
    expect(quiz).to_contain_text("Right.")
    go_on(page, quiz)

    await_question(quiz, 5)
    quiz.get_by_label("Your answer").focus()
    page.keyboard.type("1 scfh")
    page.keyboard.press("Tab")
    pressed(page, quiz.get_by_role("button", name="Check my answer"))
    expect(quiz).to_contain_text("Not this time.")
    go_on(page, quiz)

    await_question(quiz, 6)
    quiz.get_by_role("radio").nth(asked["layer"].right).focus()
    page.keyboard.press("Space")
    shots(page, quiz, "visit-layer")
    pressed(page, quiz.get_by_role("button", name="Check my answer"))
    expect(quiz).to_contain_text("Right.")
    go_on(page, quiz)

    if "defeated" in asked:
        await_question(quiz, 7)
        quiz.get_by_role("radio").nth(asked["defeated"].right).focus()
        page.keyboard.press("Space")
        pressed(page, quiz.get_by_role("button", name="Check my answer"))
        expect(quiz).to_contain_text("Right.")
        go_on(page, quiz)

    await_question(quiz, len(asked))
    for place, entry in enumerate(asked["restore"].entries):
        choose(page, quiz.get_by_role("combobox").nth(place), entry)
    shots(page, quiz, "visit-restore")
    pressed(page, quiz.get_by_role("button", name="Check my answer"))
    expect(quiz).to_contain_text("Right.")
    go_on(page, quiz)

    expect(quiz).to_contain_text("Abnormal operating conditions")
    expect(quiz).to_contain_text("passed")
    shots(page, quiz, "visit-summary")
    stand = page.locator(".gp-quiz").last
    pressed(page, stand.get_by_role("button", name="Show how I stand"))
    expect(stand.locator("svg.gp-chart")).to_be_visible()
    assert serious(page) == []
    shots(page, stand, "visit-standing")


def test_an_unsafe_act_stops_the_case_on_the_page(page: Page, course: Course) -> None:
    lesson(page, course, VISIT.file)
    quiz = open_case(page)
    quiz.get_by_role("radio").first.focus()
    page.keyboard.press("Space")
    pressed(page, quiz.get_by_role("button", name="Check my answer"))
    go_on(page, quiz)
    await_question(quiz, 2)
    pressed(page, quiz.get_by_role("button", name="plug the vent (1 min)", exact=True))
    expect(quiz.get_by_role("alert")).to_contain_text("A vent is never plugged")
    shots(page, quiz.get_by_role("alert"), "visit-stop")
    assert serious(page) == []
    pressed(page, quiz.get_by_role("button", name="Show the summary"))
    expect(quiz).to_contain_text("not passed: an unsafe act")


def test_the_checks_are_legible_on_a_phone(page: Page, pages: Course) -> None:
    page.set_viewport_size({"width": 400, "height": 800})
    opened(page, pages, VISIT.file)
    quiz = open_case(page)
    quiz.get_by_role("radio").first.focus()
    page.keyboard.press("Space")
    pressed(page, quiz.get_by_role("button", name="Check my answer"))
    go_on(page, quiz)
    await_question(quiz, 2)
    pressed(page, quiz.get_by_role("button", name="look for frost"))
    made = quiz.get_by_role("button", name="look for frost")
    expect(made).to_be_disabled()
    expect(made).to_contain_text("frost on a regulator")
    for button in quiz.locator(".gp-checks button").all():
        assert button.evaluate("e => e.scrollWidth <= e.clientWidth && e.scrollHeight <= e.clientHeight")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    made.evaluate("e => e.scrollIntoView({block: 'center'})")
    screenshot(page, "visit-phone", 400, 800)


def test_on_a_projector_the_answer_waits_for_reveal(page: Page, course: Course) -> None:
    lesson(page, course, VISIT.file)
    switch = page.get_by_role("button", name="Projector view")
    pressed(page, switch, "Space")
    quiz = open_case(page)
    quiz.get_by_role("radio").first.focus()
    page.keyboard.press("Space")
    pressed(page, quiz.get_by_role("button", name="Check my answer"))
    feedback = quiz.locator(".gp-answered > .widget-html")
    expect(quiz.get_by_role("button", name="Reveal")).to_be_visible()
    expect(feedback).to_be_hidden()
    pressed(page, quiz.get_by_role("button", name="Reveal"))
    expect(feedback).to_be_visible()
    shots(page, quiz, "visit-projector")
    pressed(page, switch, "Space")


# How wide the words of each choice of a closed menu are, and the room they have there before its arrow [px].
WORDS_AND_ROOM = """e => {
  const pen = document.createElement('canvas').getContext('2d'), style = getComputedStyle(e)
  pen.font = style.font
  const room = e.clientWidth - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight)
  return [...e.options].map(o => [o.text, pen.measureText(o.text).width, room])
}"""


def answered(page: Page, quiz: Locator, field: Locator, text: str | None = None) -> None:
    """Answer the question in front by one field, whatever comes of it, and go on."""
    field.focus()
    page.keyboard.type(text) if text else page.keyboard.press("Space")
    page.keyboard.press("Tab")
    pressed(page, quiz.get_by_role("button", name="Check my answer"))
    go_on(page, quiz)


def test_long_names_are_read_whole_on_a_phone(page: Page, pages: Course) -> None:
    asked = questions()
    opened(page, pages, VISIT.file)
    chooser = page.locator(".gp-quiz").first
    for width in (1024, 400):
        page.set_viewport_size({"width": width, "height": 800})
        menus = chooser.get_by_role("combobox")
        expect(menus).to_have_count(3)
        rows = [row for menu in menus.all() for row in menu.evaluate(WORDS_AND_ROOM)]
        assert [text for text, wide, room in rows if wide > room] == []
    quiz = open_case(page)
    expect(chooser).to_contain_text(f"Level {LEVEL}: {LEVELS[LEVEL]}. Station: any station. Seed: {SEED}.")
    screenshot(page, "visit-phone-open", 400, 800)
    answered(page, quiz, quiz.get_by_role("radio").first)
    await_question(quiz, 2)
    pressed(page, quiz.get_by_role("button", name="look for frost"))
    expect(quiz.locator("tbody tr")).to_have_count(1)
    pressed(page, quiz.get_by_role("button", name="I know enough: end the visit"))
    go_on(page, quiz)
    await_question(quiz, 3)
    box = quiz.locator("input[type=number]").first
    box.focus()
    page.keyboard.press("Control+A")
    page.keyboard.type("100")
    page.keyboard.press("Tab")
    expect(quiz).to_contain_text("all are given")
    pressed(page, quiz.get_by_role("button", name="Check my answer"))
    go_on(page, quiz)
    await_question(quiz, 4)
    answered(page, quiz, quiz.get_by_label("Your answer"), "10")
    unit = {"standard_flow": "scfh", "gauge_pressure": "psi"}[asked["number"].kind]
    await_question(quiz, 5)
    answered(page, quiz, quiz.get_by_label("Your answer"), f"1 {unit}")
    for number in range(6, len(asked)):  # the layers: which acted, and where it is asked which would not
        await_question(quiz, number)
        answered(page, quiz, quiz.get_by_role("radio").first)
    await_question(quiz, len(asked))
    steps = asked["restore"].entries
    for place, entry in enumerate(steps):
        choose(page, quiz.get_by_role("combobox").nth(place), entry)
    whole = quiz.locator(".gp-in-full td")
    expect(whole).to_have_text(list(steps))
    assert whole.evaluate_all("es => es.every(e => e.scrollWidth <= e.clientWidth)")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    whole.first.evaluate("e => e.scrollIntoView({block: 'center'})")
    screenshot(page, "visit-phone-restore", 400, 800)
    assert serious(page) == []
    # a wide page shows them in the menus, and not a second time
    page.set_viewport_size({"width": 1024, "height": 768})
    expect(whole.first).to_be_hidden()
    menu = quiz.get_by_role("combobox").first.evaluate(WORDS_AND_ROOM)
    assert [text for text, wide, room in menu if wide > room] == []
