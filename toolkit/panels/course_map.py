"""The map of the course on the start page: every lesson with its minutes, how the learner stands, and what is due."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import ipywidgets

from toolkit.classroom.record import Record, Recorded
from toolkit.classroom.review import Day, Standing, case_standing, go_on, standing
from toolkit.classroom.room import told_here
from toolkit.course import LESSONS, LOOK_UP, VISIT, Lesson, lesson
from toolkit.errors import CourseError
from toolkit.panels.page_style import STYLE
from toolkit.quiz.cases import items_of
from toolkit.quiz.trouble_items import IN_EVERY_CASE

AT_HAND = (
    f"<p class='gp-sentence'><b>A fault at hand?</b> <a class='gp-lesson-link' href='{LOOK_UP}'>Look it up</a>: "
    "what was met and two or three readings in, suspects and the next check out.</p>"
)
# All that a learner can stand in: the lessons, and after them the cases to find out.
MAPPED = (*LESSONS, VISIT)
# How each lesson stands, in a mark and a word: never by colour alone.
MASTERED, BEGUN, NEW = ("\u25cf", "mastered"), ("\u25d0", "begun"), ("\u25cb", "not begun")
WHY = {
    "begun": "You left this lesson at question {question} of {items}: its questions wait there.",
    "due": "It is due for review: answer its questions once more, in new numbers.",
    "case due": "It is due for review: work one more case.",
    "next": "It is the next one in the course.",
}
ALL_DONE = "All lessons are mastered, and nothing is due today."


def course_map(record: Record | None = None) -> ipywidgets.VBox:
    """The map as a widget, from the learner's record; without one it still lists the lessons."""
    kept = record or Record()
    try:
        learner = kept.learner()
        mine = tuple(one for one in kept.attempts() if one.attempt.learner == learner)
        today, said = kept.today(), ""
    except CourseError as error:
        mine, today, said = (), Day.min, f"<p class='gp-sentence' role='alert'>{escape(told_here(error))}</p>"
    standings = standings_of(mine)
    html = said + advice_html(go_on(mine, standings, today), standings) + map_html(standings, today) + AT_HAND
    box = ipywidgets.VBox([ipywidgets.HTML(STYLE), ipywidgets.HTML(html)])
    box.add_class("gp-panel")
    box.add_class("gp-map")
    return box


def standings_of(mine: Sequence[Recorded]) -> dict[str, Standing]:
    """How one learner's answers stand in each lesson, in the order in which they are taken; the visit goes by cases."""
    keys = {one.number: tuple(item.key for item in items_of(one.number)) for one in LESSONS}
    lessons = {number: standing(mine, number, items) for number, items in keys.items()}
    return lessons | {VISIT.number: case_standing(mine, VISIT.number, IN_EVERY_CASE)}


def advice_html(advice: tuple[str, str], standings: dict[str, Standing]) -> str:
    """Where to go on, as a paragraph with one link."""
    number, why = advice
    if not number:
        return f"<p class='gp-sentence'><b>{ALL_DONE}</b></p>"
    stand = standings[number]
    words = WHY["case due" if (number, why) == (VISIT.number, "due") else why].format(
        question=stand.asked + 1, items=stand.items
    )
    return f"<p class='gp-sentence'><b>Go on with {_link(lesson(number))}.</b> {words}</p>"


def map_html(standings: dict[str, Standing], today: Day) -> str:
    """All lessons as a table: what each is about, its minutes, the standing in words with a bar, the next review."""
    rows = "".join(_row(one, standings[one.number], today) for one in MAPPED)
    heads = "".join(f"<th scope='col'>{head}</th>" for head in ("Lesson", "Minutes", "You stand", "Review"))
    total = sum(one.minutes for one in MAPPED)
    return (
        f"<table aria-label='The lessons'><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody>"
        f"<tfoot><tr><th scope='row'>All lessons</th><td>{total}</td>"
        f"<td>{sum(one.mastered for one in standings.values())} of {len(MAPPED)} mastered</td>"
        f"<td>{sum(one.is_due(today) for one in standings.values())} due</td></tr></tfoot></table>"
    )


def review_words(stand: Standing, today: Day) -> str:
    """When the next review is due."""
    if stand.due is None:
        return "-"
    days = (stand.due - today).days
    if days > 0:
        return "tomorrow" if days == 1 else f"in {days} days"
    return "due today" if days == 0 else f"due since {stand.due.isoformat()}"


def _row(one: Lesson, stand: Standing, today: Day) -> str:
    mark, word = MASTERED if stand.mastered else BEGUN if stand.tried else NEW
    of = "last case: " if one == VISIT else ""
    told = f"{mark} {word}" + (f", {of}{stand.tried} of {stand.items} asked, {stand.share:.0%}" if stand.tried else "")
    bar = f"<span class='gp-bar'><span style='width:{stand.share:.0%}'></span></span>"
    return (
        f"<tr><th scope='row'>{_link(one)}<br/><span class='gp-about'>{escape(one.about)}</span></th>"
        f"<td>{one.minutes}</td><td>{told}<br/>{bar}</td><td>{review_words(stand, today)}</td></tr>"
    )


def _link(one: Lesson) -> str:
    return f"<a class='gp-lesson-link' href='{escape(one.file)}'>{escape(one.name)}</a>"
