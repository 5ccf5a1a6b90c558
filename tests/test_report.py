"""The sheets of a class, its table for a spreadsheet, its xAPI statements, its QTI items, and `course report`."""

from __future__ import annotations

import csv
import io
import json
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable
from copy import deepcopy
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from handed_in import HOSTILE, MADE, attempt, class_files, first_evening, learner, recorded
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree
from test_handout import Page

from toolkit import __version__
from toolkit.classroom.chain import PROVES
from toolkit.classroom.gather import Gathered, gather
from toolkit.classroom.gather_results import MOST_QUESTIONS, TOO_MANY, Result, result
from toolkit.classroom.hand_in import hand_in, packed
from toolkit.classroom.qti import NAMESPACE, assessment_item
from toolkit.classroom.record import Record
from toolkit.classroom.sheets import EVIDENCE, SPOILED, percent
from toolkit.classroom.sheets_items import COLUMNS, answers_csv
from toolkit.classroom.spreadsheet import harmless
from toolkit.classroom.xapi import HOME, schema, statement, statements, timestamp
from toolkit.errors import AnswerError
from toolkit.front import command, report
from toolkit.panels.exam_pages import document
from toolkit.quiz.cases import ITEMS, item_hash, offer
from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion
from toolkit.quiz.questions import NumericQuestion, TraceQuestion, grade
from toolkit.units import display_unit, to_display

SESSION = first_evening()
ITEM = {item.key: item for item in ITEMS}


@cache
def the_class() -> tuple[Gathered, tuple[Result, ...]]:
    found = gather(class_files().items())
    return found, tuple(result(person, SESSION) for person in found.people)


@cache
def hostile_class() -> tuple[Gathered, tuple[Result, ...]]:
    files = [(f"{name[:40]}{n}.json", packed(learner(n, SESSION, name or "\0"))) for n, name in enumerate(HOSTILE)]
    found = gather([*files, ("<i>no</i>", b"=1+1"), ("=cmd|x", b"{")])
    return found, tuple(result(person, None) for person in found.people)


def pages(found: tuple[Gathered, tuple[Result, ...]], session: Any = SESSION) -> dict[str, str]:
    """By the name of the file, without the learner's in it."""
    return {
        re.sub(r"(_\d\d).*", r"\1", one.name): document(one.title, one.body, "a4", one.foot)
        for one in report.sheets(found[0], found[1], session)
    }


def words(text: str) -> str:
    return " ".join(text for where, text in Page(text).words if "style." not in where)


# Sheets ------------------------------------------------------------------------------------------------------------


def test_there_is_a_sheet_of_each_kind_and_one_a_person():
    names = list(pages(the_class()))
    assert names[:3] == ["roster", "class_summary", "item_analysis"]
    assert names[3:23] == [f"result_{n:02}" for n in range(1, 21)]
    assert names[23:] == [f"review_{n:02}" for n in range(1, 21)]


def test_a_result_sheet_has_the_fields_of_a_qualification_record():
    _, results = the_class()
    # 49 CFR 192.807(a), source cfr-192-803: individual, covered tasks, dates of current qualification, methods
    for number, one in enumerate(results, 1):
        text = pages(the_class())[f"result_{number:02}"]
        said = words(text)
        for field in ("Individual", "Covered task", "Date of current qualification", "Method of this part"):
            assert field in Page(text).under("th.")
        for wanted in (
            *(EVIDENCE, one.person.shown, *SESSION.covered_tasks, SESSION.title, SESSION.instructor),
            *("2026-12-01 (UTC)", f"version {__version__}", "20261201", one.bank_hash, PROVES, one.person.chain[0]),
            *("Evaluator's name", "Signature", "Computer simulation", "49 CFR 192.807(a)"),
        ):
            assert wanted in said or wanted in text, wanted
        for item in SESSION.items:
            assert item.objective in said
        for score in one.sections:
            assert percent(score.share) in said
            assert {True: "reached", False: "not reached"}[score.reached is True] in said
        assert (SPOILED in text) is not one.person.holds


@pytest.mark.parametrize(
    ("share", "said"), [(0.0, "0 %"), (0.8, "80 %"), (0.7999, "79 %"), (6 / 7, "85 %"), (1, "100 %")]
)
def test_marks_are_never_rounded_up_to_what_they_do_not_reach(share, said):
    assert percent(share) == said


def test_the_roster_tells_of_every_file():
    said = words(pages(the_class())["roster"])
    for file in class_files():
        assert file in said
    assert "does not hold" in said
    absent = gather({"a": packed(learner(2, SESSION))}.items())
    body = report.sheets(absent, (), SESSION)[0].body
    assert "Not handed in" in body
    assert "Learner at bench 1" in body


def test_the_summary_counts_who_reached_each_mark():
    _, results = the_class()
    table = Page(pages(the_class())["class_summary"]).under("td.number")
    for section in ("knowledge", "abnormal operating conditions"):
        reached = sum(score.reached is True for one in results for score in one.sections if score.section == section)
        assert f"{reached} of 20" in table


def test_the_item_analysis_gives_n_and_intervals_and_drops_nothing():
    text = pages(the_class())["item_analysis"]
    said = words(text)
    for item in SESSION.items:
        assert f"{item.key} {item.objective}" in said
    interval = r"-?0\.\d\d \(-?0\.\d\d to 0\.\d\d\)"
    assert re.search(rf"02\.droop Read droop from a trace\. 20 {interval} {interval} {interval}", said)
    assert re.search(r"All questions of the session 12 \d+ 0\.\d\d \(-?\d\.\d\d to 0\.\d\d\)", said)
    assert "few people" in said  # nineteen are
    assert "nothing is taken out" in said


def test_what_to_review_is_told_in_the_learner_s_words():
    _, results = the_class()
    for number, one in enumerate(results, 1):
        said = words(pages(the_class())[f"review_{number:02}"])
        assert one.person.shown in said
        assert ("Nothing: your last answer" in said) is not bool(one.to_review)


@pytest.mark.parametrize("session", [SESSION, None])
def test_no_name_leaves_its_place_in_a_sheet(session):
    for name, text in pages(hostile_class(), session).items():
        page = Page(text)
        tags = {tag for tag, _ in page.elements}
        assert not tags & {"script", "img", "a", "b", "i", "iframe", "link", "object"}, name
        assert text.count("</style>") == text.count("</title>") == 1
        assert not [one for _, attrs in page.elements for one in attrs if one.startswith("on")]
        assert not re.search(r"[\u202a-\u202e\u2066-\u2069\u200b]", text)
        assert re.fullmatch(r"[a-z_]+(_\d\d)?", name)


def test_nothing_that_a_file_says_leaves_its_place_in_a_sheet():
    bad = "<img src=x onerror=alert(1)>\u202e</td>" + "x" * 5000
    odd = replace(
        attempt("Robin", ITEM["02.droop"], 0.0),
        **dict.fromkeys(("course_version", "lesson", "item_key", "item_hash", "objective"), bad),
    )
    found = gather([(bad, packed(hand_in("Robin", __version__, MADE, recorded([odd])))), (f"{bad}2", b"{")])
    for session in (None, SESSION):
        results = tuple(result(person, session) for person in found.people)
        for text in pages((found, results), session).values():
            page = Page(text)
            assert not {tag for tag, _ in page.elements} & {"script", "img", "a"}
            assert "\u202e" not in text
            assert "x" * 1000 not in text


def test_a_file_with_more_questions_than_the_course_has_costs_nobody_an_hour():
    keys = [f"99.{number}" for number in range(3_000)]
    rows = recorded([replace(attempt("Robin", ITEM["02.droop"], 1.0), item_key=key) for key in keys])
    found = gather([("a", packed(hand_in("Robin", __version__, MADE, rows)))])
    one = result(found.people[0], None)
    assert len(one.counted) == MOST_QUESTIONS
    assert dict(one.left_out) == {TOO_MANY: 3_000 - MOST_QUESTIONS}
    assert "to more questions than the course has" in pages((found, (one,)), None)["result_01"]


def test_a_class_of_nobody_has_a_roster():
    found = gather([("x", b"{")])
    assert list(pages((found, ()))) == ["roster"]


# The table ---------------------------------------------------------------------------------------------------------


def rows_of(data: bytes) -> list[dict[str, str]]:
    assert data.startswith(b"\xef\xbb\xbf")
    return list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline="")))


def test_the_table_has_a_row_a_person_and_question():
    _, results = the_class()
    rows = rows_of(answers_csv(results))
    assert tuple(rows[0]) == COLUMNS
    assert len(rows) == sum(len(one.counted) for one in results)
    first, counted = rows[0], results[0].counted[0]
    assert (first["name"], first["item"], first["objective"]) == (
        results[0].person.shown,
        counted.first.attempt.item_key,
        counted.first.attempt.objective,
    )
    assert float(first["share"]) == pytest.approx(counted.share)
    assert first["time_utc"] == counted.first.time


def runs(cell: str) -> bool:
    """Whether a spreadsheet may take a cell for a formula: after OWASP's list of leading signs, wide forms included."""
    begins = cell.lstrip(" ")[:1] in tuple("=+-@\t\r\n\uff1d\uff0b\uff0d\uff20")
    return begins and not re.fullmatch(r"-?\d+(\.\d+)?(e[+-]?\d+)?", cell)


def test_no_cell_runs_in_a_spreadsheet():
    rows = rows_of(answers_csv(hostile_class()[1]))
    assert len({row["name"] for row in rows}) > 15
    assert [cell for row in rows for cell in row.values() if runs(cell)] == []
    assert [row["name"] for row in rows if row["name"].startswith("'=HYPERLINK")]


@given(st.text())
def test_a_text_is_made_harmless_and_no_more(text):
    said = harmless(text)
    assert said in (text, "'" + text)
    assert not runs(said)
    assert harmless("+0") == "'+0"  # a name that is a number stays the name that was typed


@pytest.mark.parametrize("field", ["item_key", "objective", "course_version", "item_hash", "lesson"])
def test_what_a_file_says_of_a_question_does_not_run_either(field):
    odd = replace(attempt("Robin", ITEM["02.droop"], 1.0), **{field: "=1+1"})
    found = gather([("a", packed(hand_in("Robin", __version__, MADE, recorded([odd]))))])
    (row,) = rows_of(answers_csv([result(found.people[0], None)]))
    assert "'=1+1" in row.values()


# xAPI --------------------------------------------------------------------------------------------------------------


def test_the_schema_is_one():
    jsonschema.Draft202012Validator.check_schema(schema())


def valid(one: Any) -> bool:
    return jsonschema.Draft202012Validator(schema()).is_valid(one)


def test_every_answer_is_a_statement_of_the_schema():
    for found in (the_class(), hostile_class()):
        lines = statements(found[0].people).decode("utf-8").splitlines()
        assert len(lines) == sum(len(person.attempts) for person in found[0].people)
        ids = set()
        for line in lines:
            one = json.loads(line)
            assert valid(one), line
            ids.add(one["id"])
        assert len(ids) == len(lines)


def test_a_statement_says_what_the_record_says():
    person = the_class()[0].people[0]
    row = person.attempts[0]
    one = statement(person, row)
    assert one == statement(person, row)
    assert one["timestamp"] == "2026-12-01T18:01:00.001Z"
    assert one["actor"]["account"] == {"homePage": f"{HOME}/learners", "name": "Learner at bench 1"}
    assert "mbox" not in json.dumps(one)
    assert one["object"]["id"] == f"{HOME}/questions/{row.attempt.item_key}"
    assert one["result"]["score"] == {"scaled": 1.0, "raw": 1.0, "min": 0, "max": 1.0}
    assert one["result"]["duration"] == "PT41.5S"
    assert one["result"]["response"] == "7.1 in. w.c."
    assert one["context"]["extensions"][f"{HOME}/extensions/seed"] == 20261201
    assert one["context"]["extensions"][f"{HOME}/extensions/row-hash"] == row.hash


@pytest.mark.parametrize(
    "change",
    [
        lambda one: one.pop("actor"),
        lambda one: one.update(id="1"),
        lambda one: one["actor"].update(mbox="mailto:x@example.org"),
        lambda one: one["result"]["score"].update(scaled=1.2),
        lambda one: one["result"].update(duration="41.5"),
        lambda one: one.update(timestamp="yesterday"),
        lambda one: one["object"].update(id="no address"),
        lambda one: one.update(more=1),
    ],
)
def test_the_schema_refuses_what_is_no_statement(change):
    one = statement(the_class()[0].people[0], the_class()[0].people[0].attempts[0])
    assert valid(one)
    change(one)
    assert not valid(one)


@pytest.mark.parametrize(
    ("time", "said"),
    [
        ("2026-12-01T18:00:00.123+00:00", "2026-12-01T18:00:00.123Z"),
        ("2026-12-01T18:00:00+02:00", "2026-12-01T16:00:00.000Z"),
        ("2026-12-01", "2026-12-01T00:00:00.000Z"),
        ("0001-01-01T00:00:00+10:00", "0001-01-01T00:00:00.000Z"),
        ("9999-12-31T23:59:59-10:00", "9999-12-31T23:59:59.000Z"),
    ],
)
def test_a_timestamp_is_utc_whatever_the_zone(time, said):
    assert timestamp(time) == said


# QTI ---------------------------------------------------------------------------------------------------------------
# Checked are the form of an item, against qti_item.xsd (the course's own schema, narrower than the published one: its
# head says what it was made from, source qti-3); and, by carrying out the response processing of an item, that it marks
# answers as the course does.

QTI_SCHEMA = etree.XMLSchema(etree.parse(Path(__file__).with_name("qti_item.xsd")))
XML_LANG = "{http://www.w3.org/XML/1998/namespace}lang"
PLAIN = (NumericQuestion, TraceQuestion, ChoiceQuestion, OrderQuestion)
SEED = 3


def tag(one: ET.Element) -> str:
    space, _, name = one.tag.rpartition("}")
    assert space == "{" + NAMESPACE
    return name


def find(root: ET.Element, name: str) -> list[ET.Element]:
    return [one for one in root.iter() if tag(one) == name]


def text_of(one: ET.Element) -> str:
    return " ".join("".join(one.itertext()).split())


def marked(root: ET.Element, answer: list[str]) -> float:
    """The SCORE that the item's own response processing gives an answer, worked out by hand."""
    right = [text_of(one) for one in find(find(root, "qti-correct-response")[0], "qti-value")]
    (branch,) = [find(root, name) for name in ("qti-response-if",)]
    (test, setting), (otherwise,) = list(branch[0]), list(find(root, "qti-response-else")[0])
    if tag(test) == "qti-match":
        met = answer == right
    else:
        assert test.get("tolerance-mode") == "absolute"
        met = abs(float(answer[0]) - float(right[0])) <= float(test.get("tolerance", ""))
    assert setting.get("identifier") == otherwise.get("identifier") == "SCORE"
    return float(text_of(setting if met else otherwise))


@cache
def made(key: str, units: str = "us") -> tuple[Any, ET.Element | None]:
    question = offer(ITEM[key], SEED, units)
    text = assessment_item(ITEM[key], question, SEED)
    return question, None if text is None else ET.fromstring(text)


def refusal(root: ET.Element) -> str:
    """What the schema has against an item; nothing when it is one."""
    QTI_SCHEMA.validate(etree.fromstring(ET.tostring(root)))
    return str(QTI_SCHEMA.error_log.last_error or "")


SHOWN = [item.key for item in ITEMS][::3]


@pytest.mark.parametrize("key", SHOWN)
def test_a_plain_question_is_an_item_of_qti(key):
    question, root = made(key)
    if not isinstance(question, PLAIN):
        assert root is None
        return
    assert root is not None
    assert refusal(root) == ""
    assert root.get(XML_LANG) == "en"
    (response,) = find(root, "qti-response-declaration")
    kinds = {NumericQuestion: ("single", "float"), TraceQuestion: ("single", "float")}
    kinds |= {ChoiceQuestion: ("single", "identifier"), OrderQuestion: ("ordered", "identifier")}
    assert (response.get("cardinality"), response.get("base-type")) == kinds[type(question)]
    said = text_of(find(root, "qti-item-body")[0])
    assert " ".join(question.prompt.split()) in said


def test_the_items_held_against_the_schema_have_every_kind_and_part():
    found = [made(key) for key in SHOWN]
    assert {type(question) for question, root in found if root is not None} == set(PLAIN)
    tags = {tag(one) for _, root in found if root is not None for one in root.iter()}
    assert {"img", "table", "th", "td"} <= tags


CHOICE, ORDER, NUMBER = "10.trip", "06.order", "01.absolute"


@pytest.mark.parametrize(
    ("key", "change"),
    [
        (NUMBER, lambda root: root.append(root[0])),
        (NUMBER, lambda root: root.remove(root[0])),
        (NUMBER, lambda root: root.set("identifier", "item 1")),
        (NUMBER, lambda root: root.attrib.pop("time-dependent")),
        (NUMBER, lambda root: find(root, "qti-response-declaration")[0].set("identifier", "ANSWER")),
        (NUMBER, lambda root: find(root, "qti-response-declaration")[0].set("base-type", "number")),
        (NUMBER, lambda root: find(root, "qti-outcome-declaration")[0].set("identifier", "RESPONSE")),
        (NUMBER, lambda root: setattr(find(root, "qti-item-body")[0], "text", "Words outside a block.")),
        (NUMBER, lambda root: find(root, "qti-text-entry-interaction")[0].set("expected-length", "some")),
        (NUMBER, lambda root: find(root, "qti-equal")[0].set("tolerance", "-0.1")),
        (NUMBER, lambda root: find(root, "qti-equal")[0].remove(find(root, "qti-correct")[0])),
        (NUMBER, lambda root: find(root, "qti-set-outcome-value")[0].set("identifier", "MARKS")),
        (NUMBER, lambda root: find(root, "qti-feedback-inline")[0].set("outcome-identifier", "MARKS")),
        (CHOICE, lambda root: find(root, "qti-choice-interaction")[0].set("max-choices", "-1")),
        (CHOICE, lambda root: find(root, "qti-choice-interaction")[0].remove(find(root, "qti-prompt")[0])),
        (CHOICE, lambda root: find(root, "qti-simple-choice")[1].set("identifier", "option_1")),
        (ORDER, lambda root: find(root, "qti-order-interaction")[0].set("orientation", "upright")),
        (ORDER, lambda root: find(root, "qti-value")[0].set("more", "1")),
    ],
)
def test_the_schema_refuses_what_is_no_item(key, change):
    root = deepcopy(made(key)[1])
    assert refusal(root) == ""
    change(root)
    assert refusal(root) != ""


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize("key", ["01.absolute", "02.droop", "04.vent_blocked", "07.settles", "12.chances", "13.band"])
def test_a_number_is_marked_as_the_course_marks_it(key, units):
    question, root = made(key, units)
    assert root is not None
    unit = display_unit(question.kind, units)
    truth = to_display(question.truth, question.kind, units)
    tolerance = question.tolerance() / unit.scale
    assert f"Your answer, in {unit.label}:" in text_of(find(root, "qti-item-body")[0])
    for away in (0.0, 0.98, -0.98, 1.02, -1.02, 3.0):
        number = truth + away * tolerance
        try:
            mine = grade(question, f"{number:.12g} {unit.label}").score == 1.0
        except AnswerError:
            continue
        assert marked(root, [f"{number:.12g}"]) == mine, away


@pytest.mark.parametrize("key", ["02.when_locked_up", "04.relief_opened", "08.tripped", "13.lifts"])
def test_a_time_is_marked_as_the_course_marks_it(key):
    question, root = made(key)
    assert root is not None
    start, end = question.window
    for time in (start + 0.01, (start + end) / 2, end - 0.01, start - 0.5, end + 0.5):
        if 0 <= time <= question.duration:
            assert marked(root, [f"{time}"]) == (grade(question, time).score == 1.0)


@pytest.mark.parametrize("key", ["06.blind", "08.cause", "10.trip", "13.due"])
def test_a_choice_is_marked_as_the_course_marks_it(key):
    question, root = made(key)
    assert root is not None
    choices = find(root, "qti-simple-choice")
    for place, (choice, option) in enumerate(zip(choices, question.options, strict=True)):
        assert text_of(choice).startswith(option)
        assert marked(root, [choice.get("identifier", "")]) == grade(question, place).score


@pytest.mark.parametrize("key", ["06.order", "08.steps", "10.order"])
def test_an_order_is_marked_as_the_course_marks_it_and_its_names_tell_nothing(key):
    question, root = made(key)
    assert root is not None
    choices = find(root, "qti-simple-choice")
    names = [choice.get("identifier", "") for choice in choices]
    assert names == sorted(names)
    assert [text_of(choice) for choice in choices] == [question.entries[one] for one in question.shown]
    name_of = {text_of(choice): name for choice, name in zip(choices, names, strict=True)}
    right = [name_of[entry] for entry in question.entries]
    assert marked(root, right) == 1.0
    assert marked(root, right[::-1]) == 0.0


# `course report` ---------------------------------------------------------------------------------------------------


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> Callable[..., tuple[int, str, str]]:
    def typed(*more: str) -> tuple[int, str, str]:
        code = command.main(["report", *more, "--out", str(tmp_path / "out")])
        said = capsys.readouterr()
        assert "Traceback" not in said.err
        return code, said.out, said.err

    return typed


def folder_of(tmp_path: Path, files: dict[str, bytes]) -> Path:
    folder = tmp_path / "class"
    for name, data in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    return folder


def test_the_command_writes_all_and_says_what_it_left(run: Any, tmp_path: Path):
    files = {f"group {n % 2}/{name}": data for n, (name, data) in enumerate(class_files(4).items())}
    folder = folder_of(tmp_path, files)
    code, out, err = run(str(folder), "--session", "first_evening", "--paper", "letter")
    assert (code, err) == (0, "")
    written = {path.relative_to(tmp_path / "out").as_posix() for path in (tmp_path / "out").rglob("*")}
    names = [f"learner-at-bench-{n}" for n in (1, 2, 3, 4, 6)]
    assert written == {
        *("answers.csv", "statements.jsonl", "roster.html", "class_summary.html", "item_analysis.html"),
        *(f"{kind}_{n:02}_{name}.html" for kind in ("result", "review") for n, name in enumerate(names, 1)),
    }
    assert "Not taken (damaged)" in out
    assert "Not taken (foreign)" in out
    assert "The chain does not hold: Learner at bench 6" in out
    assert "size:letter" in (tmp_path / "out" / "roster.html").read_text("utf-8")
    # nothing that was handed in is touched
    assert {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*.*")} == files


def test_what_the_report_wrote_is_not_gathered(capsys: pytest.CaptureFixture[str], tmp_path: Path):
    folder = folder_of(tmp_path, {"a.json": packed(learner(1, SESSION)), ".hidden": b"x"})
    for _ in range(2):
        assert command.main(["report", str(folder), "--out", str(folder / "report"), "--replace"]) == 0
        assert "Not taken" not in capsys.readouterr().out


def test_a_report_is_not_mixed_with_an_older_one(run: Any, tmp_path: Path):
    folder, out = folder_of(tmp_path, {"a.json": packed(learner(1, SESSION))}), tmp_path / "out"
    assert run(str(folder))[0] == 0
    (out / "my notes.txt").write_text("of the user's own")
    older = {path.name: path.read_bytes() for path in out.iterdir()}
    (folder / "a.json").write_bytes(packed(learner(2, SESSION)))
    code, _, err = run(str(folder))
    assert (code, err.count("\n"), "--replace" in err) == (2, 1, True)
    assert {path.name: path.read_bytes() for path in out.iterdir()} == older
    code, said, _ = run(str(folder), "--replace")
    assert code == 0
    (kept,) = (path for path in out.iterdir() if path.is_dir())
    assert str(kept) in said
    assert {path.name: path.read_bytes() for path in kept.iterdir()} | {"my notes.txt": b"of the user's own"} == older
    assert "result_01_learner-at-bench-1.html" not in {path.name for path in out.iterdir()}


@pytest.mark.parametrize("name", ["answers.csv", "roster.html"])
def test_a_file_that_cannot_be_written_is_told_with_its_flag(
    run: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
):
    def full(path: Path, *_: object) -> None:
        if path.name == name:
            raise OSError(28, "No space left on device")

    monkeypatch.setattr("toolkit.classroom.files.place", full)
    code, _, err = run(str(folder_of(tmp_path, {"a.json": packed(learner(1, SESSION))})))
    assert (code, err.count("\n"), "another folder with --out" in err) == (2, 1, True)


def test_two_of_one_name_have_a_sheet_each_and_what_does_not_count_is_told(run: Any, tmp_path: Path):
    other = packed(hand_in("Zoe", __version__, MADE, recorded([attempt("Zoe", ITEM["02.droop"], 1.0, seed=7)])))
    # two who gave no name are two people
    nameless = [packed(hand_in("", __version__, MADE, recorded([attempt("", ITEM["02.droop"], n)]))) for n in (0, 1)]
    folder = folder_of(tmp_path, {"z.json": other, "a.json": nameless[0], "b.json": nameless[1]})
    code, out, _ = run(str(folder), "--session", "first_evening")
    assert code == 0
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert {"result_01.html", "result_02.html", "result_03_zoe.html"} <= names
    assert "Not counted: Zoe: nothing counted of 1 handed in; not counted: 1 in other numbers than" in out
    sheet = words((tmp_path / "out" / "result_03_zoe.html").read_text("utf-8"))
    assert "Nothing counted of 1 handed in; not counted: 1 in other numbers than the session's." in sheet
    assert " 0 %" not in sheet.partition("Marks by section")[2].partition("Marks by objective")[0]
    summary = words((tmp_path / "out" / "class_summary.html").read_text("utf-8"))
    assert "Zoe: nothing counted of 1" in summary
    assert "nothing counted" in summary.partition("By person")[2].partition("Not counted")[0]


@pytest.mark.parametrize("spoilt", [False, True])
def test_a_whole_record_is_taken_as_if_handed_in(run: Any, tmp_path: Path, spoilt: bool):
    record = Record(tmp_path / "own")
    for item in SESSION.items[:2]:
        record.append(attempt("Ann", item, 1.0))
    data = record.path.read_bytes()[: -4096 if spoilt else None]
    folder = folder_of(tmp_path, {"kept.sqlite3": data, "b.json": packed(learner(1, SESSION))})
    code, out, _ = run(str(folder))
    assert code == 0
    assert str(tmp_path) not in out.replace(str(tmp_path / "out"), "")  # no path of a copy
    if spoilt:
        assert "Not taken (damaged): kept.sqlite3: " in out
        assert "course salvage" in out
    else:
        assert (tmp_path / "out" / "result_01_ann.html").is_file()
    assert (folder / "kept.sqlite3").read_bytes() == data


def test_names_go_nowhere(run: Any, tmp_path: Path):
    files = {f"{n}.json": packed(learner(n, SESSION, name or "\0")) for n, name in enumerate(HOSTILE)}
    before = set(tmp_path.rglob("*"))
    assert run(str(folder_of(tmp_path, files)))[0] == 0
    new = set(tmp_path.rglob("*")) - before
    assert {path.parent for path in new} <= {tmp_path, tmp_path / "class", tmp_path / "out"}
    name = re.compile(r"[a-z_]+(_\d\d(_[a-z0-9-]+)?)?\.(html|csv|jsonl)")
    assert all(name.fullmatch(path.name) for path in (tmp_path / "out").iterdir())


def test_a_link_is_not_followed(run: Any, tmp_path: Path):
    folder = folder_of(tmp_path, {"a.json": packed(learner(1, SESSION))})
    secret = tmp_path / "secret.txt"
    secret.write_text("private")
    (folder / "link.json").symlink_to(secret)
    code, out, _ = run(str(folder))
    assert code == 0
    assert "link.json" not in out
    assert "private" not in (tmp_path / "out" / "roster.html").read_text("utf-8")


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda tmp: tmp / "nowhere", "There is no folder"),
        (lambda tmp: tmp, "There is no file in"),
    ],
)
def test_a_folder_that_will_not_do_is_refused_in_a_sentence(run: Any, tmp_path: Path, make, said):
    code, out, err = run(str(make(tmp_path)))
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert said in err


def test_a_session_that_will_not_do_is_refused_before_anything_is_written(run: Any, tmp_path: Path):
    folder = folder_of(tmp_path, {"a.json": packed(learner(1, SESSION))})
    code, out, err = run(str(folder), "--session", "no_such")
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert not (tmp_path / "out").exists()


def test_questions_that_were_asked_are_written_as_qti(run: Any, tmp_path: Path):
    asked = [offer(ITEM[key], 5, units) for key, units in (("02.burner_input", "metric"), ("03.high", "us"))]
    rows = [replace(attempt("Robin", ITEM[one.key], 1.0, seed=5), item_hash=item_hash(one)) for one in asked]
    rows.append(attempt("Robin", ITEM["02.droop"], 1.0, seed=5))  # a hash that no version of today gives
    folder = folder_of(tmp_path, {"a.json": packed(hand_in("Robin", __version__, MADE, recorded(rows)))})
    code, out, _ = run(str(folder), "--qti")
    assert code == 0
    assert "As QTI 3: 2 questions.\n" in out or "As QTI 3: 1 questions." in out
    names = [path.name for path in (tmp_path / "out" / "qti").iterdir()]
    assert names == ["item_02_burner_input_seed_5_metric.xml"]


@settings(max_examples=25, deadline=None)
@given(st.lists(st.text(max_size=60), min_size=1, max_size=4))
def test_any_names_make_sound_sheets(names):
    files = [(name, packed(learner(n, SESSION, name or "\0"))) for n, name in enumerate(names)]
    found = gather(files)
    results = tuple(result(person, SESSION) for person in found.people)
    for text in pages((found, results)).values():
        assert not {tag for tag, _ in Page(text).elements} & {"script", "img", "a", "b"}
    assert [cell for row in rows_of(answers_csv(results)) for cell in row.values() if runs(cell)] == []
    assert all(valid(json.loads(line)) for line in statements(found.people).decode().splitlines())
