"""The item analysis of a class as a sheet, and the answers as a table for a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

from toolkit.classroom.gather_results import Result, marks
from toolkit.classroom.session import Session
from toolkit.classroom.sheets import Page, cell, facts, lesson_title, session_title, shown, table
from toolkit.classroom.spreadsheet import harmless, rounded
from toolkit.classroom.statistics import (
    CONFIDENCE,
    FEW,
    RIGHT,
    TELLS_NOTHING,
    TOO_EASY,
    TOO_HARD,
    Interval,
    ItemFigures,
    Mark,
    Reliability,
    item_figures,
    reliability,
)
from toolkit.quiz.cases import ITEMS

_OBJECTIVES = {item.key: item.objective for item in ITEMS}
COLUMNS = (
    *("number", "name", "lesson", "item", "objective", "section", "seed", "score", "maximum", "share", "right"),
    *("answers", "last_share", "time_utc", "seconds", "course_version", "item_hash"),
)


def item_analysis(results: Sequence[Result], session: Session | None) -> Page:
    """How each question did, with n and intervals; flags, and nothing taken out."""
    by_item, by_hash = marks(results, exact=False), marks(results, exact=True)
    exact = item_figures(by_hash)
    shared = [one for one in exact if one.n > 1]
    alone = len(exact) - len(shared)
    told = (
        f"An answer counts as right from {RIGHT:.0%} of its marks on. Difficulty is the share of people who were "
        "right: the higher, the easier. The point-biserial correlation tells whether those who were right here were "
        "right elsewhere too; the corrected one leaves the question itself out of elsewhere. In brackets stands "
        f"where the true figure would lie in {CONFIDENCE:.0%} of such classes (Wilson for shares, Fisher for "
        "correlations, the latter only near for right and wrong). With few people the brackets are wide, and the "
        "figure says little."
    )
    flags = (
        f"Flagged are only a difficulty below {TOO_HARD:g} or above {TOO_EASY:g}, and a corrected correlation whose "
        f"bracket ends below {TELLS_NOTHING:g}. A flag is a reason to read the question, never to change a mark: "
        "nothing is taken out."
    )
    parts = [
        "<div class='sheet'><h1>Item analysis</h1>",
        facts([("Session", shown(session_title(session))), ("People", str(len(results)))]),
        f"<p>{told}</p><p>{flags}</p>",
        "<h2>How far the questions hang together: KR-20</h2>" + _reliabilities(results, by_item, session),
        "<h2>Each question, in whatever numbers</h2>" + _figures(item_figures(by_item)),
        "<h2>Each question in the same numbers</h2>"
        "<p>Told apart by item hash, pooled over all classes whose files lie in the folder.</p>"
        + (_figures(shared) if shared else "")
        + (f"<p>{alone} were answered by one person only and are not listed.</p>" if alone else ""),
        "</div>",
    ]
    return Page("item_analysis", "Item analysis", "\n".join(parts), f"item analysis, {session_title(session)[:60]}")


def _reliabilities(results: Sequence[Result], by_item: Sequence[Mark], session: Session | None) -> str:
    lessons: dict[str, list[str]] = {}
    for one in results:
        for counted in one.counted:
            keys = lessons.setdefault(counted.first.attempt.lesson, [])
            if counted.first.attempt.item_key not in keys:
                keys.append(counted.first.attempt.item_key)
    blocks = [(lesson_title(lesson), keys) for lesson, keys in sorted(lessons.items())]
    if session is not None and len(session.lessons) > 1:
        blocks.insert(0, ("All questions of the session", [item.key for item in session.items]))
    rows = []
    for title, keys in blocks:
        found = reliability(by_item, keys)
        number = cell(str(len(keys)), "number")
        rows.append(f"<th scope='row'>{shown(title)}</th>{number}{_reliability_cells(found)}")
    heads = [("Questions of", ""), ("Questions", "number"), ("People", "number"), ("KR-20", "number"), ("", "")]
    return table(heads, rows, "Among the people who answered all of them; interval after Feldt")


def _reliability_cells(found: Reliability | None) -> str:
    if found is None:
        return cell("-", "number") + cell("-", "number") + cell("fewer than two people, or all with the same total")
    said = "few people" if found.n < FEW else ""
    return cell(str(found.n), "number") + cell(f"{found.value:.2f} {_bracket(found.interval)}", "number") + cell(said)


def _figures(found: Iterable[ItemFigures]) -> str:
    heads = [
        *(("Question", ""), ("n", "number"), ("Difficulty", "number"), ("Point-biserial", "number")),
        *(("Corrected", "number"), ("Worth a look", "")),
    ]
    rows = (
        f"<th scope='row'>{_question(one)}</th>"
        + cell(str(one.n), "number")
        + cell(f"{one.difficulty:.2f} {_bracket(one.difficulty_interval)}", "number")
        + cell(_correlation(one.plain, one.plain_interval), "number")
        + cell(_correlation(one.corrected, one.corrected_interval), "number")
        + cell("; ".join([*one.flags, *(["few people"] if one.few else [])]), "plain")
        for one in found
    )
    return table(heads, rows, "In the order in which they were asked")


def _question(one: ItemFigures) -> str:
    if isinstance(one.item, tuple):
        key, item_hash = one.item
        return f"{shown(str(key))} <code>{shown(str(item_hash)[:12])}</code>"
    key = str(one.item)
    return f"{shown(key)} <span class='hint'>{shown(_OBJECTIVES.get(key, ''))}</span>"


def _correlation(value: float | None, interval: Interval | None) -> str:
    if value is None:
        return "none"
    return f"{value:.2f} {_bracket(interval)}" if interval else f"{value:.2f}"


def _bracket(interval: Interval) -> str:
    return f"({interval.low:.2f} to {interval.high:.2f})"


# For a spreadsheet


def answers_csv(results: Sequence[Result]) -> bytes:
    """A row for each person and question counted: UTF-8 with the mark that spreadsheets know it by, CRLF line ends."""
    page = io.StringIO()
    writer = csv.writer(page, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for number, one in enumerate(results, 1):
        for counted in one.counted:
            answer = counted.first.attempt
            row: tuple[object, ...] = (
                *(number, one.person.shown, answer.lesson, answer.item_key, answer.objective, counted.section),
                *(answer.seed, rounded(answer.score), rounded(answer.maximum), rounded(counted.share)),
                *(int(counted.share >= RIGHT), counted.tries, rounded(counted.last), counted.first.time),
                *(rounded(answer.seconds), answer.course_version, answer.item_hash),
            )
            writer.writerow([harmless(field) if isinstance(field, str) else field for field in row])
    return b"\xef\xbb\xbf" + page.getvalue().encode("utf-8", "replace")
