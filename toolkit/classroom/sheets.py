"""The sheets of a class as HTML: roster, result sheet and list to review for each person, summary of the class.

Every text from a file goes through `escape`. What a sheet says is evidence for somebody who evaluates; it decides
nothing. The result sheet has the fields that a qualification record must have, source: `cfr-192-803`, and leaves those
to the evaluator that are the evaluator's.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from statistics import fmean
from typing import NamedTuple

from toolkit.classroom.attempts import Recorded
from toolkit.classroom.chain import PROVES
from toolkit.classroom.gather import KINDS, Gathered, Person, moment, shown_name
from toolkit.classroom.gather_results import (
    AGAIN,
    OTHER_DAY,
    OTHER_LESSON,
    OTHER_SEED,
    TOO_MANY,
    Missing,
    Result,
    SectionScore,
)
from toolkit.classroom.hand_in import slug
from toolkit.classroom.session import Session, folded
from toolkit.classroom.statistics import RIGHT
from toolkit.quiz.cases import LESSONS
from toolkit.quiz.items import ABNORMAL

EVIDENCE = "This sheet is evidence for an evaluation; it does not qualify anyone."
SPOILED = " The chain of this record does not hold: see below."
METHOD = "Computer simulation: graded questions at a simulated bench"
NOTHING = "nothing"
NO_SESSION = "no session file was given"
LEFT_OUT = {
    OTHER_LESSON: "to questions that the session does not ask",
    OTHER_DAY: "on days outside the session",
    OTHER_SEED: "in other numbers than the session's",
    TOO_MANY: "to more questions than the course has",
    AGAIN: "to a question once more, after the first answer",
}
# A foot has room for so much of a name.
_FOOT_NAME = 40
# More than anything that the course itself writes into a record; what a file says may be longer.
LONGEST_TEXT = 600
# Rows of a table that is kept on one page.
SHORT_TABLE = 8
_LINE = "<span class='blank'></span>"


class Page(NamedTuple):
    """A sheet: the name of its file without an end, its title, its body as HTML, and what its foot says."""

    name: str
    title: str
    body: str
    foot: str


# Pieces


def shown(text: str) -> str:
    """A text as HTML: without signs that are not seen but change how others run, and cut where it fills the page."""
    clean = "".join(sign if sign.isprintable() else " " for sign in text[:LONGEST_TEXT])
    return escape(clean if len(text) <= LONGEST_TEXT else f"{clean}...")


def cell(text: str, kind: str = "") -> str:
    """A cell of a table that holds text."""
    return f"<td class='{kind}'>{shown(text)}</td>" if kind else f"<td>{shown(text)}</td>"


def named(name: str) -> str:
    """A person's name: it runs in its own direction, whatever stands beside it."""
    return f"<bdi>{escape(shown_name(name))}</bdi>"


def table(heads: Sequence[tuple[str, str]], rows: Iterable[str], caption: str) -> str:
    """A table of rows (HTML) below heads, each a text and a kind of column ("", "number", "short")."""
    head = "".join(f"<th scope='col' class='{kind}'>{shown(text)}</th>" for text, kind in heads)
    lines = [f"<tr>{row}</tr>" for row in rows]
    body = "".join(lines)
    # A long one goes over the page's end row by row, a short one goes on one page.
    size = " class='small'" if len(lines) <= SHORT_TABLE else ""
    return (
        f"<table{size}><caption>{shown(caption)}</caption><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
    )


def facts(rows: Iterable[tuple[str, str]], kind: str = "facts") -> str:
    """Labels (text) with what they say (HTML)."""
    body = "".join(f"<tr><th scope='row'>{shown(label)}</th><td>{said}</td></tr>" for label, said in rows)
    return f"<table class='{kind}'><tbody>{body}</tbody></table>"


def percent(share: float) -> str:
    """A share of the marks, 0 to 1, as whole per cent; never rounded up to a mark that it does not reach."""
    return f"{int(share * 100 + 1e-6)} %"


def days(rows: Sequence[Recorded]) -> str:
    """From the first to the last day of one or more answers, UTC."""
    times = sorted((one.time for one in rows), key=moment)
    first, last = (f"{moment(time):%Y-%m-%d}" for time in (times[0], times[-1]))
    return first if first == last else f"{first} to {last}"


def lesson_title(lesson: str) -> str:
    """Number and title of a lesson."""
    return f"{lesson} {LESSONS[lesson]}" if lesson in LESSONS else lesson


def session_title(session: Session | None) -> str:
    """The session's title, or that there is none."""
    return session.title if session else NO_SESSION


def marks_of(score: SectionScore, found: Result) -> str:
    """A section's marks in per cent; of a person of whom nothing counts there are none, which is not 0 %."""
    return percent(score.share) if found.counted else "-"


def enough(score: SectionScore, found: Result) -> str:
    """Whether a section's marks are enough, in a word."""
    if not found.counted:
        return "nothing counted"
    return {None: "not set", True: "reached", False: "not reached"}[score.reached]


def _wrapped(title: str, parts: Sequence[str]) -> str:
    return f"<div class='sheet'><h1>{shown(title)}</h1>\n" + "\n".join(part for part in parts if part) + "</div>"


def _listing(texts: Iterable[str]) -> str:
    return "<ul>" + "".join(f"<li>{shown(text)}</li>" for text in texts) + "</ul>"


# Roster


def roster(gathered: Gathered, session: Session | None) -> Page:
    """Who handed in, what, whether the chains hold; files left, and what to look into."""
    heads = [("No.", "number"), ("Name", ""), ("Files", ""), ("Days (UTC)", "short"), ("Answers", "number")]
    rows = (
        cell(str(number), "number")
        + f"<th scope='row'>{named(person.name)}</th>"
        + cell(", ".join(person.files), "plain")
        + cell(days(person.attempts), "short")
        + cell(str(len(person.attempts)), "number")
        + cell("holds" if person.holds else "does not hold", "short")
        + cell("", "room")
        for number, person in enumerate(gathered.people, 1)
    )
    absent = _absent(gathered, session)
    left = (cell(one.file) + cell(one.kind) + cell(one.why) for one in gathered.left)
    parts = [
        facts([("Session", shown(session_title(session))), *_when(session)]),
        table([*heads, ("Chain", "short"), ("Signature", "")], rows, f"Handed in by {len(gathered.people)}"),
        f"<h2>Not handed in</h2>{_listing(absent)}" if absent else "",
        f"<h2>To look into</h2>{_listing(gathered.notes)}" if gathered.notes else "",
        _spoiled(gathered.people),
        "<h2>Files that nothing was taken from</h2>"
        "<p>They are left where they are. Ask for a damaged one again.</p>"
        + table([("File", ""), ("Why", "short"), ("In full", "")], left, _kinds_told(gathered))
        if gathered.left
        else "",
        f"<p class='note'>{shown(PROVES)}</p>",
    ]
    return Page("roster", "Roster", _wrapped("Roster", parts), f"roster, {session_title(session)[:60]}")


def _when(session: Session | None) -> list[tuple[str, str]]:
    if session is None:
        return []
    return [("Days", session.days), ("Instructor", named(session.instructor))]


def _absent(gathered: Gathered, session: Session | None) -> list[str]:
    here = {folded(person.name) for person in gathered.people}
    return [name for name in (session.learners if session else ()) if folded(name) not in here]


def _spoiled(people: Sequence[Person]) -> str:
    rows = [
        f"<th scope='row'>{named(person.name)}</th>{cell(file)}{cell(words)}"
        for person in people
        if not person.holds
        for file, words in zip(person.files, person.chain, strict=True)
    ]
    if not rows:
        return ""
    heads = [("Name", ""), ("File", ""), ("What was found", "")]
    return "<h2>Chains that do not hold</h2>" + table(heads, rows, "The answers are kept and counted; ask how it came.")


def _kinds_told(gathered: Gathered) -> str:
    met = dict.fromkeys(one.kind for one in gathered.left)
    return "; ".join(f"{kind}: {KINDS[kind]}" for kind in met)


# Result sheet


def result_sheet(number: int, found: Result, session: Session | None) -> Page:
    """A person's result: the fields of 49 CFR 192.807(a), where the marks come from, and lines for the evaluator."""
    person = found.person
    between = f"{days([one.first for one in found.counted])} (UTC)" if found.counted else "none"
    tasks = [shown(task) for task in session.covered_tasks] if session else [_LINE]
    record = [
        ("Individual", named(person.name)),
        ("Covered task", "<br>".join(tasks)),
        ("Dates of these answers", shown(between)),
        ("Date of current qualification", f"{_LINE} <span class='hint'>filled in by the evaluator</span>"),
        ("Method of this part", shown(METHOD)),
        ("Other methods used", f"{_LINE} <span class='hint'>filled in by the evaluator</span>"),
    ]
    origin = [
        ("Session", shown(session_title(session))),
        *([("Instructor", named(session.instructor))] if session else []),
        ("Course version", shown(", ".join(person.course_versions))),
        ("Seed of the numbers", shown(_some(found.seeds))),
        ("Question bank, SHA-256", f"<code>{found.bank_hash}</code>" if found.counted else "nothing was asked"),
        ("Files", shown(", ".join(person.files))),
        ("Answers", shown(answers_told(found))),
    ]
    chain = " ".join(f"{file}: {words}" for file, words in zip(person.files, person.chain, strict=True))
    signs = [("Evaluator's name", ""), ("Signature", ""), ("Date", "")]
    parts = [
        f"<p class='evidence'>{shown(EVIDENCE)}{'' if person.holds else SPOILED}</p>",
        *([] if found.counted else [f"<p class='evidence'>{shown(answers_told(found).capitalize())}.</p>"]),
        "<h2>Fields of 49 CFR 192.807(a)</h2>" + facts(record),
        "<h2>Marks by section</h2>" + _section_table(found),
        "<h2>Marks by objective</h2>" + _objective_table(found),
        "<h2>Where this comes from</h2>" + facts(origin),
        f"<h2>What the chain of the record says</h2><p>{shown(chain)}</p><p>{shown(PROVES)}</p>",
        "<h2>Evaluator</h2>" + facts(signs, "sign"),
    ]
    title = f"Result sheet: {person.shown}"
    body = _wrapped("Result sheet", parts)
    return Page(_file("result", number, person), title, body, f"result sheet of {person.shown[:_FOOT_NAME]}")


def _file(kind: str, number: int, person: Person) -> str:
    """The number keeps two of one name apart, and stands for a name that no path can hold."""
    return "_".join(filter(None, (kind, f"{number:02}", slug(person.name))))


def answers_told(found: Result) -> str:
    """How many of a person's answers count, and why the others do not."""
    counted = str(len(found.counted)) if found.counted else NOTHING
    said = [f"{counted} counted of {len(found.person.attempts)} handed in"]
    said += [f"{number} {LEFT_OUT[why]}" for why, number in found.left_out]
    return "; not counted: ".join([said[0], ", ".join(said[1:])]) if len(said) > 1 else said[0]


def _some(seeds: Sequence[int]) -> str:
    shown = ", ".join(map(str, seeds[:6]))
    return f"{shown} and {len(seeds) - 6} more" if len(seeds) > 6 else shown or "none"


def _section_table(found: Result) -> str:
    heads = [("Section", ""), ("Asked", "number"), ("Answered", "number"), ("Marks", "number"), ("Pass mark", "number")]
    rows = (
        f"<th scope='row'>{shown(one.section.capitalize())}</th>"
        + cell(str(one.asked), "number")
        + cell(str(one.answered), "number")
        + cell(marks_of(one, found), "number")
        + cell("-" if one.wanted is None else percent(one.wanted), "number")
        + cell(enough(one, found), "short")
        for one in found.sections
    )
    told = "The first answer to a question counts. " + (
        "Without a session file only what was answered is asked."
        if all(one.wanted is None for one in found.sections)
        else "A question not answered earns nothing."
    )
    return table([*heads, ("Pass mark is", "short")], rows, told)


def _objective_table(found: Result) -> str:
    heads = [("Lesson", "short"), ("Able to", ""), ("Section", ""), ("Marks", "number"), ("Answers", "number")]
    lines = [
        (one.first.attempt.lesson, one.first.attempt.objective, one.section, percent(one.share), str(one.tries))
        for one in found.counted
    ] + [(one.lesson, one.objective, one.section, "not answered", "0") for one in found.missing]
    rows = (
        cell(lesson, "short") + cell(able) + cell(section) + cell(marked, "number") + cell(tries, "number")
        for lesson, able, section, marked, tries in sorted(lines, key=lambda line: line[0])
    )
    return table(heads, rows, "By lesson")


# What to review


def review_sheet(number: int, found: Result) -> Page:
    """What a person should go over again, lesson by lesson, in words for that person."""
    groups: dict[str, list[str]] = {}
    for one in found.to_review:
        asked = one if isinstance(one, Missing) else one.first.attempt
        how_it_went = "Not answered yet." if isinstance(one, Missing) else f"Last answer: {percent(one.last)}."
        mark = f"{ABNORMAL.capitalize()}: " if one.section == ABNORMAL else ""
        groups.setdefault(asked.lesson, []).append(f"{mark}{asked.objective} {how_it_went}")
    lessons = "".join(f"<h2>{shown(lesson_title(lesson))}</h2>{_listing(said)}" for lesson, said in groups.items())
    none = f"<p>Nothing: your last answer to every question earned {percent(RIGHT)} of its marks or more.</p>"
    how = (
        "<p>Open the lesson, go through it at the bench once more, and answer its questions in new numbers. "
        "Come back to it after a day, a week and a month.</p>"
    )
    parts = [f"<p>For {named(found.person.name)}</p>", how if groups else none, lessons]
    title = f"To review: {found.person.shown}"
    body = _wrapped("What to review", parts)
    foot = f"what to review, {found.person.shown[:_FOOT_NAME]}"
    return Page(_file("review", number, found.person), title, body, foot)


# The class


def not_counted(results: Sequence[Result]) -> list[str]:
    """Of each person with answers left out for another reason than a second try, which and why."""
    return [
        f"{one.person.shown}: {answers_told(one)}"
        for one in results
        if not one.counted or any(why != AGAIN for why, _ in one.left_out)
    ]


def class_summary(results: Sequence[Result], session: Session | None) -> Page:
    """The class at a glance: sections person by person, and how each lesson went."""
    sections = list(dict.fromkeys(score.section for one in results for score in one.sections))
    rows = (
        cell(str(number), "number")
        + f"<th scope='row'>{named(one.person.name)}</th>"
        + "".join(_section_cells(one, section) for section in sections)
        + cell(str(len(one.counted)), "number")
        + cell(str(len(one.missing)) if session else "-", "number")
        for number, one in enumerate(results, 1)
    )
    heads = [("No.", "number"), ("Name", "")]
    for section in sections:
        heads += [(section.capitalize(), "number"), ("Pass mark is", "")]
    heads += [("Counted", "number"), ("Missing", "number")]
    parts = [
        f"<p class='evidence'>{shown(EVIDENCE)}</p>",
        facts([("Session", shown(session_title(session))), *_when(session), ("People", str(len(results)))]),
        "<h2>By person</h2>" + table(heads, rows, "Share of the marks; the first answer to a question counts."),
        f"<h2>Not counted</h2>{_listing(not_counted(results))}" if not_counted(results) else "",
        "<h2>By section</h2>" + table(*_class_sections(results, sections)) if sections else "",
        "<h2>By lesson</h2>" + table(*_class_lessons(results)),
    ]
    body = _wrapped("Class summary", parts)
    return Page("class_summary", "Class summary", body, f"class summary, {session_title(session)[:60]}")


def _section_cells(one: Result, section: str) -> str:
    score = next((score for score in one.sections if score.section == section), None)
    if score is None:
        return cell("-", "number") + cell("-", "short")
    return cell(marks_of(score, one), "number") + cell(enough(score, one), "short")


def _class_sections(results: Sequence[Result], sections: Sequence[str]) -> tuple[list[tuple[str, str]], list[str], str]:
    heads = [("Section", ""), ("People", "number"), ("Mean", "number"), ("Lowest", "number"), ("Highest", "number")]
    rows = []
    for section in sections:
        scores = [score for one in results if one.counted for score in one.sections if score.section == section]
        if not scores:
            continue
        shares = [score.share for score in scores]
        reached = sum(score.reached is True for score in scores)
        said = "not set" if scores[0].reached is None else f"{reached} of {len(scores)}"
        numbers = (str(len(scores)), *map(percent, (fmean(shares), min(shares), max(shares))), said)
        row = "".join(cell(number, "number") for number in numbers)
        rows.append(f"<th scope='row'>{shown(section.capitalize())}</th>{row}")
    told = "Share of the marks, over the people of whom an answer counts"
    return [*heads, ("Pass mark reached by", "number")], rows, told


def _class_lessons(results: Sequence[Result]) -> tuple[list[tuple[str, str]], list[str], str]:
    heads = [("Lesson", ""), ("People", "number"), ("Answers counted", "number"), ("Mean of the marks", "number")]
    groups: dict[str, list[tuple[int, float]]] = {}
    for number, one in enumerate(results):
        for counted in one.counted:
            groups.setdefault(counted.first.attempt.lesson, []).append((number, counted.share))
    rows = [
        f"<th scope='row'>{shown(lesson_title(lesson))}</th>"
        + cell(str(len({number for number, _ in found})), "number")
        + cell(str(len(found)), "number")
        + cell(percent(fmean(share for _, share in found)), "number")
        for lesson, found in sorted(groups.items())
    ]
    return heads, rows, "Over the answers that were given and count"
