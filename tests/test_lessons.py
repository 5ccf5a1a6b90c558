"""The lessons' texts: their form, their links, and every number in them, worked out anew by the toolkit."""

from __future__ import annotations

import re
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import ipywidgets
import nbformat
import pytest
from lesson_text import CONDITION, FOLDER, INLET_GAUGE, PATHS, bench_trace, code, notebook, prose, sections

from toolkit.classroom.record import Record
from toolkit.course import LESSONS as COURSE
from toolkit.course import START
from toolkit.devices.regulator import (
    lock_up_gauge_pressure,
)
from toolkit.panels import LESSONS as BENCHES
from toolkit.panels import lesson_02, lesson_03, start
from toolkit.panels.bench import UNITS
from toolkit.panels.controls import GROUPS, Choice
from toolkit.panels.predict import PredictThenTry
from toolkit.panels.progress import Progress
from toolkit.quiz.cases import LESSONS as QUIZZES
from toolkit.quiz.widgets import Quiz
from toolkit.references import SOURCES, cite
from toolkit.units import (
    format_pressure,
)

TAUGHT = tuple(QUIZZES)
MOST_CODE_CELLS, MOST_CODE_LINES = 8, 25
SHORTEST, LONGEST = 15, 25
# A lab is one pair and its check: short, in the same form.
LABS = {one.number for one in COURSE if one.lab}
SHORTEST_LAB = 8
HIGHEST_GRADE, LONGEST_SENTENCE = 9.0, 30

FORM = (
    "What you will be able to do",
    "Before you start",
    "Predict and try",
    "What happened",
    "Worked example",
    "Check yourself",
    "In the field",
    "Sources",
)
START_FORM = (
    "What this course is",
    "Does everything work?",
    "How a lesson goes",
    "Moving the controls",
    "Safety card",
    "The lessons",
    "Your name and your results",
    "What the bench leaves out",
    "What this course is not",
    "To print, to stop, to come back",
    "Sources",
)


# Facts --------------------------------------------------------------------------------------------------------------

# A module a lesson: NUMBERS works out what stands under a heading, SAID_IN_WORDS has trade figures that no calculation
# gives, TOLD has what "In the field" tells of rules and reports, with the source that has it.
FACTS = {lesson: import_module(f"facts_{lesson}") for lesson in TAUGHT}
NUMBERS = [(lesson, heading) for lesson, facts in FACTS.items() for heading in facts.NUMBERS]
TOLD = [(lesson, *told) for lesson, facts in FACTS.items() for told in getattr(facts, "TOLD", ())]

NUMBER = re.compile(r"\d+(?:,\d{3})*(?:\.\d+)?")


def unnumbered(text: str) -> str:
    """A text without the numbers that its lists count with."""
    return re.sub(r"^\s*\d+\. ", "", text, flags=re.MULTILINE)


@pytest.mark.parametrize(("lesson", "heading"), NUMBERS)
def test_each_number_is_what_the_toolkit_works_out(lesson: str, heading: str) -> None:
    facts = FACTS[lesson]
    text = unnumbered(sections(lesson)[heading])
    expected = facts.NUMBERS[heading]()
    missing = {step: said for step, said in expected.items() if said not in text}
    assert not missing, "these do not stand in the text"
    in_words = getattr(facts, "SAID_IN_WORDS", {}).get(heading, ())
    known = {number for said in (*expected.values(), *in_words) for number in NUMBER.findall(said)}
    assert {number for number in NUMBER.findall(text) if number not in known} == set(), "these stand there unchecked"


@pytest.mark.parametrize("lesson", TAUGHT)
def test_worked_example_and_explanation_are_both_worked_out(lesson: str) -> None:
    assert {"Worked example", "What happened"} <= set(FACTS[lesson].NUMBERS)


@pytest.mark.parametrize(("lesson", "words", "key"), TOLD)
def test_a_rule_told_in_the_field_has_its_source_below(lesson: str, words: str, key: str) -> None:
    assert words in sections(lesson)["In the field"]
    assert cite(key) in sections(lesson)["Sources"]


# Form ---------------------------------------------------------------------------------------------------------------


def test_there_is_a_lesson_for_each_bench_and_quiz() -> None:
    assert list(PATHS) == ["00", *TAUGHT]
    assert list(BENCHES) == list(TAUGHT)


@pytest.mark.parametrize("lesson", PATHS)
def test_the_headings_are_those_of_the_form_in_order(lesson: str) -> None:
    first = prose(lesson).splitlines()[0]
    titles = {"00": "Start here"} | QUIZZES
    assert first == f"# {lesson} {titles[lesson]}"
    assert tuple(sections(lesson)) == (START_FORM if lesson == "00" else FORM)
    assert all(text.strip() or heading == "Check yourself" for heading, text in sections(lesson).items())


@pytest.mark.parametrize("lesson", PATHS)
def test_the_cells_stand_where_the_form_has_them(lesson: str) -> None:
    cells = notebook(lesson).cells
    above: dict[str, str] = {}
    heading = ""
    for cell in cells:
        if cell.cell_type == "markdown":
            (heading,) = re.findall(r"^## (.+)$", cell.source, re.MULTILINE)[-1:] or [heading]
        else:
            above[heading] = cell.source
    if lesson == "00":
        assert above == {
            "Does everything work?": "from toolkit.panels.start import self_check\n\nself_check()",
            "The lessons": "from toolkit.panels.course_map import course_map\n\ncourse_map()",
            "Your name and your results": "from toolkit.panels.progress import progress\n\nprogress()",
        }
    else:
        cut_open = above.pop("Before you start", "")
        assert re.fullmatch(r'(from toolkit.panels.cut_open import cut_open\n\ncut_open\(("\w+"(, )?)+\))?', cut_open)
        assert above == {
            "Predict and try": f'from toolkit.panels import bench\n\nbench("{lesson}")',
            "Check yourself": f'from toolkit.quiz.widgets import quiz\n\nquiz("{lesson}")',
        }


@pytest.mark.parametrize("lesson", PATHS)
def test_the_file_is_a_clean_notebook_of_this_course(lesson: str) -> None:
    here = notebook(lesson)
    nbformat.validate(here)
    assert (here.nbformat, here.nbformat_minor) == (4, 5)
    assert here.metadata.guarded_pressure == {"lesson": lesson}
    assert here.metadata.kernelspec.name == "python3"
    assert len(code(lesson)) <= MOST_CODE_CELLS
    assert sum(len(source.splitlines()) for source in code(lesson)) <= MOST_CODE_LINES
    assert len({cell.id for cell in here.cells}) == len(here.cells)
    for cell in here.cells:
        assert cell.metadata == {}
        if cell.cell_type == "code":
            assert cell.outputs == []
            assert cell.execution_count is None


def minutes(lesson: str) -> int:
    (found,) = re.findall(r"^About (\d+) minutes\.$", prose(lesson), re.MULTILINE)
    return int(found)


@pytest.mark.parametrize("lesson", TAUGHT)
def test_a_lesson_takes_a_quarter_of_an_hour_or_a_little_more(lesson: str) -> None:
    assert (SHORTEST_LAB if lesson in LABS else SHORTEST) <= minutes(lesson) <= LONGEST


def test_the_list_of_lessons_is_that_of_the_notebooks_and_of_the_readme() -> None:
    listed = [(one.number, one.file, one.minutes) for one in (START, *COURSE)]
    assert listed == [(lesson, path.name, minutes(lesson)) for lesson, path in PATHS.items()]
    readme = (FOLDER.parent / "README.md").read_text("utf-8")
    rows = re.findall(r"^\| \[(.+?)\]\(lessons/(.+?)\) \| (\d+) \|", readme, re.MULTILINE)
    assert rows == [(one.name, one.file, str(one.minutes)) for one in (START, *COURSE)]


def anchors(lesson: str) -> set[str]:
    return {heading.replace(" ", "-") for heading in sections(lesson)}


@pytest.mark.parametrize("lesson", PATHS)
def test_each_link_leads_to_a_lesson_that_is_there(lesson: str) -> None:
    links = re.findall(r"\]\(([^)]+)\)", prose(lesson))
    assert links
    for link in links:
        name, _, anchor = unquote(link).partition("#")
        assert (FOLDER / name).is_file(), link
        assert not anchor or anchor in anchors(name[:2]), link


@pytest.mark.parametrize("lesson", PATHS)
def test_the_last_line_leads_back_and_onward(lesson: str) -> None:
    links = re.findall(r"\]\(([^)]+)\)", prose(lesson).rstrip().splitlines()[-1])
    names = [path.name for path in PATHS.values()]
    place = names.index(PATHS[lesson].name)
    before, after = names[:place][-1:], names[place + 1 :][:1]
    assert links == [*before, *(after or names[:1])]


@pytest.mark.parametrize("lesson", PATHS)
def test_sources_are_cited_as_the_course_cites_them(lesson: str) -> None:
    listed = re.findall(r"^- (.+)$", sections(lesson)["Sources"], re.MULTILINE)
    assert listed
    assert set(listed) <= {cite(key) for key in SOURCES}
    assert len(set(listed)) == len(listed)


# Cautions -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("lesson", TAUGHT)
def test_cautions_come_first_and_name_what_never_to_do(lesson: str) -> None:
    before, field = sections(lesson)["Before you start"], sections(lesson)["In the field"]
    assert "(00_start_here.ipynb#Safety-card)" in before
    assert len(re.findall(r"^- Never ", before, re.MULTILINE)) >= 2
    assert "written procedure" in before
    assert "local code" in before
    _, found, never = field.partition("**What never to do.**")
    assert found
    assert len(re.findall(r"^Never ", never, re.MULTILINE)) >= 3
    assert field.index("**What to do") < field.index("**What never to do.**")


CARD = (
    ("phones", "doorbells", "outside", "hunt"),
    ("outdoors", "ice", "insects", "water"),
    ("Propane sinks", "natural gas rises"),
    ("Carbon monoxide", "fresh air"),
    ("Isolate, lock, tag, vent down, prove zero",),
    ("Never defeat a layer", "plug a vent", "set point"),
    ("Reset after the cause", "qualified"),
    ("Relight only if you are qualified", "every outlet"),
    ("sensing taps", "abandons"),
    ("Local code", "written procedure", "licensed persons"),
)


def test_the_safety_card_has_all_its_points() -> None:
    points = re.split(r"^\d+\. ", sections("00")["Safety card"], flags=re.MULTILINE)[1:]
    assert len(points) == len(CARD)
    for point, words in zip(points, CARD, strict=True):
        assert [word for word in words if word not in point] == []


def test_the_course_says_that_it_qualifies_nobody_and_what_the_bench_leaves_out() -> None:
    assert "do not qualify anyone" in sections("00")["What this course is not"]
    for word in ("friction", "velocity boost", "sound waves", "judgement"):
        assert word in sections("00")["What the bench leaves out"]


# Controls and buttons that the text names ---------------------------------------------------------------------------


@pytest.mark.parametrize("lesson", TAUGHT)
def test_the_text_names_controls_and_choices_as_the_bench_does(lesson: str) -> None:
    text = sections(lesson)["Predict and try"]
    controls = (*BENCHES[lesson].BENCH.controls, UNITS)
    named = re.findall(r"\*\*(.+?)\*\*", text)
    assert named
    assert set(named) <= {control.label for control in controls}
    choices = {words for control in controls if isinstance(control, Choice) for words, _ in control.options}
    assert set(re.findall(r"(?<!\*)\*([^*]+)\*(?!\*)", text)) <= choices
    groups = {control.group for control in controls}
    assert groups <= set(GROUPS)


def buttons(widget: Any) -> set[str]:
    """The words on the buttons inside a widget."""
    own = {widget.description} if isinstance(widget, ipywidgets.Button | ipywidgets.ToggleButton) else set()
    return own.union(*map(buttons, getattr(widget, "children", ())))


def test_the_start_page_names_buttons_as_they_are(tmp_path: Path) -> None:
    record = Record(tmp_path)
    ask = PredictThenTry(lesson_02.PREDICTION, lesson_02.BENCH)
    ask.choose(0)
    ask.open_bench()
    there = buttons(ask) | {"Pause"} | buttons(Quiz("02", 1, record).box) | buttons(Progress(record).box)
    package = FOLDER.parent / "toolkit"
    scripts = "".join(path.read_text(encoding="utf-8") for path in (package / "front/labextension").rglob("*.js"))
    later = {"Start again": scripts, "Show or hide the code": scripts}
    # The words of the button after the last question.
    later["Show the summary"] = (package / "quiz/widgets.py").read_text(encoding="utf-8")
    assert [words for words, source in later.items() if words not in source] == []
    named = set(re.findall(r"(?<!\*)\*([^*]+)\*(?!\*)", prose("00")))
    jupyter_menus = {"View"}
    assert named <= there | set(later) | jupyter_menus | {UNITS.label}
    assert {"Open the bench", "Was I right?", "Check my answer", "Keep name and units"} <= named & there


# Language -----------------------------------------------------------------------------------------------------------


def sentences(lesson: str) -> Iterator[list[str]]:
    """The words of each sentence of a lesson's prose: no headings, tables, sources or pure figures."""
    text = "".join(body for heading, body in sections(lesson).items() if heading != "Sources")
    text = re.sub(r"^\|.*$", "", text, flags=re.MULTILINE)
    text = re.sub(r"\[([^\]]+)\]\([^)]+\)", r"\1", text).replace("in. w.c.", "inches")
    text = re.sub(r"\([^()]*\d[^()]*\)", "", text)
    for sentence in re.split(r"[.!?]\s|\n", text + "\n"):
        words = re.findall(r"[A-Za-z][A-Za-z'-]*", sentence)
        if words:
            yield words


def syllables(word: str) -> int:
    """Groups of vowels, a silent e at the end left out."""
    plain = re.sub(r"[^a-z]", "", word.lower())
    groups = len(re.findall(r"[aeiouy]+", plain))
    silent = re.search(r"([^le]e|[^td]ed)$", plain) is not None
    return max(1, groups - silent)


def reading_grade(lesson: str) -> float:
    """Flesch-Kincaid grade level. Source: Kincaid and others 1975, from memory."""
    found = list(sentences(lesson))
    words = [word for sentence in found for word in sentence]
    return 0.39 * len(words) / len(found) + 11.8 * sum(map(syllables, words)) / len(words) - 15.59


@pytest.mark.parametrize(("word", "count"), [("pressure", 2), ("regulator", 4), ("gas", 1), ("opened", 2), ("the", 1)])
def test_syllables_are_counted_as_spoken(word: str, count: int) -> None:
    assert syllables(word) == count


@pytest.mark.parametrize("lesson", PATHS)
def test_a_lesson_reads_easily(lesson: str) -> None:
    assert reading_grade(lesson) <= HIGHEST_GRADE
    assert [" ".join(words) for words in sentences(lesson) if len(words) > LONGEST_SENTENCE] == []


@pytest.mark.parametrize("lesson", PATHS)
def test_the_source_holds_one_sentence_a_line(lesson: str) -> None:
    for line in prose(lesson).replace("in. w.c.", "inches").splitlines():
        plain = re.sub(r"^(\s*[-|]|\s*\d+\.) ?|\*\*[^*]+[.:?]\*\* ?", "", line)
        if not line.startswith(("|", "- Title")) and line not in sections(lesson)["Sources"]:
            assert not re.search(r"[.?!] [A-Z]", plain), line


# The start page's panel ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("units", ["us", "metric"])
def test_a_sound_course_finds_everything_working(tmp_path: Path, units: str) -> None:
    record = Record(tmp_path)
    found = start.findings(record, units)
    assert [one.what for one in found if not one.works] == []
    assert len(found) == len(start.CHECKS)
    assert str(record.path) in found[-1].said
    (bench,) = [one.said for one in found if one.what == "The bench"]
    assert format_pressure(lock_up_gauge_pressure(CONDITION, INLET_GAUGE), units) in bench
    assert "Everything works." in start.findings_html(found)


def test_the_check_of_the_record_adds_nothing_to_it(tmp_path: Path) -> None:
    record = Record(tmp_path)
    start.findings(record, "us")
    assert record.path.exists()
    assert record.attempts() == ()
    assert record.learner() == ""


def test_a_record_that_cannot_be_written_is_told_with_what_it_means(tmp_path: Path) -> None:
    blocked = tmp_path / "a file, not a folder"
    blocked.write_text("")
    found = start.findings(Record(blocked), "us")
    assert [one.what for one in found if not one.works] == ["Your record"]
    assert "your answers will not be kept" in found[-1].said
    page = start.findings_html(found)
    assert "1 of 5 do not work" in page
    assert "\u2717 does not work" in page


def test_a_bench_that_locks_up_wrongly_is_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # The bench's day with a nick in the seat: it creeps where it should stand still.
    nicked = bench_trace(lesson_03, debris=0.0, failure="seat nicked")
    monkeypatch.setattr(start, "run", lambda _scenario: nicked)
    found = {one.what: one for one in start.findings(Record(tmp_path), "us")}
    assert not found["The bench"].works
    assert "should" in found["The bench"].said


def test_a_missing_part_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(start, "requires", lambda _name: ["ipywidgets>=8", "no-such-part>=1"])
    (found,) = [one for one in start.findings(Record(tmp_path), "us") if one.what == "The course's parts"]
    assert not found.works
    assert "no-such-part" in found.said
    assert "ipywidgets" not in found.said


def test_findings_are_written_without_markup_from_outside() -> None:
    page = start.findings_html((start.Finding("<b>", False, "<script>"),))
    assert "<script>" not in page
    assert "&lt;script&gt;" in page


@pytest.mark.parametrize("units", ["us", "metric"])
def test_the_practice_slider_is_followed_by_its_sentence(tmp_path: Path, units: str) -> None:
    record = Record(tmp_path)
    record.set_units(units)
    _, _, slider, told = start.self_check(record).children
    before = told.value
    assert format_pressure(slider.value, units).rstrip(".") in before
    slider.press(1)
    assert told.value != before
    assert format_pressure(slider.value, units).rstrip(".") in told.value
