"""How a class's question and its votes look on a page: the same for the board and for each learner."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache

import ipywidgets

from toolkit.classroom.ballot import CLOSED, FIRST, REVEALED, SECOND, SHOWN, TALK, Round
from toolkit.quiz import html
from toolkit.quiz.items import offer
from toolkit.quiz.ordering import ChoiceQuestion
from toolkit.quiz.questions import CauseQuestion, NumericQuestion, Question, VisitQuestion
from toolkit.quiz.trouble_words import station_words, tag_rows
from toolkit.quiz.voting import Vote, case_of, item_of, vote_of

# What the class does in each phase.
ASKED = {
    SHOWN: "Read the question. The vote opens in a moment.",
    FIRST: "Vote, each alone.",
    TALK: "Talk it over with your neighbours: who chose something else, and why?",
    SECOND: "Vote again.",
    CLOSED: "The votes are in.",
    REVEALED: "The answer.",
}
NAMES = {FIRST: "First vote", SECOND: "Second vote"}
# What is voted on where the question by itself asks for more than one choice.
ONE_OF: dict[type, str] = {
    CauseQuestion: "In class: vote for the one that you hold likeliest.",
    VisitQuestion: "In class: vote for what is done first. It must be safe, and tell most for its minutes.",
}


def question_of(asked: Round) -> tuple[Question, Vote] | None:
    """The question of a round and its options; None where this course does not know it, or nobody can vote on it.

    Raises CourseError where it cannot be made.
    """
    return _made(asked.item, asked.seed, asked.units)


@lru_cache(maxsize=4)
def _made(key: str, seed: int, units: str) -> tuple[Question, Vote] | None:
    """The same for every phase of a round: some questions of a case take a tenth of a second to make."""
    item = item_of(key, seed)
    question = offer(item, seed, units) if item else None
    vote = vote_of(question) if question else None
    return (question, vote) if question and vote else None


def asked_html(asked: Round, question: Question) -> str:
    """What the class does now, the question, and of a case the station's tags."""
    do = f"<p class='gp-do' role='status'>{html.escape(ASKED[asked.phase])}</p>"
    case = case_of(asked.item, asked.seed)
    if case is None:
        return do + question_html(question)
    tags = html.table(tag_rows(case, asked.units), "By the station's tags and record")
    station = html.paragraph(f"The station: {station_words(case.place)}.")
    return f"{do}{question_html(question)}<details><summary>The station's tags</summary>{station}{tags}</details>"


def question_html(question: Question) -> str:
    """The question with what is to be judged."""
    parts = [html.paragraph(question.prompt)]
    if isinstance(question, CauseQuestion | VisitQuestion):
        parts.append(html.paragraph(ONE_OF[type(question)]))
    if isinstance(question, NumericQuestion | ChoiceQuestion) and question.picture is not None:
        parts.append(question.picture.svg)
    if isinstance(question, ChoiceQuestion) and question.table is not None:
        parts.append(html.table(question.table, "Readings"))
    if isinstance(question, CauseQuestion):
        parts.append(html.table(question.table(), "What was read at the visit"))
    return "".join(parts)


def letter(choice: int) -> str:
    """What an option is called across the room."""
    return "ABCDEFGHIJKLMNOPQRSTUVWXYZ"[choice]


def button(text: str, act: Callable[[], None]) -> ipywidgets.Button:
    """A button as wide as its words, at the left."""
    made = ipywidgets.Button(description=text, tooltip=text, layout={"width": "auto", "align_self": "flex-start"})
    made.on_click(lambda _: act())
    return made


def tally_html(vote: Vote, ballots: Sequence[tuple[str, Sequence[int]]], reveal: bool) -> str:
    """The options with how many chose each, a column a ballot; the right one is marked once it is revealed."""
    head = "".join(f"<th scope='col'>{html.escape(name)}</th>" for name, _ in ballots)
    rows = []
    for choice, option in enumerate(vote.options):
        right = reveal and choice == vote.right
        mark = "<span class='gp-right'>\u2713 right</span>" if right else ""
        cells = "".join(f"<td>{_bar(counts[choice], sum(counts))}</td>" for _, counts in ballots)
        row = f"<th scope='row'>{letter(choice)}&ensp;{html.escape(option)} {mark}</th>{cells}"
        rows.append(f"<tr class='{'gp-is-right' if right else ''}'>{row}</tr>")
    return (
        "<table class='gp-tally' aria-label='How the class voted'>"
        f"<thead><tr><th scope='col'>Answer</th>{head}</tr></thead><tbody>{''.join(rows)}</tbody></table>"
    )


def _bar(count: int, of: int) -> str:
    share = count / of if of else 0.0
    bar = f"<span class='gp-bar' aria-hidden='true'><span style='width:{share:.0%}'></span></span>"
    return f"{bar} {count} of {of}" if of else "no votes"


def answer_html(vote: Vote) -> str:
    """What is said once the answer is out."""
    rows = [
        ("Answer", "Why"),
        *((f"{letter(n)} {o}", t) for n, (o, t) in enumerate(zip(vote.options, vote.told, strict=True))),
    ]
    return html.paragraph(vote.explanation) + html.table(rows, "Why each answer is right or wrong")


STYLE = """<style>
.gp-tally{border-collapse:collapse;width:100%;max-width:1000px;color:#111;font-size:16px}
.gp-tally :is(th,td){text-align:left;padding:6px 12px!important;border-bottom:1px solid #c5cbd3;vertical-align:top;
  white-space:normal;overflow-wrap:anywhere}
.gp-tally tbody th{font-weight:400}
.gp-tally .gp-is-right th{font-weight:700}
.gp-tally .gp-right{border:2px solid #111;border-radius:4px;padding:0 6px;white-space:nowrap}
.gp-tally{table-layout:fixed}.gp-tally .gp-bar{max-width:100%}
.gp-do{font-size:19px!important;font-weight:700;margin:4px 0;color:#111}
.gp-class .gp-switch{align-self:flex-end;width:auto}
</style>"""

LARGE = """<style>
:root body .gp-class{max-width:none}
:root body .gp-class :is(p,th,td,li,label,button,input,select,.widget-label){font-size:28px!important;
  height:auto!important;line-height:1.35!important;max-width:none}
:root body .gp-class :is(.widget-dropdown,.widget-text){height:auto!important;
  max-width:1100px!important}
:root body .gp-class .gp-tally{max-width:none}
:root body .gp-class .gp-bar{width:200px;height:22px}
</style>"""
