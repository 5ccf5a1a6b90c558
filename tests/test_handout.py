"""Lessons as pages to print: what is on them, that nothing leads out of them, and `course handout` as it is typed."""

from __future__ import annotations

import re
import stat
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser
from math import ceil, floor
from pathlib import Path
from random import Random
from typing import Any, get_args

import pytest

from toolkit.errors import ScenarioError
from toolkit.front import command, handouts
from toolkit.front.launch import CHECKOUT_LESSONS
from toolkit.panels import LESSONS
from toolkit.panels.bench import Bench, Panel
from toolkit.panels.controls import Slider
from toolkit.panels.handout import Cell, Sheet, bench_piece, css_text, exam, handout, page_style, title_of
from toolkit.panels.predict import Prediction
from toolkit.quiz import paper
from toolkit.quiz.cases import ITEMS, items_of, offer
from toolkit.quiz.marking import marking
from toolkit.quiz.ordering import ChoiceQuestion, OrderQuestion, shown_order
from toolkit.quiz.questions import CauseQuestion, NumericQuestion, Question, TraceQuestion, grade
from toolkit.units import display_unit, parse_quantity, tidy, to_display

BOOKS = {path.name[:2]: path for path in sorted(CHECKOUT_LESSONS.glob("[0-9]*.ipynb"))}
UNITS = ("us", "metric")
SEED = 3
HOSTILE = "</style><script>alert(1)</script>\"'&\\"
HTML_WITHOUT_END = ("meta", "img", "br", "hr")


class Page(HTMLParser):
    """A page taken apart: its elements with their attributes, all closed in turn, and the words in each."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[tuple[tuple[str, ...], str]] = []
        self._open: list[tuple[str, str]] = []
        self.feed(text)
        self.close()
        assert not self._open, f"left open: {self._open}"

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in HTML_WITHOUT_END:
            self._open.append((tag, dict(attrs).get("class") or ""))

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self._open, f"</{tag}> closes nothing"
        assert self._open.pop()[0] == tag

    def handle_data(self, data: str) -> None:
        if data.strip():
            self.words.append((tuple(f"{tag}.{kind}" for tag, kind in self._open), data.strip()))

    def under(self, place: str) -> list[str]:
        """The pieces of text below elements of a kind, as "ul.readouts"."""
        return [text for where, text in self.words if place in where]

    def attributes(self, name: str) -> list[str]:
        return [str(attrs[name]) for _, attrs in self.elements if name in attrs]


@cache
def printed(lesson: str, units: str = "us", key: bool = False) -> str:
    return handout(handouts.read_cells(BOOKS[lesson]), Sheet(units, "a4", SEED, key))


# The page ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("units", UNITS)
@pytest.mark.parametrize("lesson", BOOKS)
def test_a_handout_is_whole_and_leads_nowhere(lesson: str, units: str) -> None:
    text = printed(lesson, units)
    page = Page(text)
    names = page.attributes("id")
    assert len(names) == len(set(names)), "two parts of the same name"
    # a drawing that calls a part calls its own
    assert set(re.findall(r"url\(#([^)]+)\)", text)) <= set(names)
    assert not page.attributes("href")
    assert not page.attributes("src")
    tags = {tag for tag, _ in page.elements}
    assert not tags & {"script", "link", "iframe", "object", "embed", "base", "a"}
    assert not [name for _, attrs in page.elements for name in attrs if name.startswith("on")]
    assert not re.search(r"@import|url\((?!#)", text)
    for tag, attrs in page.elements:
        if tag == "img":
            assert attrs["alt"]
        if tag == "svg":
            assert attrs["aria-label"]
    title = title_of(handouts.read_cells(BOOKS[lesson]))
    assert page.under("h1.") == [title] == page.under("title.")[:1]
    assert "qualifies nobody" in text


@pytest.mark.parametrize("lesson", BOOKS)
def test_all_of_the_lessons_text_is_there_in_its_order(lesson: str) -> None:
    words = " ".join(text for where, text in Page(printed(lesson)).words if "style." not in where)
    at = 0
    for cell in handouts.read_cells(BOOKS[lesson]):
        if cell.kind == "markdown":
            for heading in re.findall(r"^#+ (.+)$", cell.source, re.MULTILINE):
                assert heading in words[at:], heading
                at = words.index(heading, at)


@pytest.mark.parametrize("lesson", LESSONS)
def test_bench_and_quiz_are_replaced_and_nothing_of_their_code_is_left(lesson: str) -> None:
    text = printed(lesson)
    assert "toolkit.panels" not in text
    assert "quiz(" not in text
    page = Page(text)
    number = len(items_of(lesson))
    assert [one for one in page.under("h3.") if one.startswith("Question")] == [
        f"Question {one} of {number}" for one in range(1, number + 1)
    ]


def test_the_same_sheet_gives_the_same_page() -> None:
    cells = handouts.read_cells(BOOKS["02"])
    assert handout(cells, Sheet(seed=SEED)) == handout(cells, Sheet(seed=SEED)) == printed("02")
    assert handout(cells, Sheet(seed=SEED + 1)) != printed("02")


def test_paper_and_foot_stand_in_the_style() -> None:
    text = printed("02")
    assert "@page{size:A4;" in text
    assert 'content:"Guarded pressure, lesson 02 The regulator, version ' in text
    assert f'seed {SEED}"' in text
    assert "counter(page)" in text
    assert "@page{size:letter;" in handout(handouts.read_cells(BOOKS["02"]), Sheet(paper="letter"))
    with pytest.raises(ScenarioError, match="paper"):
        handout(handouts.read_cells(BOOKS["02"]), Sheet(paper="a5"))


# The bench, frozen ---------------------------------------------------------------------------------------------------


def readouts(page: Page) -> list[tuple[str, str]]:
    found = page.under("ul.readouts")
    return list(zip(found[::2], found[1::2], strict=True))


@pytest.mark.parametrize("units", UNITS)
@pytest.mark.parametrize("lesson", LESSONS)
def test_a_frozen_bench_shows_what_the_panel_shows(lesson: str, units: str) -> None:
    bench = LESSONS[lesson].BENCH
    body = bench_piece(LESSONS[lesson].PREDICTION, replace(bench, handout=({},)), "PREFIX", Sheet(units)).body
    panel, page = Panel(bench, units), Page(body)
    assert panel.shown is not None
    assert readouts(page) == list(panel.shown.readouts)
    assert page.under("p.sentence") == [panel.shown.sentence]
    happened = page.under("ul.events")
    assert list(zip(happened[::2], happened[1::2], strict=True)) == list(panel.shown.events)
    settings = page.under("tbody.")
    assert settings[::2] == [control.label for control in bench.controls]
    for control, said in zip(bench.controls, settings[1::2], strict=True):
        value = panel.rows[control.key].value
        if isinstance(control, Slider):
            unit = display_unit(control.kind, units)
            assert said.endswith(f" {unit.label}")
            number = float(said.removesuffix(unit.label).replace(",", ""))
            assert number == pytest.approx(to_display(value, control.kind, units), abs=0.51 * 10**-unit.decimals)
        else:
            assert dict(control.options)[said] == value
    # the drawing is the panel's own but for the names of its parts
    assert panel.shown.drawing in body.replace("PREFIX-1-", "")


def test_a_bench_may_ask_for_more_than_one_picture() -> None:
    lesson = LESSONS["03"]
    night = {"moment": 410.0, "failure": "open"}
    piece = bench_piece(lesson.PREDICTION, replace(lesson.BENCH, handout=({}, night)), "x", Sheet("us"))
    page = Page(piece.body)
    assert [one[-14:] for one in page.under("h3.")[1:]] == ["Picture 1 of 2", "Picture 2 of 2"]
    names = page.attributes("id")
    assert names
    assert len(names) == len(set(names))
    expected = [lesson.BENCH.show(lesson.BENCH.start("us") | more).readouts for more in ({}, night)]
    assert readouts(page) == [*expected[0], *expected[1]]
    assert expected[0] != expected[1]
    assert "stem stuck wide open" in page.under("tbody.")
    assert "410.0 s" in page.under("tbody.")


@pytest.mark.parametrize(("key", "value"), [("no_such_control", 1.0), ("failure", "no such failure")])
def test_a_picture_of_settings_that_do_not_exist_is_refused(key: str, value: object) -> None:
    lesson = LESSONS["03"]
    with pytest.raises(ScenarioError, match=f"handout.{key}"):
        bench_piece(lesson.PREDICTION, replace(lesson.BENCH, handout=({key: value},)), "x", Sheet())


@pytest.mark.parametrize("units", UNITS)
@pytest.mark.parametrize("lesson", LESSONS)
def test_the_prediction_is_asked_on_an_earlier_page_and_answered_on_the_last(lesson: str, units: str) -> None:
    text = printed(lesson, units, key=True)
    prediction = LESSONS[lesson].PREDICTION
    page = Page(text)
    assert page.under("ul.boxes")[: len(prediction.options)] == list(prediction.options)
    assert text.index("<section class='predict'>") < text.index("<section class='frozen'>")
    last = Page("<main>" + text[text.rindex("<section class='page'>") : text.index("</main>")] + "</main>")
    assert last.under("h2.") == ["Was I right?"]
    assert last.under("b.") == [f"\u201c{prediction.options[prediction.right]}\u201d"]
    assert last.under("p.")[-1] == prediction.explain(units)
    before = text[: text.rindex("<section class='page'>")]
    assert prediction.explain(units) not in "".join(word for _, word in Page(before + "</main></body></html>").words)


# The quiz on paper ---------------------------------------------------------------------------------------------------


def key_words(question: Question) -> str:
    """The words of a question's key."""
    return "\n".join(text for _, text in Page(f"<main>{paper.key(question)}</main>").words)


@pytest.mark.parametrize("units", UNITS)
@pytest.mark.parametrize("item", ITEMS, ids=lambda item: item.key)
def test_the_key_tells_the_computed_answer(item: Any, units: str) -> None:
    question = offer(item, SEED, units)
    assert grade(question, paper.FORMS[type(question)].best(question)).score == 1.0
    said, _, marks = key_words(question).rpartition("\nMarks: ")
    assert marks == tidy(" ".join(marking(question)))
    if isinstance(question, NumericQuestion):
        found = re.match(r"The answer is (.+?)\. ?(?=[A-Z(]|$)", said)
        assert found
        told = parse_quantity(found[1], question.kind, site_atmosphere=question.site_atmosphere)
        assert told == pytest.approx(question.truth, abs=question.tolerance())
    elif isinstance(question, TraceQuestion):
        start, end = question.window
        assert said == f"{question.worked}\nAny time from {ceil(start)} to {floor(end)} s counts as right."
    elif isinstance(question, CauseQuestion):
        true = question.names()[question.suspects.index(question.truth)]
        assert said.startswith(f"It was: {true}.")
        for name, share in zip(question.names(), question.posterior, strict=True):
            assert re.search(rf"{re.escape(name)}(?: \(true\))?\n{100 * share:.0f}$", said, re.MULTILINE)
    elif isinstance(question, OrderQuestion):
        assert said == "\n".join([*question.entries, question.explanation])
    else:
        assert said == "\n".join(
            [question.options[question.right], question.told[question.right], question.explanation]
        )


def test_every_kind_of_question_has_its_form() -> None:
    assert set(paper.FORMS) == set(get_args(Question))


ORDER = OrderQuestion(
    "key",
    "Put them in order, the lowest first.",
    ("worker", "monitor", "relief"),
    shown_order(3, Random(1)),
    critical=((0, 1),),
    cap=0.4,
    scoring="tau",
    explanation="Each acts once the one below has failed.",
    reasons=("It would take over.",),
)
CHOICE = ChoiceQuestion(
    "key",
    "Which is it?",
    ("the first", "the second", "the third"),
    1,
    ("It is too early.", "It is right in time.", "It is too late."),
    "Time tells.",
    table=(("When", "Outlet"), ("burners on", "7 in. w.c.")),
)


def test_an_order_is_offered_shuffled_and_its_key_is_the_right_one() -> None:
    asked = Page(f"<main>{paper.asked(ORDER)}</main>")
    assert asked.under("ul.blanks") == [ORDER.entries[one] for one in ORDER.shown]
    assert "Number them from 1 (lowest) to 3 (highest)." in asked.under("p.hint")
    answered = Page(f"<main>{paper.key(ORDER)}</main>")
    assert answered.under("ol.") == list(ORDER.entries)
    assert answered.under("p.") == [ORDER.explanation]


def test_a_choice_has_a_box_for_each_option_and_its_key_names_one() -> None:
    asked = Page(f"<main>{paper.asked(CHOICE)}</main>")
    assert asked.under("ul.boxes") == list(CHOICE.options)
    assert "7 in. w.c." in asked.under("tbody.")
    answered = Page(f"<main>{paper.key(CHOICE)}</main>")
    assert answered.under("b.") == ["the second"]
    assert answered.under("p.") == ["It is right in time.", "Time tells."]


@pytest.mark.parametrize("units", UNITS)
@pytest.mark.parametrize("lesson", LESSONS)
def test_answers_are_printed_only_with_the_key_and_after_the_lesson(lesson: str, units: str) -> None:
    without, with_key = printed(lesson, units), printed(lesson, units, key=True)
    heading = f"<h2>Answers, seed {SEED}</h2>"
    assert heading not in without
    assert with_key.index("Sources</h2>") < with_key.index(heading) < with_key.index("<h2>Was I right?</h2>")
    for item in items_of(lesson):
        question = offer(item, SEED, units)
        assert paper.asked(question) in without
        answer = paper.key(question)
        assert answer not in without
        assert answer in with_key
    assert exam(lesson, Sheet(seed=SEED)).key == ""


def test_a_question_that_cannot_be_made_costs_only_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    first, *_ = items_of("02")

    def failing(item: Any, seed: int, units: str) -> Question:
        if item is first:
            raise ScenarioError("inlet", "<b>", "a number", "Give one.")
        return offer(item, seed, units)

    monkeypatch.setattr("toolkit.panels.handout.offer", failing)
    piece = exam("02", Sheet(seed=SEED, key=True))
    assert "This question could not be made: inlet: &#x27;&lt;b&gt;" in piece.body
    assert piece.body.count("<section class='question'>") == len(items_of("02"))
    assert piece.key.count("<section class='question'>") == len(items_of("02")) - 1


# What comes from outside ---------------------------------------------------------------------------------------------


def test_what_looks_like_markup_is_shown_as_text() -> None:
    cells = [
        Cell("markdown", f"# 99 A {HOSTILE}\n\nText {HOSTILE} and [a lesson](01_x.ipynb), ![a plan](plan.png).\n"),
        Cell("markdown", "<div onclick='x()'>block</div>\n\n[out](https://example.org/a?b=1&c=2) [js](javascript:x)\n"),
        Cell("markdown", "| a<br> | b |\n|---|---|\n| <img src=x> | `<i>` |\n"),
        Cell("code", "import os\nos.system('x')"),
        Cell("raw", HOSTILE),
    ]
    text = handout(cells, Sheet())
    page = Page(text)
    assert not {tag for tag, _ in page.elements} & {"script", "a", "img", "div", "i"}
    assert text.count("</style>") == 1
    assert "a lesson" in text
    assert "01_x.ipynb" not in text
    assert "<em>a plan</em>" in text
    assert "out (https://example.org/a?b=1&amp;c=2)" in text
    assert "os.system" not in text
    assert "screen only" in text


def test_words_of_prediction_and_bench_are_escaped() -> None:
    lesson = LESSONS["02"]
    prediction = Prediction(HOSTILE, (HOSTILE, "b"), 0, lambda _: HOSTILE)
    shown = lesson.BENCH.show(lesson.BENCH.start("us") | {"units": "us"})
    hostile = replace(shown, readouts=((HOSTILE, HOSTILE),), sentence=HOSTILE, events=((HOSTILE, HOSTILE),))
    controls = tuple(replace(one, label=HOSTILE) for one in lesson.BENCH.controls)
    bench = Bench(HOSTILE, controls, lambda _: hostile)
    piece = bench_piece(prediction, bench, "x", Sheet())
    for part in (piece.body, piece.right):
        assert "script" not in {tag for tag, _ in Page(f"<main>{part}</main>").elements}
        assert "&lt;script&gt;" in part


@pytest.mark.parametrize("text", ['"', "\\", "\n", "</style>", "'", "}", "a;b"])
def test_text_cannot_leave_its_string_in_the_style_sheet(text: str) -> None:
    inside = css_text(f"x{text}y")
    assert inside[0] == inside[-1] == '"'
    assert not re.search(r'["\n<>{}]', inside[1:-1])
    # an escape is a backslash, the sign's number and a blank, which end it before the next sign
    assert re.sub(r"\\([0-9a-f]+) ", lambda found: chr(int(found[1], 16)), inside[1:-1]) == f"x{text}y"
    assert page_style("A4", text).count("{") == page_style("A4", "x").count("{")


def test_a_lesson_without_a_heading_is_refused() -> None:
    with pytest.raises(ScenarioError, match="heading"):
        handout([Cell("markdown", "no heading")], Sheet())


@pytest.mark.parametrize("call", ['bench("77")', 'quiz("77")'])
def test_a_bench_or_quiz_that_is_not_there_is_refused(call: str) -> None:
    with pytest.raises(ScenarioError, match="77"):
        handout([Cell("markdown", "# 77 x"), Cell("code", call)], Sheet())


# `course handout` ----------------------------------------------------------------------------------------------------


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> Callable[..., tuple[int, str, str]]:
    """Exit code, stdout and stderr of `course handout` with a folder in `tmp_path`."""

    def typed(*words: str) -> tuple[int, str, str]:
        code = command.main(["handout", *words, "--folder", str(tmp_path / "out")])
        said = capsys.readouterr()
        assert "Traceback" not in said.err
        return code, said.out, said.err

    return typed


def program(folder: Path, name: str, body: str) -> None:
    """An executable script in a folder."""
    folder.mkdir(exist_ok=True)
    path = folder / name
    path.write_text(f"#!/bin/sh\n{body}\n")
    path.chmod(path.stat().st_mode | stat.S_IXUSR)


def test_what_is_written_is_said_and_is_the_page(run: Any, tmp_path: Path) -> None:
    path = tmp_path / "out" / "02_the_regulator.html"
    assert run("02", "--seed", str(SEED)) == (0, f"{path}\n", "")
    assert path.read_text("utf-8") == printed("02")
    path.write_text("older")
    assert run("02", "--metric", "--seed", str(SEED))[0] == 0
    assert path.read_text("utf-8") == printed("02", "metric")


def test_the_sheet_with_the_key_has_a_name_of_its_own(run: Any, tmp_path: Path) -> None:
    path = tmp_path / "out" / "02_the_regulator_key.html"
    assert run("02", "--key", "--paper", "letter", "--seed", str(SEED)) == (0, f"{path}\n", "")
    assert "Answers, seed" in path.read_text("utf-8")
    assert "size:letter" in path.read_text("utf-8")


def test_without_a_lesson_all_are_written(run: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(handouts, "handout", lambda _cells, sheet: f"seed {sheet.seed}")
    code, out, _ = run()
    assert code == 0
    assert out.splitlines() == [str(tmp_path / "out" / f"{path.stem}.html") for path in BOOKS.values()]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("77",), "There is no lesson '77': give two digits, one of 00, 01"),
        (("2",), "There is no lesson '2'"),
        (("02", "--seed", "x"), "--seed"),
        (("02", "--paper", "a5"), "--paper"),
        (("02", "--us", "--metric"), "--metric"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(run: Any, tmp_path: Path, words: tuple[str, ...], said: str) -> None:
    code, out, err = run(*words)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert said in err
    assert not (tmp_path / "out").exists()


def test_a_folder_that_cannot_be_written_is_refused(run: Any, tmp_path: Path) -> None:
    (tmp_path / "out").write_text("a file, not a folder")
    code, out, err = run("00")
    assert (code, out) == (2, "")
    assert "cannot be written" in err
    assert "--folder" in err


@pytest.mark.parametrize("content", ["no json", "[]", '{"cells": [{"cell_type": "markdown"}]}', '{"cells": 3}'])
def test_a_broken_notebook_is_refused(capsys: pytest.CaptureFixture[str], tmp_path: Path, content: str) -> None:
    (tmp_path / "00_start_here.ipynb").write_text(content)
    words = ["--lessons", str(tmp_path), "handout", "00", "--folder", str(tmp_path / "out")]
    assert command.main(words) == 2
    assert "cannot be read as a notebook" in capsys.readouterr().err


def test_without_a_browser_the_page_is_written_and_the_way_to_print_it_is_said(
    run: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path / "nothing"))
    code, out, err = run("00", "--pdf")
    assert code == 2
    assert out == f"{tmp_path / 'out' / '00_start_here.html'}\n"
    assert "print it from there" in err
    assert err.count("\n") == 1


@pytest.mark.parametrize("body", ["exit 3", "exit 0"])
def test_a_browser_that_prints_nothing_is_told(
    run: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, body: str
) -> None:
    program(tmp_path / "bin", "chromium", body)
    monkeypatch.setenv("PATH", str(tmp_path / "bin"))
    code, _, err = run("00", "--pdf")
    assert code == 2
    assert "printed no PDF" in err
    assert not (tmp_path / "out" / "00_start_here.pdf").exists()


def test_a_browser_that_hangs_is_ended(run: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    program(tmp_path / "bin", "google-chrome", "while :; do :; done")
    monkeypatch.setenv("PATH", str(tmp_path / "bin"))
    monkeypatch.setattr(handouts, "LONGEST_PRINT", 0.2)
    code, _, err = run("00", "--pdf")
    assert code == 2
    assert "TimeoutExpired" in err


def test_the_browser_is_asked_for_the_page_without_network_and_in_a_profile_of_its_own(
    run: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    said = tmp_path / "asked.txt"
    body = f"""for word in "$@"; do echo "$word" >> {said}; case "$word" in
    --print-to-pdf=*) printf '%%PDF-x' > "${{word#--print-to-pdf=}}";; esac; done"""
    program(tmp_path / "bin", "msedge", body)
    monkeypatch.setenv("PATH", str(tmp_path / "bin"))
    html, pdf = (tmp_path / "out" / f"00_start_here.{end}" for end in ("html", "pdf"))
    assert run("00", "--pdf") == (0, f"{html}\n{pdf}\n", "")
    assert pdf.read_bytes() == b"%PDF-x"
    words = said.read_text().splitlines()
    assert {"--headless", "--no-pdf-header-footer", "--host-resolver-rules=MAP * ~NOTFOUND"} <= set(words)
    (profile,) = [word.partition("=")[2] for word in words if word.startswith("--user-data-dir=")]
    assert not Path(profile).parent.exists(), "the profile is left behind"
