"""Pages of a class to print: the frame that all its sheets have, and an exam with its key on a page of its own."""

from __future__ import annotations

from html import escape

from toolkit import __version__
from toolkit.classroom.session import Session
from toolkit.panels.handout import CAUTION, PAPERS, STYLE, Sheet, exam, page_style
from toolkit.quiz.cases import LESSONS
from toolkit.quiz.items import SECTIONS
from toolkit.units import tidy

# What sheets need beside what handouts have: tables as wide as the page that go over its end row by row, numbers in
# columns, lines to sign on, names of any length. No meaning in a tint.
SHEETS = """
table{break-inside:auto} table.small,table.facts{break-inside:avoid} tr{break-inside:avoid}
thead{display:table-header-group}
.sheet table{width:calc(100% - 1mm);font-size:9pt}
.sheet th,.sheet td{overflow-wrap:anywhere;padding:0.5mm 1.5mm}
.sheet tbody th{font-weight:bold;min-width:30mm}
.sheet .facts th{width:44mm;font-weight:normal} .sheet .facts td{font-weight:bold}
.sheet table .hint{font-weight:normal;font-size:9pt}
.sheet td.number,.sheet td.short{white-space:nowrap;overflow-wrap:normal}
.sheet td.number,.sheet th.number{text-align:right} .sheet thead th{overflow-wrap:normal;font-size:8.5pt}
.sheet td.plain{min-width:24mm}
.sheet td.room{height:9mm;min-width:24mm}
.sheet h1,.sheet h2,.sheet p,.sheet li{overflow-wrap:anywhere}
.sheet code{font-size:8pt;overflow-wrap:anywhere;font-weight:normal}
.evidence{border:0.5mm solid #000;padding:1.5mm 3mm;margin-right:1mm;font-weight:bold;break-inside:avoid}
.sign{break-inside:avoid} .sign td{height:9mm} .sign th{width:44mm}
"""


def document(title: str, body: str, paper: str, foot: str) -> str:
    """A page that needs nothing from elsewhere; `body` is HTML, `title` and `foot` text, `paper` a key of PAPERS."""
    said = f"Guarded pressure, {foot}, version {__version__}"
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f"<title>{escape(title)}</title>\n<style>{page_style(PAPERS[paper], said)}{STYLE}{SHEETS}</style>\n"
        f"</head>\n<body>\n<main>\n{body}\n</main>\n</body>\n</html>\n"
    )


BY_HAND = (
    "Add the marks up section by section; behind each question stands which it belongs to. A question not answered "
    "earns nothing. The marks are evidence for an evaluation; they do not qualify anyone."
)


def enough(session: Session) -> str:
    """How many marks there are in each section of a session, and from how many on it is passed, in sentences."""
    said = []
    for section in SECTIONS:
        number = sum(item.section == section for item in session.items)
        if number:
            share, marks = session.pass_marks[section], "mark" if number == 1 else "marks"
            said.append(f"{section.capitalize()}: {number} {marks}, enough from {share * number:.2f} ({share:.0%}).")
    return tidy(" ".join(["Each question is worth 1 mark, and parts of it where an answer is partly right.", *said]))


def exam_pages(session: Session, learner: str, seed: int, units: str, paper: str) -> tuple[str, str]:
    """The exam of a learner ("" for a line to write the name on) and its key, as pages."""
    pieces = [exam(lesson, Sheet(units, paper, seed, key=True)) for lesson in session.lessons]
    name = f"<bdi>{escape(learner)}</bdi>" if learner else "<span class='blank'></span>"
    asked_head = (
        f"<p class='answer'>Name {name} Date <span class='blank short'></span></p>\n"
        f"<p>{escape(session.about)}</p>\n<p>{escape(enough(session))}</p>\n<p class='note'>{escape(CAUTION)}</p>\n"
    )
    whose = f"<p>Answers to the exam of <bdi>{escape(learner)}</bdi>.</p>\n" if learner else ""
    key_head = f"{whose}<p>{escape(enough(session))} {escape(BY_HAND)}</p>\n"

    def page(title: str, head: str, bodies: list[str]) -> str:
        parts = (
            f"<h2>{escape(lesson)} {escape(LESSONS[lesson])}</h2>\n{body}\n"
            for lesson, body in zip(session.lessons, bodies, strict=True)
        )
        body = f"<h1>{escape(title)}</h1>\n{head}{''.join(parts)}"
        return document(title, body, paper, f"{title[:60]}, seed {seed}")

    return (
        page(session.title, asked_head, [piece.body for piece in pieces]),
        page(f"Key: {session.title}", key_head, [piece.key for piece in pieces]),
    )
