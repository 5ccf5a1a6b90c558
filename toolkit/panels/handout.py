"""A lesson as a handout to print: one HTML text with its pictures in it, no link that leads out, no script.

The lesson's text stands in its order; in the bench's place stand the prediction with boxes to tick and the bench
frozen at stated settings, in the quiz's place a paper exam. The answers come last.
`Bench.handout` says what is set for each frozen picture, laid over what the bench opens with.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from html import escape
from typing import Any, NamedTuple

import mistune

from toolkit import __version__
from toolkit.classroom.review import PASS_MARKS
from toolkit.errors import CourseError, ScenarioError
from toolkit.figures.chart import TimeChart
from toolkit.figures.device_drawings import drawing
from toolkit.figures.parts import apart
from toolkit.panels import LESSONS
from toolkit.panels.bench import Bench, Settings
from toolkit.panels.controls import Slider
from toolkit.panels.predict import Prediction
from toolkit.quiz import paper
from toolkit.quiz.cases import items_of
from toolkit.quiz.items import Item, offer
from toolkit.quiz.questions import CauseQuestion, VisitQuestion
from toolkit.quiz.trouble_case import LEVELS, draw_case
from toolkit.quiz.trouble_items import case_items
from toolkit.quiz.trouble_words import ANY, station_words, tag_rows
from toolkit.units import format_quantity, tidy

# What the style sheet calls them.
PAPERS = {"a4": "A4", "letter": "letter"}
# A printed chart is drawn large, so that it has some 270 dots an inch at the width that STYLE gives it, alone or with
# a ladder beside it.
PRINTED_CHART, BESIDE_LADDER = (1500, 820), (1120, 820)
# What a lesson's cell puts on the page, as the notebooks write it.
CALL = re.compile(r'^(?:(bench|quiz|cut_open)\("(\w+)"|(visit)\(\))', re.MULTILINE)
NAMES = re.compile(r'"(\w+)"')
HEADING = re.compile(r"^# (.+)$", re.MULTILINE)


class Cell(NamedTuple):
    """A cell of a notebook: its kind, "markdown" or "code", and its source."""

    kind: str
    source: str


@dataclass(frozen=True)
class Sheet:
    """How a handout is wanted: display set, paper (a key of PAPERS), the exam's seed, with the exam's key or not.

    `level` and `place` are those of the case in the visit, as they are chosen on its page; None is any station.
    """

    units: str = "us"
    paper: str = "a4"
    seed: int = 1
    key: bool = False
    level: int = 1
    place: str | None = None


class Piece(NamedTuple):
    """What a cell becomes, as HTML: `body` in its place, `key` on the page of answers, `right` on the last page."""

    body: str
    key: str = ""
    right: str = ""


class OnPaper(mistune.HTMLRenderer):
    """Markdown for paper: raw HTML is shown as text, a link is its words, a picture its description."""

    def link(self, text: str, url: str, title: str | None = None) -> str:  # noqa: ARG002  (the base class's names)
        """The words of a link; an address elsewhere is written out behind them."""
        return f"{text} ({escape(url)})" if "://" in url and escape(url) != text else text

    def image(self, text: str, url: str, title: str | None = None) -> str:  # noqa: ARG002  (the base class's names)
        """The description of a picture, which a file of its own cannot bring."""
        return f"<em>{text}</em>"


def handout(cells: Sequence[Cell], sheet: Sheet) -> str:
    """The handout of a lesson. Raises CourseError where the lesson or the sheet asks for what there is not."""
    if sheet.paper not in PAPERS:
        raise ScenarioError("paper", sheet.paper, "one of " + ", ".join(PAPERS), "Choose one of these.")
    title = title_of(cells)
    pieces = [piece(cell, number, sheet) for number, cell in enumerate(cells, 1)]
    foot = f"Guarded pressure, lesson {title}, version {__version__}, seed {sheet.seed}"
    key, right = ("".join(getattr(one, end) for one in pieces) for end in ("key", "right"))
    return "".join(
        (
            '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n',
            f"<title>{escape(title)}</title>\n<style>{page_style(PAPERS[sheet.paper], foot)}{STYLE}</style>\n",
            "</head>\n<body>\n<main>\n",
            "<p class='answer'>Name <span class='blank'></span> Date <span class='blank short'></span></p>\n",
            f"<p class='note'>{escape(CAUTION)}</p>\n",
            *(f"{one.body}\n" for one in pieces),
            f"<section class='page'><h2>Answers, seed {sheet.seed}</h2>\n{key}</section>\n" if key else "",
            f"<section class='page'><h2>Was I right?</h2>\n{right}</section>\n" if right else "",
            "</main>\n</body>\n</html>\n",
        )
    )


def title_of(cells: Sequence[Cell]) -> str:
    """The lesson's first heading, as "02 The regulator"."""
    for cell in cells:
        if cell.kind == "markdown" and (found := HEADING.search(cell.source)):
            return found[1].strip()
    raise ScenarioError("lesson", "no heading", "a first line such as '# 02 The regulator'", "Add it to the lesson.")


def piece(cell: Cell, number: int, sheet: Sheet) -> Piece:
    """What a cell becomes; `number` keeps its pictures' parts apart from those of other cells."""
    if cell.kind == "markdown":
        return Piece(markdown(cell.source))
    called = CALL.search(cell.source)
    if called is None:
        return Piece("<p class='note'>What stands here works on the screen only: open the lesson there.</p>")
    if called[3]:
        return visit_piece(sheet)
    if called[1] == "cut_open":
        names = NAMES.findall(cell.source)
        drawn = (apart(drawing(name).svg, f"cell-{number}-{name}") for name in names)
        return Piece("".join(f"<figure class='drawing'>{one}</figure>" for one in drawn))
    if called[1] == "quiz":
        return exam(called[2], sheet)
    if called[2] not in LESSONS:
        raise ScenarioError("bench", called[2], "one of " + ", ".join(LESSONS), "Give the lesson's two digits.")
    lesson: Any = LESSONS[called[2]]
    return bench_piece(lesson.PREDICTION, lesson.BENCH, f"cell-{number}", sheet)


def markdown(source: str) -> str:
    """Markdown as HTML, with what looks like HTML in it shown as text."""
    return str(mistune.create_markdown(renderer=OnPaper(escape=True), plugins=["table"])(source))


# The bench, frozen


def bench_piece(prediction: Prediction, bench: Bench, prefix: str, sheet: Sheet) -> Piece:
    """The prediction, the frozen pictures overleaf so that they do not give it away, and whether it was right."""
    question = (
        f"<section class='predict'><h3>Predict</h3><p>{escape(prediction.question)}</p>"
        + paper.boxes(prediction.options)
        + "<p class='hint'>Tick one before you turn over. The last page says whether it was right.</p></section>"
    )
    pictures = (
        frozen(bench, chosen, f"{prefix}-{number}", f"Picture {number} of {len(bench.handout)}", sheet.units)
        for number, chosen in enumerate(bench.handout, 1)
    )
    right = (
        f"<p>{escape(prediction.question)}</p>"
        f"<p><b>\u201c{escape(prediction.options[prediction.right])}\u201d</b> is right.</p>"
        f"<p>{escape(prediction.explain(sheet.units))}</p>"
    )
    return Piece(f"{question}<div class='page'>{''.join(pictures)}</div>", right=right)


def frozen(bench: Bench, chosen: Settings, prefix: str, title: str, units: str) -> str:
    """The bench standing still: what is set, drawing, chart, readouts, the run in words, what happened in order."""
    settings = settings_of(bench, chosen, units)
    table = settings_table(set_for(bench, settings))
    shown = bench.show(settings)
    chart = TimeChart(replace(shown.spec, view="projector", size=BESIDE_LADDER if shown.ladder else PRINTED_CHART))
    drawn = f"<figure class='chart'>{chart.draw(shown.chart)}</figure>"
    if shown.ladder:
        drawn = f"<div class='beside'>{drawn}<figure>{apart(shown.ladder, f'{prefix}-ladder')}</figure></div>"
    readouts = "".join(f"<li>{escape(name)}<b>{escape(text)}</b></li>" for name, text in shown.readouts)
    events = "".join(f"<li><b>{escape(time)}</b> {escape(said)}</li>" for time, said in shown.events)
    happened = f"<h4>What happened, in order</h4><ul class='events'>{events}</ul>" if events else ""
    return (
        f"<section class='frozen'><div class='whole'><h3>The bench, standing still: {escape(bench.title)}. "
        + f"{escape(title)}</h3>{table}"
        + f"<figure class='{'wide' if bench.wide else 'drawing'}'>{apart(shown.drawing, prefix)}</figure></div>"
        + drawn
        + f"<ul class='readouts'>{readouts}</ul><p class='sentence'>{escape(shown.sentence)}</p>{happened}</section>"
    )


def settings_of(bench: Bench, chosen: Settings, units: str) -> dict[str, Any]:
    """All settings of a frozen picture, SI: what was chosen for it, the rest as the bench opens."""
    start = bench.start(units) | {"units": units}
    for key in chosen:
        if key not in start:
            raise ScenarioError(f"handout.{key}", chosen[key], "a control of this bench", "Use the key of a control.")
    return start | dict(chosen)


def set_for(bench: Bench, settings: Settings) -> list[tuple[str, str]]:
    """Each control's label and what it is set to, in words or in the display set."""
    return [
        (
            control.label,
            format_quantity(settings[control.key], control.kind, settings["units"])
            if isinstance(control, Slider)
            else _words(control.key, control.options, settings),
        )
        for control in bench.controls
    ]


def _words(key: str, options: Sequence[tuple[str, Any]], settings: Settings) -> str:
    for words, value in options:
        if value == settings[key]:
            return words
    raise ScenarioError(f"handout.{key}", settings[key], "one of the control's values", "Use one that can be chosen.")


def settings_table(rows: Sequence[tuple[str, str]]) -> str:
    """Labels and settings, two pairs a row, so that picture and chart have room on the same page."""
    cells = [f"<th scope='row'>{escape(label)}</th><td>{escape(words)}</td>" for label, words in rows]
    body = "".join(f"<tr>{''.join(cells[at : at + 2])}</tr>" for at in range(0, len(cells), 2))
    return f"<table><caption>Set for this picture</caption><tbody>{body}</tbody></table>"


# The quiz on paper


def exam(lesson: str, sheet: Sheet) -> Piece:
    """The lesson's questions in the numbers of the seed, and the key if it is wanted."""
    return Piece(*("".join(parts) for parts in zip(*questions(items_of(lesson), sheet), strict=True)))


def questions(items: Sequence[Item], sheet: Sheet) -> list[tuple[str, str]]:
    """Each item's question in the numbers of the seed, and its key if that is wanted."""
    return [
        question_of(item, f"<h3>Question {number} of {len(items)}</h3>", sheet) for number, item in enumerate(items, 1)
    ]


def question_of(item: Item, head: str, sheet: Sheet) -> tuple[str, str]:
    """A question under its heading, and its key if that is wanted; what a visit is about may go over a page's end."""
    kind = "question"

    def section(words: str) -> str:
        return f"<section class='{kind}'>{head}{words}</section>"

    try:
        question = offer(item, sheet.seed, sheet.units)
    except CourseError as error:
        # One question that cannot be made must not cost the class the others.
        return section(f"<p>This question could not be made: {escape(str(error))} Go on to the next one.</p>"), ""
    kind = "long" if isinstance(question, VisitQuestion | CauseQuestion) else kind
    worth = f"<p class='hint'>{escape(f'{item.objective} ({item.section}, 1 mark)')}</p>"
    asked = section(f"{worth}{paper.asked(question)}")
    return asked, section(f"{worth}{paper.key(question)}") if sheet.key else ""


# A case to find out

# What comes after such an item tells what it asked for: it stands overleaf.
TURN_AFTER = {
    "first": "Turn over when you have said what comes first: overleaf is the visit.",
    "visit": "Turn over when your visit is done and your cause is written down: overleaf is what another visit found.",
    "layer": "Turn over when all of this page is answered: overleaf the cause is named.",
}


def visit_piece(sheet: Sheet) -> Piece:
    """The case of the sheet's level, station and seed: how it is met, its questions by section, and the key.

    Raises ScenarioError where there is no such case.
    """
    case = draw_case(sheet.seed, sheet.level, sheet.place)
    items = case_items(case)
    station = (sheet.place or ANY).replace("_", " ")
    chosen = f"Level {sheet.level} ({LEVELS[sheet.level]}), {station}, seed {sheet.seed}"
    same = f"{chosen}: on the page of cases the same three give this case."
    head = f"<p><b>{escape(same)}</b></p>"
    met = paper.table(tag_rows(case, sheet.units), "By the station's tags and record", "tags")
    pages, key, section = [f"{head}<p>The station: {escape(station_words(case.place))}.</p>{met}"], head, ""
    for item, (asked, told) in zip(items, questions(items, sheet), strict=True):
        if item.section != section:
            section = item.section
            mark = tidy(f"{section.capitalize()}: passes from {PASS_MARKS[section]:.0%} of its marks")
            asked, told = (f"<h3>{escape(mark)}</h3>{one}" for one in (asked, told))
        pages[-1] += asked
        if turn := TURN_AFTER.get(item.key.rpartition(".")[2]):
            pages[-1] += f"<p class='turn'>{escape(turn)}</p>"
            pages.append("")
        key += told
    return Piece("".join(f"<div class='page'>{one}</div>" for one in pages), key if sheet.key else "")


# How it looks on paper

CAUTION = (
    "A bench in a computer made the pictures and the numbers here. At real equipment the local code, the operator's "
    "written procedure and licensed persons decide. This course qualifies nobody for anything."
)


def page_style(paper_size: str, foot: str) -> str:
    """The style of the page itself: paper, margins, running foot with the page's number."""
    return (
        f"@page{{size:{paper_size};margin:14mm 17mm 17mm;"
        f"@bottom-left{{content:{css_text(foot)};{FOOT}}}"
        f"@bottom-right{{content:'page ' counter(page) ' of ' counter(pages);{FOOT}}}}}\n"
    )


def css_text(text: str) -> str:
    """Text as a string of a style sheet, in which no sign of it can end the string or the sheet."""
    return '"' + re.sub(r"[^\w .,;:()-]", lambda sign: f"\\{ord(sign[0]):x} ", text) + '"'


FOOT = "font:8pt Arial,'Liberation Sans',sans-serif;color:#000;white-space:nowrap"
# Black on white, and no meaning in a tint: most school printers know no colour.
# Widths in mm keep a frozen bench with its table on one page of either paper.
STYLE = """
body{margin:0;color:#000;background:#fff;font:11pt/1.3 Arial,'Liberation Sans',sans-serif}
main{max-width:182mm;margin:0 auto}
h1{font-size:18pt;margin:2mm 0 1mm} h2{font-size:14pt;margin:4mm 0 1mm;border-bottom:0.4mm solid #000}
h3{font-size:12pt;margin:3mm 0 1mm} h4{font-size:11pt;margin:2mm 0 1mm}
h1,h2,h3,h4{break-after:avoid}
p{margin:1.2mm 0;orphans:3;widows:3} ul,ol{margin:1.2mm 0;padding-left:6mm} li{break-inside:avoid}
code{font-family:'DejaVu Sans Mono',monospace;font-size:10pt}
table{border-collapse:collapse;margin:2mm 0;break-inside:avoid}
th,td{border:0.2mm solid #595959;padding:0.5mm 2.5mm;text-align:left;font-weight:normal;vertical-align:top}
thead th{font-weight:bold;border-bottom:0.5mm solid #000}
svg{display:block;max-width:100%;height:auto}
figure,.whole,.question,.predict,.readouts{break-inside:avoid}
.page{break-before:page}
.note{border:0.3mm solid #000;padding:1mm 3mm;font-size:10pt;break-inside:avoid}
.hint{font-size:10pt;break-after:avoid}
.predict{border:0.3mm solid #000;border-left-width:1.5mm;padding:0 4mm;margin:3mm 0}
.boxes,.blanks,.readouts{list-style:none;padding:0} .boxes li{padding-left:8mm;margin:1.2mm 0;position:relative}
.boxes li::before{content:'';position:absolute;left:0;top:0.5mm;width:4mm;height:4mm;border:0.3mm solid #000}
.blanks li{margin:1mm 0}
figure{margin:2mm 0} figure.drawing svg{width:125mm} figure.wide svg{width:100%} figure.chart svg{width:140mm}
.beside{display:flex;gap:2mm;break-inside:avoid} .beside figure.chart{flex:0 0 106mm} .beside figure{flex:1}
.frozen table{font-size:9.5pt} .frozen td{font-weight:bold} caption{text-align:left}
.readouts{display:flex;flex-wrap:wrap;gap:1.5mm}
.readouts li{border:0.2mm solid #595959;padding:0.5mm 2.5mm;font-size:9pt} .readouts b{display:block;font-size:11pt}
.events{columns:2;font-size:9.5pt}
.question,.long{margin:0 0 5mm} .turn{font-weight:bold;text-align:right}
.checks table,.log table,.key table{width:calc(100% - 0.5mm);margin:0 0 1mm;font-size:10pt}
.checks thead th{font-size:8.5pt} .checks :is(td,thead th:not(:first-child)){width:15mm;text-align:center}
.log table{table-layout:fixed} .log :is(th,td){height:7mm} .log tr>:first-child{width:6mm}
.log tr>:last-child{width:22mm}
.line{border-bottom:0.2mm solid #595959;height:8mm}
.answer{margin:4mm 0 2mm} .marking{font-size:10pt;border-left:0.8mm solid #000;padding-left:2mm}
.blank{display:inline-block;border-bottom:0.3mm solid #000;width:65mm;height:5mm} .short{width:20mm}
"""
