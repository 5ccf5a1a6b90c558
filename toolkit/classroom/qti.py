"""The plain kinds of question as items of QTI 3, for other programs that ask questions.

Carried are choosing one, putting in order, a number in a stated unit and a time read from a picture. Points spread over
suspects are not: QTI has nothing like it. What a learner gets is right or not: half marks for a slip, for a unit that
is another one, or for a part of the right order stay with the course. Source: `qti-3`.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from base64 import b64encode
from collections.abc import Sequence

from toolkit import __version__
from toolkit.figures.data import Picture
from toolkit.quiz.items import Item
from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion
from toolkit.quiz.paper import FORMS
from toolkit.quiz.questions import NumericQuestion, Question, TraceQuestion, grade
from toolkit.units import display_unit, to_display

NAMESPACE = "http://www.imsglobal.org/xsd/imsqtiasi_v3p0"
_SCHEMA = f"{NAMESPACE} https://purl.imsglobal.org/spec/qti/v3p0/schema/xsd/imsqti_asiv3p0_v1p0.xsd"
_ANSWER, _SCORE, _FEEDBACK, _TOLD = "RESPONSE", "SCORE", "FEEDBACK", "TOLD"
# Signs of a number that is typed in.
_WIDTH = 15
_DIGITS = 9


def assessment_item(item: Item, question: Question, seed: int) -> str | None:
    """The item's question as the text of an XML file; None where QTI has no such kind."""
    if not isinstance(question, ChoiceQuestion | OrderQuestion | NumericQuestion | TraceQuestion):
        return None
    root = ET.Element(
        "qti-assessment-item",
        {
            "xmlns": NAMESPACE,
            "xmlns:xsi": "http://www.w3.org/2001/XMLSchema-instance",
            "xsi:schemaLocation": _SCHEMA,
            "identifier": identifier(item.key, seed),
            "title": item.objective,
            "adaptive": "false",
            "time-dependent": "false",
            "xml:lang": "en",
            "tool-name": "Guarded pressure",
            "tool-version": __version__,
        },
    )
    if isinstance(question, ChoiceQuestion):
        _choice(root, question)
    elif isinstance(question, OrderQuestion):
        _order(root, question)
    else:
        _number(root, question)
    ET.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="unicode") + "\n"


def identifier(key: str, seed: int) -> str:
    """A name that XML takes, for an item in the numbers of a seed."""
    return re.sub(r"[^A-Za-z0-9_]", "_", f"item_{key}_seed_{seed}")


def _choice(root: ET.Element, question: ChoiceQuestion) -> None:
    names = [f"option_{number}" for number in range(1, len(question.options) + 1)]
    _declared(root, "single", "identifier", [names[question.right]])
    body = _body(root, "", question.picture, question.table)
    asked = ET.SubElement(
        *(body, "qti-choice-interaction"),
        {"response-identifier": _ANSWER, "shuffle": "false", "max-choices": "1", "min-choices": "1"},
    )
    _text(asked, "qti-prompt", question.prompt)
    for name, option, told in zip(names, question.options, question.told, strict=True):
        choice = _text(asked, "qti-simple-choice", f"{option} ", {"identifier": name})
        _feedback(choice, name, told)
    _told(body, [question.explanation])
    _scored(root, _match(), feedback_is_the_answer=True)


def _order(root: ET.Element, question: OrderQuestion) -> None:
    names = [f"entry_{number}" for number in range(1, len(question.entries) + 1)]
    # The names give nothing away: they count the entries as they are offered.
    name_of = {entry: names[place] for place, entry in enumerate(question.shown)}
    _declared(root, "ordered", "identifier", [name_of[entry] for entry in range(len(names))])
    body = _body(root, "", None, None)
    asked = ET.SubElement(
        *(body, "qti-order-interaction"),
        {"response-identifier": _ANSWER, "shuffle": "false", "orientation": "vertical"},
    )
    first, *_, last = question.places()
    _text(asked, "qti-prompt", f"{question.prompt} From {first} to {last}.")
    for entry in question.shown:
        _text(asked, "qti-simple-choice", question.entries[entry], {"identifier": name_of[entry]})
    _told(body, _explained(question))
    _scored(root, _match())


def _number(root: ET.Element, question: NumericQuestion | TraceQuestion) -> None:
    if isinstance(question, TraceQuestion):
        start, end = question.window
        truth, tolerance, unit = (start + end) / 2, (end - start) / 2, "s"
    else:
        shown = display_unit(question.kind, question.units)
        truth = to_display(question.truth, question.kind, question.units)
        tolerance, unit = question.tolerance() / shown.scale, shown.label
    _declared(root, "single", "float", [f"{truth:.{_DIGITS}g}"])
    body = _body(root, question.prompt, question.picture, None)
    line = _text(body, "p", f"Your answer, in {unit}: ")
    ET.SubElement(line, "qti-text-entry-interaction", {"response-identifier": _ANSWER, "expected-length": str(_WIDTH)})
    _told(body, _explained(question))
    near = ET.Element("qti-equal", {"tolerance-mode": "absolute", "tolerance": f"{tolerance:.{_DIGITS}g}"})
    ET.SubElement(near, "qti-variable", {"identifier": _ANSWER})
    ET.SubElement(near, "qti-correct", {"identifier": _ANSWER})
    _scored(root, near)


def _explained(question: Question) -> Sequence[str]:
    """What the course says to who is right."""
    return grade(question, FORMS[type(question)].best(question)).explanation


# Parts of an item, in the order in which QTI wants them


def _declared(root: ET.Element, cardinality: str, kind: str, right: Sequence[str]) -> None:
    declared = {"identifier": _ANSWER, "cardinality": cardinality, "base-type": kind}
    correct = ET.SubElement(ET.SubElement(root, "qti-response-declaration", declared), "qti-correct-response")
    for value in right:
        _text(correct, "qti-value", value)
    score = {"identifier": _SCORE, "cardinality": "single", "base-type": "float"}
    outcome = ET.SubElement(root, "qti-outcome-declaration", score | {"normal-maximum": "1", "normal-minimum": "0"})
    _text(ET.SubElement(outcome, "qti-default-value"), "qti-value", "0")
    for name in (_FEEDBACK, _TOLD):
        outcome_of = {"identifier": name, "cardinality": "single", "base-type": "identifier"}
        ET.SubElement(root, "qti-outcome-declaration", outcome_of)


def _body(
    root: ET.Element, prompt: str, picture: Picture | None, table: tuple[tuple[str, ...], ...] | None
) -> ET.Element:
    body = ET.SubElement(root, "qti-item-body")
    if prompt:
        _text(body, "p", prompt)
    if picture:
        data = "data:image/svg+xml;base64," + b64encode(picture.svg.encode()).decode("ascii")
        width, height = map(str, picture.size)
        paragraph = ET.SubElement(body, "p")
        ET.SubElement(paragraph, "img", {"src": data, "alt": picture.alt, "width": width, "height": height})
    if table:
        rows = ET.SubElement(ET.SubElement(body, "table"), "tbody")
        for number, row in enumerate(table):
            line = ET.SubElement(rows, "tr")
            for cell in row:
                _text(line, "td" if number else "th", cell)
    return body


def _told(body: ET.Element, sentences: Sequence[str]) -> None:
    _feedback(ET.SubElement(body, "p"), "explanation", " ".join(sentences), outcome=_TOLD)


def _feedback(parent: ET.Element, name: str, words: str, outcome: str = _FEEDBACK) -> None:
    """Words that are shown once the answer is given."""
    shown = {"outcome-identifier": outcome, "show-hide": "show", "identifier": name}
    _text(parent, "qti-feedback-inline", words, shown)


def _match() -> ET.Element:
    match = ET.Element("qti-match")
    ET.SubElement(match, "qti-variable", {"identifier": _ANSWER})
    ET.SubElement(match, "qti-correct", {"identifier": _ANSWER})
    return match


def _scored(root: ET.Element, right: ET.Element, *, feedback_is_the_answer: bool = False) -> None:
    processing = ET.SubElement(root, "qti-response-processing")
    condition = ET.SubElement(processing, "qti-response-condition")
    for branch, score in (("qti-response-if", "1"), ("qti-response-else", "0")):
        inside = ET.SubElement(condition, branch)
        if score == "1":
            inside.append(right)
        _set(inside, _SCORE, "float", score)
    if feedback_is_the_answer:
        outcome = ET.SubElement(processing, "qti-set-outcome-value", {"identifier": _FEEDBACK})
        ET.SubElement(outcome, "qti-variable", {"identifier": _ANSWER})
    _set(processing, _TOLD, "identifier", "explanation")


def _set(parent: ET.Element, outcome: str, kind: str, value: str) -> None:
    setting = ET.SubElement(parent, "qti-set-outcome-value", {"identifier": outcome})
    _text(setting, "qti-base-value", value, {"base-type": kind})


def _text(parent: ET.Element, tag: str, text: str, attributes: dict[str, str] | None = None) -> ET.Element:
    made = ET.SubElement(parent, tag, attributes or {})
    made.text = text
    return made
